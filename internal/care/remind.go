package care

import (
	"slices"
	"time"

	"warmhand/internal/words"
)

// Hours is when a person may be reminded: a keeper, or one of a breeder's people.
// There is one as soon as the person has chosen a way.
type Hours struct {
	BreederID string // "" for a keeper
	PersonID  string // the keeper's or the user's id
	Zone      string // IANA name of the time zone in which the hours below are meant
	// Between QuietFrom and QuietUntil, minutes after midnight, nothing goes out;
	// both the same: there are no quiet hours.
	QuietFrom, QuietUntil int
	Morning               int // minutes after midnight at which a breeder's digest goes out
	// MessagesSince is from when one of a breeder's people wants to be told at once
	// that a keeper wrote; nil: in the digest.
	MessagesSince *time.Time
	// DigestAt is the morning of the last digest, and LookAt when to look next
	// whether there is something to send.
	DigestAt, LookAt time.Time
	CreatedAt        time.Time
	Version          int64
}

// What holds until somebody says otherwise: nobody is woken, and a breeder reads
// the digest before the day's work. Common practice, no source.
const (
	QuietFrom  = 21 * 60
	QuietUntil = 8 * 60
	Morning    = 8 * 60
)

// A message that somebody may have open already is told of after ReadWait, and those
// that come within TalkGap after the first are told of with it. Common practice, no source.
const (
	ReadWait = 30 * time.Second
	TalkGap  = time.Hour
)

const dayMinutes = 24 * 60

// Unread finds in a log the messages of one side of a case that came in after read;
// nil: all. first is when the earliest of those that belong together came in: what
// comes later than TalkGap after it is told of anew. It is zero when there is none, or
// when all of them were taken back.
func Unread(log []Entry, caseID string, fromKeeper bool, read *time.Time) (first time.Time) {
	var at []time.Time
	stands := false
	for i := range log {
		e := &log[i]
		if e.CaseID != caseID || e.Body == nil || e.Body.Kind() != KindMessage || (e.By == KeeperActor) != fromKeeper || read != nil && !e.ReceivedAt.After(*read) {
			continue
		}
		at = append(at, e.ReceivedAt)
		stands = stands || e.Current()
	}
	if !stands {
		return first
	}
	slices.SortFunc(at, time.Time.Compare)
	for _, t := range at {
		if first.IsZero() || t.After(first.Add(TalkGap)) {
			first = t
		}
	}
	return first
}

// CheckHours checks what a person has chosen.
func CheckHours(r *Hours) error {
	if _, err := time.LoadLocation(r.Zone); err != nil || r.Zone == "" || r.Zone == "Local" {
		return BadField("zone", "“{zone}” is not a time zone. Use a name such as Europe/Vienna or Pacific/Auckland.", r.Zone)
	}
	for _, m := range []struct {
		field string
		at    int
	}{{"quiet_from", r.QuietFrom}, {"quiet_until", r.QuietUntil}, {"morning", r.Morning}} {
		if m.at < 0 || m.at >= dayMinutes {
			return BadField(m.field, "Choose a time of the day, from 00:00 to 23:59.")
		}
	}
	return nil
}

// QuietUntilAt says whether an instant is in the quiet hours, and when they end. It
// goes by the clock on the person's wall, also in the nights in which that is
// changed.
func (r *Hours) QuietUntilAt(now time.Time) (end time.Time, quiet bool) {
	zone := r.zone()
	if !r.quietBy(now.In(zone)) {
		return now, false
	}
	local := now.In(zone)
	end = onDay(local, 0, r.QuietUntil)
	if !end.After(now) {
		end = onDay(local, 1, r.QuietUntil)
	}
	for r.quietBy(end.In(zone)) { // an hour that the change of clocks left out or repeated
		end = end.Add(time.Minute)
	}
	return end.UTC(), true
}

// LastMorning is the latest instant up to now at which a digest was due.
func (r *Hours) LastMorning(now time.Time) time.Time {
	local := now.In(r.zone())
	at := onDay(local, 0, r.Morning)
	if at.After(now) {
		at = onDay(local, -1, r.Morning)
	}
	return at.UTC()
}

// NextMorning is the first instant after now at which a digest is due.
func (r *Hours) NextMorning(now time.Time) time.Time {
	local := now.In(r.zone())
	at := onDay(local, 0, r.Morning)
	if !at.After(now) {
		at = onDay(local, 1, r.Morning)
	}
	return at.UTC()
}

// Day is the date on the person's wall, as 2006-01-02.
func (r *Hours) Day(now time.Time) string { return now.In(r.zone()).Format(time.DateOnly) }

// zone falls back to UTC where the machine lost its table of zones.
func (r *Hours) zone() *time.Location {
	if zone, err := time.LoadLocation(r.Zone); err == nil {
		return zone
	}
	return time.UTC
}

func onDay(local time.Time, days, minutes int) time.Time {
	return time.Date(local.Year(), local.Month(), local.Day()+days, 0, minutes, 0, 0, local.Location())
}

func (r *Hours) quietBy(local time.Time) bool {
	m := local.Hour()*60 + local.Minute()
	if r.QuietFrom <= r.QuietUntil {
		return r.QuietFrom <= m && m < r.QuietUntil
	}
	return m >= r.QuietFrom || m < r.QuietUntil
}

// WayKind is by what a reminder goes.
type WayKind string

// The ways. A calendar is fetched and not sent, so it is none.
const (
	WayPush WayKind = "push" // to one browser or installed app
	WayMail WayKind = "mail"
)

// WaysMost is how many devices a person has at most, and MailWait how long an
// address waits for its owner to confirm it.
const (
	WaysMost = 10
	MailWait = 48 * time.Hour
)

// Way is one device or address at which a person wants to be reminded.
type Way struct {
	BreederID, PersonID string // as of Hours
	ID                  string
	Kind                WayKind
	Address             string // the push service's URL for the device, or the mail address
	Key, Auth           []byte // of a device: its public key (P-256, uncompressed) and its secret (RFC 8291)
	SessionID           string // of a device: the public id of the sign-in that it ends with
	Breeders            string // of a keeper's mail address: what it sees, as Actor.Breeders
	Label               string // which device, in words
	CreatedAt           time.Time
	ConfirmedAt         *time.Time // nil: the address's owner has not said yes
	LastAt              *time.Time // when something last went out
	HoldUntil           *time.Time // nothing is tried before, because a try failed or it was asked for
	Trouble             words.Text // why the last try failed; empty when it did not
}

// ReminderState is how far a reminder has come on one way.
type ReminderState string

// The states. Only a reminder that is known not to have gone is tried again.
const (
	ReminderClaimed ReminderState = "claimed" // somebody is at it, until At
	ReminderHanded  ReminderState = "handed"  // given to the push service or mail server; its answer is not known
	ReminderSent    ReminderState = "sent"
	ReminderWaiting ReminderState = "waiting" // it did not go; again at At
	ReminderFailed  ReminderState = "failed"  // it did not go, and is not tried any more
)

// Reminder is that one thing was, or is being, told to one person on one way. The
// row is made before anything is sent, so it is told once, whoever sends.
type Reminder struct {
	BreederID, CaseID string // whose case; "" for a digest of all
	PersonID, WayID   string
	// Topic is what it is about, the same as long as it is the same thing: a
	// check-in's id, a standing with when it began, a digest with its day.
	Topic string
	State ReminderState
	Tries int
	At    time.Time
}

// RemindersKept is for how long it is remembered what was told. No check-in lives so
// long, and no digest.
const RemindersKept = 400 * 24 * time.Hour

// Delivery is what came of handing one message over.
type Delivery struct {
	Outcome DeliveryOutcome
	// Wait is for how long the other side wants to be left alone; 0: it did not say.
	Wait time.Duration
	Why  words.Text // for the person; empty when it was sent
}

// DeliveryOutcome is how a handing over ended.
type DeliveryOutcome int

// The outcomes.
const (
	Delivered     DeliveryOutcome = iota
	NotDelivered                  // it is known not to have gone and may be tried again
	NeverDelivers                 // it is known not to have gone, and will not go like this
	AddressGone                   // the device or address is no more
	Unclear                       // it may have gone: it is not sent again
)
