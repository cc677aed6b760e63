package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
)

// filter is a Kalman filter of three states: x, the body mass without meals; s,
// the daily loss of x; e, what is kept for each gram of prey. p is their
// covariance. Masses are shares of the mass at the handover.
type filter struct {
	x, s, e float64
	p       [3][3]float64
}

// predict lets a day go by: F = [1 −1 0; 0 1 0; 0 0 1], P ← F·P·Fᵀ + diag(qx, qs, 0).
func (f *filter) predict(qx, qs float64) {
	f.x -= f.s
	p := &f.p
	p[0][0] += -2*p[0][1] + p[1][1] + qx
	p[0][1] -= p[1][1]
	p[0][2] -= p[1][2]
	p[1][1] += qs
	p[1][0], p[2][0] = p[0][1], p[0][2]
}

// update takes in y = x + g + h·e with noise of variance r. What lies far from
// what was expected counts less: w is the weight of Student's t with 4 degrees
// of freedom; robust false keeps it at 1.
func (f *filter) update(y, g, h, r float64, robust bool) {
	var ph [3]float64
	for i := range ph {
		ph[i] = f.p[i][0] + f.p[i][2]*h
	}
	hph := ph[0] + h*ph[2]
	innovation := y - (f.x + g + h*f.e)
	if robust {
		z2 := sq(innovation) / (hph + r)
		r /= math.Max(.05, math.Min(1, 5/(2+z2)))
	}
	v := hph + r
	f.x += ph[0] / v * innovation
	f.s += ph[1] / v * innovation
	f.e += ph[2] / v * innovation
	for i := range f.p {
		for j := range f.p {
			f.p[i][j] -= ph[i] * ph[j] / v
		}
	}
}

// weighing is the weight of one animal since its handover.
//
// Constants: observation noise 3 to 5 %, conversion .41 to .48 and gut decay 2
// to 9 days were fitted on twelve ball pythons of the Add-my-Pet collection;
// healthy loss .00120 a day is McCue 2007, Zoology 110:318.
type weighing struct {
	filter
	start    float64 // g at the handover; 0 until a weight is known
	s0       float64 // the ordinary loss of a fasting animal, share a day
	startVar float64 // of s
	days     float64 // gone by
	seen     int     // weights taken in since the handover
	others   bool    // the keeper's scale was allowed for
	evidence float64 // see weigh, as of the last weigh-in or the evening before

	inGut, eaten float64 // prey: what is still in the gut; all since the handover

	held, heldDay float64 // a weight far from what was expected, until another speaks; 0 none

	// The last meal, for the ordinary course after it and in case it comes up.
	lastShare, lastLeft float64 // all; still in the gut
	refMass, refDays    float64 // tissue and day when it was eaten
}

// gutDoubt is the standard deviation of what is in the gut, as a share of what
// it is taken for.
const gutDoubt = .30

// gutDays is the e-folding time of a meal in the gut.
const gutDays = 4

var gutDecay = math.Exp(-1. / gutDays)

const (
	walkX = .002 * .002   // variance that a day adds to x
	walkS = .0002 * .0002 // and to s
	// growth is how much the mass may have changed for each day since an old
	// weight: fourfold in a year is .004 a day (Ellis & Chappell 1987).
	growth = .004
)

func newWeighing(s0 float64, b *baseline) weighing {
	w := weighing{s0: s0, start: b.mass - b.gutThen, refMass: 1, filter: filter{x: 1, s: s0, e: .45}}
	w.p[0][0] = .021*.021 + sq(growth*math.Max(0, b.daysOld-3))
	w.p[1][1] = sq(.6 * s0)
	w.p[2][2] = .10 * .10
	w.startVar = w.p[1][1]
	if b.gutThen > 0 || b.gutNow > 0 {
		w.p[0][0] += sq(gutDoubt * b.gutThen / w.start)
		w.inGut, w.eaten = b.gutNow/w.start, b.eaten/w.start
		w.lastShare, w.lastLeft = w.inGut, w.inGut
		w.refMass, _ = w.tissue()
	}
	return w
}

// baseline is what loss counts from: the last weight on record by the handover,
// 0 when there is none, and the meals that were in it or came after it.
type baseline struct {
	mass    float64 // g, as weighed
	daysOld float64
	gutThen float64 // g of prey not yet digested in that weight
	gutNow  float64 // and at the handover
	eaten   float64 // gutThen, and what was eaten since
}

// digested is the days after which nothing of a meal counts as in the gut:
// metabolism is back at its base after 6 to 8 (Ott & Secor 2007, J Exp Biol
// 210:340).
const digested = 8

// handoverWeight is the last weight on record by the handover, g, and when it
// was taken; 0 when there is none. A last weight that is off by half from the
// two before it, which agree, is a slip, and the one before it stands.
func handoverWeight(history []*care.Entry) (mass float64, at time.Time) {
	var masses [3]float64 // the last first
	var times [3]time.Time
	confirmed := false
	for _, x := range history {
		if w, ok := x.Body.(care.WeighIn); ok && usable(float64(w.Mass)) {
			masses = [3]float64{float64(w.Mass), masses[0], masses[1]}
			times = [3]time.Time{x.HappenedAt, times[0], times[1]}
			confirmed = x.Confirmed
		}
	}
	apart := func(a, b float64) bool { return a > 1.5*b || b > 1.5*a }
	if !confirmed && masses[2] > 0 && apart(masses[0], masses[1]) && apart(masses[0], masses[2]) && !apart(masses[1], masses[2]) {
		return masses[1], times[1]
	}
	return masses[0], times[0]
}

// baselineOf reads the breeder's meals. usual is the prey, as a share of the
// body, of a meal whose mass was not noted.
func baselineOf(history []*care.Entry, start time.Time, mass float64, weighed time.Time, usual float64) baseline {
	b := baseline{mass: mass}
	if mass == 0 {
		return b
	}
	b.daysOld = start.Sub(weighed).Hours() / 24
	type food struct{ then, now, eaten float64 }
	var before, all food // before: without the last meal, in case it comes up
	for _, x := range history {
		o, ok := x.Body.(care.Offer)
		age := weighed.Sub(x.HappenedAt).Hours() / 24 // at the weighing; not positive: eaten after it
		if !ok || age >= digested {
			continue
		}
		switch o.Result {
		case care.Regurgitated:
			all = before
		case care.Eaten:
			prey := float64(o.PreyMass)
			if !usable(prey) {
				prey = usual * mass
			}
			before = all
			all.now += prey * math.Exp(-start.Sub(x.HappenedAt).Hours()/24/gutDays)
			left := prey
			if age > 0 {
				left *= math.Exp(-age / gutDays)
				all.then += left
			}
			all.eaten += left
		}
	}
	most := .3 * mass // no animal is mostly food
	b.gutThen, b.gutNow, b.eaten = math.Min(most, all.then), math.Min(most, all.now), math.Min(most, all.eaten)
	return b
}

func usable(v float64) bool { return v > 0 && !math.IsInf(v, 0) }

// pass lets a day go by.
func (w *weighing) pass() {
	w.evidence = w.weigh()
	w.days++
	w.predict(walkX, walkS)
	w.inGut *= gutDecay
	w.lastLeft *= gutDecay
}

// gut is the prey still in the gut, and what has left it.
func (w *weighing) gut() (g, h float64) { return w.inGut, w.eaten - w.inGut }

// observe takes in one weight, g, and reports whether it counts. One that is
// far off and that nobody confirmed is held back.
func (w *weighing) observe(mass float64, keepers, confirmed bool) bool {
	if !usable(mass) {
		return false
	}
	if w.start == 0 {
		// The first weight there is: loss counts from here.
		*w = newWeighing(w.s0, &baseline{mass: mass})
		w.p[0][0] = .03 * .03
		w.others = keepers
		w.seen = 1
		return true
	}
	if !confirmed && math.Abs(w.surprise(mass)) > farOff {
		if w.held == 0 || !w.agrees(mass) || !w.possible(mass) {
			w.held, w.heldDay = mass, w.days
			return false
		}
		w.take(w.held, keepers, false) // twice the same is no slip
		confirmed = true
	}
	w.held = 0
	w.take(mass, keepers, !confirmed)
	return true
}

// farOff is how many standard deviations off a weight is held back until
// another agrees with it: a tenfold slip, ounces for grams, another animal's.
// [assumption]
const farOff = 4

// surprise is how far a weight is from what was expected, in standard deviations.
func (w *weighing) surprise(mass float64) float64 {
	g, _ := w.gut()
	y := mass / w.start
	m, sd := w.tissue()
	return (y - g - m) / math.Sqrt(sd*sd+w.noise(y, g))
}

// agrees reports whether a weight is the one held back over again.
func (w *weighing) agrees(mass float64) bool {
	return math.Abs(math.Log(mass/w.held)) < .08+.005*(w.days-w.heldDay)
}

// possible reports whether an animal can have come to this weight from the one
// expected: what is less than two fifths or more than two and a half times is
// another unit or another animal, however often it is written down. [assumption]
func (w *weighing) possible(mass float64) bool {
	m, _ := w.tissue()
	share := mass / (w.start * math.Max(.2, m+w.inGut))
	return share > .4 && share < 2.5
}

// noise is the variance of one weight: scale, water and faeces, what is in the
// gut, and whole grams.
func (w *weighing) noise(y, g float64) float64 {
	return sq(.03*math.Max(1, y)) + sq(gutDoubt*g) + sq(1/w.start)/12
}

func (w *weighing) take(mass float64, keepers, robust bool) {
	g, h := w.gut()
	y := mass / w.start
	r := w.noise(y, g)
	if keepers && !w.others {
		r += .010 * .010
		w.others = true
	}
	w.update(y, g, h, r, robust)
	w.seen++
	w.evidence = w.weigh()
}

func (w *weighing) meal(mass float64) {
	if w.start == 0 {
		*w = newWeighing(w.s0, &baseline{}) // nothing is known but that it ate
		return
	}
	w.refMass, _ = w.tissue()
	w.refDays = w.days
	w.lastShare = 0
	if usable(mass) {
		w.lastShare = mass / w.start
	}
	w.lastLeft = w.lastShare
	w.inGut += w.lastShare
	w.eaten += w.lastShare
}

// unmeal takes the last meal out again.
func (w *weighing) unmeal() {
	w.inGut -= w.lastLeft
	w.eaten -= w.lastShare
	w.lastShare, w.lastLeft = 0, 0
}

// tissue is the body mass without what is in the gut, as a share of the start,
// with its standard deviation.
func (w *weighing) tissue() (m, sd float64) {
	_, h := w.gut()
	v := w.p[0][0] + 2*h*w.p[0][2] + h*h*w.p[2][2]
	return w.x + h*w.e, math.Sqrt(math.Max(1e-12, v))
}

// pLoss is the probability that more than this share has been lost.
func (w *weighing) pLoss(share float64) float64 {
	m, sd := w.tissue()
	return phi((1 - m - share) / sd)
}

// daysTo is how long until so little is left, as a share of the start, if it
// eats nothing more: what is in the gut still counts. -1: not within a year.
func (w *weighing) daysTo(left float64) float64 {
	m, _ := w.tissue()
	days := (m + w.e*w.inGut - left) / w.s
	switch {
	case m <= left:
		return 0
	case w.s <= 0 || days > 365:
		return -1
	}
	return days
}

// expected is what an ordinary fast since the last meal would leave.
func (w *weighing) expected() float64 {
	return w.refMass*math.Exp(-w.s0*(w.days-w.refDays)) + w.e*(w.lastShare-w.lastLeft)
}

func (w *weighing) logOdds() float64 { return w.evidence }

// weigh is what the weights alone say for a lasting refusal: the likelihood
// of the loss rate that they show under 2.4 times the ordinary loss, against
// the ordinary one. 0 without a weight in the new home.
func (w *weighing) weigh() float64 {
	if w.seen == 0 || w.start == 0 {
		return 0
	}
	v0 := w.startVar + walkS*w.days
	lambda := 1/w.p[1][1] - 1/v0
	if !(lambda > 1e-9/v0) {
		return 0
	}
	m := (w.s/w.p[1][1] - w.s0/v0) / lambda
	l := lnNormal(m, 2.4*w.s0, 1/lambda+sq(.8*w.s0)) - lnNormal(m, w.s0, 1/lambda+sq(.35*w.s0))
	if m < w.s0 {
		l = math.Min(l, 0)
	}
	return math.Max(-3, math.Min(3, l))
}

func sq(v float64) float64 { return v * v }

func lnNormal(x, mean, variance float64) float64 {
	return -.5*math.Log(2*math.Pi*variance) - sq(x-mean)/(2*variance)
}

func logit(p float64) float64 {
	const tiny = 1e-12
	p = math.Min(1-tiny, math.Max(tiny, p))
	return math.Log(p / (1 - p))
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// phi is the standard normal distribution function.
func phi(z float64) float64 { return .5 * math.Erfc(-z/math.Sqrt2) }

// z90 bounds a two-sided 90 % interval of a normal distribution.
const z90 = 1.6448536269514722
