package print

import (
	"fmt"
	"image/color"

	"github.com/boombuler/barcode/qr"
)

// quiet is the empty margin that a reader needs round a code, in modules
// (ISO/IEC 18004:2015, 6.3.8).
const quiet = 4

// code draws text as a QR code whose printed side, from the outer edge of the
// first module to that of the last, is side. It is one filled path, so that no
// hair lines show between modules at any size. The quiet margin is for the
// caller to leave free: see margin.
//
// Error correction M bears a bent or smudged card (15 % of the code words).
func (s *sheet) code(x, y, side float64, text string) error {
	q, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		return fmt.Errorf("QR code of %d bytes: %w", len(text), err)
	}
	n := q.Bounds().Dx()
	dark := func(col, row int) bool { return q.At(col, row) == color.Black }
	module := side / float64(n)
	for row := range n {
		for col := 0; col < n; col++ {
			if !dark(col, row) {
				continue
			}
			end := col
			for end < n && dark(end, row) {
				end++
			}
			left, top, right, bottom := x+float64(col)*module, y+float64(row)*module, x+float64(end)*module, y+float64(row+1)*module
			s.pdf.MoveTo(left, top)
			s.pdf.LineTo(right, top)
			s.pdf.LineTo(right, bottom)
			s.pdf.LineTo(left, bottom)
			s.pdf.ClosePath()
			col = end
		}
	}
	s.pdf.SetFillColor(0, 0, 0)
	s.pdf.DrawPath("f")
	return nil
}

// margin is the quiet margin of the coarsest code that we print: of 25
// modules, which is what the shortest addresses need.
func margin(side float64) float64 { return side * quiet / 25 }
