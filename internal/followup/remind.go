package followup

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"sync"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

const (
	// lookEvery is how long at most nobody looks whether a person is to be reminded:
	// whatever makes something due before wakes them (Tx.WakeHours).
	lookEvery = 24 * time.Hour
	// remindBatch people are looked at in one transaction.
	remindBatch = 50
	// remindLease is how long one server has for handing a batch over.
	remindLease = 5 * time.Minute
	// remindersAtOnce are handed over side by side.
	remindersAtOnce = 8
	// triesMost with their waits of 1, 4, 16 minutes and so on are about a day.
	triesMost  = 6
	firstWait  = time.Minute
	digestWord = "digest-"
	wroteWord  = "wrote-"
)

// Told is one thing that a notice tells of.
type Told struct {
	Case   care.Case // as it is stored
	Animal string    // its name; "" when it has none
	// Wrote: the other side wrote. Else CheckIn is what the keeper is asked; nil: that
	// the case has risen to its standing.
	Wrote   bool
	CheckIn *assess.CheckIn
}

// Notice is what goes to one person on one way at one time: all that is due.
type Notice struct {
	Way      care.Way
	Language string // the person's, as care.Keeper.Language
	Told     []Told
	// Digest is of the breeder's other news; nil: not now.
	Digest *Digest
}

// Digest is what a breeder is told once in the morning: what is new since somebody
// last looked at each case, but for what was told at once.
type Digest struct {
	News []News
	// Logged is of how many other animals something was logged.
	Logged int
}

// News is what is new in one case.
type News struct {
	Case   care.Case // as a list has it
	Animal string
	// Wrote: the keeper wrote. GivesBack: and wants to give the animal back.
	// Changed: it stands otherwise now.
	Wrote, GivesBack, Changed bool
}

// Remind tells everybody what is due now, each thing once on each way, and returns
// how many messages went. It may be stopped at any point, run again and run by
// several servers at once. What fails for one person keeps no other waiting.
//
// A row for each thing is claimed first, then everything is checked anew in the
// moment of handing over, and from then on the message is not sent again unless it
// is known not to have gone.
func (s *Service) Remind(ctx context.Context, now func() time.Time, send func(context.Context, *Notice) care.Delivery) (sent int, err error) {
	var failed []error
	for {
		claimed, looked, err := s.claim(ctx, care.Instant(now()), remindBatch)
		if err != nil && ctx.Err() == nil && !care.IsCode(err, care.Unavailable) {
			// One of them is in the way of the others: alone it shows who.
			claimed, looked, err = s.claimEach(ctx, care.Instant(now()))
		}
		if err != nil {
			failed = append(failed, err)
		}
		n, err := s.handAll(ctx, now, claimed, send)
		sent += n
		if err != nil {
			failed = append(failed, err)
		}
		if looked < remindBatch || ctx.Err() != nil || len(failed) > 0 {
			return sent, errors.Join(failed...)
		}
	}
}

// handAll hands over what was claimed, some side by side.
func (s *Service) handAll(ctx context.Context, now func() time.Time, claimed []claim, send func(context.Context, *Notice) care.Delivery) (sent int, err error) {
	var (
		running sync.WaitGroup
		mu      sync.Mutex
		failed  []error
		slots   = make(chan struct{}, remindersAtOnce)
	)
	for i := range claimed {
		slots <- struct{}{}
		running.Go(func() {
			defer func() { <-slots }()
			gone, err := s.hand(ctx, now, &claimed[i], send)
			mu.Lock()
			defer mu.Unlock()
			if gone {
				sent++
			}
			if err != nil {
				failed = append(failed, err)
			}
		})
	}
	running.Wait()
	return sent, errors.Join(failed...)
}

// claim is what one server is about to tell on one way.
type claim struct {
	hours care.Hours
	wayID string
	rows  []care.Reminder
}

// claim looks at people whose time has come, and claims what is due.
func (s *Service) claim(ctx context.Context, now time.Time, limit int) (out []claim, looked int, err error) {
	if err = s.store.Read(ctx, func(tx care.Tx) error { // mostly there is nobody
		due, err := tx.DueHours(now, 1)
		looked = len(due)
		return err
	}); err != nil || looked == 0 {
		return nil, 0, err
	}
	err = s.store.Write(ctx, func(tx care.Tx) error {
		out = nil
		due, err := tx.DueHours(now, limit)
		if err != nil {
			return err
		}
		looked = len(due)
		for _, r := range due {
			more, err := claimFor(tx, r, now)
			if err != nil {
				return fmt.Errorf("reminding %s: %w", r.PersonID, err)
			}
			out = append(out, more...)
		}
		return nil
	})
	if err != nil {
		return nil, 0, err
	}
	return out, looked, nil
}

// claimEach is claim with a transaction for each person; who fails is looked at again
// later.
func (s *Service) claimEach(ctx context.Context, now time.Time) (out []claim, looked int, err error) {
	var due []care.Hours
	if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		due, err = tx.DueHours(now, remindBatch)
		return err
	}); err != nil {
		return nil, 0, err
	}
	var failed []error
	for _, r := range due {
		var more []claim
		err := s.store.Write(ctx, func(tx care.Tx) error {
			more = nil
			fresh, err := tx.Hours(r.BreederID, r.PersonID)
			if care.IsCode(err, care.NotFound) || err == nil && fresh.LookAt.After(now) {
				return nil // somebody else was first
			}
			if err != nil {
				return err
			}
			more, err = claimFor(tx, fresh, now)
			return err
		})
		if err != nil {
			failed = append(failed, fmt.Errorf("reminding %s: %w", r.PersonID, err))
			if err := s.store.Write(ctx, func(tx care.Tx) error {
				fresh, err := tx.Hours(r.BreederID, r.PersonID)
				if err != nil {
					return err
				}
				fresh.LookAt = now.Add(firstWait)
				return tx.UpdateHours(fresh)
			}); err != nil {
				failed = append(failed, err)
			}
			continue
		}
		out = append(out, more...)
	}
	return out, len(due), errors.Join(failed...)
}

// topic is one thing that may be told to a person.
type topic struct {
	care.Reminder // its key, but for the way
	told          Told
	digest        *Digest // in place of told
	due           time.Time
	urgent        bool // goes out in quiet hours, too
}

// sight is one way with what it sees.
type sight struct {
	care.Way
	who care.Actor
}

// claimFor claims what is due for one person and sets when to look again.
func claimFor(tx care.Tx, r care.Hours, now time.Time) (out []claim, err error) {
	ways, err := openWays(tx, &r, now)
	if err != nil {
		return nil, err
	}
	next := now.Add(lookEvery)
	sooner := func(at time.Time) {
		if at.After(now) && at.Before(next) {
			next = at
		}
	}
	if len(ways) > 0 {
		topics, err := topicsOf(tx, &r, ways, now, sooner)
		if err != nil {
			return nil, err
		}
		end, quiet := r.QuietUntilAt(now)
		held := quiet
		for i := range ways {
			w := &ways[i]
			c := claim{hours: r, wayID: w.ID}
			for _, t := range topics {
				if !w.sees(&t) {
					continue
				}
				if quiet && !t.urgent {
					sooner(end)
					continue
				}
				if w.HoldUntil != nil && now.Before(*w.HoldUntil) {
					sooner(*w.HoldUntil)
					held = true
					continue
				}
				row, mine, err := claimRow(tx, &t, w.ID, now, sooner)
				if err != nil {
					return nil, err
				}
				if mine {
					c.rows = append(c.rows, row)
					sooner(row.At) // should nobody come to hand it over
				}
			}
			if len(c.rows) > 0 {
				out = append(out, c)
			}
		}
		if r.BreederID != "" {
			if at := r.LastMorning(now); !held && at.After(r.DigestAt) {
				r.DigestAt = at
			}
			sooner(r.NextMorning(now))
		}
	}
	r.LookAt = next
	return out, tx.UpdateHours(r)
}

// openWays are the ways that may be used: confirmed, and of a device, signed in. A
// device whose sign-in has ended is forgotten.
func openWays(tx care.Tx, r *care.Hours, now time.Time) (open []sight, err error) {
	all, err := tx.ListWays(r.BreederID, r.PersonID)
	if err != nil {
		return nil, err
	}
	for _, w := range all {
		who, ok, err := whoseWay(tx, &w, now)
		if err != nil {
			return nil, err
		}
		if !ok {
			if err := tx.DeleteWay(w.ID); err != nil {
				return nil, err
			}
			continue
		}
		if w.ConfirmedAt != nil {
			open = append(open, sight{w, who})
		}
	}
	return open, nil
}

// whoseWay says as whom a way reads; ok is false when its sign-in has ended.
func whoseWay(tx care.Tx, w *care.Way, now time.Time) (who care.Actor, ok bool, err error) {
	if w.BreederID != "" {
		u, err := tx.User(w.BreederID, w.PersonID)
		if care.IsCode(err, care.NotFound) {
			return who, false, nil
		}
		if err != nil {
			return who, false, err
		}
		who = u.Actor()
	} else {
		who = care.Actor{Kind: care.KeeperActor, KeeperID: w.PersonID, Breeders: w.Breeders}
	}
	if w.Kind == care.WayMail {
		return who, true, nil
	}
	var secrets []care.Secret
	if w.BreederID != "" {
		secrets, err = tx.ListSecrets(w.BreederID, care.SecretSession)
	} else {
		secrets, err = tx.ListKeeperSecrets(w.PersonID, care.SecretSession)
	}
	if err != nil {
		return who, false, err
	}
	for _, s := range secrets { // a chain of rotations has one id; its newest says what it sees now
		if s.ID == w.SessionID && s.Successor == "" && now.Before(s.ExpiresAt) {
			if w.BreederID == "" {
				who.Breeders = string(s.Data)
			}
			return who, true, nil
		}
	}
	return who, false, nil
}

// sees reports whether a way is to be told a topic: one that came up before there was
// the way stood on the screen on which it was turned on.
func (w *sight) sees(t *topic) bool {
	if t.due.Before(*w.ConfirmedAt) {
		return false
	}
	return w.BreederID != "" || w.who.IsKeeper(t.told.Case.KeeperID, t.BreederID)
}

// claimRow claims one topic on one way, if it is to be had.
func claimRow(tx care.Tx, t *topic, wayID string, now time.Time, sooner func(time.Time)) (row care.Reminder, mine bool, err error) {
	row = t.Reminder
	row.WayID, row.State, row.Tries, row.At = wayID, care.ReminderClaimed, 1, now.Add(remindLease)
	err = tx.InsertReminder(row)
	if !care.IsCode(err, care.Conflict) {
		return row, err == nil, err
	}
	rows, err := tx.ListReminders(t.BreederID, t.CaseID, t.PersonID)
	if err != nil {
		return row, false, err
	}
	i := slices.IndexFunc(rows, func(r care.Reminder) bool { return r.Topic == t.Topic && r.WayID == wayID })
	if i < 0 {
		return row, false, nil
	}
	was := rows[i]
	switch {
	case was.State != care.ReminderClaimed && was.State != care.ReminderWaiting:
		return was, false, nil
	case was.At.After(now):
		sooner(was.At)
		return was, false, nil
	case was.Tries >= triesMost:
		was.State, was.At = care.ReminderFailed, now
		return was, false, tx.UpdateReminder(was)
	}
	row.Tries = was.Tries + 1
	return row, true, tx.UpdateReminder(row)
}

// topicsOf is what is due for a person now, whatever was told of it; sooner hears when
// there may be more.
func topicsOf(tx care.Tx, r *care.Hours, ways []sight, now time.Time, sooner func(time.Time)) ([]topic, error) {
	if r.BreederID != "" {
		return breederTopics(tx, r, now, sooner)
	}
	cases, err := tx.CasesOfKeeper(r.PersonID)
	if err != nil {
		return nil, err
	}
	var list []topic
	for i := range cases {
		c := &cases[i]
		if c.ClosedAt != nil || !slices.ContainsFunc(ways, func(w sight) bool { return w.who.IsKeeper(c.KeeperID, c.BreederID) }) {
			continue
		}
		for _, what := range []func(care.Tx, *care.Case, []sight, time.Time, func(time.Time)) (*topic, error){wroteTo, askedOf} {
			t, err := what(tx, c, ways, now, sooner)
			if err != nil {
				return nil, err
			}
			if t != nil {
				list = append(list, *t)
			}
		}
	}
	return list, nil
}

// wroteTo is that the breeder wrote, nil while the keeper has read all of it.
func wroteTo(tx care.Tx, c *care.Case, _ []sight, now time.Time, sooner func(time.Time)) (*topic, error) {
	if c.AnsweredAt == nil || c.ReadAt != nil && !c.AnsweredAt.After(*c.ReadAt) {
		return nil, nil
	}
	return unread(tx, c, c.KeeperID, c.ReadAt, now, sooner)
}

// unread is that a case has messages for a person that came in after read, nil when
// it has none or they may be on the screen just now.
func unread(tx care.Tx, c *care.Case, personID string, read *time.Time, now time.Time, sooner func(time.Time)) (*topic, error) {
	log, err := tx.Log(c.BreederID, c.AnimalID)
	if err != nil {
		return nil, err
	}
	first := care.Unread(log, c.ID, personID != c.KeeperID, read)
	if first.IsZero() {
		return nil, nil
	}
	due := first.Add(care.ReadWait)
	if sooner(due); due.After(now) {
		return nil, nil
	}
	a, err := tx.Animal(c.BreederID, c.AnimalID)
	if err != nil {
		return nil, err
	}
	return &topic{Reminder: care.Reminder{BreederID: c.BreederID, CaseID: c.ID, PersonID: personID, Topic: wroteWord + strconv.FormatInt(first.UnixMilli(), 10)},
		told: Told{Case: *c, Animal: a.Name, Wrote: true}, due: due}, nil
}

// askedOf is the check-in of a case that is due, nil for none. The stored assessment
// says whether there may be one; that it is, the log says, as it is now.
func askedOf(tx care.Tx, c *care.Case, ways []sight, now time.Time, sooner func(time.Time)) (*topic, error) {
	stored, err := planOf(c)
	if err != nil {
		return nil, err
	}
	for _, k := range stored {
		sooner(k.At)
	}
	may := asking(stored, now)
	if may == nil {
		return nil, nil
	}
	rows, err := tx.ListReminders(c.BreederID, c.ID, c.KeeperID)
	if err != nil {
		return nil, err
	}
	if !slices.ContainsFunc(ways, func(w sight) bool {
		return !slices.ContainsFunc(rows, func(r care.Reminder) bool {
			return r.WayID == w.ID && r.Topic == may.ID && r.State != care.ReminderClaimed && r.State != care.ReminderWaiting
		})
	}) {
		return nil, nil // all were told
	}
	fresh := *c
	about, log, err := today(tx, &fresh)
	if err != nil {
		return nil, err
	}
	plan := assess.Assess(about, caseLog(log, c), now).CheckIns
	if len(plan) == 0 || plan[0].At.After(now) {
		return nil, nil
	}
	return &topic{Reminder: care.Reminder{BreederID: c.BreederID, CaseID: c.ID, PersonID: c.KeeperID, Topic: plan[0].ID},
		told: Told{Case: *c, Animal: about.Animal.Name, CheckIn: &plan[0]}, due: plan[0].At}, nil
}

// breederTopics are the cases that have risen to be stepped into or to be seen by a
// vet and that nobody has looked at since, those whose keepers wrote if the person
// wants that at once, and the digest of the morning.
func breederTopics(tx care.Tx, r *care.Hours, now time.Time, sooner func(time.Time)) (list []topic, err error) {
	var (
		digest Digest
		newest time.Time // of what is in it
	)
	err = eachOpenCase(tx, r.BreederID, func(c *care.Case) error {
		rose, err := roseAt(tx, c, now)
		if err != nil {
			return err
		}
		n := newsOf(r, c, !rose.IsZero(), now)
		if n.newest.After(newest) {
			newest = n.newest
		}
		switch {
		case n.newest.IsZero():
		case !n.more:
			digest.Logged++
		default:
			digest.News = append(digest.News, n.News)
		}
		wrote, err := wroteAtOnce(tx, r, c, now, sooner)
		if err != nil {
			return err
		}
		if wrote != nil {
			list = append(list, *wrote)
		}
		if rose.IsZero() {
			return nil
		}
		a, err := tx.Animal(c.BreederID, c.AnimalID)
		if err != nil {
			return err
		}
		list = append(list, topic{Reminder: care.Reminder{BreederID: c.BreederID, CaseID: c.ID, PersonID: r.PersonID, Topic: c.Standing.String() + "-" + strconv.FormatInt(rose.UnixMilli(), 10)},
			told: Told{Case: *c, Animal: a.Name}, due: rose, urgent: c.Standing == care.Vet})
		return nil
	})
	if err != nil {
		return nil, err
	}
	morning := r.LastMorning(now)
	name := digestWord + r.Day(morning)
	fresh := morning.After(r.DigestAt) && newest.After(r.DigestAt)
	if !fresh { // a digest of this morning that did not go yet
		rows, err := tx.ListReminders(r.BreederID, "", r.PersonID)
		if err != nil {
			return nil, err
		}
		fresh = !newest.IsZero() && slices.ContainsFunc(rows, func(row care.Reminder) bool { return row.Topic == name })
	}
	if !fresh {
		return list, nil
	}
	for i := range digest.News {
		n := &digest.News[i]
		a, err := tx.Animal(n.Case.BreederID, n.Case.AnimalID)
		if err != nil {
			return nil, err
		}
		n.Animal = a.Name
	}
	return append(list, topic{Reminder: care.Reminder{BreederID: r.BreederID, PersonID: r.PersonID, Topic: name}, digest: &digest, due: morning}), nil
}

func eachOpenCase(tx care.Tx, breederID string, f func(*care.Case) error) error {
	return care.EachPage(func(after care.Cursor) (care.Cursor, error) {
		cases, next, err := tx.ListCases(breederID, care.CaseQuery{Open: true}, after, 500)
		if err != nil {
			return next, err
		}
		for i := range cases {
			if err := f(&cases[i]); err != nil {
				return next, err
			}
		}
		return next, nil
	})
}

// wroteAtOnce is that the keeper wrote, for one of the breeder's people who is told of
// it at once; nil while somebody has seen all of it.
func wroteAtOnce(tx care.Tx, r *care.Hours, c *care.Case, now time.Time, sooner func(time.Time)) (*topic, error) {
	from := r.MessagesSince
	if from != nil && c.SeenAt != nil && c.SeenAt.After(*from) {
		from = c.SeenAt
	}
	if from == nil || c.WroteAt == nil || !c.WroteAt.After(*from) || c.Aside.Holds(now) {
		return nil, nil
	}
	return unread(tx, c, r.PersonID, from, now, sooner)
}

// roseAt is when a case rose to a standing that its breeder is told of at once; zero
// when it did not rise to where it is, or somebody has seen it since.
func roseAt(tx care.Tx, c *care.Case, now time.Time) (at time.Time, err error) {
	if c.Standing < care.StepIn || c.SeenAt != nil && !c.SeenAt.Before(c.ChangedAt) || c.Aside.Holds(now) {
		return at, nil
	}
	flags, err := tx.ListFlags(c.BreederID, c.ID)
	if err != nil {
		return at, err
	}
	for _, f := range flags {
		for _, h := range f.History {
			if h.At.Equal(c.ChangedAt) && h.Level == c.Standing && (h.What == "opened" || h.What == "rose") {
				return c.ChangedAt, nil
			}
		}
	}
	return at, nil
}

// latest is what is new in a case, when the newest of it was, and whether it is more
// than that something was logged.
type latest struct {
	News
	newest time.Time
	more   bool
}

// newsOf is what nobody of the breeder has looked at, for one of its people; rose says
// that the standing was told at once.
func newsOf(r *care.Hours, c *care.Case, rose bool, now time.Time) (n latest) {
	n.Case = *c
	if c.Aside.Holds(now) {
		return n
	}
	since := func(at *time.Time) bool {
		if at == nil || c.SeenAt != nil && !at.After(*c.SeenAt) {
			return false
		}
		if at.After(n.newest) {
			n.newest = *at
		}
		return true
	}
	atOnce := r.MessagesSince != nil && c.WroteAt != nil && c.WroteAt.After(*r.MessagesSince)
	n.Wrote, n.GivesBack = !atOnce && since(c.WroteAt), since(c.GiveBackAt)
	n.Changed = !rose && c.ChangedAt.After(c.CreatedAt) && since(&c.ChangedAt)
	n.more = n.Wrote || n.GivesBack || n.Changed
	if !atOnce || c.ToldAt.After(*c.WroteAt) {
		since(c.ToldAt)
	}
	return n
}

// hand hands over what was claimed on one way, as far as it still holds.
func (s *Service) hand(ctx context.Context, now func() time.Time, c *claim, send func(context.Context, *Notice) care.Delivery) (gone bool, err error) {
	n, rows, err := s.ready(ctx, care.Instant(now()), c)
	if err != nil || n == nil {
		return false, err
	}
	d := send(ctx, n)
	// What has gone has gone, also when the server is stopped meanwhile.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	return d.Outcome == care.Delivered, s.note(ctx, care.Instant(now()), n.Way.ID, rows, d)
}

// ready checks what was claimed in the moment before it goes: that it is still ours,
// still to be said and not the night. What is left is marked as handed over, and not
// handed over a second time whatever happens next.
func (s *Service) ready(ctx context.Context, now time.Time, c *claim) (n *Notice, rows []care.Reminder, err error) {
	err = s.store.Write(ctx, func(tx care.Tx) error {
		n, rows = nil, nil
		r, err := tx.Hours(c.hours.BreederID, c.hours.PersonID)
		if care.IsCode(err, care.NotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		ways, err := openWays(tx, &r, now)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(ways, func(w sight) bool { return w.ID == c.wayID })
		if i < 0 {
			return nil
		}
		way := &ways[i]
		topics, err := topicsOf(tx, &r, ways[i:i+1], now, func(time.Time) {})
		if err != nil {
			return err
		}
		end, quiet := r.QuietUntilAt(now)
		out := &Notice{Way: way.Way}
		if out.Language, err = LanguageOf(tx, way.who); err != nil {
			return err
		}
		for _, row := range c.rows {
			kept, err := tx.ListReminders(row.BreederID, row.CaseID, row.PersonID)
			if err != nil {
				return err
			}
			if !slices.ContainsFunc(kept, func(k care.Reminder) bool {
				return k.Topic == row.Topic && k.WayID == row.WayID && k.State == row.State && k.Tries == row.Tries && k.At.Equal(row.At)
			}) {
				continue // its lease is over, and somebody else has it
			}
			i := slices.IndexFunc(topics, func(t topic) bool {
				return t.BreederID == row.BreederID && t.CaseID == row.CaseID && t.Topic == row.Topic && way.sees(&t)
			})
			if i < 0 { // answered, or seen, meanwhile
				if err := tx.DeleteReminder(row); err != nil {
					return err
				}
				continue
			}
			if quiet && !topics[i].urgent {
				row.State, row.Tries, row.At = care.ReminderWaiting, row.Tries-1, end
				if err := tx.UpdateReminder(row); err != nil {
					return err
				}
				if err := tx.WakeHours(r.BreederID, r.PersonID, end); err != nil {
					return err
				}
				continue
			}
			row.State, row.At = care.ReminderHanded, now
			if err := tx.UpdateReminder(row); err != nil {
				return err
			}
			rows = append(rows, row)
			if d := topics[i].digest; d != nil {
				out.Digest = d
			} else {
				out.Told = append(out.Told, topics[i].told)
			}
		}
		if len(rows) > 0 {
			n = out
		}
		return nil
	})
	return n, rows, err
}

// note writes down what came of handing over.
func (s *Service) note(ctx context.Context, now time.Time, wayID string, rows []care.Reminder, d care.Delivery) error {
	return s.store.Write(ctx, func(tx care.Tx) error {
		way, err := tx.Way(wayID)
		there := err == nil
		if err != nil && !care.IsCode(err, care.NotFound) {
			return err
		}
		hold := time.Time{}
		for _, row := range rows {
			row.At = now
			switch d.Outcome {
			case care.Delivered:
				row.State = care.ReminderSent
			case care.Unclear:
				continue // handed over is what it stays
			case care.NeverDelivers, care.AddressGone:
				row.State = care.ReminderFailed
			case care.NotDelivered:
				if row.State, row.At = care.ReminderWaiting, now.Add(max(d.Wait, firstWait<<(2*(row.Tries-1)))); row.Tries >= triesMost {
					row.State, row.At = care.ReminderFailed, now
				}
				if row.At.After(hold) {
					hold = row.At
				}
			}
			if err := tx.UpdateReminder(row); err != nil && !care.IsCode(err, care.NotFound) {
				return err
			}
		}
		if !there {
			return nil
		}
		if d.Outcome == care.AddressGone {
			return tx.DeleteWay(wayID)
		}
		way.Trouble, way.HoldUntil = d.Why, nil
		switch d.Outcome {
		case care.Delivered:
			way.LastAt = &now
		case care.NotDelivered:
			way.HoldUntil = &hold
			if err := tx.WakeHours(way.BreederID, way.PersonID, hold); err != nil {
				return err
			}
		}
		return tx.PutWay(way)
	})
}

// wake says when people are to be looked at because of a new assessment and its plan.
// k is what was known before it.
func (j *judged) wake(k *known, plan []assess.CheckIn) error {
	c, was := &j.open, &k.open
	if c.ClosedAt != nil {
		return nil
	}
	if c.Standing >= care.StepIn && c.Standing > was.Standing {
		j.breederAt = c.AssessedAt
	}
	later := func(at, before *time.Time) bool { return at != nil && (before == nil || at.After(*before)) }
	if later(c.WroteAt, was.WroteAt) {
		j.wroteAt = c.WroteAt.Add(care.ReadWait)
	}
	if c.KeeperID == "" {
		return nil
	}
	if later(c.AnsweredAt, was.AnsweredAt) {
		j.keeperAt = c.AnsweredAt.Add(care.ReadWait)
	}
	if len(plan) == 0 || !plan[0].At.Before(c.AssessedAt.Add(lookEvery)) {
		return nil // they are looked at before that anyway
	}
	before := k.plan
	if before == nil {
		var err error
		if before, err = planOf(was); err != nil {
			return err
		}
	}
	// What was to come already is looked at when it comes. What is due is that, too, unless
	// something else was asked first: then it is the keeper's turn to hear of it now.
	same := func(k *assess.CheckIn) bool {
		return k.ID == plan[0].ID && k.At.Equal(plan[0].At) && k.Ask == plan[0].Ask
	}
	known := false
	if plan[0].At.After(c.AssessedAt) {
		known = slices.ContainsFunc(before, func(k assess.CheckIn) bool { return same(&k) })
	} else if k := asking(before, c.AssessedAt); k != nil {
		known = same(k)
	}
	if !known && (j.keeperAt.IsZero() || plan[0].At.Before(j.keeperAt)) {
		j.keeperAt = plan[0].At
	}
	return nil
}

// planOf is the plan of check-ins as it is stored with a case.
func planOf(c *care.Case) ([]assess.CheckIn, error) {
	if len(c.Assessment) == 0 {
		return nil, nil
	}
	var stored struct {
		CheckIns []assess.CheckIn `json:"check_ins"`
	}
	if err := json.Unmarshal(c.Assessment, &stored); err != nil {
		return nil, fmt.Errorf("stored assessment of case %s: %w", c.ID, err)
	}
	return stored.CheckIns, nil
}

// asking is what a plan asks at an instant: the latest that is due, or nil.
func asking(plan []assess.CheckIn, now time.Time) (k *assess.CheckIn) {
	for i := range plan {
		if !plan[i].At.After(now) {
			k = &plan[i]
		}
	}
	return k
}
