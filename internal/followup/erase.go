package followup

import (
	"context"
	"errors"
	"slices"
	"time"

	"warmhand/internal/care"
)

// EraseDays is how long an account waits to be erased, so that it can be called
// off and keepers can take a copy.
const EraseDays = 14

// eraseBatch is how many rows one transaction deletes, so that nobody waits long.
const eraseBatch = 500

// ScheduleErasure says that a breeder's account is to be erased in EraseDays
// days; off calls it off. Asking twice does not put it off.
func (s *Service) ScheduleErasure(ctx context.Context, who care.Actor, now time.Time, breederID string, off bool) (b care.Breeder, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return b, err
	}
	if who.Kind != care.BreederOwner {
		return b, errNotYours
	}
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		if b, err = tx.Breeder(breederID); err != nil || off == (b.EraseAt == nil) {
			return err
		}
		if b.EraseAt = nil; !off {
			at := care.Instant(now).AddDate(0, 0, EraseDays)
			b.EraseAt = &at
		}
		if err := tx.UpdateBreeder(b); err != nil {
			return stale(err)
		}
		b.Version++
		return nil
	})
	return b, err
}

// EraseDue erases the accounts whose time has come and returns their ids. It may
// be stopped at any point and run again. end ends what a keeper's sign-ins open
// of a breeder's cases, "" for all.
func (s *Service) EraseDue(ctx context.Context, now time.Time, end func(tx care.Tx, keeperID, breeders string) error) (erased []string, err error) {
	var due []care.Breeder
	if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		due, err = tx.BreedersToErase(now)
		return err
	}); err != nil {
		return nil, err
	}
	var failed []error
	for _, b := range due {
		if err := s.eraseBreeder(ctx, b.ID, end); err != nil {
			failed = append(failed, err)
			continue
		}
		erased = append(erased, b.ID)
	}
	return erased, errors.Join(failed...)
}

func (s *Service) eraseBreeder(ctx context.Context, breederID string, end func(tx care.Tx, keeperID, breeders string) error) error {
	// The keepers first, while their cases and cards say who they are.
	if err := care.EachPage(func(after care.Cursor) (next care.Cursor, err error) {
		err = s.store.Write(ctx, func(tx care.Tx) error {
			var page []care.Case
			if page, next, err = tx.ListCases(breederID, care.CaseQuery{}, after, eraseBatch); err != nil {
				return err
			}
			for i := range page {
				c := &page[i]
				if err := tx.DeleteAnswered(claimScope(c.ID)); err != nil {
					return err
				}
				if c.KeeperID == "" || c.KeeperGone() {
					continue
				}
				if err := letGo(tx, c.KeeperID, breederID, end); err != nil {
					return err
				}
			}
			return nil
		})
		return next, err
	}); err != nil {
		return err
	}
	if err := care.EachPage(func(after care.Cursor) (next care.Cursor, err error) {
		err = s.store.Write(ctx, func(tx care.Tx) error {
			var page []care.Card
			if page, next, err = tx.ListCards(breederID, after, eraseBatch); err != nil {
				return err
			}
			for i := range page {
				if page[i].KeeperID == "" {
					continue
				}
				if err := letGo(tx, page[i].KeeperID, breederID, end); err != nil {
					return err
				}
			}
			return nil
		})
		return next, err
	}); err != nil {
		return err
	}
	for more := true; more; {
		if err := s.store.Write(ctx, func(tx care.Tx) (err error) {
			more, err = tx.EraseBreeder(breederID, eraseBatch)
			return err
		}); err != nil {
			return err
		}
	}
	return nil
}

// letGo ends what a keeper has with a breeder whose account is going to be
// erased, and the keeper when that was all.
func letGo(tx care.Tx, keeperID, breederID string, end func(tx care.Tx, keeperID, breeders string) error) error {
	cases, err := tx.CasesOfKeeper(keeperID)
	if err != nil {
		return err
	}
	cards, err := tx.CardsOfKeeper(keeperID)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(cases, func(c care.Case) bool { return c.BreederID != breederID }) ||
		slices.ContainsFunc(cards, func(c care.Card) bool { return c.BreederID != breederID }) {
		return end(tx, keeperID, breederID)
	}
	if err := tx.DeleteKeeper(keeperID); err != nil && !care.IsCode(err, care.NotFound) {
		return err
	}
	return end(tx, keeperID, "")
}
