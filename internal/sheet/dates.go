package sheet

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Order is how the dates of a column are written.
type Order string

// The orders of day, month and year, and the day numbers of spreadsheets. Years,
// months with names and what a workbook marks as a date need none.
const (
	Undecided Order = ""
	DMY       Order = "dmy"
	MDY       Order = "mdy"
	YMD       Order = "ymd"
	Days1900  Order = "days1900"
	Days1904  Order = "days1904"
)

// date is a time as a list gives it, without a zone unless it says one.
type date struct {
	at    time.Time // as if it were UTC, unless exact
	timed bool      // it gives an hour
	exact bool      // it gives a zone
}

var (
	threeNumbers = regexp.MustCompile(`^(\d{1,4})\s*([./\-\s])\s*(\d{1,2})\s*[./\-\s]\s*(\d{1,4})\.?$`)
	eightDigits  = regexp.MustCompile(`^(19|20)(\d\d)(\d\d)(\d\d)$`)
	clockAfter   = regexp.MustCompile(`(?i)^(.*?)[\s,T]+(\d{1,2})[:.h](\d{2})(?:[:.](\d{2})(?:\.\d+)?)?\s*(am|pm|a\.m\.|p\.m\.|uhr|h)?$`)
	dayName      = regexp.MustCompile(`(?i)^\p{L}{2,10}\.?,?\s+(\d.*)$`)
	wordsOfDate  = regexp.MustCompile(`[\s./,\-]+`)
	// partOfDate is a year, or a month with its year: 2024, 05/2024, ca. May 2024.
	partOfDate = regexp.MustCompile(`(?i)^(?:(?:ca|approx|about|early|late|spring|summer|autumn|fall|winter)\.?|~)?\s*(?:\d{1,2}\s*[./-]\s*|\p{L}{3,}\.?\s+)?(?:19|20)\d\d$`)
	ordinal    = regexp.MustCompile(`(?i)^(\d{1,2})(st|nd|rd|th|er|º|°)$`)
)

// months are the names of months in the languages that lists come in, by their
// first letters; longer names are recognised by these.
var months = []string{
	"jan gen ene", "feb fév fev", "mar mär mrz maa mrt", "apr abr avr", "may mai mei mag", "jun juin giu", "jul juil lug",
	"aug aoû aou ago", "sep set", "oct okt ott out", "nov", "dec dez déc dic",
}

// monthOf is 1 to 12 for a month's name, else 0.
func monthOf(word string) int {
	word = strings.ToLower(strings.TrimSuffix(word, "."))
	if len([]rune(word)) < 3 || strings.ContainsAny(word, "0123456789") {
		return 0
	}
	best, long := 0, 0
	for i, names := range months {
		for _, name := range strings.Fields(names) {
			if strings.HasPrefix(word, name) && len(name) > long {
				best, long = i+1, len(name)
			}
		}
	}
	return best
}

// readDate reads one text as a date. One that is written in numbers needs to
// know their order: it is read in all orders that are possible, so that the
// whole column can decide. now is to know the century of a year of two digits.
func readDate(c Cell, from1904 bool, now time.Time) (map[Order]date, bool) {
	any := func(d date) map[Order]date { return map[Order]date{Undecided: d} }
	if c.Kind == Moment {
		at := c.time()
		return any(date{at: at, timed: !at.Equal(at.Truncate(24 * time.Hour))}), true
	}
	text := strings.TrimSpace(c.Text)
	// What programs write, without a look at everything else.
	if len(text) == len(time.DateOnly) && text[4] == '-' {
		if at, err := time.Parse(time.DateOnly, text); err == nil && at.Year() >= 1900 && at.Year() < 2200 {
			return any(date{at: at}), true
		}
	}
	if len(text) >= len("2006-01-02T15:04:05Z") && text[10] == 'T' {
		if at, err := time.Parse(time.RFC3339, text); err == nil {
			return any(date{at: at, timed: true, exact: true}), true
		}
	}
	if m := eightDigits.FindStringSubmatch(text); m != nil {
		return oneDay(m[1]+m[2], m[3], m[4], now)
	}
	if num, err := strconv.ParseFloat(text, 64); err == nil && num >= 14_000 && num < 80_000 { // from 1938 or 1942 on
		out := map[Order]date{}
		for order, old := range map[Order]bool{Days1900: false, Days1904: true} {
			if at, ok := dayNumber(num, old); ok && (c.Kind != Number || old == from1904) {
				out[order] = date{at: at, timed: at.Hour()+at.Minute()+at.Second() > 0}
			}
		}
		if c.Kind == Number { // the workbook says from when it counts
			for _, d := range out {
				return any(d), true
			}
		}
		return out, len(out) > 0
	}
	var clock time.Duration
	timed := false
	if m := clockAfter.FindStringSubmatch(text); m != nil && !threeNumbers.MatchString(text) {
		h, _ := strconv.Atoi(m[2])
		minute, _ := strconv.Atoi(m[3])
		s, _ := strconv.Atoi(m[4])
		switch half := strings.ToLower(strings.ReplaceAll(m[5], ".", "")); {
		case half == "pm" && h < 12:
			h += 12
		case half == "am" && h == 12:
			h = 0
		}
		if h > 23 || minute > 59 || s > 59 {
			return nil, false
		}
		text, timed = m[1], true
		clock = time.Duration(h)*time.Hour + time.Duration(minute)*time.Minute + time.Duration(s)*time.Second
	}
	days, ok := readDay(text, now)
	for order, d := range days {
		days[order] = date{at: d.at.Add(clock), timed: timed}
	}
	return days, ok
}

// readDay reads a day without an hour.
func readDay(text string, now time.Time) (map[Order]date, bool) {
	text = strings.TrimSpace(text)
	if m := dayName.FindStringSubmatch(text); m != nil && monthOf(strings.Fields(text)[0]) == 0 {
		text = m[1]
	}
	if m := threeNumbers.FindStringSubmatch(text); m != nil {
		a, mark, b, c := m[1], m[2], m[3], m[4]
		if len(a) == 4 {
			return oneDay(a, b, c, now)
		}
		if len(a) > 2 || len(c) == 3 || len(c) == 1 {
			return nil, false
		}
		out := map[Order]date{}
		try := func(order Order, y, m, d string) {
			if at, ok := dayOf(y, m, d, now); ok {
				out[order] = date{at: at}
			}
		}
		try(DMY, c, b, a)
		// Points stand between day, month and year and in no other order, and a year
		// of two digits comes first with dashes only (common practice, no source).
		if mark != "." {
			try(MDY, c, a, b)
			if len(c) <= 2 && mark == "-" {
				try(YMD, a, b, c)
			}
		} else if d, ok := out[DMY]; ok {
			return map[Order]date{Undecided: d}, true
		}
		return out, len(out) > 0
	}
	words := wordsOfDate.Split(strings.Trim(text, " .,"), -1)
	if len(words) == 4 && (words[1] == "de" || words[1] == "of") {
		words = append(words[:1], words[2:]...)
	}
	if len(words) == 5 && words[1] == "de" && words[3] == "de" {
		words = []string{words[0], words[2], words[4]}
	}
	if len(words) != 3 {
		return nil, false
	}
	for i, w := range words {
		if m := ordinal.FindStringSubmatch(w); m != nil {
			words[i] = m[1]
		}
	}
	var y, d string
	month := 0
	switch {
	case monthOf(words[1]) > 0 && len(words[0]) == 4: // 2024 May 3
		y, month, d = words[0], monthOf(words[1]), words[2]
	case monthOf(words[1]) > 0: // 3 May 2024
		d, month, y = words[0], monthOf(words[1]), words[2]
	case monthOf(words[0]) > 0: // May 3, 2024
		month, d, y = monthOf(words[0]), words[1], words[2]
	}
	if month == 0 {
		return nil, false
	}
	return oneDay(y, strconv.Itoa(month), d, now)
}

func oneDay(y, m, d string, now time.Time) (map[Order]date, bool) {
	at, ok := dayOf(y, m, d, now)
	return map[Order]date{Undecided: {at: at}}, ok
}

// firstYear is the first that a year of two digits may mean; no animal of a
// stock book is older (care.CheckAnimal).
const firstYear = 1950

// dayOf is a day that there was. A year of two digits is this century's up to
// next year, else the last one's.
func dayOf(y, m, d string, now time.Time) (time.Time, bool) {
	year, err1 := strconv.Atoi(y)
	month, err2 := strconv.Atoi(m)
	day, err3 := strconv.Atoi(d)
	if err1 != nil || err2 != nil || err3 != nil || len(y) != 2 && len(y) != 4 {
		return time.Time{}, false
	}
	if len(y) == 2 {
		if year += now.Year() / 100 * 100; year > now.Year()+1 {
			year -= 100
		}
		if year < firstYear {
			return time.Time{}, false
		}
	}
	at := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	return at, year >= 1900 && year < 2200 && at.Day() == day && int(at.Month()) == month
}

// dayOfHeading is the day in a heading such as "Weight 3/4/26".
func dayOfHeading(c Cell) Cell {
	if c.Kind != Text {
		return c
	}
	words := strings.Fields(c.Text)
	weight := func(w string) bool {
		m, _ := meaningOf(w)
		_, unit := unitNames[fold(w)]
		return m == Weight || unit
	}
	for len(words) > 1 && weight(words[0]) {
		words = words[1:]
	}
	for len(words) > 1 && weight(words[len(words)-1]) {
		words = words[:len(words)-1]
	}
	return Cell{Text: strings.Join(words, " ")}
}

// decideOrder finds the one order in which all dates of a column are dates. When
// there are several that differ, it gives a text to ask by and what it would
// mean; when there is none, the order that reads the most of them.
func decideOrder(cells []Cell, from1904 bool, now time.Time) (order Order, ask string, choices map[Order]time.Time) {
	fits := map[Order]int{}
	open := 0
	var differing []map[Order]date
	var texts []string
	for _, c := range cells {
		readings, ok := readDate(c, from1904, now)
		if _, sure := readings[Undecided]; !ok || sure {
			continue
		}
		open++
		for o := range readings {
			fits[o]++
		}
		if differ(readings) {
			differing, texts = append(differing, readings), append(texts, c.Text)
		}
	}
	if open == 0 {
		return Undecided, "", nil
	}
	var whole []Order
	best := DMY
	for _, o := range []Order{DMY, MDY, YMD, Days1900, Days1904} {
		if fits[o] == open {
			whole = append(whole, o)
		}
		if fits[o] > fits[best] {
			best = o
		}
	}
	switch {
	case len(whole) == 0: // some row is wrong in any order, and is shown
		whole = nil
		for _, o := range []Order{DMY, MDY, YMD, Days1900, Days1904} {
			if fits[o] == fits[best] {
				whole = append(whole, o)
			}
		}
		if len(whole) == 1 {
			return best, "", nil
		}
	case len(whole) == 1:
		return whole[0], "", nil
	}
	for i, readings := range differing {
		choices = map[Order]time.Time{}
		days := map[time.Time]bool{}
		for _, o := range whole {
			if d, ok := readings[o]; ok {
				choices[o] = d.at
				days[d.at] = true
			}
		}
		if len(days) > 1 {
			return Undecided, texts[i], choices
		}
	}
	return whole[0], "", nil // it makes no difference
}

func differ(readings map[Order]date) bool {
	var first *date
	for _, d := range readings {
		if first == nil {
			first = &d
		} else if !first.at.Equal(d.at) {
			return true
		}
	}
	return false
}

// readClock reads an hour of the day in a column of its own.
func readClock(c Cell) (time.Duration, bool) {
	if c.Kind == Clock {
		return time.Duration(c.Num) * time.Millisecond, true
	}
	if c.Kind == Moment {
		at := c.time()
		return at.Sub(at.Truncate(24 * time.Hour)), true
	}
	d, ok := readDate(Cell{Text: "2000-01-01 " + c.Text}, false, time.Time{})
	if !ok || !d[Undecided].timed {
		return 0, false
	}
	return d[Undecided].at.Sub(d[Undecided].at.Truncate(24 * time.Hour)), true
}
