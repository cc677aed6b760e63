package server

import (
	"bytes"
	"context"
	"crypto"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/crypto/acme"

	"warmhand/internal/access"
	"warmhand/internal/store"
)

// twoWithCertificates are two servers on one database, and their clock.
func twoWithCertificates(t *testing.T) (a, b *certificates, clock *time.Time) {
	t.Helper()
	dir := t.TempDir()
	st, err := store.Open(t.Context(), store.Config{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	key, err := access.LoadKey(dir)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	one := func() *certificates {
		c, err := newCertificates([]string{"züchter.example", "Snakes.example"}, "http://127.0.0.1:1/none", "", true, keptCertificates{st, key, func() time.Time { return now }})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	return one(), one(), &now
}

const someHost = "snakes.example"

// One server at a time gets a name's certificate. Failures of all count together, each
// with a longer rest; who goes in the middle holds up nobody for long, and neither does a
// clock that was ahead.
func TestTurnsForCertificates(t *testing.T) {
	t.Parallel()
	a, b, clock := twoWithCertificates(t)
	takes := func(c *certificates, want bool) turn {
		t.Helper()
		turn, mine, err := c.take(t.Context(), someHost)
		if err != nil || mine != want {
			t.Fatalf("takes the turn: %v, %v; want %v", mine, err, want)
		}
		return turn
	}
	leaves := func(c *certificates, ctx context.Context, failed error) turn {
		t.Helper()
		turn, err := c.leave(ctx, someHost, failed)
		if err != nil {
			t.Fatal(err)
		}
		return turn
	}
	takes(a, true)
	if got := takes(b, false); got.By != a.id {
		t.Errorf("the turn is of %q, and should be of %q", got.By, a.id)
	}
	leaves(a, t.Context(), nil)

	// Together they fail again and again.
	servers, waits := []*certificates{a, b}, []time.Duration{2, 4, 8, 16, 32, 60, 60}
	for i, wait := range waits {
		c := servers[i%2]
		takes(c, true)
		leaves(c, t.Context(), errors.New("nobody answers"))
		for _, c := range servers {
			*clock = clock.Add(wait*time.Minute/2 - time.Second)
			if got := takes(c, false); got.By != "" || got.Said != "nobody answers" || got.Fails != i+1 {
				t.Errorf("after failure %d: %+v", i+1, got)
			}
		}
		*clock = clock.Add(2 * time.Second)
	}
	takes(a, true)
	leaves(a, t.Context(), nil)
	takes(b, true)
	if got := leaves(b, t.Context(), errors.New("anew")); got.Fails != 1 {
		t.Errorf("failures before a success count: %+v", got)
	}
	*clock = clock.Add(firstRest)

	// A server that is stopped gives its turn up, and that is no failure.
	stopped, stop := context.WithCancel(t.Context())
	takes(a, true)
	stop()
	if got := leaves(a, stopped, stopped.Err()); got.Fails != 1 || got.Said != "anew" {
		t.Errorf("stopping counts: %+v", got)
	}
	takes(b, true)
	// One that was killed keeps it for as long as an order may take, and then it is another's.
	*clock = clock.Add(turnTime - time.Second)
	takes(a, false)
	*clock = clock.Add(time.Second)
	takes(a, true)
	leaves(b, t.Context(), errors.New("late"))
	takes(b, false)
	// A clock that was days ahead.
	*clock = clock.Add(-72 * time.Hour)
	takes(b, true)
}

// Of many that ask at once, one has the turn, and all have one account.
func TestOneTurnAtOnce(t *testing.T) {
	t.Parallel()
	a, b, _ := twoWithCertificates(t)
	var all sync.WaitGroup
	got := make([]bool, 20)
	for i := range got {
		all.Go(func() {
			var err error
			if _, got[i], err = []*certificates{a, b}[i%2].take(t.Context(), someHost); err != nil {
				t.Error(err)
			}
		})
	}
	for _, c := range []*certificates{a, b} {
		all.Go(func() {
			if err := c.register(t.Context()); err == nil {
				t.Error("an authority that is not there knows us")
			}
		})
	}
	all.Wait()
	turns := 0
	for _, mine := range got {
		if mine {
			turns++
		}
	}
	if turns != 1 {
		t.Errorf("%d have the turn", turns)
	}
	if a.client.Key == nil || fmt.Sprint(a.client.Key.Public()) != fmt.Sprint(b.client.Key.Public()) {
		t.Error("they have two accounts")
	}
}

// What one server puts where the authority looks for it, another answers with, and nothing
// of another name or token, or when it is over.
func TestOthersChallenge(t *testing.T) {
	t.Parallel()
	a, b, _ := twoWithCertificates(t)
	key, err := newKey()
	if err != nil {
		t.Fatal(err)
	}
	a.client.Key = key
	ask := func(host, token string) string {
		w := httptest.NewRecorder()
		(&Server{certificates: b}).toHTTPS().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://"+host+"/.well-known/acme-challenge/"+token, nil))
		if w.Code != http.StatusOK {
			return fmt.Sprint(w.Code)
		}
		return w.Body.String()
	}
	// greet is what somebody is shown who speaks these protocols.
	greet := func(protocols ...string) (shown []byte, err error) {
		ours, theirs := net.Pipe()
		defer theirs.Close()
		go func() {
			defer ours.Close()
			tls.Server(ours, b.forTLS()).Handshake() //nolint:errcheck // the other side says what is wrong
		}()
		conn := tls.Client(theirs, &tls.Config{ServerName: strings.ToUpper(someHost), NextProtos: protocols, InsecureSkipVerify: true})
		if err := conn.Handshake(); err != nil {
			return nil, err
		}
		return conn.ConnectionState().PeerCertificates[0].Raw, nil
	}
	answer, err := a.client.HTTP01ChallengeResponse("abc")
	if err != nil {
		t.Fatal(err)
	}
	cert, err := a.client.TLSALPN01ChallengeCert("abc", someHost)
	if err != nil {
		t.Fatal(err)
	}
	text, err := writeCertificate(cert.PrivateKey.(crypto.Signer), cert.Certificate)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(a.keep(t.Context(), someHost+httpSuffix, []byte(answer)), a.keep(t.Context(), someHost+alpnSuffix, text)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ host, token, want string }{
		{someHost, "abc", answer}, {someHost + ":5002", "abc", answer}, {someHost, "ab", "404"}, {someHost, "", "404"}, {someHost, "abc.", "404"},
		{"other.example", "abc", "404"}, {someHost, "abcd", "404"}, {"züchter.example", "abc", "404"},
	} {
		if got := ask(c.host, c.token); got != c.want {
			t.Errorf("%s, token %q: %s, want %s", c.host, c.token, got, c.want)
		}
	}
	if got, err := greet(acme.ALPNProto); err != nil || !bytes.Equal(got, cert.Certificate[0]) {
		t.Errorf("the other's proof is not given: %v", err)
	}
	if _, err := greet("h2", "http/1.1", acme.ALPNProto); err == nil {
		t.Error("a person is shown what is for the authority")
	}
	if err := errors.Join(a.keep(t.Context(), someHost+httpSuffix, nil), a.keep(t.Context(), someHost+alpnSuffix, nil)); err != nil {
		t.Fatal(err)
	}
	if got := ask(someHost, "abc"); got != "404" {
		t.Errorf("it is over, and answered with %s", got)
	}
	if _, err := greet(acme.ALPNProto); err == nil {
		t.Error("it is over, and proved")
	}
}
