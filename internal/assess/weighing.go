package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
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
// what was expected counts less; robust false lets everything count in full.
func (f *filter) update(y, g, h, r float64, robust bool) {
	var ph [3]float64
	for i := range ph {
		ph[i] = f.p[i][0] + f.p[i][2]*h
	}
	hph := ph[0] + h*ph[2]
	innovation := y - (f.x + g + h*f.e)
	if robust {
		z2 := sq(innovation) / (hph + r)
		r /= math.Max(outlierLeast, math.Min(1, outlierOver/(outlierPlus+z2)))
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

// Shares are of the mass at the handover, spreads are standard deviations.
var (
	outlierOver, outlierPlus, outlierLeast = three(snake.Numbers("weighing", "outlier", 3))

	gutDoubt = snake.Number("weighing", "gut_doubt") // spread, as a share of what is in the gut
	gutDays  = snake.Number("weighing", "gut_days")  // e-folding time of a meal in the gut
	gutDecay = math.Exp(-1 / gutDays)
	gutMost  = snake.Number("weighing", "gut_most") // share
	digested = snake.Number("weighing", "digested") // days after which nothing of a meal counts as in the gut

	walkX, walkS       = split(snake.Numbers("weighing", "walk", 2)) // variance that a day adds to x, and to s
	startVar           = snake.Number("weighing", "start")           // variance
	growth, oldLet     = split(snake.Numbers("weighing", "old", 2))  // share for each day since an old weight; days let pass
	lossSpread         = snake.Number("weighing", "loss_spread")     // share of the ordinary loss
	kept, keptVar      = split(snake.Numbers("weighing", "kept", 2)) // of prey; variance
	firstNoise         = snake.Number("weighing", "first")
	weightNoise        = snake.Number("weighing", "noise")
	scalesNoise        = snake.Number("weighing", "scales")
	slipFactor         = snake.Number("weighing", "slip")
	farOff             = snake.Number("weighing", "far_off") // spreads
	sameAgain, sameDay = split(snake.Numbers("weighing", "same_again", 2))

	possibleLeast, possibleMost, expectedLeast = three(snake.Numbers("weighing", "possible", 3))

	failingLoss = snake.Numbers("weighing", "failing", 4)
	// weighEvery is after how many days a new weight would tell something.
	weighEvery, weighEveryIfLoss = wholeDays(snake.Numbers("weighing", "again", 2))

	tenth               = snake.Number("weighing", "lost")             // the share lost of which the texts say a tenth
	alarmLoss, alarmOff = split(snake.Numbers("weighing", "alarm", 2)) // share; log-odds
)

func wholeDays(v []float64) (a, b int) { return int(v[0]), int(v[1]) }

func newWeighing(s0 float64, b *baseline) weighing {
	w := weighing{s0: s0, start: b.mass - b.gutThen, refMass: 1, filter: filter{x: 1, s: s0, e: kept}}
	w.p[0][0] = startVar + sq(growth*math.Max(0, b.daysOld-oldLet))
	w.p[1][1] = sq(lossSpread * s0)
	w.p[2][2] = keptVar
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

// handoverWeight is the last weight on record by the handover, g, and when it
// was taken; 0 when there is none. A last weight that is far off from the two
// before it, which agree, is a slip, and the one before it stands.
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
	apart := func(a, b float64) bool { return a > slipFactor*b || b > slipFactor*a }
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
	most := gutMost * mass // no animal is mostly food
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
		w.p[0][0] = sq(firstNoise)
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

// surprise is how far a weight is from what was expected, in standard deviations.
func (w *weighing) surprise(mass float64) float64 {
	g, _ := w.gut()
	y := mass / w.start
	m, sd := w.tissue()
	return (y - g - m) / math.Sqrt(sd*sd+w.noise(y, g))
}

// agrees reports whether a weight is the one held back over again.
func (w *weighing) agrees(mass float64) bool {
	return math.Abs(math.Log(mass/w.held)) < sameAgain+sameDay*(w.days-w.heldDay)
}

// possible reports whether an animal can have come to this weight from the one
// expected: else it is another unit or another animal, however often it is
// written down.
func (w *weighing) possible(mass float64) bool {
	m, _ := w.tissue()
	share := mass / (w.start * math.Max(expectedLeast, m+w.inGut))
	return share > possibleLeast && share < possibleMost
}

// noise is the variance of one weight: scale, water and faeces, what is in the
// gut, and whole grams.
func (w *weighing) noise(y, g float64) float64 {
	return sq(weightNoise*math.Max(1, y)) + sq(gutDoubt*g) + sq(1/w.start)/12
}

func (w *weighing) take(mass float64, keepers, robust bool) {
	g, h := w.gut()
	y := mass / w.start
	r := w.noise(y, g)
	if keepers && !w.others {
		r += sq(scalesNoise)
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
// of the loss rate that they show under so many times the ordinary loss, against
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
	times, failing, ordinary, most := failingLoss[0], failingLoss[1], failingLoss[2], failingLoss[3]
	l := lnNormal(m, times*w.s0, 1/lambda+sq(failing*w.s0)) - lnNormal(m, w.s0, 1/lambda+sq(ordinary*w.s0))
	if m < w.s0 {
		l = math.Min(l, 0)
	}
	return math.Max(-most, math.Min(most, l))
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
