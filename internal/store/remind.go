package store

import (
	"time"

	"warmhand/internal/care"
)

// When and by what people are reminded, and what they were told.

var (
	hours = table{name: "reminder_hours", what: "person's hours", key: 2, columns: columns(
		`breeder_id person_id zone quiet_from quiet_until morning messages_since digest_at look_at created_at version`)}
	ways = table{name: "ways", what: "device or address", key: 1, columns: columns(
		`way_id breeder_id person_id kind address key auth session_id breeders label created_at confirmed_at last_at hold_until trouble`)}
	reminders = table{name: "reminders", what: "reminder", key: 5, columns: columns(
		`breeder_id case_id person_id topic way_id state tries at`)}
)

func hoursRow(r *care.Hours) []any {
	return []any{&r.BreederID, &r.PersonID, &r.Zone, number[int]{&r.QuietFrom}, number[int]{&r.QuietUntil}, number[int]{&r.Morning}, maybeInstant{&r.MessagesSince},
		instant{&r.DigestAt}, instant{&r.LookAt}, instant{&r.CreatedAt}, &r.Version}
}

func wayRow(w *care.Way) []any {
	return []any{&w.ID, &w.BreederID, &w.PersonID, &w.Kind, &w.Address, blob{&w.Key}, blob{&w.Auth}, &w.SessionID, &w.Breeders, &w.Label,
		instant{&w.CreatedAt}, maybeInstant{&w.ConfirmedAt}, maybeInstant{&w.LastAt}, maybeInstant{&w.HoldUntil}, said{&w.Trouble}}
}

func reminderRow(r *care.Reminder) []any {
	return []any{&r.BreederID, &r.CaseID, &r.PersonID, &r.Topic, &r.WayID, &r.State, number[int]{&r.Tries}, instant{&r.At}}
}

var (
	insertHours     = hours.insertQuery()
	getHours        = hours.getQuery()
	updateHours     = hours.updateQuery()
	dueHours        = hours.selectQuery(`WHERE look_at <= ?1 ORDER BY look_at, breeder_id, person_id LIMIT ?2`)
	wakeHours       = newQuery("wake people", `UPDATE reminder_hours SET look_at = ?3, version = version + 1 WHERE breeder_id = ?1 AND (?2 = '' OR person_id = ?2) AND look_at > ?3`)
	wakeForMessages = newQuery("wake people for messages", `UPDATE reminder_hours SET look_at = ?2, version = version + 1 WHERE breeder_id = ?1 AND messages_since IS NOT NULL AND look_at > ?2`)
	// A digest that was sent by such a clock is not one of the days to come.
	bringPeopleForward = newQuery("bring people forward", `UPDATE reminder_hours SET look_at = ?2, digest_at = CASE WHEN digest_at > ?2 THEN ?2 ELSE digest_at END, version = version + 1 WHERE (breeder_id, person_id) IN
		(SELECT breeder_id, person_id FROM reminder_hours WHERE look_at > ?1 ORDER BY look_at LIMIT ?3)`)
	deleteHours = newQuery("delete a person's hours", `DELETE FROM reminder_hours `+hours.byKey())

	putWay            = ways.putQuery()
	getWay            = ways.getQuery()
	listWays          = ways.selectQuery(`WHERE breeder_id = ?1 AND person_id = ?2 ORDER BY created_at, way_id`)
	deleteWay         = newQuery("delete a device or address", `DELETE FROM ways `+ways.byKey())
	forgetUnconfirmed = newQuery("delete unconfirmed addresses", `DELETE FROM ways WHERE way_id IN
		(SELECT way_id FROM ways WHERE confirmed_at IS NULL AND created_at < ?1 ORDER BY created_at LIMIT ?2)`)

	insertReminder    = reminders.insertQuery()
	updateReminder    = reminders.updateQuery()
	deleteReminder    = newQuery("delete reminder", `DELETE FROM reminders `+reminders.byKey())
	listReminders     = reminders.selectQuery(`WHERE breeder_id = ?1 AND case_id = ?2 AND person_id = ?3 ORDER BY topic, way_id`)
	deleteRemindersOf = newQuery("delete reminders", `DELETE FROM reminders WHERE breeder_id = ?1 AND case_id = ?2 AND person_id = ?3`)
	forgetReminders   = newQuery("delete old reminders", `DELETE FROM reminders WHERE (breeder_id, case_id, person_id, topic, way_id) IN
		(SELECT breeder_id, case_id, person_id, topic, way_id FROM reminders WHERE at < ?1 ORDER BY at LIMIT ?2)`)
)

func (t *tx) InsertHours(r care.Hours) error { return t.insert(insertHours, hoursRow(&r)...) }

func (t *tx) Hours(breederID, personID string) (care.Hours, error) {
	return get(t, getHours, hoursRow, hours.what, breederID, personID)
}

func (t *tx) UpdateHours(r care.Hours) error {
	exists := func() error { _, err := t.Hours(r.BreederID, r.PersonID); return err }
	return t.swap(updateHours, exists, hoursRow(&r)...)
}

func (t *tx) DueHours(now time.Time, limit int) ([]care.Hours, error) {
	return list(t, dueHours, hoursRow, now.UnixMilli(), limit)
}

func (t *tx) WakeHours(breederID, personID string, at time.Time) error {
	if breederID == "" && personID == "" {
		return nil // that would be all keepers
	}
	_, err := t.exec(wakeHours, breederID, personID, at.UnixMilli())
	return err
}

func (t *tx) WakeForMessages(breederID string, at time.Time) error {
	_, err := t.exec(wakeForMessages, breederID, at.UnixMilli())
	return err
}

func (t *tx) DeleteHours(breederID, personID string) error {
	return t.update(deleteHours, hours.what, breederID, personID)
}

func (t *tx) PutWay(w care.Way) error {
	_, err := t.exec(putWay, wayRow(&w)...)
	return err
}

func (t *tx) Way(wayID string) (care.Way, error) { return get(t, getWay, wayRow, ways.what, wayID) }

func (t *tx) ListWays(breederID, personID string) ([]care.Way, error) {
	return list(t, listWays, wayRow, breederID, personID)
}

func (t *tx) DeleteWay(wayID string) error { return t.update(deleteWay, ways.what, wayID) }

func (t *tx) DeleteUnconfirmedBefore(before time.Time, limit int) (int, error) {
	n, err := t.exec(forgetUnconfirmed, before.UnixMilli(), limit)
	return int(n), err
}

func (t *tx) InsertReminder(r care.Reminder) error {
	return t.insert(insertReminder, reminderRow(&r)...)
}

func (t *tx) UpdateReminder(r care.Reminder) error {
	return t.update(updateReminder, reminders.what, reminderRow(&r)...)
}

func (t *tx) DeleteReminder(r care.Reminder) error {
	return t.update(deleteReminder, reminders.what, r.BreederID, r.CaseID, r.PersonID, r.Topic, r.WayID)
}

func (t *tx) ListReminders(breederID, caseID, personID string) ([]care.Reminder, error) {
	return list(t, listReminders, reminderRow, breederID, caseID, personID)
}

func (t *tx) DeleteRemindersOf(breederID, caseID, personID string) error {
	_, err := t.exec(deleteRemindersOf, breederID, caseID, personID)
	return err
}

func (t *tx) DeleteRemindersBefore(before time.Time, limit int) (int, error) {
	n, err := t.exec(forgetReminders, before.UnixMilli(), limit)
	return int(n), err
}
