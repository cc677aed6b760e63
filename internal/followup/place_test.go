package followup_test

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	"warmhand/internal/store"
)

// t0 is a Sunday in autumn, well after the test animals hatched.
var t0 = time.Date(2026, 11, 1, 9, 0, 0, 0, time.UTC)

const day = 24 * time.Hour

func ptr[T any](v T) *T { return &v }

// codes is what the server plugs in: real codes, under a real key.
type codes struct{ key access.Key }

func (c codes) New() (plain, hash string, err error) {
	plain = access.NewClaimCode()
	return plain, c.key.HashClaimCode(plain), nil
}

func (c codes) Hash(typed string) (string, error) {
	plain, err := access.ParseClaimCode(typed)
	if err != nil {
		return "", err
	}
	return c.key.HashClaimCode(plain), nil
}

func (c codes) NewSigningKey(breederID string) (care.SigningKey, error) {
	return c.key.NewSigningKey(breederID)
}

func (c codes) Sign(by *care.SigningKey, payload []byte) (string, bool, error) {
	jws, err := c.key.Sign(by, payload)
	if errors.Is(err, access.ErrSealed) {
		return "", false, nil
	}
	return jws, err == nil, err
}

func (codes) Issuer() string { return "https://snakes.example.org" }

func (c codes) CardKey(breederID string) []byte { return c.key.CardKey(breederID) }

func (c codes) Mark(breederID, plain string) string {
	return access.CardMark(c.key.CardKey(breederID), plain)
}

// place is the use cases over a store of its own, mostly SQLite in a folder, with two
// breeders that must not see each other.
type place struct {
	*followup.Service
	dir    string
	store  *store.Store
	codes  codes
	loam   care.Actor
	helper care.Actor
	other  care.Actor // another breeder
	ids    atomic.Int64
}

func newPlace(t testing.TB) *place { t.Helper(); return newPlaceIn(t, t.TempDir()) }

func newPlaceIn(t testing.TB, dir string) *place {
	t.Helper()
	return newPlaceOn(t, dir, store.Config{Dir: dir})
}

// newPlaceOn is for a store of any kind; the key is in dir.
func newPlaceOn(t testing.TB, dir string, on store.Config) *place {
	t.Helper()
	st, err := store.Open(context.Background(), on)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Errorf("closing: %v", err)
		}
	})
	key, err := access.LoadKey(dir)
	if err != nil {
		t.Fatal(err)
	}
	st = st.Everything()
	p := &place{Service: followup.New(st, codes{key}, codes{key}), dir: dir, store: st, codes: codes{key},
		loam:   care.Actor{Kind: care.BreederOwner, BreederID: "loam", UserID: "u1"},
		helper: care.Actor{Kind: care.Helper, BreederID: "loam", UserID: "u2"},
		other:  care.Actor{Kind: care.BreederOwner, BreederID: "fern", UserID: "u3"}}
	p.write(t, func(tx care.Tx) error {
		for _, b := range []string{"loam", "fern"} {
			if err := tx.InsertBreeder(care.Breeder{ID: b, Name: b, TimeZone: "UTC", Hemi: care.North, CreatedAt: t0, Version: 1}); err != nil {
				return err
			}
		}
		return nil
	})
	return p
}

func (p *place) write(t testing.TB, f func(care.Tx) error) {
	t.Helper()
	if err := p.store.Write(t.Context(), f); err != nil {
		t.Fatal(err)
	}
}

func (p *place) id(prefix string) string { return fmt.Sprintf("%s-%06d", prefix, p.ids.Add(1)) }

// animal is a young ball python of loam that ate three times.
func (p *place) animal(t testing.TB) care.Animal {
	t.Helper()
	a, err := p.CreateAnimal(t.Context(), p.loam, t0.Add(-60*day), care.Animal{BreederID: "loam", Name: "tub 14", Species: "python_regius",
		Sex: care.Female, Hatched: ptr(time.Date(2026, 7, 20, 0, 0, 0, 0, time.UTC)), Note: "shy, and half price"})
	if err != nil {
		t.Fatal(err)
	}
	for weeks := 3; weeks > 0; weeks-- {
		at := t0.Add(-time.Duration(weeks) * 7 * day)
		for _, body := range []care.Body{care.WeighIn{Mass: 100 - care.Grams(weeks)}, care.Offer{Result: care.Eaten, Prey: "rat", PreyState: care.Thawed, PreyMass: 9}} {
			if _, err := p.CreateEntry(t.Context(), p.loam, at, care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("history"), HappenedAt: at, Note: "for us only", Body: body}); err != nil {
				t.Fatal(err)
			}
		}
	}
	return a
}

func (p *place) handover(t testing.TB, a care.Animal, now time.Time) (care.Handover, string) {
	t.Helper()
	h, code, err := p.CreateHandover(t.Context(), p.loam, now, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, BuyerNote: "paid in coins", RequestID: p.id("request")})
	if err != nil {
		t.Fatal(err)
	}
	return h, code
}

func (p *place) claim(t testing.TB, code string, now time.Time) (keeper care.Actor, v followup.CaseView) {
	t.Helper()
	v, _, err := p.Claim(t.Context(), care.Actor{}, now, code, "Robin", p.id("claim"), func(_ care.Tx, k care.Actor) error { keeper = k; return nil })
	if err != nil {
		t.Fatal(err)
	}
	return keeper, v
}

// sold is an animal handed over at t0 and claimed an hour later.
func (p *place) sold(t testing.TB) (a care.Animal, c care.Case, keeper care.Actor) {
	t.Helper()
	a = p.animal(t)
	_, code := p.handover(t, a, t0)
	keeper, v := p.claim(t, code, t0.Add(time.Hour))
	return a, v.Case, keeper
}

// log saves an entry about a case that happened now.
func (p *place) log(t testing.TB, who care.Actor, c care.Case, now time.Time, body care.Body) care.Entry {
	t.Helper()
	e, err := p.CreateEntry(t.Context(), who, now, care.Entry{BreederID: c.BreederID, AnimalID: c.AnimalID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Body: body})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// get is a case as it is stored; getAt is as it stands at an instant.
func (p *place) get(t testing.TB, c care.Case) followup.CaseView { return p.getAt(t, c, t0) }

func (p *place) getAt(t testing.TB, c care.Case, now time.Time) followup.CaseView {
	t.Helper()
	v, err := p.GetCase(t.Context(), care.Actor{Kind: care.BreederOwner, BreederID: c.BreederID}, now, c.BreederID, c.ID)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func (p *place) flags(t testing.TB, c care.Case) []care.Flag {
	t.Helper()
	list, err := p.ListFlags(t.Context(), p.loam, c.BreederID, c.ID)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func (p *place) entries(t testing.TB, who care.Actor, c care.Case) []care.Entry {
	t.Helper()
	var all []care.Entry
	var after care.Cursor
	for {
		list, next, err := p.ListEntries(t.Context(), who, c.BreederID, c.AnimalID, nil, "", after, 50)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, list...)
		if after = next; after == (care.Cursor{}) {
			return all
		}
	}
}

func find(list []care.Entry, id string) *care.Entry {
	for i := range list {
		if list[i].ID == id {
			return &list[i]
		}
	}
	return nil
}

func wantReason(t testing.TB, err error, reason care.ErrorReason) *care.Error {
	t.Helper()
	var e *care.Error
	if !errors.As(err, &e) {
		t.Fatalf("got %v, want an error with reason %s", err, reason)
	}
	if e.Reason != reason {
		t.Fatalf("got %v, want reason %s", err, reason)
	}
	if e.Text.Empty() {
		t.Errorf("%s says nothing", reason)
	}
	return e
}

func wantField(t testing.TB, err error, field string) {
	t.Helper()
	e := wantReason(t, err, care.ReasonBadField)
	if len(e.Fields) != 1 || e.Fields[0].Field != field {
		t.Errorf("got %v, want an error about %s", err, field)
	}
}
