package followup

import (
	"context"
	"slices"
	"strings"

	"warmhand/internal/care"
	"warmhand/internal/insight"
	"warmhand/internal/snake"
)

// MostSales is how many sales an insight looks at, the latest; each one's log is
// read.
const MostSales = 1000

// Insight counts the breeder's sales that a keeper took on, open and ended, and
// says how many older ones it left out.
func (s *Service) Insight(ctx context.Context, who care.Actor, breederID string) (in insight.Insight, leftOut int, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return in, 0, err
	}
	var cases []care.Case
	err = s.store.Read(ctx, func(tx care.Tx) error {
		cases = nil
		if _, err := tx.Breeder(breederID); err != nil {
			return err
		}
		for after := (care.Cursor{}); ; {
			page, next, err := tx.ListCases(breederID, care.CaseQuery{Open: true, Closed: true}, after, 500)
			if err != nil {
				return err
			}
			for _, c := range page {
				if c.KeeperID != "" {
					cases = append(cases, c)
				}
			}
			if after = next; next == (care.Cursor{}) {
				return nil
			}
		}
	})
	if err != nil {
		return in, 0, err
	}
	slices.SortFunc(cases, func(a, b care.Case) int { return b.HandedOverAt.Compare(a.HandedOverAt) })
	if leftOut = max(0, len(cases)-MostSales); leftOut > 0 {
		cases = cases[:MostSales]
	}
	// Each piece in a transaction of its own: a snapshot held for seconds keeps the
	// engine from tidying up.
	var sales []insight.Sale
	for piece := range slices.Chunk(cases, 50) {
		var some []insight.Sale
		err := s.store.Read(ctx, func(tx care.Tx) error {
			some = some[:0]
			for i := range piece {
				sale, err := soldAs(tx, &piece[i])
				if care.IsCode(err, care.NotFound) {
					continue // gone meanwhile
				}
				if err != nil {
					return err
				}
				some = append(some, sale)
			}
			return nil
		})
		if err != nil {
			return in, 0, err
		}
		sales = append(sales, some...)
	}
	return insight.Of(sales), leftOut, nil
}

// soldAs reads one case as an insight counts it.
func soldAs(tx care.Tx, c *care.Case) (sale insight.Sale, err error) {
	a, err := tx.Animal(c.BreederID, c.AnimalID)
	if err != nil {
		return sale, err
	}
	h, err := tx.Handover(c.BreederID, c.ID) // a case has its handover's id
	if err != nil {
		return sale, err
	}
	clutch, err := clutchOf(tx, &a)
	if err != nil {
		return sale, err
	}
	log, err := tx.Log(c.BreederID, c.AnimalID)
	if err != nil {
		return sale, err
	}
	flags, err := tx.ListFlags(c.BreederID, c.ID)
	if err != nil {
		return sale, err
	}
	sp, _ := snake.ByID(a.Species)
	sale = insight.Sale{
		Case: c.ID, Clutch: clutch, ShowDay: strings.TrimSpace(h.ShowDay), Species: sp.Common,
		Age:        sp.Age(a.Hatched, float64(lastMass(h.Record.Weights, h.HandedOverAt)), h.HandedOverAt).String(),
		HandedOver: c.HandedOverAt, Until: c.HandedOverAt, Flags: flags, Outcome: c.Outcome,
	}
	for i := len(h.Record.Offers) - 1; i >= 0 && sale.Prey == ""; i-- {
		if o, ok := h.Record.Offers[i].Body.(care.Offer); ok && o.Result == care.Eaten && o.Prey != "" {
			sale.Prey = strings.TrimSpace(string(o.PreyState) + " " + o.Prey)
		}
	}
	for i := range log {
		e := &log[i]
		if e.CaseID != c.ID || !e.Current() || e.HappenedAt.Before(c.HandedOverAt) {
			continue
		}
		if end, ok := e.Body.(care.Ended); ok && c.Outcome == care.OutcomeReturned && end.Outcome == c.Outcome && !end.Reopened {
			sale.Lessons = end.Lessons.Codes()
		}
		if e.By == care.KeeperActor {
			sale.Until = e.HappenedAt
		}
		if o, ok := e.Body.(care.Offer); ok {
			switch n := len(sale.Meals); {
			case o.Result == care.Eaten:
				sale.Meals = append(sale.Meals, e.HappenedAt)
			case o.Result == care.Regurgitated && n > 0:
				sale.Meals = sale.Meals[:n-1] // it cancels the last
			}
		}
	}
	switch c.Outcome { // somebody knew how it was
	case care.OutcomeSettled, care.OutcomeReturned, care.OutcomeVet, care.OutcomeDied:
		sale.Until = *c.ClosedAt
	}
	return sale, nil
}
