package followup

import (
	"cmp"
	"context"
	"slices"
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
	return s.onOpenCases(ctx, now, breederID, version, func(b *care.Breeder) bool {
		same := b.Thresholds == t
		b.Thresholds = t
		return !same
	})
}

// UpdateCheckIns sets when the keepers of the breeder's open cases are asked. A
// Version of 0 takes whatever is there.
func (s *Service) UpdateCheckIns(ctx context.Context, who care.Actor, now time.Time, breederID string, c care.CheckIns, version int64) (b care.Breeder, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return b, err
	}
	if who.Kind != care.BreederOwner {
		return b, errNotYours
	}
	if c, err = assess.CheckCheckIns(c); err != nil {
		return b, err
	}
	return s.onOpenCases(ctx, now, breederID, version, func(b *care.Breeder) bool {
		same := b.CheckIns == c
		b.CheckIns = c
		return !same
	})
}

// onOpenCases changes in a breeder what open cases are assessed by, and makes
// them due. set reports whether it changed anything.
func (s *Service) onOpenCases(ctx context.Context, now time.Time, breederID string, version int64, set func(*care.Breeder) bool) (b care.Breeder, err error) {
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		if b, err = tx.Breeder(breederID); err != nil {
			return err
		}
		if version != 0 && version != b.Version {
			return stale(&care.Error{Code: care.Stale})
		}
		if !set(&b) {
			return nil
		}
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

// What one trial looks at: the newest cases, each for a year at most. That takes
// a few seconds, so trials take turns.
const (
	mostTried    = 1000
	longestTried = 365 * 24 * time.Hour
	triedAtOnce  = 25 // cases that one reading of the store loads
	mostShown    = 50
)

// Tried is how a breeder's cases would have gone under other thresholds.
type Tried struct {
	Total   int // cases that the breeder has; Sum has those that were looked at
	Sum     assess.Trials
	Changed int         // that would go otherwise
	Cases   []TriedCase // of those, the first few: what ended badly, then what settled, the newest first
}

// TriedCase is one case by the present and by the proposed thresholds.
type TriedCase struct {
	Case              care.Case // without its assessment
	Animal            care.Animal
	Present, Proposed assess.Past
}

// TryThresholds walks the breeder's ended and open cases anew, each day with what
// was known then, by the thresholds that the breeder has and by those proposed.
// Nothing is saved. It looks at the newest thousand cases.
func (s *Service) TryThresholds(ctx context.Context, who care.Actor, now time.Time, breederID string, t care.Thresholds) (out Tried, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return out, err
	}
	if t, err = assess.CheckThresholds(t); err != nil {
		return out, err
	}
	select {
	case s.trying <- struct{}{}:
		defer func() { <-s.trying }()
	case <-ctx.Done():
		return out, ctx.Err()
	}
	b, cases, err := s.allCases(ctx, breederID)
	if err != nil {
		return out, err
	}
	out.Total = len(cases)
	slices.SortStableFunc(cases, func(a, b care.Case) int { return b.HandedOverAt.Compare(a.HandedOverAt) })
	cases = cases[:min(len(cases), mostTried)]
	var walker assess.Walker
	for batch := range slices.Chunk(cases, triedAtOnce) {
		loaded, err := s.load(ctx, batch)
		if err != nil {
			return out, err
		}
		for i := range loaded {
			if err := ctx.Err(); err != nil {
				return out, err
			}
			k := &loaded[i]
			until := care.Instant(now)
			if k.open.ClosedAt != nil {
				until = *k.open.ClosedAt
			}
			if last := k.open.HandedOverAt.Add(longestTried); until.After(last) {
				until = last
			}
			tried := TriedCase{Case: k.open, Animal: k.subject.Animal}
			walk := func(t care.Thresholds) assess.Past {
				about := *k.subject
				about.Thresholds = t
				walker.Reset(&about, k.log)
				return walker.Past(until)
			}
			tried.Present, tried.Proposed = walk(b.Thresholds), walk(t)
			out.Sum.Add(k.open.HandedOverAt, until, k.open.Outcome, &tried.Present, &tried.Proposed)
			if tried.Present != tried.Proposed {
				out.Cases = append(out.Cases, tried)
			}
		}
	}
	out.Changed = len(out.Cases)
	slices.SortStableFunc(out.Cases, func(a, b TriedCase) int { return cmp.Compare(weight(&b.Case), weight(&a.Case)) })
	out.Cases = out.Cases[:min(len(out.Cases), mostShown)]
	return out, nil
}

// weight is how much the way in which a case ended says of thresholds.
func weight(c *care.Case) int {
	switch c.Outcome {
	case care.OutcomeReturned, care.OutcomeVet, care.OutcomeDied:
		return 2
	case care.OutcomeSettled:
		return 1
	}
	return 0
}

// allCases are the breeder's cases, without those of revoked handovers.
func (s *Service) allCases(ctx context.Context, breederID string) (b care.Breeder, cases []care.Case, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		cases = nil
		if b, err = tx.Breeder(breederID); err != nil {
			return err
		}
		for after := (care.Cursor{}); ; {
			page, next, err := tx.ListCases(breederID, care.CaseQuery{}, after, 200)
			if err != nil {
				return err
			}
			for _, c := range page {
				if c.ClosedAt == nil || c.Outcome != "" {
					cases = append(cases, c)
				}
			}
			if after = next; next == (care.Cursor{}) {
				return nil
			}
		}
	})
	return b, cases, err
}

// load reads subjects and logs of some cases; one that is gone meanwhile is
// left out.
func (s *Service) load(ctx context.Context, cases []care.Case) (out []known, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		out = nil
		for _, c := range cases {
			about, log, err := story(tx, &c)
			if care.IsCode(err, care.NotFound) {
				continue
			} else if err != nil {
				return err
			}
			out = append(out, known{open: c, subject: about, log: log})
		}
		return nil
	})
	return out, err
}
