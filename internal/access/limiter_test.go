package access

import (
	"fmt"
	"net/netip"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

func TestLimiterCountsByKey(t *testing.T) {
	t.Parallel()
	m := NewLimiter(ClaimLimits)
	now := start
	for i := range 10 {
		if err := m.Try("a", now); err != nil {
			t.Fatalf("try %d: %v", i+1, err)
		}
	}
	e := wantError(t, m.Try("a", now), care.Exhausted, care.ReasonTooManyTries)
	if e.Meta["retry_seconds"] != "6" || e.Text.String() != "There were too many tries from here. Please try again in 6 seconds." {
		t.Errorf("%q, %v", e.Text, e.Meta)
	}
	if err := m.Try("b", now); err != nil {
		t.Errorf("another key: %v", err)
	}
	if m.Try("a", now.Add(5*time.Second)) == nil {
		t.Error("let through too early")
	}
	if err := m.Try("a", now.Add(6*time.Second)); err != nil {
		t.Errorf("after the wait that was named: %v", err)
	}
}

// Trying all the time, a key gets the hourly rate on top of one full bucket.
func TestLimiterHoldsOverHours(t *testing.T) {
	t.Parallel()
	m := NewLimiter(ClaimLimits)
	passed := 0
	for s := range 2 * 3600 {
		if m.Try("a", start.Add(time.Duration(s)*time.Second)) == nil {
			passed++
		}
	}
	// 60 in the bucket, then 60 an hour for two hours.
	if passed < 178 || passed > 181 {
		t.Errorf("%d tries passed in two hours, want about 180", passed)
	}
	// The hour's bucket is empty, the minute's is not.
	_ = m.Try("a", start.Add(2*time.Hour))
	e := wantError(t, m.Try("a", start.Add(2*time.Hour)), care.Exhausted, care.ReasonTooManyTries)
	if e.Meta["retry_seconds"] != "60" {
		t.Errorf("told to wait %s seconds, want 60", e.Meta["retry_seconds"])
	}
}

func TestLimiterOverallAndMemory(t *testing.T) {
	t.Parallel()
	m := NewLimiter(ClaimLimits)
	tries, passed, most := 0, 0, 0
	now := start
	for range 90 * 60 { // 90 minutes of 40 new keys a second
		for range 40 {
			tries++
			if m.Try(fmt.Sprint(tries), now) == nil {
				passed++
			}
			most = max(most, len(m.keys))
		}
		now = now.Add(time.Second)
	}
	if want := 600 + 90*600; passed < want-20 || passed > want {
		t.Errorf("%d of %d passed, want about %d", passed, tries, want)
	}
	if most > 36600 {
		t.Errorf("%d keys were held at once", most)
	}
	if len(m.keys) != m.recent.Len() {
		t.Errorf("%d keys, %d in the list", len(m.keys), m.recent.Len())
	}
	// A flood does not give a key its tries back.
	now = now.Add(time.Minute)
	for range 10 {
		if err := m.Try("a", now); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 500 {
		_ = m.Try(fmt.Sprint("flood", i), now)
	}
	if m.Try("a", now) == nil {
		t.Error("the key was forgotten")
	}
	// An hour of quiet empties it.
	if err := m.Try("z", now.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if len(m.keys) != 1 {
		t.Errorf("%d keys are left", len(m.keys))
	}
}

func TestLimiterTogether(t *testing.T) {
	t.Parallel()
	m := NewLimiter(Limits{[]Rate{{10, time.Minute}}, Rate{25, time.Minute}})
	var passed atomic.Int32
	var wg sync.WaitGroup
	for i := range 100 {
		wg.Go(func() {
			if m.Try(fmt.Sprint(i%5), start) == nil {
				passed.Add(1)
			}
		})
	}
	wg.Wait()
	if passed.Load() != 25 {
		t.Errorf("%d passed, want 25", passed.Load())
	}
}

func TestWaitIsReadable(t *testing.T) {
	t.Parallel()
	for wait, want := range map[time.Duration]string{
		time.Millisecond:   "Why. Please try again in 1 second.",
		59 * time.Second:   "Why. Please try again in 59 seconds.",
		121 * time.Second:  "Why. Please try again in 3 minutes.",
		3600 * time.Second: "Why. Please try again in 60 minutes.",
	} {
		if e := wantError(t, tooMany(words.Say("Why."), wait), care.Exhausted, care.ReasonTooManyTries); e.Text.String() != want {
			t.Errorf("%q, want %q", e.Text, want)
		}
	}
}

func TestAddressKey(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"192.0.2.7":            "192.0.2.7",
		"::ffff:192.0.2.7":     "192.0.2.7",
		"2001:db8:1:2:3:4:5:6": "2001:db8:1:2::/64",
		"2001:db8:1:2:ffff::1": "2001:db8:1:2::/64",
		"fe80::1%eth0":         "fe80::/64",
		"2001:db8:1:3:3:4:5:6": "2001:db8:1:3::/64",
	} {
		if got := AddressKey(netip.MustParseAddr(in)); got != want {
			t.Errorf("%s: %s, want %s", in, got, want)
		}
	}
	if got := AddressKey(netip.Addr{}); got != "invalid IP" {
		t.Errorf("no address: %q", got)
	}
}

// A busy key does not keep idle ones in memory.
func TestIdleKeysAreForgotten(t *testing.T) {
	t.Parallel()
	m := NewLimiter(ClaimLimits)
	for _, step := range []struct {
		key   string
		after time.Duration
	}{{"busy", 0}, {"idle", time.Minute}, {"busy", 59 * time.Minute}, {"busy", 62 * time.Minute}} {
		if err := m.Try(step.key, start.Add(step.after)); err != nil {
			t.Fatal(err)
		}
	}
	if len(m.keys) != 1 || m.keys["busy"] == nil {
		t.Errorf("%d keys are held", len(m.keys))
	}
}
