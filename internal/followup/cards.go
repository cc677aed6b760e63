package followup

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// CardsAtOnce is the most blank cards that one request makes: what one request
// prints.
const CardsAtOnce = 40

// NewCard is a blank card with the code to print on it, which is told once.
type NewCard struct {
	care.Card
	Code string
}

// CreateCards makes blank cards, numbered on from the last. The answer to a
// repeat has the cards without their codes, for only hashes are kept.
func (s *Service) CreateCards(ctx context.Context, who care.Actor, now time.Time, breederID string, count int, requestID string) (list []NewCard, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, err
	}
	if count < 1 || count > CardsAtOnce {
		return nil, care.BadField("count", "Make 1 to {most} cards at once.", CardsAtOnce)
	}
	now = care.Instant(now)
	digest := digestOf("CreateCards", count)
	codes := make([]struct{ plain, hash string }, count)
	for i := range codes {
		if codes[i].plain, codes[i].hash, err = s.codes.New(); err != nil {
			return nil, fmt.Errorf("claim code: %w", err)
		}
	}
	err = s.store.Write(ctx, func(tx care.Tx) error {
		list = nil
		done, err := tx.Answered(breederID, requestID)
		if err == nil {
			if done.Digest != digest {
				return requestReused()
			}
			first, err := strconv.ParseInt(string(done.Answer), 10, 64)
			if err != nil {
				return fmt.Errorf("the answer to a request for cards: %w", err)
			}
			for n := first; n < first+int64(count); n++ {
				c, err := tx.Card(breederID, n)
				if err != nil {
					return err
				}
				list = append(list, NewCard{Card: c})
			}
			return nil
		}
		if !care.IsCode(err, care.NotFound) {
			return err
		}
		last, _, err := tx.ListCards(breederID, care.Cursor{}, 1)
		if err != nil {
			return err
		}
		first := int64(1)
		if len(last) > 0 {
			first = last[0].Number + 1
		}
		for i, code := range codes {
			c := care.Card{BreederID: breederID, Number: first + int64(i), CodeHash: code.hash, Mark: s.codes.Mark(breederID, code.plain), CreatedAt: now, Version: 1}
			if err := tx.InsertCard(c); err != nil {
				return err
			}
			list = append(list, NewCard{Card: c, Code: code.plain})
		}
		return tx.InsertAnswered(care.Answered{Scope: breederID, RequestID: requestID, Digest: digest, Answer: []byte(strconv.FormatInt(first, 10)), At: now})
	})
	if err != nil {
		return nil, err
	}
	return list, nil
}

// ListCards pages through a breeder's cards, the last made first, with the key
// under which the breeder's phone knows them.
func (s *Service) ListCards(ctx context.Context, who care.Actor, breederID string, after care.Cursor, limit int) (list []care.Card, next care.Cursor, key []byte, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, next, nil, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		list, next, err = tx.ListCards(breederID, after, limit)
		return err
	})
	return list, next, s.codes.CardKey(breederID), err
}

// RevokeCard makes a card void that no animal went with. Again is the same.
func (s *Service) RevokeCard(ctx context.Context, who care.Actor, now time.Time, breederID string, number int64) (c care.Card, err error) {
	if err := breederOnly(who, breederID, "card"); err != nil {
		return c, err
	}
	now = care.Instant(now)
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		if c, err = tx.Card(breederID, number); err != nil || c.RevokedAt != nil {
			return err
		}
		if c.HandoverID != "" {
			return cardUsed(&c, "")
		}
		c.RevokedAt = &now
		return tx.UpdateCard(c)
	})
	return c, stale(err)
}

func cardUsed(c *care.Card, animalID string) error {
	return &care.Error{Code: care.Precondition, Reason: care.ReasonCardUsed, Text: words.Say("Card {number} went with another sale. If that one was the mistake, revoke it; else say which card it was.", c.Number),
		Meta: map[string]string{"handover": c.HandoverID, "animal": animalID}}
}

func cardRevoked(c *care.Card) error {
	return &care.Error{Code: care.Precondition, Reason: care.ReasonCardRevoked, Text: words.Say("Card {number} was revoked. Take another card for this animal.", c.Number)}
}

// blankCard finds a breeder's card by its code. Another breeder's does not exist.
func blankCard(tx care.Tx, breederID, hash string) (*care.Card, error) {
	c, err := tx.CardByCode(hash)
	switch {
	case care.IsCode(err, care.NotFound), err == nil && c.BreederID != breederID:
		return nil, &care.Error{Code: care.NotFound, Reason: care.ReasonCodeWrong, Text: words.Say("None of your blank cards has this code. Compare it with the card again, or take another card."),
			Fields: []care.FieldError{{Field: "handover.card_code", Text: words.Say("None of your blank cards has this code.")}}}
	case err != nil:
		return nil, err
	case c.RevokedAt != nil:
		return nil, cardRevoked(&c)
	}
	return &c, nil
}

// sameSale is the handover that a card went with, if this is the same sale again.
func sameSale(tx care.Tx, c *care.Card, d *HandoverDraft) (care.Handover, error) {
	h, err := tx.Handover(c.BreederID, c.HandoverID)
	if err == nil && (h.AnimalID != d.AnimalID || !h.HandedOverAt.Equal(d.At)) {
		err = cardUsed(c, h.AnimalID)
	}
	return h, err
}

// bind puts a card and its sale together. Who claimed the card before is the
// keeper.
func bind(tx care.Tx, c *care.Card, h *care.Handover, opened *care.Case, now time.Time) error {
	c.HandoverID = h.ID
	if c.KeeperID != "" {
		h.State, h.KeeperID, h.ClaimedAt = care.HandoverClaimed, c.KeeperID, c.ClaimedAt
		opened.KeeperID, opened.KeeperName, opened.LastHeard = c.KeeperID, c.KeeperName, c.ClaimedAt
		// The phone that claimed may still be waiting for its answer.
		if err := tx.InsertAnswered(care.Answered{Scope: claimScope(h.ID), RequestID: c.ClaimRequest, Digest: digestOf("Claim", h.ID), Answer: []byte(c.KeeperID), At: now}); err != nil {
			return err
		}
	}
	unclaim(c)
	return tx.UpdateCard(*c)
}

// unclaim forgets who claimed a card.
func unclaim(c *care.Card) { c.KeeperID, c.KeeperName, c.ClaimedAt, c.ClaimRequest = "", "", nil, "" }

// cardWaits says why the code of a card opens no handover.
func cardWaits(tx care.Tx, c *care.Card) error {
	switch {
	case c.RevokedAt != nil, c.HandoverID != "": // its handover has another code by now
		return &care.Error{Code: care.Precondition, Reason: care.ReasonCodeRevoked, Text: words.Say("The breeder took this code back. Ask the breeder for a new one.")}
	case c.KeeperID != "":
		return &care.Error{Code: care.Precondition, Reason: care.ReasonCodeUsed, Text: words.Say("This code was used already. If that was you, open Warmhand on the phone you used. If it was not you, tell the breeder.")}
	}
	b, err := tx.Breeder(c.BreederID)
	if err != nil {
		return err
	}
	return &care.Error{Code: care.Precondition, Reason: care.ReasonCardWaiting, Text: words.Say("The card is right. It waits for the phone of {breeder}, which sends the sale once it has a network.", b.Name),
		Meta: map[string]string{"breeder": b.Name}}
}

// ClaimCard makes the caller the keeper of whatever animal a blank card went
// with, before its sale has come in. start begins the session in the same
// transaction. The same request id with the same code claims again; once the
// sale is there, Claim does, with the same request id.
func (s *Service) ClaimCard(ctx context.Context, who care.Actor, now time.Time, typed, name, requestID string, start func(tx care.Tx, keeper care.Actor) error) (w WaitingCard, err error) {
	hash, err := s.codes.Hash(typed)
	if err != nil {
		return w, err
	}
	now = care.Instant(now)
	err = s.store.Write(ctx, func(tx care.Tx) error {
		if _, err := tx.HandoverByCode(hash); err == nil {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonCardUsed, Text: words.Say("The sale has come in meanwhile. Open the card again.")}
		} else if !care.IsCode(err, care.NotFound) {
			return err
		}
		c, err := tx.CardByCode(hash)
		if care.IsCode(err, care.NotFound) {
			_, err = byCode(tx, hash) // in its words
		}
		if err != nil {
			return err
		}
		if c.KeeperID == "" || c.ClaimRequest != requestID || c.RevokedAt != nil {
			var e *care.Error
			if err := cardWaits(tx, &c); !errors.As(err, &e) || e.Reason != care.ReasonCardWaiting {
				return err
			}
			keeper, err := asKeeper(tx, who, name, now)
			if err != nil {
				return err
			}
			c.KeeperID, c.KeeperName, c.ClaimedAt, c.ClaimRequest = keeper, name, &now, requestID
			if err := tx.UpdateCard(c); err != nil {
				return stale(err)
			}
		}
		keeper := care.Actor{Kind: care.KeeperActor, KeeperID: c.KeeperID, Breeders: c.BreederID}
		if who.Kind == care.KeeperActor && who.KeeperID == c.KeeperID {
			keeper = who.WithBreeders(c.BreederID)
		}
		if err := start(tx, keeper); err != nil {
			return err
		}
		w, err = waiting(tx, &c)
		return err
	})
	if err != nil {
		return WaitingCard{}, err
	}
	return w, nil
}

// WaitingCard is what a keeper sees of a card whose sale has not come in.
type WaitingCard struct {
	Number    int64
	Breeder   string // the breeder's name
	ClaimedAt time.Time
	Revoked   bool // no sale will come for it
}

func waiting(tx care.Tx, c *care.Card) (WaitingCard, error) {
	b, err := tx.Breeder(c.BreederID)
	return WaitingCard{Number: c.Number, Breeder: b.Name, ClaimedAt: *c.ClaimedAt, Revoked: c.RevokedAt != nil}, err
}

// WaitingCards are the cards that a keeper claimed and no sale has come for.
func (s *Service) WaitingCards(ctx context.Context, who care.Actor) (list []WaitingCard, err error) {
	if who.Kind != care.KeeperActor || who.KeeperID == "" {
		return nil, errNotYours
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		list = nil
		cards, err := tx.CardsOfKeeper(who.KeeperID)
		if err != nil {
			return err
		}
		for i := range cards {
			if !who.IsKeeper(cards[i].KeeperID, cards[i].BreederID) {
				continue
			}
			w, err := waiting(tx, &cards[i])
			if err != nil {
				return err
			}
			list = append(list, w)
		}
		return nil
	})
	return list, err
}

var (
	amount   = regexp.MustCompile(`^[0-9]{1,9}([.][0-9]{1,3})?$`)
	currency = regexp.MustCompile(`^[A-Z]{3}$`)
)

func checkPrice(p care.Price) error {
	switch {
	case p == care.Price{}:
		return nil
	case !amount.MatchString(p.Amount):
		return care.BadField("handover.price.amount", "Write the price in figures, such as 120 or 89.50, or leave it out.")
	case !currency.MatchString(p.Currency):
		return care.BadField("handover.price.currency", "Say which currency with its three letters, such as EUR.")
	}
	return nil
}

// ofCardCode names the field of a code as the request for a sale does.
func ofCardCode(err error) error {
	var e *care.Error
	if errors.As(err, &e) {
		for i := range e.Fields {
			e.Fields[i].Field = "handover.card_code"
		}
	}
	return err
}
