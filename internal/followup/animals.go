package followup

import (
	"context"
	"reflect"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// GetBreeder returns the account to its own people.
func (s *Service) GetBreeder(ctx context.Context, who care.Actor, breederID string) (b care.Breeder, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return b, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		b, err = tx.Breeder(breederID)
		return err
	})
	return b, err
}

// UpdateBreeder changes the named fields; all of them when none is named. A
// Version of 0 takes whatever is there.
func (s *Service) UpdateBreeder(ctx context.Context, who care.Actor, now time.Time, in care.Breeder, fields []string) (b care.Breeder, err error) {
	if err := breederOnly(who, in.ID, "breeder"); err != nil {
		return b, err
	}
	if who.Kind != care.BreederOwner {
		return b, errNotYours
	}
	if len(fields) == 0 {
		fields = []string{"display_name", "contact", "time_zone", "hemisphere"}
	}
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		turned := false
		if b, err = tx.Breeder(in.ID); err != nil {
			return err
		}
		if in.Version != 0 {
			b.Version = in.Version
		}
		for _, f := range fields {
			switch f {
			case "display_name":
				if strings.TrimSpace(in.Name) == "" {
					return care.BadField("breeder.display_name", "Keepers need a name to recognise you by. Fill it in.")
				}
				b.Name = in.Name
			case "contact":
				b.Contact = in.Contact
			case "time_zone":
				if _, err := time.LoadLocation(in.TimeZone); err != nil || in.TimeZone == "Local" {
					return care.BadField("breeder.time_zone", "“{zone}” is not a time zone. Use a name such as Europe/Berlin.", in.TimeZone)
				}
				b.TimeZone = in.TimeZone
			case "hemisphere":
				if in.Hemi != care.North && in.Hemi != care.South {
					return care.BadField("breeder.hemisphere", "Choose north or south.")
				}
				turned = b.Hemi != in.Hemi
				b.Hemi = in.Hemi
			case "phrases":
				if b.Phrases, err = care.CheckPhrases(in.Phrases); err != nil {
					return err
				}
			default:
				return care.BadField("update_mask", "“{field}” cannot be changed. Name display_name, contact, time_zone, hemisphere or phrases.", f)
			}
		}
		if err := tx.UpdateBreeder(b); err != nil {
			return stale(err)
		}
		if turned { // the cool season counts in every case
			if err := tx.MakeDue(in.ID, now); err != nil {
				return err
			}
		}
		b, err = tx.Breeder(in.ID)
		return err
	})
	return b, err
}

// CreateAnimal adds an animal to the stock book. With an id of the caller's, a
// repeat with the same content gets the first answer.
func (s *Service) CreateAnimal(ctx context.Context, who care.Actor, now time.Time, a care.Animal) (care.Animal, error) {
	if err := breederOnly(who, a.BreederID, "breeder"); err != nil {
		return a, err
	}
	now = care.Instant(now)
	if a.ID == "" {
		a.ID = newID()
	}
	if a.Sex == "" {
		a.Sex = care.SexUnknown
	}
	if err := care.CheckAnimal(&a, now); err != nil {
		return a, err
	}
	a.CreatedAt, a.UpdatedAt, a.DeletedAt, a.Version = now, now, nil, 1
	out := a
	err := s.store.Write(ctx, func(tx care.Tx) error {
		old, err := tx.Animal(a.BreederID, a.ID)
		if err == nil {
			if !sameAnimal(old, a) {
				return &care.Error{Code: care.Conflict, Reason: care.ReasonIDReused, Text: words.Say("This id already belongs to another animal. Make a new id for each animal.")}
			}
			out = old
			return nil
		}
		if !care.IsCode(err, care.NotFound) {
			return err
		}
		if err := checkParents(tx, &a); err != nil {
			return err
		}
		out = a
		return tx.InsertAnimal(a)
	})
	return out, err
}

func sameAnimal(a, b care.Animal) bool {
	a.CreatedAt, a.UpdatedAt, a.Version, a.DeletedAt = b.CreatedAt, b.UpdatedAt, b.Version, b.DeletedAt
	if len(a.Genes) == 0 {
		a.Genes = nil
	}
	if len(b.Genes) == 0 {
		b.Genes = nil
	}
	return reflect.DeepEqual(a, b)
}

func checkParents(tx care.Tx, a *care.Animal) error {
	for _, parent := range []struct {
		field, id string
		not       care.Sex
	}{{"animal.mother", a.MotherID, care.Male}, {"animal.father", a.FatherID, care.Female}} {
		if parent.id == "" {
			continue
		}
		found, err := tx.Animal(a.BreederID, parent.id)
		if care.IsCode(err, care.NotFound) {
			return care.BadField(parent.field, "There is no such animal in your stock book. Add the parent first, or leave it empty.")
		}
		if err != nil {
			return err
		}
		if found.Sex == parent.not {
			return care.BadField(parent.field, "{name} is {sex} in your stock book. Choose another animal, or correct the sex there first.", found.Name, words.Say(string(found.Sex)))
		}
	}
	return nil
}

// GetAnimal returns an animal to its breeder and to its keeper, who does not
// get the breeder's note and place.
func (s *Service) GetAnimal(ctx context.Context, who care.Actor, breederID, animalID string) (a care.Animal, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		if !who.OfBreeder(breederID) {
			if _, err := keeperCase(tx, who, breederID, animalID); err != nil {
				return err
			}
		}
		a, err = tx.Animal(breederID, animalID)
		return err
	})
	if !who.OfBreeder(breederID) {
		a.Note, a.Place = "", ""
	}
	return a, err
}

// ListAnimals pages through the stock book.
func (s *Service) ListAnimals(ctx context.Context, who care.Actor, breederID, search string, after care.Cursor, limit int) (list []care.Animal, next care.Cursor, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, next, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		list, next, err = tx.ListAnimals(breederID, search, after, limit)
		return err
	})
	return list, next, err
}

// UpdateAnimal changes the named fields; all of them when none is named.
func (s *Service) UpdateAnimal(ctx context.Context, who care.Actor, now time.Time, in care.Animal, fields []string) (a care.Animal, err error) {
	if err := breederOnly(who, in.BreederID, "animal"); err != nil {
		return a, err
	}
	now = care.Instant(now)
	if len(fields) == 0 {
		fields = []string{"display_name", "species", "sex", "hatch_date", "genes", "mother", "father", "clutch", "snout_vent_mm", "total_length_mm", "note", "place"}
	}
	var touched []care.Case
	err = s.store.Write(ctx, func(tx care.Tx) (err error) {
		touched = nil
		if a, err = tx.Animal(in.BreederID, in.ID); err != nil {
			return err
		}
		if a.DeletedAt != nil {
			return care.Missing("animal")
		}
		if in.Version != 0 {
			a.Version = in.Version
		}
		was := a
		for _, f := range fields {
			switch f {
			case "display_name":
				a.Name = in.Name
			case "species":
				a.Species = in.Species
			case "sex":
				a.Sex = in.Sex
			case "hatch_date":
				a.Hatched = in.Hatched
			case "genes":
				a.Genes = in.Genes
			case "mother":
				a.MotherID = in.MotherID
			case "father":
				a.FatherID = in.FatherID
			case "clutch":
				a.Clutch = in.Clutch
			case "snout_vent_mm":
				a.SnoutVent = in.SnoutVent
			case "total_length_mm":
				a.TotalLength = in.TotalLength
			case "note":
				a.Note = in.Note
			case "place":
				a.Place = in.Place
			default:
				return care.BadField("update_mask", "“{field}” is not a field of an animal that can be changed.", f)
			}
		}
		if a.Sex == "" {
			a.Sex = care.SexUnknown
		}
		if err := care.CheckAnimal(&a, now); err != nil {
			return err
		}
		if a.MotherID != was.MotherID || a.FatherID != was.FatherID {
			if err := checkParents(tx, &a); err != nil {
				return err
			}
		}
		c, err := openCase(tx, a.BreederID, a.ID)
		if err != nil {
			return err
		}
		if c != nil && a.Species != was.Species {
			// Everything else may be put right at any time: the record stays as it was issued.
			err := care.BadField("animal.species", "This animal was handed over, and the keeper's record, limits and checklist are for its species. Revoke the handover or end the follow-up, then change the species and hand the animal over anew.")
			err.Code, err.Reason = care.Precondition, care.ReasonAnimalHasCase
			return err
		}
		a.UpdatedAt = now
		if err := tx.UpdateAnimal(a); err != nil {
			return stale(err)
		}
		if a, err = tx.Animal(in.BreederID, in.ID); err != nil || c == nil {
			return err
		}
		after, err := reassess(tx, *c, now)
		touched = append(touched, after)
		return err
	})
	if err == nil {
		for i := range touched {
			s.hub.publish(change(&touched[i], "standing"))
		}
	}
	return a, err
}

// DeleteAnimal takes an animal out of the stock book; its log stays.
func (s *Service) DeleteAnimal(ctx context.Context, who care.Actor, now time.Time, breederID, animalID string) error {
	if err := breederOnly(who, breederID, "animal"); err != nil {
		return err
	}
	if who.Kind == care.Helper {
		return errNotYours
	}
	return s.store.Write(ctx, func(tx care.Tx) error {
		a, err := tx.Animal(breederID, animalID)
		if err != nil || a.DeletedAt != nil {
			return err // a repeat finds it gone already, which is what was asked for
		}
		c, err := openCase(tx, breederID, animalID)
		if err != nil {
			return err
		}
		if c != nil {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonAnimalHasCase, Text: words.Say("This animal is being followed up. End its case first, then take it out of the stock book.")}
		}
		at := care.Instant(now)
		a.DeletedAt, a.UpdatedAt = &at, at
		return stale(tx.UpdateAnimal(a))
	})
}
