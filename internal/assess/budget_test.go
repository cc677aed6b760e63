package assess

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"warmhand/internal/care"
)

// ordinary is a healthy ball python hatchling with its keeper, made unlike the
// model: appetite is a hidden fullness that must run down before the animal
// takes food, and some animals simply pause for one stretch of weeks. About a
// third of its offers are refused; some that pause long lose weight in earnest.
// deepest is the largest share of its mass, without food, that it ever truly lost.
func ordinary(r *rand.Rand, days int) (s *Subject, log []care.Entry, deepest float64) {
	hatched := d0.AddDate(0, -3, -r.IntN(60))
	s = &Subject{Animal: care.Animal{Species: "python_regius", Hatched: &hatched}, HandedOverAt: d0, Hemi: care.North}
	add := func(d float64, b care.Body) {
		by := care.KeeperActor
		if d < 0 {
			by = care.BreederOwner
		}
		log = append(log, care.Entry{ID: strconv.Itoa(len(log)), By: by, HappenedAt: at(d), ReceivedAt: at(d), Body: b})
	}
	mass := 75 + 50*r.Float64()
	wants := 4 + 4*r.Float64()  // days after a meal until it is hungry
	shy := 4 + 8*r.ExpFloat64() // days that it hides after the move
	fast := [2]float64{-1, -1}  // one ordinary pause
	if r.Float64() < .15 {
		fast[0] = float64(days) * r.Float64()
		fast[1] = fast[0] + 10 + 25*r.Float64()
	}
	shedAt := 45 * r.Float64()
	lastMeal, gut := -60., 0.
	loss := .0015 + .002*r.Float64()
	offerEvery := float64(6 + r.IntN(4))
	next := -56 + 5*r.Float64()
	first := 3 + 6*r.Float64()
	var handedOver float64
	weighEvery := float64(7 + r.IntN(15))
	nextWeigh := 2 + 10*r.Float64()
	warm := care.Celsius(31.5 + 1.2*r.NormFloat64())
	add(-58, care.WeighIn{Mass: care.Grams(math.Round(mass))})
	for d := -57; d < days; d++ {
		mass *= 1 - loss
		if d >= 0 {
			deepest = math.Max(deepest, 1-mass/handedOver)
		}
		gut *= .78
		t := float64(d) + .3
		if d == -1 {
			add(t, care.WeighIn{Mass: care.Grams(math.Round(mass + gut*.5))})
			next, handedOver = first, mass
		}
		if d == 3 {
			add(t, care.ClimateReading{Warm: &warm, TakenWith: care.WithProbe})
		}
		if since := math.Mod(t+1000-shedAt, 45); since < 1 && d >= 0 && r.IntN(2) == 0 {
			add(t, care.Shed{Stage: care.Opaque})
		}
		if d >= 0 && t >= nextWeigh {
			nextWeigh += weighEvery * (.7 + .6*r.Float64())
			add(t+.1, care.WeighIn{Mass: care.Grams(math.Round((mass + gut) * (1 + .015*r.NormFloat64())))})
		}
		if t < next {
			continue
		}
		next += offerEvery * (.8 + .4*r.Float64())
		p := .9 // that it takes the prey
		if t-lastMeal < wants {
			p *= .5
		}
		if d >= 0 {
			p *= 1 - .7*math.Exp(-t/shy)
		}
		if math.Mod(t+1000-shedAt, 45) < 9 {
			p *= .35
		}
		if d >= 0 && t > fast[0] && t < fast[1] {
			p = 0
		}
		prey := mass * (.08 + .06*r.Float64())
		o := care.Offer{Result: care.Refused, Prey: "rat", PreyState: care.Thawed, PreyMass: care.Grams(math.Round(prey))}
		if r.Float64() < p {
			o.Result = care.Eaten
			lastMeal = t
			mass += .45 * prey
			gut += .55 * prey
		}
		if d < 0 || r.Float64() < .9 { // some is never written down
			add(t+.2, o)
		}
	}
	return s, log, deepest
}

// The budget of false alarms, on animals unlike those that the thresholds were
// set on: of those that keep their weight at most 15 in 100 are ever called out
// for in 75 days and at most 1 is sent to a vet; of those that truly lose a
// tenth and more, most are found.
func TestBudgetOfFalseAlarms(t *testing.T) {
	t.Parallel()
	const animals, days = 500, 75
	var kept, called, vet, lost, found int
	for seed := range animals {
		s, log, deepest := ordinary(rand.New(rand.NewPCG(20270301, uint64(seed))), days)
		_, c := AssessCourse(s, log, at(days))
		highest := care.Settled
		for _, d := range c.Days {
			highest = max(highest, d.Standing)
		}
		switch {
		case deepest < .08:
			kept++
			if highest >= care.StepIn {
				called++
			}
			if highest == care.Vet {
				vet++
			}
		case deepest > .10:
			lost++
			if highest >= care.StepIn {
				found++
			}
		}
	}
	t.Logf("%d keep their weight: %d called out for, %d sent to a vet; %d lose a tenth: %d found", kept, called, vet, lost, found)
	if float64(called) > .15*float64(kept) {
		t.Errorf("%d of %d animals that keep their weight are called out for", called, kept)
	}
	if float64(vet) > .01*float64(kept) {
		t.Errorf("%d of %d animals that keep their weight are sent to a vet", vet, kept)
	}
	if 2*found < lost {
		t.Errorf("of %d animals that lost a tenth only %d were found", lost, found)
	}
}
