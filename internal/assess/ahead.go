package assess

import (
	"math"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Ahead is what is said of a case on a day to come if nothing more is logged.
type Ahead struct {
	At                 time.Time // when that day begins
	Headline, NextStep words.Text
}

// urgencyMoves is by how much the urgency may drift before the case has to be put
// anew into its place in a list. A place among equals is worth no look.
const urgencyMoves = .02

// Foresee walks on from the last step, up to so many days, as if nothing more were
// logged. until is the first day on which more than what is said of it will have
// changed: its standing, a concern, what is asked of the keeper and when, or
// its urgency by urgencyMoves; or the last day that was asked for. ahead are the days
// before that. The walk stands at until then.
func (w *Walker) Foresee(now Assessment, days int) (until time.Time, ahead []Ahead) {
	until = now.DueAt
	if now.DueAt.Equal(never) {
		return until, nil
	}
	for n := 1; ; n++ {
		if w.Step(until); n >= days {
			return until, ahead
		}
		then := w.Assessment()
		if !now.holds(&then) || then.DueAt.Equal(never) {
			return until, ahead
		}
		ahead = append(ahead, Ahead{until, then.Headline, then.NextStep()})
		until = then.DueAt
	}
}

// holds reports whether a later assessment differs in nothing but what is said.
func (a *Assessment) holds(later *Assessment) bool {
	return a.Standing == later.Standing && math.Abs(a.Urgency-later.Urgency) <= urgencyMoves &&
		slices.EqualFunc(a.Concerns, later.Concerns, func(x, y care.Concern) bool { return x.Code == y.Code && x.Level == y.Level }) &&
		slices.EqualFunc(askedFrom(a.CheckIns, later.At), later.CheckIns, func(x, y CheckIn) bool { return x.ID == y.ID && x.At.Equal(y.At) && x.Ask == y.Ask })
}

// askedFrom is what is left of a plan at an instant: what is due, the latest of it,
// and what is to come.
func askedFrom(plan []CheckIn, at time.Time) []CheckIn {
	ahead := slices.IndexFunc(plan, func(c CheckIn) bool { return c.At.After(at) })
	if ahead < 0 {
		ahead = len(plan)
	}
	return plan[max(0, ahead-1):]
}

// NextStep is the most useful thing that the keeper might do next; empty for none.
func (a *Assessment) NextStep() words.Text {
	if len(a.Steps) == 0 {
		return words.Text{}
	}
	return a.Steps[0].Text
}
