// Package acme has the test of certificates by ACME: the program as it is shipped, against
// a real authority for tests that runs in the process of the test. It is a module of its own
// for what that authority needs.
package acme

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/letsencrypt/pebble/v2/ca"
	"github.com/letsencrypt/pebble/v2/db"
	"github.com/letsencrypt/pebble/v2/va"
	"github.com/letsencrypt/pebble/v2/wfe"
	"github.com/miekg/dns"
)

var binary string

func TestMain(m *testing.M) {
	os.Exit(func() int {
		dir, err := os.MkdirTemp("", "warmhand-acme-")
		if err != nil {
			panic(err)
		}
		defer os.RemoveAll(dir)
		binary = filepath.Join(dir, "warmhand")
		build := exec.Command("go", "build", "-o", binary, "./server/cmd/warmhand")
		build.Dir = "../../.."
		if out, err := build.CombinedOutput(); err != nil {
			fmt.Fprintf(os.Stderr, "%v\n%s", err, out)
			return 1
		}
		// The authority waits for no challenge, and refuses or spares nothing by chance.
		os.Setenv("PEBBLE_VA_NOSLEEP", "1")      //nolint:errcheck // it can
		os.Setenv("PEBBLE_WFE_NONCEREJECT", "0") //nolint:errcheck // it can
		os.Setenv("PEBBLE_AUTHZREUSE", "0")      //nolint:errcheck // it can
		return m.Run()
	}())
}

// names answers every question for an address with this machine.
func names(t *testing.T) (address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	srv := &dns.Server{Listener: l, Handler: dns.HandlerFunc(func(w dns.ResponseWriter, q *dns.Msg) {
		a := new(dns.Msg).SetReply(q)
		for _, ask := range q.Question {
			if ask.Qtype == dns.TypeA {
				a.Answer = append(a.Answer, &dns.A{Hdr: dns.RR_Header{Name: ask.Name, Rrtype: dns.TypeA, Class: dns.ClassINET}, A: net.IPv4(127, 0, 0, 1)})
			}
		}
		w.WriteMsg(a) //nolint:errcheck // who asked may be gone
	})}
	go srv.ActivateAndServe()            //nolint:errcheck // it ends with the test
	t.Cleanup(func() { srv.Shutdown() }) //nolint:errcheck // the same
	return l.Addr().String()
}

// authority is a certificate authority that looks for challenges on these ports.
type authority struct {
	*httptest.Server
	roots    *x509.CertPool
	certFile string // by which its own address is trusted

	orders, accounts atomic.Int32 // that it was asked for, and that it made

	open func() // from when on it answers; before, who asks waits
}

// newAuthority is one whose certificates live for so many seconds, 0 for as long as it likes.
func newAuthority(t *testing.T, httpPort, tlsPort int, blocked string, life uint64) *authority {
	t.Helper()
	quiet := log.New(io.Discard, "", 0)
	store := db.NewMemoryStore()
	if blocked != "" {
		if err := store.AddBlockedDomain(blocked); err != nil {
			t.Fatal(err)
		}
	}
	issuer := ca.New(quiet, store, "", "ecdsa", 0, 1, map[string]ca.Profile{"default": {ValidityPeriod: life}})
	front := wfe.New(quiet, store, va.New(quiet, httpPort, tlsPort, false, names(t), store), issuer, []string{"authority.test"}, false, false, 1, 1)
	a := &authority{roots: x509.NewCertPool(), certFile: filepath.Join(t.TempDir(), "authority.pem")}
	opened := make(chan struct{})
	a.open = sync.OnceFunc(func() { close(opened) })
	inner := front.Handler()
	a.Server = httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case <-opened:
		case <-r.Context().Done():
		}
		inner.ServeHTTP(&counting{w, a, r.URL.Path}, r)
	}))
	t.Cleanup(a.Close)
	a.roots.AddCert(issuer.GetRootCert(0).Cert)
	text := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.Certificate().Raw})
	if err := os.WriteFile(a.certFile, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return a
}

// counting counts what the authority made.
type counting struct {
	http.ResponseWriter
	a    *authority
	path string
}

func (c *counting) WriteHeader(code int) {
	switch {
	case code == http.StatusCreated && c.path == "/order-plz":
		c.a.orders.Add(1)
	case code == http.StatusCreated && c.path == "/sign-me-up":
		c.a.accounts.Add(1)
	}
	c.ResponseWriter.WriteHeader(code)
}

// freePort is one that nobody has just now.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// program is the server with its ports.
type program struct {
	http, tls int
	out       io.Reader
	errs      *lines
	stop      func()
}

// lines are what it says, to be waited for.
type lines struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// start starts the program and waits until it serves.
func start(t *testing.T, a *authority, dir string, httpPort, tlsPort int, hosts ...string) *program {
	t.Helper()
	a.open()
	p := begin(t, a, dir, httpPort, tlsPort, hosts)
	p.ready(t, fmt.Sprintf("https://%s:%d", hosts[0], tlsPort))
	return p
}

func begin(t *testing.T, a *authority, dir string, httpPort, tlsPort int, hosts []string, more ...string) *program {
	t.Helper()
	args := []string{"serve", "--data", dir, "--listen", fmt.Sprint("127.0.0.1:", tlsPort), "--listen-http", fmt.Sprint("127.0.0.1:", httpPort), "--acme", a.URL + wfe.DirectoryPath}
	for _, host := range hosts {
		args = append(args, "--tls-host", host)
	}
	args = append(args, more...)
	p := &program{http: httpPort, tls: tlsPort, errs: &lines{}}
	c := exec.Command(binary, args...)
	c.Env = append(os.Environ(), "SSL_CERT_FILE="+a.certFile)
	c.Stderr = p.errs
	out, err := c.StdoutPipe()
	p.out = out
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	p.stop = sync.OnceFunc(func() {
		c.Process.Signal(syscall.SIGTERM) //nolint:errcheck // it may have ended
		if err := c.Wait(); err != nil {
			t.Errorf("it ended with %v: %s", err, p.errs)
		}
	})
	t.Cleanup(p.stop)
	return p
}

// ready waits until it says where it is.
func (p *program) ready(t *testing.T, want string) {
	t.Helper()
	if line, err := bufio.NewReader(p.out).ReadString('\n'); err != nil || !strings.Contains(line, want) {
		t.Fatalf("it says %q (%v), and should name %s\n%s", line, err, want, p.errs)
	}
}

// get asks for a path of a name, by either port.
func (p *program) get(t *testing.T, a *authority, url string) (*http.Response, error) {
	t.Helper()
	client := &http.Client{Timeout: 10 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{ForceAttemptHTTP2: true, TLSClientConfig: &tls.Config{RootCAs: a.roots}, DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
			port := p.tls
			if strings.HasPrefix(url, "http://") {
				port = p.http
			}
			return new(net.Dialer).DialContext(ctx, network, fmt.Sprint("127.0.0.1:", port))
		}}}
	defer client.CloseIdleConnections()
	res, err := client.Get(url)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	_, err = io.Copy(io.Discard, res.Body)
	return res, err
}

// until asks until there is a certificate.
func (p *program) until(t *testing.T, a *authority, url string) *http.Response {
	t.Helper()
	for deadline := time.Now().Add(2 * time.Minute); ; <-time.After(50 * time.Millisecond) {
		res, err := p.get(t, a, url)
		if err == nil {
			return res
		}
		if time.Now().After(deadline) {
			t.Fatalf("%v\n%s", err, p.errs)
		}
	}
}

// A certificate is there by itself, by either challenge, for the names that were given
// and no other; what comes without TLS is sent on; and a server that starts anew has it
// still, with no authority to ask.
func TestCertificates(t *testing.T) {
	t.Parallel()
	for name, closed := range map[string]bool{"TLS-ALPN-01": false, "HTTP-01": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			httpPort, tlsPort := freePort(t), freePort(t)
			looks := tlsPort
			if closed {
				looks = freePort(t) // the authority does not reach the port for TLS
			}
			a := newAuthority(t, httpPort, looks, "", 0)
			dir := t.TempDir()
			p := start(t, a, dir, httpPort, tlsPort, "snakes.test", "www.snakes.test")
			res := p.until(t, a, "https://snakes.test/livez")
			if res.StatusCode != http.StatusOK || res.ProtoMajor != 2 || res.Header.Get("Strict-Transport-Security") == "" {
				t.Errorf("%s %v", res.Status, res.Header)
			}
			p.until(t, a, "https://www.snakes.test/livez")
			if res, err := p.get(t, a, "https://others.test/livez"); err == nil {
				t.Errorf("a name that is not ours: %s", res.Status)
			}
			res, err := p.get(t, a, "http://snakes.test/c?x=1")
			if want := fmt.Sprintf("https://snakes.test:%d/c?x=1", tlsPort); err != nil || res.StatusCode != http.StatusPermanentRedirect || res.Header.Get("Location") != want {
				t.Errorf("without TLS: %v, %v", res, err)
			}
			first := p.until(t, a, "https://snakes.test/livez").TLS.PeerCertificates[0].SerialNumber
			p.stop()
			if said := p.errs.String(); strings.Contains(said, "handshake") || strings.Contains(said, "certificate") {
				t.Errorf("the log has %s", said)
			}
			database, err := os.ReadFile(filepath.Join(dir, "warmhand.db"))
			if err != nil || bytes.Contains(database, []byte("PRIVATE KEY")) {
				t.Errorf("the certificate's key is in the database as it is (%v)", err)
			}
			a.Close()
			again := start(t, a, dir, httpPort, tlsPort, "snakes.test", "www.snakes.test")
			if res := again.until(t, a, "https://snakes.test/livez"); res.TLS.PeerCertificates[0].SerialNumber.Cmp(first) != 0 {
				t.Error("after a new start it has another certificate")
			}
		})
	}
}

// Where the authority gives none, the log says for which name and what to look at, and
// the authority is not asked again at once.
func TestNoCertificate(t *testing.T) {
	t.Parallel()
	httpPort, tlsPort := freePort(t), freePort(t)
	a := newAuthority(t, httpPort, tlsPort, "blocked.test", 0)
	p := start(t, a, t.TempDir(), httpPort, tlsPort, "snakes.blocked.test")
	for deadline := time.Now().Add(2 * time.Minute); !strings.Contains(p.errs.String(), "there is no certificate for snakes.blocked.test: see whether the name leads to this machine"); <-time.After(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("it says %s", p.errs)
		}
	}
	begun := time.Now()
	if res, err := p.get(t, a, "https://snakes.blocked.test/livez"); err == nil || time.Since(begun) > 5*time.Second {
		t.Errorf("without a certificate: %v, %v after %v", res, err, time.Since(begun))
	}
	if res, err := p.get(t, a, "http://snakes.blocked.test/"); err != nil || res.StatusCode != http.StatusPermanentRedirect {
		t.Errorf("without TLS: %v, %v", res, err)
	}
}

// A renewal that fails is said while the certificate still holds.
func TestRenewalFails(t *testing.T) {
	t.Parallel()
	httpPort, tlsPort := freePort(t), freePort(t)
	a := newAuthority(t, httpPort, tlsPort, "", 12)
	p := start(t, a, t.TempDir(), httpPort, tlsPort, "snakes.test")
	ends := p.until(t, a, "https://snakes.test/livez").TLS.PeerCertificates[0].NotAfter
	a.Close()
	for want := "the certificate for snakes.test ends at " + ends.UTC().Format(time.RFC3339); !strings.Contains(p.errs.String(), want); <-time.After(50 * time.Millisecond) {
		if !time.Now().Before(ends) {
			t.Fatalf("it says %s", p.errs)
		}
	}
	p.until(t, a, "https://snakes.test/livez")
}
