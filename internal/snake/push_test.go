package snake

import (
	"math"
	"testing"
)

// By hand, moments about the edge: a stone of 2000 g, 100 mm wide and 200 mm
// high. Its weight turns back with 2000 gf × 50 mm = 100 000 gf·mm, a push at
// the top turns with F × 200 mm; so F = 500 gf. With 20 mm dug away 30 mm of arm
// are left: 300 gf. With 50 mm dug away its weight stands over the hole.
func TestTipForceByHand(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ mass, foot, height, dug, want float64 }{
		{2000, 100, 200, 0, 500}, {2000, 100, 200, 20, 300}, {2000, 100, 200, 50, 0}, {2000, 100, 200, 80, 0},
		{150, 60, 30, 0, 150}, // a flat hide: it takes its own weight
		{1000, 100, 400, 0, 125},
	} {
		near(t, "tips at", TipForce(c.mass, c.foot, c.height, c.dug)+1, c.want+1, 1e-12)
	}
	if !math.IsInf(TipForce(1000, 100, 0, 0), 1) {
		t.Error("what has no height tips")
	}
	// Twice as high or half as wide tips at half the push.
	if a := TipForce(900, 80, 120, 0); TipForce(900, 80, 240, 0) != a/2 || TipForce(900, 40, 120, 0) != a/2 {
		t.Error("does not scale with its arms")
	}
}

// By hand: a body 40 mm wide gives 20 mm on a hard floor; 40 mm of loose ground
// give 20 mm more, so a fall of 1000 mm is stopped over twice the way with half
// the force, like one of 500 mm onto the floor.
func TestHardFallByHand(t *testing.T) {
	t.Parallel()
	near(t, "soft", HardFall(1000, 40, 40), 500, 1e-12)
	near(t, "hard", HardFall(1000, 0, 40), 1000, 1e-12)
	near(t, "no body", HardFall(1000, 40, 0), 1000, 1e-12)
}

// The cylinder's length is the length it was made from, and its outline is the
// coil's area.
func TestCoil(t *testing.T) {
	t.Parallel()
	d := BodyDiameter(nil, Adult, 1635, 1250)
	near(t, "length", Length(1635, d), 1250, 1e-9)
	c := Coil(1635, d)
	near(t, "area", math.Pi/4*c*c, 1250*d, 1e-9)
	if Coil(0, 10) != 0 || Length(10, 0) != 0 {
		t.Error("nothing has a size")
	}
}
