package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
)

// weighing is the three-state Kalman filter of the weight: x, the body mass
// without meals; s, the daily loss; e, grams kept for each gram of prey. Masses
// are fractions of the mass at the handover.
//
// Constants: observation noise 3 to 5 %, conversion .41 to .48, gut decay 2 to
// 9 days, fitted on twelve ball pythons of the Add-my-Pet collection; healthy
// loss .00120 a day from McCue 2007.
type weighing struct {
	start float64 // g at the handover; 0 until a weight is known
	s0    float64 // the ordinary loss of a fasting animal, fraction a day

	x, s, e float64
	p       [3][3]float64
	days    float64 // gone by
	seen    int     // weights taken in since the handover
	other   bool    // the keeper's scale was allowed for
	said    float64 // see logOdds

	meals    []meal
	refMass  float64 // tissue mass at the last meal, for the expected course
	refDays  float64
	startVar float64
}

type meal struct{ share, age float64 } // prey / start mass; days

const gutDays = 4 // e-folding time of a meal in the gut, days

func newWeighing(s0 float64, log []care.Entry, start time.Time) weighing {
	w := weighing{s0: s0, x: 1, s: s0, e: .45, refMass: 1}
	gap := 0.0
	for i := range log {
		if log[i].HappenedAt.After(start) {
			break
		}
		if m, ok := log[i].Body.(care.WeighIn); ok && log[i].Current() {
			w.start = float64(m.Mass)
			gap = start.Sub(log[i].HappenedAt).Hours() / 24
		}
	}
	w.p[0][0] = .021 * .021
	if gap > 3 {
		// An old weight says less about the day of the handover.
		w.p[0][0] += .002 * .002 * gap
	}
	w.p[1][1] = .6 * s0 * .6 * s0
	w.p[2][2] = .10 * .10
	w.startVar = w.p[1][1]
	return w
}

// pass lets a day go by: F = [1 −1 0; 0 1 0; 0 0 1], P ← FPFᵀ + Q.
func (w *weighing) pass() {
	w.said = w.evidence()
	w.days++
	w.x -= w.s
	p := &w.p
	p[0][0] += -2*p[0][1] + p[1][1] + .002*.002
	p[0][1] -= p[1][1]
	p[0][2] -= p[1][2]
	p[1][1] += .0002 * .0002
	p[1][0], p[2][0] = p[0][1], p[0][2]
	for i := range w.meals {
		w.meals[i].age++
	}
}

// gut is the mass of prey still in the gut, and of prey digested.
func (w *weighing) gut() (g, h float64) {
	for _, m := range w.meals {
		left := math.Exp(-m.age / gutDays)
		g += m.share * left
		h += m.share * (1 - left)
	}
	return g, h
}

// observe takes in one weight, g. A weight far from what was expected counts
// less (Student's t with 4 degrees of freedom).
func (w *weighing) observe(mass float64, keepers bool) {
	if w.start == 0 {
		w.start = mass // the first weight there is
		w.seen++
		return
	}
	g, h := w.gut()
	y := mass / w.start
	H := [3]float64{1, 0, h}
	var ph [3]float64
	for i := range ph {
		ph[i] = w.p[i][0] + w.p[i][2]*h
	}
	hph := ph[0] + h*ph[2]
	res := 1 / w.start
	r := sq(.03*math.Max(1, y)) + sq(.30*g) + res*res/12
	if keepers && !w.other {
		r += .010 * .010
		w.other = true
	}
	innovation := y - (w.x + g + h*w.e)
	z2 := sq(innovation) / (hph + r)
	weight := math.Max(.05, math.Min(1, 5/(2+z2)))
	v := hph + r/weight
	var k [3]float64
	for i := range k {
		k[i] = ph[i] / v
	}
	w.x += k[0] * innovation
	w.s += k[1] * innovation
	w.e += k[2] * innovation
	var next [3][3]float64
	for i := range next {
		for j := range next {
			next[i][j] = w.p[i][j] - k[i]*(H[0]*w.p[0][j]+H[2]*w.p[2][j])
		}
	}
	w.p = next
	w.seen++
	w.said = w.evidence()
}

func (w *weighing) meal(mass, guess float64) {
	if mass <= 0 {
		mass = guess
	}
	if w.start > 0 && mass > 0 {
		w.meals = append(w.meals, meal{share: mass / w.start})
	}
	w.refMass, _ = w.tissue()
	w.refDays = w.days
}

// unmeal takes the last meal out again.
func (w *weighing) unmeal() {
	if n := len(w.meals); n > 0 {
		w.meals = w.meals[:n-1]
	}
}

// tissue is the body mass without what is in the gut, as a share of the start,
// with its standard deviation.
func (w *weighing) tissue() (m, sd float64) {
	_, h := w.gut()
	v := w.p[0][0] + 2*h*w.p[0][2] + h*h*w.p[2][2]
	return w.x + h*w.e, math.Sqrt(math.Max(0, v))
}

// pLoss is the probability that more than this share has been lost.
func (w *weighing) pLoss(share float64) float64 {
	m, sd := w.tissue()
	return phi((1 - m - share) / sd)
}

// expected is what an ordinary fast since the last meal would leave.
func (w *weighing) expected() float64 {
	return w.refMass * math.Exp(-w.s0*(w.days-w.refDays))
}

// logOdds is what the weights alone say for a lasting refusal, as of the last
// evening or of a weight taken since. 0 without a weight.
func (w *weighing) logOdds() float64 { return w.said }

// evidence is the likelihood of the observed loss rate under 2.4 times the
// ordinary loss against the ordinary one, as log-odds.
func (w *weighing) evidence() float64 {
	if w.seen == 0 || w.start == 0 {
		return 0
	}
	v0 := w.startVar + .0002*.0002*w.days
	lambda := 1/w.p[1][1] - 1/v0
	if lambda <= 1e-9 {
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
