package followup

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/words"
)

// CaseView is a case with what a screen shows beside it.
type CaseView struct {
	Case       care.Case
	Animal     care.Animal
	Breeder    care.Breeder
	Assessment assess.Assessment // zero in lists
}

// view is a case as it stands now. What the pass left to be said on the day is worked
// out for the few that are looked at.
func view(tx care.Tx, c care.Case, now time.Time) (v CaseView, err error) {
	v.Case = c
	if v.Animal, err = tx.Animal(c.BreederID, c.AnimalID); err != nil {
		return v, err
	}
	if v.Breeder, err = tx.Breeder(c.BreederID); err != nil {
		return v, err
	}
	if len(c.Assessment) > 0 {
		if err := json.Unmarshal(c.Assessment, &v.Assessment); err != nil {
			return v, fmt.Errorf("stored assessment of case %s: %w", c.ID, err)
		}
	}
	if c.ClosedAt != nil || len(c.Ahead) == 0 || now.Before(v.Assessment.DueAt) {
		return v, nil
	}
	about, log, err := today(tx, &c)
	if err != nil {
		return v, err
	}
	a := assess.Assess(about, caseLog(log, &c), now)
	if a.Standing != c.Standing {
		return v, nil // the pass is on its way here
	}
	v.Assessment = a
	v.Case.Urgency, v.Case.Headline, v.Case.NextStep, v.Case.AssessedAt = a.Urgency, a.Headline, a.NextStep(), care.Instant(now)
	return v, nil
}

// ListCases is the triage list.
func (s *Service) ListCases(ctx context.Context, who care.Actor, now time.Time, breederID string, q care.CaseQuery, after care.Cursor, limit int) (list []CaseView, next care.Cursor, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, next, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		b, err := tx.Breeder(breederID)
		if err != nil {
			return err
		}
		var cases []care.Case
		if cases, next, err = tx.ListCases(breederID, q, after, limit); err != nil {
			return err
		}
		ids := make([]string, len(cases))
		for i := range cases {
			ids[i] = cases[i].AnimalID
		}
		animals, err := tx.Animals(breederID, ids)
		if err != nil {
			return err
		}
		byID := make(map[string]*care.Animal, len(animals))
		for i := range animals {
			byID[animals[i].ID] = &animals[i]
		}
		list = make([]CaseView, len(cases))
		for i, c := range cases {
			a := byID[c.AnimalID]
			if a == nil {
				return care.Missing("animal")
			}
			if err := sayToday(&c, now); err != nil {
				return err
			}
			list[i] = CaseView{Case: c, Animal: *a, Breeder: b}
		}
		return nil
	})
	return list, next, err
}

// KeeperCases are the keeper's own cases, of all breeders.
func (s *Service) KeeperCases(ctx context.Context, who care.Actor, now time.Time) (list []CaseView, err error) {
	if who.Kind != care.KeeperActor || who.KeeperID == "" {
		return nil, errNotYours
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		list = nil
		cases, err := tx.CasesOfKeeper(who.KeeperID)
		if err != nil {
			return err
		}
		for _, c := range cases {
			if !who.IsKeeper(c.KeeperID, c.BreederID) {
				continue
			}
			v, err := view(tx, c, now)
			if err != nil {
				return err
			}
			v.Animal.Note, v.Animal.Place = "", ""
			list = append(list, v)
		}
		return nil
	})
	return list, err
}

// GetCase returns one case as it was last assessed.
func (s *Service) GetCase(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (v CaseView, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, err := caseOf(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		v, err = view(tx, c, now)
		return err
	})
	if !who.OfBreeder(breederID) {
		v.Animal.Note, v.Animal.Place = "", ""
	}
	return v, err
}

// stands is the time as of which a case is looked at: now, or its end.
func stands(c *care.Case, now time.Time) time.Time {
	if now = care.Instant(now); c.ClosedAt != nil && c.ClosedAt.Before(now) {
		return *c.ClosedAt
	}
	return now
}

// Course computes the day-by-day course of a case, with the entries that a
// plot marks, oldest first.
func (s *Service) Course(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (course assess.Course, entries []care.Entry, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, err := caseOf(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		about, log, err := story(tx, &c)
		if err != nil {
			return err
		}
		until := stands(&c, now)
		_, course = assess.AssessCourse(about, log, until)
		course.Looks = assess.LookBacks(log, c.HandedOverAt, until)
		entries = nil
		for i := range log {
			e := log[i]
			if !e.Current() || !who.OfBreeder(breederID) && !keeperMaySee(&e, &c) {
				continue
			}
			switch e.Body.Kind() {
			case care.KindWeighIn, care.KindOffer, care.KindShed, care.KindSign, care.KindStep:
				entries = append(entries, e)
			}
		}
		return nil
	})
	return course, entries, err
}

// ListFlags returns the flags of a case with their history.
func (s *Service) ListFlags(ctx context.Context, who care.Actor, breederID, caseID string) (list []care.Flag, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		if _, err := caseOf(tx, who, breederID, caseID); err != nil {
			return err
		}
		list, err = tx.ListFlags(breederID, caseID)
		return err
	})
	return list, err
}

// MarkSeen says that the breeder looked at the case as it stands.
func (s *Service) MarkSeen(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (CaseView, error) {
	now = care.Instant(now)
	return s.onCase(ctx, s.store.Swap, who, now, breederID, caseID, "seen", func(tx care.Tx, c care.Case) (care.Case, error) {
		c.SeenAt, c.SeenAs = &now, c.Standing
		return savedCase(tx, c)
	})
}

// AsideDays is for how long at most a case is set aside.
const AsideDays = 120

// SetAside takes a case off the list until an instant, or with until nil back onto
// it. It comes back by itself before that when it needs somebody (care.Case.BringBack).
func (s *Service) SetAside(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string, until *time.Time, why string) (CaseView, error) {
	if err := breederOnly(who, breederID, "case"); err != nil {
		return CaseView{}, err
	}
	now = care.Instant(now)
	aside := care.Aside{}
	if until != nil {
		at := care.Instant(*until)
		if !at.After(now) || at.After(now.AddDate(0, 0, AsideDays)) {
			return CaseView{}, care.BadField("until_time", "Choose a day after today, at most {most} days ahead.", AsideDays)
		}
		if strings.TrimSpace(why) == "" {
			return CaseView{}, care.BadField("reason", "Say in a few words what it waits for, so that you know when it is back.")
		}
		aside = care.Aside{Until: &at, At: &now, Why: strings.TrimSpace(why)}
	}
	return s.onCase(ctx, s.store.Swap, who, now, breederID, caseID, "aside", func(tx care.Tx, c care.Case) (care.Case, error) {
		if c.ClosedAt != nil {
			return c, &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("This follow-up has ended. Open it again first.")}
		}
		c.Aside = aside
		if aside.Until != nil && aside.Until.Before(c.DueAt) {
			c.DueAt = *aside.Until
		}
		return savedCase(tx, c)
	})
}

// LookAfter says who of the breeder's people sees to a case; "" for whoever comes.
func (s *Service) LookAfter(ctx context.Context, who care.Actor, now time.Time, breederID, caseID, by string) (CaseView, error) {
	return s.onCase(ctx, s.store.Swap, who, now, breederID, caseID, "looked_after", func(tx care.Tx, c care.Case) (care.Case, error) {
		c.LookedAfterBy = strings.TrimSpace(by)
		return savedCase(tx, c)
	})
}

// Acknowledge takes in how far the breeder's messages have come to the keeper:
// those that came in up to got are on the keeper's phone, those up to read were
// opened. Either may be nil; neither goes back.
func (s *Service) Acknowledge(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string, got, read *time.Time) error {
	now = care.Instant(now)
	var changed *care.Case
	err := s.store.Swap(ctx, func(tx care.Tx) error {
		changed = nil
		c, err := tx.Case(breederID, caseID)
		if err != nil {
			return err
		}
		if !who.IsKeeper(c.KeeperID, breederID) {
			return care.Missing("case")
		}
		forward := func(is **time.Time, to *time.Time) bool {
			if to == nil {
				return false
			}
			at := care.Instant(*to)
			if at.After(now) {
				at = now
			}
			if *is != nil && !at.After(**is) {
				return false
			}
			*is = &at
			return true
		}
		arrived := forward(&c.GotAt, got)
		opened := forward(&c.ReadAt, read)
		if arrived = forward(&c.GotAt, read) || arrived; !arrived && !opened { // what was read has arrived
			return nil
		}
		if err := tx.UpdateCase(c); err != nil {
			return err
		}
		changed = &c
		return nil
	})
	if err == nil && changed != nil {
		s.hub.publish(change(changed, "read"))
	}
	return stale(err)
}

// EndCase closes a case with its outcome; requestID is the id of the entry
// that says so, and a repeat changes nothing.
func (s *Service) EndCase(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string, o care.Outcome, note, requestID string) (CaseView, error) {
	switch o {
	case care.OutcomeSettled, care.OutcomeReturned, care.OutcomeVet, care.OutcomeDied, care.OutcomeLostTouch:
	default:
		return CaseView{}, care.BadField("outcome", "Say how it ended: settled, returned, vet, died or lost_touch.")
	}
	now = care.Instant(now)
	return s.onCase(ctx, s.store.Write, who, now, breederID, caseID, "end", func(tx care.Tx, c care.Case) (care.Case, error) {
		fresh, err := endEntry(tx, who, c, now, requestID, note, care.Ended{Outcome: o})
		if err != nil || !fresh {
			return c, err
		}
		if c.ClosedAt != nil {
			return c, &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("This case has ended already. Open it again to give it another outcome.")}
		}
		c.ClosedAt, c.Outcome, c.GiveBackAt, c.Return = &now, o, nil, care.Return{}
		return reassess(tx, c, now)
	})
}

// ReopenCase takes the end back.
func (s *Service) ReopenCase(ctx context.Context, who care.Actor, now time.Time, breederID, caseID, requestID string) (CaseView, error) {
	now = care.Instant(now)
	return s.onCase(ctx, s.store.Write, who, now, breederID, caseID, "end", func(tx care.Tx, c care.Case) (care.Case, error) {
		if c.ClosedAt != nil && c.Outcome == "" {
			return c, &care.Error{Code: care.Precondition, Reason: care.ReasonCodeRevoked, Text: words.Say("This handover was revoked. Make a new one for the animal.")}
		}
		if endedByKeeper(&c) {
			return c, &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("The keeper ended this follow-up and is no longer here, so it cannot be opened again. Hand the animal over anew if it is kept on.")}
		}
		fresh, err := endEntry(tx, who, c, now, requestID, "", care.Ended{Outcome: c.Outcome, Reopened: true})
		if err != nil || !fresh {
			return c, err
		}
		if c.ClosedAt == nil {
			return reassess(tx, c, now) // it was open, and its log has grown
		}
		other, err := openCase(tx, breederID, c.AnimalID)
		if err != nil {
			return c, err
		}
		if other != nil {
			return c, &care.Error{Code: care.Precondition, Reason: care.ReasonAnimalHasCase, Text: words.Say("This animal was handed over again since. Follow it up in the newer case.")}
		}
		c.ClosedAt, c.Outcome, c.Return = nil, "", care.Return{}
		return reassess(tx, c, now)
	})
}

// endEntry writes the entry of an end or a reopening; false means that it was
// there already.
func endEntry(tx care.Tx, who care.Actor, c care.Case, now time.Time, id, note string, body care.Ended) (bool, error) {
	old, err := tx.Entry(c.BreederID, c.AnimalID, id)
	if err == nil {
		was, ok := old.Body.(care.Ended)
		if !ok || was.Reopened != body.Reopened || !body.Reopened && was.Outcome != body.Outcome || old.CaseID != c.ID {
			return false, requestReused()
		}
		return false, nil
	}
	if !care.IsCode(err, care.NotFound) {
		return false, err
	}
	return true, tx.InsertEntry(care.Entry{BreederID: c.BreederID, AnimalID: c.AnimalID, ID: id, CaseID: c.ID,
		By: who.Kind, ByID: who.ID(), HappenedAt: now, ReceivedAt: now, Note: note, Body: body})
}

// transact is how a change is made: care.Store's Write, or its Swap where the change is of
// the case's own fields and decided by nothing else. What is read for the answer beside it
// decides nothing.
type transact func(ctx context.Context, f func(care.Tx) error) error

// onCase runs one change of a case by the breeder.
func (s *Service) onCase(ctx context.Context, do transact, who care.Actor, now time.Time, breederID, caseID, what string, f func(care.Tx, care.Case) (care.Case, error)) (v CaseView, err error) {
	if err := breederOnly(who, breederID, "case"); err != nil {
		return v, err
	}
	err = do(ctx, func(tx care.Tx) error {
		c, err := tx.Case(breederID, caseID)
		if err != nil {
			return err
		}
		if c, err = f(tx, c); err != nil {
			return stale(err)
		}
		v, err = view(tx, c, now)
		return err
	})
	if err != nil {
		return CaseView{}, err
	}
	s.hub.publish(change(&v.Case, what))
	return v, nil
}

// MayAddPhoto says, before any bytes are read, whether the actor may add this
// photo, and returns it when it is there already.
func (s *Service) MayAddPhoto(ctx context.Context, who care.Actor, breederID, caseID, photoID string) (existing *care.Photo, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		existing = nil
		c, err := caseOf(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		p, err := tx.Photo(breederID, photoID)
		if err == nil {
			if p.CaseID != caseID {
				return care.Missing("photo")
			}
			existing = &p
			return nil
		}
		if !care.IsCode(err, care.NotFound) {
			return err
		}
		if c.ClosedAt != nil {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("This follow-up has ended. The breeder can open it again.")}
		}
		all, err := tx.ListPhotos(breederID, caseID)
		if err == nil && len(all) >= care.PhotosOfCase {
			err = &care.Error{Code: care.Precondition, Reason: care.ReasonTooLarge, Text: words.Say("This follow-up has {n} pictures, which is as many as it can hold. Write without a picture.", care.PhotosOfCase)}
		}
		return err
	})
	return existing, err
}

// AddPhoto records a photo whose bytes are stored. A repeat of the same
// picture gets the first answer.
func (s *Service) AddPhoto(ctx context.Context, who care.Actor, now time.Time, p care.Photo) (out care.Photo, err error) {
	p.ReceivedAt, p.By, p.ByID = care.Instant(now), who.Kind, who.ID()
	if p.TakenAt != nil {
		at := care.Instant(*p.TakenAt)
		p.TakenAt = &at
	}
	var c care.Case
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		if c, err = caseOf(tx, who, p.BreederID, p.CaseID); err != nil {
			return err
		}
		old, err := tx.Photo(p.BreederID, p.ID)
		if err == nil {
			if old.CaseID != p.CaseID || old.Source != p.Source {
				return &care.Error{Code: care.Conflict, Reason: care.ReasonIDReused, Text: words.Say("This id already belongs to another photo. Make a new id for each photo.")}
			}
			out = old
			return nil
		}
		if !care.IsCode(err, care.NotFound) {
			return err
		}
		out = p
		return tx.InsertPhoto(p)
	})
	if err == nil {
		s.hub.publish(change(&c, "photo"))
	}
	return out, err
}

// Photo returns one photo of a case.
func (s *Service) Photo(ctx context.Context, who care.Actor, breederID, caseID, photoID string) (p care.Photo, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		if _, err := caseOf(tx, who, breederID, caseID); err != nil {
			return err
		}
		if p, err = tx.Photo(breederID, photoID); err != nil {
			return err
		}
		if p.CaseID != caseID {
			p = care.Photo{}
			return care.Missing("photo")
		}
		return nil
	})
	return p, err
}

// ListPhotos returns the photos of a case, newest first.
func (s *Service) ListPhotos(ctx context.Context, who care.Actor, breederID, caseID string) (list []care.Photo, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		if _, err := caseOf(tx, who, breederID, caseID); err != nil {
			return err
		}
		list, err = tx.ListPhotos(breederID, caseID)
		return err
	})
	return list, err
}
