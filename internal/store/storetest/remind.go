package storetest

import (
	"errors"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

func waking(t *testing.T, s care.Store) {
	reach := func(b, p string, look time.Duration) care.Hours {
		return care.Hours{BreederID: b, PersonID: p, LookAt: at(look), DigestAt: t0, CreatedAt: t0}
	}
	write(t, s, func(tx care.Tx) error {
		return errors.Join(tx.InsertHours(reach("", "k1", 3*time.Hour)), tx.InsertHours(reach("", "k2", 2*time.Hour)),
			tx.InsertHours(reach("b1", "u1", time.Hour)), tx.InsertHours(reach("b1", "u2", 5*time.Hour)), tx.InsertHours(reach("b2", "u1", 5*time.Hour)))
	})
	due := func(now time.Duration, limit int) (who []string) {
		for _, r := range read(t, s, func(tx care.Tx) ([]care.Hours, error) { return tx.DueHours(at(now), limit) }) {
			who = append(who, r.BreederID+"/"+r.PersonID)
		}
		return who
	}
	wantSame(t, "due", due(3*time.Hour, 10), []string{"b1/u1", "/k2", "/k1"})
	wantSame(t, "the first due", due(3*time.Hour, 2), []string{"b1/u1", "/k2"})
	wantSame(t, "due before anybody's time", due(time.Hour-time.Millisecond, 10), []string(nil))
	wake := func(b, p string, when time.Duration) {
		write(t, s, func(tx care.Tx) error { return tx.WakeHours(b, p, at(when)) })
	}
	wake("", "", 0)       // nobody
	wake("b1", "", 2e9)   // all of one breeder, no later than they would be
	wake("", "k1", 1e9)   // a keeper
	wake("", "k2", 24e12) // later than it is: no change
	wantSame(t, "woken", due(2*time.Second, 10), []string{"/k1", "b1/u1", "b1/u2"})
	write(t, s, func(tx care.Tx) error {
		r, err := tx.Hours("b1", "u2")
		r.MessagesSince = ptr(t0)
		return errors.Join(err, tx.UpdateHours(r), tx.WakeForMessages("b1", at(1e9)), tx.WakeForMessages("b2", at(0)))
	})
	wantSame(t, "woken for messages", due(time.Second, 10), []string{"/k1", "b1/u2"})
	r := read(t, s, func(tx care.Tx) (care.Hours, error) { return tx.Hours("b1", "u2") })
	r.Version--
	wantCode(t, s.Write(limit(t), func(tx care.Tx) error { return tx.UpdateHours(r) }), care.Stale)
	write(t, s, func(tx care.Tx) error { return tx.DeleteHours("b1", "u2") })
	wantSame(t, "after one is gone", due(2*time.Second, 10), []string{"/k1", "b1/u1"})

	ahead := reach("b1", "u3", 9*time.Hour)
	ahead.DigestAt = at(8 * time.Hour)
	write(t, s, func(tx care.Tx) error { return tx.InsertHours(ahead) })
	for _, want := range []int{1, 0} { // b2/u1 is due in five hours
		write(t, s, func(tx care.Tx) error {
			n, err := tx.BringForward(at(6*time.Hour), at(3*time.Second), 10)
			wantSame(t, "how many are brought forward", n, want)
			return err
		})
	}
	wantSame(t, "due after that", due(3*time.Second, 10), []string{"/k1", "b1/u1", "b1/u3"})
	r = read(t, s, func(tx care.Tx) (care.Hours, error) { return tx.Hours("b1", "u3") })
	ahead.LookAt, ahead.DigestAt, ahead.Version = at(3*time.Second), at(3*time.Second), r.Version
	wantSame(t, "who was brought forward", r, ahead)
}

func wayLists(t *testing.T, s care.Store) {
	way := func(b, p, id string, made time.Duration) care.Way {
		return care.Way{BreederID: b, PersonID: p, ID: id, Kind: care.WayMail, CreatedAt: at(made)}
	}
	confirmed := way("", "k1", "w1", 2*time.Hour)
	confirmed.ConfirmedAt = ptr(at(3 * time.Hour))
	write(t, s, func(tx care.Tx) error {
		return errors.Join(tx.PutWay(confirmed), tx.PutWay(way("", "k1", "w2", time.Hour)), tx.PutWay(way("", "k2", "w3", 0)), tx.PutWay(way("b1", "k1", "w4", 0)))
	})
	list := func(b, p string) []string {
		return ids(read(t, s, func(tx care.Tx) ([]care.Way, error) { return tx.ListWays(b, p) }), func(w care.Way) string { return w.ID })
	}
	wantSame(t, "a keeper's", list("", "k1"), []string{"w2", "w1"})
	wantSame(t, "one of a breeder's", list("b1", "k1"), []string{"w4"})
	forget := func(before time.Duration, limit int) int {
		var n int
		write(t, s, func(tx care.Tx) (err error) {
			n, err = tx.DeleteUnconfirmedBefore(at(before), limit)
			return err
		})
		return n
	}
	wantSame(t, "forgotten", forget(24*time.Hour, 2), 2)
	wantSame(t, "the rest", forget(24*time.Hour, 2), 1)
	wantSame(t, "what was confirmed stays", list("", "k1"), []string{"w1"})
}

func claiming(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1")
	row := func(c, p, topic, way string, when time.Duration) care.Reminder {
		return care.Reminder{BreederID: "b1", CaseID: c, PersonID: p, Topic: topic, WayID: way, State: care.ReminderClaimed, Tries: 1, At: at(when)}
	}
	first := row("c1", "k1", "first_night", "w1", time.Hour)
	write(t, s, func(tx care.Tx) error {
		return errors.Join(tx.InsertReminder(first), tx.InsertReminder(row("c1", "k1", "first_night", "w2", 2*time.Hour)),
			tx.InsertReminder(row("c1", "k2", "first_night", "w1", 3*time.Hour)), tx.InsertReminder(row("", "u1", "digest-2026-03-01", "w3", 4*time.Hour)))
	})
	second := first
	second.State, second.Tries = care.ReminderSent, 9
	write(t, s, func(tx care.Tx) error {
		wantCode(t, tx.InsertReminder(second), care.Conflict)
		return nil
	})
	told := func(c, p string) []string {
		return ids(read(t, s, func(tx care.Tx) ([]care.Reminder, error) { return tx.ListReminders("b1", c, p) }), func(r care.Reminder) string { return r.Topic + " " + r.WayID + " " + string(r.State) })
	}
	wantSame(t, "told", told("c1", "k1"), []string{"first_night w1 claimed", "first_night w2 claimed"})
	wantSame(t, "a digest", told("", "u1"), []string{"digest-2026-03-01 w3 claimed"})
	write(t, s, func(tx care.Tx) error {
		return errors.Join(tx.UpdateReminder(second), tx.DeleteReminder(row("c1", "k1", "first_night", "w2", 0)), tx.DeleteRemindersOf("b1", "c1", "k2"))
	})
	wantSame(t, "after that", told("c1", "k1"), []string{"first_night w1 sent"})
	wantSame(t, "of the one who was forgotten", told("c1", "k2"), []string{})
	write(t, s, func(tx care.Tx) error {
		n, err := tx.DeleteRemindersBefore(at(2*time.Hour), 10)
		wantSame(t, "old ones", n, 1)
		return err
	})
	wantSame(t, "what is not old", told("", "u1"), []string{"digest-2026-03-01 w3 claimed"})
}

func backlog(t *testing.T, s care.Store) {
	measure := func(now time.Time) (b care.Backlog, queues map[string]care.Queue) {
		t.Helper()
		b = read(t, s, func(tx care.Tx) (care.Backlog, error) { return tx.Backlog(now) })
		queues = map[string]care.Queue{}
		for _, q := range b.Queues {
			queues[q.Name] = q
		}
		return b, queues
	}
	empty, queues := measure(t0)
	wantSame(t, "an empty backlog", len(empty.Queues), 5)
	for name, q := range queues {
		wantSame(t, "an empty queue", q, care.Queue{Name: name})
	}
	stock(t, s, "b1", "a1")
	gone := care.Breeder{ID: "b2", EraseAt: ptr(at(-time.Hour))}
	later := care.Breeder{ID: "b3", EraseAt: ptr(at(time.Hour))}
	remind := func(topic string, state care.ReminderState, when time.Duration) care.Reminder {
		return care.Reminder{BreederID: "b1", CaseID: "c1", PersonID: "k1", Topic: topic, WayID: "w1", State: state, Tries: 1, At: at(when)}
	}
	way := func(id, trouble string) care.Way {
		return care.Way{PersonID: "k1", ID: id, Kind: care.WayMail, CreatedAt: t0, Trouble: words.Say(trouble)}
	}
	write(t, s, func(tx care.Tx) error {
		return errors.Join(tx.InsertBreeder(gone), tx.InsertBreeder(later),
			follow(tx, care.Case{BreederID: "b1", ID: "due", AnimalID: "a1", DueAt: at(-time.Minute)}), follow(tx, care.Case{BreederID: "b1", ID: "due too", AnimalID: "a1", DueAt: t0}),
			follow(tx, care.Case{BreederID: "b1", ID: "not due", AnimalID: "a1", DueAt: at(time.Minute)}),
			tx.InsertHours(care.Hours{PersonID: "k1", LookAt: at(-2 * time.Minute), DigestAt: t0, CreatedAt: t0}), tx.InsertHours(care.Hours{PersonID: "k2", LookAt: at(time.Minute), DigestAt: t0, CreatedAt: t0}),
			tx.InsertImport(care.Import{BreederID: "b1", ID: "i1", State: care.ImportRunning, CreatedAt: at(-3 * time.Minute)}), tx.InsertImport(care.Import{BreederID: "b1", ID: "i2", State: care.ImportDone, CreatedAt: t0}),
			tx.InsertReminder(remind("sent", care.ReminderSent, -time.Hour)), tx.InsertReminder(remind("claimed", care.ReminderClaimed, 5*time.Minute)), tx.InsertReminder(remind("waiting", care.ReminderWaiting, -4*time.Minute)),
			tx.InsertReminder(remind("failed", care.ReminderFailed, -23*time.Hour)), tx.InsertReminder(remind("failed long ago", care.ReminderFailed, -25*time.Hour)),
			tx.PutWay(way("w1", "The push service is busy (503).")), tx.PutWay(way("w2", "The mail server could not be reached.")), tx.PutWay(way("w3", "The mail server could not be reached.")), tx.PutWay(way("w4", "")))
	})
	b, queues := measure(t0)
	for name, want := range map[string]care.Queue{
		care.QueueCases: {Length: 2, Since: at(-time.Minute)}, care.QueuePeople: {Length: 1, Since: at(-2 * time.Minute)}, care.QueueSends: {Length: 2, Since: at(-4 * time.Minute)},
		care.QueueImports: {Length: 1, Since: at(-3 * time.Minute)}, care.QueueAccounts: {Length: 1, Since: at(-time.Hour)},
	} {
		want.Name = name
		wantSame(t, name, queues[name], want)
	}
	wantSame(t, "given up in a day", b.FailedSends, 1)
	wantSame(t, "troubles", b.Troubles, []care.Trouble{{Text: words.Say("The mail server could not be reached."), Ways: 2}, {Text: words.Say("The push service is busy (503)."), Ways: 1}})
}
