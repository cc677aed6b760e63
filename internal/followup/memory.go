package followup

import (
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
	flags   []care.Flag
}

// memory keeps what is known of the cases that were written to last. It is
// never taken on trust: it counts only while the stored case has the version
// that it was kept for. For that, every transaction that changes the log, the
// animal or the flags of an open case counts the case's version up, and so
// does another server on the same database. What is kept is never changed.
type memory struct{ kept *lru.Cache[animalKey, *known] }

type animalKey struct{ breederID, animalID string }

// A case with three months of log takes about 50 kB; a longer log than this
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

// recall is what is known of the animal's open case as it is stored now, or
// nil when that has to be read.
func (m memory) recall(tx care.Tx, breederID, animalID string) (*known, error) {
	was, ok := m.kept.Get(animalKey{breederID, animalID})
	if !ok {
		return nil, nil
	}
	c, err := tx.Case(breederID, was.open.ID)
	if err != nil && !care.IsCode(err, care.NotFound) {
		return nil, err
	}
	if err != nil || c.Version != was.open.Version || c.ClosedAt != nil {
		return nil, nil
	}
	return &known{c, was.subject, was.log, was.flags}, nil
}

// keep must be called after the transaction that k comes from was saved.
func (m memory) keep(k *known) {
	key := animalKey{k.open.BreederID, k.open.AnimalID}
	if k.open.ClosedAt != nil || len(k.log) > memoryEntries {
		m.kept.Remove(key)
		return
	}
	m.kept.Add(key, k)
}

// read reads all that is known of a case. An open one is assessed anew by the
// breeder's thresholds of today.
func read(tx care.Tx, c care.Case) (*known, error) {
	log, err := tx.Log(c.BreederID, c.AnimalID)
	if err != nil {
		return nil, err
	}
	if c.ClosedAt == nil {
		b, err := tx.Breeder(c.BreederID)
		if err != nil {
			return nil, err
		}
		c.Thresholds = b.Thresholds
	}
	about, err := subject(tx, &c)
	if err != nil {
		return nil, err
	}
	flags, err := tx.ListFlags(c.BreederID, c.ID)
	if err != nil {
		return nil, err
	}
	return &known{c, about, log, flags}, nil
}
