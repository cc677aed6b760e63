package followup_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/followup"
)

// Most cases are left alone on most days, and nobody sees a difference: each day, list,
// case and flags are what an assessment of the whole log of that day finds.
func TestPassLeavesAlone(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	type followed struct {
		c      care.Case
		a      care.Animal
		keeper care.Actor
		quiet  bool
	}
	all := make([]followed, 8)
	for i := range all {
		a, c, keeper := p.sold(t)
		all[i] = followed{c, a, keeper, i%4 == 0}
	}
	rnd := rand.New(rand.NewPCG(2, 9))
	days, looked, changed := 35, 0, 0
	if raced {
		days = 20
	}
	before := map[string]care.Standing{}
	for d := 1; d <= days; d++ {
		now := t0.Add(time.Duration(d)*day + time.Duration(rnd.IntN(600))*time.Minute)
		n, err := p.Pass(t.Context(), now)
		if err != nil {
			t.Fatal(err)
		}
		looked += n
		p.checkAll(t, now)
		for i := range all {
			f := &all[i]
			if rnd.IntN(6) > 0 || f.quiet && d > 12 {
				continue
			}
			body := []care.Body{care.Offer{Result: care.Refused, Prey: "rat"}, care.Offer{Result: care.Eaten, Prey: "rat"}, care.WeighIn{Mass: 99 - care.Grams(d%9)},
				care.Seen{}, care.Message{Text: "It is well."}, care.Sign{Code: "wheeze", Gone: d%2 == 0}}[min(5, rnd.IntN(24)/4)]
			p.log(t, f.keeper, f.c, now, body)
		}
		for i := range all {
			if s := p.get(t, all[i].c).Case.Standing; s != before[all[i].c.ID] {
				before[all[i].c.ID] = s
				changed++
			}
		}
	}
	if changed < len(all)/2 || looked > len(all)*days*2/3 {
		t.Errorf("%d looks at %d cases in %d days, %d changes of standing", looked, len(all), days, changed)
	}
}

// checkAll compares all that stands of loam's open cases with what the log says.
func (p *place) checkAll(t *testing.T, now time.Time) {
	t.Helper()
	list, _, err := p.ListCases(t.Context(), p.loam, now, "loam", care.CaseQuery{Open: true}, care.Cursor{}, 100)
	if err != nil {
		t.Fatal(err)
	}
	for i := range list {
		c := list[i].Case
		var want assess.Assessment
		if err := p.store.Read(t.Context(), func(tx care.Tx) (err error) {
			want, err = followup.AssessAnew(tx, c, now)
			return err
		}); err != nil {
			t.Fatal(err)
		}
		if c.Standing != want.Standing || c.Headline.String() != want.Headline.String() || c.NextStep.String() != want.NextStep().String() ||
			c.Urgency-want.Urgency > .0201 || want.Urgency-c.Urgency > .0201 {
			t.Fatalf("%v, assessed %v: in the list %s %.3f %q %q, by the log %s %.3f %q %q", now, c.AssessedAt, c.Standing, c.Urgency, c.Headline, c.NextStep,
				want.Standing, want.Urgency, want.Headline, want.NextStep())
		}
		v := p.getAt(t, c, now)
		if v.Assessment.Day < want.Day {
			t.Fatalf("%v: the case stands as on day %d, it is day %d", now, v.Assessment.Day, want.Day)
		}
		want.At = v.Assessment.At // of the same day
		says, errSays := json.Marshal(v.Assessment)
		is, errIs := json.Marshal(want)
		if errSays != nil || errIs != nil || string(says) != string(is) {
			t.Fatalf("%v: the case says\n%s, by the log\n%s", now, says, is)
		}
		var open, found []string
		for _, f := range p.flags(t, c) {
			if f.ClosedAt == nil {
				open = append(open, fmt.Sprint(f.Code, f.Level))
			}
		}
		for _, k := range want.Concerns {
			found = append(found, fmt.Sprint(k.Code, k.Level))
		}
		slices.Sort(open)
		slices.Sort(found)
		if !slices.Equal(open, found) {
			t.Fatalf("%v: open flags %v, concerns %v", now, open, found)
		}
	}
}

// What a program of before assessed is not said in the words that were foreseen for
// another assessment.
func TestForeseenForAnother(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, _ := p.sold(t)
	// On its own day in the week a case is foreseen for that day alone; the next day it is not.
	var stored care.Case
	for d := 3; d < 5 && len(stored.Ahead) == 0; d++ {
		if _, err := p.Pass(t.Context(), t0.Add(time.Duration(d)*day)); err != nil {
			t.Fatal(err)
		}
		stored = p.get(t, c).Case
	}
	if len(stored.Ahead) == 0 {
		t.Fatal("nothing was foreseen")
	}
	say := func(now time.Time) string {
		list, _, err := p.ListCases(t.Context(), p.loam, now, "loam", care.CaseQuery{Open: true}, care.Cursor{}, 10)
		if err != nil || len(list) != 1 {
			t.Fatal(len(list), err)
		}
		return list[0].Case.Headline.String()
	}
	next := stored.DueAt.Add(-time.Hour)
	if say(next) == stored.Headline.String() {
		t.Errorf("%q on each day", stored.Headline)
	}
	stored.AssessedAt = stored.AssessedAt.Add(time.Hour)
	p.write(t, func(tx care.Tx) error { return tx.UpdateCase(stored) })
	if got := say(next); got != stored.Headline.String() {
		t.Errorf("%q, and it was assessed as %q", got, stored.Headline)
	}
}
