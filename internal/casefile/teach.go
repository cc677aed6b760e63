package casefile

import (
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// Teacher tells what the histories of a breeder's animals of one species teach,
// as the service counts it: the offers of the three years before. It is told
// offers and asked in the order of time. The zero value knows nothing.
type Teacher[Animal comparable] struct {
	window []lesson[Animal] // what counts, oldest first
	counts map[Animal]care.FeedingCount
	flock  assess.Flock
}

type lesson[Animal comparable] struct {
	ms      int64
	of      Animal
	refused bool
}

// Reset forgets everything.
func (t *Teacher[Animal]) Reset() {
	t.window, t.flock = t.window[:0], assess.Flock{}
	clear(t.counts)
}

// Offer tells of one offer to an animal, ms since 1970.
func (t *Teacher[Animal]) Offer(ms int64, of Animal, refused bool) {
	if t.counts == nil {
		t.counts = map[Animal]care.FeedingCount{}
	}
	l := lesson[Animal]{ms, of, refused}
	t.window = append(t.window, l)
	t.change(l, 1)
}

func (t *Teacher[Animal]) change(l lesson[Animal], sign int) {
	c := t.counts[l.of]
	t.flock.Remove(c)
	if c.Offers += sign; l.refused {
		c.Refused += sign
	}
	t.flock.Add(c)
	if t.counts[l.of] = c; c.Offers == 0 {
		delete(t.counts, l.of)
	}
}

// Others are all animals but one, as they are known at a time.
func (t *Teacher[Animal]) Others(ms int64, but Animal) assess.Flock {
	since := time.UnixMilli(ms).UTC().AddDate(-3, 0, 0).UnixMilli()
	old := 0
	for ; old < len(t.window) && t.window[old].ms < since; old++ {
		t.change(t.window[old], -1)
	}
	if old > 0 {
		t.window = t.window[:copy(t.window, t.window[old:])]
	}
	others := t.flock
	others.Remove(t.counts[but])
	return others
}
