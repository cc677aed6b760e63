package server

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/crypto/acme"
	"golang.org/x/crypto/acme/autocert"
	"golang.org/x/net/idna"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/store"
)

const (
	// certificatesEvery is how often it is looked whether there are certificates.
	certificatesEvery = 15 * time.Minute
	// certificateRest is how long after a failure nobody is asked for another: a
	// certificate authority allows few (Let's Encrypt five failures an hour for a name).
	certificateRest = 14 * time.Minute

	gettingCertificates = "getting certificates"
)

// certificates are those of our names, from an authority that speaks ACME (RFC 8555). They
// are kept in the database, sealed, so that servers on one database share them and
// answer each other's challenges.
type certificates struct {
	hosts   []string
	manager *autocert.Manager

	mu     sync.Mutex
	failed map[string]failure // by host
}

type failure struct {
	at  time.Time
	err error
}

func newCertificates(hosts []string, directory, mail string, kept autocert.Cache) (*certificates, error) {
	c := &certificates{failed: map[string]failure{}}
	for _, host := range hosts {
		plain, err := idna.Lookup.ToASCII(host)
		if err != nil || !strings.Contains(plain, ".") || strings.ContainsAny(host, "/:*") {
			return nil, fmt.Errorf("%q is no name that a certificate can be had for: write one such as snakes.example.org", host)
		}
		c.hosts = append(c.hosts, strings.ToLower(plain))
	}
	ours := autocert.HostWhitelist(c.hosts...)
	policy := func(ctx context.Context, host string) error {
		if name, _, err := net.SplitHostPort(host); err == nil {
			host = name // as it comes where port 80 is another one here
		}
		return ours(ctx, host)
	}
	c.manager = &autocert.Manager{Prompt: autocert.AcceptTOS, Cache: kept, HostPolicy: policy, Email: mail, Client: &acme.Client{DirectoryURL: directory}}
	return c, nil
}

// forTLS is how connections are received.
func (c *certificates) forTLS() *tls.Config {
	config := c.manager.TLSConfig()
	config.MinVersion = tls.VersionTLS12
	config.GetCertificate = c.give
	return config
}

// give is the certificate for a connection.
func (c *certificates) give(hello *tls.ClientHelloInfo) (*tls.Certificate, error) {
	host := strings.ToLower(strings.TrimSuffix(hello.ServerName, "."))
	if slices.Equal(hello.SupportedProtos, []string{acme.ALPNProto}) || !slices.Contains(c.hosts, host) {
		return c.manager.GetCertificate(hello) // a challenge, or refused
	}
	c.mu.Lock()
	was := c.failed[host]
	c.mu.Unlock()
	if was.err != nil && time.Since(was.at) < certificateRest {
		return nil, was.err
	}
	cert, err := c.manager.GetCertificate(hello)
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.failed, host)
	if err != nil {
		c.failed[host] = failure{time.Now(), err}
	}
	return cert, err
}

// get gets those that are missing.
func (c *certificates) get() error {
	var errs []error
	for _, host := range c.hosts {
		_, err := c.give(&tls.ClientHelloInfo{ServerName: host, SupportedVersions: []uint16{tls.VersionTLS13}, // as browsers greet
			CipherSuites:     []uint16{tls.TLS_ECDHE_ECDSA_WITH_AES_128_GCM_SHA256},
			SignatureSchemes: []tls.SignatureScheme{tls.ECDSAWithP256AndSHA256},
			SupportedCurves:  []tls.CurveID{tls.CurveP256}, SupportedPoints: []uint8{0}})
		if err != nil {
			errs = append(errs, fmt.Errorf("there is no certificate for %s: see whether the name leads to this machine, and whether its ports 80 and 443 can be reached from outside: %w", host, err))
		}
	}
	return errors.Join(errs...)
}

// toHTTPS answers on the port without TLS: challenges of the authority, and where to go
// instead. From then on such challenges are asked for.
func (s *Server) toHTTPS() http.Handler {
	return s.certificates.manager.HTTPHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			http.Error(w, "Use "+s.origin.String()+" instead.", http.StatusBadRequest)
			return
		}
		to := r.URL.RequestURI()
		if !strings.HasPrefix(to, "/") { // "x:@other.example" would make our name a user's at the other
			to = "/"
		}
		http.Redirect(w, r, s.origin.String()+to, http.StatusPermanentRedirect)
	}))
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

// Get opens what is kept. What was sealed under another key counts as missing.
func (k keptCertificates) Get(ctx context.Context, name string) (plain []byte, err error) {
	name = certificatePrefix + name
	var kept care.Kept
	err = k.store.Read(ctx, func(tx care.Tx) (err error) {
		kept, err = tx.Kept(name)
		return err
	})
	if err == nil {
		plain, err = k.key.Unseal(name, kept.Sealed)
	}
	if care.IsCode(err, care.NotFound) || errors.Is(err, access.ErrSealed) {
		return nil, autocert.ErrCacheMiss
	}
	return plain, err
}

// Put keeps.
func (k keptCertificates) Put(ctx context.Context, name string, plain []byte) error {
	name = certificatePrefix + name
	sealed, err := k.key.Seal(name, plain)
	if err != nil {
		return err
	}
	return k.store.Write(ctx, func(tx care.Tx) error { return tx.PutKept(care.Kept{Name: name, Sealed: sealed, At: k.now()}) })
}

// Delete removes.
func (k keptCertificates) Delete(ctx context.Context, name string) error {
	return k.store.Write(ctx, func(tx care.Tx) error { return tx.DeleteKept(certificatePrefix + name) })
}
