package print

import (
	"io"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
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
func Labels(w io.Writer, p Paper, labels []Label, at time.Time, in *words.Language) error {
	s := newSheet(p, in, words.Say("Labels"), at)
	foot := func() {
		x, y := (s.width-3*labelW)/2, s.height-7
		s.checkLine(x, y)
		s.set(regular, 7, muted)
		s.put(x+CheckLine+3, y+.9, words.Say("Print at full size: then this line is 50 mm long and each code 22 mm wide."))
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
	name, common, scientific := names(a, s.in)
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
	sex := s.in.Say(words.Say("sex not known"))
	if a.Sex == care.Female || a.Sex == care.Male {
		sex = s.in.Say(sexWord(a.Sex))
	}
	s.set(regular, 6.5, ink)
	facts := []string{sex}
	if sp, _ := snake.ByID(a.Species); sp.CITES != "" {
		listed := "CITES " + strings.TrimPrefix(sp.CITES, "Appendix ")
		if both := sex + " · " + listed; s.pdf.GetStringWidth(plain(both)) <= width {
			facts[0] = both
		} else {
			facts = append(facts, listed)
		}
	}
	if a.Hatched != nil {
		facts = append(facts, s.in.Say(words.Say("hatched {date}", date(*a.Hatched, time.UTC))))
	}
	if a.Clutch != "" {
		facts = append(facts, s.in.Say(words.Say("clutch {clutch}", a.Clutch)))
	}
	for _, f := range facts {
		at = s.para(left, at, 2.7, s.lines(f, width, 1))
	}
	if room := int((y + labelH - 1.6 - at) / 2.7); len(a.Genes) > 0 && room >= 0 {
		s.para(left, at, 2.7, s.lines(strings.Join(a.Genes, ", "), width, room+1))
	}
	return nil
}
