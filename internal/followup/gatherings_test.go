package followup_test

import (
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
)

// One clutch refuses in its new homes and the other eats: the breeder reads of
// it, with the animals; nobody else does, and not long after.
func TestGatherings(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	var mother care.Animal
	sell := func(clutch string, refuses bool) care.Case {
		a := p.animal(t)
		if mother.ID == "" {
			mother = p.animal(t)
		}
		a.Clutch = clutch
		if clutch == "" {
			a.MotherID = mother.ID
		}
		a, err := p.UpdateAnimal(t.Context(), p.loam, t0, a, []string{"clutch", "mother"})
		if err != nil {
			t.Fatal(err)
		}
		h, code, err := p.CreateHandover(t.Context(), p.loam, t0, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, ShowDay: " Fernhollow ", RequestID: p.id("request")})
		if err != nil {
			t.Fatal(err)
		}
		keeper, v := p.claim(t, code, t0.Add(time.Hour))
		for d := 7; d <= 21; d += 7 {
			o := care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 9}
			if refuses {
				o.Result = care.Refused
			}
			p.log(t, keeper, v.Case, t0.Add(time.Duration(d)*day), o)
		}
		if v.Case.ID != h.ID {
			t.Fatal("a case has another id than its handover")
		}
		return v.Case
	}
	refusing := map[string]bool{}
	for range 4 {
		refusing[sell("", true).ID] = true
	}
	for range 8 {
		sell("26-2", false)
	}
	now := t0.Add(22 * day)
	list, err := p.Gatherings(t.Context(), p.helper, now, "loam")
	if err != nil || len(list) != 1 {
		t.Fatalf("%+v, %v; want one", list, err)
	}
	g := list[0]
	if len(g.Cases) != 4 || g.Animals != 4 || g.Others != 8 || g.OthersRefusing != 0 || g.ShowDay != "" || !strings.Contains(g.Clutch, mother.Name) || !strings.Contains(g.Text().String(), "4 of 4 animals of the clutch of "+mother.Name) {
		t.Errorf("%+v %s", g.Gathering, g.Text())
	}
	for _, v := range g.Cases {
		if !refusing[v.Case.ID] || v.Animal.ID != v.Case.AnimalID {
			t.Errorf("%+v is named", v)
		}
	}
	for _, who := range []care.Actor{p.other, {Kind: care.KeeperActor, KeeperID: g.Cases[0].Case.KeeperID}, {}} {
		_, err := p.Gatherings(t.Context(), who, now, "loam")
		wantReason(t, err, care.ReasonNotFound)
	}
	if list, err := p.Gatherings(t.Context(), p.loam, t0.Add(121*day), "loam"); err != nil || len(list) > 0 {
		t.Errorf("long after: %+v, %v", list, err)
	}
}
