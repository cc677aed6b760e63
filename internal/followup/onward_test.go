package followup_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/internal/followup"
)

// takeOn claims a code on a phone that nobody is signed in on.
func (p *place) takeOn(t *testing.T, code string, now time.Time) (followup.CaseView, care.Handover, care.Actor, error) {
	t.Helper()
	var who care.Actor
	v, h, err := p.Claim(t.Context(), care.Actor{}, now, code, "Wren", p.id("claim"), func(_ care.Tx, k care.Actor) error { who = k; return nil })
	return v, h, who, err
}

// One keeper passes the animal on to another: the history goes along, the
// person does not.
func TestPassOn(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, first := p.sold(t)
	ctx := t.Context()
	now := t0.Add(2 * day)
	for _, body := range []care.Body{care.WeighIn{Mass: 98}, care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 9}, care.Message{Text: "our secret"},
		care.SetupCheck{Answers: []care.SetupAnswer{{Point: "fumes", Choice: "near_it"}}}, care.Sign{Code: "mites"}, care.Seen{},
		care.ClimateReading{Warm: ptr(care.Celsius(31))}} {
		e := care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("entry"), HappenedAt: now, Note: "Robin's own", Body: body}
		if _, err := p.CreateEntry(ctx, first, now, e); err != nil {
			t.Fatal(err)
		}
	}
	wrong := p.log(t, first, c, now, care.WeighIn{Mass: 95})
	if _, err := p.CreateEntry(ctx, first, now, care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("entry"), HappenedAt: now, Replaces: wrong.ID, Body: care.WeighIn{Mass: 96}}); err != nil {
		t.Fatal(err)
	}

	// Only the keeper makes the code, and only the last one works.
	for _, who := range []care.Actor{p.loam, p.other, {Kind: care.KeeperActor, KeeperID: "somebody"}, {Kind: care.KeeperActor, KeeperID: first.KeeperID, Breeders: "fern"}} {
		if _, _, err := p.PassOn(ctx, who, now, "loam", c.ID); !care.IsCode(err, care.NotFound) {
			t.Errorf("%+v: %v", who, err)
		}
	}
	_, void, err := p.PassOn(ctx, first, now, "loam", c.ID)
	if err != nil {
		t.Fatal(err)
	}
	made, code, err := p.PassOn(ctx, first, now, "loam", c.ID)
	if err != nil {
		t.Fatal(err)
	}
	if h, found, err := p.GetPassOn(ctx, first, now, "loam", c.ID); err != nil || !found || h.ID != made.ID {
		t.Errorf("%+v, %v", h, err)
	}
	if _, err := p.RevokeHandover(ctx, p.loam, now, "loam", made.ID); err == nil {
		t.Error("the breeder took the keeper's code back")
	}
	if _, _, err := p.ReplaceClaimCode(ctx, p.loam, now, "loam", made.ID); err == nil {
		t.Error("the breeder replaced the keeper's code")
	}
	_, _, _, err = p.takeOn(t, void, now)
	wantReason(t, err, care.ReasonCodeRevoked)
	_, _, _, err = p.takeOn(t, code, now.AddDate(0, 0, followup.PassOnDays))
	wantReason(t, err, care.ReasonCodeExpired)
	_, _, err = p.Claim(ctx, first, now, code, "", p.id("claim"), func(care.Tx, care.Actor) error { return nil })
	wantReason(t, err, care.ReasonCodeUsed)
	if v := p.get(t, c); v.Case.ClosedAt != nil {
		t.Fatalf("nobody took it on, and it ended: %+v", v.Case)
	}
	shown, err := p.LookUpClaim(ctx, now, code)
	if err != nil || len(shown.Record.Weights) != 5 || shown.BuyerNote != "" {
		t.Errorf("%d weights, %v", len(shown.Record.Weights), err)
	}

	now = now.Add(day)
	v, h, second, err := p.takeOn(t, code, now)
	if err != nil {
		t.Fatal(err)
	}
	if _, found, err := p.GetPassOn(ctx, first, now, "loam", c.ID); err != nil || found {
		t.Errorf("the code waits still: %v, %v", found, err)
	}
	if h, err := p.GetHandover(ctx, second, "loam", h.ID); err != nil || h.From != "" {
		t.Errorf("the next keeper is shown the case before: %+v, %v", h.From, err)
	}
	if v.Case.ID != h.ID || !v.Case.HandedOverAt.Equal(now) || !slices.Equal(v.Case.Earlier, []string{c.ID}) || v.Assessment.Day != 0 {
		t.Errorf("the next case: %+v, day %d", v.Case, v.Assessment.Day)
	}
	old := p.get(t, c).Case
	if old.Outcome != care.OutcomePassedOn || !old.ClosedAt.Equal(now) || old.KeeperName != "Robin" || openFlags(p.flags(t, old)) != 0 {
		t.Errorf("the case before: %+v", old)
	}
	if second.KeeperID == first.KeeperID {
		t.Fatal("one keeper")
	}
	_, _, _, err = p.takeOn(t, code, now)
	wantReason(t, err, care.ReasonCodeUsed)

	// What the next keeper sees.
	list, _, err := p.ListEntries(ctx, second, "loam", a.ID, nil, "", care.Cursor{}, 100)
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[care.Kind]int{}
	for _, e := range list {
		kinds[e.Body.Kind()]++
		if e.Note != "" || e.ByID == first.KeeperID || e.CaseID != "" || e.ReplacedBy != "" {
			t.Errorf("the next keeper sees %+v", e)
		}
	}
	if kinds[care.KindWeighIn] != 5 || kinds[care.KindOffer] != 4 || kinds[care.KindSign] != 1 || kinds[care.KindClimate] != 1 || len(kinds) != 4 {
		t.Errorf("the next keeper sees %v", kinds)
	}
	for _, e := range p.entries(t, p.loam, old) {
		_, err := p.GetEntry(ctx, second, "loam", a.ID, e.ID)
		if _, goes := care.PassedOn(e); e.CaseID == c.ID && goes != (err == nil) {
			t.Errorf("%s: %v", e.Body.Kind(), err)
		}
	}
	for what, err := range map[string]error{
		"case":     func() error { _, err := p.GetCase(ctx, second, now, "loam", c.ID); return err }(),
		"handover": func() error { _, err := p.GetHandover(ctx, second, "loam", c.ID); return err }(),
		"photos":   func() error { _, err := p.ListPhotos(ctx, second, "loam", c.ID); return err }(),
	} {
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("the earlier %s: %v", what, err)
		}
	}
	shared, err := p.KeeperExport(ctx, second, now, "loam", h.ID)
	if err != nil || len(shared.Entries) != 11 {
		t.Errorf("the next keeper's copy has %d entries, %v", len(shared.Entries), err)
	}
	// And what the earlier one sees: nothing of the next.
	p.log(t, second, v.Case, now.Add(time.Hour), care.WeighIn{Mass: 97})
	mine, _, err := p.ListEntries(ctx, first, "loam", a.ID, nil, "", care.Cursor{}, 100)
	if err != nil || slices.ContainsFunc(mine, func(e care.Entry) bool { return e.HappenedAt.After(now) || e.CaseID == h.ID }) {
		t.Errorf("the earlier keeper sees %v, %v", mine, err)
	}
	_, err = p.GetCase(ctx, first, now, "loam", h.ID)
	if !care.IsCode(err, care.NotFound) {
		t.Errorf("the next case: %v", err)
	}
	_, _, err = p.PassOn(ctx, first, now, "loam", c.ID)
	wantReason(t, err, care.ReasonCaseClosed)
	_, err = p.GiveBack(ctx, first, now, "loam", c.ID, true)
	wantReason(t, err, care.ReasonCaseClosed)
	_, err = p.ReopenCase(ctx, p.loam, now, "loam", c.ID, p.id("request"))
	wantReason(t, err, care.ReasonCaseClosed)
	if is, err := p.Remembered(ctx, "loam", a.ID); err != nil || !is {
		t.Errorf("remembered %v, %v", is, err)
	}

	// The earlier keeper leaves; what was seen stays history.
	if _, err := p.Leave(ctx, first, now.Add(2*time.Hour), func(care.Tx, string, string) error { return nil }); err != nil {
		t.Fatal(err)
	}
	after, _, err := p.ListEntries(ctx, second, "loam", a.ID, nil, "", care.Cursor{}, 100)
	if err != nil || len(after) != len(list)+1 {
		t.Errorf("%d entries, %v", len(after), err)
	}

	// Both cases leave as files and come back, at another server.
	var file bytes.Buffer
	for _, id := range []string{c.ID, h.ID} {
		lines, err := p.ExportCase(ctx, p.loam, "loam", id, true)
		if err != nil {
			t.Fatal(err)
		}
		for i := range lines {
			text, err := casefile.Append(nil, &lines[i])
			if err != nil {
				t.Fatal(err)
			}
			file.Write(text)
		}
	}
	cases, err := casefile.ReadAll(strings.NewReader(file.String()))
	if err != nil {
		t.Fatal(err)
	}
	q := newPlace(t)
	if _, err := q.ImportCases(ctx, q.loam, now.Add(day), "loam", cases); err != nil {
		t.Fatal(err)
	}
	if got := q.get(t, v.Case).Case; !slices.Equal(got.Earlier, []string{c.ID}) || got.Standing != v.Case.Standing {
		t.Errorf("brought in: %+v", got)
	}
	if sum, err := q.ImportCases(ctx, q.loam, now.Add(day), "loam", cases); err != nil || sum != (followup.Imported{}) {
		t.Errorf("brought in twice: %+v, %v", sum, err)
	}
}

// What has settled long ago can be passed on too; what is gone cannot.
func TestWhatCanBePassedOn(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	now := t0.Add(3 * day)
	for o, can := range map[care.Outcome]bool{care.OutcomeSettled: true, care.OutcomeLostTouch: true, care.OutcomeVet: true, care.OutcomeReturned: false, care.OutcomeDied: false} {
		_, c, keeper := p.sold(t)
		_, early, err := p.PassOn(ctx, keeper, now, "loam", c.ID)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.EndCase(ctx, p.loam, now, "loam", c.ID, o, "", p.id("request")); err != nil {
			t.Fatal(err)
		}
		_, _, err = p.PassOn(ctx, keeper, now, "loam", c.ID)
		if (err == nil) != can {
			t.Errorf("%s: %v", o, err)
			continue
		}
		if !can {
			_, _, _, err = p.takeOn(t, early, now)
			wantReason(t, err, care.ReasonCodeRevoked)
			continue
		}
		_, code, err := p.PassOn(ctx, keeper, now, "loam", c.ID)
		if err != nil {
			t.Fatal(err)
		}
		if err := p.RevokePassOn(ctx, keeper, "loam", c.ID); err != nil {
			t.Fatal(err)
		}
		_, _, _, err = p.takeOn(t, code, now)
		wantReason(t, err, care.ReasonCodeRevoked)
		if _, code, err = p.PassOn(ctx, keeper, now, "loam", c.ID); err != nil {
			t.Fatal(err)
		}
		v, _, next, err := p.takeOn(t, code, now.Add(day))
		if err != nil || p.get(t, c).Case.Outcome != o {
			t.Fatalf("%s became %s, %v", o, p.get(t, c).Case.Outcome, err)
		}
		_, err = p.ReopenCase(ctx, p.loam, now, "loam", c.ID, p.id("request"))
		wantReason(t, err, care.ReasonAnimalHasCase)
		// And on to a third, with what both saw.
		p.log(t, next, v.Case, now.Add(2*day), care.WeighIn{Mass: 99})
		_, code, err = p.PassOn(ctx, next, now.Add(3*day), "loam", v.Case.ID)
		if err != nil {
			t.Fatal(err)
		}
		w, _, last, err := p.takeOn(t, code, now.Add(3*day))
		if err != nil || !slices.Equal(w.Case.Earlier, []string{c.ID, v.Case.ID}) {
			t.Fatalf("%v, %v", w.Case.Earlier, err)
		}
		if list, _, err := p.ListEntries(ctx, last, "loam", v.Case.AnimalID, []care.Kind{care.KindWeighIn}, "", care.Cursor{}, 10); err != nil || len(list) != 4 {
			t.Errorf("%d weights, %v", len(list), err)
		}
	}
}

func TestGiveBack(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	a, c, keeper := p.sold(t)
	now := t0.Add(20 * day)
	if _, err := p.GiveBack(ctx, p.loam, now, "loam", c.ID, true); !care.IsCode(err, care.NotFound) {
		t.Errorf("the breeder: %v", err)
	}
	_, code, err := p.PassOn(ctx, keeper, now, "loam", c.ID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.EndCase(ctx, p.loam, now, "loam", c.ID, care.OutcomeSettled, "", p.id("request")); err != nil {
		t.Fatal(err)
	}
	now = now.Add(100 * day)
	v, err := p.GiveBack(ctx, keeper, now, "loam", c.ID, true)
	if err != nil || v.Case.ClosedAt != nil || v.Case.GiveBackAt == nil || !v.Case.GiveBackAt.Equal(now) || !v.Case.LastHeard.Equal(now) || v.Animal.Note != "" {
		t.Fatalf("%+v, %v", v.Case, err)
	}
	if again, err := p.GiveBack(ctx, keeper, now.Add(time.Hour), "loam", c.ID, true); err != nil || again.Case.Version != v.Case.Version {
		t.Errorf("a repeat: %+v, %v", again.Case, err)
	}
	_, _, _, err = p.takeOn(t, code, t0.Add(21*day))
	wantReason(t, err, care.ReasonCodeRevoked)
	if v, err = p.GiveBack(ctx, keeper, now, "loam", c.ID, false); err != nil || v.Case.GiveBackAt != nil || v.Case.ClosedAt != nil {
		t.Errorf("taken back: %+v, %v", v.Case, err)
	}
	if _, err = p.GiveBack(ctx, keeper, now, "loam", c.ID, true); err != nil {
		t.Fatal(err)
	}
	v, err = p.EndCase(ctx, p.loam, now.Add(day), "loam", c.ID, care.OutcomeReturned, "", p.id("request"))
	if err != nil || v.Case.GiveBackAt != nil {
		t.Errorf("arrived: %+v, %v", v.Case, err)
	}
	if _, err := p.GetAnimal(ctx, p.loam, "loam", a.ID); err != nil {
		t.Error(err)
	}
	p.handover(t, a, now.Add(2*day)) // it is in stock again
	_, err = p.GiveBack(ctx, keeper, now.Add(3*day), "loam", c.ID, true)
	wantReason(t, err, care.ReasonCaseClosed)
}
