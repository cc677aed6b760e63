package care

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"warmhand/internal/words"
)

func TestUpdateFlags(t *testing.T) {
	t.Parallel()
	c := Case{BreederID: "b", ID: "c"}
	var flags []Flag
	at := now
	// step finds something a day later and keeps what changed, as a store does.
	step := func(found ...Concern) (changed []Flag) {
		at = at.Add(24 * time.Hour)
		before := slices.Clone(flags)
		for i := range before {
			before[i].History = slices.Clone(before[i].History)
		}
		changed = UpdateFlags(&c, flags, found, at)
		if !reflect.DeepEqual(before, flags) {
			t.Error("what was passed in was changed")
		}
	put:
		for _, f := range changed {
			for i := range flags {
				if flags[i].ID == f.ID {
					flags[i] = f
					continue put
				}
			}
			flags = append(flags, f)
		}
		return changed
	}
	watch, in, vet := Concern{Code: "refusal", Level: Watch, Text: words.Say("twice")}, Concern{Code: "refusal", Level: StepIn, Text: words.Say("five times")}, Concern{Code: "refusal", Level: Vet, Text: words.Say("thin")}
	silent := Concern{Code: "silence", Level: Watch, Text: words.Say("nothing heard")}

	if got := step(); got != nil {
		t.Errorf("nothing found: %+v", got)
	}
	if got := step(Concern{Code: "refusal", Level: Settled}); got != nil {
		t.Errorf("a concern of no concern: %+v", got)
	}
	got := step(watch)
	want := Flag{BreederID: "b", CaseID: "c", ID: "refusal-1", Code: "refusal", Level: Watch, Text: words.Say("twice"), OpenedAt: at, History: []FlagChange{{at, Watch, "opened", words.Say("twice")}}}
	if len(got) != 1 || !reflect.DeepEqual(got[0], want) {
		t.Errorf("opened: %+v", got)
	}
	if got = step(watch); got != nil {
		t.Errorf("as before: %+v", got)
	}
	if got = step(watch, Concern{Code: "sign:thin", Level: Watch}, Concern{Code: "sign:thin", Level: Watch}); len(got) != 1 || got[0].ID != "sign:thin-1" {
		t.Errorf("one concern named twice: %+v", got)
	}
	step(watch)
	if got = step(in, silent); len(got) != 2 || got[0].History[1].What != "rose" || got[0].Level != StepIn || got[0].Text.String() != "five times" || got[1].ID != "silence-1" {
		t.Errorf("rose, and another opened: %+v", got)
	}
	step(vet, silent)
	if got = step(watch, silent); len(got) != 1 || got[0].History[3].What != "fell" || got[0].Level != Watch {
		t.Errorf("fell: %+v", got)
	}
	closed := step(Concern{Code: "refusal", Level: Settled}, silent)
	if len(closed) != 1 || closed[0].ClosedAt == nil || !closed[0].ClosedAt.Equal(at) || closed[0].Level != Watch || len(closed[0].History) != 5 || closed[0].History[4].What != "closed" {
		t.Errorf("closed: %+v", closed)
	}
	if got = step(watch, silent); len(got) != 1 || got[0].ID != "refusal-2" || len(got[0].History) != 1 {
		t.Errorf("opened anew: %+v", got)
	}
	if got = step(); len(got) != 2 {
		t.Errorf("all closed: %+v", got)
	}
	if got = step(); got != nil {
		t.Errorf("closed stays closed: %+v", got)
	}
	if len(flags) != 4 {
		t.Errorf("%d flags", len(flags))
	}
}
