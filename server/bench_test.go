package server_test

import (
	"database/sql"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/server/servertest"
)

// BenchmarkHTTPLogs8 is how many logs a second eight phones can save through
// the JSON API, each answered only when it is on the disk. Beside it, in the
// same run, bare inserts of the same size into SQLite with the same pragmas
// and eight of them to a commit: what the disk gives at most. ratio is the
// second over the first.
func BenchmarkHTTPLogs8(b *testing.B) {
	const clients = 8
	f := servertest.Start(b, servertest.Options{})
	breeder := f.NewBreeder("b1")
	type phone struct {
		*servertest.Client
		animal string
	}
	phones := make([]phone, clients)
	for i := range phones {
		animal := breeder.NewAnimal()
		breeder.Weigh("b1", animal, 500)
		_, code := breeder.HandOver(animal)
		page := f.Page()
		page.Claim(code).OK()
		phones[i] = phone{page, animal}
	}
	var left atomic.Int64
	left.Store(int64(b.N))
	var mu sync.Mutex
	var times []time.Duration
	b.ResetTimer()
	start := time.Now()
	var running sync.WaitGroup
	for _, p := range phones {
		running.Go(func() {
			var mine []time.Duration
			for left.Add(-1) >= 0 {
				at := time.Now()
				p.Weigh("b1", p.animal, 500)
				mine = append(mine, time.Since(at))
			}
			mu.Lock()
			times = append(times, mine...)
			mu.Unlock()
		})
	}
	running.Wait()
	took := time.Since(start)
	b.StopTimer()

	// The bare half: the same number of rows, eight to a commit.
	db, err := sql.Open("sqlite3", "file:"+filepath.Join(b.TempDir(), "bare.db")+"?_journal_mode=WAL&_synchronous=FULL&_txlock=immediate")
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec(`CREATE TABLE log (breeder_id TEXT, animal_id TEXT, id TEXT, at INTEGER, body TEXT, PRIMARY KEY (breeder_id, animal_id, id)) STRICT`); err != nil {
		b.Fatal(err)
	}
	bareStart := time.Now()
	for done := 0; done < b.N; {
		tx, err := db.Begin()
		if err != nil {
			b.Fatal(err)
		}
		for range min(clients, b.N-done) {
			if _, err := tx.Exec(`INSERT INTO log VALUES (?1, ?2, ?3, ?4, ?5)`, "b1", "animal", fmt.Sprintf("entry-%08d", done), done, `{"mass_g":500}`); err != nil {
				b.Fatal(err)
			}
			done++
		}
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
	bare := time.Since(bareStart)
	b.ReportMetric(float64(b.N)/took.Seconds(), "logs/s")
	b.ReportMetric(float64(b.N)/bare.Seconds(), "bare-logs/s")
	b.ReportMetric(took.Seconds()/bare.Seconds(), "ratio")
	b.ReportMetric(float64(quantile(times, .99).Microseconds())/1000, "p99-ms")
}

// BenchmarkTriageList1000 is the first page of the triage list of a breeder
// with 1000 open cases.
func BenchmarkTriageList1000(b *testing.B) {
	f := servertest.Start(b, servertest.Options{})
	breeder := f.NewBreeder("b1")
	now := f.Clock.Now()
	for i := 0; i < 1000; i += 100 {
		f.Write(func(tx care.Tx) error {
			for j := i; j < i+100; j++ {
				id := fmt.Sprintf("case-%04d", j)
				if err := tx.InsertAnimal(care.Animal{BreederID: "b1", ID: id, Name: id, Species: "python_regius", Sex: care.Female, CreatedAt: now, UpdatedAt: now, Version: 1}); err != nil {
					return err
				}
				if err := tx.InsertHandover(care.Handover{BreederID: "b1", ID: id, AnimalID: id, State: care.HandoverIssued, HandedOverAt: now, CodeHash: id,
					ClaimExpiresAt: now.AddDate(0, 0, 90), CreatedAt: now, Version: 1}); err != nil {
					return err
				}
				c := care.Case{BreederID: "b1", ID: id, AnimalID: id, HandedOverAt: now, CreatedAt: now, Version: 1,
					Standing: care.Standing(j % 4), Urgency: float64(j*7919%1000) / 1000, Headline: strings.Repeat("A reason in plain words. ", 3),
					Assessment: []byte(`{}`), AssessedAt: now, DueAt: now.Add(time.Hour), ChangedAt: now}
				if err := tx.InsertCase(c); err != nil {
					return err
				}
			}
			return nil
		})
	}
	var times []time.Duration
	b.ResetTimer()
	for range b.N {
		at := time.Now()
		breeder.Call("GET", "/v1/breeders/b1/cases", nil).OK()
		times = append(times, time.Since(at))
	}
	b.StopTimer()
	b.ReportMetric(float64(quantile(times, .5).Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(quantile(times, .99).Microseconds())/1000, "p99-ms")
}

func quantile(times []time.Duration, q float64) time.Duration {
	slices.Sort(times)
	return times[int(math.Ceil(q*float64(len(times))))-1]
}
