package measure

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"

	"github.com/boombuler/barcode/qr"
)

// A scene is a photo of a card beside an opening, rendered ray by ray: nothing
// of it is computed as the package computes. Lengths are mm, on a plane that the
// camera looks at; the opening's rim may lie off the plane.
type scene struct {
	width, height int
	focal         float64 // pixels
	bend          float64 // radial distortion, r' = r(1 + bend·r²/focal²)
	distance      float64 // of the camera from what it looks at
	tilt, turn    float64 // radians: of the view from the vertical, and of the picture
	toward        float64 // the direction of the tilt
	card          Point   // the middle of the code
	cardTurn      float64
	printScale    float64
	hole          Point
	holeWide      float64 // diameter, or width of a slot
	holeLong      float64 // 0: round
	holeTurn      float64
	blur, shake   float64 // pixels
	noise         float64 // grey levels
	shade         float64 // how much darker one side is
	shadeTurn     float64
	dim           float64
	quality       int
	seed          uint64
	modules       [][]bool
	decoy         func(Point) float64 // what lies where the card would, in its directions
	bow           float64             // how far the card's ends stand up, beside the middle of its code
	shadow        float64             // of the light on the far side of a line through the code's middle; 0: no line
	shadowTurn    float64
	cover         Point // the middle of a dark thing on the card
	coverWide     float64

	axes         [3][3]float64
	eye          [3]float64
	card1, hole1 Point // sine and cosine of the turns
}

const codeSide = 32. // as print.CodeSide

func codeOf(text string) [][]bool {
	q, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		panic(err)
	}
	n := q.Bounds().Dx()
	m := make([][]bool, n)
	for y := range n {
		m[y] = make([]bool, n)
		for x := range n {
			m[y][x] = q.At(x, y) == color.Black
		}
	}
	return m
}

const cardText = "https://warmhand.example.org/c#7KQ2MX4D9R"

// aim sets the camera up.
func (s *scene) aim() {
	s.card1.Y, s.card1.X = math.Sincos(-s.cardTurn)
	s.hole1.Y, s.hole1.X = math.Sincos(-s.holeTurn)
	look := s.card.add(s.hole).times(.5)
	sin, cos := math.Sincos(s.tilt)
	a := s.toward
	// From the eye down to what it looks at.
	f := [3]float64{-sin * math.Cos(a), -sin * math.Sin(a), cos}
	s.eye = [3]float64{look.X - f[0]*s.distance, look.Y - f[1]*s.distance, -f[2] * s.distance}
	r := [3]float64{-math.Sin(a), math.Cos(a), 0}
	d := [3]float64{f[1]*r[2] - f[2]*r[1], f[2]*r[0] - f[0]*r[2], f[0]*r[1] - f[1]*r[0]}
	st, ct := math.Sincos(s.turn)
	for i := range 3 {
		s.axes[0][i] = ct*r[i] + st*d[i]
		s.axes[1][i] = -st*r[i] + ct*d[i]
		s.axes[2][i] = f[i]
	}
}

// seen is where a point of the world, height above the plane, comes to lie.
func (s *scene) seen(p Point, height float64) Point {
	v := [3]float64{p.X - s.eye[0], p.Y - s.eye[1], -height - s.eye[2]}
	var c [3]float64
	for i := range 3 {
		for k := range 3 {
			c[i] += s.axes[i][k] * v[k]
		}
	}
	x, y := c[0]/c[2], c[1]/c[2]
	k := 1 + s.bend*(x*x+y*y)
	return Point{s.focal*x*k + float64(s.width)/2, s.focal*y*k + float64(s.height)/2}
}

// under is the point of the plane under a place in the picture.
func (s *scene) under(p Point) (Point, bool) {
	x, y := (p.X-float64(s.width)/2)/s.focal, (p.Y-float64(s.height)/2)/s.focal
	u, v := x, y
	for range 3 { // undo the distortion
		k := 1 + s.bend*(u*u+v*v)
		u, v = x/k, y/k
	}
	var d [3]float64
	for i := range 3 {
		d[i] = u*s.axes[0][i] + v*s.axes[1][i] + s.axes[2][i]
	}
	if d[2] < 1e-6 {
		return Point{}, false
	}
	t := -s.eye[2] / d[2]
	return Point{s.eye[0] + t*d[0], s.eye[1] + t*d[1]}, true
}

func turned(p Point, angle float64) Point {
	s, c := math.Sincos(angle)
	return by(p, Point{c, s})
}

// by turns by a direction.
func by(p, d Point) Point { return Point{d.X*p.X - d.Y*p.Y, d.Y*p.X + d.X*p.Y} }

func hash(x, y int, seed uint64) float64 {
	h := uint64(x)*0x9E3779B97F4A7C15 ^ uint64(y)*0xC2B2AE3D27D4EB4F ^ seed
	h ^= h >> 31
	h *= 0xBF58476D1CE4E5B9
	h ^= h >> 29
	return float64(h>>40) / float64(1<<24)
}

// grain is smooth noise, 0 to 1.
func grain(p Point, scale float64, seed uint64) float64 {
	x, y := p.X/scale, p.Y/scale
	i, j := math.Floor(x), math.Floor(y)
	fx, fy := x-i, y-j
	fx, fy = fx*fx*(3-2*fx), fy*fy*(3-2*fy)
	a, b := hash(int(i), int(j), seed), hash(int(i)+1, int(j), seed)
	c, d := hash(int(i), int(j)+1, seed), hash(int(i)+1, int(j)+1, seed)
	return a + fx*(b-a) + fy*(c-a+fx*(a-b-c+d))
}

// surface is what a ray meets: how light it is, or which grain it has.
type surface struct {
	light float64
	grain int
}

// The grains.
const (
	plain = iota
	deep  // of a hole
	wood  // round it
	floor // all else
)

// what a point of the plane is.
func (s *scene) what(p Point) surface {
	if d := p.sub(s.cover); s.coverWide > 0 && d.dot(d) < s.coverWide*s.coverWide/4 {
		return surface{.12, plain}
	}
	q := by(p.sub(s.card), s.card1).times(1 / s.printScale)
	if s.bow > 0 { // where the ray meets the card above the plane
		up := Point{s.eye[0], s.eye[1]}.sub(p).times(-1 / s.eye[2])
		for range 3 {
			h := s.bow * min(1, q.X*q.X/40/40)
			q = by(p.add(up.times(h)).sub(s.card), s.card1)
		}
	}
	// The card: the code stands 5.12 mm from its left edge and 8.8 from its top.
	x, y := q.X+codeSide/2, q.Y+codeSide/2
	if s.decoy != nil && math.Abs(q.X) < 60 && math.Abs(q.Y) < 60 {
		return surface{s.decoy(q), plain}
	}
	if x > -5.12 && x < 85.6-5.12 && y > -8.8 && y < 53.98-8.8 {
		n := len(s.modules)
		col, row := int(math.Floor(x/codeSide*float64(n))), int(math.Floor(y/codeSide*float64(n)))
		if col >= 0 && row >= 0 && col < n && row < n && s.modules[row][col] {
			return surface{.06, plain}
		}
		if x > codeSide+5 && x < 75 && y > 0 && y < 36 && math.Mod(y, 4) < 1.6 && hash(int(x*1.3), int(y/4), 5) > .3 {
			return surface{.2, plain} // lines of text
		}
		if x >= 0 && x <= 50 && math.Abs(y-41.2) < .13 {
			return surface{.1, plain} // the check line
		}
		return surface{.9, plain}
	}
	h := by(p.sub(s.hole), s.hole1)
	if s.holeLong == 0 {
		if h.dot(h) < s.holeWide*s.holeWide/4 {
			return surface{grain: deep}
		}
	} else if math.Abs(h.Y) < s.holeWide/2 && math.Abs(h.X) < s.holeLong/2 {
		return surface{grain: deep}
	}
	if wide := 1.4 * max(s.holeWide, s.holeLong); h.dot(h) < wide*wide {
		return surface{grain: wood}
	}
	return surface{grain: floor}
}

// light is what of the light comes back from a point of a surface, 0 to 1.
func (s *scene) light(w surface, p Point) float64 {
	switch w.grain {
	case deep:
		w.light = .05 + .03*grain(p, 3, s.seed+9)
	case wood:
		h := by(p.sub(s.hole), s.hole1)
		w.light = .35 + .2*grain(Point{h.X * 3, h.Y}, 6, s.seed+3)
	case floor:
		w.light = .2 + .3*grain(p, 7, s.seed) + .25*grain(p, 1.7, s.seed+1)
	}
	if s.shadow > 0 {
		d := p.sub(s.card)
		w.light *= 1 - s.shadow*min(1, max(0, .5+(d.X*math.Cos(s.shadowTurn)+d.Y*math.Sin(s.shadowTurn))/2))
	}
	return w.light
}

// shot is the photo as the program gets it.
func (s *scene) shot(rnd *rand.Rand) *image.Gray {
	w, h := s.width, s.height
	v := make([]float64, w*h)
	sin, cos := math.Sincos(s.shadeTurn)
	// Four rays a pixel, between those through its corners, which the map hardly bends. Where all meet
	// the same smooth stuff, one tells how light it is.
	above, below := make([]Point, w+1), make([]Point, w+1)
	corners := func(list []Point, y int) {
		for x := range list {
			p, ok := s.under(Point{float64(x), float64(y)})
			if !ok {
				p = Point{math.NaN(), 0} // the sky
			}
			list[x] = p
		}
	}
	corners(below, 0)
	for y := range h {
		above, below = below, above
		corners(below, y+1)
		for x := range w {
			a, right, down := above[x], above[x+1].sub(above[x]), below[x].sub(above[x])
			bent := below[x+1].sub(below[x]).sub(right)
			sum := 0.
			if !math.IsNaN(bent.X) {
				var what [4]surface
				var rays [4]Point
				for k := range rays {
					i, j := .25+.5*float64(k%2), .25+.5*float64(k/2)
					rays[k] = a.add(right.times(i)).add(down.times(j)).add(bent.times(i * j))
					what[k] = s.what(rays[k])
				}
				if what[0].grain != plain && what[0] == what[1] && what[0] == what[2] && what[0] == what[3] {
					sum = s.light(what[0], a.add(right.times(.5)).add(down.times(.5)))
				} else {
					for k := range rays {
						sum += s.light(what[k], rays[k]) / 4
					}
				}
			}
			across := (float64(x)/float64(w)-.5)*cos + (float64(y)/float64(h)-.5)*sin
			v[y*w+x] = sum * s.dim * (1 + s.shade*2*across) * 245
		}
	}
	blurred(v, w, h, s.blur)
	if s.shake > 0 { // along the rows
		n := int(s.shake)
		for y := range h {
			row := append([]float64(nil), v[y*w:y*w+w]...)
			for x := range w {
				sum, c := 0., 0.
				for d := -n; d <= n; d++ {
					if x+d >= 0 && x+d < w {
						k := min(1, s.shake+.5-math.Abs(float64(d)))
						if k > 0 {
							sum, c = sum+k*row[x+d], c+k
						}
					}
				}
				v[y*w+x] = sum / c
			}
		}
	}
	g := image.NewGray(image.Rect(0, 0, w, h))
	for i := range v {
		g.Pix[i] = uint8(min(255, max(0, v[i]+s.noise*rnd.NormFloat64()+.5)))
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, g, &jpeg.Options{Quality: s.quality}); err != nil {
		panic(err)
	}
	m, err := jpeg.Decode(&b)
	if err != nil {
		panic(err)
	}
	return m.(*image.Gray)
}

func blurred(v []float64, w, h int, sigma float64) {
	if sigma <= 0 {
		return
	}
	n := int(math.Ceil(3 * sigma))
	k := make([]float64, 2*n+1)
	sum := 0.
	for i := range k {
		k[i] = math.Exp(-float64((i-n)*(i-n)) / 2 / sigma / sigma)
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
	pass := func(count, length, next, step int) {
		line := make([]float64, length)
		for c := range count {
			for i := range length {
				line[i] = v[c*next+i*step]
			}
			for i := range length {
				s := 0.
				for d := -n; d <= n; d++ {
					s += k[d+n] * line[min(max(i+d, 0), length-1)]
				}
				v[c*next+i*step] = s
			}
		}
	}
	pass(h, w, w, 1)
	pass(w, h, 1, w)
}

// any is a scene as the ranges have it.
func anyScene(rnd *rand.Rand) *scene {
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	s := &scene{modules: codeOf(cardText), seed: rnd.Uint64(), printScale: 1, dim: between(.45, 1)}
	// A card that fills few pixels is mostly not read: small pictures, or far away.
	long := []int{1280, 1600, 2048}[rnd.IntN(3)]
	s.width, s.height = long, long*3/4
	s.focal = float64(long) * between(.65, 1)
	s.distance = between(150, 800)
	s.tilt, s.toward, s.turn = between(0, 50)*math.Pi/180, between(0, 2*math.Pi), between(0, 2*math.Pi)
	s.bend = between(-.02, .02)
	s.holeWide = between(8, 60)
	if rnd.IntN(3) == 0 {
		s.holeLong = s.holeWide * between(1.5, 3)
		s.holeWide /= 2
		s.holeTurn = between(0, math.Pi)
	}
	s.cardTurn = between(0, 2*math.Pi)
	gap := 35 + max(s.holeWide, s.holeLong)/2 + between(5, 40)
	a := between(0, 2*math.Pi)
	s.hole = Point{gap * math.Cos(a), gap * math.Sin(a)}
	s.blur, s.noise = between(.4, 2), between(1, 7)
	if rnd.IntN(4) == 0 {
		s.shake = between(0, 3)
	}
	s.shade, s.shadeTurn = between(0, .6), between(0, 2*math.Pi)
	s.quality = 50 + rnd.IntN(46)
	s.aim()
	return s
}

// rough are what anyScene leaves out, one at a time.
var rough = []struct {
	name string
	make func(s *scene, rnd *rand.Rand)
}{
	{"a shadow's edge across the code, 30 to 60 % darker", func(s *scene, rnd *rand.Rand) {
		s.shadow, s.shadowTurn = .3+.3*rnd.Float64(), 2*math.Pi*rnd.Float64()
	}},
	{"a dark thing on the margin, up to 2 mm from the code", func(s *scene, rnd *rand.Rand) {
		s.coverWide = 3 + 7*rnd.Float64()
		far := codeSide/2 + s.coverWide/2 + .3 + 1.7*rnd.Float64()
		s.cover = s.card.add(turned([]Point{{far, 12 - 24*rnd.Float64()}, {12 - 24*rnd.Float64(), -far}}[rnd.IntN(2)], s.cardTurn))
	}},
	{"shaken by 6 to 12 px", func(s *scene, rnd *rand.Rand) { s.shake = 3 + 3*rnd.Float64() }},
	{"noise of 7 to 14 grey levels", func(s *scene, rnd *rand.Rand) { s.noise = 7 + 7*rnd.Float64() }},
	{"a lens that bends by 1 to 3 % at the corner of the picture", func(s *scene, rnd *rand.Rand) {
		r := Point{float64(s.width) / 2, float64(s.height) / 2}.length() / s.focal
		s.bend = (.01 + .02*rnd.Float64()) / (r * r)
		if rnd.IntN(2) == 0 {
			s.bend = -s.bend
		}
	}},
	{"a bent card, its ends 1 to 3 mm up", func(s *scene, rnd *rand.Rand) { s.bow = 1 + 2*rnd.Float64() }},
}

// roughScene is a scene with what is hard to measure by.
func roughScene(rnd *rand.Rand, kind int) *scene {
	for {
		s := wholeScene(rnd)
		rough[kind].make(s, rnd)
		if s.aim(); s.whole() {
			return s
		}
	}
}

// free reports whether the card lies beside the opening and not over it.
func (s *scene) free() bool {
	q := turned(s.hole.sub(s.card), -s.cardTurn)
	x, y := max(-codeSide/2-5.12-q.X, q.X-(85.6-5.12-codeSide/2), 0), max(-codeSide/2-8.8-q.Y, q.Y-(53.98-8.8-codeSide/2), 0)
	return math.Hypot(x, y) > max(s.holeWide, s.holeLong)/2*1.05+1
}

// whole reports whether card and opening are in the picture.
func (s *scene) whole() bool {
	for k := range 4 {
		d := turned(Point{codeSide/2 + 3, 0}, float64(k)*math.Pi/2+math.Pi/4).times(math.Sqrt2)
		if !s.in(s.seen(s.card.add(turned(d, s.cardTurn)), 0)) {
			return false
		}
		h := turned(Point{max(s.holeWide, s.holeLong) / 2, 0}, float64(k)*math.Pi/2)
		if !s.in(s.seen(s.hole.add(h), 0)) {
			return false
		}
	}
	return true
}

func (s *scene) in(p Point) bool {
	return p.X > 4 && p.Y > 4 && p.X < float64(s.width)-4 && p.Y < float64(s.height)-4
}

// wholeScene draws until all that matters is in the picture.
func wholeScene(rnd *rand.Rand) *scene {
	for {
		if s := anyScene(rnd); s.free() && s.whole() {
			return s
		}
	}
}

func (s *scene) codeCorners() (c [4]Point) {
	for k, d := range []Point{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		c[k] = s.seen(s.card.add(turned(d.times(codeSide/2*s.printScale), s.cardTurn)), 0)
	}
	return c
}
