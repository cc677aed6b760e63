package server

import (
	"context"
	"errors"
	"sync"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
)

const (
	cleanEvery = time.Hour
	cleanBatch = 500
	// sweepEvery is how often it is looked for pictures of which nothing came for an hour.
	sweepEvery = 10 * time.Minute
	// importsEvery is when an import that failed to go on is tried again; a new
	// one wakes the worker.
	importsEvery = time.Minute
	// answersKept is how long a repeated request gets its first answer: as long
	// as a claim code waits, and far longer than a phone stays offline.
	answersKept = 90 * 24 * time.Hour
	// putOff is beyond what anything is put off for: a case is looked at each week, and
	// a person once in 24 hours.
	putOff = 2 * followup.AheadMost * 24 * time.Hour
)

// background runs what nobody asks for: the pass over cases whose time has
// come, and the removal of what has expired.
func (s *Server) background(ctx context.Context) {
	ctx = care.WithReach(ctx, care.EverybodysReach)
	var running sync.WaitGroup
	defer running.Wait()
	if s.cfg.PassEvery > 0 {
		running.Go(func() {
			s.every(ctx, s.cfg.PassEvery, "the pass over due cases", s.clock.steady(s.now, func() error {
				n, err := s.followup.Pass(ctx, s.now())
				s.metrics.assessed.Add(float64(n))
				return err
			}), nil)
		})
	}
	if s.certificates != nil {
		running.Go(func() { s.certificates.run(ctx, s.worked) })
	}
	if s.cfg.BackupTo != "" {
		running.Go(func() {
			s.every(ctx, min(lookForBackup, s.cfg.BackupEvery), "making backups", func() error { return s.BackUp(ctx) }, nil)
		})
	}
	if s.cfg.PassEvery > 0 {
		running.Go(func() {
			s.every(ctx, remindEvery, "reminding people", s.clock.steady(s.now, func() error { return s.Remind(ctx) }), nil)
		})
	}
	running.Go(func() {
		s.every(ctx, importsEvery, "bringing in lists", func() error { return s.workOnImports(ctx) }, s.importDue)
	})
	running.Go(func() {
		s.every(ctx, looksEvery, "writing down who looked at what", func() error { return s.keepLooks(ctx) }, nil)
	})
	running.Go(func() {
		s.every(ctx, sweepEvery, "removing pictures that came in by half", s.clock.steady(s.now, func() error { return s.waiting.Sweep(ctx, time.Now()) }), nil)
	})
	running.Go(func() {
		s.every(ctx, cleanEvery, "erasing accounts", s.clock.steady(s.now, func() error { return s.EraseAccounts(ctx) }), nil)
	})
	running.Go(func() {
		s.every(ctx, cleanEvery, "removing what has expired", s.clock.steady(s.now, func() error { return s.clean(ctx) }), nil)
	})
}

// every runs f now and then once in each interval, or when it is woken, until
// ctx ends.
func (s *Server) every(ctx context.Context, interval time.Duration, what string, f func() error, wake <-chan struct{}) {
	tick := time.NewTicker(interval)
	defer tick.Stop()
	for {
		begun := time.Now()
		s.worked(ctx, what, begun, f())
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		case <-wake:
		}
	}
}

// worked notes a round of work, and says what failed unless it was stopped.
func (s *Server) worked(ctx context.Context, what string, begun time.Time, err error) {
	s.metrics.done(what, begun, err)
	if err != nil && !errors.Is(err, context.Canceled) && ctx.Err() == nil {
		s.log.Error("Background work failed and will be tried again.", "work", what, "error", err)
	}
}

// clean deletes expired secrets, old answers, old looks and reminders, addresses that nobody confirmed, pictures that nothing names and
// lists that nobody confirmed, a batch in each transaction
// so that no phone waits for it. What a clock that was far ahead put off, it brings forward.
func (s *Server) clean(ctx context.Context) error {
	now := s.now()
	for _, remove := range []func(care.Tx) (int, error){
		func(tx care.Tx) (int, error) { return tx.DeleteExpiredSecrets(now, cleanBatch) },
		func(tx care.Tx) (int, error) { return tx.DeleteAnsweredBefore(now.Add(-answersKept), cleanBatch) },
		func(tx care.Tx) (int, error) {
			return tx.DeleteLooksBefore(now.AddDate(0, 0, -care.LookDays), cleanBatch)
		},
		func(tx care.Tx) (int, error) {
			return tx.DeleteDraftsBefore(now.Add(-care.ImportDraftLife), cleanBatch)
		},
		func(tx care.Tx) (int, error) {
			return tx.DeleteUnconfirmedBefore(now.Add(-care.MailWait), cleanBatch)
		},
		func(tx care.Tx) (int, error) {
			return tx.DeleteRemindersBefore(now.Add(-care.RemindersKept), cleanBatch)
		},
		func(tx care.Tx) (int, error) { return tx.BringForward(now.Add(putOff), now, cleanBatch) },
	} {
		for n := cleanBatch; n == cleanBatch; {
			err := s.store.Write(ctx, func(tx care.Tx) (err error) {
				n, err = remove(tx)
				return err
			})
			if err != nil {
				return err
			}
		}
	}
	return errors.Join(s.discard(ctx), s.sweepLists(ctx))
}
