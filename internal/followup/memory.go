package followup

import (
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
	// shared: another server on the database wrote to it last, and may again, so nothing is
	// judged ahead of a transaction.
	shared bool
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
type memory struct{ kept *lru.Cache[animalKey, *known] }

type animalKey struct{ breederID, animalID string }

// A case with three months of log takes about 60 kB; a longer log than this
// many entries is read each time.
const (
	memoryCases   = 1024
	memoryEntries = 1000
)

func newMemory() memory {
	kept, err := lru.New[animalKey, *known](memoryCases)
	if err != nil {
		panic(err) // only for a size below one
	}
	return memory{kept}
}

// recall is what is known of the animal's open case as it is stored now. What is not
// remembered is read, if the case is named or was the open one; nil is that there may be
// another.
func (m memory) recall(tx care.Tx, breederID, animalID, caseID string) (*known, error) {
	was, remembered := m.kept.Get(animalKey{breederID, animalID})
	if remembered {
		caseID = was.open.ID
		switch version, err := tx.CaseVersion(breederID, caseID); {
		case err == nil && version == was.open.Version && was.shared:
			alone := *was
			alone.shared = false
			return &alone, nil
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
	k := knownOf(&found[0])
	k.shared = remembered
	return k, nil
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
