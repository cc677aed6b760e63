// Package followup holds the use cases. Each is one transaction: it loads,
// checks who may, calls care and assess, and saves what came of it. It knows
// no wire format and no engine, and takes the time as an argument.
package followup

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/google/uuid"
)

// Codes makes and hashes claim codes; only hashes are stored.
type Codes interface {
	New() (plain, hash string, err error)
	// Hash reads a code as typed; a code that cannot be one is a BadField error.
	Hash(typed string) (hash string, err error)
	// CardKey and Mark serve a breeder's phone without a network, see care.Card.
	CardKey(breederID string) []byte
	Mark(breederID, plain string) string
}

// Service is the use cases over one store.
type Service struct {
	store  care.Store
	codes  Codes
	signer Signer
	memory memory
	hub    hub
	trying chan struct{} // full while thresholds are tried
}

// New returns the use cases over a store.
func New(store care.Store, codes Codes, signer Signer) *Service {
	return &Service{store: store, codes: codes, signer: signer, memory: newMemory(), trying: make(chan struct{}, 1)}
}

// newID makes an identifier that sorts by time of making.
func newID() string {
	return uuid.Must(uuid.NewV7()).String() // fails only with crypto/rand, which does not
}

var errNotYours = &care.Error{Code: care.Denied, Reason: care.ReasonNotYours, Text: words.Say("This account may not do that. Sign in as the breeder or as the animal's keeper.")}

// breederOnly lets the breeder's people in. To others the breeder's things do
// not exist.
func breederOnly(who care.Actor, breederID, what string) error {
	if !who.OfBreeder(breederID) {
		return care.Missing(what)
	}
	return nil
}

// caseOf loads a case that the actor may see: the breeder's own, or the
// keeper's own.
func caseOf(tx care.Tx, who care.Actor, breederID, caseID string) (care.Case, error) {
	c, err := tx.Case(breederID, caseID)
	if err != nil {
		return care.Case{}, err
	}
	if who.OfBreeder(breederID) || who.IsKeeper(c.KeeperID, breederID) {
		return c, nil
	}
	return care.Case{}, care.Missing("case")
}

// keeperCase finds the keeper's case on an animal, an open one first.
func keeperCase(tx care.Tx, who care.Actor, breederID, animalID string) (care.Case, error) {
	cases, err := animalCases(tx, breederID, animalID)
	if err != nil {
		return care.Case{}, err
	}
	var found *care.Case
	for i := range cases {
		c := &cases[i]
		if who.IsKeeper(c.KeeperID, breederID) && (found == nil || c.ClosedAt == nil) {
			found = c
		}
	}
	if found == nil {
		return care.Case{}, care.Missing("animal")
	}
	return *found, nil
}

func animalCases(tx care.Tx, breederID, animalID string) ([]care.Case, error) {
	cases, _, err := tx.ListCases(breederID, care.CaseQuery{AnimalID: animalID}, care.Cursor{}, 100)
	return cases, err
}

// openCase is the animal's open case, or nil.
func openCase(tx care.Tx, breederID, animalID string) (*care.Case, error) {
	cases, err := animalCases(tx, breederID, animalID)
	if err != nil {
		return nil, err
	}
	for i := range cases {
		if cases[i].ClosedAt == nil {
			return &cases[i], nil
		}
	}
	return nil, nil
}

// subject is what the assessment of a case, as it stands, was made from besides
// its log.
func subject(tx care.Tx, c *care.Case) (*assess.Subject, error) {
	b, err := tx.Breeder(c.BreederID)
	if err != nil {
		return nil, err
	}
	a, err := tx.Animal(c.BreederID, c.AnimalID)
	if err != nil {
		return nil, err
	}
	return subjectOf(c, &a, &b), nil
}

func subjectOf(c *care.Case, a *care.Animal, b *care.Breeder) *assess.Subject {
	return &assess.Subject{Animal: *a, HandedOverAt: c.HandedOverAt, Learned: c.Learned, Hemi: b.Hemi, Thresholds: c.Thresholds, Unclaimed: c.KeeperID == "", CheckIns: b.CheckIns,
		Returning: c.Return.AgreedAt != nil}
}

// story is what a case is assessed by: what is fixed of it, and its part of the log.
func story(tx care.Tx, c *care.Case) (*assess.Subject, []care.Entry, error) {
	about, err := subject(tx, c)
	if err != nil {
		return nil, nil, err
	}
	log, err := tx.Log(c.BreederID, c.AnimalID)
	return about, caseLog(log, c), err
}

// reassess computes the case anew from the log and saves what changed. The
// case's own fields (keeper, end) are saved with it.
func reassess(tx care.Tx, c care.Case, now time.Time) (care.Case, error) {
	k, err := read(tx, c)
	if err != nil {
		return c, err
	}
	j, err := k.judge(now, 1)
	if err != nil {
		return c, err
	}
	s := j.saving()
	s.Judged = false
	k, err = j.saveAs(tx, s)
	if err != nil {
		return c, err
	}
	return k.open, nil
}

// reassess is what is known once the case, as it was read, was computed anew and saved.
func (k *known) reassess(tx care.Tx, now time.Time) (*known, error) {
	j, err := k.judge(now, 1)
	if err != nil {
		return nil, err
	}
	return j.save(tx)
}

// judged is a case computed anew and not saved yet.
type judged struct {
	known
	was     *care.Case
	changed []care.Flag // of its flags
	// When the breeder's people, those of them who are told of messages at once and the
	// keeper are to be looked at because of it, see Remind; zero: when they are anyway.
	breederAt, wroteAt, keeperAt time.Time
}

// judge computes a case anew, and what will be said of it on up to so many days, until
// time alone changes more than that. It reads and writes nothing.
func (k *known) judge(now time.Time, days int) (*judged, error) {
	after := judged{known: *k, was: &k.open}
	c := &after.open
	c.Thresholds = k.subject.Thresholds
	for i := range k.log {
		e := &k.log[i]
		if e.CaseID == c.ID && e.By == care.KeeperActor && (c.LastHeard == nil || e.ReceivedAt.After(*c.LastHeard)) {
			at := e.ReceivedAt
			c.LastHeard = &at
		}
	}
	result := after.assess(now)
	var err error
	if c.Assessment, err = storedAs(&result); err != nil {
		return nil, fmt.Errorf("assessment of case %s: %w", c.ID, err)
	}
	before := c.Standing
	if before != result.Standing || c.AssessedAt.IsZero() {
		c.ChangedAt = now
	}
	c.Standing, c.Urgency, c.Headline, c.NextStep = result.Standing, result.Urgency, result.Headline, result.NextStep()
	c.AssessedAt, c.Ahead, c.DueAt = now, nil, care.Instant(result.DueAt)
	if days > 1 {
		if err := after.foresee(result, days); err != nil {
			return nil, err
		}
	}
	if !c.DueAt.After(now) {
		c.DueAt = now.Add(day)
	}
	c.Listen(k.log)
	c.Silent = slices.ContainsFunc(result.Concerns, func(f care.Concern) bool { return f.Code == assess.ConcernSilence })
	if c.BringBack(before, now); c.Aside.Until != nil && c.Aside.Until.Before(c.DueAt) {
		c.DueAt = *c.Aside.Until
	}
	if err := after.wake(k, result.CheckIns); err != nil {
		return nil, err
	}
	after.plan = result.CheckIns
	found := result.Concerns
	if c.ClosedAt != nil {
		found = nil // an ended case has no open concern
	}
	after.changed = care.UpdateFlags(c, k.flags, found, now)
	if len(after.changed) > 0 {
		after.flags = slices.Clone(k.flags)
	}
	for _, f := range after.changed {
		if i := slices.IndexFunc(after.flags, func(old care.Flag) bool { return old.ID == f.ID }); i >= 0 {
			after.flags[i] = f
		} else {
			after.flags = append(after.flags, f)
		}
	}
	if len(after.changed) > 0 { // as Tx.ListFlags has them: another server's clock may be behind
		slices.SortFunc(after.flags, care.Flag.Compare)
	}
	return &after, nil
}

// storedAs is an assessment as it is stored. It has no name twice, and is not searched for
// such.
func storedAs(a *assess.Assessment) ([]byte, error) {
	return json.Marshal(a, json.FormatNilSliceAsNull(true), jsontext.AllowDuplicateNames(true))
}

// save saves what was judged, unless the case was changed since it was read: that
// is Stale.
func (j *judged) save(tx care.Tx) (*known, error) { return j.saveAs(tx, j.saving()) }

func (j *judged) saveAs(tx care.Tx, s care.Saving) (*known, error) {
	lost, err := tx.SaveCases([]care.Saving{s})
	if err == nil {
		err = lost[0]
	}
	if err != nil {
		return nil, err
	}
	after := j.known // a Write may run twice, and j stays as it was read
	after.open.Version++
	after.fresh = nil
	return &after, nil
}

func (j *judged) saving() care.Saving {
	return care.Saving{Case: j.open, Judged: true, Entries: j.fresh, Flags: j.changed, BreederAt: j.breederAt, WroteAt: j.wroteAt, KeeperAt: j.keeperAt}
}

// caseLog is what the assessment of one case may use: the breeder's history,
// this case, and what earlier keepers who passed the animal on saw of it; not
// another keeper's.
func caseLog(log []care.Entry, c *care.Case) []care.Entry {
	if !slices.ContainsFunc(log, func(e care.Entry) bool { return e.CaseID != "" && e.CaseID != c.ID }) {
		return log
	}
	out := log[:0:0]
	for _, e := range log {
		if belongs(&e, c) {
			out = append(out, e)
		}
	}
	return out
}

// belongs reports whether an entry is of a case, or of the history that came
// along with its animal; then e is what it is there.
func belongs(e *care.Entry, c *care.Case) bool {
	if e.CaseID == "" || e.CaseID == c.ID {
		return true
	}
	if !slices.Contains(c.Earlier, e.CaseID) {
		return false
	}
	passed, ok := care.PassedOn(*e)
	if ok {
		*e = passed
	}
	return ok
}

// learn is the feeding prior from the breeder's own animals of the species.
func learn(tx care.Tx, a *care.Animal, mass care.Grams, now time.Time) (care.Learned, error) {
	sp, _ := snake.ByID(a.Species)
	counts, err := tx.FeedingCounts(a.BreederID, a.Species, now.AddDate(-3, 0, 0))
	if err != nil {
		return care.Learned{}, err
	}
	flock := assess.FlockOf(counts)
	return flock.Prior(&sp, sp.Age(a.Hatched, float64(mass), now)), nil
}

// lastMass is the latest weight on record by an instant, 0 when there is none.
func lastMass(log []care.Entry, at time.Time) care.Grams {
	var mass care.Grams
	for i := range log {
		if w, ok := log[i].Body.(care.WeighIn); ok && log[i].Current() && !log[i].HappenedAt.After(at) {
			mass = w.Mass
		}
	}
	return mass
}

// stale turns a comparison of versions that failed inside one transaction
// into advice.
func stale(err error) error {
	var e *care.Error
	if errors.As(err, &e) && e.Code == care.Stale {
		return &care.Error{Code: care.Stale, Reason: care.ReasonStale, Text: words.Say("Somebody changed this meanwhile. Look at it again and repeat your change.")}
	}
	return err
}
