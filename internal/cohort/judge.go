package cohort

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// detected is what the assessment says of each case, day by day.
type detected struct {
	Alarm   Score // what the levels go by
	Chance  Score // the calibrated probability of a lasting refusal
	Urgency Score // what orders the triage list
	OffFeed Score // the probability that it has stopped eating
	Changes int   // of standing, over all cases
}

// detect runs the assessment over all cases. Setup checks are left out: their
// hazards are no part of the question whether an animal fails.
func detect(cases []Case) detected {
	out := detected{Alarm: Score{Name: "alarm score"}, Chance: Score{Name: "probability"}, Urgency: Score{Name: "urgency"}, OffFeed: Score{Name: "off feed"}}
	scores := []*Score{&out.Alarm, &out.Chance, &out.Urgency, &out.OffFeed}
	for _, s := range scores {
		s.Days = make([][]float64, len(cases))
	}
	changes := make([]int, len(cases))
	parallel(len(cases), func(i int) {
		c := &cases[i]
		log := slices.DeleteFunc(slices.Clone(c.Log), func(e care.Entry) bool { return e.Body.Kind() == care.KindSetup })
		days := make([]float64, len(scores)*Horizon)
		for k, s := range scores {
			s.Days[i] = days[k*Horizon : (k+1)*Horizon]
		}
		_, course := assess.AssessCourse(&c.Subject, log, evening(c, Horizon-1))
		var w assess.Walker
		w.Reset(&c.Subject, log)
		for d := range course.Days {
			n := w.Step(evening(c, d))
			for k, v := range []float64{course.Days[d].Alarm, n.PRefusal, n.Urgency, n.POffFeed} {
				scores[k].Days[i][d] = v
			}
		}
		changes[i] = len(course.Changes) - 1
	})
	for _, n := range changes {
		out.Changes += n
	}
	return out
}

// evening is the end of a day of a case.
func evening(c *Case, day int) time.Time { return moment(c.Subject.HandedOverAt, float64(day)+.999) }

// parallel calls f for 0 to n−1, on half of the processors.
func parallel(n int, f func(int)) {
	workers := max(1, runtime.GOMAXPROCS(0)/2)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := w; i < n; i += workers {
				f(i)
			}
		})
	}
	wg.Wait()
}

// forgetful are the cases without what was logged of feeding at the breeder,
// and without what the breeder's other animals teach.
func forgetful(cases []Case) []Case {
	out := slices.Clone(cases)
	for i := range out {
		c := &out[i]
		c.Log = slices.DeleteFunc(slices.Clone(c.Log), func(e care.Entry) bool {
			return e.Body.Kind() == care.KindOffer && e.HappenedAt.Before(c.Subject.HandedOverAt)
		})
		c.Subject.Learned = care.Learned{}
	}
	return out
}

// Budgets are the shares of healthy animals that may ever alarm: a threshold is
// tuned to each.
var Budgets = [...]float64{.02, .05, .10, .15, .20, .25, .30, .40, .50}

// Contestant is one way to raise alarms, with what it finds at each budget.
type Contestant struct {
	Name  string
	Found [len(Budgets)]Found
	Rule  [len(Budgets)]Rule // of thumb, as tuned; nothing for a score
}

// At is what is found at one of the budgets.
func (c *Contestant) At(budget float64) Found { return c.Found[slices.Index(Budgets[:], budget)] }

// Verdict is the judgement of one world.
type Verdict struct {
	World         World
	Tuned, Judged []uint64 // seeds
	Truths        Truths   // of those judged

	// Contestants are the alarm score, the probability and the urgency, the best
	// rule of all three thumbs, and the best of one thumb each.
	Contestants []Contestant
	// Common are rules as people say them, taken as they are, each with what the
	// alarm score finds at the same share of false alarms.
	Common []struct {
		Name         string
		Rule, Scored Found
	}

	Alarm, Chance, Urgency, OffFeed, Thumb Ranking // OffFeed: of pausing and failing animals alike

	Brier, ECE, ECERecalibrated float64
	Calibration                 Line // fitted on the tuned seeds
	Bins                        []Bin
	Changes                     float64 // of standing per 100 animals
	PickyForgotten              float64 // alarms of picky healthy animals at 10 % without what is known from the breeder
}

// Judge tunes thresholds and rules on one set of seeds, freezes them and
// applies them to another.
func Judge(w World, tuned, judged []uint64, books int) Verdict {
	v := Verdict{World: w, Tuned: tuned, Judged: judged}
	tune, cases := many(w, tuned, books), many(w, judged, books)
	td, jd := detect(tune), detect(cases)
	tt, jt := thumbsOf(tune), thumbsOf(cases)
	v.Truths = Describe(cases)

	for _, s := range [][2]*Score{{&td.Alarm, &jd.Alarm}, {&td.Chance, &jd.Chance}, {&td.Urgency, &jd.Urgency}} {
		c := Contestant{Name: s[0].Name}
		for b, budget := range Budgets {
			c.Found[b] = s[1].Find(cases, s[0].Threshold(tune, budget))
		}
		v.Contestants = append(v.Contestants, c)
	}
	all := grid(true)
	for _, r := range []struct {
		name  string
		rules []Rule
	}{
		{"best rule", all},
		{"refusals in a row", only(all, func(r Rule) [2]float64 { return [2]float64{r.Overdue, r.Loss} })},
		{"days since a meal", only(all, func(r Rule) [2]float64 { return [2]float64{r.Row, r.Loss} })},
		{"raw loss", only(all, func(r Rule) [2]float64 { return [2]float64{r.Row, r.Overdue} })},
	} {
		c := Contestant{Name: r.name}
		for b, budget := range Budgets {
			c.Rule[b] = tt.best(tune, r.rules, budget)
			s := c.Rule[b].score(&jt)
			c.Found[b] = s.Find(cases, 1)
		}
		v.Contestants = append(v.Contestants, c)
	}
	for _, r := range []struct {
		name string
		rule Rule
	}{
		{"2 refusals in a row", Rule{2, inf, inf}}, {"3 refusals in a row", Rule{3, inf, inf}},
		{"4 refusals in a row", Rule{4, inf, inf}}, {"10 % raw loss", Rule{inf, inf, 10}},
	} {
		s := r.rule.score(&jt)
		found := s.Find(cases, 1)
		tuned := r.rule.score(&tt)
		scored := jd.Alarm.Find(cases, td.Alarm.Threshold(tune, tuned.Find(tune, 1).FalseAlarms))
		v.Common = append(v.Common, struct {
			Name         string
			Rule, Scored Found
		}{r.name, found, scored})
	}

	tuneShots, shots := snapshotsOf(tune, tuned[0]), snapshotsOf(cases, judged[0])
	v.Alarm, v.Chance, v.Urgency = jd.Alarm.rank(cases, shots), jd.Chance.rank(cases, shots), jd.Urgency.rank(cases, shots)
	v.Thumb = bestOrder(&tt, &jt, tuneShots, shots, cases)
	v.OffFeed = jd.OffFeed.rank(cases, pausing(cases, shots))

	v.Calibration = Recalibrate(td.Chance.at(tuneShots))
	p, failing := jd.Chance.at(shots)
	v.Brier, v.ECE, v.Bins = Brier(p, failing), ECE(p, failing), Bins(p, failing)
	for i := range p {
		p[i] = v.Calibration.Apply(p[i])
	}
	v.ECERecalibrated = ECE(p, failing)
	v.Changes = 100 * float64(jd.Changes) / float64(len(cases))

	forgotten := detect(forgetful(cases))
	v.PickyForgotten = forgotten.Alarm.Find(cases, td.Alarm.Threshold(tune, .10)).PickyAlarms
	return v
}

// bestOrder is how the rule that orders the tuned cases best orders the others.
func bestOrder(tune, judge *thumbs, tuneShots, shots []Snapshot, cases []Case) Ranking {
	var best Rule
	area := 0.
	for _, r := range grid(false) {
		s := r.score(tune)
		if a := AUROC(s.at(tuneShots)); a > area {
			best, area = r, a
		}
	}
	s := best.score(judge)
	return s.rank(cases, shots)
}

// pausing are snapshots that ask whether the animal has stopped eating, for
// whatever reason.
func pausing(cases []Case, shots []Snapshot) []Snapshot {
	out := slices.Clone(shots)
	for i := range out {
		x := &out[i]
		x.Failing = x.Failing || cases[x.Case].Truth.Paused[x.Day]
	}
	return out
}

func many(w World, seeds []uint64, books int) (cases []Case) {
	for n, seed := range seeds {
		more := Make(w, seed, books)
		for i := range more {
			more[i].Book += n * books
		}
		cases = append(cases, more...)
	}
	return cases
}

// Truths describe a cohort, to see whether it is a likely one.
type Truths struct {
	Animals   int
	Fails     float64            // share
	Paused    float64            // share of healthy animals that ever pause
	Picky     float64            // share that refused two offers of five or more at the breeder
	Refused   map[string]float64 // share of the offers at home that healthy animals refuse while they do not pause, by species
	LostTenth [2]float64         // share of the healthy and of the failing that lose a tenth in truth
}

// Describe sums a cohort up.
func Describe(cases []Case) Truths {
	t := Truths{Animals: len(cases), Refused: map[string]float64{}}
	offers := map[string]float64{}
	var n [2]float64
	for i := range cases {
		c := &cases[i]
		k := int(truth(c.Truth.Fails()))
		n[k]++
		t.LostTenth[k] += truth(slices.Max(c.Truth.Loss) > .10)
		t.Picky += truth(c.Truth.Picky)
		if k == 1 {
			continue
		}
		t.Paused += truth(slices.Contains(c.Truth.Paused, true))
		for j := range c.Log {
			o, ok := c.Log[j].Body.(care.Offer)
			d := int(math.Floor(c.Log[j].HappenedAt.Sub(c.Subject.HandedOverAt).Hours() / 24))
			if ok && d >= 0 && !c.Truth.Paused[d] {
				offers[c.Subject.Animal.Species]++
				t.Refused[c.Subject.Animal.Species] += truth(o.Result != care.Eaten)
			}
		}
	}
	for id := range offers {
		t.Refused[id] /= offers[id]
	}
	t.Picky /= n[0] + n[1]
	t.Fails = n[1] / (n[0] + n[1])
	t.Paused /= n[0]
	t.LostTenth[0] /= n[0]
	t.LostTenth[1] /= n[1]
	return t
}

// Load is what a breeder with a book of forty open cases has to answer to, with
// setup checks, climate and all.
type Load struct {
	RisesPerDay float64            // cases that rise to step in or vet, a day
	Days        [3]float64         // share of days with none, with one, with more
	ByCause     map[string]float64 // rises a day, by the gravest concern's kind
}

// LoadOf counts the rises in books whose cases began on different days, so that
// every day has cases of every age.
func LoadOf(cases []Case, seed uint64) Load {
	books := 0
	for i := range cases {
		books = max(books, cases[i].Book+1)
	}
	rises := make([][Horizon]int, books)
	causes := make([]map[string]int, len(cases))
	perCase := make([][]int, len(cases))
	parallel(len(cases), func(i int) {
		c := &cases[i]
		var w assess.Walker
		w.Reset(&c.Subject, c.Log)
		was := care.Settled
		causes[i] = map[string]int{}
		for d := range Horizon {
			n := w.Step(evening(c, d))
			if n.Standing >= care.StepIn && was < care.StepIn {
				perCase[i] = append(perCase[i], d)
				a := w.Assessment()
				causes[i][kindOf(a.Concerns[0].Code)]++
			}
			was = n.Standing
		}
	})
	l := Load{ByCause: map[string]float64{}}
	r := rand.New(rand.NewPCG(seed, 0x10ad))
	for i := range cases {
		began := r.IntN(Horizon)
		for _, d := range perCase[i] {
			rises[cases[i].Book][(began+d)%Horizon]++
		}
		for k, n := range causes[i] {
			l.ByCause[k] += float64(n)
		}
	}
	days := float64(books * Horizon)
	for b := range rises {
		for _, n := range rises[b] {
			l.RisesPerDay += float64(n) / days
			l.Days[min(n, 2)] += 1 / days
		}
	}
	for k := range l.ByCause {
		l.ByCause[k] /= days
	}
	return l
}

// kindOf is the kind of a concern: "setup" of "setup:hides".
func kindOf(code string) string {
	for i, c := range code {
		if c == ':' || c == '_' {
			return code[:i]
		}
	}
	return code
}
