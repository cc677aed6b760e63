package server_test

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/photo/phototest"
	"warmhand/server"
	"warmhand/server/servertest"
)

// faultTime is how long the servers go through faults; make faults takes longer, and
// then kills PostgreSQL's processes, too.
const faultTime = 2 * time.Second

// wire is the way between a server and its database, or its bucket.
type wire struct {
	listener net.Listener
	mu       sync.Mutex
	to       string
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
	w.mu.Lock()
	to := w.to
	w.mu.Unlock()
	far, err := net.Dial("tcp", to)
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

// lead has new connections go elsewhere.
func (w *wire) lead(to string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.to = to
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
	pictures map[string]color.Gray // those that were taken, by name
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

	caseID   string
	pictures bool // it sends some, too
}

func (p *phone) do(ctx context.Context, method, base, path string, body any, header ...string) (code int, answer []byte, err error) {
	var in io.Reader
	kind := "application/json"
	if jpg, ok := body.([]byte); ok {
		in, kind = bytes.NewReader(jpg), "image/jpeg"
	} else if body != nil {
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
	for i := 0; i < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	req.Header.Set("Authorization", "Bearer "+p.secret)
	req.Header.Set("Content-Type", kind)
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
	case p.laterAgain(code, answer, err):
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

// laterAgain reports that what was asked is to be asked again. Who is told so is told
// in words.
func (p *phone) laterAgain(code int, answer []byte, err error) bool {
	switch {
	case err != nil, code == http.StatusGatewayTimeout:
	case code == http.StatusServiceUnavailable:
		if !bytes.Contains(answer, []byte("gain")) || !bytes.Contains(answer, []byte("NOT_SAVED")) {
			p.h.problem("what to do is not said in %s", answer)
		}
	default:
		return false
	}
	p.h.mu.Lock()
	defer p.h.mu.Unlock()
	p.h.again++
	return true
}

// picture sends a picture of one shade until it is taken, in two pieces now and then,
// and goes on where the server says.
func (p *phone) picture(ctx context.Context, n int, until time.Time) {
	shade := color.Gray{uint8(p.r.IntN(256))}
	m := image.NewGray(image.Rect(0, 0, 16, 16+p.r.IntN(16)))
	draw.Draw(m, m.Bounds(), image.NewUniform(shade), image.Point{}, draw.Src)
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, m, nil); err != nil {
		p.h.problem("%v", err)
		return
	}
	name := fmt.Sprintf("/v1/breeders/b1/cases/%s/photos/%s-%d", p.caseID, p.name, n)
	half := 0
	if p.r.IntN(3) == 0 {
		half = jpg.Len() / 2
	}
	for time.Now().Before(until) {
		attempt, cancel := context.WithTimeout(ctx, 3*time.Second)
		var code int
		var answer []byte
		var err error
		if half > 0 {
			if code, answer, err = p.do(attempt, "PUT", p.any(), name, jpg.Bytes()[:half], "Upload-Complete", "?0"); err == nil && code == http.StatusNoContent {
				code, answer, err = p.do(attempt, "PATCH", p.any(), name, jpg.Bytes()[half:], "Upload-Complete", "?1", "Upload-Offset", fmt.Sprint(half))
			}
		} else {
			code, answer, err = p.do(attempt, "PUT", p.any(), name, jpg.Bytes())
		}
		cancel()
		switch {
		case p.laterAgain(code, answer, err), code == http.StatusConflict && bytes.Contains(answer, []byte("UPLOAD_OFFSET")):
			continue // from the beginning
		case code != http.StatusOK:
			p.h.problem("%s was answered with %d %s", name, code, answer)
		default:
			p.h.mu.Lock()
			p.h.pictures[name] = shade
			p.h.mu.Unlock()
		}
		return
	}
}

func (p *phone) log(ctx context.Context, n int, until time.Time) {
	id, grams := fmt.Sprintf("%s-0000-%08d", p.name, n), float64(300+n%200)+p.r.Float64()
	grams = float64(int(grams*10)) / 10
	p.h.mu.Lock()
	p.h.sent[id] = grams
	p.h.mu.Unlock()
	if p.pictures && n%4 == 0 {
		p.picture(ctx, n, until)
	}
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
		code, answer, err := p.do(look, "GET", p.any(), "/v1/breeders/b1/animals/"+p.animal+"/entries/"+id, nil)
		if err == nil && code == http.StatusNotFound || err == nil && code == http.StatusOK && !bytes.Contains(answer, []byte(fmt.Sprint(grams))) {
			p.h.problem("%s was taken, and a server answers %d %s", id, code, answer)
		}
	}
}

// trial is some phones that log and servers that go through faults.
type trial struct {
	t       *testing.T
	long    time.Duration
	minutes bool // by make faults
	h       *history
	r       *rand.Rand
	http    *http.Client
	secret  string
	servers func() []string
	tubs    []string
	cases   []string // of the tubs
	phones  []*phone
}

// newTrial makes ready phones of a breeder's; some write to the same case. pictures
// says that they send pictures, too.
func newTrial(f *servertest.Fixture, t *testing.T, servers func() []string, pictures bool) *trial {
	page := f.NewBreeder("b1")
	const phones, animals = 6, 4
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	tr := &trial{t: t, long: faultTime, servers: servers, r: rand.New(rand.NewPCG(seed, 99)),
		h:      &history{sent: map[string]float64{}, acked: map[string]bool{}, pictures: map[string]color.Gray{}},
		http:   &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: phones}},
		secret: f.Session(care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"})}
	t.Cleanup(tr.http.CloseIdleConnections)
	if more, err := time.ParseDuration(os.Getenv("WARMHAND_FAULTS")); err == nil {
		tr.long, tr.minutes = more, true
	}
	for range animals {
		animal := page.NewAnimal()
		caseID, _ := page.HandOver(animal)
		tr.tubs, tr.cases = append(tr.tubs, animal), append(tr.cases, caseID)
	}
	for i := range phones {
		tr.phones = append(tr.phones, &phone{h: tr.h, r: rand.New(rand.NewPCG(seed, uint64(i))), http: tr.http, secret: tr.secret,
			animal: tr.tubs[i%animals], caseID: tr.cases[i%animals], name: fmt.Sprint("phone", i), servers: servers, pictures: pictures})
	}
	return tr
}

// fault is something that goes wrong for a moment.
type fault struct {
	what  string
	cause func()
}

// pause waits for up to that long, and for a quarter of it at least.
func (tr *trial) pause(most time.Duration) {
	select {
	case <-time.After(rand.N(most) + most/4):
	case <-tr.t.Context().Done():
	}
}

// through has the phones log while one fault follows on the other, each once at least,
// and holds what they saw against what is there.
func (tr *trial) through(faults []fault) {
	t := tr.t
	t.Helper()
	end := time.Now().Add(tr.long)
	var over atomic.Bool
	var running sync.WaitGroup
	for _, p := range tr.phones {
		running.Go(func() {
			for n := 0; !over.Load(); n++ {
				p.log(t.Context(), n, time.Now().Add(30*time.Second)) // what is under way is brought to its end
			}
		})
	}
	count := map[string]int{}
	for kind := 0; kind < len(faults) || time.Now().Before(end); kind++ {
		tr.pause(300 * time.Millisecond)
		f := faults[kind%len(faults)]
		count[f.what]++
		f.cause()
	}
	over.Store(true)
	running.Wait()
	for _, p := range tr.h.problems {
		t.Error(p)
	}
	tr.weights()
	tr.pictures()
	h := tr.h
	t.Logf("%v: %d weights, %d taken, %d pictures, %d requests sent again", count, len(h.sent), len(h.acked), len(h.pictures), h.again)
	if len(h.acked) < len(tr.phones) || h.again == 0 || tr.phones[0].pictures && len(h.pictures) < len(tr.phones) {
		t.Errorf("too little went wrong or right: %v, %d weights and %d pictures taken, %d sent again", count, len(h.acked), len(h.pictures), h.again)
	}
}

// weights sees to it that all that was taken is there once, and nothing that nobody sent.
func (tr *trial) weights() {
	t := tr.t
	t.Helper()
	there := map[string]int{}
	asker := &phone{http: tr.http, secret: tr.secret}
	for _, animal := range tr.tubs {
		for token := ""; ; {
			var page struct {
				Entries []struct {
					Name    string
					WeighIn struct{ MassG float64 }
				}
				NextPageToken string
			}
			code, answer, err := asker.do(t.Context(), "GET", tr.servers()[0], "/v1/breeders/b1/animals/"+animal+"/entries?pageSize=200&pageToken="+url.QueryEscape(token), nil)
			if err == nil && code == http.StatusOK {
				err = json.Unmarshal(answer, &page)
			}
			if err != nil || code != http.StatusOK {
				t.Fatalf("%d %s, %v", code, answer, err)
			}
			for _, e := range page.Entries {
				id := e.Name[strings.LastIndexByte(e.Name, '/')+1:]
				if grams, ok := tr.h.sent[id]; !ok || grams != e.WeighIn.MassG {
					t.Errorf("%s of %v g is there, and %v g were sent (%v)", id, e.WeighIn.MassG, grams, ok)
				}
				there[id]++
			}
			if token = page.NextPageToken; token == "" {
				break
			}
		}
	}
	for id := range tr.h.acked {
		if there[id] != 1 {
			t.Errorf("%s was taken and is there %d times", id, there[id])
		}
	}
	for id, n := range there {
		if n != 1 {
			t.Errorf("%s is there %d times", id, n)
		}
	}
}

// pictures sees to it that each that was taken is there, and shows what was sent.
func (tr *trial) pictures() {
	tr.t.Helper()
	asker := &phone{http: tr.http, secret: tr.secret}
	for name, shade := range tr.h.pictures {
		code, answer, err := asker.do(tr.t.Context(), "GET", tr.servers()[0], name+"/320", nil)
		if err != nil || code != http.StatusOK {
			tr.t.Errorf("%s was taken, and now: %d %s, %v", name, code, answer, err)
			continue
		}
		m, err := jpeg.Decode(bytes.NewReader(answer))
		if err != nil {
			tr.t.Errorf("%s: %v", name, err)
			continue
		}
		if got := color.GrayModel.Convert(m.At(3, 3)).(color.Gray); max(got.Y, shade.Y)-min(got.Y, shade.Y) > 2 {
			tr.t.Errorf("%s is of shade %d, and %d was sent", name, got.Y, shade.Y)
		}
	}
}

// Through cuts, delays and kills no weight that was taken is lost, none is there
// twice, and none that nobody sent.
func TestFaults(t *testing.T) {
	t.Parallel()
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
	config := server.Child{Database: second.over(t, one.DatabaseURL), Dir: one.DataDir, Now: one.Clock.Now(), Beat: shortBeat}
	two := inProcess(t, config)
	var mu sync.Mutex
	address := two.address(t)
	tr := newTrial(one, t, func() []string {
		mu.Lock()
		defer mu.Unlock()
		return []string{one.URL, address}
	}, false)
	either := func() *wire { return []*wire{first, second}[tr.r.IntN(2)] }
	faults := []fault{
		{"cut", func() {
			w := either()
			w.set(true)
			tr.pause(200 * time.Millisecond)
			w.set(false)
		}},
		{"kill of a server", func() {
			two.kill()
			two = inProcess(t, config)
			fresh := two.address(t)
			mu.Lock()
			address = fresh
			mu.Unlock()
		}},
		{"delay", func() {
			w := either()
			w.through.Lock()
			tr.pause(300 * time.Millisecond)
			w.through.Unlock()
		}},
	}
	if tr.minutes { // else others use the same PostgreSQL
		faults = append(faults, fault{"kill of PostgreSQL", func() { killPostgres(t, one.DatabaseURL) }})
	}
	tr.through(faults)
	// What each server remembers of a case is what is stored.
	asker := &phone{http: tr.http, secret: tr.secret}
	for _, id := range tr.cases {
		var said [2][]byte
		for i, base := range tr.servers() {
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
}

// smallDisk is a folder that is a disk of its own.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	disk := t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size="+size); err != nil {
		t.Skipf("a small disk cannot be mounted here: %v", err)
	}
	t.Cleanup(func() { // after what works on it has stopped
		if err := syscall.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	})
	return disk
}

// full fills the disk up for a moment.
func (tr *trial) full(disk string, most time.Duration) {
	tr.t.Helper()
	ballast := filepath.Join(disk, "ballast")
	file, err := os.Create(ballast)
	if err != nil {
		tr.t.Fatal(err)
	}
	defer file.Close()
	for err == nil {
		_, err = file.Write(make([]byte, 4096))
	}
	if !errors.Is(err, syscall.ENOSPC) {
		tr.t.Errorf("the disk is not full: %v", err)
	}
	tr.pause(most)
	if err := os.Remove(ballast); err != nil {
		tr.t.Fatal(err)
	}
}

// The same on one machine: its disk fills up, with the database and the pictures on it,
// and its clock jumps ahead and back.
func TestFaultsOfTheMachine(t *testing.T) {
	t.Parallel()
	disk := smallDisk(t, "64m")
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.DataDir = filepath.Join(disk, "data")
		c.PassEvery = 50 * time.Millisecond
	}})
	tr := newTrial(f, t, func() []string { return []string{f.URL} }, true)
	tr.through([]fault{
		{"full disk", func() { tr.full(disk, 400*time.Millisecond) }},
		{"clock ahead and back", func() {
			f.Clock.Advance(6 * time.Hour)
			tr.pause(200 * time.Millisecond)
			f.Clock.Advance(-6 * time.Hour)
		}},
		{"clock back and right again", func() {
			f.Clock.Advance(-4 * time.Minute) // by more, and what phones say happened just now is refused as being in the future
			tr.pause(200 * time.Millisecond)
			f.Clock.Advance(4 * time.Minute)
		}},
	})
	if err := f.Stop(); err != nil {
		t.Error(err)
	}
	admin, err := server.OpenAdmin(t.Context(), server.Data{Dir: filepath.Join(disk, "data")}, false)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close()
	if _, err := admin.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// The same with the pictures in a bucket whose server is killed, and that cannot be
// reached for a while.
func TestFaultsOfTheBucket(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "bucket")
	begin := func() (*process, string) {
		p := childOf(t, phototest.BucketEnv+"="+folder)
		return p, p.address(t)
	}
	bucket, at := begin()
	way := newWire(t, at)
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.PhotosURL = phototest.Address("http://" + way.listener.Addr().String())
	}})
	tr := newTrial(f, t, func() []string { return []string{f.URL} }, true)
	tr.through([]fault{
		{"kill of the bucket", func() {
			bucket.kill()
			tr.pause(200 * time.Millisecond)
			bucket, at = begin()
			way.lead(at)
		}},
		{"cut", func() {
			way.set(true)
			tr.pause(200 * time.Millisecond)
			way.set(false)
		}},
	})
}

// The same with PostgreSQL on a disk that fills up: it refuses to write, or ends, because
// it cannot write its log any more, and is started again as an operator's machine does.
func TestFaultsOfTheDatabasesDisk(t *testing.T) {
	t.Parallel()
	disk := smallDisk(t, "160m")
	address := ownPostgres(t, disk)
	log := &logged{}
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.DatabaseURL = address
		c.PassEvery = 50 * time.Millisecond
		c.Log = slog.New(slog.NewTextHandler(log, nil))
	}})
	tr := newTrial(f, t, func() []string { return []string{f.URL} }, false)
	tr.through([]fault{{"full disk", func() {
		tr.full(disk, time.Second)
		awaitPostgres(t, address)
	}}})
	if err := f.Stop(); err != nil {
		t.Error(err)
	}
	if !strings.Contains(log.text.String(), "postgres code 53100") { // disk_full
		t.Errorf("nothing of a full disk is in the log:\n%.3000s", log.text.String())
	}
	admin, err := server.OpenAdmin(t.Context(), server.Data{Dir: f.DataDir, DatabaseURL: address}, false)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close()
	if _, err := admin.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// ownPostgres starts a PostgreSQL of the test's own on a disk, starts it again when it
// ends by itself, and returns the address of a role that is no superuser.
func ownPostgres(t *testing.T, disk string) string {
	t.Helper()
	as, err := user.Lookup("postgres") // it refuses to run as root, who alone mounts disks
	initdb, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(initdb) == 0 {
		if os.Getenv("WARMHAND_REQUIRE_POSTGRES") != "" {
			t.Fatalf("there is no PostgreSQL to start: %v %v", initdb, err)
		}
		t.Skip("there is no PostgreSQL to start")
	}
	bin := filepath.Dir(initdb[len(initdb)-1])
	uid, _ := strconv.Atoi(as.Uid)
	gid, _ := strconv.Atoi(as.Gid)
	if err := errors.Join(os.Chmod(filepath.Dir(disk), 0o755), os.Chown(disk, uid, gid)); err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(disk, "data")
	command := func(name string, args ...string) *exec.Cmd {
		c := exec.Command(filepath.Join(bin, name), args...)
		c.Dir, c.SysProcAttr = disk, &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
		return c
	}
	// A small log, so that it, too, wants room before long.
	if said, err := command("initdb", "-D", data, "-U", "warmhand", "-A", "trust", "-E", "UTF8", "--locale=C", "--wal-segsize=1").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := free.Addr().(*net.TCPAddr).Port
	if err := free.Close(); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var running *exec.Cmd
	stopped := false
	begin := func() error {
		mu.Lock()
		defer mu.Unlock()
		if stopped {
			return errors.New("the test is over")
		}
		running = command("postgres", "-D", data, "-p", fmt.Sprint(port), "-c", "listen_addresses=127.0.0.1", "-c", "unix_socket_directories=",
			"-c", "min_wal_size=2MB", "-c", "max_wal_size=16MB", "-c", "shared_buffers=16MB", "-c", "log_min_messages=fatal")
		return running.Start()
	}
	if err := begin(); err != nil {
		t.Fatal(err)
	}
	var watching sync.WaitGroup
	watching.Go(func() {
		again := 0
		for ; ; again++ {
			running.Wait() //nolint:errcheck // however it ended
			time.Sleep(50 * time.Millisecond)
			if begin() != nil {
				break
			}
		}
		t.Logf("PostgreSQL was started again %d times", again)
	})
	t.Cleanup(func() {
		mu.Lock()
		stopped = true
		running.Process.Signal(syscall.SIGQUIT) //nolint:errcheck // it may have ended
		mu.Unlock()
		watching.Wait()
	})
	at := func(role string) string {
		return fmt.Sprintf("postgres://%s@127.0.0.1:%d/postgres?sslmode=disable", role, port)
	}
	awaitPostgres(t, at("warmhand"))
	db, err := sql.Open("pgx", at("warmhand"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`CREATE ROLE snakes LOGIN; CREATE SCHEMA snakes AUTHORIZATION snakes`); err != nil {
		t.Fatal(err)
	}
	return at("snakes")
}

func awaitPostgres(t *testing.T, address string) {
	t.Helper()
	db, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for deadline := time.Now().Add(time.Minute); db.Ping() != nil; <-time.After(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("PostgreSQL does not come back")
		}
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
		awaitPostgres(t, address) // it is not back yet
		return
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
		t.Fatalf("PostgreSQL cannot be killed: %v", err)
	}
	// Until the process above has noticed, it takes new connections as if nothing were.
	for deadline := time.Now().Add(time.Minute); syscall.Kill(pid, 0) == nil && time.Now().Before(deadline); <-time.After(time.Millisecond) {
	}
	awaitPostgres(t, address)
}
