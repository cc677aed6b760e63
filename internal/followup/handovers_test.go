package followup_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
)

func TestHandoverToClaim(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a := p.animal(t)
	draft := followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, BuyerNote: "paid in coins", RequestID: "request-a"}
	h, code, err := p.CreateHandover(t.Context(), p.loam, t0, draft)
	if err != nil {
		t.Fatal(err)
	}
	if code == "" || h.CodeHash == "" || strings.Contains(h.CodeHash, strings.ReplaceAll(code, "-", "")) {
		t.Errorf("code %q, kept as %q", code, h.CodeHash)
	}
	r := h.Record
	if len(r.Weights) != 3 || len(r.Offers) != 3 || len(r.Checklist) == 0 || r.FeedNext.String() == "" || r.Animal.Note != "" {
		t.Errorf("record: %+v", r)
	}
	for _, e := range append(r.Weights, r.Offers...) {
		if e.Note != "" {
			t.Errorf("the record tells the breeder's note %q", e.Note)
		}
	}
	// A repeat is the same handover; its code is not kept and cannot be told again.
	again, none, err := p.CreateHandover(t.Context(), p.loam, t0.Add(time.Minute), draft)
	if err != nil || again.ID != h.ID || none != "" {
		t.Errorf("repeat: %s, code %q, %v", again.ID, none, err)
	}
	draft.BuyerNote = "paid in notes"
	_, _, err = p.CreateHandover(t.Context(), p.loam, t0, draft)
	wantReason(t, err, care.ReasonRequestReused)
	draft.RequestID = "request-b"
	_, _, err = p.CreateHandover(t.Context(), p.loam, t0, draft)
	wantReason(t, err, care.ReasonAlreadyHanded)

	// As it is read out over the phone.
	typed := strings.ToLower(strings.ReplaceAll(code, "-", " "))
	seen, err := p.LookUpClaim(t.Context(), t0.Add(time.Hour), typed)
	if err != nil || seen.ID != h.ID || seen.BuyerNote != "" {
		t.Errorf("looked up: %+v, %v", seen, err)
	}
	var sessions []care.Actor
	start := func(_ care.Tx, k care.Actor) error { sessions = append(sessions, k); return nil }
	v, got, err := p.Claim(t.Context(), care.Actor{}, t0.Add(time.Hour), typed, "Robin", "claim-request-0001", start)
	if err != nil {
		t.Fatal(err)
	}
	if v.Case.ID != h.ID || v.Case.KeeperName != "Robin" || got.State != care.HandoverClaimed || got.BuyerNote != "" || v.Animal.Note != "" {
		t.Errorf("claimed: %+v, %+v", v.Case, got)
	}
	if len(sessions) != 1 || sessions[0].Kind != care.KeeperActor || sessions[0].KeeperID != v.Case.KeeperID || v.Case.KeeperID == "" {
		t.Fatalf("sessions: %+v", sessions)
	}
	// The answer was lost: the same phone asks again and is let in as the same keeper.
	if _, _, err := p.Claim(t.Context(), care.Actor{}, t0.Add(2*time.Hour), typed, "Robin", "claim-request-0001", start); err != nil {
		t.Fatal(err)
	}
	if len(sessions) != 2 || sessions[1] != sessions[0] {
		t.Errorf("sessions: %+v", sessions)
	}
	// Another phone is not.
	_, _, err = p.Claim(t.Context(), care.Actor{}, t0.Add(2*time.Hour), typed, "Kim", "claim-request-0002", start)
	wantReason(t, err, care.ReasonCodeUsed)
	if _, err := p.LookUpClaim(t.Context(), t0.Add(2*time.Hour), typed); err == nil {
		t.Error("a used code still shows the record")
	}
	if len(sessions) != 2 {
		t.Error("a refused claim began a session")
	}
	if h, err := p.GetHandover(t.Context(), sessions[0], "loam", h.ID); err != nil || h.BuyerNote != "" {
		t.Errorf("handover for its keeper: %+v, %v", h, err)
	}
	if h, err := p.GetHandover(t.Context(), p.loam, "loam", h.ID); err != nil || h.BuyerNote != "paid in coins" {
		t.Errorf("handover for its breeder: %+v, %v", h, err)
	}
	_, err = p.RevokeHandover(t.Context(), p.loam, t0.Add(3*time.Hour), "loam", h.ID)
	wantReason(t, err, care.ReasonCodeUsed)
}

// A claim and its session are one: when the session cannot begin, the code is
// not used up.
func TestClaimWithoutSessionIsNone(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, code := p.handover(t, p.animal(t), t0)
	full := errors.New("no room")
	_, _, err := p.Claim(t.Context(), care.Actor{}, t0, code, "Robin", "claim-request-0001", func(care.Tx, care.Actor) error { return full })
	if !errors.Is(err, full) {
		t.Fatalf("got %v", err)
	}
	p.claim(t, code, t0)
}

// A keeper who buys a second animal has both in one place.
func TestClaimASecondAnimal(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	_, code := p.handover(t, p.animal(t), t0)
	var session care.Actor
	v, _, err := p.Claim(t.Context(), keeper, t0, code, "Robin", p.id("claim"), func(_ care.Tx, k care.Actor) error { session = k; return nil })
	if err != nil || session.KeeperID != keeper.KeeperID {
		t.Fatal(session, err)
	}
	list, err := p.KeeperCases(t.Context(), keeper, t0)
	if err != nil || len(list) != 2 || v.Case.ID == c.ID {
		t.Errorf("%d cases, %v", len(list), err)
	}
}

func TestCodesThatOpenNothing(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	claim := func(code string, now time.Time) error {
		_, looked := p.LookUpClaim(t.Context(), now, code)
		_, _, err := p.Claim(t.Context(), care.Actor{}, now, code, "", p.id("claim"), func(care.Tx, care.Actor) error { t.Error("a session began"); return nil })
		if looked == nil || err == nil || looked.Error() != err.Error() {
			t.Errorf("looking up says %v, claiming %v", looked, err)
		}
		return err
	}
	unknown, _, err := p.codes.New()
	if err != nil {
		t.Fatal(err)
	}
	wantReason(t, claim(unknown, t0), care.ReasonCodeWrong)
	wantField(t, claim("K7QM4", t0), "code") // too short to be one

	h, code := p.handover(t, p.animal(t), t0)
	last := h.ClaimExpiresAt
	wantReason(t, claim(code, last), care.ReasonCodeExpired)
	if _, err := p.LookUpClaim(t.Context(), last.Add(-time.Millisecond), code); err != nil {
		t.Errorf("just in time: %v", err)
	}
	h, fresh, err := p.ReplaceClaimCode(t.Context(), p.loam, last, "loam", h.ID)
	if err != nil || !h.ClaimExpiresAt.After(last) {
		t.Fatal(h, err)
	}
	wantReason(t, claim(code, last), care.ReasonCodeWrong) // the old one
	if _, err := p.RevokeHandover(t.Context(), p.helper, last, "loam", h.ID); err != nil {
		t.Fatal(err)
	}
	if again, err := p.RevokeHandover(t.Context(), p.loam, last, "loam", h.ID); err != nil || again.State != care.HandoverRevoked {
		t.Errorf("revoked again: %+v, %v", again, err)
	}
	wantReason(t, claim(fresh, last), care.ReasonCodeRevoked)
	_, _, err = p.ReplaceClaimCode(t.Context(), p.loam, last, "loam", h.ID)
	wantReason(t, err, care.ReasonCodeRevoked)
	_, err = p.ReopenCase(t.Context(), p.loam, last, "loam", h.ID, p.id("request"))
	wantReason(t, err, care.ReasonCodeRevoked)
	if c := p.get(t, care.Case{BreederID: "loam", ID: h.ID}).Case; c.ClosedAt == nil {
		t.Error("the case of a revoked handover is open")
	}
	// The animal can be handed over anew.
	p.handover(t, care.Animal{ID: h.AnimalID}, last)
}

func TestHandoverDates(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a := p.animal(t)
	for _, at := range []time.Time{t0.Add(25 * time.Hour), t0.AddDate(-1, 0, -1)} {
		_, _, err := p.CreateHandover(t.Context(), p.loam, t0, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, RequestID: p.id("request"), At: at})
		wantField(t, err, "handover.handover_time")
	}
	h, _, err := p.CreateHandover(t.Context(), p.loam, t0, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, RequestID: p.id("request"), At: t0.Add(-3 * day)})
	if err != nil || !h.HandedOverAt.Equal(t0.Add(-3*day)) {
		t.Errorf("%v, %v", h.HandedOverAt, err)
	}
	for name, err := range map[string]error{
		"another breeder": third(p.CreateHandover(t.Context(), p.other, t0, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, RequestID: p.id("request")})),
		"no such animal":  third(p.CreateHandover(t.Context(), p.other, t0, followup.HandoverDraft{BreederID: "fern", AnimalID: a.ID, RequestID: p.id("request")})),
	} {
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func third[A, B any](_ A, _ B, err error) error { return err }

// Two breeders know one keeper. What one of them opens for the keeper, or for
// itself in the keeper's name, shows nothing of the other.
func TestLetKeeperIn(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	animal, c, keeper := p.sold(t)
	other, err := p.CreateAnimal(t.Context(), p.other, t0, care.Animal{BreederID: "fern", Species: "python_regius"})
	if err != nil {
		t.Fatal(err)
	}
	_, code, err := p.CreateHandover(t.Context(), p.other, t0, followup.HandoverDraft{BreederID: "fern", AnimalID: other.ID, RequestID: p.id("request")})
	if err != nil {
		t.Fatal(err)
	}
	whole := keeper
	v, _, err := p.Claim(t.Context(), keeper, t0, code, "Robin", p.id("claim"), func(_ care.Tx, k care.Actor) error { whole = k; return nil })
	if err != nil {
		t.Fatal(err)
	}
	cases := func(who care.Actor) int {
		list, err := p.KeeperCases(t.Context(), who, t0)
		if err != nil {
			t.Fatal(err)
		}
		return len(list)
	}
	if cases(whole) != 2 {
		t.Fatalf("the keeper has %d cases", cases(whole))
	}

	var half care.Actor
	let := func(who care.Actor, breederID, caseID string) error {
		half = care.Actor{}
		return p.LetKeeperIn(t.Context(), who, breederID, caseID, true, func(_ care.Tx, k care.Actor) error { half = k; return nil })
	}
	if err := let(p.helper, "loam", c.ID); err != nil || half.KeeperID != keeper.KeeperID {
		t.Fatalf("%+v, %v", half, err)
	}
	if n := cases(half); n != 1 {
		t.Errorf("sees %d cases", n)
	}
	if _, err := p.GetAnimal(t.Context(), half, "loam", animal.ID); err != nil {
		t.Error(err)
	}
	p.log(t, whole, v.Case, t0, care.Seen{}) // so that the case is remembered
	for what, err := range map[string]error{
		"case":     func() error { _, err := p.GetCase(t.Context(), half, t0, "fern", v.Case.ID); return err }(),
		"animal":   func() error { _, err := p.GetAnimal(t.Context(), half, "fern", other.ID); return err }(),
		"handover": func() error { _, err := p.GetHandover(t.Context(), half, "fern", v.Case.ID); return err }(),
		"log": func() error {
			_, _, err := p.ListEntries(t.Context(), half, "fern", other.ID, nil, "", care.Cursor{}, 10)
			return err
		}(),
		"photos": func() error { _, err := p.ListPhotos(t.Context(), half, "fern", v.Case.ID); return err }(),
		"entry": func() error {
			_, err := p.CreateEntry(t.Context(), half, t0, care.Entry{BreederID: "fern", AnimalID: other.ID, CaseID: v.Case.ID, ID: p.id("entry"), HappenedAt: t0, Body: care.Seen{}})
			return err
		}(),
	} {
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("another breeder's %s: %v", what, err)
		}
	}

	// A card that such a sign-in takes on opens its own breeder's cases and no more.
	_, code = p.handover(t, p.animal(t), t0)
	var after care.Actor
	if _, _, err := p.Claim(t.Context(), half, t0, code, "Robin", p.id("claim"), func(_ care.Tx, k care.Actor) error { after = k; return nil }); err != nil {
		t.Fatal(err)
	}
	if n := cases(after); n != 2 || after.KeeperID != keeper.KeeperID {
		t.Errorf("sees %d cases as %+v", n, after)
	}

	unclaimed, _ := p.handover(t, p.animal(t), t0)
	wantReason(t, let(p.loam, "loam", unclaimed.ID), care.ReasonNotClaimed)
	wantReason(t, let(p.loam, "loam", "nothing"), care.ReasonNotFound)
	for _, who := range []care.Actor{p.other, keeper, {}} {
		wantReason(t, let(who, "loam", c.ID), care.ReasonNotFound)
	}

	// A lost phone does not get back in by repeating its claim; what it claimed of
	// another breeder it still may.
	again := func(code, request string) error {
		return third(p.Claim(t.Context(), care.Actor{}, t0, code, "Robin", request, func(care.Tx, care.Actor) error { return nil }))
	}
	mine, mineCode := p.handover(t, p.animal(t), t0)
	request := p.id("claim")
	if _, _, err := p.Claim(t.Context(), keeper, t0, mineCode, "Robin", request, func(care.Tx, care.Actor) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if err := again(mineCode, request); err != nil {
		t.Fatal(err)
	}
	if err := p.LetKeeperIn(t.Context(), p.loam, "loam", mine.ID, false, func(care.Tx, care.Actor) error { return nil }); err != nil || again(mineCode, request) != nil {
		t.Errorf("no phone was lost: %v, %v", err, again(mineCode, request))
	}
	if err := let(p.loam, "loam", c.ID); err != nil {
		t.Fatal(err)
	}
	wantReason(t, again(mineCode, request), care.ReasonCodeUsed)
}

// A card in a drawer is not a keeper who is silent.
func TestUnclaimedIsNotSilence(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	h, code := p.handover(t, p.animal(t), t0)
	kase := care.Case{BreederID: "loam", ID: h.ID}
	if got := p.get(t, kase).Case; got.Headline.String() != "Card not claimed yet." || got.Standing != care.Settled {
		t.Errorf("at the handover: %s, %q", got.Standing, got.Headline)
	}
	for days := range 30 {
		if _, err := p.Pass(t.Context(), t0.Add(time.Duration(days)*day)); err != nil {
			t.Fatal(err)
		}
	}
	if got := p.getAt(t, kase, t0.Add(29*day)).Case; got.Headline.String() != "Card not claimed yet, 29 days after the handover." || got.Standing != care.Watch {
		t.Errorf("weeks later: %s, %q", got.Standing, got.Headline)
	}
	if flags := p.flags(t, kase); len(flags) != 1 || !strings.HasPrefix(flags[0].Text.String(), "Card not claimed yet") {
		t.Errorf("flags %+v", flags)
	}
	keeper, v := p.claim(t, code, t0.Add(30*day))
	p.log(t, keeper, v.Case, t0.Add(30*day), care.Seen{})
	if got := p.get(t, kase).Case; strings.Contains(got.Headline.String(), "claimed") || got.Standing != care.Settled {
		t.Errorf("claimed: %s, %q", got.Standing, got.Headline)
	}
}
