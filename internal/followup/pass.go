package followup

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/words"
)

const day = 24 * time.Hour

// passWorkers is how many shares the pass looks at at a time. Most of a look is
// reading and computing, which the processors share, and on SQLite those that
// save at once share a commit.
var passWorkers = 2 * runtime.GOMAXPROCS(0)

// The pass takes passBatch cases at a time and has passLease to look at them; those of
// a server that died come back to the others then. passShare of them are read, and
// then saved, in one transaction.
const (
	passBatch = 1000
	passShare = 20
	passLease = 2 * time.Minute
)

// AheadMost is after how many days a case is looked at anew, whatever was foreseen: so
// a program that judges otherwise has been over all of them in that time.
const AheadMost = 7

// Pass reassesses every open case whose time has come and returns how many it
// looked at. It may be stopped at any point and run again. Several servers that run it
// at once share the cases. A case that fails does not keep the others waiting and is
// taken again after passLease; what failed comes back joined, after all that could be
// done.
func (s *Service) Pass(ctx context.Context, now time.Time) (looked int, err error) {
	now = care.Instant(now)
	until := now.Add(passLease)
	var failed []error
	for {
		var due []care.CaseKey
		if err := s.store.Swap(ctx, func(tx care.Tx) (err error) {
			due, err = tx.ClaimDue(now, until, passBatch)
			return err
		}); err != nil {
			return looked, errors.Join(append(failed, err)...)
		}
		n, stop, err := s.lookAll(ctx, due, now, until)
		looked += n
		if err != nil {
			failed = append(failed, err)
		}
		if stop || len(due) < passBatch {
			return looked, errors.Join(failed...)
		}
	}
}

// lookAll looks at claimed cases, some shares side by side; stop says that the database
// does not answer, or ctx ended.
func (s *Service) lookAll(ctx context.Context, due []care.CaseKey, now, until time.Time) (looked int, stop bool, err error) {
	var (
		mu      sync.Mutex
		failed  []error
		queue   = make(chan []care.CaseKey)
		working sync.WaitGroup
	)
	for range min(passWorkers, (len(due)+passShare-1)/passShare) {
		working.Go(func() {
			for keys := range queue {
				n, err := s.look(ctx, keys, now, until)
				if err != nil && len(keys) > 1 && !gone(ctx, err) { // one of them is in the way of the others
					n, err = 0, nil
					for i := range keys {
						one, failed := s.look(ctx, keys[i:i+1], now, until)
						n, err = n+one, errors.Join(err, failed)
					}
				}
				mu.Lock()
				looked += n
				if err != nil {
					failed = append(failed, err)
					stop = stop || gone(ctx, err)
				}
				mu.Unlock()
			}
		})
	}
	for keys := range slices.Chunk(due, passShare) {
		mu.Lock()
		stopped := stop
		mu.Unlock()
		if stopped {
			break
		}
		queue <- keys
	}
	close(queue)
	working.Wait()
	return looked, stop, errors.Join(failed...)
}

// gone reports that it is no use to go on.
func gone(ctx context.Context, err error) bool {
	return care.IsCode(err, care.Unavailable) || ctx.Err() != nil
}

// look is the pass over cases that were claimed until an instant, and says how many of
// them were not changed since. They are read and judged beside other looks, and only
// saving takes its turn.
func (s *Service) look(ctx context.Context, keys []care.CaseKey, now, until time.Time) (looked int, err error) {
	var all []care.Followed
	if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		all, err = tx.Followed(keys)
		return err
	}); err != nil {
		return 0, looking(keys, err)
	}
	var list []*judged
	for i := range all {
		c := &all[i].Case
		if c.ClosedAt != nil || !c.DueAt.Equal(until) {
			continue // ended, or assessed meanwhile
		}
		j, err := knownOf(&all[i]).judge(now, daysAhead(c, now))
		if err != nil {
			return 0, looking(keys, err)
		}
		list = append(list, j)
	}
	if len(list) == 0 {
		return 0, nil
	}
	// In one order, so that two servers which wake the same people do not wait for each other.
	slices.SortFunc(list, func(a, b *judged) int {
		return cmp.Or(strings.Compare(a.open.BreederID, b.open.BreederID), strings.Compare(a.open.ID, b.open.ID))
	})
	saving := make([]care.Saving, len(list))
	for i, j := range list {
		saving[i] = j.saving()
	}
	var lost []error
	err = s.store.Swap(ctx, func(tx care.Tx) (err error) {
		lost, err = tx.SaveCases(saving)
		return err
	})
	if err != nil {
		return 0, looking(keys, err)
	}
	for i, j := range list {
		if lost[i] != nil {
			continue // changed since
		}
		looked++
		if after := &j.open; after.Standing != j.was.Standing || after.Aside != j.was.Aside {
			s.hub.publish(change(after, "standing"))
		}
	}
	return looked, nil
}

// looking names the case that a look failed at, when it was at one.
func looking(keys []care.CaseKey, err error) error {
	if len(keys) > 1 {
		return err
	}
	return fmt.Errorf("case %s/%s: %w", keys[0].BreederID, keys[0].ID, err)
}

// daysAhead is for how many days at most a case is foreseen. Each case has a day of
// its own in every AheadMost, so that what was looked at together does not come
// together again.
func daysAhead(c *care.Case, now time.Time) int {
	h := fnv.New32a()
	h.Write([]byte(c.ID)) //nolint:errcheck // a hash takes everything
	own := int(h.Sum32()%AheadMost) + int(max(0, now.Sub(c.HandedOverAt))/day)
	return AheadMost - own%AheadMost
}

// aheadOf is what Case.Ahead holds. It counts for the assessment of that time alone:
// a program of before, which knows nothing of it, may have assessed the case since.
type aheadOf struct {
	Assessed int64      `json:"assessed"` // ms
	Days     []aheadDay `json:"days"`
}

// aheadDay is one of the days to come. Its texts are those of the day before with other
// numbers, or written out.
type aheadDay struct {
	At int64         `json:"at"` // ms
	H  []json.Number `json:"h,omitempty"`
	S  []json.Number `json:"s,omitempty"`

	Headline *words.Text `json:"headline,omitempty"`
	NextStep *words.Text `json:"next_step,omitempty"`
}

// foresee puts into the open case when it is due and what is said of it until then.
func (k *known) foresee(is assess.Assessment, days int) error {
	c := &k.open
	until, ahead := k.walked.Foresee(is, days)
	c.DueAt = care.Instant(until)
	if len(ahead) == 0 {
		return nil
	}
	out := aheadOf{Assessed: c.AssessedAt.UnixMilli(), Days: make([]aheadDay, len(ahead))}
	headline, step := &c.Headline, &c.NextStep
	for i := range ahead {
		a, d := &ahead[i], &out.Days[i]
		d.At = a.At.UnixMilli()
		if words.SameButNumbers(headline, &a.Headline) {
			d.H = a.Headline.Numbers()
		} else {
			d.Headline = &a.Headline
		}
		if words.SameButNumbers(step, &a.NextStep) {
			d.S = a.NextStep.Numbers()
		} else {
			d.NextStep = &a.NextStep
		}
		headline, step = &a.Headline, &a.NextStep
	}
	var err error
	c.Ahead, err = json.Marshal(out)
	return err
}

// sayToday makes Headline and NextStep of a case those of the day.
func sayToday(c *care.Case, now time.Time) error {
	if len(c.Ahead) == 0 {
		return nil
	}
	var of aheadOf
	if err := json.Unmarshal(c.Ahead, &of); err != nil {
		return fmt.Errorf("what was foreseen of case %s: %w", c.ID, err)
	}
	if of.Assessed != c.AssessedAt.UnixMilli() {
		return nil
	}
	for i := range of.Days {
		d := &of.Days[i]
		if d.At > now.UnixMilli() {
			break
		}
		var errs [2]error
		if d.Headline != nil {
			c.Headline = *d.Headline
		} else {
			c.Headline, errs[0] = c.Headline.WithNumbers(d.H)
		}
		if d.NextStep != nil {
			c.NextStep = *d.NextStep
		} else {
			c.NextStep, errs[1] = c.NextStep.WithNumbers(d.S)
		}
		if err := errors.Join(errs[:]...); err != nil {
			return fmt.Errorf("what was foreseen of case %s: %w", c.ID, err)
		}
	}
	return nil
}
