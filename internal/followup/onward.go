package followup

import (
	"context"
	"fmt"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// PassOnDays is how long the code waits with which a keeper passes an animal on.
const PassOnDays = 14

// holder loads a case whose keeper is the caller and has the animal still, as
// far as anybody here knows. To others it does not exist.
func holder(tx care.Tx, who care.Actor, breederID, caseID string) (c care.Case, cases []care.Case, err error) {
	if c, err = tx.Case(breederID, caseID); err != nil {
		return c, nil, err
	}
	if !who.IsKeeper(c.KeeperID, breederID) {
		return c, nil, care.Missing("case")
	}
	cases, err = animalCases(tx, breederID, c.AnimalID)
	if err == nil && !holds(&c, cases) {
		err = &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("This animal is not with you any more, as far as your breeder knows. If it is, write to your breeder.")}
	}
	return c, cases, err
}

// holds reports whether the animal is with the keeper of the case: it did not
// end with the animal gone, and nobody else took the animal on since.
func holds(c *care.Case, ofAnimal []care.Case) bool {
	switch c.Outcome {
	case "", care.OutcomeSettled, care.OutcomeVet, care.OutcomeLostTouch:
	default:
		return false
	}
	return !slices.ContainsFunc(ofAnimal, func(o care.Case) bool {
		revoked := o.ClosedAt != nil && o.Outcome == ""
		return o.ID != c.ID && !revoked && (o.ClosedAt == nil || o.CreatedAt.After(c.CreatedAt))
	})
}

// passOns are the handovers by which the keeper of a case passes the animal on
// and that nobody has claimed.
func passOns(tx care.Tx, c *care.Case) (open []care.Handover, err error) {
	err = care.EachPage(func(after care.Cursor) (care.Cursor, error) {
		page, next, err := tx.ListHandovers(c.BreederID, c.AnimalID, after, 100)
		for _, h := range page {
			if h.From == c.ID && h.State == care.HandoverIssued {
				open = append(open, h)
			}
		}
		return next, err
	})
	return open, err
}

func revokePassOns(tx care.Tx, c *care.Case) error {
	open, err := passOns(tx, c)
	if err != nil {
		return err
	}
	for _, h := range open {
		h.State = care.HandoverRevoked
		if err := tx.UpdateHandover(h); err != nil {
			return err
		}
	}
	return nil
}

// PassOn makes the code by which the next keeper takes an animal on from this
// one. Until it is claimed nothing changes; a code from before stops working.
func (s *Service) PassOn(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (h care.Handover, code string, err error) {
	code, hash, err := s.codes.New()
	if err != nil {
		return h, "", fmt.Errorf("claim code: %w", err)
	}
	now = care.Instant(now)
	err = s.store.Write(ctx, func(tx care.Tx) error {
		c, _, err := holder(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		if err := revokePassOns(tx, &c); err != nil {
			return err
		}
		h = care.Handover{BreederID: breederID, ID: newID(), AnimalID: c.AnimalID, From: c.ID, State: care.HandoverIssued, HandedOverAt: now,
			CodeHash: hash, ClaimExpiresAt: now.AddDate(0, 0, PassOnDays), CreatedAt: now, Version: 1}
		if h.Record, _, err = passedRecord(tx, &c, now); err != nil {
			return err
		}
		return tx.InsertHandover(h)
	})
	if err != nil {
		return care.Handover{}, "", stale(err)
	}
	return h, code, nil
}

// GetPassOn is the handover that waits for the next keeper, for the one who
// passes the animal on, if there is one.
func (s *Service) GetPassOn(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (h care.Handover, found bool, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, err := tx.Case(breederID, caseID)
		if err != nil {
			return err
		}
		if !who.IsKeeper(c.KeeperID, breederID) {
			return care.Missing("case")
		}
		open, err := passOns(tx, &c)
		if err != nil {
			return err
		}
		if found = len(open) > 0 && open[0].StateAt(now) == care.HandoverIssued; found {
			h = open[0]
		}
		return nil
	})
	return h, found, err
}

// RevokePassOn makes the code useless. There may be none.
func (s *Service) RevokePassOn(ctx context.Context, who care.Actor, breederID, caseID string) error {
	return stale(s.store.Write(ctx, func(tx care.Tx) error {
		c, err := tx.Case(breederID, caseID)
		if err != nil {
			return err
		}
		if !who.IsKeeper(c.KeeperID, breederID) {
			return care.Missing("case")
		}
		return revokePassOns(tx, &c)
	}))
}

// passedRecord is the record that goes with an animal which its keeper passes
// on: the breeder's history and what was seen of the animal since, without who
// saw it. earlier are the cases that this comes from.
func passedRecord(tx care.Tx, c *care.Case, now time.Time) (r care.Record, next care.Case, err error) {
	b, err := tx.Breeder(c.BreederID)
	if err != nil {
		return r, next, err
	}
	a, err := tx.Animal(c.BreederID, c.AnimalID)
	if err != nil {
		return r, next, err
	}
	log, err := tx.Log(c.BreederID, c.AnimalID)
	if err != nil {
		return r, next, err
	}
	next = care.Case{BreederID: c.BreederID, AnimalID: c.AnimalID, HandedOverAt: now, CreatedAt: now, ChangedAt: now, Version: 1,
		Earlier: append(slices.Clone(c.Earlier), c.ID)}
	history := caseLog(log, &next)
	if r = record(&b, &a, history, now); a.MotherID != "" || a.FatherID != "" {
		if r.Mother, err = parent(tx, c.BreederID, a.MotherID); err != nil {
			return r, next, err
		}
		if r.Father, err = parent(tx, c.BreederID, a.FatherID); err != nil {
			return r, next, err
		}
	}
	next.Learned, err = learn(tx, &a, lastMass(history, now), now)
	return r, next, err
}

// takeOver is the claim of an animal that its keeper passes on: the case of that
// keeper ends, and the next one begins with a fresh time of settling in.
func takeOver(tx care.Tx, who care.Actor, h *care.Handover, now time.Time) (c care.Case, err error) {
	from, err := tx.Case(h.BreederID, h.From)
	if err != nil {
		return c, err
	}
	if who.IsKeeper(from.KeeperID, h.BreederID) {
		return c, &care.Error{Code: care.Precondition, Reason: care.ReasonCodeUsed, Text: words.Say("This code is for the next keeper, and this phone is the one that passes the animal on. Open it on the next keeper's phone.")}
	}
	cases, err := animalCases(tx, h.BreederID, h.AnimalID)
	if err != nil {
		return c, err
	}
	if !holds(&from, cases) || from.KeeperGone() {
		return c, &care.Error{Code: care.Precondition, Reason: care.ReasonCodeRevoked, Text: words.Say("The keeper who made this code does not have the animal any more. Ask them, or the breeder, for a new one.")}
	}
	record, c, err := passedRecord(tx, &from, now)
	if err != nil {
		return c, err
	}
	if from.ClosedAt == nil {
		if err := tx.InsertEntry(care.Entry{BreederID: from.BreederID, AnimalID: from.AnimalID, ID: newID(), CaseID: from.ID, By: care.KeeperActor, ByID: from.KeeperID,
			HappenedAt: now, ReceivedAt: now, Body: care.Ended{Outcome: care.OutcomePassedOn}}); err != nil {
			return c, err
		}
		from.ClosedAt, from.Outcome, from.GiveBackAt, from.Return = &now, care.OutcomePassedOn, nil, care.Return{}
		if _, err := reassess(tx, from, now); err != nil {
			return c, err
		}
	}
	c.ID, h.Record, h.HandedOverAt = h.ID, record, now
	return c, tx.InsertCase(c)
}

// GiveBack says that the keeper wants to give the animal back to the breeder, or
// with want false no longer does. A case that has ended is opened again for it,
// so that the breeder sees it. The breeder ends it when the animal has arrived.
func (s *Service) GiveBack(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string, want bool) (v CaseView, err error) {
	now = care.Instant(now)
	err = s.store.Write(ctx, func(tx care.Tx) error {
		c, _, err := holder(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		if want == (c.GiveBackAt != nil) {
			v, err = view(tx, c, now)
			return err
		}
		c.Return = care.Return{}
		if c.GiveBackAt = nil; want {
			c.GiveBackAt = &now
			if err := revokePassOns(tx, &c); err != nil {
				return err
			}
		}
		bodies := []care.Body{care.Seen{}}
		if c.ClosedAt != nil {
			bodies = append(bodies, care.Ended{Outcome: c.Outcome, Reopened: true})
			c.ClosedAt, c.Outcome = nil, ""
		}
		for _, b := range bodies {
			if err := tx.InsertEntry(care.Entry{BreederID: breederID, AnimalID: c.AnimalID, ID: newID(), CaseID: c.ID, By: who.Kind, ByID: who.ID(),
				HappenedAt: now, ReceivedAt: now, Body: b}); err != nil {
				return err
			}
		}
		if c, err = reassess(tx, c, now); err != nil {
			return err
		}
		v, err = view(tx, c, now)
		return err
	})
	if err != nil {
		return CaseView{}, stale(err)
	}
	v.Animal.Note, v.Animal.Place = "", ""
	s.hub.publish(change(&v.Case, "give_back"))
	return v, nil
}
