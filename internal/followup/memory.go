package followup

import (
	"errors"
	"sync/atomic"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// known is all that an assessment of an animal's open case is made from, so
// that one more entry need not read the whole log again.
type known struct {
	open    care.Case
	subject *assess.Subject
	log     []care.Entry // of the animal, in the order of Tx.Log
	fresh   []care.Entry // those of the log that are to be saved with the case
	flags   []care.Flag
	plan    []assess.CheckIn // as it is stored with the case; nil: it was not read, or there is none
	walk    *walk
	walked  *assess.Walker // of walk, as of this; for keep
}

// walk is how far the assessment of a case has walked, so that the next entry
// walks no day again. It serves one at a time; who finds it taken, or lost with
// a write that failed, begins another.
type walk struct{ free atomic.Pointer[assess.Walker] }

// assess is the assessment of the case's log at an instant.
func (k *known) assess(now time.Time) assess.Assessment {
	log := caseLog(k.log, &k.open)
	if k.walked = k.walk.free.Swap(nil); k.walked == nil {
		k.walked = &assess.Walker{}
		k.walked.Reset(k.subject, nil)
	}
	k.walked.Grow(log)
	k.walked.Step(now)
	return k.walked.Assessment()
}

// memory keeps what is known of the cases that were written to last. It is
// never taken on trust: it counts only while the stored case has the version
// that it was kept for. For that, every transaction that changes the log, the
// animal or the flags of an open case counts the case's version up, and so
// does another server on the same database. What is kept is never changed.
type memory struct {
	kept *lru.Cache[animalKey, *known]
	// elsewhere are cases that another server was heard to have changed since they were
	// kept here: to judge these ahead of a transaction is mostly in vain.
	elsewhere *lru.Cache[care.CaseKey, struct{}]
}

type animalKey struct{ breederID, animalID string }

// A case with three months of log takes about 60 kB; a longer log than this
// many entries is read each time.
const (
	memoryCases   = 1024
	memoryEntries = 1000
)

func newMemory() memory {
	kept, err := lru.New[animalKey, *known](memoryCases)
	elsewhere, err2 := lru.New[care.CaseKey, struct{}](4 * memoryCases)
	if err := errors.Join(err, err2); err != nil {
		panic(err) // only for a size below one
	}
	return memory{kept, elsewhere}
}

// recall is what is known of the animal's open case as it is stored now. What is not
// remembered is read, if the case is named or was the open one; nil is that there may be
// another.
func (m memory) recall(tx care.Tx, breederID, animalID, caseID string) (*known, error) {
	if was, ok := m.kept.Get(animalKey{breederID, animalID}); ok {
		caseID = was.open.ID
		switch version, err := tx.CaseVersion(breederID, caseID); {
		case err == nil && version == was.open.Version:
			return was, nil
		case err != nil && !care.IsCode(err, care.NotFound):
			return nil, err
		}
	}
	if caseID == "" {
		return nil, nil
	}
	found, err := tx.Followed([]care.CaseKey{{BreederID: breederID, ID: caseID}})
	if err != nil || len(found) == 0 {
		return nil, err
	}
	if c := &found[0].Case; c.ClosedAt != nil || c.AnimalID != animalID {
		return nil, nil
	}
	return knownOf(&found[0]), nil
}

// knownOf is what is known of an open case that was just read.
func knownOf(f *care.Followed) *known {
	f.Case.Thresholds = f.Breeder.Thresholds // of today
	return &known{open: f.Case, subject: subjectOf(&f.Case, &f.Animal, &f.Breeder), log: f.Log, flags: f.Flags, walk: &walk{}}
}

// has reports that something is known of the animal's open case, however old.
func (m memory) has(breederID, animalID string) bool {
	return m.kept.Contains(animalKey{breederID, animalID})
}

// keep must be called after the transaction that k comes from was saved.
func (m memory) keep(k *known) {
	key := animalKey{k.open.BreederID, k.open.AnimalID}
	if k.open.ClosedAt != nil || len(k.log) > memoryEntries {
		m.kept.Remove(key)
		return
	}
	k.walk.free.Store(k.walked)
	m.kept.Add(key, k)
	m.elsewhere.Remove(care.CaseKey{BreederID: k.open.BreederID, ID: k.open.ID})
}

// ahead is what may be judged before it is looked at in a transaction; nil where there is no such.
func (m memory) ahead(breederID, animalID string) *known {
	k, ok := m.kept.Get(animalKey{breederID, animalID})
	if !ok || m.elsewhere.Contains(care.CaseKey{BreederID: breederID, ID: k.open.ID}) {
		return nil
	}
	return k
}

// heard is told what another server changed.
func (m memory) heard(c Change) {
	if c.CaseID != "" {
		m.elsewhere.Add(care.CaseKey{BreederID: c.BreederID, ID: c.CaseID}, struct{}{})
	}
}

// read reads all that is known of a case. An open one is assessed anew by the
// breeder's thresholds of today.
func read(tx care.Tx, c care.Case) (*known, error) {
	about, log, err := today(tx, &c)
	if err != nil {
		return nil, err
	}
	flags, err := tx.ListFlags(c.BreederID, c.ID)
	if err != nil {
		return nil, err
	}
	return &known{open: c, subject: about, log: log, flags: flags, walk: &walk{}}, nil
}

// today is what a case is assessed by today, with its animal's whole log.
func today(tx care.Tx, c *care.Case) (*assess.Subject, []care.Entry, error) {
	b, err := tx.Breeder(c.BreederID)
	if err != nil {
		return nil, nil, err
	}
	a, err := tx.Animal(c.BreederID, c.AnimalID)
	if err != nil {
		return nil, nil, err
	}
	if c.ClosedAt == nil {
		c.Thresholds = b.Thresholds
	}
	log, err := tx.Log(c.BreederID, c.AnimalID)
	return subjectOf(c, &a, &b), log, err
}
