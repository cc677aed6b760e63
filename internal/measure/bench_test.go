package measure

import (
	"image"
	"math/rand/v2"
	"testing"
)

// sized is the still scene in a picture so wide.
func sized(width int) *image.Gray {
	s := still()
	k := float64(width) / float64(s.width)
	s.width, s.height, s.focal = width, width*3/4, s.focal*k
	s.aim()
	return s.shot(rand.New(rand.NewPCG(1, 1)))
}

var benchSizes = []struct {
	name  string
	width int
}{{"1600px", 1600}, {"12MP", 4000}}

// BenchmarkFind finds a code and lays its corners.
func BenchmarkFind(b *testing.B) {
	for _, c := range benchSizes {
		img := sized(c.width)
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Find(img); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N), "ms")
		})
	}
}

// BenchmarkFindNothing looks in vain, which takes longest.
func BenchmarkFindNothing(b *testing.B) {
	s := still()
	s.modules = make([][]bool, len(s.modules)) // a card without a code
	for i := range s.modules {
		s.modules[i] = make([]bool, len(s.modules))
	}
	img := s.shot(rand.New(rand.NewPCG(1, 1)))
	for b.Loop() {
		if _, err := Find(img); err == nil {
			b.Fatal("a code was found where there is none")
		}
	}
}

// BenchmarkPass reads every pixel once, to compare with.
func BenchmarkPass(b *testing.B) {
	for _, c := range benchSizes {
		img := sized(c.width)
		b.Run(c.name, func(b *testing.B) {
			total := 0
			for b.Loop() {
				for _, v := range img.Pix {
					total += int(v)
				}
			}
			if total == 0 {
				b.Fatal("a black picture")
			}
		})
	}
}
