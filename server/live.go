package server

import (
	"context"
	"fmt"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/words"
)

// streamsEach is how many live streams one person may hold: a few devices with a
// few pages each. More are refused, so that nobody fills the memory with them.
const streamsEach = 24

// streams counts the open live streams by who holds them.
type streams struct {
	mu   sync.Mutex
	open map[string]int
}

// begin counts one more, until end is called. Who is not signed in is told apart by the
// address.
func (s *streams) begin(who care.Actor, from netip.Addr) (end func(), err error) {
	key := callerKey(who)
	if who.Kind == care.Nobody {
		key = access.AddressKey(from)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open[key] >= streamsEach {
		return nil, tooMuch(words.Say("Warmhand is open in too many places at once. Close some of them."))
	}
	if s.open == nil {
		s.open = map[string]int{}
	}
	s.open[key]++
	return func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.open[key]--; s.open[key] == 0 {
			delete(s.open, key)
		}
	}, nil
}

// watch sends the changes of these breeders' cases, as far as the caller may
// see them, until the caller goes, the sign-in ends or the server stops. beat
// is called from time to time; breeders may have more to watch by then.
func (s *Server) watch(ctx context.Context, who caller, breeders func(context.Context) ([]string, error), send func(*pb.WatchCasesResponse) error, beat func() error) error {
	s.metrics.live.Inc()
	defer s.metrics.live.Dec()
	ctx, cancel := context.WithCancel(ctx)
	var forwarding sync.WaitGroup
	defer forwarding.Wait()
	defer cancel()
	changes := make(chan followup.Change)
	watched := map[string]bool{}
	look := func() error {
		ids, err := breeders(ctx)
		if err != nil {
			return err
		}
		for _, id := range ids {
			if watched[id] {
				continue
			}
			watched[id] = true
			from, stop := s.followup.Watch(id)
			forwarding.Go(func() {
				defer stop()
				for {
					select {
					case <-ctx.Done():
						return
					case c := <-from:
						select {
						case <-ctx.Done():
							return
						case changes <- c:
						}
					}
				}
			})
		}
		return nil
	}
	if err := look(); err != nil {
		return err
	}
	if err := beat(); err != nil {
		return err
	}
	tick := time.NewTicker(heartbeat)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-s.draining:
			return errServerStops
		case <-tick.C:
			if err := s.stillIn(ctx, &who); err != nil {
				return err
			}
			if err := look(); err != nil {
				return err
			}
			if err := beat(); err != nil {
				return err
			}
		case c := <-changes:
			if err := s.stillIn(ctx, &who); err != nil {
				return err
			}
			answer := &pb.WatchCasesResponse{What: c.What}
			if c.CaseID != "" {
				v, err := s.followup.GetCase(ctx, who.Actor, s.now(), c.BreederID, c.CaseID)
				if care.IsCode(err, care.NotFound) {
					continue // another keeper's
				}
				if err != nil {
					return err
				}
				answer.Case = caseToProto(spoken(ctx), &v, who.Actor, false)
			}
			if err := send(answer); err != nil {
				return err
			}
		}
	}
}

// breederLive is GET /v1/breeders/{breeder}/live.
func (s *Server) breederLive(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("breeder")
	s.live(w, r, routeBreederLive, id, func(who caller) (func(context.Context) ([]string, error), error) {
		if !who.OfBreeder(id) {
			return nil, care.Missing("breeder")
		}
		return func(context.Context) ([]string, error) { return []string{id}, nil }, nil
	})
}

// keeperLive is GET /v1/keepers/me/live.
func (s *Server) keeperLive(w http.ResponseWriter, r *http.Request) {
	s.live(w, r, routeKeeperLive, "", func(who caller) (func(context.Context) ([]string, error), error) {
		return func(ctx context.Context) ([]string, error) {
			cases, err := s.followup.KeeperCases(ctx, who.Actor, s.now())
			var ids []string
			for i := range cases {
				ids = append(ids, cases[i].Case.BreederID)
			}
			return ids, err
		}, nil
	})
}

// live sends changes as server-sent events (HTML Living Standard, section
// 9.2): "change" with the JSON of WatchCasesResponse.
func (s *Server) live(w http.ResponseWriter, r *http.Request, route, breederID string, begin func(caller) (func(context.Context) ([]string, error), error)) {
	who, err := s.admit(w, r, route, breederID)
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	breeders, err := begin(who)
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	end, err := s.streams.begin(who.Actor, netip.Addr{})
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	defer end()
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no") // a proxy must not hold events back
	rc := http.NewResponseController(w)
	write := func(format string, args ...any) error {
		if _, err := fmt.Fprintf(w, format, args...); err != nil {
			return err
		}
		return rc.Flush()
	}
	// Once the stream has begun there is no status to tell an error by: the
	// browser connects again and gets it then.
	s.watch(r.Context(), who, breeders, func(a *pb.WatchCasesResponse) error { //nolint:errcheck // see above
		data, err := wireJSON.Marshal(a)
		if err != nil {
			return err
		}
		return write("event: change\ndata: %s\n\n", data)
	}, func() error { return write(": here\n\n") })
}

// admit is the chain's authentication and policy for routes that are plain
// HTTP.
func (s *Server) admit(w http.ResponseWriter, r *http.Request, route, breederID string) (caller, error) {
	cred := s.fromHTTP(r)
	who, err := s.identify(r.Context(), cred, route, breederID)
	if err != nil {
		return who, err
	}
	for role, secret := range who.keep {
		if cred.bearer != "" {
			w.Header().Set("Warmhand-Session", secret)
		} else {
			s.setCookie(w, role, secret)
		}
	}
	// The handler's transactions take their reach from the request.
	*r = *r.WithContext(care.WithReach(r.Context(), reachOf(route, who.Actor, breederID)))
	if err := policy.Check(route, who.Actor); err != nil {
		return who, err
	}
	return who, s.count(route, who.Actor)
}
