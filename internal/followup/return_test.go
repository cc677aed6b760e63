package followup_test

import (
	"strings"
	"testing"

	"warmhand/internal/care"
	"warmhand/internal/followup"
)

// An animal comes home: asked, agreed, on its way, arrived, in quarantine, and over.
func TestReturn(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	a, c, keeper := p.sold(t)
	now := t0.Add(20 * day)
	p.log(t, keeper, c, now, care.WeighIn{Mass: 92})

	_, err := p.AgreeReturn(ctx, p.loam, now, "loam", c.ID, "by car on Sunday")
	wantReason(t, err, care.ReasonNotGivenBack)
	_, err = p.SendReturn(ctx, keeper, now, "loam", c.ID)
	wantReason(t, err, care.ReasonNotGivenBack)
	if _, err := p.GiveBack(ctx, keeper, now, "loam", c.ID, true); err != nil {
		t.Fatal(err)
	}
	turn := func(want care.Turn) {
		t.Helper()
		is := p.look(t, c)
		if got := is.Turn(); got != want {
			t.Errorf("it is the turn of %q, not %q", got, want)
		}
	}
	turn(care.TurnBreeder)
	if v, err := p.GetCase(ctx, keeper, now, "loam", c.ID); err != nil || len(v.Assessment.CheckIns) == 0 {
		t.Errorf("before it is agreed: %+v, %v", v.Assessment.CheckIns, err)
	}
	_, err = p.SendReturn(ctx, keeper, now, "loam", c.ID) // not agreed how
	wantReason(t, err, care.ReasonNotGivenBack)
	_, err = p.AgreeReturn(ctx, p.loam, now, "loam", c.ID, " ")
	wantField(t, err, "how")
	for _, who := range []care.Actor{keeper, p.other} {
		if _, err := p.AgreeReturn(ctx, who, now, "loam", c.ID, "by post"); !care.IsCode(err, care.NotFound) {
			t.Errorf("%+v: %v", who, err)
		}
		if _, err := p.Arrive(ctx, who, now, "loam", c.ID, followup.Arrival{RequestID: "arrival-0"}); !care.IsCode(err, care.NotFound) {
			t.Errorf("%+v: %v", who, err)
		}
	}
	if _, err := p.AgreeReturn(ctx, p.helper, now, "loam", c.ID, " by car on Sunday "); err != nil {
		t.Fatal(err)
	}
	turn(care.TurnKeeper)
	v, err := p.GetCase(ctx, keeper, now, "loam", c.ID)
	if asked := v.Assessment.CheckIns; len(asked) != 0 {
		t.Errorf("asked although it comes back: %+v", asked)
	}
	if err != nil || v.Case.Return.How != "by car on Sunday" {
		t.Errorf("the keeper reads %q, %v", v.Case.Return.How, err)
	}
	if v, err = p.SendReturn(ctx, keeper, now.Add(day), "loam", c.ID); err != nil || v.Case.Return.LeftAt == nil || v.Animal.Place != "" {
		t.Fatalf("%+v, %v", v, err)
	}
	turn(care.TurnBreeder)
	_, err = p.AgreeReturn(ctx, p.loam, now, "loam", c.ID, "by train")
	wantReason(t, err, care.ReasonOnItsWay)

	now = now.Add(2 * day)
	until := now.Add(60 * day)
	_, err = p.Arrive(ctx, p.loam, now, "loam", c.ID, followup.Arrival{Quarantine: &t0, RequestID: "arrival-1"})
	wantField(t, err, "quarantine_time")
	_, err = p.Arrive(ctx, p.loam, now, "loam", c.ID, followup.Arrival{Lessons: []string{"warmth", "nonsense"}, RequestID: "arrival-1"})
	wantField(t, err, "lessons")
	arrival := followup.Arrival{Mass: 90, Quarantine: &until, Place: "quarantine shelf", Lessons: []string{"late", "warmth"}, Learned: "The warm side never passed 28 °C.", RequestID: "arrival-1"}
	v, err = p.Arrive(ctx, p.loam, now, "loam", c.ID, arrival)
	if err != nil || v.Case.Outcome != care.OutcomeReturned || v.Case.ClosedAt == nil || v.Case.GiveBackAt != nil || v.Case.Return.How != "" ||
		v.Animal.Place != "quarantine shelf" || !v.Case.Return.QuarantineUntil.Equal(until) {
		t.Fatalf("%+v, %v", v, err)
	}
	again, err := p.Arrive(ctx, p.loam, now.Add(day), "loam", c.ID, arrival)
	if err != nil || again.Case.Version != v.Case.Version {
		t.Errorf("a repeat: %+v, %v", again.Case, err)
	}
	entries, _, err := p.ListEntries(ctx, p.loam, "loam", a.ID, nil, c.ID, care.Cursor{}, 10)
	if err != nil {
		t.Fatal(err)
	}
	weighed, learned := 0, ""
	for _, e := range entries {
		switch b := e.Body.(type) {
		case care.WeighIn:
			if e.By == care.BreederOwner && b.Mass == 90 {
				weighed++
			}
		case care.Ended:
			learned = e.Note
			if b.Lessons != "warmth late" {
				t.Errorf("lessons %q", b.Lessons)
			}
		}
	}
	if weighed != 1 || learned != arrival.Learned {
		t.Errorf("weighed %d times on arrival, learned %q", weighed, learned)
	}

	ready := func() (codes string) {
		s, err := p.GetStockAnimal(ctx, p.loam, now, "loam", a.ID)
		if err != nil || s.Away {
			t.Fatalf("%+v, %v", s, err)
		}
		for _, point := range s.Ready.Points {
			codes += " " + point.Code
		}
		return codes
	}
	if got := ready(); !strings.Contains(got, "quarantine") {
		t.Errorf("in quarantine it is kept back by%s", got)
	}
	if _, err := p.EndQuarantine(ctx, p.helper, now, "loam", c.ID); err != nil {
		t.Fatal(err)
	}
	if got := ready(); strings.Contains(got, "quarantine") {
		t.Errorf("out of quarantine it is kept back by%s", got)
	}
}

// A keeper who keeps the animal after all takes all of it back, and what is
// written of the way goes with a keeper who leaves.
func TestReturnIsTakenBack(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	_, c, keeper := p.sold(t)
	now := t0.Add(20 * day)
	for _, want := range []bool{true, false, true} {
		if _, err := p.GiveBack(ctx, keeper, now, "loam", c.ID, want); err != nil {
			t.Fatal(err)
		}
		if is := p.look(t, c).Return; is != (care.Return{}) {
			t.Errorf("%+v", is)
		}
		if !want {
			continue
		}
		if _, err := p.AgreeReturn(ctx, p.loam, now, "loam", c.ID, "from 4 Mill Lane"); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := p.Leave(ctx, keeper, now, func(care.Tx, string, string) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if is := p.look(t, c).Return; is != (care.Return{}) {
		t.Errorf("%+v", is)
	}
}
