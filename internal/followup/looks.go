package followup

import (
	"context"

	"warmhand/internal/care"
)

// Seen is a look before it is known at which case: one that names an animal is
// at the log of all its keepers.
type Seen struct {
	care.Look
	AnimalID string // when CaseID is ""
}

// KeepLooks saves looks that the breeder's people had; what is no keeper's is
// left out.
func (s *Service) KeepLooks(ctx context.Context, list []Seen) error {
	return s.store.Write(ctx, func(tx care.Tx) error {
		for _, l := range list {
			var cases []care.Case
			if l.CaseID == "" {
				var err error
				if cases, err = animalCases(tx, l.BreederID, l.AnimalID); err != nil {
					return err
				}
			} else {
				c, err := tx.Case(l.BreederID, l.CaseID)
				if care.IsCode(err, care.NotFound) {
					continue
				}
				if err != nil {
					return err
				}
				cases = []care.Case{c}
			}
			for i := range cases {
				if cases[i].KeeperID == "" || cases[i].KeeperGone() {
					continue
				}
				l.CaseID = cases[i].ID
				if err := tx.AddLook(l.Look); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// looksShown is how many rows one answer has at most, the newest first.
const looksShown = 500

// Looked is a look with who it was, as far as the asker is to know.
type Looked struct {
	care.Look
	Name   string // of the person or the token; "" for a keeper
	Animal string
}

// Looks says who looked at what: at a case for its keeper and for the owner of
// the account, or with caseID "" at all cases for the owner.
func (s *Service) Looks(ctx context.Context, who care.Actor, breederID, caseID string) (out []Looked, err error) {
	owner := who.OfBreeder(breederID) && who.Kind == care.BreederOwner
	if !owner && (caseID == "" || who.Kind != care.KeeperActor) {
		return nil, care.Missing("breeder")
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		out = nil
		if caseID != "" {
			if _, err := caseOf(tx, who, breederID, caseID); err != nil {
				return err
			}
		}
		list, err := tx.ListLooks(breederID, caseID, looksShown)
		if err != nil {
			return err
		}
		names, animals := map[string]string{}, map[string]string{}
		if owner {
			people, err := tx.ListUsers(breederID)
			if err != nil {
				return err
			}
			for _, u := range people {
				names[u.ID] = u.Name
			}
			tokens, err := tx.ListSecrets(breederID, care.SecretToken)
			if err != nil {
				return err
			}
			for _, t := range tokens {
				names[t.ID] = t.Label
			}
		}
		for _, l := range list {
			if _, ok := animals[l.CaseID]; !ok {
				c, err := tx.Case(breederID, l.CaseID)
				if err != nil {
					return err
				}
				a, err := tx.Animal(breederID, c.AnimalID)
				if err != nil {
					return err
				}
				animals[l.CaseID] = a.Name
			}
			seen := Looked{Look: l, Name: names[l.ByID], Animal: animals[l.CaseID]}
			if !owner {
				seen.ByID = ""
			}
			out = append(out, seen)
		}
		return nil
	})
	return out, err
}
