package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// The kinds of reading.
const (
	warmSide = iota
	coolSide
	night
	surface
	humidity
	kinds
)

// climate is what is known of the enclosure's climate: the smoothed warm side
// that the feeding model goes by, and the latest reading of each kind.
type climate struct {
	known  bool
	warm   float64 // smoothed, °C
	latest [kinds]reading
}

type reading struct {
	value float64
	with  care.TakenWith
	at    time.Time // zero: never
	id    string
}

// slackOf is how much further than the limit a reading must be before it is
// taken at its word: a stick-on dial or strip shows the wall it sits on, ±3 °C
// and ±15 % humidity against ±1 and ±5 of a probe (instrument practice, from
// memory).
func (r reading) slackOf(kind int) float64 {
	weak, per := 0., 2.
	if kind == humidity {
		per = 10
	}
	switch r.with {
	case care.WithDial, care.WithStrip:
		weak = 1
	case care.WithProbe, care.WithInfrared:
	default:
		weak = .5
	}
	return weak * per
}

// take takes in a reading and reports whether it is the first of the warm side.
func (c *climate) take(b *care.ClimateReading, x *care.Entry, optimum float64) (first bool) {
	keep := func(kind int, v float64) {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			c.latest[kind] = reading{v, b.TakenWith, x.HappenedAt, x.ID}
		}
	}
	for kind, v := range [...]*care.Celsius{warmSide: b.Warm, coolSide: b.Cool, night: b.Night, surface: b.Surface} {
		if v != nil {
			keep(kind, float64(*v))
		}
	}
	if b.Humidity != nil {
		keep(humidity, float64(*b.Humidity))
	}
	if b.Warm == nil || c.latest[warmSide].id != x.ID {
		return false
	}
	warm := float64(*b.Warm)
	if b.TakenWith == care.WithDial || b.TakenWith == care.WithStrip {
		warm = (warm + optimum) / 2 // a weak instrument moves the picture half as far
	}
	if !c.known {
		c.known, c.warm = true, warm
		return true
	}
	c.warm = (c.warm + warm) / 2
	return false
}

// gradientSince is the difference of the ends, °C, by the latest readings of
// both, taken after an instant; 0 when there are none.
func (e *engine) gradientSince(at time.Time) float64 {
	warm, cool := e.climate.latest[warmSide], e.climate.latest[coolSide]
	if warm.at.Before(at) || cool.at.Before(at) || warm.at.IsZero() || cool.at.IsZero() {
		return 0
	}
	return warm.value - cool.value
}

// deficit is how many °C the warm side is below the optimum; 0 when unknown.
func (c *climate) deficit(optimum float64) float64 {
	if !c.known {
		return 0
	}
	return math.Max(0, optimum-c.warm)
}

// Contact with a hot surface. ISO 13732-1:2006 gives 43 °C as the burn
// threshold for contact of eight hours and more, whatever the material, 48 °C
// for ten minutes and 51 °C for one (human skin; from memory). No curve for
// reptiles is published. A snake lies on warm things for hours.
var burns = []struct {
	above float64
	time  string
	risk  risk
}{
	{51, "about a minute", risk{.6, 1, 1}},
	{48, "about ten minutes", risk{.5, 1, 1}},
	{43, "a few hours", risk{.3, 1, 3}},
}

// finding is one thing wrong with the climate.
type finding struct {
	code  string
	kind  int
	level care.Standing
	risk  risk
	limit float64
	value float64
	with  care.TakenWith
	id    string
	burns string // contact time that burns, for a hot surface
}

// climateFindings judges the latest readings. Every limit is the species'.
func (e *engine) climateFindings(out []finding) []finding {
	c := &e.sp.Climate
	out = out[:0]
	// Levels: beyond the limit watch, 3 °C further step in. [assumption]
	check := func(kind int, code string, limit float64, low bool, r risk, most care.Standing) {
		got := e.climate.latest[kind]
		if got.at.IsZero() {
			return
		}
		beyond := got.value - limit
		if low {
			beyond = -beyond
		}
		beyond -= got.slackOf(kind)
		if beyond <= 0 {
			return
		}
		level := care.Watch
		if beyond >= 3 {
			level = care.StepIn
		}
		out = append(out, finding{code: code, kind: kind, level: min(level, most), risk: r, limit: limit, value: got.value, with: got.with, id: got.id})
	}
	check(warmSide, "climate_warm_low", c.HotTooLow, true, risk{.3, .6, 21}, care.StepIn)
	check(coolSide, "climate_cool_low", c.CoolTooLow, true, risk{.1, .5, 21}, care.Watch)
	check(coolSide, "climate_cool_high", c.CoolTooHigh, false, risk{.15, .7, 14}, care.StepIn)
	check(night, "climate_night_low", c.NightTooLow, true, risk{.15, .5, 21}, care.StepIn)
	check(humidity, "climate_humidity_low", c.HumidityTooLow, true, risk{.1, .3, 30}, care.Watch)
	check(humidity, "climate_humidity_high", c.HumidityTooHigh, false, risk{.15, .4, 21}, care.Watch)

	// A warm side above the species' limit is a red rule at any distance.
	if got := e.climate.latest[warmSide]; !got.at.IsZero() && got.value > c.HotTooHigh+got.slackOf(warmSide) {
		out = append(out, finding{code: "climate_warm_high", kind: warmSide, level: care.StepIn, risk: risk{.3, 1, 3}, limit: c.HotTooHigh, value: got.value, with: got.with, id: got.id})
	}
	if got := e.climate.latest[surface]; !got.at.IsZero() {
		f := finding{code: "climate_surface_hot", kind: surface, level: care.StepIn, value: got.value, with: got.with, id: got.id}
		for _, b := range burns {
			if got.value >= b.above+got.slackOf(surface) {
				f.limit, f.risk, f.burns = b.above, b.risk, b.time
				out = append(out, f)
				return out
			}
		}
		// Warmer than the warm side may be, but below what burns.
		if warm := c.HotTooHigh + 2; got.value > warm+got.slackOf(surface) {
			f.limit, f.level, f.risk = warm, care.Watch, risk{.1, .6, 7}
			out = append(out, f)
		}
	}
	return out
}

// inShedHumidity reports the humidity that a shed calls for, when the latest
// reading is below it.
func (e *engine) inShedHumidity() (snake.Band, bool) {
	got := e.climate.latest[humidity]
	band := e.sp.Climate.ShedHumidity
	return band, e.inShed(e.today) && !got.at.IsZero() && got.value < band.Low
}
