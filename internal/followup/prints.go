package followup

import (
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// CardDraft names a handover whose card is to be printed. The caller has to know
// its claim code: only the hash is kept.
type CardDraft struct {
	HandoverID, Code string
	Blank            int64 // the number of a blank card, in place of a handover
}

// Cards returns the handovers of cards, in their order, of blank ones with
// nothing but the breeder in the record, when each can still be
// claimed with the code that is to stand on it, and the zone that the breeder's
// days are counted in.
func (s *Service) Cards(ctx context.Context, who care.Actor, now time.Time, breederID string, cards []CardDraft) (list []care.Handover, zone *time.Location, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, nil, err
	}
	hashes := make([]string, len(cards))
	for i, c := range cards {
		if hashes[i], err = s.codes.Hash(c.Code); err != nil {
			return nil, nil, ofCard(i, err)
		}
	}
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		list = nil
		if zone, err = zoneOf(tx, breederID); err != nil {
			return err
		}
		for i, c := range cards {
			if c.Blank != 0 {
				h, err := blankToPrint(tx, breederID, c.Blank, hashes[i])
				if err != nil {
					return ofCard(i, err)
				}
				list = append(list, h)
				continue
			}
			h, err := tx.Handover(breederID, c.HandoverID)
			if err != nil {
				return err
			}
			if err := claimable(&h, now); err != nil {
				return err
			}
			if subtle.ConstantTimeCompare([]byte(h.CodeHash), []byte(hashes[i])) == 0 {
				return ofCard(i, &care.Error{Code: care.Invalid, Reason: care.ReasonCodeWrong, Text: words.Say("This handover has another code. If its code is lost, make a new one and print its card."),
					Fields: []care.FieldError{{Field: "claim_code", Text: words.Say("Not the code of this handover.")}}})
			}
			list = append(list, h)
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	return list, zone, nil
}

func blankToPrint(tx care.Tx, breederID string, number int64, hash string) (h care.Handover, err error) {
	c, err := tx.Card(breederID, number)
	switch {
	case err != nil:
		return h, err
	case c.HandoverID != "":
		return h, cardUsed(&c, "")
	case c.RevokedAt != nil:
		return h, cardRevoked(&c)
	case subtle.ConstantTimeCompare([]byte(c.CodeHash), []byte(hash)) == 0:
		return h, &care.Error{Code: care.Invalid, Reason: care.ReasonCodeWrong, Text: words.Say("This card has another code. Codes are told once; if they are lost, make new cards."),
			Fields: []care.FieldError{{Field: "claim_code", Text: words.Say("Not the code of this card.")}}}
	}
	b, err := tx.Breeder(breederID)
	h.Record.Breeder, h.Record.Contact = b.Name, b.Contact
	return h, err
}

// ofCard says in which of the cards a field is wrong.
func ofCard(i int, err error) error {
	var e *care.Error
	if errors.As(err, &e) {
		for k := range e.Fields {
			e.Fields[k].Field = fmt.Sprintf("cards[%d].%s", i, e.Fields[k].Field)
		}
	}
	return err
}

// Animals returns animals of the stock book in the order of their ids.
func (s *Service) Animals(ctx context.Context, who care.Actor, breederID string, ids []string) (list []care.Animal, err error) {
	if err := breederOnly(who, breederID, "animal"); err != nil {
		return nil, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		list = nil
		for _, id := range ids {
			a, err := tx.Animal(breederID, id)
			if err != nil {
				return err
			}
			if a.DeletedAt != nil {
				return care.Missing("animal")
			}
			list = append(list, a)
		}
		return nil
	})
	return list, err
}

// Zone is the zone that the breeder's days are counted in.
func (s *Service) Zone(ctx context.Context, breederID string) (zone *time.Location, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		zone, err = zoneOf(tx, breederID)
		return err
	})
	return zone, err
}

// zoneOf is the zone that the breeder's days are counted in.
func zoneOf(tx care.Tx, breederID string) (*time.Location, error) {
	b, err := tx.Breeder(breederID)
	if err != nil {
		return nil, err
	}
	zone, err := time.LoadLocation(b.TimeZone)
	if err != nil {
		return time.UTC, nil // a zone that this machine does not know
	}
	return zone, nil
}
