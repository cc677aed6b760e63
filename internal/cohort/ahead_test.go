package cohort

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// What is foreseen of an animal comes true, day by day, for as long as nothing is
// logged: until the day that it names, an assessment from the beginning finds the
// same standing, the same concerns and the same questions, and says what was foreseen;
// so no standing ever changes on a day on which the case is left alone.
func TestForeseen(t *testing.T) {
	t.Parallel()
	const most = 7
	cases, changes, foreseen, full := 0, 0, 0, 0
	for _, w := range Worlds() {
		for i, c := range Make(w, 11, 1) {
			if i%10 != 0 {
				continue
			}
			cases++
			r := rand.New(rand.NewPCG(7, uint64(i)))
			log := slices.Clone(c.Log)
			for j := range log { // phones without a network, and a breeder who agrees on a step
				if r.IntN(9) == 0 {
					log[j].ReceivedAt = log[j].HappenedAt.Add(time.Duration(r.IntN(72)) * time.Hour)
				}
			}
			if i%20 == 0 { // a keeper who falls silent
				silent := c.Subject.HandedOverAt.Add(time.Duration(10+r.IntN(20)) * 24 * time.Hour)
				log = slices.DeleteFunc(log, func(e care.Entry) bool { return e.HappenedAt.After(silent) })
			}
			agreed := c.Subject.HandedOverAt.Add(time.Duration(r.IntN(40*24)) * time.Hour)
			log = append(log, care.Entry{ID: "step", By: care.BreederOwner, HappenedAt: agreed, ReceivedAt: agreed, Body: care.StepAgreed{Code: assess.StepInPeace, HoldsDays: 6}})
			slices.SortStableFunc(log, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })

			var walk assess.Walker
			for d := r.IntN(3); d < Horizon; d += 1 + r.IntN(4) {
				now := c.Subject.HandedOverAt.Add(time.Duration(d*24+r.IntN(24)) * time.Hour)
				known := slices.DeleteFunc(slices.Clone(log), func(e care.Entry) bool { return e.ReceivedAt.After(now) || e.HappenedAt.After(now) })
				walk.Reset(&c.Subject, known)
				walk.Step(now)
				is := walk.Assessment()
				until, ahead := walk.Foresee(is, most)
				if !until.After(now) || until.Sub(now) > most*24*time.Hour {
					t.Fatalf("%s %d day %d: foreseen until %v at %v", w.Name, i, d, until, now)
				}
				foreseen += len(ahead)
				if len(ahead) == most-1 {
					full++
				}
				for n, at := 0, is.DueAt; at.Before(until); n++ {
					within := at.Add(time.Duration(r.IntN(24*60)) * time.Minute)
					then := assess.Assess(&c.Subject, known, within)
					a := ahead[n]
					if !a.At.Equal(at) || a.Headline.String() != then.Headline.String() || a.NextStep.String() != then.NextStep().String() {
						t.Fatalf("%s %d day %d, %v: foreseen %v %q %q, is %q %q", w.Name, i, d, within, a.At, a.Headline, a.NextStep, then.Headline, then.NextStep())
					}
					if then.Standing != is.Standing || len(then.Concerns) != len(is.Concerns) || then.Urgency-is.Urgency > .0200001 || is.Urgency-then.Urgency > .0200001 {
						t.Fatalf("%s %d day %d, %v: %s %.3f was to hold until %v and is %s %.3f", w.Name, i, d, within, is.Standing, is.Urgency, until, then.Standing, then.Urgency)
					}
					for j := range then.Concerns {
						if then.Concerns[j].Code != is.Concerns[j].Code || then.Concerns[j].Level != is.Concerns[j].Level {
							t.Fatalf("%s %d day %d, %v: %+v was to hold, is %+v", w.Name, i, d, within, is.Concerns, then.Concerns)
						}
					}
					due := func(plan []assess.CheckIn) (last assess.CheckIn) {
						for _, k := range plan {
							if !k.At.After(within) {
								last = k
							}
						}
						return last
					}
					if was, is := due(is.CheckIns), due(then.CheckIns); was.ID != is.ID || !was.At.Equal(is.At) {
						t.Fatalf("%s %d day %d, %v: %+v is to be asked, foreseen was %+v", w.Name, i, d, within, is, was)
					}
					at = at.Add(24 * time.Hour)
				}
				if then := assess.Assess(&c.Subject, known, until); then.Standing != is.Standing {
					changes++
				}
			}
		}
	}
	if cases < 30 || changes < 20 || full < 300 {
		t.Errorf("%d cases, %d changes of standing, %d whole weeks: too few to show anything", cases, changes, full)
	}
	t.Logf("%d cases, %d days foreseen, %d whole weeks, %d changes of standing", cases, foreseen, full, changes)
}
