package measure

import (
	"image"
	"image/color"
)

// Luma is the brightness of a picture, by the weights of Rec. ITU-R BT.601, in
// which JPEG stores it. A see-through picture is taken as if it were not.
func Luma(img image.Image) *image.Gray {
	b := img.Bounds()
	out := image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
	fromRGBA := func(pix []uint8, stride int) {
		for y := range b.Dy() {
			from, to := pix[y*stride:], out.Pix[y*out.Stride:y*out.Stride+b.Dx()]
			for x := range to {
				p := from[4*x : 4*x+3 : 4*x+3]
				// As color.GrayModel does, which works with 16 bits.
				to[x] = uint8((19595*uint32(p[0]) + 38470*uint32(p[1]) + 7471*uint32(p[2]) + 1<<15) >> 16)
			}
		}
	}
	switch i := img.(type) {
	case *image.Gray:
		return flat(i)
	case *image.YCbCr:
		for y := range b.Dy() {
			copy(out.Pix[y*out.Stride:y*out.Stride+b.Dx()], i.Y[i.YOffset(b.Min.X, b.Min.Y+y):])
		}
	case *image.NRGBA:
		fromRGBA(i.Pix[i.PixOffset(b.Min.X, b.Min.Y):], i.Stride)
	case *image.RGBA:
		fromRGBA(i.Pix[i.PixOffset(b.Min.X, b.Min.Y):], i.Stride)
	default:
		for y := range b.Dy() {
			for x := range b.Dx() {
				out.Pix[y*out.Stride+x] = color.GrayModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.Gray).Y
			}
		}
	}
	return out
}
