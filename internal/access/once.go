package access

import (
	"fmt"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

const (
	signInLinkLife = 15 * time.Minute
	recoveryCount  = 10
	recoveryLife   = 100 * 365 * 24 * time.Hour // until used or replaced
	tokenLifeMax   = 2 * 366 * 24 * time.Hour
)

// NewToken makes an API token for programs of a breeder and returns it with
// its stored form, whose ID lists and revokes it. The plain token is not kept.
// ttl is more than zero and at most two years.
func NewToken(tx care.Tx, by care.Actor, label string, readOnly bool, ttl time.Duration, now time.Time) (plain string, s care.Secret, err error) {
	if cleanLabel(label) == "" {
		return "", care.Secret{}, care.BadField("label", "Please give the token a name that says what it is for.")
	}
	if ttl <= 0 || ttl > tokenLifeMax {
		return "", care.Secret{}, care.BadField("expires_at", "A token lasts from now up to two years. Please choose a day in between.")
	}
	s, plain, err = newSecret(care.SecretToken, by, label, ttl, now)
	if err == nil && s.KeeperID != "" {
		err = fmt.Errorf("an API token is a breeder's, not for %q", by.Kind)
	}
	if err != nil {
		return "", care.Secret{}, err
	}
	s.ReadOnly = readOnly
	if err := tx.InsertSecret(s); err != nil {
		return "", care.Secret{}, fmt.Errorf("storing a token: %w", err)
	}
	return plain, s, nil
}

// NewSignInLink makes the secret of a link that signs this person in on
// another device, once and within 15 minutes. It belongs in the URL's
// fragment, which reaches no log, and is redeemed by a POST, so that programs
// that open links in advance do not use it up.
func NewSignInLink(tx care.Tx, who care.Actor, now time.Time) (plain string, s care.Secret, err error) {
	s, plain, err = newSecret(care.SecretSignIn, who, "", signInLinkLife, now)
	if err != nil {
		return "", care.Secret{}, err
	}
	if err := tx.InsertSecret(s); err != nil {
		return "", care.Secret{}, fmt.Errorf("storing a sign-in link: %w", err)
	}
	return plain, s, nil
}

// RedeemSignInLink uses a link up and says whose it is.
func RedeemSignInLink(tx care.Tx, plain string, now time.Time) (care.Actor, error) {
	return redeem(tx, care.SecretSignIn, Hash(plain), words.Say("sign-in link"), words.Say("Please ask for a new one."), now)
}

// NewRecoveryCodes makes the ten codes that let a breeder's user in without a
// passkey, each once, in the form K7QM-42XR-9TAB-CDE6. It voids earlier ones.
// They are shown now and never again.
func NewRecoveryCodes(tx care.Tx, who care.Actor, now time.Time) ([]string, error) {
	if err := breedersOwn(who); err != nil {
		return nil, err
	}
	if err := endSecrets(tx, who.BreederID, who.UserID, care.SecretRecovery); err != nil {
		return nil, err
	}
	codes := make([]string, recoveryCount)
	for i := range codes {
		s, _, err := newSecret(care.SecretRecovery, who, "", recoveryLife, now)
		if err != nil {
			return nil, err
		}
		codes[i] = newCode(recoveryLength, recoveryGroup)
		s.Hash = Hash(codes[i])
		if err := tx.InsertSecret(s); err != nil {
			return nil, fmt.Errorf("storing a recovery code: %w", err)
		}
	}
	return codes, nil
}

// RecoveryCodesLeft counts the codes of a user that are not used yet.
func RecoveryCodesLeft(tx care.Tx, breederID, userID string) (int, error) {
	all, err := tx.ListSecrets(breederID, care.SecretRecovery)
	if err != nil {
		return 0, fmt.Errorf("listing recovery codes: %w", err)
	}
	n := 0
	for _, s := range all {
		if s.UserID == userID && s.UsedAt == nil {
			n++
		}
	}
	return n, nil
}

// RedeemRecoveryCode uses a code up and says whose it is. A slip of the pen is
// a BadField error for the field "code" and uses nothing up.
func RedeemRecoveryCode(tx care.Tx, code string, now time.Time) (care.Actor, error) {
	code, err := parseCode(code, "code", words.Say("your list"), recoveryLength, recoveryGroup)
	if err != nil {
		return care.Actor{}, err
	}
	return redeem(tx, care.SecretRecovery, Hash(code), words.Say("recovery code"), words.Say("Please take another one from your list."), now)
}

// redeem uses a one-time secret up. The row stays until it expires, so that a
// second use can be told what happened.
func redeem(tx care.Tx, kind care.SecretKind, hash string, what, advice words.Text, now time.Time) (care.Actor, error) {
	now = care.Instant(now)
	refuse := func(reason care.ErrorReason, why words.Text) error {
		return &care.Error{Code: care.Unauthenticated, Reason: reason, Text: words.Join(why, advice)}
	}
	s, err := tx.Secret(hash)
	switch {
	case care.IsCode(err, care.NotFound), err == nil && s.Kind != kind:
		return care.Actor{}, refuse(care.ReasonCodeWrong, words.Say("This {what} is not one of ours, or was replaced.", what))
	case err != nil:
		return care.Actor{}, fmt.Errorf("looking up a %s: %w", what, err)
	case s.UsedAt != nil:
		return care.Actor{}, refuse(care.ReasonCodeUsed, words.Say("This {what} has been used already.", what))
	case !now.Before(s.ExpiresAt):
		return care.Actor{}, refuse(care.ReasonCodeExpired, words.Say("This {what} is too old.", what))
	}
	s.UsedAt = &now
	if err := tx.UpdateSecret(s); err != nil {
		return care.Actor{}, fmt.Errorf("using up a %s: %w", what, err)
	}
	return actorOf(tx, s)
}

// breedersOwn refuses anybody but a person who works in a breeder's account.
// The policy keeps others away before; this keeps a mistake there harmless.
func breedersOwn(who care.Actor) error {
	if err := Check(Allow(care.BreederOwner, care.Helper), who); err != nil {
		return err
	}
	if who.BreederID == "" || who.UserID == "" {
		return fmt.Errorf("an actor of kind %q without an id", who.Kind)
	}
	return nil
}
