package followup

import (
	"context"
	"slices"
	"time"

	"warmhand/internal/care"
)

// NewPhoto is a keeper's photo that nobody has looked at, with what it is to be
// judged by.
type NewPhoto struct {
	Photo  care.Photo
	Case   care.Case
	Animal care.Animal
	// Answer is that which names it, of the point that it is to show; zero: it came
	// with a message, or its entry has not come yet.
	Answer care.SetupAnswer
	Note   string
	// Mark is the breeder's last on that point, with its words; nil: none.
	Mark     *care.Mark
	MarkText string
}

// NewPhotos pages through the keepers' photos that nobody has looked at, oldest
// first.
func (s *Service) NewPhotos(ctx context.Context, who care.Actor, breederID string, after care.Cursor, limit int) (list []NewPhoto, next care.Cursor, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, next, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		var photos []care.Photo
		if photos, next, err = tx.ListNewPhotos(breederID, after, limit); err != nil {
			return err
		}
		list = make([]NewPhoto, len(photos))
		logs := map[string][]care.Entry{}
		for i, p := range photos {
			n := &list[i]
			n.Photo = p
			if n.Case, err = tx.Case(breederID, p.CaseID); err != nil {
				return err
			}
			if n.Animal, err = tx.Animal(breederID, n.Case.AnimalID); err != nil {
				return err
			}
			log, ok := logs[p.CaseID]
			if !ok {
				if log, err = tx.Log(breederID, n.Case.AnimalID); err != nil {
					return err
				}
				log = caseLog(log, &n.Case)
				logs[p.CaseID] = log
			}
			n.find(log)
		}
		return nil
	})
	return list, next, err
}

// find looks in the case's log for what names the photo, and for the last mark on
// its point.
func (n *NewPhoto) find(log []care.Entry) {
	for i := range log {
		e := &log[i]
		if !e.Current() {
			continue
		}
		switch b := e.Body.(type) {
		case care.SetupCheck:
			for _, a := range b.Answers {
				if slices.Contains(a.Photos, n.Photo.ID) {
					n.Answer, n.Note = a, a.Note
				}
			}
		case care.Message:
			if slices.Contains(b.Photos, n.Photo.ID) {
				n.Note = b.Text
			}
		}
	}
	if n.Answer.Point == "" {
		return
	}
	for i := range log {
		if b, ok := log[i].Body.(care.Message); ok && log[i].Current() && b.Mark != nil && b.Mark.Point == n.Answer.Point && log[i].By != care.KeeperActor {
			n.Mark, n.MarkText = b.Mark, b.Text
		}
	}
}

// LookAtPhoto says that somebody of the breeder has looked at a photo.
func (s *Service) LookAtPhoto(ctx context.Context, who care.Actor, now time.Time, breederID, caseID, photoID string) error {
	if err := breederOnly(who, breederID, "photo"); err != nil {
		return err
	}
	return s.store.Swap(ctx, func(tx care.Tx) error { // of which case a photo is never changes
		p, err := tx.Photo(breederID, photoID)
		if err != nil {
			return err
		}
		if p.CaseID != caseID {
			return care.Missing("photo")
		}
		return tx.LookPhoto(breederID, photoID, care.Instant(now))
	})
}

// WhoseCard says which case of the breeder a card's code belongs to, as a photo
// shows it; nil: none. It is no way to find out others' codes.
func (s *Service) WhoseCard(ctx context.Context, who care.Actor, breederID, code string) (c *care.Case, animal string, err error) {
	if err := breederOnly(who, breederID, "photo"); err != nil {
		return nil, "", err
	}
	hash, err := s.codes.Hash(code)
	if err != nil {
		return nil, "", nil // something else with a code on it
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, animal = nil, ""
		h, err := byCode(tx, hash)
		if care.IsCode(err, care.NotFound) || care.IsCode(err, care.Precondition) || err == nil && h.BreederID != breederID {
			return nil
		}
		if err != nil {
			return err
		}
		found, err := tx.Case(breederID, h.ID)
		if err != nil {
			if care.IsCode(err, care.NotFound) { // nobody took it on yet
				return nil
			}
			return err
		}
		a, err := tx.Animal(breederID, found.AnimalID)
		if err != nil {
			return err
		}
		c, animal = &found, a.Name
		return nil
	})
	return c, animal, err
}
