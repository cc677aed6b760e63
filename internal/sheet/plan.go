package sheet

import (
	"errors"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Book is what is known of the breeder.
type Book struct {
	Zone    *time.Location // in which the table's days and hours are
	Animals []care.Animal  // the stock book
	// MakeID makes the id of a new animal of what it stands for: the same text
	// gives the same id.
	MakeID func(what string) string
}

// Addition is an animal that is not in the stock book, from a row.
type Addition struct {
	Row    int
	Animal care.Animal
}

// Line is one thing to log. Row and Column tell it from every other of the table.
type Line struct {
	Row, Column int
	AnimalID    string
	At          time.Time
	DayOnly     bool // the table gives no hour; At is noon, or earlier today
	Body        care.Body
	Note        string
}

// Problem is what is wrong with a row. A warning leaves nothing out but what it
// says.
type Problem struct {
	Row     int
	Column  int // -1: the whole row
	Title   words.Text
	Value   string
	Text    words.Text
	Warning bool
}

// Plan is what a table would add. Animals stand after their parents.
type Plan struct {
	Rows      int // that hold something, without the headings
	Animals   []Addition
	Lines     []Line
	Problems  []Problem
	Questions []Question // nothing may be added before they are answered
}

// Sizes that the contract allows (proto/warmhand/v1).
const (
	maxName, maxClutch, maxPlace, maxAnimalNote = 80, 60, 80, 2000   // letters
	maxGenes, maxGene                           = 30, 60             // genes, letters of one
	maxPrey, maxNote                            = 40, 1000           // letters
	maxPreyMass                                 = 20_000             // g
	maxSnoutVent, maxTotal                      = 10_000, 12_000     // mm
	coldest, warmest, warmestSurface            = -20.0, 90.0, 300.0 // °C
)

var plainID = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

// Plan turns the rows below the headings into what they would add. m is a
// mapping that Guess filled in, questions what it left open; leave are rows that
// the person leaves out.
func (t *Table) Plan(m Mapping, questions []Question, book Book, leave map[int]bool, now time.Time) *Plan {
	p := &planner{t: t, m: m, book: book, now: now, headings: t.Headings(m.HeadingRow), plan: &Plan{Questions: questions},
		byID: map[string]*animal{}, byName: map[string][]*animal{}, at: map[Meaning]int{}, said: map[string]bool{}, species: map[string]string{}}
	for i, c := range m.Columns {
		if _, ok := p.at[c.Meaning]; !ok {
			p.at[c.Meaning] = i
		}
	}
	for i := range book.Animals {
		p.know(&animal{Animal: book.Animals[i], known: true})
	}
	if p.column(Name) < 0 && p.column(AnimalID) < 0 {
		p.plan.Questions = append(p.plan.Questions, Question{Code: "name", Column: -1, Text: words.Say("Which column says what the animal is called? Choose it below.")})
	}
	p.daysLeftOut()
	for i, rows := 0, t.data(m.HeadingRow); i < len(rows); i++ {
		p.plan.Rows++
		if !leave[rows[i].N] {
			p.row(&rows[i])
		}
	}
	p.parents()
	if p.undated && m.UndatedOn == "" {
		p.plan.Questions = append(p.plan.Questions, Question{"undated_on", -1, words.Say("These weights have no date. On which day were they taken?"), []Choice{{LeftOut, words.Say("Leave the weights out")}}})
	}
	if p.blank && m.BlankResult == "" {
		p.plan.Questions = append(p.plan.Questions, Question{"blank_result", -1, words.Say("Some feedings do not say how they ended."),
			[]Choice{{string(care.Eaten), words.Say("They were eaten")}, {LeftOut, words.Say("Leave them out")}}})
	}
	return p.plan
}

// daysLeftOut says that columns of days which are no weights are not taken.
func (p *planner) daysLeftOut() {
	var days []int
	for i, c := range p.m.Columns {
		if c.Meaning == Ignored && p.t.isDay(p.headings[i], p.now) {
			days = append(days, i)
		}
	}
	if len(days) > 1 {
		p.say(p.m.HeadingRow, days[0], "", words.Say("{n} columns are days and are left out. Only weights can stand in a column for each day; feedings and sheds need a row each, with their date.", len(days)), true)
	}
}

// animal is one that the table names.
type animal struct {
	care.Animal
	known     bool // from the stock book
	numbered  bool // a number of the list stands for it
	row       int
	dam, sire string // as written
	order     int    // 0 not placed, 1 being placed, 2 placed
}

type planner struct {
	t        *Table
	m        Mapping
	book     Book
	now      time.Time
	headings []Cell
	plan     *Plan
	at       map[Meaning]int
	byID     map[string]*animal
	byName   map[string][]*animal
	added    []*animal
	last     *animal // of the row above
	lastDay  Cell
	undated  bool // there is something without a date
	blank    bool // there is a feeding without an end
	said     map[string]bool
	species  map[string]string // by what the table calls them
}

func (p *planner) column(m Meaning) int {
	if i, ok := p.at[m]; ok {
		return i
	}
	return -1
}

func (p *planner) know(a *animal) {
	p.byID[a.ID] = a
	key := named(a.Name)
	p.byName[key] = append(p.byName[key], a)
}

// named makes names comparable: people do not mind case and space.
func named(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

// idOf is the id of an animal that a list numbers itself.
func (p *planner) idOf(text string) string {
	if plainID.MatchString(text) {
		return text
	}
	return p.book.MakeID("number/" + named(text))
}

// rowProblem ends the reading of a row: it is left out.
type rowProblem struct {
	column int
	value  string
	text   words.Text
}

func (e *rowProblem) Error() string { return e.text.String() }

func (p *planner) say(row, column int, value string, text words.Text, warning bool) {
	var title words.Text
	if column >= 0 {
		title = Title(p.headings, column)
	}
	p.plan.Problems = append(p.plan.Problems, Problem{row, column, title, short(value), text, warning})
}

func short(s string) string {
	if utf8.RuneCountInString(s) > 60 {
		return string([]rune(s)[:60]) + "…"
	}
	return s
}

// value is a row's cell for a meaning, empty when there is none.
func (p *planner) value(r *Row, m Meaning) Cell {
	c := r.cell(p.column(m))
	if isBlank(c.Text) {
		return Cell{}
	}
	return c
}

// own is value without what was merged with the row above: a weight that stands
// beside two rows was weighed once.
func (p *planner) own(r *Row, m Meaning) Cell {
	c := p.value(r, m)
	if c.Spread {
		return Cell{}
	}
	return c
}

// isBlank reports what people write for "nothing".
func isBlank(s string) bool {
	switch strings.ToLower(s) {
	case "", "-", "--", "–", "—", "n/a", "na", "/", ".":
		return true
	}
	return false
}

func (p *planner) fail(m Meaning, value string, text words.Text) error {
	return &rowProblem{p.column(m), value, text}
}

// row reads one row. What is wrong with it leaves it out whole, so that a half
// of it does not have to be looked for later.
func (p *planner) row(r *Row) {
	if !p.holdsAnything(r) {
		return
	}
	lines, before := len(p.plan.Lines), len(p.added)
	a, err := p.animal(r)
	if err == nil {
		err = p.lines(r, a)
	}
	var bad *rowProblem
	if !errors.As(err, &bad) {
		return
	}
	p.plan.Lines = p.plan.Lines[:lines]
	if len(p.added) > before { // the animal came with this row
		gone := p.added[before]
		p.added = p.added[:before]
		delete(p.byID, gone.ID)
		key := named(gone.Name)
		p.byName[key] = slices.DeleteFunc(p.byName[key], func(x *animal) bool { return x == gone })
	}
	p.say(r.N, bad.column, bad.value, bad.text, false)
}

func (p *planner) holdsAnything(r *Row) bool {
	for i, c := range p.m.Columns {
		if c.Meaning != Ignored && !isBlank(r.cell(i).Text) {
			return true
		}
	}
	return false
}

// animal finds or makes the animal of a row.
func (p *planner) animal(r *Row) (*animal, error) {
	for i, c := range p.m.Columns {
		if cell := r.cell(i); c.Meaning != Ignored && cell.Kind == Fault {
			return nil, &rowProblem{i, cell.Text, words.Say("The cell holds a mistake of the spreadsheet or a formula without its result. Open the file in a spreadsheet, put it right and save it.")}
		}
	}
	id, name := p.value(r, AnimalID).Text, p.value(r, Name).Text
	if id == "" && name == "" {
		if p.m.FillDown && p.last != nil {
			return p.last, nil
		}
		return nil, p.fail(Name, "", words.Say("It does not say which animal. Fill it in, or say above that an empty cell means the animal of the row before."))
	}
	a, err := p.find(id, name)
	if err == nil && a == nil && id != "" && name != "" {
		a = p.unnumbered(r, id, name)
	}
	if err != nil {
		return nil, err
	}
	of, err := p.describe(r, a != nil && a.known)
	if err != nil {
		return nil, err
	}
	if a == nil {
		if a, err = p.make(r, id, name, of); err != nil {
			return nil, err
		}
	} else if err := p.compare(r, a, of); err != nil {
		return nil, err
	}
	p.last = a
	return a, nil
}

// find looks an animal up by its number, else by its name.
func (p *planner) find(id, name string) (*animal, error) {
	if id != "" {
		if a := p.byID[p.idOf(id)]; a != nil {
			return a, nil
		}
		if name != "" {
			return nil, nil // numbered, and a new number
		}
		name = id
	}
	switch found := p.byName[named(name)]; len(found) {
	case 0:
		return p.byID[p.idOf(name)], nil
	case 1:
		return found[0], nil
	}
	return nil, p.fail(Name, name, words.Say("Several animals have this name. Give each another name in your stock book, or add a column with their ids."))
}

// madeID is the form of the ids that are made here and not by a breeder.
var madeID = regexp.MustCompile(`^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$`)

// unnumbered finds the one animal of the stock book with this name that has no
// number of the breeder's yet: the list's number is taken for it from here on.
func (p *planner) unnumbered(r *Row, id, name string) *animal {
	found := p.byName[named(name)]
	if len(found) != 1 || !found[0].known || found[0].numbered || !madeID.MatchString(found[0].ID) {
		return nil
	}
	a := found[0]
	a.numbered = true
	p.byID[p.idOf(id)] = a
	p.say(r.N, p.column(AnimalID), id, words.Say("The number is taken for that of {name} in your stock book, by the name.", a.Name), true)
	return a
}

// describe reads what a row says of its animal. One of the stock book stays as it
// is, so that nothing is kept in its note.
func (p *planner) describe(r *Row, known bool) (of animal, err error) {
	of.known = known
	if c := p.value(r, Species); c.Text != "" {
		id, seen := p.species[c.Text]
		if !seen {
			id = speciesOf(c.Text)
			p.species[c.Text] = id
		}
		if of.Species = id; id == "" {
			if !p.m.OtherSpecies {
				return of, p.fail(Species, c.Text, words.Say("This species is not in the list. Correct it, or say above that species which are not listed are taken as “other snake”."))
			}
			of.Species = care.OtherSnake
			p.note(r, &of, Species, c.Text, words.Say("It is taken as “other snake”. What stands here is kept in the note."))
		}
	}
	if c := p.value(r, Sex); c.Text != "" {
		sex, ok := sexOf(c)
		switch {
		case ok:
			of.Sex = sex
		case strings.HasSuffix(c.Text, "?"):
			p.note(r, &of, Sex, c.Text, words.Say("It is not sure, so the sex is unknown. What stands here is kept in the note."))
		default:
			return of, p.fail(Sex, c.Text, words.Say("Write male, female or unknown (or 1.0, 0.1)."))
		}
	}
	if c := p.value(r, Hatched); partOfDate.MatchString(c.Text) {
		p.note(r, &of, Hatched, c.Text, words.Say("This is no whole date, so the hatch date stays empty. What stands here is kept in the note."))
	} else if c.Text != "" {
		d, err := p.date(c, Hatched, p.m.Columns[p.column(Hatched)].Order)
		if err != nil {
			return of, err
		}
		day := d.at.UTC().Truncate(24 * time.Hour)
		of.Hatched = &day
	}
	if c := p.value(r, Genes); c.Text != "" {
		if of.Genes = genesOf(c.Text); len(of.Genes) > maxGenes {
			return of, p.fail(Genes, c.Text, words.Say("There are more than {most} genes. Take some out.", maxGenes))
		}
		for _, g := range of.Genes {
			if utf8.RuneCountInString(g) > maxGene {
				return of, p.fail(Genes, c.Text, words.Say("The name of a gene is longer than {most} letters. Divide the genes by commas.", maxGene))
			}
		}
	}
	if of.Place, err = p.text(r, Place, maxPlace); err != nil {
		return of, err
	}
	if of.Clutch, err = p.text(r, Clutch, maxClutch); err != nil {
		return of, err
	}
	note, err := p.text(r, AnimalNote, maxAnimalNote-200)
	if err != nil {
		return of, err
	}
	of.Note = paragraphs(of.Note, note)
	for _, l := range []struct {
		m    Meaning
		to   *care.Millimetres
		most float64
	}{{SnoutVent, &of.SnoutVent, maxSnoutVent}, {TotalLength, &of.TotalLength, maxTotal}} {
		if c := p.value(r, l.m); c.Text != "" {
			v, err := p.measure(c, l.m, false, l.most)
			if err != nil {
				return of, err
			}
			*l.to = care.Millimetres(v)
		}
	}
	of.dam, of.sire = p.value(r, Dam).Text, p.value(r, Sire).Text
	return of, nil
}

// heading is what the list calls a column: a note is read by who wrote the list, in
// whatever language that is.
func (p *planner) heading(m Meaning) string {
	switch i := p.column(m); {
	case i < 0:
		return m.Label()
	case i < len(p.headings) && p.headings[i].Text != "":
		return p.headings[i].Text
	default:
		return letters(i)
	}
}

// note keeps in an animal's note what has no other place, and says so once.
func (p *planner) note(r *Row, of *animal, m Meaning, value string, why words.Text) {
	if of.known {
		return
	}
	of.Note = paragraphs(of.Note, p.heading(m)+": "+short(value))
	key := named(p.value(r, AnimalID).Text) + "/" + named(p.value(r, Name).Text) + "/" + string(m)
	if !p.said[key] {
		p.said[key] = true
		p.say(r.N, p.column(m), value, why, true)
	}
}

func paragraphs(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), "\n")
}

// genesOf divides genes where a list does.
func genesOf(text string) (genes []string) {
	for _, g := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(",;/+|\n", r) }) {
		if g = strings.Join(strings.Fields(g), " "); g != "" && !slices.Contains(genes, g) {
			genes = append(genes, g)
		}
	}
	if text := strings.ToLower(strings.TrimSpace(text)); text == "normal" || text == "wild type" || text == "wildtype" || text == "wf" || text == "classic" {
		return nil
	}
	return genes
}

func (p *planner) text(r *Row, m Meaning, most int) (string, error) {
	c := p.value(r, m)
	if utf8.RuneCountInString(c.Text) > most {
		return "", p.fail(m, c.Text, words.Say("This is longer than {most} letters. Shorten it.", most))
	}
	return c.Text, nil
}

// make makes a new animal of a row.
func (p *planner) make(r *Row, id, name string, of animal) (*animal, error) {
	if of.Species == "" {
		of.Species = p.m.Species
	}
	shown := name
	if shown == "" {
		shown = id
	}
	if of.Species == "" {
		if p.column(Species) >= 0 {
			return nil, p.fail(Species, "", words.Say("The species is missing. Fill it in, or choose above which one new animals are."))
		}
		return nil, p.fail(Name, shown, words.Say("There is no animal with this name in your stock book. Correct the name, add the animal first, or choose above which species new animals are."))
	}
	if utf8.RuneCountInString(shown) > maxName {
		return nil, p.fail(Name, shown, words.Say("The name is longer than {most} letters. Shorten it.", maxName))
	}
	if of.Sex == "" {
		of.Sex = care.SexUnknown
	}
	of.Name, of.row = shown, r.N
	if id != "" {
		of.ID = p.idOf(id)
	} else {
		of.ID = p.book.MakeID("name/" + named(name))
	}
	if err := care.CheckAnimal(&of.Animal, p.now); err != nil {
		return nil, p.ofRule(r, err)
	}
	a := &of
	p.know(a)
	p.added = append(p.added, a)
	return a, nil
}

// ruleColumns are the columns that the rules of the domain name.
var ruleColumns = map[string]Meaning{
	"animal.species": Species, "animal.hatch_date": Hatched, "animal.snout_vent_mm": SnoutVent, "animal.total_length_mm": TotalLength,
	"entry.happen_time": Date, "entry.weigh_in.mass_g": Weight, "entry.offer.prey_g": PreyMass, "entry.offer.result": Result, "entry.shed.stage": ShedMark,
}

// ofRule is a broken rule of the domain as a problem of the row.
func (p *planner) ofRule(r *Row, err error) error {
	var e *care.Error
	if !errors.As(err, &e) {
		return err
	}
	column := -1
	if len(e.Fields) > 0 {
		if m, ok := ruleColumns[e.Fields[0].Field]; ok {
			column = p.column(m)
		}
	}
	return &rowProblem{column, r.cell(column).Text, e.Text}
}

// compare says where a row differs from what is known of its animal, which
// stays; what another row of the table left open is filled in.
func (p *planner) compare(r *Row, a *animal, of animal) error {
	differs := func(m Meaning, had, now string) error {
		if now == "" || had == now {
			return nil
		}
		shown := words.AsIs(had)
		switch s, listed := snake.ByID(had); {
		case m == Sex:
			shown = words.Say(string(care.Sex(had)))
		case m == Species && listed:
			shown = words.Say(s.Common)
		}
		if !a.known {
			return p.fail(m, now, words.Say("Row {row} says “{had}” of the same animal. Put one of them right, or give the animals different names.", a.row, shown))
		}
		key := a.ID + "/" + string(m)
		if !p.said[key] {
			text := words.Say("{name} is in your stock book with “{had}” here. The stock book stays as it is.", a.Name, shown)
			if p.said[key] = true; had == "" {
				text = words.Say("{name} is in your stock book with nothing here. The stock book stays as it is.", a.Name)
			}
			p.say(r.N, p.column(m), now, text, true)
		}
		return nil
	}
	day := func(t *time.Time) string {
		if t == nil {
			return ""
		}
		return t.Format(time.DateOnly)
	}
	mm := func(v care.Millimetres) string {
		if v == 0 {
			return ""
		}
		return plain(float64(v))
	}
	sex := func(s care.Sex) string {
		if s == care.SexUnknown {
			return ""
		}
		return string(s)
	}
	if !a.known {
		if a.Hatched == nil {
			a.Hatched = of.Hatched
		}
		if len(a.Genes) == 0 {
			a.Genes = of.Genes
		}
		for _, f := range []struct{ to, from *string }{{&a.Clutch, &of.Clutch}, {&a.Place, &of.Place}, {&a.dam, &of.dam}, {&a.sire, &of.sire}, {&a.Note, &of.Note}} {
			if *f.to == "" {
				*f.to = *f.from
			}
		}
		if sex(a.Sex) == "" && of.Sex != "" {
			a.Sex = of.Sex
		}
		if a.SnoutVent == 0 {
			a.SnoutVent = of.SnoutVent
		}
		if a.TotalLength == 0 {
			a.TotalLength = of.TotalLength
		}
	}
	return errors.Join(
		differs(Species, a.Species, of.Species),
		differs(Sex, sex(a.Sex), sex(of.Sex)),
		differs(Hatched, day(a.Hatched), day(of.Hatched)),
		differs(Genes, strings.Join(a.Genes, ", "), strings.Join(of.Genes, ", ")),
		differs(Clutch, a.Clutch, of.Clutch),
		differs(Place, a.Place, of.Place),
		differs(SnoutVent, mm(a.SnoutVent), mm(of.SnoutVent)),
		differs(TotalLength, mm(a.TotalLength), mm(of.TotalLength)),
	)
}

// parents finds the parents of new animals, and puts the animals in an order in
// which each stands after its parents.
func (p *planner) parents() {
	for _, a := range p.added {
		a.MotherID = p.parent(a, Dam, a.dam, care.Male)
		a.FatherID = p.parent(a, Sire, a.sire, care.Female)
	}
	var put func(a *animal)
	put = func(a *animal) {
		a.order = 1
		for _, parent := range []struct {
			id *string
			m  Meaning
		}{{&a.MotherID, Dam}, {&a.FatherID, Sire}} {
			of := p.byID[*parent.id]
			switch {
			case of == nil || of.known || of.order == 2:
			case of.order == 1:
				p.say(a.row, p.column(parent.m), of.Name, words.Say("An animal cannot be its own ancestor. This parent is left out."), true)
				*parent.id = ""
			default:
				put(of)
			}
		}
		a.order = 2
		p.plan.Animals = append(p.plan.Animals, Addition{a.row, a.Animal})
	}
	for _, a := range p.added {
		if a.order == 0 {
			put(a)
		}
	}
}

// parent is the id of a parent that a row names. One that is not there stays in
// the note, so that it is not lost.
func (p *planner) parent(a *animal, m Meaning, name string, not care.Sex) string {
	if name == "" {
		return ""
	}
	var why words.Text
	found, err := p.find("", name)
	switch {
	case err != nil:
		why = words.Say("Several animals have this name. It is kept in the note.")
	case found == nil:
		why = words.Say("There is no such animal, here or in your stock book. It is kept in the note.")
	case found.ID == a.ID:
		why = words.Say("An animal cannot be its own parent. It is kept in the note.")
	case found.Sex == not:
		why = words.Say("{name} is {sex}. It is kept in the note.", found.Name, words.Say(string(found.Sex)))
	default:
		return found.ID
	}
	p.say(a.row, p.column(m), name, why, true)
	a.Note = paragraphs(a.Note, p.heading(m)+": "+short(name))
	return ""
}

// date reads a cell in the column's order.
func (p *planner) date(c Cell, m Meaning, order Order) (date, error) {
	readings, ok := readDate(c, p.t.From1904, p.now)
	if !ok || len(readings) == 0 {
		return date{}, p.fail(m, c.Text, words.Say("This is not a date. Write it like 2026-05-31."))
	}
	if d, ok := readings[Undecided]; ok {
		return d, nil
	}
	d, ok := readings[order]
	switch {
	case ok:
		return d, nil
	case order != Undecided:
		return d, p.fail(m, c.Text, words.Say("This is not a date in the order that the column has. Write it like 2026-05-31."))
	}
	for _, d := range readings { // asked about above; any will do to look on
		return d, nil
	}
	return date{}, nil
}

// instant is when something happened. A day without an hour is its noon in the
// breeder's zone, or now when that is still to come today.
func (p *planner) instant(d date, clock time.Duration, clocked bool) (at time.Time, dayOnly bool) {
	if d.exact {
		return care.Instant(d.at), false
	}
	y, m, day := d.at.Date()
	if clocked || d.timed {
		if clocked {
			d.at = time.Date(y, m, day, 0, 0, 0, 0, time.UTC).Add(clock)
		}
		return care.Instant(time.Date(y, m, day, d.at.Hour(), d.at.Minute(), d.at.Second(), d.at.Nanosecond(), p.book.Zone)), false
	}
	at = time.Date(y, m, day, 12, 0, 0, 0, p.book.Zone)
	if today := p.now.In(p.book.Zone); at.After(p.now) && today.YearDay() == at.YearDay() && today.Year() == y {
		at = p.now.Truncate(time.Minute)
	}
	return care.Instant(at), true
}

func (p *planner) measure(c Cell, m Meaning, mass bool, most float64) (float64, error) {
	i := p.column(m)
	v, ok := readMeasure(c, p.m.Columns[i].Unit, p.m.Decimal, mass)
	if !ok && p.m.Decimal == DecimalOpen {
		v, ok = readMeasure(c, p.m.Columns[i].Unit, DecimalPoint, mass) // asked about above
	}
	switch {
	case !ok && mass:
		return 0, p.fail(m, c.Text, words.Say("This is not a weight. Write a number, with g, kg, oz or lb where it is not that of the column."))
	case !ok:
		return 0, p.fail(m, c.Text, words.Say("This is not a length. Write a number, with mm, cm, m, in or ft where it is not that of the column."))
	case v < 0 || v > most:
		return 0, p.fail(m, c.Text, words.Say("{size} {unit} cannot be right. Check the number and its unit.", words.AsMany(v), map[bool]string{true: "g", false: "mm"}[mass]))
	}
	return v, nil
}

// lines reads what a row logs.
func (p *planner) lines(r *Row, a *animal) error {
	first := len(p.plan.Lines)
	event := p.own(r, Event).Text
	kind, known := eventWords.find(event)
	if event != "" && !known {
		p.say(r.N, p.column(Event), event, words.Say("The log does not keep this kind of line. The row is left out."), true)
		return nil
	}
	kind, detail, _ := strings.Cut(kind, " ")
	day, hasDay, err := p.day(r)
	if err != nil {
		return err
	}
	dated := func(m Meaning, body care.Body) error {
		if !hasDay && p.column(Date) >= 0 {
			return p.fail(Date, "", words.Say("The date is missing. Fill it in."))
		}
		if !hasDay {
			if p.undated = true; p.m.UndatedOn == "" || p.m.UndatedOn == LeftOut {
				return nil
			}
			on, err := time.Parse(time.DateOnly, p.m.UndatedOn)
			if err != nil {
				return p.fail(m, p.m.UndatedOn, words.Say("The day for what has no date is not a date. Write it like 2026-05-31."))
			}
			day = date{at: on}
		}
		return p.log(r, a, m, p.column(m), day, body)
	}
	if c := p.own(r, Weight); c.Text != "" {
		switch {
		case kind != "" && kind != string(care.KindWeighIn):
			p.say(r.N, p.column(Weight), c.Text, words.Say("The row is no weigh-in ({kind}). Its weight is left out.", event), true)
		default:
			g, err := p.measure(c, Weight, true, 200_000)
			if err == nil {
				err = dated(Weight, care.WeighIn{Mass: care.Grams(g)})
			}
			if err != nil {
				return err
			}
		}
	} else if kind == string(care.KindWeighIn) {
		return p.fail(Weight, "", words.Say("The weight is missing. Fill it in."))
	}
	for _, read := range []func(*Row, string, string) (Meaning, care.Body, error){p.offer, p.shed, p.climate, p.sign} {
		m, body, err := read(r, kind, detail)
		if err == nil && body != nil {
			err = dated(m, body)
		}
		if err != nil {
			return err
		}
	}
	if err := p.shedOn(r, a); err != nil {
		return err
	}
	p.weightsOnDays(r, a)
	note, err := p.text(r, Note, maxNote)
	switch {
	case err != nil:
		return err
	case note == "":
	case len(p.plan.Lines) > first:
		p.plan.Lines[first].Note = note
	case !a.known && a.row == r.N:
		a.Note = paragraphs(a.Note, note)
	default:
		p.say(r.N, p.column(Note), note, words.Say("The row logs nothing that this note could go with. The note is left out."), true)
	}
	return nil
}

// day is the day that a row is of.
func (p *planner) day(r *Row) (d date, ok bool, err error) {
	c := p.value(r, Date)
	if c.Text == "" && p.m.FillDown {
		c = p.lastDay
	}
	if c.Text == "" {
		return d, false, nil
	}
	p.lastDay = c
	if d, err = p.date(c, Date, p.m.Columns[p.column(Date)].Order); err != nil {
		return d, false, err
	}
	if h := p.value(r, Time); h.Text != "" && !d.timed {
		clock, ok := readClock(h)
		if !ok {
			return d, false, p.fail(Time, h.Text, words.Say("This is not an hour of the day. Write it like 18:30."))
		}
		d.at, d.timed = d.at.Add(clock), true
	}
	return d, true, nil
}

// log adds a line once it was checked by the rules of the domain.
func (p *planner) log(r *Row, a *animal, m Meaning, column int, d date, body care.Body) error {
	at, dayOnly := p.instant(d, 0, false)
	if err := care.CheckEntry(&care.Entry{HappenedAt: at, Body: body}, p.now); err != nil {
		var bad *rowProblem
		if err = p.ofRule(r, err); errors.As(err, &bad) && bad.column < 0 {
			bad.column, bad.value = column, r.cell(column).Text
		}
		return err
	}
	p.plan.Lines = append(p.plan.Lines, Line{Row: r.N, Column: column, AnimalID: a.ID, At: at, DayOnly: dayOnly, Body: body})
	return nil
}

// weightsOnDays reads the weights whose heading is their date. What is wrong
// with one leaves out that one.
func (p *planner) weightsOnDays(r *Row, a *animal) {
	for i, col := range p.m.Columns {
		c := r.cell(i)
		if col.Meaning != WeightOn || isBlank(c.Text) || c.Spread {
			continue
		}
		d, err := p.date(dayOfHeading(p.headings[i]), WeightOn, col.Order)
		if err == nil {
			g, ok := readMeasure(c, col.Unit, p.m.Decimal, true)
			if !ok && p.m.Decimal == DecimalOpen {
				g, ok = readMeasure(c, col.Unit, DecimalPoint, true)
			}
			if err = p.log(r, a, WeightOn, i, d, care.WeighIn{Mass: care.Grams(g)}); !ok {
				p.plan.Lines = slices.DeleteFunc(p.plan.Lines, func(l Line) bool { return l.Row == r.N && l.Column == i })
				err = &rowProblem{i, c.Text, words.Say("This is not a weight. Write a number. It alone is left out.")}
			}
		}
		var bad *rowProblem
		if errors.As(err, &bad) {
			p.say(r.N, i, c.Text, bad.text, false)
		}
	}
}

func (p *planner) offer(r *Row, kind, detail string) (Meaning, care.Body, error) {
	result, prey, state, size := p.own(r, Result), p.own(r, Prey), p.own(r, PreyState), p.own(r, PreyMass)
	m := Result
	for _, has := range []Meaning{Result, Prey, PreyMass, PreyState} {
		if p.own(r, has).Text != "" {
			m = has
			break
		}
	}
	if kind != string(care.KindOffer) && (kind != "" || result.Text+prey.Text+state.Text+size.Text == "") {
		return m, nil, nil
	}
	if m == Result && result.Text == "" {
		m = Event
	}
	var o care.Offer
	word, ok := detail, true
	if result.Text != "" {
		if word, ok = resultWords.find(result.Text); !ok {
			return m, nil, p.fail(Result, result.Text, words.Say("Write how the feeding ended: eaten, refused, struck or regurgitated."))
		}
		if fold(p.headings[p.column(Result)].Text) == "refused" && (word == "eaten" || word == "refused") { // "refused: yes"
			word = map[string]string{"eaten": "refused", "refused": "eaten"}[word]
			if w := fold(result.Text); w == "refused" || w == "eaten" {
				word = w
			}
		}
	}
	if o.Result = care.OfferResult(word); word == "" {
		p.blank = true
		if p.m.BlankResult != string(care.Eaten) {
			return m, nil, nil
		}
		o.Result = care.Eaten
	}
	if size.Text != "" {
		g, err := p.measure(size, PreyMass, true, maxPreyMass)
		if err != nil {
			return m, nil, err
		}
		o.PreyMass = care.Grams(g)
	}
	if state.Text != "" {
		word, ok := stateWords.find(state.Text)
		if !ok {
			return m, nil, p.fail(PreyState, state.Text, words.Say("Write how it was offered: thawed, prekilled or live."))
		}
		o.PreyState = care.PreyState(word)
	}
	if o.Prey = prey.Text; utf8.RuneCountInString(o.Prey) > maxPrey {
		return m, nil, p.fail(Prey, prey.Text, words.Say("The prey's name is longer than {most} letters. Shorten it.", maxPrey))
	}
	return m, o, nil
}

func (p *planner) shed(r *Row, kind, _ string) (Meaning, care.Body, error) {
	c := p.own(r, ShedMark)
	word := ""
	switch {
	case kind == string(care.Opaque):
		return Event, care.Shed{Stage: care.Opaque}, nil
	case kind != "" && kind != string(care.KindShed):
		return ShedMark, nil, nil
	case c.Text != "":
		var ok bool
		if word, ok = shedWords.find(c.Text); !ok {
			if _, isDate := readDate(c, p.t.From1904, p.now); isDate {
				return ShedMark, nil, nil // see shedOn
			}
			return ShedMark, nil, p.fail(ShedMark, c.Text, words.Say("Write how it went: complete, in pieces, opaque or clear; or the date."))
		}
	case kind == string(care.KindShed):
		return Event, care.Shed{Stage: care.ShedDone}, nil
	}
	whole, pieces := true, false
	switch word {
	case "shed":
		return ShedMark, care.Shed{Stage: care.ShedDone}, nil
	case "shed whole":
		return ShedMark, care.Shed{Stage: care.ShedDone, Complete: &whole}, nil
	case "shed pieces":
		return ShedMark, care.Shed{Stage: care.ShedDone, Complete: &pieces}, nil
	case "opaque", "clear":
		return ShedMark, care.Shed{Stage: care.ShedStage(word)}, nil
	}
	return ShedMark, nil, nil
}

// shedOn reads a shed that is given by its date.
func (p *planner) shedOn(r *Row, a *animal) error {
	c := p.own(r, ShedMark)
	if _, isWord := shedWords.find(c.Text); isWord || c.Text == "" {
		return nil
	}
	if _, isDate := readDate(c, p.t.From1904, p.now); !isDate {
		return nil
	}
	d, err := p.date(c, ShedMark, p.m.Columns[p.column(ShedMark)].Order)
	if err != nil {
		return err
	}
	return p.log(r, a, ShedMark, p.column(ShedMark), d, care.Shed{Stage: care.ShedDone})
}

func (p *planner) climate(r *Row, kind, _ string) (Meaning, care.Body, error) {
	if kind != "" && kind != string(care.KindClimate) {
		return Warm, nil, nil
	}
	var b care.ClimateReading
	first := Ignored
	read := func(m Meaning, low, high float64) (*float64, error) {
		c := p.own(r, m)
		if c.Text == "" {
			return nil, nil
		}
		if first == Ignored {
			first = m
		}
		v := c.Num
		if c.Kind != Number {
			var ok bool
			if v, ok = readNumber(strings.TrimRight(c.Text, " °C%"), p.m.Decimal); !ok {
				return nil, p.fail(m, c.Text, words.Say("This is not a number. Write it like 31.5."))
			}
		}
		if v < low || v > high {
			return nil, p.fail(m, c.Text, words.Say("{value} cannot be right. Check the number; temperatures are in °C.", words.AsMany(v)))
		}
		return &v, nil
	}
	for _, t := range []struct {
		m  Meaning
		to **care.Celsius
		hi float64
	}{{Warm, &b.Warm, warmest}, {Cool, &b.Cool, warmest}, {Night, &b.Night, warmest}, {Surface, &b.Surface, warmestSurface}} {
		v, err := read(t.m, coldest, t.hi)
		if err != nil {
			return t.m, nil, err
		}
		*t.to = (*care.Celsius)(v)
	}
	v, err := read(Humidity, 0, 100)
	if err != nil {
		return Humidity, nil, err
	}
	b.Humidity = (*care.Percent)(v)
	if first == Ignored {
		return Warm, nil, nil
	}
	if c := p.own(r, TakenWith); c.Text != "" {
		switch b.TakenWith = care.TakenWith(fold(c.Text)); b.TakenWith {
		case care.WithUnknown, care.WithProbe, care.WithInfrared, care.WithDial, care.WithStrip:
		default:
			return TakenWith, nil, p.fail(TakenWith, c.Text, words.Say("Write what it was measured with: probe, infrared, dial, strip or unknown."))
		}
	}
	return first, b, nil
}

func (p *planner) sign(r *Row, kind, _ string) (Meaning, care.Body, error) {
	c := p.own(r, Sign)
	if c.Text == "" || kind != "" && kind != string(care.KindSign) {
		return Sign, nil, nil
	}
	code, gone := strings.CutSuffix(c.Text, goneMark)
	if !slices.ContainsFunc(assess.Signs(), func(s assess.SignInfo) bool { return s.Code == code }) {
		return Sign, nil, p.fail(Sign, c.Text, words.Say("This is no code of a sign that the service knows. Leave the column out, or log signs in the app."))
	}
	return Sign, care.Sign{Code: code, Gone: gone}, nil
}

// goneMark follows a sign that was looked for and is not there any more.
const goneMark = " (gone)"

// Content is what tells one thing that was logged from another on the same
// animal and at the same time. Case and space in the prey's name do not matter.
func Content(b care.Body) string {
	if o, ok := b.(care.Offer); ok {
		if o.Prey = named(o.Prey); isBlank(o.Prey) {
			o.Prey = ""
		}
		b = o
	}
	text, err := care.EncodeBody(b)
	if err != nil {
		return ""
	}
	return string(b.Kind()) + string(text)
}
