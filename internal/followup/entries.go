package followup

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// CreateEntry saves one entry and reassesses its case. A repeat with the same
// content gets the first answer.
func (s *Service) CreateEntry(ctx context.Context, who care.Actor, now time.Time, e care.Entry) (care.Entry, error) {
	out, _, err := s.CreateEntries(ctx, who, now, []care.Entry{e})
	if err != nil {
		return e, err
	}
	return out[0], nil
}

// CreateEntries is CreateEntry for several entries of one animal, all or none,
// each judged as if the ones before it were saved. failed is the index of the
// entry that err is about, or -1.
func (s *Service) CreateEntries(ctx context.Context, who care.Actor, now time.Time, list []care.Entry) (out []care.Entry, failed int, err error) {
	now = care.Instant(now)
	list = slices.Clone(list)
	for i := range list {
		e := &list[i]
		e.HappenedAt, e.ReceivedAt = care.Instant(e.HappenedAt), now
		e.By, e.ByID, e.ReplacedBy = who.Kind, who.ID(), ""
		if err := care.CheckEntry(e, now); err != nil {
			return nil, i, err
		}
	}
	if out, ok, err := s.createAhead(ctx, who, now, list); ok {
		return out, -1, err
	}
	failed = -1
	var after *known
	var loose bool // saved, and of no open case
	create := func(tx care.Tx) error {
		after, failed, out = nil, -1, make([]care.Entry, len(list))
		k, err := s.memory.recall(tx, list[0].BreederID, list[0].AnimalID, list[0].CaseID)
		if err != nil {
			return err
		}
		grown := false
		for i := range list {
			fresh, err := add(tx, who, list[i], &k, &out[i])
			if err != nil {
				failed = i
				return err
			}
			grown = grown || fresh
		}
		if loose = grown && k == nil; grown && k != nil {
			after, err = k.reassess(tx, now)
		}
		return err
	}
	// The version of the animal's open case guards all that is read of it. Where there is
	// none, somebody may open one meanwhile.
	if !who.OfBreeder(list[0].BreederID) || list[0].CaseID != "" || s.memory.has(list[0].BreederID, list[0].AnimalID) {
		err = s.store.Swap(ctx, func(tx care.Tx) error {
			if err := create(tx); err != nil || !loose {
				return err
			}
			return errNoCase
		})
	} else {
		err = errNoCase
	}
	if errors.Is(err, errNoCase) {
		err = s.store.Write(ctx, create)
	}
	if err == nil && after != nil {
		s.logged(after)
	}
	return out, failed, err
}

// createAhead judges a case with new entries before it asks for a transaction, by what
// is remembered of it, so that writers do not wait while others compute. ok is false
// where that cannot be done, or came to nothing because the case is no longer as it is
// remembered; then nothing was saved.
func (s *Service) createAhead(ctx context.Context, who care.Actor, now time.Time, list []care.Entry) (out []care.Entry, ok bool, err error) {
	k := s.memory.ahead(list[0].BreederID, list[0].AnimalID)
	if k == nil {
		return nil, false, nil
	}
	out = make([]care.Entry, len(list))
	for i := range list {
		if !k.suffices(who, &list[i]) {
			return nil, false, nil
		}
		if fresh, err := add(nil, who, list[i], &k, &out[i]); err != nil || !fresh {
			return nil, false, nil //nolint:nilerr // what is stored now has the last word
		}
	}
	j, err := k.judge(now, 1)
	if err != nil {
		return nil, true, err
	}
	var after *known
	err = s.store.Swap(ctx, func(tx care.Tx) (err error) {
		after, err = j.save(tx)
		return err
	})
	if care.IsCode(err, care.Stale) || care.IsCode(err, care.NotFound) || care.IsCode(err, care.Conflict) {
		return nil, false, nil
	}
	if err != nil {
		return nil, true, err
	}
	s.logged(after)
	return out, true, nil
}

// logged is to be called once a log and what it made of the case is saved.
func (s *Service) logged(after *known) {
	s.memory.keep(after)
	s.hub.publish(change(&after.open, "entry"))
}

// suffices reports that add needs no transaction for an entry: it is of the open case, its
// author's, and points at no photo.
func (k *known) suffices(who care.Actor, e *care.Entry) bool {
	named := e.CaseID == k.open.ID
	if !who.OfBreeder(e.BreederID) {
		named = (named || e.CaseID == "") && who.IsKeeper(k.open.KeeperID, e.BreederID)
	}
	return named && e.Replaces == "" && len(photosOf(e.Body)) == 0
}

// errNoCase is of entries without an open case.
var errNoCase = errors.New("no open case")

// add saves one entry, unless it is there already; out is what is stored. known
// is the animal's open case, nil while it has not been read or there is none; with that the entry
// is saved.
func add(tx care.Tx, who care.Actor, e care.Entry, known **known, out *care.Entry) (fresh bool, err error) {
	k := *known
	c, err := place(tx, who, &e, k)
	if err != nil {
		return false, err
	}
	old, err := entryOf(tx, &e, e.ID, k)
	if err == nil {
		if !sameEntry(&old, &e) {
			return false, &care.Error{Code: care.Conflict, Reason: care.ReasonIDReused, Text: words.Say("This id already belongs to another entry. Make a new id for each entry.")}
		}
		*out = old
		return false, nil
	}
	if !care.IsCode(err, care.NotFound) {
		return false, err
	}
	if err := checkLinks(tx, &e, k); err != nil {
		return false, err
	}
	if e.CaseID != "" && (c == nil || c.ID != e.CaseID) { // a correction goes where the corrected entry is
		was, err := tx.Case(e.BreederID, e.CaseID)
		if err != nil {
			return false, err
		}
		c = &was
	}
	if c != nil && c.ClosedAt != nil {
		return false, &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("This follow-up has ended. The breeder can open it again.")}
	}
	if c == nil && k == nil {
		if c, err = openCase(tx, e.BreederID, e.AnimalID); err != nil {
			return false, err
		}
	}
	if k == nil && c != nil { // an animal has one open case, so it is this one
		if k, err = read(tx, *c); err != nil {
			return false, err
		}
	}
	var log []care.Entry
	if k != nil {
		log = k.log
	} else if log, err = tx.Log(e.BreederID, e.AnimalID); err != nil {
		return false, err
	}
	if err := care.CheckSlip(&e, log); err != nil {
		return false, err
	}
	if *out = e; k != nil {
		grown := *k
		grown.log, grown.fresh = withEntry(k.log, e), append(slices.Clip(k.fresh), e)
		*known = &grown
		return true, nil
	}
	if err := tx.InsertEntry(e); err != nil {
		return false, err
	}
	if e.Replaces != "" {
		if err := tx.MarkReplaced(e.BreederID, e.AnimalID, e.Replaces, e.ID); err != nil {
			return false, err
		}
	}
	return true, nil
}

// entryOf finds an entry of e's animal.
func entryOf(tx care.Tx, e *care.Entry, id string, k *known) (care.Entry, error) {
	if k == nil {
		return tx.Entry(e.BreederID, e.AnimalID, id)
	}
	for i := range k.log {
		if k.log[i].ID == id {
			return k.log[i], nil
		}
	}
	return care.Entry{}, care.Missing("entry")
}

// withEntry is the log as it stands once e is saved, in the order of Tx.Log.
func withEntry(log []care.Entry, e care.Entry) []care.Entry {
	at, _ := slices.BinarySearchFunc(log, e, func(a, b care.Entry) int {
		return cmp.Or(a.HappenedAt.Compare(b.HappenedAt), a.ReceivedAt.Compare(b.ReceivedAt), cmp.Compare(a.ID, b.ID))
	})
	out := make([]care.Entry, 0, len(log)+1)
	out = append(append(append(out, log[:at]...), e), log[at:]...)
	for i := range out {
		if e.Replaces != "" && out[i].ID == e.Replaces {
			out[i].ReplacedBy = e.ID
		}
	}
	return out
}

// place decides which case an entry belongs to and whether the actor may make
// it. It returns nil for the breeder's history outside a case. k is what is
// known of the animal's open case, or nil.
func place(tx care.Tx, who care.Actor, e *care.Entry, k *known) (*care.Case, error) {
	if !who.OfBreeder(e.BreederID) {
		c, err := care.Case{}, error(nil)
		if k != nil && who.IsKeeper(k.open.KeeperID, e.BreederID) {
			c = k.open
		} else if c, err = keeperCase(tx, who, e.BreederID, e.AnimalID); err != nil {
			return nil, err
		}
		if e.CaseID != "" && e.CaseID != c.ID {
			if c, err = caseOf(tx, who, e.BreederID, e.CaseID); err != nil {
				return nil, err
			}
		}
		if c.AnimalID != e.AnimalID {
			return nil, care.Missing("case")
		}
		if e.Body.Kind() == care.KindStep {
			return nil, errNotYours // a step is agreed by the breeder
		}
		e.CaseID = c.ID
		return &c, nil
	}
	if k == nil {
		a, err := tx.Animal(e.BreederID, e.AnimalID)
		if err != nil {
			return nil, err
		}
		if a.DeletedAt != nil {
			return nil, care.Missing("animal")
		}
	}
	if k != nil && e.CaseID == k.open.ID {
		return &k.open, nil
	}
	if e.CaseID != "" {
		c, err := tx.Case(e.BreederID, e.CaseID)
		if err != nil {
			return nil, err
		}
		if c.AnimalID != e.AnimalID {
			return nil, care.BadField("entry.case", "This case is about another animal. Name the case of this animal.")
		}
		return &c, nil
	}
	switch e.Body.Kind() {
	case care.KindMessage, care.KindStep, care.KindSetup, care.KindSeen:
		return nil, care.BadField("entry.case", "Say which case this belongs to.")
	}
	return nil, nil
}

// checkLinks checks what the entry points at: the entry it corrects and its
// photos.
func checkLinks(tx care.Tx, e *care.Entry, k *known) error {
	if e.Replaces != "" {
		old, err := entryOf(tx, e, e.Replaces, k)
		if care.IsCode(err, care.NotFound) {
			return care.BadField("entry.replaces", "There is no such entry in this animal's log. Look at the history again.")
		}
		if err != nil {
			return err
		}
		if (old.By == care.KeeperActor) != (e.By == care.KeeperActor) || e.By == care.KeeperActor && old.ByID != e.ByID {
			return care.BadField("entry.replaces", "Only whoever made an entry can correct it. Write to the other side in the thread.")
		}
		if old.CaseID != e.CaseID && e.By == care.KeeperActor {
			return care.BadField("entry.replaces", "That entry belongs to another case.")
		}
		e.CaseID = old.CaseID
		if k := e.Body.Kind(); k != care.KindWithdrawal && k != old.Body.Kind() || old.Body.Kind() == care.KindOutcome {
			return care.BadField("entry.replaces", "A correction is of the same kind as what it corrects. Withdraw the entry and make a new one instead.")
		}
		if old.ReplacedBy != "" {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonAlreadyReplaced, Text: words.Say("This entry was corrected already. Correct the newer one."),
				Fields: []care.FieldError{{Field: "entry.replaces", Text: words.Say("This entry was corrected already. Correct the newer one.")}},
				Meta:   map[string]string{"replaced_by": old.ReplacedBy}}
		}
	}
	for _, id := range photosOf(e.Body) {
		p, err := tx.Photo(e.BreederID, id)
		if care.IsCode(err, care.NotFound) || err == nil && p.CaseID != e.CaseID {
			return care.BadField("entry.photos", "A photo has not arrived yet. Send the photo first, then this entry again.")
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// photosOf are the ids of the photos that a body points at.
func photosOf(body care.Body) (photos []string) {
	switch b := body.(type) {
	case care.Message:
		photos = b.Photos
		if b.Mark != nil && b.Mark.Photo != "" {
			photos = append(slices.Clone(photos), b.Mark.Photo)
		}
	case care.SetupCheck:
		for _, a := range b.Answers {
			photos = append(photos, a.Photos...)
			if a.Taps != nil {
				photos = append(photos, a.Taps.Photo)
			}
		}
	}
	return photos
}

func sameEntry(a, b *care.Entry) bool {
	return a.HappenedAt.Equal(b.HappenedAt) && a.By == b.By && a.ByID == b.ByID &&
		(a.CaseID == b.CaseID || a.Replaces != "") && a.Replaces == b.Replaces && a.Note == b.Note && sameBody(a.Body, b.Body)
}

// sameBody compares what is stored, so that a nil list equals an empty one.
func sameBody(a, b care.Body) bool {
	x, errX := care.EncodeBody(a)
	y, errY := care.EncodeBody(b)
	return errX == nil && errY == nil && a.Kind() == b.Kind() && bytes.Equal(x, y)
}

// GetEntry returns one entry.
func (s *Service) GetEntry(ctx context.Context, who care.Actor, breederID, animalID, entryID string) (e care.Entry, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		var keepers *care.Case
		if !who.OfBreeder(breederID) {
			c, err := keeperCase(tx, who, breederID, animalID)
			if err != nil {
				return err
			}
			keepers = &c
		}
		if e, err = tx.Entry(breederID, animalID, entryID); err != nil {
			return err
		}
		if keepers != nil && !keeperMaySee(&e, keepers) {
			e = care.Entry{}
			return care.Missing("entry")
		}
		return nil
	})
	return e, err
}

// keeperMaySee reports whether an entry is the keeper's to see: their own
// case, and the history that came with the animal, not what the breeder logs
// when the animal is back. The breeder's notes on that history are
// taken off.
func keeperMaySee(e *care.Entry, c *care.Case) bool {
	if e.CaseID == c.ID {
		return true
	}
	passed := e.CaseID != ""
	if !belongs(e, c) {
		return false
	}
	if passed {
		return true
	}
	if e.Body.Kind() == care.KindMessage || c.ClosedAt != nil && e.ReceivedAt.After(*c.ClosedAt) {
		return false
	}
	e.Note = ""
	return true
}

// ListEntries pages through the log, newest first. A page of a keeper may be
// shorter than asked for, since what is not theirs is left out.
func (s *Service) ListEntries(ctx context.Context, who care.Actor, breederID, animalID string, kinds []care.Kind, caseID string, after care.Cursor, limit int) (list []care.Entry, next care.Cursor, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		var keepers *care.Case
		if who.OfBreeder(breederID) {
			if _, err := tx.Animal(breederID, animalID); err != nil {
				return err
			}
		} else {
			c, err := keeperCase(tx, who, breederID, animalID)
			if err != nil {
				return err
			}
			if keepers = &c; caseID != "" && caseID != c.ID {
				return care.Missing("case")
			}
		}
		if list, next, err = tx.ListEntries(breederID, animalID, kinds, caseID, after, limit); err != nil || keepers == nil {
			return err
		}
		mine := list[:0]
		for i := range list {
			if keeperMaySee(&list[i], keepers) {
				mine = append(mine, list[i])
			}
		}
		list = mine
		return nil
	})
	return list, next, err
}
