package server_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	"warmhand/server"
	"warmhand/server/servertest"
)

// from connects from an address of this machine's own; nil when it is refused already.
func from(t *testing.T, address string, to net.Addr) net.Conn {
	t.Helper()
	dialer := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(address)}, Timeout: 20 * time.Second}
	conn, err := dialer.DialContext(t.Context(), "tcp", to.String())
	if errors.Is(err, syscall.ECONNRESET) {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	conn.SetDeadline(time.Now().Add(30 * time.Second)) //nolint:errcheck // on TCP
	return conn
}

// answers asks for something on a connection that stays open.
func answers(conn net.Conn) bool {
	if conn == nil {
		return false
	}
	if _, err := io.WriteString(conn, "GET /livez HTTP/1.1\r\nHost: localhost\r\n\r\n"); err != nil {
		return false
	}
	res, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		return false
	}
	_, err = io.Copy(io.Discard, res.Body)
	return err == nil && res.StatusCode < 500
}

// One address has so many connections at once and all together so many, on all ports; one more is
// closed at once, the others go on, and one that ends makes room.
func TestConnectionsAreBounded(t *testing.T) {
	t.Parallel()
	const most, each = 24, 6
	log := &logged{}
	start := func(configure func(*server.Config)) *servertest.Fixture {
		return servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
			c.Patience, c.Metrics, c.Log = time.Minute, "127.0.0.1:0", slog.New(slog.NewTextHandler(log, nil))
			server.Connections(c, most)
			configure(c)
		}})
	}
	told := func(f *servertest.Fixture, line string) bool {
		t.Helper()
		return strings.Contains(f.ForOperators("/metrics"), "\n"+line+"\n")
	}
	room := func(t *testing.T, address string, to net.Addr) net.Conn { // the server notices in a moment that one is closed
		t.Helper()
		for deadline := time.Now().Add(20 * time.Second); ; <-time.After(time.Millisecond) {
			if conn := from(t, address, to); answers(conn) {
				return conn
			}
			if time.Now().After(deadline) {
				t.Fatal("a connection that was closed is counted for ever")
			}
		}
	}

	t.Run("one address", func(t *testing.T) {
		f := start(func(*server.Config) {})
		to := f.Server.Addr()
		var open []net.Conn
		for range each {
			conn := from(t, "127.0.0.2", to)
			if !answers(conn) {
				t.Fatalf("only %d of one address", len(open))
			}
			open = append(open, conn)
		}
		if answers(from(t, "127.0.0.2", to)) {
			t.Error("one more of the same address")
		}
		over, err := grpc.NewClient("passthrough:///"+to.String(), grpc.WithTransportCredentials(insecure.NewCredentials()),
			grpc.WithContextDialer(func(context.Context, string) (net.Conn, error) {
				if conn := from(t, "127.0.0.2", to); conn != nil {
					return conn, nil
				}
				return nil, syscall.ECONNRESET
			}))
		if err != nil {
			t.Fatal(err)
		}
		defer over.Close()
		if _, err := healthpb.NewHealthClient(over).Check(t.Context(), &healthpb.HealthCheckRequest{}); status.Code(err) != codes.Unavailable {
			t.Errorf("one more by gRPC: %v", err)
		}
		if !answers(from(t, "127.0.0.3", to)) {
			t.Error("one address keeps another out")
		}
		for _, conn := range open {
			if !answers(conn) {
				t.Error("one that is open is disturbed by those that are refused")
			}
		}
		if !told(f, `warmhand_connections 7`) || !told(f, `warmhand_connections_refused_total{full="all"} 0`) || told(f, `warmhand_connections_refused_total{full="address"} 0`) {
			t.Error("the metrics do not tell")
		}
		if text := log.text.String(); strings.Count(text, "Connections are refused") != 1 || strings.Contains(text, "127.0.0.2") {
			t.Errorf("the log says %s", text)
		}
		open[0].Close()
		room(t, "127.0.0.2", to)
	})

	t.Run("all together", func(t *testing.T) {
		// Those of a proxy of ours are everybody's.
		f := start(func(c *server.Config) { c.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.2/32")} })
		to := f.Server.Addr()
		var open []net.Conn
		for range most - 1 {
			conn := from(t, "127.0.0.2", to)
			if !answers(conn) {
				t.Fatalf("only %d of a proxy", len(open))
			}
			open = append(open, conn)
		}
		if !answers(from(t, "127.0.0.3", to)) {
			t.Error("there is room for one more")
		}
		for _, address := range []string{"127.0.0.2", "127.0.0.4"} {
			if answers(from(t, address, to)) {
				t.Errorf("one more than all, of %s", address)
			}
		}
		if told(f, `warmhand_connections_refused_total{full="all"} 0`) {
			t.Error("the metrics do not tell")
		}
		open[0].Close()
		room(t, "127.0.0.4", to)
	})

	t.Run("with TLS", func(t *testing.T) {
		f := start(func(c *server.Config) {
			c.TLSHosts, c.ListenHTTP, c.ACME = []string{"snakes.example.org"}, "127.0.0.1:0", "http://127.0.0.1:1/none"
		})
		// Who says nothing at all is counted, and on both ports together.
		waits := func(conn net.Conn) bool {
			if conn == nil {
				return false
			}
			conn.SetReadDeadline(time.Now().Add(100 * time.Millisecond)) //nolint:errcheck // on TCP
			_, err := conn.Read(make([]byte, 1))
			timeout, ok := err.(net.Error)
			return ok && timeout.Timeout()
		}
		for i := range each {
			if !waits(from(t, "127.0.0.2", []net.Addr{f.Server.Addr(), server.PlainAddr(f.Server)}[i%2])) {
				t.Fatal("it is not waited for a greeting")
			}
		}
		for what, to := range map[string]net.Addr{"with TLS": f.Server.Addr(), "without": server.PlainAddr(f.Server)} {
			if waits(from(t, "127.0.0.2", to)) {
				t.Errorf("one more %s", what)
			}
		}
		if !answers(from(t, "127.0.0.3", server.PlainAddr(f.Server))) {
			t.Error("one address keeps another out")
		}
		if !told(f, fmt.Sprintf("warmhand_connections %d", each+1)) {
			t.Error("the metrics do not tell")
		}
	})
}
