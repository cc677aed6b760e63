package measure

import (
	"cmp"
	"errors"
	"image"
	"math"
	"slices"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode/decoder"
)

// Code is a printed QR code as it lies in a photo.
type Code struct {
	Text    string `json:"text"`
	Modules int    `json:"modules"` // on each side
	// Corners of the print, in pixels of the photo: from that at which its text
	// begins, clockwise.
	Corners [4]Point `json:"corners"`
	// Spread is the standard deviation of a corner, in pixels.
	Spread float64 `json:"spreadPixels"`
	// Blur is the standard deviation of the edges' blur, in pixels.
	Blur float64 `json:"blurPixels"`
	// Contrast is how much darker than its paper the print is, in grey levels of
	// 255.
	Contrast float64 `json:"contrast"`
}

// Side is the mean length of the code's sides, in pixels.
func (c *Code) Side() float64 {
	sum := 0.
	for i := range 4 {
		sum += c.Corners[i].distance(c.Corners[(i+1)%4])
	}
	return sum / 4
}

// ErrNoCode says that no code was found.
var ErrNoCode = errors.New("no code is in the picture")

// usual is the long side, in pixels, of the picture that is looked at first: in a
// larger one a code's marks are no clearer, and there are more of other things.
const usual = 1600

// cardModules are how many modules the code of a card may have on a side, by how
// long the address of the service is: what cannot be read and has others is no card's.
var cardModules = []int{25, 29, 33, 37}

// Find looks for one QR code (ISO/IEC 18004) and lays its corners to a fraction
// of a pixel. Where a code lies that is too small or too blurred to be read, its text is "". The
// photo is looked at in several sizes; large ones of 12 megapixels take some tenths of a second, and
// about one second where nothing is clear. The error is ErrNoCode.
func Find(img *image.Gray) (*Code, error) {
	s := search{}
	var order []int
	s.levels, order = sizes(img)
	for _, i := range order {
		if r := s.marks(i, s.levels[i], 1); r != nil {
			return s.polish(r), nil
		}
	}
	// Blur leaves of the marks dark spots in a light margin.
	for i := range s.levels {
		if s.unread != nil {
			break // a smaller picture tells no more
		}
		if r := s.spots(i); r != nil {
			return s.polish(r), nil
		}
	}
	// A code that is small or blurred shows its marks better enlarged and sharpened.
	for _, i := range order {
		if l := s.levels[i]; s.unread == nil && max(l.Rect.Dx(), l.Rect.Dy()) <= usual {
			for _, width := range []int{5, 7} {
				if r := s.marks(i, doubled(sharpened(l, s.sum(i), width)), 2); r != nil {
					return s.polish(r), nil
				}
			}
		}
	}
	if s.unread != nil && slices.Contains(cardModules, s.unread.grid.n) {
		return s.polish(s.unread), nil
	}
	return nil, ErrNoCode
}

// Read is the text of a code, or ErrNoCode. It is for a camera's frames, of which
// the next comes soon: it takes a fraction of Find's time, gives up on what is
// small or blurred, and lays no corners.
func Read(img *image.Gray) (string, error) {
	s := search{}
	var order []int
	s.levels, order = sizes(img)
	for _, i := range order {
		if r := s.marks(i, s.levels[i], 1); r != nil {
			return r.text, nil
		}
	}
	return "", ErrNoCode
}

// search is for a code in a picture.
type search struct {
	levels []*image.Gray // the picture, and its halves
	added  [][]uint32    // their sums, where they were asked for
	// unread is what looks most like a code of those that were not read.
	unread  *reading
	guesses int // that spots have made
}

// sizes are the picture and its halves, and in which order to look at them: from the
// usual size on to smaller ones, then to larger.
func sizes(img *image.Gray) (levels []*image.Gray, order []int) {
	full := flat(img)
	if full.Rect.Dx() < 21 || full.Rect.Dy() < 21 {
		return nil, nil
	}
	levels = []*image.Gray{full}
	for l := full; max(l.Rect.Dx(), l.Rect.Dy()) > 400; {
		l = halved(l)
		levels = append(levels, l)
	}
	first := slices.IndexFunc(levels, func(l *image.Gray) bool { return max(l.Rect.Dx(), l.Rect.Dy()) <= usual })
	if first < 0 {
		first = len(levels) - 1
	}
	for i := first; i < len(levels); i++ {
		order = append(order, i)
	}
	for i := first - 1; i >= 0; i-- {
		order = append(order, i)
	}
	return levels, order
}

// sum is of the pixels of a level.
func (s *search) sum(level int) []uint32 {
	if s.added == nil {
		s.added = make([][]uint32, len(s.levels))
	}
	if s.added[level] == nil {
		s.added[level] = sums(s.levels[level])
	}
	return s.added[level]
}

// mark is one of a code's three finder patterns.
type mark struct {
	mid  Point
	size float64 // of a module
	seen int     // rows that cross it
	edge []Point // its outer edge
}

// marks looks for finder patterns in one of the levels, or in a picture made from it that
// is so many times as large, and reads from the level; nil: nothing.
func (s *search) marks(level int, look *image.Gray, times int) *reading {
	const share = 8 // of the long side: wider than a mark of a code that fills the picture
	marks := findMarks(look, darker(look, s.sum(level), max(look.Rect.Dx(), look.Rect.Dy())/times/share, times))
	for i := range marks {
		m := &marks[i]
		k := 1 / float64(times)
		m.mid, m.size = m.mid.times(k), m.size*k
		for e := range m.edge {
			m.edge[e] = m.edge[e].times(k)
		}
	}
	list := triples(marks)
	for _, t := range list[:min(len(list), 10)] {
		if r := s.read(level, t); r != nil {
			return r
		}
	}
	return nil
}

// findMarks looks along each row for dark, light, dark, light, dark in the
// proportion 1:1:3:1:1, and then for rings round the middle.
func findMarks(img *image.Gray, black []bool) []mark {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	var list []mark
	column := func(x int) func(int) bool { return func(y int) bool { return black[y*w+x] } }
	line := func(y int) func(int) bool { return func(x int) bool { return black[y*w+x] } }
	for y := range h {
		var runs [5]int
		state, begin := -1, 0 // the run under way; -1 before the first dark
		row := black[y*w : y*w+w]
		for x := 0; x <= w; x++ {
			if x < w && state >= 0 && row[x] == (state%2 == 0) {
				continue
			}
			if state < 0 {
				if x < w && row[x] {
					state, begin = 0, x
				}
				continue
			}
			runs[state] = x - begin
			begin = x
			if state < 4 {
				state++
				continue
			}
			// Five runs end here, the last of them dark.
			if size, ok := proportion(&runs); ok {
				mid := float64(x) - float64(runs[4]) - float64(runs[3]) - float64(runs[2])/2
				if my, sy, ok := across(column(int(mid)), y, h, 3*size); ok && sy < 2.5*size && size < 2.5*sy {
					if mx, sx, ok := across(line(int(my)), int(mid), w, 3*size); ok {
						list = merge(list, Point{mx, my}, (sx+sy)/2)
					}
				}
			}
			copy(runs[:], runs[2:])
			state = 3
		}
	}
	slices.SortStableFunc(list, func(a, b mark) int { return cmp.Compare(float64(b.seen)/b.size, float64(a.seen)/a.size) })
	list = list[:min(len(list), 60)]
	var rings []mark
	for _, m := range list {
		if m.seen >= 2 && ringed(img, &m) {
			rings = append(rings, m)
		}
	}
	return rings[:min(len(rings), 14)]
}

// proportion reports whether runs are as in a finder pattern, and the size of a
// module. Blur and threshold widen dark runs as much as they narrow light ones.
func proportion(r *[5]int) (size float64, ok bool) {
	total := 0
	for _, n := range r {
		if n == 0 {
			return 0, false
		}
		total += n
	}
	size = float64(total) / 7
	slack := max(.65*size, .8)
	for i, n := range r {
		want, most := size, slack
		if i == 2 {
			want, most = 3*size, 2*slack
		}
		if math.Abs(float64(n)-want) > most {
			return 0, false
		}
	}
	return size, true
}

// across measures the pattern along one line through a dark middle.
func across(black func(int) bool, from, n int, most float64) (mid, size float64, ok bool) {
	if from < 0 || from >= n || !black(from) {
		return 0, 0, false
	}
	var r [5]int
	walk := func(step int, order [3]int) (end int, ok bool) {
		i := from
		for k, slot := range order {
			for i >= 0 && i < n && black(i) == (k%2 == 0) {
				if i != from || step > 0 {
					r[slot]++
				}
				if float64(r[slot]) > 2*most {
					return i, false
				}
				i += step
			}
		}
		return i, true
	}
	_, ok1 := walk(-1, [3]int{2, 1, 0})
	up := r[2]
	_, ok2 := walk(1, [3]int{2, 3, 4})
	if !ok1 || !ok2 {
		return 0, 0, false
	}
	if size, ok = proportion(&r); !ok {
		return 0, 0, false
	}
	return float64(from-up) + float64(r[2])/2, size, true
}

func merge(list []mark, mid Point, size float64) []mark {
	for i := range list {
		m := &list[i]
		if m.mid.distance(mid) < 2*m.size && size < 2*m.size && m.size < 2*size {
			n := float64(m.seen)
			m.mid = m.mid.times(n).add(mid).times(1 / (n + 1))
			m.size = (m.size*n + size) / (n + 1)
			m.seen++
			return list
		}
	}
	return append(list, mark{mid: mid, size: size, seen: 1})
}

// rays are the directions in which a mark's rings are looked for.
const rays = 48

// ringed looks from the middle of a mark outward: dark, light, dark, light at
// the proportion 1.5 : 2.5 : 3.5. It keeps where the outer edge is.
func ringed(img *image.Gray, m *mark) bool {
	step := max(m.size/6, .25)
	n := int(7 * m.size / step)
	profile := make([]float64, n)
	var all []float64
	var lines [rays][]float64
	for k := range rays {
		s, c := math.Sincos(2 * math.Pi * float64(k) / rays)
		for i := range profile {
			p := m.mid.add(Point{c, s}.times(float64(i) * step))
			if !inside(img, p, .5) {
				profile = profile[:i]
				break
			}
			profile[i] = at(img, p)
		}
		lines[k] = slices.Clone(profile)
		all = append(all, profile[:min(len(profile), int(4.5*m.size/step))]...)
		profile = profile[:n]
	}
	if len(all) < rays*4 {
		return false
	}
	slices.Sort(all)
	low, high := all[len(all)/10], all[len(all)*85/100]
	if high-low < 12 {
		return false
	}
	level := (low + high) / 2
	m.edge = m.edge[:0]
	var radii [][3]float64
	var edges []Point
	for k, l := range lines {
		var r [3]float64
		found := 0
		for i := 1; i < len(l) && found < 3; i++ {
			rising := found%2 == 0
			if rising && l[i-1] < level && l[i] >= level || !rising && l[i-1] >= level && l[i] < level {
				r[found] = (float64(i-1) + (level-l[i-1])/(l[i]-l[i-1])) * step
				found++
			}
		}
		if found < 3 || r[1] < 1.15*r[0] || r[1] > 2.6*r[0] || r[2] < 1.5*r[0] || r[2] > 3.6*r[0] {
			continue
		}
		s, c := math.Sincos(2 * math.Pi * float64(k) / rays)
		radii = append(radii, r)
		edges = append(edges, m.mid.add(Point{c, s}.times(r[2])))
	}
	if len(edges) < rays*6/10 {
		return false
	}
	m.edge = edges
	return true
}

// triple is three marks as they lie in a code.
type triple struct {
	corner, right, below *mark
	off                  float64 // how little it looks like one
}

// triples are the sets of three marks that may belong together, the likeliest
// first.
func triples(marks []mark) (list []triple) {
	for i := range marks {
		for j := range marks {
			for k := range marks {
				if j == i || k == i || j == k {
					continue
				}
				a, b, c := &marks[i], &marks[j], &marks[k]
				u, v := b.mid.sub(a.mid), c.mid.sub(a.mid)
				if u.cross(v) <= 0 {
					continue // mirrored, or the same set in the other order
				}
				lu, lv := u.length(), v.length()
				sizes := max(a.size, b.size, c.size) / min(a.size, b.size, c.size)
				cos := math.Abs(u.dot(v)) / (lu * lv)
				if sizes > 2.2 || lu > 2.6*lv || lv > 2.6*lu || cos > .8 {
					continue
				}
				size := (a.size + b.size + c.size) / 3
				if min(lu, lv) < 9*size || max(lu, lv) > 60*size {
					continue
				}
				list = append(list, triple{a, b, c, cos + math.Log(max(lu, lv)/min(lu, lv)) + math.Log(sizes)})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b triple) int { return cmp.Compare(a.off, b.off) })
	return list
}

// quad fits the four sides of a mark's outer edge, given the directions in which
// its sides run, and returns their crossings from the corner near the code's
// first on, clockwise.
func quad(m *mark, right, down Point) (c [4]Point, ok bool) {
	det := right.cross(down)
	if det == 0 {
		return c, false
	}
	type place struct {
		Point
		a, b float64
	}
	list := make([]place, len(m.edge))
	var as, bs []float64
	for i, p := range m.edge {
		d := p.sub(m.mid)
		list[i] = place{p, d.cross(down) / det, right.cross(d) / det}
	}
	// The half widths along both directions: of a square, half of its edge's points
	// belong to each pair of sides.
	half := func(v []float64) float64 {
		slices.Sort(v)
		return v[len(v)*3/4]
	}
	for _, p := range list {
		as, bs = append(as, math.Abs(p.a)), append(bs, math.Abs(p.b))
	}
	ha, hb := half(as), half(bs)
	if ha == 0 || hb == 0 {
		return c, false
	}
	type side struct{ mid, along Point }
	var sides [4]side // above, right, below, left
	for k := range sides {
		var p []Point
		for _, q := range list {
			a, b := q.a/ha, q.b/hb
			if min(math.Abs(a), math.Abs(b)) > .8 {
				continue // at a corner, which blur makes round
			}
			mine := [4]bool{-b > math.Abs(a), a > math.Abs(b), b > math.Abs(a), -a > math.Abs(b)}
			if mine[k] {
				p = append(p, q.Point)
			}
		}
		if len(p) < 4 {
			return c, false
		}
		mid, along := straight(p)
		// Once more without what lies off.
		slices.SortFunc(p, func(x, y Point) int {
			return cmp.Compare(math.Abs(along.cross(x.sub(mid))), math.Abs(along.cross(y.sub(mid))))
		})
		sides[k].mid, sides[k].along = straight(p[:max(3, len(p)*8/10)])
	}
	for k := range c {
		a, b := &sides[(k+3)%4], &sides[k]
		d := a.along.cross(b.along)
		if math.Abs(d) < .2 {
			return c, false
		}
		c[k] = a.mid.add(a.along.times(b.mid.sub(a.mid).cross(b.along) / d))
	}
	return c, true
}

// straight is the line with the least squared distances from points.
func straight(p []Point) (mid, along Point) {
	for _, q := range p {
		mid = mid.add(q.times(1 / float64(len(p))))
	}
	var xx, xy, yy float64
	for _, q := range p {
		d := q.sub(mid)
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	}
	s, c := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
	return mid, Point{c, s}
}

// read tries to read the code that three marks belong to.
func (s *search) read(level int, t triple) *reading {
	right, down := t.right.mid.sub(t.corner.mid), t.below.mid.sub(t.corner.mid)
	right, down = right.times(1/right.length()), down.times(1/down.length())
	var quads [3][4]Point
	for i, m := range []*mark{t.corner, t.right, t.below} {
		var ok bool
		if quads[i], ok = quad(m, right, down); !ok {
			return nil
		}
	}
	// How many modules lie between the marks, by the marks' own sides.
	wide := (quads[0][0].distance(quads[0][1]) + quads[0][3].distance(quads[0][2]) + quads[1][0].distance(quads[1][1]) + quads[1][3].distance(quads[1][2])) / 4
	tall := (quads[0][0].distance(quads[0][3]) + quads[0][1].distance(quads[0][2]) + quads[2][0].distance(quads[2][3]) + quads[2][1].distance(quads[2][2])) / 4
	guess := 7 + 7*(t.corner.mid.distance(t.right.mid)/wide+t.corner.mid.distance(t.below.mid)/tall)/2
	var sizes []int
	for v := 1; v <= 12; v++ {
		if n := 17 + 4*v; math.Abs(float64(n)-guess) < 6 {
			sizes = append(sizes, n)
		}
	}
	slices.SortFunc(sizes, func(a, b int) int { return cmp.Compare(math.Abs(float64(a)-guess), math.Abs(float64(b)-guess)) })
	for _, n := range sizes {
		var from, to []Point
		for i, at := range []Point{{0, 0}, {float64(n - 7), 0}, {0, float64(n - 7)}} {
			for k, c := range []Point{{0, 0}, {7, 0}, {7, 7}, {0, 7}} {
				from, to = append(from, at.add(c).times(1/float64(n))), append(to, quads[i][k])
			}
		}
		h, err := FitHomography(from, to)
		if err != nil {
			continue
		}
		start := [4]Point{h.Map(Point{0, 0}), h.Map(Point{1, 0}), h.Map(Point{1, 1}), h.Map(Point{0, 1})}
		if r := s.readAt(level, n, start, .45, .3, .6, .9); r != nil {
			return r
		}
	}
	return nil
}

// reading is where a code lies in one of the levels, and what it says; "" when that
// could not be read.
type reading struct {
	level int
	text  string
	grid  grid
	fit   fit
}

// readAt reads the code of so many modules that lies about here, blurred about
// as much as one of blurs, where its patterns leave at most this share of the contrast
// unexplained; nil: it cannot.
func (s *search) readAt(level, n int, start [4]Point, most float64, blurs ...float64) *reading {
	if bent(&start) {
		return nil
	}
	img := s.levels[level]
	known := fixed(n)
	// The corner without a mark is known worst; where it lies is tried.
	module := start[0].distance(start[2]) / math.Sqrt2 / float64(n)
	out := start[2].sub(start[0])
	out = out.times(1 / out.length())
	side := Point{-out.Y, out.X}
	var others [][4]Point
	for i := -2; i <= 2; i++ {
		for j := -1; j <= 1; j++ {
			c := start
			c[2] = c[2].add(out.times(float64(i) * module)).add(side.times(float64(j) * module))
			others = append(others, c)
		}
	}
	var best fit
	found := false
	for _, blur := range blurs {
		f, ok := refine(img, known, start, blur, 12, others...)
		if !ok && !found {
			return nil
		}
		if found && (!ok || f.rms >= best.rms) {
			break
		}
		if best, found = f, true; best.rms > 2*most*best.contrast {
			return nil // the blur is not what is wrong
		}
	}
	if best.contrast < 10 || best.rms > most*best.contrast {
		return nil
	}
	for try := range 4 {
		g := sampled(img, n, &best.corners, best.blur)
		text, mirrored, ok := decode(g.whole())
		if !ok { // a reflection lies on it, perhaps
			b := besides(img, n, &best.corners)
			if text, mirrored, ok = decode(b); ok {
				g = b
			}
		}
		if ok {
			if mirrored {
				return nil // its corners would be named wrongly
			}
			return &reading{level, text, *g.whole(), best}
		}
		if try > 0 && best.rms > .2*best.contrast {
			return nil
		}
		// By what its neighbours seem to be, it may lie better and then be read.
		const worth = 2 // rendered codes whose modules are counted right are doubted by up to .8
		if try == 0 && (&reading{level, "", *g, best}).doubt(img) > worth {
			return nil
		}
		f, ok := lay(img, g, best)
		if !ok {
			return nil
		}
		best = f
		if r := (&reading{level, "", *g, f}); r.doubt(img) <= 1 && (s.unread == nil || f.rms/f.contrast < s.unread.fit.rms/s.unread.fit.contrast) {
			s.unread = r
		}
	}
	return nil
}

// doubt is how little a code that is not read seems to lie there, 1 where it is only just believed:
// the patterns that all codes have are seen, all of them, in a light margin, and between them
// about as much is dark as light.
func (r *reading) doubt(img *image.Gray) float64 {
	// Shares of the contrast: rendered codes show up to .05 and .08, and what only looks
	// like one .05 and .19.
	const most, mostOfMargin, mostOff, mostUneven = .1, .12, .5, .15
	f, n := &r.fit, r.grid.n
	w, height := float64(img.Rect.Dx()), float64(img.Rect.Dy())
	view := camera{Point{w / 2, height / 2}, usualFocal * max(w, height)}
	tilt, off := view.pose(&f.corners, [2]float64{1, 1})
	h, err := square(&f.corners)
	if err != nil || tilt > mostTilt || f.contrast > 245 {
		return math.Inf(1)
	}
	paper := func(col, row int) (v, light, contrast float64) {
		x, y := (float64(col)+.5)/float64(n), (float64(row)+.5)/float64(n)
		t := &f.tones
		return at(img, h.Map(Point{x, y})), t[0] + t[1]*(x-.5) + t[2]*(y-.5), t[3] + t[4]*(x-.5) + t[5]*(y-.5)
	}
	// The margin, two and three modules out, where a finger may cover some.
	var margin []float64
	for i := -3; i < n+3; i++ {
		for _, d := range []int{-3, -2, n + 1, n + 2} {
			for _, p := range [][2]int{{i, d}, {d, i}} {
				v, light, contrast := paper(p[0], p[1])
				margin = append(margin, math.Abs(v-light)/contrast)
			}
		}
	}
	slices.Sort(margin)
	ink, free := 0., 0.
	for i, m := range r.grid.m {
		if m == unknown {
			ink, free = ink+r.grid.dark(i%n, i/n), free+1
		}
	}
	return max(f.rms/f.contrast/most, off/mostOff, margin[len(margin)*85/100]/mostOfMargin, math.Abs(ink/free-.5)/mostUneven)
}

// bent reports whether corners are not those of a plane's square seen from its
// front.
func bent(c *[4]Point) bool {
	for k := range 4 {
		a, b, d := c[k], c[(k+1)%4], c[(k+2)%4]
		if b.sub(a).cross(d.sub(b)) <= 0 {
			return true
		}
	}
	return false
}

// fixed are the modules that are the same in all codes of a size: finder and
// timing patterns, and the alignment pattern near the fourth corner (ISO/IEC
// 18004:2015, 6.3).
func fixed(n int) *grid {
	g := &grid{n: n, m: make([]module, n*n)}
	set := func(col, row int, d bool) {
		if col < 0 || row < 0 || col >= n || row >= n {
			return
		}
		g.m[row*n+col] = light
		if d {
			g.m[row*n+col] = dark
		}
	}
	for i := 8; i < n-8; i++ {
		set(i, 6, i%2 == 0)
		set(6, i, i%2 == 0)
	}
	for _, at := range [][2]int{{0, 0}, {n - 7, 0}, {0, n - 7}} {
		for row := -1; row <= 7; row++ {
			for col := -1; col <= 7; col++ {
				ring := max(abs(col-3), abs(row-3))
				set(at[0]+col, at[1]+row, ring != 2 && ring != 4)
			}
		}
	}
	if n > 21 {
		for row := -2; row <= 2; row++ {
			for col := -2; col <= 2; col++ {
				set(n-7+col, n-7+row, max(abs(col), abs(row)) != 1)
			}
		}
	}
	return g
}

func abs(v int) int { return max(v, -v) }

// sampled reads how dark the modules between the patterns are. Each is seen
// through a blur that mixes in its neighbours; what explains the picture best is
// found by Landweber's iteration between dark and light (1951, Am J Math 73:615).
func sampled(img *image.Gray, n int, corners *[4]Point, blur float64) *grid {
	g := fixed(n)
	h, err := square(corners)
	if err != nil {
		return g
	}
	value := func(col, row int) float64 {
		sum := 0.
		for _, d := range []Point{{0, 0}, {.18, .18}, {-.18, .18}, {.18, -.18}, {-.18, -.18}} {
			sum += at(img, h.Map(Point{(float64(col) + .5 + d.X) / float64(n), (float64(row) + .5 + d.Y) / float64(n)}))
		}
		return sum / 5
	}
	const reach = mixed
	weight := mixing(blur)
	ink := make([]float64, n*n)
	seen := func(col, row int) (v float64) { // through the blur
		for dy := -reach; dy <= reach; dy++ {
			line := 0.
			for dx := -reach; dx <= reach; dx++ {
				if c, r := col+dx, row+dy; c >= 0 && r >= 0 && c < n && r < n {
					line += weight[abs(dx)] * ink[r*n+c]
				}
			}
			v += weight[abs(dy)] * line
		}
		return v
	}
	for i := range ink {
		ink[i] = g.dark(i%n, i/n)
	}
	// Paper and print change linearly: least squares over what is known.
	e := newNormal(4)
	pixels := make([]float64, n*n)
	for row := range n {
		for col := range n {
			pixels[row*n+col] = value(col, row)
			if g.at(col, row) != unknown {
				e.add([]float64{1, float64(col)/float64(n) - .5, float64(row)/float64(n) - .5, -seen(col, row)}, pixels[row*n+col])
			}
		}
	}
	t, ok := e.solve(0)
	if !ok || t[3] <= 0 {
		return g
	}
	target := make([]float64, n*n)
	for row := range n {
		for col := range n {
			target[row*n+col] = (t[0] + t[1]*(float64(col)/float64(n)-.5) + t[2]*(float64(row)/float64(n)-.5) - pixels[row*n+col]) / t[3]
		}
	}
	off := make([]float64, n*n)
	for range 25 {
		for row := range n {
			for col := range n {
				off[row*n+col] = target[row*n+col] - seen(col, row)
			}
		}
		for i, m := range g.m {
			if m == unknown {
				ink[i] = min(1, max(0, ink[i]+off[i]))
			}
		}
	}
	g.ink = ink
	return g
}

// mixing is how much of a module blur mixes into one so many modules away in a row, in the mean over it,
// up to mixed.
func mixing(blur float64) (weight [mixed + 1]float64) {
	for d := range weight {
		lo, hi := float64(d)-.5, float64(d)+.5
		s := max(blur, .05) * math.Sqrt2
		weight[d] = (math.Erf(hi/s) - math.Erf(lo/s)) / 2
	}
	return weight
}

const mixed = 3

// whole is a grid of which every module is taken for dark or light.
func (g *grid) whole() *grid {
	w := &grid{n: g.n, m: make([]module, len(g.m))}
	for i := range w.m {
		w.m[i] = light
		if g.dark(i%g.n, i/g.n) > .5 {
			w.m[i] = dark
		}
	}
	return w
}

// besides reads each module by the darkest and the lightest of those around it:
// through a reflection that brightens a part of the card, where sampled, which takes
// the light to change evenly, goes wrong.
func besides(img *image.Gray, n int, corners *[4]Point) *grid {
	g := fixed(n)
	h, err := square(corners)
	if err != nil {
		return g
	}
	v := make([]float64, n*n)
	for i := range v {
		v[i] = at(img, h.Map(Point{(float64(i%n) + .5) / float64(n), (float64(i/n) + .5) / float64(n)}))
	}
	const around = 2
	for row := range n {
		for col := range n {
			if g.at(col, row) != unknown {
				continue
			}
			low, high := math.Inf(1), math.Inf(-1)
			for r := max(0, row-around); r <= min(n-1, row+around); r++ {
				for c := max(0, col-around); c <= min(n-1, col+around); c++ {
					low, high = min(low, v[r*n+c]), max(high, v[r*n+c])
				}
			}
			g.m[row*n+col] = light
			if v[row*n+col] < (low+high)/2 {
				g.m[row*n+col] = dark
			}
		}
	}
	return g
}

func decode(g *grid) (text string, mirrored, ok bool) {
	bits, err := gozxing.NewSquareBitMatrix(g.n)
	if err != nil {
		return "", false, false
	}
	for row := range g.n {
		for col := range g.n {
			if g.at(col, row) == dark {
				bits.Set(col, row)
			}
		}
	}
	got, err := decoder.NewDecoder().Decode(bits, nil)
	if err != nil {
		return "", false, false
	}
	meta, is := got.GetOther().(*decoder.QRCodeDecoderMetaData)
	return got.GetText(), is && meta.IsMirrored(), true
}

// fineModule is how many pixels of a module the last refinement wants: with less
// it takes a larger picture, where there is one.
const fineModule = 5.

// lay refines with the blur that explains the picture best: from the one before
// to its neighbours, as long as they explain more.
func lay(img *image.Gray, g *grid, from fit) (best fit, found bool) {
	blurs := []float64{.1, .15, .2, .3, .45, .65, .9, 1.25}
	i := 0
	for i < len(blurs)-2 && blurs[i+1] < from.blur*1.05 {
		i++
	}
	best, found = refine(img, g, from.corners, blurs[i], 10)
	for _, step := range []int{-1, 1} {
		for k := i + step; k >= 0 && k < len(blurs); k += step {
			corners := from.corners
			if found {
				corners = best.corners
			}
			f, ok := refine(img, g, corners, blurs[k], 10)
			if !ok || found && f.rms >= best.rms {
				break
			}
			best, found = f, true
		}
	}
	return best, found
}

// polish lays the corners with all that is known, in the largest picture that is
// worth it.
func (s *search) polish(r *reading) *Code {
	best, level := r.fit, r.level
	module := func() float64 {
		return best.corners[0].distance(best.corners[2]) / math.Sqrt2 / float64(r.grid.n)
	}
	again := func() {
		if r.text == "" {
			r.grid = *sampled(s.levels[level], r.grid.n, &best.corners, best.blur)
		}
		if f, ok := lay(s.levels[level], &r.grid, best); ok {
			best = f
		}
		if r.text != "" {
			r.grid.shine(s.levels[level], &best)
			if f, ok := refine(s.levels[level], &r.grid, best.corners, best.blur, 10); ok {
				best = f
			}
		}
	}
	again()
	for level > 0 && module() < fineModule {
		level--
		for k := range best.corners {
			best.corners[k] = best.corners[k].times(2)
		}
		again()
	}
	scale := float64(int(1) << level)
	c := &Code{Text: r.text, Modules: r.grid.n, Spread: best.spread * scale, Blur: best.blur * module() * scale, Contrast: best.contrast}
	for k := range best.corners {
		c.Corners[k] = best.corners[k].times(scale)
	}
	return c
}
