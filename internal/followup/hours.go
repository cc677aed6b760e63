package followup

import (
	"context"
	"net/mail"
	"slices"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// personOf is the key under which a person's hours and ways are kept.
func personOf(who care.Actor) (breederID, personID string, err error) {
	switch {
	case who.Kind == care.KeeperActor && who.KeeperID != "":
		return "", who.KeeperID, nil
	case (who.Kind == care.BreederOwner || who.Kind == care.Helper) && who.BreederID != "" && who.UserID != "":
		return who.BreederID, who.UserID, nil
	}
	return "", "", errNotYours
}

// Reminding returns when and by what a person is reminded. Without a way, the hours are
// those that hold until somebody says otherwise, in the zone "".
func (s *Service) Reminding(ctx context.Context, who care.Actor, now time.Time) (r care.Hours, ways []care.Way, err error) {
	breederID, personID, err := personOf(who)
	if err != nil {
		return r, nil, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		ways = nil
		if r, err = tx.Hours(breederID, personID); care.IsCode(err, care.NotFound) {
			r, err = care.Hours{BreederID: breederID, PersonID: personID, QuietFrom: care.QuietFrom, QuietUntil: care.QuietUntil, Morning: care.Morning}, nil
		}
		if err != nil {
			return err
		}
		all, err := tx.ListWays(breederID, personID)
		if err != nil {
			return err
		}
		for _, w := range all {
			if _, open, err := whoseWay(tx, &w, now); err != nil {
				return err
			} else if open && (w.ConfirmedAt != nil || now.Before(w.CreatedAt.Add(care.MailWait))) {
				ways = append(ways, w)
			}
		}
		return nil
	})
	return r, ways, err
}

// SetHours sets when a person is reminded, and for one of a breeder's people whether
// messages of keepers are told at once; MessagesSince of hours does not count. tag is
// the language of the request, see FirstLanguage.
func (s *Service) SetHours(ctx context.Context, who care.Actor, now time.Time, hours care.Hours, messagesAtOnce bool, tag string) error {
	breederID, personID, err := personOf(who)
	if err != nil {
		return err
	}
	if err := care.CheckHours(&hours); err != nil {
		return err
	}
	messagesAtOnce = messagesAtOnce && breederID != ""
	return s.store.Write(ctx, func(tx care.Tx) error {
		r, err := hoursOf(tx, breederID, personID, hours.Zone, now)
		if err != nil {
			return err
		}
		r.Zone, r.QuietFrom, r.QuietUntil, r.Morning = hours.Zone, hours.QuietFrom, hours.QuietUntil, hours.Morning
		r.LookAt = care.Instant(now)
		if was := r.MessagesSince; messagesAtOnce != (was != nil) {
			if r.MessagesSince = nil; messagesAtOnce {
				r.MessagesSince = &r.LookAt
			}
		}
		if err := tx.UpdateHours(r); err != nil {
			return err
		}
		return FirstLanguage(tx, who, tag)
	})
}

// hoursOf is a person's hours, made when there are none yet.
func hoursOf(tx care.Tx, breederID, personID, zone string, now time.Time) (care.Hours, error) {
	r, err := tx.Hours(breederID, personID)
	if !care.IsCode(err, care.NotFound) {
		return r, err
	}
	now = care.Instant(now)
	r = care.Hours{BreederID: breederID, PersonID: personID, Zone: zone, QuietFrom: care.QuietFrom, QuietUntil: care.QuietUntil, Morning: care.Morning,
		DigestAt: now, LookAt: now, CreatedAt: now, Version: 1}
	if err := care.CheckHours(&r); err != nil {
		return r, err
	}
	return r, tx.InsertHours(r)
}

// AddWay adds a device or a mail address, which has to be confirmed before it is
// used. The same one again takes the place of the one that was there. zone, and tag, the
// language of the request, count when nothing was chosen before.
func (s *Service) AddWay(ctx context.Context, who care.Actor, now time.Time, w care.Way, zone, tag string) (care.Way, error) {
	breederID, personID, err := personOf(who)
	if err != nil {
		return w, err
	}
	now = care.Instant(now)
	w.BreederID, w.PersonID, w.CreatedAt = breederID, personID, now
	if w.Kind == care.WayMail {
		if w.Address, err = checkMail(w.Address); err != nil {
			return w, err
		}
		w.Breeders, w.ConfirmedAt = who.Breeders, nil
	} else {
		w.ConfirmedAt = &now
	}
	err = s.store.Write(ctx, func(tx care.Tx) error {
		w.ID = newID()
		r, err := hoursOf(tx, breederID, personID, zone, now)
		if err != nil {
			return err
		}
		all, err := tx.ListWays(breederID, personID)
		if err != nil {
			return err
		}
		there, same := len(all), false
		for _, old := range all {
			// A person has one address for mail, so that a new one ends the one before; a
			// sign-in is one device, whose address the browser renews now and then.
			if old.Kind != w.Kind || w.Kind == care.WayPush && old.Address != w.Address && old.SessionID != w.SessionID {
				continue
			}
			if !same && (w.Kind == care.WayPush || old.Address == w.Address) { // what it was told of, it is not told again
				same = true
				w.ID, w.CreatedAt, w.LastAt, w.ConfirmedAt = old.ID, old.CreatedAt, old.LastAt, old.ConfirmedAt
				if w.ConfirmedAt == nil {
					w.CreatedAt = now
				}
				continue
			}
			if err := tx.DeleteWay(old.ID); err != nil {
				return err
			}
			there--
		}
		if !same && there >= care.WaysMost {
			return care.BadField("device", "Reminders go to {n} devices already. Turn one of them off first.", there)
		}
		if err := tx.PutWay(w); err != nil {
			return err
		}
		if err := FirstLanguage(tx, who, tag); err != nil {
			return err
		}
		return tx.WakeHours(r.BreederID, r.PersonID, now)
	})
	return w, err
}

// checkMail checks an address and returns it as it is kept: alone, without a name.
func checkMail(typed string) (string, error) {
	typed = strings.TrimSpace(typed)
	a, err := mail.ParseAddress(typed)
	// A line break in it would write headers of its own.
	if err != nil || a.Address != typed || len(typed) > 254 || strings.ContainsFunc(typed, func(c rune) bool { return c < '!' || c > '~' || strings.ContainsRune(`"<>,;:\()[]`, c) }) {
		return "", care.BadField("address", "This is not a mail address. It looks like name@example.org, with no spaces and no name beside it.")
	}
	return typed, nil
}

// RemoveWay ends one of a person's own devices or addresses.
func (s *Service) RemoveWay(ctx context.Context, who care.Actor, wayID string) error {
	return s.store.Write(ctx, func(tx care.Tx) error {
		w, err := ownWay(tx, who, wayID)
		if err != nil {
			return err
		}
		return tx.DeleteWay(w.ID)
	})
}

func ownWay(tx care.Tx, who care.Actor, wayID string) (care.Way, error) {
	breederID, personID, err := personOf(who)
	if err != nil {
		return care.Way{}, err
	}
	all, err := tx.ListWays(breederID, personID)
	if err != nil {
		return care.Way{}, err
	}
	i := slices.IndexFunc(all, func(w care.Way) bool { return w.ID == wayID })
	if i < 0 {
		return care.Way{}, care.Missing("device or address")
	}
	return all[i], nil
}

// testWait is how often somebody may send a test to one device or address.
const testWait = 20 * time.Second

// TryWay sends a test, which quiet hours do not hold back, to one of a person's own
// ways.
func (s *Service) TryWay(ctx context.Context, who care.Actor, now time.Time, wayID string, send func(context.Context, *care.Way) care.Delivery) (care.Delivery, error) {
	var w care.Way
	now = care.Instant(now)
	err := s.store.Write(ctx, func(tx care.Tx) (err error) {
		if w, err = ownWay(tx, who, wayID); err != nil {
			return err
		}
		if _, open, err := whoseWay(tx, &w, now); err != nil {
			return err
		} else if !open {
			return care.Missing("device or address")
		}
		switch {
		case w.ConfirmedAt == nil:
			return &care.Error{Code: care.Precondition, Reason: care.ReasonNotConfirmed, Text: words.Say("This address is not confirmed yet. Open the link in the mail that was sent to it.")}
		case w.LastAt != nil && now.Before(w.LastAt.Add(testWait)):
			return &care.Error{Code: care.Exhausted, Reason: care.ReasonTooManyTries, Text: words.Say("Something was sent there just now. Wait a moment before you try again.")}
		}
		w.LastAt = &now
		return tx.PutWay(w)
	})
	if err != nil {
		return care.Delivery{}, err
	}
	d := send(ctx, &w)
	return d, s.note(context.WithoutCancel(ctx), now, w.ID, nil, d)
}

// ConfirmMail is the yes of an address's owner, who has the link in the mail. A
// repeat does nothing more.
func (s *Service) ConfirmMail(ctx context.Context, now time.Time, wayID string) (care.Way, error) {
	var w care.Way
	now = care.Instant(now)
	err := s.store.Write(ctx, func(tx care.Tx) (err error) {
		if w, err = tx.Way(wayID); err != nil || w.ConfirmedAt != nil {
			return err
		}
		if !now.Before(w.CreatedAt.Add(care.MailWait)) {
			return care.Missing("mail address")
		}
		w.ConfirmedAt = &now
		if err := tx.PutWay(w); err != nil {
			return err
		}
		return tx.WakeHours(w.BreederID, w.PersonID, now)
	})
	return w, err
}

// MailOf finds an address by a link that was sent to it.
func (s *Service) MailOf(ctx context.Context, wayID string) (w care.Way, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		w, err = tx.Way(wayID)
		return err
	})
	return w, err
}

// StopMail ends an address by the link in a mail. One that is not there is stopped.
func (s *Service) StopMail(ctx context.Context, wayID string) error {
	return s.store.Write(ctx, func(tx care.Tx) error {
		if err := tx.DeleteWay(wayID); err != nil && !care.IsCode(err, care.NotFound) {
			return err
		}
		return nil
	})
}
