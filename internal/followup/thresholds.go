package followup

import (
	"context"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// UpdateThresholds sets what the breeder's open cases are judged by. They are
// due with that, so the pass assesses each of them anew; ended ones keep the
// standing that they ended with. A Version of 0 takes whatever is there.
func (s *Service) UpdateThresholds(ctx context.Context, who care.Actor, now time.Time, breederID string, t care.Thresholds, version int64) (b care.Breeder, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return b, err
	}
	if who.Kind != care.BreederOwner {
		return b, errNotYours
	}
	if t, err = assess.CheckThresholds(t); err != nil {
		return b, err
	}
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		if b, err = tx.Breeder(breederID); err != nil {
			return err
		}
		if version != 0 && version != b.Version {
			return stale(&care.Error{Code: care.Stale})
		}
		if b.Thresholds == t {
			return nil
		}
		b.Thresholds = t
		if err := tx.UpdateBreeder(b); err != nil {
			return stale(err)
		}
		if err := tx.MakeDue(breederID, care.Instant(now)); err != nil {
			return err
		}
		b, err = tx.Breeder(breederID)
		return err
	})
	return b, err
}
