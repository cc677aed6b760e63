package followup

import (
	"context"
	"slices"
	"strings"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// StockAnimal is an animal with what its record says of it today. Of one that
// is away nothing is read but its case.
type StockAnimal struct {
	Animal    care.Animal
	CaseID    string // of the latest handover that was not revoked, or ""
	Away      bool   // with a keeper, or gone for good
	Outcome   care.Outcome
	Weighed   assess.Weighed
	LastOffer *care.Entry
	LastMeal  *care.Entry // eaten and kept down
	// OfferAgain is how many days after its last offer food is due again.
	OfferAgain int
	Ready      assess.Readiness
}

// stockDays is how far back the log of a list is read: a young animal's whole
// life, and more than a grown one fasts.
const stockDays = 400

// ListStock pages through the stock book as ListAnimals does. Its points are
// those that keep an animal back and those that the buyer must hear.
func (s *Service) ListStock(ctx context.Context, who care.Actor, now time.Time, breederID string, after care.Cursor, limit int) (list []StockAnimal, next care.Cursor, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, next, err
	}
	now = care.Instant(now)
	err = s.store.Read(ctx, func(tx care.Tx) error {
		var page []care.Animal
		if page, next, err = tx.ListAnimals(breederID, "", after, limit); err != nil {
			return err
		}
		list, err = inStock(tx, breederID, page, now)
		return err
	})
	for i := range list {
		r := &list[i].Ready
		r.Points = slices.DeleteFunc(r.Points, func(p assess.ReadyPoint) bool { return p.Verdict == assess.Met })
	}
	return list, next, err
}

// GetStockAnimal is one animal as ListStock has it, with all points.
func (s *Service) GetStockAnimal(ctx context.Context, who care.Actor, now time.Time, breederID, animalID string) (a StockAnimal, err error) {
	if err := breederOnly(who, breederID, "animal"); err != nil {
		return a, err
	}
	now = care.Instant(now)
	err = s.store.Read(ctx, func(tx care.Tx) error {
		one, err := tx.Animal(breederID, animalID)
		if err != nil {
			return err
		}
		if one.DeletedAt != nil {
			return care.Missing("animal")
		}
		list, err := inStock(tx, breederID, []care.Animal{one}, now)
		if err == nil {
			a = list[0]
		}
		return err
	})
	return a, err
}

// inStock reads what these animals need in a fixed number of queries.
func inStock(tx care.Tx, breederID string, page []care.Animal, now time.Time) ([]StockAnimal, error) {
	latest, err := latestCases(tx, breederID)
	if err != nil {
		return nil, err
	}
	zone, err := zoneOf(tx, breederID)
	if err != nil {
		return nil, err
	}
	list := make([]StockAnimal, len(page))
	clutches := map[clutch]bool{}
	var wanted []string
	for i, a := range page {
		list[i].Animal = a
		if c, ok := latest[a.ID]; ok {
			list[i].CaseID, list[i].Outcome = c.ID, c.Outcome
			list[i].Away = c.ClosedAt == nil || c.Outcome != care.OutcomeReturned
		}
		if !list[i].Away {
			wanted = append(wanted, a.ID)
			clutches[clutchKey(&a)] = true
		}
	}
	delete(clutches, clutch{})
	mates := map[clutch][]string{}
	if len(clutches) > 0 {
		all, err := stockOf(tx, breederID)
		if err != nil {
			return nil, err
		}
		for i := range all {
			if c := clutchKey(&all[i]); clutches[c] {
				mates[c] = append(mates[c], all[i].ID)
				wanted = append(wanted, all[i].ID)
			}
		}
	}
	slices.Sort(wanted)
	entries, err := tx.StockLog(breederID, slices.Compact(wanted), now.AddDate(0, 0, -stockDays))
	if err != nil {
		return nil, err
	}
	logs := map[string][]care.Entry{}
	for len(entries) > 0 {
		id, n := entries[0].AnimalID, 1
		for n < len(entries) && entries[n].AnimalID == id {
			n++
		}
		logs[id], entries = entries[:n:n], entries[n:]
	}
	// A mate's weight is what it had here: a keeper feeds as a keeper does.
	weighed := map[string]assess.Weighed{}
	for id, log := range logs {
		here := slices.DeleteFunc(slices.Clone(log), func(e care.Entry) bool { return e.CaseID != "" })
		weighed[id] = assess.LastWeighed(here, now)
	}
	for i := range list {
		a := &list[i]
		if a.Away {
			continue
		}
		log := logs[a.Animal.ID]
		var others []assess.Weighed
		for _, id := range mates[clutchKey(&a.Animal)] {
			if w := weighed[id]; id != a.Animal.ID && w.Mass > 0 {
				others = append(others, w)
			}
		}
		a.Weighed, a.Ready = assess.LastWeighed(log, now), assess.Ready(&a.Animal, log, others, now.In(zone))
		if until := latest[a.Animal.ID].Return.QuarantineUntil; until != nil && now.Before(*until) {
			a.Ready.Quarantine(*until)
		}
		a.LastOffer, a.LastMeal = lastOffers(log)
		a.OfferAgain = assess.OfferAgain(&a.Animal, a.Weighed.Mass, a.LastOffer, now)
	}
	return list, nil
}

// clutch is what makes animals clutch mates: the breeder's label in one
// species, or else the mother and the day.
type clutch struct{ label, species string }

func clutchKey(a *care.Animal) clutch {
	label := strings.TrimSpace(a.Clutch)
	switch {
	case label != "":
		return clutch{label, a.Species}
	case a.MotherID != "" && a.Hatched != nil:
		return clutch{a.MotherID + a.Hatched.Format(" of 2006-01-02"), a.Species}
	}
	return clutch{}
}

// lastOffers are the last offer, and the last one that was eaten and stayed
// down.
func lastOffers(log []care.Entry) (offer, meal *care.Entry) {
	var before *care.Entry // the meal before the last
	for i := range log {
		o, ok := log[i].Body.(care.Offer)
		if !ok {
			continue
		}
		offer = &log[i]
		switch o.Result {
		case care.Eaten:
			before, meal = meal, offer
		case care.Regurgitated:
			meal = before
		}
	}
	return offer, meal
}

// latestCases is the latest case of each animal that was handed over; a
// handover that was revoked leaves none.
func latestCases(tx care.Tx, breederID string) (map[string]care.Case, error) {
	latest := map[string]care.Case{}
	var after care.Cursor
	for {
		page, next, err := tx.ListCases(breederID, care.CaseQuery{Open: true, Closed: true}, after, 500)
		if err != nil {
			return nil, err
		}
		for _, c := range page {
			revoked := c.ClosedAt != nil && c.Outcome == ""
			if was, ok := latest[c.AnimalID]; !revoked && (!ok || was.HandedOverAt.Before(c.HandedOverAt)) {
				latest[c.AnimalID] = c
			}
		}
		if next == (care.Cursor{}) {
			return latest, nil
		}
		after = next
	}
}
