package access

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

const (
	letterLife = 14 * 24 * time.Hour
	// lettersMost is how many links may open the letters of one case at once.
	lettersMost = 10
)

// Letter is what a link opens: the letter for the vet about one case.
type Letter struct {
	BreederID string `json:"breeder"`
	CaseID    string `json:"case"`
	Concern   string `json:"concern,omitempty"` // in the words of who made it
}

// NewLetterLink makes the secret of a link that opens a letter to whoever has
// it, for 14 days. keeperID is the case's.
func NewLetterLink(tx care.Tx, who care.Actor, l Letter, keeperID string, now time.Time) (plain string, s care.Secret, err error) {
	open, err := LetterLinks(tx, l, keeperID, now)
	if err != nil {
		return "", s, err
	}
	if len(open) >= lettersMost {
		return "", s, care.BadField("name", "{n} links open this letter already. End one of them first.", len(open))
	}
	if s, plain, err = newSecret(care.SecretLetter, who, "", letterLife, now); err != nil {
		return "", s, err
	}
	if s.Data, err = json.Marshal(l); err != nil {
		return "", s, fmt.Errorf("writing down what a link opens: %w", err)
	}
	if err := tx.InsertSecret(s); err != nil {
		return "", s, fmt.Errorf("storing a link to a letter: %w", err)
	}
	return plain, s, nil
}

// LetterLinks are the links that open a case's letter now, its breeder's and its
// keeper's, the newest first.
func LetterLinks(tx care.Tx, l Letter, keeperID string, now time.Time) ([]care.Secret, error) {
	all, err := tx.ListSecrets(l.BreederID, care.SecretLetter)
	if err == nil && keeperID != "" {
		var theirs []care.Secret
		theirs, err = tx.ListKeeperSecrets(keeperID, care.SecretLetter)
		all = append(all, theirs...)
	}
	if err != nil {
		return nil, fmt.Errorf("listing links to a letter: %w", err)
	}
	var open []care.Secret
	for _, s := range all {
		of, err := letterOf(s)
		if err != nil {
			return nil, err
		}
		if of.BreederID == l.BreederID && of.CaseID == l.CaseID && now.Before(s.ExpiresAt) {
			open = append(open, s)
		}
	}
	slices.SortStableFunc(open, func(a, b care.Secret) int { return b.CreatedAt.Compare(a.CreatedAt) })
	return open, nil
}

// EndLetterLink ends one of LetterLinks by its public id. One that opens nothing
// any more is ended already.
func EndLetterLink(tx care.Tx, l Letter, keeperID, id string, now time.Time) error {
	open, err := LetterLinks(tx, l, keeperID, now)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(open, func(s care.Secret) bool { return s.ID == id })
	if i < 0 {
		return nil
	}
	if err := tx.DeleteSecret(open[i].Hash); err != nil {
		return fmt.Errorf("ending a link to a letter: %w", err)
	}
	return nil
}

// OpenLetter says what a link opens and in whose name: who made it, who may have
// lost the case since. id is the link's public one.
func OpenLetter(tx care.Tx, plain string, now time.Time) (l Letter, who care.Actor, id string, err error) {
	s, err := tx.Secret(Hash(plain))
	switch {
	case care.IsCode(err, care.NotFound), err == nil && (s.Kind != care.SecretLetter || !now.Before(s.ExpiresAt)):
		return l, who, "", NoLetter()
	case err != nil:
		return l, who, "", fmt.Errorf("looking up a link to a letter: %w", err)
	}
	if l, err = letterOf(s); err != nil {
		return l, who, "", err
	}
	if s.KeeperID != "" {
		return l, care.Actor{Kind: care.KeeperActor, KeeperID: s.KeeperID, Breeders: l.BreederID}, s.ID, nil
	}
	if who, err = actorOf(tx, s); care.IsCode(err, care.Unauthenticated) {
		err = NoLetter() // the person is gone from the account
	}
	return l, who, s.ID, err
}

// NoLetter is the one answer to a link that opens nothing, whatever the cause.
func NoLetter() error {
	return &care.Error{Code: care.NotFound, Reason: care.ReasonNotFound, Text: words.Say("This link opens no letter, or not any more. Ask whoever gave it to you for a new one.")}
}

func letterOf(s care.Secret) (l Letter, err error) {
	if err := json.Unmarshal(s.Data, &l); err != nil {
		return l, fmt.Errorf("reading what a link opens: %w", err)
	}
	return l, nil
}
