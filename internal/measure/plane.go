// Package measure turns a photo with a card of known size in it into
// millimetres: it finds the card's code, fits the plane it lies in, and measures
// what lies in the same plane, with an honest error. It is pure, and runs on the
// server and, compiled to WebAssembly, on the phone: both give the same answer.
//
// Pictures have x to the right and y down, in pixels; the pixel at column 0 and
// row 0 covers 0 to 1, so its middle is at (0.5, 0.5).
package measure

import (
	"errors"
	"math"
)

// Point is a place in a picture, in pixels, or on a plane, in mm.
type Point struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

func (p Point) add(q Point) Point        { return Point{p.X + q.X, p.Y + q.Y} }
func (p Point) sub(q Point) Point        { return Point{p.X - q.X, p.Y - q.Y} }
func (p Point) times(k float64) Point    { return Point{p.X * k, p.Y * k} }
func (p Point) dot(q Point) float64      { return p.X*q.X + p.Y*q.Y }
func (p Point) cross(q Point) float64    { return p.X*q.Y - p.Y*q.X }
func (p Point) length() float64          { return math.Hypot(p.X, p.Y) }
func (p Point) distance(q Point) float64 { return p.sub(q).length() }

// Homography maps one plane to another, row by row, scaled so that the last is 1
// where it is not 0.
type Homography [9]float64

// Map takes a point to the other plane.
func (h *Homography) Map(p Point) Point {
	w := h[6]*p.X + h[7]*p.Y + h[8]
	return Point{(h[0]*p.X + h[1]*p.Y + h[2]) / w, (h[3]*p.X + h[4]*p.Y + h[5]) / w}
}

// Inverse maps back.
func (h *Homography) Inverse() Homography {
	inv := Homography{
		h[4]*h[8] - h[5]*h[7], h[2]*h[7] - h[1]*h[8], h[1]*h[5] - h[2]*h[4],
		h[5]*h[6] - h[3]*h[8], h[0]*h[8] - h[2]*h[6], h[2]*h[3] - h[0]*h[5],
		h[3]*h[7] - h[4]*h[6], h[1]*h[6] - h[0]*h[7], h[0]*h[4] - h[1]*h[3],
	}
	return inv.scaled()
}

func (h Homography) scaled() Homography {
	if k := h[8]; k != 0 {
		for i := range h {
			h[i] /= k
		}
	}
	return h
}

// then is the map that applies h first and g after it.
func (h *Homography) then(g *Homography) (out Homography) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out[3*i+j] += g[3*i+k] * h[3*k+j]
			}
		}
	}
	return out
}

var errPlane = errors.New("the points do not span a plane")

// FitHomography is the map that takes from to to, at least four points each of
// which no three in a row: the direct linear transform on normalised points
// (Hartley & Zisserman 2004, Multiple View Geometry, algorithm 4.2). It is exact
// for four and least squares of the algebraic error for more.
func FitHomography(from, to []Point) (Homography, error) {
	if len(from) < 4 || len(from) != len(to) {
		return Homography{}, errPlane
	}
	a, na, err := normalised(from)
	if err != nil {
		return Homography{}, err
	}
	b, nb, err := normalised(to)
	if err != nil {
		return Homography{}, err
	}
	var m [9][9]float64
	for i := range a {
		x, y, u, v := a[i].X, a[i].Y, b[i].X, b[i].Y
		for _, row := range [2][9]float64{{-x, -y, -1, 0, 0, 0, u * x, u * y, u}, {0, 0, 0, -x, -y, -1, v * x, v * y, v}} {
			for j := range 9 {
				for k := range 9 {
					m[j][k] += row[j] * row[k]
				}
			}
		}
	}
	values, vectors := eigen(m)
	least, next := 0, -1
	for i := range values {
		if values[i] < values[least] {
			least = i
		}
	}
	for i := range values {
		if i != least && (next < 0 || values[i] < values[next]) {
			next = i
		}
	}
	if values[next] < 1e-9 {
		return Homography{}, errPlane // more than one map does it
	}
	var h Homography
	for i := range 9 {
		h[i] = vectors[i][least]
	}
	// Both sides are about as large: a map that flattens has hardly any determinant.
	det := h[0]*(h[4]*h[8]-h[5]*h[7]) - h[1]*(h[3]*h[8]-h[5]*h[6]) + h[2]*(h[3]*h[7]-h[4]*h[6])
	if !(math.Abs(det) > 1e-9) {
		return Homography{}, errPlane
	}
	back := nb.Inverse()
	h = na.then(&h)
	h = h.then(&back)
	return h.scaled(), nil
}

// normalised moves points to their middle and scales them to a mean distance of
// √2 from it.
func normalised(p []Point) ([]Point, Homography, error) {
	var mid Point
	for _, q := range p {
		mid = mid.add(q)
	}
	mid = mid.times(1 / float64(len(p)))
	d := 0.
	for _, q := range p {
		d += q.distance(mid)
	}
	if !(d > 0) || math.IsInf(d, 0) {
		return nil, Homography{}, errPlane
	}
	k := math.Sqrt2 * float64(len(p)) / d
	out := make([]Point, len(p))
	for i, q := range p {
		out[i] = q.sub(mid).times(k)
	}
	return out, Homography{k, 0, -k * mid.X, 0, k, -k * mid.Y, 0, 0, 1}, nil
}

// eigen are the eigenvalues of a symmetric matrix and its eigenvectors, in
// columns, by Jacobi's rotations (Golub & Van Loan 1996, Matrix Computations,
// §8.4).
func eigen(a [9][9]float64) (values [9]float64, v [9][9]float64) {
	for i := range v {
		v[i][i] = 1
	}
	for range 60 {
		off := 0.
		for i := range 9 {
			for j := range i {
				off += a[i][j] * a[i][j]
			}
		}
		if off < 1e-30 {
			break
		}
		for p := range 9 {
			for q := p + 1; q < 9; q++ {
				if a[p][q] == 0 {
					continue
				}
				theta := (a[q][q] - a[p][p]) / (2 * a[p][q])
				t := math.Copysign(1, theta) / (math.Abs(theta) + math.Sqrt(theta*theta+1))
				c := 1 / math.Sqrt(t*t+1)
				s := t * c
				for k := range 9 {
					a[k][p], a[k][q] = c*a[k][p]-s*a[k][q], s*a[k][p]+c*a[k][q]
				}
				for k := range 9 {
					a[p][k], a[q][k] = c*a[p][k]-s*a[q][k], s*a[p][k]+c*a[q][k]
				}
				for k := range 9 {
					v[k][p], v[k][q] = c*v[k][p]-s*v[k][q], s*v[k][p]+c*v[k][q]
				}
			}
		}
	}
	for i := range 9 {
		values[i] = a[i][i]
	}
	return values, v
}

// square maps the unit square, from its corner at the origin clockwise on the
// picture, to four corners: FitHomography in closed form (Heckbert 1989,
// Fundamentals of Texture Mapping and Image Warping, 2.2.3).
func square(c *[4]Point) (Homography, error) {
	a, b := c[1].sub(c[2]), c[3].sub(c[2])
	d := c[0].sub(c[1]).add(c[2].sub(c[3]))
	det := a.cross(b)
	if scale := max(a.dot(a), b.dot(b)); !(math.Abs(det) > 1e-9*scale) {
		return Homography{}, errPlane
	}
	g, h := d.cross(b)/det, a.cross(d)/det
	return Homography{
		c[1].X - c[0].X + g*c[1].X, c[3].X - c[0].X + h*c[3].X, c[0].X,
		c[1].Y - c[0].Y + g*c[1].Y, c[3].Y - c[0].Y + h*c[3].Y, c[0].Y,
		g, h, 1,
	}, nil
}
