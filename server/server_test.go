package server_test

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/server"
	"warmhand/server/servertest"
)

// testOn runs a test on SQLite and, where there is one, on PostgreSQL.
func testOn(t *testing.T, run func(t *testing.T, f *servertest.Fixture)) {
	t.Parallel()
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			run(t, servertest.Start(t, servertest.Options{Postgres: engine == "postgres"}))
		})
	}
}

// picture is a JPEG with some structure in it.
func picture(t testing.TB, width, height int) []byte {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			m.Set(x, y, color.RGBA{uint8(x * 7), uint8(y * 5), uint8(x ^ y), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestHandoverFromStockBookToKeeper(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		animal := breeder.NewAnimal()
		f.Clock.Advance(time.Minute)
		breeder.Weigh("b1", animal, 540)
		caseID, code := breeder.HandOver(animal)

		keeper := f.Page()
		look := keeper.Call("POST", "/v1/claims:lookUp", map[string]any{"claimCode": strings.ToLower(code)}).OK()
		if look.Text("record", "commonName") != "Ball python" && look.Text("record", "commonName") == "" {
			t.Errorf("the record has no name: %s", look.Body)
		}
		if bytes.Contains(look.Body, []byte("pays in two parts")) || bytes.Contains(look.Body, []byte("the breeder's own")) {
			t.Error("the breeder's own notes are shown to whoever holds the code")
		}
		claim := keeper.Claim(code).OK()
		if claim.Text("sessionToken") != "" {
			t.Error("a browser got its session where scripts can read it")
		}
		if claim.Text("case", "name") != "breeders/b1/cases/"+caseID || claim.Text("case", "keeperName") != "Kim" {
			t.Errorf("claimed %s", claim.Body)
		}
		keeper.Weigh("b1", animal, 536)
		list := keeper.Call("GET", "/v1/keepers/me/cases", nil).OK()
		for _, secret := range []string{"pays in two parts", "the breeder's own"} {
			if bytes.Contains(list.Body, []byte(secret)) {
				t.Errorf("the keeper sees %q", secret)
			}
			if got := keeper.Call("GET", "/v1/breeders/b1/handovers/"+caseID, nil).OK(); bytes.Contains(got.Body, []byte(secret)) {
				t.Errorf("the keeper sees %q in the handover", secret)
			}
		}
		if got := breeder.Call("GET", "/v1/breeders/b1/handovers/"+caseID, nil).OK(); got.Text("handover", "buyerNote") != "pays in two parts" {
			t.Error("the breeder lost the note on the buyer")
		}
		got := breeder.Call("GET", "/v1/breeders/b1/cases/"+caseID, nil).OK()
		if got.Text("case", "assessment", "keeperDo") == "" || got.Text("case", "lastHeardTime") == "" {
			t.Errorf("the case is not assessed: %s", got.Body)
		}
		if n := len(breeder.Call("GET", "/v1/breeders/b1/cases", nil).OK().Get("cases").([]any)); n != 1 {
			t.Errorf("%d cases are listed", n)
		}
		entries := breeder.Call("GET", "/v1/breeders/b1/animals/"+animal+"/entries?kinds=weigh_in&pageSize=1", nil).OK()
		next := entries.Text("nextPageToken")
		if next == "" {
			t.Fatalf("no second page: %s", entries.Body)
		}
		second := breeder.Call("GET", "/v1/breeders/b1/animals/"+animal+"/entries?kinds=weigh_in&pageSize=1&pageToken="+next, nil).OK()
		first, _ := entries.Get("entries").([]any)[0].(map[string]any)
		other, _ := second.Get("entries").([]any)[0].(map[string]any)
		if first["name"] == other["name"] || first["by"] != "ACTOR_KIND_KEEPER" || other["by"] != "ACTOR_KIND_BREEDER" {
			t.Errorf("pages %s and %s", entries.Body, second.Body)
		}
	})
}

func TestClaimCodes(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		reason := func(a *servertest.Answer) string { r, _, _ := a.Problem(); return r }

		_, code := breeder.HandOver(breeder.NewAnimal())
		wrong := access.NewClaimCode()
		if got := f.Page().Claim(wrong); got.Status != 404 || reason(got) != "CODE_WRONG" {
			t.Errorf("a wrong code: %d %s", got.Status, got.Body)
		}
		typo := "0" + code[1:]
		if code[0] == '0' {
			typo = "1" + code[1:]
		}
		got := f.Page().Claim(typo)
		if r, fields, _ := got.Problem(); got.Status != 400 || r != "BAD_FIELD" || len(fields) != 1 || fields[0] != "claim_code" {
			t.Errorf("a slip: %d %s", got.Status, got.Body)
		}

		// The answer to the claim is lost: the same request claims again.
		body := map[string]any{"claimCode": code, "requestId": f.ID("claim-request")}
		f.Page().Call("POST", "/v1/claims", body).OK()
		again := f.Page()
		again.Call("POST", "/v1/claims", body).OK()
		again.Call("GET", "/v1/keepers/me/cases", nil).OK()
		if got := f.Page().Claim(code); got.Status != 400 || reason(got) != "CODE_USED" {
			t.Errorf("a used code: %d %s", got.Status, got.Body)
		}

		// A caller without cookies gets its session in the answer.
		f.Clock.Advance(time.Minute)
		_, code = breeder.HandOver(breeder.NewAnimal())
		token := f.Program("").Claim(code).OK().Text("sessionToken")
		f.Program(token).Call("GET", "/v1/keepers/me/cases", nil).OK()

		// A keeper's second animal joins the first.
		_, code = breeder.HandOver(breeder.NewAnimal())
		again.Claim(code).OK()
		if n := len(again.Call("GET", "/v1/keepers/me/cases", nil).OK().Get("cases").([]any)); n != 2 {
			t.Errorf("the keeper has %d cases", n)
		}

		f.Clock.Advance(time.Minute)
		revoked, code := breeder.HandOver(breeder.NewAnimal())
		breeder.Call("POST", "/v1/breeders/b1/handovers/"+revoked+":revoke", map[string]any{}).OK()
		if got := f.Page().Claim(code); got.Status != 400 || reason(got) != "CODE_REVOKED" {
			t.Errorf("a revoked code: %d %s", got.Status, got.Body)
		}

		late, code := breeder.HandOver(breeder.NewAnimal())
		f.Clock.Advance(91 * 24 * time.Hour)
		if got := f.Page().Claim(code); got.Status != 400 || reason(got) != "CODE_EXPIRED" {
			t.Errorf("an old code: %d %s", got.Status, got.Body)
		}
		breeder = f.SignIn(care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"})
		fresh := breeder.Call("POST", "/v1/breeders/b1/handovers/"+late+":replaceClaimCode", map[string]any{}).OK()
		if url := fresh.Text("claimUrl"); !strings.HasSuffix(url, "/c#"+strings.ReplaceAll(fresh.Text("claimCode"), "-", "")) {
			t.Errorf("the link is %s", url)
		}
		f.Page().Claim(fresh.Text("claimCode")).OK()

		// Guessing runs into the limit, whatever headers the guesser sends.
		limited := false
		for i := range 12 {
			got := f.Page().Call("POST", "/v1/claims:lookUp", map[string]any{"claimCode": access.NewClaimCode()},
				"X-Forwarded-For", fmt.Sprintf("192.0.2.%d", i), "Grpc-Metadata-Warmhand-Remote", fmt.Sprintf("192.0.2.%d", i), "Warmhand-Remote", "192.0.2.9")
			if got.Status == 429 {
				limited = reason(got) == "TOO_MANY_TRIES" && got.Header.Get("Retry-After") != ""
			}
		}
		if !limited {
			t.Error("twelve wrong codes in a row were all looked up")
		}
	})
}

// A keeper who lost the phone gets back in with a code from the breeder, and
// puts a tablet beside the new phone.
func TestKeeperCodes(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		animal := breeder.NewAnimal()
		caseID, claim := breeder.HandOver(animal)
		name := "breeders/b1/cases/" + caseID
		reason := func(a *servertest.Answer) string { r, _, _ := a.Problem(); return r }
		newCode := func(end bool) *servertest.Answer {
			return breeder.Call("POST", "/v1/"+name+":createKeeperCode", map[string]any{"endSignIns": end})
		}
		use := func(c *servertest.Client, code string) *servertest.Answer {
			return c.Call("POST", "/v1/access:useKeeperCode", map[string]any{"code": code, "requestId": f.ID("keeper-request")})
		}
		cases := func(c *servertest.Client) *servertest.Answer { return c.Call("GET", "/v1/keepers/me/cases", nil) }
		if got := newCode(false); got.Status != 400 || reason(got) != "NOT_CLAIMED" {
			t.Errorf("before the claim: %d %s", got.Status, got.Body)
		}
		lost := f.Page()
		lost.Claim(claim).OK()

		made := newCode(true).OK()
		code := made.Text("code", "code")
		if url := made.Text("code", "url"); !strings.HasSuffix(url, "/in#"+strings.ReplaceAll(code, "-", "")) {
			t.Errorf("the link is %s", url)
		}
		if got := cases(lost); got.Status != 401 {
			t.Errorf("the lost phone: %d %s", got.Status, got.Body)
		}
		phone := f.Page()
		got := use(phone, strings.ToLower(code)).OK()
		if role := got.Text("me", "role"); role != "keeper" {
			t.Errorf("signed in as %q", role)
		}
		if list := cases(phone).OK().Get("cases").([]any); len(list) != 1 || list[0].(map[string]any)["name"] != name {
			t.Errorf("cases %v", list)
		}
		phone.Weigh("b1", animal, 540)
		if got := use(f.Page(), code); got.Status != 401 || reason(got) != "CODE_USED" {
			t.Errorf("a used code: %d %s", got.Status, got.Body)
		}

		f.Clock.Advance(time.Minute)
		tablet := f.Page()
		use(tablet, phone.Call("POST", "/v1/keepers/me:createDeviceCode", map[string]any{}).OK().Text("code", "code")).OK()
		cases(tablet).OK()
		cases(phone).OK()

		limited := false
		for range 12 {
			if got := use(f.Page(), access.NewClaimCode()); got.Status == 429 {
				limited = true
			}
		}
		if !limited {
			t.Error("twelve wrong codes in a row were all tried")
		}
	})
}

func TestCookiesAndCrossSiteRequests(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("b1")
	save := map[string]any{"displayName": "New name"}
	const path = "/v1/breeders/b1"
	for name, header := range map[string][]string{
		"without the header":   {"X-Warmhand", ""},
		"from another site":    {"Origin", "https://other.example"},
		"from a hidden origin": {"Origin", "null"},
		"from another port":    {"Origin", "http://localhost:1"},
	} {
		got := page.Call("PATCH", path, save, header...)
		if reason, _, _ := got.Problem(); got.Status != 403 || reason != "NOT_YOURS" {
			t.Errorf("%s: %d %s", name, got.Status, got.Body)
		}
	}
	if page.Call("GET", path, nil).OK().Text("breeder", "displayName") == "New name" {
		t.Fatal("another site changed something")
	}
	page.Call("PATCH", path, save, "Origin", f.Server.Origin()).OK()
	page.Call("PATCH", path, save, "Origin", f.URL).OK()

	res := f.SignIn(care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"})
	secret := res.Cookies()["warmhand_b"]
	if secret == "" {
		t.Fatalf("cookies %v", res.Cookies())
	}
	// A cookie older than a day is replaced by any answer, and works meanwhile.
	f.Clock.Advance(25 * time.Hour)
	got := res.Call("GET", path, nil).OK()
	set := got.Header.Get("Set-Cookie")
	for _, part := range []string{"warmhand_b=", "HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=2592000"} {
		if !strings.Contains(set, part) {
			t.Errorf("the cookie lacks %s: %s", part, set)
		}
	}
	if res.Cookies()["warmhand_b"] == secret {
		t.Error("the cookie was not replaced")
	}
	// An error answer carries it too.
	f.Clock.Advance(25 * time.Hour)
	before := res.Cookies()["warmhand_b"]
	if got := res.Call("GET", "/v1/breeders/other", nil); got.Status != 404 || res.Cookies()["warmhand_b"] == before {
		t.Errorf("%d, cookie replaced: %v", got.Status, res.Cookies()["warmhand_b"] != before)
	}
	res.Call("POST", "/v1/access:signOut", map[string]any{}).OK()
	if res.Cookies()["warmhand_b"] != "" {
		t.Error("the cookie is still there after signing out")
	}
	// A dead cookie does not keep anybody from what is open to all.
	res.SetCookie("warmhand_b", before)
	if me := res.Call("GET", "/v1/me", nil).OK(); me.Text("role") != "" {
		t.Errorf("signed out, and still %s", me.Body)
	}
	if got := res.Call("GET", path, nil); got.Status != 401 {
		t.Errorf("a dead cookie got %d", got.Status)
	}

	secure := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.PublicURL = "https://snakes.example.org" }})
	secure.NewBreeder("b1")
	var link string
	secure.Write(func(tx care.Tx) (err error) {
		link, _, err = access.NewSignInLink(tx, care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"}, secure.Clock.Now())
		return err
	})
	set = secure.Page().Call("POST", "/v1/access:redeemSignInLink", map[string]any{"secret": link}).OK().Header.Get("Set-Cookie")
	if !strings.HasPrefix(set, "__Host-warmhand_b=") || !strings.Contains(set, "Secure") || strings.Contains(set, "Domain") {
		t.Errorf("the cookie on https is %s", set)
	}
}

// One phone is a breeder's and a keeper's at once.
func TestTwoSignInsOnOnePhone(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	seller := f.NewBreeder("b1")
	bought := seller.NewAnimal()
	caseID, code := seller.HandOver(bought)
	phone := f.NewBreeder("b2")
	own := phone.NewAnimal()
	phone.Claim(code).OK()
	if c := phone.Cookies(); c["warmhand_b"] == "" || c["warmhand_k"] == "" {
		t.Fatalf("cookies %v", c)
	}
	by := func(breeder, animal string, header ...string) string {
		a := phone.Call("POST", "/v1/breeders/"+breeder+"/animals/"+animal+"/entries?entryId="+f.ID("entry"),
			map[string]any{"happenTime": f.Clock.Now(), "weighIn": map[string]any{"massG": 100}}, header...)
		if a.Status != 200 {
			return string(a.Body)
		}
		return a.Text("entry", "by")
	}
	if got := by("b1", bought); got != "ACTOR_KIND_KEEPER" {
		t.Errorf("on the bought animal: %s", got)
	}
	if got := by("b2", own); got != "ACTOR_KIND_BREEDER" {
		t.Errorf("on the own animal: %s", got)
	}
	phone.Call("GET", "/v1/keepers/me/cases", nil).OK()
	phone.Call("GET", "/v1/breeders/b2/cases", nil).OK()
	phone.Call("GET", "/v1/breeders/b1/cases/"+caseID, nil).OK()
	if got := phone.Call("GET", "/v1/breeders/b1/cases", nil); got.Status != 404 {
		t.Errorf("the other breeder's list: %d", got.Status)
	}

	// A breeder who tries a record on the own phone acts as the page says.
	_, code = phone.HandOver(own)
	phone.Claim(code).OK()
	if got := by("b2", own, "X-Warmhand", "keeper"); got != "ACTOR_KIND_KEEPER" {
		t.Errorf("as the keeper of the own animal: %s", got)
	}
}

// events reads server-sent events until the stream ends.
func events(res *http.Response) <-chan string {
	out := make(chan string, 16)
	go func() {
		defer close(out)
		defer res.Body.Close()
		lines := bufio.NewScanner(res.Body)
		for lines.Scan() {
			if line := lines.Text(); line != "" {
				out <- line
			}
		}
	}()
	return out
}

func within(t *testing.T, d time.Duration, ch <-chan string, want string) string {
	t.Helper()
	deadline := time.After(d)
	for {
		select {
		case line, ok := <-ch:
			if !ok {
				t.Fatalf("the stream ended before %q", want)
			}
			if strings.HasPrefix(line, want) {
				return line
			}
		case <-deadline:
			t.Fatalf("nothing like %q within %v", want, d)
		}
	}
}

func TestLiveChanges(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		animal := breeder.NewAnimal()
		caseID, code := breeder.HandOver(animal)
		keeper, stranger := f.Page(), f.Page()
		keeper.Claim(code).OK()
		_, other := breeder.HandOver(breeder.NewAnimal())
		stranger.Claim(other).OK()

		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		toBreeder := events(breeder.Open(ctx, "GET", "/v1/breeders/b1/live", nil))
		toKeeper := events(keeper.Open(ctx, "GET", "/v1/keepers/me/live", nil))
		toStranger := events(stranger.Open(ctx, "GET", "/v1/keepers/me/live", nil))
		for _, ch := range []<-chan string{toBreeder, toKeeper, toStranger} {
			within(t, 5*time.Second, ch, ": here")
		}
		keeper.Weigh("b1", animal, 500)
		for who, ch := range map[string]<-chan string{"breeder": toBreeder, "keeper": toKeeper} {
			within(t, time.Second, ch, "event: change")
			line := within(t, time.Second, ch, "data: ")
			var got struct {
				What string
				Case struct {
					Name   string
					Animal struct{ Note string }
				}
			}
			if err := json.Unmarshal([]byte(strings.TrimPrefix(line, "data: ")), &got); err != nil {
				t.Fatal(err)
			}
			if got.What != "entry" || got.Case.Name != "breeders/b1/cases/"+caseID || (got.Case.Animal.Note != "") != (who == "breeder") {
				t.Errorf("the %s got %s", who, line)
			}
		}
		// The stranger's first event is of the own case.
		stranger.Call("GET", "/v1/keepers/me/cases", nil).OK()
		select {
		case line := <-toStranger:
			t.Errorf("another keeper got %s", line)
		default:
		}

		if got := stranger.Call("GET", "/v1/breeders/b1/live", nil); got.Status != 403 {
			t.Errorf("a keeper at the breeder's stream: %d", got.Status)
		}
		// Signing out ends the stream at the next change.
		keeper.Call("POST", "/v1/access:signOut", map[string]any{}).OK()
		breeder.Call("POST", "/v1/breeders/b1/cases/"+caseID+":markSeen", map[string]any{}).OK()
		ended := time.After(5 * time.Second)
		for open := true; open; {
			select {
			case line, ok := <-toKeeper:
				if open = ok; ok && strings.Contains(line, `"seen"`) {
					t.Error("a signed-out keeper got a change")
				}
			case <-ended:
				t.Fatal("the stream outlives the sign-in")
			}
		}
		// Stopping the server ends the others, without an error.
		if err := f.Stop(); err != nil {
			t.Error(err)
		}
		for range toBreeder {
		}
		for range toStranger {
		}
	})
}

func TestStopLetsRequestsFinish(t *testing.T) {
	t.Parallel()
	asked := make(chan struct{}, 1) // the time was asked for
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		now := c.Now
		c.Now = func() time.Time {
			select {
			case asked <- struct{}{}:
			default:
			}
			return now()
		}
	}})
	breeder := f.NewBreeder("b1")
	caseID, _ := breeder.HandOver(breeder.NewAnimal())
	jpg := picture(t, 640, 480)
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	status := make(chan int, 1)
	for len(asked) > 0 {
		<-asked
	}
	go func() {
		defer close(status)
		res := breeder.Open(context.Background(), "PUT", "/v1/breeders/b1/cases/"+caseID+"/photos/photo-1", r, "Content-Type", "image/jpeg")
		res.Body.Close()
		status <- res.StatusCode
	}()
	if _, err := w.Write(jpg[:len(jpg)/2]); err != nil {
		t.Fatal(err)
	}
	<-asked // to check the sign-in: the request is under way
	stopped := make(chan error, 1)
	go func() { stopped <- f.Stop() }()
	// New connections are refused once stopping has begun.
	for deadline := time.Now().Add(time.Minute); ; <-time.After(time.Millisecond) {
		res, err := (&http.Client{Transport: &http.Transport{DisableKeepAlives: true}}).Get(f.URL + "/healthz")
		if err != nil {
			break
		}
		res.Body.Close()
		if time.Now().After(deadline) {
			t.Fatal("the port stays open")
		}
	}
	if _, err := w.Write(jpg[len(jpg)/2:]); err != nil {
		t.Fatal(err)
	}
	w.Close()
	if got := <-status; got != http.StatusOK {
		t.Errorf("the upload under way got %d", got)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
}

func TestPhotos(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		caseID, code := breeder.HandOver(breeder.NewAnimal())
		keeper := f.Page()
		keeper.Claim(code).OK()
		_, other := breeder.HandOver(breeder.NewAnimal())
		stranger := f.Page()
		stranger.Claim(other).OK()
		path := "/v1/breeders/b1/cases/" + caseID + "/photos/photo-1"
		jpg := picture(t, 2000, 1000)
		first := keeper.Call("PUT", path, jpg, "Content-Type", "image/jpeg", "X-Taken-At", "2026-05-30T10:00:00+02:00").OK()
		if first.Text("takeTime") != "2026-05-30T08:00:00Z" || first.Get("width") != 2000.0 || first.Text("by") != "ACTOR_KIND_KEEPER" {
			t.Errorf("the photo is %s", first.Body)
		}
		again := keeper.Call("PUT", path, jpg, "Content-Type", "image/jpeg").OK()
		if again.Text("takeTime") != first.Text("takeTime") {
			t.Errorf("a repeat got %s", again.Body)
		}
		got := keeper.Call("PUT", path, picture(t, 30, 20), "Content-Type", "image/jpeg")
		if reason, _, _ := got.Problem(); got.Status != 409 || reason != "ID_REUSED" {
			t.Errorf("another picture under the id: %d %s", got.Status, got.Body)
		}
		if got := stranger.Call("PUT", path+"x", jpg, "Content-Type", "image/jpeg"); got.Status != 404 {
			t.Errorf("a stranger's picture: %d", got.Status)
		}
		for size, side := range map[string]int{"/320": 320, "/1600": 1600} {
			for _, who := range []*servertest.Client{keeper, breeder} {
				got := who.Call("GET", path+size, nil).OK()
				pic, err := jpeg.DecodeConfig(bytes.NewReader(got.Body))
				if err != nil || pic.Width != side || got.Header.Get("Content-Type") != "image/jpeg" || !strings.HasPrefix(got.Header.Get("Cache-Control"), "private") {
					t.Errorf("%s: %v, %+v, %v", size, err, pic, got.Header)
				}
				if got := who.Call("GET", path+size, nil, "If-None-Match", got.Header.Get("ETag")); got.Status != 304 {
					t.Errorf("asked again: %d", got.Status)
				}
			}
			if got := stranger.Call("GET", path+size, nil); got.Status != 404 {
				t.Errorf("a stranger sees the picture: %d", got.Status)
			}
			if got := f.Page().Call("GET", path+size, nil); got.Status != 401 {
				t.Errorf("a visitor sees the picture: %d", got.Status)
			}
		}
		if n := len(breeder.Call("GET", "/v1/breeders/b1/cases/"+caseID+"/photos", nil).OK().Get("photos").([]any)); n != 1 {
			t.Errorf("%d photos are listed", n)
		}
	})
}

func TestTheWebAppAndItsHeaders(t *testing.T) {
	t.Parallel()
	app := fstest.MapFS{
		"index.html":           {Data: []byte("<!doctype html><title>app</title>" + strings.Repeat(" ", 500))},
		"sw.js":                {Data: []byte("// worker")},
		"manifest.webmanifest": {Data: []byte("{}")},
		"assets/main-AB12.js":  {Data: []byte("// " + strings.Repeat("x", 1000))},
	}
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.Static = app }})
	for _, c := range []struct {
		path, kind, cache string
		status            int
	}{
		{"/", "text/html", "no-cache", 200},
		{"/k/b1/case", "text/html", "no-cache", 200},
		{"/sw.js", "text/javascript", "no-cache", 200},
		{"/manifest.webmanifest", "application/manifest+json", "no-cache", 200},
		{"/assets/main-AB12.js", "text/javascript", "immutable", 200},
		{"/assets/main-CD34.js", "text/plain", "", 404},
		{"/missing.png", "text/plain", "", 404},
		{"/v1/nothing", "application/json", "no-store", 404},
		{"/openapi.json", "application/json", "no-cache", 200},
		{"/api", "text/html", "no-cache", 200},
		{"/api.css", "text/css", "no-cache", 200},
		{"/healthz", "text/plain", "no-store", 200},
		{"/livez", "text/plain", "no-store", 200},
	} {
		got := f.Page().Call("GET", c.path, nil)
		h := got.Header
		if got.Status != c.status || !strings.HasPrefix(h.Get("Content-Type"), c.kind) || !strings.Contains(h.Get("Cache-Control"), c.cache) {
			t.Errorf("%s: %d %s %s", c.path, got.Status, h.Get("Content-Type"), h.Get("Cache-Control"))
		}
		if !strings.Contains(h.Get("Content-Security-Policy"), "default-src 'self'") || h.Get("X-Content-Type-Options") != "nosniff" ||
			h.Get("Referrer-Policy") != "no-referrer" || h.Get("Permissions-Policy") != "camera=(self)" || h.Get("Cross-Origin-Opener-Policy") != "same-origin" ||
			h.Get("X-Request-Id") == "" {
			t.Errorf("%s lacks a header: %v", c.path, h)
		}
	}
	page := f.Page().Call("GET", "/api", nil).OK()
	for _, want := range []string{"CreateEntry", "/v1/breeders/{parent}/cases", "warmhand.v1.Assessment", "STANDING_STEP_IN", "server-sent events"} {
		if !bytes.Contains(bytes.ToLower(page.Body), []byte(strings.ToLower(want))) {
			t.Errorf("the API page does not mention %s", want)
		}
	}
	if bytes.Contains(page.Body, []byte("<script")) || bytes.Contains(page.Body, []byte("style=")) {
		t.Error("the API page needs what the security policy forbids")
	}

	bare := servertest.Start(t, servertest.Options{})
	if got := bare.Page().Call("GET", "/", nil); got.Status != 503 || !bytes.Contains(got.Body, []byte("make build")) {
		t.Errorf("without an app: %d %s", got.Status, got.Body)
	}
}

func TestOneServerForOneFolder(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	cfg := server.Config{DataDir: dir, Listen: "127.0.0.1:0"}
	first, err := server.New(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	if second, err := server.New(t.Context(), cfg); err == nil || !strings.Contains(err.Error(), "another server") {
		t.Errorf("a second server: %v, %v", second, err)
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := server.New(t.Context(), cfg)
	if err != nil {
		t.Fatalf("after closing: %v", err)
	}
	if err := again.Close(); err != nil {
		t.Fatal(err)
	}
	if err := again.Close(); err != nil {
		t.Errorf("closed twice: %v", err)
	}
}

// A start that fails closes what it opened; goleak looks for the rest.
func TestFailedStarts(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for name, cfg := range map[string]server.Config{
		"no folder":    {Listen: "127.0.0.1:0"},
		"a file":       {DataDir: file, Listen: "127.0.0.1:0"},
		"bad address":  {DataDir: dir, Listen: "127.0.0.1:99999"},
		"bad URL":      {DataDir: dir, Listen: "127.0.0.1:0", PublicURL: "snakes"},
		"URL and path": {DataDir: dir, Listen: "127.0.0.1:0", PublicURL: "https://example.org/app"},
		"bad database": {DataDir: t.TempDir(), Listen: "127.0.0.1:0", DatabaseURL: "mysql://x"},
	} {
		if s, err := server.New(t.Context(), cfg); err == nil {
			s.Close()
			t.Errorf("%s: it started", name)
		}
	}
	s, err := server.New(t.Context(), server.Config{DataDir: dir, Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatalf("the folder is still in use: %v", err)
	}
	s.Close()
}

func TestPassLooksAtDueCases(t *testing.T) {
	t.Parallel()
	clock := &servertest.Clock{}
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.PassEvery = 10 * time.Millisecond
		base := c.Now
		c.Now = func() time.Time { return base().Add(time.Duration(clock.Now().UnixMilli()) * time.Millisecond) }
	}})
	breeder := f.NewBreeder("b1")
	animal := breeder.NewAnimal()
	breeder.Weigh("b1", animal, 500)
	caseID, _ := breeder.HandOver(animal)
	read := func() (c care.Case) {
		t.Helper()
		if err := f.Server.Store().Read(t.Context(), func(tx care.Tx) (err error) {
			c, err = tx.Case("b1", caseID)
			return err
		}); err != nil {
			t.Fatal(err)
		}
		return c
	}
	before := read()
	clock.Advance(30 * 24 * time.Hour)
	for deadline := time.Now().Add(time.Minute); !read().AssessedAt.After(before.AssessedAt); <-time.After(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("nobody looked at the case in a month")
		}
	}
}

// Who asks a server whether requests may come hears what it says to them.
func TestReady(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	for _, address := range []string{strings.TrimPrefix(f.URL, "http://"), f.URL + "/"} {
		if err := server.Ready(t.Context(), address); err != nil {
			t.Errorf("%s: %v", address, err)
		}
	}
	db, err := sql.Open("sqlite3", "file:"+filepath.Join(f.DataDir, "warmhand.db"))
	if err == nil {
		_, err = db.Exec(`ALTER TABLE breeders RENAME TO lost`)
	}
	if err := errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
	if err := server.Ready(t.Context(), f.URL); err == nil || !strings.Contains(err.Error(), "The database does not answer.") {
		t.Errorf("without its tables: %v", err)
	}
	// The web app answers at any address, and a server of something else may, too.
	if err := server.Ready(t.Context(), f.URL+"/settings"); err == nil {
		t.Error("another page passes for the answer")
	}
}
