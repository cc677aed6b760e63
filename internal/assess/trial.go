package assess

import (
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Past is how one case would have gone, looked at every day with what was known
// then.
type Past struct {
	Days int // whole days that it was followed
	// First is for each standing the day after the handover on which it or a
	// graver one was first reached; -1 when none was.
	First [int(care.Vet) + 1]int
	// Calls is how often the case came to be stepped into or to a vet.
	Calls int
}

// Past walks the whole case to its end.
func (w *Walker) Past(end time.Time) Past {
	p := Past{First: [...]int{-1, -1, -1, -1}}
	was := care.Settled
	w.Steps(end, day, func(_ time.Time, days int, n *Numbers) {
		p.Days = days
		for s := range p.First[:n.Standing+1] {
			if p.First[s] < 0 {
				p.First[s] = days
			}
		}
		if n.Standing >= care.StepIn && was < care.StepIn {
			p.Calls++
		}
		was = n.Standing
	})
	return p
}

// Trial is what a breeder's cases come to under some thresholds.
type Trial struct {
	Calls int // in all cases
	// BadFound counts the cases that ended badly and were to be stepped into
	// before that, Lead how many days before, each; SettledCalled those that
	// settled and were to be stepped into all the same.
	BadFound, SettledCalled int
	Lead                    []int
	// FirstCalls are the days after the handover on which cases were first to be
	// stepped into.
	FirstCalls []int
}

// Trials compares two sets of thresholds on the same cases. The zero value has
// none.
type Trials struct {
	Cases, Bad, Settled int
	Present, Proposed   Trial // by the present thresholds, by the proposed ones
	weeks               map[int64]bool
}

// Add counts one case; outcome is "" for one that is open.
func (t *Trials) Add(from, until time.Time, outcome care.Outcome, present, proposed *Past) {
	t.Cases++
	if t.weeks == nil {
		t.weeks = map[int64]bool{}
	}
	const week = 7 * 24 * 3600
	for w := from.Unix() / week; w <= until.Unix()/week; w++ {
		t.weeks[w] = true
	}
	switch outcome {
	case care.OutcomeReturned, care.OutcomeVet, care.OutcomeDied:
		t.Bad++
	case care.OutcomeSettled:
		t.Settled++
	}
	t.Present.add(outcome, present)
	t.Proposed.add(outcome, proposed)
}

func (t *Trial) add(outcome care.Outcome, p *Past) {
	t.Calls += p.Calls
	first := p.First[care.StepIn]
	if first < 0 {
		return
	}
	t.FirstCalls = append(t.FirstCalls, first)
	switch outcome {
	case care.OutcomeReturned, care.OutcomeVet, care.OutcomeDied:
		if first < p.Days {
			t.BadFound++
			t.Lead = append(t.Lead, p.Days-first)
		}
	case care.OutcomeSettled:
		t.SettledCalled++
	}
}

// Weeks counts the calendar weeks in which at least one of the cases was
// followed.
func (t *Trials) Weeks() int { return len(t.weeks) }

// MedianLead is by how many days half of the found were found, at least; 0 for none.
func (t *Trial) MedianLead() int {
	if len(t.Lead) == 0 {
		return 0
	}
	lead := slices.Sorted(slices.Values(t.Lead))
	return lead[(len(lead)-1)/2]
}

var fewCases = int(snake.Number("trial", "few"))

// Caution says what the trial cannot tell.
func (t *Trials) Caution() words.Text {
	because := words.Say("Cases also went as they did because you stepped in or did not, so read it as a hint.")
	switch {
	case t.Cases == 0:
		return words.Say("You have no cases yet, so there is nothing to try this on.")
	case t.Bad+t.Settled == 0:
		return words.Say("None of these cases has settled or ended badly yet. You can see how often you would be asked to step in, not whether it would be right.")
	case t.Bad < fewCases || t.Settled < fewCases:
		return words.Join(words.Count("This is too little to judge by: {n} case ended badly and {settled} settled. One case more could turn it round.", "This is too little to judge by: {n} cases ended badly and {settled} settled. One case more could turn it round.", t.Bad, t.Settled), because)
	}
	return because
}
