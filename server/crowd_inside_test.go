package server

import (
	"fmt"
	"testing"

	"warmhand/internal/care"
)

// What is held of all bodies is bounded, too: no number of addresses fills the memory. What a
// request was refused is not counted.
func TestBodiesOfAllAreBounded(t *testing.T) {
	t.Parallel()
	c := &crowd{most: 100, each: 2, of: map[string]*share{}}
	hold := func(key string) (*guest, error) {
		g := &guest{c: c, key: key, held: true}
		if err := g.take(share{requests: 1}); err != nil {
			t.Fatal(err)
		}
		return g, g.take(share{bytes: bodiesEach})
	}
	var guests []*guest
	for i := range bodiesMost / bodiesEach {
		g, err := hold(fmt.Sprint(i))
		if err != nil {
			t.Fatal(i, err)
		}
		guests = append(guests, g)
	}
	one, err := hold("one more")
	if !care.IsCode(err, care.Unavailable) {
		t.Errorf("one more: %v", err)
	}
	guests[0].leave()
	if err := one.take(share{bytes: bodiesEach}); err != nil {
		t.Errorf("when one has left: %v", err)
	}
	if err := one.take(share{bytes: 1}); !care.IsCode(err, care.Unavailable) {
		t.Errorf("again one more: %v", err)
	}
	guests[1].leave()
	if err := one.take(share{bytes: 1}); !care.IsCode(err, care.Exhausted) {
		t.Errorf("more of one address: %v", err)
	}
	for _, g := range append(guests[2:], one) {
		g.leave()
	}
	if c.all != (share{}) || len(c.of) != 0 {
		t.Errorf("%+v and %d addresses are left of nobody", c.all, len(c.of))
	}
}
