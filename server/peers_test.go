package server_test

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/photo/phototest"
	"warmhand/server"
	"warmhand/server/servertest"
)

// shortBeat is how often servers say that they are there, in tests.
const shortBeat = 500 * time.Millisecond

// process is a server, or a bucket, in a process of its own, which can be killed.
type process struct {
	cmd *exec.Cmd
	out *bufio.Reader
}

func inProcess(t *testing.T, c server.Child) *process {
	t.Helper()
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	return childOf(t, server.ChildEnv+"="+string(text))
}

// childOf starts the test binary as what this says in its environment.
func childOf(t *testing.T, says string) *process {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), says)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p := &process{cmd, bufio.NewReader(out)}
	t.Cleanup(p.kill)
	return p
}

func (p *process) kill() {
	p.cmd.Process.Kill() //nolint:errcheck // it may have been
	p.cmd.Wait()         //nolint:errcheck // it was killed
}

// address waits until it serves.
func (p *process) address(t *testing.T) string {
	t.Helper()
	line, err := p.out.ReadString('\n')
	if err != nil {
		t.Fatalf("the server of its own does not start: %v", err)
	}
	return strings.TrimSpace(line)
}

// Three servers on one database, one of which is killed: what changes at one goes live
// at the others, who signed out is out everywhere, and the work that nobody asks for
// is shared and done once.
func TestSeveralServers(t *testing.T) {
	t.Parallel()
	bucket := phototest.S3(t, nil)
	short := func(c *server.Config) { server.Beat(c, shortBeat); c.LocalPush, c.PhotosURL = true, bucket }
	one := servertest.Start(t, servertest.Options{Postgres: true, Configure: short})
	two := servertest.Start(t, servertest.Options{Beside: one, Configure: func(c *server.Config) {
		short(c)
		c.DataDir = keyOnly(t, c.DataDir)
		c.DatabaseURL += "&application_name=second-" + strconv.Itoa(os.Getpid())
	}})
	owner := care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"}
	page := one.NewBreeder("b1")
	there := two.Program(one.Session(owner)) // the same person at the other server
	there.Breeder = "b1"

	ctx, cancel := context.WithCancel(t.Context())
	follow := func() <-chan string {
		lines := events(there.Open(ctx, "GET", "/v1/breeders/b1/live", nil))
		t.Cleanup(func() {
			for cancel(); ; {
				if _, more := <-lines; !more {
					return
				}
			}
		})
		return lines
	}
	live := follow()
	within(t, 5*time.Second, live, ": here")
	animal := page.NewAnimal()
	caseID, code := page.HandOver(animal)
	within(t, 5*time.Second, live, `data: {"case":{"name":"breeders/b1/cases/`+caseID)
	keeper := one.Page()
	keeper.Claim(code).OK()
	keeperThere := two.Page()
	for name, secret := range keeper.Cookies() {
		keeperThere.SetCookie(name, secret)
	}

	db, err := sql.Open("pgx", one.DatabaseURL)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()

	t.Run("each reads what the other wrote", func(t *testing.T) {
		// Each has the case in memory when the other changes it.
		for i := range 6 {
			who, at := keeper, one
			if i%2 == 1 {
				who, at = keeperThere, two
			}
			who.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId="+at.ID(fmt.Sprint("entry-", i%2)),
				map[string]any{"happenTime": at.Clock.Now(), "weighIn": map[string]any{"massG": 400 + i}}).OK()
			one.Clock.Advance(time.Minute)
		}
		log := page.Call("GET", "/v1/breeders/b1/animals/"+animal+"/entries", nil).OK()
		if got := log.Get("entries").([]any); len(got) != 6 {
			t.Errorf("%d of 6 weights: %s", len(got), log.Body)
		}
		a, b := page.Call("GET", "/v1/breeders/b1/cases/"+caseID, nil).OK(), there.Call("GET", "/v1/breeders/b1/cases/"+caseID, nil).OK()
		if string(a.Body) != string(b.Body) {
			t.Errorf("two servers say\n%s\nand\n%s", a.Body, b.Body)
		}
	})

	t.Run("a picture in two halves", func(t *testing.T) {
		jpg := picture(t, 64, 48)
		path := "/v1/breeders/b1/cases/" + caseID + "/photos/photo-1"
		if first := keeper.Call("PUT", path, jpg[:500], "Content-Type", "image/jpeg", "Upload-Complete", "?0"); first.Status != http.StatusNoContent {
			t.Fatalf("the first half: %d %s", first.Status, first.Body)
		}
		if at := keeperThere.Call("HEAD", path, nil); at.Header.Get("Upload-Offset") != "500" {
			t.Errorf("the other server has %v", at.Header)
		}
		keeperThere.Call("PATCH", path, jpg[500:], "Content-Type", "application/partial-upload", "Upload-Offset", "500", "Upload-Complete", "?1").OK()
		if got := keeper.Call("GET", path+"/320", nil); got.Status != http.StatusOK {
			t.Errorf("the picture: %d %s", got.Status, got.Body)
		}
	})

	t.Run("a list at one and its reading at the other", func(t *testing.T) {
		l := bring(t, page, "a.csv", []byte(animalsCSV))
		l.page = there
		l.preview(nil)
		l.confirm(map[string]any{"leaveWrong": true}).OK()
		l.until("DONE")
	})

	t.Run("a cut between server and database", func(t *testing.T) {
		for len(live) > 0 {
			<-live
		}
		if _, err := db.Exec(`SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = $1`, "second-"+strconv.Itoa(os.Getpid())); err != nil {
			t.Fatal(err)
		}
		within(t, 5*time.Second, live, `data: {"what":"resync"}`)
		keeper.Weigh("b1", animal, 410)
		within(t, 5*time.Second, live, `data: {"case":{"name":"breeders/b1/cases/`+caseID)
	})

	t.Run("signed out at one", func(t *testing.T) {
		keeperThere.Call("GET", "/v1/keepers/me/cases", nil).OK()
		keeper.Call("POST", "/v1/access:signOut", map[string]any{}).OK()
		one.Clock.Advance(2 * time.Second) // what the other may remember, access.Sessions
		if got := keeperThere.Call("GET", "/v1/keepers/me/cases", nil); got.Status != http.StatusUnauthorized {
			t.Errorf("at the other: %d", got.Status)
		}
	})

	t.Run("the pass of a killed server", func(t *testing.T) {
		const n = 30
		shareOut(t, one, n)
		for len(live) > 0 {
			<-live
		}
		// It can claim its share and save nothing of it.
		hold, err := db.Begin()
		if err != nil {
			t.Fatal(err)
		}
		defer hold.Rollback() //nolint:errcheck // mostly it was ended
		if _, err := hold.Exec(`LOCK TABLE flags IN SHARE MODE`); err != nil {
			t.Fatal(err)
		}
		doomed := inProcess(t, server.Child{Database: one.DatabaseURL, Dir: one.DataDir, Now: one.Clock.Now(), Beat: shortBeat})
		for deadline := time.Now().Add(time.Minute); ; <-time.After(5 * time.Millisecond) {
			if _, claimed := bulk(t, one); claimed == n {
				break
			}
			if time.Now().After(deadline) {
				t.Fatal("the third server claims nothing")
			}
		}
		doomed.kill()
		if err := hold.Rollback(); err != nil {
			t.Fatal(err)
		}
		within(t, 10*time.Second, live, `data: {"what":"resync"}`)
		if looked := together(t, one, two); looked != 0 {
			t.Errorf("%d cases were looked at that another had claimed", looked)
		}
		one.Clock.Advance(10 * time.Minute)
		looked := together(t, one, two)
		if versions, _ := bulk(t, one); looked != n || versions[2] != n {
			t.Errorf("%d of %d were looked at; cases by how often: %v", looked, n, versions)
		}
		if looked := together(t, one, two); looked != 0 {
			t.Errorf("%d were looked at again", looked)
		}
	})

	t.Run("reminders", func(t *testing.T) {
		var mu sync.Mutex
		arrived := map[string]int{}
		service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			mu.Lock()
			arrived[r.URL.Path]++
			mu.Unlock()
			w.WriteHeader(http.StatusCreated)
		}))
		defer service.Close()
		const keepers = 12
		for i := range keepers {
			_, code := page.HandOver(page.NewAnimal())
			k := one.Page()
			k.Claim(code).OK()
			one.Clock.Advance(10 * time.Second) // claims are limited
			k.Call("POST", "/v1/me/reminders:addDevice", subscription(t, fmt.Sprint(service.URL, "/", i))).OK()
		}
		one.Clock.Advance(25 * time.Hour)
		for range 2 {
			var running sync.WaitGroup
			for _, f := range []*servertest.Fixture{one, two} {
				running.Go(func() {
					if err := f.Server.Remind(care.WithReach(t.Context(), care.EverybodysReach)); err != nil {
						t.Error(err)
					}
				})
			}
			running.Wait()
		}
		for device, n := range arrived {
			if n != 1 {
				t.Errorf("%s was told %d times", device, n)
			}
		}
		if len(arrived) != keepers {
			t.Errorf("%d of %d were told", len(arrived), keepers)
		}
	})

	// What was changed last is told before a server goes.
	last := follow()
	within(t, 5*time.Second, last, ": here")
	page.Weigh("b1", animal, 500)
	if err := one.Stop(); err != nil {
		t.Error(err)
	}
	within(t, 5*time.Second, last, `data: {"case":{"name":"breeders/b1/cases/`+caseID)
}

// keyOnly is a data folder with the same key, and nothing else.
func keyOnly(t *testing.T, dir string) string {
	t.Helper()
	key, err := os.ReadFile(filepath.Join(dir, "server.key"))
	if err != nil {
		t.Fatal(err)
	}
	other := t.TempDir()
	if err := os.WriteFile(filepath.Join(other, "server.key"), key, 0o600); err != nil {
		t.Fatal(err)
	}
	return other
}

// shareOut adds cases whose time has come, with version 1.
func shareOut(t *testing.T, f *servertest.Fixture, n int) {
	t.Helper()
	now := f.Clock.Now()
	old := now.AddDate(0, 0, -60)
	f.Write(func(tx care.Tx) error {
		for i := range n {
			id := fmt.Sprint("bulk-", i)
			if err := tx.InsertAnimal(care.Animal{BreederID: "b1", ID: id, Name: id, Species: "python_regius", CreatedAt: old}); err != nil {
				return err
			}
			if err := tx.InsertHandover(care.Handover{BreederID: "b1", ID: id, AnimalID: id, State: care.HandoverIssued, HandedOverAt: old, CodeHash: id, CreatedAt: old, Version: 1}); err != nil {
				return err
			}
			if err := tx.InsertCase(care.Case{BreederID: "b1", ID: id, AnimalID: id, HandedOverAt: old, CreatedAt: old, DueAt: old, Version: 1}); err != nil {
				return err
			}
		}
		return nil
	})
}

// bulk counts the cases of shareOut by their version, to which each look adds one, and
// those that are claimed and not looked at.
func bulk(t *testing.T, f *servertest.Fixture) (versions map[int]int, claimed int) {
	t.Helper()
	versions = map[int]int{}
	if err := f.Server.Store().Read(t.Context(), func(tx care.Tx) error {
		cases, _, err := tx.ListCases("b1", care.CaseQuery{Open: true}, care.Cursor{}, 500)
		for _, c := range cases {
			if !strings.HasPrefix(c.ID, "bulk-") {
				continue
			}
			if versions[int(c.Version)]++; c.AssessedAt.IsZero() && c.DueAt.After(f.Clock.Now()) {
				claimed++
			}
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return versions, claimed
}

// together has servers do the pass at once, and returns how many cases they looked at.
func together(t *testing.T, servers ...*servertest.Fixture) (looked int) {
	t.Helper()
	var running sync.WaitGroup
	all := make([]int, len(servers))
	for i, f := range servers {
		running.Go(func() {
			n, err := f.Server.FollowUp().Pass(care.WithReach(t.Context(), care.EverybodysReach), f.Clock.Now())
			if err != nil {
				t.Error(err)
			}
			all[i] = n
		})
	}
	running.Wait()
	for _, n := range all {
		looked += n
	}
	return looked
}
