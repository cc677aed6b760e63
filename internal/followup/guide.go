package followup

import (
	"context"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// CaseGuide is a case's guide with what it is printed with.
type CaseGuide struct {
	Guide  assess.Guide
	Animal care.Animal
	Zone   *time.Location // the breeder's, by which its days are counted
}

// Guide makes the keeper's guide of a case, for its keeper and its breeder, as
// of now or, of an ended one, its end.
func (s *Service) Guide(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (out CaseGuide, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, err := caseOf(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		about, log, err := story(tx, &c)
		if err != nil {
			return err
		}
		h, err := tx.Handover(breederID, caseID) // a case has its handover's id
		if err != nil {
			return err
		}
		zone, err := zoneOf(tx, breederID)
		if err != nil {
			return err
		}
		out = CaseGuide{Guide: assess.MakeGuide(about, &h.Record, log, stands(&c, now), zone), Animal: about.Animal, Zone: zone}
		return nil
	})
	return out, err
}
