package server

import (
	"context"
	"encoding/json"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"warmhand/internal/followup"
	"warmhand/internal/store"
)

// Several servers on one PostgreSQL database: what one changes goes live to the screens
// of all. Each tells the others after a change was saved, and now and then that it is
// there. Where something may have got lost on the way, screens are told to read
// anew: when a server could not tell, when it did not hear for a while, and when another
// has gone without a farewell, which may have saved something last that it told nobody.

const (
	// beatEvery is how often each says that it is there; one that was silent for
	// beatsMissed of them is gone, or we are deaf.
	beatEvery   = 5 * time.Second
	beatsMissed = 3
	// gather is how long changes wait for more of them, so that a busy server tells many
	// in one go: each telling is a transaction and wakes all servers. Nobody sees a tenth of
	// a second.
	gather = 100 * time.Millisecond
	// tellMost is how many changes wait to be told; beyond, screens had better read anew.
	tellMost = 5000

	tellingPeers = "telling other servers"
	hearingPeers = "hearing other servers"
)

// peers are the other servers on the database.
type peers struct {
	store    *store.Store
	followup *followup.Service
	metrics  *metrics
	id       string
	beat     time.Duration
	wake     chan struct{}

	mu      sync.Mutex
	waiting []followup.Change        // to be told
	known   map[followup.Change]bool // those that are waiting
	lost    bool                     // some were not told

	others atomic.Int32 // that are heard

	heard map[string]time.Time // others, by when they were last heard; for Hear alone
}

// news is what one server tells the others.
type news struct {
	From string `json:"from"`
	// Bye: it told all and is going.
	Bye bool `json:"bye,omitempty"`
	// Lost: some changes before this were not told.
	Lost    bool              `json:"lost,omitempty"`
	Changes []followup.Change `json:"changes,omitempty"`
}

func newPeers(s *Server) *peers {
	p := &peers{store: s.store, followup: s.followup, metrics: s.metrics, id: uuid.NewString(), beat: s.cfg.beat, wake: make(chan struct{}, 1)}
	if p.beat == 0 {
		p.beat = beatEvery
	}
	s.followup.TellOthers(p.add)
	return p
}

// add keeps a change to be told. What waits already is not told twice, since screens
// read the case and not the change.
func (p *peers) add(c followup.Change) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.known[c]:
		return
	case len(p.waiting) == tellMost:
		p.waiting, p.known, p.lost = nil, nil, true
	default:
		if p.known == nil {
			p.known = map[followup.Change]bool{}
		}
		p.known[c] = true
		p.waiting = append(p.waiting, c)
	}
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

// run tells and hears until ctx ends, and then says farewell.
func (p *peers) run(ctx context.Context, worked func(ctx context.Context, what string, begun time.Time, err error)) {
	var running sync.WaitGroup
	running.Go(func() {
		for ctx.Err() == nil {
			begun := time.Now()
			p.heard = map[string]time.Time{}
			worked(ctx, hearingPeers, begun, p.store.Hear(ctx, beatsMissed*p.beat, func() {
				worked(ctx, hearingPeers, begun, nil)
				p.followup.Missed()
			}, p.take))
			p.count(0)
			select {
			case <-ctx.Done():
			case <-time.After(p.beat):
			}
		}
	})
	tick := time.NewTicker(p.beat)
	defer tick.Stop()
	for whole := context.WithoutCancel(ctx); ctx.Err() == nil; {
		begun := time.Now()
		worked(ctx, tellingPeers, begun, p.tell(whole, false))
		select {
		case <-ctx.Done():
		case <-tick.C:
		case <-p.wake:
			select {
			case <-ctx.Done():
			case <-time.After(min(gather, p.beat)):
			}
		}
	}
	running.Wait()
	begun, last := time.Now(), context.WithoutCancel(ctx)
	worked(last, tellingPeers, begun, p.tell(last, true))
}

// tell tells all that waits, and that this server is there.
func (p *peers) tell(ctx context.Context, bye bool) (err error) {
	ctx, cancel := context.WithTimeout(ctx, 2*p.beat)
	defer cancel()
	p.mu.Lock()
	changes, lost := p.waiting, p.lost
	p.waiting, p.known, p.lost = nil, nil, false
	p.mu.Unlock()
	defer func() {
		if err != nil {
			p.mu.Lock()
			p.lost = true
			p.mu.Unlock()
		}
	}()
	texts, err := pieces(news{From: p.id, Lost: lost, Bye: bye}, changes)
	for _, text := range texts {
		if err == nil {
			err = p.store.Tell(ctx, text)
		}
	}
	return err
}

// pieces are the texts by which changes are told: at least one.
func pieces(n news, changes []followup.Change) (texts []string, err error) {
	const frame = 150 // bytes around the changes
	last := n.Bye
	for size := frame; ; size, n.Lost, n.Changes = frame, false, nil {
		for len(changes) > 0 {
			text, err := json.Marshal(changes[0])
			if err != nil {
				return nil, err
			}
			if size += len(text) + 1; size > store.TellMost && len(n.Changes) > 0 {
				break
			}
			n.Changes, changes = append(n.Changes, changes[0]), changes[1:]
		}
		n.Bye = last && len(changes) == 0
		text, err := json.Marshal(n)
		if err != nil {
			return nil, err
		}
		if texts = append(texts, string(text)); len(changes) == 0 {
			return texts, nil
		}
	}
}

// take is called with what was told, by this server too: its own beat says that it hears.
func (p *peers) take(text string) {
	var n news
	if json.Unmarshal([]byte(text), &n) != nil || n.From == "" {
		return // nobody of ours: what servers tell may get more fields, and keeps these
	}
	now := time.Now()
	if n.From != p.id {
		p.heard[n.From] = now
		if n.Bye {
			delete(p.heard, n.From)
		}
		if n.Lost {
			p.followup.Missed()
		}
		for _, c := range n.Changes {
			p.followup.Heard(c)
		}
	}
	for id, last := range p.heard {
		if now.Sub(last) > beatsMissed*p.beat {
			delete(p.heard, id)
			p.followup.Missed()
		}
	}
	p.count(len(p.heard))
}

func (p *peers) count(others int) {
	p.others.Store(int32(others))
	p.metrics.peers.Set(float64(others))
}
