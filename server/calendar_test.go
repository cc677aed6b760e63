package server_test

import (
	"bytes"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"

	"warmhand/server/servertest"
)

// A keeper's calendar is read without a sign-in at its private address, loses
// what was answered, and is gone once it was taken back, replaced, or its keeper left.
func TestCalendarOnTheWire(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("loam")
	animal := page.NewAnimal()
	caseID, code := page.HandOver(animal)
	keeper := f.Page()
	keeper.Claim(code).OK()

	make1 := func() (path string) {
		t.Helper()
		u, err := url.Parse(keeper.Call("POST", "/v1/keepers/me:createCalendarLink", map[string]any{}).OK().Text("link", "url"))
		if err != nil || !strings.HasSuffix(u.Path, ".ics") {
			t.Fatal(u, err)
		}
		return u.Path
	}
	stranger := f.Program("")
	read := func(path string) []string {
		t.Helper()
		got := stranger.Call("GET", path, nil).OK()
		cal, err := ical.NewDecoder(bytes.NewReader(got.Body)).Decode()
		if err != nil || !strings.HasPrefix(got.Header.Get("Content-Type"), "text/calendar") || !strings.Contains(got.Header.Get("Cache-Control"), "no-store") {
			t.Fatalf("%v %v %s", err, got.Header, got.Body)
		}
		var said []string
		for _, e := range cal.Events() {
			s, err := e.Props.Text(ical.PropSummary)
			u, err2 := e.Props.URI(ical.PropURL)
			if err != nil || err2 != nil || !strings.Contains(u.Path, "/k/loam/"+caseID+"/") {
				t.Errorf("%v %v %v", err, err2, u)
			}
			said = append(said, s)
		}
		return said
	}
	gone := func(what, path string) {
		t.Helper()
		if got := stranger.Call("GET", path, nil); got.Status != http.StatusNotFound {
			t.Errorf("%s: %d %s", what, got.Status, got.Body)
		}
	}

	if keeper.Call("GET", "/v1/keepers/me/calendarLink", nil).OK().Get("link") != nil {
		t.Error("there is a calendar that nobody made")
	}
	first := make1()
	secret := strings.TrimSuffix(first[strings.LastIndexByte(first, '/')+1:], ".ics")
	if at := f.Mentions(secret); len(at) > 0 {
		t.Errorf("the address itself is stored in %v", at)
	}
	if link := keeper.Call("GET", "/v1/keepers/me/calendarLink", nil).OK(); link.Text("link", "expireTime") == "" || strings.Contains(string(link.Body), secret) {
		t.Errorf("%s", link.Body)
	}
	before := read(first)
	if len(before) == 0 || !strings.Contains(before[0], "How was the first night?") {
		t.Fatalf("%q", before)
	}
	// The secret opens the calendar and nothing else.
	if got := f.Program(secret).Call("GET", "/v1/keepers/me/cases", nil); got.Status != http.StatusUnauthorized {
		t.Errorf("as a token it gives %d", got.Status)
	}

	// What was answered is not in it any more.
	f.Clock.Advance(20 * time.Hour)
	keeper.Call("POST", "/v1/breeders/loam/animals/"+animal+"/entries?entryId="+f.ID("entry"),
		map[string]any{"happenTime": f.Clock.Now(), "message": map[string]any{"text": "It sleeps."}}).OK()
	if after := read(first); len(after) != len(before)-1 || strings.Contains(strings.Join(after, " "), "first night") {
		t.Errorf("%q became %q", before, after)
	}

	second := make1()
	gone("replaced", first)
	if len(read(second)) == 0 {
		t.Error("the new one is empty")
	}
	keeper.Call("DELETE", "/v1/keepers/me/calendarLink", nil).OK()
	keeper.Call("DELETE", "/v1/keepers/me/calendarLink", nil).OK()
	gone("taken back", second)
	gone("never there", "/v1/calendars/whc_nonsense.ics")

	third := make1()
	keeper.Call("POST", "/v1/keepers/me:leave", map[string]any{"confirm": "leave"}).OK()
	gone("of a keeper who left", third)
	if got := page.Call("POST", "/v1/keepers/me:createCalendarLink", map[string]any{}); got.Status == http.StatusOK {
		t.Errorf("a breeder has a keeper's calendar: %s", got.Body)
	}
}
