package followup_test

import (
	"testing"
	"time"

	"warmhand/internal/care"
)

// How far messages have come goes forward only, and what was read has arrived.
func TestAcknowledge(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	now := t0.Add(10 * day)
	changes, stop := p.Watch("loam")
	defer stop()
	for i, x := range []struct{ got, read, wantGot, wantRead *time.Time }{
		{nil, nil, nil, nil},
		{ptr(t0.Add(day)), nil, ptr(t0.Add(day)), nil},
		{nil, ptr(t0.Add(2 * day)), ptr(t0.Add(2 * day)), ptr(t0.Add(2 * day))},
		{ptr(t0), ptr(t0), ptr(t0.Add(2 * day)), ptr(t0.Add(2 * day))},
		{ptr(t0.AddDate(1, 0, 0)), nil, &now, ptr(t0.Add(2 * day))}, // a phone whose clock is wrong
	} {
		if err := p.Acknowledge(t.Context(), keeper, now, "loam", c.ID, x.got, x.read); err != nil {
			t.Fatal(err)
		}
		is := p.look(t, c)
		same := func(a, b *time.Time) bool { return a == nil && b == nil || a != nil && b != nil && a.Equal(*b) }
		if !same(is.GotAt, x.wantGot) || !same(is.ReadAt, x.wantRead) {
			t.Errorf("%d: got %v, read %v", i, is.GotAt, is.ReadAt)
		}
	}
	if n := len(changes); n != 3 {
		t.Errorf("told %d times, not only when something changed", n)
	}
	for _, who := range []care.Actor{p.loam, p.helper, p.other, {Kind: care.KeeperActor, KeeperID: "someone"}} {
		if err := p.Acknowledge(t.Context(), who, now, "loam", c.ID, &now, &now); !care.IsCode(err, care.NotFound) {
			t.Errorf("%+v: %v", who, err)
		}
	}
	if _, err := p.Leave(t.Context(), keeper, now, func(care.Tx, string, string) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if is := p.look(t, c); is.GotAt != nil || is.ReadAt != nil {
		t.Errorf("when somebody who has left read is still here: %v, %v", is.GotAt, is.ReadAt)
	}
}

func TestPhrases(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	b, err := p.UpdateBreeder(t.Context(), p.loam, t0, care.Breeder{ID: "loam", Phrases: []string{"Leave [animal] alone.", " "}}, []string{"phrases"})
	if err != nil || len(b.Phrases) != 1 || b.Name == "" {
		t.Fatalf("%+v, %v", b, err)
	}
	if _, err := p.UpdateBreeder(t.Context(), p.loam, t0, care.Breeder{ID: "loam", Name: "Loam", TimeZone: "UTC", Hemi: care.North}, nil); err != nil {
		t.Fatal(err)
	}
	if b, err = p.GetBreeder(t.Context(), p.helper, "loam"); err != nil || len(b.Phrases) != 1 {
		t.Errorf("a page that knows no phrases took them: %+v, %v", b, err)
	}
	_, err = p.UpdateBreeder(t.Context(), p.loam, t0, care.Breeder{ID: "loam", Phrases: []string{"[nobody]"}}, []string{"phrases"})
	wantField(t, err, "breeder.phrases[0]")
	if _, err := p.UpdateBreeder(t.Context(), p.helper, t0, care.Breeder{ID: "loam"}, []string{"phrases"}); !care.IsCode(err, care.Denied) {
		t.Errorf("a helper: %v", err)
	}
}

// The look at what came of a step goes with the course, for both.
func TestCourseLooksBack(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	p.log(t, keeper, c, t0.Add(8*day), care.Offer{Result: care.Refused, Prey: "rat"})
	p.log(t, p.loam, c, t0.Add(9*day), care.StepAgreed{Code: "leave_in_peace", HoldsDays: 5})
	p.log(t, keeper, c, t0.Add(15*day), care.Offer{Result: care.Eaten, Prey: "rat"})
	for _, who := range []care.Actor{p.loam, keeper} {
		course, _, err := p.Course(t.Context(), who, t0.Add(16*day), "loam", c.ID)
		if err != nil || len(course.Looks) != 1 || course.Looks[0].After.Eaten != 1 || course.Looks[0].After.Offers != 1 {
			t.Errorf("%+v, %v", course.Looks, err)
		}
	}
}
