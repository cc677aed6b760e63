package sheet

import (
	"slices"
	"strconv"
	"time"

	"warmhand/internal/words"
)

// Column is what one column means, and how it is written.
type Column struct {
	Meaning Meaning `json:"meaning,omitempty"`
	Unit    Unit    `json:"unit,omitempty"`  // of weights and lengths
	Order   Order   `json:"order,omitempty"` // of dates; of WeightOn, of its heading
}

// Mapping says how a table is to be read. Guess fills in what is not said.
type Mapping struct {
	Sheet string `json:"sheet,omitempty"`
	// HeadingRow is the number of the row with the headings; NoHeadings: there is
	// none; 0: not said.
	HeadingRow int      `json:"heading_row,omitempty"`
	Columns    []Column `json:"columns,omitempty"`
	Decimal    Decimal  `json:"decimal,omitempty"`
	// Species is for new animals whose row names none.
	Species string `json:"species,omitempty"`
	// OtherSpecies takes species that are not in the table as care.OtherSnake.
	OtherSpecies bool `json:"other_species,omitempty"`
	// FillDown takes an empty animal, or date, for the one in the row above.
	FillDown bool `json:"fill_down,omitempty"`
	// BlankResult says what a feeding means that does not say how it ended:
	// eaten, or LeftOut.
	BlankResult string `json:"blank_result,omitempty"`
	// UndatedOn is the day of what a table without dates logs, 2006-01-02, or
	// LeftOut.
	UndatedOn string `json:"undated_on,omitempty"`
}

// LeftOut is the answer that something is not brought in.
const LeftOut = "out"

// NoHeadings is the HeadingRow of a table without headings.
const NoHeadings = -1

// Question is something that the table leaves open and the person has to say.
type Question struct {
	Code    string // date_order, decimal, undated_on, blank_result
	Column  int    // -1: of the whole table
	Text    words.Text
	Choices []Choice
}

// Choice is one answer to a question.
type Choice struct {
	Code  string
	Label words.Text
}

// Guess fills in what m leaves open, as far as the table decides it, and asks
// about the rest. now is today, in the time of the table.
func (t *Table) Guess(m Mapping, now time.Time) (Mapping, []Question) {
	m.Sheet = t.Sheet
	if m.HeadingRow == 0 {
		m.HeadingRow = t.headingRow()
	}
	headings := t.Headings(m.HeadingRow)
	if len(m.Columns) != t.Width {
		m.Columns = t.guessMeanings(headings, m.HeadingRow, now)
	} else {
		m.Columns = slices.Clone(m.Columns)
	}
	rows := t.data(m.HeadingRow)
	var questions []Question
	var numbers []string
	for i := range m.Columns {
		c := &m.Columns[i]
		var cells []Cell
		switch c.Meaning {
		case Date, Hatched:
			cells = column(rows, i)
		case ShedMark: // a shed's mark may be its date
			cells = slices.DeleteFunc(column(rows, i), func(c Cell) bool { _, word := shedWords.find(c.Text); return word })
		}
		if cells != nil && c.Order == Undecided {
			order, ask, choices := decideOrder(cells, t.From1904, now)
			if c.Order = order; ask != "" {
				questions = append(questions, askOrder(i, Title(headings, i), ask, choices))
			}
		}
		if c.Meaning == Weight || c.Meaning == WeightOn || c.Meaning == PreyMass || c.Meaning == SnoutVent || c.Meaning == TotalLength {
			mass := c.Meaning != SnoutVent && c.Meaning != TotalLength
			if c.Unit == NoUnit {
				c.Unit = unitIn(headings[i].Text, mass)
			}
			if c.Unit == NoUnit && mass {
				c.Unit = Gram
			} else if c.Unit == NoUnit {
				c.Unit = Millimetre
			}
		}
		switch c.Meaning {
		case Weight, WeightOn, PreyMass, SnoutVent, TotalLength, Warm, Cool, Night, Surface, Humidity:
			for _, cell := range column(rows, i) {
				if cell.Kind == Text {
					numbers = append(numbers, cell.Text)
				}
			}
		}
	}
	t.headingOrders(&m, headings, now, &questions)
	switch mark, ask := decideDecimal(numbers); {
	case mark != DecimalOpen: // whatever was said before these columns meant numbers
		m.Decimal = mark
	case m.Decimal != DecimalOpen:
	case ask == "":
		m.Decimal = DecimalPoint
	default:
		point, _ := readNumber(ask, DecimalPoint)
		comma, _ := readNumber(ask, DecimalComma)
		questions = append(questions, Question{"decimal", -1, words.Say("How much is {number}?", ask),
			[]Choice{{string(DecimalPoint), words.Say("{number}", words.AsMany(point))}, {string(DecimalComma), words.Say("{number}", words.AsMany(comma))}}})
	}
	return m, questions
}

// headingOrders decides the order of dates in headings from all of them.
func (t *Table) headingOrders(m *Mapping, headings []Cell, now time.Time, questions *[]Question) {
	var cells []Cell
	said := Undecided
	for i, c := range m.Columns {
		if c.Meaning == WeightOn {
			cells = append(cells, dayOfHeading(headings[i]))
			if _, sure := firstReading(dayOfHeading(headings[i]), t.From1904, now); !sure && c.Order != Undecided {
				said = c.Order
			}
		}
	}
	if len(cells) == 0 {
		return
	}
	order, ask, choices := decideOrder(cells, t.From1904, now)
	if ask == "" {
		said = order
	}
	first := -1
	for i := range m.Columns {
		if m.Columns[i].Meaning == WeightOn {
			if first < 0 {
				first = i
			}
			if m.Columns[i].Order == Undecided || ask == "" {
				m.Columns[i].Order = said
			}
		}
	}
	if ask != "" && said == Undecided {
		*questions = append(*questions, askOrder(first, words.Say("The headings"), ask, choices))
	}
}

func firstReading(c Cell, from1904 bool, now time.Time) (date, bool) {
	readings, _ := readDate(c, from1904, now)
	d, sure := readings[Undecided]
	return d, sure
}

func askOrder(column int, title words.Text, text string, choices map[Order]time.Time) Question {
	q := Question{Code: "date_order", Column: column, Text: words.Say("{column}: which day is {text}?", title, text)}
	for _, o := range []Order{DMY, MDY, YMD, Days1900, Days1904} {
		if at, ok := choices[o]; ok {
			q.Choices = append(q.Choices, Choice{string(o), words.Say("{day}", words.Date{At: at, As: words.Day})})
		}
	}
	return q
}

// headingRow is the row among the first that holds the most known headings; the
// first row with more than one text when none is known.
func (t *Table) headingRow() int {
	best, most := 0, 0
	for i := range t.Rows[:min(len(t.Rows), 20)] {
		r := &t.Rows[i]
		score := 0
		for _, c := range r.Cells {
			if m, sure := meaningOf(c.Text); sure {
				score += 3
			} else if m != Ignored {
				score++
			}
		}
		if score > most {
			best, most = r.N, score
		}
	}
	if most >= 3 {
		return best
	}
	for i := range t.Rows[:min(len(t.Rows), 20)] {
		texts := 0
		for _, c := range t.Rows[i].Cells {
			if c.Text != "" {
				texts++
			}
		}
		if texts > 1 {
			return t.Rows[i].N
		}
	}
	return t.Rows[0].N
}

// Headings are the cells of the heading row, one for each column.
func (t *Table) Headings(row int) []Cell {
	out := make([]Cell, t.Width)
	for i := range t.Rows {
		if t.Rows[i].N == row {
			copy(out, t.Rows[i].Cells)
		}
	}
	return out
}

// Title is how a column is called: its heading, else its letter.
func Title(headings []Cell, i int) words.Text {
	if i < len(headings) && headings[i].Text != "" {
		return words.AsIs(headings[i].Text)
	}
	return words.Say("Column {letter}", letters(i))
}

// letters is a column as spreadsheets name it: A, B, ... Z, AA.
func letters(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return letters(i/26-1) + string(rune('A'+i%26))
}

// data are the rows below the headings.
func (t *Table) data(headingRow int) []Row {
	for i := range t.Rows {
		if t.Rows[i].N > headingRow {
			return t.Rows[i:]
		}
	}
	return nil
}

// Data are the rows below the headings.
func (t *Table) Data(m Mapping) []Row { return t.data(m.HeadingRow) }

func column(rows []Row, i int) (cells []Cell) {
	for r := range rows {
		if c := rows[r].cell(i); c.Text != "" && c.Kind != Fault {
			cells = append(cells, c)
		}
	}
	return cells
}

// guessMeanings reads the headings, and looks into columns whose heading says
// nothing. Each meaning is given to one column.
func (t *Table) guessMeanings(headings []Cell, headingRow int, now time.Time) []Column {
	columns := make([]Column, t.Width)
	taken := map[Meaning]bool{}
	give := func(i int, m Meaning) {
		if m != Ignored && (m == WeightOn || !taken[m]) {
			columns[i].Meaning, taken[m] = m, true
		}
	}
	rows := t.data(headingRow)
	days := 0
	isDay := make([]bool, t.Width)
	for i, h := range headings {
		if isDay[i] = t.isDay(h, now); isDay[i] {
			days++
		}
	}
	for i := range headings {
		weights := slices.DeleteFunc(column(rows, i), func(c Cell) bool { return isBlank(c.Text) })
		if isDay[i] && days > 1 && share(weights, func(c Cell) bool { _, ok := readMeasure(c, Gram, DecimalPoint, true); return ok }) >= .5 {
			give(i, WeightOn)
		}
	}
	for _, wanted := range []bool{true, false} {
		for i, h := range headings {
			if m, sure := meaningOf(h.Text); columns[i].Meaning == Ignored && h.Kind == Text && sure == wanted {
				give(i, m)
			}
		}
	}
	for i := range headings {
		cells := column(rows, i)
		if columns[i].Meaning != Ignored || len(cells) == 0 {
			continue
		}
		switch {
		case share(cells, func(c Cell) bool { return speciesOf(c.Text) != "" }) > .7:
			give(i, Species)
		case headings[i].Text == "" && share(cells, func(c Cell) bool { _, ok := sexOf(c); return ok }) > .9:
			give(i, Sex)
		}
	}
	t.settle(columns, rows, now)
	return columns
}

// isDay reports whether a heading is a day.
func (t *Table) isDay(heading Cell, now time.Time) bool {
	readings, ok := readDate(dayOfHeading(heading), t.From1904, now)
	return ok && len(readings) > 0 && (heading.Kind == Moment || len(heading.Text) > 4)
}

// settle decides between meanings that one heading is used for.
func (t *Table) settle(columns []Column, rows []Row, now time.Time) {
	at := func(m Meaning) int {
		return slices.IndexFunc(columns, func(c Column) bool { return c.Meaning == m })
	}
	isDate := func(c Cell) bool { d, ok := readDate(c, t.From1904, now); return ok && len(d) > 0 }
	// A list with numbers and no names: the number is what the animal is called,
	// and the tub where there is no number.
	for _, m := range []Meaning{AnimalID, Place} {
		if i := at(m); i >= 0 && at(Name) < 0 {
			columns[i].Meaning = Name
		}
	}
	// "Hatch" and "Last fed" may be marks and not dates; "Shed" may be a date.
	for i := range columns {
		cells := column(rows, i)
		switch columns[i].Meaning {
		case Date:
			if len(cells) > 0 && share(cells, isDate) < .3 {
				columns[i].Meaning = Ignored
			}
		case Result: // "Fed" may be a date
			if len(cells) > 0 && share(cells, isDate) > .5 {
				if columns[i].Meaning = Ignored; at(Date) < 0 {
					columns[i].Meaning = Date
				}
			}
		case Hatched:
			if len(cells) > 0 && share(cells, isDate) == 0 {
				columns[i].Meaning = Ignored
			}
		case Time: // an hour in a column of its own beside a date
			if at(Date) < 0 && share(cells, isDate) > .5 {
				columns[i].Meaning = Date
			}
		case PreyMass: // "Size" may be a word: pup, weaned
			if share(cells, func(c Cell) bool { _, ok := readMeasure(c, Gram, DecimalPoint, true); return ok }) < .5 && at(Prey) >= 0 {
				columns[i].Meaning = Ignored
			}
		case Event: // "Type" may be the species, or what prey
			if share(cells, func(c Cell) bool { _, ok := eventWords.find(c.Text); return ok }) < .3 {
				columns[i].Meaning = Ignored
				if share(cells, func(c Cell) bool { return speciesOf(c.Text) != "" }) > .7 && at(Species) < 0 {
					columns[i].Meaning = Species
				}
			}
		}
	}
	// Notes belong to the animal when the rows log nothing.
	if n := at(Note); n >= 0 && at(AnimalNote) < 0 && at(Date) < 0 && at(Event) < 0 {
		columns[n].Meaning = AnimalNote
	}
	// Without a date, what is eaten and shed is a habit and no log.
	if at(Date) < 0 {
		for i, c := range columns {
			switch c.Meaning {
			case Prey, PreyState, PreyMass, Result, Event, Time:
				columns[i].Meaning = Ignored
			case ShedMark:
				if share(column(rows, i), isDate) < .5 {
					columns[i].Meaning = Ignored
				}
			}
		}
	}
}

// share is how many of the first cells are something.
func share(cells []Cell, is func(Cell) bool) float64 {
	n := 0
	cells = cells[:min(len(cells), 300)]
	for _, c := range cells {
		if is(c) {
			n++
		}
	}
	return float64(n) / float64(max(1, len(cells)))
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
