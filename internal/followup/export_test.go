package followup

import (
	"context"
	"fmt"
	"reflect"

	"warmhand/internal/care"
)

// Remembered compares what is remembered of an animal's open case with what is
// stored. held is false when nothing would be taken from memory.
func (s *Service) Remembered(ctx context.Context, breederID, animalID string) (held bool, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		got, err := s.memory.recall(tx, breederID, animalID)
		if err != nil || got == nil {
			return err
		}
		held = true
		want, err := read(tx, got.open)
		if err == nil && !reflect.DeepEqual(got, want) {
			err = fmt.Errorf("remembered\n%+v\nstored\n%+v", got, want)
		}
		return err
	})
	return held, err
}
