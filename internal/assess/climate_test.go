package assess

import (
	"fmt"
	"math"
	"testing"

	"warmhand/internal/care"
)

// ISO 13732-1:2006, burn thresholds for contact of 8 h, 10 min and 1 min: 43,
// 48 and 51 °C (from memory). Moritz & Henriques 1947, Am J Pathol 23:695, time
// to injury through the whole skin (from memory): the threshold of a burn must
// come sooner at every temperature.
func TestBurnTime(t *testing.T) {
	t.Parallel()
	for c, want := range map[float64]float64{43: 8 * 3600, 48: 600, 51: 60, 70: 60} {
		near(t, fmt.Sprintf("contact at %.0f °C", c), burnTime(c), want, 1e-9)
	}
	for c, deep := range map[float64]float64{44: 6 * 3600, 45: 3 * 3600, 47: 45 * 60, 49: 9 * 60, 51: 4 * 60} {
		if s := burnTime(c); s >= deep {
			t.Errorf("%g °C: a burn after %.0f s, later than the whole skin after %.0f s", c, s, deep)
		}
	}
	for _, c := range []float64{20, 42.99, math.NaN()} {
		if !math.IsInf(burnTime(c), 1) {
			t.Errorf("%g °C burns", c)
		}
	}
	last, lastRisk := math.Inf(1), 0.
	for c := 43.; c < 60; c += .25 {
		s := burnTime(c)
		if loss := burnRisk(s).loss(); s > last || loss < lastRisk || loss > 1 {
			t.Fatalf("%g °C: %g s after %g, expected loss %g after %g", c, s, last, loss, lastRisk)
		} else {
			last, lastRisk = s, loss
		}
	}
	// Half way between two points of the norm, the time is their geometric mean.
	near(t, "half way", burnTime(49.5), math.Sqrt(600*60), 1e-9)
}

// By hand. Limit 30 °C: from 32 to 28 in eight hours the line is below it for
// the last four, at 1 °C in the mean: 4 degree-hours. A reading that stands
// alone stands for six hours on either side.
func TestColdnessByHand(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		readings [][2]float64 // hours after day 10, °C
		want     cold
	}{
		{"falls below", [][2]float64{{0, 32}, {8, 28}, {16, 32}}, cold{degreeHours: 8, below: 8, known: 6 + 16}},
		{"all cold", [][2]float64{{0, 27}, {10, 27}}, cold{degreeHours: 3 * 16, below: 16, known: 16}},
		{"far apart", [][2]float64{{0, 27}, {60, 31}}, cold{degreeHours: 36, below: 12, known: 12 + 6}},
		{"warm", [][2]float64{{0, 31}, {24, 33}}, cold{known: 30}},
		{"none", nil, cold{}},
	} {
		var e engine
		e.today = at(10)
		for _, r := range c.readings {
			e.climate.warmth = append(e.climate.warmth, reading{value: r[1], at: at(10 + r[0]/24)})
		}
		got := e.coldness(30)
		near(t, c.name+": degree-hours", got.degreeHours, c.want.degreeHours, 1e-6)
		near(t, c.name+": hours below", got.below, c.want.below, 1e-6)
		near(t, c.name+": hours known", got.known, c.want.known, 1e-6)
	}
	// Whatever is read, no more is known than there is, and what lies a week back
	// does not count.
	var e engine
	e.today = at(20)
	for h := 0.; h < 24*20; h += 5 {
		e.climate.warmth = append(e.climate.warmth, reading{value: 25, at: at(h / 24)})
	}
	if got := e.coldness(30); got.known > coldDays*24+1e-6 || got.known < coldDays*24-6 || math.Abs(got.degreeHours-5*got.known) > 1e-6 {
		t.Errorf("three weeks at 25 °C: %+v", got)
	}
}

// A finding counts less the older its reading is; what burned is never
// forgotten; the feeding model's cold fades alike.
func TestOldReadings(t *testing.T) {
	t.Parallel()
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0, Hemi: care.South}
	warm, hot := care.Celsius(25.5), care.Celsius(46)
	for _, c := range []struct {
		reading care.ClimateReading
		code    string
		forgets bool
	}{
		{care.ClimateReading{Warm: &warm, TakenWith: care.WithProbe}, "climate_warm_low", true},
		{care.ClimateReading{Surface: &hot, TakenWith: care.WithProbe}, "climate_surface_hot", false},
	} {
		log := []care.Entry{keeperEntry(1, c.reading)}
		last, gone := math.Inf(1), false
		for d := 3.5; d < 150; d++ { // by then the hours after the reading are known cold
			a := Assess(s, log, at(d))
			urgency := 0.
			for _, x := range a.Concerns {
				if x.Code == c.code {
					urgency = x.Urgency
				}
			}
			if urgency > last+1e-12 || urgency > 0 && gone {
				t.Fatalf("%s, day %v: urgency %g after %g", c.code, d, urgency, last)
			}
			last, gone = urgency, urgency == 0
			if d < freshDays && urgency == 0 {
				t.Fatalf("%s, day %v: not spoken of", c.code, d)
			}
		}
		if gone != c.forgets {
			t.Errorf("%s after half a year: forgotten %v", c.code, gone)
		}
	}
	var e engine
	e.begin(s, nil)
	e.climate.take(&care.ClimateReading{Warm: &warm}, &care.Entry{ID: "x", HappenedAt: d0}, 32)
	fresh := e.deficit()
	e.today = e.today.Add(hours(24 * (freshDays + fadeDays)))
	near(t, "cold after eight weeks", e.deficit(), fresh/2, 1e-9)
}
