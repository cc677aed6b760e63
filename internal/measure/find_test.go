package measure

import (
	"image"
	"math/rand/v2"
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
