package acme

import (
	"fmt"
	"io"
	"math/big"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Servers on one database, begun at the same time behind one address that gives the
// connections to each in turn: whichever the authority comes to has the answer, they have
// one account and one certificate, which was ordered once, and the same when it is renewed.
func TestSeveralServers(t *testing.T) {
	t.Parallel()
	address := os.Getenv("WARMHAND_TEST_POSTGRES")
	if address == "" {
		t.Skip("WARMHAND_TEST_POSTGRES names no server (make acme starts one)")
	}
	for name, closed := range map[string]bool{"TLS-ALPN-01": false, "HTTP-01": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var plain, tls []int
			for range 2 {
				plain, tls = append(plain, freePort(t)), append(tls, freePort(t))
			}
			front, frontTLS := forward(t, plain), forward(t, tls)
			looks, each := frontTLS.port, int32(1)
			if closed {
				looks, each = freePort(t), 2 // one order for each way that is tried
			}
			a := newAuthority(t, front.port, looks, "", 15)
			database := schema(t, address)
			dirs := []string{t.TempDir(), t.TempDir()}
			key := exec.Command(binary, "key", "--data", dirs[0], "--database", database)
			if said, err := key.CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, said)
			}
			secret, err := os.ReadFile(filepath.Join(dirs[0], "server.key"))
			if err == nil {
				err = os.WriteFile(filepath.Join(dirs[1], "server.key"), secret, 0o600)
			}
			if err != nil {
				t.Fatal(err)
			}
			var servers []*program
			for i, dir := range dirs {
				servers = append(servers, begin(t, a, dir, plain[i], tls[i], []string{"snakes.test"},
					"--database", database, "--public-url", fmt.Sprint("https://snakes.test:", frontTLS.port), "--trusted-proxy", "127.0.0.1"))
			}
			for _, p := range servers {
				p.ready(t, fmt.Sprint("https://snakes.test:", frontTLS.port))
			}
			a.open() // only now, so that both are there to be asked, and want a certificate
			serial := func(p *program) *big.Int {
				return p.until(t, a, "https://snakes.test/livez").TLS.PeerCertificates[0].SerialNumber
			}
			first := serial(servers[0])
			if other := serial(servers[1]); other.Cmp(first) != 0 {
				t.Errorf("they have two certificates")
			}
			if orders, accounts := a.orders.Load(), a.accounts.Load(); orders != each || accounts != 1 {
				t.Errorf("%d orders by %d accounts, and should be %d by one", orders, accounts, each)
			}
			for i, b := range []*forwarder{front, frontTLS} {
				if given := b.seen(); (i == 0) == closed && min(given[0], given[1]) == 0 {
					t.Errorf("the servers were asked %v times: nobody asked the one that did not order", given)
				}
			}
			second := first
			for deadline := time.Now().Add(time.Minute); second.Cmp(first) == 0; <-time.After(100 * time.Millisecond) {
				if second = serial(servers[0]); time.Now().After(deadline) {
					t.Fatalf("it is not renewed: %s", servers[0].errs)
				}
			}
			for deadline := time.Now().Add(5 * time.Second); serial(servers[1]).Cmp(second) != 0; <-time.After(100 * time.Millisecond) {
				if time.Now().After(deadline) {
					t.Fatalf("the other has not the new one: %s", servers[1].errs)
				}
			}
			// Fewer where the authority by chance asks for no proof again, which it does now and then.
			if orders, accounts := a.orders.Load(), a.accounts.Load(); orders <= each || orders > 2*each || accounts != 1 {
				t.Errorf("renewed: %d orders by %d accounts, and should be %d by one", orders, accounts, 2*each)
			}
		})
	}
}

// schema is an empty place in the database server.
func schema(t *testing.T, address string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context()) //nolint:errcheck // the test has what it wants
	name := fmt.Sprintf("acme_%d", time.Now().UnixNano())
	if _, err := conn.Exec(t.Context(), `CREATE SCHEMA `+name); err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", name)
	u.RawQuery = q.Encode()
	return u.String()
}

// forwarder gives each connection to the next port.
type forwarder struct {
	port int

	mu    sync.Mutex
	given []int // connections, by port
}

func (f *forwarder) seen() []int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.given)
}

func forward(t *testing.T, to []int) *forwarder {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	f := &forwarder{port: l.Addr().(*net.TCPAddr).Port, given: make([]int, len(to))}
	go func() {
		for n := 0; ; n++ {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			f.mu.Lock()
			f.given[n%len(to)]++
			f.mu.Unlock()
			go func() {
				defer conn.Close()
				back, err := net.Dial("tcp", fmt.Sprint("127.0.0.1:", to[n%len(to)]))
				if err != nil {
					return
				}
				defer back.Close()
				go func() {
					io.Copy(back, conn)              //nolint:errcheck // either side may go
					back.(*net.TCPConn).CloseWrite() //nolint:errcheck // the same
				}()
				io.Copy(conn, back) //nolint:errcheck // the same
			}()
		}
	}()
	return f
}
