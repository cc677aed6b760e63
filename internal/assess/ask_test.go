package assess

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/reference"
	"warmhand/internal/snake"
)

// The rule behind the worth of an answer: over all costs c of a step in vain,
// alike from 0 to 1, knowing p instead of only its mean saves half its variance.
func TestWorthIsHalfTheVariance(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1961, 1))
	for range 50 {
		weights, p := [4]float64{}, [4]float64{}
		sum, mean, square := 0., 0., 0.
		for i := range p {
			weights[i], p[i] = r.Float64(), r.Float64()
			sum += weights[i]
		}
		for i := range p {
			mean += weights[i] / sum * p[i]
			square += weights[i] / sum * p[i] * p[i]
		}
		const steps = 100_000
		saved := 0.
		for j := range steps {
			c := (float64(j) + .5) / steps
			saved += math.Min(mean, c) / steps
			for i := range p {
				saved -= weights[i] / sum * math.Min(p[i], c) / steps
			}
		}
		near(t, "saved", saved, (square-mean*mean)/2, 1e-8)
	}
}

func TestWorthOfAWeightByR(t *testing.T) {
	t.Parallel()
	const d = 7
	looks := []outlook{ // the loss of a day is left out
		{mass: .95, sd: .03, noise: .03}, {mass: .91, sd: .02, noise: .03}, {mass: .88, sd: .05, noise: .031}, {mass: .99, sd: .03, noise: .03},
	}
	var mass, sd, noise, limit []float64
	for _, o := range looks {
		mass, sd, noise, limit = append(mass, o.mass), append(sd, math.Sqrt(sq(o.sd)+walkX*d)), append(noise, o.noise), append(limit, .90)
	}
	var r struct {
		Variances []float64 `json:"weight_variances"`
	}
	reference.AskR(t, map[string]any{"weight_variances": map[string]any{"mass": mass, "sd": sd, "noise": noise, "limit": limit}}, &r)
	for i, o := range looks {
		want := r.Variances[i] / 2
		near(t, "worth of a weight", o.weightWorth(d), want, .08*want) // five points are enough for a day
	}
}

// One offer, by hand: p comes to one of two values, and half of the variance of
// that is P(1−P)·(difference)²/2.
func TestNextQuestionWorked(t *testing.T) {
	t.Parallel()
	for _, x := range []float64{.0002, .001, .003, .01, .03, .1, .3, .6} {
		o := outlook{feed: feeding{n: 1 - x - .05, b: .05, x: x, alpha: 1.2, beta: 4.8, hB: .003}, wait: 6, every: 100}
		worth := func(d int) float64 {
			f := o.feed
			for i := 1; i <= 6; i++ {
				f.pass(0)
			}
			refuse := f.n*.2 + (f.b+f.x)*.92 // a fifth while all is well: 1.2 of 6
			yes, no := f, f
			yes.refused(0)
			no.accepted(0)
			for i := 7; i <= d; i++ {
				yes.pass(0)
				no.pass(0)
			}
			return refuse * (1 - refuse) * sq(yes.x-no.x) / 2
		}
		want := furthestAsk
		for d := furthestAsk; d >= 6; d-- {
			if worth(d) >= burden {
				want = d
			}
		}
		if got, about := o.next(); got != want || about != AskFood {
			t.Errorf("x = %v: asked about %s after %d days, want %d (worth %.2g)", x, about, got, want, worth(6))
		}
	}
}

// The bounds, for any log: a day at least, never before the next offer may be
// made, three weeks at most but for an agreed step.
func TestNextQuestionBounds(t *testing.T) {
	t.Parallel()
	each(t, 400, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		now := at(100 * r.Float64())
		var e engine
		e.run(s, log, now, nil)
		after, about := e.outlook.next()
		if after < 1 || after < e.outlook.wait || after > max(furthestAsk, e.outlook.wait) {
			t.Errorf("asked about %s after %d days, with food after %d", about, after, e.outlook.wait)
		}
		a := Assess(s, log, now)
		if a.Ask == "" || a.Question.String() == "" || a.AskAt.Sub(now) > time.Duration(max(furthestAsk, 14))*day {
			t.Errorf("%q %q at %v, now %v", a.Ask, a.Question, a.AskAt, now)
		}
	})
}

// An animal that eats is never asked about sooner than its twin that refuses, and
// mostly much later.
func TestEaterIsAskedLess(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(20, 26))
	seldom := 0
	const twins = 300
	for range twins {
		sp := snake.All()[r.IntN(len(snake.All()))]
		hatched := d0.AddDate(0, -2-r.IntN(60), 0)
		s := &Subject{Animal: care.Animal{Species: sp.ID, Hatched: &hatched}, HandedOverAt: d0, Hemi: care.South}
		offers, every := 2+r.IntN(3), 7+7*r.Float64()
		spacing := func(result care.OfferResult) int {
			log := []care.Entry{{ID: "w", By: care.BreederOwner, HappenedAt: at(-1), ReceivedAt: at(-1), Body: care.WeighIn{Mass: care.Grams(sp.HatchMass * 2)}}}
			for i := range offers {
				d := at(6 + every*float64(i))
				log = append(log, care.Entry{ID: strconv.Itoa(i), By: care.KeeperActor, HappenedAt: d, ReceivedAt: d, Body: care.Offer{Result: result, Prey: "rat"}})
			}
			var e engine
			e.run(s, log, at(6.1+every*float64(offers-1)), nil)
			after, _ := e.outlook.next()
			return after
		}
		eats, refuses := spacing(care.Eaten), spacing(care.Refused)
		if eats < refuses {
			t.Errorf("%s, %d offers: an eater is asked after %d days, a refuser after %d", sp.ID, offers, eats, refuses)
		}
		if eats >= 10 {
			seldom++
		}
	}
	if seldom < twins*3/4 {
		t.Errorf("only %d of %d eaters have ten days of peace", seldom, twins)
	}
}

func TestEndedIsNotAsked(t *testing.T) {
	t.Parallel()
	s, log := workedExample()
	log = append(log, care.Entry{ID: "end", By: care.BreederOwner, HappenedAt: at(27), ReceivedAt: at(27), Body: care.Ended{Outcome: care.OutcomeSettled}})
	if a := Assess(s, log, at(30)); !a.AskAt.IsZero() || a.Ask != "" || a.Question.String() != "" {
		t.Errorf("%v %q %q", a.AskAt, a.Ask, a.Question)
	}
}
