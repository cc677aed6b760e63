package measure

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// circle is the least-squares circle x² + y² + ax + by + c = 0 through points,
// and the root mean square of their distances from it (Kåsa 1976, IEEE Trans
// Instrum Meas 25:8), refined by Gauss-Newton steps on the distances themselves
// (Gander, Golub & Strebel 1994, BIT 34:558).
func circle(p []Point) (mid Point, radius, rms float64, err error) {
	n := float64(len(p))
	var mean Point
	for _, q := range p {
		mean = mean.add(q.times(1 / n))
	}
	e := newNormal(3)
	for _, q := range p {
		d := q.sub(mean)
		e.add([]float64{d.X, d.Y, 1}, -d.dot(d))
	}
	s, ok := e.solve(0)
	if !ok {
		return mid, 0, 0, errLine
	}
	mid = Point{-s[0] / 2, -s[1] / 2}
	r2 := mid.dot(mid) - s[2]
	if !(r2 > 0) {
		return mid, 0, 0, errLine
	}
	radius = math.Sqrt(r2)
	mid = mid.add(mean)
	for range 20 {
		e := newNormal(3)
		for _, q := range p {
			d := q.sub(mid)
			l := d.length()
			if l == 0 {
				return mid, 0, 0, errLine
			}
			e.add([]float64{-d.X / l, -d.Y / l, -1}, radius-l)
		}
		if s, ok = e.solve(0); !ok {
			return mid, 0, 0, errLine
		}
		mid, radius = Point{mid.X + s[0], mid.Y + s[1]}, radius+s[2]
		if math.Abs(s[0])+math.Abs(s[1])+math.Abs(s[2]) < 1e-12*radius {
			break
		}
	}
	for _, q := range p {
		off := q.distance(mid) - radius
		rms += off * off / n
	}
	return mid, radius, math.Sqrt(rms), nil
}

var errLine = errors.New("the points lie on a line")

// solve solves linear equations in place, with pivoting; false where they do not
// determine the answer.
func solve(a [][]float64, b []float64) bool {
	n, scale := len(b), 0.
	for i := range n {
		for j := range n {
			scale = max(scale, math.Abs(a[i][j]))
		}
	}
	for c := range n {
		p := c
		for r := c + 1; r < n; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[p][c]) {
				p = r
			}
		}
		a[c], a[p], b[c], b[p] = a[p], a[c], b[p], b[c]
		if !(math.Abs(a[c][c]) > 1e-13*scale) {
			return false
		}
		for r := c + 1; r < n; r++ {
			f := a[r][c] / a[c][c]
			for k := c; k < n; k++ {
				a[r][k] -= f * a[c][k]
			}
			b[r] -= f * b[c]
		}
	}
	for c := n - 1; c >= 0; c-- {
		for k := c + 1; k < n; k++ {
			b[c] -= a[c][k] * b[k]
		}
		b[c] /= a[c][c]
	}
	return true
}

// normal are the normal equations of a least-squares problem.
type normal struct {
	a [][]float64
	b []float64
}

func newNormal(n int) *normal {
	e := &normal{make([][]float64, n), make([]float64, n)}
	for i := range e.a {
		e.a[i] = make([]float64, n)
	}
	return e
}

// add takes in one equation row · x = z.
func (e *normal) add(row []float64, z float64) { e.weigh(row, z, 1) }

// weigh is add for an equation that counts for so much.
func (e *normal) weigh(row []float64, z, weight float64) {
	for i, r := range row {
		if r *= weight; r == 0 {
			continue
		}
		a := e.a[i][:len(row)]
		for j := i; j < len(row); j++ {
			a[j] += r * row[j]
		}
		e.b[i] += r * z
	}
}

// solve returns x; the diagonal is raised by the factor 1 + damp.
func (e *normal) solve(damp float64) (x []float64, ok bool) {
	a, b := make([][]float64, len(e.b)), slices.Clone(e.b)
	for i := range a {
		a[i] = slices.Clone(e.a[i])
		for j := range i {
			a[i][j] = e.a[j][i]
		}
		a[i][i] *= 1 + damp
	}
	ok = solve(a, b)
	return b, ok
}

// sides tells which of the picks are on which edge of a slot, and how the edges
// run by them: the split of their order across the slot that leaves the least spread, over all
// directions in which the picks reach farther along the edges than these are apart. doubt is by how much more spread, as a sum of squares, the next best split leaves.
func sides(p []Point) (side []bool, along Point, doubt float64, err error) {
	if len(p) < 4 {
		return nil, along, 0, errors.New("a slot takes two picks or more on each side")
	}
	best, next := math.Inf(1), math.Inf(1)
	for deg := range 180 {
		s, c := math.Sincos(float64(deg) * math.Pi / 180)
		across := func(q Point) float64 { return -s*q.X + c*q.Y }
		order := slices.SortedFunc(slices.Values(p), func(a, b Point) int { return cmp.Compare(across(a), across(b)) })
		low, high := math.Inf(1), math.Inf(-1)
		for _, q := range p {
			low, high = min(low, c*q.X+s*q.Y), max(high, c*q.X+s*q.Y)
		}
		reach := high - low
		for n := 2; n <= len(p)-2; n++ {
			left, right := order[:n], order[n:]
			e := scatter(left, s, c) + scatter(right, s, c)
			if e >= next || !(across(right[0]) > across(left[n-1])) || across(right[len(right)/2])-across(left[len(left)/2]) > reach {
				continue
			}
			cut := (across(left[n-1]) + across(right[0])) / 2
			split := make([]bool, len(p))
			for i, q := range p {
				split[i] = across(q) > cut
			}
			same := side != nil
			for i := range side {
				same = same && (split[i] == split[0]) == (side[i] == side[0])
			}
			switch {
			case e < best:
				if !same {
					next = best
				}
				best, side, along = e, split, Point{c, s}
			case !same:
				next = e
			}
		}
	}
	if side == nil {
		return nil, along, 0, errLine
	}
	return side, along, next - best, nil
}

// slot is the gap between two edges that run alike, with picks on both: their
// common direction and the distance between them by total least squares. spread
// is the root mean square distance of the picks from their edge; lever how the
// gap's error follows from that of one pick, sd(gap) = lever · sd(pick); doubt is that
// of sides.
func slot(p []Point) (gap, spread, lever, doubt float64, err error) {
	side, _, doubt, err := sides(p)
	if err != nil {
		return 0, 0, 0, 0, err
	}
	var mean [2]Point
	var n [2]float64
	of := func(i int) int {
		if side[i] {
			return 1
		}
		return 0
	}
	for i, q := range p {
		mean[of(i)] = mean[of(i)].add(q)
		n[of(i)]++
	}
	for k := range mean {
		mean[k] = mean[k].times(1 / n[k])
	}
	var xx, xy, yy float64
	for i, q := range p {
		d := q.sub(mean[of(i)])
		xx, xy, yy = xx+d.X*d.X, xy+d.X*d.Y, yy+d.Y*d.Y
	}
	angle := math.Atan2(2*xy, xx-yy) / 2
	s, c := math.Sincos(angle)
	along, over := 0., 0.
	for i, q := range p {
		d := q.sub(mean[of(i)])
		along += math.Pow(c*d.X+s*d.Y, 2)
		over += math.Pow(-s*d.X+c*d.Y, 2)
	}
	if !(along > 1e-12) {
		return 0, 0, 0, 0, errLine
	}
	between := mean[1].sub(mean[0])
	gap = math.Abs(-s*between.X + c*between.Y)
	shift := c*between.X + s*between.Y // a turn of the direction moves the gap by this much
	lever = math.Sqrt(1/n[0] + 1/n[1] + shift*shift/along)
	return gap, math.Sqrt(over / float64(len(p))), lever, doubt, nil
}

// scatter is the sum of squared distances from a line of this direction through
// the points' middle.
func scatter(p []Point, sin, cos float64) (sum float64) {
	mean := 0.
	for _, q := range p {
		mean += (-sin*q.X + cos*q.Y) / float64(len(p))
	}
	for _, q := range p {
		e := -sin*q.X + cos*q.Y - mean
		sum += e * e
	}
	return sum
}
