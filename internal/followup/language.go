package followup

import (
	"context"
	"strings"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Language is the tag of the language that a person is told things in; "" when nothing
// is known of it.
func (s *Service) Language(ctx context.Context, who care.Actor) (tag string, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		tag, err = LanguageOf(tx, who)
		return err
	})
	return tag, err
}

// LanguageOf is Language within a transaction.
func LanguageOf(tx care.Tx, who care.Actor) (tag string, err error) {
	err = language(tx, who, func(kept *string) bool {
		tag = *kept
		return false
	})
	return tag, err
}

// SetLanguage keeps a person's choice.
func (s *Service) SetLanguage(ctx context.Context, who care.Actor, tag string) error {
	in, ok := words.ByTag(tag)
	if !ok {
		var known []string
		for _, l := range words.Languages() {
			known = append(known, l.Tag+" ("+l.Name+")")
		}
		return care.BadField("language", "“{tag}” is no language of this app. Choose one of these: {list}.", tag, strings.Join(known, ", "))
	}
	return s.store.Write(ctx, func(tx care.Tx) error {
		return language(tx, who, func(kept *string) bool {
			*kept = in.Tag
			return true
		})
	})
}

// FirstLanguage keeps the language of a request as that of the person whose it is,
// when none was kept before.
func FirstLanguage(tx care.Tx, who care.Actor, tag string) error {
	if tag == "" {
		return nil
	}
	return language(tx, who, func(kept *string) bool {
		if *kept != "" {
			return false
		}
		*kept = tag
		return true
	})
}

// language hands a person's language to f, which says whether it has changed it.
func language(tx care.Tx, who care.Actor, f func(kept *string) (changed bool)) error {
	breederID, personID, err := personOf(who)
	if err != nil {
		return err
	}
	if breederID == "" {
		k, err := tx.Keeper(personID)
		if err == nil && f(&k.Language) {
			err = tx.UpdateKeeper(k)
		}
		return err
	}
	u, err := tx.User(breederID, personID)
	if err == nil && f(&u.Language) {
		err = tx.UpdateUser(u)
	}
	return err
}
