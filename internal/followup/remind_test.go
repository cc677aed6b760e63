package followup_test

import (
	"context"
	"fmt"
	"hash/fnv"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	"warmhand/internal/store"
	"warmhand/internal/words"
)

// device turns reminders on for a keeper or one of a breeder's people, with a sign-in
// that it hangs on.
func (p *place) device(t testing.TB, who care.Actor, now time.Time, zone string) care.Way {
	t.Helper()
	id := p.id("session")
	secret := care.Secret{Hash: id, ID: id, Kind: care.SecretSession, KeeperID: who.KeeperID, CreatedAt: now, ExpiresAt: now.AddDate(1, 0, 0)}
	if who.KeeperID == "" {
		secret.BreederID, secret.UserID = who.BreederID, who.UserID
	} else {
		secret.Data = []byte(who.Breeders)
	}
	p.write(t, func(tx care.Tx) error { return tx.InsertSecret(secret) })
	w, err := p.AddWay(t.Context(), who, now, care.Way{Kind: care.WayPush, Address: "https://push.example.org/" + id, SessionID: id, Label: "phone"}, zone, "")
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// remind runs the worker once and returns what it told, as "way: animal topic".
func (p *place) remind(t testing.TB, now time.Time, answer care.Delivery) (told []string) {
	t.Helper()
	var mu sync.Mutex
	_, err := p.Remind(t.Context(), func() time.Time { return now }, func(_ context.Context, n *followup.Notice) care.Delivery {
		mu.Lock()
		defer mu.Unlock()
		told = append(told, topicsTold(n)...)
		return answer
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(told)
	return told
}

func topicsTold(n *followup.Notice) (out []string) {
	for _, x := range n.Told {
		switch {
		case x.Wrote:
			out = append(out, "wrote")
		case x.CheckIn != nil:
			out = append(out, x.CheckIn.ID)
		default:
			out = append(out, x.Case.Standing.String())
		}
	}
	if n.Digest != nil {
		text := "digest"
		for _, x := range n.Digest.News {
			text += fmt.Sprintf(" %v/%v/%v", x.Wrote, x.GivesBack, x.Changed)
		}
		out = append(out, fmt.Sprintf("%s +%d", text, n.Digest.Logged))
	}
	return out
}

func wantTold(t testing.TB, what string, got []string, want ...string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: told %q, want %q", what, got, want)
	}
}

var (
	gone     = care.Delivery{}
	busy     = care.Delivery{Outcome: care.NotDelivered, Wait: 2 * time.Hour, Why: words.Say("busy")}
	unclear  = care.Delivery{Outcome: care.Unclear, Why: words.Say("no answer")}
	noDevice = care.Delivery{Outcome: care.AddressGone, Why: words.Say("gone")}
)

// The first question is due a day after the handover, at 09:00 UTC.
var asked = t0.Add(day)

func TestReminderGoesOnce(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, _, keeper := p.sold(t)
	wantTold(t, "nobody wants it", p.remind(t, asked, gone))
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	wantTold(t, "before its time", p.remind(t, asked.Add(-time.Minute), gone))
	wantTold(t, "in its time", p.remind(t, asked, gone), "first_night")
	for h := range 48 {
		if got := p.remind(t, asked.Add(time.Duration(h)*time.Hour), gone); slices.Contains(got, "first_night") {
			t.Fatalf("again after %d hours", h)
		}
	}
	// A second phone is not told what stood on its screen when it was set up.
	p.device(t, keeper, asked.Add(50*time.Hour), "UTC")
	if got := p.remind(t, asked.Add(50*time.Hour), gone); slices.Contains(got, "first_night") {
		t.Errorf("the second phone is told %q", got)
	}
}

func TestReminderWhenDone(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	p.log(t, keeper, c, asked.Add(-time.Hour), care.Message{Text: "It hid at once."})
	wantTold(t, "answered before", p.remind(t, asked, gone))

	// Answered between the claim and the handing over.
	p = newPlace(t)
	_, c, keeper = p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	n, err := p.ClaimReminders(t.Context(), asked)
	if err != nil || n != 1 {
		t.Fatalf("claimed %d, %v", n, err)
	}
	wantTold(t, "claimed by one who died", p.remind(t, asked.Add(time.Minute), gone))
	p.log(t, keeper, c, asked.Add(2*time.Minute), care.Message{Text: "It hid at once."})
	wantTold(t, "after the lease, and answered", p.remind(t, asked.Add(6*time.Minute), gone))

	// The same, not answered: whoever comes next tells it, once.
	p = newPlace(t)
	_, _, keeper = p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	if n, err := p.ClaimReminders(t.Context(), asked); err != nil || n != 1 {
		t.Fatalf("claimed %d, %v", n, err)
	}
	wantTold(t, "after the lease", p.remind(t, asked.Add(6*time.Minute), gone), "first_night")
	wantTold(t, "and not again", p.remind(t, asked.Add(30*time.Minute), gone))

	// Ended.
	p = newPlace(t)
	_, c, keeper = p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	if _, err := p.EndCase(t.Context(), p.loam, t0.Add(3*time.Hour), "loam", c.ID, care.OutcomeSettled, "", "end-request-1"); err != nil {
		t.Fatal(err)
	}
	wantTold(t, "an ended case", p.remind(t, asked, gone))
}

// Answered while the message is on its way to be made: between the claim and the
// check in the moment of handing over.
func TestReminderAnsweredAtTheLastMoment(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	var (
		mu          sync.Mutex // devices are told side by side
		calls, sent int
	)
	_, err := p.Remind(t.Context(), func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		if calls++; calls == 2 { // the first asks what is due, the second is of the handing over
			p.log(t, keeper, c, asked, care.Message{Text: "It hid at once."})
		}
		return asked
	}, func(context.Context, *followup.Notice) care.Delivery {
		mu.Lock()
		defer mu.Unlock()
		sent++
		return gone
	})
	if err != nil || sent != 0 {
		t.Errorf("%d were sent, %v", sent, err)
	}
}

// One who was too slow to hand over what another has told meanwhile lets it be.
func TestReminderAfterTheLease(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, _, keeper := p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	calls, sent := 0, 0
	_, err := p.Remind(t.Context(), func() time.Time {
		if calls++; calls < 2 {
			return asked
		}
		if calls == 2 { // the handing over, six minutes later
			wantTold(t, "by another", p.remind(t, asked.Add(6*time.Minute), gone), "first_night")
		}
		return asked.Add(6 * time.Minute)
	}, func(context.Context, *followup.Notice) care.Delivery { sent++; return gone })
	if err != nil || sent != 0 {
		t.Errorf("%d were sent, %v", sent, err)
	}
	wantTold(t, "after that", p.remind(t, asked.Add(time.Hour), gone))
}

// What makes a question due before a person would be looked at wakes them.
func TestReminderOfANewPlan(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, _, keeper := p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	wantTold(t, "nothing yet", p.remind(t, t0.Add(2*time.Hour), gone))
	_, code := p.handover(t, p.animal(t), t0.Add(-20*time.Hour)) // its first night ends before the other's
	if _, _, err := p.Claim(t.Context(), keeper, t0.Add(3*time.Hour), code, "Robin", p.id("claim"), func(care.Tx, care.Actor) error { return nil }); err != nil {
		t.Fatal(err)
	}
	wantTold(t, "of the second animal", p.remind(t, t0.Add(4*time.Hour), gone), "first_night")
}

// Of two questions that came due together the second is put as soon as the first has its
// answer, though it was in the plan all the time.
func TestReminderOfWhatStoodBehind(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	at := func(d, hours int) time.Time {
		return t0.Add(time.Duration(d)*day + time.Duration(hours)*time.Hour)
	}
	a := p.animal(t)
	for _, d := range []int{-42, -35, -28, -21, -14, -7} { // it eats each week, and is asked about as often
		if _, err := p.CreateEntry(t.Context(), p.loam, t0, care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("meal"), HappenedAt: at(d, 0), Body: care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 10}}); err != nil {
			t.Fatal(err)
		}
	}
	_, code := p.handover(t, a, t0)
	keeper, v := p.claim(t, code, at(0, 1))
	c := v.Case
	p.log(t, keeper, c, at(1, 0), care.Message{Text: "It is well."})
	p.log(t, keeper, c, at(4, 0), care.ClimateReading{Warm: ptr(care.Celsius(32)), Cool: ptr(care.Celsius(26))})
	for _, d := range []int{5, 12, 19} {
		p.log(t, keeper, c, at(d, 1), care.Offer{Result: care.Eaten, Prey: "rat"})
	}
	var due []string
	for _, k := range p.getAt(t, c, at(19, 1)).Assessment.CheckIns {
		if k.At.Equal(at(30, 0)) {
			due = append(due, k.ID)
		}
	}
	if !slices.Equal(due, []string{"month_end", "rhythm-19"}) {
		t.Fatalf("on day 30 are due %q: the test needs two", due)
	}
	p.device(t, keeper, at(29, 0), "UTC")
	p.remind(t, at(29, 1), gone)
	wantTold(t, "the first", p.remind(t, at(30, 0), gone), "rhythm-19")
	wantTold(t, "nothing anew", p.remind(t, at(30, 1), gone))
	p.log(t, keeper, c, at(30, 2), care.Offer{Result: care.Eaten, Prey: "rat"})
	wantTold(t, "the second", p.remind(t, at(30, 3), gone), "month_end")
}

func TestReminderFailures(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, _, keeper := p.sold(t)
	w := p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	wantTold(t, "the service is busy", p.remind(t, asked, busy), "first_night")
	wantTold(t, "before it wants to be asked again", p.remind(t, asked.Add(119*time.Minute), gone))
	if _, ways, err := p.Reminding(t.Context(), keeper, asked); err != nil || len(ways) != 1 || ways[0].Trouble.String() != "busy" {
		t.Errorf("%+v, %v", ways, err)
	}
	wantTold(t, "then", p.remind(t, asked.Add(2*time.Hour), gone), "first_night")
	if _, ways, err := p.Reminding(t.Context(), keeper, asked); err != nil || len(ways) != 1 || !ways[0].Trouble.Empty() || ways[0].LastAt == nil {
		t.Errorf("%+v, %v", ways, err)
	}
	wantTold(t, "and not again", p.remind(t, asked.Add(3*time.Hour), gone))

	p = newPlace(t)
	_, _, keeper = p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	wantTold(t, "no answer came", p.remind(t, asked, unclear), "first_night")
	wantTold(t, "what may have gone is not sent again", p.remind(t, asked.Add(5*time.Hour), gone))

	p = newPlace(t)
	_, _, keeper = p.sold(t)
	w = p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	p.remind(t, asked, noDevice)
	if _, ways, err := p.Reminding(t.Context(), keeper, asked); err != nil || len(ways) != 0 {
		t.Errorf("a device that is gone is kept: %+v, %v", ways, err)
	}
	wantTold(t, "after it is gone", p.remind(t, asked.Add(time.Hour), gone))

	// It gives up in the end.
	p = newPlace(t)
	_, _, keeper = p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	tries := 0
	for h := range 96 {
		tries += len(p.remind(t, asked.Add(time.Duration(h)*30*time.Minute), care.Delivery{Outcome: care.NotDelivered, Why: words.Say("down")}))
	}
	if tries < 4 || tries > 12 { // two questions may be due in two days
		t.Errorf("%d tries", tries)
	}
	_ = w
}

// A device is reminded as long as its sign-in lasts, and of what that sees.
func TestReminderEndsWithTheSignIn(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, _, keeper := p.sold(t)
	w := p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	elsewhere := keeper
	elsewhere.Breeders = "fern"
	p.device(t, elsewhere, t0.Add(2*time.Hour), "UTC")
	p.write(t, func(tx care.Tx) error { return tx.DeleteSecret(w.SessionID) })
	wantTold(t, "signed out, and one that sees another breeder", p.remind(t, asked, gone))
	_, ways, err := p.Reminding(t.Context(), keeper, asked)
	if err != nil || len(ways) != 1 || ways[0].ID == w.ID {
		t.Errorf("%+v, %v", ways, err)
	}
	if err := p.RemoveWay(t.Context(), p.loam, ways[0].ID); !care.IsCode(err, care.NotFound) {
		t.Errorf("somebody else turned it off: %v", err)
	}
	if err := p.RemoveWay(t.Context(), keeper, ways[0].ID); err != nil {
		t.Error(err)
	}
}

func TestMailIsConfirmedFirst(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, _, keeper := p.sold(t)
	for _, bad := range []string{"", "robin", "robin@example.org\r\nBcc: all@example.org", "Robin <robin@example.org>", "a b@example.org", "robin@exa mple.org", "röbin@example.org", "a@b,c@d", "robin@[127.0.0.1]", strings.Repeat("x", 250) + "@example.org"} {
		_, err := p.AddWay(t.Context(), keeper, t0, care.Way{Kind: care.WayMail, Address: bad}, "UTC", "")
		wantField(t, err, "address")
	}
	_, err := p.AddWay(t.Context(), keeper, t0, care.Way{Kind: care.WayMail, Address: "robin@example.org"}, "Mars/Olympus", "")
	wantField(t, err, "zone")
	w, err := p.AddWay(t.Context(), keeper, t0.Add(2*time.Hour), care.Way{Kind: care.WayMail, Address: " robin@example.org "}, "UTC", "")
	if err != nil || w.Address != "robin@example.org" {
		t.Fatalf("%+v, %v", w, err)
	}
	wantTold(t, "not confirmed", p.remind(t, asked, gone))
	if _, err := p.ConfirmMail(t.Context(), t0.Add(time.Hour*51), w.ID); !care.IsCode(err, care.NotFound) {
		t.Errorf("confirmed after two days: %v", err)
	}
	w, err = p.AddWay(t.Context(), keeper, t0.Add(3*time.Hour), care.Way{Kind: care.WayMail, Address: "robin@example.org"}, "UTC", "")
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if _, err := p.ConfirmMail(t.Context(), t0.Add(4*time.Hour), w.ID); err != nil {
			t.Error(err)
		}
	}
	wantTold(t, "confirmed", p.remind(t, asked.Add(time.Hour), gone), "first_night")
	other, err := p.AddWay(t.Context(), keeper, asked, care.Way{Kind: care.WayMail, Address: "new@example.org"}, "UTC", "")
	if _, ways, err2 := p.Reminding(t.Context(), keeper, asked); err != nil || err2 != nil || len(ways) != 1 || ways[0].ID != other.ID || ways[0].ConfirmedAt != nil {
		t.Errorf("a new address takes the place of the old, and waits: %+v, %v, %v", ways, err, err2)
	}
	for range 2 {
		if err := p.StopMail(t.Context(), other.ID); err != nil {
			t.Error(err)
		}
	}
}

// What is urgent is told at once and a vet's case at night, too; the rest once in the
// morning; nothing that somebody has seen.
func TestBreederIsTold(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	p.write(t, func(tx care.Tx) error {
		return tx.InsertUser(care.User{BreederID: "loam", ID: "u1", Name: "Ida", Role: care.BreederOwner, CreatedAt: t0})
	})
	_, c, keeper := p.sold(t)
	p.device(t, p.loam, t0.Add(2*time.Hour), "Europe/Vienna")
	at := func(d int, hour, minute int) time.Time { // by the breeder's clock
		return time.Date(2026, 11, 1+d, hour-1, minute, 0, 0, time.UTC)
	}
	wantTold(t, "nothing is new", p.remind(t, at(1, 8, 0), gone))
	p.log(t, keeper, c, at(1, 10, 0), care.Message{Text: "Is it fine?"})
	wantTold(t, "what can wait, waits", p.remind(t, at(1, 12, 0), gone))
	wantTold(t, "in the morning", p.remind(t, at(2, 8, 0), gone), "digest true/false/false +0")
	wantTold(t, "once", p.remind(t, at(2, 8, 1), gone))
	wantTold(t, "and not the next day", p.remind(t, at(3, 8, 0), gone))

	p.log(t, keeper, c, at(3, 22, 0), care.Sign{Code: "wheeze"})
	v := p.get(t, c)
	if v.Case.Standing != care.Vet {
		t.Fatalf("a wheeze stands at %s", v.Case.Standing)
	}
	wantTold(t, "a vet's case in the night", p.remind(t, at(3, 22, 1), gone), "vet")
	wantTold(t, "once", p.remind(t, at(3, 22, 2), gone))
	if got := p.remind(t, at(4, 8, 0), gone); len(got) != 1 || !strings.HasPrefix(got[0], "digest") || strings.Contains(got[0], "/true") {
		t.Errorf("in the morning the standing is not told again: %q", got)
	}

	// Seen before anybody was told.
	_, c2, keeper2 := p.sold(t)
	p.log(t, keeper2, c2, at(5, 23, 0), care.Sign{Code: "wheeze"})
	if _, err := p.MarkSeen(t.Context(), p.helper, at(5, 23, 1), "loam", c2.ID); err != nil {
		t.Fatal(err)
	}
	wantTold(t, "seen by a helper", p.remind(t, at(5, 23, 2), gone))

	// A refusal too many is step in: by day at once, by night after it.
	_, c3, keeper3 := p.sold(t)
	when := at(6, 12, 0)
	for p.get(t, c3).Case.Standing < care.StepIn {
		when = when.Add(7 * day)
		if when.After(t0.AddDate(0, 6, 0)) {
			t.Fatal("it never comes to step in")
		}
		p.remind(t, when.Add(-time.Minute), gone)
		p.log(t, keeper3, c3, when, care.Offer{Result: care.Refused, Prey: "rat"})
	}
	if p.get(t, c3).Case.Standing == care.StepIn {
		if got := p.remind(t, when.Add(time.Minute), gone); !slices.Contains(got, "step_in") {
			t.Errorf("told %q", got)
		}
	}
}

// A keeper is told that the breeder wrote: once, not while it may be on the screen,
// not at night, and not at all when it was read or taken back meanwhile.
func TestKeeperIsToldOfMessages(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	p.log(t, p.loam, c, t0.Add(90*time.Minute), care.Message{Text: "Welcome."}) // it stood there when the way was turned on
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	at := func(d, hour, minute, second int) time.Time {
		return time.Date(2026, 11, 1+d, hour, minute, second, 0, time.UTC)
	}
	read := func(now time.Time) {
		t.Helper()
		if err := p.Acknowledge(t.Context(), keeper, now, "loam", c.ID, nil, &now); err != nil {
			t.Fatal(err)
		}
	}
	none := func(what string, now time.Time) {
		t.Helper()
		if got := p.remind(t, now, gone); slices.Contains(got, "wrote") {
			t.Errorf("%s: told %q", what, got)
		}
	}
	none("from before", at(0, 11, 30, 0))
	p.log(t, p.loam, c, at(0, 12, 0, 0), care.Message{Text: "Is it warm?"})
	none("at once", at(0, 12, 0, 20))
	wantTold(t, "after a moment", p.remind(t, at(0, 12, 0, 30), gone), "wrote")
	none("again", at(0, 12, 1, 0))
	p.log(t, p.helper, c, at(0, 12, 40, 0), care.Message{Text: "I mean the warm end."})
	none("what belongs to it", at(0, 12, 41, 0))
	p.log(t, p.loam, c, at(0, 14, 0, 0), care.Message{Text: "And the hide?"})
	wantTold(t, "hours later", p.remind(t, at(0, 14, 0, 30), gone), "wrote")
	none("never twice", at(0, 20, 0, 0))

	read(at(0, 20, 1, 0))
	p.log(t, p.loam, c, at(0, 20, 2, 0), care.Message{Text: "Good night."})
	read(at(0, 20, 2, 10))
	none("read in time", at(0, 20, 3, 0))
	p.log(t, keeper, c, at(0, 20, 4, 0), care.Message{Text: "Good night."})
	none("their own", at(0, 20, 5, 0))

	back := p.log(t, p.loam, c, at(0, 20, 10, 0), care.Message{Text: "Wrong case."})
	if _, err := p.CreateEntry(t.Context(), p.loam, at(0, 20, 10, 10), care.Entry{BreederID: c.BreederID, AnimalID: c.AnimalID, CaseID: c.ID, ID: p.id("entry"),
		HappenedAt: at(0, 20, 10, 10), Replaces: back.ID, Body: care.Withdrawal{}}); err != nil {
		t.Fatal(err)
	}
	none("taken back", at(0, 20, 11, 0))

	p.log(t, p.loam, c, at(0, 23, 0, 0), care.Message{Text: "One more thing."})
	none("at night", at(0, 23, 1, 0))
	if got := p.remind(t, at(1, 8, 0, 0), gone); !slices.Contains(got, "wrote") {
		t.Errorf("in the morning: told %q", got)
	}

	// Read between the claim and the handing over.
	read(at(1, 8, 1, 0))
	p.log(t, p.loam, c, at(1, 12, 0, 0), care.Message{Text: "How is it?"})
	p.remind(t, at(1, 12, 0, 0), gone) // what else is due
	if n, err := p.ClaimReminders(t.Context(), at(1, 12, 0, 30)); err != nil || n != 1 {
		t.Fatalf("claimed %d, %v", n, err)
	}
	read(at(1, 12, 1, 0))
	none("read at the last moment", at(1, 12, 6, 0))
}

// Of the breeder's people, who wants that is told at once that a keeper wrote, and then
// not in the morning.
func TestBreederIsToldOfMessages(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	p.write(t, func(tx care.Tx) error {
		for id, role := range map[string]care.ActorKind{"u1": care.BreederOwner, "u2": care.Helper} {
			if err := tx.InsertUser(care.User{BreederID: "loam", ID: id, Name: id, Role: role, CreatedAt: t0}); err != nil {
				return err
			}
		}
		return nil
	})
	_, c, keeper := p.sold(t)
	p.device(t, p.loam, t0.Add(2*time.Hour), "UTC")
	p.device(t, p.helper, t0.Add(2*time.Hour), "UTC")
	at := func(d, hour, minute, second int) time.Time {
		return time.Date(2026, 11, 1+d, hour, minute, second, 0, time.UTC)
	}
	p.log(t, keeper, c, at(0, 12, 0, 0), care.Message{Text: "From before."})
	hours := care.Hours{Zone: "UTC", QuietFrom: care.QuietFrom, QuietUntil: care.QuietUntil, Morning: care.Morning}
	for range 2 { // the same again does not begin anew
		if err := p.SetHours(t.Context(), p.helper, at(0, 13, 0, 0), hours, true, ""); err != nil {
			t.Fatal(err)
		}
	}
	wantTold(t, "what waits for the morning", p.remind(t, at(0, 13, 1, 0), gone))
	p.log(t, keeper, c, at(0, 14, 0, 0), care.Message{Text: "Is it fine?"})
	wantTold(t, "one of two at once", p.remind(t, at(0, 14, 0, 30), gone), "wrote")
	wantTold(t, "once", p.remind(t, at(0, 14, 10, 0), gone))
	wantTold(t, "in the morning the other", p.remind(t, at(1, 8, 0, 0), gone), "digest true/false/false +0")
	p.log(t, keeper, c, at(1, 14, 0, 0), care.Message{Text: "It ate."})
	if _, err := p.MarkSeen(t.Context(), p.loam, at(1, 14, 0, 10), "loam", c.ID); err != nil {
		t.Fatal(err)
	}
	wantTold(t, "seen by one of them", p.remind(t, at(1, 14, 1, 0), gone))
	wantTold(t, "and nothing is left of it", p.remind(t, at(2, 8, 0, 0), gone))
	if err := p.SetHours(t.Context(), p.helper, at(2, 9, 0, 0), hours, false, ""); err != nil {
		t.Fatal(err)
	}
	p.log(t, keeper, c, at(2, 14, 0, 0), care.Message{Text: "Again."})
	wantTold(t, "turned off", p.remind(t, at(2, 14, 1, 0), gone))
	wantTold(t, "both", p.remind(t, at(3, 8, 0, 0), gone), "digest true/false/false +0", "digest true/false/false +0")
}

func TestNothingAtNight(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, _, keeper := p.sold(t)
	// 09:00 UTC is 22:00 in Auckland, and 22:00 of the day before in Pago Pago.
	p.device(t, keeper, t0.Add(2*time.Hour), "Pacific/Auckland")
	wantTold(t, "at 22:00", p.remind(t, asked, gone))
	wantTold(t, "at 07:59", p.remind(t, asked.Add(9*time.Hour+59*time.Minute), gone))
	wantTold(t, "at 08:00", p.remind(t, asked.Add(10*time.Hour), gone), "first_night")

	p = newPlace(t)
	_, _, keeper = p.sold(t)
	p.device(t, keeper, t0.Add(2*time.Hour), "UTC")
	err := p.SetHours(t.Context(), keeper, t0.Add(3*time.Hour), care.Hours{Zone: "UTC", QuietFrom: 8 * 60, QuietUntil: 17*60 + 30, Morning: 420}, false, "")
	if err != nil {
		t.Fatal(err)
	}
	wantTold(t, "at work", p.remind(t, asked, gone))
	wantTold(t, "after it", p.remind(t, asked.Add(8*time.Hour+30*time.Minute), gone), "first_night")
}

// Two animals' questions, both late, come as one message.
func TestLateOnesAreFolded(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, _, keeper := p.sold(t)
	_, code := p.handover(t, p.animal(t), t0.Add(time.Hour))
	if _, _, err := p.Claim(t.Context(), keeper, t0.Add(2*time.Hour), code, "Robin", p.id("claim"), func(care.Tx, care.Actor) error { return nil }); err != nil {
		t.Fatal(err)
	}
	p.device(t, keeper, t0.Add(3*time.Hour), "UTC")
	messages := 0
	_, err := p.Remind(t.Context(), func() time.Time { return asked.Add(2 * time.Hour) }, func(_ context.Context, n *followup.Notice) care.Delivery {
		messages++
		if len(n.Told) != 2 {
			t.Errorf("told %q", topicsTold(n))
		}
		return gone
	})
	if err != nil || messages != 1 {
		t.Errorf("%d messages, %v", messages, err)
	}
}

// 90 days of 200 cases with the clocks of the world changed on the way, keepers on
// both sides of the date line, two servers at it, killed again and again: each
// question is told exactly once on each device, none at night, none after its answer.
func TestNinetyDays(t *testing.T) {
	t.Parallel()
	cases, days := 200, 90
	if raced || testing.Short() {
		cases, days = 15, 60
	}
	// New York changes its clocks on 14 March, Vienna on the 28th, Auckland on 4 April.
	start := time.Date(2027, 2, 20, 0, 0, 0, 0, time.UTC)
	zones := []string{"Pacific/Auckland", "Pacific/Pago_Pago", "Europe/Vienna", "America/New_York", "Asia/Kathmandu"}
	dir, err := os.MkdirTemp("/dev/shm", "warmhand-") // what it shows is not that disks are quick
	if err != nil {
		dir = t.TempDir()
	} else {
		t.Cleanup(func() { os.RemoveAll(dir) }) //nolint:errcheck // it is memory
	}
	p := newPlaceIn(t, dir)
	type followed struct {
		c      care.Case
		keeper care.Actor
		way    care.Way
		zone   *time.Location
		since  time.Time
		lazy   bool
	}
	all, byWay := make([]followed, cases), map[string]*followed{}
	for i := range all {
		at := start.Add(time.Duration(i%48) * 30 * time.Minute)
		a := p.animal(t)
		var history []care.Entry
		for weeks := 6; weeks > 0; weeks-- {
			when := at.Add(-time.Duration(weeks) * 7 * day)
			history = append(history, care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("meal"), HappenedAt: when, Body: care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 10}})
		}
		if _, _, err := p.CreateEntries(t.Context(), p.loam, at, history); err != nil {
			t.Fatal(err)
		}
		_, code := p.handover(t, a, at)
		keeper, v := p.claim(t, code, at.Add(time.Hour))
		zone, err := time.LoadLocation(zones[i%len(zones)])
		if err != nil {
			t.Fatal(err)
		}
		w := p.device(t, keeper, at.Add(2*time.Hour), zone.String())
		all[i] = followed{v.Case, keeper, w, zone, at.Add(2 * time.Hour), i%4 == 0}
		byWay[w.ID] = &all[i]
	}
	// chance is the same in every run.
	chance := func(of int, parts ...any) bool {
		h := fnv.New32a()
		fmt.Fprint(h, parts...)
		return h.Sum32()%uint32(of) == 0
	}
	type question struct{ way, id string }
	var (
		mu      sync.Mutex
		told    = map[question]time.Time{}
		done    = map[question]bool{}
		answers = map[string]string{} // by way: what is to be answered
		refused = map[question]int{}
		now     time.Time
	)
	send := func(_ context.Context, n *followup.Notice) care.Delivery {
		mu.Lock()
		defer mu.Unlock()
		f := byWay[n.Way.ID]
		local := now.In(f.zone)
		if local.Hour() >= 21 || local.Hour() < 8 {
			t.Errorf("told at %s: %q", local, topicsTold(n))
		}
		if chance(10, n.Way.ID, now) { // the push service is busy now and then
			for _, x := range n.Told {
				refused[question{n.Way.ID, x.CheckIn.ID}]++
			}
			return care.Delivery{Outcome: care.NotDelivered, Why: words.Say("busy")}
		}
		for _, x := range n.Told {
			q := question{n.Way.ID, x.CheckIn.ID}
			if x.Case.ID != f.c.ID {
				t.Errorf("%s is told of another's animal", q)
			}
			if at, ok := told[q]; ok {
				t.Errorf("%s at %s, and before at %s", q, now, at)
			}
			if done[q] {
				t.Errorf("%s after it was done", q)
			}
			told[q] = now
			answers[n.Way.ID] = x.CheckIn.Ask + " " + x.CheckIn.ID
		}
		return gone
	}
	serve := func(s *followup.Service) error {
		_, err := s.Remind(t.Context(), func() time.Time { return now }, send)
		return err
	}
	answer := func(f *followed, ask string) {
		switch ask {
		case assess.AskFood:
			result := care.Eaten
			if chance(3, f.c.ID, now, "refused") {
				result = care.Refused
			}
			p.log(t, f.keeper, f.c, now, care.Offer{Result: result, Prey: "rat"})
		case assess.AskWeight:
			p.log(t, f.keeper, f.c, now, care.WeighIn{Mass: 101})
		case assess.AskClimate:
			p.log(t, f.keeper, f.c, now, care.ClimateReading{Warm: ptr(care.Celsius(32)), Cool: ptr(care.Celsius(26))})
		default:
			p.log(t, f.keeper, f.c, now, care.Message{Text: "It is well."})
		}
	}
	second := followup.New(p.store, p.codes, p.codes)
	expected := 0
	for hour := 27; hour < days*24; hour++ {
		now = care.Instant(start.Add(time.Duration(hour) * time.Hour))
		if hour%6 == 0 {
			if _, err := p.Pass(t.Context(), now); err != nil {
				t.Fatal(err)
			}
		}
		for i := range all {
			f := &all[i]
			if what := answers[f.way.ID]; what != "" && !f.lazy && chance(8, f.c.ID, now) {
				ask, id, _ := strings.Cut(what, " ")
				answer(f, ask)
				done[question{f.way.ID, id}] = true
				delete(answers, f.way.ID)
			}
		}
		if hour%(24*10) == 13 { // killed with claims in hand, and started again
			for range 2 {
				if _, err := p.ClaimReminders(t.Context(), now); err != nil {
					t.Fatal(err)
				}
			}
			if err := p.store.Close(); err != nil {
				t.Fatal(err)
			}
			again, err := store.Open(context.Background(), store.Config{Dir: p.dir})
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { again.Close() }) //nolint:errcheck // closed by the next restart, but for the last
			p.store, p.Service, second = again, followup.New(again, p.codes, p.codes), followup.New(again, p.codes, p.codes)
		}
		var running sync.WaitGroup
		errs := make([]error, 2)
		for i, s := range []*followup.Service{p.Service, second} {
			running.Go(func() { errs[i] = serve(s) })
		}
		running.Wait()
		for _, err := range errs {
			if err != nil {
				t.Fatal(err)
			}
		}
		if hour%24 == 18 { // has everybody been told what the plan asks by now?
			for i := range all {
				f := &all[i]
				local := now.In(f.zone)
				if local.Hour() < 9 || local.Hour() >= 21 {
					continue
				}
				for _, k := range p.getAt(t, f.c, now).Assessment.CheckIns[:1] {
					q := question{f.way.ID, k.ID}
					// An hour for the step of the clock, and what a busy service costs.
					if k.At.Before(f.since) || k.At.After(now.Add(-time.Hour)) || refused[q] > 0 {
						continue
					}
					expected++
					if _, ok := told[q]; !ok {
						t.Errorf("%s is due since %s and at %s (%s) not told", q, k.At, now, local)
					}
				}
			}
		}
		if t.Failed() {
			break
		}
	}
	if expected < cases*days/10 || len(told) < cases*4 || len(refused) == 0 {
		t.Errorf("%d questions were told and %d looked for, %d after a refusal: too few to show anything", len(told), expected, len(refused))
	}
	late := 0
	for q := range refused {
		if _, ok := told[q]; !ok {
			late++
		}
	}
	if late > len(refused)/2 {
		t.Errorf("%d of %d that were not taken at first never went", late, len(refused))
	}
}
