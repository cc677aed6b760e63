package measure

import (
	"cmp"
	"image"
	"math"
	"slices"
)

// What bounds the time that spots take where there is no code, and what is worth
// a closer look.
const (
	mostTriples = 3000 // of one width
	mostGuesses = 16   // of one picture
	leastLike   = .65
)

// spots looks in one of the levels for three dark spots that are as a code's finder
// patterns are when blur has closed their rings; nil: none from which text comes.
func (s *search) spots(level int) *reading {
	img := s.levels[level]
	if max(img.Rect.Dx(), img.Rect.Dy()) > 2*usual {
		return nil
	}
	sum := s.sum(level)
	type guess struct {
		mids  [3]Point
		n     int
		score float64
	}
	var list []guess
	widths := []int{9, 12, 17, 24}
	if level > 0 && max(img.Rect.Dx(), img.Rect.Dy()) <= usual {
		widths = widths[2:] // the others are those of the picture before, halved
	}
	for _, width := range widths {
		triples := triples(darkSpots(img, sum, width))
		for _, t := range triples[:min(len(triples), mostTriples)] {
			mids := [3]Point{t.corner.mid, t.right.mid, t.below.mid}
			long := max(mids[0].distance(mids[1]), mids[0].distance(mids[2])) / t.corner.size
			// One size more than a card's to both sides, so that another code is seen to be one.
			for n := cardModules[0] - 4; n <= cardModules[len(cardModules)-1]+4; n += 4 {
				// The spots' size is known to a third or so.
				if k := long / float64(n-7); k < .6 || k > 1.7 {
					continue
				}
				g := guess{mids, n, 0}
				if g.score = likeMarks(img, &g.mids, n); g.score > leastLike {
					list = append(list, g)
				}
			}
		}
	}
	slices.SortStableFunc(list, func(a, b guess) int { return cmp.Compare(b.score, a.score) })
	var tried []guess
	var seen *guess
	for _, g := range list {
		if s.guesses == mostGuesses {
			break
		}
		right, down := g.mids[1].sub(g.mids[0]).times(1/float64(g.n-7)), g.mids[2].sub(g.mids[0]).times(1/float64(g.n-7))
		near := func(o guess) bool {
			return o.mids[0].distance(g.mids[0])+o.mids[1].distance(g.mids[1])+o.mids[2].distance(g.mids[2]) < 4*right.length()
		}
		if slices.ContainsFunc(tried, func(o guess) bool { return o.n == g.n && near(o) }) {
			continue
		}
		if seen != nil && !near(*seen) {
			continue // a code lies elsewhere; how many modules it has is the question
		}
		place := func(col, row float64) Point {
			return g.mids[0].add(right.times(col - 3.5)).add(down.times(row - 3.5))
		}
		all := float64(g.n)
		if r := s.readAt(level, g.n, [4]Point{place(0, 0), place(all, 0), place(all, all), place(0, all)}, .2, .9, .6, .3); r != nil {
			return r
		}
		tried = append(tried, g)
		s.guesses++
		if seen == nil && s.unread != nil {
			seen = &g
		}
	}
	return nil
}

// darkSpots are where a square of this width is darker than what is round it, the
// clearest first.
func darkSpots(img *image.Gray, sum []uint32, width int) []mark {
	const most = 40
	w, h := img.Rect.Dx(), img.Rect.Dy()
	in, out := width/2, width*4/5
	box := func(x, y, r int) float64 {
		x0, x1, y0, y1 := x-r, x+r+1, y-r, y+r+1
		return float64(sum[y1*(w+1)+x1] - sum[y0*(w+1)+x1] - sum[y1*(w+1)+x0] + sum[y0*(w+1)+x0])
	}
	inner, outer := float64((2*in+1)*(2*in+1)), float64((2*out+1)*(2*out+1))
	depth := make([]float32, w*h)
	for y := out; y < h-out; y++ {
		for x := out; x < w-out; x++ {
			a, b := box(x, y, in), box(x, y, out)
			depth[y*w+x] = float32((b-a)/(outer-inner) - a/inner)
		}
	}
	type spot struct {
		x, y  int
		depth float32
	}
	var list []spot
	const least = 14 // grey levels
	for y := out + 1; y < h-out-1; y++ {
	next:
		for x := out + 1; x < w-out-1; x++ {
			d := depth[y*w+x]
			if d < least {
				continue
			}
			for _, o := range []int{-w - 1, -w, -w + 1, -1, 1, w - 1, w, w + 1} {
				if e := depth[y*w+x+o]; e > d || e == d && o < 0 {
					continue next
				}
			}
			list = append(list, spot{x, y, d})
		}
	}
	slices.SortStableFunc(list, func(a, b spot) int { return cmp.Compare(b.depth, a.depth) })
	var marks []mark
	for _, c := range list {
		p := Point{float64(c.x) + .5, float64(c.y) + .5}
		if slices.ContainsFunc(marks, func(m mark) bool { return m.mid.distance(p) < float64(in) }) {
			continue
		}
		if marks = append(marks, mark{mid: p, size: float64(width) / 7}); len(marks) == most {
			break
		}
	}
	return marks
}

// markTile is how dark the modules of a finder pattern and of the light ring
// round it look through a blur of .8 modules, from its middle on.
var markTile = func() (tile [9][9]float64) {
	weight := func(d int) float64 {
		const s = .8 * math.Sqrt2
		return (math.Erf((float64(d)+.5)/s) - math.Erf((float64(d)-.5)/s)) / 2
	}
	for row := range 9 {
		for col := range 9 {
			for r := -3; r <= 3; r++ {
				for c := -3; c <= 3; c++ {
					if ring := max(abs(c), abs(r)); ring != 2 {
						tile[row][col] += weight(col-4-c) * weight(row-4-r)
					}
				}
			}
		}
	}
	return tile
}()

// likeMarks moves three middles of marks to where the picture round them is most
// like finder patterns, and returns how like the least like of them is: the correlation, to 1.
func likeMarks(img *image.Gray, mids *[3]Point, n int) float64 {
	right, down := mids[1].sub(mids[0]).times(1/float64(n-7)), mids[2].sub(mids[0]).times(1/float64(n-7))
	// A glance first, which most do not stand.
	for _, mid := range mids {
		if like(img, mid, right, down, 2) < .3 {
			return 0
		}
	}
	least := 1.
	for k := range mids {
		climb := func(step float64, every int) (best float64, moved bool) {
			from := mids[k]
			best = like(img, from, right, down, every)
			for i := -1; i <= 1; i++ {
				for j := -1; j <= 1; j++ {
					if i == 0 && j == 0 {
						continue
					}
					p := from.add(right.times(step * float64(i))).add(down.times(step * float64(j)))
					if v := like(img, p, right, down, every); v > best {
						best, mids[k], moved = v, p, true
					}
				}
			}
			return best, moved
		}
		for range 4 {
			if _, moved := climb(.7, 2); !moved {
				break
			}
		}
		if like(img, mids[k], right, down, 1) < .45 {
			return 0
		}
		best, _ := climb(.35, 1)
		if least = min(least, best); least < leastLike {
			return 0
		}
	}
	return least
}

// like is how like a finder pattern the picture is round a place, by every module or every second: the
// correlation, to 1.
func like(img *image.Gray, mid, right, down Point, every int) float64 {
	for _, k := range []Point{{-4, -4}, {4, -4}, {4, 4}, {-4, 4}} {
		if !inside(img, mid.add(right.times(k.X)).add(down.times(k.Y)), 1) {
			return 0
		}
	}
	var x, xx, y, yy, xy, all float64
	for row := 0; row < 9; row += every {
		p := mid.sub(right.times(4)).add(down.times(float64(row - 4)))
		for col := 0; col < 9; col += every {
			a, b := -at(img, p.add(right.times(float64(col)))), markTile[row][col]
			x, xx, y, yy, xy, all = x+a, xx+a*a, y+b, yy+b*b, xy+a*b, all+1
		}
	}
	if v := (xx - x*x/all) * (yy - y*y/all); v > 0 {
		return (xy - x*y/all) / math.Sqrt(v)
	}
	return 0
}
