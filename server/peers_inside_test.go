package server

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"warmhand/internal/followup"
	"warmhand/internal/store"
)

// Screens read anew when a server went without a farewell, or could not tell all; and
// for no other reason.
func TestPeersThatGo(t *testing.T) {
	t.Parallel()
	f := followup.New(nil, nil, nil)
	p := &peers{followup: f, metrics: newMetrics("test"), id: "me", beat: time.Hour, heard: map[string]time.Time{}}
	changes, stop := f.Watch("b1")
	defer stop()
	got := func() string {
		select {
		case c := <-changes:
			return c.What
		default:
			return ""
		}
	}
	later := func() { // the next own beat, when others were silent for too long
		for id := range p.heard {
			p.heard[id] = time.Now().Add(-(beatsMissed + 1) * p.beat)
		}
		p.take(`{"from":"me"}`)
	}
	for _, step := range []struct {
		told, want string
		late       bool
	}{
		{told: `{"from":"other"}`},
		{told: `{"from":"other","changes":[{"breeder_id":"b1","case_id":"c1","what":"entry"}]}`, want: "entry"},
		{told: `{"from":"other","changes":[{"breeder_id":"b2","case_id":"c1","what":"entry"}]}`},
		{told: `{"from":"me","changes":[{"breeder_id":"b1","case_id":"c1","what":"entry"}]}`}, // handed on here already
		{told: `{"from":"other","lost":true}`, want: "resync"},
		{told: `{"from":"other","later":"field"}`},
		{told: `not ours`},
		{told: `{"from":"other","bye":true}`},
		{late: true},
		{told: `{"from":"third"}`},
		{late: true, want: "resync"},
		{late: true},
	} {
		if step.late {
			later()
		} else {
			p.take(step.told)
		}
		if what := got(); what != step.want {
			t.Errorf("after %q, late %v: %q, want %q", step.told, step.late, what, step.want)
		}
	}
}

// What waits is told in pieces that fit, each change once and in order.
func TestPieces(t *testing.T) {
	t.Parallel()
	f := followup.New(nil, nil, nil)
	p := &peers{followup: f, id: "me", wake: make(chan struct{}, 1)}
	for i := range 600 {
		p.add(followup.Change{BreederID: "b1", CaseID: fmt.Sprint("case-", i/2), What: "entry"}) // each twice
	}
	texts, err := pieces(news{From: p.id, Lost: true, Bye: true}, p.waiting)
	if err != nil || len(texts) < 3 || len(texts) > 5 {
		t.Fatalf("%d pieces, %v", len(texts), err)
	}
	next := 0
	for i, text := range texts {
		var n news
		if err := json.Unmarshal([]byte(text), &n); err != nil || len(text) > store.TellMost {
			t.Fatalf("%d bytes, %v", len(text), err)
		}
		if n.From != "me" || n.Lost != (i == 0) || n.Bye != (i == len(texts)-1) {
			t.Errorf("piece %d: %s", i, text[:60])
		}
		for _, c := range n.Changes {
			if want := (followup.Change{BreederID: "b1", CaseID: fmt.Sprint("case-", next), What: "entry"}); c != want {
				t.Fatalf("%+v, want %+v", c, want)
			}
			next++
		}
	}
	if next != 300 {
		t.Errorf("%d changes of 300", next)
	}
	if texts, err := pieces(news{From: p.id}, nil); err != nil || len(texts) != 1 {
		t.Errorf("a beat is %q, %v", texts, err)
	}
	for i := range tellMost {
		p.add(followup.Change{BreederID: "b1", CaseID: fmt.Sprint("more-", i), What: "entry"})
	}
	if !p.lost || len(p.waiting) >= tellMost {
		t.Errorf("%d wait, lost: %v", len(p.waiting), p.lost)
	}
}
