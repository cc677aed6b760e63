package measure

import (
	"image"
	"math/rand/v2"
	"testing"

	"warmhand/internal/reference"
)

// OpenCV's findHomography and Laplacian, and scipy's least squares, on pictures and points of our own.
func TestByOpenCV(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(2004, 42))
	var q struct {
		Homography struct {
			From [][][2]float64 `json:"from"`
			To   [][][2]float64 `json:"to"`
		} `json:"homography"`
		Laplacian struct {
			Pictures [][][]int `json:"pictures"`
		} `json:"laplacian"`
		Circles struct {
			Points [][][2]float64 `json:"points"`
		} `json:"circles"`
	}
	pairs := func(p []Point) (out [][2]float64) {
		for _, v := range p {
			out = append(out, [2]float64{v.X, v.Y})
		}
		return out
	}
	var maps []Homography
	for range 20 {
		var from, to []Point
		for _, c := range []Point{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
			// Whole numbers: OpenCV turns points into single precision.
			from = append(from, c.times(60).add(Point{float64(rnd.IntN(25)), float64(rnd.IntN(25))}))
			to = append(to, c.times(1500).add(Point{float64(rnd.IntN(600)), float64(rnd.IntN(600))}))
		}
		h, err := FitHomography(from, to)
		if err != nil {
			t.Fatal(err)
		}
		maps = append(maps, h)
		q.Homography.From, q.Homography.To = append(q.Homography.From, pairs(from)), append(q.Homography.To, pairs(to))
	}
	var pictures []*image.Gray
	for _, size := range []image.Point{{9, 7}, {40, 30}, {2, 2}} {
		g := image.NewGray(image.Rectangle{Max: size})
		rows := make([][]int, size.Y)
		for y := range rows {
			rows[y] = make([]int, size.X)
			for x := range rows[y] {
				v := rnd.IntN(256)
				g.Pix[y*g.Stride+x], rows[y][x] = uint8(v), v
			}
		}
		pictures = append(pictures, g)
		q.Laplacian.Pictures = append(q.Laplacian.Pictures, rows)
	}
	var rims [][]Point
	for range 20 {
		s := &scene{width: 4000, height: 3000, focal: 3000, distance: 300, hole: Point{60, 0}, holeWide: 20, printScale: 1}
		s.aim()
		rim, _ := s.taps(rnd, 8, 6)
		rims = append(rims, rim)
		q.Circles.Points = append(q.Circles.Points, pairs(rim))
	}
	var got struct {
		Homography [][9]float64
		Laplacian  []float64
		Circles    [][3]float64
	}
	reference.AskPython(t, &q, &got)
	for i, h := range maps {
		want := Homography(got.Homography[i])
		for _, p := range []Point{{10, 10}, {50, 20}, {30, 70}} {
			near(t, "mapped", h.Map(p).distance(want.Map(p)), 0, 1e-6)
		}
	}
	for i, g := range pictures {
		near(t, "Laplacian", Sharpness(g), got.Laplacian[i], 1e-6)
	}
	for i, p := range rims {
		mid, radius, _, err := circle(p)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "radius", radius, got.Circles[i][2], 1e-6)
		near(t, "middle", mid.distance(Point{got.Circles[i][0], got.Circles[i][1]}), 0, 1e-6)
	}
}
