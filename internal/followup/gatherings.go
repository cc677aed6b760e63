package followup

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// recentSale is how long after the handover a sale takes part in the look for a
// common source: after four months an animal's appetite is its new home's.
// [assumption]
const recentSale = 120 * 24 * time.Hour

// Gathering is a clutch or show day in which refusals gather, with the cases
// that refuse.
type Gathering struct {
	assess.Gathering
	Cases []CaseView // without their assessments
}

// Gatherings looks for refusals that gather in one clutch or at one show day,
// among the breeder's recent sales that are still followed up.
func (s *Service) Gatherings(ctx context.Context, who care.Actor, now time.Time, breederID string) (list []Gathering, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		list = nil
		b, err := tx.Breeder(breederID)
		if err != nil {
			return err
		}
		var sales []assess.Sale
		views := map[string]CaseView{}
		for after := (care.Cursor{}); ; {
			cases, next, err := tx.ListCases(breederID, care.CaseQuery{Open: true}, after, 200)
			if err != nil {
				return err
			}
			for _, c := range cases {
				if now.Sub(c.HandedOverAt) > recentSale || c.KeeperID == "" {
					continue
				}
				sale, a, err := saleOf(tx, breederID, c.ID)
				if err != nil {
					return err
				}
				sales = append(sales, sale)
				views[c.ID] = CaseView{Case: c, Animal: a, Breeder: b}
			}
			if after = next; next == (care.Cursor{}) {
				break
			}
		}
		for _, g := range assess.Gatherings(sales) {
			out := Gathering{Gathering: g}
			for _, id := range g.Cases {
				out.Cases = append(out.Cases, views[id])
			}
			list = append(list, out)
		}
		return nil
	})
	return list, err
}

// clutchOf is an animal's clutch, "" where it is not known. A clutch without a
// label is known by its mother and its day.
func clutchOf(tx care.Tx, a *care.Animal) (string, error) {
	clutch := strings.TrimSpace(a.Clutch)
	if clutch != "" || a.MotherID == "" || a.Hatched == nil {
		return clutch, nil
	}
	mother, err := tx.Animal(a.BreederID, a.MotherID)
	if err != nil {
		return "", err
	}
	return "of " + mother.Name + ", hatched " + a.Hatched.Format(time.DateOnly), nil
}

// saleOf reads what a sale is counted by.
func saleOf(tx care.Tx, breederID, caseID string) (sale assess.Sale, a care.Animal, err error) {
	c, err := tx.Case(breederID, caseID)
	if err != nil {
		return sale, a, err
	}
	if a, err = tx.Animal(breederID, c.AnimalID); err != nil {
		return sale, a, err
	}
	h, err := tx.Handover(breederID, caseID) // a case has its handover's id
	if err != nil {
		return sale, a, err
	}
	var n assess.Numbers
	if len(c.Assessment) > 0 {
		if err := json.Unmarshal(c.Assessment, &n); err != nil {
			return sale, a, fmt.Errorf("stored assessment of case %s: %w", c.ID, err)
		}
	}
	clutch, err := clutchOf(tx, &a)
	if err != nil {
		return sale, a, err
	}
	sp, _ := snake.ByID(a.Species)
	age := sp.Age(a.Hatched, float64(lastMass(h.Record.Weights, h.HandedOverAt)), h.HandedOverAt)
	return assess.Sale{Case: c.ID, Like: a.Species + " " + strconv.Itoa(int(age)), Clutch: clutch, ShowDay: strings.TrimSpace(h.ShowDay), Offers: n.Offers, Refused: n.RefusedInARow}, a, nil
}
