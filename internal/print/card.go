package print

import (
	"io"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Form is the form of a handover card.
type Form string

// The forms. Credit is ID-1 of ISO/IEC 7810, 85.6 × 53.98 mm, with a second
// half to fold behind the first; A6 is 105 × 148 mm.
const (
	Credit Form = "credit"
	A6     Form = "a6"
)

// Forms are all forms of a card.
func Forms() []Form { return []Form{Credit, A6} }

// CodeSide is the printed side of a card's code. It is the same on every card,
// because a card that lies flat in a photo is the ruler: whoever measures by it
// need not know which card it is.
const CodeSide = 32.

// Card is what a handover card says. Without a record it is blank, to be bound
// to an animal at the sale: it has its number and room to
// write the name.
type Card struct {
	Record *care.Record
	Number int64
	From   string // the breeder
	Code   string // the claim code in its groups
	Link   string // the claim link with the code in its fragment
	Until  time.Time
}

const (
	creditW, creditH = 85.6, 53.98
	a6W, a6H         = 105., 148.
)

// Cards writes cards, as many on a sheet as it holds. at is the date that the
// document carries, and zone that of the dates on the cards.
func Cards(w io.Writer, p Paper, f Form, cards []Card, at time.Time, zone *time.Location, in *words.Language) error {
	s := newSheet(p, in, words.Say("Handover card"), at)
	nothing := func() {}
	var err error
	switch f {
	case Credit:
		err = s.each(gridOf(p, 2*creditW, creditH, 8), 2*creditW, creditH, len(cards), nothing, func(i int, x, y float64) error {
			return s.credit(x, y, &cards[i])
		})
	default: // A6 fills an A4 sheet to its edges; nothing is printed near them
		err = s.each(gridOf(p, a6W, a6H, 0), a6W, a6H, len(cards), nothing, func(i int, x, y float64) error {
			return s.a6(x, y, &cards[i], zone)
		})
	}
	if err != nil {
		return err
	}
	return s.write(w)
}

// address is where a code is typed: the link without its scheme and fragment.
func (c *Card) address() string {
	link, _, _ := strings.Cut(c.Link, "#")
	_, link, _ = strings.Cut(link, "://")
	return link
}

// names are those of the animal on paper: the breeder's label, else that of
// the species.
func names(a *care.Animal, in *words.Language) (name, common, scientific string) {
	sp, listed := snake.ByID(a.Species)
	common, scientific = in.Say(words.Say(sp.Common).Begin()), sp.Scientific
	if !listed {
		common, scientific = in.Say(words.AsIs(strings.ReplaceAll(a.Species, "_", " ")).Begin()), ""
	}
	if name = a.Name; name == "" {
		name = common
	}
	return name, common, scientific
}

var ofFullSize = words.Say("This line is 50 mm long and the code 32 mm wide if the card was printed at full size.")

// credit draws the front and, to the right of the fold, the back.
func (s *sheet) credit(x, y float64, c *Card) error {
	s.frame(x, y, creditW, creditH)
	s.frame(x+creditW, y, creditW, creditH)
	s.band(x+3, y+2.2, creditW-6, 1.4)
	free := margin(CodeSide)
	if err := s.code(x+free, y+8.8, CodeSide, c.Link); err != nil {
		return err
	}
	s.checkLine(x+free, y+50)
	s.set(regular, 5.2, muted)
	s.para(x+free+CheckLine+1.6, y+48.4, 2.2, s.lines(s.in.Say(ofFullSize), creditW-free-CheckLine-3.6, 0))

	left := x + free + CodeSide + free
	width := x + creditW - 3 - left
	s.set(regular, 7, muted)
	s.put(left, y+8.6, words.Say("For the keeper of"))
	if c.Record == nil {
		s.writeOn(left, y+16.5, width)
		s.set(regular, 7, muted)
		s.put(left, y+20.6, c.number())
	} else {
		name, common, scientific := names(&c.Record.Animal, s.in)
		s.text(left, y+13.4, s.fitted(name, bold, width, ink, 13, 11, 9.5, 8))
		at := y + 17.4
		if name != common {
			s.text(left, at, s.fitted(common, regular, width, ink, 7.5, 6.5))
			at += 3.2
		}
		if scientific != "" {
			s.text(left, at, s.fitted(scientific, italic, width, muted, 7.5, 6.5))
		}
	}
	s.set(regular, 7.5, ink)
	s.para(left, y+26.4, 3.3, s.lines(s.in.Say(scan), width, 2))
	s.set(bold, 7.5, ink)
	address := s.lines(s.fitted(c.address(), bold, 2*width, ink, 7.5, 6.5, 5.5), width, 2)
	end := s.para(left, y+33.2, 3, address)
	s.set(regular, 7.5, ink)
	s.put(left, end+.3, andType)
	s.text(left, max(end+6.4, y+42.6), s.fitted(c.Code, bold, width, ink, 15, 13))

	left, width = x+creditW+4, creditW-8
	s.set(bold, 8.5, ink)
	s.put(left, y+6.6, words.Say("In brief"))
	foot := s.foot(left, y+creditH-3.2, width, s.in.Say(c.from()), 7, 6)
	s.bullets(left, y+11.2, width, foot-1.5, s.in.All(c.brief()), 8, 7.5, 7, 6.5, 6, 5.5)
	return nil
}

// from says whose animal it was and how to reach them.
func (c *Card) from() words.Text {
	who := c.From
	if c.Record != nil {
		who = from(c.Record)
	}
	return words.Say("From {breeder}", who)
}

// from is a record's breeder and how to reach them.
func from(r *care.Record) string {
	if r.Contact == "" {
		return r.Breeder
	}
	return r.Breeder + " · " + r.Contact
}

// number is how a blank card is told from the next.
func (c *Card) number() words.Text { return words.Say("Card {number}", int(c.Number)) }

// How a card is opened: by its code, or at an address where the code is typed.
var (
	scan    = words.Say("Scan the code with the phone’s camera, or open")
	andType = words.Say("and type")
)

// unknown is what a card says that was printed before its animal was known.
var unknown = []words.Text{
	words.Say("Open the record with the code: it says what this animal eats, how to keep it, and what to look out for."),
	words.Say("If the record is not there yet, the breeder’s phone has had no network since the sale. Open it again later."),
}

func (c *Card) brief() []words.Text {
	if c.Record == nil {
		return unknown
	}
	return care.CautionsInBrief(&c.Record.Animal)
}

// writeOn is a line to write a name on.
func (s *sheet) writeOn(x, y, width float64) { s.box(x, y, width, .25, muted) }

// foot writes lines that end at the baseline y, in the larger of two sizes if
// that makes three lines at most, and returns the baseline before them.
func (s *sheet) foot(x, y, width float64, text string, size, small float64) float64 {
	s.set(regular, size, muted)
	list := s.lines(text, width, 0)
	if len(list) > 3 {
		size = small
		s.set(regular, size, muted)
		list = s.lines(text, width, 4)
	}
	leading := size * spacing
	top := y - float64(len(list)-1)*leading
	s.para(x, top, leading, list)
	return top - leading
}

// spacing is from one baseline to the next, in mm for each point of size.
const spacing = .44

// bullets writes a list from the baseline y on, in the largest of the sizes in
// which it ends at the baseline last, else in the smallest.
func (s *sheet) bullets(x, y, width, last float64, list []string, sizes ...float64) {
	for i, size := range sizes {
		s.set(regular, size, ink)
		leading, indent := size*spacing, size*.3
		var items [][]string
		end := y - 1.25*leading
		for _, text := range list {
			items = append(items, s.lines(text, width-indent, 0))
			end += (float64(len(items[len(items)-1])) + .25) * leading
		}
		if end > last && i < len(sizes)-1 {
			continue
		}
		for _, lines := range items {
			s.box(x, y-size*.13-.35, .8, .8, warm)
			y = s.para(x+indent, y, leading, lines) + leading*.25
		}
		return
	}
}

func (s *sheet) a6(x, y float64, c *Card, zone *time.Location) error {
	s.frame(x, y, a6W, a6H)
	left, width := x+8, a6W-16.
	s.band(left, y+8, width, 1.8)
	s.set(regular, 9, muted)
	s.put(left, y+15.6, words.Say("For the keeper of"))
	if c.Record == nil {
		s.writeOn(left, y+25.5, width)
		s.set(regular, 9, muted)
		s.put(left, y+31, c.number())
	} else {
		name, common, scientific := names(&c.Record.Animal, s.in)
		s.text(left, y+23.4, s.fitted(name, bold, width, ink, 20, 17, 14, 11))
		at := y + 28.6
		s.set(regular, 10, ink)
		if name != common {
			s.text(left, at, common)
			at += 4.6
		}
		if scientific != "" {
			s.text(left, at, s.fitted(scientific, italic, width, muted, 10))
		}
	}

	const top = 39.5
	free := margin(CodeSide)
	if err := s.code(left, y+top, CodeSide, c.Link); err != nil {
		return err
	}
	right := left + CodeSide + free
	room := x + a6W - 8 - right
	s.set(regular, 9.5, ink)
	end := s.para(right, y+top+3, 4.2, s.lines(s.in.Say(scan), room, 3))
	address := s.lines(s.fitted(c.address(), bold, 2*room, ink, 9.5, 8, 6.5), room, 2)
	end = s.para(right, end+.6, 4, address)
	s.set(regular, 9.5, ink)
	s.put(right, end+.4, andType)
	s.text(right, end+8, s.fitted(c.Code, bold, room, ink, 18, 16, 14))
	s.set(regular, 8, muted)
	if c.Record != nil {
		s.text(right, y+top+CodeSide, s.fitted(s.in.Say(words.Say("The code waits until {date}.", date(c.Until, zone))), regular, room, muted, 8, 7))
	}

	s.checkLine(left, y+top+CodeSide+free+1.5)
	s.set(regular, 6.5, muted)
	s.para(left+CheckLine+3, y+top+CodeSide+free, 2.7, s.lines(s.in.Say(ofFullSize), width-CheckLine-3, 0))

	s.set(bold, 11, ink)
	s.put(left, y+86.6, words.Say("In brief"))
	foot := s.foot(left, y+a6H-7, width, s.in.Say(c.from()), 8.5, 7.5)
	s.bullets(left, y+92, width, foot-1.5, s.in.All(c.brief()), 9.5, 9, 8.5, 8, 7.5, 7)
	return nil
}
