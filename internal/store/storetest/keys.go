package storetest

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

func missing(t *testing.T, s care.Store) {
	w := full("b1")
	calls := map[string]func(care.Tx) error{
		"HandoverByCode":       func(tx care.Tx) error { _, err := tx.HandoverByCode("nope"); return err },
		"HandoverByCode empty": func(tx care.Tx) error { _, err := tx.HandoverByCode(""); return err },
		"CardByCode":           func(tx care.Tx) error { _, err := tx.CardByCode("nope"); return err },
		"CardByCode empty":     func(tx care.Tx) error { _, err := tx.CardByCode(""); return err },
		"UpdateCard":           func(tx care.Tx) error { return tx.UpdateCard(w.card) },
		"UpdateBreeder":        func(tx care.Tx) error { return tx.UpdateBreeder(w.breeder) },
		"UpdateUser":           func(tx care.Tx) error { return tx.UpdateUser(w.user) },
		"DeleteUser":           func(tx care.Tx) error { return tx.DeleteUser("b1", "nope") },
		"UpdatePasskey":        func(tx care.Tx) error { return tx.UpdatePasskey(w.passkey) },
		"DeletePasskey":        func(tx care.Tx) error { return tx.DeletePasskey("b1", "u1", "nope") },
		"UpdateSecret":         func(tx care.Tx) error { return tx.UpdateSecret(w.secret) },
		"DeleteSecret":         func(tx care.Tx) error { return tx.DeleteSecret("nope") },
		"UpdateAnimal":         func(tx care.Tx) error { return tx.UpdateAnimal(w.animal) },
		"MarkReplaced":         func(tx care.Tx) error { return tx.MarkReplaced("b1", "a1", "nope", "e2") },
		"UpdateHandover":       func(tx care.Tx) error { return tx.UpdateHandover(w.handover) },
		"CaseVersion":          func(tx care.Tx) error { _, err := tx.CaseVersion("b1", "nope"); return err },
		"UpdateCase":           func(tx care.Tx) error { return tx.UpdateCase(w.kase) },
		"RewriteEntry":         func(tx care.Tx) error { return tx.RewriteEntry(w.entry) },
		"DeleteEntry":          func(tx care.Tx) error { return tx.DeleteEntry("b1", "a1", "nope") },
		"UpdateKeeper":         func(tx care.Tx) error { return tx.UpdateKeeper(w.keeper) },
		"DeleteKeeper":         func(tx care.Tx) error { return tx.DeleteKeeper("nope") },
		"UpdateHours":          func(tx care.Tx) error { return tx.UpdateHours(w.hours) },
		"DeleteHours":          func(tx care.Tx) error { return tx.DeleteHours("b1", "nope") },
		"DeleteWay":            func(tx care.Tx) error { return tx.DeleteWay("nope") },
		"UpdateReminder":       func(tx care.Tx) error { return tx.UpdateReminder(w.reminder) },
		"DeleteReminder":       func(tx care.Tx) error { return tx.DeleteReminder(w.reminder) },
		"UpdateImport":         func(tx care.Tx) error { return tx.UpdateImport(w.imported) },
	}
	for _, it := range w.items() {
		if !put(it.name) {
			calls["get "+it.name] = func(tx care.Tx) error { _, err := it.get(tx); return err }
		}
	}
	// A handover without a code must not be found by an empty one.
	bare("other").insert(t, s)
	for name, call := range calls {
		err := s.Write(limit(t), call)
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("%s: %v, want NotFound", name, err)
		}
	}
	none := read(t, s, func(tx care.Tx) (n int, err error) {
		log, err := tx.Log("b1", "a1")
		if err != nil {
			return 0, err
		}
		cases, _, err := tx.ListCases("b1", care.CaseQuery{Open: true}, care.Cursor{}, 10)
		return len(log) + len(cases), err
	})
	if none != 0 {
		t.Errorf("lists of a breeder who is not there have %d rows", none)
	}
}

func conflicts(t *testing.T, s care.Store) {
	w := full("b1")
	w.insert(t, s)
	for _, it := range w.items() {
		if put(it.name) {
			continue
		}
		err := s.Write(limit(t), it.insert)
		if !care.IsCode(err, care.Conflict) {
			t.Errorf("%s again: %v, want Conflict", it.name, err)
		}
		wantSame(t, it.name, read(t, s, it.get), it.want)
	}
	// The same ids at another breeder are other things.
	full("b2").insert(t, s)
	other := full("b2").handover
	other.ID, other.CodeHash = "h2", "code-b1"
	wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return tx.InsertHandover(other) }), care.Conflict)
	other.ID, other.Version = "h1", 2
	wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return tx.UpdateHandover(other) }), care.Conflict)
	card := full("b2").card
	card.Number, card.CodeHash = 18, "card-b1"
	wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return tx.InsertCard(card) }), care.Conflict)
	// Two handovers without a code are no conflict.
	write(t, s, func(tx care.Tx) error {
		other.CodeHash, other.ID = "", "h3"
		if err := tx.InsertHandover(other); err != nil {
			return err
		}
		other.ID = "h4"
		return tx.InsertHandover(other)
	})
}

func conflictGoesOn(t *testing.T, s care.Store) {
	w := full("b1")
	w.insert(t, s)
	write(t, s, func(tx care.Tx) error {
		wantCode(t, tx.InsertEntry(w.entry), care.Conflict)
		got, err := tx.Entry("b1", "a1", "e1")
		wantSame(t, "entry", got, w.entry)
		if err != nil {
			return err
		}
		next := w.entry
		next.ID = "e2"
		return tx.InsertEntry(next)
	})
	read(t, s, func(tx care.Tx) (care.Entry, error) { return tx.Entry("b1", "a1", "e2") })
}

func stale(t *testing.T, s care.Store) {
	w := full("b1")
	w.insert(t, s)
	for name, update := range map[string]func(care.Tx, int64) error{
		"breeder":  func(tx care.Tx, d int64) error { v := w.breeder; v.Version += d; return tx.UpdateBreeder(v) },
		"animal":   func(tx care.Tx, d int64) error { v := w.animal; v.Version += d; return tx.UpdateAnimal(v) },
		"handover": func(tx care.Tx, d int64) error { v := w.handover; v.Version += d; return tx.UpdateHandover(v) },
		"card":     func(tx care.Tx, d int64) error { v := w.card; v.Version += d; return tx.UpdateCard(v) },
		"case":     func(tx care.Tx, d int64) error { v := w.kase; v.Version += d; return tx.UpdateCase(v) },
	} {
		t.Run(name, func(t *testing.T) {
			write(t, s, func(tx care.Tx) error {
				wantCode(t, update(tx, -1), care.Stale)
				wantCode(t, update(tx, 1), care.Stale)
				return update(tx, 0)
			})
			wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return update(tx, 0) }), care.Stale)
			write(t, s, func(tx care.Tx) error { return update(tx, 1) })
		})
	}
}

func markReplaced(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1", "a2")
	e := care.Entry{BreederID: "b1", AnimalID: "a1", ID: "e1", HappenedAt: t0, ReceivedAt: t0, Body: care.Seen{}}
	write(t, s, func(tx care.Tx) error { return tx.InsertEntry(e) })
	wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return tx.MarkReplaced("b1", "a2", "e1", "e2") }), care.NotFound)
	write(t, s, func(tx care.Tx) error { return tx.MarkReplaced("b1", "a1", "e1", "e2") })
	wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return tx.MarkReplaced("b1", "a1", "e1", "e3") }), care.Precondition)
	e.ReplacedBy = "e2"
	wantSame(t, "entry", read(t, s, func(tx care.Tx) (care.Entry, error) { return tx.Entry("b1", "a1", "e1") }), e)
}

func deletes(t *testing.T, s care.Store) {
	w := full("b1")
	w.insert(t, s)
	full("b2").insert(t, s)
	for _, wrong := range [][3]string{{"b2", "u1", "cred-b1"}, {"b1", "u2", "cred-b1"}} {
		wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return tx.DeletePasskey(wrong[0], wrong[1], wrong[2]) }), care.NotFound)
	}
	write(t, s, func(tx care.Tx) error {
		if err := tx.DeletePasskey("b1", "u1", "cred-b1"); err != nil {
			return err
		}
		if err := tx.DeleteAnswered(w.answered.Scope); err != nil {
			return err
		}
		if err := tx.DeleteAnswered("nobody"); err != nil {
			return err
		}
		return tx.DeleteSecret("hash-b1")
	})
	left := read(t, s, func(tx care.Tx) (n [3]bool, err error) {
		_, err = tx.Answered(w.answered.Scope, w.answered.RequestID)
		n[2] = care.IsCode(err, care.NotFound)
		_, err = tx.Passkey("cred-b1")
		n[0] = care.IsCode(err, care.NotFound)
		_, err = tx.Secret("hash-b1")
		n[1] = care.IsCode(err, care.NotFound)
		if _, err := tx.Passkey("cred-b2"); err != nil {
			return n, err
		}
		_, err = tx.Secret("hash-b2")
		return n, err
	})
	wantSame(t, "gone", left, [3]bool{true, true, true})

	wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return tx.DeleteUser("b3", "u1") }), care.NotFound)
	other := care.User{BreederID: "b2", ID: "u1", Name: "Renamed", Role: care.Helper, CreatedAt: t0}
	write(t, s, func(tx care.Tx) error {
		return errors.Join(tx.DeleteUser("b1", "u1"), tx.UpdateUser(other))
	})
	wantSame(t, "people of b1", len(read(t, s, func(tx care.Tx) ([]care.User, error) { return tx.ListUsers("b1") })), 0)
	wantSame(t, "person of b2", read(t, s, func(tx care.Tx) (care.User, error) { return tx.User("b2", "u1") }), other)
}

func erasingBreeder(t *testing.T, s care.Store) {
	w, other := full("b1"), full("b2")
	w.insert(t, s)
	other.insert(t, s)
	due := func(after time.Duration) (ids []string) {
		for _, b := range read(t, s, func(tx care.Tx) ([]care.Breeder, error) { return tx.BreedersToErase(at(after)) }) {
			ids = append(ids, b.ID)
		}
		return ids
	}
	wantSame(t, "due before the time", due(48*time.Hour-time.Millisecond), []string(nil))
	wantSame(t, "due", due(48*time.Hour), []string{"b1", "b2"})
	write(t, s, func(tx care.Tx) error {
		for i := range 3 { // more than one batch of a table
			e, p := w.entry, w.photo
			e.ID, p.ID, p.Hash = fmt.Sprint("more", i), fmt.Sprint("more", i), fmt.Sprint("hash", i)
			if err := errors.Join(tx.InsertEntry(e), tx.InsertPhoto(p)); err != nil {
				return err
			}
		}
		return tx.AddLook(care.Look{BreederID: "b1", CaseID: "h1", By: care.Helper, ByID: "u1", What: care.LookLog, Day: t0, Count: 1})
	})
	for more, n := true, 0; more; n++ {
		if n > 100 {
			t.Fatal("it does not end")
		}
		write(t, s, func(tx care.Tx) (err error) {
			more, err = tx.EraseBreeder("b1", 2)
			return err
		})
	}
	for _, it := range w.items() {
		if it.name == "keeper" || it.name == "kept thing" {
			continue
		}
		if err := s.Read(limit(t), func(tx care.Tx) error { _, err := it.get(tx); return err }); err == nil {
			t.Errorf("%s of the breeder is left", it.name)
		}
	}
	for _, it := range other.items() {
		wantSame(t, "another's "+it.name, read(t, s, it.get), it.want)
	}
	if got := read(t, s, func(tx care.Tx) ([]care.Discarded, error) { return tx.ListDiscarded(10) }); len(got) != 4 || !got[0].Kept {
		t.Errorf("bytes to look after: %+v", got)
	}
	write(t, s, func(tx care.Tx) error {
		if more, err := tx.EraseBreeder("", 2); more || err != nil {
			t.Errorf("nobody's: %v, %v", more, err)
		}
		return nil
	})
}

func looking(t *testing.T, s care.Store) {
	full("b1").insert(t, s)
	full("b2").insert(t, s)
	day := func(n int) time.Time { return time.Date(2026, 3, n, 0, 0, 0, 0, time.UTC) }
	look := func(b string, n int, first, last time.Duration, count int) care.Look {
		return care.Look{BreederID: b, CaseID: "h1", By: care.Helper, ByID: "u1", What: care.LookLog, Day: day(n), FirstAt: day(n).Add(first), LastAt: day(n).Add(last), Count: count}
	}
	write(t, s, func(tx care.Tx) error {
		for _, l := range []care.Look{look("b1", 1, 2*time.Hour, 3*time.Hour, 2), look("b1", 2, time.Hour, time.Hour, 1), look("b1", 1, time.Hour, 2*time.Hour, 5), look("b2", 1, 0, 0, 1)} {
			if err := tx.AddLook(l); err != nil {
				return err
			}
		}
		return nil
	})
	all := func(b, c string, n int) []care.Look {
		return read(t, s, func(tx care.Tx) ([]care.Look, error) { return tx.ListLooks(b, c, n) })
	}
	want := []care.Look{look("b1", 2, time.Hour, time.Hour, 1), look("b1", 1, time.Hour, 3*time.Hour, 7)}
	wantSame(t, "looks", all("b1", "", 10), want)
	wantSame(t, "of a case", all("b1", "h1", 1), want[:1])
	wantSame(t, "of no case", len(all("b1", "h2", 10)), 0)
	write(t, s, func(tx care.Tx) error {
		for _, wanted := range []int{1, 1, 0} {
			if n, err := tx.DeleteLooksBefore(day(2), 1); err != nil || n != wanted {
				return fmt.Errorf("%d forgotten, want %d: %w", n, wanted, err)
			}
		}
		return nil
	})
	wantSame(t, "what is left", all("b1", "", 10), want[:1])
	wantSame(t, "another's", len(all("b2", "", 10)), 0)
}

// erasing is what the log allows for this alone.
func erasing(t *testing.T, s care.Store) {
	w := full("b1")
	w.insert(t, s)
	other := full("b2")
	other.insert(t, s)
	write(t, s, func(tx care.Tx) error {
		mine, theirs := w.photo, w.photo
		mine.ID, mine.Hash = "p2", "mine alone"
		theirs.ID, theirs.By, theirs.Hash = "p3", care.BreederOwner, "theirs"
		for _, p := range []care.Photo{mine, theirs} {
			if err := tx.InsertPhoto(p); err != nil {
				return err
			}
		}
		return nil
	})
	e := w.entry
	e.Note, e.ByID, e.Replaces, e.Body = "", "gone", "", care.Seen{}
	write(t, s, func(tx care.Tx) error {
		gone := w.entry
		gone.ID = "e2"
		if err := tx.InsertEntry(gone); err != nil {
			return err
		}
		for _, err := range []error{tx.RewriteEntry(e), tx.DeleteEntry("b1", "a1", "e2"), tx.DeleteKeeper(w.keeper.ID), tx.DeletePhotos("b1", "h1", care.KeeperActor), tx.DeletePhotos("b1", "h1", care.KeeperActor)} {
			if err != nil {
				return err
			}
		}
		return nil
	})
	wantSame(t, "the log", read(t, s, func(tx care.Tx) ([]care.Entry, error) { return tx.Log("b1", "a1") }), []care.Entry{e})
	wantSame(t, "another's log", read(t, s, func(tx care.Tx) ([]care.Entry, error) { return tx.Log("b2", "a1") }), []care.Entry{other.entry})
	left := read(t, s, func(tx care.Tx) ([]care.Photo, error) { return tx.ListPhotos("b1", "h1") })
	if len(left) != 1 || left[0].ID != "p3" {
		t.Errorf("pictures left: %+v", left)
	}
	read(t, s, func(tx care.Tx) (none bool, err error) {
		_, err = tx.Keeper(w.keeper.ID)
		wantCode(t, err, care.NotFound)
		_, err = tx.Keeper(other.keeper.ID)
		return none, err
	})
	discarded := func() []care.Discarded {
		return read(t, s, func(tx care.Tx) ([]care.Discarded, error) { return tx.ListDiscarded(10) })
	}
	wantSame(t, "bytes to look after", discarded(), []care.Discarded{{Hash: "abc", Kept: true}, {Hash: "mine alone"}})
	wantSame(t, "the first of them", read(t, s, func(tx care.Tx) ([]care.Discarded, error) { return tx.ListDiscarded(1) }), discarded()[:1])
	write(t, s, func(tx care.Tx) error { return errors.Join(tx.Discard("refused"), tx.Discard("refused")) })
	wantSame(t, "with one that was refused", len(discarded()), 3)
	write(t, s, func(tx care.Tx) error { return errors.Join(tx.ForgetDiscarded("abc"), tx.ForgetDiscarded("refused")) })
	wantSame(t, "after one was forgotten", discarded(), []care.Discarded{{Hash: "mine alone"}})
}

func expiry(t *testing.T, s care.Store) {
	write(t, s, func(tx care.Tx) error {
		for i, id := range []string{"s3", "s1", "s2", "s4"} {
			if err := tx.InsertSecret(care.Secret{Hash: id, ID: id, Kind: care.SecretSession, BreederID: "b1", CreatedAt: at(time.Duration(i) * time.Second),
				ExpiresAt: at(map[string]time.Duration{"s1": -2, "s2": -1, "s3": 0, "s4": 1}[id] * time.Millisecond)}); err != nil {
				return err
			}
		}
		return nil
	})
	sweep := func(limitRows, want int, left ...string) {
		t.Helper()
		write(t, s, func(tx care.Tx) error {
			n, err := tx.DeleteExpiredSecrets(t0, limitRows)
			if n != want {
				t.Errorf("%d deleted, want %d", n, want)
			}
			return err
		})
		all := read(t, s, func(tx care.Tx) ([]care.Secret, error) { return tx.ListSecrets("b1", care.SecretSession) })
		wantSame(t, "left", ids(all, func(s care.Secret) string { return s.ID }), left)
	}
	sweep(1, 1, "s3", "s2", "s4")
	sweep(10, 2, "s4") // a secret ends at its ExpiresAt, not after it
	sweep(10, 0, "s4")
}

func forgetting(t *testing.T, s care.Store) {
	write(t, s, func(tx care.Tx) error {
		for id, d := range map[string]time.Duration{"r1": -2, "r2": -1, "r3": 0} {
			if err := tx.InsertAnswered(care.Answered{Scope: "b1", RequestID: id, At: at(d * time.Millisecond)}); err != nil {
				return err
			}
		}
		return nil
	})
	forget := func(limitRows, want int) {
		t.Helper()
		write(t, s, func(tx care.Tx) error {
			n, err := tx.DeleteAnsweredBefore(t0, limitRows)
			if n != want {
				t.Errorf("%d deleted, want %d", n, want)
			}
			return err
		})
	}
	forget(1, 1)
	read(t, s, func(tx care.Tx) (care.Answered, error) { return tx.Answered("b1", "r2") })
	forget(10, 1)
	read(t, s, func(tx care.Tx) (care.Answered, error) { return tx.Answered("b1", "r3") })
}

func forgettingDrafts(t *testing.T, s care.Store) {
	stock(t, s, "b1")
	write(t, s, func(tx care.Tx) error {
		for id, d := range map[string]time.Duration{"i1": -3, "i2": -2, "i3": 0, "i4": -4} {
			i := care.Import{BreederID: "b1", ID: id, State: care.ImportDraft, CreatedAt: at(d * time.Millisecond)}
			if id == "i4" {
				i.State = care.ImportDone
			}
			if err := tx.InsertImport(i); err != nil {
				return err
			}
		}
		return nil
	})
	forget := func(limitRows, want int, left ...string) {
		t.Helper()
		write(t, s, func(tx care.Tx) error {
			n, err := tx.DeleteDraftsBefore(t0, limitRows)
			if n != want {
				t.Errorf("%d deleted, want %d", n, want)
			}
			return err
		})
		all := read(t, s, func(tx care.Tx) ([]care.Import, error) {
			all, _, err := tx.ListImports("b1", care.Cursor{}, 10)
			return all, err
		})
		wantSame(t, "left", ids(all, importID), left)
	}
	forget(1, 1, "i3", "i2", "i4")
	forget(10, 1, "i3", "i4")
	forget(10, 0, "i3", "i4")
}

// isolation writes the same ids for two breeders, changes one and looks at the
// other through every list.
func isolation(t *testing.T, s care.Store) {
	one, two := full("b1"), full("b2")
	for _, w := range []*world{&one, &two} {
		w.animal.DeletedAt = nil
		w.kase.KeeperID = w.keeper.ID
		w.insert(t, s)
	}
	write(t, s, func(tx care.Tx) error {
		b, a, h, c := one.breeder, one.animal, one.handover, one.kase
		b.Name, a.Name, h.BuyerNote, c.Headline = "changed", "changed", "changed", words.Say("changed")
		for _, err := range []error{tx.UpdateBreeder(b), tx.UpdateAnimal(a), tx.UpdateHandover(h), tx.UpdateCase(c)} {
			if err != nil {
				return err
			}
		}
		i := one.imported
		i.File = "changed"
		if err := tx.UpdateImport(i); err != nil {
			return err
		}
		k := one.card
		k.KeeperName = "changed"
		if err := tx.UpdateCard(k); err != nil {
			return err
		}
		f := one.flag
		f.Text = words.Say("changed")
		return tx.PutFlag(f)
	})
	for _, it := range two.items() {
		wantSame(t, it.name, read(t, s, it.get), it.want)
	}
	lists := map[string]func(care.Tx) (any, error){
		"ListUsers":    func(tx care.Tx) (any, error) { return tx.ListUsers("b2") },
		"ListPasskeys": func(tx care.Tx) (any, error) { return tx.ListPasskeys("b2", "u1") },
		"ListSecrets":  func(tx care.Tx) (any, error) { return tx.ListSecrets("b2", care.SecretToken) },
		"ListAnimals":  func(tx care.Tx) (any, error) { v, _, err := tx.ListAnimals("b2", "", care.Cursor{}, 10); return v, err },
		"Log":          func(tx care.Tx) (any, error) { return tx.Log("b2", "a1") },
		"ListEntries": func(tx care.Tx) (any, error) {
			v, _, err := tx.ListEntries("b2", "a1", nil, "", care.Cursor{}, 10)
			return v, err
		},
		"ListCards": func(tx care.Tx) (any, error) { v, _, err := tx.ListCards("b2", care.Cursor{}, 10); return v, err },
		"ListHandovers": func(tx care.Tx) (any, error) {
			v, _, err := tx.ListHandovers("b2", "", care.Cursor{}, 10)
			return v, err
		},
		"ListCases": func(tx care.Tx) (any, error) {
			v, _, err := tx.ListCases("b2", care.CaseQuery{}, care.Cursor{}, 10)
			return v, err
		},
		"CasesOfKeeper":   func(tx care.Tx) (any, error) { return tx.CasesOfKeeper("k1-b2") },
		"ListFlags":       func(tx care.Tx) (any, error) { return tx.ListFlags("b2", "h1") },
		"ListSigningKeys": func(tx care.Tx) (any, error) { return tx.ListSigningKeys("b2") },
		"ListPhotos":      func(tx care.Tx) (any, error) { return tx.ListPhotos("b2", "h1") },
		"ListNewPhotos": func(tx care.Tx) (any, error) {
			v, _, err := tx.ListNewPhotos("b2", care.Cursor{}, 10)
			return v, err
		},
		"ListImports": func(tx care.Tx) (any, error) {
			v, _, err := tx.ListImports("b2", care.Cursor{}, 10)
			return v, err
		},
		"ListImportAnimals": func(tx care.Tx) (any, error) { return tx.ListImportAnimals("b2", "i1") },
	}
	listed := two.kase
	listed.Assessment = nil // lists leave it out
	wants := map[string]any{
		"ListUsers": []care.User{two.user}, "ListPasskeys": []care.Passkey{two.passkey}, "ListSecrets": []care.Secret{two.secret},
		"ListAnimals": []care.Animal{two.animal}, "Log": []care.Entry{two.entry}, "ListEntries": []care.Entry{two.entry},
		"ListHandovers": []care.Handover{two.handover}, "ListCases": []care.Case{listed}, "CasesOfKeeper": []care.Case{two.kase},
		"ListFlags": []care.Flag{two.flag}, "ListPhotos": []care.Photo{two.photo}, "ListSigningKeys": []care.SigningKey{two.signing}, "ListNewPhotos": []care.Photo(nil),
		"ListImports": []care.Import{two.imported}, "ListImportAnimals": []care.ImportAnimal{two.touched},
		"ListCards": []care.Card{two.card},
	}
	for name, get := range lists {
		wantSame(t, name, read(t, s, get), wants[name])
	}
	// Secrets of keepers belong to no breeder, and nobody may list them.
	write(t, s, func(tx care.Tx) error {
		return tx.InsertSecret(care.Secret{Hash: "k", Kind: care.SecretSession, KeeperID: "k1"})
	})
	if all := read(t, s, func(tx care.Tx) ([]care.Secret, error) { return tx.ListSecrets("", care.SecretSession) }); len(all) != 0 {
		t.Errorf("a breeder without id lists %d secrets", len(all))
	}
	// A keeper's are found by the keeper, and those of breeders by no keeper.
	for keeper, want := range map[string][]string{"k1": {"k"}, "k2": {}, "": {}} {
		all := read(t, s, func(tx care.Tx) ([]care.Secret, error) { return tx.ListKeeperSecrets(keeper, care.SecretSession) })
		wantSame(t, "secrets of keeper "+keeper, ids(all, func(s care.Secret) string { return s.Hash }), want)
	}
}

// versionAlone: what memory is checked by is the case's own version.
func versionAlone(t *testing.T, s care.Store) {
	w := full("b1")
	w.insert(t, s)
	for range 2 {
		c := read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b1", w.kase.ID) })
		v := read(t, s, func(tx care.Tx) (int64, error) { return tx.CaseVersion("b1", w.kase.ID) })
		if v != c.Version {
			t.Errorf("version %d, in the case %d", v, c.Version)
		}
		write(t, s, func(tx care.Tx) error { return tx.UpdateCase(c) })
	}
}

// letsCounted: everything that changes a secret or a user is counted before its
// Write returns, and other writes are not.
func letsCounted(t *testing.T, s care.Store) {
	w := full("b1")
	w.insert(t, s)
	for _, change := range []struct {
		name  string
		f     func(care.Tx) error
		count bool
	}{
		{"a secret more", func(tx care.Tx) error { w.secret.Hash = "another"; return tx.InsertSecret(w.secret) }, true},
		{"a secret's use", func(tx care.Tx) error { w.secret.UsedAt = ptr(t0); return tx.UpdateSecret(w.secret) }, true},
		{"a secret less", func(tx care.Tx) error { return tx.DeleteSecret(w.secret.Hash) }, true},
		{"secrets swept", func(tx care.Tx) error { _, err := tx.DeleteExpiredSecrets(t0, 10); return err }, true},
		{"a user more", func(tx care.Tx) error { w.user.ID = "another"; return tx.InsertUser(w.user) }, true},
		{"an account erased", func(tx care.Tx) error { _, err := tx.EraseBreeder("b1", 1000); return err }, true},
		{"a case read", func(tx care.Tx) error {
			_, _, err := tx.ListCases("b1", care.CaseQuery{}, care.Cursor{}, 10)
			return err
		}, false},
		{"a breeder", func(tx care.Tx) error {
			return tx.InsertBreeder(care.Breeder{ID: "b9", Name: "b9", CreatedAt: t0, Version: 1})
		}, false},
	} {
		before := s.Lets()
		write(t, s, change.f)
		if counted := s.Lets() > before; counted != change.count {
			t.Errorf("%s: counted %v", change.name, counted)
		}
	}
}

func keptThings(t *testing.T, s care.Store) {
	write(t, s, func(tx care.Tx) error {
		return errors.Join(tx.PutKept(care.Kept{Name: "a", Sealed: []byte("1"), At: t0}), tx.PutKept(care.Kept{Name: "A", Sealed: []byte("2"), At: t0}), tx.DeleteKept("none"))
	})
	write(t, s, func(tx care.Tx) error { return tx.DeleteKept("a") })
	wantCode(t, s.Read(limit(t), func(tx care.Tx) error { _, err := tx.Kept("a"); return err }), care.NotFound)
	wantSame(t, "another", string(read(t, s, func(tx care.Tx) (care.Kept, error) { return tx.Kept("A") }).Sealed), "2")
}
