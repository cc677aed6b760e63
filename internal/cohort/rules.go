package cohort

import (
	"fmt"
	"math"
	"strings"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// The three things that a rule of thumb goes by.
type thumbs struct {
	Row     Score // refusals in a row
	Overdue Score // days since the last meal, in usual gaps between offers
	Loss    Score // % lost by the last weight
}

// thumbsOf reads them off the logs. A weight that is off by half is left out, as
// anybody would.
func thumbsOf(cases []Case) thumbs {
	t := thumbs{Row: Score{Name: "refusals in a row"}, Overdue: Score{Name: "days since the last meal"}, Loss: Score{Name: "raw loss"}}
	for i := range cases {
		c := &cases[i]
		sp, _ := snake.ByID(c.Subject.Animal.Species)
		every := sp.OfferEvery[ageAt(c, &sp)].Mid()
		row, over, loss := make([]float64, Horizon), make([]float64, Horizon), make([]float64, Horizon)
		start, mass, n, lost, next := c.Subject.HandedOverAt, 0., 0, 0., 0
		meal, earlier := start, start
		for d := range Horizon {
			tomorrow := moment(start, float64(d+1))
			for ; next < len(c.Log) && c.Log[next].HappenedAt.Before(tomorrow); next++ {
				x := &c.Log[next]
				home := x.HappenedAt.After(start)
				switch b := x.Body.(type) {
				case care.Offer:
					switch {
					case b.Result == care.Eaten:
						earlier, meal, n = meal, x.HappenedAt, 0
					case b.Result == care.Regurgitated:
						meal, n = earlier, n+1
					case home:
						n++
					}
				case care.WeighIn:
					switch g := float64(b.Mass); {
					case !home || mass == 0:
						mass = g
					case g > mass/2 && g < mass*2:
						lost = 100 * (1 - g/mass)
					}
				}
			}
			row[d], loss[d] = float64(n), lost
			over[d] = tomorrow.Sub(meal).Hours() / 24 / every
		}
		t.Row.Days, t.Overdue.Days, t.Loss.Days = append(t.Row.Days, row), append(t.Overdue.Days, over), append(t.Loss.Days, loss)
	}
	return t
}

// Rule alarms at so many refusals in a row, or at so many usual gaps since the
// last meal, or at so much raw loss; +Inf leaves one out.
type Rule struct{ Row, Overdue, Loss float64 }

var inf = math.Inf(1)

// grid is every rule that is tried.
func grid(fine bool) (rules []Rule) {
	rows := []float64{1, 2, 3, 4, 5, 6, 7, 8, 10, inf}
	overs := []float64{1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 10, 12, inf}
	losses := []float64{inf}
	step := .5
	if !fine {
		rows, overs, step = []float64{2, 3, 5, 8, inf}, []float64{2, 4, 6, 10, inf}, 3
	}
	for l := 2.; l <= 20; l += step {
		losses = append(losses, l)
	}
	for _, k := range rows {
		for _, o := range overs {
			for _, l := range losses {
				if !math.IsInf(k, 1) || !math.IsInf(o, 1) || !math.IsInf(l, 1) {
					rules = append(rules, Rule{k, o, l})
				}
			}
		}
	}
	return rules
}

// score is the rule as a number that is 1 where it alarms.
func (r Rule) score(t *thumbs) Score {
	s := Score{Name: "rule"}
	for i := range t.Row.Days {
		days := make([]float64, Horizon)
		for d := range days {
			days[d] = math.Max(t.Row.Days[i][d]/r.Row, math.Max(t.Overdue.Days[i][d]/r.Overdue, math.Max(0, t.Loss.Days[i][d])/r.Loss))
		}
		s.Days = append(s.Days, days)
	}
	return s
}

// best is the rule with the largest share found within three weeks among those
// that keep to this share of false alarms.
func (t *thumbs) best(cases []Case, rules []Rule, falseAlarms float64) Rule {
	type tops struct{ row, over, loss float64 }
	var healthy, failing []tops
	for i := range cases {
		from, to := 0, Horizon
		list := &healthy
		if tr := &cases[i].Truth; tr.Fails() {
			from, to, list = int(tr.Onset), int(tr.Onset+21), &failing
		}
		*list = append(*list, tops{t.Row.highest(i, from, to), t.Overdue.highest(i, from, to), t.Loss.highest(i, from, to)})
	}
	share := func(list []tops, r Rule) float64 {
		n := 0
		for _, x := range list {
			if x.row >= r.Row || x.over >= r.Overdue || x.loss >= r.Loss {
				n++
			}
		}
		return float64(n) / float64(len(list))
	}
	best, found := Rule{inf, inf, inf}, 0. // none: it never alarms
	for _, r := range rules {
		if share(healthy, r) > falseAlarms {
			continue
		}
		if f := share(failing, r); f > found {
			best, found = r, f
		}
	}
	return best
}

// only keeps the rules that go by one thing.
func only(rules []Rule, which func(Rule) [2]float64) (out []Rule) {
	for _, r := range rules {
		if others := which(r); math.IsInf(others[0], 1) && math.IsInf(others[1], 1) {
			out = append(out, r)
		}
	}
	return out
}

// String is the rule in words.
func (r Rule) String() string {
	var parts []string
	if !math.IsInf(r.Row, 1) {
		parts = append(parts, fmt.Sprintf("%g in a row", r.Row))
	}
	if !math.IsInf(r.Overdue, 1) {
		parts = append(parts, fmt.Sprintf("%g gaps", r.Overdue))
	}
	if !math.IsInf(r.Loss, 1) {
		parts = append(parts, fmt.Sprintf("%g %% lost", r.Loss))
	}
	if parts == nil {
		return "none keeps to it"
	}
	return strings.Join(parts, " or ")
}
