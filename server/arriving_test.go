package server_test

import (
	"bufio"
	"bytes"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"warmhand/internal/care"
	"warmhand/server"
	"warmhand/server/servertest"
)

// waitingFiles are those that have come in by half, in the server's folder.
func waitingFiles(t *testing.T, f *servertest.Fixture) (files []string) {
	t.Helper()
	if err := filepath.WalkDir(filepath.Join(f.DataDir, "photos", "waiting", "arriving"), func(path string, d fs.DirEntry, err error) error {
		if os.IsNotExist(err) {
			return nil
		}
		if err == nil && !d.IsDir() {
			files = append(files, path)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return files
}

// One account has so many pictures begun at once, and one case. One more is told to wait, what was
// begun goes on, and when one is whole the next begins: nothing is lost.
func TestBegunPicturesAreBounded(t *testing.T) {
	t.Parallel()
	const each = 24
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	var cases []string
	for range 2 {
		caseID, _ := breeder.HandOver(breeder.NewAnimal())
		cases = append(cases, caseID)
	}
	caseID, code := breeder.HandOver(breeder.NewAnimal())
	keeper := f.Page()
	keeper.Claim(code).OK()
	cases = append(cases, caseID)
	jpg := picture(t, 640, 480)
	path := func(ofCase, i int) string {
		return fmt.Sprintf("/v1/breeders/b1/cases/%s/photos/photo-%d", cases[ofCase], i)
	}
	begin := func(who *servertest.Client, ofCase, i int) *servertest.Answer {
		t.Helper()
		return who.Call("PUT", path(ofCase, i), jpg[:1000], "Content-Type", "image/jpeg", "Upload-Complete", "?0")
	}
	refused := func(what string, got *servertest.Answer) {
		t.Helper()
		reason, _, _ := got.Problem()
		if got.Status != http.StatusTooManyRequests || reason != "TOO_MANY_TRIES" || got.Header.Get("Retry-After") == "" || !strings.Contains(got.Text("message"), "whole first") {
			t.Errorf("%s: %d %v %s", what, got.Status, got.Header, got.Body)
		}
	}
	for i := range each {
		if got := begin(breeder, i%2, i); got.Status != http.StatusNoContent {
			t.Fatalf("picture %d: %d %s", i, got.Status, got.Body)
		}
	}
	refused("one more of the same account", begin(breeder, 0, 99))
	if got := breeder.Call("PUT", path(0, 99), jpg[:1000], "Content-Type", "image/jpeg", "Upload-Complete", "?0", "Accept-Language", "de"); !strings.Contains(got.Text("message"), "zur Hälfte") {
		t.Errorf("in German: %s", got.Body)
	}
	if got := begin(keeper, 2, 1); got.Status != http.StatusNoContent {
		t.Errorf("one account keeps another from its pictures: %d %s", got.Status, got.Body)
	}
	rest := breeder.Call("PATCH", path(0, 0), jpg[1000:], "Content-Type", "application/partial-upload", "Upload-Offset", "1000").OK()
	if rest.Get("width") != 640.0 {
		t.Errorf("one that was begun: %s", rest.Body)
	}
	if got := begin(breeder, 0, 99); got.Status != http.StatusNoContent {
		t.Errorf("when one was whole: %d %s", got.Status, got.Body)
	}
	breeder.Call("PUT", path(1, 100), jpg, "Content-Type", "image/jpeg").OK() // whole at once, it waits for nothing

	// A case is not filled by many accounts either.
	for i := range each - 1 {
		if got := begin(keeper, 2, 10+i); got.Status != http.StatusNoContent {
			t.Fatalf("the keeper's %d: %d %s", i, got.Status, got.Body)
		}
	}
	person := breeder.Call("POST", "/v1/access/people", map[string]any{"displayName": "Ida"}).OK().Text("person", "personId")
	helper := f.SignIn(care.Actor{Kind: care.Helper, BreederID: "b1", UserID: person})
	refused("one more in the same case", begin(helper, 2, 98))
	if got := begin(helper, 1, 98); got.Status != http.StatusNoContent {
		t.Errorf("in another case: %d %s", got.Status, got.Body)
	}
}

// What nobody sends on is gone after an hour, and what is younger is not.
func TestBegunPicturesAreSwept(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	caseID, _ := breeder.HandOver(breeder.NewAnimal())
	for i := range 2 {
		got := breeder.Call("PUT", fmt.Sprintf("/v1/breeders/b1/cases/%s/photos/photo-%d", caseID, i), picture(t, 40, 40)[:100], "Content-Type", "image/jpeg", "Upload-Complete", "?0")
		if got.Status != http.StatusNoContent {
			t.Fatalf("%d %s", got.Status, got.Body)
		}
	}
	files := waitingFiles(t, f)
	if len(files) != 2 {
		t.Fatalf("%q wait", files)
	}
	old := time.Now().Add(-61 * time.Minute)
	if err := os.Chtimes(files[0], old, old); err != nil {
		t.Fatal(err)
	}
	if err := f.Stop(); err != nil {
		t.Fatal(err)
	}
	f = servertest.Start(t, servertest.Options{Beside: f})
	for deadline := time.Now().Add(20 * time.Second); ; <-time.After(5 * time.Millisecond) {
		if left := waitingFiles(t, f); len(left) == 1 && left[0] == files[1] {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("%q wait still", waitingFiles(t, f))
		}
	}
}

// One account sends so many pictures and lists at once. What a phone sends anew takes the place of the
// request before, of which the server has not noticed that the line is gone.
func TestFilesUnderWayAreBounded(t *testing.T) {
	t.Parallel()
	const each = 12
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.Patience = 500 * time.Millisecond }})
	breeder, other := f.NewBreeder("b1"), f.NewBreeder("b2")
	caseID, _ := breeder.HandOver(breeder.NewAnimal())
	jpg := picture(t, 640, 480)
	path := func(i any) string { return fmt.Sprintf("/v1/breeders/b1/cases/%s/photos/photo-%v", caseID, i) }
	secret := f.Session(care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"})
	type answer struct {
		i, status int
		header    http.Header
	}
	answers := make(chan answer, each+1)
	next := func() (a answer) {
		t.Helper()
		select {
		case a = <-answers:
		case <-time.After(20 * time.Second):
			t.Fatal("nothing is answered")
		}
		return a
	}
	for i := range each + 1 { // the beginning of each, and the rest does not come
		conn, err := net.Dial("tcp", f.Server.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		fmt.Fprintf(conn, "PUT %s HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\nContent-Type: image/jpeg\r\nContent-Length: %d\r\n\r\n%s", path(i), secret, len(jpg), jpg[:1000])
		go func() {
			if res, err := http.ReadResponse(bufio.NewReader(conn), nil); err == nil {
				answers <- answer{i, res.StatusCode, res.Header}
			}
		}()
	}
	over := next()
	if over.status != http.StatusTooManyRequests || over.header.Get("Retry-After") == "" {
		t.Fatalf("one more than %d: %+v", each, over)
	}
	got := breeder.Call("PUT", path("over"), jpg, "Content-Type", "image/jpeg")
	if reason, _, _ := got.Problem(); got.Status != http.StatusTooManyRequests || reason != "TOO_MANY_TRIES" {
		t.Errorf("and another: %d %s", got.Status, got.Body)
	}
	list := "/v1/breeders/b%d/imports/" + uuid.NewString() + "/file?name=a.csv"
	if got := breeder.Call("PUT", fmt.Sprintf(list, 1), []byte("name,species\nBirch,corn\n")); got.Status != http.StatusTooManyRequests {
		t.Errorf("a list, too: %d %s", got.Status, got.Body)
	}
	other.Call("PUT", fmt.Sprintf(list, 2), []byte("name,species\nBirch,corn\n")).OK()
	// The phone comes back by another line.
	again := (over.i + 1) % (each + 1)
	breeder.Call("PUT", path(again), jpg, "Content-Type", "image/jpeg").OK()
	if a := next(); a.i != again || a.status != http.StatusServiceUnavailable {
		t.Errorf("the request that was given up, of %d: %+v", again, a)
	}
	breeder.Call("PUT", path("over"), jpg, "Content-Type", "image/jpeg").OK() // there is a place now
	if left := waitingFiles(t, f); len(left) != 0 {
		t.Errorf("what was given up is left: %q", left)
	}
	if got := breeder.Call("HEAD", path(again), nil); got.Header.Get("Upload-Complete") != "?1" {
		t.Errorf("the picture: %v", got.Header)
	}
	if got := breeder.Call("GET", path(again)+"/1600", nil).OK(); !bytes.HasPrefix(got.Body, []byte("\xff\xd8\xff")) {
		t.Error("it is no picture")
	}
	select {
	case a := <-answers:
		t.Errorf("a request that goes on is answered: %+v", a)
	default:
	}
}
