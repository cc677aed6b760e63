// Package servertest starts the real server on a free port, for tests only.
package servertest

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/store/storetest"
	"warmhand/server"
)

// Clock is a clock that the test moves. It is safe for concurrent use.
type Clock struct{ ms atomic.Int64 }

// Now is the clock's time.
func (c *Clock) Now() time.Time { return time.UnixMilli(c.ms.Load()).UTC() }

// Advance moves the clock on.
func (c *Clock) Advance(d time.Duration) { c.ms.Add(d.Milliseconds()) }

// Epoch is when the clock of every fixture begins.
var Epoch = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)

// Options change what Start starts.
type Options struct {
	// Configure changes the configuration before the server opens.
	Configure func(*server.Config)
	// Postgres uses the server that WARMHAND_TEST_POSTGRES names, and skips the
	// test where it names none (in CI it fails).
	Postgres bool
	// Beside starts one more server on this one's database and folder, by the same clock.
	Beside *Fixture
}

// Fixture is a running server.
type Fixture struct {
	T      testing.TB
	Server *server.Server
	Clock  *Clock
	URL    string // of the port, without a slash at the end
	// DataDir is the server's folder; with SQLite the database is in it.
	DataDir string
	// DatabaseURL is of the PostgreSQL schema, "" with SQLite.
	DatabaseURL string

	transport *http.Transport
	stop      func() error
	ids       atomic.Int64
}

// Start starts a server and stops it when the test ends.
func Start(t testing.TB, opts Options) *Fixture {
	t.Helper()
	f := &Fixture{T: t, Clock: &Clock{}, transport: &http.Transport{MaxIdleConnsPerHost: 100}} // each page keeps its connection, as a phone does
	f.Clock.ms.Store(Epoch.UnixMilli())
	cfg := server.Config{DataDir: t.TempDir(), Listen: "127.0.0.1:0", Now: f.Clock.Now, PassEvery: -1, CallsEach: -1, Log: slog.New(slog.DiscardHandler)}
	if opts.Postgres {
		cfg.DatabaseURL = storetest.Schema(t)
	}
	if b := opts.Beside; b != nil {
		f.Clock, cfg.Now = b.Clock, b.Clock.Now
		cfg.DataDir, cfg.DatabaseURL = b.DataDir, b.DatabaseURL
	}
	if opts.Configure != nil {
		opts.Configure(&cfg)
	}
	s, err := server.New(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	f.DataDir, f.DatabaseURL = cfg.DataDir, cfg.DatabaseURL
	f.Server, f.URL = s, "http://"+s.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	f.stop = sync.OnceValue(func() error {
		f.transport.CloseIdleConnections()
		cancel()
		return <-ended
	})
	t.Cleanup(func() {
		if err := f.Stop(); err != nil {
			t.Errorf("the server ended with %v", err)
		}
		f.transport.CloseIdleConnections()
	})
	return f
}

// Stop stops the server and waits for it.
func (f *Fixture) Stop() error { return f.stop() }

// Mentions are the columns of all tables in which one of these words is, as
// table.column, to see what is left of somebody.
func (f *Fixture) Mentions(words ...string) (columns []string) {
	f.T.Helper()
	db, all := f.columns()
	defer db.Close()
	for _, c := range all {
		for _, word := range words {
			var n int
			if err := db.QueryRow(`SELECT count(*) FROM `+c.table+` WHERE `+c.text+` LIKE $1`, "%"+word+"%").Scan(&n); err != nil {
				f.T.Fatalf("%s.%s: %v", c.table, c.name, err)
			}
			if n > 0 {
				columns = append(columns, c.table+"."+c.name)
				break
			}
		}
	}
	slices.Sort(columns)
	return columns
}

// Rows are all rows of a breeder in all tables but these, to see whether
// anything of it was changed.
func (f *Fixture) Rows(breederID string, except ...string) (rows []string) {
	f.T.Helper()
	db, all := f.columns()
	defer db.Close()
	texts, owned := map[string][]string{}, map[string]bool{}
	for _, c := range all {
		texts[c.table] = append(texts[c.table], `COALESCE(`+c.text+`, '-')`)
		owned[c.table] = owned[c.table] || c.name == "breeder_id"
	}
	for table, columns := range texts {
		if !owned[table] || slices.Contains(except, table) {
			continue
		}
		found, err := db.Query(`SELECT `+strings.Join(columns, ` || ' | ' || `)+` FROM `+table+` WHERE breeder_id = $1`, breederID)
		if err != nil {
			f.T.Fatalf("%s: %v", table, err)
		}
		for found.Next() {
			var row string
			if err := found.Scan(&row); err != nil {
				f.T.Fatal(err)
			}
			rows = append(rows, table+": "+row)
		}
		if err := found.Err(); err != nil {
			f.T.Fatal(err)
		}
	}
	slices.Sort(rows)
	return rows
}

// column is one of a table, with what turns it into text.
type column struct{ table, name, text string }

// columns opens the database beside the server.
func (f *Fixture) columns() (*sql.DB, []column) {
	f.T.Helper()
	// Beside the server every row is in reach.
	driver, address, list := "sqlite3", "file:"+filepath.Join(f.DataDir, "warmhand.db"), `SELECT m.name, p.name, p.type FROM sqlite_schema m, pragma_table_info(m.name) p WHERE m.type = 'table'`
	if f.DatabaseURL != "" {
		driver, address, list = "pgx", f.DatabaseURL+"&warmhand.breeder=*", `SELECT table_name, column_name, data_type FROM information_schema.columns WHERE table_schema = current_schema()`
	}
	db, err := sql.Open(driver, address)
	if err != nil {
		f.T.Fatal(err)
	}
	rows, err := db.Query(list)
	if err != nil {
		f.T.Fatal(err)
	}
	var all []column
	for rows.Next() {
		var c column
		var kind string
		if err := rows.Scan(&c.table, &c.name, &kind); err != nil {
			f.T.Fatal(err)
		}
		c.text = `CAST(` + c.name + ` AS TEXT)`
		if kind == "bytea" {
			c.text = `encode(` + c.name + `, 'escape')`
		}
		all = append(all, c)
	}
	if err := rows.Err(); err != nil || len(all) < 50 {
		f.T.Fatalf("%d columns, %v", len(all), err)
	}
	return db, all
}

// ID makes an id that no other call got.
func (f *Fixture) ID(prefix string) string {
	return fmt.Sprintf("%s-0000-%08d", prefix, f.ids.Add(1))
}

// GRPC is a connection to the port.
func (f *Fixture) GRPC() *grpc.ClientConn {
	f.T.Helper()
	conn, err := grpc.NewClient("passthrough:///"+f.Server.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, addr string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "tcp", addr)
		}))
	if err != nil {
		f.T.Fatal(err)
	}
	f.T.Cleanup(func() { conn.Close() })
	return conn
}

// Client is one caller: a browser with its cookies, or a program with a bearer
// secret.
type Client struct {
	f       *Fixture
	http    *http.Client
	Bearer  string
	Browser bool // sends X-Warmhand
	Breeder string
}

// ForOperators is what the port of the metrics, which Options.Configure sets, has at a path.
func (f *Fixture) ForOperators(path string) string {
	f.T.Helper()
	res, err := http.Get("http://" + f.Server.MetricsAddr().String() + path)
	if err != nil {
		f.T.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		f.T.Fatalf("%s: %s, %v", path, res.Status, err)
	}
	return string(body)
}

// Page is a browser that has not signed in.
func (f *Fixture) Page() *Client {
	jar, err := cookiejar.New(nil)
	if err != nil {
		f.T.Fatal(err)
	}
	return &Client{f: f, http: &http.Client{Transport: f.transport, Jar: jar, Timeout: time.Minute}, Browser: true}
}

// Program is a caller with a bearer secret; "" for none.
func (f *Fixture) Program(bearer string) *Client {
	return &Client{f: f, http: &http.Client{Transport: f.transport, Timeout: time.Minute}, Bearer: bearer}
}

// Write runs f in a transaction of the server's store.
func (f *Fixture) Write(do func(care.Tx) error) {
	f.T.Helper()
	if err := f.Server.Store().Write(context.Background(), do); err != nil {
		f.T.Fatal(err)
	}
}

// NewBreeder makes an account with its owner and signs a page in to it.
func (f *Fixture) NewBreeder(id string) *Client {
	f.T.Helper()
	now := f.Clock.Now()
	f.Write(func(tx care.Tx) error {
		if err := tx.InsertBreeder(care.Breeder{ID: id, Name: "Breeder " + id, Contact: "At the show", TimeZone: "UTC", Hemi: care.North, CreatedAt: now, Version: 1}); err != nil {
			return err
		}
		return tx.InsertUser(care.User{BreederID: id, ID: id + "-owner", Name: "Owner", Role: care.BreederOwner, CreatedAt: now})
	})
	return f.SignIn(care.Actor{Kind: care.BreederOwner, BreederID: id, UserID: id + "-owner"})
}

// SignIn signs a page in by a one-time link.
func (f *Fixture) SignIn(who care.Actor) *Client {
	f.T.Helper()
	var secret string
	f.Write(func(tx care.Tx) (err error) {
		secret, _, err = access.NewSignInLink(tx, who, f.Clock.Now())
		return err
	})
	c := f.Page()
	c.Breeder = who.BreederID
	c.Call("POST", "/v1/access:redeemSignInLink", map[string]any{"secret": secret}).OK()
	return c
}

// Session starts a session and returns its secret, for a bearer.
func (f *Fixture) Session(who care.Actor) string {
	f.T.Helper()
	var secret string
	f.Write(func(tx care.Tx) (err error) {
		secret, err = f.Server.Sessions().Start(tx, who, "test", f.Clock.Now())
		return err
	})
	return secret
}

// Answer is what came back.
type Answer struct {
	t      testing.TB
	what   string
	Status int
	Header http.Header
	Body   []byte
}

// Call sends a request and reads the whole answer. body is nil, bytes, a reader
// or something that becomes JSON; header holds pairs of a name and a value.
func (c *Client) Call(method, path string, body any, header ...string) *Answer {
	c.f.T.Helper()
	res := c.Open(c.f.T.Context(), method, path, body, header...)
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	if err != nil {
		c.f.T.Fatalf("%s %s: %v", method, path, err)
	}
	return &Answer{c.f.T, method + " " + path, res.StatusCode, res.Header, data}
}

// Open is Call that leaves reading the answer to the caller.
func (c *Client) Open(ctx context.Context, method, path string, body any, header ...string) *http.Response {
	c.f.T.Helper()
	var r io.Reader
	kind := ""
	switch b := body.(type) {
	case nil:
	case []byte:
		r = bytes.NewReader(b)
	case io.Reader:
		r = b
	default:
		data, err := json.Marshal(b)
		if err != nil {
			c.f.T.Fatal(err)
		}
		r, kind = bytes.NewReader(data), "application/json"
	}
	req, err := http.NewRequestWithContext(ctx, method, c.f.URL+path, r)
	if err != nil {
		c.f.T.Fatal(err)
	}
	if kind != "" {
		req.Header.Set("Content-Type", kind)
	}
	if c.Browser {
		req.Header.Set("X-Warmhand", "1")
	}
	if c.Bearer != "" {
		req.Header.Set("Authorization", "Bearer "+c.Bearer)
	}
	for i := 0; i+1 < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
		if header[i+1] == "" {
			req.Header.Del(header[i])
		}
	}
	res, err := c.http.Do(req)
	if err != nil {
		c.f.T.Fatalf("%s %s: %v", method, path, err)
	}
	return res
}

// Cookies are what the page keeps for the server.
func (c *Client) Cookies() map[string]string {
	u, err := url.Parse(c.f.URL)
	if err != nil {
		c.f.T.Fatal(err)
	}
	all := map[string]string{}
	for _, k := range c.http.Jar.Cookies(u) {
		all[k.Name] = k.Value
	}
	return all
}

// SetCookie puts a cookie into the page's jar.
func (c *Client) SetCookie(name, value string) {
	u, err := url.Parse(c.f.URL)
	if err != nil {
		c.f.T.Fatal(err)
	}
	c.http.Jar.SetCookies(u, []*http.Cookie{{Name: name, Value: value, Path: "/"}})
}

// OK fails the test unless the answer is a success.
func (a *Answer) OK() *Answer {
	a.t.Helper()
	if a.Status != http.StatusOK {
		a.t.Fatalf("%s: %d %s", a.what, a.Status, a.Body)
	}
	return a
}

// Into reads the answer's JSON.
func (a *Answer) Into(v any) {
	a.t.Helper()
	if err := json.Unmarshal(a.Body, v); err != nil {
		a.t.Fatalf("%s: %v in %s", a.what, err, a.Body)
	}
}

// Get is one value of the answer's JSON, such as Get("case", "standing").
func (a *Answer) Get(path ...string) any {
	a.t.Helper()
	var v any
	a.Into(&v)
	for _, p := range path {
		m, ok := v.(map[string]any)
		if !ok {
			return nil
		}
		v = m[p]
	}
	return v
}

// Text is Get for a string, "" when there is none.
func (a *Answer) Text(path ...string) string {
	a.t.Helper()
	s, _ := a.Get(path...).(string)
	return s
}

// Problem is what an error says: its reason and the fields it names.
func (a *Answer) Problem() (reason string, fields []string, meta map[string]string) {
	var st struct {
		Details []struct {
			Reason          string
			Metadata        map[string]string
			FieldViolations []struct{ Field, Description string }
		}
	}
	if json.Unmarshal(a.Body, &st) != nil {
		return "", nil, nil
	}
	for _, d := range st.Details {
		if d.Reason != "" {
			reason, meta = d.Reason, d.Metadata
		}
		for _, v := range d.FieldViolations {
			fields = append(fields, v.Field)
		}
	}
	return reason, fields, meta
}

// NewAnimal adds a ball python to the page's stock book and returns its id.
func (c *Client) NewAnimal() string {
	c.f.T.Helper()
	id := c.f.ID("animal")
	c.Call("POST", "/v1/breeders/"+c.Breeder+"/animals?animalId="+id,
		map[string]any{"displayName": id, "species": "python_regius", "sex": "SEX_FEMALE", "hatchDate": "2026-01-10", "note": "the breeder's own"}).OK()
	return id
}

// Weigh logs a weight with the clock's time and returns the entry's id.
func (c *Client) Weigh(breeder, animal string, grams float64) string {
	c.f.T.Helper()
	id := c.f.ID("entry")
	c.Call("POST", "/v1/breeders/"+breeder+"/animals/"+animal+"/entries?entryId="+id,
		map[string]any{"happenTime": c.f.Clock.Now(), "weighIn": map[string]any{"massG": grams}}).OK()
	return id
}

// HandOver issues an animal's record and returns the case's id and the claim
// code.
func (c *Client) HandOver(animal string) (caseID, code string) {
	c.f.T.Helper()
	a := c.Call("POST", "/v1/breeders/"+c.Breeder+"/handovers?requestId="+c.f.ID("request"),
		map[string]any{"animal": "breeders/" + c.Breeder + "/animals/" + animal, "buyerNote": "pays in two parts"}).OK()
	name := a.Text("handover", "case")
	return name[strings.LastIndexByte(name, '/')+1:], a.Text("claimCode")
}

// NewCard is a blank card as it is printed.
type NewCard struct {
	Card struct{ Name string }
	Code string
}

// NewCards makes blank cards of the page's breeder.
func (c *Client) NewCards(count int) []NewCard {
	c.f.T.Helper()
	var out struct{ Cards []NewCard }
	c.Call("POST", "/v1/breeders/"+c.Breeder+"/cards", map[string]any{"count": count, "requestId": c.f.ID("request")}).OK().Into(&out)
	return out.Cards
}

// Claim makes the page a keeper's.
func (c *Client) Claim(code string) *Answer {
	c.f.T.Helper()
	return c.Call("POST", "/v1/claims", map[string]any{"claimCode": code, "keeperName": "Kim", "requestId": c.f.ID("claim-request")})
}
