package followup

import (
	"context"
	"slices"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// Findings is a case as a vet gets it: all that was logged, for both the keeper
// and the breeder the same.
type Findings struct {
	Handover   care.Handover
	Assessment assess.Assessment
	Entries    []care.Entry // those that count and that the keeper may see, the oldest first
	Photos     []care.Photo // the latest first
	Zone       *time.Location
}

// Findings reads a case for the vet, as of now or, of an ended one, its end.
func (s *Service) Findings(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string) (out Findings, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		out = Findings{}
		c, err := caseOf(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		about, log, err := story(tx, &c)
		if err != nil {
			return err
		}
		if out.Handover, err = tx.Handover(breederID, caseID); err != nil { // a case has its handover's id
			return err
		}
		if out.Zone, err = zoneOf(tx, breederID); err != nil {
			return err
		}
		if out.Photos, err = tx.ListPhotos(breederID, caseID); err != nil {
			return err
		}
		slices.Reverse(out.Photos)
		until := stands(&c, now)
		out.Assessment, _ = assess.AssessCourse(about, log, until)
		for _, e := range log {
			if e.Current() && !e.HappenedAt.After(until) && keeperMaySee(&e, &c) {
				out.Entries = append(out.Entries, e)
			}
		}
		return nil
	})
	return out, err
}
