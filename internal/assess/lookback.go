package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// lookBackDays is how far before and after an agreed step is looked: beyond it
// so much else has changed that a comparison says nothing. No source: our own
// choice, and nothing is judged by it.
const lookBackDays = 60

// LookBack is what was logged before an agreed step and what after it. It is a
// comparison and no proof: the texts say so.
type LookBack struct {
	Step          string // id of the entry by which it was agreed
	Code          string
	At            time.Time // when it was agreed
	HeldUntil     time.Time // the end of its days
	From, To      time.Time // what was looked at
	Before, After Fed
	// Chance is the one-sided exact probability of as many meals or more after the
	// step, or of as few when it eats less, were it the same before and after; 1 when
	// there is nothing to compare.
	Chance float64
	// Weights nearest to the step, and the latest after it; zero: none.
	MassBefore, MassAfter     care.Grams
	WeighedBefore, WeighedAft time.Time
}

// Fed counts offers and how many of them were eaten and kept down.
type Fed struct{ Eaten, Offers int }

// take counts an offer; food that came up takes its meal back.
func (f *Fed) take(o *care.Offer) {
	switch o.Result {
	case care.Regurgitated:
		f.Eaten = max(0, f.Eaten-1)
		return
	case care.Eaten:
		f.Eaten++
	}
	f.Offers++
}

// LookBacks compares what was logged before and after each agreed step of a log,
// up to now; the newest step first. Before reaches back to the step before it or
// the handover, since the breeder's home was another, and after up to the next step.
func LookBacks(log []care.Entry, handover, now time.Time) (list []LookBack) {
	last := handover
	for i := range log {
		e := &log[i]
		s, ok := e.Body.(care.StepAgreed)
		if !ok || !e.Current() || e.HappenedAt.After(now) {
			continue
		}
		l := LookBack{Step: e.ID, Code: s.Code, At: e.HappenedAt, HeldUntil: e.HappenedAt.AddDate(0, 0, s.HoldsDays),
			From: later(last, e.HappenedAt.AddDate(0, 0, -lookBackDays)), To: e.HappenedAt.AddDate(0, 0, lookBackDays), Chance: 1}
		if now.Before(l.To) {
			l.To = now
		}
		if n := len(list); n > 0 && list[n-1].To.After(e.HappenedAt) {
			list[n-1].To = e.HappenedAt
		}
		last = e.HappenedAt
		list = append(list, l)
	}
	for i := range list {
		list[i].fill(log)
	}
	for i, j := 0, len(list)-1; i < j; i, j = i+1, j-1 {
		list[i], list[j] = list[j], list[i]
	}
	return list
}

func (l *LookBack) fill(log []care.Entry) {
	for i := range log {
		e := &log[i]
		if !e.Current() || e.HappenedAt.Before(l.From) || e.HappenedAt.After(l.To) {
			continue
		}
		before := !e.HappenedAt.After(l.At)
		switch b := e.Body.(type) {
		case care.Offer:
			if before {
				l.Before.take(&b)
			} else {
				l.After.take(&b)
			}
		case care.WeighIn:
			if before {
				l.MassBefore, l.WeighedBefore = b.Mass, e.HappenedAt
			} else {
				l.MassAfter, l.WeighedAft = b.Mass, e.HappenedAt
			}
		}
	}
	if l.Before.Offers == 0 || l.After.Offers == 0 {
		return
	}
	meals, refusals := l.Before.Eaten+l.After.Eaten, l.Before.refused()+l.After.refused()
	if l.Chance = AtLeast(l.After.Eaten, l.After.Offers, meals, meals+refusals); l.After.share() < l.Before.share() {
		l.Chance = AtLeast(l.After.refused(), l.After.Offers, refusals, meals+refusals)
	}
}

func (f Fed) refused() int { return f.Offers - f.Eaten }

func (f Fed) share() float64 { return float64(f.Eaten) / float64(f.Offers) }

// Change is by how much the weight changed, in per cent, and the half-width of
// its 90 % interval from the spread of single weights; ok is false without both.
func (l *LookBack) Change() (pct, within float64, ok bool) {
	if l.MassBefore <= 0 || l.MassAfter <= 0 {
		return 0, 0, false
	}
	return 100 * float64(l.MassAfter/l.MassBefore-1), 100 * z90 * math.Sqrt2 * weightNoise, true
}

// Text says to both what came of it, and how little that may mean.
func (l *LookBack) Text() words.Text {
	if l.After.Offers == 0 && l.MassAfter == 0 {
		return words.Say("Nothing was offered and nothing weighed since, so nothing can be said yet.")
	}
	var all []text
	say := func(t text) { all = append(all, t) }
	of := func(f Fed) text {
		return words.Say("{meals} from {offers}", words.Count("{n} meal", "{n} meals", f.Eaten), words.Count("{n} offer", "{n} offers", f.Offers))
	}
	switch {
	case l.After.Offers == 0:
		say(words.Say("Nothing was offered since."))
	case l.Before.Offers == 0:
		say(words.Say("Since then: {fed}. There is nothing from before to compare it with.", of(l.After)))
	default:
		say(words.Say("Before: {before}. Since then: {after}.", of(l.Before), of(l.After)))
		how := words.Say("It eats more often")
		if l.After.share() < l.Before.share() {
			how = words.Say("It eats less often")
		}
		switch {
		case l.After.share() == l.Before.share():
			say(words.Say("That is the same as before."))
		case l.Chance < rare:
			say(words.Say("{change}, and by chance alone that comes up less than once in {times} times.", how, number(math.Floor(1/l.Chance), 0)))
		case l.Chance > .75:
			say(words.Say("{change}, but so few offers cannot tell that from chance.", how))
		default:
			say(words.Say("{change}, but so few offers cannot tell that from chance: as much comes up about once in {times} times by itself.", how, number(math.Max(2, math.Round(1/l.Chance)), 0)))
		}
	}
	if pct, within, ok := l.Change(); ok {
		days := int(math.Round(l.WeighedAft.Sub(l.WeighedBefore).Hours() / 24))
		change := words.Say("+{number}", number(pct, 1))
		if pct < 0 {
			change = words.Say("−{number}", number(-pct, 1))
		}
		say(words.Say("Its weight changed by {change} % in {days}, within {within} % either way.", change, dayCount(days), number(within, 0)))
		switch {
		case pct > within:
			say(words.Say("It has gained."))
		case pct < -within:
			say(words.Say("It has lost."))
		default:
			say(words.Say("That is less than two weights of the same animal may differ by."))
		}
	}
	say(words.Say("What came after a step need not have come from it."))
	return words.Join(all...)
}
