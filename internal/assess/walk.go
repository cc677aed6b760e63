package assess

import (
	"slices"
	"time"

	"warmhand/internal/care"
)

// Walker assesses one case at several times, one after the other, in a single
// walk over its log, and at each with what was known by then: an entry counts
// from when it had both happened and come in, until a correction of it came in.
// The zero value is ready for Reset.
type Walker struct {
	s   *Subject
	log []care.Entry

	// from and until are when each entry counts; empty when all count from when
	// they happened. turns are the times at which an entry comes late or goes,
	// in order; turned of them are behind.
	from, until []time.Time
	turns       []turn
	turned      int
	byID        map[string]int
	ends        []int // the entries that end or reopen the case

	// past is the state this morning: every day before today is over, and of
	// today nothing was taken in. It holds the first taken entries of the log.
	past  engine
	taken int
	whole bool      // past was begun by somebody who knew all of the history
	known time.Time // what past knows of is what was known then
	// today is a copy of past with today's entries. Without any, past itself is
	// looked at, and evening is what the look changed.
	today   engine
	evening struct {
		levels, lost ladder
		shown        bool
	}
	at      *engine       // as of the last step: past or today; nil before the first
	last    Numbers       // of that step
	entries []*care.Entry // that count, of one day
}

// turn is a time at which an entry begins or ceases to count.
type turn struct {
	at time.Time
	i  int
}

// Reset begins a walk over another log, ordered by HappenedAt; subject and log
// must stay as they are during the walk. Memory is used again.
func (w *Walker) Reset(s *Subject, log []care.Entry) {
	w.s, w.at = s, nil
	w.read(log)
}

// Grow goes on with a log that is the walk's so far, with entries added to it.
// What came in for a day that was walked already makes the walk begin again at
// the next step; the day's own entries do not.
func (w *Walker) Grow(log []care.Entry) {
	if n := w.taken; len(log) < n || len(log) > n && w.gone(log[n].HappenedAt) {
		w.at = nil
	}
	for i := 0; i < w.taken && w.at != nil; i++ {
		if was := &w.log[i]; was.ID != log[i].ID || was.ReplacedBy != log[i].ReplacedBy {
			w.at = nil
		}
	}
	w.read(log)
	for w.turned = 0; w.turned < len(w.turns) && !w.turns[w.turned].at.After(w.known); w.turned++ {
	}
}

// gone reports whether an instant is of a day that past has behind it.
func (w *Walker) gone(at time.Time) bool {
	if w.past.day == 0 {
		return !at.After(w.past.today) // the breeder's time goes up to the handover and with it
	}
	return at.Before(w.past.today)
}

// read finds in the log when each entry counts.
func (w *Walker) read(log []care.Entry) {
	w.log = log
	w.from, w.until, w.turns, w.ends = w.from[:0], w.until[:0], w.turns[:0], w.ends[:0]
	plain := true
	for i := range log {
		x := &log[i]
		plain = plain && x.ReplacedBy == "" && !x.ReceivedAt.After(x.HappenedAt)
		if _, ok := x.Body.(care.Ended); ok {
			w.ends = append(w.ends, i)
		}
	}
	if plain {
		return
	}
	if w.byID == nil {
		w.byID = map[string]int{}
	}
	clear(w.byID)
	for i := range log {
		x := &log[i]
		w.byID[x.ID] = i
		w.from = append(w.from, later(x.HappenedAt, x.ReceivedAt))
		w.until = append(w.until, never)
	}
	for i := range log {
		x := &log[i]
		if w.from[i].After(x.HappenedAt) {
			w.turns = append(w.turns, turn{w.from[i], i})
		}
		if x.ReplacedBy == "" {
			continue
		}
		if by, ok := w.byID[x.ReplacedBy]; ok {
			w.until[i] = w.from[by]
			w.turns = append(w.turns, turn{w.from[by], i})
		} else {
			w.until[i] = time.Time{} // by what is not in this log: gone from the start
		}
	}
	slices.SortFunc(w.turns, func(a, b turn) int { return a.at.Compare(b.at) })
}

// counts reports whether an entry counts for somebody who knows what was known
// at an instant.
func (w *Walker) counts(i int, known time.Time) bool {
	x := &w.log[i]
	if x.Body == nil || x.Body.Kind() == care.KindWithdrawal || x.HappenedAt.After(known) {
		return false
	}
	return len(w.from) == 0 || !w.from[i].After(known) && w.until[i].After(known)
}

// Step takes the walk to an instant and returns the numbers then. Forward, every
// day is walked once, unless news of a day gone by came in late; backward, the
// walk begins again.
func (w *Walker) Step(now time.Time) Numbers {
	w.to(now, nil)
	return w.last
}

// Steps walks from the handover to end, a step every so often and one at the
// end, and tells each, with the whole days since the handover.
func (w *Walker) Steps(end time.Time, every time.Duration, tell func(at time.Time, days int, n *Numbers)) {
	start := w.s.HandedOverAt
	for at := start; ; at = at.Add(every) {
		if at.After(end) {
			at = end
		}
		w.to(at, nil)
		tell(at, int(at.Sub(start)/day), &w.last)
		if !at.Before(end) {
			return
		}
	}
}

// Assessment is the last step in words.
func (w *Walker) Assessment() Assessment { return w.at.words(w.last) }

// Gravest is the code of the first of the last step's concerns, "" for none.
func (w *Walker) Gravest() string {
	var first *trouble
	for i := range w.at.troubles {
		t := &w.at.troubles[i]
		if t.level > care.Settled && (first == nil || t.level > first.level || t.level == first.level && t.urgency() > first.urgency()) {
			first = t
		}
	}
	if first == nil {
		return ""
	}
	return w.at.troubleCode(first)
}

// to walks to an instant; each, if not nil, is told of every day on the way.
func (w *Walker) to(known time.Time, each func(CourseDay)) {
	// The end of a case stops its clock, unless it was opened again.
	now, ended := known, false
	for _, i := range w.ends {
		if w.counts(i, known) {
			if ended, now = !w.log[i].Body.(care.Ended).Reopened, known; ended {
				now = w.log[i].HappenedAt
			}
		}
	}
	last := 0
	if d := now.Sub(w.s.HandedOverAt); d > 0 {
		last = int(d / day)
	}
	e := &w.past
	switch {
	case w.at == nil || !w.whole || known.Before(w.known) || w.news(known):
		w.begin(known, now)
	case w.at == e:
		e.levels, e.lost, e.shown = w.evening.levels, w.evening.lost, w.evening.shown
	}
	w.known = known
	for e.ended = false; e.day < last; e.pass() {
		w.taken = w.gather(e.today.Add(day-1), known)
		e.take(w.entries)
		e.look()
		if each != nil {
			each(e.courseDay())
		}
	}
	if w.gather(now, known); len(w.entries) > 0 {
		w.today.assign(e)
		e = &w.today
		e.take(w.entries)
	} else {
		w.evening.levels, w.evening.lost, w.evening.shown = e.levels, e.lost, e.shown
	}
	e.look()
	e.now, e.ended = now, ended
	if each != nil {
		each(e.courseDay())
	}
	w.at, w.last = e, e.numbers()
}

// begin starts past anew, with the breeder's history as it was known then.
func (w *Walker) begin(known, now time.Time) {
	start := w.s.HandedOverAt
	w.whole = !now.Before(start)
	if !w.whole {
		start = now
	}
	w.taken = 0
	w.taken = w.gather(start, known)
	w.past.begin(w.s, w.entries)
	for w.turned = 0; w.turned < len(w.turns) && !w.turns[w.turned].at.After(known); w.turned++ {
	}
}

// gather puts into entries what counts and was not taken, up to an instant and
// with it, and returns where in the log that ends.
func (w *Walker) gather(until, known time.Time) int {
	w.entries = w.entries[:0]
	i := w.taken
	for ; i < len(w.log) && !w.log[i].HappenedAt.After(until); i++ {
		if w.counts(i, known) {
			w.entries = append(w.entries, &w.log[i])
		}
	}
	return i
}

// news reports whether something came in since the last step that past should
// have known of.
func (w *Walker) news(known time.Time) (news bool) {
	for ; w.turned < len(w.turns) && !w.turns[w.turned].at.After(known); w.turned++ {
		news = news || w.turns[w.turned].i < w.taken
	}
	return news
}
