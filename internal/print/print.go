// Package print lays out what goes on paper, as PDF: handover cards, tub labels
// and the handover record. It does no I/O but writing to the io.Writer it is
// given, reads no clock, and makes the same bytes of the same input.
//
// Lengths are millimetres on paper printed at full size, sizes of type points.
package print

import (
	_ "embed"
	"fmt"
	"io"
	"math"
	"regexp"
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/norm"

	"warmhand/internal/words"
)

// Paper is a size of paper.
type Paper string

// The sizes: A4 is 210 × 297 mm (ISO 216), Letter 215.9 × 279.4 mm (ANSI/ASME
// Y14.1).
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// Papers are all sizes.
func Papers() []Paper { return []Paper{A4, Letter} }

func (p Paper) size() (w, h float64) {
	if p == Letter {
		return 215.9, 279.4
	}
	return 210, 297
}

// CheckLine is the length of the line by which one sees whether a sheet came
// out of the printer at full size.
const CheckLine = 50.

// Noto Sans, cut down to Latin, Greek, Cyrillic and punctuation without layout
// features; all its figures are equally wide. The licence is font/OFL.txt.
var (
	//go:embed font/NotoSans-Regular.ttf
	regularTTF []byte
	//go:embed font/NotoSans-Bold.ttf
	boldTTF []byte
	//go:embed font/NotoSans-Italic.ttf
	italicTTF []byte
)

// covered tells what the font has a picture of; the three cuts have the same.
var covered = func() *sfnt.Font {
	f, err := sfnt.Parse(regularTTF)
	if err != nil {
		panic(err) // ours
	}
	return f
}()

// The one type family and its styles.
const (
	family  = "NotoSans"
	regular = ""
	bold    = "B"
	italic  = "I"
)

// rgb is a colour of the page.
type rgb struct{ r, g, b int }

var (
	ink   = rgb{33, 26, 21}
	muted = rgb{96, 86, 78}
	rule  = rgb{190, 181, 172}
	warm  = rgb{209, 103, 62}
	mild  = rgb{222, 192, 140}
	cool  = rgb{72, 136, 160}
)

// sheet is a document under way.
type sheet struct {
	pdf           *fpdf.Fpdf
	width, height float64
	in            *words.Language
	face          face // what is set
}

// face is a type that text is written in.
type face struct {
	style string
	size  float64
	c     rgb
}

func newSheet(p Paper, in *words.Language, title words.Text, at time.Time) *sheet {
	w, h := p.size()
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: w, Ht: h}})
	pdf.SetCatalogSort(true) // else the order of fonts is that of a map
	pdf.SetCreationDate(at.UTC())
	pdf.SetModificationDate(at.UTC())
	pdf.SetTitle(plain(in.Say(title)), true)
	pdf.SetProducer("Warmhand", true)
	pdf.SetLang(in.Tag)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.SetCellMargin(0)
	pdf.AddUTF8FontFromBytes(family, regular, regularTTF)
	pdf.AddUTF8FontFromBytes(family, bold, boldTTF)
	pdf.AddUTF8FontFromBytes(family, italic, italicTTF)
	return &sheet{pdf: pdf, in: in, width: w, height: h}
}

func (s *sheet) write(w io.Writer) error {
	if err := s.pdf.Output(w); err != nil {
		return fmt.Errorf("making the PDF: %w", err)
	}
	return nil
}

// plain is text as the font can show it: composed, on one line, and with a
// replacement character for what it has no picture of, so that a gap is seen.
// A space between a number and its unit is one that no line is broken at.
func plain(text string) string {
	var buf sfnt.Buffer
	text = strings.Map(func(r rune) rune {
		switch {
		case r == noBreak:
			return r
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Variation_Selector, r):
			return -1
		}
		if g, err := covered.GlyphIndex(&buf, r); err != nil || g == 0 {
			return unicode.ReplacementChar
		}
		return r
	}, norm.NFC.String(text))
	return unit.ReplaceAllString(text, "$1\u00a0$2")
}

const noBreak = '\u00a0'

var unit = regexp.MustCompile(`(\d) (°|%|(?:mm|cm|g|oz)\b)`)

func (s *sheet) set(style string, size float64, c rgb) {
	s.face = face{style, size, c}
	s.pdf.SetFont(family, style, size)
	s.pdf.SetTextColor(c.r, c.g, c.b)
}

// text writes one line with its baseline at y.
func (s *sheet) text(x, y float64, text string) { s.pdf.Text(x, y, plain(text)) }

// put says one line with its baseline at y.
func (s *sheet) put(x, y float64, text words.Text) { s.text(x, y, s.in.Say(text)) }

// lines breaks text at spaces into lines of at most this width in the type that
// is set, and a word that is wider than that where it must. With most > 0, what
// is beyond so many lines is cut, and "…" says so.
func (s *sheet) lines(text string, width float64, most int) (list []string) {
	fits := func(l string) bool { return s.pdf.GetStringWidth(l) <= width }
	line := ""
	for word := range strings.SplitSeq(plain(text), " ") {
		if word == "" {
			continue
		}
		if line != "" && fits(line+" "+word) {
			line += " " + word
			continue
		}
		if line != "" {
			list = append(list, line)
		}
		for !fits(word) {
			r := []rune(word)
			n := len(r) - 1
			for n > 1 && !fits(string(r[:n])) {
				n--
			}
			if n < 1 {
				break // one character, wider than the line
			}
			list, word = append(list, string(r[:n])), string(r[n:])
		}
		line = word
	}
	if line != "" {
		list = append(list, line)
	}
	if most <= 0 || len(list) <= most {
		return list
	}
	last := []rune(list[most-1])
	for len(last) > 0 && !fits(string(last)+"…") {
		last = last[:len(last)-1]
	}
	return append(list[:most-1], strings.TrimRight(string(last), " ,;·")+"…")
}

// para writes lines from the baseline y on and returns the baseline after the
// last.
func (s *sheet) para(x, y, leading float64, lines []string) float64 {
	for _, l := range lines {
		s.pdf.Text(x, y, l)
		y += leading
	}
	return y
}

// fitted sets the largest of these sizes in which text is at most this wide,
// and returns it cut where none is small enough.
func (s *sheet) fitted(text, style string, width float64, c rgb, sizes ...float64) string {
	for _, size := range sizes {
		s.set(style, size, c)
		if s.pdf.GetStringWidth(plain(text)) <= width {
			return text
		}
	}
	if cut := s.lines(text, width, 1); len(cut) > 0 {
		return cut[0]
	}
	return ""
}

// box fills a rectangle.
func (s *sheet) box(x, y, w, h float64, c rgb) {
	s.pdf.SetFillColor(c.r, c.g, c.b)
	s.pdf.Rect(x, y, w, h, "F")
}

// band is the thermal band, the one figure that runs through all that is ours.
func (s *sheet) band(x, y, w, h float64) {
	const lap = .2 // else a hair line shows between the halves
	s.pdf.LinearGradient(x, y, w/2+lap, h, warm.r, warm.g, warm.b, mild.r, mild.g, mild.b, 0, 0, 1, 0)
	s.pdf.LinearGradient(x+w/2, y, w/2, h, mild.r, mild.g, mild.b, cool.r, cool.g, cool.b, 0, 0, 1, 0)
}

// checkLine draws the line of CheckLine from the outer edge of one end mark to
// that of the other.
func (s *sheet) checkLine(x, y float64) {
	const thick, mark = .25, 2.4
	s.box(x, y-thick/2, CheckLine, thick, ink)
	s.box(x, y-mark/2, thick, mark, ink)
	s.box(x+CheckLine-thick, y-mark/2, thick, mark, ink)
}

// line is a thin line.
func (s *sheet) line(x1, y1, x2, y2 float64) {
	s.pdf.SetDrawColor(rule.r, rule.g, rule.b)
	s.pdf.SetLineWidth(.15)
	s.pdf.Line(x1, y1, x2, y2)
}

// frame is a thin line to cut along.
func (s *sheet) frame(x, y, w, h float64) {
	s.pdf.SetDrawColor(rule.r, rule.g, rule.b)
	s.pdf.SetLineWidth(.1)
	s.pdf.Rect(x, y, w, h, "D")
}

// grid is how equal pieces lie on a sheet, in the middle of it.
type grid struct{ cols, rows int }

// gridOf takes as many pieces as the paper holds inside the margin that
// printers need, or without one.
func gridOf(p Paper, w, h, margin float64) grid {
	pw, ph := p.size()
	return grid{int((pw - 2*margin) / w), int((ph - 2*margin) / h)}
}

// each calls draw with the corner of every piece, on as many pages as it takes.
func (s *sheet) each(g grid, w, h float64, n int, foot func(), draw func(i int, x, y float64) error) error {
	left, top := (s.width-float64(g.cols)*w)/2, (s.height-float64(g.rows)*h)/2
	for i := range n {
		at := i % (g.cols * g.rows)
		if at == 0 {
			s.pdf.AddPage()
			foot()
		}
		if err := draw(i, left+float64(at%g.cols)*w, top+float64(at/g.cols)*h); err != nil {
			return err
		}
	}
	return nil
}

// number rounds to what a scale or a ruler shows: one place below 10, none
// above.
func number(v float64) words.Number {
	if math.Abs(v) < 10 && v != math.Trunc(v) {
		return words.Number{V: v, Decimals: 1}
	}
	return whole(v)
}

func whole(v float64) words.Number { return words.Number{V: v} }

// date is a day as it stands on paper, counted in a zone.
func date(t time.Time, zone *time.Location) words.Date {
	return words.Date{At: t.In(zone), As: words.Day}
}

// day is a date by itself.
func (s *sheet) day(t time.Time, zone *time.Location) string {
	return s.in.Say(words.Say("{date}", date(t, zone)))
}
