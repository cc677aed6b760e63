package followup_test

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/followup"
)

// blank makes one blank card of loam.
func (p *place) blank(t *testing.T) followup.NewCard {
	t.Helper()
	list, err := p.CreateCards(t.Context(), p.loam, t0, "loam", 1, p.id("cards"))
	if err != nil {
		t.Fatal(err)
	}
	return list[0]
}

func (p *place) sell(a care.Animal, code string, at, now time.Time) (care.Handover, error) {
	h, plain, err := p.CreateHandover(context.Background(), p.loam, now, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, At: at, CardCode: code, RequestID: p.id("sale")})
	if plain != "" {
		err = errors.Join(err, errors.New("a printed card got another code"))
	}
	return h, err
}

func (p *place) wait(code, request string, who care.Actor, now time.Time) (w followup.WaitingCard, keeper care.Actor, err error) {
	w, err = p.ClaimCard(context.Background(), who, now, code, "Wren", request, func(_ care.Tx, k care.Actor) error { keeper = k; return nil })
	return w, keeper, err
}

func TestBlankCards(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	first, err := p.CreateCards(t.Context(), p.helper, t0, "loam", 3, "request-cards-1")
	if err != nil {
		t.Fatal(err)
	}
	again, err := p.CreateCards(t.Context(), p.loam, t0, "loam", 3, "request-cards-1")
	if err != nil || len(again) != 3 || again[0].Number != 1 || again[2].Number != 3 || again[0].Code != "" {
		t.Errorf("repeat: %+v, %v", again, err)
	}
	_, err = p.CreateCards(t.Context(), p.loam, t0, "loam", 4, "request-cards-1")
	wantReason(t, err, care.ReasonRequestReused)
	for _, n := range []int{0, -1, followup.CardsAtOnce + 1} {
		_, err := p.CreateCards(t.Context(), p.loam, t0, "loam", n, p.id("cards"))
		wantReason(t, err, care.ReasonBadField)
	}
	if c := p.blank(t); c.Number != 4 {
		t.Errorf("the next card is %d", c.Number)
	}
	if others, err := p.CreateCards(t.Context(), p.other, t0, "fern", 1, "request-cards-1"); err != nil || others[0].Number != 1 {
		t.Errorf("another breeder's: %+v, %v", others, err)
	}
	list, _, key, err := p.ListCards(t.Context(), p.loam, "loam", care.Cursor{}, 10)
	if err != nil || len(list) != 4 {
		t.Fatalf("%d cards, %v", len(list), err)
	}
	// What the breeder's phone does without a network.
	at := slices.IndexFunc(list, func(c care.Card) bool { return c.Mark == access.CardMark(key, first[1].Code) })
	if at < 0 || list[at].Number != 2 {
		t.Errorf("the phone takes card 2 for the one at %d", at)
	}
	if access.CardMark(p.codes.CardKey("fern"), first[1].Code) == list[at].Mark {
		t.Error("another breeder's key knows the card")
	}
	for _, who := range []care.Actor{p.other, {}, {Kind: care.KeeperActor, KeeperID: "k1"}} {
		_, errCreate := p.CreateCards(t.Context(), who, t0, "loam", 1, p.id("cards"))
		_, _, _, errList := p.ListCards(t.Context(), who, "loam", care.Cursor{}, 10)
		_, errRevoke := p.RevokeCard(t.Context(), who, t0, "loam", 1)
		for _, err := range []error{errCreate, errList, errRevoke} {
			if !care.IsCode(err, care.NotFound) {
				t.Errorf("%+v: %v", who, err)
			}
		}
	}
	for range 2 {
		if c, err := p.RevokeCard(t.Context(), p.loam, t0, "loam", 1); err != nil || c.RevokedAt == nil {
			t.Errorf("revoked: %+v, %v", c, err)
		}
	}
	a := p.animal(t)
	_, err = p.sell(a, first[0].Code, t0, t0)
	wantReason(t, err, care.ReasonCardRevoked)
	_, err = p.LookUpClaim(t.Context(), t0, first[0].Code)
	wantReason(t, err, care.ReasonCodeRevoked)
}

// A sale that a phone kept while it was offline comes hours later: the record is
// of the sale's time, and the code on the card opens it.
func TestLateSale(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, card := p.animal(t), p.blank(t)
	sold, synced := t0.Add(time.Hour), t0.Add(10*time.Hour)
	if _, err := p.CreateEntry(t.Context(), p.loam, t0.Add(3*time.Hour), care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("entry"), HappenedAt: t0.Add(2 * time.Hour), Body: care.WeighIn{Mass: 104}}); err != nil {
		t.Fatal(err)
	}
	h, err := p.sell(a, card.Code, sold, synced)
	if err != nil {
		t.Fatal(err)
	}
	if !h.HandedOverAt.Equal(sold) || !h.Record.IssuedAt.Equal(sold) || len(h.Record.Weights) != 3 {
		t.Errorf("handed over %v, issued %v with %d weights", h.HandedOverAt, h.Record.IssuedAt, len(h.Record.Weights))
	}
	// The answer was lost, and the request is forgotten by now.
	again, err := p.sell(a, card.Code, sold, synced.AddDate(0, 2, 0))
	if err != nil || again.ID != h.ID {
		t.Errorf("again: %s, want %s, %v", again.ID, h.ID, err)
	}
	if seen, err := p.LookUpClaim(t.Context(), synced, card.Code); err != nil || seen.ID != h.ID {
		t.Errorf("looked up: %+v, %v", seen, err)
	}
	_, _, _, err = p.takeOn(t, card.Code, synced)
	if err != nil {
		t.Error(err)
	}
	if _, err := p.RevokeCard(t.Context(), p.loam, synced, "loam", card.Number); err == nil {
		t.Error("a card was revoked that an animal went with")
	}
	// A code that was replaced does not become blank again.
	b, other := p.animal(t), p.blank(t)
	h, err = p.sell(b, other.Code, sold, synced)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := p.ReplaceClaimCode(t.Context(), p.loam, synced, "loam", h.ID); err != nil {
		t.Fatal(err)
	}
	_, err = p.LookUpClaim(t.Context(), synced, other.Code)
	wantReason(t, err, care.ReasonCodeRevoked)
	_, _, err = p.wait(other.Code, "claim-request-0001", care.Actor{}, synced)
	wantReason(t, err, care.ReasonCodeRevoked)
}

// Two phones at one table: nothing is sold twice without somebody being told
// which sale it was.
func TestTwoPhones(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, b := p.animal(t), p.animal(t)
	one, two := p.blank(t), p.blank(t)
	h, err := p.sell(a, one.Code, t0, t0.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	var e *care.Error
	_, err = p.sell(a, two.Code, t0.Add(time.Minute), t0.Add(time.Hour))
	wantReason(t, err, care.ReasonAlreadyHanded)
	if errors.As(err, &e); e.Meta["handover"] != h.ID || e.Meta["claimed"] != "false" {
		t.Errorf("the other sale: %v", e.Meta)
	}
	_, err = p.sell(b, one.Code, t0.Add(time.Minute), t0.Add(time.Hour))
	wantReason(t, err, care.ReasonCardUsed)
	if errors.As(err, &e); e.Meta["handover"] != h.ID || e.Meta["animal"] != a.ID {
		t.Errorf("the other sale: %v", e.Meta)
	}
	// The refused sale left its card blank, for another animal.
	if _, err := p.sell(b, two.Code, t0.Add(time.Minute), t0.Add(time.Hour)); err != nil {
		t.Error(err)
	}
	gone, three := p.animal(t), p.blank(t)
	if err := p.DeleteAnimal(t.Context(), p.loam, t0, "loam", gone.ID); err != nil {
		t.Fatal(err)
	}
	_, err = p.sell(gone, three.Code, t0, t0.Add(time.Hour))
	wantReason(t, err, care.ReasonAnimalGone)
	// Another breeder's card does not exist, nor does a code that nobody made.
	theirs, err := p.CreateCards(t.Context(), p.other, t0, "fern", 1, p.id("cards"))
	if err != nil {
		t.Fatal(err)
	}
	c := p.animal(t)
	_, foreign := p.sell(c, theirs[0].Code, t0, t0)
	_, unknown := p.sell(c, access.NewClaimCode(), t0, t0)
	wantReason(t, foreign, care.ReasonCodeWrong)
	if foreign.Error() != unknown.Error() {
		t.Errorf("told apart: %v / %v", foreign, unknown)
	}
	_, err = p.sell(c, "K7QM4", t0, t0)
	wantReason(t, err, care.ReasonBadField)
	if errors.As(err, &e); len(e.Fields) != 1 || e.Fields[0].Field != "handover.card_code" {
		t.Errorf("fields: %+v", e.Fields)
	}
}

// A keeper claims before the sale has come in; the sale finishes it.
func TestClaimBeforeSale(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	a, card := p.animal(t), p.blank(t)
	claimed, synced := t0.Add(time.Hour), t0.Add(5*time.Hour)
	var e *care.Error
	_, err := p.LookUpClaim(ctx, claimed, card.Code)
	wantReason(t, err, care.ReasonCardWaiting)
	if errors.As(err, &e); e.Meta["breeder"] != "loam" {
		t.Errorf("meta %v", e.Meta)
	}
	_, _, _, err = p.takeOn(t, card.Code, claimed)
	wantReason(t, err, care.ReasonCardWaiting)
	w, keeper, err := p.wait(card.Code, "claim-request-0001", care.Actor{}, claimed)
	if err != nil || w.Breeder != "loam" || !w.ClaimedAt.Equal(claimed) || keeper.KeeperID == "" || keeper.Breeders != "loam" {
		t.Fatalf("%+v, %+v, %v", w, keeper, err)
	}
	// Its answer was lost; another phone has no luck.
	if _, again, err := p.wait(card.Code, "claim-request-0001", care.Actor{}, claimed); err != nil || again != keeper {
		t.Errorf("again: %+v, %v", again, err)
	}
	_, _, err = p.wait(card.Code, "claim-request-0002", care.Actor{}, claimed)
	wantReason(t, err, care.ReasonCodeUsed)
	_, err = p.LookUpClaim(ctx, claimed, card.Code)
	wantReason(t, err, care.ReasonCodeUsed)
	for _, tc := range []struct {
		who  care.Actor
		want int
	}{{keeper, 1}, {care.Actor{Kind: care.KeeperActor, KeeperID: "somebody"}, 0}, {care.Actor{Kind: care.KeeperActor, KeeperID: keeper.KeeperID, Breeders: "fern"}, 0}} {
		if list, err := p.WaitingCards(ctx, tc.who); err != nil || len(list) != tc.want {
			t.Errorf("%+v sees %+v, %v", tc.who, list, err)
		}
	}
	if _, err := p.WaitingCards(ctx, p.loam); err == nil {
		t.Error("a breeder has waiting cards")
	}
	if list, _, _, err := p.ListCards(ctx, p.loam, "loam", care.Cursor{}, 10); err != nil || list[0].ClaimedAt == nil || list[0].KeeperName != "Wren" {
		t.Errorf("for the breeder: %+v, %v", list, err)
	}

	h, err := p.sell(a, card.Code, t0, synced)
	if err != nil || h.State != care.HandoverClaimed || h.KeeperID != keeper.KeeperID {
		t.Fatalf("%+v, %v", h, err)
	}
	v, err := p.GetCase(ctx, keeper, synced, "loam", h.ID)
	if err != nil || v.Case.KeeperName != "Wren" {
		t.Errorf("for the keeper: %+v, %v", v.Case, err)
	}
	if list, err := p.WaitingCards(ctx, keeper); err != nil || len(list) != 0 {
		t.Errorf("still waiting: %+v, %v", list, err)
	}
	p.write(t, func(tx care.Tx) error {
		c, err := tx.Card("loam", card.Number)
		if c.KeeperID != "" || c.KeeperName != "" || c.ClaimedAt != nil || c.ClaimRequest != "" {
			t.Errorf("the card still names a person: %+v", c)
		}
		return err
	})
	// A phone that never heard the answer: the sale is there, so it claims.
	_, _, err = p.wait(card.Code, "claim-request-0001", care.Actor{}, synced)
	wantReason(t, err, care.ReasonCardUsed)
	var back care.Actor
	start := func(_ care.Tx, k care.Actor) error { back = k; return nil }
	if _, _, err := p.Claim(ctx, care.Actor{}, synced, card.Code, "Wren", "claim-request-0001", start); err != nil || back != keeper {
		t.Errorf("back as %+v, %v", back, err)
	}
	_, _, err = p.Claim(ctx, care.Actor{}, synced, card.Code, "Wren", "claim-request-0002", start)
	wantReason(t, err, care.ReasonCodeUsed)
}

// No sale comes: the breeder makes the card void, and the keeper is told.
func TestNoSaleComes(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	ctx := t.Context()
	card := p.blank(t)
	_, keeper, err := p.wait(card.Code, "claim-request-0001", care.Actor{}, t0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.RevokeCard(ctx, p.loam, t0, "loam", card.Number); err != nil {
		t.Fatal(err)
	}
	if list, err := p.WaitingCards(ctx, keeper); err != nil || len(list) != 1 || !list[0].Revoked {
		t.Errorf("%+v, %v", list, err)
	}
	_, _, err = p.wait(card.Code, "claim-request-0001", care.Actor{}, t0)
	wantReason(t, err, care.ReasonCodeRevoked)
	_, _, err = p.wait(access.NewClaimCode(), "claim-request-0003", care.Actor{}, t0)
	wantReason(t, err, care.ReasonCodeWrong)
}

// A keeper who leaves is on no card any more, and the card waits for another.
func TestLeaveWaitingCard(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, card := p.animal(t), p.blank(t)
	_, keeper, err := p.wait(card.Code, "claim-request-0001", care.Actor{}, t0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Leave(t.Context(), keeper, t0, func(care.Tx, string, string) error { return nil }); err != nil {
		t.Fatal(err)
	}
	h, err := p.sell(a, card.Code, t0, t0.Add(time.Hour))
	if err != nil || h.State != care.HandoverIssued || h.KeeperID != "" {
		t.Errorf("%+v, %v", h, err)
	}
}

// What it was sold for is the breeder's own.
func TestPrice(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a := p.animal(t)
	for _, bad := range []care.Price{{Amount: "120"}, {Currency: "EUR"}, {Amount: "-1", Currency: "EUR"}, {Amount: "1e3", Currency: "EUR"}, {Amount: "12,5", Currency: "EUR"}, {Amount: "12", Currency: "eur"}} {
		_, _, err := p.CreateHandover(t.Context(), p.loam, t0, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, Price: bad, RequestID: p.id("sale")})
		wantReason(t, err, care.ReasonBadField)
	}
	price := care.Price{Amount: "89.50", Currency: "EUR"}
	h, code, err := p.CreateHandover(t.Context(), p.loam, t0, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, Price: price, RequestID: p.id("sale")})
	if err != nil || h.Price != price {
		t.Fatalf("%+v, %v", h.Price, err)
	}
	seen, err := p.LookUpClaim(t.Context(), t0, code)
	if err != nil || seen.Price != (care.Price{}) {
		t.Errorf("whoever holds the code sees %+v, %v", seen.Price, err)
	}
	_, got, keeper, err := p.takeOn(t, code, t0)
	if err != nil || got.Price != (care.Price{}) {
		t.Errorf("the claim tells %+v, %v", got.Price, err)
	}
	if h, err := p.GetHandover(t.Context(), keeper, "loam", h.ID); err != nil || h.Price != (care.Price{}) {
		t.Errorf("the keeper sees %+v, %v", h.Price, err)
	}
	if h, err := p.GetHandover(t.Context(), p.loam, "loam", h.ID); err != nil || h.Price != price {
		t.Errorf("the breeder sees %+v, %v", h.Price, err)
	}
}
