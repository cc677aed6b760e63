package measure

import (
	"image"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// A glance reads the same text as a search.
func TestRead(t *testing.T) {
	t.Parallel()
	s := still()
	if text, err := Read(s.shot(rand.New(rand.NewPCG(1, 1)))); err != nil || text != cardText {
		t.Errorf("%q, %v", text, err)
	}
	for _, img := range []*image.Gray{image.NewGray(image.Rect(0, 0, 640, 480)), image.NewGray(image.Rectangle{}), image.NewGray(image.Rect(7, 7, 8, 9))} {
		if text, err := Read(img); err != ErrNoCode {
			t.Errorf("in %v: %q, %v", img.Rect, text, err)
		}
	}
}

// A code that is too blurred to be read is a ruler all the same, and the answer says what it is not sure of.
func TestUnread(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(6, 7))
	s := still()
	s.distance, s.blur = 560, 1.8
	s.aim()
	img := s.shot(rnd)
	rim, shape := s.taps(rnd, 8, 1)
	r, err := Measure(&Request{Picture: img, Rim: rim, Shape: shape})
	if err != nil {
		t.Fatal(err)
	}
	if r.Code.Text != "" || !strings.Contains(r.Advice, "only if it is the handover card") {
		t.Errorf("%q was read, with the advice %q", r.Code.Text, r.Advice)
	}
	if off := math.Abs(r.Width - s.holeWide); off > r.PlusMinus {
		t.Errorf("%.2f ± %.2f mm, it is %.2f", r.Width, r.PlusMinus, s.holeWide)
	}
	for k, c := range s.codeCorners() {
		if d := r.Corners[k].distance(c); d > 1.2 {
			t.Errorf("corner %d is off by %.2f pixels", k, d)
		}
	}
	if text, err := Read(img); err != ErrNoCode {
		t.Errorf("a glance reads %q, %v", text, err)
	}
}

// The closed form is the map that the linear transform finds.
func TestSquare(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(8, 9))
	for range 200 {
		c := [4]Point{{0, 0}, {100, 0}, {100, 100}, {0, 100}}
		for i := range c {
			c[i] = c[i].add(Point{500 + 30*rnd.NormFloat64(), 300 + 30*rnd.NormFloat64()})
		}
		if bent(&c) {
			continue
		}
		got, err := square(&c)
		if err != nil {
			t.Fatalf("%v: %v", c, err)
		}
		want, err := FitHomography([]Point{{0, 0}, {1, 0}, {1, 1}, {0, 1}}, c[:])
		if err != nil {
			t.Fatalf("%v: %v", c, err)
		}
		for _, p := range []Point{{0, 0}, {.3, .8}, {1, 1}, {-1, .5}} {
			if d := got.Map(p).distance(want.Map(p)); !(d < 1e-6) {
				t.Fatalf("%v at %v: off by %v", c, p, d)
			}
		}
	}
	if _, err := square(&[4]Point{{0, 0}, {1, 1}, {2, 2}, {3, 3}}); err == nil {
		t.Error("a line is no square")
	}
}

// A shadow's edge across the code does not move its corners.
func TestShadow(t *testing.T) {
	t.Parallel()
	s := still()
	s.shadow, s.shadowTurn = .5, .7
	c, err := Find(s.shot(rand.New(rand.NewPCG(3, 4))))
	if err != nil || c.Text != cardText {
		t.Fatal(c, err)
	}
	for k, want := range s.codeCorners() {
		if d := c.Corners[k].distance(want); d > .1 {
			t.Errorf("corner %d is off by %.2f pixels", k, d)
		}
	}
}
