package followup

import (
	"context"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// QuarantineDays is for how long at most a quarantine is set.
const QuarantineDays = 365

var errNotGivenBack = &care.Error{Code: care.Precondition, Reason: care.ReasonNotGivenBack,
	Text: words.Say("The keeper has not asked to give the animal back, or wants to keep it after all. Write to each other first; the keeper asks on the animal's own page.")}

// AgreeReturn says when and how an animal travels that its keeper gives back. It
// may be said anew until the animal is on its way.
func (s *Service) AgreeReturn(ctx context.Context, who care.Actor, now time.Time, breederID, caseID, how string) (CaseView, error) {
	if err := breederOnly(who, breederID, "case"); err != nil {
		return CaseView{}, err
	}
	now, how = care.Instant(now), strings.TrimSpace(how)
	if how == "" {
		return CaseView{}, care.BadField("how", "Say when and how it travels: both of you read it.")
	}
	return s.onCase(ctx, s.store.Write, who, now, breederID, caseID, "return", func(tx care.Tx, c care.Case) (care.Case, error) {
		switch {
		case c.GiveBackAt == nil:
			return c, errNotGivenBack
		case c.Return.LeftAt != nil:
			return c, &care.Error{Code: care.Precondition, Reason: care.ReasonOnItsWay, Text: words.Say("It is on its way already. Write what changed in the thread.")}
		case c.Return.AgreedAt != nil && c.Return.How == how:
			return c, nil
		}
		c.Return = care.Return{AgreedAt: &now, How: how}
		return reassess(tx, c, now) // nothing more is asked
	})
}

// SendReturn says that the animal is on its way; either side says so.
func (s *Service) SendReturn(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (v CaseView, err error) {
	now = care.Instant(now)
	err = s.store.Swap(ctx, func(tx care.Tx) error {
		c, err := caseOf(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		if c.GiveBackAt == nil {
			return errNotGivenBack
		}
		if c.Return.AgreedAt == nil {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonNotGivenBack, Text: words.Say("It is not agreed yet when and how it travels. The breeder writes that down first.")}
		}
		if c.Return.LeftAt == nil {
			c.Return.LeftAt = &now
			if c, err = savedCase(tx, c); err != nil {
				return err
			}
		}
		v, err = view(tx, c, now)
		return err
	})
	if err != nil {
		return CaseView{}, stale(err)
	}
	if !who.OfBreeder(breederID) {
		v.Animal.Note, v.Animal.Place = "", ""
	}
	s.hub.publish(change(&v.Case, "return"))
	return v, nil
}

// Arrival is what the breeder writes down when an animal is back.
type Arrival struct {
	Mass       care.Grams // 0: not weighed
	Quarantine *time.Time // until when; nil: none
	Place      string     // where it is kept now; "" leaves what is there
	Lessons    []string   // codes of what was learned, see care.LessonsOf
	Learned    string     // and in words; the note of the outcome
	RequestID  string     // the id of the entry that ends the case; a repeat changes nothing
}

// Arrive ends a case as returned: the weight on arrival goes into its log, so that
// it stands beside the keeper's, what was learned into its outcome, and where the
// animal is now into the stock book.
func (s *Service) Arrive(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string, a Arrival) (CaseView, error) {
	if err := breederOnly(who, breederID, "case"); err != nil {
		return CaseView{}, err
	}
	now = care.Instant(now)
	until := a.Quarantine
	if until != nil {
		at := care.Instant(*until)
		if until = &at; !at.After(now) || at.After(now.AddDate(0, 0, QuarantineDays)) {
			return CaseView{}, care.BadField("quarantine_time", "Choose a day after today, at most {most} days ahead, or no quarantine.", QuarantineDays)
		}
	}
	lessons, err := care.LessonsOf(a.Lessons)
	if err != nil {
		return CaseView{}, err
	}
	return s.onCase(ctx, s.store.Write, who, now, breederID, caseID, "end", func(tx care.Tx, c care.Case) (care.Case, error) {
		open := c.ClosedAt == nil
		fresh, err := endEntry(tx, who, c, now, a.RequestID, strings.TrimSpace(a.Learned), care.Ended{Outcome: care.OutcomeReturned, Lessons: lessons})
		if err != nil || !fresh {
			return c, err
		}
		if !open {
			return c, &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("This case has ended already. Open it again to give it another outcome.")}
		}
		if a.Mass != 0 {
			e := care.Entry{BreederID: breederID, AnimalID: c.AnimalID, ID: newID(), CaseID: c.ID, By: who.Kind, ByID: who.ID(),
				HappenedAt: now, ReceivedAt: now, Confirmed: true, Note: "on arrival", Body: care.WeighIn{Mass: a.Mass}}
			if err := care.CheckEntry(&e, now); err != nil {
				return c, err
			}
			if err := tx.InsertEntry(e); err != nil {
				return c, err
			}
		}
		if place := strings.TrimSpace(a.Place); place != "" {
			animal, err := tx.Animal(breederID, c.AnimalID)
			if err != nil {
				return c, err
			}
			animal.Place, animal.UpdatedAt = place, now
			if err := tx.UpdateAnimal(animal); err != nil {
				return c, err
			}
		}
		c.ClosedAt, c.Outcome, c.GiveBackAt, c.Return = &now, care.OutcomeReturned, nil, care.Return{QuarantineUntil: until}
		return reassess(tx, c, now)
	})
}

// EndQuarantine says that an animal that came back is out of quarantine.
func (s *Service) EndQuarantine(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (CaseView, error) {
	return s.onCase(ctx, s.store.Swap, who, now, breederID, caseID, "return", func(tx care.Tx, c care.Case) (care.Case, error) {
		if c.Return.QuarantineUntil == nil {
			return c, nil
		}
		c.Return.QuarantineUntil = nil
		return savedCase(tx, c)
	})
}

// savedCase saves a change of a case's own fields.
func savedCase(tx care.Tx, c care.Case) (care.Case, error) {
	if err := tx.UpdateCase(c); err != nil {
		return c, err
	}
	c.Version++
	return c, nil
}
