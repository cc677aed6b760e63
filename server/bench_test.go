package server_test

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
	"warmhand/server/servertest"
)

// BenchmarkHTTPLogs8 is how many logs a second eight phones can save through
// the JSON API, one by one or as what a phone kept while it was offline, each
// answered only when it is on the disk and its case is assessed anew. The logs
// go round 128 cases, each with a log of two months.
// Beside it, in the same run, bare writes of the same rows (the entry, and
// the case's new assessment) into the same tables with the same pragmas, eight
// logs to a commit: what the disk and SQLite give at most. of-bare is the first
// over the second; of-bare-insert takes the entries' inserts alone; of-bare-http
// has a plain HTTP handler before the bare writes that reads and answers JSON,
// and nothing else: no sign-in, no check, no assessment. cpu-ms is the processor
// time of a log, with what its client takes.
func BenchmarkHTTPLogs8(b *testing.B) {
	b.Run("one by one", func(b *testing.B) { benchmarkLogs(b, 1) })
	b.Run("ten at once", func(b *testing.B) { benchmarkLogs(b, 10) })
}

func benchmarkLogs(b *testing.B, together int) {
	const clients, animals, before = 8, 16, 40
	f := servertest.Start(b, servertest.Options{})
	breeder := f.NewBreeder("b1")
	type phone struct {
		*servertest.Client
		animals []string
	}
	phones := make([]phone, clients)
	for i := range phones {
		phones[i].Client = f.Page()
		for range animals {
			animal := breeder.NewAnimal()
			breeder.Weigh("b1", animal, 500)
			id, code := breeder.HandOver(animal)
			f.Clock.Advance(time.Minute) // claims are counted
			phones[i].Claim(code).OK()
			phones[i].animals = append(phones[i].animals, animal)
			f.Write(func(tx care.Tx) error {
				for n := range before {
					at := f.Clock.Now().Add(time.Duration(n) * 36 * time.Hour)
					e := care.Entry{BreederID: "b1", AnimalID: animal, ID: f.ID("old"), CaseID: id, By: care.KeeperActor, HappenedAt: at, ReceivedAt: at,
						Body: care.Offer{Result: [...]care.OfferResult{care.Eaten, care.Refused, care.Eaten}[n%3], Prey: "rat", PreyState: care.Thawed, PreyMass: 40}}
					if n%2 == 1 {
						e.Body = care.WeighIn{Mass: care.Grams(500 + n)}
					}
					if err := tx.InsertEntry(e); err != nil {
						return err
					}
				}
				return nil
			})
		}
	}
	f.Clock.Advance(before * 36 * time.Hour)
	var left atomic.Int64
	left.Store(int64((b.N + together - 1) / together * together))
	var mu sync.Mutex
	var times []time.Duration
	b.ResetTimer()
	start, spent := time.Now(), processorTime(b)
	var running sync.WaitGroup
	for _, p := range phones {
		running.Go(func() {
			var mine []time.Duration
			for n := 0; left.Add(-int64(together)) >= 0; n++ {
				at, animal := time.Now(), p.animals[n%animals]
				if together == 1 {
					p.Weigh("b1", animal, 540)
				} else {
					parent := "breeders/b1/animals/" + animal
					requests := make([]map[string]any, together)
					for i := range requests {
						requests[i] = map[string]any{"parent": parent, "entryId": f.ID("entry"),
							"entry": map[string]any{"happenTime": f.Clock.Now(), "weighIn": map[string]any{"massG": 540}}}
					}
					p.Call("POST", "/v1/"+parent+"/entries:batchCreate", map[string]any{"requests": requests}).OK()
				}
				mine = append(mine, time.Since(at))
			}
			mu.Lock()
			times = append(times, mine...)
			mu.Unlock()
		})
	}
	running.Wait()
	took := time.Since(start)
	spent = processorTime(b) - spent
	b.StopTimer()
	database := filepath.Join(f.DataDir, "warmhand.db")
	insert, both := bareLogs(b, database, clients, f.Clock.Now())
	if together == 1 {
		overHTTP := bareHTTPLogs(b, database, clients, f.Clock.Now())
		b.ReportMetric(float64(b.N)/overHTTP.Seconds(), "bare-http/s")
		b.ReportMetric(overHTTP.Seconds()/took.Seconds(), "of-bare-http")
	}
	b.ReportMetric(float64(spent.Microseconds())/1000/float64(b.N), "cpu-ms/op")
	b.ReportMetric(float64(b.N)/took.Seconds(), "logs/s")
	b.ReportMetric(float64(b.N)/both.Seconds(), "bare/s")
	b.ReportMetric(both.Seconds()/took.Seconds(), "of-bare")
	b.ReportMetric(insert.Seconds()/took.Seconds(), "of-bare-insert")
	b.ReportMetric(float64(quantile(times, .5).Microseconds())/1000, "p50-ms")
	b.ReportMetric(float64(quantile(times, .99).Microseconds())/1000, "p99-ms")
}

// processorTime is what this process has used so far.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// loggedRows are the entries that were received at an instant, taken out of a
// copy of the database to be written once more, and the rows of their cases.
func loggedRows(b *testing.B, db bare, received time.Time) (logs [][]any, cases map[any][]any) {
	b.Helper()
	logs = db.read(`SELECT `+entryColumns+` FROM entries WHERE received_at = ?1 AND case_id <> '' ORDER BY random()`, received.UnixMilli())
	cases = map[any][]any{}
	for _, row := range db.read(`SELECT breeder_id, case_id, standing, urgency, headline, assessment, assessed_at, due_at, last_heard, changed_at FROM cases`) {
		cases[row[1]] = row
	}
	db.must(db.Exec(`DELETE FROM entries WHERE received_at = ?1 AND case_id <> ''`, received.UnixMilli()))
	return logs, cases
}

const updateAssessed = `UPDATE cases SET standing = ?3, urgency = ?4, headline = ?5, assessment = ?6, assessed_at = ?7, due_at = ?8, last_heard = ?9, changed_at = ?10, version = version + 1
	WHERE breeder_id = ?1 AND case_id = ?2`

// bareLogs writes them so many to a commit: first alone, then each with the row
// of its case.
func bareLogs(b *testing.B, database string, together int, received time.Time) (insert, both time.Duration) {
	b.Helper()
	for _, took := range []*time.Duration{&insert, &both} {
		db := bareCopy(b, database)
		logs, cases := loggedRows(b, db, received)
		begin, commit, entry, assessed := db.prepare(`BEGIN IMMEDIATE`), db.prepare(`COMMIT`), db.prepare(insertEntry), db.prepare(updateAssessed)
		start := time.Now()
		for batch := range slices.Chunk(logs, together) {
			db.must(begin.Exec())
			for _, row := range batch {
				db.must(entry.Exec(row...))
				if took == &both {
					db.must(assessed.Exec(cases[row[3]]...))
				}
			}
			db.must(commit.Exec())
		}
		*took = time.Since(start)
	}
	return insert, both
}

// bareHTTPLogs writes each with the row of its case behind a plain HTTP handler;
// those that wait together share a commit and are answered after it.
func bareHTTPLogs(b *testing.B, database string, clients int, received time.Time) time.Duration {
	b.Helper()
	db := bareCopy(b, database)
	logs, cases := loggedRows(b, db, received)
	begin, commit, entry, assessed := db.prepare(`BEGIN IMMEDIATE`), db.prepare(`COMMIT`), db.prepare(insertEntry), db.prepare(updateAssessed)
	type write struct {
		row    []any
		answer chan error
	}
	queue := make(chan write, clients)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for first := range queue {
			batch := []write{first}
			_, err := begin.Exec()
			for i := 0; i < len(batch) && err == nil; i++ {
				if _, err = entry.Exec(batch[i].row...); err == nil {
					_, err = assessed.Exec(cases[batch[i].row[3]]...)
				}
				select {
				case more, ok := <-queue:
					if ok {
						batch = append(batch, more)
					}
				default:
				}
			}
			if err == nil {
				_, err = commit.Exec()
			}
			for _, w := range batch {
				w.answer <- err
			}
		}
	}()
	var taken atomic.Int64
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var in map[string]any
		err := json.NewDecoder(r.Body).Decode(&in)
		if err == nil {
			job := write{logs[taken.Add(1)-1], make(chan error, 1)}
			queue <- job
			err = <-job.answer
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(map[string]any{"entry": in}) //nolint:errcheck // the client sees it
	}))
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: clients}}
	body, err := json.Marshal(map[string]any{"happenTime": received, "weighIn": map[string]any{"massG": 540}})
	if err != nil {
		b.Fatal(err)
	}
	var left atomic.Int64
	left.Store(int64(len(logs)))
	start := time.Now()
	var running sync.WaitGroup
	for range clients {
		running.Go(func() {
			for left.Add(-1) >= 0 {
				res, err := client.Post(server.URL, "application/json", bytes.NewReader(body))
				if err != nil {
					b.Error(err)
					return
				}
				if _, err := io.Copy(io.Discard, res.Body); err != nil || res.StatusCode != http.StatusOK {
					b.Error(res.Status, err)
				}
				res.Body.Close()
			}
		})
	}
	running.Wait()
	took := time.Since(start)
	server.Close()
	client.CloseIdleConnections()
	close(queue)
	<-ended
	return took
}

// bare is a copy of a store's database, opened as the store opens it.
type bare struct {
	*sql.DB
	b *testing.B
}

const (
	entryColumns = `breeder_id, animal_id, entry_id, case_id, by_kind, by_id, happened_at, received_at, replaces, replaced_by, confirmed, note, kind, body, offer_result`
	insertEntry  = `INSERT INTO entries (` + entryColumns + `) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)`
)

func bareCopy(b *testing.B, database string) bare {
	b.Helper()
	const pragmas = "?_journal_mode=WAL&_synchronous=FULL&_txlock=immediate&_foreign_keys=1&_cache_size=-8000"
	copied := filepath.Join(b.TempDir(), "bare.db")
	live, err := sql.Open("sqlite3", "file:"+database+"?mode=ro")
	if err != nil {
		b.Fatal(err)
	}
	defer live.Close()
	if _, err := live.Exec(`VACUUM INTO ?1`, copied); err != nil {
		b.Fatal(err)
	}
	db, err := sql.Open("sqlite3", "file:"+copied+pragmas)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	db.SetMaxOpenConns(1)
	return bare{db, b}
}

func (d bare) must(_ sql.Result, err error) {
	d.b.Helper()
	if err != nil {
		d.b.Fatal(err)
	}
}

func (d bare) prepare(text string) *sql.Stmt {
	d.b.Helper()
	s, err := d.Prepare(text)
	if err != nil {
		d.b.Fatal(err)
	}
	d.b.Cleanup(func() { s.Close() })
	return s
}

func (d bare) read(query string, args ...any) (all [][]any) {
	d.b.Helper()
	rows, err := d.Query(query, args...)
	if err != nil {
		d.b.Fatal(err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		d.b.Fatal(err)
	}
	for rows.Next() {
		row, to := make([]any, len(names)), make([]any, len(names))
		for i := range row {
			to[i] = &row[i]
		}
		if err := rows.Scan(to...); err != nil {
			d.b.Fatal(err)
		}
		all = append(all, row)
	}
	return all
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
					Standing: care.Standing(j % 4), Urgency: float64(j*7919%1000) / 1000, Headline: words.AsIs(strings.Repeat("A reason in plain words. ", 3)),
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
