package access

import (
	"container/list"
	"net/netip"
	"strconv"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Rate is how many tries there are in a time. They may all come at once.
type Rate struct {
	Tries int
	In    time.Duration
}

// Limits are the rates of one key, all of which hold, and the rate of all
// keys together, where it has tries.
type Limits struct {
	Each    []Rate
	Overall Rate
}

// CallLimits are those of what one account does: so many calls a minute, all at once if
// need be. They keep one account from holding up the others, and no person comes near.
func CallLimits(calls int) Limits { return Limits{Each: []Rate{{calls, time.Minute}}} }

// The limits. What they make of guessing a claim code is worked out at
// NewClaimCode; the secrets of a sign-in cannot be guessed, so its limits only
// keep the load down. So do those of checking a signed record, and those of what is printed, which go by who asks: a
// show's hall is one address. MailLimits keep a person from having mail sent to
// strangers.
var (
	ClaimLimits  = Limits{[]Rate{{10, time.Minute}, {60, time.Hour}}, Rate{600, time.Minute}}
	PrintLimits  = Limits{[]Rate{{30, time.Minute}, {300, time.Hour}}, Rate{300, time.Minute}}
	CheckLimits  = Limits{[]Rate{{60, time.Minute}, {600, time.Hour}}, Rate{1200, time.Minute}}
	MailLimits   = Limits{[]Rate{{3, 10 * time.Minute}, {10, 24 * time.Hour}}, Rate{60, time.Minute}}
	SignInLimits = Limits{[]Rate{{20, time.Minute}, {120, time.Hour}}, Rate{1200, time.Minute}}
)

// Limiter counts tries by key. It is safe for concurrent use.
//
// A key is remembered until all its buckets are full again. Only tries that
// the overall rate let through make a key, so no flood of keys fills the
// memory or washes another key out: with ClaimLimits there are at most 36 600.
// Without an overall rate the keys have to be of those who signed in.
type Limiter struct {
	limits  Limits
	longest time.Duration

	mu      sync.Mutex
	overall *rate.Limiter // nil for none
	keys    map[string]*list.Element
	recent  *list.List // of *counted, most recent in front
}

type counted struct {
	key     string
	last    time.Time
	buckets []*rate.Limiter
}

// NewLimiter returns a limiter whose buckets are full.
func NewLimiter(l Limits) *Limiter {
	m := &Limiter{limits: l, keys: map[string]*list.Element{}, recent: list.New()}
	if l.Overall.Tries > 0 {
		m.overall = l.Overall.bucket()
	}
	for _, r := range l.Each {
		m.longest = max(m.longest, r.In)
	}
	return m
}

func (r Rate) bucket() *rate.Limiter {
	return rate.NewLimiter(rate.Every(r.In/time.Duration(r.Tries)), r.Tries)
}

// Try counts one try of the key, or returns an Exhausted error that says how
// long to wait, also in Meta "retry_seconds". A try that is refused does not
// count, so that waiting always helps.
func (m *Limiter) Try(key string, now time.Time) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	for e := m.recent.Back(); e != nil && !now.Before(e.Value.(*counted).last.Add(m.longest)); e = m.recent.Back() {
		m.recent.Remove(e)
		delete(m.keys, e.Value.(*counted).key)
	}
	e := m.keys[key]
	var c *counted
	if e != nil {
		c = e.Value.(*counted)
		var wait time.Duration
		for _, b := range c.buckets {
			wait = max(wait, untilOne(b, now))
		}
		if wait > 0 {
			if m.overall == nil {
				return tooMany(words.Say("Too much came from this account at once."), wait)
			}
			return tooMany(words.Say("There were too many tries from here."), wait)
		}
	}
	if wait := untilOne(m.overall, now); wait > 0 {
		return tooMany(words.Say("There are too many tries just now, from everywhere together."), wait)
	}
	if c == nil {
		c = &counted{key: key}
		for _, r := range m.limits.Each {
			c.buckets = append(c.buckets, r.bucket())
		}
		e = m.recent.PushFront(c)
		m.keys[key] = e
	}
	m.recent.MoveToFront(e)
	c.last = now
	if m.overall != nil {
		m.overall.AllowN(now, 1)
	}
	for _, b := range c.buckets {
		b.AllowN(now, 1)
	}
	return nil
}

// untilOne is how long until the bucket holds one try.
func untilOne(b *rate.Limiter, now time.Time) time.Duration {
	if b == nil {
		return 0
	}
	missing := 1 - b.TokensAt(now)
	if missing <= 0 {
		return 0
	}
	return time.Duration(missing / float64(b.Limit()) * float64(time.Second))
}

func tooMany(why words.Text, wait time.Duration) error {
	s := int((wait + time.Second - 1) / time.Second)
	again := words.Count("Please try again in {n} second.", "Please try again in {n} seconds.", s)
	if s > 120 {
		again = words.Say("Please try again in {n} minutes.", (s+59)/60)
	}
	return &care.Error{
		Code: care.Exhausted, Reason: care.ReasonTooManyTries,
		Text: words.Join(why, again),
		Meta: map[string]string{"retry_seconds": strconv.Itoa(s)},
	}
}

// AddressKey is the limiter key of a network address. Of IPv6 it takes the
// first 64 bits, which is what one home gets (RFC 6177): the rest is the
// caller's to choose.
func AddressKey(a netip.Addr) string {
	a = a.Unmap().WithZone("")
	if a.Is6() {
		p, _ := a.Prefix(64) // no error for 64 bits of a valid IPv6 address
		return p.String()
	}
	return a.String()
}
