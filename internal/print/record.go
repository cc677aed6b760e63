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
func Record(w io.Writer, p Paper, r *care.Record, sig Signature, home time.Time, zone *time.Location) error {
	// Twice: the first time to know how many pages there are.
	pages := layRecord(p, r, sig, home, zone, 0).pdf.PageCount()
	return layRecord(p, r, sig, home, zone, pages).write(w)
}

func layRecord(p Paper, r *care.Record, sig Signature, home time.Time, zone *time.Location, pages int) *sheet {
	name, _, _ := names(&r.Animal)
	f := &flow{sheet: newSheet(p, "Handover record of "+name, r.IssuedAt), zone: zone, pages: pages}
	f.running = "Handover record of " + name + " · issued by " + r.Breeder + " on " + date(r.IssuedAt, zone)
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
	running string // what stands at the foot of every page
	pages   int
	in      *words.Language // nil: English
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
	count := fmt.Sprintf("Page %d of %d", f.pdf.PageNo(), f.pages)
	wide := f.pdf.GetStringWidth(count)
	f.text(f.x+f.w-wide, f.height-9, count)
	f.pdf.Text(f.x, f.height-9, f.lines(f.running, f.w-wide-6, 1)[0])
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
func (f *flow) section(title string, room float64) {
	f.need(room + 14)
	f.y += 4
	f.set(bold, 12.5, ink)
	f.text(f.x, f.y+4.6, title)
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
func (f *flow) say(style string, size float64, c rgb, text string) {
	f.set(style, size, c)
	lines := f.lines(text, f.w, 0)
	if len(lines) < 4 {
		f.need(float64(len(lines)) * size * spacing)
	}
	f.write(f.x, size, lines)
	f.y += 1.2
}

// list writes points.
func (f *flow) list(size float64, points []string) {
	f.set(regular, size, ink)
	for _, p := range points {
		lines := f.lines(p, f.w-4, 0)
		f.need(float64(len(lines)) * size * spacing)
		f.box(f.x, f.y+size*.33-size*.13-.45, 1, 1, warm)
		f.write(f.x+4, size, lines)
		f.y += .9
	}
}

// table writes rows under a head; the columns begin at these parts of the
// width. Rows are broken into lines, never cut, and a row stays on one page.
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
	row := func(cells []string, style string, c rgb) {
		f.set(style, size, c)
		most := 1
		broken := make([][]string, len(cells))
		for i, cell := range cells {
			broken[i] = f.lines(cell, width(i), 0)
			most = max(most, len(broken[i]))
		}
		f.need(float64(most)*leading + 2*pad)
		for i, lines := range broken {
			f.para(f.x+at[i]*f.w, f.y+pad+size*.33, leading, lines)
		}
		f.y += float64(most)*leading + 2*pad
		f.line(f.x, f.y, f.x+f.w, f.y)
	}
	if head != nil {
		f.need(2*leading + 4*pad)
		row(head, bold, muted)
	}
	for _, cells := range rows {
		row(cells, regular, ink)
	}
	f.y += 1.5
}

func (f *flow) identity(r *care.Record, home time.Time) {
	a := &r.Animal
	name, common, scientific := names(a)
	f.set(regular, 9.5, muted)
	f.text(f.x, f.y+3.4, "Handover record")
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

	facts := [][2]string{{"Sex", sexWord(a.Sex)}, {"Hatched", "not recorded"}, {"Handed over", date(home, f.zone)},
		{"Genes", "none recorded"}, {"Mother", parentWords(r.Mother)}, {"Father", parentWords(r.Father)}}
	if a.Hatched != nil {
		facts[1][1] = date(*a.Hatched, time.UTC)
	}
	if len(a.Genes) > 0 {
		facts[3][1] = strings.Join(a.Genes, ", ")
	}
	if a.Clutch != "" {
		facts = append(facts, [2]string{"Clutch", a.Clutch})
	}
	if a.TotalLength > 0 {
		facts = append(facts, [2]string{"Length", number(float64(a.TotalLength)) + " mm, nose to tail tip"})
	}
	if n := len(r.Weights); n > 0 {
		facts = append(facts, [2]string{"Last weight", massWords(r.Weights[n-1].Body.(care.WeighIn).Mass) + " on " + date(r.Weights[n-1].HappenedAt, f.zone)})
	}
	facts = append(facts, [2]string{"From", from(r)[len("From "):]})
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

func sexWord(s care.Sex) string {
	if s == care.Female || s == care.Male {
		return string(s)
	}
	return "not known"
}

func parentWords(p care.Parent) string {
	switch {
	case p.Name == "" && len(p.Genes) == 0:
		return "not recorded"
	case len(p.Genes) == 0:
		return p.Name
	}
	return strings.TrimSpace(p.Name + " (" + strings.Join(p.Genes, ", ") + ")")
}

const gramsPerOunce = 28.349523125 // the international avoirdupois ounce, exactly

// massWords is a mass in grams and ounces.
func massWords(m care.Grams) string {
	oz := float64(m) / gramsPerOunce
	text := fmt.Sprintf("%.1f", oz)
	if oz < 1 {
		text = fmt.Sprintf("%.2f", oz)
	}
	return number(float64(m)) + " g (" + text + " oz)"
}

func (f *flow) feeding(r *care.Record) {
	f.section("How it is fed", 12)
	f.say(regular, body, ink, f.in.Say(r.FeedNext))
}

func (f *flow) offers(r *care.Record) {
	f.section("Its last offers", 24)
	list := slices.Clone(r.Offers)
	slices.SortStableFunc(list, func(a, b care.Entry) int { return b.HappenedAt.Compare(a.HappenedAt) })
	if len(list) == 0 {
		f.say(regular, body, ink, "No offer is on record with the breeder.")
		return
	}
	f.offerTable(list[:min(len(list), offersShown)])
	if more := len(list) - offersShown; more > 0 {
		f.say(regular, 8, muted, fmt.Sprintf("And %d before these.", more))
	}
}

// offerTable lists offers.
func (f *flow) offerTable(list []care.Entry) {
	results := map[care.OfferResult]string{care.Eaten: "eaten", care.Refused: "refused", care.Struck: "struck and let go", care.Regurgitated: "brought up"}
	states := map[care.PreyState]string{care.Thawed: "thawed", care.Prekilled: "freshly killed", care.Live: "live"}
	var rows [][]string
	for _, e := range list {
		o := e.Body.(care.Offer)
		size := "not recorded"
		if o.PreyMass > 0 {
			size = massWords(o.PreyMass)
		}
		prey := snake.PreySize(float64(o.PreyMass), o.Prey)
		rows = append(rows, []string{date(e.HappenedAt, f.zone), or(prey, "not recorded"), size, or(states[o.PreyState], "not recorded"), results[o.Result]})
	}
	f.table([]float64{0, .22, .42, .62, .8}, []string{"Day", "Prey", "Size", "State", "What came of it"}, rows)
}

func or(text, instead string) string {
	if text == "" {
		return instead
	}
	return text
}

func (f *flow) home(r *care.Record) {
	f.section("How it is kept now, and what its home should be", 40)
	h := care.HomeOf(r)
	was := "at the breeder"
	if !h.MeasuredAt.IsZero() {
		was += ", " + date(h.MeasuredAt, f.zone)
	}
	var rows [][]string
	for _, v := range h.Facts {
		one, band := celsius, celsiusBand
		if v.Humidity {
			one, band = percent, percentBand
		}
		row := []string{v.Label, "not recorded", "ask the breeder"}
		switch {
		case v.Was != nil:
			row[1] = one(*v.Was)
		case v.Code == "shed_humidity":
			row[1] = ""
		}
		switch {
		case v.Low != nil:
			row[2] = band(snake.Band{Low: *v.Low, High: *v.High})
		case v.High != nil:
			row[2] = "not above " + one(*v.High)
		}
		rows = append(rows, row)
	}
	f.table([]float64{0, .34, .66}, []string{"", "Now, " + was, "At home"}, rows)
	f.say(regular, 8, muted, f.in.Say(h.Note))
	f.list(body, append(f.in.All(h.Points), "Every heater runs through a thermostat; lid and doors are locked; the app has the whole checklist."))
}

func (f *flow) firstDays(r *care.Record, home time.Time) {
	f.section("The first two weeks", 40)
	plan, after := care.FirstDays(r, home.In(f.zone))
	var rows [][]string
	for _, d := range plan {
		rows = append(rows, []string{fmt.Sprint(d.Day), d.Date.Format("Mon 2 January"), f.in.Say(d.Text)})
	}
	f.table([]float64{0, .07, .26}, []string{"Day", "Date", "What to do"}, rows)
	f.say(regular, body, ink, f.in.Say(after))
	f.say(regular, 8, muted, f.in.Say(care.FirstDaysCaution))
}

func (f *flow) whenToCall(r *care.Record) {
	f.section("When to call", 30)
	for _, c := range assess.Calls() {
		f.need(20)
		f.say(bold, body, ink, c.Whom)
		f.columns(c.Signs)
		f.y += 1.5
	}
	if r.Contact != "" {
		f.say(regular, body, ink, "How to reach "+r.Breeder+": "+r.Contact)
	}
	f.say(regular, body, ink, "In the app you can write to the breeder at any time.")
	f.need(8)
	f.say(regular, body, ink, "Reptile vet, name and number: ______________________________________________")
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
	f.section("Cautions", 16)
	f.list(body, f.in.All(r.Cautions))
}

func (f *flow) origin(r *care.Record) {
	f.section("Origin and law", 30)
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
	f.text(f.x, f.y+2.8, "For the seller to fill in by hand:")
	f.y += 6
	f.set(regular, body, ink)
	x := f.x
	for _, word := range []string{"bred in captivity", "taken from the wild", "not known"} {
		f.pdf.SetDrawColor(ink.r, ink.g, ink.b)
		f.pdf.SetLineWidth(.25)
		f.pdf.Rect(x, f.y+.2, 3.2, 3.2, "D")
		f.text(x+5, f.y+3.1, word)
		x += 46
	}
	f.y += 12
	for i, word := range []string{"Proof of origin, number", "Place and date", "Signature of the seller"} {
		x := f.x + float64(i)*f.w/3
		f.line(x, f.y, x+f.w/3-5, f.y)
		f.set(regular, 7.5, muted)
		f.text(x, f.y+3.4, word)
	}
	f.y += 6
}

// digestShown is how much of a digest is printed, to compare by eye.
const digestShown = 16

func (f *flow) signature(r *care.Record, sig Signature) {
	f.section("Its signed copy", 20)
	if sig.Digest == "" {
		f.say(regular, body, ink, "There is none: this record was not signed by the breeder's key.")
		return
	}
	groups := slices.Collect(slices.Chunk([]byte(sig.Digest[:digestShown]), 4))
	f.say(regular, body, ink, "This record is also a file that is signed by the key of "+r.Breeder+". Whoever is given the file can check at "+sig.Page+
		" that nobody changed it. The digest of the file begins with "+string(bytes.Join(groups, []byte(" ")))+". This paper alone proves nothing.")
}

func celsius(c float64) string {
	return fmt.Sprintf("%.0f °C (%.0f °F)", c, c*9/5+32)
}

func celsiusBand(b snake.Band) string {
	return fmt.Sprintf("%.0f to %.0f °C (%.0f to %.0f °F)", b.Low, b.High, b.Low*9/5+32, b.High*9/5+32)
}

func percent(p float64) string { return number(p) + " %" }

func percentBand(b snake.Band) string { return fmt.Sprintf("%.0f to %.0f %%", b.Low, b.High) }
