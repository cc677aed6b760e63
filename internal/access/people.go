package access

import (
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// helpersMost bounds what a list shows and a stolen session can add.
const helpersMost = 20

// AddHelper lets somebody in to work in the owner's account. A sign-in link is
// how they come; see NewSignInLink.
func AddHelper(tx care.Tx, by care.Actor, name string, now time.Time) (care.User, error) {
	if err := ownersOwn(by); err != nil {
		return care.User{}, err
	}
	people, err := tx.ListUsers(by.BreederID)
	if err != nil {
		return care.User{}, fmt.Errorf("listing people: %w", err)
	}
	if len(people) > helpersMost {
		return care.User{}, &care.Error{Code: care.Precondition, Text: words.Say("An account has at most {most} helpers. Take out somebody who no longer helps.", helpersMost)}
	}
	u := care.User{BreederID: by.BreederID, ID: rand.Text(), Role: care.Helper, CreatedAt: care.Instant(now)}
	if u.Name, err = freeName(people, "", name); err != nil {
		return care.User{}, err
	}
	if err := tx.InsertUser(u); err != nil {
		return care.User{}, fmt.Errorf("adding a helper: %w", err)
	}
	return u, nil
}

// Rename gives somebody of the account another name, also where they look after
// a case: the owner anybody, a helper themselves.
func Rename(tx care.Tx, by care.Actor, userID, name string) (care.User, error) {
	u, err := Colleague(tx, by, userID)
	if err != nil {
		return care.User{}, err
	}
	people, err := tx.ListUsers(by.BreederID)
	if err != nil {
		return care.User{}, fmt.Errorf("listing people: %w", err)
	}
	was := u.Name
	if u.Name, err = freeName(people, userID, name); err != nil {
		return care.User{}, err
	}
	if err := tx.UpdateUser(u); err != nil {
		return care.User{}, fmt.Errorf("renaming somebody: %w", err)
	}
	if err := tx.HandOnCases(u.BreederID, was, u.Name); err != nil {
		return care.User{}, fmt.Errorf("renaming who looks after cases: %w", err)
	}
	return u, nil
}

// RemoveHelper ends everything that lets a helper in. What they logged stays,
// under an id that names nobody. The cases that they looked after are whoever's
// comes: a name that nobody answers to would keep others from them.
func RemoveHelper(tx care.Tx, by care.Actor, userID string) error {
	if err := ownersOwn(by); err != nil {
		return err
	}
	u, err := Colleague(tx, by, userID)
	if err != nil {
		return err
	}
	if u.Role != care.Helper {
		return &care.Error{Code: care.Precondition, Text: words.Say("The owner cannot be taken out. To end the account, erase it in its settings.")}
	}
	for kind := range prefixes {
		if err := endSecrets(tx, u.BreederID, u.ID, kind); err != nil {
			return err
		}
	}
	if err := endSecrets(tx, u.BreederID, u.ID, care.SecretRecovery); err != nil {
		return err
	}
	keys, err := tx.ListPasskeys(u.BreederID, u.ID)
	if err != nil {
		return fmt.Errorf("listing passkeys: %w", err)
	}
	for _, k := range keys {
		if err := tx.DeletePasskey(u.BreederID, u.ID, k.ID); err != nil {
			return fmt.Errorf("deleting a passkey: %w", err)
		}
	}
	ways, err := tx.ListWays(u.BreederID, u.ID)
	if err != nil {
		return fmt.Errorf("listing devices: %w", err)
	}
	for _, w := range ways {
		if err := tx.DeleteWay(w.ID); err != nil {
			return fmt.Errorf("ending reminders of a device: %w", err)
		}
	}
	if err := tx.DeleteHours(u.BreederID, u.ID); err != nil && !care.IsCode(err, care.NotFound) {
		return fmt.Errorf("ending reminders: %w", err)
	}
	if err := tx.HandOnCases(u.BreederID, u.Name, ""); err != nil {
		return fmt.Errorf("handing on a helper's cases: %w", err)
	}
	if err := tx.DeleteUser(u.BreederID, u.ID); err != nil {
		return fmt.Errorf("taking a helper out: %w", err)
	}
	return nil
}

// Colleague is somebody of the account: anybody for its owner, only
// themselves for a helper.
func Colleague(tx care.Tx, by care.Actor, userID string) (care.User, error) {
	if err := breedersOwn(by); err != nil {
		return care.User{}, err
	}
	if by.Kind != care.BreederOwner && userID != by.UserID {
		return care.User{}, care.Missing("person")
	}
	u, err := tx.User(by.BreederID, userID)
	if care.IsCode(err, care.NotFound) {
		return care.User{}, care.Missing("person")
	}
	if err != nil {
		return care.User{}, fmt.Errorf("looking up a person: %w", err)
	}
	return u, nil
}

// endSecrets deletes all of one kind that a person of a breeder's has.
func endSecrets(tx care.Tx, breederID, userID string, kind care.SecretKind) error {
	all, err := tx.ListSecrets(breederID, kind)
	if err != nil {
		return fmt.Errorf("listing %s secrets: %w", kind, err)
	}
	for _, s := range all {
		if s.UserID != userID {
			continue
		}
		if err := tx.DeleteSecret(s.Hash); err != nil {
			return fmt.Errorf("ending a %s secret: %w", kind, err)
		}
	}
	return nil
}

// freeName is a name as it is kept, which nobody else of these people has:
// cases are looked after by a name.
func freeName(people []care.User, userID, name string) (string, error) {
	name = cleanLabel(name)
	if name == "" {
		return "", care.BadField("display_name", "Please give a name, as you call each other.")
	}
	for _, u := range people {
		if u.ID != userID && strings.EqualFold(u.Name, name) {
			return "", care.BadField("display_name", "Somebody here is called {name} already. Please give another name, so that you can tell each other apart.", u.Name)
		}
	}
	return name, nil
}

func ownersOwn(who care.Actor) error {
	if err := Check(Allow(care.BreederOwner), who); err != nil {
		return err
	}
	return breedersOwn(who)
}
