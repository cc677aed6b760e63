package care

import (
	"reflect"
	"testing"
)

func TestWithoutPerson(t *testing.T) {
	t.Parallel()
	in := func(id string, by ActorKind, body Body) Entry {
		return Entry{ID: id, CaseID: "c", By: by, ByID: string(by), Note: "Robin was away", Body: body}
	}
	first, second := in("m1", KeeperActor, Message{Text: "Hi"}), in("m2", KeeperActor, Message{Text: "Hello", Photos: []string{"p"}})
	first.ReplacedBy, second.Replaces = "m2", "m1"
	taken, back := in("m3", KeeperActor, Message{Text: "Oops"}), in("w1", KeeperActor, Withdrawal{})
	taken.ReplacedBy, back.Replaces = "w1", "m3"
	weight, undone := in("e1", KeeperActor, WeighIn{Mass: 90}), in("w2", KeeperActor, Withdrawal{})
	weight.ReplacedBy, undone.Replaces = "w2", "e1"
	history, elsewhere := in("h1", BreederOwner, WeighIn{Mass: 80}), in("x1", KeeperActor, Message{Text: "another's"})
	history.CaseID, elsewhere.CaseID = "", "other"
	bare := in("s1", BreederOwner, StepAgreed{Code: "weigh"})
	bare.Note = ""
	log := []Entry{history, first, second, taken, back, weight, undone, elsewhere, bare,
		in("b1", BreederOwner, Message{Text: "Dear Robin"}),
		in("u1", KeeperActor, SetupCheck{Answers: []SetupAnswer{{Point: "doors", Choice: "shut", Measure: 3, Note: "my desk", Photos: []string{"p"}}}}),
	}
	changed, drop := WithoutPerson(log, "c", "gone-1")
	if want := []string{"m1", "m3", "w1", "b1"}; !reflect.DeepEqual(drop, want) {
		t.Errorf("dropped %v, want %v", drop, want)
	}
	got := map[string]Entry{}
	for _, e := range changed {
		got[e.ID] = e
		if e.Note != "" || e.ByID != "gone-1" || e.CaseID != "c" {
			t.Errorf("%+v", e)
		}
	}
	if len(got) != 4 || got["m2"].Body != (Seen{}) || got["m2"].Replaces != "" || got["e1"].Body != (WeighIn{Mass: 90}) || got["w2"].Replaces != "e1" {
		t.Errorf("changed %+v", changed)
	}
	if want := (SetupCheck{Answers: []SetupAnswer{{Point: "doors", Choice: "shut", Measure: 3}}}); !reflect.DeepEqual(got["u1"].Body, want) {
		t.Errorf("%+v", got["u1"].Body)
	}
	if again, drop := WithoutPerson(changed, "c", "gone-1"); len(again)+len(drop) > 0 {
		t.Errorf("a second time: %v, %v", again, drop)
	}
	if log[len(log)-1].Body.(SetupCheck).Answers[0].Note == "" {
		t.Error("the log that came in was changed")
	}
}
