package print

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// VetCase is what a reptile vet gets to read of a case.
type VetCase struct {
	Record     *care.Record
	HandedOver time.Time
	// Concern is what worries the person who brings it, in their own words, "" for
	// nothing said.
	Concern    string
	Assessment assess.Assessment
	// Entries are those that count, of the breeder and of this home, the oldest
	// first.
	Entries []care.Entry
	// Pictures are JPEGs, upright.
	Pictures []Picture
	At       time.Time
}

// Picture is one picture of a letter.
type Picture struct {
	JPEG    []byte
	Caption words.Text
}

// What a letter lists of the home; older ones are counted.
const (
	lettersOffers   = 15
	lettersReadings = 10
)

// VetLetter writes the letter: who the animal is, what worries its keeper, its
// weight, meals, signs, climate and home, with pictures. It states what was
// logged and names no illness.
func VetLetter(w io.Writer, p Paper, l *VetCase, zone *time.Location, in *words.Language) error {
	first, err := layLetter(p, l, zone, in, 0)
	if err != nil {
		return err
	}
	s, err := layLetter(p, l, zone, in, first.pdf.PageCount())
	if err != nil {
		return err
	}
	return s.write(w)
}

func layLetter(p Paper, l *VetCase, zone *time.Location, in *words.Language, pages int) (*sheet, error) {
	a := &l.Record.Animal
	name, _, _ := names(a, in)
	f := &flow{sheet: newSheet(p, in, words.Say("For the vet: {name}", name), l.At), zone: zone, pages: pages}
	f.running = words.Say("For the vet: {name} · from the keeper's log up to {date}", name, date(l.At, zone))
	f.x, f.w = 18, f.width-36
	f.page()
	f.heading(words.Say("For the reptile vet"), a)
	f.whoItIs(l)
	f.concern(l)
	f.letterWeight(l)
	f.letterFood(l)
	f.letterSigns(l)
	f.letterHome(l)
	if err := f.pictures(l.Pictures); err != nil {
		return nil, err
	}
	f.notes()
	return f.sheet, nil
}

// heading is the title of a document about an animal.
func (f *flow) heading(what words.Text, a *care.Animal) {
	name, common, scientific := names(a, f.in)
	f.set(regular, 9.5, muted)
	f.put(f.x, f.y+3.4, what)
	f.y += 5.4
	f.set(bold, 22, ink)
	for _, l := range f.lines(name, f.w, 2) {
		f.pdf.Text(f.x, f.y+7.4, l)
		f.y += 9.4
	}
	f.set(regular, 11, ink)
	f.text(f.x, f.y+3.8, common)
	wide := f.pdf.GetStringWidth(plain(common) + "  ")
	f.set(italic, 11, muted)
	f.text(f.x+wide, f.y+3.8, scientific)
	f.y += 8.5
}

func (f *flow) whoItIs(l *VetCase) {
	a := &l.Record.Animal
	var rows [][]string
	fact := func(label, text words.Text) { rows = append(rows, []string{f.in.Say(label), f.in.Say(text)}) }
	fact(words.Say("Sex"), sexWord(a.Sex))
	if a.Hatched != nil {
		fact(words.Say("Hatched"), words.Say("{date} ({age})", date(*a.Hatched, time.UTC), ageWords(*a.Hatched, l.At)))
	}
	if len(a.Genes) > 0 {
		genes := strings.Join(a.Genes, ", ")
		text := words.AsIs(genes)
		switch evidence, gene := snake.Wobble(a.Genes); evidence {
		case snake.Reported:
			text = words.Say("{genes}; {gene} comes with a head wobble (reported)", genes, gene)
		case snake.Documented:
			text = words.Say("{genes}; {gene} comes with a head wobble (documented)", genes, gene)
		}
		fact(words.Say("Genes"), text)
	}
	if a.TotalLength > 0 {
		fact(words.Say("Length"), lengthWords(a.TotalLength))
	}
	fact(words.Say("In this home since"), words.Say("{date}", date(l.HandedOver, f.zone)))
	fact(words.Say("Bred or sold by"), words.AsIs(from(l.Record)))
	f.table([]float64{0, .24}, nil, rows)
}

// ageWords is an age as one says it.
func ageWords(hatched, at time.Time) words.Text {
	months := max(0, int(at.Sub(hatched).Hours()/24/30.44))
	if months < 24 {
		return words.Count("{n} month old", "{n} months old", months)
	}
	return words.Say("{n} years old", months/12)
}

func (f *flow) concern(l *VetCase) {
	f.section(words.Say("What this is about"), 20)
	if l.Concern != "" {
		f.say(bold, body, muted, words.Say("In the keeper's words"))
		f.say(regular, 11, ink, words.AsIs(l.Concern))
	}
	var open []words.Text
	for _, c := range l.Assessment.Concerns {
		if c.Code != assess.ConcernSilence {
			open = append(open, c.Text)
		}
	}
	if len(open) == 0 {
		f.say(regular, body, ink, words.Say("The log raises no concern of its own."))
		return
	}
	f.say(bold, body, muted, words.Say("What the log shows"))
	f.list(body, open)
	f.say(regular, 8, muted, words.Say("Computed from the entries by a program. It is no examination and no diagnosis."))
}

// of are the entries of one kind.
func (l *VetCase) of(k care.Kind) (list []care.Entry) {
	for _, e := range l.Entries {
		if e.Body.Kind() == k {
			list = append(list, e)
		}
	}
	return list
}

func (f *flow) letterWeight(l *VetCase) {
	f.section(words.Say("Weight"), 40)
	list := l.of(care.KindWeighIn)
	switch len(list) {
	case 0:
		f.say(regular, body, ink, words.Say("No weight is on record."))
		return
	case 1:
		f.weighedOnce(list[0])
		return
	}
	f.need(52)
	f.massPlot(list, l.HandedOver)
	last := len(list) - 1
	text := words.Say("{n} weigh-ins, the last {mass} on {date}. The broken line is the day it came into this home.", len(list), massWords(list[last].Body.(care.WeighIn).Mass), date(list[last].HappenedAt, f.zone))
	n := &l.Assessment.Numbers
	// Where the loss is not known, all three are 0.
	switch {
	case n.LossLow >= n.LossHigh:
	case list[last].HappenedAt.Before(l.HandedOver):
		text = words.Join(text, words.Say("It was not weighed here: going by its meals, without what is in the gut, it weighs {change} than then (90 % interval: {from} to {to}).", lossWords(n.LossPct), lossWords(n.LossLow), lossWords(n.LossHigh)))
	default:
		text = words.Join(text, words.Say("Without what is in the gut it weighs {change} than then (90 % interval: {from} to {to}).", lossWords(n.LossPct), lossWords(n.LossLow), lossWords(n.LossHigh)))
	}
	f.say(regular, body, ink, text)
}

// lossWords is a loss of body mass, in per cent, of which less than nothing is a
// gain.
func lossWords(pct float64) words.Text {
	if pct < 0 {
		return words.Say("{percent} % more", whole(-pct))
	}
	return words.Say("{percent} % less", whole(pct))
}

func (f *flow) letterFood(l *VetCase) {
	f.section(words.Say("Food"), 24)
	if n := l.Assessment.FastDays; n >= 0 && l.Assessment.LastMeal != nil {
		f.say(regular, body, ink, words.Count("Last meal kept down: {date}, {n} day ago.", "Last meal kept down: {date}, {n} days ago.", date(*l.Assessment.LastMeal, f.zone), n))
	} else {
		f.say(regular, body, ink, words.Say("No meal is on record."))
	}
	var here []care.Entry
	eaten, before := 0, 0
	for _, e := range l.of(care.KindOffer) {
		switch {
		case !e.HappenedAt.Before(l.HandedOver):
			here = append(here, e)
		default:
			before++
			if e.Body.(care.Offer).Result == care.Eaten {
				eaten++
			}
		}
	}
	if before > 0 {
		f.say(regular, body, ink, words.Count("At the breeder it ate {eaten} of {n} offer.", "At the breeder it ate {eaten} of {n} offers.", eaten, before))
	}
	if len(here) == 0 {
		f.say(regular, body, ink, words.Say("Nothing was offered in this home, or it was not logged."))
		return
	}
	slices.Reverse(here)
	f.offerTable(here[:min(len(here), lettersOffers)])
	if more := len(here) - lettersOffers; more > 0 {
		f.say(regular, 8, muted, words.Say("And {n} before these.", more))
	}
}

func (f *flow) letterSigns(l *VetCase) {
	f.section(words.Say("Seen on the animal"), 16)
	labels := map[string]string{}
	for _, s := range assess.Signs() {
		labels[s.Code] = s.Label
	}
	var rows [][]string
	for _, e := range l.Entries {
		switch b := e.Body.(type) {
		case care.Sign:
			what := or(words.Say(labels[b.Code]), words.AsIs(b.Code))
			if b.Gone {
				what = words.Say("{sign}: looked for, and not there any more", what)
			}
			rows = append(rows, []string{f.day(e.HappenedAt, f.zone), f.in.Say(what), e.Note})
		case care.Shed:
			rows = append(rows, []string{f.day(e.HappenedAt, f.zone), f.in.Say(shedWords(b)), e.Note})
		}
	}
	if len(rows) == 0 {
		f.say(regular, body, ink, words.Say("No sign and no shed was logged."))
		return
	}
	slices.Reverse(rows)
	f.table([]float64{0, .22, .6}, f.in.All([]words.Text{words.Say("Day"), words.Say("What"), words.Say("Note")}), rows)
}

func (f *flow) letterHome(l *VetCase) {
	f.section(words.Say("Its home"), 30)
	sp, listed := snake.ByID(l.Record.Animal.Species)
	readings := l.of(care.KindClimate)
	readings = slices.DeleteFunc(readings, func(e care.Entry) bool { return e.HappenedAt.Before(l.HandedOver) })
	if len(readings) == 0 {
		f.say(regular, body, ink, words.Say("Temperatures and humidity were not measured, or not logged."))
	} else {
		slices.Reverse(readings)
		one := func(v *care.Celsius) string {
			if v == nil {
				return "–"
			}
			return f.in.Say(celsius(float64(*v)))
		}
		var rows [][]string
		for _, e := range readings[:min(len(readings), lettersReadings)] {
			b := e.Body.(care.ClimateReading)
			air := "–"
			if b.Humidity != nil {
				air = f.in.Say(percent(float64(*b.Humidity)))
			}
			rows = append(rows, []string{f.day(e.HappenedAt, f.zone), one(b.Warm), one(b.Cool), one(b.Night), one(b.Surface), air})
		}
		if listed {
			c := &sp.Climate
			rows = append(rows, f.in.All([]words.Text{words.Say("usual for it"), celsiusBand(c.HotSpot), celsiusBand(c.Cool), celsiusBand(c.Night), notAbove(celsius(c.HotTooHigh)), percentBand(c.Humidity)}))
		}
		f.table([]float64{0, .2, .37, .54, .71, .88}, f.in.All([]words.Text{words.Say("Day"), words.Say("Warm end"), words.Say("Cool end"), words.Say("Night"), words.Say("Surface"), words.Say("Humidity")}), rows)
	}
	answers := map[string]words.Text{}
	for _, e := range l.of(care.KindSetup) {
		for _, a := range e.Body.(care.SetupCheck).Answers {
			p, ok := care.Point(a.Point)
			if !ok {
				continue
			}
			delete(answers, a.Point) // the last answer counts
			for _, c := range p.Choices {
				if c.Code == a.Choice && c.Verdict == care.Hazard {
					answers[a.Point] = words.Say("{point}: {answer}", words.Say(p.Title), words.Say(c.Label))
				}
			}
		}
	}
	var hazards []words.Text
	for _, p := range care.SetupPoints() {
		if t, ok := answers[p.Code]; ok {
			hazards = append(hazards, t)
		}
	}
	if len(hazards) > 0 {
		f.say(bold, body, muted, words.Say("Said of its setup"))
		f.list(body, hazards)
	}
}

// pictures are two in a row.
func (f *flow) pictures(list []Picture) error {
	if len(list) == 0 {
		return nil
	}
	const gap = 6.
	w := (f.w - gap) / 2
	most := w // of a picture's height
	f.section(words.Say("Pictures"), most+8)
	for i, row := range slices.Collect(slices.Chunk(list, 2)) {
		tall := 0.
		type placed struct {
			name string
			w, h float64
		}
		var at []placed
		for k, p := range row {
			name := fmt.Sprintf("picture %d", 2*i+k)
			info := f.pdf.RegisterImageReader(name, "JPEG", bytes.NewReader(p.JPEG))
			if err := f.pdf.Error(); err != nil {
				return fmt.Errorf("a picture of the letter: %w", err)
			}
			pw, ph := w, w*info.Height()/info.Width()
			if ph > most {
				pw, ph = pw*most/ph, most
			}
			at = append(at, placed{name, pw, ph})
			tall = max(tall, ph)
		}
		f.need(tall + 8)
		for k, p := range at {
			x := f.x + float64(k)*(w+gap)
			f.pdf.Image(p.name, x, f.y, p.w, p.h, false, "", 0, "")
			f.set(regular, 8, muted)
			f.para(x, f.y+tall+3.6, 8*spacing, f.lines(f.in.Say(row[k].Caption), w, 1))
		}
		f.y += tall + 8
	}
	return nil
}

// notes leaves room for what the vet writes.
func (f *flow) notes() {
	f.section(words.Say("Notes of the vet"), 30)
	f.y += 4
	for range 3 {
		f.y += 7
		f.line(f.x, f.y, f.x+f.w, f.y)
	}
	f.y += 3
	f.say(regular, 8, muted, words.Say("Made from what the keeper and the breeder logged. Times are those of the breeder's zone."))
}

// shedWords is a shed as a list names it.
func shedWords(s care.Shed) words.Text {
	switch {
	case s.Stage == care.Opaque:
		return words.Say("Eyes and skin cloudy before a shed")
	case s.Stage == care.Cleared:
		return words.Say("Clear again before a shed")
	case s.Complete == nil:
		return words.Say("Shed")
	case *s.Complete:
		return words.Say("Shed in one piece")
	}
	return words.Say("Shed, not all of it came off")
}
