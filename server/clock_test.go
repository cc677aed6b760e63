package server

import (
	"testing"
	"time"

	"warmhand/internal/care"
)

// Work by the clock rests after a jump ahead, and goes on when the clock is back, or
// when it has stayed there for an hour. Sleep is no jump.
func TestClockJumps(t *testing.T) {
	t.Parallel()
	wall, up := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC), 5*time.Hour
	c := &clock{uptime: func() time.Duration { return up }}
	worked := 0
	try := c.steady(func() time.Time { return wall }, func() error { worked++; return nil })
	for _, step := range []struct {
		what           string
		passed, jumped time.Duration
		rests          bool
	}{
		{"the first look", 0, 0, false},
		{"a minute", time.Minute, 0, false},
		{"a night asleep", 10 * time.Hour, 0, false},
		{"put right by a little", time.Minute, 40 * time.Minute, false},
		{"a year ahead", time.Minute, 365 * 24 * time.Hour, true},
		{"still ahead", 30 * time.Minute, 0, true},
		{"put right", time.Minute, -365 * 24 * time.Hour, false},
		{"far back", time.Minute, -365 * 24 * time.Hour, false},
		{"ahead to where it was", time.Minute, 365 * 24 * time.Hour, true},
		{"not long enough", 59 * time.Minute, 0, true},
		{"an hour", time.Minute, 0, false},
		{"from then on", time.Hour, 0, false},
	} {
		wall, up = wall.Add(step.passed+step.jumped), up+step.passed
		before := worked
		err := try()
		if (err != nil) != step.rests || (worked == before) != step.rests {
			t.Errorf("%s: %v, worked %v", step.what, err, worked > before)
		}
	}
	if a := uptime(); a <= 0 || uptime() < a {
		t.Error("the machine's own time does not go on")
	}
}

// What was done while a wrong clock was believed is put right after it is back: cases
// are looked at, and people too.
func TestAfterAWrongClock(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	s, err := New(t.Context(), Config{DataDir: t.TempDir(), Listen: "127.0.0.1:0", Now: func() time.Time { return now }, PassEvery: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ctx := care.WithReach(t.Context(), care.EverybodysReach)
	if err := s.store.Write(ctx, func(tx care.Tx) error {
		if err := tx.InsertBreeder(care.Breeder{ID: "b1", Name: "B", TimeZone: "UTC", Hemi: care.North, CreatedAt: now, Version: 1}); err != nil {
			return err
		}
		if err := tx.InsertAnimal(care.Animal{BreederID: "b1", ID: "a1", Name: "A", Species: "python_regius", CreatedAt: now}); err != nil {
			return err
		}
		if err := tx.InsertHandover(care.Handover{BreederID: "b1", ID: "c1", AnimalID: "a1", State: care.HandoverIssued, HandedOverAt: now, CodeHash: "x", CreatedAt: now, Version: 1}); err != nil {
			return err
		}
		return tx.InsertCase(care.Case{BreederID: "b1", ID: "c1", AnimalID: "a1", HandedOverAt: now, CreatedAt: now, Version: 1})
	}); err != nil {
		t.Fatal(err)
	}
	pass := func() int {
		n, err := s.followup.Pass(ctx, now)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	now = now.AddDate(1, 0, 0)
	ahead := pass()
	now = now.AddDate(-1, 0, 2)
	without := pass()
	if err := s.clean(ctx); err != nil {
		t.Fatal(err)
	}
	if after := pass(); ahead != 1 || without != 0 || after != 1 || pass() != 0 {
		t.Errorf("looked at %d a year ahead, then %d, and %d after what was put off came forward", ahead, without, after)
	}
}
