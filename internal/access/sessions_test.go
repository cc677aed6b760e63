package access

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/store"
)

var keeper = care.Actor{Kind: care.KeeperActor, KeeperID: "k1"}

func (b *bench) start(who care.Actor, now time.Time) (plain string) {
	b.Helper()
	b.write(func(tx care.Tx) (err error) {
		plain, err = b.sessions.Start(tx, who, "phone", now)
		return err
	})
	return plain
}

// ok authenticates and returns the rotated secret, if any.
func (b *bench) ok(plain string, want care.Actor, now time.Time) (rotated string) {
	b.Helper()
	who, rotated, err := b.sessions.Authenticate(context.Background(), plain, now)
	if err != nil {
		b.Fatalf("after %v: %v", now.Sub(start), err)
	}
	if who != want {
		b.Fatalf("after %v: authenticated as %+v, want %+v", now.Sub(start), who, want)
	}
	return rotated
}

func (b *bench) refused(plain string, now time.Time) *care.Error {
	b.Helper()
	who, rotated, err := b.sessions.Authenticate(context.Background(), plain, now)
	if who != (care.Actor{}) || rotated != "" {
		b.Fatalf("after %v: refused with %v, but as %+v with %q", now.Sub(start), err, who, rotated)
	}
	return wantError(b.T, err, care.Unauthenticated, care.ReasonSignInNeeded)
}

// row reads what is stored, and whether it is.
func (b *bench) row(plain string) (s care.Secret, found bool) {
	b.Helper()
	err := b.store.Read(context.Background(), func(tx care.Tx) (err error) {
		s, err = tx.Secret(Hash(plain))
		return err
	})
	if err != nil && !care.IsCode(err, care.NotFound) {
		b.Fatal(err)
	}
	return s, err == nil
}

// phone keeps its cookie as a browser does.
type phone struct {
	b      *bench
	who    care.Actor
	cookie string
}

func (p *phone) use(now time.Time) {
	p.b.Helper()
	if r := p.b.ok(p.cookie, p.who, now); r != "" {
		p.cookie = r
	}
}

func TestSessionSlides(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for name, c := range map[string]struct {
		who  care.Actor
		life time.Duration
		step time.Duration // between uses: just within a life
	}{
		"keeper":  {keeper, KeeperSession, 399 * day},
		"breeder": {b.owner, BreederSession, 29 * day},
	} {
		p := &phone{b, c.who, b.start(c.who, start)}
		now := start
		for range 5 { // far longer than one life
			now = now.Add(c.step)
			p.use(now)
		}
		p.b.refused(p.cookie, now.Add(c.life))
		if Life(c.who) != c.life {
			t.Errorf("%s: cookie for %v", name, Life(c.who))
		}
	}
	b.refused("", start)
	b.refused("whs_nothing", start)
}

func TestRotationKeepsThePhoneIn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	p := &phone{b, keeper, b.start(keeper, start)}
	seen := map[string]bool{}
	for d := range 365 {
		now := start.Add(time.Duration(d) * day)
		for _, after := range []time.Duration{0, time.Minute, time.Hour} {
			p.use(now.Add(after))
			seen[p.cookie] = true
		}
	}
	if len(seen) != 365/7+1 {
		t.Errorf("%d secrets in a year, want one a week", len(seen))
	}
}

func TestLostAnswer(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	old := b.start(keeper, start)
	lost := b.ok(old, keeper, start.Add(8*day))
	if lost == "" {
		t.Fatal("no rotation after eight days")
	}
	// The answer never came. The phone tries again at once, all day, and after
	// more than a week without a network.
	for _, after := range []time.Duration{time.Second, time.Hour, 6 * day} {
		if r := b.ok(old, keeper, start.Add(8*day+after)); r != "" {
			t.Errorf("handed out another secret %v later", after)
		}
	}
	next := b.ok(old, keeper, start.Add(20*day))
	if next == "" || next == lost {
		t.Fatal("nothing new was handed out after the first one was lost")
	}
	// This one arrives, and settles.
	b.ok(next, keeper, start.Add(20*day+time.Minute))
	b.ok(next, keeper, start.Add(20*day+settleAfter))
	b.ok(old, keeper, start.Add(20*day+settleAfter+overlap)) // was still under way
	// Whoever has the lost answer has a copy.
	e := b.refused(lost, start.Add(21*day))
	if e.Meta["cause"] != "reused" {
		t.Errorf("refused as %v", e.Meta)
	}
	b.refused(next, start.Add(21*day))
}

// A phone took the new cookie, used it, and lost power before it was on disk.
func TestCookieLostToAFlatBattery(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	old := b.start(keeper, start)
	now := start.Add(7 * day)
	fresh := b.ok(old, keeper, now)
	b.ok(fresh, keeper, now.Add(30*time.Second))
	b.ok(fresh, keeper, now.Add(settleAfter-time.Second))
	b.ok(old, keeper, now.Add(3*day))
	if b.ok(old, keeper, now.Add(7*day)) == "" {
		t.Error("no further attempt to rotate")
	}
}

// Which of the two is the thief makes no difference to the server, and must not.
func TestCopiedSecretEndsTheChain(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	cookie := b.start(keeper, start)
	first, second := &phone{b, keeper, cookie}, &phone{b, keeper, cookie}
	now := start.Add(7 * day)
	first.use(now)
	second.use(now.Add(time.Minute)) // goes on with the old one
	first.use(now.Add(settleAfter))  // settles
	second.use(now.Add(settleAfter + overlap))
	if second.cookie != cookie {
		t.Fatal("the chain forked")
	}
	e := b.refused(second.cookie, now.Add(settleAfter+overlap+time.Millisecond))
	if e.Meta["cause"] != "reused" {
		t.Errorf("refused as %v", e.Meta)
	}
	e = b.refused(first.cookie, now.Add(day))
	if e.Meta != nil {
		t.Errorf("the ended one was refused as %v", e.Meta)
	}
	for _, plain := range []string{first.cookie, second.cookie} {
		if _, found := b.row(plain); found {
			t.Error("a row of the ended chain is left")
		}
	}
}

// Long after, the oldest secret of a chain still gives the copy away.
func TestVeryOldSecretEndsTheChain(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	oldest := b.start(keeper, start)
	p := &phone{b, keeper, oldest}
	for d := range 300 {
		p.use(start.Add(time.Duration(d) * day))
		p.use(start.Add(time.Duration(d)*day + time.Hour))
	}
	b.refused(oldest, start.Add(301*day))
	b.refused(p.cookie, start.Add(301*day))
}

func TestParallelRequestsRotateOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	old := b.start(keeper, start)
	now := start.Add(7 * day)
	rotated := make([]string, 12)
	var wg sync.WaitGroup
	for i := range rotated {
		wg.Go(func() {
			var err error
			if _, rotated[i], err = b.sessions.Authenticate(context.Background(), old, now); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	var fresh []string
	for _, r := range rotated {
		if r != "" {
			fresh = append(fresh, r)
		}
	}
	if len(fresh) != 1 {
		t.Fatalf("%d secrets were handed out, want 1", len(fresh))
	}
	b.ok(fresh[0], keeper, now)
}

func TestOrdinaryUseWritesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	plain := b.start(b.owner, start)
	counting := &countWrites{Store: b.store}
	s := NewSessions(counting)
	for m := range 23 * 60 { // a request a minute, short of a day
		if _, _, err := s.Authenticate(context.Background(), plain, start.Add(time.Duration(m)*time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	if counting.n != 1 {
		t.Errorf("%d writes, want the one that settles", counting.n)
	}
}

type countWrites struct {
	care.Store
	n    int
	fail error
}

func (c *countWrites) Write(ctx context.Context, f func(care.Tx) error) error {
	c.n++
	if c.fail != nil {
		return c.fail
	}
	return c.Store.Write(ctx, f)
}

// When nothing can be written, people stay signed in and copies stay out.
func TestAFullDisk(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	old := b.start(keeper, start)
	broken := NewSessions(&countWrites{Store: b.store, fail: errors.New("disk full")})
	now := start.Add(8 * day)
	who, rotated, err := broken.Authenticate(context.Background(), old, now)
	if err != nil || who != keeper || rotated != "" {
		t.Errorf("%+v, %q, %v", who, rotated, err)
	}
	fresh := b.ok(old, keeper, now)
	b.ok(fresh, keeper, now.Add(settleAfter))
	who, _, err = broken.Authenticate(context.Background(), old, now.Add(day))
	if err == nil || who != (care.Actor{}) {
		t.Errorf("a copied secret came in as %+v, %v", who, err)
	}
}

// Hanging up does not save a copy from ending its chain.
func TestHangingUpDoesNotKeepACopyAlive(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	old := b.start(keeper, start)
	now := start.Add(7 * day)
	fresh := b.ok(old, keeper, now)
	b.ok(fresh, keeper, now.Add(settleAfter))
	ctx, cancel := context.WithCancel(context.Background())
	s := NewSessions(hangUp{b.store, cancel})
	if _, _, err := s.Authenticate(ctx, old, now.Add(day)); err == nil {
		t.Error("came in")
	}
	b.refused(fresh, now.Add(day))
}

// hangUp cancels the request between the look and the write.
type hangUp struct {
	care.Store
	cancel func()
}

func (h hangUp) Write(ctx context.Context, f func(care.Tx) error) error {
	h.cancel()
	return h.Store.Write(ctx, f)
}

func TestEnd(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	s := b.sessions
	old := b.start(keeper, start)
	other := b.start(keeper, start)
	now := start.Add(7 * day)
	fresh := b.ok(old, keeper, now)
	for range 2 { // signing out twice is fine
		b.write(func(tx care.Tx) error { return s.End(tx, fresh, now) })
	}
	b.refused(fresh, now)
	b.refused(old, now) // its place was taken by one that ended
	b.ok(other, keeper, now)
	b.write(func(tx care.Tx) error { return s.End(tx, "whs_nothing", now) })
}

func TestRolesAreReadAfresh(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	helper := care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "u2"}
	// Started in a role that the person does not have.
	plain := b.start(care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "u2"}, start)
	b.ok(plain, helper, start)
	// A user that is gone.
	plain = b.start(care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "gone"}, start)
	b.refused(plain, start)
}

func TestSessionsAreForPeople(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, who := range []care.Actor{
		{}, {Kind: care.KeeperActor}, {Kind: care.BreederOwner, BreederID: "b1"}, {Kind: care.Helper, UserID: "u1"},
		{Kind: care.Program, BreederID: "b1", UserID: "t"}, {Kind: care.Service, BreederID: "b1"},
	} {
		err := b.try(func(tx care.Tx) error {
			_, err := b.sessions.Start(tx, who, "", start)
			return err
		})
		if err == nil {
			t.Errorf("%+v got a session", who)
		}
	}
}

func TestListAndRevoke(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	p := &phone{b, b.owner, b.start(b.owner, start)}
	q := &phone{b, b.owner, b.start(b.owner, start.Add(time.Hour))}
	for h := range 72 {
		p.use(start.Add(time.Duration(h) * time.Hour))
	}
	now := start.Add(72 * time.Hour)
	q.use(now)
	var open []care.Secret
	b.write(func(tx care.Tx) (err error) {
		open, err = List(tx, "b1", care.SecretSession, now)
		return err
	})
	if len(open) != 2 || open[0].ID == open[1].ID || open[0].Label != "phone" {
		t.Fatalf("open: %+v", open)
	}
	row, _ := b.row(p.cookie)
	wantError(t, b.try(func(tx care.Tx) error { return Revoke(tx, "b2", row.ID) }), care.NotFound, care.ReasonNotFound)
	b.ok(p.cookie, b.owner, now)
	b.write(func(tx care.Tx) error { return Revoke(tx, "b1", row.ID) })
	b.refused(p.cookie, now) // from that moment on
	b.ok(q.cookie, b.owner, now)
	wantError(t, b.try(func(tx care.Tx) error { return Revoke(tx, "b1", row.ID) }), care.NotFound, care.ReasonNotFound)
}

func TestTokens(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var plain string
	var token care.Secret
	b.write(func(tx care.Tx) (err error) {
		plain, token, err = NewToken(tx, b.owner, " scales ", true, 30*day, start)
		return err
	})
	program := care.Actor{Kind: care.Program, BreederID: "b1", UserID: token.ID, ReadOnly: true}
	if token.Label != "scales" || token.Hash == plain {
		t.Errorf("%+v", token)
	}
	if r := b.ok(plain, program, start.Add(29*day)); r != "" {
		t.Error("a token was rotated")
	}
	if s, _ := b.row(plain); s.UsedAt == nil || !s.UsedAt.Equal(start.Add(29*day)) {
		t.Errorf("last use %v", s.UsedAt)
	}
	b.refused(plain, start.Add(30*day))
	// Signing out with a token in the cookie's place does not revoke it.
	b.write(func(tx care.Tx) error { return b.sessions.End(tx, plain, start) })
	b.ok(plain, program, start.Add(29*day))
	b.write(func(tx care.Tx) error { return Revoke(tx, "b1", token.ID) })
	b.refused(plain, start.Add(29*day))

	for field, try := range map[string]func(tx care.Tx) error{
		"label":      func(tx care.Tx) error { _, _, err := NewToken(tx, b.owner, "\x00 ", false, day, start); return err },
		"expires_at": func(tx care.Tx) error { _, _, err := NewToken(tx, b.owner, "x", false, 0, start); return err },
	} {
		if e := wantError(t, b.try(try), care.Invalid, care.ReasonBadField); e.Fields[0].Field != field {
			t.Errorf("field %s, want %s", e.Fields[0].Field, field)
		}
	}
	for _, who := range []care.Actor{keeper, program} {
		if b.try(func(tx care.Tx) error { _, _, err := NewToken(tx, who, "x", false, day, start); return err }) == nil {
			t.Errorf("%s made a token", who.Kind)
		}
	}
}

// What is remembered of a sign-in ends with it: at once where it was ended, and
// after two seconds where another program ended it.
func TestRememberedNoLongerThanValid(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	elsewhere, err := store.Open(t.Context(), store.Config{Dir: b.dir})
	if err != nil {
		t.Fatal(err)
	}
	defer elsewhere.Close()

	here := b.start(keeper, start)
	b.ok(here, keeper, start)
	b.write(func(tx care.Tx) error { return b.sessions.End(tx, here, start) })
	b.refused(here, start)

	there := b.start(keeper, start)
	b.ok(there, keeper, start)
	if err := elsewhere.Write(t.Context(), func(tx care.Tx) error { return tx.DeleteSecret(Hash(there)) }); err != nil {
		t.Fatal(err)
	}
	b.ok(there, keeper, start.Add(rememberFor-time.Millisecond)) // it was not read again
	b.refused(there, start.Add(rememberFor))

	last := b.start(keeper, start)
	almost := start.Add(KeeperSession - time.Millisecond)
	b.sessions.known.Purge()
	b.write(func(tx care.Tx) error { // used up to the end, so that nothing is to be done about it
		s, err := tx.Secret(Hash(last))
		if err != nil {
			return err
		}
		s.CreatedAt, s.UsedAt = almost, &almost
		return tx.UpdateSecret(s)
	})
	b.ok(last, keeper, almost)
	b.refused(last, almost.Add(time.Millisecond))
}
