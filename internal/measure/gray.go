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
	w, h := g.Rect.Dx(), g.Rect.Dy()
	out := image.NewGray(image.Rect(0, 0, 2*w, 2*h))
	line := make([]uint16, w) // of four parts
	for y := range 2 * h {
		// A quarter of a pixel from its middle, each counts for three parts beside one of its neighbour's.
		near := g.Pix[y/2*g.Stride:][:w]
		far := g.Pix[min(max(y/2+y%2*2-1, 0), h-1)*g.Stride:][:w]
		for x := range line {
			line[x] = 3*uint16(near[x]) + uint16(far[x])
		}
		to := out.Pix[y*out.Stride:][:2*w]
		for x, v := range line {
			to[2*x] = uint8((3*v + line[max(x-1, 0)] + 8) / 16)
			to[2*x+1] = uint8((3*v + line[min(x+1, w-1)] + 8) / 16)
		}
	}
	return out
}

// sharpened takes from each pixel what its neighbourhood of this width has, by the
// picture's sums, and so widens again what blur has narrowed.
func sharpened(g *image.Gray, sum []uint32, width int) *image.Gray {
	const strength = 2
	w, h := g.Rect.Dx(), g.Rect.Dy()
	out := image.NewGray(image.Rect(0, 0, w, h))
	r := width / 2
	for y := range h {
		y0, y1 := max(0, y-r)*(w+1), min(h, y+r+1)*(w+1)
		tall := y1/(w+1) - y0/(w+1)
		for x := range w {
			x0, x1 := max(0, x-r), min(w, x+r+1)
			s := sum[y1+x1] - sum[y0+x1] - sum[y1+x0] + sum[y0+x0]
			v := float32(g.Pix[y*g.Stride+x])
			out.Pix[y*out.Stride+x] = uint8(min(255, max(0, v+strength*(v-float32(s)/float32(tall*(x1-x0)))+.5)))
		}
	}
	return out
}

// at is the brightness at a place, between pixels linearly.
func at(g *image.Gray, p Point) float64 {
	x, y := p.X-.5, p.Y-.5
	w, h := g.Rect.Dx()-1, g.Rect.Dy()-1
	i, j := int(x), int(y)
	if !(x >= 0 && y >= 0 && uint(i) < uint(w) && uint(j) < uint(h)) {
		x, y = min(max(x, 0), float64(w)), min(max(y, 0), float64(h))
		i, j = min(int(x), w-1), min(int(y), h-1)
	}
	fx, fy := x-float64(i), y-float64(j)
	above := g.Pix[j*g.Stride+i:]
	below := above[g.Stride:]
	a, b := float64(above[0]), float64(above[1])
	c, d := float64(below[0]), float64(below[1])
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
		row, above, here := uint32(0), sum[y*(w+1)+1:][:w], sum[(y+1)*(w+1)+1:][:w]
		for x, v := range g.Pix[y*g.Stride:][:w] {
			row += uint32(v)
			here[x] = above[x] + row
		}
	}
	return sum
}

// darker marks the pixels that are darker than what the sums have in their neighbourhood
// of this width, by enough to be print and not noise. The picture is so many times as large as that of
// the sums, of which the width is.
func darker(g *image.Gray, sum []uint32, width, times int) []bool {
	w, h := g.Rect.Dx(), g.Rect.Dy()
	sw, sh := w/times, h/times
	out := make([]bool, w*h)
	r := width / 2
	least := make([]uint32, sw) // of a row: what is as light as this is not dark
	for y := range h {
		if y%times == 0 {
			y0, y1 := max(0, y/times-r), min(sh, y/times+r+1)
			above, below := sum[y0*(sw+1):][:sw+1], sum[y1*(sw+1):][:sw+1]
			for x := range least {
				x0, x1 := max(0, x-r), min(sw, x+r+1)
				s := below[x1] - above[x1] - below[x0] + above[x0]
				// v < mean - 3 - mean/32, in whole numbers
				n := uint32((x1 - x0) * (y1 - y0))
				least[x] = 0
				if s -= s / 32; s > 3*n {
					least[x] = (s - 3*n + n - 1) / n
				}
			}
		}
		row := out[y*w:][:w]
		for x, v := range g.Pix[y*g.Stride:][:w] {
			row[x] = uint32(v) < least[x/times]
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
