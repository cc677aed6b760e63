package access

import (
	"fmt"
	"time"

	"warmhand/internal/care"
)

// calendarLife is how long a calendar's address lasts: as long as a keeper's
// sign-in without use.
const calendarLife = KeeperSession

// NewCalendarLink makes the secret in the address of a keeper's calendar, which
// reads what this sign-in sees of the keeper's check-ins and nothing else. An
// earlier one for the same ends. The plain secret is not kept.
func NewCalendarLink(tx care.Tx, keeper care.Actor, now time.Time) (plain string, s care.Secret, err error) {
	s, plain, err = newSecret(care.SecretCalendar, keeper, "", calendarLife, now)
	if err == nil && s.KeeperID == "" {
		err = fmt.Errorf("a calendar is for a keeper, not for %q", keeper.Kind)
	}
	if err != nil {
		return "", s, err
	}
	if err := EndCalendarLink(tx, keeper); err != nil {
		return "", s, err
	}
	if err := tx.InsertSecret(s); err != nil {
		return "", s, fmt.Errorf("storing a calendar's address: %w", err)
	}
	return plain, s, nil
}

// CalendarLink is the one that this sign-in made, nil when there is none.
func CalendarLink(tx care.Tx, keeper care.Actor, now time.Time) (*care.Secret, error) {
	all, err := tx.ListKeeperSecrets(keeper.KeeperID, care.SecretCalendar)
	if err != nil {
		return nil, fmt.Errorf("listing a keeper's calendars: %w", err)
	}
	for i := range all {
		if string(all[i].Data) == keeper.Breeders && now.Before(all[i].ExpiresAt) {
			return &all[i], nil
		}
	}
	return nil, nil
}

// EndCalendarLink ends what NewCalendarLink made for this sign-in.
func EndCalendarLink(tx care.Tx, keeper care.Actor) error {
	all, err := tx.ListKeeperSecrets(keeper.KeeperID, care.SecretCalendar)
	if err != nil {
		return fmt.Errorf("listing a keeper's calendars: %w", err)
	}
	for _, old := range all {
		if string(old.Data) != keeper.Breeders {
			continue
		}
		if err := tx.DeleteSecret(old.Hash); err != nil {
			return fmt.Errorf("ending a calendar: %w", err)
		}
	}
	return nil
}

// OpenCalendar says whose calendar a secret opens. One that opens nothing does
// not exist.
func OpenCalendar(tx care.Tx, plain string, now time.Time) (care.Actor, error) {
	s, err := tx.Secret(Hash(plain))
	if err == nil && (s.Kind != care.SecretCalendar || !now.Before(s.ExpiresAt)) || care.IsCode(err, care.NotFound) {
		return care.Actor{}, care.Missing("calendar")
	}
	if err != nil {
		return care.Actor{}, fmt.Errorf("looking up a calendar: %w", err)
	}
	return actorOf(tx, s)
}
