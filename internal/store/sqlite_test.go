package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"warmhand/internal/care"
)

func TestPragmasOnEveryConnection(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	e := s.engine.(*sqliteEngine)
	for _, c := range []struct {
		role, address, queryOnly string
	}{{"writer", e.address(writePragmas), "0"}, {"reader", e.address(readPragmas), "1"}} {
		db, err := sql.Open("sqlite3", c.address)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		for i := range 8 { // all held open, so that each is another
			conn, err := db.Conn(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			for pragma, want := range map[string]string{
				"journal_mode": "wal", "synchronous": "2", "busy_timeout": "5000", "foreign_keys": "1", "query_only": c.queryOnly,
			} {
				var got string
				if err := conn.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
					t.Errorf("%s %d: %s is %q (%v), want %q", c.role, i, pragma, got, err, want)
				}
			}
			if c.role == "reader" {
				if _, err := conn.ExecContext(t.Context(), `DELETE FROM keepers`); err == nil {
					t.Errorf("reader %d could write", i)
				}
			}
		}
	}
}

// The hot reads must neither scan a table nor sort.
func TestHotReadsUseTheirIndexes(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	w := s.engine.(*sqliteEngine).writer
	plan := func(q *query, args ...any) (steps string) {
		err := s.Write(t.Context(), func(care.Tx) error {
			rows, err := w.conn.conn.QueryContext(t.Context(), "EXPLAIN QUERY PLAN "+q.sqlite, args...)
			if err != nil {
				return err
			}
			defer rows.Close()
			for rows.Next() {
				var a, b, c any
				var step string
				if err := rows.Scan(&a, &b, &c, &step); err != nil {
					return err
				}
				steps += step + "; "
			}
			return rows.Err()
		})
		if err != nil {
			t.Fatal(err)
		}
		return steps
	}
	for index, steps := range map[string]string{
		"cases_by_urgency":  plan(listCases, "b1", 1, 1, "", 1.0, "c", 50),
		"cases_due":         plan(claimDue, 0, 1, 50),
		"cases_of_keeper":   plan(casesOfKeeper, "k1"),
		"cases_of_animal":   plan(listAnimalCases, "b1", 1, 1, "a1", 1.0, "c", 50),
		"animals_newest":    plan(listAnimals, "b1", "%", 0, "", 50),
		"handovers_newest":  plan(listHandovers, "b1", "", 0, "", 50),
		"handovers_by_code": plan(handoverByCode, "x"),
		"photos_of_case":    plan(listPhotos, "b1", "h1"),
		"PRIMARY KEY":       plan(readLog, "b1", "a1"),
	} {
		steps = strings.ReplaceAll(steps, "SCAN due", "") // what claimDue has just found
		if !strings.Contains(steps, index) || strings.Contains(steps, "SCAN") {
			t.Errorf("%s is not used: %s", index, steps)
		}
		// These read few rows, and sort them.
		if few := index == "PRIMARY KEY" || index == "cases_of_keeper" || index == "cases_of_animal" || index == "cases_due"; !few && strings.Contains(steps, "TEMP B-TREE") {
			t.Errorf("%s: sorted: %s", index, steps)
		}
	}
}

func TestFilesAreTheOwnersOnly(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "data with % and ? and #")
	s := open(t, Config{Dir: dir})
	insertKeeper1(t, s, "k")
	files, err := os.ReadDir(dir)
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	for _, f := range files {
		info, err := f.Info()
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm() != 0o600 || !strings.HasPrefix(f.Name(), fileName) {
			t.Errorf("%s has mode %v", f.Name(), info.Mode())
		}
	}
}

func insertKeeper1(t testing.TB, s *Store, id string) {
	t.Helper()
	if err := s.Write(context.Background(), func(tx care.Tx) error { return tx.InsertKeeper(care.Keeper{ID: id}) }); err != nil {
		t.Fatal(err)
	}
}

func countKeepers(t testing.TB, path string) (n int) {
	t.Helper()
	db, err := sql.Open("sqlite3", "file:"+path+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow(`SELECT count(*) FROM keepers`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// While a batch is being written, all that come meanwhile go into one commit.
func TestWritesShareACommit(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	w := s.engine.(*sqliteEngine).writer
	const others = 30
	inside, goOn := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		err := s.Write(t.Context(), func(care.Tx) error { close(inside); <-goOn; return nil })
		if err != nil {
			t.Error(err)
		}
	})
	<-inside
	seen := make(chan int, others)
	for i := range others {
		wg.Go(func() {
			err := s.Write(t.Context(), func(tx care.Tx) error {
				if err := tx.InsertKeeper(care.Keeper{ID: fmt.Sprint("k", i)}); err != nil {
					return err
				}
				seen <- countKeepers(t, s.engine.(*sqliteEngine).path) // what is committed
				return nil
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	poll(t, func() bool { return len(w.queue) == others })
	start := time.Now()
	close(goOn)
	wg.Wait()
	close(seen)
	commits := map[int]bool{}
	for n := range seen {
		commits[n] = true
	}
	// A slow machine may end a batch by its time.
	if most := 1 + int(time.Since(start)/batchTime); len(commits) > most {
		t.Errorf("%d writes took %d commits, want at most %d", others, len(commits), most)
	}
	if n := countKeepers(t, s.engine.(*sqliteEngine).path); n != others {
		t.Errorf("%d rows are kept, want %d", n, others)
	}
}

// poll waits until ok holds.
func poll(t testing.TB, ok func() bool) {
	t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for !ok() {
		if time.Now().After(deadline) {
			t.Fatal("waited in vain")
		}
		<-time.After(time.Millisecond)
	}
}

func TestAQueuedWriteCanBeGivenUp(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	inside, goOn := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		if err := s.Write(t.Context(), func(care.Tx) error { close(inside); <-goOn; return nil }); err != nil {
			t.Error(err)
		}
	})
	<-inside
	ctx, cancel := context.WithCancel(t.Context())
	given := make(chan error)
	go func() {
		given <- s.Write(ctx, func(tx care.Tx) error { return tx.InsertKeeper(care.Keeper{ID: "k"}) })
	}()
	poll(t, func() bool { return len(s.engine.(*sqliteEngine).writer.queue) == 1 })
	cancel()
	if err := <-given; !errors.Is(err, context.Canceled) { // answered while the writer is busy
		t.Errorf("given up: %v", err)
	}
	close(goOn)
	wg.Wait()
	if n := countKeepers(t, s.engine.(*sqliteEngine).path); n != 0 {
		t.Error("what was given up was written")
	}
}

// A Write inside a Write waits for itself; its context must still end it.
func TestANestedWriteEndsWithItsContext(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	err := s.Write(t.Context(), func(care.Tx) error {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
		defer cancel()
		return s.Write(ctx, func(care.Tx) error { return nil })
	})
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v", err)
	}
	insertKeeper1(t, s, "k")
}

// A failing test ends the goroutine that it runs on, inside a callback the
// writer's; the writer must go on.
func TestTheWriterOutlivesItsGoroutine(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	err := s.Write(t.Context(), func(tx care.Tx) error {
		if err := tx.InsertKeeper(care.Keeper{ID: "lost"}); err != nil {
			return err
		}
		runtime.Goexit()
		return nil
	})
	if !care.IsCode(err, care.Unavailable) {
		t.Errorf("got %v", err)
	}
	insertKeeper1(t, s, "k")
	if n := countKeepers(t, s.engine.(*sqliteEngine).path); n != 1 {
		t.Errorf("%d rows, want 1", n)
	}
}

func TestCloseWritesWhatIsQueued(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	errs := make(chan error, 100)
	for i := range cap(errs) {
		go func() {
			err := s.Write(t.Context(), func(tx care.Tx) error { return tx.InsertKeeper(care.Keeper{ID: fmt.Sprint("k", i)}) })
			if err != nil && !care.IsCode(err, care.Unavailable) {
				t.Errorf("got %v", err)
			}
			errs <- err
		}()
	}
	first := <-errs
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	saved := 0
	for i := range cap(errs) {
		err := first
		if i > 0 {
			err = <-errs
		}
		if err == nil {
			saved++
		}
	}
	if n := countKeepers(t, s.engine.(*sqliteEngine).path); n != saved {
		t.Errorf("%d rows are kept, and %d callers were told so", n, saved)
	}
}

// fill writes until nothing more can be saved, and returns the ids that were.
func fill(t *testing.T, s *Store, ids string) (saved []string) {
	t.Helper()
	note := strings.Repeat("x", 20_000)
	for i := range 10_000 {
		id := fmt.Sprint(ids, i)
		errs := make(chan error, 4)
		for n := range cap(errs) {
			go func() {
				errs <- s.Write(t.Context(), func(tx care.Tx) error {
					return tx.InsertKeeper(care.Keeper{ID: fmt.Sprint(id, "-", n), Name: note})
				})
			}()
		}
		var failed error
		for range cap(errs) {
			if err := <-errs; err != nil {
				failed = err
			}
		}
		if failed != nil {
			var e *care.Error
			if !errors.As(failed, &e) || e.Code != care.Unavailable || e.Reason != care.ReasonNotSaved {
				t.Fatalf("on a full disk: %v", failed)
			}
			return saved
		}
		for n := range cap(errs) {
			saved = append(saved, fmt.Sprint(id, "-", n))
		}
	}
	t.Fatal("the disk never filled")
	return nil
}

func wantKept(t *testing.T, s *Store, ids []string) {
	t.Helper()
	err := s.Read(t.Context(), func(tx care.Tx) error {
		for _, id := range ids {
			if _, err := tx.Keeper(id); err != nil {
				return fmt.Errorf("%s: %w", id, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// However long many write without a pause, SQLite's log begins anew.
func TestLogBeginsAnew(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := open(t, Config{Dir: dir})
	written := 0
	size := func(writes int) int64 {
		var running sync.WaitGroup
		for n := range 16 {
			running.Go(func() {
				for i := n; i < writes; i += 16 {
					err := s.Write(t.Context(), func(tx care.Tx) error { return tx.InsertKeeper(care.Keeper{ID: fmt.Sprint(written + i)}) })
					if err != nil {
						t.Error(err)
					}
				}
			})
		}
		running.Wait()
		written += writes
		info, err := os.Stat(filepath.Join(dir, fileName+"-wal"))
		if err != nil {
			t.Fatal(err)
		}
		return info.Size()
	}
	// It does not shrink, so this is the longest that it was.
	first := size(2 * checkpointAfter)
	if all := size(8 * checkpointAfter); all > 2*first {
		t.Errorf("%d bytes of log after %d writes, and %d after %d", first, 2*checkpointAfter, all, written)
	}
	if n := countKeepers(t, filepath.Join(dir, fileName)); n != written {
		t.Errorf("%d of %d are there", n, written)
	}
}

// SQLite's own limit stands for a full disk where no small one can be made.
func TestFullDatabase(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	setLimit := func(pages int) {
		w := s.engine.(*sqliteEngine).writer
		set := func(c *liteConn) {
			if _, err := c.conn.ExecContext(context.Background(), fmt.Sprint("PRAGMA max_page_count=", pages)); err != nil {
				t.Error(err)
			}
		}
		// On the writer's goroutine, and on each connection it opens later.
		if err := s.Write(t.Context(), func(care.Tx) error { set(w.conn); w.prepare = set; return nil }); err != nil {
			t.Fatal(err)
		}
	}
	setLimit(200)
	saved := fill(t, s, "a")
	if len(saved) < 4 {
		t.Fatalf("only %d writes fitted", len(saved))
	}
	wantKept(t, s, saved)
	fill(t, s, "still full")
	setLimit(2000)
	insertKeeper1(t, s, "after")
	wantKept(t, s, append(saved, "after"))
}

func TestFullDisk(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=2m"); err != nil {
		t.Skipf("a small disk cannot be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	ballast := filepath.Join(dir, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 1<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	s := open(t, Config{Dir: dir})
	saved := fill(t, s, "a")
	wantKept(t, s, saved)
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	insertKeeper1(t, s, "after")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	wantKept(t, open(t, Config{Dir: dir}), append(saved, "after"))
}

func TestAnotherProgramHoldsTheDatabase(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	// The timeout of the one connection is cut short; five seconds are long.
	w := s.engine.(*sqliteEngine).writer
	err := s.Write(t.Context(), func(care.Tx) error {
		_, err := w.conn.conn.ExecContext(context.Background(), `PRAGMA busy_timeout=10`)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	other, err := sql.Open("sqlite3", s.engine.(*sqliteEngine).address("_txlock=immediate"))
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	tx, err := other.Begin()
	if err != nil {
		t.Fatal(err)
	}
	err = s.Write(t.Context(), func(tx care.Tx) error { return tx.InsertKeeper(care.Keeper{ID: "k"}) })
	if !care.IsCode(err, care.Unavailable) || strings.Contains(err.Error(), "locked") {
		t.Errorf("got %v", err)
	}
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	insertKeeper1(t, s, "k")
}

func TestBackupWhileWriting(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	stop := make(chan struct{})
	var before, all int
	var wg sync.WaitGroup
	started := make(chan struct{})
	wg.Go(func() {
		for ; ; all++ {
			select {
			case <-stop:
				return
			default:
			}
			if all == 50 {
				close(started)
			}
			insertKeeper1(t, s, fmt.Sprint("k", all))
		}
	})
	<-started
	before = 50
	dest := filepath.Join(t.TempDir(), "backup")
	if err := s.Backup(t.Context(), dest); err != nil {
		t.Fatal(err)
	}
	close(stop)
	wg.Wait()
	files, err := os.ReadDir(dest)
	if err != nil || len(files) != 1 || files[0].Name() != fileName {
		t.Fatalf("the backup folder holds %v (%v)", files, err)
	}
	restored := open(t, Config{Dir: dest})
	var got care.Keeper
	n := 0
	err = restored.Read(t.Context(), func(tx care.Tx) (err error) {
		for ; ; n++ {
			if got, err = tx.Keeper(fmt.Sprint("k", n)); care.IsCode(err, care.NotFound) {
				return nil
			} else if err != nil {
				return err
			}
		}
	})
	if err != nil || n < before || n > all {
		t.Errorf("the copy holds %d rows, last %v (%v), want between %d and %d", n, got, err, before, all)
	}
	if err := restored.Check(t.Context()); err != nil {
		t.Error(err)
	}
	insertKeeper1(t, restored, "new")
	// A backup replaces nothing, least of all the running database.
	for _, there := range []string{dest, filepath.Dir(s.engine.(*sqliteEngine).path)} {
		if err := s.Backup(t.Context(), there); err == nil {
			t.Errorf("the database in %s was overwritten", there)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	none := t.TempDir()
	if err := s.Backup(ctx, none); err == nil {
		t.Error("a cancelled backup was made")
	}
	if files, err := os.ReadDir(none); err != nil || len(files) != 0 {
		t.Errorf("a cancelled backup left %v (%v)", files, err)
	}
}

func TestCheckFindsDamage(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := open(t, Config{Dir: dir})
	for i := range 200 {
		insertKeeper1(t, s, fmt.Sprint("k", i))
	}
	if err := s.Check(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	// Write over the root page of one table.
	path := filepath.Join(dir, fileName)
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var root, size int64
	if err := db.QueryRow(`SELECT rootpage, page_size FROM sqlite_schema, pragma_page_size WHERE name = 'keepers'`).Scan(&root, &size); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt(make([]byte, size), (root-1)*size); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if err := open(t, Config{Dir: dir}).Check(t.Context()); err == nil || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("the damage went unnoticed: %v", err)
	}
}

// An entry, a case or a photo whose owner is not there is refused.
func TestNothingHangsInTheAir(t *testing.T) {
	t.Parallel()
	s := open(t, Config{Dir: t.TempDir()})
	for name, f := range map[string]func(care.Tx) error{
		"animal": func(tx care.Tx) error { return tx.InsertAnimal(care.Animal{BreederID: "b", ID: "a"}) },
		"entry": func(tx care.Tx) error {
			return tx.InsertEntry(care.Entry{BreederID: "b", AnimalID: "a", ID: "e", Body: care.Seen{}})
		},
		"case":  func(tx care.Tx) error { return tx.InsertCase(care.Case{BreederID: "b", ID: "c", AnimalID: "a"}) },
		"photo": func(tx care.Tx) error { return tx.InsertPhoto(care.Photo{BreederID: "b", ID: "p", CaseID: "c"}) },
	} {
		err := s.Write(t.Context(), f)
		if err == nil || strings.Contains(err.Error(), "FOREIGN") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
