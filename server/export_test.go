package server

import (
	"net"
	"strings"
	"time"

	"warmhand/internal/care"
)

// PlainRoutes are the routes that are plain HTTP, as the policy names them.
func PlainRoutes() (routes []string) {
	for key := range policy {
		if strings.Contains(key, " /") {
			routes = append(routes, key)
		}
	}
	return routes
}

// OnlyReads says whether the policy has a method change nothing.
func OnlyReads(method string) bool {
	for _, kind := range []care.ActorKind{care.Nobody, care.BreederOwner, care.Helper, care.Program, care.KeeperActor} {
		if policy.Check(method, care.Actor{Kind: kind, ReadOnly: true}) == nil {
			return true
		}
	}
	return false
}

// PlainAddr is where a server with TLS answers without.
func PlainAddr(s *Server) net.Addr { return s.plain.Addr() }

// Beat has a server say that it is there this often.
func Beat(c *Config, every time.Duration) { c.beat = every }

// Connections has a server take so many at once, and of one address a quarter.
func Connections(c *Config, most int) { c.connections = most }

// Held is how many bytes of bodies a server holds in memory.
func Held(s *Server) int64 {
	s.crowd.mu.Lock()
	defer s.crowd.mu.Unlock()
	return s.crowd.all.bytes
}

// QueuesLate is after how long the operator's page calls a queue late.
func QueuesLate() map[string]time.Duration {
	late := map[string]time.Duration{}
	for _, q := range queueWords {
		late[q.queue] = q.late
	}
	return late
}

// ForgetKey has the database know no key, as one of the release before.
func ForgetKey(tx care.Tx) error { return tx.DeleteKept(keyMark) }
