package access

import (
	"context"
	"fmt"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// How long a sign-in lasts without use. 400 days is as long as a browser keeps
// a cookie (RFC 6265bis, the Expires and Max-Age attributes): a keeper should
// never have to sign in twice on one phone.
const (
	BreederSession = 30 * 24 * time.Hour
	KeeperSession  = 400 * 24 * time.Hour
)

const (
	// A secret older than this is replaced on its next use.
	breederRotation = 24 * time.Hour
	keeperRotation  = 7 * 24 * time.Hour
	// A use of the new secret this long after it was handed out shows that the
	// device has kept it: browsers hold cookies in memory first and write them
	// to disk later, some after five minutes.
	settleAfter = 10 * time.Minute
	// Requests that were under way when the new secret settled still arrive
	// with the old one.
	overlap = time.Minute
	// How often the last use of an API token is noted.
	tokenTouch = time.Hour
)

// Sessions are the sign-ins of browsers, and the check of every secret that a
// request brings.
//
// A session is a chain of secrets. Each use of a chain whose newest secret is
// older than a day (breeder) or a week (keeper) adds a new one, which the
// answer carries to the device. An answer can be lost, and a device can lose
// power before its browser wrote the new cookie to disk; then it comes back
// with the old secret, perhaps a week later. So an old secret stays good until
// a later one of its chain has settled, that is, was used ten minutes or more
// after it was handed out. From a minute after that on the device cannot
// honestly hold the old one: its use means that somebody copied it, and nobody
// can say which of the two is the owner, so the whole chain ends and both have
// to sign in.
//
// A secret that was handed out in vain is not replaced before it is itself a
// day or a week old. The old one opens in the meantime, so nothing is lost,
// and parallel requests do not fork the chain.
//
// Who a secret stands for is remembered until anybody's secret or role changes,
// so that one revoked here opens nothing from that moment on. Other programs on
// the same database are noticed after at most two seconds (rememberFor). A request costs
// a look at memory or reads, except for the two writes of a rotation and one an hour for a token.
type Sessions struct {
	store care.Store
	known *lru.Cache[string, remembered] // by hash
}

// remembered is who a secret stood for when nothing was to be done about it.
type remembered struct {
	who   care.Actor
	lets  uint64 // Store.Lets before it was read
	at    time.Time
	until time.Time
}

const (
	rememberFor    = 2 * time.Second
	rememberAtOnce = 8192 // secrets; about 300 bytes each
)

// NewSessions returns the sessions kept in a store.
func NewSessions(s care.Store) *Sessions {
	known, err := lru.New[string, remembered](rememberAtOnce)
	if err != nil {
		panic(err) // only for a size below one
	}
	return &Sessions{s, known}
}

// Life is how long a session of this actor lasts without use, for the cookie.
func Life(who care.Actor) time.Duration {
	if who.Kind == care.KeeperActor {
		return KeeperSession
	}
	return BreederSession
}

// Start signs somebody in and returns the secret for the cookie. The label
// says which device it is.
func (s *Sessions) Start(tx care.Tx, who care.Actor, label string, now time.Time) (plain string, err error) {
	secret, plain, err := newSecret(care.SecretSession, who, label, Life(who), now)
	if err != nil {
		return "", err
	}
	if err := tx.InsertSecret(secret); err != nil {
		return "", fmt.Errorf("starting a session: %w", err)
	}
	return plain, nil
}

// Authenticate says who presents a session secret or an API token. When
// rotated is not "", the device is to keep that in the old one's place.
// A secret that is unknown, expired, revoked or copied is Unauthenticated; for
// a copied one Meta has "cause": "reused".
func (s *Sessions) Authenticate(ctx context.Context, plain string, now time.Time) (who care.Actor, rotated string, err error) {
	now = care.Instant(now)
	hash, lets := Hash(plain), s.store.Lets()
	if was, ok := s.known.Get(hash); ok && was.lets == lets && !now.Before(was.at) && now.Before(was.until) {
		return was.who, "", nil
	}
	ctx = care.WithReach(ctx, care.EverybodysReach) // whose the secret is shows only then
	var todo work
	var presented care.Secret
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, err := load(tx, hash, now)
		if err != nil {
			return err
		}
		todo, presented = c.todo(now), c[0]
		who, err = actorOf(tx, c[0])
		return err
	})
	if err != nil {
		return who, "", err
	}
	if todo == nothing {
		// An old secret of a chain is looked up each time: from a moment on its use ends the chain.
		if presented.Successor == "" {
			until := now.Add(rememberFor)
			if presented.ExpiresAt.Before(until) {
				until = presented.ExpiresAt
			}
			s.known.Add(hash, remembered{who, lets, now, until})
		}
		return who, "", nil
	}

	// The state is looked at again inside the write, and the write goes on
	// when the caller hangs up, so that nobody avoids the end of a chain that way.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	writeErr := s.store.Write(ctx, func(tx care.Tx) error {
		rotated = ""
		c, err := load(tx, hash, now)
		if err != nil {
			return err
		}
		switch todo = c.todo(now); todo {
		case end:
			return c.end(tx)
		case keepUp:
			rotated, err = c.keepUp(tx, now)
			return err
		}
		return nil
	})
	switch {
	case care.IsCode(writeErr, care.Unauthenticated): // ended between the two looks
		return care.Actor{}, "", writeErr
	case todo == end && writeErr != nil:
		return care.Actor{}, "", fmt.Errorf("ending a copied session: %w", writeErr)
	case todo == end:
		return care.Actor{}, "", reused()
	case writeErr != nil:
		// A full disk must not sign everybody out. The next request tries again.
		return who, "", nil
	}
	return who, rotated, nil
}

// End signs a device out. A secret that opens nothing any more is fine.
func (s *Sessions) End(tx care.Tx, plain string, now time.Time) error {
	c, err := load(tx, Hash(plain), care.Instant(now))
	if care.IsCode(err, care.Unauthenticated) {
		return nil
	}
	if err != nil {
		return err
	}
	if c[0].Kind != care.SecretSession {
		return nil // a token ends by Revoke only
	}
	return c.end(tx)
}

// EndOthers ends all sessions of a breeder's person but the one presented, with the
// devices that they remind, and the links that nobody has used yet. It returns how many
// sessions ended.
func EndOthers(tx care.Tx, who care.Actor, plain string, now time.Time) (ended int, err error) {
	if err := breedersOwn(who); err != nil {
		return 0, err
	}
	own, err := load(tx, Hash(plain), care.Instant(now))
	if err != nil {
		return 0, err
	}
	all, err := tx.ListSecrets(who.BreederID, care.SecretSession)
	if err != nil {
		return 0, fmt.Errorf("listing sessions: %w", err)
	}
	for _, s := range all {
		if s.UserID != who.UserID || s.ID == own[0].ID {
			continue
		}
		if err := tx.DeleteSecret(s.Hash); err != nil {
			return 0, fmt.Errorf("ending a session: %w", err)
		}
		if err := endDevice(tx, &s); err != nil {
			return 0, err
		}
		if s.Successor == "" { // one for each chain
			ended++
		}
	}
	return ended, endSecrets(tx, who.BreederID, who.UserID, care.SecretSignIn)
}

// List returns the sessions or the tokens of a breeder that still open
// something, oldest first: one secret for each, the newest of its chain.
// CreatedAt of a session is when it was last renewed, at most a day before its
// last use.
func List(tx care.Tx, breederID string, kind care.SecretKind, now time.Time) ([]care.Secret, error) {
	all, err := tx.ListSecrets(breederID, kind)
	if err != nil {
		return nil, fmt.Errorf("listing secrets: %w", err)
	}
	var open []care.Secret
	for _, s := range all {
		if s.Successor == "" && now.Before(s.ExpiresAt) {
			open = append(open, s)
		}
	}
	return open, nil
}

// Revoke ends a session or an API token of a breeder by its public id.
func Revoke(tx care.Tx, breederID, id string) error {
	found := false
	for _, kind := range []care.SecretKind{care.SecretSession, care.SecretToken} {
		all, err := tx.ListSecrets(breederID, kind)
		if err != nil {
			return fmt.Errorf("listing secrets: %w", err)
		}
		for _, s := range all {
			if s.ID != id {
				continue
			}
			found = true
			if err := tx.DeleteSecret(s.Hash); err != nil {
				return fmt.Errorf("revoking a secret: %w", err)
			}
			if err := endDevice(tx, &s); err != nil {
				return err
			}
		}
	}
	if !found {
		return care.Missing("sign-in or token")
	}
	return nil
}

// chain is a presented secret and what rotations put after it, oldest first.
type chain []care.Secret

// work is what a look at a chain calls for.
type work int

const (
	nothing work = iota
	keepUp
	end
)

// load reads the chain from the presented secret on. It is Unauthenticated
// when the secret opens nothing, also when a link is missing: then the rest
// was ended from further on.
func load(tx care.Tx, hash string, now time.Time) (chain, error) {
	var c chain
	for ; hash != ""; hash = c[len(c)-1].Successor {
		s, err := tx.Secret(hash)
		if care.IsCode(err, care.NotFound) {
			return nil, signInNeeded()
		}
		if err != nil {
			return nil, fmt.Errorf("looking up a secret: %w", err)
		}
		c = append(c, s)
	}
	if len(c) == 0 || (c[0].Kind != care.SecretSession && c[0].Kind != care.SecretToken) || !now.Before(c[0].ExpiresAt) {
		return nil, signInNeeded()
	}
	return c, nil
}

func (c chain) newest() *care.Secret { return &c[len(c)-1] }

func (c chain) todo(now time.Time) work {
	for _, later := range c[1:] {
		if later.UsedAt != nil && now.After(later.UsedAt.Add(overlap)) {
			return end
		}
	}
	if c.settles(now) || c.rotates(now) {
		return keepUp
	}
	return nothing
}

// settles reports whether this use is to be noted.
func (c chain) settles(now time.Time) bool {
	s := c[0]
	if s.Kind == care.SecretToken {
		return s.UsedAt == nil || !now.Before(s.UsedAt.Add(tokenTouch))
	}
	return s.UsedAt == nil && !now.Before(s.CreatedAt.Add(settleAfter))
}

func (c chain) rotates(now time.Time) bool {
	age := breederRotation
	if c[0].KeeperID != "" {
		age = keeperRotation
	}
	return c[0].Kind == care.SecretSession && !now.Before(c.newest().CreatedAt.Add(age))
}

func (c chain) keepUp(tx care.Tx, now time.Time) (rotated string, err error) {
	changed := []*care.Secret{}
	if c.settles(now) {
		c[0].UsedAt = &now
		changed = append(changed, &c[0])
	}
	if c.rotates(now) {
		old := c.newest()
		next := *old
		rotated = NewSecret(care.SecretSession)
		next.Hash, next.CreatedAt, next.ExpiresAt, next.UsedAt = Hash(rotated), now, now.Add(BreederSession), nil
		if next.KeeperID != "" {
			next.ExpiresAt = now.Add(KeeperSession)
		}
		if err := tx.InsertSecret(next); err != nil {
			return "", fmt.Errorf("rotating a session: %w", err)
		}
		old.Successor = next.Hash
		if len(changed) == 0 || changed[0] != old {
			changed = append(changed, old)
		}
	}
	for _, s := range changed {
		if err := tx.UpdateSecret(*s); err != nil {
			return "", fmt.Errorf("noting the use of a secret: %w", err)
		}
	}
	return rotated, nil
}

func (c chain) end(tx care.Tx) error {
	for _, s := range c {
		if err := tx.DeleteSecret(s.Hash); err != nil {
			return fmt.Errorf("ending a session: %w", err)
		}
	}
	return endDevice(tx, &c[0])
}

// endDevice forgets the device that was to be reminded as long as this sign-in lasts.
func endDevice(tx care.Tx, s *care.Secret) error {
	person := s.UserID
	if s.KeeperID != "" {
		person = s.KeeperID
	}
	ways, err := tx.ListWays(s.BreederID, person)
	if err != nil {
		return fmt.Errorf("listing devices: %w", err)
	}
	for _, w := range ways {
		if w.SessionID == s.ID {
			if err := tx.DeleteWay(w.ID); err != nil {
				return fmt.Errorf("ending reminders of a device: %w", err)
			}
		}
	}
	return nil
}

func reused() *care.Error {
	e := signInNeeded()
	e.Text = words.Join(words.Say("An older sign-in of this device was used again, which can mean that somebody copied it. To be safe it was ended everywhere."), e.Text)
	e.Meta = map[string]string{"cause": "reused"}
	return e
}
