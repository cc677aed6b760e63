package followup_test

import (
	"testing"

	"warmhand/internal/care"
)

// A breeder's own thresholds move the standing of the open cases, with their
// flags, in the next pass and not in the request; ended cases stay as they ended.
func TestUpdateThresholds(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	_, c, keeper := p.sold(t)
	now := t0
	for range 5 {
		now = now.Add(7 * day)
		p.log(t, keeper, c, now, care.Offer{Result: care.Refused, Prey: "rat", PreyState: care.Thawed})
	}
	was := p.get(t, c).Case
	if was.Standing != care.StepIn {
		t.Fatalf("after five refusals: %v", was.Standing)
	}
	ends := func() care.Standing {
		t.Helper()
		course, _, err := p.Course(ctx, p.loam, now, "loam", c.ID)
		if err != nil {
			t.Fatal(err)
		}
		return course.Days[len(course.Days)-1].Standing
	}
	easy := care.Thresholds{Watch: .6, Act: .8}
	b, err := p.UpdateThresholds(ctx, p.loam, now, "loam", easy, 0)
	if err != nil || b.Thresholds != easy {
		t.Fatalf("%+v, %v", b, err)
	}
	between := p.get(t, c).Case
	if between.Standing != was.Standing || between.Version == was.Version || between.DueAt.After(now) {
		t.Errorf("in the request: %+v", between)
	}
	if s := ends(); s != between.Standing {
		t.Errorf("before it is assessed anew its course ends in %v, and it is shown as %v", s, between.Standing)
	}
	if n, err := p.Pass(ctx, now); err != nil || n != 1 {
		t.Fatalf("%d, %v", n, err)
	}
	after := p.get(t, c).Case
	if after.Standing >= was.Standing || after.Thresholds != easy || after.Version <= between.Version || ends() != after.Standing {
		t.Errorf("%v became %v by %+v; its course ends in %v", was.Standing, after.Standing, after.Thresholds, ends())
	}
	for _, f := range p.flags(t, c) {
		if f.ClosedAt == nil && f.Level > after.Standing {
			t.Errorf("the flag did not follow: %+v", f)
		}
	}
	// The same again is no change.
	if again, err := p.UpdateThresholds(ctx, p.loam, now, "loam", easy, b.Version); err != nil || again.Version != b.Version || p.get(t, c).Case.Version != after.Version {
		t.Errorf("%+v, %v", again, err)
	}
	// A sign is for a vet whatever the thresholds are.
	p.log(t, keeper, c, now, care.Sign{Code: "wheeze"})
	if got := p.get(t, c).Case; got.Standing != care.Vet {
		t.Errorf("a wheeze: %v", got.Standing)
	}
	if _, err := p.EndCase(ctx, p.loam, now, "loam", c.ID, care.OutcomeVet, "", "end-1"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.UpdateThresholds(ctx, p.loam, now, "loam", care.Thresholds{}, b.Version); err != nil {
		t.Fatal(err)
	}
	if n, err := p.Pass(ctx, now.Add(day)); err != nil || n != 0 {
		t.Errorf("%d ended cases were assessed anew, %v", n, err)
	}
	if got := p.get(t, c).Case; got.Thresholds != easy {
		t.Errorf("an ended case goes by %+v", got.Thresholds)
	}
	if _, err := p.ReopenCase(ctx, p.loam, now, "loam", c.ID, "open-1"); err != nil {
		t.Fatal(err)
	}
	if got := p.get(t, c).Case; got.Thresholds != (care.Thresholds{}) {
		t.Errorf("opened again it goes by %+v", got.Thresholds)
	}

	for name, x := range map[string]struct {
		who     care.Actor
		version int64
		code    care.Code
	}{
		"a helper":        {p.helper, 0, care.Denied},
		"the keeper":      {keeper, 0, care.NotFound},
		"another breeder": {p.other, 0, care.NotFound},
		"an old version":  {p.loam, b.Version, care.Stale},
	} {
		if _, err := p.UpdateThresholds(ctx, x.who, now, "loam", easy, x.version); !care.IsCode(err, x.code) {
			t.Errorf("%s: %v", name, err)
		}
	}
	_, err = p.UpdateThresholds(ctx, p.loam, now, "loam", care.Thresholds{Lost: .8}, 0)
	wantField(t, err, "thresholds.own.lost_from")
}
