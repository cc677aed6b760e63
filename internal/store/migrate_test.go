package store

import (
	"context"
	"database/sql"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/store/storetest"
	"warmhand/internal/words"
)

var save = flag.Bool("save", false, "write testdata/v1.db anew; only before version 1 is released")

// savedWorld is what testdata/v1.db holds, beside what it needs to stand.
func savedWorld() (care.Entry, care.Handover, care.Case) {
	at := time.UnixMilli(1_772_368_215_123).UTC()
	entry := care.Entry{BreederID: "b1", AnimalID: "a1", ID: "e1", CaseID: "h1", By: care.KeeperActor, ByID: "k1", HappenedAt: at, ReceivedAt: at, Note: "took it slowly",
		Body: care.Offer{Result: care.Struck, Prey: "mouse", PreyState: care.Thawed, PreyMass: 12.5}}
	animal := care.Animal{BreederID: "b1", ID: "a1", Name: "tub 14", Species: "python_regius", Sex: care.Female, Hatched: &at, Genes: []string{"pastel"}, CreatedAt: at, UpdatedAt: at}
	handover := care.Handover{BreederID: "b1", ID: "h1", AnimalID: "a1", State: care.HandoverClaimed, HandedOverAt: at, CodeHash: "code", ClaimExpiresAt: at, ClaimedAt: &at, KeeperID: "k1", CreatedAt: at,
		Record: care.Record{Animal: animal, Breeder: "Loam", Contact: "by the thread", Offers: []care.Entry{entry}, FeedNext: words.Say("One mouse in a week."),
			Checklist: []care.ChecklistItem{{Point: "doors", ShutBelow: 9.5}}, Cautions: []words.Text{words.Say("may shake its head")}, IssuedAt: at, SchemaMinor: 1}}
	kase := care.Case{BreederID: "b1", ID: "h1", AnimalID: "a1", KeeperID: "k1", HandedOverAt: at, Learned: care.Learned{Mean: 0.25, Strength: 4, Animals: 9}, CreatedAt: at,
		Standing: care.StepIn, Urgency: 1.5, Headline: words.Say("Has not eaten for 31 days."), Assessment: []byte(`{"standing":"step_in"}`), AssessedAt: at, DueAt: at, ChangedAt: at}
	return entry, handover, kase
}

func TestSavedDatabaseOfVersion1(t *testing.T) {
	t.Parallel()
	entry, handover, kase := savedWorld()
	saved := filepath.Join("testdata", "v1.db")
	if *save {
		dir := t.TempDir()
		s := open(t, Config{Dir: dir})
		err := s.Write(t.Context(), func(tx care.Tx) error {
			for _, err := range []error{
				tx.InsertBreeder(care.Breeder{ID: "b1"}), tx.InsertAnimal(handover.Record.Animal), tx.InsertEntry(entry), tx.InsertHandover(handover), tx.InsertCase(kase),
			} {
				if err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Backup(t.Context(), filepath.Join(dir, "copy")); err != nil {
			t.Fatal(err)
		}
		shrink(t, filepath.Join(dir, "copy", fileName))
		if err := os.Rename(filepath.Join(dir, "copy", fileName), saved); err != nil {
			t.Fatal(err)
		}
	}
	data, err := os.ReadFile(saved)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, fileName), data, 0o600); err != nil {
		t.Fatal(err)
	}
	s := open(t, Config{Dir: dir})
	err = s.Write(t.Context(), func(tx care.Tx) error {
		gotEntry, err := tx.Entry("b1", "a1", "e1")
		if err != nil || !reflect.DeepEqual(gotEntry, entry) {
			t.Errorf("entry %+v (%v), want %+v", gotEntry, err, entry)
		}
		gotHandover, err := tx.HandoverByCode("code")
		if err != nil || !reflect.DeepEqual(gotHandover, handover) {
			t.Errorf("handover %+v (%v), want %+v", gotHandover, err, handover)
		}
		gotCase, err := tx.Case("b1", "h1")
		if err != nil || !reflect.DeepEqual(gotCase, kase) {
			t.Errorf("case %+v (%v), want %+v", gotCase, err, kase)
		}
		return tx.UpdateCase(kase)
	})
	if err != nil {
		t.Error(err)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// shrink makes the pages small, since most tables are empty.
func shrink(t *testing.T, path string) {
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`PRAGMA page_size = 512; VACUUM`); err != nil {
		t.Fatal(err)
	}
}

// places opens an empty database of either engine, past the store.
func places(t *testing.T, f func(t *testing.T, c Config, db *sql.DB)) {
	t.Run("sqlite", func(t *testing.T) {
		t.Parallel()
		c := Config{Dir: t.TempDir()}
		db, err := sql.Open("sqlite3", "file:"+filepath.Join(c.Dir, fileName)+"?_busy_timeout=5000&_txlock=immediate")
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		f(t, c, db)
	})
	t.Run("postgres", func(t *testing.T) {
		t.Parallel()
		c := Config{URL: storetest.Schema(t)}
		db, err := sql.Open("pgx", c.URL)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		f(t, c, db)
	})
}

// A program that is older than the schema starts where the newer one said that it may:
// while servers are replaced one after the other, one of before can be started anew. It
// leaves the schema as it is.
func TestANewerSchema(t *testing.T) {
	t.Parallel()
	places(t, func(t *testing.T, c Config, db *sql.DB) {
		s := open(t, c)
		if behind, err := s.Behind(t.Context()); err != nil || behind {
			t.Errorf("behind %v, %v", behind, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		var now, since int
		if err := db.QueryRow(`SELECT version, compatible FROM schema_version`).Scan(&now, &since); err != nil || since != compatibleSince || now < since {
			t.Fatalf("version %d, compatible since %d (%v)", now, since, err)
		}
		version := func() (v, since int) {
			if err := db.QueryRow(`SELECT version, compatible FROM schema_version`).Scan(&v, &since); err != nil {
				t.Fatal(err)
			}
			return v, since
		}

		if _, err := db.Exec(`UPDATE schema_version SET version = 99, compatible = $1`, now); err != nil {
			t.Fatal(err)
		}
		s = open(t, c)
		insertKeeper1(t, s, "k1")
		if behind, err := s.Behind(t.Context()); err != nil || !behind {
			t.Errorf("on a newer schema: behind %v, %v", behind, err)
		}
		if _, err := Move(t.Context(), c, Config{Dir: t.TempDir()}, func(string, int64) {}); err == nil || !strings.Contains(err.Error(), "newer program") {
			t.Errorf("an older program moves what it does not know: %v", err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if v, since := version(); v != 99 || since != now {
			t.Errorf("the version is now %d, compatible since %d", v, since)
		}

		if _, err := db.Exec(`UPDATE schema_version SET compatible = $1`, now+1); err != nil {
			t.Fatal(err)
		}
		s, err := Open(t.Context(), c)
		if err == nil {
			s.Close()
			t.Fatal("a newer schema was opened that has no place for this program")
		}
		if !strings.Contains(err.Error(), "version 99") || !strings.Contains(err.Error(), "newer program") {
			t.Errorf("the error does not say what to do: %v", err)
		}
		if v, _ := version(); v != 99 {
			t.Errorf("the version is now %d", v)
		}
	})
}

func TestProgramsStartingAtOnce(t *testing.T) {
	t.Parallel()
	places(t, func(t *testing.T, c Config, db *sql.DB) {
		var wg sync.WaitGroup
		for range 4 {
			wg.Go(func() {
				s, err := Open(context.Background(), c)
				if err != nil {
					t.Error(err)
					return
				}
				if err := s.Close(); err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		var rows, version int
		if err := db.QueryRow(`SELECT count(*), max(version) FROM schema_version`).Scan(&rows, &version); err != nil || rows != 1 || version < 1 {
			t.Errorf("%d rows, version %d (%v)", rows, version, err)
		}
	})
}

// A migration that fails leaves the database as it was.
func TestAFailedMigrationLeavesNothing(t *testing.T) {
	t.Parallel()
	places(t, func(t *testing.T, c Config, db *sql.DB) {
		if _, err := db.Exec(`CREATE TABLE photos (mine INTEGER)`); err != nil {
			t.Fatal(err)
		}
		if s, err := Open(t.Context(), c); err == nil {
			s.Close()
			t.Fatal("a foreign table was taken for ours")
		}
		if _, err := db.Exec(`SELECT * FROM breeders`); err == nil {
			t.Error("half of the schema was left behind")
		}
		if _, err := db.Exec(`DROP TABLE photos`); err != nil {
			t.Fatal(err)
		}
		open(t, c)
	})
}

func TestMigrationFiles(t *testing.T) {
	t.Parallel()
	for _, gap := range []fstest.MapFS{{"0002_x.sql": {}}, {"0001_x.sql": {}, "0003_x.sql": {}}, {"0001_x.sql": {}, "0001_y.sql": {}}} {
		if _, err := readMigrations(gap); err == nil {
			t.Errorf("%v has a gap", gap)
		}
	}
	// The twins have the same tables and columns in the same order.
	var shape [2][]string
	for i, d := range []*dialect{sqlite, postgres} {
		files, err := d.migrations()
		if err != nil {
			t.Fatal(err)
		}
		steps, err := readMigrations(files)
		if err != nil || len(steps) == 0 {
			t.Fatal(steps, err)
		}
		for _, step := range steps {
			shape[i] = append(shape[i], "file")
			for _, m := range regexp.MustCompile(`(?m)^(?:CREATE (?:UNIQUE )?(?:TABLE|INDEX) .*|    [a-z_]+ |    (?:PRIMARY|FOREIGN) KEY .*)`).FindAllString(step, -1) {
				shape[i] = append(shape[i], strings.TrimRight(m, ",( "))
			}
		}
	}
	if !reflect.DeepEqual(shape[0], shape[1]) {
		t.Errorf("the twins differ:\n%v\n%v", shape[0], shape[1])
	}
}
