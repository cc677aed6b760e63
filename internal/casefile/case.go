package casefile

import (
	"strconv"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// Case is one case put together from its lines. The zero value is ready for
// Add; Reset makes it so again and uses its memory again.
type Case struct {
	ID           string
	HandedOverAt time.Time
	Handover     *Handover
	Log          []care.Entry // in order of time

	lines  []int // of Log
	inCase []*bool
	opened int // the line of the handover
	first  int // the first line
	last   time.Time
	byID   map[string]int
}

// Reset forgets all lines.
func (c *Case) Reset() {
	clear(c.Log)
	*c = Case{Log: c.Log[:0], lines: c.lines[:0], inCase: c.inCase[:0], byID: c.byID}
}

// Add takes in the next line, whose number is n. After an error the case is as
// it was before.
func (c *Case) Add(l *Line, n int) error {
	at := l.Entry.HappenedAt
	fail := func(field, format string, args ...any) error {
		e := bad(field, format, args...)
		e.Line = n
		return e
	}
	if c.first > 0 && l.Case != c.ID {
		return fail("case", "is %s among the lines of %s; expected one case at a time", brief(l.Case), brief(c.ID))
	}
	// The handover may stand before the breeder's history, as it is written here.
	if at.Before(c.last) {
		return fail("at", "is %s, earlier than the line of this case before it (%s); expected the lines of a case in order of time", stamp(at), stamp(c.last))
	}
	if h := l.Handover; h != nil {
		if c.Handover != nil {
			return fail("kind", "is handover for the second time in case %s (first in line %d); expected one handover a case", brief(l.Case), c.opened)
		}
		if c.first > 0 {
			c.last = at
		}
		c.Handover, c.HandedOverAt, c.opened = h, at, n
	} else {
		if e, ok := l.Entry.Body.(care.Ended); ok && (c.Handover == nil || at.Before(c.HandedOverAt)) {
			return fail("kind", "is outcome (%s) before the handover; expected it after", e.Outcome)
		}
		c.last = at
		c.Log, c.lines, c.inCase = append(c.Log, l.Entry), append(c.lines, n), append(c.inCase, l.InCase)
	}
	if c.first == 0 {
		c.ID, c.first = l.Case, n
	}
	return nil
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// Opened is the number of the handover line.
func (c *Case) Opened() int { return c.opened }

// Line is the number of the line that the entry with this place in the log was
// on.
func (c *Case) Line(i int) int { return c.lines[i] }

// Done ends the case: it fills in what its lines left open and links
// corrections to what they correct. Who wrote is the breeder up to the
// handover, and of steps and outcomes, and the keeper of all else after it. What
// the breeder wrote of the time up to the handover is history, all else of the
// case. What has no time of coming in came in when it happened.
func (c *Case) Done() error {
	if c.Handover == nil {
		return &Error{Line: c.first, Field: "case", Text: "is " + brief(c.ID) + ", which has no handover line; expected one that can be read"}
	}
	var ids []byte // of lines that have none
	named := false
	for i := range c.Log {
		e := &c.Log[i]
		if e.ReceivedAt.IsZero() {
			e.ReceivedAt = e.HappenedAt
		}
		if e.By == "" {
			e.By = care.KeeperActor
			if k := e.Body.Kind(); !e.HappenedAt.After(c.HandedOverAt) || k == care.KindStep || k == care.KindOutcome {
				e.By = care.BreederOwner
			}
		}
		history := e.By != care.KeeperActor && !e.HappenedAt.After(c.HandedOverAt)
		if c.inCase[i] != nil {
			history = !*c.inCase[i]
		}
		if !history {
			e.CaseID = c.ID
		}
		if named = named || e.ID != "" || e.Replaces != ""; e.ID == "" {
			ids = append(ids, ' ') // so that no line can give it
			ids = strconv.AppendInt(ids, int64(c.lines[i]), 10)
		}
	}
	if len(ids) > 0 {
		all := string(ids)
		for i := range c.Log {
			if c.Log[i].ID == "" {
				end := 1
				for end < len(all) && all[end] != ' ' {
					end++
				}
				c.Log[i].ID, all = all[:end], all[end:]
			}
		}
	}
	if named {
		return c.link()
	}
	return nil
}

// link says of each entry that was corrected by which one.
func (c *Case) link() error {
	if c.byID == nil {
		c.byID = map[string]int{}
	}
	clear(c.byID)
	for i := range c.Log {
		id := c.Log[i].ID
		if _, twice := c.byID[id]; twice {
			return &Error{Line: c.lines[i], Field: "id", Text: "is " + brief(id) + " for the second time in this case; expected an id of its own"}
		}
		c.byID[id] = i
	}
	for i := range c.Log {
		e := &c.Log[i]
		if e.Replaces == "" {
			continue
		}
		fail := func(text string) error {
			return &Error{Line: c.lines[i], Field: "replaces", Text: "is " + brief(e.Replaces) + ", " + text}
		}
		j, ok := c.byID[e.Replaces]
		if !ok {
			return fail("which this case does not have; expected the id of one of its lines")
		}
		old := &c.Log[j]
		if k := e.Body.Kind(); k != care.KindWithdrawal && k != old.Body.Kind() || old.Body.Kind() == care.KindOutcome || old.Body.Kind() == care.KindWithdrawal {
			return fail("which is of another kind or cannot be corrected; expected a line of the same kind")
		}
		if old.ReplacedBy != "" {
			return fail("which was corrected by another line already; expected the id of that one")
		}
		old.ReplacedBy = e.ID
	}
	return nil
}

// End is up to when the case is followed: the time that its handover line
// gives, else its last event.
func (c *Case) End() time.Time {
	end := c.HandedOverAt
	if !c.Handover.Until.IsZero() {
		return c.Handover.Until
	}
	for i := range c.Log {
		for _, t := range [...]time.Time{c.Log[i].HappenedAt, c.Log[i].ReceivedAt} {
			if t.After(end) {
				end = t
			}
		}
	}
	return end
}

// Lines are the lines of a case: what Add and Done made of lines, or what the
// program holds of a case. What is as it would be without saying is left out.
func (c *Case) Lines() []Line {
	lines := []Line{{Case: c.ID, Handover: c.Handover, Entry: care.Entry{HappenedAt: c.HandedOverAt}}}
	for _, e := range c.Log {
		l := Line{Case: c.ID, Entry: e}
		if history := e.By != care.KeeperActor && !e.HappenedAt.After(c.HandedOverAt); history != (e.CaseID == "") {
			in := e.CaseID != ""
			l.InCase = &in
		}
		if l.Entry.ID != "" && l.Entry.ID[0] == ' ' {
			l.Entry.ID = ""
		}
		lines = append(lines, l)
	}
	return lines
}

// MassAtHandover is the last weight on record then, g; 0 when there is none.
func (c *Case) MassAtHandover() (mass care.Grams) {
	for i := range c.Log {
		e := &c.Log[i]
		if e.HappenedAt.After(c.HandedOverAt) {
			break
		}
		if w, ok := e.Body.(care.WeighIn); ok && e.Current() {
			mass = w.Mass
		}
	}
	return mass
}

// Learned is what the breeder's other animals of the species teach of this one
// at its handover.
func (c *Case) Learned(others *assess.Flock) care.Learned {
	a := &c.Handover.Animal
	if a.BreederID == "" {
		return care.Learned{}
	}
	sp, _ := snake.ByID(a.Species)
	return others.Prior(&sp, sp.Age(a.Hatched, float64(c.MassAtHandover()), c.HandedOverAt))
}

// Subject is what the assessment needs besides the log; learned is taken where
// the handover line has no prior of its own.
func (c *Case) Subject(learned care.Learned) assess.Subject {
	if c.Handover.Learned.Strength > 0 {
		learned = c.Handover.Learned
	}
	return assess.Subject{Animal: c.Handover.Animal, HandedOverAt: c.HandedOverAt, Learned: learned, Hemi: c.Handover.Hemi, Thresholds: c.Handover.Thresholds, Unclaimed: c.Handover.Unclaimed}
}
