package access

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/store"
)

var start = time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)

const day = 24 * time.Hour

// bench is a store with one breeder, its owner and a helper of it.
type bench struct {
	*testing.T
	store *store.Store
	dir   string // of the store
	owner care.Actor
	// sessions are one program's; others are of the test's own.
	sessions *Sessions
}

func newBench(t *testing.T) *bench {
	t.Helper()
	dir := t.TempDir()
	s, err := store.Open(context.Background(), store.Config{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	b := &bench{t, s, dir, care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "u1"}, NewSessions(s)}
	b.write(func(tx care.Tx) error {
		return errors.Join(
			tx.InsertBreeder(care.Breeder{ID: "b1", Name: "Test room", CreatedAt: start}),
			tx.InsertUser(care.User{BreederID: "b1", ID: "u1", Name: "Owner", Role: care.BreederOwner, CreatedAt: start}),
			tx.InsertUser(care.User{BreederID: "b1", ID: "u2", Name: "Second", Role: care.Helper, CreatedAt: start}),
		)
	})
	return b
}

// write runs f in a transaction that has to succeed.
func (b *bench) write(f func(care.Tx) error) {
	b.Helper()
	if err := b.try(f); err != nil {
		b.Fatal(err)
	}
}

func (b *bench) try(f func(care.Tx) error) error {
	return b.store.Write(context.Background(), f)
}

// wantError checks class and reason, and that the text is fit to be shown.
func wantError(t *testing.T, err error, code care.Code, reason care.ErrorReason) *care.Error {
	t.Helper()
	var e *care.Error
	if !errors.As(err, &e) {
		t.Fatalf("got %v, want a *care.Error with %s", err, reason)
	}
	if e.Code != code || e.Reason != reason {
		t.Fatalf("got %s %s (%s), want %s %s", e.Code, e.Reason, e.Text, code, reason)
	}
	if !strings.HasSuffix(e.Text.String(), ".") || strings.Contains(e.Text.String(), "!") {
		t.Errorf("text %q is not a plain sentence", e.Text)
	}
	return e
}

func TestSecretsSayTheirKind(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for kind, prefix := range prefixes {
		s := NewSecret(kind)
		if !strings.HasPrefix(s, prefix) || len(s) != len(prefix)+43 || seen[prefix] {
			t.Errorf("%s secret is %q", kind, s)
		}
		seen[prefix] = true
		if s == NewSecret(kind) {
			t.Error("two secrets are equal")
		}
	}
	// FIPS 180-4 example, the message "abc".
	if got := Hash("abc"); got != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Error(got)
	}
}

func TestLabelsFitOnOneLine(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"  Phone\tof\nAda \x00": "Phone of Ada",
		"bad \xff utf":          "bad  utf",
		strings.Repeat("ä", 90): strings.Repeat("ä", 80),
		"\x1b[31mred":           "[31mred",
	} {
		if got := cleanLabel(in); got != want {
			t.Errorf("%q gave %q, want %q", in, got, want)
		}
	}
}
