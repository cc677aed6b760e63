package followup_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
)

func TestReview(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	ctx := t.Context()
	now := t0.Add(day)
	add := func(who care.Actor, id string, at time.Time) {
		t.Helper()
		if _, err := p.AddPhoto(ctx, who, at, care.Photo{BreederID: "loam", CaseID: c.ID, ID: id, Hash: id, Source: id}); err != nil {
			t.Fatal(err)
		}
	}
	list := func(who care.Actor) []followup.NewPhoto {
		t.Helper()
		all, _, err := p.NewPhotos(ctx, who, "loam", care.Cursor{}, 20)
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	add(keeper, "first", now)
	add(p.loam, "ours", now)
	p.log(t, keeper, c, now, care.SetupCheck{Answers: []care.SetupAnswer{{Point: "tubes", Choice: "very_wide", Photos: []string{"first"}, Note: "A roll."}}})
	all := list(p.helper)
	if len(all) != 1 || all[0].Photo.ID != "first" || all[0].Answer.Point != "tubes" || all[0].Note != "A roll." || all[0].Mark != nil || all[0].Animal.ID != c.AnimalID {
		t.Fatalf("new photos: %+v", all)
	}

	// The breeder pins a hazard; the flag opens, and the keeper's next picture has it beside it.
	mark := care.Mark{Kind: care.MarkHazard, Point: "tubes", Photo: "first", At: &care.Spot{X: 800, Y: 600}}
	p.log(t, p.loam, c, now.Add(time.Hour), care.Message{Text: "The roll is too narrow at this end.", Mark: &mark})
	open := func() bool {
		return slices.ContainsFunc(p.flags(t, c), func(f care.Flag) bool { return f.Code == "setup:tubes" && f.ClosedAt == nil })
	}
	if !open() {
		t.Error("no flag is open")
	}
	add(keeper, "second", now.Add(2*time.Hour))
	p.log(t, keeper, c, now.Add(2*time.Hour), care.SetupCheck{Answers: []care.SetupAnswer{{Point: "tubes", Choice: "very_wide", Photos: []string{"first", "second"}}}})
	if err := p.LookAtPhoto(ctx, p.loam, now.Add(3*time.Hour), "loam", c.ID, "first"); err != nil {
		t.Fatal(err)
	}
	if all = list(p.loam); len(all) != 1 || all[0].Photo.ID != "second" || all[0].Mark == nil || all[0].Mark.Photo != "first" || all[0].MarkText != "The roll is too narrow at this end." {
		t.Fatalf("after the mark: %+v", all)
	}
	if !open() {
		t.Error("the keeper's word closed the breeder's flag")
	}
	p.log(t, p.loam, c, now.Add(4*time.Hour), care.Message{Text: "It is fine now.", Mark: &care.Mark{Kind: care.MarkFine, Point: "tubes", Photo: "second"}})
	if open() {
		t.Error("the breeder's word did not close it")
	}

	// Others.
	if _, _, err := p.NewPhotos(ctx, p.other, "loam", care.Cursor{}, 20); !care.IsCode(err, care.NotFound) {
		t.Errorf("another breeder's list: %v", err)
	}
	for name, err := range map[string]error{
		"another breeder": p.LookAtPhoto(ctx, p.other, now, "loam", c.ID, "second"),
		"the keeper":      p.LookAtPhoto(ctx, keeper, now, "loam", c.ID, "second"),
		"another case":    p.LookAtPhoto(ctx, p.loam, now, "loam", "other", "second"),
		"no such photo":   p.LookAtPhoto(ctx, p.loam, now, "loam", c.ID, "third"),
	} {
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("%s: %v", name, err)
		}
	}
	entry := care.Entry{BreederID: "loam", AnimalID: c.AnimalID, CaseID: c.ID, HappenedAt: now, Body: care.Message{Text: "Mine.", Mark: &mark}}
	entry.ID = p.id("entry")
	if _, err := p.CreateEntry(ctx, keeper, now.Add(5*time.Hour), entry); !care.IsCode(err, care.Invalid) || !strings.Contains(err.Error(), "breeder") {
		t.Errorf("a keeper's mark: %v", err)
	}
	elsewhere := mark
	elsewhere.Photo = "nowhere"
	entry.ID, entry.Body = p.id("entry"), care.Message{Text: "There.", Mark: &elsewhere}
	if _, err := p.CreateEntry(ctx, p.loam, now.Add(5*time.Hour), entry); !care.IsCode(err, care.Invalid) {
		t.Errorf("a mark in a photo that is not there: %v", err)
	}
}
