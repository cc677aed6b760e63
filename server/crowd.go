package server

import (
	"io"
	"net/http"
	"net/url"
	"strconv"
	"sync"

	"warmhand/internal/access"
	"warmhand/internal/words"
)

const (
	// bodiesEach and bodiesMost are how many bytes of JSON and of messages by gRPC are held in
	// memory at once, of one address and in all, until they are answered. A phone that was
	// offline for a week sends some tens of kB in one request.
	bodiesEach = 16 << 20
	bodiesMost = 128 << 20
)

// crowd is what is asked just now and not answered yet, by the address of who asks. By
// HTTP/2 one connection has hundreds of requests at once, and by a proxy everybody's; and
// nobody need be signed in to send the beginning of one.
type crowd struct {
	s          *Server
	most, each int // requests

	mu  sync.Mutex
	all share
	of  map[string]*share
}

// share is how much of it is one address's.
type share struct {
	requests int
	bytes    int64
}

// newCrowd lets in as many requests as connections, and of one address twice as many.
func (s *Server) newCrowd(c *connections) *crowd {
	return &crowd{s: s, most: c.most, each: 2 * c.each, of: map[string]*share{}}
}

// guest is one request.
type guest struct {
	c    *crowd
	key  string
	held bool // to its address's share; what comes from a proxy that does not say for whom is not
	has  share
}

// enter counts a request until it leaves.
func (c *crowd) enter(r *http.Request) (*guest, error) {
	from := c.s.remoteOf(r.RemoteAddr, r.Header.Values("X-Forwarded-For"))
	g := &guest{c: c, key: access.AddressKey(from), held: !c.s.isProxy(from)}
	if err := g.take(share{requests: 1}); err != nil {
		return nil, err
	}
	return g, nil
}

func (g *guest) take(more share) error {
	g.c.mu.Lock()
	defer g.c.mu.Unlock()
	all, of := &g.c.all, g.c.of[g.key]
	if of == nil {
		of = &share{}
	}
	switch {
	case all.requests+more.requests > g.c.most, all.bytes+more.bytes > bodiesMost:
		return tooBusy(words.Say("Too much is asked just now, from everywhere together. Please try again in a little while."))
	case g.held && (of.requests+more.requests > g.c.each || of.bytes+more.bytes > bodiesEach):
		return tooMuch(words.Say("Too much is asked from here at once. Please try again in a little while."))
	}
	for _, s := range []*share{all, of, &g.has} {
		s.requests += more.requests
		s.bytes += more.bytes
	}
	g.c.of[g.key] = of
	return nil
}

// leave gives back all that was taken.
func (g *guest) leave() {
	g.c.mu.Lock()
	defer g.c.mu.Unlock()
	of := g.c.of[g.key]
	for _, s := range []*share{&g.c.all, of} {
		s.requests -= g.has.requests
		s.bytes -= g.has.bytes
	}
	if of.requests == 0 {
		delete(g.c.of, g.key)
	}
}

type guestKey struct{}

// guestOf is the guest that a request is of.
func guestOf(r *http.Request) *guest { return r.Context().Value(guestKey{}).(*guest) }

// heldBody is a request's body, of which what is read stays in memory until it is answered.
type heldBody struct {
	io.ReadCloser
	g *guest
}

func (b *heldBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if full := b.g.take(share{bytes: int64(n)}); full != nil {
		return 0, full
	}
	return n, err
}

// refuseGRPC answers a call with an error before grpc has seen it (gRPC over HTTP2, "Trailers-Only").
func (s *Server) refuseGRPC(w http.ResponseWriter, r *http.Request, err error) {
	st, _ := statusOf(err, "", asked(r))
	h := w.Header()
	h.Set("Content-Type", "application/grpc")
	h.Set("Grpc-Status", strconv.Itoa(int(st.Code())))
	h.Set("Grpc-Message", url.PathEscape(st.Message()))
}
