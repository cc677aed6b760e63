package measure

import (
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"
)

// decoys are what a search for a code may fall for: nothing, or things of dark and light.
var decoys = []struct {
	name string
	make func(rnd *rand.Rand) func(Point) float64
}{
	{"ground alone", func(*rand.Rand) func(Point) float64 { return nil }},
	{"an empty card", func(*rand.Rand) func(Point) float64 { return func(Point) float64 { return .9 } }},
	{"tiles", func(rnd *rand.Rand) func(Point) float64 {
		wide := 2 + 10*rnd.Float64()
		return func(p Point) float64 {
			return .1 + .8*float64((int(math.Floor(p.X/wide))+int(math.Floor(p.Y/wide)))&1)
		}
	}},
	{"a sheet with round holes", func(rnd *rand.Rand) func(Point) float64 {
		wide := 3 + 22*rnd.Float64()
		r := wide * (.15 + .3*rnd.Float64())
		return func(p Point) float64 {
			q := Point{math.Mod(p.X+900, wide) - wide/2, math.Mod(p.Y+900, wide) - wide/2}
			if q.length() < r {
				return .06
			}
			return .85
		}
	}},
	{"three dark squares", func(rnd *rand.Rand) func(Point) float64 {
		wide := 4 + 6*rnd.Float64()
		return func(p Point) float64 {
			for _, c := range []Point{{-12, -12}, {12, -12}, {-12, 12}} {
				if d := p.sub(c); max(math.Abs(d.X), math.Abs(d.Y)) < wide/2 {
					return .06
				}
			}
			return .9
		}
	}},
	{"grains", func(rnd *rand.Rand) func(Point) float64 {
		wide, seed := .8+3*rnd.Float64(), rnd.Uint64()
		return func(p Point) float64 {
			if max(math.Abs(p.X), math.Abs(p.Y)) > 16 {
				return .9
			}
			return .06 + .84*math.Round(hash(int(math.Floor(p.X/wide)), int(math.Floor(p.Y/wide)), seed))
		}
	}},
	{"letters", func(rnd *rand.Rand) func(Point) float64 {
		line, seed := 2+4*rnd.Float64(), rnd.Uint64()
		return func(p Point) float64 {
			if math.Mod(p.Y+900, line) < .55*line && hash(int(math.Floor(p.X*3/line)), int(math.Floor(p.Y/line)), seed) > .45 {
				return .15
			}
			return .9
		}
	}},
	{"another code", func(rnd *rand.Rand) func(Point) float64 {
		// Of 21 modules or of 41 and more: no card's.
		text := "A1"
		if rnd.IntN(2) == 0 {
			text = "a long text that has nothing to do with any animal, and which a code of this many modules holds; " + text
		}
		m, side := codeOf(text), 12+30*rnd.Float64()
		return func(p Point) float64 {
			n := float64(len(m))
			if col, row := int(math.Floor((p.X/side+.5)*n)), int(math.Floor((p.Y/side+.5)*n)); col >= 0 && row >= 0 && col < len(m) && row < len(m) && m[row][col] {
				return .06
			}
			return .9
		}
	}},
}

// unlike draws a scene without a card.
func unlike(rnd *rand.Rand, kind int) *scene {
	s := wholeScene(rnd)
	for s.width > 1600 { // as large as the app keeps pictures
		s = wholeScene(rnd)
	}
	s.decoy = decoys[kind%len(decoys)].make(rnd)
	if s.decoy == nil {
		s.decoy = func(p Point) float64 { return .2 + .3*grain(p, 7, s.seed) + .25*grain(p, 1.7, s.seed+1) }
	}
	return s
}

// Where no card lies, none is found: what looks like a code without being read
// must be one.
func TestNoFalseCards(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("renders photos")
	}
	n := max(*many/8, len(decoys))
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				rnd := rand.New(rand.NewPCG(20261127, uint64(i)))
				s := unlike(rnd, i)
				c, err := Find(s.shot(rnd))
				if err == nil && c.Text == "" {
					t.Errorf("scene %d: %s at %v px a mm is taken for a card: %+v", i, decoys[i%len(decoys)].name, s.focal/s.distance, c)
				}
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}
