package photo

import (
	"image"
	"math"
	"testing"
)

// stripes are slanted, width pixels wide along a row, black and white.
func stripes(side, width int) *image.Gray {
	m := image.NewGray(image.Rect(0, 0, side, side))
	for y := range side {
		for x := range side {
			if (x+y)/width%2 == 1 {
				m.Pix[y*m.Stride+x] = 255
			}
		}
	}
	return m
}

// blur is OpenCV's GaussianBlur on 8 bits: a kernel in 256ths whose rounding
// errors are carried inwards, width 6σ+1 made odd, mirrored border.
func blur(m *image.Gray, sigma float64) *image.Gray {
	n := int(math.Round(6*sigma+1)) | 1
	half := n / 2
	real := make([]float64, n)
	total := 0.0
	for i := range real {
		d := float64(i - half)
		real[i] = math.Exp(-d * d / (2 * sigma * sigma))
		total += real[i]
	}
	kernel := make([]int, n)
	carried, sum := 0.0, 0
	for i := range half {
		v := real[i]/total*256 + carried
		k := int(math.RoundToEven(v))
		carried = v - float64(k)
		kernel[i], kernel[n-1-i] = k, k
		sum += 2 * k
	}
	kernel[half] = 256 - sum

	w, h := m.Rect.Dx(), m.Rect.Dy()
	mirror := func(i, n int) int {
		if i < 0 {
			return -i
		}
		if i >= n {
			return 2*n - 2 - i
		}
		return i
	}
	rows := make([]int, w*h)
	for y := range h {
		for x := range w {
			for i, k := range kernel {
				rows[y*w+x] += k * int(m.Pix[y*m.Stride+mirror(x+i-half, w)])
			}
		}
	}
	out := image.NewGray(m.Rect)
	for y := range h {
		for x := range w {
			s := 0
			for i, k := range kernel {
				s += k * rows[mirror(y+i-half, h)*w+x]
			}
			out.Pix[y*out.Stride+x] = uint8((s + 1<<15) >> 16)
		}
	}
	return out
}

// The expected numbers were computed with OpenCV 4.6 (Laplacian with
// ksize 1, GaussianBlur with automatic width).
func TestSharpness(t *testing.T) {
	t.Parallel()
	block := image.NewGray(image.Rect(0, 0, 8, 8))
	for y := 2; y < 6; y++ {
		for x := 2; x < 6; x++ {
			block.Pix[8*y+x] = 200
		}
	}
	for _, c := range []struct {
		name string
		m    *image.Gray
		want float64
		tol  float64
	}{
		{"4×4 block in 8×8", block, 25000, 1e-9},
		{"stripes", stripes(256, 16), 32637.5176, 1e-4},
		{"stripes σ 1", blur(stripes(256, 16), 1), 767.753, 5e-4},
		{"stripes σ 2", blur(stripes(256, 16), 2), 105.682, 5e-4},
		{"stripes σ 4", blur(stripes(256, 16), 4), 24.814, 5e-4},
	} {
		_, got := measure(c.m)
		if math.Abs(got-c.want) > c.tol {
			t.Errorf("%s: %.4f, want %.4f", c.name, got, c.want)
		}
	}
}

func TestMeanBrightness(t *testing.T) {
	t.Parallel()
	m := image.NewGray(image.Rect(0, 0, 2, 1))
	m.Pix[0], m.Pix[1] = 100, 201
	if mean, _ := measure(m); mean != 150.5 {
		t.Errorf("mean %v, want 150.5", mean)
	}
	// JFIF 1.02: Y = 0.299 R + 0.587 G + 0.114 B.
	rgb := quarters(2, 2)
	want := [4]uint8{88, 110, 58, 230}
	if got := [4]uint8(brightness(rgb).Pix); got != want {
		t.Errorf("brightness %v, want %v", got, want)
	}
}
