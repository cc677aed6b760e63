package followup

import (
	"context"
	"fmt"
	"reflect"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// Remembered compares what is remembered of an animal's open case with what is
// stored. held is false when nothing would be taken from memory.
func (s *Service) Remembered(ctx context.Context, breederID, animalID string) (held bool, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		was, ok := s.memory.kept.Get(animalKey{breederID, animalID})
		if !ok {
			return nil
		}
		got, err := s.memory.recall(tx, breederID, animalID, "")
		if err != nil || got == nil {
			return err
		}
		if held = got.walk == was.walk; !held {
			return nil // it was read anew
		}
		stored, err := tx.Case(breederID, got.open.ID)
		if err != nil {
			return err
		}
		want, err := read(tx, stored)
		if err != nil {
			return err
		}
		without := *got
		without.walk, without.walked, want.walk = nil, nil, nil
		if got.plan != nil {
			if want.plan, err = planOf(&stored); err != nil {
				return err
			}
		}
		if !reflect.DeepEqual(&without, want) {
			return fmt.Errorf("remembered\n%+v\nstored\n%+v", got, want)
		}
		// However it walked, it says what a walk from the beginning says.
		anew := assess.Assess(want.subject, caseLog(want.log, &stored), stored.AssessedAt)
		said, err := storedAs(&anew)
		if err == nil && string(said) != string(stored.Assessment) {
			err = fmt.Errorf("stored\n%s\nfrom the beginning\n%s", stored.Assessment, said)
		}
		return err
	})
	return held, err
}

// AssessAnew is what the whole log of a case says.
func AssessAnew(tx care.Tx, c care.Case, now time.Time) (assess.Assessment, error) {
	k, err := read(tx, c)
	if err != nil {
		return assess.Assessment{}, err
	}
	return assess.Assess(k.subject, caseLog(k.log, &c), now), nil
}

// ClaimReminders claims what is due and hands nothing over, as a server does that is
// killed then. It returns how many messages there would have been.
func (s *Service) ClaimReminders(ctx context.Context, now time.Time) (int, error) {
	out, _, err := s.claim(ctx, now, remindBatch)
	return len(out), err
}
