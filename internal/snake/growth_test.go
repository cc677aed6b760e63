package snake

import (
	"math"
	"testing"
	"time"
)

const days = 24 * time.Hour

// Ellis & Chappell 1987, J Comp Physiol B 157:393 (abstract): captive ball
// python hatchlings weigh about four times as much after a year.
func TestFirstYearEllisChappell(t *testing.T) {
	t.Parallel()
	s := mustFind(t, "python_regius")
	slow, fast := s.Grown(s.HatchMass, year, Slow), s.Grown(s.HatchMass, year, Fast)
	if four := 4 * s.HatchMass; four < slow || four > fast {
		t.Errorf("a year from hatching: %.0f to %.0f g, published %.0f", slow, fast, four)
	}
}

// Ball pythons of the Add-my-Pet collection (kept by B. Laarhoven, 2010): the
// first and the last weight of each that was neither gravid nor sold off
// before it ate, with the days between them. Each must lie within the forecast
// made at the first.
func TestGrowthAddMyPet(t *testing.T) {
	t.Parallel()
	s := mustFind(t, "python_regius")
	for _, c := range []struct{ from, to, days float64 }{
		{321, 451, 237}, {346, 558, 237}, {516, 1036, 237}, {378, 526, 237}, {700, 1109, 237},
		{1007, 1530, 237}, {1342, 1676, 237}, {82, 214, 119}, {1376, 1393, 88},
	} {
		after := time.Duration(c.days * float64(days))
		if slow, fast := s.Grown(c.from, after, Slow), s.Grown(c.from, after, Fast); c.to < slow || c.to > fast {
			t.Errorf("%.0f g after %.0f days: forecast %.0f to %.0f g, weighed %.0f", c.from, c.days, slow, fast, c.to)
		}
	}
}

// Steele et al. 2022 (Winona State University; through Add-my-Pet): means of
// boas on three feeding regimes, 739 days from birth.
func TestGrowthBoas(t *testing.T) {
	t.Parallel()
	s := mustFind(t, "boa_imperator")
	for _, c := range []struct{ from, to float64 }{{107.8, 957}, {99.8, 649.5}, {88.8, 285}} {
		if slow, fast := s.Grown(c.from, 737*days, Slow), s.Grown(c.from, 737*days, Fast); c.to < slow || c.to > fast {
			t.Errorf("%.0f g: forecast %.0f to %.0f g, weighed %.0f", c.from, slow, fast, c.to)
		}
	}
}

func TestGrowthHoldsTogether(t *testing.T) {
	t.Parallel()
	for _, s := range append(All(), unlisted) {
		if s.FirstYear.Low <= 1 || s.FirstYear.High <= s.FirstYear.Low || s.FirstYear.High*s.HatchMass >= s.AdultMass*adultShare[Fast] {
			t.Errorf("%s: %v hatch masses after a year", s.ID, s.FirstYear)
			continue
		}
		for _, pace := range []Pace{Slow, Fast} {
			near(t, s.ID+" after a year", s.Grown(s.HatchMass, year, pace), s.HatchMass*[]float64{s.FirstYear.Low, s.FirstYear.High}[pace], 1e-9)
			for mass := s.HatchMass; mass < 3*s.AdultMass; mass *= 1.3 {
				last := mass
				for d := 30; d < 3000; d += 30 {
					now := s.Grown(mass, time.Duration(d)*days, pace)
					if now < last || now > math.Max(mass, adultShare[pace]*s.AdultMass)*(1+1e-12) || now > s.Grown(mass, time.Duration(d)*days, Fast)*(1+1e-12) {
						t.Fatalf("%s %g g, pace %d, day %d: %g after %g", s.ID, mass, pace, d, now, last)
					}
					// The way back.
					if back, ok := s.GrownBy(mass, now, pace); now > mass*1.001 && now < .99*adultShare[pace]*s.AdultMass && (!ok || math.Abs((back-time.Duration(d)*days).Hours()) > 1) {
						t.Fatalf("%s: %g g to %g g takes %v, not %d days", s.ID, mass, now, back, d)
					}
					last = now
				}
			}
		}
	}
	s := mustFind(t, "python_regius")
	if s.Grown(0, year, Fast) != 0 {
		t.Error("an unknown mass grows")
	}
	if _, ok := s.GrownBy(100, 5000, Fast); ok {
		t.Error("a ball python is said to reach 5 kg")
	}
	if d, ok := s.GrownBy(500, 400, Slow); !ok || d != 0 {
		t.Error("what was outgrown lies ahead")
	}
}
