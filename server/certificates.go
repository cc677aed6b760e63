package server

import (
	"bytes"
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"log"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"golang.org/x/crypto/acme"
	"golang.org/x/net/idna"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/store"
)

const (
	// certificatesEvery is how often it is looked whether all have a certificate, at the
	// latest: what another server has renewed is taken up by then.
	certificatesEvery = 15 * time.Minute
	// renewBefore is how long before its end a certificate is renewed, unless a third of
	// its life is less.
	renewBefore = 30 * 24 * time.Hour
	// orderTime is how long one order may take, and turnTime how long others leave it to
	// who began: a little longer, so that an order is over when its turn is.
	orderTime = 3 * time.Minute
	turnTime  = orderTime + 30*time.Second
	// After the first failure nobody asks for firstRest, and after each further one for
	// twice as long: a certificate authority allows few (Let's Encrypt five failures an hour
	// for a name).
	firstRest, longestRest = 2 * time.Minute, time.Hour
	// turnLook is how often it is looked whether another server has got what is missing.
	turnLook = time.Second

	gettingCertificates = "getting certificates"
)

// What is kept of a name, beside its certificate (its key and its chain, as PEM) under the name
// itself. As long as an order lasts, each server answers with what is there.
const (
	turnSuffix = "+turn"
	alpnSuffix = "+token"
	httpSuffix = "+http-01"
	accountKey = "acme_account+key"
)

// certificates are those of our names, from an authority that speaks ACME (RFC 8555). They
// are kept in the database, sealed, so that servers on one database share them: one of them
// at a time asks for a name's, and any of them answers the authority's challenge.
//
// autocert is not used, although it does most of this: each of its servers orders for
// itself, two that begin at once order twice, and a renewal that fails says so nowhere.
type certificates struct {
	hosts []string
	kinds []string // of challenges, in the order in which they are tried
	kept  keptCertificates
	mail  string
	id    string // of this server among those on the database

	client     *acme.Client // for run alone
	registered bool         // for run alone

	mu     sync.Mutex
	have   map[string]*tls.Certificate // by host
	looked map[string]time.Time        // when a certificate was missed and looked for, by host
}

func newCertificates(hosts []string, directory, mail string, plain bool, kept keptCertificates) (*certificates, error) {
	c := &certificates{kinds: []string{"tls-alpn-01"}, kept: kept, mail: mail, id: uuid.NewString(),
		client: &acme.Client{DirectoryURL: directory, UserAgent: "warmhand"}, have: map[string]*tls.Certificate{}, looked: map[string]time.Time{}}
	if plain {
		c.kinds = append(c.kinds, "http-01")
	}
	for _, host := range hosts {
		plain, err := idna.Lookup.ToASCII(host)
		if err != nil || !strings.Contains(plain, ".") || strings.ContainsAny(host, "/:*") {
			return nil, fmt.Errorf("%q is no name that a certificate can be had for: write one such as snakes.example.org", host)
		}
		c.hosts = append(c.hosts, strings.ToLower(plain))
	}
	return c, nil
}

// ours is the form in which we know a name.
func (c *certificates) ours(name string) (host string, ok bool) {
	host, err := idna.Lookup.ToASCII(strings.TrimSuffix(name, "."))
	return host, err == nil && slices.Contains(c.hosts, host)
}

// forTLS is how connections are received.
func (c *certificates) forTLS() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.give, NextProtos: []string{"h2", "http/1.1", acme.ALPNProto}}
}

// give is the certificate for a connection.
func (c *certificates) give(hello *tls.ClientHelloInfo) (*tls.Certificate, error) {
	host, ok := c.ours(hello.ServerName)
	if !ok {
		return nil, fmt.Errorf("%q is no name of this server", hello.ServerName)
	}
	if slices.Equal(hello.SupportedProtos, []string{acme.ALPNProto}) {
		text, err := c.kept.get(hello.Context(), host+alpnSuffix)
		if err == nil && text == nil {
			err = fmt.Errorf("nothing is to be proved of %s", host)
		}
		if err != nil {
			return nil, err
		}
		cert, err := tls.X509KeyPair(text, text)
		return &cert, err
	}
	c.mu.Lock()
	cert, look := c.have[host], false
	if cert == nil && time.Since(c.looked[host]) > turnLook {
		c.looked[host], look = time.Now(), true
	}
	c.mu.Unlock()
	if look { // another server may just have got it
		var err error
		if cert, err = c.load(hello.Context(), host); err != nil {
			return nil, err
		}
	}
	if cert == nil {
		return nil, fmt.Errorf("there is no certificate for %s yet", host)
	}
	return cert, nil
}

// load takes up the certificate that is kept; nil when there is none. One that ended is given,
// too, while there is no other: then people read what is wrong.
func (c *certificates) load(ctx context.Context, host string) (*tls.Certificate, error) {
	text, err := c.kept.get(ctx, host)
	if err != nil || text == nil {
		return nil, err
	}
	cert, err := tls.X509KeyPair(text, text)
	if err != nil || cert.Leaf.VerifyHostname(host) != nil {
		return nil, nil // of no use: as if it were not there
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.have[host] = &cert
	return &cert, nil
}

// due is when a certificate is to be renewed.
func due(cert *tls.Certificate) time.Time {
	life := cert.Leaf.NotAfter.Sub(cert.Leaf.NotBefore)
	return cert.Leaf.NotAfter.Add(-min(life/3, renewBefore))
}

// run sees to it that there are certificates, until ctx ends.
func (c *certificates) run(ctx context.Context, worked func(ctx context.Context, what string, begun time.Time, err error)) {
	for ctx.Err() == nil {
		begun, wait := time.Now(), certificatesEvery
		var errs []error
		for _, host := range c.hosts {
			next, err := c.see(ctx, host)
			if err != nil {
				errs = append(errs, err)
			}
			wait = min(wait, next)
		}
		worked(ctx, gettingCertificates, begun, errors.Join(errs...))
		select {
		case <-ctx.Done():
		case <-time.After(max(wait, turnLook)):
		}
	}
}

// see sees to a name's certificate, and returns when to look again. While another server gets
// it, it waits for that.
func (c *certificates) see(ctx context.Context, host string) (next time.Duration, err error) {
	for {
		cert, err := c.load(ctx, host)
		if err != nil {
			return firstRest, fmt.Errorf("reading the certificate of %s: %w", host, err)
		}
		if cert != nil {
			if left := due(cert).Sub(c.kept.now()); left > 0 {
				return left, nil
			}
		}
		turn, mine, err := c.take(ctx, host)
		switch {
		case err != nil:
			return firstRest, fmt.Errorf("asking for the turn to get a certificate for %s: %w", host, err)
		case mine:
			return c.renew(ctx, host)
		case turn.By == "": // it failed, here or there
			return turn.Until.Sub(c.kept.now()), missing(host, cert, turn)
		}
		select {
		case <-ctx.Done():
			return 0, ctx.Err()
		case <-time.After(turnLook):
		}
	}
}

// renew orders a certificate, in our turn. Another may have got one just before.
func (c *certificates) renew(ctx context.Context, host string) (next time.Duration, err error) {
	cert, err := c.load(ctx, host)
	if err == nil && (cert == nil || !due(cert).After(c.kept.now())) {
		var text []byte
		if text, err = c.order(ctx, host); err == nil {
			if err = c.keep(ctx, host, text); err == nil {
				cert, err = c.load(ctx, host)
			}
		}
	}
	turn, noted := c.leave(ctx, host, err)
	if noted != nil {
		noted = fmt.Errorf("giving up the turn to get a certificate for %s: %w", host, noted)
	}
	if err != nil {
		return turn.Until.Sub(c.kept.now()), errors.Join(missing(host, cert, turn), noted)
	}
	return due(cert).Sub(c.kept.now()), noted
}

// missing says what an operator has to know.
func missing(host string, cert *tls.Certificate, t turn) error {
	what := "there is no certificate for " + host
	if cert != nil {
		what = fmt.Sprintf("the certificate for %s ends at %s, and there is no new one", host, cert.Leaf.NotAfter.Format(time.RFC3339))
	}
	return fmt.Errorf("%s: see whether the name leads to this machine, and whether its ports 80 and 443 can be reached from outside; it is tried again at %s: %s",
		what, t.Until.Format(time.RFC3339), t.Said)
}

// turn is what the servers on a database know of who gets a name's certificate. It lies in
// the database, so that failures of all of them count together, and over new starts.
type turn struct {
	By    string    `json:"by,omitempty"` // the server that gets it, "" when it failed
	Until time.Time `json:"until"`        // when another may try
	Fails int       `json:"fails,omitempty"`
	Said  string    `json:"said,omitempty"` // what was wrong
}

// holds tells whether somebody may not try yet. A clock that was far ahead
// holds up nobody.
func (t turn) holds(now time.Time) bool {
	left := t.Until.Sub(now)
	return left > 0 && left <= longestRest
}

// take takes the turn, if nobody has it.
func (c *certificates) take(ctx context.Context, host string) (t turn, mine bool, err error) {
	err = c.kept.change(ctx, host+turnSuffix, func(was []byte) ([]byte, error) {
		t = readTurn(was)
		now := c.kept.now()
		if mine = !t.holds(now); !mine {
			return was, nil
		}
		t.By, t.Until = c.id, now.Add(turnTime)
		return json.Marshal(t)
	})
	return t, mine, err
}

// leave gives the turn up, with a rest when it failed and not only the server ends. It is
// done also when ctx has ended.
func (c *certificates) leave(ctx context.Context, host string, failed error) (t turn, err error) {
	ended := ctx.Err() != nil
	ctx, cancel := lasting(ctx)
	defer cancel()
	err = c.kept.change(ctx, host+turnSuffix, func(was []byte) ([]byte, error) {
		t = readTurn(was)
		switch {
		case t.By != c.id: // it took too long, and is another's now
			return was, nil
		case failed == nil:
			return nil, nil
		case ended:
			t.By, t.Until = "", time.Time{}
		default:
			t.By, t.Until, t.Fails, t.Said = "", c.kept.now().Add(rest(t.Fails)), t.Fails+1, failed.Error()
		}
		return json.Marshal(t)
	})
	return t, err
}

// keep keeps, or with nil deletes, also when ctx has ended: an authority is not asked for the
// same thing twice.
func (c *certificates) keep(ctx context.Context, name string, plain []byte) error {
	ctx, cancel := lasting(ctx)
	defer cancel()
	return c.kept.change(ctx, name, func([]byte) ([]byte, error) { return plain, nil })
}

// lasting is for the last things to do when ctx has ended.
func lasting(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
}

// rest is how long nobody asks after so many failures before this one.
func rest(fails int) time.Duration { return min(firstRest<<min(fails, 10), longestRest) }

func readTurn(text []byte) (t turn) {
	if json.Unmarshal(text, &t) != nil {
		return turn{} // none, or none that we know: as if nobody had tried
	}
	return t
}

// order gets a certificate from the authority: its key and its chain, as PEM.
func (c *certificates) order(ctx context.Context, host string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, orderTime)
	defer cancel()
	if err := c.register(ctx); err != nil {
		return nil, fmt.Errorf("the account with the certificate authority: %w", err)
	}
	var errs []error
	for _, kind := range c.kinds {
		order, err := c.client.AuthorizeOrder(ctx, acme.DomainIDs(host))
		if err != nil {
			c.registered = false // it may be the account that is refused
			return nil, errors.Join(append(errs, fmt.Errorf("the authority takes no order: %w", err))...)
		}
		var failed error
		for _, url := range order.AuthzURLs {
			failed = errors.Join(failed, c.prove(ctx, host, url, kind))
		}
		if failed == nil {
			return c.finish(ctx, host, order)
		}
		errs = append(errs, fmt.Errorf("by %s: %w", kind, failed)) // which ends the order
	}
	return nil, errors.Join(errs...)
}

// register makes us known to the authority, by a key that all servers share.
func (c *certificates) register(ctx context.Context) error {
	if c.registered {
		return nil
	}
	err := c.kept.change(ctx, accountKey, func(was []byte) ([]byte, error) {
		if key, err := readKey(was); err == nil {
			c.client.Key = key
			return was, nil
		}
		key, err := newKey()
		if err != nil {
			return nil, err
		}
		c.client.Key = key
		return writeKey(key)
	})
	if err != nil {
		return err
	}
	account := &acme.Account{}
	if c.mail != "" {
		account.Contact = []string{"mailto:" + c.mail}
	}
	if _, err := c.client.Register(ctx, account, acme.AcceptTOS); err != nil && !errors.Is(err, acme.ErrAccountAlreadyExists) {
		return err
	}
	c.registered = true
	return nil
}

// prove proves that a name is ours: it puts the answer where all servers see it,
// before the authority is told to come and ask any of them.
func (c *certificates) prove(ctx context.Context, host, url, kind string) (err error) {
	z, err := c.client.GetAuthorization(ctx, url)
	if err != nil || z.Status == acme.StatusValid {
		return err
	}
	defer func() {
		if err != nil { // an authority counts those that are left open
			ctx, cancel := lasting(ctx)
			defer cancel()
			c.client.RevokeAuthorization(ctx, url) //nolint:errcheck // it may be closed
		}
	}()
	i := slices.IndexFunc(z.Challenges, func(ch *acme.Challenge) bool { return ch.Type == kind })
	if i < 0 {
		return errors.New("the authority does not offer it")
	}
	name, answer := host+httpSuffix, []byte(nil)
	switch kind {
	case "tls-alpn-01":
		name = host + alpnSuffix
		cert, err := c.client.TLSALPN01ChallengeCert(z.Challenges[i].Token, host)
		if err != nil {
			return err
		}
		if answer, err = writeCertificate(cert.PrivateKey.(crypto.Signer), cert.Certificate); err != nil {
			return err
		}
	default:
		text, err := c.client.HTTP01ChallengeResponse(z.Challenges[i].Token)
		if err != nil {
			return err
		}
		answer = []byte(text)
	}
	if err := c.keep(ctx, name, answer); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, c.keep(ctx, name, nil)) }()
	if _, err := c.client.Accept(ctx, z.Challenges[i]); err != nil {
		return err
	}
	_, err = c.client.WaitAuthorization(ctx, url)
	return err
}

// finish has the certificate made, for a new key.
func (c *certificates) finish(ctx context.Context, host string, order *acme.Order) ([]byte, error) {
	order, err := c.client.WaitOrder(ctx, order.URI)
	if err != nil {
		return nil, err
	}
	key, err := newKey()
	if err != nil {
		return nil, err
	}
	request, err := x509.CreateCertificateRequest(rand.Reader, &x509.CertificateRequest{DNSNames: []string{host}}, key)
	if err != nil {
		return nil, err
	}
	chain, _, err := c.client.CreateCertFromOrder(ctx, order, request, true)
	if err != nil {
		return nil, err
	}
	text, err := writeCertificate(key, chain)
	if err != nil {
		return nil, err
	}
	cert, err := tls.X509KeyPair(text, text)
	if err == nil {
		err = cert.Leaf.VerifyHostname(host)
	}
	if now := c.kept.now(); err == nil && !due(&cert).After(now) {
		err = fmt.Errorf("it is due to be renewed at %s, and here it is %s: see whether the clock is right", due(&cert).Format(time.RFC3339), now.Format(time.RFC3339))
	}
	if err != nil {
		return nil, fmt.Errorf("what the authority gave is of no use: %w", err)
	}
	return text, nil
}

func newKey() (crypto.Signer, error) { return ecdsa.GenerateKey(elliptic.P256(), rand.Reader) }

func writeKey(key crypto.Signer) ([]byte, error) {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), nil
}

// readKey reads what writeKey wrote, and keys as they were written before there was
// PKCS #8 here.
func readKey(text []byte) (crypto.Signer, error) {
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, errors.New("no key")
	}
	if key, err := x509.ParseECPrivateKey(block.Bytes); err == nil {
		return key, nil
	}
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if signer, ok := key.(crypto.Signer); err == nil && ok {
		return signer, nil
	}
	return nil, errors.New("no key that signs")
}

func writeCertificate(key crypto.Signer, chain [][]byte) ([]byte, error) {
	text, err := writeKey(key)
	for _, der := range chain {
		text = append(text, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})...)
	}
	return text, err
}

// answer answers a challenge that the authority puts without TLS.
func (c *certificates) answer(w http.ResponseWriter, r *http.Request, token string) {
	name, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		name = r.Host
	}
	var text []byte
	if host, ok := c.ours(name); ok {
		if text, err = c.kept.get(r.Context(), host+httpSuffix); err != nil {
			http.Error(w, "The database does not answer. Try again.", http.StatusServiceUnavailable)
			return
		}
	}
	// The answer begins with the token that is asked for.
	if !bytes.HasPrefix(text, []byte(token+".")) {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Write(text) //nolint:errcheck // who asked may be gone
}

// toHTTPS answers on the port without TLS: challenges of the authority, and where to go
// instead.
func (s *Server) toHTTPS() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if token, ok := strings.CutPrefix(r.URL.Path, "/.well-known/acme-challenge/"); ok {
			s.certificates.answer(w, r, token)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			http.Error(w, "Use "+s.origin.String()+" instead.", http.StatusBadRequest)
			return
		}
		to := r.URL.RequestURI()
		if !strings.HasPrefix(to, "/") { // "x:@other.example" would make our name a user's at the other
			to = "/"
		}
		http.Redirect(w, r, s.origin.String()+to, http.StatusPermanentRedirect)
	})
}

// serveHTTP serves the port without TLS until ctx ends.
func (s *Server) serveHTTP(ctx context.Context, l net.Listener, h http.Handler) error {
	srv := &http.Server{Handler: h, ReadHeaderTimeout: s.cfg.Patience, ReadTimeout: 2 * s.cfg.Patience, WriteTimeout: 2 * s.cfg.Patience,
		IdleTimeout: idleTime, MaxHeaderBytes: headerMax, ErrorLog: s.httpLog()}
	stop := context.AfterFunc(ctx, func() { srv.Close() })
	defer stop()
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// httpLog takes what net/http has to say, but for who did not manage TLS: that is
// mostly somebody who knocks at every door, and names an address.
func (s *Server) httpLog() *log.Logger { return log.New(httpLog{s}, "", 0) }

type httpLog struct{ s *Server }

func (l httpLog) Write(line []byte) (int, error) {
	if text := strings.TrimSpace(string(line)); !strings.HasPrefix(text, "http: TLS handshake error") {
		l.s.log.Warn(text)
	}
	return len(line), nil
}

// keptCertificates is the certificates' place in the database.
type keptCertificates struct {
	store *store.Store
	key   access.Key
	now   func() time.Time
}

const certificatePrefix = "certificate/"

// open opens what is kept; nil when there is nothing. What was sealed under another key counts as
// missing.
func (k keptCertificates) open(tx care.Tx, name string) ([]byte, error) {
	kept, err := tx.Kept(name)
	if err != nil {
		if care.IsCode(err, care.NotFound) {
			err = nil
		}
		return nil, err
	}
	plain, err := k.key.Unseal(name, kept.Sealed)
	if errors.Is(err, access.ErrSealed) {
		return nil, nil
	}
	return plain, err
}

func (k keptCertificates) get(ctx context.Context, name string) (plain []byte, err error) {
	name = certificatePrefix + name
	err = k.store.Read(ctx, func(tx care.Tx) (err error) {
		plain, err = k.open(tx, name)
		return err
	})
	return plain, err
}

// change keeps what f makes of what was kept, nil being nothing, so that of two servers which change
// it at once the second sees what the first made.
func (k keptCertificates) change(ctx context.Context, name string, f func(was []byte) ([]byte, error)) error {
	name = certificatePrefix + name
	return k.store.Write(ctx, func(tx care.Tx) error {
		was, err := k.open(tx, name)
		if err != nil {
			return err
		}
		plain, err := f(was)
		switch {
		case err != nil:
			return err
		case plain == nil:
			return tx.DeleteKept(name)
		case bytes.Equal(plain, was):
			return nil
		}
		sealed, err := k.key.Seal(name, plain)
		if err != nil {
			return err
		}
		return tx.PutKept(care.Kept{Name: name, Sealed: sealed, At: care.Instant(k.now())})
	})
}
