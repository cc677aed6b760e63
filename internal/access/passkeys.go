package access

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

const (
	ceremonyLife = 5 * time.Minute
	answerMax    = 64 << 10 // bytes; a browser's answer has one to six thousand
)

// Passkeys runs the ceremonies of Web Authentication Level 3
// (w3.org/TR/webauthn-3). No user name is ever asked for: the passkey says
// whose it is.
//
// A ceremony in progress is a stored secret for five minutes. It ends with the
// first answer that is accepted; a transaction that fails leaves it as it was,
// and the same answer fails again.
type Passkeys struct{ rp *webauthn.WebAuthn }

// Ceremony is a ceremony that began: the id to finish it with, and the options
// for the browser, as JSON for parseCreationOptionsFromJSON or
// parseRequestOptionsFromJSON.
type Ceremony struct {
	ID      string
	Options []byte
}

// NewPasskeys sets the ceremonies up. rpID is the domain that passkeys belong
// to for ever, origin the address of the pages (https, or http on localhost)
// on that domain or below it, displayName what the browser shows.
func NewPasskeys(rpID, origin, displayName string) (*Passkeys, error) {
	u, err := url.Parse(origin)
	if err != nil || u.Host == "" || (u.Scheme != "https" && (u.Scheme != "http" || u.Hostname() != "localhost")) || u.Scheme+"://"+u.Host != origin {
		return nil, fmt.Errorf("passkeys need an origin like https://example.org or http://localhost:8080, and %q is not one", origin)
	}
	if h := u.Hostname(); h != rpID && !strings.HasSuffix(h, "."+rpID) {
		return nil, fmt.Errorf("passkeys of the domain %q cannot be used at %s", rpID, origin)
	}
	if err := protocol.ValidateRPID(rpID); err != nil {
		return nil, fmt.Errorf("passkeys cannot belong to %q: %w", rpID, err)
	}
	required := true
	rp, err := webauthn.New(&webauthn.Config{
		RPID: rpID, RPOrigins: []string{origin}, RPDisplayName: displayName,
		// Which make of authenticator it is does not matter here, so none is
		// asked to identify itself.
		AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{
			ResidentKey: protocol.ResidentKeyRequirementRequired, RequireResidentKey: &required,
			UserVerification: protocol.VerificationPreferred,
		},
		// No extension is asked for and none is read; password managers send
		// some unasked.
		ExtensionsUnsolicitedOutputPolicy: protocol.UnsolicitedOutputPolicyIgnore,
	})
	if err != nil {
		return nil, fmt.Errorf("setting up passkeys: %w", err)
	}
	return &Passkeys{rp}, nil
}

// purpose keeps an answer to one kind of ceremony from finishing another.
type purpose string

const (
	toSignUp purpose = "sign up"
	toAdd    purpose = "add"
	toSignIn purpose = "sign in"
)

// pending is what is stored of a ceremony.
type pending struct {
	Purpose purpose
	Session webauthn.SessionData
	User    care.User // who registers; zero when signing in
}

// BeginSignUp begins the registration of a new account's first passkey.
// Neither the user nor the breeder is stored before FinishSignUp.
func (p *Passkeys) BeginSignUp(tx care.Tx, user care.User, now time.Time) (Ceremony, error) {
	return p.beginRegister(tx, toSignUp, owner{user: user}, now)
}

// FinishSignUp checks the browser's answer and returns the user as given to
// BeginSignUp and its first passkey. The caller stores breeder, user and
// passkey, in this order, in the same transaction.
func (p *Passkeys) FinishSignUp(tx care.Tx, ceremony string, answer []byte, label string, now time.Time) (care.User, care.Passkey, error) {
	was, err := take(tx, toSignUp, ceremony, now)
	if err != nil {
		return care.User{}, care.Passkey{}, err
	}
	key, err := p.finishRegister(tx, was, answer, label, now)
	return was.User, key, err
}

// BeginRegister begins the registration of a further passkey of somebody who
// is signed in.
func (p *Passkeys) BeginRegister(tx care.Tx, who care.Actor, now time.Time) (Ceremony, error) {
	if err := breedersOwn(who); err != nil {
		return Ceremony{}, err
	}
	user, err := tx.User(who.BreederID, who.UserID)
	if err != nil {
		return Ceremony{}, fmt.Errorf("whose passkey it will be: %w", err)
	}
	o, err := ownerOf(tx, user)
	if err != nil {
		return Ceremony{}, err
	}
	return p.beginRegister(tx, toAdd, o, now)
}

// FinishRegister checks the browser's answer and stores the passkey. who is
// the one who began.
func (p *Passkeys) FinishRegister(tx care.Tx, who care.Actor, ceremony string, answer []byte, label string, now time.Time) (care.Passkey, error) {
	was, err := take(tx, toAdd, ceremony, now)
	if err != nil {
		return care.Passkey{}, err
	}
	if who.BreederID != was.User.BreederID || who.UserID != was.User.ID {
		return care.Passkey{}, overdue()
	}
	key, err := p.finishRegister(tx, was, answer, label, now)
	if err != nil {
		return care.Passkey{}, err
	}
	if err := tx.InsertPasskey(key); err != nil {
		return care.Passkey{}, fmt.Errorf("storing a passkey: %w", err)
	}
	return key, nil
}

func (p *Passkeys) beginRegister(tx care.Tx, why purpose, o owner, now time.Time) (Ceremony, error) {
	creation, session, err := p.rp.BeginRegistration(o,
		webauthn.WithExclusions(webauthn.Credentials(o.credentials).CredentialDescriptors()))
	if err != nil {
		return Ceremony{}, fmt.Errorf("beginning to register a passkey: %w", err)
	}
	return begin(tx, pending{why, *session, o.user}, creation.Response, now)
}

func (p *Passkeys) finishRegister(tx care.Tx, was pending, answer []byte, label string, now time.Time) (care.Passkey, error) {
	if len(answer) > answerMax {
		return care.Passkey{}, refused("the answer is too large", nil)
	}
	parsed, err := protocol.ParseCredentialCreationResponseBytes(answer)
	if err != nil {
		return care.Passkey{}, refused("the answer cannot be read", err)
	}
	credential, err := p.rp.CreateCredential(owner{user: was.User}, was.Session, parsed)
	if err != nil {
		return care.Passkey{}, refused("the new passkey did not pass", err)
	}
	id := base64.RawURLEncoding.EncodeToString(credential.ID)
	if _, err := tx.Passkey(id); !care.IsCode(err, care.NotFound) {
		if err != nil {
			return care.Passkey{}, fmt.Errorf("looking for the same passkey: %w", err)
		}
		return care.Passkey{}, refusal(care.Conflict, words.Say("This passkey is registered here already. You can sign in with it."))
	}
	data, err := json.Marshal(credential)
	if err != nil {
		return care.Passkey{}, fmt.Errorf("writing a passkey: %w", err)
	}
	if label = cleanLabel(label); label == "" {
		label = "Passkey"
	}
	return care.Passkey{
		BreederID: was.User.BreederID, UserID: was.User.ID, ID: id,
		Label: label, Data: data, CreatedAt: care.Instant(now),
	}, nil
}

// BeginSignIn begins a sign-in of somebody who is not known yet.
func (p *Passkeys) BeginSignIn(tx care.Tx, now time.Time) (Ceremony, error) {
	assertion, session, err := p.rp.BeginDiscoverableLogin()
	if err != nil {
		return Ceremony{}, fmt.Errorf("beginning a sign-in: %w", err)
	}
	return begin(tx, pending{Purpose: toSignIn, Session: *session}, assertion.Response, now)
}

// FinishSignIn checks the browser's answer and says who signed in. A passkey
// whose counter did not go up, which means that there may be a copy of it, is
// refused; passkeys that a provider keeps in step on several devices do not
// count.
func (p *Passkeys) FinishSignIn(tx care.Tx, ceremony string, answer []byte, now time.Time) (care.Actor, error) {
	was, err := take(tx, toSignIn, ceremony, now)
	if err != nil {
		return care.Actor{}, err
	}
	if len(answer) > answerMax {
		return care.Actor{}, refused("the answer is too large", nil)
	}
	parsed, err := protocol.ParseCredentialRequestResponseBytes(answer)
	if err != nil {
		return care.Actor{}, refused("the answer cannot be read", err)
	}
	// The handler finds the owner by the credential alone; that the answer's
	// user handle is the owner's is checked by the library.
	var key care.Passkey
	var dbErr error
	found := func(rawID, _ []byte) (webauthn.User, error) {
		var user care.User
		key, dbErr = tx.Passkey(base64.RawURLEncoding.EncodeToString(rawID))
		if dbErr == nil {
			user, dbErr = tx.User(key.BreederID, key.UserID)
		}
		if dbErr != nil {
			return nil, dbErr
		}
		credential, err := read(key)
		dbErr = err
		return owner{user, []webauthn.Credential{credential}}, err
	}
	by, credential, err := p.rp.ValidatePasskeyLogin(found, was.Session, parsed)
	switch {
	case care.IsCode(dbErr, care.NotFound):
		return care.Actor{}, refusal(care.Unauthenticated,
			words.Say("This passkey is not known here. It may have been removed, or belong to another address. Please try another passkey or a recovery code."))
	case dbErr != nil:
		return care.Actor{}, fmt.Errorf("looking up a passkey: %w", dbErr)
	case err != nil:
		return care.Actor{}, refused("the passkey did not pass", err)
	case credential.Authenticator.CloneWarning:
		return care.Actor{}, refusal(care.Unauthenticated,
			words.Say("There may be a copy of this passkey: its counter did not go up. Please sign in with another passkey or a recovery code, then remove this one."))
	}
	if key.Data, err = json.Marshal(credential); err != nil {
		return care.Actor{}, fmt.Errorf("writing a passkey: %w", err)
	}
	now = care.Instant(now)
	key.UsedAt = &now
	if err := tx.UpdatePasskey(key); err != nil {
		return care.Actor{}, fmt.Errorf("noting the use of a passkey: %w", err)
	}
	user := by.(owner).user
	return care.Actor{Kind: user.Role, BreederID: user.BreederID, UserID: user.ID}, nil
}

// RemovePasskey removes a passkey of the actor. The last one goes only while
// there are recovery codes to come back with.
func RemovePasskey(tx care.Tx, who care.Actor, credentialID string) error {
	if err := breedersOwn(who); err != nil {
		return err
	}
	all, err := tx.ListPasskeys(who.BreederID, who.UserID)
	if err != nil {
		return fmt.Errorf("listing passkeys: %w", err)
	}
	if len(all) == 1 && all[0].ID == credentialID {
		left, err := RecoveryCodesLeft(tx, who.BreederID, who.UserID)
		if err != nil {
			return err
		}
		if left == 0 {
			return refusal(care.Precondition,
				words.Say("This is your only passkey, and without it you could not sign in again. Please add another passkey or make recovery codes first."))
		}
	}
	if err := tx.DeletePasskey(who.BreederID, who.UserID, credentialID); err != nil {
		return fmt.Errorf("removing a passkey: %w", err)
	}
	return nil
}

func begin(tx care.Tx, p pending, options any, now time.Time) (Ceremony, error) {
	data, err := json.Marshal(p)
	if err != nil {
		return Ceremony{}, fmt.Errorf("writing a ceremony: %w", err)
	}
	shown, err := json.Marshal(options)
	if err != nil {
		return Ceremony{}, fmt.Errorf("writing a ceremony's options: %w", err)
	}
	now = care.Instant(now)
	id := NewSecret(care.SecretPasskey)
	err = tx.InsertSecret(care.Secret{
		Hash: Hash(id), Kind: care.SecretPasskey, ID: rand.Text(),
		BreederID: p.User.BreederID, UserID: p.User.ID,
		Data: data, CreatedAt: now, ExpiresAt: now.Add(ceremonyLife),
	})
	if err != nil {
		return Ceremony{}, fmt.Errorf("storing a ceremony: %w", err)
	}
	return Ceremony{id, shown}, nil
}

// take ends a ceremony and returns what it was.
func take(tx care.Tx, why purpose, id string, now time.Time) (pending, error) {
	s, err := tx.Secret(Hash(id))
	if care.IsCode(err, care.NotFound) {
		return pending{}, overdue()
	}
	if err != nil {
		return pending{}, fmt.Errorf("looking up a ceremony: %w", err)
	}
	if s.Kind != care.SecretPasskey || !care.Instant(now).Before(s.ExpiresAt) {
		return pending{}, overdue()
	}
	var p pending
	if err := json.Unmarshal(s.Data, &p); err != nil {
		return pending{}, fmt.Errorf("reading a ceremony: %w", err)
	}
	if p.Purpose != why {
		return pending{}, overdue()
	}
	if err := tx.DeleteSecret(s.Hash); err != nil {
		return pending{}, fmt.Errorf("ending a ceremony: %w", err)
	}
	return p, nil
}

// owner is a user as the library wants to see one.
type owner struct {
	user        care.User
	credentials []webauthn.Credential
}

// WebAuthnID is the user handle: at most 64 bytes (Web Authentication Level 3,
// section 5.4.3), into which two UUIDs with a mark between them do not fit,
// and free of anything that tells who it is. So it is a digest of both ids.
func (o owner) WebAuthnID() []byte {
	sum := sha256.Sum256([]byte(o.user.BreederID + ":" + o.user.ID))
	return sum[:]
}
func (o owner) WebAuthnName() string                       { return o.user.Name }
func (o owner) WebAuthnDisplayName() string                { return o.user.Name }
func (o owner) WebAuthnCredentials() []webauthn.Credential { return o.credentials }

func ownerOf(tx care.Tx, user care.User) (owner, error) {
	keys, err := tx.ListPasskeys(user.BreederID, user.ID)
	if err != nil {
		return owner{}, fmt.Errorf("listing passkeys: %w", err)
	}
	o := owner{user: user}
	for _, k := range keys {
		c, err := read(k)
		if err != nil {
			return owner{}, err
		}
		o.credentials = append(o.credentials, c)
	}
	return o, nil
}

func read(k care.Passkey) (c webauthn.Credential, err error) {
	if err = json.Unmarshal(k.Data, &c); err != nil {
		err = fmt.Errorf("reading a stored passkey: %w", err)
	}
	return c, err
}

func refusal(code care.Code, text words.Text) *care.Error {
	return &care.Error{Code: code, Reason: care.ReasonPasskeyRefused, Text: text}
}

func overdue() *care.Error {
	return refusal(care.Unauthenticated, words.Say("This took longer than five minutes, or was finished already. Please begin again."))
}

// refused hides from the person, and keeps for the log, why an answer did not
// pass. The reason may quote the answer, so it is put in quotes itself.
func refused(what string, cause error) error {
	var detail *protocol.Error
	if errors.As(cause, &detail) && detail.DevInfo != "" {
		what = fmt.Sprintf("%s (%q)", what, detail.DevInfo)
	}
	e := refusal(care.Unauthenticated, words.Say("The passkey was not accepted. Please try again, or use another passkey or a recovery code."))
	if cause == nil {
		return fmt.Errorf("%s: %w", what, e)
	}
	return fmt.Errorf("%s: %q: %w", what, cause.Error(), e)
}
