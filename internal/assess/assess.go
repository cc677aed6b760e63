// Package assess turns an animal's log into one assessment: standing, urgency,
// and why. It is a pure function of the log, the tables and a time; replay,
// the live service, "what if" and tests call the same one.
//
// Nothing here is field-validated. Rates marked [assumption] are modelling
// choices; probabilities are no diagnosis.
package assess

import (
	"cmp"
	"math"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// Subject is what is known of a case besides its log.
type Subject struct {
	Animal       care.Animal
	HandedOverAt time.Time
	Learned      care.Learned // zero: the species table
	Hemi         care.Hemisphere
}

// Assessment is what the log says at one time.
type Assessment struct {
	At       time.Time     `json:"at"`
	Day      int           `json:"day"` // whole days since the handover
	Standing care.Standing `json:"standing"`
	// Urgency is the expected loss, 0 to 1; it orders the triage list.
	Urgency  float64 `json:"urgency"`
	PRefusal float64 `json:"p_refusal"`  // calibrated probability of a lasting refusal
	POffFeed float64 `json:"p_off_feed"` // has stopped eating for now, for whatever reason
	LogOdds  float64 `json:"log_odds"`   // of a lasting refusal; the reasons add up to it
	// LossPct is the loss of body mass since the handover, %, with its 90 %
	// interval; negative is gain.
	LossPct  float64 `json:"loss_pct"`
	LossLow  float64 `json:"loss_pct_low"`
	LossHigh float64 `json:"loss_pct_high"`
	PLoss10  float64 `json:"p_loss_10"`
	// FastDays counts from the last meal kept down; -1: no meal on record.
	FastDays int `json:"fast_days"`
	// DaysTo10 is how long until 10 % loss if it goes on; -1: not losing.
	DaysTo10 float64        `json:"days_to_10"`
	Reasons  []care.Reason  `json:"reasons"`
	Causes   []care.Cause   `json:"causes"`
	Steps    []care.Step    `json:"steps"`
	Concerns []care.Concern `json:"concerns"`
	Missing  string         `json:"missing"`
	Headline string         `json:"headline"`
	// What the keeper reads: what is seen, what it most likely is, the one
	// thing to do now, when to worry.
	KeeperSees  string `json:"keeper_sees"`
	KeeperMeans string `json:"keeper_means"`
	KeeperDo    string `json:"keeper_do"`
	KeeperWorry string `json:"keeper_worry"`
	// NothingHeardDays counts days without a word from the keeper.
	NothingHeardDays int `json:"nothing_heard_days"`
	LearnedFrom      int `json:"learned_from"`
	// DueAt is the next time at which time alone may change the answer.
	DueAt time.Time `json:"due_at"`
}

// Course is the day-by-day course of a case, for plots.
type Course struct{ Days []CourseDay }

// CourseDay is one day: masses in grams, 0 when no weight is known.
type CourseDay struct {
	At             time.Time
	Day            int
	Mass           float64 // without what is in the gut
	Low, High      float64 // 90 % interval
	Expected       float64 // what an ordinary fast since the last meal would leave
	PRefusal       float64
	Standing       care.Standing
	LogOdds, Alarm float64
}

// Assess says what the log says at an instant. log is ordered by HappenedAt;
// entries that were corrected or withdrawn, or lie after now, do not count.
func Assess(s *Subject, log []care.Entry, now time.Time) Assessment {
	e := run(s, log, now, nil)
	return e.conclude()
}

// AssessCourse is Assess with every day on the way.
func AssessCourse(s *Subject, log []care.Entry, now time.Time) (Assessment, Course) {
	var c Course
	e := run(s, log, now, func(d CourseDay) { c.Days = append(c.Days, d) })
	return e.conclude(), c
}

const day = 24 * time.Hour

// engine steps one case from its handover to now.
type engine struct {
	s   *Subject
	sp  snake.Species
	age snake.AgeClass
	now time.Time
	day int

	feed   feeding
	weight weighing
	levels hysteresis

	// What was seen on the way.
	lastMeal       time.Time // kept down
	lastMealPrey   care.Offer
	beforeLastMeal time.Time // for a meal that came up again
	preyChanged    bool
	opaqueAt       time.Time // in shed since; zero: not
	lastShed       time.Time
	incompleteShed bool
	regurgitated   []time.Time
	refusals       []refusal // since the last meal, in this home
	refusedInARow  int
	lastOffer      time.Time
	lastOfferAtAll care.Offer
	lastHeard      time.Time
	lastWeighed    time.Time // by the keeper
	climate        climate
	answers        map[string]answer
	signs          []signSeen
	step           care.StepAgreed
	stepAt         time.Time
	meals          int // in a row in the new home
	observations   int
	contributions  []contribution
}

type refusal struct {
	at     time.Time
	id     string
	terms  excuses
	offer  care.Offer
	struck bool
}

type answer struct {
	care.SetupAnswer
	at time.Time
	id string
}

type signSeen struct {
	code string
	at   time.Time
	id   string
}

// contribution is one exact change of the log-odds.
type contribution struct {
	group string // start, time, offer, temperature, regurgitation
	delta float64
	at    time.Time
	id    string
	note  string
}

func run(s *Subject, log []care.Entry, now time.Time, each func(CourseDay)) *engine {
	e := &engine{s: s, now: now}
	e.sp, _ = snake.ByID(s.Animal.Species)
	start := s.HandedOverAt
	mass := handoverMass(log, start)
	e.age = e.sp.Age(s.Animal.Hatched, mass, start)
	e.lastHeard = start
	e.weight = newWeighing(e.sp.LossPerDay[e.age], log, start)
	e.feed = newFeeding(&e.sp, e.age, s.Learned)

	// The breeder's history: everything before the handover. What the breeder
	// saw of the skin and the meals carries over; the clock of the new home
	// starts now.
	i := 0
	for ; i < len(log) && log[i].HappenedAt.Before(start); i++ {
		if log[i].Current() {
			e.history(&log[i])
		}
	}
	last := int(math.Floor(now.Sub(start).Hours() / 24))
	if now.Before(start) {
		last = -1
	}
	e.contribute("start", e.feed.logOdds(), start, "", "")
	for d := 0; d <= last; d++ {
		e.day = d
		if d > 0 {
			before := e.feed.logOdds()
			e.feed.pass(e.climate.deficit(&e.sp))
			e.contribute("time", e.feed.logOdds()-before, start.Add(time.Duration(d)*day), "", "")
			e.weight.pass()
		}
		end := start.Add(time.Duration(d+1) * day)
		j := i
		for j < len(log) && log[j].HappenedAt.Before(end) && !log[j].HappenedAt.After(now) {
			j++
		}
		e.today(log[i:j])
		i = j
		e.levels.look(e.alarm(), e.observations)
		if each != nil {
			at := end.Add(-day)
			each(e.courseDay(at))
		}
	}
	return e
}

// today takes in one day's entries: the weights first, for an animal is weighed
// before it is fed, in an order of their own, so that the order of arrival does
// not matter; then the rest in order of time, so that an offer is excused only
// by what was known when it was made.
func (e *engine) today(entries []care.Entry) {
	var weights [8]*care.Entry
	n := 0
	for i := range entries {
		if x := &entries[i]; n < len(weights) && x.Current() && x.Body.Kind() == care.KindWeighIn {
			weights[n] = x
			n++
		}
	}
	w := weights[:n]
	if n > 1 {
		slices.SortFunc(w, func(a, b *care.Entry) int {
			return cmp.Compare(a.Body.(care.WeighIn).Mass, b.Body.(care.WeighIn).Mass)
		})
	}
	for _, x := range w {
		e.weight.observe(float64(x.Body.(care.WeighIn).Mass), x.By == care.KeeperActor)
		e.lastWeighed = x.HappenedAt
	}
	for i := range entries {
		x := &entries[i]
		if !x.Current() {
			continue
		}
		if x.By == care.KeeperActor && x.HappenedAt.After(e.lastHeard) {
			e.lastHeard = x.HappenedAt
		}
		e.observations++
		switch b := x.Body.(type) {
		case care.Offer:
			e.takeOffer(b, x)
		case care.ClimateReading:
			e.takeClimate(b, x)
		case care.Shed:
			e.takeShed(b, x.HappenedAt)
		case care.Sign:
			e.signs = append(e.signs, signSeen{b.Code, x.HappenedAt, x.ID})
		case care.SetupCheck:
			if e.answers == nil {
				e.answers = map[string]answer{}
			}
			for _, a := range b.Answers {
				e.answers[a.Point] = answer{a, x.HappenedAt, x.ID}
			}
		case care.StepAgreed:
			e.step, e.stepAt = b, x.HappenedAt
		case care.WeighIn:
		default:
			e.observations-- // a message or a visit is no observation of the animal
		}
	}
}

// history takes in one entry of the breeder's time.
func (e *engine) history(x *care.Entry) {
	switch b := x.Body.(type) {
	case care.Offer:
		weeks := e.s.HandedOverAt.Sub(x.HappenedAt).Hours() / 24 / 7
		w := math.Pow(recency, weeks)
		switch b.Result {
		case care.Eaten:
			e.feed.learn(0, w)
			e.beforeLastMeal, e.lastMeal, e.lastMealPrey = e.lastMeal, x.HappenedAt, b
		case care.Regurgitated:
			e.feed.learn(1, w)
			e.lastMeal = e.beforeLastMeal
			e.regurgitated = append(e.regurgitated, x.HappenedAt)
		default:
			if e.inShed(x.HappenedAt) {
				w *= .4
			}
			e.feed.learn(1, w)
		}
		e.lastOffer, e.lastOfferAtAll = x.HappenedAt, b
	case care.Shed:
		e.takeShed(b, x.HappenedAt)
	}
}

func (e *engine) contribute(group string, delta float64, at time.Time, id, note string) {
	if n := len(e.contributions); n > 0 && group == "time" && e.contributions[n-1].group == "time" {
		e.contributions[n-1].delta += delta
		return
	}
	e.contributions = append(e.contributions, contribution{group, delta, at, id, note})
}

// shedDays is how long an opaque report stands for "in shed" when nothing else
// is heard: the whole cycle takes 10 to 14 days (from memory, reptile-medicine
// handbooks).
const shedDays = 14

func (e *engine) inShed(at time.Time) bool {
	return !e.opaqueAt.IsZero() && at.Sub(e.opaqueAt) < shedDays*day
}

func (e *engine) takeShed(b care.Shed, at time.Time) {
	switch b.Stage {
	case care.ShedDone:
		e.opaqueAt, e.lastShed = time.Time{}, at
		e.incompleteShed = b.Complete != nil && !*b.Complete
	default:
		if !e.inShed(at) {
			e.opaqueAt = at
		}
	}
}

func (e *engine) takeClimate(b care.ClimateReading, x *care.Entry) {
	first := e.climate.take(b, x, &e.sp)
	if !first {
		return
	}
	before := e.feed.logOdds()
	e.feed.cold(e.climate.deficit(&e.sp))
	e.contribute("temperature", e.feed.logOdds()-before, x.HappenedAt, x.ID, "")
}

func (e *engine) takeOffer(b care.Offer, x *care.Entry) {
	at := x.HappenedAt
	before := e.feed.logOdds()
	terms := e.excusesAt(b, at)
	switch b.Result {
	case care.Eaten:
		e.feed.accepted(terms.total())
		e.weight.meal(float64(b.PreyMass), e.preyGuess())
		e.beforeLastMeal, e.lastMeal, e.lastMealPrey = e.lastMeal, at, b
		e.refusals, e.refusedInARow, e.preyChanged = e.refusals[:0], 0, false
		e.meals++
		e.contribute("offer", e.feed.logOdds()-before, at, x.ID, "eaten")
	case care.Regurgitated:
		e.feed.regurgitated()
		e.weight.unmeal()
		e.lastMeal = e.beforeLastMeal
		e.regurgitated = append(e.regurgitated, at)
		e.meals = 0
		e.contribute("regurgitation", e.feed.logOdds()-before, at, x.ID, "")
	default:
		e.feed.refused(terms.total())
		e.refusals = append(e.refusals, refusal{at, x.ID, terms, b, b.Result == care.Struck})
		e.refusedInARow++
		e.meals = 0
		e.contribute("offer", e.feed.logOdds()-before, at, x.ID, "refused")
	}
	e.lastOffer, e.lastOfferAtAll = at, b
}

// preyGuess is the prey's mass where it was not noted: the last known one,
// else the middle of what the species is fed.
func (e *engine) preyGuess() float64 {
	if e.lastMealPrey.PreyMass > 0 {
		return float64(e.lastMealPrey.PreyMass)
	}
	return e.sp.PreyShare[e.age].Mid() / 100 * e.weight.start
}

// handoverMass is the last weight on record by the handover, 0 when unknown.
func handoverMass(log []care.Entry, start time.Time) float64 {
	mass := 0.0
	for i := range log {
		if log[i].HappenedAt.After(start) {
			break
		}
		if w, ok := log[i].Body.(care.WeighIn); ok && log[i].Current() {
			mass = float64(w.Mass)
		}
	}
	return mass
}

// alarm is the score that the levels go by: the log-odds of a lasting refusal,
// or the weight alone where that says more.
func (e *engine) alarm() float64 {
	return math.Max(e.logOdds(), logit(e.weight.pLoss(.06))-3)
}

func (e *engine) logOdds() float64 { return e.feed.logOdds() + e.weight.logOdds() }

func (e *engine) courseDay(at time.Time) CourseDay {
	m, sd := e.weight.tissue()
	w := e.weight.start
	return CourseDay{At: at, Day: e.day, Mass: m * w, Low: (m - z90*sd) * w, High: (m + z90*sd) * w,
		Expected: e.weight.expected() * w, PRefusal: calibrated(e.logOdds()), Standing: e.levels.standing(),
		LogOdds: e.logOdds(), Alarm: e.alarm()}
}

func logit(p float64) float64 {
	const tiny = 1e-12
	p = math.Min(1-tiny, math.Max(tiny, p))
	return math.Log(p / (1 - p))
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// calibrated turns log-odds into the probability that is shown. The line was
// fitted on simulated animals and is to be fitted again on real outcomes.
func calibrated(logOdds float64) float64 { return logistic(.21 + .91*logOdds) }

// phi is the standard normal distribution function.
func phi(z float64) float64 { return .5 * math.Erfc(-z/math.Sqrt2) }

// z90 bounds a two-sided 90 % interval of a normal distribution.
const z90 = 1.6448536269514722
