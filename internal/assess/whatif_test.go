package assess

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"warmhand/internal/care"
)

// The worked example, the day before its meal: the numbers that the method's
// table gives for day 26 are what "if it eats" must say.
func TestSupposeWorked(t *testing.T) {
	t.Parallel()
	s, log := workedExample()
	got := Suppose(s, log, at(25.5), care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 11}, at(26))
	if got.Code != TryEats || got.Condition.String() != "it eats again" || !got.At.Equal(at(26)) {
		t.Errorf("%+v", got)
	}
	want := Assess(s, log, at(29))
	if got.Standing != want.Standing || got.Urgency != want.Urgency || got.PRefusal != want.PRefusal {
		t.Errorf("it eats: %v %v %v, want %v %v %v", got.Standing, got.Urgency, got.PRefusal, want.Standing, want.Urgency, want.PRefusal)
	}
	var e engine
	e.run(s, log, at(26.5), nil)
	near(t, "log-odds of the table", e.logOdds(), -2.3299, 6e-5)

	again := Suppose(s, log, at(25.5), care.Offer{Result: care.Refused, Prey: "rat", PreyMass: 11}, at(26))
	if again.Code != TryRefuses || again.PRefusal <= got.PRefusal || again.Urgency <= got.Urgency || again.Standing < got.Standing {
		t.Errorf("it refuses: %+v, beside %+v", again, got)
	}
	light := Suppose(s, log, at(25.5), care.WeighIn{Mass: 72}, at(26))
	if light.Standing != care.Vet || light.Condition.String() != "it weighs 72 g (2.5 oz)" || !strings.Contains(light.Consequence.String(), "rise to “vet”") {
		t.Errorf("a fifth lost: %+v", light)
	}
}

// What is promised is what the engine says once it comes true; the list is in
// order; nothing is in it that would not change anything.
func TestWhatWouldChangeComesTrue(t *testing.T) {
	t.Parallel()
	codes := map[string]int{}
	each(t, 400, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		now := at(100 * r.Float64())
		today := Assess(s, log, now)
		var known []care.Entry
		for _, x := range log {
			if !x.HappenedAt.After(now) {
				known = append(known, x)
			}
		}
		all := WhatWouldChange(s, log, now, 100)
		for i, x := range all {
			codes[x.Code]++
			if x.At.Before(now) || x.Condition.String() == "" || x.Consequence.String() == "" || x.ForKeeper.String() == "" {
				t.Errorf("%+v", x)
			}
			came := append(slices.Clone(known), care.Entry{ID: "x", By: care.KeeperActor, Confirmed: true, HappenedAt: x.At, ReceivedAt: x.At, Body: x.Body})
			a := Assess(s, came, x.At.Add(settles))
			if a.Standing != x.Standing || a.Urgency != x.Urgency {
				t.Errorf("%s: %v %v came, promised %v %v", x.Condition, a.Standing, a.Urgency, x.Standing, x.Urgency)
			}
			if at := Assess(s, came, x.StandingAt); at.Standing != x.Standing {
				t.Errorf("%s: %v at %v, promised %v", x.Condition, at.Standing, x.StandingAt, x.Standing)
			}
			if x.Standing == today.Standing && math.Abs(x.Urgency-today.Urgency) < leastChange {
				t.Errorf("%s changes nothing: %v %v", x.Condition, x.Standing, x.Urgency)
			}
			if x.Better() && x.Standing >= today.Standing {
				t.Errorf("%s is no better: %v after %v", x.Condition, x.Standing, today.Standing)
			}
			if i > 0 && math.Abs(x.change()) > math.Abs(all[i-1].change()) {
				t.Errorf("%s comes after %s", x.Condition, all[i-1].Condition)
			}
			if (x.Code == TryEats || x.Code == TryRefuses) && slices.ContainsFunc(today.Steps, func(s care.Step) bool { return s.Code == StepCallVet }) {
				t.Errorf("food is on a mind that should be on a vet: %+v", today.Steps)
			}
		}
		if few := WhatWouldChange(s, log, now, 2); len(few) != min(2, len(all)) {
			t.Errorf("%d of %d, want two", len(few), len(all))
		}
	})
	for _, code := range []string{TryEats, TryRefuses, TryWeighs, TryClimate, TryWord, "fix:heater_thermostat"} {
		if codes[code] == 0 {
			t.Errorf("no log came to %s: %v", code, codes)
		}
	}
}

// "88 g or more" means that a gram less is another standing, and that heavier is
// the same, as far as the scale may well show.
func TestTellingWeightIsTheEdge(t *testing.T) {
	t.Parallel()
	edges := 0
	each(t, 400, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		now := at(100 * r.Float64())
		for _, x := range WhatWouldChange(s, log, now, 100) {
			mass := 0.
			if b, ok := x.Body.(care.WeighIn); ok && x.edge {
				mass = float64(b.Mass)
			}
			up := 1.
			if strings.HasSuffix(x.Condition.String(), "or less") {
				up = -1
			}
			w := newWhatIf(s, log, now)
			mean, sd := w.weight.foresee()
			if far := mean + up*z90*sd; mass > 0 && math.Abs(far-mass) > 1 {
				edges++
				for _, m := range []float64{mass, (mass + far) / 2, far} {
					if got := Suppose(s, log, now, care.WeighIn{Mass: care.Grams(math.Round(m))}, now); got.Standing != x.Standing {
						t.Errorf("%s: at %.0f g it is %v, want %v", x.Condition, m, got.Standing, x.Standing)
					}
				}
				if inside := mass - 2*up; math.Abs(inside-mean) < z90*sd {
					if got := Suppose(s, log, now, care.WeighIn{Mass: care.Grams(math.Round(inside))}, now); got.Standing == x.Standing {
						t.Errorf("%s: at %.0f g it is %v too", x.Condition, inside, got.Standing)
					}
				}
			}
		}
	})
	if edges < 10 {
		t.Errorf("only %d edges", edges)
	}
}

func BenchmarkWhatWouldChange(b *testing.B) {
	s, log := workedExample()
	for b.Loop() {
		WhatWouldChange(s, log, at(25.5), 3)
	}
}
