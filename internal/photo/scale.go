package photo

import (
	"image"
	"image/color"
	"image/draw"
)

const (
	// Mean brightness of scenes tried: lit as usual 123, at a third of the light 42.
	darkBelow = 50
	// Customary for the variance of the Laplacian; no number fits all pictures.
	blurredBelow = 100
)

// shrink returns the picture over white, with its longer side at most side
// pixels. It never enlarges. Each new pixel is the mean of the area it covers,
// in whole numbers. One row of the source is held at a time: filters that keep
// a whole intermediate picture need ten times the memory of the result.
func shrink(src image.Image, side int) *image.RGBA {
	b := src.Bounds()
	sw, sh := b.Dx(), b.Dy()
	dw, dh := sw, sh
	if long := max(sw, sh); long > side {
		dw, dh = max(1, (sw*side+long/2)/long), max(1, (sh*side+long/2)/long)
	}
	dst := image.NewRGBA(image.Rect(0, 0, dw, dh))
	if dw == sw && dh == sh {
		draw.Draw(dst, dst.Rect, image.White, image.Point{}, draw.Src)
		draw.Draw(dst, dst.Rect, src, b.Min, draw.Over)
		return dst
	}

	if ycc, ok := src.(*image.YCbCr); ok && shrinkPlanes(dst, ycc) {
		return dst
	}

	// Both axes are measured so that a source pixel is dw (dh) long and a new
	// one sw (sh): a source pixel then lies in one new pixel or in two.
	row := image.NewRGBA(image.Rect(0, 0, sw, 1))
	across := make([]uint32, 3*dw+3) // one source row, summed; 255·sw fits; the last pixel is a spill of weight 0
	down := make([]uint64, 3*dw)
	area := uint64(sw) * uint64(sh)
	y, left := 0, sh // the new row being filled, and what it still needs
	for sy := range sh {
		draw.Draw(row, row.Rect, image.White, image.Point{}, draw.Src)
		draw.Draw(row, row.Rect, src, image.Pt(b.Min.X, b.Min.Y+sy), draw.Over)
		sumRow(across, row.Pix, sw, dw)
		weight := min(dh, left)
		addRow(down, across, weight)
		left -= weight
		if left > 0 {
			continue
		}
		out := dst.Pix[y*dst.Stride:]
		for x := range dw {
			for c := range 3 {
				out[4*x+c] = uint8((down[3*x+c] + area/2) / area)
			}
			out[4*x+3] = 255
		}
		clear(down)
		addRow(down, across, dh-weight)
		y, left = y+1, sh-(dh-weight)
	}
	return dst
}

// sumRow adds each of the sw pixels of a row to the one or two of the dw sums it lies in.
func sumRow(sums []uint32, pix []uint8, sw, dw int) {
	clear(sums)
	x, left := 0, sw
	for i := range sw {
		p := pix[4*i : 4*i+3 : 4*i+3]
		r, g, b := uint32(p[0]), uint32(p[1]), uint32(p[2])
		weight := uint32(min(dw, left))
		s := sums[3*x : 3*x+6 : 3*x+6]
		s[0] += r * weight
		s[1] += g * weight
		s[2] += b * weight
		if left -= dw; left <= 0 {
			weight = uint32(-left)
			s[3] += r * weight
			s[4] += g * weight
			s[5] += b * weight
			x, left = x+1, left+sw
		}
	}
}

// shrinkPlanes is shrink for what JPEG and WebP decode to, three times as fast,
// for it turns the new pixels to RGB and not the old ones. Where the colour is
// coarser than the new picture it does nothing and returns false.
func shrinkPlanes(dst *image.RGBA, src *image.YCbCr) bool {
	dw, dh := dst.Rect.Dx(), dst.Rect.Dy()
	b := src.Rect
	cw, ch := b.Dx(), b.Dy()
	switch src.SubsampleRatio {
	case image.YCbCrSubsampleRatio444:
	case image.YCbCrSubsampleRatio422:
		cw = (cw + 1) / 2
	case image.YCbCrSubsampleRatio420:
		cw, ch = (cw+1)/2, (ch+1)/2
	default:
		return false
	}
	if cw < dw || ch < dh || b.Min != (image.Point{}) {
		return false
	}
	shrinkPlane(dst, 0, src.Y, src.YStride, b.Dx(), b.Dy())
	shrinkPlane(dst, 1, src.Cb, src.CStride, cw, ch)
	shrinkPlane(dst, 2, src.Cr, src.CStride, cw, ch)
	for i := 0; i < len(dst.Pix); i += 4 {
		p := dst.Pix[i : i+4 : i+4]
		p[0], p[1], p[2] = color.YCbCrToRGB(p[0], p[1], p[2])
		p[3] = 255
	}
	return true
}

// shrinkPlane puts the mean of the area that each new pixel covers into one
// channel of dst; for how, see shrink.
func shrinkPlane(dst *image.RGBA, channel int, src []uint8, stride, sw, sh int) {
	dw, dh := dst.Rect.Dx(), dst.Rect.Dy()
	across := make([]uint32, dw+1)
	down := make([]uint64, dw+1)
	area := uint64(sw) * uint64(sh)
	y, need := 0, sh
	for sy := range sh {
		clear(across)
		x, left := 0, sw
		for _, v := range src[sy*stride:][:sw] {
			across[x] += uint32(v) * uint32(min(dw, left))
			if left -= dw; left <= 0 {
				x++
				across[x] += uint32(v) * uint32(-left)
				left += sw
			}
		}
		weight := min(dh, need)
		addRow(down, across, weight)
		if need -= weight; need > 0 {
			continue
		}
		out := dst.Pix[y*dst.Stride+channel:]
		for x := range dw {
			out[4*x] = uint8((down[x] + area/2) / area)
		}
		clear(down)
		addRow(down, across, dh-weight)
		y, need = y+1, sh-(dh-weight)
	}
}

func addRow(sums []uint64, row []uint32, weight int) {
	for i := range sums {
		sums[i] += uint64(row[i]) * uint64(weight)
	}
}

// upright turns and mirrors a picture so that its EXIF orientation becomes 1.
func upright(src *image.RGBA, orientation int) *image.RGBA {
	w, h := src.Rect.Dx(), src.Rect.Dy()
	// at gives where a pixel goes; the meaning of the eight values is in
	// CIPA DC-008, 4.6.4 A.
	var at func(x, y int) (int, int)
	switch orientation {
	case 2:
		at = func(x, y int) (int, int) { return w - 1 - x, y }
	case 3:
		at = func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }
	case 4:
		at = func(x, y int) (int, int) { return x, h - 1 - y }
	case 5:
		at = func(x, y int) (int, int) { return y, x }
	case 6:
		at = func(x, y int) (int, int) { return h - 1 - y, x }
	case 7:
		at = func(x, y int) (int, int) { return h - 1 - y, w - 1 - x }
	case 8:
		at = func(x, y int) (int, int) { return y, w - 1 - x }
	default:
		return src
	}
	dst := image.NewRGBA(image.Rect(0, 0, w, h))
	if orientation >= 5 {
		dst = image.NewRGBA(image.Rect(0, 0, h, w))
	}
	for y := range h {
		for x := range w {
			dx, dy := at(x, y)
			copy(dst.Pix[dst.PixOffset(dx, dy):][:4], src.Pix[src.PixOffset(x, y):][:4])
		}
	}
	return dst
}

// brightness is the luma of a picture that starts at the origin.
func brightness(m *image.RGBA) *image.Gray {
	g := image.NewGray(m.Rect)
	for i := range g.Pix { // weights of JFIF, in 65536ths
		p := m.Pix[4*i : 4*i+3 : 4*i+3]
		g.Pix[i] = uint8((19595*uint32(p[0]) + 38470*uint32(p[1]) + 7471*uint32(p[2]) + 1<<15) >> 16)
	}
	return g
}

// measure returns the mean of a picture and the variance of its 3×3 Laplacian
// (0 1 0; 1 −4 1; 0 1 0), mirrored at the border without repeating the edge.
func measure(m *image.Gray) (mean, sharpness float64) {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	mirror := func(i, n int) int {
		switch {
		case n == 1:
			return 0
		case i < 0:
			return 1
		case i == n:
			return n - 2
		}
		return i
	}
	var light, sum, squares int64 // at most 1600² · 1020²: fits
	for y := range h {
		above := m.Pix[mirror(y-1, h)*m.Stride:]
		here := m.Pix[y*m.Stride:]
		below := m.Pix[mirror(y+1, h)*m.Stride:]
		for x := range w {
			v := int64(here[x])
			l := int64(above[x]) + int64(below[x]) +
				int64(here[mirror(x-1, w)]) + int64(here[mirror(x+1, w)]) - 4*v
			light += v
			sum += l
			squares += l * l
		}
	}
	n := float64(w) * float64(h)
	mu := float64(sum) / n
	return float64(light) / n, float64(squares)/n - mu*mu
}
