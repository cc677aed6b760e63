package measure

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// The unit square to a quadrangle; the numbers are those of OpenCV 4.6,
// cv2.findHomography.
func TestHomography(t *testing.T) {
	t.Parallel()
	h, err := FitHomography([]Point{{0, 0}, {1, 0}, {1, 1}, {0, 1}}, []Point{{0, 0}, {2, .2}, {1.8, 1.6}, {.1, 1.4}})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{1.95041322, .11735537, 0, .19504132, 1.64297521, 0, -.02479339, .17355372, 1} {
		near(t, "h", h[i], want, 1e-8)
	}
	// An ID-1 card to mm.
	c := [4]Point{{412, 318}, {1630, 402}, {1571, 1164}, {437, 1040}}
	g, err := planeOf(&c, [2]float64{bankLong, bankShort})
	if err != nil {
		t.Fatal(err)
	}
	p := g.Map(Point{1000, 700})
	near(t, "x", p.X, 43.215778, 1e-6)
	near(t, "y", p.Y, 23.874145, 1e-6)
	near(t, "distance", p.distance(g.Map(Point{1200, 720})), 14.374021, 1e-6)

	back := g.Inverse()
	near(t, "there and back", back.Map(p).distance(Point{1000, 700}), 0, 1e-9)
	for name, from := range map[string][]Point{
		"three": {{0, 0}, {1, 0}, {1, 1}}, "a line": {{0, 0}, {1, 1}, {2, 2}, {3, 3}}, "one place": {{1, 1}, {1, 1}, {1, 1}, {1, 1}},
		"three in a row": {{0, 0}, {1, 0}, {2, 0}, {0, 1}},
	} {
		if _, err := FitHomography(from, c[:len(from)]); err == nil {
			t.Errorf("%s: a map was found", name)
		}
	}
}

// Points that lie on a circle give it, however little of it; noise gives the
// error that the lever says.
func TestCircle(t *testing.T) {
	t.Parallel()
	arc := func(n int, part float64) (p []Point) {
		for i := range n {
			s, c := math.Sincos(part * 2 * math.Pi * float64(i) / float64(n))
			p = append(p, Point{30 + 12.5*c, -7 + 12.5*s})
		}
		return p
	}
	for _, part := range []float64{1, .5, .2} {
		mid, r, off, err := circle(arc(7, part))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "radius", r, 12.5, 1e-9)
		near(t, "middle", mid.distance(Point{30, -7}), 0, 1e-9)
		near(t, "off", off, 0, 1e-9)
	}
	rnd := rand.New(rand.NewPCG(3, 4))
	for _, part := range []float64{1, .6} {
		m, err := shapeOf(arc(8, part), Round)
		if err != nil {
			t.Fatal(err)
		}
		if part == 1 { // 2σ/√n for picks all round
			near(t, "lever", m.lever, 2/math.Sqrt(8), 1e-9)
		}
		sum, n := 0., 4000
		for range n {
			p := arc(8, part)
			for i := range p {
				p[i] = p[i].add(Point{.05 * rnd.NormFloat64(), .05 * rnd.NormFloat64()})
			}
			m, err := shapeOf(p, Round)
			if err != nil {
				t.Fatal(err)
			}
			sum += (m.width - 25) * (m.width - 25)
		}
		near(t, "standard deviation", math.Sqrt(sum/float64(n))/.05/m.lever, 1, .05)
	}
}

func TestSlot(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(5, 6))
	for _, turn := range []float64{0, .3, 1.5, 2.9} {
		edges := func(sd float64) (p []Point) {
			for i := range 8 {
				q := Point{float64(i/2)*9 + float64(i%2)*4, float64(i%2) * 6.5}
				p = append(p, turned(q, turn).add(Point{sd * rnd.NormFloat64(), sd * rnd.NormFloat64()}))
			}
			return p
		}
		gap, off, lever, _, err := slot(edges(0))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "gap", gap, 6.5, 1e-9)
		near(t, "off", off, 0, 1e-9)
		sum, n := 0., 1500
		for range n {
			g, _, _, _, err := slot(edges(.05))
			if err != nil {
				t.Fatal(err)
			}
			sum += (g - 6.5) * (g - 6.5)
		}
		near(t, "standard deviation", math.Sqrt(sum/float64(n))/.05/lever, 1, .07)
	}
}

// The error of one pick and of the corners, as published for the usual case: a
// hole of 20 mm, 60 mm beside a code, from 300 mm with 3000 px of focal length, tilted 20°, eight picks of
// 2.5 px, corners of .7 px: standard deviations by simulation.
func TestErrorModel(t *testing.T) {
	t.Parallel()
	for side, want := range map[float64]float64{50: .22, 30: .36, 20: .70} {
		s := &scene{width: 4000, height: 3000, focal: 3000, distance: 300, tilt: 20 * math.Pi / 180, hole: Point{60, 0}, holeWide: 20, printScale: 1}
		s.aim()
		rnd := rand.New(rand.NewPCG(uint64(side), 7))
		sum, n := 0., 3000
		for range n {
			var c [4]Point
			for k, d := range []Point{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
				c[k] = s.seen(d.times(side/2), 0).add(Point{.7 * rnd.NormFloat64(), .7 * rnd.NormFloat64()})
			}
			g, err := planeOf(&c, [2]float64{side, side})
			if err != nil {
				t.Fatal(err)
			}
			rim, _ := s.taps(rnd, 8, 2.5)
			for i := range rim {
				rim[i] = g.Map(rim[i])
			}
			m, err := shapeOf(rim, Round)
			if err != nil {
				t.Fatal(err)
			}
			sum += (m.width - 20) * (m.width - 20)
		}
		near(t, "standard deviation", math.Sqrt(sum/float64(n)), want, .2*want)
	}
}

// 8×8 zeros with a block of 200 in the middle, and a chessboard of 16 pixels: variances of
// OpenCV 4.6, cv2.Laplacian.
func TestSharpness(t *testing.T) {
	t.Parallel()
	block := image.NewGray(image.Rect(0, 0, 8, 8))
	for y := 2; y < 6; y++ {
		for x := 2; x < 6; x++ {
			block.Pix[y*8+x] = 200
		}
	}
	near(t, "block", Sharpness(block), 25000, 1e-9)
	board := image.NewGray(image.Rect(0, 0, 256, 256))
	for y := range 256 {
		for x := range 256 {
			if (x/16+y/16)%2 == 1 {
				board.Pix[y*256+x] = 255
			}
		}
	}
	near(t, "chessboard", Sharpness(board), 17026.199340820312, 1e-6)
}

// Which pick is on which edge of a slot is told from where they lie, or not at all.
func TestSides(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(20, 26))
	wrong, doubted := 0, 0
	const all = 2000
	for range all {
		gap := 3 + 20*rnd.Float64()
		long := gap * (3 + 3*rnd.Float64())
		sd := gap * .2 * rnd.Float64()
		turn := math.Pi * rnd.Float64()
		var p []Point
		for i := range 6 + rnd.IntN(3) {
			p = append(p, turned(Point{(rnd.Float64()*.8-.4)*long + sd*rnd.NormFloat64(), gap/2*float64(1-2*(i%2)) + sd*rnd.NormFloat64()}, turn))
		}
		side, _, doubt, err := sides(p)
		if err != nil || doubt < leastDoubt*sd*sd {
			doubted++
			continue
		}
		for i := range side {
			if (side[i] == side[0]) != (i%2 == 0) {
				wrong++
				break
			}
		}
	}
	if wrong > all/80 || doubted > all/5 {
		t.Errorf("of %d slots %d are taken for others and %d refused", all, wrong, doubted)
	}
}
