package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"warmhand/internal/care"
	"warmhand/internal/store/storetest"
)

// A server that goes away in the middle is Unavailable, and comes back.
func TestPostgresConnectionLost(t *testing.T) {
	t.Parallel()
	address := storetest.Schema(t)
	name := "lost-" + t.Name()
	s := open(t, Config{URL: address + "&application_name=" + name})
	cut := func() {
		storetest.Exec(t, address, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = '`+name+`'`)
	}
	err := s.Write(t.Context(), func(tx care.Tx) error {
		if err := tx.InsertKeeper(care.Keeper{ID: "k"}); err != nil {
			return err
		}
		cut()
		return tx.InsertKeeper(care.Keeper{ID: "k2"})
	})
	if !care.IsCode(err, care.Unavailable) || strings.Contains(err.Error(), "terminating") {
		t.Errorf("got %v", err)
	}
	insertKeeper1(t, s, "k")
	// What is cut while nobody uses it is not noticed by anybody.
	for i := range 3 {
		var held sync.WaitGroup
		in, out := make(chan struct{}, 4), make(chan struct{})
		for range cap(in) {
			held.Go(func() {
				if err := s.Read(t.Context(), func(tx care.Tx) error { in <- struct{}{}; <-out; return nil }); err != nil {
					t.Error(err)
					in <- struct{}{}
				}
			})
		}
		for range cap(in) { // as many connections
			<-in
		}
		close(out)
		held.Wait()
		cut()
		insertKeeper1(t, s, fmt.Sprint("after ", i))
	}
}

// Swaps of different cases are not held against each other: none is run twice.
func TestPostgresSwapsAside(t *testing.T) {
	t.Parallel()
	const callers, rounds = 8, 25
	s := open(t, Config{URL: storetest.Schema(t)})
	id := func(i int) string { return fmt.Sprint("h", i) }
	err := s.Write(t.Context(), func(tx care.Tx) error {
		errs := []error{tx.InsertBreeder(care.Breeder{ID: "b1"})}
		for i := range callers {
			errs = append(errs, tx.InsertAnimal(care.Animal{BreederID: "b1", ID: id(i)}), tx.InsertHandover(care.Handover{BreederID: "b1", ID: id(i), AnimalID: id(i)}),
				tx.InsertCase(care.Case{BreederID: "b1", ID: id(i), AnimalID: id(i)}))
		}
		return errors.Join(errs...)
	})
	if err != nil {
		t.Fatal(err)
	}
	var runs atomic.Int64
	var all sync.WaitGroup
	for i := range callers {
		all.Go(func() {
			for n := range rounds {
				err := s.Swap(t.Context(), func(tx care.Tx) error {
					runs.Add(1)
					c, err := tx.Case("b1", id(i))
					if err != nil {
						return err
					}
					c.Urgency = float64(n) / rounds
					if err := tx.InsertEntry(care.Entry{BreederID: "b1", AnimalID: c.AnimalID, ID: fmt.Sprint(i, "-", n), CaseID: c.ID, Body: care.Seen{}}); err != nil {
						return err
					}
					return tx.UpdateCase(c)
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	if n := runs.Load(); n != callers*rounds {
		t.Errorf("%d swaps were run %d times", callers*rounds, n)
	}
}

// A log goes to the database three times: to begin and look at the version, to save,
// and to commit. What begins and does nothing does not go there at all.
func TestPostgresWays(t *testing.T) {
	t.Parallel()
	s := open(t, Config{URL: storetest.Schema(t)})
	ways := &countWays{}
	e := s.engine.(everything).engine.(*postgresEngine)
	traced := e.pool.Config()
	traced.ConnConfig.Tracer = ways
	pool, err := pgxpool.NewWithConfig(t.Context(), traced)
	if err != nil {
		t.Fatal(err)
	}
	e.pool.Close()
	e.pool = pool
	if err := s.Write(t.Context(), func(tx care.Tx) error {
		return errors.Join(tx.InsertBreeder(care.Breeder{ID: "b"}), tx.InsertAnimal(care.Animal{BreederID: "b", ID: "a"}),
			tx.InsertHandover(care.Handover{BreederID: "b", ID: "h", AnimalID: "a"}), tx.InsertCase(care.Case{BreederID: "b", ID: "h", AnimalID: "a"}))
	}); err != nil {
		t.Fatal(err)
	}
	for i, flags := range [][]care.Flag{nil, {{BreederID: "b", CaseID: "h", ID: "refusal-1", Code: "refusal"}}, nil} {
		before := ways.n.Load()
		if err := s.Swap(t.Context(), func(tx care.Tx) error {
			version, err := tx.CaseVersion("b", "h")
			if err != nil {
				return err
			}
			lost, err := tx.SaveCases([]care.Saving{{
				Case:    care.Case{BreederID: "b", ID: "h", AnimalID: "a", Version: version},
				Entries: []care.Entry{{BreederID: "b", AnimalID: "a", ID: fmt.Sprint(i), CaseID: "h", Body: care.Seen{}}}, Flags: flags,
			}})
			return errors.Join(err, errors.Join(lost...))
		}); err != nil {
			t.Fatal(err)
		}
		if n, want := ways.n.Load()-before, int64(3+len(flags)); n != want {
			t.Errorf("log %d with %d flags went there %d times, want %d", i, len(flags), n, want)
		}
	}
	before := ways.n.Load()
	if err := s.Swap(t.Context(), func(care.Tx) error { return nil }); err != nil || ways.n.Load() != before {
		t.Errorf("nothing went there %d times, %v", ways.n.Load()-before, err)
	}
}

// countWays counts what is sent to the database, statements sent together as one.
type countWays struct{ n atomic.Int64 }

func (c *countWays) TraceQueryStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceQueryStartData) context.Context {
	c.n.Add(1)
	return ctx
}
func (c *countWays) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}
func (c *countWays) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	c.n.Add(1)
	return ctx
}
func (c *countWays) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}
func (c *countWays) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData)     {}

// What takes too long on the server's side is given up there, and nothing of it
// is saved; what the address asks for counts before our own limits.
func TestPostgresLimits(t *testing.T) {
	t.Parallel()
	address := storetest.Schema(t)
	said := func(s *Store, name string) (value string) {
		t.Helper()
		show := &query{op: "show", postgres: `SHOW ` + name}
		err := s.Read(t.Context(), func(tx_ care.Tx) (err error) {
			value, err = get(tx_.(*tx), show, func(v *string) []any { return []any{v} }, name)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
	usual := open(t, Config{URL: address})
	for name, want := range map[string]string{"statement_timeout": "30s", "lock_timeout": "10s", "idle_in_transaction_session_timeout": "1min"} {
		if got := said(usual, name); got != want {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
	short := open(t, Config{URL: address + "&statement_timeout=200&lock_timeout=100"})
	if got := said(short, "statement_timeout"); got != "200ms" {
		t.Errorf("the address asks for 200 ms, and it is %s", got)
	}
	insertKeeper1(t, usual, "k")

	slow := &query{op: "wait", postgres: `SELECT pg_sleep(30)`}
	err := short.Write(t.Context(), func(tx_ care.Tx) error {
		if err := tx_.InsertKeeper(care.Keeper{ID: "with what is too slow"}); err != nil {
			return err
		}
		_, err := tx_.(*tx).exec(slow)
		return err
	})
	if !care.IsCode(err, care.Unavailable) {
		t.Errorf("too slow: %v", err)
	}
	err = short.Read(t.Context(), func(tx care.Tx) error { _, err := tx.Keeper("with what is too slow"); return err })
	if !care.IsCode(err, care.NotFound) {
		t.Errorf("after what was too slow: %v", err)
	}

	err = usual.Write(t.Context(), func(tx care.Tx) error {
		if err := tx.DeleteKeeper("k"); err != nil { // holds the row
			return err
		}
		err := short.Write(t.Context(), func(other care.Tx) error { return other.DeleteKeeper("k") })
		if !care.IsCode(err, care.Unavailable) {
			t.Errorf("locked for too long: %v", err)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

func TestPostgresBackupNamesTheTool(t *testing.T) {
	t.Parallel()
	c := Config{URL: storetest.Schema(t)}
	s := open(t, c)
	if err := s.Backup(t.Context(), t.TempDir()); err == nil || !strings.Contains(err.Error(), "pg_dump") {
		t.Errorf("got %v", err)
	}
	insertKeeper1(t, s, "k")
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
	db, err := sql.Open("pgx", c.URL)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, table := range []string{"reminders", "breeders"} { // one of the newest tables, and the first
		for _, x := range []struct {
			names string
			bad   bool
		}{{table + " RENAME TO elsewhere", true}, {"elsewhere RENAME TO " + table, false}} {
			if _, err := db.Exec("ALTER TABLE " + x.names); err != nil {
				t.Fatal(err)
			}
			if err := s.Check(t.Context()); (err != nil) != x.bad || x.bad && !strings.Contains(err.Error(), table) {
				t.Errorf("%s: %v", x.names, err)
			}
		}
	}
}

// Two callers see that an animal has no case; the one that commits later must
// be run again and see the other's. No key would stop it.
func TestPostgresWriteSkew(t *testing.T) {
	t.Parallel()
	s := open(t, Config{URL: storetest.Schema(t)})
	err := s.Write(t.Context(), func(tx care.Tx) error {
		if err := tx.InsertBreeder(care.Breeder{ID: "b1"}); err != nil {
			return err
		}
		return tx.InsertAnimal(care.Animal{BreederID: "b1", ID: "a1"})
	})
	if err != nil {
		t.Fatal(err)
	}
	var saw []int
	openCase := func(id string, between func()) error {
		return s.Write(t.Context(), func(tx care.Tx) error {
			there, _, err := tx.ListCases("b1", care.CaseQuery{Open: true, AnimalID: "a1"}, care.Cursor{}, 10)
			if err != nil {
				return err
			}
			saw = append(saw, len(there))
			between()
			if len(there) > 0 {
				return nil
			}
			if err := tx.InsertHandover(care.Handover{BreederID: "b1", ID: id, AnimalID: "a1"}); err != nil {
				return err
			}
			return tx.InsertCase(care.Case{BreederID: "b1", ID: id, AnimalID: "a1"})
		})
	}
	first := true
	err = openCase("slow", func() {
		if !first {
			return
		}
		first = false
		if err := openCase("quick", func() {}); err != nil {
			t.Error(err)
		}
	})
	if err != nil || fmt.Sprint(saw) != "[0 0 1]" {
		t.Errorf("got %v after seeing %v cases, want [0 0 1]", err, saw)
	}
}
