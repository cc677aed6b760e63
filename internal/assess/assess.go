// Package assess turns an animal's log into one assessment: standing, urgency,
// and why. It is a pure function of the log, the tables and a time; replay,
// the live service, "what if" and tests call the same one.
//
// Nothing here is field-validated. What the tables call an assumption is a choice
// of the model; probabilities are no diagnosis. Temperatures are °C, masses g,
// widths mm.
package assess

import (
	"cmp"
	"math"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Subject is what is known of a case besides its log.
type Subject struct {
	Animal       care.Animal
	HandedOverAt time.Time
	Learned      care.Learned // zero: the species table
	Hemi         care.Hemisphere
	Thresholds   care.Thresholds // zero: the tables'
	Unclaimed    bool            // nobody has taken the card on, so nothing can be heard
	CheckIns     care.CheckIns   // zero: the program's own
	Returning    bool            // it is agreed how it comes back to the breeder, or it is on its way
}

// Numbers are what the log says at one time, before it is put into words.
type Numbers struct {
	At       time.Time     `json:"at"`
	Day      int           `json:"day"` // whole days since the handover
	Standing care.Standing `json:"standing"`
	// Urgency is the expected loss, 0 to 1; it orders the triage list.
	Urgency  float64 `json:"urgency"`
	PRefusal float64 `json:"p_refusal"`  // calibrated probability of a lasting refusal
	POffFeed float64 `json:"p_off_feed"` // has stopped eating for now, for whatever reason
	LogOdds  float64 `json:"log_odds"`   // of a lasting refusal; the weights of Reasons add up to it
	// LossPct is the loss of body mass since the handover, %, with its 90 %
	// interval; negative is gain. All are 0 with no weight on record.
	LossPct  float64 `json:"loss_pct"`
	LossLow  float64 `json:"loss_pct_low"`
	LossHigh float64 `json:"loss_pct_high"`
	PLoss10  float64 `json:"p_loss_10"` // that a tenth is gone
	// FastDays counts from the last meal kept down; -1: no meal on record.
	FastDays int `json:"fast_days"`
	// Offers counts the offers in this home, RefusedInARow those since the last
	// meal in it.
	Offers        int `json:"offers"`
	RefusedInARow int `json:"refused_in_a_row"`
	// DaysTo10 is how long until 10 % loss if it eats nothing more, at the pace
	// so far; -1: not losing, or not within a year.
	DaysTo10 float64 `json:"days_to_10"`
	// NothingHeardDays counts whole days without a word from the keeper.
	NothingHeardDays int `json:"nothing_heard_days"`
	LearnedFrom      int `json:"learned_from"` // the breeder's animals behind the feeding prior
	// DueAt is the next time at which time alone may change the answer.
	DueAt time.Time `json:"due_at"`
}

// Assessment is the numbers with what stands behind them, in words.
type Assessment struct {
	Numbers
	LastMeal *time.Time `json:"last_meal,omitempty"`
	// Reasons are what moved the log-odds, the strongest first. What sets a
	// standing by itself (a sign, a hazard) is a concern, not a reason.
	Reasons []care.Reason `json:"reasons"`
	Causes  []care.Cause  `json:"causes"`
	Steps   []care.Step   `json:"steps"`
	// Concerns are what is open, the most urgent first.
	Concerns []care.Concern `json:"concerns"`
	Missing  words.Text     `json:"missing"`
	Headline words.Text     `json:"headline"`
	// AnimalState is what the animal is doing, in two or three words.
	AnimalState words.Text `json:"animal_state"`
	// What the keeper reads: what is seen, what it most likely is, the one
	// thing to do now, when to worry.
	KeeperSees  words.Text `json:"keeper_sees"`
	KeeperMeans words.Text `json:"keeper_means"`
	KeeperDo    words.Text `json:"keeper_do"`
	KeeperWorry words.Text `json:"keeper_worry"`
	// AskAt is when the keeper is asked next: before that nothing need be written
	// down. Zero for an ended case. Ask is what about, Question the same in words.
	AskAt    time.Time  `json:"ask_at"`
	Ask      string     `json:"ask"`
	Question words.Text `json:"question"`
	// CheckIns are when the keeper is asked what, the soonest first, as things stand
	// and with what the breeder plans; the first may be due.
	CheckIns []CheckIn `json:"check_ins,omitempty"`
}

// Total is the sum of the reasons' weights: LogOdds, up to rounding.
func (a *Assessment) Total() float64 {
	sum := 0.0
	for _, r := range a.Reasons {
		sum += r.Weight
	}
	return sum
}

// For are the reasons that raise concern, Against those that lower it, the
// strongest first; where the case started and the passing of time are neither.
func (a *Assessment) For() []care.Reason     { return a.sided(1) }
func (a *Assessment) Against() []care.Reason { return a.sided(-1) }

func (a *Assessment) sided(sign float64) (out []care.Reason) {
	for _, r := range a.Reasons {
		if r.Weight*sign > 0 && r.Code != ReasonStart && r.Code != ReasonTime {
			out = append(out, r)
		}
	}
	return out
}

// Course is the day-by-day course of a case, for plots.
type Course struct {
	Days    []CourseDay
	Changes []StandingChange // the first is the standing on day 0
	Looks   []LookBack       // at what came of agreed steps, the newest first; not in a course alone
}

// CourseDay is one day: masses in grams, 0 when no weight is known.
type CourseDay struct {
	At             time.Time // when the day began
	Day            int
	Mass           float64 // without what is in the gut
	Low, High      float64 // 90 % interval
	Expected       float64 // what an ordinary fast since the last meal would leave
	PRefusal       float64
	Standing       care.Standing
	LogOdds, Alarm float64
}

// StandingChange is a day on which the standing changed.
type StandingChange struct {
	Day  int
	At   time.Time
	From care.Standing
	To   care.Standing
}

// never is the due time of what time alone will not change.
var never = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// Assess says what the log says at an instant. log is ordered by HappenedAt.
// What happened or came in after now does not count, nor does what was
// corrected or withdrawn by then. A case that ended is assessed as of its end.
func Assess(s *Subject, log []care.Entry, now time.Time) Assessment {
	var w Walker
	w.Reset(s, log)
	w.to(now, nil)
	return w.Assessment()
}

// AssessCourse is Assess with every day on the way, as it looks today: with
// what came in late or was corrected since.
func AssessCourse(s *Subject, log []care.Entry, now time.Time) (Assessment, Course) {
	var w Walker
	var c Course
	w.Reset(s, log)
	w.to(now, func(d CourseDay) {
		if n := len(c.Days); n == 0 {
			c.Changes = append(c.Changes, StandingChange{d.Day, d.At, d.Standing, d.Standing})
		} else if was := c.Days[n-1].Standing; was != d.Standing {
			c.Changes = append(c.Changes, StandingChange{d.Day, d.At, was, d.Standing})
		}
		c.Days = append(c.Days, d)
	})
	return w.Assessment(), c
}

const day = 24 * time.Hour

// engine is what is known of one case at one time; Walker takes it through the
// days, which are counted from the moment of the handover.
type engine struct {
	s      *Subject
	sp     snake.Species
	age    snake.AgeClass
	wobble snake.WobbleEvidence
	gene   string // that carries it
	now    time.Time
	day    int
	today  time.Time // when the day began
	ended  bool

	feed      feeding
	weight    weighing
	levels    ladder                // of the alarm score
	lost      ladder                // of the weight
	alarmFrom [levelAct + 1]float64 // where each level of theirs begins
	lostFrom  [2]float64
	shown     bool // a weigh-in, and not only the passing of time, showed the loss
	climate   climate
	answers   []answer
	marks     []mark
	signs     []signState

	hazards      []hazard
	outgrown     []outgrown
	hazardsStale bool
	hazardsSaid  bool // with the notes
	hazardsUntil int  // the day from which time alone may change them
	findings     []finding
	climateDay   int // the day on which findings were judged; −1: to be judged anew

	// What was seen on the way. Times are zero while there was none.
	lastMeal       time.Time // kept down
	beforeLastMeal time.Time
	lastFood       care.Offer // what it last ate
	preyChanged    bool
	opaqueAt       time.Time // in shed since
	shedAt         time.Time
	shedInPieces   bool
	sheds          rhythm
	regurgitated   []occasion
	refusals       []refusal // refusals since the last meal, in this home
	refusedInARow  int
	offers         int
	meals          int // in a row in the new home
	lastOffer      time.Time
	lastHeard      time.Time
	heard          bool      // a word from the keeper at all
	lastWord       time.Time // the keeper's last entry that says something
	lastNews       time.Time // the last offer or weight in the new home
	lastWeighed    time.Time
	lastMass       float64 // g, as last weighed
	step           care.StepAgreed
	stepAt         time.Time
	observations   int
	outlook        outlook
	contributions  []contribution

	weights, early []*care.Entry // of one day: not taken in yet; taken before their turn
	troubles       []trouble     // what findTroubles found last
}

type occasion struct {
	at time.Time
	id string
}

// refusal is one offer that was not eaten, with what makes it ordinary.
type refusal struct {
	occasion
	day     int
	excuses excuses
	struck  bool
	slips   slips
}

// contribution is one exact change of the feeding log-odds.
type contribution struct {
	code  string
	delta float64
	id    string
}

// begin starts anew at the handover. history is what counts of the breeder's
// time, in order.
func (e *engine) begin(s *Subject, history []*care.Entry) {
	*e = engine{s: s, answers: e.answers[:0], marks: e.marks[:0], signs: e.signs[:0], hazards: e.hazards[:0], outgrown: e.outgrown[:0], findings: e.findings[:0],
		regurgitated: e.regurgitated[:0], refusals: e.refusals[:0], contributions: e.contributions[:0],
		weights: e.weights[:0], early: e.early[:0], troubles: e.troubles[:0], climateDay: -1, climate: climate{warmth: e.climate.warmth[:0]}}
	start := s.HandedOverAt
	e.sp, _ = snake.ByID(s.Animal.Species)
	e.alarmFrom, e.lostFrom = ladders(&s.Thresholds)
	mass, weighed := handoverWeight(history)
	e.age = e.sp.Age(s.Animal.Hatched, mass, start)
	e.wobble, e.gene = snake.Wobble(s.Animal.Genes)
	e.lastHeard, e.lastNews, e.lastMass, e.today = start, start, mass, start
	base := baselineOf(history, start, mass, weighed, e.sp.PreyShare[e.age].Mid()/100)
	e.weight = newWeighing(e.sp.LossPerDay[e.age], &base)
	e.feed = newFeeding(&e.sp, e.age, s.Learned)
	for _, x := range history {
		e.history(x)
	}
	e.contribute(ReasonStart, e.feed.logOdds(), "")
	e.lookOut()
}

// assign makes e what o is. The two share no memory that either writes to.
func (e *engine) assign(o *engine) {
	was := *e
	*e = *o
	e.answers = append(was.answers[:0], o.answers...)
	e.marks = append(was.marks[:0], o.marks...)
	e.signs = append(was.signs[:0], o.signs...)
	e.hazards = append(was.hazards[:0], o.hazards...)
	e.outgrown = append(was.outgrown[:0], o.outgrown...)
	e.findings = append(was.findings[:0], o.findings...)
	e.climate.warmth = append(was.climate.warmth[:0], o.climate.warmth...)
	e.regurgitated = append(was.regurgitated[:0], o.regurgitated...)
	e.refusals = append(was.refusals[:0], o.refusals...)
	e.contributions = append(was.contributions[:0], o.contributions...)
	e.weights, e.early, e.troubles = was.weights[:0], was.early[:0], was.troubles[:0]
}

// look sets the levels of the day once its entries are taken in.
func (e *engine) look() {
	if e.witnessed() {
		e.levels.look(e.alarm(), e.alarmFrom[:], e.observations)
		e.lost.look(logit(e.weight.pLoss(tenth)), e.lostFrom[:], e.observations)
	}
	e.shown = e.lost.level > 0 && (e.shown || e.daysSince(e.lastWeighed) == 0 && e.weight.pLoss(tenth) > shownFrom)
}

// pass lets a day go by.
func (e *engine) pass() {
	e.day++
	e.today = e.today.Add(day)
	before := e.feed.logOdds()
	e.feed.pass(e.deficit())
	e.contribute(ReasonTime, e.feed.logOdds()-before, "")
	e.weight.pass()
}

// take takes in one day's entries in the order of the log. Weights are held
// until a meal changes what a weight means, or until the evening, and then
// taken together, so that their order does not matter; of a weight and a meal
// with the same time the weight comes first.
func (e *engine) take(entries []*care.Entry) {
	e.weights, e.early = e.weights[:0], e.early[:0]
	agreed, before := false, e.observations
	for i, x := range entries {
		if heardFrom(x) {
			e.lastHeard, e.heard = later(e.lastHeard, later(x.HappenedAt, x.ReceivedAt)), true // written down late is heard when it came
			if x.Body.Kind() != care.KindSeen {
				e.lastWord = later(e.lastWord, x.HappenedAt)
			}
		}
		switch b := x.Body.(type) {
		case care.WeighIn:
			e.observations++
			if !slices.Contains(e.early, x) {
				e.weights = append(e.weights, x)
			}
		case care.Offer:
			e.observations++
			if b.Result == care.Eaten || b.Result == care.Regurgitated {
				for _, y := range entries[i+1:] {
					if !y.HappenedAt.Equal(x.HappenedAt) {
						break
					}
					if _, ok := y.Body.(care.WeighIn); ok {
						e.weights = append(e.weights, y)
						e.early = append(e.early, y)
					}
				}
				e.takeWeights()
			}
			e.takeOffer(&b, x)
		case care.ClimateReading:
			e.observations++
			e.takeClimate(&b, x)
		case care.Shed:
			e.observations++
			e.takeShed(b, x.HappenedAt)
		case care.Sign:
			e.observations++
			e.takeSign(b, x, e.day)
		case care.SetupCheck:
			e.observations++
			e.takeSetup(&b, x)
		case care.Message:
			if b.Mark != nil && x.By != care.KeeperActor {
				e.takeMark(b.Mark, b.Text, x)
			}
		case care.StepAgreed:
			e.step, e.stepAt = b, x.HappenedAt
			agreed = true
		}
	}
	e.takeWeights()
	if agreed || e.observations > before {
		e.lookOut()
	}
}

func (e *engine) takeWeights() {
	if len(e.weights) > 1 {
		slices.SortFunc(e.weights, func(a, b *care.Entry) int {
			return cmp.Or(cmp.Compare(a.Body.(care.WeighIn).Mass, b.Body.(care.WeighIn).Mass), cmp.Compare(a.By, b.By))
		})
	}
	for _, x := range e.weights {
		mass := float64(x.Body.(care.WeighIn).Mass)
		if usable(mass) {
			e.lastNews = later(e.lastNews, x.HappenedAt)
			if e.weight.observe(mass, heardFrom(x), x.Confirmed) {
				e.lastMass, e.lastWeighed = mass, later(e.lastWeighed, x.HappenedAt)
				e.hazardsStale = true // a hole is judged by the body
			}
		}
	}
	e.weights = e.weights[:0]
}

// heardFrom reports whether an entry is a word from the keeper. Imported logs
// do not say who wrote; what comes after the handover is the keeper's.
func heardFrom(x *care.Entry) bool {
	switch x.By {
	case care.BreederOwner, care.Helper, care.Program:
		return false
	}
	k := x.Body.Kind()
	return k != care.KindStep && k != care.KindOutcome
}

// history takes in one entry of the breeder's time.
func (e *engine) history(x *care.Entry) {
	switch b := x.Body.(type) {
	case care.Offer:
		weeks := e.s.HandedOverAt.Sub(x.HappenedAt).Hours() / (24 * 7)
		w := math.Pow(recency, weeks)
		switch b.Result {
		case care.Eaten:
			e.feed.learn(0, w)
			e.beforeLastMeal, e.lastMeal, e.lastFood = e.lastMeal, x.HappenedAt, b
		case care.Regurgitated:
			e.lastMeal = e.beforeLastMeal
			e.regurgitated = append(e.regurgitated, occasion{x.HappenedAt, x.ID})
		default:
			if e.inShed(x.HappenedAt) {
				w *= inShedWorth // a refusal in shed says little of the animal
			}
			e.feed.learn(1, w)
		}
		e.lastOffer = x.HappenedAt
	case care.Shed:
		e.takeShed(b, x.HappenedAt)
	case care.Sign:
		e.takeSign(b, x, -1)
	}
}

func (e *engine) contribute(code string, delta float64, id string) {
	if n := len(e.contributions); n > 0 && code == ReasonTime && e.contributions[n-1].code == ReasonTime {
		e.contributions[n-1].delta += delta
		return
	}
	e.contributions = append(e.contributions, contribution{code, delta, id})
}

// shedDays is how long an opaque report stands for "in shed" when nothing else
// is heard.
var shedDays = int(snake.Number("shed", "opaque_days"))

func (e *engine) inShed(at time.Time) bool {
	return !e.opaqueAt.IsZero() && at.Sub(e.opaqueAt) < time.Duration(shedDays)*day
}

func (e *engine) takeShed(b care.Shed, at time.Time) {
	if b.Stage == care.ShedDone {
		e.opaqueAt, e.shedAt = time.Time{}, at
		e.sheds.shed(at)
		e.shedInPieces = b.Complete != nil && !*b.Complete
		return
	}
	if !e.inShed(at) {
		e.opaqueAt = at
	}
}

func (e *engine) takeSign(b care.Sign, x *care.Entry, onDay int) {
	i := slices.IndexFunc(e.signs, func(s signState) bool { return s.info.Code == b.Code })
	switch {
	case b.Gone && i >= 0:
		s := &e.signs[i]
		s.gone, s.goneAt, s.goneDay, s.id = true, x.HappenedAt, onDay, x.ID
	case b.Gone: // it was never seen, so it cannot go
	case i >= 0:
		s := &e.signs[i]
		s.gone, s.last, s.lastDay, s.id = false, x.HappenedAt, onDay, x.ID
	default:
		e.signs = append(e.signs, signState{info: signByCode(b.Code), first: x.HappenedAt, last: x.HappenedAt, firstDay: onDay, lastDay: onDay, id: x.ID})
	}
}

func (e *engine) takeSetup(b *care.SetupCheck, x *care.Entry) {
	e.hazardsStale = true
	for _, a := range b.Answers {
		old := e.answerTo(a.Point)
		if a.Measure > 0 && (old == nil || old.Measure != a.Measure) { // an answer that is given anew brings its old size along
			e.unmark(a.Point)
		}
		if old != nil {
			*old = answer{SetupAnswer: a, at: x.HappenedAt, id: x.ID}
			continue
		}
		e.answers = append(e.answers, answer{SetupAnswer: a, at: x.HappenedAt, id: x.ID})
	}
}

// takeMark keeps what the breeder saw in a photo of a point: a hazard stands
// until the breeder says that it is fine, or the place is measured anew.
func (e *engine) takeMark(m *care.Mark, text string, x *care.Entry) {
	switch m.Kind {
	case care.MarkHazard:
		e.unmark(m.Point)
		e.marks = append(e.marks, mark{m.Point, text, x.HappenedAt, x.ID})
	case care.MarkFine:
		e.unmark(m.Point)
		if a := e.answerTo(m.Point); a != nil {
			a.seenFine = true
		}
	default:
		return
	}
	e.hazardsStale = true
}

func (e *engine) unmark(point string) {
	e.marks = slices.DeleteFunc(e.marks, func(m mark) bool { return m.point == point })
}

func (e *engine) takeClimate(b *care.ClimateReading, x *care.Entry) {
	e.climateDay, e.hazardsStale = -1, true
	if !e.climate.take(b, x, e.sp.Climate.Optimum) {
		return
	}
	before := e.feed.logOdds()
	if e.feed.cold(e.deficit()) {
		e.contribute(ReasonTooCool, e.feed.logOdds()-before, x.ID)
	}
}

func (e *engine) takeOffer(b *care.Offer, x *care.Entry) {
	at := x.HappenedAt
	before := e.feed.logOdds()
	if b.Result != care.Regurgitated {
		e.offers++
	}
	switch b.Result {
	case care.Eaten:
		terms := e.excusesAt(b, e.slipsAt(b, at), at)
		e.feed.accepted(terms.total())
		e.weight.meal(e.preyMass(b))
		e.beforeLastMeal, e.lastMeal, e.lastFood = e.lastMeal, at, *b
		e.refusals, e.refusedInARow, e.preyChanged = e.refusals[:0], 0, false
		e.meals++
		e.contribute(ReasonEaten, e.feed.logOdds()-before, x.ID)
	case care.Regurgitated:
		e.feed.regurgitated()
		e.weight.unmeal()
		e.lastMeal = e.beforeLastMeal
		e.regurgitated = append(e.regurgitated, occasion{at, x.ID})
		e.meals = 0
		e.contribute(ReasonRegurgitated, e.feed.logOdds()-before, x.ID)
	default:
		slips := e.slipsAt(b, at)
		terms := e.excusesAt(b, slips, at)
		e.feed.refused(terms.total())
		e.refusals = append(e.refusals, refusal{occasion{at, x.ID}, e.day, terms, b.Result == care.Struck, slips})
		e.refusedInARow++
		e.meals = 0
		e.contribute(ReasonRefused, e.feed.logOdds()-before, x.ID)
	}
	e.lastOffer, e.lastNews = at, later(e.lastNews, at)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// preyMass is the prey's mass; where it was not noted, the last one known, else
// the middle of what the species is fed.
func (e *engine) preyMass(b *care.Offer) float64 {
	switch {
	case b.PreyMass > 0:
		return float64(b.PreyMass)
	case e.lastFood.PreyMass > 0:
		return float64(e.lastFood.PreyMass)
	}
	return e.sp.PreyShare[e.age].Mid() / 100 * e.weight.start
}

func (e *engine) logOdds() float64 { return e.feed.logOdds() + e.weight.logOdds() }

// alarm is the score that the levels go by: the log-odds of a lasting refusal,
// or the weight alone where that says more.
func (e *engine) alarm() float64 {
	return math.Max(e.logOdds(), e.weightAlarm())
}

// weightAlarm speaks up once a scale has shown that well over alarmLoss is all but
// certainly gone. On simulated animals a bar that went by a loss that is only
// reckoned called out for many that merely paused.
func (e *engine) weightAlarm() float64 {
	if e.weight.seen == 0 || e.daysSince(e.lastWeighed) > weighEvery {
		return math.Inf(-1)
	}
	return logit(e.weight.pLoss(alarmLoss)) - alarmOff
}

// calibrated turns log-odds into the probability that is shown.
func calibrated(logOdds float64) float64 { return logistic(calibration0 + calibration1*logOdds) }

var calibration0, calibration1 = split(snake.Numbers("calibration", "line", 2))

// scoreOf is the log-odds that are shown as this chance.
func scoreOf(chance float64) float64 { return (logit(chance) - calibration0) / calibration1 }

// offFeed is the probability that the animal has stopped eating for now: in a
// lasting refusal, or else in an ordinary fast.
func (e *engine) offFeed() float64 {
	p := calibrated(e.logOdds())
	return p + (1-p)*e.feed.b/(e.feed.n+e.feed.b)
}

func (e *engine) courseDay() CourseDay {
	m, sd := e.weight.tissue()
	w := e.weight.start
	l := e.logOdds()
	return CourseDay{At: e.today, Day: e.day, Mass: m * w, Low: math.Max(0, m-z90*sd) * w, High: (m + z90*sd) * w,
		Expected: e.weight.expected() * w, PRefusal: calibrated(l), Standing: e.standing(), LogOdds: l, Alarm: e.alarm()}
}
