package followup_test

import (
	"fmt"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/followup"
)

// The stock book says of each animal what its own record says, and what its
// clutch mates weighed here.
func TestListStock(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	hatched := t0.Add(-70 * day).Truncate(24 * time.Hour)
	whole := true
	add := func(name, clutch string, mass care.Grams) care.Animal {
		a, err := p.CreateAnimal(t.Context(), p.loam, t0.Add(-60*day), care.Animal{BreederID: "loam", Name: name, Species: "python_regius", Hatched: &hatched, Clutch: clutch, Note: "half price", Place: "rack 2 tub 14"})
		if err != nil {
			t.Fatal(err)
		}
		history := func(days int, body care.Body) {
			at := t0.Add(-time.Duration(days) * day)
			if _, err := p.CreateEntry(t.Context(), p.loam, at, care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("history"), HappenedAt: at, Body: body}); err != nil {
				t.Fatal(err)
			}
		}
		for _, days := range []int{24, 17, 10} {
			history(days, care.Offer{Result: care.Eaten, Prey: "rat", PreyState: care.Thawed, PreyMass: 7})
		}
		history(20, care.Shed{Stage: care.ShedDone, Complete: &whole})
		history(5, care.WeighIn{Mass: mass})
		return a
	}
	ready, small := add("ready", "26-1", 100), add("small", "26-1 ", 69)
	add("third", "26-1", 110)
	sold := add("sold", "26-1", 900)
	back := add("back", "", 90)

	_, code := p.handover(t, sold, t0)
	keeper, _ := p.claim(t, code, t0.Add(time.Hour))
	h, code := p.handover(t, back, t0)
	_, v := p.claim(t, code, t0.Add(time.Hour))
	if _, err := p.EndCase(t.Context(), p.loam, t0.Add(day), "loam", v.Case.ID, care.OutcomeReturned, "", p.id("end")); err != nil {
		t.Fatal(err)
	}
	revoked, _ := p.handover(t, ready, t0)
	if _, err := p.RevokeHandover(t.Context(), p.loam, t0.Add(time.Hour), "loam", revoked.ID); err != nil {
		t.Fatal(err)
	}

	now := t0.Add(2 * day)
	got := map[string]followup.StockAnimal{}
	pages := 0
	for after := (care.Cursor{}); ; pages++ {
		list, next, err := p.ListStock(t.Context(), p.loam, now, "loam", after, 2)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range list {
			got[a.Animal.Name] = a
		}
		if after = next; next == (care.Cursor{}) {
			break
		}
	}
	if len(got) != 5 || pages != 2 {
		t.Fatalf("%d animals, %d pages", len(got), pages+1)
	}
	a := got["ready"]
	if !a.Ready.Ready || a.Away || a.CaseID != "" || len(a.Ready.Points) != 0 || a.Weighed.Mass != 100 || a.Animal.Place != "rack 2 tub 14" ||
		a.LastMeal == nil || !a.LastMeal.HappenedAt.Equal(t0.Add(-10*day)) || a.OfferAgain != 7 {
		t.Errorf("ready: %+v", a)
	}
	// The middle of its clutch is 100 g and 110 g; the one that was sold had its 900 g here, too.
	a = got["small"]
	if a.Ready.Ready || len(a.Ready.Points) != 1 || a.Ready.Points[0].Code != "clutch" || a.Ready.Points[0].Missing.String() != "77 g (2.7 oz), as its clutch stands now" {
		t.Errorf("small: %+v", a.Ready)
	}
	if a = got["sold"]; !a.Away || a.CaseID == "" || a.LastMeal != nil || len(a.Ready.Points) != 0 || a.Ready.Ready || a.OfferAgain != 0 {
		t.Errorf("sold: %+v", a)
	}
	if a = got["back"]; a.Away || a.CaseID != h.ID || a.Outcome != care.OutcomeReturned || !a.Ready.Ready {
		t.Errorf("back: %+v", a)
	}

	one, err := p.GetStockAnimal(t.Context(), p.helper, now, "loam", small.ID)
	if err != nil || one.Ready.Ready || len(one.Ready.Points) < 5 || one.Ready.Points[0].Verdict != assess.Met {
		t.Errorf("one: %+v, %v", one.Ready, err)
	}
	for name, who := range map[string]care.Actor{"another breeder": p.other, "a keeper": keeper, "nobody": {}} {
		if _, _, err := p.ListStock(t.Context(), who, now, "loam", care.Cursor{}, 10); !care.IsCode(err, care.NotFound) {
			t.Errorf("%s lists: %v", name, err)
		}
		if _, err := p.GetStockAnimal(t.Context(), who, now, "loam", small.ID); !care.IsCode(err, care.NotFound) {
			t.Errorf("%s reads: %v", name, err)
		}
	}
	// Where it is kept is no keeper's to know.
	if a, err := p.GetAnimal(t.Context(), keeper, "loam", sold.ID); err != nil || a.Note != "" || a.Place != "" {
		t.Errorf("for the keeper: %+v, %v", a, err)
	}
	if h, err := p.GetHandover(t.Context(), keeper, "loam", got["sold"].CaseID); err != nil || h.Record.Animal.Place != "" {
		t.Errorf("in the record: %q, %v", h.Record.Animal.Place, err)
	}
	if err := p.DeleteAnimal(t.Context(), p.loam, now, "loam", small.ID); err != nil {
		t.Fatal(err)
	}
	if _, err := p.GetStockAnimal(t.Context(), p.loam, now, "loam", small.ID); !care.IsCode(err, care.NotFound) {
		t.Errorf("taken out: %v", err)
	}
}

// A stock book of 150 animals with a year's log each, as a phone asks for it.
func BenchmarkListStock(b *testing.B) {
	p := newPlace(b)
	hatched := t0.Add(-360 * day).Truncate(24 * time.Hour)
	p.write(b, func(tx care.Tx) error {
		for i := range 150 {
			a := care.Animal{BreederID: "loam", ID: fmt.Sprintf("a%03d", i), Name: fmt.Sprint("tub ", i), Species: "python_regius", Hatched: &hatched, Clutch: fmt.Sprint("26-", i%20), CreatedAt: t0, Version: 1}
			if err := tx.InsertAnimal(a); err != nil {
				return err
			}
			for d := range 100 {
				var body care.Body = care.Offer{Result: care.Eaten, Prey: "rat", PreyState: care.Thawed, PreyMass: 9}
				if d%3 == 0 {
					body = care.WeighIn{Mass: care.Grams(60 + d)}
				}
				e := care.Entry{BreederID: "loam", AnimalID: a.ID, ID: fmt.Sprint("e", d), HappenedAt: hatched.Add(time.Duration(d) * 3 * day), ReceivedAt: t0, Body: body}
				if err := tx.InsertEntry(e); err != nil {
					return err
				}
			}
		}
		return nil
	})
	for b.Loop() {
		list, _, err := p.ListStock(b.Context(), p.loam, t0, "loam", care.Cursor{}, 200)
		if err != nil || len(list) != 150 {
			b.Fatal(len(list), err)
		}
	}
}
