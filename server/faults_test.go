package server_test

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/server"
	"warmhand/server/servertest"
)

// faultTime is how long the servers go through faults; make faults takes longer, and
// then kills PostgreSQL's processes, too.
const faultTime = 2 * time.Second

// wire is the way between a server and its database.
type wire struct {
	listener net.Listener
	to       string
	mu       sync.Mutex
	open     map[net.Conn]bool
	cut      bool
	held     sync.WaitGroup // of those that carry
	through  sync.RWMutex   // held to hold everything up
}

func newWire(t *testing.T, to string) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{listener: l, to: to, open: map[net.Conn]bool{}}
	w.held.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			w.held.Go(func() { w.carry(c) })
		}
	})
	t.Cleanup(func() {
		l.Close()
		w.set(true)
		w.held.Wait()
	})
	return w
}

// carry carries one connection until either side ends it, or it is cut.
func (w *wire) carry(c net.Conn) {
	defer c.Close()
	far, err := net.Dial("tcp", w.to)
	if err != nil {
		return
	}
	defer far.Close()
	w.mu.Lock()
	if w.cut {
		w.mu.Unlock()
		return
	}
	w.open[c], w.open[far] = true, true
	w.mu.Unlock()
	var both sync.WaitGroup
	for from, to := range map[net.Conn]net.Conn{c: far, far: c} {
		both.Go(func() {
			defer c.Close()
			defer far.Close()
			piece := make([]byte, 4096)
			for {
				n, err := from.Read(piece)
				w.through.RLock()
				w.through.RUnlock() //nolint:staticcheck // it waits while everything is held up
				if err != nil {
					return
				}
				if _, err := to.Write(piece[:n]); err != nil {
					return
				}
			}
		})
	}
	both.Wait()
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.open, c)
	delete(w.open, far)
}

// set cuts all that is carried and takes nothing new, or takes it again.
func (w *wire) set(cut bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.cut = cut; cut {
		for c := range w.open {
			c.Close()
		}
	}
}

// over is the database's address by this way.
func (w *wire) over(t *testing.T, address string) string {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	u.Host = w.listener.Addr().String()
	return u.String()
}

// history is what the clients saw.
type history struct {
	mu       sync.Mutex
	sent     map[string]float64 // grams by entry, whatever came back
	acked    map[string]bool
	problems []string
	again    int // requests that had to be sent again
}

func (h *history) problem(format string, args ...any) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.problems = append(h.problems, fmt.Sprintf(format, args...))
}

// phone logs weights as an outbox does: each under its id until it is answered, at
// whatever server, sometimes twice at once, sometimes without waiting for the answer.
type phone struct {
	h       *history
	r       *rand.Rand
	http    *http.Client
	secret  string
	animal  string
	name    string
	servers func() []string
}

func (p *phone) do(ctx context.Context, method, base, path string, body any) (code int, answer []byte, err error) {
	var in io.Reader
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			return 0, nil, err
		}
		in = bytes.NewReader(text)
	}
	req, err := http.NewRequestWithContext(ctx, method, base+path, in)
	if err != nil {
		return 0, nil, err
	}
	req.Header.Set("Authorization", "Bearer "+p.secret)
	req.Header.Set("Content-Type", "application/json")
	res, err := p.http.Do(req)
	if err != nil {
		return 0, nil, err
	}
	defer res.Body.Close()
	answer, err = io.ReadAll(res.Body)
	return res.StatusCode, answer, err
}

func (p *phone) any() string {
	all := p.servers()
	return all[p.r.IntN(len(all))]
}

// send sends one weight once and reports whether it was taken.
func (p *phone) send(ctx context.Context, base, id string, grams float64) bool {
	code, answer, err := p.do(ctx, "POST", base, "/v1/breeders/b1/animals/"+p.animal+"/entries?entryId="+id,
		map[string]any{"happenTime": servertest.Epoch, "confirmed": true, "weighIn": map[string]any{"massG": grams}})
	switch {
	case err != nil, code == http.StatusServiceUnavailable, code == http.StatusGatewayTimeout:
		p.h.mu.Lock()
		p.h.again++
		p.h.mu.Unlock()
		return false
	case code != http.StatusOK:
		p.h.problem("%s was answered with %d %s", id, code, answer)
		return false
	}
	if !bytes.Contains(answer, []byte(id)) || !bytes.Contains(answer, []byte(fmt.Sprint(grams))) {
		p.h.problem("%s of %v g was answered with %s", id, grams, answer)
	}
	return true
}

func (p *phone) log(ctx context.Context, n int, until time.Time) {
	id, grams := fmt.Sprintf("%s-0000-%08d", p.name, n), float64(300+n%200)+p.r.Float64()
	grams = float64(int(grams*10)) / 10
	p.h.mu.Lock()
	p.h.sent[id] = grams
	p.h.mu.Unlock()
	for taken := false; !taken; {
		if time.Now().After(until) {
			return // never answered: it may be there or not
		}
		attempt, cancel := context.WithTimeout(ctx, 2*time.Second)
		switch p.r.IntN(8) {
		case 0: // twice at once
			var second sync.WaitGroup
			other := p.any()
			var twice bool
			second.Go(func() { twice = p.send(attempt, other, id, grams) })
			taken = p.send(attempt, p.any(), id, grams)
			second.Wait()
			taken = taken || twice
		case 1: // it goes on before the answer comes
			hasty, hurry := context.WithTimeout(attempt, time.Duration(p.r.IntN(20))*time.Millisecond)
			taken = p.send(hasty, p.any(), id, grams)
			hurry()
		default:
			taken = p.send(attempt, p.any(), id, grams)
		}
		cancel()
	}
	p.h.mu.Lock()
	p.h.acked[id] = true
	p.h.mu.Unlock()
	if p.r.IntN(4) == 0 { // a repeat that was long on its way
		late, cancel := context.WithTimeout(ctx, 2*time.Second)
		p.send(late, p.any(), id, grams)
		cancel()
	}
	if p.r.IntN(4) == 0 { // whichever server: what was taken is there
		look, cancel := context.WithTimeout(ctx, 2*time.Second)
		defer cancel()
		code, answer, err := p.do(look, "GET", p.any(), "/v1/breeders/b1/animals/"+p.animal+"/entries?pageSize=200", nil)
		if err == nil && code == http.StatusOK && !bytes.Contains(answer, []byte(id)) {
			p.h.problem("%s was taken, and a server does not have it", id)
		}
	}
}

// Through cuts, delays and kills no weight that was taken is lost, none is there
// twice, and none that nobody sent.
func TestFaults(t *testing.T) {
	t.Parallel()
	long := faultTime
	more, err := time.ParseDuration(os.Getenv("WARMHAND_FAULTS"))
	if err == nil {
		long = more
	}
	var first *wire
	one := servertest.Start(t, servertest.Options{Postgres: true, Configure: func(c *server.Config) {
		u, err := url.Parse(c.DatabaseURL)
		if err != nil {
			t.Fatal(err)
		}
		first = newWire(t, u.Host)
		c.DatabaseURL = first.over(t, c.DatabaseURL)
		server.Beat(c, shortBeat)
	}})
	second := newWire(t, first.to)
	page := one.NewBreeder("b1")
	secret := one.Session(care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"})
	const phones, animals = 6, 4 // some write to the same case
	var tubs [animals]string
	var cases [animals]string
	for i := range tubs {
		tubs[i] = page.NewAnimal()
		cases[i], _ = page.HandOver(tubs[i])
	}
	config := server.Child{Database: second.over(t, one.DatabaseURL), Dir: one.DataDir, Now: one.Clock.Now(), Beat: shortBeat}
	two := inProcess(t, config)
	var mu sync.Mutex
	address := two.address(t)

	h := &history{sent: map[string]float64{}, acked: map[string]bool{}}
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: phones}}
	defer client.CloseIdleConnections()
	end := time.Now().Add(long)
	var through atomic.Bool
	var running sync.WaitGroup
	for i := range phones {
		p := &phone{h: h, r: rand.New(rand.NewPCG(seed, uint64(i))), http: client, secret: secret, animal: tubs[i%animals], name: fmt.Sprint("phone", i), servers: func() []string {
			mu.Lock()
			defer mu.Unlock()
			return []string{one.URL, address}
		}}
		running.Go(func() {
			for n := 0; !through.Load(); n++ {
				p.log(t.Context(), n, time.Now().Add(30*time.Second)) // what is under way is brought to its end
			}
		})
	}
	// The faults, one after the other.
	r := rand.New(rand.NewPCG(seed, 99))
	pause := func(most time.Duration) {
		select {
		case <-time.After(rand.N(most) + most/4):
		case <-t.Context().Done():
		}
	}
	count := map[string]int{}
	for kind := 0; kind < 3 || time.Now().Before(end); kind++ {
		pause(300 * time.Millisecond)
		w := []*wire{first, second}[r.IntN(2)]
		switch kind % 4 {
		case 0:
			count["cut"]++
			w.set(true)
			pause(200 * time.Millisecond)
			w.set(false)
		case 1:
			count["kill of a server"]++
			two.kill()
			two = inProcess(t, config)
			fresh := two.address(t)
			mu.Lock()
			address = fresh
			mu.Unlock()
		case 2:
			count["delay"]++
			w.through.Lock()
			pause(300 * time.Millisecond)
			w.through.Unlock()
		case 3:
			if more == 0 {
				continue // others use the same PostgreSQL
			}
			count["kill of PostgreSQL"]++
			killPostgres(t, one.DatabaseURL)
		}
	}
	through.Store(true)
	running.Wait()

	for _, p := range h.problems {
		t.Error(p)
	}
	there := map[string]int{}
	for _, animal := range tubs {
		for token := ""; ; {
			var page struct {
				Entries []struct {
					Name    string
					WeighIn struct{ MassG float64 }
				}
				NextPageToken string
			}
			one.Program(secret).Call("GET", "/v1/breeders/b1/animals/"+animal+"/entries?pageSize=200&pageToken="+url.QueryEscape(token), nil).OK().Into(&page)
			for _, e := range page.Entries {
				id := e.Name[strings.LastIndexByte(e.Name, '/')+1:]
				if grams, ok := h.sent[id]; !ok || grams != e.WeighIn.MassG {
					t.Errorf("%s of %v g is there, and %v g were sent (%v)", id, e.WeighIn.MassG, grams, ok)
				}
				there[id]++
			}
			if token = page.NextPageToken; token == "" {
				break
			}
		}
	}
	for id := range h.acked {
		if there[id] != 1 {
			t.Errorf("%s was taken and is there %d times", id, there[id])
		}
	}
	for id, n := range there {
		if n != 1 {
			t.Errorf("%s is there %d times", id, n)
		}
	}
	// What each server remembers of a case is what is stored.
	asker := &phone{http: client, secret: secret}
	for _, id := range cases {
		var said [2][]byte
		for i, base := range []string{one.URL, address} {
			code, answer, err := asker.do(t.Context(), "GET", base, "/v1/breeders/b1/cases/"+id, nil)
			if err != nil || code != http.StatusOK {
				t.Fatalf("%d %s, %v", code, answer, err)
			}
			said[i] = answer
		}
		if !bytes.Equal(said[0], said[1]) {
			t.Errorf("two servers say\n%s\nand\n%s", said[0], said[1])
		}
	}
	t.Logf("%v: %d weights, %d taken, %d requests sent again", count, len(h.sent), len(h.acked), h.again)
	if len(h.acked) < phones || h.again == 0 {
		t.Errorf("too little went wrong or right: %v, %d taken, %d sent again", count, len(h.acked), h.again)
	}
}

// killPostgres kills a process of the database with SIGKILL: all of them end, and it
// recovers from its log as after a crash.
func killPostgres(t *testing.T, address string) {
	t.Helper()
	db, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var pid int
	if err := db.QueryRow(`SELECT pg_backend_pid()`).Scan(&pid); err != nil {
		return // it is not back yet
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
		t.Fatalf("PostgreSQL cannot be killed: %v", err)
	}
	for deadline := time.Now().Add(time.Minute); db.Ping() != nil; <-time.After(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("PostgreSQL does not come back")
		}
	}
}
