// Package access is who gets in and how: claim codes, browser sessions, API
// tokens, sign-in links, recovery codes, passkeys, limits on guessing, and who
// may do what.
//
// Functions that take a care.Tx are steps of the caller's transaction and
// store nothing by themselves when it fails. All take the time as an argument.
// Errors that a person may see are *care.Error.
package access

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"
	"time"
	"unicode"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Prefixes let a person, and a scanner for leaked secrets, see what a string
// opens without trying it.
var prefixes = map[care.SecretKind]string{
	care.SecretSession:  "whs_",
	care.SecretToken:    "wht_",
	care.SecretSignIn:   "whl_",
	care.SecretPasskey:  "whp_",
	care.SecretCalendar: "whc_",
	care.SecretLetter:   "whv_",
}

// NewSecret makes a secret of 256 random bits, as base64url after a prefix
// that names its kind. Recovery codes, which people type, are made by
// NewRecoveryCodes.
func NewSecret(kind care.SecretKind) (plain string) {
	var b [32]byte
	rand.Read(b[:]) // never fails, see crypto/rand
	return prefixes[kind] + base64.RawURLEncoding.EncodeToString(b[:])
}

// Hash is what is stored of a secret: SHA-256 in hex. A fast hash without salt
// is enough because no secret that goes through it can be found by search:
// the shortest, a recovery code, has 75 random bits.
func Hash(plain string) string {
	sum := sha256.Sum256([]byte(plain))
	return hex.EncodeToString(sum[:])
}

// newSecret is a fresh secret of an actor, not stored yet, with its plain text.
func newSecret(kind care.SecretKind, who care.Actor, label string, life time.Duration, now time.Time) (care.Secret, string, error) {
	switch {
	case who.Kind == care.KeeperActor && who.KeeperID != "":
		who.BreederID, who.UserID = "", ""
	case (who.Kind == care.BreederOwner || who.Kind == care.Helper) && who.BreederID != "" && who.UserID != "":
		who.KeeperID, who.Breeders = "", ""
	default:
		return care.Secret{}, "", fmt.Errorf("a %s secret is for a person, not for %q", kind, who.Kind)
	}
	now = care.Instant(now)
	var data []byte
	if who.Breeders != "" {
		data = []byte(who.Breeders)
	}
	plain := NewSecret(kind)
	return care.Secret{
		Hash: Hash(plain), Kind: kind, ID: rand.Text(), Data: data,
		BreederID: who.BreederID, UserID: who.UserID, KeeperID: who.KeeperID,
		Label: cleanLabel(label), CreatedAt: now, ExpiresAt: now.Add(life),
	}, plain, nil
}

// actorOf says who a stored secret stands for. A person's role is read afresh,
// so that a change of role holds at once.
func actorOf(tx care.Tx, s care.Secret) (care.Actor, error) {
	switch {
	case s.KeeperID != "":
		return care.Actor{Kind: care.KeeperActor, KeeperID: s.KeeperID, Breeders: string(s.Data)}, nil
	case s.Kind == care.SecretToken:
		return care.Actor{Kind: care.Program, BreederID: s.BreederID, UserID: s.ID, ReadOnly: s.ReadOnly}, nil
	}
	u, err := tx.User(s.BreederID, s.UserID)
	if care.IsCode(err, care.NotFound) {
		return care.Actor{}, signInNeeded()
	}
	if err != nil {
		return care.Actor{}, fmt.Errorf("who a secret belongs to: %w", err)
	}
	return u.Actor(), nil
}

// cleanLabel keeps what can be shown on one line, at most 80 characters.
func cleanLabel(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == unicode.ReplacementChar:
			return -1
		case unicode.IsSpace(r):
			return ' '
		case !unicode.IsPrint(r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
	if r := []rune(strings.TrimSpace(s)); len(r) > 80 {
		return string(r[:80])
	}
	return strings.TrimSpace(s)
}

func signInNeeded() *care.Error {
	return &care.Error{
		Code: care.Unauthenticated, Reason: care.ReasonSignInNeeded,
		Text: words.Say("Please sign in again. What you saved on this device is still there."),
	}
}
