package measure

import (
	"image"
	"math"
)

// halved is a picture of half the size, each pixel the mean of four.
func halved(g *image.Gray) *image.Gray {
	w, h := g.Rect.Dx()/2, g.Rect.Dy()/2
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		a, b := g.Pix[2*y*g.Stride:], g.Pix[(2*y+1)*g.Stride:]
		to := out.Pix[y*out.Stride:]
		for x := range w {
			to[x] = uint8((int(a[2*x]) + int(a[2*x+1]) + int(b[2*x]) + int(b[2*x+1]) + 2) / 4)
		}
	}
	return out
}

// doubled is a picture of twice the size, between pixels linearly.
func doubled(g *image.Gray) *image.Gray {
	w, h := 2*g.Rect.Dx(), 2*g.Rect.Dy()
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			out.Pix[y*out.Stride+x] = uint8(at(g, Point{(float64(x) + .5) / 2, (float64(y) + .5) / 2}) + .5)
		}
	}
	return out
}

// sharpened takes from each pixel what its neighbourhood of this width has, and
// so widens again what blur has narrowed.
func sharpened(g *image.Gray, width int) *image.Gray {
	const strength = 2
	w, h := g.Rect.Dx(), g.Rect.Dy()
	soft := make([]float32, w*h)
	line := make([]float32, max(w, h))
	r := width / 2
	// Two boxes along each way are nearly a bell.
	box := func(n, start, step int) {
		for range 2 {
			sum := float32(0)
			for i := -r; i <= r; i++ {
				sum += soft[start+min(max(i, 0), n-1)*step]
			}
			for i := range n {
				line[i] = sum / float32(2*r+1)
				sum += soft[start+min(i+r+1, n-1)*step] - soft[start+max(i-r, 0)*step]
			}
			for i := range n {
				soft[start+i*step] = line[i]
			}
		}
	}
	for y := range h {
		for x := range w {
			soft[y*w+x] = float32(g.Pix[y*g.Stride+x])
		}
		box(w, y*w, 1)
	}
	for x := range w {
		box(h, x, w)
	}
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := float32(g.Pix[y*g.Stride+x])
			out.Pix[y*out.Stride+x] = uint8(min(255, max(0, v+strength*(v-soft[y*w+x])+.5)))
		}
	}
	return out
}

// at is the brightness at a place, between pixels linearly.
func at(g *image.Gray, p Point) float64 {
	x, y := p.X-.5, p.Y-.5
	w, h := g.Rect.Dx()-1, g.Rect.Dy()-1
	x, y = min(max(x, 0), float64(w)), min(max(y, 0), float64(h))
	i, j := min(int(x), w-1), min(int(y), h-1)
	fx, fy := x-float64(i), y-float64(j)
	o := j*g.Stride + i
	a, b := float64(g.Pix[o]), float64(g.Pix[o+1])
	c, d := float64(g.Pix[o+g.Stride]), float64(g.Pix[o+g.Stride+1])
	return a + fx*(b-a) + fy*(c-a+fx*(a-b-c+d))
}

// inside reports whether a place lies in the picture, this far from its edge.
func inside(g *image.Gray, p Point, margin float64) bool {
	return p.X >= margin && p.Y >= margin && p.X <= float64(g.Rect.Dx())-margin && p.Y <= float64(g.Rect.Dy())-margin
}

// sums are, at (w+1)·y + x, those of all pixels above and to the left (Crow 1984,
// Comput Graph 18:207); they wrap round, and differences do not mind.
func sums(g *image.Gray) []uint32 {
	w, h := g.Rect.Dx(), g.Rect.Dy()
	sum := make([]uint32, (w+1)*(h+1))
	for y := range h {
		row := uint32(0)
		for x := range w {
			row += uint32(g.Pix[y*g.Stride+x])
			sum[(y+1)*(w+1)+x+1] = sum[y*(w+1)+x+1] + row
		}
	}
	return sum
}

// darker marks the pixels that are darker than their neighbourhood of this
// width, by enough to be print and not noise.
func darker(g *image.Gray, width int) []bool {
	w, h := g.Rect.Dx(), g.Rect.Dy()
	sum := sums(g)
	out := make([]bool, w*h)
	r := width / 2
	for y := range h {
		y0, y1 := max(0, y-r), min(h, y+r+1)
		for x := range w {
			x0, x1 := max(0, x-r), min(w, x+r+1)
			n := uint32((x1 - x0) * (y1 - y0))
			s := sum[y1*(w+1)+x1] - sum[y0*(w+1)+x1] - sum[y1*(w+1)+x0] + sum[y0*(w+1)+x0]
			// v < mean - 3 - mean/32, in whole numbers
			out[y*w+x] = (uint32(g.Pix[y*g.Stride+x])+3)*n < s-s/32
		}
	}
	return out
}

// flat is a picture whose pixels begin at the origin.
func flat(g *image.Gray) *image.Gray {
	if g.Rect.Min == (image.Point{}) {
		return g
	}
	return &image.Gray{Pix: g.Pix[g.PixOffset(g.Rect.Min.X, g.Rect.Min.Y):], Stride: g.Stride, Rect: image.Rect(0, 0, g.Rect.Dx(), g.Rect.Dy())}
}

// Sharpness is the variance of the picture's Laplacian [0 1 0; 1 -4 1; 0 1 0],
// borders mirrored without their last row: a customary measure of blur, which
// depends on what is in the picture and has no limit that holds for all
// (methods: Pech-Pacheco et al. 2000).
func Sharpness(g *image.Gray) float64 {
	g = flat(g)
	w, h := g.Rect.Dx(), g.Rect.Dy()
	if w < 2 || h < 2 {
		return 0
	}
	mirror := func(i, n int) int {
		switch {
		case i < 0:
			return 1
		case i >= n:
			return n - 2
		}
		return i
	}
	v := func(x, y int) float64 { return float64(g.Pix[mirror(y, h)*g.Stride+mirror(x, w)]) }
	sum, squares := 0., 0.
	for y := range h {
		for x := range w {
			l := v(x-1, y) + v(x+1, y) + v(x, y-1) + v(x, y+1) - 4*v(x, y)
			sum += l
			squares += l * l
		}
	}
	n := float64(w * h)
	return math.Max(0, squares/n-sum/n*sum/n)
}
