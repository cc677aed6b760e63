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
	gradient = kinds // of a finding only: between the ends
)

// climate is what is known of the enclosure's climate: the smoothed warm side
// that the feeding model goes by, the latest reading of each kind, and the warm
// side's readings of late.
type climate struct {
	known  bool
	warm   float64 // smoothed, °C
	latest [kinds]reading
	warmth []reading // by trustworthy instruments, in order
}

type reading struct {
	value float64
	with  care.TakenWith
	at    time.Time // zero: never
	id    string
}

// weak reports an instrument that shows the wall it sits on.
func (r reading) weak() bool { return r.with == care.WithDial || r.with == care.WithStrip }

// dialSlack is how much further than the limit a stick-on dial or strip must be
// before it is taken at its word, °C and % humidity.
var (
	dialSlack    = snake.Numbers("climate", "dial_slack", 2)
	unknownSlack = snake.Number("climate", "unknown_slack")
)

// slackOf is a reading's own slack: all of the dial's, none of a probe's, part
// of it where nobody said how it was taken.
func (r reading) slackOf(kind int) float64 {
	weak, per := 0., dialSlack[0]
	if kind == humidity {
		per = dialSlack[1]
	}
	switch r.with {
	case care.WithDial, care.WithStrip:
		weak = 1
	case care.WithProbe, care.WithInfrared:
	default:
		weak = unknownSlack
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
	if got := c.latest[warmSide]; got.weak() {
		warm = (warm + optimum) / 2 // a weak instrument moves the picture half as far
	} else {
		old := 0
		for old < len(c.warmth) && got.at.Sub(c.warmth[old].at) > hours(24*(coldDays+1)) {
			old++
		}
		c.warmth = append(c.warmth[:copy(c.warmth, c.warmth[old:])], got)
	}
	if !c.known {
		c.known, c.warm = true, warm
		return true
	}
	c.warm = (c.warm + warm) / 2
	return false
}

// Readings grow old: what was measured is taken at its word for four weeks, then
// counts half for every further four, for nobody knows what was changed since.
var (
	freshDays, fadeDays = split(snake.Numbers("climate", "fresh", 2))
	oldNews, forgotten  = split(snake.Numbers("climate", "old", 2))
)

func split(two []float64) (a, b float64) { return two[0], two[1] }

// faded is how much a reading still counts, 1 to 0.
func (e *engine) faded(r reading) float64 {
	return math.Exp2(-math.Max(0, float64(e.daysSince(r.at))-freshDays) / fadeDays)
}

// deficit is how many °C the warm side is below the optimum, by what is known
// of it today; 0 when nothing is.
func (e *engine) deficit() float64 {
	c := &e.climate
	if !c.known || c.warm >= e.sp.Climate.Optimum {
		return 0
	}
	return (e.sp.Climate.Optimum - c.warm) * e.faded(c.latest[warmSide])
}

// gradient is the difference of the ends, °C, by the latest readings of both,
// and the instrument's slack; false when they were not taken within three days
// of each other.
func (e *engine) gradient() (gap, slack float64, ok bool) {
	warm, cool := e.climate.latest[warmSide], e.climate.latest[coolSide]
	if warm.at.IsZero() || cool.at.IsZero() || warm.at.Sub(cool.at).Abs() > 3*day {
		return 0, 0, false
	}
	return warm.value - cool.value, math.Max(warm.slackOf(warmSide), cool.slackOf(coolSide)), true
}

// gradientSince is the gradient if both ends were measured after an instant,
// else 0.
func (e *engine) gradientSince(at time.Time) float64 {
	gap, _, ok := e.gradient()
	if !ok || e.climate.latest[warmSide].at.Before(at) || e.climate.latest[coolSide].at.Before(at) {
		return 0
	}
	return gap
}

var (
	// Two ends that differ less are one; and they may differ by no more than the
	// species' own bands allow and some °C besides.
	leastGradient, wideGradient = split(snake.Numbers("climate", "gradient", 2))

	// coldHours are the degree-hours that are worth a word, coldDays the time over
	// which they are counted.
	coldHours, coldDays = split(snake.Numbers("climate", "cold_hours", 2))
	// Between two readings up to bridge hours apart the warm side is taken to have
	// gone straight from one to the other; a lone reading stands for the hours
	// around it. Beyond that nothing is known.
	bridge, around = split(snake.Numbers("climate", "between", 2))
)

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// cold is what is known of how cold the warm side was.
type cold struct {
	degreeHours  float64 // °C·h below the limit: at least so much
	below, known float64 // hours below it, and hours that are known at all
}

// coldness counts the degree-hours of the last days that the warm side spent
// below a limit, by probe or infrared; what happened between readings that lie
// far apart is not guessed.
func (e *engine) coldness(limit float64) (sum cold) {
	end := e.today
	list := e.climate.warmth
	if len(list) > 0 {
		end = later(end, list[len(list)-1].at)
	}
	from := end.Add(-hours(24 * coldDays))
	add := func(t0, t1 time.Time, v0, v1 float64) {
		if t0.Before(from) && t1.After(from) {
			v0 += (v1 - v0) * from.Sub(t0).Hours() / t1.Sub(t0).Hours()
			t0 = from
		}
		span := t1.Sub(t0).Hours()
		if t0.Before(from) || span <= 0 {
			return
		}
		sum.known += span
		d0, d1 := limit-v0, limit-v1
		switch {
		case d0 <= 0 && d1 <= 0:
			return
		case d0 < 0: // it fell below the limit on the way
			span, d0 = span*d1/(d1-d0), 0
		case d1 < 0:
			span, d1 = span*d0/(d0-d1), 0
		}
		sum.below += span
		sum.degreeHours += span * (d0 + d1) / 2
	}
	for i, r := range list {
		if next := i + 1; next < len(list) && list[next].at.Sub(r.at) <= hours(bridge) {
			add(r.at, list[next].at, r.value, list[next].value)
		} else {
			until := r.at.Add(hours(around))
			if until.After(end) {
				until = end
			}
			add(r.at, until, r.value, r.value)
		}
		if i == 0 || r.at.Sub(list[i-1].at) > hours(bridge) {
			add(r.at.Add(-hours(around)), r.at, r.value, r.value)
		}
	}
	return sum
}

// burns are the thresholds for contact with a hot surface, °C and seconds, of
// ISO 13732-1, the longest first: human skin, whatever the material. No curve
// for reptiles is published; a snake lies on warm things for hours and often does
// not move away. Above the last the material begins to matter and it is a
// matter of seconds.
var burns = [...]struct{ celsius, seconds float64 }{burn("burn_8h"), burn("burn_10min"), burn("burn_1min")}

func burn(what string) struct{ celsius, seconds float64 } {
	v := snake.Numbers("climate", what, 2)
	return struct{ celsius, seconds float64 }{v[0], v[1]}
}

// burnTime is the contact, in seconds, after which a surface of this many °C
// burns human skin: the logarithm of the time straight between the norm's
// points, +Inf below the first, and at the last one's time at the most above it.
func burnTime(celsius float64) float64 {
	if !(celsius >= burns[0].celsius) {
		return math.Inf(1)
	}
	for i, b := range burns[1:] {
		if a := burns[i]; celsius <= b.celsius {
			return a.seconds * math.Pow(b.seconds/a.seconds, (celsius-a.celsius)/(b.celsius-a.celsius))
		}
	}
	return burns[len(burns)-1].seconds
}

// climateRisks is what each finding may do, by its code's end.
var climateRisks = risks("climate risk")

// burnRisk is what a surface that burns in so many seconds may do: between that
// of eight hours and that of a minute.
func burnRisk(seconds float64) risk {
	share := math.Log(burns[0].seconds/seconds) / math.Log(burns[0].seconds/burns[len(burns)-1].seconds)
	a, b := climateRisks["burns_8h"], climateRisks["burns_1min"]
	return risk{a.p + share*(b.p-a.p), a.severity + share*(b.severity-a.severity), a.days + share*(b.days-a.days)}
}

// stepInBeyond is how many °C or % beyond a limit a reading is worth a word
// today.
var stepInBeyond = snake.Number("climate", "step_in")

// finding is one thing wrong with the climate.
type finding struct {
	code  string
	kind  int
	level care.Standing
	risk  risk
	limit float64
	value float64
	got   reading // the latest behind it
	burns float64 // seconds of contact, for a hot surface; 0: does not burn
	cold  cold    // what is known of how long it was below the limit
}

// hot reports a finding that can burn.
func (f *finding) hot() bool { return f.code == "climate_surface_hot" || f.code == "climate_warm_high" }

// climateFindings judges the latest readings. Every limit is the species'.
func (e *engine) climateFindings(out []finding) []finding {
	c := &e.sp.Climate
	out = out[:0]
	add := func(f finding, most care.Standing) {
		fade := e.faded(f.got)
		f.risk.p *= fade
		f.level = min(f.level, most)
		if fade <= oldNews { // old news is watched, and older still forgotten
			f.level = min(f.level, care.Watch)
		}
		if fade > forgotten || f.hot() { // but what burned burns until it is measured again
			out = append(out, f)
		}
	}
	// Levels: beyond the limit watch, some °C further step in.
	check := func(kind int, code string, limit float64, low bool, most care.Standing) {
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
		f := finding{code: "climate_" + code, kind: kind, level: care.Watch, risk: climateRisks[code], limit: limit, value: got.value, got: got}
		if beyond >= stepInBeyond {
			f.level = care.StepIn
		}
		if kind == warmSide && low {
			// What has been cold for a week already is nearer to harm.
			f.cold = e.coldness(limit)
			f.risk.days = math.Max(f.risk.days/2, f.risk.days-f.cold.below/24)
		}
		add(f, most)
	}
	check(warmSide, "warm_low", c.HotTooLow, true, care.StepIn)
	check(coolSide, "cool_low", c.CoolTooLow, true, care.Watch)
	check(coolSide, "cool_high", c.CoolTooHigh, false, care.StepIn)
	ends := len(out) // of the two ends; where one is wrong, so is what lies between
	check(night, "night_low", c.NightTooLow, true, care.StepIn)
	check(humidity, "humidity_low", c.HumidityTooLow, true, care.Watch)
	check(humidity, "humidity_high", c.HumidityTooHigh, false, care.Watch)

	warm := e.climate.latest[warmSide]
	tooWarm := !warm.at.IsZero() && warm.value > c.HotTooHigh+warm.slackOf(warmSide)
	if ends == 0 && !tooWarm {
		if f, ok := e.gradientFinding(); ok {
			add(f, care.Watch)
		}
		if was := e.coldness(c.HotSpot.Low); was.degreeHours >= coldHours && warm.value >= c.HotSpot.Low {
			add(finding{code: "climate_cold_hours", kind: warmSide, level: care.Watch, risk: climateRisks["cold_hours"], limit: c.HotSpot.Low, value: warm.value, got: warm, cold: was}, care.Watch)
		}
	}
	// A warm side above the species' limit is a red rule at any distance.
	if tooWarm {
		f := finding{code: "climate_warm_high", kind: warmSide, level: care.StepIn, risk: climateRisks["warm_high"], limit: c.HotTooHigh, value: warm.value, got: warm}
		if s := burnTime(warm.value - warm.slackOf(warmSide)); !math.IsInf(s, 1) {
			f.burns, f.risk = s, burnRisk(s)
		}
		add(f, care.StepIn)
	}
	if got := e.climate.latest[surface]; !got.at.IsZero() {
		f := finding{code: "climate_surface_hot", kind: surface, level: care.StepIn, value: got.value, got: got}
		s, most := burnTime(got.value-got.slackOf(surface)), c.HotTooHigh+2
		switch {
		case !math.IsInf(s, 1):
			f.limit, f.burns, f.risk = burns[0].celsius, s, burnRisk(s)
			add(f, care.StepIn)
		case got.value > most+got.slackOf(surface): // warmer than the warm side may be, but below what burns
			f.limit, f.level, f.risk = most, care.Watch, climateRisks["surface_warm"]
			add(f, care.Watch)
		}
	}
	return out
}

// gradientFinding is what is wrong with the difference between the ends.
func (e *engine) gradientFinding() (finding, bool) {
	c := &e.sp.Climate
	gap, slack, ok := e.gradient()
	f := finding{kind: gradient, level: care.Watch, value: gap, got: e.climate.latest[warmSide]}
	switch most := c.HotSpot.High - c.Cool.Low + wideGradient; {
	case !ok:
		return f, false
	case gap < leastGradient-slack:
		f.code, f.limit, f.risk = "climate_gradient_small", leastGradient, climateRisks["gradient_small"]
	case gap > most+slack:
		f.code, f.limit, f.risk = "climate_gradient_large", most, climateRisks["gradient_large"]
	default:
		return f, false
	}
	return f, true
}

// inShedHumidity reports the humidity that a shed calls for, when the latest
// reading is below it.
func (e *engine) inShedHumidity() (snake.Band, bool) {
	got := e.climate.latest[humidity]
	band := e.sp.Climate.ShedHumidity
	return band, e.inShed(e.today) && !got.at.IsZero() && got.value < band.Low
}
