package followup

import (
	"sync"

	"warmhand/internal/care"
)

// Change tells watchers that a case changed; they read it anew.
type Change struct {
	BreederID, CaseID, KeeperID string
	What                        string // entry, standing, claim, end, photo, seen; "resync" when changes were lost
}

func change(c *care.Case, what string) Change {
	return Change{BreederID: c.BreederID, CaseID: c.ID, KeeperID: c.KeeperID, What: what}
}

// hub hands changes to the watchers of a breeder in this process.
type hub struct {
	mu       sync.Mutex
	watchers map[string]map[chan Change]struct{}
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
	h.mu.Lock()
	defer h.mu.Unlock()
	for ch := range h.watchers[c.BreederID] {
		select {
		case ch <- c:
			continue
		default:
		}
		// Full: make room for the one word that stands for all that was lost.
		select {
		case <-ch:
		default:
		}
		select {
		case ch <- Change{BreederID: c.BreederID, What: "resync"}:
		default:
		}
	}
}
