package access

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"warmhand/internal/care"
)

func TestHelpers(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var ida care.User
	b.write(func(tx care.Tx) (err error) {
		ida, err = AddHelper(tx, b.owner, "  Ida\n", start)
		return err
	})
	if ida.Name != "Ida" || ida.Role != care.Helper {
		t.Fatalf("%+v", ida)
	}
	who := care.Actor{Kind: care.Helper, BreederID: "b1", UserID: ida.ID}
	stranger := care.Actor{Kind: care.BreederOwner, BreederID: "b2", UserID: "u1"}

	refused := func(what string, code care.Code, do func(tx care.Tx) error) {
		t.Helper()
		if err := b.try(do); !care.IsCode(err, code) {
			t.Errorf("%s: %v", what, err)
		}
	}
	add := func(by care.Actor, name string) func(tx care.Tx) error {
		return func(tx care.Tx) error { _, err := AddHelper(tx, by, name, start); return err }
	}
	rename := func(by care.Actor, id, name string) func(tx care.Tx) error {
		return func(tx care.Tx) error { _, err := Rename(tx, by, id, name); return err }
	}
	remove := func(by care.Actor, id string) func(tx care.Tx) error {
		return func(tx care.Tx) error { return RemoveHelper(tx, by, id) }
	}
	refused("the same name", care.Invalid, add(b.owner, "IDA"))
	refused("no name", care.Invalid, add(b.owner, " \n"))
	refused("by a helper", care.Denied, add(who, "Ona"))
	refused("the owner renamed by a helper", care.NotFound, rename(who, b.owner.UserID, "Boss"))
	refused("renamed by a stranger", care.NotFound, rename(stranger, ida.ID, "Boss"))
	refused("renamed to a name that is there", care.Invalid, rename(b.owner, b.owner.UserID, "ida"))
	refused("taken out by a helper", care.Denied, remove(who, ida.ID))
	refused("taken out by a stranger", care.NotFound, remove(stranger, ida.ID))
	refused("the owner taken out", care.Precondition, remove(b.owner, b.owner.UserID))
	looksAfter := func(want ...string) {
		t.Helper()
		b.write(func(tx care.Tx) error {
			for i, id := range []string{"hers", "seconds"} {
				if c, err := tx.Case("b1", id); err != nil || c.LookedAfterBy != want[i] {
					t.Errorf("case %s: looked after by %q, want %q; %v", id, c.LookedAfterBy, want[i], err)
				}
			}
			return nil
		})
	}
	b.write(func(tx care.Tx) error {
		for id, by := range map[string]string{"hers": "Ida", "seconds": "Second"} {
			if err := errors.Join(
				tx.InsertAnimal(care.Animal{BreederID: "b1", ID: id, Name: id, CreatedAt: start}),
				tx.InsertHandover(care.Handover{BreederID: "b1", ID: id, AnimalID: id, State: care.HandoverClaimed, HandedOverAt: start, CreatedAt: start}),
				tx.InsertCase(care.Case{BreederID: "b1", ID: id, AnimalID: id, HandedOverAt: start, CreatedAt: start, LookedAfterBy: by}),
			); err != nil {
				return err
			}
		}
		return nil
	})
	b.write(rename(who, ida.ID, "ida")) // one's own name in other letters is no other's
	looksAfter("ida", "Second")

	// Everything that lets her in ends at once, and nothing of the owner's.
	mine, hers := b.start(b.owner, start), b.start(who, start)
	var link, letter string
	var codes []string
	b.write(func(tx care.Tx) (err error) {
		if link, _, err = NewSignInLink(tx, who, start); err != nil {
			return err
		}
		if letter, _, err = NewLetterLink(tx, who, Letter{BreederID: "b1", CaseID: "c1"}, "", start); err != nil {
			return err
		}
		codes, err = NewRecoveryCodes(tx, who, start)
		return err
	})
	b.write(func(tx care.Tx) error {
		for _, id := range []string{ida.ID, b.owner.UserID} {
			if err := tx.InsertHours(care.Hours{BreederID: "b1", PersonID: id, Zone: "UTC", LookAt: start, DigestAt: start, CreatedAt: start, Version: 1}); err != nil {
				return err
			}
			if err := tx.PutWay(care.Way{ID: "way-" + id, BreederID: "b1", PersonID: id, Kind: care.WayMail, Address: id + "@example.org", CreatedAt: start}); err != nil {
				return err
			}
		}
		return nil
	})
	b.write(remove(b.owner, ida.ID))
	looksAfter("", "Second")
	b.write(func(tx care.Tx) error {
		for id, left := range map[string]bool{ida.ID: false, b.owner.UserID: true} {
			_, hours := tx.Hours("b1", id)
			_, way := tx.Way("way-" + id)
			if (hours == nil) != left || (way == nil) != left {
				t.Errorf("reminders of %s: %v, %v", id, hours, way)
			}
		}
		return nil
	})
	b.refused(hers, start)
	b.ok(mine, b.owner, start)
	refused("a link", care.Unauthenticated, func(tx care.Tx) error { _, err := RedeemSignInLink(tx, link, start); return err })
	refused("a code", care.Unauthenticated, func(tx care.Tx) error { _, err := RedeemRecoveryCode(tx, codes[0], start); return err })
	refused("a letter", care.NotFound, func(tx care.Tx) error { _, _, _, err := OpenLetter(tx, letter, start); return err })
	b.write(func(tx care.Tx) error {
		for kind := range prefixes {
			left, err := tx.ListSecrets("b1", kind)
			if err != nil {
				return err
			}
			for _, s := range left {
				if s.UserID == ida.ID {
					t.Errorf("a %s is left", kind)
				}
			}
		}
		return nil
	})

	for i := range helpersMost - 1 { // the bench has one already
		b.write(add(b.owner, fmt.Sprint("helper ", i)))
	}
	err := b.try(add(b.owner, "one more"))
	if !care.IsCode(err, care.Precondition) || !strings.Contains(err.Error(), "at most 20") {
		t.Errorf("%v", err)
	}
}
