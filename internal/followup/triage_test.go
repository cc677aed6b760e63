package followup_test

import (
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
)

func (p *place) look(t *testing.T, c care.Case) care.Case {
	t.Helper()
	v, err := p.GetCase(t.Context(), p.loam, t0, "loam", c.ID)
	if err != nil {
		t.Fatal(err)
	}
	return v.Case
}

// A case that was set aside is off the list until its day, and back at once when
// it needs somebody.
func TestSetAside(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	until := t0.Add(9 * day)
	for name, x := range map[string]struct {
		happens func(c care.Case, keeper care.Actor, now time.Time)
		back    bool
	}{
		"nothing":    {func(care.Case, care.Actor, time.Time) {}, false},
		"a weigh-in": {func(c care.Case, k care.Actor, now time.Time) { p.log(t, k, c, now, care.WeighIn{Mass: 98}) }, false},
		"the breeder writes": {func(c care.Case, _ care.Actor, now time.Time) {
			p.log(t, p.loam, c, now, care.Message{Text: "How is it?"})
		}, false},
		"the keeper writes": {func(c care.Case, k care.Actor, now time.Time) { p.log(t, k, c, now, care.Message{Text: "It bit me."}) }, true},
		"a vet is needed":   {func(c care.Case, k care.Actor, now time.Time) { p.log(t, k, c, now, care.Sign{Code: "wheeze"}) }, true},
		"it is to be given back": {func(c care.Case, k care.Actor, now time.Time) {
			if _, err := p.GiveBack(t.Context(), k, now, "loam", c.ID, true); err != nil {
				t.Fatal(err)
			}
		}, true},
		"it ends": {func(c care.Case, _ care.Actor, now time.Time) {
			if _, err := p.EndCase(t.Context(), p.loam, now, "loam", c.ID, care.OutcomeSettled, "", p.id("end")); err != nil {
				t.Fatal(err)
			}
		}, true},
		"it is taken back": {func(c care.Case, _ care.Actor, now time.Time) {
			if _, err := p.SetAside(t.Context(), p.loam, now, "loam", c.ID, nil, ""); err != nil {
				t.Fatal(err)
			}
		}, true},
	} {
		_, c, keeper := p.sold(t)
		now := t0.Add(3 * day)
		p.log(t, keeper, c, now, care.Message{Text: "Written before."})
		v, err := p.SetAside(t.Context(), p.helper, now.Add(time.Hour), "loam", c.ID, &until, "  waits for the new heater ")
		if err != nil || v.Case.Aside.Why != "waits for the new heater" || !v.Case.Aside.Holds(now) || v.Case.DueAt.After(until) {
			t.Fatalf("%s: %+v, %v", name, v.Case, err)
		}
		x.happens(c, keeper, now.Add(2*time.Hour))
		if _, err := p.Pass(t.Context(), now.Add(3*time.Hour)); err != nil {
			t.Fatal(err)
		}
		if got := p.look(t, c).Aside; (got == care.Aside{}) != x.back {
			t.Errorf("%s: %+v", name, got)
		}
		if x.back {
			continue
		}
		// The day comes: a pass in the same minute puts it back and says so.
		changes, stop := p.Watch("loam")
		if _, err := p.Pass(t.Context(), until); err != nil {
			t.Fatal(err)
		}
		stop()
		told := false
		for len(changes) > 0 {
			told = (<-changes).CaseID == c.ID || told
		}
		if got := p.look(t, c).Aside; got != (care.Aside{}) || !told {
			t.Errorf("%s, on the day: %+v, told %v", name, got, told)
		}
	}
}

func TestSetAsideRefuses(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	aside := func(who care.Actor, until time.Time, why string) error {
		_, err := p.SetAside(t.Context(), who, t0, "loam", c.ID, &until, why)
		return err
	}
	wantField(t, aside(p.loam, t0, "because"), "until_time")
	wantField(t, aside(p.loam, t0.AddDate(0, 0, 121), "because"), "until_time")
	wantField(t, aside(p.loam, t0.Add(day), "  "), "reason")
	for _, who := range []care.Actor{keeper, p.other, {}} {
		if err := aside(who, t0.Add(day), "because"); !care.IsCode(err, care.NotFound) {
			t.Errorf("%+v: %v", who, err)
		}
		if _, err := p.LookAfter(t.Context(), who, t0, "loam", c.ID, "Me"); !care.IsCode(err, care.NotFound) {
			t.Errorf("%+v: %v", who, err)
		}
	}
	if _, err := p.EndCase(t.Context(), p.loam, t0.Add(day), "loam", c.ID, care.OutcomeSettled, "", "end-request-1"); err != nil {
		t.Fatal(err)
	}
	wantReason(t, aside(p.loam, t0.Add(2*day), "because"), care.ReasonCaseClosed)
}

// Whose move it is follows who spoke last, and opening the app is no word.
func TestTurn(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	now := t0.Add(day)
	then := func(who care.Actor, body care.Body, want care.Turn) care.Case {
		t.Helper()
		now = now.Add(time.Hour)
		p.log(t, who, c, now, body)
		is := p.look(t, c)
		if got := is.Turn(); got != want {
			t.Errorf("after %s by %s at %s: %q, not %q", body.Kind(), who.Kind, is.Standing, got, want)
		}
		return is
	}
	then(keeper, care.WeighIn{Mass: 99}, care.TurnNobody)
	then(keeper, care.Message{Text: "Is it asleep?"}, care.TurnBreeder)
	then(p.helper, care.Message{Text: "Most likely. Is it under its hide?"}, care.TurnKeeper)
	then(keeper, care.Seen{}, care.TurnKeeper)
	then(keeper, care.WeighIn{Mass: 98}, care.TurnNobody)
	is := then(keeper, care.Sign{Code: "wheeze"}, care.TurnBreeder)
	if is.NextStep.String() == "" || !strings.Contains(is.NextStep.String(), "vet") {
		t.Errorf("the next step is %q", is.NextStep)
	}
	then(p.loam, care.StepAgreed{Code: "call_vet", HoldsDays: 2}, care.TurnKeeper)
	then(keeper, care.Message{Text: "The vet saw it."}, care.TurnBreeder)

	if _, err := p.MarkSeen(t.Context(), p.loam, now, "loam", c.ID); err != nil {
		t.Fatal(err)
	}
	if is := p.look(t, c); is.SeenAs != is.Standing || is.SeenAs != care.Vet {
		t.Errorf("seen as %s, stands as %s", is.SeenAs, is.Standing)
	}
	v, err := p.LookAfter(t.Context(), p.helper, t0, "loam", c.ID, " Ida ")
	if err != nil || v.Case.LookedAfterBy != "Ida" {
		t.Errorf("looked after by %q, %v", v.Case.LookedAfterBy, err)
	}
	// What the breeder notes goes with the keeper who leaves.
	until := now.Add(3 * day)
	if _, err := p.SetAside(t.Context(), p.loam, now, "loam", c.ID, &until, "Robin is at the sea"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.Leave(t.Context(), keeper, now, func(care.Tx, string, string) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if is := p.look(t, c); is.Aside != (care.Aside{}) || is.Turn() != care.TurnNobody || is.WroteAt != nil {
		t.Errorf("%+v", is)
	}
}

// Silence is told apart in the list.
func TestSilent(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, _ := p.sold(t)
	for _, x := range []struct {
		days int
		want bool
	}{{2, false}, {60, true}} {
		if _, err := p.Pass(t.Context(), t0.AddDate(0, 0, x.days)); err != nil {
			t.Fatal(err)
		}
		if got := p.look(t, c).Silent; got != x.want {
			t.Errorf("after %d days: %v", x.days, got)
		}
	}
}
