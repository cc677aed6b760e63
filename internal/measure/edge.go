package measure

import (
	"cmp"
	"image"
	"math"
	"slices"
)

// edges finds, across each foot, the place within reach where the brightness
// changes most, and the way in which most do; places near the foot count for
// more. All are pixels; across are unit vectors. Feet without a clear edge have none.
func edges(img *image.Gray, feet, across []Point, reach float64) []Point {
	const soft, reachOf = 1.5, 3 // of the slope's window, pixels
	const least = 8.             // grey levels of a clear edge, summed over the window
	find := func(sign float64) (list []Point, sum float64) {
		n := int(reach * 2)
		rises := make([]float64, 2*n+1)
		for i, foot := range feet {
			for k := -n; k <= n; k++ {
				p := foot.add(across[i].times(float64(k) / 2))
				rises[k+n] = 0
				if !inside(img, p, reachOf+1) {
					continue
				}
				r := 0.
				for j := 1; j <= reachOf; j++ {
					w := math.Exp(-float64(j*j) / 2 / soft / soft)
					r += w * (at(img, p.add(across[i].times(float64(j)))) - at(img, p.sub(across[i].times(float64(j)))))
				}
				rises[k+n] = sign * r
			}
			best, where := 0., 0.
			for k := 1; k < 2*n; k++ {
				r := rises[k]
				far := float64(k-n) / 2 / (.7 * reach)
				if r < least || r < rises[k-1] || r < rises[k+1] || r*math.Exp(-far*far/2) <= best {
					continue
				}
				peak := 0.
				if c := rises[k-1] - 2*r + rises[k+1]; c < 0 {
					peak = (rises[k-1] - rises[k+1]) / 2 / c
				}
				best, where = r*math.Exp(-far*far/2), (float64(k-n)+peak)/2
			}
			if best > 0 {
				list = append(list, foot.add(across[i].times(where)))
				sum += best
			}
		}
		return list, sum
	}
	up, sumUp := find(1)
	if down, sumDown := find(-1); sumDown > sumUp {
		return down
	}
	return up
}

// line is the straight line that most points agree with, of those through two
// of them; false when fewer than least agree. off is their root mean square
// distance from it.
func line(list []Point, least int, tolerance float64) (mid, along Point, off float64, ok bool) {
	if len(list) < least || len(list) < 8 {
		return mid, along, 0, false
	}
	var good []Point
	for i := range list {
		for j := i + len(list)/3; j < len(list); j += 2 {
			u := list[j].sub(list[i])
			if u.length() == 0 {
				continue
			}
			u = u.times(1 / u.length())
			var near []Point
			for _, h := range list {
				if math.Abs(u.cross(h.sub(list[i]))) < tolerance {
					near = append(near, h)
				}
			}
			if len(near) > len(good) {
				good = near
			}
		}
	}
	if len(good) < least {
		return mid, along, 0, false
	}
	mid, along = straight(good)
	slices.SortFunc(good, func(p, q Point) int {
		return cmp.Compare(math.Abs(along.cross(p.sub(mid))), math.Abs(along.cross(q.sub(mid))))
	})
	good = good[:max(8, len(good)*9/10)]
	mid, along = straight(good)
	for _, p := range good {
		off += math.Pow(along.cross(p.sub(mid)), 2) / float64(len(good))
	}
	return mid, along, math.Sqrt(off), true
}

// rimOf looks for the rim that the taps are on, as the picture shows it: points
// in mm. It finds none where there is no clear edge all along.
//
// plane maps the picture to mm; sd is the standard deviation of a tap, in mm.
func rimOf(img *image.Gray, plane *Homography, taps []Point, s Shape, sd float64) (rim []Point, ok bool) {
	if s == Slot {
		return slotRim(img, plane, taps, sd)
	}
	mid, radius, _, err := circle(taps)
	if err != nil {
		return nil, false
	}
	const places = 72
	back := plane.Inverse()
	reach := min(max(3.5*sd, .06*radius), .45*radius)
	for range 2 { // the second time from a better circle
		var feet, across []Point
		most := 0.
		for i := range places {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / places)
			out := Point{cos, sin}
			foot := back.Map(mid.add(out.times(radius)))
			d := back.Map(mid.add(out.times(radius * 1.01))).sub(foot)
			most = max(most, reach*d.length()/(.01*radius))
			feet, across = append(feet, foot), append(across, d.times(1/d.length()))
		}
		var list []Point
		for _, p := range edges(img, feet, across, max(3, most)) {
			list = append(list, plane.Map(p))
		}
		m, r, kept := roundest(list, mid, radius, .04*radius+.15*sd)
		if len(kept) < places*55/100 {
			return nil, false
		}
		mid, radius, rim = m, r, kept
		reach = min(reach, .15*radius)
	}
	// The rim has to go all round.
	if spaced(rim, Round) != nil {
		return nil, false
	}
	return rim, true
}

// roundest fits a circle to most of the points and leaves out those that are
// farther from it than tolerance.
func roundest(list []Point, mid Point, radius, tolerance float64) (Point, float64, []Point) {
	var kept []Point
	for _, wide := range []float64{4, 2, 1, 1} {
		// The middle distance first: a circle that half of the points contradict is no start.
		var d []float64
		for _, p := range list {
			d = append(d, p.distance(mid)-radius)
		}
		if len(d) < 5 {
			return mid, radius, nil
		}
		slices.Sort(d)
		shift := d[len(d)/2]
		if wide < 4 {
			shift = 0
		}
		kept = nil
		for _, p := range list {
			if math.Abs(p.distance(mid)-radius-shift) < wide*tolerance {
				kept = append(kept, p)
			}
		}
		if len(kept) < 5 {
			return mid, radius, nil
		}
		m, r, _, err := circle(kept)
		if err != nil {
			return mid, radius, nil
		}
		mid, radius = m, r
	}
	return mid, radius, kept
}

// slotRim looks for the two edges of a slot.
func slotRim(img *image.Gray, plane *Homography, taps []Point, sd float64) (rim []Point, ok bool) {
	side, along, _, err := sides(taps)
	if err != nil {
		return nil, false
	}
	back := plane.Inverse()
	gap, _, _, _, err := slot(taps)
	if err != nil {
		return nil, false
	}
	for k := range 2 {
		var mine []Point
		for i, p := range taps {
			if side[i] == (k == 1) {
				mine = append(mine, p)
			}
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		var mid Point
		for _, p := range mine {
			lo, hi = min(lo, p.dot(along)), max(hi, p.dot(along))
			mid = mid.add(p.times(1 / float64(len(mine))))
		}
		const places = 36
		reach := min(max(3.5*sd, .06*gap), .45*gap)
		var feet, across []Point
		most := 0.
		out := Point{-along.Y, along.X}
		for i := range places {
			foot := mid.add(along.times(lo + (hi-lo)*float64(i)/(places-1) - mid.dot(along)))
			a, b := back.Map(foot), back.Map(foot.add(out.times(.01*gap)))
			d := b.sub(a)
			most = max(most, reach*d.length()/(.01*gap))
			feet, across = append(feet, a), append(across, d.times(1/d.length()))
		}
		var list []Point
		for _, p := range edges(img, feet, across, max(3, most)) {
			list = append(list, plane.Map(p))
		}
		m, u, _, fine := line(list, places*55/100, .04*gap+.15*sd)
		if !fine {
			return nil, false
		}
		for _, p := range list {
			if math.Abs(u.cross(p.sub(m))) < .04*gap+.15*sd {
				rim = append(rim, p)
			}
		}
	}
	return rim, true
}
