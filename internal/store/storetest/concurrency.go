package storetest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"warmhand/internal/care"
)

var errCallback = errors.New("the callback failed")

func failedCallback(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1")
	err := s.Write(limit(t), func(tx care.Tx) error {
		if err := full("b2").items()[0].insert(tx); err != nil {
			return err
		}
		a, err := tx.Animal("b1", "a1")
		if err != nil {
			return err
		}
		a.Name = "changed"
		if err := tx.UpdateAnimal(a); err != nil {
			return err
		}
		return fmt.Errorf("wrapped: %w", errCallback)
	})
	if !errors.Is(err, errCallback) {
		t.Errorf("the callback's error came back as %v", err)
	}
	got := read(t, s, func(tx care.Tx) (care.Counts, error) { return tx.Counts() })
	wantSame(t, "counts", got, care.Counts{Breeders: 1, Animals: 1})
	if a := read(t, s, func(tx care.Tx) (care.Animal, error) { return tx.Animal("b1", "a1") }); a.Name != "" || a.Version != 0 {
		t.Errorf("the animal was changed: %+v", a)
	}
}

func panics(t *testing.T, s care.Store) {
	bang := func(tx care.Tx) error {
		if err := tx.InsertKeeper(care.Keeper{ID: "k1"}); err != nil {
			return err
		}
		panic("bang")
	}
	if err := s.Write(limit(t), bang); err == nil || !strings.Contains(err.Error(), "bang") {
		t.Errorf("the panic came back as %v", err)
	}
	if err := s.Read(limit(t), func(care.Tx) error { panic("bang") }); err == nil {
		t.Error("a panic in Read went unnoticed")
	}
	write(t, s, func(tx care.Tx) error {
		_, err := tx.Keeper("k1")
		wantCode(t, err, care.NotFound)
		return tx.InsertKeeper(care.Keeper{ID: "k2"})
	})
}

// each runs f for n callers at once and returns their errors.
func each(n int, f func(i int) error) []error {
	errs := make([]error, n)
	start := make(chan struct{})
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() {
			<-start
			errs[i] = f(i)
		})
	}
	close(start)
	wg.Wait()
	return errs
}

// failuresAside has every third caller fail after writing, and every seventh
// panic: all others are kept, these are not, and each gets its own answer.
func failuresAside(t *testing.T, s care.Store) {
	ctx := limit(t)
	fails := func(i int) bool { return i%3 == 0 || i%7 == 0 }
	errs := each(100, func(i int) error {
		return s.Write(ctx, func(tx care.Tx) error {
			if err := tx.InsertKeeper(care.Keeper{ID: fmt.Sprint("k", i)}); err != nil {
				return err
			}
			if i%7 == 0 {
				panic(i)
			}
			if i%3 == 0 {
				return errCallback
			}
			return nil
		})
	})
	for i, err := range errs {
		if (err != nil) != fails(i) || (i%7 != 0 && err != nil && !errors.Is(err, errCallback)) {
			t.Errorf("caller %d got %v", i, err)
		}
		there := read(t, s, func(tx care.Tx) (bool, error) {
			_, err := tx.Keeper(fmt.Sprint("k", i))
			if care.IsCode(err, care.NotFound) {
				return false, nil
			}
			return true, err
		})
		if there == fails(i) {
			t.Errorf("caller %d: kept %t", i, there)
		}
	}
}

func noLostUpdate(t *testing.T, s care.Store) {
	const writers, rounds = 16, 50
	stock(t, s, "b1", "a1")
	ctx := limit(t)
	errs := each(writers, func(int) error {
		for range rounds {
			err := s.Write(ctx, func(tx care.Tx) error {
				a, err := tx.Animal("b1", "a1")
				if err != nil {
					return err
				}
				a.Note += "x"
				return tx.UpdateAnimal(a)
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	a := read(t, s, func(tx care.Tx) (care.Animal, error) { return tx.Animal("b1", "a1") })
	if len(a.Note) != writers*rounds || a.Version != writers*rounds {
		t.Errorf("%d updates are kept and the version is %d, want %d", len(a.Note), a.Version, writers*rounds)
	}
}

func noLostSwap(t *testing.T, s care.Store) {
	const writers, rounds = 12, 20
	stock(t, s, "b1", "a1")
	write(t, s, func(tx care.Tx) error { return follow(tx, care.Case{BreederID: "b1", ID: "h1", AnimalID: "a1"}) })
	ctx := limit(t)
	errs := each(writers, func(i int) error {
		for n := range rounds {
			do := s.Swap
			if i%3 == 0 {
				do = s.Write
			}
			err := do(ctx, func(tx care.Tx) error {
				c, err := tx.Case("b1", "h1")
				if err != nil {
					return err
				}
				c.LookedAfterBy += "x"
				if err := tx.InsertEntry(care.Entry{BreederID: "b1", AnimalID: "a1", ID: fmt.Sprint(i, "-", n), Body: care.Seen{}}); err != nil {
					return err
				}
				return tx.UpdateCase(c)
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	c := read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b1", "h1") })
	log := read(t, s, func(tx care.Tx) ([]care.Entry, error) { return tx.Log("b1", "a1") })
	if len(c.LookedAfterBy) != writers*rounds || c.Version != writers*rounds || len(log) != writers*rounds {
		t.Errorf("%d updates and %d entries are kept and the version is %d, want %d", len(c.LookedAfterBy), len(log), c.Version, writers*rounds)
	}
}

func oneWinner(t *testing.T, s care.Store) {
	ctx := limit(t)
	errs := each(16, func(i int) error {
		return s.Write(ctx, func(tx care.Tx) error { return tx.InsertKeeper(care.Keeper{ID: "k", Name: fmt.Sprint(i)}) })
	})
	winner := -1
	for i, err := range errs {
		switch {
		case err == nil && winner >= 0:
			t.Errorf("callers %d and %d both won", winner, i)
		case err == nil:
			winner = i
		default:
			wantCode(t, err, care.Conflict)
		}
	}
	if k := read(t, s, func(tx care.Tx) (care.Keeper, error) { return tx.Keeper("k") }); k.Name != fmt.Sprint(winner) {
		t.Errorf("kept that of %s, and %d was told so", k.Name, winner)
	}
}

// writeSkew has many callers open a case for one animal if it has none open,
// each with an id of its own: no key stops two, only serial transactions do.
func writeSkew(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1")
	ctx := limit(t)
	errs := each(12, func(i int) error {
		return s.Write(ctx, func(tx care.Tx) error {
			open, _, err := tx.ListCases("b1", care.CaseQuery{Open: true, AnimalID: "a1"}, care.Cursor{}, 1)
			if err != nil || len(open) > 0 {
				return err
			}
			return follow(tx, care.Case{BreederID: "b1", ID: fmt.Sprint("h", i), AnimalID: "a1"})
		})
	})
	if err := errors.Join(errs...); err != nil {
		t.Error(err)
	}
	if n := read(t, s, func(tx care.Tx) (care.Counts, error) { return tx.Counts() }); n.OpenCases != 1 {
		t.Errorf("%d cases are open, want 1", n.OpenCases)
	}
}

func snapshot(t *testing.T, s care.Store) {
	before := read(t, s, func(tx care.Tx) (n [2]care.Counts, err error) {
		if n[0], err = tx.Counts(); err != nil {
			return n, err
		}
		stock(t, s, "b1", "a1") // committed while this reads
		n[1], err = tx.Counts()
		return n, err
	})
	wantSame(t, "counts", before, [2]care.Counts{})
	wantSame(t, "counts after", read(t, s, func(tx care.Tx) (care.Counts, error) { return tx.Counts() }), care.Counts{Breeders: 1, Animals: 1})
}

func readOnly(t *testing.T, s care.Store) {
	err := s.Read(limit(t), func(tx care.Tx) error { return tx.InsertKeeper(care.Keeper{ID: "k"}) })
	if err == nil {
		t.Error("a Read wrote")
	}
	// Nor if the callback does not look.
	err = s.Read(limit(t), func(tx care.Tx) error { _ = tx.InsertKeeper(care.Keeper{ID: "k"}); return nil })
	if err == nil {
		t.Error("a Read wrote and said nothing")
	}
	write(t, s, func(tx care.Tx) error { return tx.InsertKeeper(care.Keeper{ID: "k"}) })
}

func cancelled(t *testing.T, s care.Store) {
	ctx, cancel := context.WithCancel(t.Context())
	ran := false
	cancel()
	for _, do := range []func(context.Context, func(care.Tx) error) error{s.Write, s.Read} {
		if err := do(ctx, func(care.Tx) error { ran = true; return nil }); !errors.Is(err, context.Canceled) || ran {
			t.Errorf("ended before: %v, ran %t", err, ran)
		}
	}
	ctx, cancel = context.WithCancel(t.Context())
	err := s.Write(ctx, func(tx care.Tx) error {
		if err := tx.InsertKeeper(care.Keeper{ID: "k1"}); err != nil {
			return err
		}
		cancel()
		_ = tx.InsertKeeper(care.Keeper{ID: "k2"}) // refused; not looking does not help
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("ended meanwhile: %v", err)
	}
	write(t, s, func(tx care.Tx) error {
		for _, id := range []string{"k1", "k2"} {
			_, err := tx.Keeper(id)
			wantCode(t, err, care.NotFound)
		}
		return nil
	})
}

func leakedTx(t *testing.T, s care.Store) {
	var leaked care.Tx
	write(t, s, func(tx care.Tx) error { leaked = tx; return nil })
	if err := leaked.InsertKeeper(care.Keeper{ID: "k"}); err == nil {
		t.Error("a transaction was written to after its end")
	}
}
