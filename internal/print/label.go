package print

import (
	"io"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// LabelSide is the printed side of a label's code.
const LabelSide = 22.

// A label fits the front of a small tub; three times eight of them fill an A4
// sheet of plain paper, to be cut.
const labelW, labelH = 64., 34.

// Label is what the label of a tub says.
type Label struct {
	Animal *care.Animal
	Link   string // what its code opens
}

// Labels writes labels, as many on a sheet as it holds. at is the date that the
// document carries.
func Labels(w io.Writer, p Paper, labels []Label, at time.Time) error {
	s := newSheet(p, "Labels", at)
	foot := func() {
		x, y := (s.width-3*labelW)/2, s.height-7
		s.checkLine(x, y)
		s.set(regular, 7, muted)
		s.text(x+CheckLine+3, y+.9, "Print at full size: then this line is 50 mm long and each code 22 mm wide.")
	}
	err := s.each(gridOf(p, labelW, labelH, 8), labelW, labelH, len(labels), foot, func(i int, x, y float64) error {
		return s.label(x, y, &labels[i])
	})
	if err != nil {
		return err
	}
	return s.write(w)
}

func (s *sheet) label(x, y float64, l *Label) error {
	s.frame(x, y, labelW, labelH)
	s.band(x+2, y+1.6, labelW-4, .8)
	free := margin(LabelSide)
	if err := s.code(x+free, y+7, LabelSide, l.Link); err != nil {
		return err
	}
	a := l.Animal
	name, common, scientific := names(a)
	left := x + LabelSide + 2*free
	width := x + labelW - 2 - left
	s.set(bold, 12, ink)
	at := y + 8.2
	if s.pdf.GetStringWidth(plain(name)) > width {
		s.set(bold, 9, ink)
		at = s.para(left, y+7.2, 3.6, s.lines(name, width, 2))
	} else {
		s.text(left, at, name)
		at += 4.2
	}
	if name != common {
		s.text(left, at, s.fitted(common, regular, width, ink, 7.5, 6.5))
		at += 3
	}
	if scientific != "" {
		s.text(left, at, s.fitted(scientific, italic, width, muted, 7, 6))
		at += 3
	}
	sex := string(a.Sex)
	if a.Sex != care.Female && a.Sex != care.Male {
		sex = "sex not known"
	}
	if sp, _ := snake.ByID(a.Species); sp.CITES != "" {
		sex += " · CITES " + strings.TrimPrefix(sp.CITES, "Appendix ")
	}
	facts := []string{sex}
	if a.Hatched != nil {
		facts = append(facts, "hatched "+a.Hatched.UTC().Format("2 Jan 2006"))
	}
	if a.Clutch != "" {
		facts = append(facts, "clutch "+a.Clutch)
	}
	s.set(regular, 6.5, ink)
	for _, f := range facts {
		at = s.para(left, at, 2.7, s.lines(f, width, 1))
	}
	if room := int((y + labelH - 1.6 - at) / 2.7); len(a.Genes) > 0 && room >= 0 {
		s.para(left, at, 2.7, s.lines(strings.Join(a.Genes, ", "), width, room+1))
	}
	return nil
}
