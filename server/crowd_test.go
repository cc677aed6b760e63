package server_test

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"warmhand/server"
	"warmhand/server/servertest"
)

// overHTTP2 has many requests on one connection, without TLS.
func overHTTP2(t *testing.T) *http.Client {
	t.Helper()
	var protocols http.Protocols
	protocols.SetUnencryptedHTTP2(true)
	c := &http.Client{Transport: &http.Transport{Protocols: &protocols}}
	t.Cleanup(c.CloseIdleConnections)
	return c
}

// Who is not signed in has so many requests under way at once, however few connections they
// come on and whatever a proxy hides; all together have so many, too.
func TestRequestsUnderWayAreBounded(t *testing.T) {
	t.Parallel()
	const most, each = 24, 12
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.Patience, c.TrustedProxies = time.Minute, []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}
		server.Connections(c, most)
	}})
	http2 := overHTTP2(t)
	ask := func(of, method, path string, body io.Reader) (*http.Response, error) {
		req, err := http.NewRequestWithContext(t.Context(), method, f.URL+path, body)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", "application/json")
		req.Header.Set("X-Forwarded-For", of)
		return http2.Do(req)
	}
	// hang sends the beginning of a request.
	var hung []*io.PipeWriter
	answered := make(chan string, most)
	hang := func(of string) {
		from, to := io.Pipe()
		hung = append(hung, to)
		go func() {
			res, err := ask(of, "POST", "/v1/claims:lookUp", from)
			if err != nil {
				answered <- err.Error()
				return
			}
			res.Body.Close()
			answered <- res.Status
		}()
		if _, err := to.Write([]byte("{")); err != nil {
			t.Error(err)
		}
	}
	t.Cleanup(func() {
		for _, to := range hung {
			to.Close()
		}
	})
	// told asks until it is answered so, for what was sent arrives in its own time.
	told := func(of string, want int, says string) {
		t.Helper()
		for deadline := time.Now().Add(20 * time.Second); ; <-time.After(2 * time.Millisecond) {
			res, err := ask(of, "GET", "/livez", nil)
			if err != nil {
				t.Fatal(err)
			}
			said, err := io.ReadAll(res.Body)
			res.Body.Close()
			if err == nil && res.StatusCode == want && strings.Contains(string(said), says) && (want == http.StatusOK || res.Header.Get("Retry-After") != "") {
				return
			}
			if time.Now().After(deadline) {
				t.Fatalf("%s is told %s %s, want %d", of, res.Status, said, want)
			}
		}
	}
	for range each {
		hang("192.0.2.1")
	}
	told("192.0.2.1", http.StatusTooManyRequests, "TOO_MANY_TRIES")
	told("192.0.2.2", http.StatusOK, "ok")
	for range each {
		hang("192.0.2.2")
	}
	told("192.0.2.3", http.StatusServiceUnavailable, "from everywhere together")
	if _, err := healthpb.NewHealthClient(f.GRPC()).Check(t.Context(), &healthpb.HealthCheckRequest{}); status.Code(err) != codes.Unavailable || !strings.Contains(status.Convert(err).Message(), "from everywhere together") {
		t.Errorf("by gRPC: %v", err)
	}
	select {
	case what := <-answered:
		t.Fatalf("a request that goes on was answered: %s", what)
	default:
	}
	for _, to := range hung {
		if _, err := to.Write([]byte("}")); err != nil {
			t.Error(err)
		}
		to.Close()
	}
	for range hung {
		if what := <-answered; !strings.HasPrefix(what, "400") && !strings.HasPrefix(what, "429") { // no code, or too many tries
			t.Errorf("a request that went on: %s", what)
		}
	}
	told("192.0.2.1", http.StatusOK, "ok")
}

// What came in of requests that are not whole is bounded by address: they may be of anybody.
func TestBodiesInMemoryAreBounded(t *testing.T) {
	t.Parallel()
	const large = 1 << 20
	const fit = 16 // of an address
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.Patience = time.Minute }})
	body := bytes.Repeat([]byte(" "), large)
	held := func(want int64) {
		t.Helper()
		for deadline := time.Now().Add(20 * time.Second); server.Held(f.Server) != want; <-time.After(time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatalf("%d bytes are held, want %d", server.Held(f.Server), want)
			}
		}
	}
	send := func(conn net.Conn, n int) {
		t.Helper()
		if _, err := fmt.Fprintf(conn, "POST /v1/claims:lookUp HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s", large, body[:n]); err != nil {
			t.Fatal(err)
		}
	}
	answer := func(conn net.Conn) int {
		t.Helper()
		res, err := http.ReadResponse(bufio.NewReader(conn), nil)
		if err != nil {
			t.Fatal(err)
		}
		return res.StatusCode
	}
	whole := func(address string) int {
		t.Helper()
		conn := from(t, address, f.Server.Addr())
		send(conn, large)
		return answer(conn)
	}
	var open []net.Conn
	for range fit {
		conn := from(t, "127.0.0.2", f.Server.Addr())
		send(conn, large-1)
		open = append(open, conn)
	}
	held(fit * (large - 1))
	if got := whole("127.0.0.2"); got != http.StatusTooManyRequests {
		t.Errorf("one more from there: %d", got)
	}
	if got := whole("127.0.0.3"); got != http.StatusBadRequest { // no JSON
		t.Errorf("one address keeps another out: %d", got)
	}
	held(fit * (large - 1))
	for _, conn := range open {
		if _, err := io.WriteString(conn, "x"); err != nil {
			t.Fatal(err)
		}
		if got := answer(conn); got != http.StatusBadRequest {
			t.Errorf("a request that went on: %d", got)
		}
	}
	held(0)
	if got := whole("127.0.0.2"); got != http.StatusBadRequest {
		t.Errorf("what was answered counts still: %d", got)
	}
}

// What a call by gRPC sends is bounded, however long it goes on: grpc reads ahead and keeps what
// is not worked on yet. Here nobody takes the answers, so that nothing is.
func TestEndlessCall(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.Patience = time.Minute }})
	question, err := proto.Marshal(&reflectionpb.ServerReflectionRequest{MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{}})
	if err != nil {
		t.Fatal(err)
	}
	message := append(binary.BigEndian.AppendUint32([]byte{0}, uint32(len(question))), question...)
	var sent atomic.Int64
	from, to := io.Pipe()
	defer to.Close()
	go func() {
		many := bytes.Repeat(message, 8<<10)
		for err := error(nil); err == nil; sent.Add(int64(len(many))) {
			_, err = to.Write(many)
		}
	}()
	req, err := http.NewRequestWithContext(t.Context(), "POST", f.URL+"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo", from)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/grpc")
	req.Header.Set("Te", "trailers")
	res, err := overHTTP2(t).Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if _, err := io.ReadFull(res.Body, make([]byte, 100)); err != nil { // the first answer, and no more are taken
		t.Fatal(err)
	}
	const bound = 8 << 20 // one message's room, and what lies between the two
	for was, still := int64(-1), 0; still < 20; <-time.After(20 * time.Millisecond) {
		now := sent.Load()
		if now > bound {
			t.Fatalf("%d bytes are taken in", now)
		}
		if still++; now != was {
			was, still = now, 0
		}
	}
}
