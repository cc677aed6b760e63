package followup_test

import (
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/internal/assess"
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

// What a trial says of the present thresholds is what truly happened while the
// cases were open; nothing is saved by it.
func TestTryThresholds(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	type sale struct {
		c     care.Case
		steps int // day on which the service first said to step in, -1
	}
	var sales []sale
	now := t0
	outcomes := []care.Outcome{care.OutcomeReturned, care.OutcomeSettled, care.OutcomeDied, care.OutcomeSettled, ""}
	for i, outcome := range outcomes {
		_, c, keeper := p.sold(t)
		s := sale{c, -1}
		for d := 1; d <= 42; d++ {
			now = t0.Add(time.Duration(d) * day)
			if d%6 == 0 {
				result := care.Refused
				if i == 1 {
					result = care.Eaten
				}
				p.log(t, keeper, c, now.Add(-time.Hour), care.Offer{Result: result, Prey: "rat", PreyState: care.Thawed, PreyMass: 9})
			}
			if _, err := p.Pass(ctx, now); err != nil {
				t.Fatal(err)
			}
			if p.get(t, c).Case.Standing >= care.StepIn && s.steps < 0 {
				s.steps = d
			}
		}
		if outcome != "" {
			if _, err := p.EndCase(ctx, p.loam, now, "loam", c.ID, outcome, "", "end-"+c.ID); err != nil {
				t.Fatal(err)
			}
		}
		sales = append(sales, s)
	}
	// A handover that was taken back is no case.
	h, _ := p.handover(t, p.animal(t), t0)
	if _, err := p.RevokeHandover(ctx, p.loam, t0, "loam", h.ID); err != nil {
		t.Fatal(err)
	}
	before := p.get(t, sales[4].c).Case

	wary, err := p.TryThresholds(ctx, p.helper, now, "loam", care.Thresholds{Watch: .05, Act: .2})
	if err != nil {
		t.Fatal(err)
	}
	sum := &wary.Sum
	if wary.Total != 5 || sum.Cases != 5 || sum.Bad != 2 || sum.Settled != 2 || sum.Weeks() != 7 || len(wary.Cases) != wary.Changed || wary.Changed != 4 {
		t.Errorf("%d of %d, %d changed: %+v", sum.Cases, wary.Total, wary.Changed, sum)
	}
	if sum.Present.BadFound != 2 || sum.Present.SettledCalled != 1 || sum.Present.Calls != 4 || sum.Proposed.BadFound != 2 || sum.Proposed.SettledCalled != 1 || sum.Proposed.MedianLead() <= sum.Present.MedianLead() {
		t.Errorf("now %+v, then %+v", sum.Present, sum.Proposed)
	}
	for i, c := range wary.Cases {
		at := slices.IndexFunc(sales, func(s sale) bool { return s.c.ID == c.Case.ID })
		if s := sales[at]; c.Present.First[care.StepIn] != s.steps || s.steps < 0 || c.Proposed.First[care.StepIn] >= s.steps || c.Present.Days != 42 || c.Animal.Name == "" {
			t.Errorf("it was to be stepped into on day %d, and %+v", s.steps, c)
		}
		if bad := outcomes[at] != "" && outcomes[at] != care.OutcomeSettled; bad != (i < 2) {
			t.Errorf("place %d has one that is %q", i, outcomes[at])
		}
	}
	if !strings.Contains(sum.Caution().String(), "too little") || strings.Contains((&assess.Trials{}).Caution().String(), "too little") {
		t.Error(sum.Caution())
	}
	lax, err := p.TryThresholds(ctx, p.loam, now, "loam", care.Thresholds{Watch: .6, Act: .8})
	if err != nil || lax.Sum.Proposed.Calls >= lax.Sum.Present.Calls || lax.Sum.Present.Calls != sum.Present.Calls {
		t.Errorf("%+v, %v", lax.Sum, err)
	}
	same, err := p.TryThresholds(ctx, p.loam, now, "loam", care.Thresholds{})
	if err != nil || same.Changed != 0 || !reflect.DeepEqual(same.Sum.Present, same.Sum.Proposed) {
		t.Errorf("%+v, %v", same, err)
	}
	after := p.get(t, sales[4].c).Case
	if after.Version != before.Version || after.Standing != before.Standing {
		t.Error("trying has changed a case")
	}
	none, err := p.TryThresholds(ctx, p.other, now, "fern", care.Thresholds{Act: .5})
	if err != nil || none.Total != 0 || !strings.Contains(none.Sum.Caution().String(), "no cases") {
		t.Errorf("%+v, %v", none, err)
	}
	if _, err := p.TryThresholds(ctx, p.other, now, "loam", care.Thresholds{}); !care.IsCode(err, care.NotFound) {
		t.Errorf("another breeder: %v", err)
	}
	_, err = p.TryThresholds(ctx, p.loam, now, "loam", care.Thresholds{SilenceGaps: 9})
	wantField(t, err, "thresholds.own.silence_gaps")
	gone, stop := context.WithCancel(ctx)
	stop()
	if _, err := p.TryThresholds(gone, p.loam, now, "loam", care.Thresholds{}); err == nil {
		t.Error("goes on for nobody")
	}
}

// Of very many cases the newest thousand are looked at, and it is said so.
func TestTryThresholdsIsBounded(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	const cases = 1003
	p.write(t, func(tx care.Tx) error {
		for i := range cases {
			id, at := fmt.Sprintf("c-%04d", i), t0.Add(-time.Duration(i)*time.Hour)
			if err := tx.InsertAnimal(care.Animal{BreederID: "loam", ID: id, Name: id, Species: "python_regius", Sex: care.Male, CreatedAt: at, Version: 1}); err != nil {
				return err
			}
			if err := tx.InsertHandover(care.Handover{BreederID: "loam", ID: id, AnimalID: id, State: care.HandoverIssued, HandedOverAt: at, CreatedAt: at, Version: 1}); err != nil {
				return err
			}
			// The oldest are the most urgent, and all are silent.
			if err := tx.InsertCase(care.Case{BreederID: "loam", ID: id, AnimalID: id, KeeperID: "k", HandedOverAt: at, Urgency: float64(i) / cases, CreatedAt: at, Version: 1}); err != nil {
				return err
			}
		}
		return nil
	})
	tried, err := p.TryThresholds(t.Context(), p.loam, t0.Add(40*day), "loam", care.Thresholds{FirstWordDays: 40})
	if err != nil || tried.Total != cases || tried.Sum.Cases != 1000 || tried.Changed != 1000 || len(tried.Cases) != 50 || tried.Cases[0].Case.ID != "c-0000" {
		t.Errorf("%d of %d, %d changed, %d shown: %v", tried.Sum.Cases, tried.Total, tried.Changed, len(tried.Cases), err)
	}
}

// A breeder's own plan of check-ins reaches the open cases in the next pass.
func TestUpdateCheckIns(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	_, c, keeper := p.sold(t)
	asked := func(code string) bool {
		return slices.ContainsFunc(p.get(t, c).Assessment.CheckIns, func(k assess.CheckIn) bool { return k.Code == code })
	}
	if !asked(care.CheckInFirstNight) {
		t.Fatalf("%+v", p.get(t, c).Assessment.CheckIns)
	}
	plan := care.CheckIns{FirstNight: care.NotAsked, SettlingIn: 4}
	b, err := p.UpdateCheckIns(ctx, p.loam, t0, "loam", plan, 0)
	if err != nil || b.CheckIns != plan {
		t.Fatalf("%+v, %v", b, err)
	}
	if n, err := p.Pass(ctx, t0); err != nil || n != 1 {
		t.Fatalf("%d, %v", n, err)
	}
	if asked(care.CheckInFirstNight) {
		t.Errorf("still asked: %+v", p.get(t, c).Assessment.CheckIns)
	}
	if again, err := p.UpdateCheckIns(ctx, p.loam, t0, "loam", plan, b.Version); err != nil || again.Version != b.Version {
		t.Errorf("the same again: %+v, %v", again, err)
	}
	for name, x := range map[string]struct {
		who     care.Actor
		plan    care.CheckIns
		version int64
		code    care.Code
	}{
		"a helper":        {p.helper, plan, 0, care.Denied},
		"the keeper":      {keeper, plan, 0, care.NotFound},
		"another breeder": {p.other, plan, 0, care.NotFound},
		"an old version":  {p.loam, care.CheckIns{}, b.Version + 7, care.Stale},
		"out of bounds":   {p.loam, care.CheckIns{MonthEnd: 400}, 0, care.Invalid},
	} {
		if _, err := p.UpdateCheckIns(ctx, x.who, t0, "loam", x.plan, x.version); !care.IsCode(err, x.code) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
