package followup_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
	"warmhand/internal/store"
	"warmhand/internal/store/storetest"
)

// Whatever several servers do at once on one database: what is stored of a case, and
// what each remembers, is what its log says.
func TestServersRace(t *testing.T) {
	t.Parallel()
	p := newPlaceOn(t, t.TempDir(), store.Config{URL: storetest.Schema(t)})
	servers := []*followup.Service{p.Service, followup.New(p.store, p.codes, p.codes), followup.New(p.store, p.codes, p.codes)}
	a, c, keeper := p.sold(t)
	now := t0.Add(20 * 24 * time.Hour)
	const rounds = 40
	var running sync.WaitGroup
	var logged atomic.Int64
	for i, s := range servers {
		running.Go(func() {
			rnd := rand.New(rand.NewPCG(uint64(i), 7))
			for n := range rounds {
				now := now.Add(time.Duration(n) * time.Minute)
				var err error
				switch kind := rnd.IntN(12); {
				case kind < 8:
					e := care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("any"), HappenedAt: now.Add(-time.Duration(rnd.IntN(20000)) * time.Minute), Body: care.WeighIn{Mass: 95 + care.Grams(rnd.IntN(10))}}
					who := []care.Actor{keeper, p.loam}[rnd.IntN(2)]
					if kind == 0 {
						e.Body = care.Sign{Code: "wheeze"}
					}
					if who.Kind != care.KeeperActor || rnd.IntN(2) == 0 {
						e.CaseID = c.ID // a breeder's history would be taken after the end, too, and not be judged
					}
					if _, err = s.CreateEntry(t.Context(), who, now, e); err == nil {
						logged.Add(1)
					}
				case kind == 8:
					_, err = s.UpdateAnimal(t.Context(), p.loam, now, care.Animal{BreederID: "loam", ID: a.ID, Genes: []string{[]string{"spider", "clown"}[rnd.IntN(2)]}}, []string{"genes"})
				case kind == 9:
					_, err = s.EndCase(t.Context(), p.loam, now, "loam", c.ID, care.OutcomeSettled, "", p.id("end"))
				default:
					_, err = s.ReopenCase(t.Context(), p.loam, now, "loam", c.ID, p.id("reopen"))
				}
				if err != nil && !care.IsCode(err, care.Precondition) {
					t.Error(err)
				}
			}
		})
	}
	running.Wait()
	for _, s := range servers {
		if _, err := s.Remembered(t.Context(), "loam", a.ID); err != nil {
			t.Error(err)
		}
	}
	err := p.store.Read(t.Context(), func(tx care.Tx) error {
		stored, err := tx.Case("loam", c.ID)
		if err != nil {
			return err
		}
		log, err := tx.Log("loam", a.ID)
		if err != nil {
			return err
		}
		of := 0
		for i := range log {
			if k := log[i].Body.Kind(); !log[i].ReceivedAt.Before(now) && (k == care.KindWeighIn || k == care.KindSign) {
				of++
			}
		}
		if n := int(logged.Load()); of != n || n < 10 {
			t.Errorf("%d entries were saved and %d are there", n, of)
		}
		is, err := followup.AssessAnew(tx, stored, stored.AssessedAt)
		if err != nil {
			return err
		}
		if said, err := json.Marshal(is); err != nil || string(said) != string(stored.Assessment) {
			t.Errorf("stored\n%s\nthe log says\n%s %v", stored.Assessment, said, err)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

// counted counts how often transactions were run.
type counted struct {
	care.Store
	runs atomic.Int64
}

func (s *counted) Write(ctx context.Context, f func(care.Tx) error) error {
	return s.Store.Write(ctx, func(tx care.Tx) error { s.runs.Add(1); return f(tx) })
}

func (s *counted) Swap(ctx context.Context, f func(care.Tx) error) error {
	return s.Store.Swap(ctx, func(tx care.Tx) error { s.runs.Add(1); return f(tx) })
}

// The small things that are said of a case again and again are not held against each other
// where the cases are others: no transaction is run twice. Those of one case lose nothing of each
// other.
func TestSmallWritesAside(t *testing.T) {
	t.Parallel()
	p := newPlaceOn(t, t.TempDir(), store.Config{URL: storetest.Schema(t)})
	const cases, rounds = 6, 15
	type sale struct {
		c      care.Case
		keeper care.Actor
		photo  care.Photo
	}
	sales := make([]sale, cases)
	now := t0.Add(20 * 24 * time.Hour)
	for i := range sales {
		_, c, keeper := p.sold(t)
		photo, err := p.AddPhoto(t.Context(), keeper, now, care.Photo{BreederID: "loam", CaseID: c.ID, ID: p.id("photo"), Source: "s", Hash: "h"})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.GiveBack(t.Context(), keeper, now, "loam", c.ID, true); err != nil {
			t.Fatal(err)
		}
		if _, err := p.AgreeReturn(t.Context(), p.loam, now, "loam", c.ID, "by train"); err != nil {
			t.Fatal(err)
		}
		sales[i] = sale{c, keeper, photo}
	}
	kinds := map[string]func(s *followup.Service, is sale, at time.Time) error{
		"receipt": func(s *followup.Service, is sale, at time.Time) error {
			return s.Acknowledge(t.Context(), is.keeper, at, "loam", is.c.ID, &at, &at)
		},
		"seen": func(s *followup.Service, is sale, at time.Time) error {
			_, err := s.MarkSeen(t.Context(), p.loam, at, "loam", is.c.ID)
			return err
		},
		"looked after": func(s *followup.Service, is sale, at time.Time) error {
			_, err := s.LookAfter(t.Context(), p.loam, at, "loam", is.c.ID, at.String())
			return err
		},
		"aside": func(s *followup.Service, is sale, at time.Time) error {
			until := at.Add(48 * time.Hour)
			_, err := s.SetAside(t.Context(), p.loam, at, "loam", is.c.ID, &until, "the weekend")
			return err
		},
		"sent": func(s *followup.Service, is sale, at time.Time) error {
			_, err := s.SendReturn(t.Context(), is.keeper, at, "loam", is.c.ID)
			return err
		},
		"quarantine": func(s *followup.Service, is sale, at time.Time) error {
			_, err := s.EndQuarantine(t.Context(), p.loam, at, "loam", is.c.ID)
			return err
		},
		"photo": func(s *followup.Service, is sale, at time.Time) error {
			return s.LookAtPhoto(t.Context(), p.loam, at, "loam", is.c.ID, is.photo.ID)
		},
	}
	run := func(s *followup.Service, is sale) { // each kind in each round
		for n := range rounds {
			for name, do := range kinds {
				if err := do(s, is, now.Add(time.Duration(n)*time.Minute)); err != nil {
					t.Errorf("%s: %v", name, err)
				}
			}
		}
	}
	w := &counted{Store: p.store}
	var all sync.WaitGroup
	for _, is := range sales {
		s := followup.New(w, p.codes, p.codes) // a server of its own
		all.Go(func() { run(s, is) })
	}
	all.Wait()
	if n, want := w.runs.Load(), int64(cases*rounds*len(kinds)); n != want {
		t.Errorf("%d changes of other cases were run %d times", want, n)
	}
	for range 4 {
		all.Go(func() { run(p.Service, sales[0]) })
	}
	all.Wait()
	last := now.Add((rounds - 1) * time.Minute)
	for i, is := range sales {
		c := p.get(t, is.c).Case
		if c.GotAt == nil || !c.GotAt.Equal(last) || !c.ReadAt.Equal(last) || c.LookedAfterBy != last.String() || c.Return.LeftAt == nil || !c.Return.LeftAt.Equal(now) ||
			!c.SeenAt.Equal(last) || !c.Aside.At.Equal(last) {
			t.Errorf("case %d is %+v", i, c)
		}
	}
}

// watched counts what transactions ask of a store before they save a case.
type watched struct {
	care.Store
	asked, saved int
}

func (w *watched) Swap(ctx context.Context, f func(care.Tx) error) error {
	return w.Store.Swap(ctx, func(tx care.Tx) error { return f(&watchedTx{tx, w}) })
}

type watchedTx struct {
	care.Tx
	by *watched
}

func (tx *watchedTx) CaseVersion(breederID, caseID string) (int64, error) {
	tx.by.asked++
	return tx.Tx.CaseVersion(breederID, caseID)
}

func (tx *watchedTx) Followed(keys []care.CaseKey) ([]care.Followed, error) {
	tx.by.asked++
	return tx.Tx.Followed(keys)
}

func (tx *watchedTx) SaveCases(list []care.Saving) ([]error, error) {
	tx.by.saved++
	return tx.Tx.SaveCases(list)
}

// What is remembered of a case is judged before its turn to be saved, and anew in its turn
// when another server wrote meanwhile.
func TestJudgedAhead(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	w := &watched{Store: p.store}
	one, other := followup.New(w, p.codes, p.codes), p.Service
	now := t0.Add(3 * 24 * time.Hour)
	log := func(s *followup.Service, id string, e care.Entry) (care.Entry, error) {
		now = now.Add(time.Minute)
		w.asked, w.saved = 0, 0
		e.BreederID, e.AnimalID, e.CaseID, e.ID, e.HappenedAt = "loam", a.ID, c.ID, id, now
		return s.CreateEntry(t.Context(), keeper, now, e)
	}
	weight := func(mass care.Grams) care.Entry { return care.Entry{Body: care.WeighIn{Mass: mass}} }
	heard := false
	other.TellOthers(func(c followup.Change) {
		if heard {
			one.Heard(c)
		}
	})
	for i, step := range []struct {
		by           *followup.Service
		heard        bool
		asked, saved int
	}{
		{one, false, 1, 1},   // it is not remembered yet
		{one, false, 0, 1},   // ahead
		{other, false, 0, 0}, // not watched
		{one, false, 2, 2},   // ahead in vain
		{one, false, 0, 1},
		{other, true, 0, 0},
		{one, true, 2, 1}, // it was heard of: not ahead
		{one, true, 0, 1},
	} {
		heard = step.heard
		if _, err := log(step.by, fmt.Sprint("w", i), weight(100)); err != nil {
			t.Fatal(err)
		}
		if w.asked != step.asked || w.saved != step.saved {
			t.Errorf("step %d asked %d times and saved %d times, want %d and %d", i, w.asked, w.saved, step.asked, step.saved)
		}
	}
	if is, err := one.Remembered(t.Context(), "loam", a.ID); err != nil || !is {
		t.Errorf("remembered %v, %v", is, err)
	}
	// What was saved before, or may not be, is looked up.
	again := care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: "w7", HappenedAt: now, Body: care.WeighIn{Mass: 100}}
	w.saved = 0
	if got, err := one.CreateEntry(t.Context(), keeper, now.Add(time.Hour), again); err != nil || !got.ReceivedAt.Equal(now) || w.saved != 0 {
		t.Errorf("a repeat: %v, %v", got, err)
	}
	_, err := log(one, "w7", weight(90))
	wantReason(t, err, care.ReasonIDReused)
	_, err = one.CreateEntry(t.Context(), care.Actor{Kind: care.KeeperActor, KeeperID: "somebody else"}, now, care.Entry{
		BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: "w9", HappenedAt: now, Body: care.WeighIn{Mass: 90}})
	if !care.IsCode(err, care.NotFound) {
		t.Errorf("somebody else's: %v", err)
	}
	mine := slices.DeleteFunc(p.entries(t, keeper, c), func(e care.Entry) bool { return e.CaseID != c.ID })
	if len(mine) != 8 {
		t.Errorf("%d entries are there, want 8", len(mine))
	}
}

// Whatever is done, in whatever order, and by whichever of two servers on one
// database: what is remembered of a case is what is stored.
func TestMemoryIsTheStore(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	second := followup.New(p.store, p.codes, p.codes)
	servers := []*followup.Service{p.Service, second}
	a, c, keeper := p.sold(t)
	ctx := t.Context()
	rnd := rand.New(rand.NewPCG(3, 5))
	now := t0.Add(2 * time.Hour)
	var ids []string
	ignore := func(err error) {
		t.Helper()
		switch {
		case err == nil, care.IsCode(err, care.Precondition), care.IsCode(err, care.Invalid):
		default:
			t.Fatal(err)
		}
	}
	held := 0
	for i := range 400 {
		s := servers[rnd.IntN(2)]
		now = now.Add(time.Duration(rnd.IntN(600)) * time.Minute)
		switch n := rnd.IntN(23); {
		case n < 12:
			who := []care.Actor{keeper, p.loam, p.helper}[rnd.IntN(3)]
			e := care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("any"), HappenedAt: now.Add(-time.Duration(rnd.IntN(5000)) * time.Minute), Body: care.WeighIn{Mass: 95 + care.Grams(rnd.IntN(10))}}
			switch {
			case rnd.IntN(8) == 0:
				e.Body = care.WeighIn{Mass: 990} // a slip, refused after it was looked at
			case rnd.IntN(4) == 0:
				e.Body = care.Sign{Code: "wheeze"}
			case rnd.IntN(4) == 0:
				e.Body = care.Offer{Result: care.Refused, Prey: "rat"}
			}
			if rnd.IntN(2) == 0 {
				e.CaseID = c.ID
			}
			if len(ids) > 0 && rnd.IntN(5) == 0 {
				e.Replaces = ids[rnd.IntN(len(ids))]
			}
			_, err := s.CreateEntry(ctx, who, now, e)
			ignore(err)
			if err == nil {
				ids = append(ids, e.ID)
			}
		case n == 12:
			_, err := s.MarkSeen(ctx, p.loam, now, "loam", c.ID)
			ignore(err)
		case n == 13:
			_, err := s.EndCase(ctx, p.loam, now, "loam", c.ID, care.OutcomeSettled, "", p.id("end"))
			ignore(err)
		case n == 14 || n == 15:
			_, err := s.ReopenCase(ctx, p.loam, now, "loam", c.ID, p.id("reopen"))
			ignore(err)
		case n == 16:
			_, err := s.UpdateAnimal(ctx, p.loam, now, care.Animal{BreederID: "loam", ID: a.ID, Genes: []string{[]string{"spider", "clown"}[rnd.IntN(2)]}}, []string{"genes"})
			ignore(err)
		case n == 17:
			if rnd.IntN(2) == 0 {
				_, err := s.UpdateThresholds(ctx, p.loam, now, "loam", care.Thresholds{Act: []float64{0, .3, .5}[rnd.IntN(3)]}, 0)
				ignore(err)
				break
			}
			hemi := []care.Hemisphere{care.North, care.South}[rnd.IntN(2)]
			_, err := s.UpdateBreeder(ctx, p.loam, now, care.Breeder{ID: "loam", Hemi: hemi}, []string{"hemisphere"})
			ignore(err)
		case n == 18: // history that comes with a list, and goes again
			in, tab := p.confirmed(t, fmt.Sprintf("name,date,weight\n%s,%s,%d\n", a.Name, t0.AddDate(0, 0, -100-i).Format(time.DateOnly), 60+i%10))
			ignore(s.RunImport(ctx, now, in, tab))
			if rnd.IntN(2) == 0 {
				in, err := s.UndoImport(ctx, p.loam, now, "loam", in.ID)
				ignore(err)
				ignore(s.RunUndo(ctx, now, in))
			}
		case n == 19:
			var until *time.Time
			if rnd.IntN(3) > 0 {
				until = ptr(now.Add(time.Duration(1+rnd.IntN(9)) * 12 * time.Hour))
			}
			_, err := s.SetAside(ctx, p.loam, now, "loam", c.ID, until, "waits")
			ignore(err)
		case n == 20:
			_, err := s.GiveBack(ctx, keeper, now, "loam", c.ID, rnd.IntN(2) == 0)
			ignore(err)
		default:
			_, err := s.Pass(ctx, now)
			ignore(err)
		}
		for j, s := range servers {
			is, err := s.Remembered(ctx, "loam", a.ID)
			if err != nil {
				t.Fatalf("step %d, server %d: %v", i, j, err)
			}
			if is {
				held++
			}
		}
	}
	if held < 50 {
		t.Errorf("memory was of use %d times in 400 steps", held)
	}
}
