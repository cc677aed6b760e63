package server_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"runtime"
	"sync"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/server"
	"warmhand/server/servertest"
)

// used is what the program holds.
type used struct {
	heap              uint64 // bytes that live
	goroutines, files int
}

func (u used) String() string {
	return fmt.Sprintf("%.1f MB, %d goroutines, %d open files", float64(u.heap)/1e6, u.goroutines, u.files)
}

func usedNow(t *testing.T) used {
	t.Helper()
	runtime.GC()
	runtime.GC() // what finalizers held
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	files, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	return used{m.HeapAlloc, runtime.NumGoroutine(), len(files)}
}

// Under the same load for a long time nothing grows: animals are sold, phones log, sign-ins
// come, and screens follow and leave. In half of half an hour the memory of cases
// is full (1024 of them, ten weights each); from then on what is held at rest stays within
// a tenth. A shorter run shows numbers and fails for memory where it had no time to fill.
func TestSoak(t *testing.T) {
	long, err := time.ParseDuration(os.Getenv("WARMHAND_SOAK"))
	if err != nil {
		t.Skip("make soak runs it for half an hour")
	}
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) { soak(t, engine == "postgres", long/2) })
	}
}

func soak(t *testing.T, postgres bool, long time.Duration) {
	f := servertest.Start(t, servertest.Options{Postgres: postgres, Configure: func(c *server.Config) { c.PassEvery = time.Second }})
	page := f.NewBreeder("b1")
	const phones, rounds = 4, 10
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: phones}}
	h := &history{sent: map[string]float64{}, acked: map[string]bool{}}
	var samples []used
	n := 0
	for round := range rounds {
		end := time.Now().Add(long / rounds)
		var running sync.WaitGroup
		for i := range phones {
			owner := care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"}
			p := &phone{h: h, r: rand.New(rand.NewPCG(uint64(round), uint64(i))), http: client, secret: f.Session(owner), name: fmt.Sprintf("phone%d-%d", round, i), servers: func() []string { return []string{f.URL} }}
			running.Go(func() {
				for n := 0; time.Now().Before(end); n++ {
					if n%10 == 0 { // no log grows for ever
						p.animal = page.NewAnimal()
						page.HandOver(p.animal)
					}
					p.log(t.Context(), n, end.Add(20*time.Second))
					if n%20 == 0 { // a screen follows for a moment
						follow, leave := context.WithTimeout(t.Context(), 50*time.Millisecond)
						p.do(follow, "GET", f.URL, "/v1/breeders/b1/live", nil) //nolint:errcheck // it is left
						leave()
					}
				}
			})
		}
		running.Wait()
		n += len(h.acked)
		clear(h.sent) // the test's own
		clear(h.acked)
		client.CloseIdleConnections()
		// At rest is when the connections that were closed are gone.
		now := usedNow(t)
		for settled, deadline := now, time.Now().Add(5*time.Second); time.Now().Before(deadline); settled = now {
			<-time.After(200 * time.Millisecond)
			if now = usedNow(t); now.goroutines == settled.goroutines && now.files == settled.files {
				break
			}
		}
		samples = append(samples, now)
		t.Logf("after %v: %v, %d weights", (long / rounds * time.Duration(round+1)).Round(time.Second), now, n)
	}
	for _, p := range h.problems {
		t.Error(p)
	}
	early, last := samples[rounds/2-1], samples[rounds-1]
	if last.heap > early.heap+early.heap/10+8<<20 {
		t.Errorf("memory grew from %v to %v", early, last)
	}
	if last.goroutines > early.goroutines+10 || last.files > early.files+10 {
		t.Errorf("from %v to %v: something is not closed", early, last)
	}
}
