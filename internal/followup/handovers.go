package followup

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// ClaimDays is how long a claim code waits for its keeper.
const ClaimDays = 90

// HandoverDraft is what the breeder says of a sale.
type HandoverDraft struct {
	BreederID, AnimalID, ShowDay, BuyerNote string
	RequestID                               string
	At                                      time.Time // zero means now
	// CardCode is the code of a blank card that goes with the animal; "" for a
	// new code.
	CardCode string     `json:",omitempty"`
	Price    care.Price `json:",omitzero"`
}

// CreateHandover issues the record of an animal as of the sale and opens its
// case. The code is "" in the answer to a repeat, for only its hash is kept, and
// with a blank card, which has it printed on. A sale that a phone kept while it
// was offline comes with a blank card: it is the same sale when card, animal and
// time are, however late it comes again; and who claimed the card before it came
// is the animal's keeper from then on.
func (s *Service) CreateHandover(ctx context.Context, who care.Actor, now time.Time, d HandoverDraft) (h care.Handover, code string, err error) {
	if err := breederOnly(who, d.BreederID, "animal"); err != nil {
		return h, "", err
	}
	now = care.Instant(now)
	digest := digestOf("CreateHandover", d)
	if d.At.IsZero() {
		d.At = now
	}
	d.At = care.Instant(d.At)
	if d.At.After(now.Add(24*time.Hour)) || d.At.Before(now.AddDate(-1, 0, 0)) {
		return h, "", care.BadField("handover.handover_time", "A handover is recorded within a year after it and at most a day before. Check the date.")
	}
	if err := checkPrice(d.Price); err != nil {
		return h, "", err
	}
	var plain, hash string
	if d.CardCode == "" {
		plain, hash, err = s.codes.New()
	} else {
		hash, err = s.codes.Hash(d.CardCode)
		err = ofCardCode(err)
	}
	if err != nil {
		return h, "", fmt.Errorf("claim code: %w", err)
	}
	var opened care.Case
	var made bool
	err = s.store.Write(ctx, func(tx care.Tx) error {
		made = false
		done, err := tx.Answered(d.BreederID, d.RequestID)
		if err == nil {
			if done.Digest != digest {
				return requestReused()
			}
			h, err = tx.Handover(d.BreederID, string(done.Answer))
			return err
		}
		if !care.IsCode(err, care.NotFound) {
			return err
		}
		var card *care.Card
		if d.CardCode != "" {
			if card, err = blankCard(tx, d.BreederID, hash); err != nil {
				return err
			}
			if card.HandoverID != "" {
				h, err = sameSale(tx, card, &d)
				return err
			}
		}
		a, err := tx.Animal(d.BreederID, d.AnimalID)
		if err != nil {
			return err
		}
		if a.DeletedAt != nil {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonAnimalGone, Text: words.Say("This animal is not in the stock book any more. If it was sold, say which animal it was.")}
		}
		c, err := openCase(tx, d.BreederID, d.AnimalID)
		if err != nil {
			return err
		}
		if c != nil {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonAlreadyHanded, Text: words.Say("This animal was handed over already and is being followed up. Revoke that handover or end its case first."),
				Meta: map[string]string{"handover": c.ID, "claimed": strconv.FormatBool(c.KeeperID != "")}}
		}
		b, err := tx.Breeder(d.BreederID)
		if err != nil {
			return err
		}
		if b.EraseAt != nil {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonToBeErased, Text: words.Say("This account is going to be erased, and the keeper's record with it. Call that off under Settings first.")}
		}
		log, err := tx.Log(d.BreederID, d.AnimalID)
		if err != nil {
			return err
		}
		asOf := d.At
		if asOf.After(now) {
			asOf = now
		}
		h = care.Handover{
			BreederID: d.BreederID, ID: newID(), AnimalID: d.AnimalID, State: care.HandoverIssued,
			HandedOverAt: d.At, ShowDay: d.ShowDay, BuyerNote: d.BuyerNote, Price: d.Price,
			Record: record(&b, &a, until(log, asOf), asOf), CodeHash: hash,
			ClaimExpiresAt: now.AddDate(0, 0, ClaimDays), CreatedAt: now, Version: 1,
		}
		if h.Record.Mother, err = parent(tx, d.BreederID, a.MotherID); err != nil {
			return err
		}
		if h.Record.Father, err = parent(tx, d.BreederID, a.FatherID); err != nil {
			return err
		}
		if h.Signed, err = s.sign(tx, &h, now); err != nil {
			return err
		}
		opened = care.Case{BreederID: d.BreederID, ID: h.ID, AnimalID: d.AnimalID, HandedOverAt: d.At, CreatedAt: now, ChangedAt: now, Version: 1}
		if card != nil {
			if err := bind(tx, card, &h, &opened, now); err != nil {
				return err
			}
		}
		if err := tx.InsertHandover(h); err != nil {
			return err
		}
		opened.Learned, err = learn(tx, &a, lastMass(log, d.At), now)
		if err != nil {
			return err
		}
		if err := tx.InsertCase(opened); err != nil {
			return err
		}
		if opened, err = reassess(tx, opened, now); err != nil {
			return err
		}
		made = true
		return tx.InsertAnswered(care.Answered{Scope: d.BreederID, RequestID: d.RequestID, Digest: digest, Answer: []byte(h.ID), At: now})
	})
	if err != nil {
		return care.Handover{}, "", err
	}
	if !made {
		return h, "", nil
	}
	s.hub.publish(change(&opened, "handover"))
	return h, plain, nil
}

func requestReused() error {
	return &care.Error{Code: care.Conflict, Reason: care.ReasonRequestReused, Text: words.Say("This request id was used for something else. Make a new id for each new request.")}
}

func digestOf(method string, v any) string {
	data, err := json.Marshal(v)
	if err != nil {
		panic(err) // plain structs of ours always marshal
	}
	sum := sha256.Sum256(append([]byte(method+"\n"), data...))
	return hex.EncodeToString(sum[:])
}

// record makes the copy that the keeper gets: the breeder's own history of the
// animal, without notes.
func record(b *care.Breeder, a *care.Animal, log []care.Entry, now time.Time) care.Record {
	r := care.Record{Animal: *a, Breeder: b.Name, Contact: b.Contact, IssuedAt: now}
	r.Animal.Note, r.Animal.Place = "", ""
	var climate []care.Entry
	for _, e := range log {
		if !e.Current() || e.CaseID != "" {
			continue
		}
		e.Note = ""
		switch e.Body.(type) {
		case care.WeighIn:
			r.Weights = append(r.Weights, e)
		case care.Offer:
			r.Offers = append(r.Offers, e)
		case care.Shed:
			r.Sheds = append(r.Sheds, e)
		case care.ClimateReading:
			climate = append(climate, e)
		}
	}
	r.Kept, r.KeptAt = kept(climate, now)
	r.FeedNext = care.FeedSentence(a, r.Weights, r.Offers, now)
	r.Checklist = care.MakeChecklist(a, lastMass(log, now), now)
	r.Cautions = care.Cautions(a)
	return r
}

// until is what of a log had happened by then.
func until(log []care.Entry, t time.Time) []care.Entry {
	return slices.DeleteFunc(slices.Clone(log), func(e care.Entry) bool { return e.HappenedAt.After(t) })
}

// keptFor is for how long a climate reading says how an animal is kept.
const keptFor = 90 * 24 * time.Hour

// kept puts the last values of the breeder's readings together, and says when
// the latest was taken.
func kept(readings []care.Entry, now time.Time) (last care.ClimateReading, at time.Time) {
	slices.SortStableFunc(readings, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
	for _, e := range readings {
		if e.HappenedAt.After(now) || now.Sub(e.HappenedAt) > keptFor {
			continue
		}
		r := e.Body.(care.ClimateReading)
		last.TakenWith, at = r.TakenWith, e.HappenedAt
		for _, v := range []struct {
			to   **care.Celsius
			from *care.Celsius
		}{{&last.Warm, r.Warm}, {&last.Cool, r.Cool}, {&last.Night, r.Night}, {&last.Surface, r.Surface}} {
			if v.from != nil {
				*v.to = v.from
			}
		}
		if r.Humidity != nil {
			last.Humidity = r.Humidity
		}
	}
	return last, at
}

func parent(tx care.Tx, breederID, id string) (care.Parent, error) {
	if id == "" {
		return care.Parent{}, nil
	}
	a, err := tx.Animal(breederID, id)
	if err != nil {
		return care.Parent{}, err
	}
	return care.Parent{Name: a.Name, Genes: a.Genes}, nil
}

// GetHandover returns one handover; the keeper who claimed it gets it without
// the breeder's note on the buyer and the case of the keeper before.
func (s *Service) GetHandover(ctx context.Context, who care.Actor, breederID, id string) (h care.Handover, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		h, err = tx.Handover(breederID, id)
		return err
	})
	if err != nil || who.OfBreeder(breederID) {
		return h, err
	}
	if !who.IsKeeper(h.KeeperID, breederID) {
		return care.Handover{}, care.Missing("handover")
	}
	h.ForKeeper()
	h.From = ""
	return h, nil
}

// ListHandovers pages through a breeder's handovers.
func (s *Service) ListHandovers(ctx context.Context, who care.Actor, breederID, animalID string, after care.Cursor, limit int) (list []care.Handover, next care.Cursor, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, next, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		list, next, err = tx.ListHandovers(breederID, animalID, after, limit)
		return err
	})
	return list, next, err
}

// unclaimed loads a handover that nobody has claimed or revoked.
func unclaimed(tx care.Tx, breederID, id string) (care.Handover, error) {
	h, err := tx.Handover(breederID, id)
	if err != nil {
		return h, err
	}
	if h.From != "" {
		return h, &care.Error{Code: care.Precondition, Reason: care.ReasonNotYours, Text: words.Say("The keeper made this code, to pass the animal on. Only the keeper can take it back or make another.")}
	}
	switch h.State {
	case care.HandoverClaimed:
		return h, &care.Error{Code: care.Precondition, Reason: care.ReasonCodeUsed, Text: words.Say("The keeper has claimed this handover already. Its code cannot be taken back; end the case instead.")}
	case care.HandoverRevoked:
		return h, &care.Error{Code: care.Precondition, Reason: care.ReasonCodeRevoked, Text: words.Say("This handover was revoked. Make a new one for the animal.")}
	}
	return h, nil
}

// RevokeHandover makes an unclaimed code useless and closes the case.
func (s *Service) RevokeHandover(ctx context.Context, who care.Actor, now time.Time, breederID, id string) (h care.Handover, err error) {
	if err := breederOnly(who, breederID, "handover"); err != nil {
		return h, err
	}
	now = care.Instant(now)
	var c care.Case
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		if h, err = tx.Handover(breederID, id); err != nil {
			return err
		}
		if h.From != "" {
			_, err = unclaimed(tx, breederID, id)
			return err
		}
		if c, err = tx.Case(breederID, id); err != nil || h.State == care.HandoverRevoked {
			return err // a repeat
		}
		if h, err = unclaimed(tx, breederID, id); err != nil {
			return err
		}
		h.State = care.HandoverRevoked
		if err := tx.UpdateHandover(h); err != nil {
			return stale(err)
		}
		c.ClosedAt = &now
		c, err = reassess(tx, c, now)
		return err
	})
	if err == nil {
		s.hub.publish(change(&c, "end"))
	}
	return h, err
}

// ReplaceClaimCode makes a new code for an unclaimed handover.
func (s *Service) ReplaceClaimCode(ctx context.Context, who care.Actor, now time.Time, breederID, id string) (h care.Handover, code string, err error) {
	if err := breederOnly(who, breederID, "handover"); err != nil {
		return h, "", err
	}
	code, hash, err := s.codes.New()
	if err != nil {
		return h, "", fmt.Errorf("claim code: %w", err)
	}
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		if h, err = unclaimed(tx, breederID, id); err != nil {
			return err
		}
		h.CodeHash, h.ClaimExpiresAt = hash, care.Instant(now).AddDate(0, 0, ClaimDays)
		return stale(tx.UpdateHandover(h))
	})
	if err != nil {
		return care.Handover{}, "", err
	}
	return h, code, nil
}

func byCode(tx care.Tx, hash string) (care.Handover, error) {
	h, err := tx.HandoverByCode(hash)
	if !care.IsCode(err, care.NotFound) {
		return h, err
	}
	card, err := tx.CardByCode(hash)
	if care.IsCode(err, care.NotFound) {
		return h, &care.Error{Code: care.NotFound, Reason: care.ReasonCodeWrong, Text: words.Say("No handover has this code. Compare it with the card again, or ask the breeder for a new one."),
			Fields: []care.FieldError{{Field: "claim_code", Text: words.Say("No handover has this code. Compare it with the card again.")}}}
	}
	if err != nil {
		return h, err
	}
	return h, cardWaits(tx, &card)
}

// claimable reports why a handover cannot be claimed, if it cannot.
func claimable(h *care.Handover, now time.Time) error {
	switch h.StateAt(now) {
	case care.HandoverClaimed:
		return &care.Error{Code: care.Precondition, Reason: care.ReasonCodeUsed, Text: words.Say("This code was used already. If that was you, open Warmhand on the phone you used. If it was not you, tell the breeder.")}
	case care.HandoverRevoked:
		return &care.Error{Code: care.Precondition, Reason: care.ReasonCodeRevoked, Text: words.Say("The breeder took this code back. Ask the breeder for a new one.")}
	case care.HandoverExpired:
		return &care.Error{Code: care.Precondition, Reason: care.ReasonCodeExpired, Text: words.Say("This code is too old to be used. Ask the breeder for a new one; it takes a moment.")}
	}
	return nil
}

// LookUpClaim shows what a code would claim.
func (s *Service) LookUpClaim(ctx context.Context, now time.Time, typed string) (h care.Handover, err error) {
	hash, err := s.codes.Hash(typed)
	if err != nil {
		return h, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		if h, err = byCode(tx, hash); err != nil {
			return err
		}
		return claimable(&h, now)
	})
	if err != nil {
		return care.Handover{}, err // what a code would have opened stays closed
	}
	h.ForKeeper()
	return h, nil
}

// Claim makes the caller the keeper. start begins the session in the same
// transaction. The same request id with the same code claims again, so that an
// answer that was lost locks nobody out.
func (s *Service) Claim(ctx context.Context, who care.Actor, now time.Time, typed, name, requestID string, start func(tx care.Tx, keeper care.Actor) error) (v CaseView, h care.Handover, err error) {
	hash, err := s.codes.Hash(typed)
	if err != nil {
		return v, h, err
	}
	now = care.Instant(now)
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		if h, err = byCode(tx, hash); err != nil {
			return err
		}
		scope := claimScope(h.ID)
		_, err = tx.Answered(scope, requestID)
		again := err == nil && h.State == care.HandoverClaimed
		if err != nil && !care.IsCode(err, care.NotFound) {
			return err
		}
		var c care.Case
		if !again {
			if err := claimable(&h, now); err != nil {
				return err
			}
			if h.From != "" {
				c, err = takeOver(tx, who, &h, now)
			} else {
				c, err = tx.Case(h.BreederID, h.ID)
			}
			if err != nil {
				return err
			}
			keeper, err := asKeeper(tx, who, name, now)
			if err != nil {
				return err
			}
			h.State, h.ClaimedAt, h.KeeperID = care.HandoverClaimed, &now, keeper
			if err := tx.UpdateHandover(h); err != nil {
				return stale(err)
			}
			c.KeeperID, c.KeeperName, c.LastHeard = keeper, name, &now
			if c, err = reassess(tx, c, now); err != nil {
				return err
			}
			if err := tx.InsertAnswered(care.Answered{Scope: scope, RequestID: requestID, Digest: digestOf("Claim", h.ID), Answer: []byte(keeper), At: now}); err != nil {
				return err
			}
		} else if c, err = tx.Case(h.BreederID, h.ID); err != nil {
			return err
		}
		keeper := care.Actor{Kind: care.KeeperActor, KeeperID: h.KeeperID, Breeders: h.BreederID}
		if who.Kind == care.KeeperActor && who.KeeperID == h.KeeperID {
			keeper = who.WithBreeders(h.BreederID)
		}
		if err := start(tx, keeper); err != nil {
			return err
		}
		v, err = view(tx, c, now)
		return err
	})
	if err != nil {
		return CaseView{}, care.Handover{}, err
	}
	h.ForKeeper()
	h.From, v.Animal.Note, v.Animal.Place = "", "", ""
	s.hub.publish(change(&v.Case, "claim"))
	return v, h, nil
}

// LetKeeperIn is for a breeder who helps the keeper of a case back in: f makes
// the code, as this keeper with nothing but this breeder's cases. With lost, the
// phone that claimed them cannot repeat its claims either.
func (s *Service) LetKeeperIn(ctx context.Context, who care.Actor, breederID, caseID string, lost bool, f func(tx care.Tx, keeper care.Actor) error) error {
	if err := breederOnly(who, breederID, "case"); err != nil {
		return err
	}
	return s.store.Write(ctx, func(tx care.Tx) error {
		c, err := tx.Case(breederID, caseID)
		if err != nil {
			return err
		}
		if err := mayComeBack(&c); err != nil {
			return err
		}
		if lost {
			cases, err := tx.CasesOfKeeper(c.KeeperID)
			if err != nil {
				return err
			}
			for i := range cases {
				if cases[i].BreederID != breederID {
					continue
				}
				if err := tx.DeleteAnswered(claimScope(cases[i].ID)); err != nil {
					return err
				}
			}
		}
		return f(tx, care.Actor{Kind: care.KeeperActor, KeeperID: c.KeeperID, Breeders: breederID})
	})
}

// asKeeper is who claims: the keeper that is signed in, or a new one.
func asKeeper(tx care.Tx, who care.Actor, name string, now time.Time) (id string, err error) {
	if who.Kind == care.KeeperActor && who.KeeperID != "" {
		return who.KeeperID, nil
	}
	id = newID()
	return id, tx.InsertKeeper(care.Keeper{ID: id, Name: name, CreatedAt: now})
}

// claimScope is where the answer to a claim is kept, for its repeat.
func claimScope(handoverID string) string { return "claim/" + handoverID }
