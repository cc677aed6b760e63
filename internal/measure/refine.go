package measure

import (
	"image"
	"math"
	"slices"
)

// module is what is known of one module of a code.
type module uint8

const (
	unknown module = iota
	light
	dark
)

// grid is a code's modules, row by row; outside of it is its light margin.
type grid struct {
	n int
	m []module
	// ink is how dark the unknown ones seem to be, 0 to 1; nil: half.
	ink []float64
	// lamp is how much of the light comes to each module and those of the margin's first row, beside what
	// changes linearly across the code; nil: 1.
	lamp []float64
}

func (g *grid) at(col, row int) module {
	if col < 0 || row < 0 || col >= g.n || row >= g.n {
		return light
	}
	return g.m[row*g.n+col]
}

// dark is how dark a module is, 0 to 1.
func (g *grid) dark(col, row int) float64 {
	switch g.at(col, row) {
	case dark:
		return 1
	case light:
		return 0
	}
	if g.ink == nil {
		return .5
	}
	return g.ink[row*g.n+col]
}

// parts of a module at which it is sampled along each side
const parts = 3

// fit is how a grid lies in a picture.
type fit struct {
	corners  [4]Point   // of the printed code, clockwise from the one that all its text begins at
	blur     float64    // standard deviation of the edges' blur, in modules
	contrast float64    // dark below light, grey levels
	rms      float64    // grey levels that are not explained
	tones    [6]float64 // paper and contrast in the middle, and how they change across and down
	spread   float64    // standard deviation of a corner, pixels
}

// shine estimates the lamp of a grid all of whose modules are known, by what the picture shows of them
// beside what the fit explains: across a shadow's edge the light does not change linearly.
func (g *grid) shine(img *image.Gray, f *fit) {
	h, err := square(&f.corners)
	if err != nil {
		return
	}
	const around = 2 // modules: many edges to both sides, which cancel what is not of the light
	wide := g.n + 2
	seen, due := make([]float64, wide*wide), make([]float64, wide*wide)
	weight := mixing(f.blur)
	for i := range seen {
		x, y := (float64(i%wide)-.5)/float64(g.n), (float64(i/wide)-.5)/float64(g.n)
		dark := 0.
		for r := -mixed; r <= mixed; r++ {
			for c := -mixed; c <= mixed; c++ {
				dark += weight[abs(r)] * weight[abs(c)] * g.dark(i%wide-1+c, i/wide-1+r)
			}
		}
		t := &f.tones
		due[i] = t[0] + t[1]*(x-.5) + t[2]*(y-.5) - dark*(t[3]+t[4]*(x-.5)+t[5]*(y-.5))
		seen[i] = at(img, h.Map(Point{x, y}))
	}
	g.lamp = make([]float64, wide*wide)
	for i := range g.lamp {
		a, b := 0., 0.
		for r := max(0, i/wide-around); r <= min(wide-1, i/wide+around); r++ {
			for c := max(0, i%wide-around); c <= min(wide-1, i%wide+around); c++ {
				a, b = a+seen[r*wide+c]*due[r*wide+c], b+due[r*wide+c]*due[r*wide+c]
			}
		}
		g.lamp[i] = 1
		if b > 0 && a > 0 {
			g.lamp[i] = a / b
		}
	}
}

// mostMoved is how far a refinement may take a corner, in modules; beyond it has
// found something else.
const mostMoved = 2.

// refine moves the corners until the picture of the grid, blurred as the
// photo's edges are, explains the photo best: Gauss-Newton with Levenberg's
// damping on the corners and on a brightness and contrast that change linearly
// across the code. It begins at the best of start and others. (After Baker & Matthews 2004, Int J Comput Vis 56:221.)
func refine(img *image.Gray, g *grid, start [4]Point, blur float64, rounds int, others ...[4]Point) (f fit, ok bool) {
	const shape, tone = 8, 6
	f = fit{corners: start, blur: blur}
	side := (start[0].distance(start[1]) + start[1].distance(start[2]) + start[2].distance(start[3]) + start[3].distance(start[0])) / 4
	pixel := side / float64(g.n)
	n := float64(g.n)

	// The samples: where in the code, and what the blurred grid is there.
	type sample struct {
		at         Point // in sides, 0 to 1
		dark, lamp float64
	}
	var samples []sample
	const reach = 3
	weights := make([][2*reach + 1]float64, parts)
	soft := max(blur, .05)
	for k := range parts {
		u := (float64(k) + .5) / parts
		for d := -reach; d <= reach; d++ {
			lo, hi := float64(d)-u, float64(d)+1-u
			weights[k][d+reach] = (math.Erf(hi/soft/math.Sqrt2) - math.Erf(lo/soft/math.Sqrt2)) / 2
		}
	}
	near := int(math.Ceil(3 * soft))
	near = min(near, reach)
	for row := -1; row <= g.n; row++ {
		for col := -1; col <= g.n; col++ {
			if g.at(col, row) == unknown {
				continue
			}
			lamp := 1.
			if g.lamp != nil {
				lamp = g.lamp[(row+1)*(g.n+2)+col+1]
			}
			for j := range parts {
				for i := range parts {
					v := 0.
					for dy := -near; dy <= near; dy++ {
						line := 0.
						for dx := -near; dx <= near; dx++ {
							line += weights[i][dx+reach] * g.dark(col+dx, row+dy)
						}
						v += weights[j][dy+reach] * line
					}
					samples = append(samples, sample{Point{(float64(col) + (float64(i)+.5)/parts) / n, (float64(row) + (float64(j)+.5)/parts) / n}, v, lamp})
				}
			}
		}
	}

	tones := make([]float64, tone)
	toneRow := func(s *sample, row []float64) {
		x, y := s.at.X-.5, s.at.Y-.5
		d := -s.dark * s.lamp
		row[0], row[1], row[2] = s.lamp, s.lamp*x, s.lamp*y
		row[3], row[4], row[5] = d, d*x, d*y
	}
	// cost sets the tones to their best for these corners and returns the mean square of what is left.
	row := make([]float64, shape+tone)
	values := make([]float64, len(samples))
	weight := make([]float64, len(samples))
	for i := range weight {
		weight[i] = 1
	}
	all := float64(len(samples)) // the sum of the weights
	cost := func(c *[4]Point) (float64, bool) {
		h, err := square(c)
		if err != nil {
			return 0, false
		}
		e := newNormal(tone)
		sum := 0.
		for i := range samples {
			s := &samples[i]
			p := h.Map(s.at)
			if !inside(img, p, 1) {
				return 0, false
			}
			values[i] = at(img, p)
			toneRow(s, row[:tone])
			e.weigh(row[:tone], values[i], weight[i])
			sum += weight[i] * values[i] * values[i]
		}
		b := append([]float64(nil), e.b...)
		t, ok := e.solve(0)
		if !ok {
			return 0, false
		}
		copy(tones, t)
		for i := range t {
			sum -= t[i] * b[i]
		}
		return max(0, sum) / all, true
	}
	// left is what the grid at these corners does not explain of a sample.
	left := func(i int) float64 {
		toneRow(&samples[i], row[:tone])
		v := values[i]
		for k := range tone {
			v -= row[k] * tones[k]
		}
		return v
	}
	off := make([]float64, len(samples))
	var sorted []float64
	reweigh := func() {
		for i := range off {
			off[i] = math.Abs(left(i))
		}
		sorted = sorted[:0]
		for i := 0; i < len(off); i += 5 { // some tell the middle well enough
			sorted = append(sorted, off[i])
		}
		slices.Sort(sorted)
		// Huber's limit for 95 % efficiency, and the deviation by the middle of a normal's absolute values.
		most := 1.345 * sorted[len(sorted)/2] / .6745
		all = 0
		for i := range weight {
			if weight[i] = 1; off[i] > most {
				weight[i] = most / off[i]
			}
			all += weight[i]
		}
	}

	now, fine := cost(&f.corners)
	for _, c := range others {
		if other, ok := cost(&c); ok && (!fine || other < now) {
			f.corners, now, fine = c, other, true
		}
	}
	if !fine {
		return f, false
	}
	now, _ = cost(&f.corners) // the tones of where it begins
	start = f.corners
	damp := 1e-3
	var last *normal
	for range rounds {
		reweigh()
		if now, fine = cost(&f.corners); !fine {
			return f, false
		}
		h, err := square(&f.corners)
		if err != nil {
			return f, false
		}
		var moved [shape]Homography
		const step = .01
		for k := range moved {
			c := f.corners
			if k%2 == 0 {
				c[k/2].X += step
			} else {
				c[k/2].Y += step
			}
			if moved[k], err = square(&c); err != nil {
				return f, false
			}
		}
		e := newNormal(shape + tone)
		for i := range samples {
			s := &samples[i]
			p := h.Map(s.at)
			gx := (at(img, Point{p.X + .5, p.Y}) - at(img, Point{p.X - .5, p.Y}))
			gy := (at(img, Point{p.X, p.Y + .5}) - at(img, Point{p.X, p.Y - .5}))
			for k := range moved {
				q := moved[k].Map(s.at)
				row[k] = -(gx*(q.X-p.X) + gy*(q.Y-p.Y)) / step
			}
			toneRow(s, row[shape:])
			was := 0.
			for k := range tone {
				was += row[shape+k] * tones[k]
			}
			e.weigh(row, values[i]-was, weight[i])
		}
		last = e
		better := false
		gone := 0.
		for range 6 {
			x, ok := e.solve(damp)
			if !ok {
				damp *= 10
				continue
			}
			c := f.corners
			gone = 0
			for k := range 4 {
				c[k] = c[k].add(Point{x[2*k], x[2*k+1]})
				gone = max(gone, c[k].distance(f.corners[k]))
			}
			if next, fine := cost(&c); fine && next <= now {
				f.corners, now, better = c, next, true
				damp = max(damp/5, 1e-9)
				break
			}
			damp *= 8
		}
		if !better {
			cost(&f.corners) // the tones of where it stays
			break
		}
		if gone < 2e-3 {
			break
		}
	}
	for k := range 4 {
		if f.corners[k].distance(start[k]) > mostMoved*pixel {
			return f, false
		}
	}
	f.contrast, f.rms = tones[3], math.Sqrt(now)
	copy(f.tones[:], tones)
	if last != nil {
		// Of the inverse of the normal matrix, the corners' part.
		for k := range shape {
			unit := newNormal(shape + tone)
			for i := range last.a {
				copy(unit.a[i], last.a[i])
			}
			unit.b[k] = 1
			if x, ok := unit.solve(1e-12); ok {
				f.spread += x[k] * now / shape
			}
		}
		f.spread = math.Sqrt(max(0, f.spread))
	}
	return f, f.contrast > 0
}
