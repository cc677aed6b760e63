package server

import (
	"net"
	"net/netip"
	"sync"
	"time"

	"warmhand/internal/access"
)

const (
	// connectionsMost is how many connections are open at once, where the process may have
	// enough files open (see newConnections). One that waits takes 22 kB here, and with TLS
	// or HTTP/2 a few times that.
	connectionsMost = 16 << 10
	// connectionsEach is how many one address may have of them: a school or a show's hall has
	// one address for 200 phones, and a phone that lost the line leaves a connection behind
	// that is open here for minutes yet.
	connectionsEach = 512
	// refusedLogged is how often the log says that connections are refused.
	refusedLogged = time.Hour
)

// Why a connection is refused, as the metrics have it.
const (
	fullOfAddress = "address"
	fullOfAll     = "all"
)

// connections counts those that are open, on all ports for people together. One too many
// is closed when it is accepted, before a byte of it is read: waiting, as
// netutil.LimitListener does, would have one address keep all others out.
type connections struct {
	s          *Server
	most, each int

	mu     sync.Mutex
	all    int
	of     map[string]int // by access.AddressKey
	logged time.Time
}

// newConnections takes half of the files that the process may have open, for the database, the
// pictures that come in by these connections, and what goes out want theirs; and one
// address may never have more than a quarter of that.
func (s *Server) newConnections() *connections {
	c := &connections{s: s, most: connectionsMost, of: map[string]int{}}
	if files := filesMost(); files > 0 {
		c.most = min(c.most, max(1, files/2))
	}
	if s.cfg.connections > 0 {
		c.most = s.cfg.connections
	}
	c.each = max(1, min(connectionsEach, c.most/4))
	return c
}

// listen is net.Listen for a port whose connections are counted.
func (c *connections) listen(address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, err
	}
	return counting{l.(*net.TCPListener), c}, nil
}

// enter counts one more, until leave is called; why is not "" where there is no room for it.
// A proxy of ours has everybody's connections, so only those in all bound it.
func (c *connections) enter(from netip.Addr) (leave func(), why string) {
	key, held := access.AddressKey(from), !c.s.isProxy(from)
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.all >= c.most:
		return nil, fullOfAll
	case held && c.of[key] >= c.each:
		return nil, fullOfAddress
	}
	c.all++
	if held {
		c.of[key]++
	}
	c.s.metrics.connections.Set(float64(c.all))
	return sync.OnceFunc(func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.all--
		c.s.metrics.connections.Set(float64(c.all))
		if held {
			if c.of[key]--; c.of[key] == 0 {
				delete(c.of, key)
			}
		}
	}), ""
}

// tell counts a refusal, and says now and then what an operator can do.
func (c *connections) tell(why string) {
	c.s.metrics.refused.WithLabelValues(why).Inc()
	c.mu.Lock()
	quiet := time.Since(c.logged) < refusedLogged
	if !quiet {
		c.logged = time.Now()
	}
	c.mu.Unlock()
	if !quiet {
		c.s.log.Warn("Connections are refused, because too many are open from one address, or in all. A reverse proxy of yours is held to no address's share once it is named with --trusted-proxy; in all there may be half as many as the process may have files open.",
			"full", why, "most", c.most, "of an address", c.each)
	}
}

// counting is a port whose connections are counted.
type counting struct {
	*net.TCPListener
	c *connections
}

func (l counting) Accept() (net.Conn, error) {
	for {
		conn, err := l.AcceptTCP()
		if err != nil {
			return nil, err
		}
		leave, why := l.c.enter(addrOf(conn.RemoteAddr().String()))
		if why == "" {
			return &countedConn{conn, leave}, nil
		}
		l.c.tell(why)
		conn.SetLinger(0) //nolint:errcheck // nothing of it is to stay here, nor in the kernel
		conn.Close()
	}
}

// countedConn is a TCP connection in all, so that whoever serves it may close one direction.
type countedConn struct {
	*net.TCPConn
	leave func()
}

func (c *countedConn) Close() error {
	defer c.leave()
	return c.TCPConn.Close()
}
