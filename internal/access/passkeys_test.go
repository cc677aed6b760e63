package access

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"

	"warmhand/internal/care"
)

const (
	testDomain = "warmhand.example"
	testOrigin = "https://warmhand.example"
)

// device is an authenticator and its browser, as far as a server can tell:
// ES256 keys, no attestation (Web Authentication Level 3, sections 6.1, 6.5.4
// and 8.7). Its fields bend single points of an answer.
type device struct {
	t      *testing.T
	key    *ecdsa.PrivateKey
	id     []byte
	handle []byte
	count  uint32
	synced bool // does not count

	origin    string
	domain    string
	challenge string // instead of the one in the options
	absent    bool   // nobody touched it
	typ       string // instead of webauthn.create or webauthn.get
}

func newDevice(t *testing.T) *device {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	d := &device{t: t, key: key, id: make([]byte, 16), origin: testOrigin, domain: testDomain}
	rand.Read(d.id)
	return d
}

// options is what of the server's options the device reads.
type options struct {
	Challenge string
	RP        struct{ ID, Name string }
	RPID      string `json:"rpId"`
	User      struct{ ID, Name, DisplayName string }
	Params    []struct {
		Type string
		Alg  int
	} `json:"pubKeyCredParams"`
	Selection struct {
		ResidentKey      string
		UserVerification string
	} `json:"authenticatorSelection"`
	UserVerification   string
	ExcludeCredentials []struct{ ID, Type string }
	AllowCredentials   []struct{ ID string }
	Timeout            int
}

func (d *device) read(c Ceremony) (o options) {
	d.t.Helper()
	if err := json.Unmarshal(c.Options, &o); err != nil {
		d.t.Fatal(err)
	}
	return o
}

func b64(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

func (d *device) clientData(typ, challenge string) []byte {
	if d.challenge != "" {
		challenge = d.challenge
	}
	if d.typ != "" {
		typ = d.typ
	}
	return d.json(map[string]any{"type": typ, "challenge": challenge, "origin": d.origin, "crossOrigin": false})
}

func (d *device) json(v any) []byte {
	d.t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		d.t.Fatal(err)
	}
	return b
}

const flagPresent, flagVerified, flagAttested = 0x01, 0x04, 0x40

func (d *device) authData(flags byte) []byte {
	if d.absent {
		flags &^= flagPresent
	}
	if !d.synced {
		d.count++
	}
	domain := sha256.Sum256([]byte(d.domain))
	return binary.BigEndian.AppendUint32(append(domain[:], flags), d.count)
}

// create answers navigator.credentials.create.
func (d *device) create(c Ceremony) []byte {
	d.t.Helper()
	o := d.read(c)
	handle, err := base64.RawURLEncoding.DecodeString(o.User.ID)
	if err != nil {
		d.t.Fatal(err)
	}
	d.handle = handle
	point, err := d.key.PublicKey.Bytes()
	if err != nil {
		d.t.Fatal(err)
	}
	// RFC 9052 and 9053: key type EC2, algorithm ES256, curve P-256, x, y.
	cose := d.cbor(map[int]any{1: 2, 3: -7, -1: 1, -2: point[1:33], -3: point[33:]})
	auth := d.authData(flagPresent | flagVerified | flagAttested)
	auth = append(auth, make([]byte, 16)...) // no make named
	auth = binary.BigEndian.AppendUint16(auth, uint16(len(d.id)))
	auth = append(append(auth, d.id...), cose...)
	return d.json(map[string]any{
		"id": b64(d.id), "rawId": b64(d.id), "type": "public-key",
		"clientExtensionResults": map[string]any{"credProps": map[string]any{"rk": true}}, // unasked, as some do
		"response": map[string]any{
			"clientDataJSON":    b64(d.clientData("webauthn.create", o.Challenge)),
			"attestationObject": b64(d.cbor(map[string]any{"fmt": "none", "attStmt": map[string]any{}, "authData": auth})),
			"transports":        []string{"internal"},
		},
	})
}

// get answers navigator.credentials.get.
func (d *device) get(c Ceremony) []byte {
	d.t.Helper()
	client := d.clientData("webauthn.get", d.read(c).Challenge)
	auth := d.authData(flagPresent | flagVerified)
	hash := sha256.Sum256(client)
	digest := sha256.Sum256(append(bytes.Clone(auth), hash[:]...))
	sig, err := ecdsa.SignASN1(rand.Reader, d.key, digest[:])
	if err != nil {
		d.t.Fatal(err)
	}
	return d.json(map[string]any{
		"id": b64(d.id), "rawId": b64(d.id), "type": "public-key", "clientExtensionResults": map[string]any{},
		"response": map[string]any{
			"clientDataJSON": b64(client), "authenticatorData": b64(auth),
			"signature": b64(sig), "userHandle": b64(d.handle),
		},
	})
}

func (d *device) cbor(v any) []byte {
	d.t.Helper()
	mode, err := cbor.CTAP2EncOptions().EncMode()
	if err != nil {
		d.t.Fatal(err)
	}
	b, err := mode.Marshal(v)
	if err != nil {
		d.t.Fatal(err)
	}
	return b
}

func newPasskeys(t *testing.T) *Passkeys {
	t.Helper()
	p, err := NewPasskeys(testDomain, testOrigin, "Warmhand")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func (b *bench) register(p *Passkeys, who care.Actor, d *device) (key care.Passkey) {
	b.Helper()
	b.write(func(tx care.Tx) error {
		c, err := p.BeginRegister(tx, who, start)
		if err != nil {
			return err
		}
		key, err = p.FinishRegister(tx, who, c.ID, d.create(c), "phone", start)
		return err
	})
	return key
}

func (b *bench) beginSignIn(p *Passkeys) (c Ceremony) {
	b.Helper()
	b.write(func(tx care.Tx) (err error) {
		c, err = p.BeginSignIn(tx, start)
		return err
	})
	return c
}

func (b *bench) finishSignIn(p *Passkeys, ceremony string, answer []byte, now time.Time) (who care.Actor, err error) {
	err = b.try(func(tx care.Tx) (err error) {
		who, err = p.FinishSignIn(tx, ceremony, answer, now)
		return err
	})
	return who, err
}

func TestSignUpAndSignIn(t *testing.T) {
	t.Parallel()
	b, p, d := newBench(t), newPasskeys(t), newDevice(t)
	// Two UUIDs, the longest ids there are.
	user := care.User{
		BreederID: "019a3c1e-0000-7000-8000-000000000001", ID: "019a3c1e-0000-7000-8000-000000000002",
		Name: "Ada", Role: care.BreederOwner, CreatedAt: start,
	}
	var c Ceremony
	b.write(func(tx care.Tx) (err error) {
		c, err = p.BeginSignUp(tx, user, start)
		return err
	})
	o := d.read(c)
	if o.RP.ID != testDomain || o.RP.Name != "Warmhand" || o.User.Name != "Ada" || o.Selection.ResidentKey != "required" ||
		o.Selection.UserVerification != "preferred" || len(o.Challenge) < 43 || len(o.Params) == 0 || o.Params[0].Type != "public-key" {
		t.Errorf("options: %s", c.Options)
	}
	answer := d.create(c)
	if len(d.handle) == 0 || len(d.handle) > 64 || bytes.Contains(d.handle, []byte("019a")) {
		t.Errorf("user handle %q", d.handle)
	}
	store := func(tx care.Tx, answer []byte, now time.Time) error {
		u, key, err := p.FinishSignUp(tx, c.ID, answer, "", now)
		if err != nil {
			return err
		}
		if u != user || key.Label != "Passkey" {
			t.Errorf("got %+v and %+v", u, key)
		}
		if err := tx.InsertBreeder(care.Breeder{ID: u.BreederID, CreatedAt: start}); err != nil {
			return err
		}
		if err := tx.InsertUser(u); err != nil {
			return err
		}
		return tx.InsertPasskey(key)
	}
	err := b.try(func(tx care.Tx) error { return store(tx, answer, start.Add(ceremonyLife)) })
	wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)
	b.write(func(tx care.Tx) error { return store(tx, answer, start.Add(ceremonyLife-time.Millisecond)) })
	err = b.try(func(tx care.Tx) error { return store(tx, answer, start) }) // again
	wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)

	in := b.beginSignIn(p)
	if o := d.read(in); len(o.AllowCredentials) != 0 || o.RPID != testDomain || o.UserVerification != "preferred" {
		t.Errorf("options: %s", in.Options)
	}
	who, err := b.finishSignIn(p, in.ID, d.get(in), start.Add(time.Minute))
	if want := (care.Actor{Kind: care.BreederOwner, BreederID: user.BreederID, UserID: user.ID}); err != nil || who != want {
		t.Fatalf("%+v, %v", who, err)
	}
	if err := b.store.Read(context.Background(), func(tx care.Tx) error {
		key, err := tx.Passkey(b64(d.id))
		if err == nil && (key.UsedAt == nil || !key.UsedAt.Equal(start.Add(time.Minute))) {
			t.Errorf("last use %v", key.UsedAt)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

func TestSignInIsRefused(t *testing.T) {
	t.Parallel()
	for name, bend := range map[string]func(d *device, other *device){
		"wrong origin":        func(d, _ *device) { d.origin = "https://warmhand.example.net" },
		"origin without tls":  func(d, _ *device) { d.origin = "http://warmhand.example" },
		"wrong domain":        func(d, _ *device) { d.domain = "example.net" },
		"wrong challenge":     func(d, _ *device) { d.challenge = b64(make([]byte, 32)) },
		"no challenge":        func(d, _ *device) { d.challenge = "-" },
		"answer to create":    func(d, _ *device) { d.typ = "webauthn.create" },
		"nobody there":        func(d, _ *device) { d.absent = true },
		"other user's handle": func(d, o *device) { d.handle = o.handle },
		"no handle":           func(d, _ *device) { d.handle = nil },
		"other key":           func(d, o *device) { d.key = o.key },
		"other's credential":  func(d, o *device) { d.id = o.id },
		"unknown credential":  func(d, _ *device) { d.id = make([]byte, 16) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b, p, d, other := newBench(t), newPasskeys(t), newDevice(t), newDevice(t)
			b.register(p, b.owner, d)
			b.register(p, care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "u2"}, other)
			good := *d
			bend(d, other)
			c := b.beginSignIn(p)
			who, err := b.finishSignIn(p, c.ID, d.get(c), start)
			wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("the answer puts lines into the log: %s", err)
			}
			if who != (care.Actor{}) {
				t.Errorf("refused, but as %+v", who)
			}
			good.count = d.count
			if who, err := b.finishSignIn(p, c.ID, good.get(c), start); err != nil || who != b.owner {
				t.Errorf("the right answer afterwards: %+v, %v", who, err)
			}
		})
	}
}

func TestSignInOnce(t *testing.T) {
	t.Parallel()
	b, p, d := newBench(t), newPasskeys(t), newDevice(t)
	b.register(p, b.owner, d)
	c, next := b.beginSignIn(p), b.beginSignIn(p)
	answer := d.get(c)
	_, err := b.finishSignIn(p, next.ID, answer, start) // replayed into another ceremony
	wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)
	_, err = b.finishSignIn(p, c.ID, answer, start.Add(ceremonyLife)) // too late
	wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)
	if _, err = b.finishSignIn(p, c.ID, answer, start); err != nil {
		t.Fatal(err)
	}
	_, err = b.finishSignIn(p, c.ID, answer, start) // replayed
	wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)
	for _, bad := range [][]byte{nil, []byte("{}"), []byte("nonsense"), []byte(`{"id":"AA","rawId":"AA","type":"public-key","response":{}}`), bytes.Repeat([]byte("a"), answerMax+1)} {
		_, err = b.finishSignIn(p, next.ID, bad, start)
		wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)
	}
	for _, id := range []string{"", "whp_nothing", b.start(b.owner, start)} {
		_, err = b.finishSignIn(p, id, answer, start)
		wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)
	}
}

func TestPasskeyCounter(t *testing.T) {
	t.Parallel()
	b, p := newBench(t), newPasskeys(t)
	d, synced := newDevice(t), newDevice(t)
	synced.synced = true
	b.register(p, b.owner, d)
	b.register(p, b.owner, synced)
	signIn := func(d *device) error {
		c := b.beginSignIn(p)
		_, err := b.finishSignIn(p, c.ID, d.get(c), start)
		return err
	}
	clone := *d
	for range 3 {
		if err := signIn(d); err != nil {
			t.Fatal(err)
		}
		if err := signIn(synced); err != nil {
			t.Fatal(err)
		}
	}
	e := wantError(t, signIn(&clone), care.Unauthenticated, care.ReasonPasskeyRefused)
	if !strings.Contains(e.Text.String(), "copy") {
		t.Errorf("text %q", e.Text)
	}
	if err := signIn(d); err != nil {
		t.Errorf("the one with the higher counter: %v", err)
	}
}

func TestFurtherPasskeys(t *testing.T) {
	t.Parallel()
	b, p := newBench(t), newPasskeys(t)
	second := care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "u2"}
	d, e := newDevice(t), newDevice(t)
	first := b.register(p, b.owner, d)
	begin := func(who care.Actor) (c Ceremony) {
		b.write(func(tx care.Tx) (err error) {
			c, err = p.BeginRegister(tx, who, start)
			return err
		})
		return c
	}
	finish := func(who care.Actor, id string, answer []byte) error {
		return b.try(func(tx care.Tx) error {
			_, err := p.FinishRegister(tx, who, id, answer, "", start)
			return err
		})
	}
	c := begin(b.owner)
	if o := d.read(c); len(o.ExcludeCredentials) != 1 || o.ExcludeCredentials[0].ID != first.ID {
		t.Errorf("options: %s", c.Options)
	}
	answer := e.create(c)
	wantError(t, finish(second, c.ID, answer), care.Unauthenticated, care.ReasonPasskeyRefused)
	wantError(t, finish(care.Actor{}, c.ID, answer), care.Unauthenticated, care.ReasonPasskeyRefused)
	// An answer does not finish a ceremony of another purpose.
	in := b.beginSignIn(p)
	wantError(t, finish(b.owner, in.ID, answer), care.Unauthenticated, care.ReasonPasskeyRefused)
	err := b.try(func(tx care.Tx) error { _, _, err := p.FinishSignUp(tx, c.ID, answer, "", start); return err })
	wantError(t, err, care.Unauthenticated, care.ReasonPasskeyRefused)
	bent := *e
	bent.origin = "https://example.net"
	wantError(t, finish(b.owner, c.ID, bent.create(c)), care.Unauthenticated, care.ReasonPasskeyRefused)
	bent = *e
	bent.challenge = b64(make([]byte, 32))
	wantError(t, finish(b.owner, c.ID, bent.create(c)), care.Unauthenticated, care.ReasonPasskeyRefused)
	wantError(t, finish(b.owner, c.ID, []byte("[]")), care.Unauthenticated, care.ReasonPasskeyRefused)
	if err := finish(b.owner, c.ID, answer); err != nil {
		t.Fatal(err)
	}
	wantError(t, finish(b.owner, c.ID, answer), care.Unauthenticated, care.ReasonPasskeyRefused)

	// A credential id can be registered once, whoever sends it.
	c = begin(second)
	wantError(t, finish(second, c.ID, d.create(c)), care.Conflict, care.ReasonPasskeyRefused)

	for _, who := range []care.Actor{keeper, {Kind: care.Program, BreederID: "b1", UserID: "u1"}} {
		err := b.try(func(tx care.Tx) error { _, err := p.BeginRegister(tx, who, start); return err })
		wantError(t, err, care.Denied, care.ReasonNotYours)
	}
}

func TestLastPasskeyStays(t *testing.T) {
	t.Parallel()
	b, p := newBench(t), newPasskeys(t)
	second := care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "u2"}
	one, two := b.register(p, b.owner, newDevice(t)), b.register(p, b.owner, newDevice(t))
	b.register(p, second, newDevice(t)) // another user's does not count
	remove := func(who care.Actor, id string) error {
		return b.try(func(tx care.Tx) error { return RemovePasskey(tx, who, id) })
	}
	wantError(t, remove(second, one.ID), care.NotFound, care.ReasonNotFound)
	if err := remove(b.owner, one.ID); err != nil {
		t.Fatal(err)
	}
	wantError(t, remove(b.owner, one.ID), care.NotFound, care.ReasonNotFound)
	wantError(t, remove(b.owner, two.ID), care.Precondition, care.ReasonPasskeyRefused)
	var codes []string
	b.write(func(tx care.Tx) (err error) {
		codes, err = NewRecoveryCodes(tx, b.owner, start)
		return err
	})
	for _, code := range codes { // used-up codes do not count
		b.write(func(tx care.Tx) error { _, err := RedeemRecoveryCode(tx, code, start); return err })
	}
	wantError(t, remove(b.owner, two.ID), care.Precondition, care.ReasonPasskeyRefused)
	b.write(func(tx care.Tx) error { _, err := NewRecoveryCodes(tx, b.owner, start); return err })
	if err := remove(b.owner, two.ID); err != nil {
		t.Fatal(err)
	}
}

func TestPasskeySettings(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		domain, origin string
		ok             bool
	}{
		{"warmhand.example", "https://warmhand.example", true},
		{"warmhand.example", "https://care.warmhand.example:8443", true},
		{"localhost", "http://localhost:8080", true},
		{"warmhand.example", "http://warmhand.example", false},
		{"warmhand.example", "https://warmhand.example/", false},
		{"warmhand.example", "https://evilwarmhand.example", false},
		{"warmhand.example", "https://example.net", false},
		{"127.0.0.1", "https://127.0.0.1", false},
		{"", "https://warmhand.example", false},
		{"warmhand.example", "", false},
	} {
		if _, err := NewPasskeys(c.domain, c.origin, "Warmhand"); (err == nil) != c.ok {
			t.Errorf("%q at %q: %v", c.domain, c.origin, err)
		}
	}
}
