package followup

import (
	"sync"

	"warmhand/internal/care"
)

// Change tells watchers that a case changed; they read it anew.
type Change struct {
	BreederID string `json:"breeder_id"`
	CaseID    string `json:"case_id,omitempty"`
	What      string `json:"what"` // entry, standing, claim, end, photo, seen; "resync" when changes were lost or are many
}

func change(c *care.Case, what string) Change {
	return Change{BreederID: c.BreederID, CaseID: c.ID, What: what}
}

// hub hands changes to the watchers of a breeder in this process.
type hub struct {
	mu       sync.Mutex
	watchers map[string]map[chan Change]struct{}
	tell     func(Change) // nil when there are no other servers
}

// TellOthers has tell called with each change that is made here, for the watchers of
// other servers. It must not wait, and is set before anything changes.
func (s *Service) TellOthers(tell func(Change)) { s.hub.tell = tell }

// Heard hands a change that another server made to the watchers here.
func (s *Service) Heard(c Change) {
	s.memory.heard(c)
	s.hub.hand(c)
}

// Missed says to all watchers here that changes may have been lost.
func (s *Service) Missed() {
	h := &s.hub
	h.mu.Lock()
	defer h.mu.Unlock()
	for id, all := range h.watchers {
		for ch := range all {
			missed(ch, id)
		}
	}
}

// Changed says to a breeder's watchers that more of their cases changed than are
// worth naming.
func (s *Service) Changed(breederID string) {
	s.hub.publish(Change{BreederID: breederID, What: "resync"})
}

// Watch returns the changes of a breeder's cases from now on. A watcher that
// does not keep up loses changes and gets "resync" instead. stop may be called
// more than once.
func (s *Service) Watch(breederID string) (<-chan Change, func()) {
	ch := make(chan Change, 64)
	h := &s.hub
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.watchers == nil {
		h.watchers = map[string]map[chan Change]struct{}{}
	}
	if h.watchers[breederID] == nil {
		h.watchers[breederID] = map[chan Change]struct{}{}
	}
	h.watchers[breederID][ch] = struct{}{}
	return ch, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(h.watchers[breederID], ch)
		if len(h.watchers[breederID]) == 0 {
			delete(h.watchers, breederID)
		}
	}
}

func (h *hub) publish(c Change) {
	h.hand(c)
	if h.tell != nil {
		h.tell(c)
	}
}

func (h *hub) hand(c Change) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for ch := range h.watchers[c.BreederID] {
		select {
		case ch <- c:
		default:
			missed(ch, c.BreederID)
		}
	}
}

// missed puts the one word that stands for all that was lost, if need be in the place
// of something else that will be then.
func missed(ch chan Change, breederID string) {
	resync := Change{BreederID: breederID, What: "resync"}
	select {
	case ch <- resync:
		return
	default:
	}
	select {
	case <-ch:
	default:
	}
	select {
	case ch <- resync:
	default:
	}
}
