package followup

import (
	"context"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/internal/words"
)

// Shared is all that a keeper shares in one case: what an export holds.
type Shared struct {
	CaseView
	Handover care.Handover
	Entries  []care.Entry // what the keeper may see, as it stands, oldest first
	File     []casefile.Line
	Photos   []care.Photo
}

// KeeperExport returns one of a keeper's cases whole, for the keeper to take
// away. The lines are a case file as of the keeper's view: without what the
// breeder's other animals taught.
func (s *Service) KeeperExport(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (out Shared, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, err := tx.Case(breederID, caseID)
		if err != nil {
			return err
		}
		if !who.IsKeeper(c.KeeperID, breederID) {
			return care.Missing("case")
		}
		out = Shared{}
		if out.CaseView, err = view(tx, c, now); err != nil {
			return err
		}
		out.Animal.Note, out.Animal.Place = "", ""
		if out.Handover, err = tx.Handover(breederID, caseID); err != nil {
			return err
		}
		out.Handover.ForKeeper()
		if out.Photos, err = tx.ListPhotos(breederID, caseID); err != nil {
			return err
		}
		log, err := tx.Log(breederID, c.AnimalID)
		if err != nil {
			return err
		}
		file := casefile.Case{ID: caseID, HandedOverAt: c.HandedOverAt, Handover: &casefile.Handover{Animal: out.Animal, ShowDay: out.Handover.ShowDay,
			Hemi: out.Breeder.Hemi, Until: later(out.Case.AssessedAt, c.HandedOverAt)}}
		for i := range log {
			e := log[i]
			if !keeperMaySee(&e, &c) {
				continue
			}
			file.Log = append(file.Log, e)
			if e.Current() {
				out.Entries = append(out.Entries, e)
			}
		}
		out.File = file.Lines()
		return nil
	})
	return out, err
}

// Leave erases a keeper from the cases that the sign-in sees: the name, notes,
// messages of both sides, pictures, and the breeder's note on the buyer. What was
// seen and measured of the animal stays, without the person. Open cases end. end
// ends what the keeper's sign-ins open of these breeders' cases, "" for all. A
// sign-in of one breeder's cases does not reach what another has. It says how
// many cases there were.
func (s *Service) Leave(ctx context.Context, who care.Actor, now time.Time, end func(tx care.Tx, keeperID, breeders string) error) (left int, err error) {
	if who.Kind != care.KeeperActor || who.KeeperID == "" {
		return 0, errNotYours
	}
	now = care.Instant(now)
	var touched []care.Case
	err = s.store.Write(ctx, func(tx care.Tx) error {
		left, touched = 0, nil
		cases, err := tx.CasesOfKeeper(who.KeeperID)
		if err != nil {
			return err
		}
		for _, c := range cases {
			if !who.IsKeeper(c.KeeperID, c.BreederID) {
				continue
			}
			if err := erase(tx, c, now, &touched); err != nil {
				return err
			}
			left++
		}
		cards, err := tx.CardsOfKeeper(who.KeeperID)
		if err != nil {
			return err
		}
		more := len(cases) - left
		for _, c := range cards {
			if !who.IsKeeper(c.KeeperID, c.BreederID) {
				more++
				continue
			}
			unclaim(&c)
			if err := tx.UpdateCard(c); err != nil {
				return err
			}
		}
		if more > 0 {
			return end(tx, who.KeeperID, who.Breeders) // not "": that sees all
		}
		if err := tx.DeleteKeeper(who.KeeperID); err != nil && !care.IsCode(err, care.NotFound) {
			return err
		}
		return end(tx, who.KeeperID, "")
	})
	if err != nil {
		return 0, stale(err)
	}
	for i := range touched {
		s.hub.publish(change(&touched[i], "end"))
	}
	return left, nil
}

// erase takes the keeper out of one case.
func erase(tx care.Tx, c care.Case, now time.Time, touched *[]care.Case) error {
	gone := care.GoneKeeper(newID())
	if err := tx.DeleteRemindersOf(c.BreederID, c.ID, c.KeeperID); err != nil {
		return err
	}
	h, err := tx.Handover(c.BreederID, c.ID)
	if err != nil {
		return err
	}
	h.KeeperID, h.BuyerNote, h.CodeHash = gone, "", ""
	if err := tx.UpdateHandover(h); err != nil {
		return err
	}
	if err := tx.DeleteAnswered(claimScope(c.ID)); err != nil {
		return err
	}
	if err := revokePassOns(tx, &c); err != nil {
		return err
	}
	log, err := tx.Log(c.BreederID, c.AnimalID)
	if err != nil {
		return err
	}
	changed, drop := care.WithoutPerson(log, c.ID, gone)
	for _, id := range drop {
		if err := tx.DeleteEntry(c.BreederID, c.AnimalID, id); err != nil {
			return err
		}
	}
	for _, e := range changed {
		if err := tx.RewriteEntry(e); err != nil {
			return err
		}
	}
	if err := tx.DeletePhotos(c.BreederID, c.ID, care.KeeperActor); err != nil {
		return err
	}
	c.KeeperID, c.KeeperName, c.Aside, c.GotAt, c.ReadAt, c.Return.How = gone, "", care.Aside{}, nil, nil, ""
	if c.ClosedAt == nil {
		if err := tx.InsertEntry(care.Entry{BreederID: c.BreederID, AnimalID: c.AnimalID, ID: newID(), CaseID: c.ID,
			By: care.KeeperActor, ByID: gone, HappenedAt: now, ReceivedAt: now, Body: care.Ended{Outcome: care.OutcomeLeft}}); err != nil {
			return err
		}
		c.ClosedAt, c.Outcome, c.GiveBackAt, c.Return = &now, care.OutcomeLeft, nil, care.Return{}
		if c, err = reassess(tx, c, now); err != nil {
			return err
		}
	} else if err := tx.UpdateCase(c); err != nil {
		return err
	}
	*touched = append(*touched, c)
	// The log of a later case of the animal is another one now.
	if next, err := openCase(tx, c.BreederID, c.AnimalID); err != nil || next == nil {
		return err
	} else {
		*next, err = tx.Case(c.BreederID, next.ID) // a list comes without assessments
		if err != nil {
			return err
		}
		_, err = reassess(tx, *next, now)
		return err
	}
}

// mayComeBack says why the keeper of a case cannot be let in again, if so.
func mayComeBack(c *care.Case) error {
	switch {
	case c.KeeperID == "":
		return &care.Error{Code: care.Precondition, Reason: care.ReasonNotClaimed, Text: words.Say("Nobody has claimed this card yet. Make a new claim code on the handover's page instead.")}
	case c.KeeperGone():
		return &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("This keeper has left and was erased, so there is nobody to let in. Hand the animal over anew if it is kept on.")}
	}
	return nil
}

// byKeeper are the ways in which only the keeper ends a case; the breeder does
// not take them back.
var byKeeper = []care.Outcome{care.OutcomePassedOn, care.OutcomeLeft}

func endedByKeeper(c *care.Case) bool { return slices.Contains(byKeeper, c.Outcome) }
