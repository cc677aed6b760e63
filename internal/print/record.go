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

// offersShown is how many of the breeder's last offers a record lists.
const offersShown = 10

// Signature says where a record that was signed can be checked, and which one it
// is; the zero value is for one that was not signed.
type Signature struct {
	Page   string // a link
	Digest string // of the signed record, in hex
}

// Record writes the handover record: who the animal is, its history, how it is
// kept and what its home should be, its first two weeks, cautions, when to call
// whom, and its origin. home is when it was handed over; the dates on it are
// those of the zone. The document carries the date when the record was issued.
func Record(w io.Writer, p Paper, r *care.Record, sig Signature, home time.Time, zone *time.Location, in *words.Language) error {
	// Twice: the first time to know how many pages there are.
	pages := layRecord(p, r, sig, home, zone, in, 0).pdf.PageCount()
	return layRecord(p, r, sig, home, zone, in, pages).write(w)
}

func layRecord(p Paper, r *care.Record, sig Signature, home time.Time, zone *time.Location, in *words.Language, pages int) *sheet {
	name, _, _ := names(&r.Animal, in)
	f := &flow{sheet: newSheet(p, in, words.Say("Handover record of {name}", name), r.IssuedAt), zone: zone, pages: pages}
	f.running = words.Say("Handover record of {name} · issued by {breeder} on {date}", name, r.Breeder, date(r.IssuedAt, zone))
	f.x, f.w = 18, f.width-36
	f.page()
	f.identity(r, home)
	f.feeding(r)
	f.weights(r)
	f.offers(r)
	f.home(r)
	f.firstDays(r, home)
	f.whenToCall(r)
	f.cautions(r)
	f.origin(r)
	f.signature(r, sig)
	return f.sheet
}

// flow fills pages from top to bottom.
type flow struct {
	*sheet
	zone    *time.Location
	running words.Text // what stands at the foot of every page
	pages   int
	x, w    float64
	y       float64 // the top of what is free on the page
}

const (
	topEdge, footEdge = 16., 16.
	body              = 9.5 // the usual size of type
)

func (f *flow) page() {
	was := f.face
	f.pdf.AddPage()
	f.band(f.x, 9, f.w, 1.2)
	f.set(regular, 7.5, muted)
	count := f.in.Say(words.Say("Page {page} of {pages}", f.pdf.PageNo(), f.pages))
	wide := f.pdf.GetStringWidth(count)
	f.text(f.x+f.w-wide, f.height-9, count)
	f.pdf.Text(f.x, f.height-9, f.lines(f.in.Say(f.running), f.w-wide-6, 1)[0])
	f.y = topEdge
	if was.size > 0 { // what goes on is in the type it was in
		f.set(was.style, was.size, was.c)
	}
}

// need begins a page unless so much is free on this one.
func (f *flow) need(h float64) {
	if f.y+h > f.height-footEdge {
		f.page()
	}
}

// section is a heading with room for what begins below it.
func (f *flow) section(title words.Text, room float64) {
	f.need(room + 14)
	f.y += 4
	f.set(bold, 12.5, ink)
	f.put(f.x, f.y+4.6, title)
	f.y += 7.6
}

// write puts lines below what is there, in the type that is set.
func (f *flow) write(x, size float64, lines []string) {
	leading := size * spacing
	for _, l := range lines {
		f.need(leading)
		f.pdf.Text(x, f.y+size*.33, l)
		f.y += leading
	}
}

// say writes a paragraph.
func (f *flow) say(style string, size float64, c rgb, text words.Text) {
	f.set(style, size, c)
	lines := f.lines(f.in.Say(text), f.w, 0)
	if len(lines) < 4 {
		f.need(float64(len(lines)) * size * spacing)
	}
	f.write(f.x, size, lines)
	f.y += 1.2
}

// list writes points.
func (f *flow) list(size float64, points []words.Text) {
	f.set(regular, size, ink)
	for _, p := range points {
		lines := f.lines(f.in.Say(p), f.w-4, 0)
		f.need(float64(len(lines)) * size * spacing)
		f.box(f.x, f.y+size*.33-size*.13-.45, 1, 1, warm)
		f.write(f.x+4, size, lines)
		f.y += .9
	}
}

// table writes rows under a head; the columns begin at these parts of the
// width. Rows are broken into lines, never cut, and a row stays on one page;
// the head stands on each.
func (f *flow) table(at []float64, head []string, rows [][]string) {
	const size, pad = 8.5, 1.1
	leading := size * spacing
	width := func(i int) float64 {
		end := 1.
		if i+1 < len(at) {
			end = at[i+1]
		}
		return (end-at[i])*f.w - 2.5
	}
	lay := func(cells []string, style string, c rgb) (broken [][]string, tall float64) {
		f.set(style, size, c)
		most := 1
		for i, cell := range cells {
			broken = append(broken, f.lines(cell, width(i), 0))
			most = max(most, len(broken[i]))
		}
		return broken, float64(most)*leading + 2*pad
	}
	draw := func(broken [][]string, tall float64) {
		for i, lines := range broken {
			f.para(f.x+at[i]*f.w, f.y+pad+size*.33, leading, lines)
		}
		f.y += tall
		f.line(f.x, f.y, f.x+f.w, f.y)
	}
	top := func() {
		if head != nil {
			draw(lay(head, bold, muted))
		}
	}
	for i, cells := range rows {
		broken, tall := lay(cells, regular, ink)
		switch {
		case i == 0 && head != nil: // not without a row
			_, above := lay(head, bold, muted)
			f.need(above + tall)
			top()
		case f.y+tall > f.height-footEdge:
			f.page()
			top()
		}
		f.set(regular, size, ink)
		draw(broken, tall)
	}
	f.y += 1.5
}

func (f *flow) identity(r *care.Record, home time.Time) {
	a := &r.Animal
	f.heading(words.Say("Handover record"), a)

	var facts [][2]string
	fact := func(label, text words.Text) { facts = append(facts, [2]string{f.in.Say(label), f.in.Say(text)}) }
	fact(words.Say("Sex"), sexWord(a.Sex))
	when, genes := notRecorded, words.Say("none recorded")
	if a.Hatched != nil {
		when = words.Say("{date}", date(*a.Hatched, time.UTC))
	}
	if len(a.Genes) > 0 {
		genes = words.AsIs(strings.Join(a.Genes, ", "))
	}
	fact(words.Say("Hatched"), when)
	fact(words.Say("Handed over"), words.Say("{date}", date(home, f.zone)))
	fact(words.Say("Genes"), genes)
	fact(words.Say("Mother"), parentWords(r.Mother))
	fact(words.Say("Father"), parentWords(r.Father))
	if a.Clutch != "" {
		fact(words.Say("Clutch"), words.AsIs(a.Clutch))
	}
	if a.TotalLength > 0 {
		fact(words.Say("Length"), lengthWords(a.TotalLength))
	}
	if n := len(r.Weights); n > 0 {
		fact(words.Say("Last weight"), words.Say("{mass} on {date}", massWords(r.Weights[n-1].Body.(care.WeighIn).Mass), date(r.Weights[n-1].HappenedAt, f.zone)))
	}
	fact(words.Say("From"), words.AsIs(from(r)))
	// Three columns; what needs more than three lines there has the whole width
	// below them.
	const cols, label = 3, 7.5
	var short, long [][2]string
	f.set(regular, body, ink)
	for _, fact := range facts {
		if len(f.lines(fact[1], f.w/cols-4, 0)) > 3 {
			long = append(long, fact)
		} else {
			short = append(short, fact)
		}
	}
	for row := range slices.Chunk(short, cols) {
		tall := 0
		for k, fact := range row {
			x := f.x + float64(k)*f.w/cols
			f.set(regular, label, muted)
			f.text(x, f.y+2.6, fact[0])
			f.set(regular, body, ink)
			lines := f.lines(fact[1], f.w/cols-4, 0)
			f.para(x, f.y+6.8, body*spacing, lines)
			tall = max(tall, len(lines))
		}
		f.y += 5.6 + float64(tall)*body*spacing
	}
	for _, fact := range long {
		f.need(10)
		f.set(regular, label, muted)
		f.text(f.x, f.y+2.6, fact[0])
		f.y += 3.6
		f.set(regular, body, ink)
		f.write(f.x, body, f.lines(fact[1], f.w, 0))
		f.y += 1.5
	}
}

var notRecorded = words.Say("not recorded")

func sexWord(s care.Sex) words.Text {
	switch s {
	case care.Female:
		return words.Say("female")
	case care.Male:
		return words.Say("male")
	}
	return words.Say("not known")
}

func parentWords(p care.Parent) words.Text {
	switch {
	case p.Name == "" && len(p.Genes) == 0:
		return notRecorded
	case len(p.Genes) == 0:
		return words.AsIs(p.Name)
	}
	return words.AsIs(strings.TrimSpace(p.Name + " (" + strings.Join(p.Genes, ", ") + ")"))
}

func lengthWords(l care.Millimetres) words.Text {
	return words.Say("{length} mm, nose to tail tip", number(float64(l)))
}

const gramsPerOunce = 28.349523125 // the international avoirdupois ounce, exactly

// massWords is a mass in grams and ounces.
func massWords(m care.Grams) words.Text {
	oz := words.Number{V: float64(m) / gramsPerOunce, Decimals: 1}
	if oz.V < 1 {
		oz.Decimals = 2
	}
	return words.Say("{grams} g ({ounces} oz)", number(float64(m)), oz)
}

func (f *flow) feeding(r *care.Record) {
	f.section(words.Say("How it is fed"), 12)
	f.say(regular, body, ink, r.FeedNext)
}

func (f *flow) offers(r *care.Record) {
	f.section(words.Say("Its last offers"), 24)
	list := slices.Clone(r.Offers)
	slices.SortStableFunc(list, func(a, b care.Entry) int { return b.HappenedAt.Compare(a.HappenedAt) })
	if len(list) == 0 {
		f.say(regular, body, ink, words.Say("No offer is on record with the breeder."))
		return
	}
	f.offerTable(list[:min(len(list), offersShown)])
	if more := len(list) - offersShown; more > 0 {
		f.say(regular, 8, muted, words.Say("And {n} before these.", more))
	}
}

// offerTable lists offers.
func (f *flow) offerTable(list []care.Entry) {
	results := map[care.OfferResult]words.Text{care.Eaten: words.Say("eaten"), care.Refused: words.Say("refused"), care.Struck: words.Say("struck and let go"), care.Regurgitated: words.Say("brought up")}
	states := map[care.PreyState]words.Text{care.Thawed: words.Say("thawed"), care.Prekilled: words.Say("freshly killed"), care.Live: words.Say("live")}
	var rows [][]string
	for _, e := range list {
		o := e.Body.(care.Offer)
		size := notRecorded
		if o.PreyMass > 0 {
			size = massWords(o.PreyMass)
		}
		prey := words.Say(snake.PreySize(float64(o.PreyMass), o.Prey))
		rows = append(rows, []string{f.day(e.HappenedAt, f.zone), f.in.Say(or(prey, notRecorded)), f.in.Say(size), f.in.Say(or(states[o.PreyState], notRecorded)), f.in.Say(results[o.Result])})
	}
	f.table([]float64{0, .22, .42, .62, .8}, f.in.All([]words.Text{words.Say("Day"), words.Say("Prey"), words.Say("Size"), words.Say("State"), words.Say("What came of it")}), rows)
}

func or(text, instead words.Text) words.Text {
	if text.Empty() {
		return instead
	}
	return text
}

func (f *flow) home(r *care.Record) {
	f.section(words.Say("How it is kept now, and what its home should be"), 40)
	h := care.HomeOf(r)
	was := words.Say("Now, at the breeder")
	if !h.MeasuredAt.IsZero() {
		was = words.Say("Now, at the breeder, {date}", date(h.MeasuredAt, f.zone))
	}
	var rows [][]string
	for _, v := range h.Facts {
		one, band := celsius, celsiusBand
		if v.Humidity {
			one, band = percent, percentBand
		}
		now, should := notRecorded, words.Say("ask the breeder")
		switch {
		case v.Was != nil:
			now = one(*v.Was)
		case v.Code == "shed_humidity":
			now = words.Text{}
		}
		switch {
		case v.Low != nil:
			should = band(snake.Band{Low: *v.Low, High: *v.High})
		case v.High != nil:
			should = notAbove(one(*v.High))
		}
		rows = append(rows, []string{f.in.Form(v.Label), f.in.Say(now), f.in.Say(should)})
	}
	f.table([]float64{0, .34, .66}, []string{"", f.in.Say(was), f.in.Say(words.Say("At home"))}, rows)
	f.say(regular, 8, muted, h.Note)
	f.list(body, append(slices.Clone(h.Points), words.Say("Every heater runs through a thermostat; lid and doors are locked; the app has the whole checklist.")))
}

func (f *flow) firstDays(r *care.Record, home time.Time) {
	f.section(words.Say("The first two weeks"), 40)
	plan, after := care.FirstDays(r, home.In(f.zone))
	var rows [][]string
	for _, d := range plan {
		rows = append(rows, []string{fmt.Sprint(d.Day), f.in.Say(words.Say("{date}", words.Date{At: d.Date, As: words.WeekDay})), f.in.Say(d.Text)})
	}
	f.table([]float64{0, .07, .3}, f.in.All([]words.Text{words.Say("Day"), words.Say("Date"), words.Say("What to do")}), rows)
	f.say(regular, body, ink, after)
	f.say(regular, 8, muted, care.FirstDaysCaution)
}

func (f *flow) whenToCall(r *care.Record) {
	f.section(words.Say("When to call"), 38)
	f.say(regular, body, ink, words.Say("Reptile vet, name and number: ______________________________________________"))
	f.y += 1.5
	for _, c := range assess.Calls() {
		f.need(20)
		f.say(bold, body, ink, words.Say(c.Whom))
		f.columns(f.in.Forms(c.Signs))
		f.y += 1.5
	}
	if r.Contact != "" {
		f.say(regular, body, ink, words.Say("How to reach {breeder}: {contact}", r.Breeder, r.Contact))
	}
	f.say(regular, body, ink, words.Say("In the app you can write to the breeder at any time."))
}

// columns writes short points in two columns.
func (f *flow) columns(list []string) {
	const size = 8.5
	f.set(regular, size, ink)
	w := f.w/2 - 8
	for i := 0; i < len(list); i += 2 {
		left := f.lines(list[i], w, 0)
		var right []string
		if i+1 < len(list) {
			right = f.lines(list[i+1], w, 0)
		}
		h := float64(max(len(left), len(right)))*size*spacing + .7
		f.need(h)
		for k, lines := range [][]string{left, right} {
			if len(lines) > 0 {
				x := f.x + float64(k)*f.w/2
				f.box(x, f.y+size*.33-size*.13-.4, .9, .9, warm)
				f.para(x+4, f.y+size*.33, size*spacing, lines)
			}
		}
		f.y += h
	}
}

func (f *flow) cautions(r *care.Record) {
	f.section(words.Say("Cautions"), 16)
	f.list(body, r.Cautions)
}

func (f *flow) origin(r *care.Record) {
	f.section(words.Say("Origin and law"), 30)
	var rows [][]string
	for _, fact := range care.OriginFacts(&r.Animal) {
		text := f.in.Say(fact.Text)
		if fact.Source != "" {
			text += " (" + fact.Source + ")"
		}
		rows = append(rows, []string{f.in.Say(fact.Label), text})
	}
	f.table([]float64{0, .24}, nil, rows)
	f.need(34)
	f.y += 2
	f.set(regular, 8.5, muted)
	f.put(f.x, f.y+2.8, words.Say("For the seller to fill in by hand:"))
	f.y += 6
	f.set(regular, body, ink)
	x := f.x
	for _, word := range []words.Text{words.Say("bred in captivity"), words.Say("taken from the wild"), words.Say("not known")} {
		f.pdf.SetDrawColor(ink.r, ink.g, ink.b)
		f.pdf.SetLineWidth(.25)
		f.pdf.Rect(x, f.y+.2, 3.2, 3.2, "D")
		f.put(x+5, f.y+3.1, word)
		x += 46
	}
	f.y += 12
	for i, word := range []words.Text{words.Say("Proof of origin, number"), words.Say("Place and date"), words.Say("Signature of the seller")} {
		x := f.x + float64(i)*f.w/3
		f.line(x, f.y, x+f.w/3-5, f.y)
		f.set(regular, 7.5, muted)
		f.put(x, f.y+3.4, word)
	}
	f.y += 6
}

// digestShown is how much of a digest is printed, to compare by eye.
const digestShown = 16

func (f *flow) signature(r *care.Record, sig Signature) {
	f.section(words.Say("Its signed copy"), 20)
	if sig.Digest == "" {
		f.say(regular, body, ink, words.Say("There is none: this record was not signed by the breeder's key."))
		return
	}
	groups := slices.Collect(slices.Chunk([]byte(sig.Digest[:digestShown]), 4))
	f.say(regular, body, ink, words.Say("This record is also a file that is signed by the key of {breeder}. Whoever is given the file can check at {page} that nobody changed it. The digest of the file begins with {digest}. This paper alone proves nothing.",
		r.Breeder, sig.Page, string(bytes.Join(groups, []byte(" ")))))
}

func celsius(c float64) words.Text {
	return words.Say("{celsius} °C ({fahrenheit} °F)", whole(c), whole(c*9/5+32))
}

func celsiusBand(b snake.Band) words.Text {
	return words.Say("{low} to {high} °C ({lowF} to {highF} °F)", whole(b.Low), whole(b.High), whole(b.Low*9/5+32), whole(b.High*9/5+32))
}

func percent(p float64) words.Text { return words.Say("{percent} %", number(p)) }

func percentBand(b snake.Band) words.Text {
	return words.Say("{low} to {high} %", whole(b.Low), whole(b.High))
}

func notAbove(limit words.Text) words.Text { return words.Say("not above {limit}", limit) }
