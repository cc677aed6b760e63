package measure

import (
	"image"
	"math"
)

// bankCard lays the corners of a bank card, which are round, by its four edges:
// each is found beside the line between two taps, and neighbouring edges cross at
// the corner. Where an edge cannot be seen, the taps stand, with their larger
// error. sd is the standard deviation of a corner, in pixels.
func bankCard(img *image.Gray, taps []Point) (corners [4]Point, sd float64, err error) {
	if len(taps) != 4 {
		return corners, 0, refuse(NoCard, "Tap the four corners of the bank card, one after the other.")
	}
	copy(corners[:], taps)
	if area(&corners) == 0 {
		return corners, 0, refuse(NotACard, "These four corners do not make a card. Tap its corners one after the other, round it.")
	}
	if corners[1].sub(corners[0]).cross(corners[2].sub(corners[1])) < 0 {
		corners[1], corners[3] = corners[3], corners[1] // round the other way
	}
	if bent(&corners) {
		return corners, 0, refuse(NotACard, "These four corners do not make a card. Tap its corners one after the other, round it.")
	}
	seen := true
	spread := 0.
	for range 2 { // the second time from better lines
		var mids, alongs [4]Point
		for k := range 4 {
			mid, along, off, ok := edge(img, corners[k], corners[(k+1)%4], math.Sqrt(area(&corners)))
			if !ok {
				seen = false
				break
			}
			mids[k], alongs[k] = mid, along
			spread = max(spread, off)
		}
		if !seen {
			break
		}
		for k := range 4 {
			p := (k + 3) % 4
			d := alongs[p].cross(alongs[k])
			corners[k] = mids[p].add(alongs[p].times(mids[k].sub(mids[p]).cross(alongs[k]) / d))
		}
	}
	if seen && !bent(&corners) {
		return corners, math.Hypot(.3, spread/2), nil
	}
	copy(corners[:], taps)
	if corners[1].sub(corners[0]).cross(corners[2].sub(corners[1])) < 0 {
		corners[1], corners[3] = corners[3], corners[1]
	}
	return corners, max(2, tapError*2*float64(max(img.Rect.Dx(), img.Rect.Dy()))), nil
}

// edge finds the card's edge near the line from a to b, between its round
// corners, and how far places on it lie off a line.
func edge(img *image.Gray, a, b Point, side float64) (mid, along Point, off float64, ok bool) {
	d := b.sub(a)
	length := d.length()
	d = d.times(1 / length)
	const places = 40
	var feet, across []Point
	for i := range places {
		feet = append(feet, a.add(d.times((.12+.76*float64(i)/(places-1))*length)))
		across = append(across, Point{-d.Y, d.X})
	}
	return line(edges(img, feet, across, max(4, .07*side)), places*2/5, max(1, .006*side))
}

// longFirst turns the corners of a bank card so that a long side is the first:
// the way in which it looks more like one.
func longFirst(c [4]Point, v camera) [4]Point {
	next := [4]Point{c[1], c[2], c[3], c[0]}
	size := [2]float64{bankLong, bankShort}
	if _, off := v.pose(&c, size); off > 0 {
		if _, other := v.pose(&next, size); other < off {
			return next
		}
	}
	return c
}
