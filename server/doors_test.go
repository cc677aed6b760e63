package server_test

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/netip"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"

	"warmhand/internal/access"
	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/server"
	"warmhand/server/servertest"
)

// Routes beside the contract are closed to others, too. Each that is open says
// why.
func TestOthersFilesDoNotExist(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	first, second, keeper, neighbourPage := f.NewBreeder("b1"), f.NewBreeder("b2"), f.Page(), f.Page()
	victim := settle(t, f, first, f.Page(), private)
	settle(t, f, second, keeper, "Lisbon")
	settle(t, f, first, neighbourPage, "Oslo")
	open := map[string]string{
		"GET /v1/breeders/{breeder}/keys.json": "the public keys by which records are checked",
		"GET /v1/keepers/me/live":              "the caller's own",
		"GET /v1/keepers/me/export.zip":        "the caller's own",
	}
	bodies := map[string]any{
		"POST /v1/breeders/{breeder}/cards.pdf": map[string]any{"paper": "a4", "form": "credit",
			"cards": []any{map[string]any{"handover": "breeders/b1/handovers/" + victim["case"], "claimCode": "0000000000"}}},
		"POST /v1/breeders/{breeder}/cases/{case}/vet-letter.pdf": map[string]any{"paper": "a4"},
		"POST /v1/vet-letter.pdf":                                 map[string]any{"secret": access.NewSecret(care.SecretLetter), "paper": "a4"},
		"PUT /v1/breeders/{breeder}/imports/{import}/file":        []byte("name,species\nBirch,corn\n"),
	}
	before := rowsOf(f, victim)
	for _, route := range server.PlainRoutes() {
		verb, path, _ := strings.Cut(route, " ")
		path = strings.NewReplacer("{breeder}", "b1", "{case}", victim["case"], "{handover}", victim["case"], "{photo}", victim["photo"], "{size}", "1600",
			"{import}", victim["import"], "{file}", "stock.csv", "{digest}", digest([]byte("not the record")), "{link}", access.NewSecret(care.SecretCalendar)+".ics",
			"{what}", "stop", "{token}", victim["way"]+".AAAA").Replace(path)
		if strings.HasSuffix(path, "/labels.pdf") {
			path += "?animal=" + victim["animal"]
		}
		if strings.Contains(path, "{") {
			t.Errorf("%s: say what goes into it", route)
			continue
		}
		for who, c := range map[string]*servertest.Client{"nobody": f.Page(), "another breeder": second, "another's keeper": keeper, "another keeper": neighbourPage} {
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
			var header []string
			if strings.Contains(route, "/photos/") && verb != "GET" {
				header = []string{"Content-Type", "image/jpeg", "Upload-Offset", "0"}
			}
			res := c.Open(ctx, verb, path, bodies[route], header...)
			denied := res.StatusCode == 401 || res.StatusCode == 403 || res.StatusCode == 404
			var said []byte
			if !strings.HasSuffix(path, "/live") || denied {
				said, _ = io.ReadAll(res.Body)
			}
			cancel()
			res.Body.Close()
			if bytes.Contains(said, []byte(private)) || !denied && open[route] == "" {
				t.Errorf("%s by %s: %d %.300s", route, who, res.StatusCode, said)
			}
		}
		for _, name := range []string{"PUT /", "POST /", "PATCH /", "DELETE /"} {
			if !strings.HasPrefix(route, name) || strings.HasPrefix(path, "/mail/") { // mail programs send those; no cookie is looked at
				continue
			}
			if got := first.Call(verb, path, bodies[route], "Origin", "https://other.example"); got.Status != 403 {
				t.Errorf("%s from another site: %d", route, got.Status)
			}
			if got := first.Call(verb, path, bodies[route], "X-Warmhand", ""); got.Status != 403 {
				t.Errorf("%s by a form: %d", route, got.Status)
			}
		}
	}
	if after := rowsOf(f, victim); !slices.Equal(before, after) {
		t.Errorf("somebody changed what is another's: before\n%s\nafter\n%s", strings.Join(before, "\n"), strings.Join(after, "\n"))
	}
}

// What a browser can be made to send by another site is a GET, or lacks the
// header: the one changes nothing, the other is refused.
func TestNoOtherSiteChangesAnything(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("b1")
	for _, m := range methods(t) {
		rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
		if rule == nil {
			continue
		}
		name := fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name())
		if rule.GetGet() != "" && !server.OnlyReads(name) {
			t.Errorf("%s changes something and is a GET", m.Name())
		}
		for verb, path := range map[string]string{"POST": rule.GetPost(), "PATCH": rule.GetPatch(), "DELETE": rule.GetDelete(), "PUT": rule.GetPut()} {
			if path == "" {
				continue
			}
			path = pathField.ReplaceAllStringFunc(path, func(field string) string {
				_, pattern, _ := strings.Cut(strings.Trim(field, "{}"), "=")
				return strings.ReplaceAll(strings.Replace(pattern, "breeders/*", "breeders/b1", 1), "*", "x1")
			})
			for what, header := range map[string][]string{"a form": {"X-Warmhand", ""}, "another site": {"Origin", "https://other.example"}, "a sandbox": {"Origin", "null"}} {
				if got := page.Call(verb, path, map[string]any{}, header...); got.Status != 403 {
					t.Errorf("%s by %s: %d %s", m.Name(), what, got.Status, got.Body)
				}
			}
		}
	}
	for _, route := range server.PlainRoutes() {
		if strings.HasPrefix(route, "GET ") && !server.OnlyReads(route) {
			t.Errorf("%s changes something", route)
		}
	}
}

// Addresses and headers that one part of a program may read otherwise than
// another.
func TestTricksWithAddresses(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.TrustedProxies = nil }})
	first := f.NewBreeder("b1")
	f.NewBreeder("b2")
	victim := settle(t, f, first, f.Page(), private)
	session := f.Session(care.Actor{Kind: care.BreederOwner, BreederID: "b2", UserID: "b2-owner"})
	raw := func(target string, header ...string) (int, string) {
		t.Helper()
		conn, err := net.Dial("tcp", f.Server.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		conn.SetDeadline(time.Now().Add(20 * time.Second)) //nolint:errcheck // on TCP
		fmt.Fprintf(conn, "GET %s HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nAuthorization: Bearer %s\r\n%s\r\n", target, session, strings.Join(append(header, ""), "\r\n"))
		res, err := http.ReadResponse(bufio.NewReader(conn), nil)
		if err != nil {
			return 0, err.Error()
		}
		defer res.Body.Close()
		body, _ := io.ReadAll(res.Body)
		return res.StatusCode, string(body)
	}
	if code, said := raw("/v1/breeders/b2/animals"); code != 200 {
		t.Fatalf("the own animals: %d %s", code, said)
	}
	one := "/v1/breeders/b1/cases/" + victim["case"]
	for _, target := range []string{
		"/v1/breeders/b2/../b1/animals", "/v1/breeders/b2/..%2fb1/animals", "/v1/breeders/b2%2f..%2fb1/animals", "/v1/breeders/b2/%2e%2e/b1/animals", "/v1/breeders/b2/..%5cb1/animals",
		"//v1/breeders/b1/animals", "/v1//breeders/b1/animals", "/v1/./breeders/b1/animals", "/v1/breeders/b1/animals/", "/V1/breeders/b1/animals", "/v1/breeders/b1;a=b/animals", "/v1/breeders/b1%00/animals",
		"/v1/breeders/%62%31/animals", "/v1/breeders/b2,b1/animals", "/v1/breeders/*/animals", "/v1/breeders/-/animals", "/v1/breeders/b2/animals?parent=breeders/b1", "/v1/breeders/b2/animals?parent=breeders%2Fb1",
		"http://localhost/v1/breeders/b1/animals", one, one + "?name=breeders/b2", "/v1/breeders/b2/cases/" + victim["case"], "/v1/breeders/b2/cases/..%2f..%2fb1%2fcases%2f" + victim["case"],
		one + "/photos/" + victim["photo"] + "/1600", "/v1/breeders/b2/cases/" + victim["case"] + "/photos/" + victim["photo"] + "/1600", "/v1/breeders/b2/cases/x/photos/..%2f..%2f" + victim["photo"] + "/1600",
		"/v1/breeders/b2/export/..%2f..%2fwarmhand.db", "/..%2f..%2fserver.key", "/../server.key", "/assets/..%2f..%2fserver.key", "/%2e%2e/warmhand.db",
	} {
		code, said := raw(target)
		if strings.Contains(said, private) || strings.Contains(said, "SQLite format") {
			t.Errorf("%s shows what is another's: %d %s", target, code, said)
		}
		if code == 200 && strings.HasPrefix(target, "/v1/") && !strings.Contains(target, "parent=") {
			t.Errorf("%s: 200 %s", target, said)
		}
	}
	for _, header := range []string{"X-Original-URL: /v1/breeders/b1/animals", "X-Rewrite-URL: /v1/breeders/b1/animals", "X-HTTP-Method-Override: DELETE", "X-Forwarded-Host: b1.example",
		"X-Forwarded-User: b1-owner", "Grpc-Metadata-Authorization: Bearer x", "Grpc-Metadata-Warmhand-Cookie-Breeder: " + first.Cookies()["warmhand_b"], "Warmhand-Cookie-Breeder: " + first.Cookies()["warmhand_b"],
		"Connection: X-Warmhand, Authorization"} {
		if code, said := raw("/v1/breeders/b1/animals", header); code == 200 || strings.Contains(said, private) {
			t.Errorf("with %s: %d %s", header, code, said)
		}
	}
	for name, header := range map[string]string{"one header": "X-Long: " + strings.Repeat("x", 64<<10), "many headers": strings.Repeat("X-Many: x\r\n", 8000) + "X-Last: x"} {
		if code, said := raw("/v1/breeders/b2/animals", header); code != http.StatusRequestHeaderFieldsTooLarge {
			t.Errorf("%s of 64 kB: %d %.100s", name, code, said)
		}
	}
}

// What leads people on names this server by the name that its operator gave it, whatever a
// request calls it.
func TestNobodyElsesNameInLinks(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.PublicURL = "https://snakes.example.org"
		c.TLSHosts, c.ListenHTTP, c.ACME = []string{"snakes.example.org"}, "127.0.0.1:0", "http://127.0.0.1:1/none"
	}})
	for target, want := range map[string]string{"/c?x=1": "/c?x=1", "//other.example/": "//other.example/", "http://other.example/c": "/c", "x:@other.example/": "/", "/%0d%0aSet-Cookie:%20a=b": "/%0d%0aSet-Cookie:%20a=b"} {
		conn, err := net.Dial("tcp", server.PlainAddr(f.Server).String())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		fmt.Fprintf(conn, "GET %s HTTP/1.1\r\nHost: other.example\r\nX-Forwarded-Host: other.example\r\nConnection: close\r\n\r\n", target)
		res, err := http.ReadResponse(bufio.NewReader(conn), nil)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if got := res.Header.Get("Location"); res.StatusCode != http.StatusPermanentRedirect || got != "https://snakes.example.org"+want || res.Header.Get("Set-Cookie") != "" {
			t.Errorf("%s leads to %q (%d)", target, got, res.StatusCode)
		}
	}

	f = servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.PublicURL = "https://snakes.example.org" }})
	secret := f.Session(func() care.Actor {
		f.Write(func(tx care.Tx) error {
			now := f.Clock.Now()
			if err := tx.InsertBreeder(care.Breeder{ID: "b1", Name: "Breeder", TimeZone: "UTC", Hemi: care.North, CreatedAt: now, Version: 1}); err != nil {
				return err
			}
			return tx.InsertUser(care.User{BreederID: "b1", ID: "b1-owner", Name: "Owner", Role: care.BreederOwner, CreatedAt: now})
		})
		return care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"}
	}())
	req, err := http.NewRequestWithContext(t.Context(), "POST", f.URL+"/v1/access/people/b1-owner:createSignInLink", strings.NewReader("{}"))
	if err != nil {
		t.Fatal(err)
	}
	req.Host = "other.example"
	for name, value := range map[string]string{"Authorization": "Bearer " + secret, "Content-Type": "application/json", "X-Forwarded-Host": "other.example", "X-Forwarded-Proto": "http", "Forwarded": "host=other.example"} {
		req.Header.Set(name, value)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	said, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK || !strings.Contains(string(said), `"https://snakes.example.org/in#`) || strings.Contains(string(said), "other.example") {
		t.Errorf("%d %s, %v", res.StatusCode, said, err)
	}
}

// Who asks is believed of a proxy of ours alone, so limits count callers.
func TestWhoAsksThroughProxies(t *testing.T) {
	t.Parallel()
	tries := func(f *servertest.Fixture, forwarded func(i int) string) (let int) {
		for i := range 14 {
			got := f.Page().Call("POST", "/v1/claims:lookUp", map[string]any{"claimCode": access.NewClaimCode()}, "X-Forwarded-For", forwarded(i))
			if got.Status != http.StatusTooManyRequests {
				let++
			}
		}
		return let
	}
	another := func(i int) string { return fmt.Sprintf("192.0.2.%d", i) }
	for name, c := range map[string]struct {
		trusted   string
		forwarded func(int) string
		want      int
	}{
		"no proxy":                               {"203.0.113.0/24", another, 10},
		"a proxy, other callers":                 {"127.0.0.0/8", another, 14},
		"a proxy, one caller who lies":           {"127.0.0.0/8", func(i int) string { return another(i) + ", 198.51.100.7" }, 10},
		"two proxies, one caller who lies":       {"127.0.0.0/8", func(i int) string { return another(i) + ", 198.51.100.7, 127.0.0.9" }, 10},
		"a proxy that says nothing one can read": {"127.0.0.0/8", func(i int) string { return fmt.Sprint("unknown", i) }, 10},
	} {
		f := servertest.Start(t, servertest.Options{Configure: func(cfg *server.Config) { cfg.TrustedProxies = []netip.Prefix{netip.MustParsePrefix(c.trusted)} }})
		if got := tries(f, c.forwarded); got != c.want {
			t.Errorf("%s: %d of 14 were let through, want %d", name, got, c.want)
		}
		if name != "no proxy" {
			continue
		}
		// By gRPC it is the same limit, and the same lie.
		ctx := metadata.AppendToOutgoingContext(t.Context(), "x-forwarded-for", "192.0.2.77", "warmhand-remote", "192.0.2.78")
		_, err := pb.NewHandoverServiceClient(f.GRPC()).LookUpClaim(ctx, &pb.LookUpClaimRequest{ClaimCode: access.NewClaimCode()})
		if status.Code(err) != codes.ResourceExhausted {
			t.Errorf("by gRPC: %v", err)
		}
	}
}

// A session that somebody planted in a browser is not the one after a sign-in,
// and one that was copied ends for both when the owner has a newer one.
func TestSessionsPlantedAndCopied(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	_, code := breeder.HandOver(breeder.NewAnimal())
	page := f.Page()
	planted := access.NewSecret(care.SecretSession)
	page.SetCookie("warmhand_k", planted)
	page.Claim(code).OK()
	if got := page.Cookies()["warmhand_k"]; got == "" || got == planted {
		t.Error("the planted secret became the keeper's")
	}
	if got := f.Program(planted).Call("GET", "/v1/keepers/me/cases", nil); got.Status != 401 {
		t.Errorf("the planted secret opens something: %d %s", got.Status, got.Body)
	}
	before := breeder.Cookies()["warmhand_b"]
	var link string
	f.Write(func(tx care.Tx) (err error) {
		link, _, err = access.NewSignInLink(tx, care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"}, f.Clock.Now())
		return err
	})
	breeder.Call("POST", "/v1/access:redeemSignInLink", map[string]any{"secret": link}).OK()
	if breeder.Cookies()["warmhand_b"] == before {
		t.Error("the secret from before the sign-in is the one after it")
	}

	copied := breeder.Cookies()["warmhand_b"]
	f.Clock.Advance(25 * time.Hour)
	breeder.Call("GET", "/v1/breeders/b1", nil).OK() // gets the next one
	f.Clock.Advance(11 * time.Minute)
	breeder.Call("GET", "/v1/breeders/b1", nil).OK() // and has kept it
	f.Clock.Advance(2 * time.Minute)
	if got := f.Program(copied).Call("GET", "/v1/breeders/b1", nil); got.Status != 401 {
		t.Errorf("the copied one still opens: %d", got.Status)
	}
	if got := breeder.Call("GET", "/v1/breeders/b1", nil); got.Status != 401 {
		t.Errorf("nobody knows which of the two is the owner, and one goes on: %d", got.Status)
	}
	// A cookie of one role does not act in the other's place.
	keeper := page.Cookies()["warmhand_k"]
	wrong := f.Page()
	wrong.SetCookie("warmhand_b", keeper)
	if got := wrong.Call("GET", "/v1/keepers/me/cases", nil); got.Status != 401 {
		t.Errorf("a keeper's session in the breeder's cookie: %d", got.Status)
	}
}

// A phone that is lost opens nothing from the moment on that its owner says so on another
// device; nobody else is signed out.
func TestLostPhone(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		owner, other := f.NewBreeder("b1"), f.NewBreeder("b2")
		who := care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"}
		lost := f.SignIn(who)
		lost.Call("POST", "/v1/me/reminders:addDevice", subscription(t, "https://push.example.org/"+f.ID("lost"))).OK()
		person := owner.Call("POST", "/v1/access/people", map[string]any{"displayName": "Ida"}).OK().Text("person", "personId")
		helper := f.SignIn(care.Actor{Kind: care.Helper, BreederID: "b1", UserID: person})

		token := owner.Call("POST", "/v1/access/tokens", map[string]any{"label": "sheet"}).OK().Text("secret")
		f.Clock.Advance(25 * time.Hour)
		lost.Call("GET", "/v1/breeders/b1", nil).OK() // its secret is renewed: either ends
		link := owner.Call("POST", "/v1/access/people/b1-owner:createSignInLink", map[string]any{}).OK().Text("url")
		if got := owner.Call("POST", "/v1/access:endOtherSignIns", map[string]any{}).OK().Get("ended"); got != 1.0 {
			t.Errorf("%v sign-ins ended", got)
		}
		if got := lost.Call("GET", "/v1/breeders/b1", nil); got.Status != 401 {
			t.Errorf("the lost phone: %d %s", got.Status, got.Body)
		}
		_, secret, _ := strings.Cut(link, "#")
		if got := lost.Call("POST", "/v1/access:redeemSignInLink", map[string]any{"secret": secret}); got.Status < 400 {
			t.Errorf("a link from before: %d", got.Status)
		}
		f.Write(func(tx care.Tx) error {
			if ways, err := tx.ListWays("b1", "b1-owner"); err != nil || len(ways) != 0 {
				t.Errorf("the lost phone is reminded: %v, %v", ways, err)
			}
			return nil
		})
		owner.Call("GET", "/v1/breeders/b1", nil).OK()
		helper.Call("GET", "/v1/breeders/b1", nil).OK()
		other.Call("GET", "/v1/breeders/b2", nil).OK()
		f.Program(token).Call("GET", "/v1/breeders/b1", nil).OK()
		if got := helper.Call("POST", "/v1/access:endOtherSignIns", map[string]any{}).OK().Get("ended"); got != nil && got != 0.0 {
			t.Errorf("a helper ended %v sign-ins of others", got)
		}
		owner.Call("GET", "/v1/breeders/b1", nil).OK()
	})
}

// One person's streams and one message are bounded, and who sends slowly is cut
// off.
func TestStreamsMessagesAndSlowCallers(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.Patience = 1500 * time.Millisecond }})
	page, other := f.NewBreeder("b1"), f.NewBreeder("b2")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var open []*http.Response
	for {
		res := page.Open(ctx, "GET", "/v1/breeders/b1/live", nil)
		defer res.Body.Close()
		if res.StatusCode != http.StatusOK {
			if res.StatusCode != http.StatusTooManyRequests || res.Header.Get("Retry-After") == "" {
				t.Errorf("one stream more is %d", res.StatusCode)
			}
			break
		}
		if open = append(open, res); len(open) > 100 {
			t.Fatal("streams without an end")
		}
	}
	if len(open) < 12 {
		t.Errorf("%d streams only", len(open))
	}
	stream, err := pb.NewCaseServiceClient(f.GRPC()).WatchCases(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+page.Cookies()["warmhand_b"]),
		&pb.WatchCasesRequest{Parent: "breeders/b1"})
	if err == nil {
		_, err = stream.Recv()
	}
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("by gRPC one more is %v", err)
	}
	elsewhere := other.Open(ctx, "GET", "/v1/breeders/b2/live", nil)
	elsewhere.Body.Close()
	if elsewhere.StatusCode != http.StatusOK {
		t.Errorf("another's stream: %d", elsewhere.StatusCode)
	}
	open[0].Body.Close()
	for deadline := time.Now().Add(30 * time.Second); ; <-time.After(time.Millisecond) { // the server notices that it is closed
		res := page.Open(ctx, "GET", "/v1/breeders/b1/live", nil)
		res.Body.Close()
		if res.StatusCode == http.StatusOK {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("a closed stream is counted for ever")
		}
	}

	_, err = pb.NewEntryServiceClient(f.GRPC()).CreateEntry(t.Context(), &pb.CreateEntryRequest{Entry: &pb.Entry{Note: strings.Repeat("x", 2<<20)}}, grpc.MaxCallSendMsgSize(4<<20))
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("a message of 2 MiB: %v", err)
	}

	for name, begin := range map[string]string{
		"nothing":                  "",
		"headers that end not":     "GET /v1/me HTTP/1.1\r\nHost: localhost\r\nX-Slow: ",
		"a body that ends not":     "POST /v1/claims:lookUp HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n{",
		"a body that nobody wants": "PUT /v1/breeders/b1/cases/c1/photos/p1 HTTP/1.1\r\nHost: localhost\r\nContent-Type: image/jpeg\r\nContent-Length: 500\r\n\r\n{",
		"one for a page":           "GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 500\r\n\r\n{",
	} {
		conn, err := net.Dial("tcp", f.Server.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if _, err := io.WriteString(conn, begin); err != nil {
			t.Fatal(err)
		}
		conn.SetDeadline(time.Now().Add(10 * time.Second)) //nolint:errcheck // on TCP
		said, err := io.ReadAll(conn)
		if err != nil || strings.HasPrefix(string(said), "HTTP/1.1 200") {
			t.Errorf("after %s the connection stays: %v %s", name, err, said)
		}
	}
}

// Who takes an answer too slowly is cut off, and who only waits for the next piece of a
// stream is not.
func TestSlowReaders(t *testing.T) {
	t.Parallel()
	const patience = 400 * time.Millisecond
	large := make([]byte, 64<<20) // more than any buffer on the way
	rand.NewChaCha8([32]byte{}).Read(large)
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.Patience = patience
		c.Static = fstest.MapFS{"index.html": {Data: []byte("<!doctype html>")}, "assets/large.webp": {Data: large}}
	}})
	page := f.NewBreeder("b1")
	animal := page.NewAnimal()
	page.HandOver(animal)

	conn, err := net.Dial("tcp", f.Server.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := io.WriteString(conn, "GET /assets/large.webp HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(30 * time.Second); ; <-time.After(10 * time.Millisecond) {
		if _, err := io.WriteString(conn, "x"); err != nil { // the other side is gone
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("who reads nothing is waited for")
		}
	}

	var protocols http.Protocols
	protocols.SetUnencryptedHTTP2(true)
	http2 := &http.Client{Transport: &http.Transport{Protocols: &protocols}}
	defer http2.CloseIdleConnections()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	open := func(method, path string, body io.Reader, header ...string) (*http.Response, error) {
		t.Helper()
		req, err := http.NewRequestWithContext(ctx, method, f.URL+path, body)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+page.Cookies()["warmhand_b"])
		for i := 0; i < len(header); i += 2 {
			req.Header.Set(header[i], header[i+1])
		}
		return http2.Do(req)
	}
	live, err := open("GET", "/v1/breeders/b1/live", nil)
	if err != nil || live.StatusCode != http.StatusOK || live.ProtoMajor != 2 {
		t.Fatalf("%v, %v", live, err)
	}
	defer live.Body.Close()
	res, err := open("GET", "/assets/large.webp", nil)
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("%v, %v", res, err)
	}
	<-time.After(4 * patience) // a piece has three
	if n, err := io.Copy(io.Discard, res.Body); err == nil {
		t.Errorf("by HTTP/2, who read nothing got %d bytes in the end", n)
	}
	res.Body.Close()
	page.Weigh("b1", animal, 500)
	if line, err := bufio.NewReader(live.Body).ReadString('{'); err != nil || !strings.Contains(line, "event: change") {
		t.Errorf("a stream on which nothing happened for a while: %q, %v", line, err)
	}

	// By gRPC a message that never comes is not waited for, and streams of nobody are counted.
	never, stop := io.Pipe()
	defer stop.Close()
	begun := time.Now()
	if res, err := open("POST", "/warmhand.v1.AccessService/GetMe", never, "Content-Type", "application/grpc", "Te", "trailers"); err == nil {
		_, err = io.Copy(io.Discard, res.Body)
		if res.Body.Close(); res.Trailer.Get("Grpc-Status") == "0" {
			t.Errorf("a call without a message is answered: %v %v", res.Trailer, err)
		}
	}
	if took := time.Since(begun); ctx.Err() != nil {
		t.Errorf("a message is waited for %v", took)
	}
	watch := func() error {
		stream, err := healthpb.NewHealthClient(f.GRPC()).Watch(ctx, &healthpb.HealthCheckRequest{})
		if err == nil {
			_, err = stream.Recv()
		}
		return err
	}
	streams := 0
	for ; streams < 100 && err == nil; streams++ {
		err = watch()
	}
	if status.Code(err) != codes.ResourceExhausted || streams < 12 {
		t.Errorf("after %d streams of nobody: %v", streams, err)
	}
}

// logged is a log that is kept, with every detail.
type logged struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

// Nothing of a person and nothing that opens something is in the log, also
// when things go wrong.
func TestLogNamesNobody(t *testing.T) {
	t.Parallel()
	log := &logged{}
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.Log = slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	}})
	breeder, keeper := f.NewBreeder("b1"), f.Page()
	var secrets []string
	keep := func(s string) string {
		if len(s) < 8 {
			t.Fatalf("%q is no secret", s)
		}
		secrets = append(secrets, s)
		return s
	}
	victim := settle(t, f, breeder, keeper, private)
	name := "/v1/breeders/b1/cases/" + victim["case"]
	keep(breeder.Cookies()["warmhand_b"])
	keep(keeper.Cookies()["warmhand_k"])
	token := keep(breeder.Call("POST", "/v1/access/tokens", map[string]any{"label": private}).OK().Text("secret"))
	calendar := keeper.Call("POST", "/v1/keepers/me:createCalendarLink", map[string]any{}).OK().Text("link", "url")
	calendar = keep(calendar[strings.LastIndexByte(calendar, '/')+1:])
	letter := keeper.Call("POST", name+":createLetterLink", map[string]any{"concern": private}).OK().Text("url")
	letter = keep(letter[strings.LastIndexByte(letter, '#')+1:])
	keeperCode := keep(breeder.Call("POST", name+":createKeeperCode", map[string]any{}).OK().Text("code", "code"))
	recovery := breeder.Call("POST", "/v1/access:createRecoveryCodes", map[string]any{}).OK().Get("codes").([]any)[0].(string)
	keep(recovery)
	_, claim := breeder.HandOver(breeder.NewAnimal())
	keep(claim)
	var link string
	f.Write(func(tx care.Tx) (err error) {
		link, _, err = access.NewSignInLink(tx, care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"}, f.Clock.Now())
		return err
	})
	keep(link)

	// Every use goes wrong: the database has lost its tables.
	db, err := sql.Open("sqlite3", "file:"+filepath.Join(f.DataDir, "warmhand.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	spoil := func(tables ...string) {
		t.Helper()
		for _, table := range tables {
			if _, err := db.Exec(`ALTER TABLE ` + table + ` RENAME TO lost_` + table); err != nil {
				t.Fatal(err)
			}
		}
	}
	spoil("animals", "photos", "answered")
	failed := 0
	use := func(c *servertest.Client, verb, path string, body any, header ...string) {
		t.Helper()
		if got := c.Call(verb, path, body, header...); got.Status >= 500 {
			failed++
		}
	}
	all := func() {
		use(breeder, "GET", "/v1/breeders/b1/animals?query="+private, nil)
		use(breeder, "PATCH", "/v1/breeders/b1/animals/"+victim["animal"]+"?updateMask=note", map[string]any{"note": private})
		use(keeper, "GET", name, nil)
		use(keeper, "POST", "/v1/breeders/b1/animals/"+victim["animal"]+"/entries?entryId="+f.ID("entry"),
			map[string]any{"happenTime": f.Clock.Now(), "note": private, "weighIn": map[string]any{"massG": 500}})
		use(keeper, "PUT", name+"/photos/"+f.ID("photo"), picture(t, 40, 40), "Content-Type", "image/jpeg")
		use(f.Program(token), "GET", "/v1/breeders/b1/animals", nil)
		use(f.Page(), "GET", "/v1/calendars/"+calendar, nil)
		use(f.Page(), "POST", "/v1/vet-letter.pdf", map[string]any{"secret": letter, "paper": "a4"})
		use(f.Page(), "POST", "/v1/access:useKeeperCode", map[string]any{"code": keeperCode, "requestId": f.ID("keeper-request")})
		use(f.Page(), "POST", "/v1/access:useRecoveryCode", map[string]any{"code": recovery})
		use(f.Page(), "POST", "/v1/claims", map[string]any{"claimCode": claim, "keeperName": private, "requestId": f.ID("claim-request")})
		use(f.Page(), "POST", "/v1/claims:lookUp", map[string]any{"claimCode": claim})
		use(f.Page(), "POST", "/v1/access:redeemSignInLink", map[string]any{"secret": link})
		use(breeder, "GET", "/v1/breeders/b1/everything.zip", nil)
		use(keeper, "GET", "/v1/keepers/me/export.zip", nil)
		use(breeder, "PUT", "/v1/breeders/b1/imports/"+victim["import"]+"/file?name="+private+".csv", []byte("name\n"+private+"\n"))
	}
	all()
	spoil("secrets", "handovers")
	f.Clock.Advance(time.Minute)
	all()
	if err := f.Stop(); err != nil {
		t.Logf("it stops with %v", err)
	}
	text := log.text.String()
	if failed < 12 || strings.Count(text, "level=ERROR") < 12 {
		t.Fatalf("%d requests failed, and the log is\n%s", failed, text)
	}
	for _, s := range append(secrets, private, "Kim", strings.ReplaceAll(claim, "-", ""), strings.ReplaceAll(keeperCode, "-", ""), strings.ReplaceAll(recovery, "-", "")) {
		if strings.Contains(text, s) {
			t.Errorf("%q is in the log:\n%s", s, text)
		}
	}
}
