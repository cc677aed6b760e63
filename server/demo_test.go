package server

import (
	"log/slog"
	"testing"
	"time"

	"warmhand/internal/care"
)

func TestDemoTellsEveryStory(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 25, 13, 0, 0, 0, time.UTC)
	s, err := New(t.Context(), Config{DataDir: t.TempDir(), Listen: "127.0.0.1:0", PassEvery: -1,
		Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	d, err := s.FillDemo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Breeder) == 0 || len(d.Keepers) != 9 || d.Claim.Code == "" {
		t.Fatalf("addresses are missing: %+v", d)
	}
	owner := care.Actor{Kind: care.BreederOwner, BreederID: "thimblewick", UserID: "thimblewick-owner"}
	list, _, err := s.FollowUp().ListCases(t.Context(), owner, now, "thimblewick", care.CaseQuery{Open: true}, care.Cursor{}, 50)
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != 9 {
		t.Fatalf("%d cases, want 9", len(list))
	}
	ended, _, err := s.FollowUp().ListCases(t.Context(), owner, now, "thimblewick", care.CaseQuery{Closed: true}, care.Cursor{}, 50)
	if err != nil || len(ended) != 1 || ended[0].Animal.Name != "Thistle" || ended[0].Case.Outcome != care.OutcomeReturned {
		t.Errorf("%d cases have ended, want Thistle's alone, returned; %v", len(ended), err)
	}
	want := map[string]care.Standing{"Larch": care.Settled, "Pebble": care.Settled, "Fennel": care.StepIn, "Sorrel": care.Vet, "Quill": care.StepIn}
	seen := map[care.Standing]int{}
	for i, v := range list {
		c, err := s.FollowUp().GetCase(t.Context(), owner, now, "thimblewick", v.Case.ID)
		if err != nil {
			t.Fatal(err)
		}
		a := c.Assessment
		t.Logf("%-8s %-8v %.3f %s | %s", v.Animal.Name, v.Case.Standing, v.Case.Urgency, a.Headline, a.KeeperDo)
		seen[v.Case.Standing]++
		if st, ok := want[v.Animal.Name]; ok && v.Case.Standing != st {
			t.Errorf("%s is %v, its story is told for %v", v.Animal.Name, v.Case.Standing, st)
		}
		if i > 0 && v.Case.Urgency > list[i-1].Case.Urgency {
			t.Errorf("%s stands below a less urgent case", v.Animal.Name)
		}
		if a.Headline.String() == "" || v.Case.KeeperID != "" && (a.KeeperSees.String() == "" || a.KeeperMeans.String() == "" || a.KeeperDo.String() == "" || a.KeeperWorry.String() == "") {
			t.Errorf("%s has an empty text: %+v", v.Animal.Name, a)
		}
	}
	for st := care.Settled; st <= care.Vet; st++ {
		if seen[st] == 0 {
			t.Errorf("no case is %v", st)
		}
	}
	stock, _, err := s.FollowUp().ListStock(t.Context(), owner, now, "thimblewick", care.Cursor{}, 50)
	if err != nil {
		t.Fatal(err)
	}
	ready := map[string]bool{}
	for _, a := range stock {
		if !a.Away {
			ready[a.Animal.Name] = a.Ready.Ready
			t.Logf("%-8s %v %+v", a.Animal.Name, a.Ready.Ready, a.Ready.Points)
		}
	}
	if len(ready) != 9 || !ready["Ling"] || ready["Yarrow"] || ready["Sedge"] {
		t.Errorf("ready for sale: %v", ready)
	}
	if _, err := s.FillDemo(t.Context()); err == nil {
		t.Error("a folder with records was filled again")
	}
}
