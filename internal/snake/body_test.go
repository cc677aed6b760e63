package snake

import (
	"math"
	"math/rand/v2"
	"testing"
)

// An independent count: draw the true diameter and the true opening, and ask
// whether the head goes in and the fed body does not.
func TestWedgeProbabilityMonteCarlo(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ opening, sd, dEq, prey float64 }{
		{18, 0, 16, 0}, {18, 1, 16, 0}, {12, 2, 16, 0}, {22, .3, 16, 0}, {22, 3, 16, 15},
		{24, .5, 16, 25}, {8, 1, 5.4, 0}, {8, .2, 5.4, 1.5}, {55, 4, 41, 90}, {13, .01, 16, 0},
	} {
		r := rand.New(rand.NewPCG(7, uint64(c.opening*100)))
		const n = 200_000
		stuck := 0
		for range n {
			d := c.dEq * math.Exp(.12*r.NormFloat64())
			w := c.opening + c.sd*r.NormFloat64()
			prey := 1.1 * 10 * math.Pow(4*c.prey/(2.5*math.Pi), 1./3)
			if .75*d < w && w < 1.1*math.Max(1.25*d, prey) {
				stuck++
			}
		}
		p := float64(stuck) / n
		got := WedgeProbability(c.opening, c.sd, c.dEq, c.prey)
		if tolerance := 4*math.Sqrt(p*(1-p)/n) + 2e-4; math.Abs(got-p) > tolerance {
			t.Errorf("%+v: got %.5f, counted %.5f ± %.5f", c, got, p, tolerance)
		}
	}
}

func TestWedgeProbabilityShape(t *testing.T) {
	t.Parallel()
	for _, sd := range []float64{0, .2, 2} {
		for _, prey := range []float64{0, 15} {
			// Over the width of the opening it rises to one place and falls after it.
			falling, last := false, 0.
			for w := .5; w < 120; w += .5 {
				p := WedgeProbability(w, sd, 16, prey)
				if p < 0 || p > 1 || math.IsNaN(p) {
					t.Fatalf("sd %g, %g mm: %v", sd, w, p)
				}
				switch {
				case p < last-1e-6:
					falling = true
				case p > last+1e-6 && falling:
					t.Fatalf("sd %g prey %g: rises again at %g mm", sd, prey, w)
				}
				last = p
			}
			if !falling || last > 1e-6 {
				t.Errorf("sd %g prey %g: does not end at 0 but %g", sd, prey, last)
			}
		}
		// More prey inside never makes it safer.
		for w := 1.; w < 60; w++ {
			last := 0.
			for _, prey := range []float64{0, 5, 15, 40, 80} {
				p := WedgeProbability(w, sd, 16, prey)
				if p < last-1e-6 {
					t.Fatalf("sd %g, %g mm: %g g of prey lowers it from %g to %g", sd, w, prey, last, p)
				}
				last = p
			}
		}
	}
	if p := WedgeProbability(20, 1, 0, 0); p != 0 {
		t.Errorf("no body: %g", p)
	}
	// A small error of measurement tends to none, also near the jump that prey makes.
	for _, w := range []float64{11, 16, 21, 23.6, 30} {
		a, b := WedgeProbability(w, 0, 16, 10), WedgeProbability(w, 1e-6, 16, 10)
		if math.Abs(a-b) > 1e-3 {
			t.Errorf("%g mm: %g without error, %g with almost none", w, a, b)
		}
	}
}

func TestBounds(t *testing.T) {
	t.Parallel()
	lastShut, lastPass := 0., 0.
	for d := 3.; d < 100; d += .5 {
		prey := .1 * math.Pow(d/3.6, 3)
		shut, pass := UnsafeOpening(d, prey)
		if shut <= lastShut || pass <= lastPass {
			t.Fatalf("bounds do not grow with the body at %g mm", d)
		}
		lastShut, lastPass = shut, pass
		if !(shut < HeadPasses(d) && HeadPasses(d) < d && d < WidestDiameter(d, prey) && WidestDiameter(d, prey) < PassesFreely(d, prey) && PassesFreely(d, prey) < pass) {
			t.Fatalf("bounds out of order at %g mm", d)
		}
		for _, w := range []float64{shut, pass} {
			if p := WedgeProbability(w, 0, d, prey); p > .03 {
				t.Errorf("at the bound %g of a body of %g mm the probability is still %g", w, d, p)
			}
		}
		if p := WedgeProbability((HeadPasses(d)+PassesFreely(d, prey))/2, 0, d, prey); p < .9 {
			t.Errorf("in the middle of the band it is only %g", p)
		}
	}
	// Twice the mass is 26 % more width.
	s := table[0]
	near(t, "doubling", BodyDiameter(&s, Adult, 2000, 0)/BodyDiameter(&s, Adult, 1000, 0), 1.26, .001)
	// USGS: a snake passes openings "as small as a quarter of an inch", 6.4 mm.
	// A corn snake hatchling's head must be able to.
	corn, _ := ByID("pantherophis_guttatus")
	if w := HeadPasses(BodyDiameter(&corn, Hatchling, corn.HatchMass, 0)); w > 6.4 {
		t.Errorf("corn hatchling is said not to pass 6.4 mm (needs %g)", w)
	}
	if d := PreyDiameter(0); d != 0 {
		t.Errorf("no prey is %g mm wide", d)
	}
	if BodyDiameter(&s, Adult, 0, 1200) != 0 {
		t.Error("an unknown mass has a width")
	}
}

// The closed form of the mass at which an opening becomes a trap, against the
// probability itself: the two ways of being held make it at most twice p, the
// other shape of the error of measurement hardly changes it.
func TestHeldFrom(t *testing.T) {
	t.Parallel()
	for _, opening := range []float64{12, 25, 40, 60, 90} {
		for _, sd := range []float64{.2, 1, opening / 20} {
			for _, share := range []float64{0, .07, .10, .15, .20} {
				for _, c := range []float64{2.76, 3.6, 4} {
					mass := HeldFrom(opening, sd, c, share, .05)
					p := WedgeProbability(opening, sd, c*math.Cbrt(mass), share*mass)
					if p < .035 || p > .11 {
						t.Errorf("%g ± %g mm, c %g, prey %g: %g g is held with %.3f", opening, sd, c, share, mass, p)
					}
					if before := WedgeProbability(opening, sd, c*math.Cbrt(.7*mass), share*.7*mass); before >= p {
						t.Errorf("%g mm: %g g is held with %g, lighter with %g", opening, mass, p, before)
					}
				}
			}
		}
	}
	if HeldFrom(0, 1, 3, .1, .05) != 0 || HeldFrom(20, 1, 0, .1, .05) != 0 {
		t.Error("nothing holds it")
	}
}

// The jaw of wild adult ball pythons is 44.3 mm (female) and 43.6 mm (male)
// long, Aubret et al. 2005, J Herpetol 39:315 (at second hand): a head is not
// wider than its jaw is long, nor lower than an eighth of it.
func TestHeadAgainstJaw(t *testing.T) {
	t.Parallel()
	s := mustFind(t, "python_regius")
	for mass, jaw := range map[float64]float64{1635: 44.3, 1561: 43.6} {
		d := BodyDiameter(s, Adult, mass, 0)
		if w, h := HeadPasses(d), SlitPasses(d); w > jaw || h > w || h < jaw/8 {
			t.Errorf("%g g: head %g mm wide, %g high, jaw %g long", mass, w, h, jaw)
		}
	}
}

func TestEscapeProbability(t *testing.T) {
	t.Parallel()
	for _, d := range []float64{5, 16, 41} {
		near(t, "at the middle head", EscapeProbability(SlitPasses(d), 0, d), .5, 1e-9)
		near(t, "at the bound", EscapeProbability(UnsafeSlit(d), 0, d), .0228, .01) // two standard deviations
		last := 0.
		for w := .5; w < 60; w += .5 {
			p := EscapeProbability(w, 1, d)
			if p < last || p < 0 || p > 1 {
				t.Fatalf("%g mm, body %g: %g after %g", w, d, p, last)
			}
			last = p
		}
		if last < .99 {
			t.Errorf("a body of %g mm does not pass 60 mm", d)
		}
	}
	if EscapeProbability(5, 1, 0) != 0 {
		t.Error("no body escapes")
	}
}

func BenchmarkWedgeProbability(b *testing.B) {
	for b.Loop() {
		WedgeProbability(22, 1, 16, 15)
	}
}
