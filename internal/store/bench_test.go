package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// benchEntry is the nth entry of a stream, a typical offer.
func benchEntry(n int64) care.Entry {
	at := time.UnixMilli(1_772_368_215_123 + n).UTC()
	return care.Entry{
		BreederID: "b1", AnimalID: "a1", ID: fmt.Sprintf("019f2b3c-0000-7000-8000-%012d", n), CaseID: "h1", By: care.KeeperActor, ByID: "k1",
		HappenedAt: at, ReceivedAt: at, Note: "took it slowly from the tongs", Body: care.Offer{Result: care.Eaten, Prey: "mouse", PreyState: care.Thawed, PreyMass: 12.5},
	}
}

func stockBench(b *testing.B, s *Store) {
	b.Helper()
	err := s.Write(context.Background(), func(tx care.Tx) error {
		if err := tx.InsertBreeder(care.Breeder{ID: "b1"}); err != nil {
			return err
		}
		return tx.InsertAnimal(care.Animal{BreederID: "b1", ID: "a1"})
	})
	if err != nil {
		b.Fatal(err)
	}
}

// from8 calls write from eight goroutines, b.N times in all.
func from8(b *testing.B, write func(n int64) error) {
	b.Helper()
	var next atomic.Int64
	b.ResetTimer()
	done := make(chan error, 8)
	for range cap(done) {
		go func() {
			for {
				n := next.Add(1)
				if n > int64(b.N) {
					done <- nil
					return
				}
				if err := write(n); err != nil {
					done <- err
					return
				}
			}
		}()
	}
	for range cap(done) {
		if err := <-done; err != nil {
			b.Error(err)
		}
	}
	b.StopTimer()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "writes/s")
}

// BenchmarkWrite8 is durable inserts of an entry through the store, to be read
// beside BenchmarkBareGroupCommit8.
func BenchmarkWrite8(b *testing.B) {
	s := open(b, Config{Dir: b.TempDir()})
	stockBench(b, s)
	from8(b, func(n int64) error {
		return s.Write(context.Background(), func(tx care.Tx) error { return tx.InsertEntry(benchEntry(n)) })
	})
}

// BenchmarkBareGroupCommit8 writes the same rows into the same table with the
// same pragmas, by the shortest way there is: one goroutine, one prepared
// statement, one commit for all that wait.
func BenchmarkBareGroupCommit8(b *testing.B) {
	s := open(b, Config{Dir: b.TempDir()})
	stockBench(b, s)
	db, err := sql.Open("sqlite3", s.engine.(*sqliteEngine).address(writePragmas))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	conn, err := db.Conn(context.Background())
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close()
	prepare := func(text string) *sql.Stmt {
		stmt, err := conn.PrepareContext(context.Background(), text)
		if err != nil {
			b.Fatal(err)
		}
		return stmt
	}
	begin, insert, commit := prepare(`BEGIN IMMEDIATE`), prepare(insertEntry.sqlite), prepare(`COMMIT`)
	defer begin.Close()
	defer insert.Close()
	defer commit.Close()

	type job struct {
		row  []any
		done chan error
	}
	queue := make(chan job, 64)
	defer close(queue)
	go func() {
		for first := range queue {
			_, err := begin.Exec()
			batch := []job{first}
			for i := 0; i < len(batch) && err == nil; i++ {
				_, err = insert.Exec(batch[i].row...)
				select {
				case j := <-queue:
					batch = append(batch, j)
				default:
				}
			}
			if err == nil {
				_, err = commit.Exec()
			}
			for _, j := range batch {
				j.done <- err
			}
		}
	}()
	from8(b, func(n int64) error {
		e := benchEntry(n)
		row := append(entryRow(&e), "eaten")
		if err := bind(row); err != nil {
			return err
		}
		j := job{row, make(chan error, 1)}
		queue <- j
		return <-j.done
	})
}

// BenchmarkTriageList reads a list of 1,000 open cases, whole and its first
// page.
func BenchmarkTriageList(b *testing.B) {
	s := open(b, Config{Dir: b.TempDir()})
	stockBench(b, s)
	assessment := make([]byte, 2000)
	for i := range assessment {
		assessment[i] = 'x'
	}
	err := s.Write(context.Background(), func(tx care.Tx) error {
		for i := range 2000 { // half of them closed
			id := fmt.Sprintf("019f2b3c-0000-7000-8000-%012d", i)
			at := time.UnixMilli(1_772_368_215_123).UTC()
			c := care.Case{BreederID: "b1", ID: id, AnimalID: "a1", KeeperID: "k1", KeeperName: "Robin", HandedOverAt: at, CreatedAt: at, Standing: care.Watch,
				Urgency: float64(i*7919%1000) / 100, Headline: words.Say("Has not eaten for 31 days."), Assessment: assessment, AssessedAt: at, DueAt: at, LastHeard: &at, ChangedAt: at}
			if i%2 == 1 {
				c.ClosedAt = &at
			}
			if err := tx.InsertHandover(care.Handover{BreederID: "b1", ID: id, AnimalID: "a1"}); err != nil {
				return err
			}
			if err := tx.InsertCase(c); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	for name, limit := range map[string]int{"whole": 1000, "page of 50": 50} {
		b.Run(name, func(b *testing.B) {
			var took []time.Duration
			for b.Loop() {
				start := time.Now()
				err := s.Read(context.Background(), func(tx care.Tx) error {
					cases, _, err := tx.ListCases("b1", care.CaseQuery{Open: true}, care.Cursor{}, limit)
					if err == nil && len(cases) != limit {
						err = fmt.Errorf("%d cases", len(cases))
					}
					return err
				})
				if err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(start))
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
		})
	}
}
