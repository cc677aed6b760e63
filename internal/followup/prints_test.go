package followup_test

import (
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
)

// The record holds who the parents were and how the animal was kept, as it was
// when it was issued.
func TestRecordOfParentsAndClimate(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	mother := p.animal(t)
	mother.Name, mother.Genes = "Hazel", []string{"pastel"}
	if _, err := p.UpdateAnimal(t.Context(), p.loam, t0, mother, []string{"display_name", "genes"}); err != nil {
		t.Fatal(err)
	}
	a := p.animal(t)
	a.MotherID = mother.ID
	if _, err := p.UpdateAnimal(t.Context(), p.loam, t0, a, []string{"mother"}); err != nil {
		t.Fatal(err)
	}
	read := func(days int, r care.ClimateReading) {
		t.Helper()
		e := care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("reading"), HappenedAt: t0.AddDate(0, 0, -days), Body: r}
		if _, err := p.CreateEntry(t.Context(), p.loam, t0, e); err != nil {
			t.Fatal(err)
		}
	}
	warm, older, long, damp := care.Celsius(32), care.Celsius(30), care.Celsius(22), care.Percent(60)
	read(2, care.ClimateReading{Warm: &warm})
	read(20, care.ClimateReading{Warm: &older, Humidity: &damp})
	read(100, care.ClimateReading{Night: &long}) // too old to say how it is kept
	h, _ := p.handover(t, a, t0)
	r := h.Record
	if r.Mother.Name != "Hazel" || len(r.Mother.Genes) != 1 || r.Father.Name != "" {
		t.Errorf("parents: %+v, %+v", r.Mother, r.Father)
	}
	if k := r.Kept; k.Warm == nil || *k.Warm != 32 || k.Humidity == nil || *k.Humidity != 60 || k.Night != nil || !r.KeptAt.Equal(t0.AddDate(0, 0, -2)) {
		t.Errorf("kept: %+v at %s", r.Kept, r.KeptAt)
	}
}

// A card is printed for the code of its handover only, and only while it can
// be claimed.
func TestCards(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	h, code := p.handover(t, p.animal(t), t0)
	other, otherCode := p.handover(t, p.animal(t), t0)
	ask := func(who care.Actor, now time.Time, drafts ...followup.CardDraft) error {
		list, zone, err := p.Cards(t.Context(), who, now, "loam", drafts)
		if (err == nil) != (len(list) == len(drafts) && zone != nil) {
			t.Errorf("%d cards and %v", len(list), err)
		}
		return err
	}
	good, second := followup.CardDraft{HandoverID: h.ID, Code: code}, followup.CardDraft{HandoverID: other.ID, Code: otherCode}
	if err := ask(p.loam, t0, good, second); err != nil {
		t.Fatal(err)
	}
	wantReason(t, ask(p.loam, t0, good, followup.CardDraft{HandoverID: other.ID, Code: code}), care.ReasonCodeWrong)
	wantReason(t, ask(p.loam, t0, followup.CardDraft{HandoverID: h.ID, Code: "K7QM4"}), care.ReasonBadField)
	wantReason(t, ask(p.loam, t0, followup.CardDraft{HandoverID: "none", Code: code}), care.ReasonNotFound)
	wantReason(t, ask(care.Actor{Kind: care.BreederOwner, BreederID: "other"}, t0, good), care.ReasonNotFound)
	wantReason(t, ask(p.loam, t0.AddDate(0, 0, followup.ClaimDays), good), care.ReasonCodeExpired)
	if _, _, err := p.ReplaceClaimCode(t.Context(), p.loam, t0, "loam", h.ID); err != nil {
		t.Fatal(err)
	}
	wantReason(t, ask(p.loam, t0, good), care.ReasonCodeWrong)
	if _, err := p.RevokeHandover(t.Context(), p.loam, t0, "loam", h.ID); err != nil {
		t.Fatal(err)
	}
	wantReason(t, ask(p.loam, t0, good), care.ReasonCodeRevoked)
}
