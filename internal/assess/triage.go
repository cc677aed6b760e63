package assess

import (
	"cmp"
	"math"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// The concerns besides "sign:<code>", "setup:<point>" and "climate_...".
const (
	ConcernRefusal       = "refusal"
	ConcernWeight        = "weight"
	ConcernRegurgitation = "regurgitation"
	ConcernSilence       = "silence"
)

// The reasons, whose weights add up to the log-odds.
const (
	ReasonStart        = "start"
	ReasonTime         = "time"
	ReasonRefused      = "refusals_in_a_row"
	ReasonEarlier      = "earlier_refusals"
	ReasonEaten        = "eaten"
	ReasonTooCool      = "warm_side_too_cool"
	ReasonRegurgitated = "regurgitated"
	ReasonWeight       = "weight"
)

// Food that came up: twice within regurgitatedDays is a red rule, and once is
// watched for regurgitatedOnce.
var (
	regurgitatedDays, regurgitatedOnce = wholeDays(snake.Numbers("regurgitation", "days", 2))
	regurgitatedRisk                   = snake.Numbers("regurgitation", "risk", 4)
	silenceRisk                        = snake.Numbers("silence", "risk", 5)
)

// regurgitations counts those that are not over, with the days since the last.
func (e *engine) regurgitations() (count, daysAgo int) {
	for _, o := range e.regurgitated {
		if ago := e.daysSince(o.at); ago <= regurgitatedDays {
			count++
			daysAgo = ago
		}
	}
	return count, daysAgo
}

// daysSince counts whole days from an instant to the beginning of today, 0 for
// anything later; so that within a day time changes nothing.
func (e *engine) daysSince(at time.Time) int {
	if d := e.today.Sub(at); d > 0 {
		return int((d + day - 1) / day)
	}
	return 0
}

// allowedSilence is for how many days nothing need be heard: so many times the
// longest usual gap between offers, and longer for the first word.
func (e *engine) allowedSilence(t *care.Thresholds) float64 {
	gaps, first := silenceGaps, firstWordDays
	if t.SilenceGaps > 0 {
		gaps = t.SilenceGaps
	}
	if t.FirstWordDays > 0 {
		first = t.FirstWordDays
	}
	allowed := gaps * math.Max(leastGap, e.sp.OfferEvery[e.age].High)
	if !e.heard {
		allowed = math.Max(first, allowed)
	}
	return allowed
}

var (
	silenceGaps   = snake.Number("silence", "gaps")
	firstWordDays = snake.Number("silence", "first_word")
	// A question waits for an answer by this part of what is allowed.
	afterQuestion = snake.Number("silence", "after_question")
	leastGap      = snake.Number("silence", "least_gap")
)

// witnessed reports whether a fast is known of and not only guessed from a log
// in which nothing was written. While it is not, the levels hold: silence is a
// concern of its own and never a failing animal. A breeder's own patience with
// silence does not count here: who wants to be told sooner would else have the
// levels hold sooner.
func (e *engine) witnessed() bool {
	return float64(e.daysSince(e.lastNews)) <= e.allowedSilence(&care.Thresholds{})
}

// holding is how many days the agreed step still holds, 0 when none does.
func (e *engine) holding() int {
	if e.stepAt.IsZero() {
		return 0
	}
	return max(0, e.step.HoldsDays-e.daysSince(e.stepAt))
}

// silent reports how many days beyond what is allowed nothing was heard, 0
// for no silence; days on which an agreed step held do not count.
func (e *engine) silent() float64 {
	if e.ended {
		return 0
	}
	since := e.lastHeard
	if held := e.stepAt.Add(time.Duration(e.step.HoldsDays) * day); !e.stepAt.IsZero() && held.After(since) {
		since = held
	}
	allowed := e.allowedSilence(&e.s.Thresholds)
	over := float64(e.daysSince(since)) - allowed
	if over > 0 { // nor is it silence while nobody asks, and for a while after
		due, _ := e.question()
		over = math.Min(over, float64(e.day-due)-allowed/afterQuestion)
	}
	return math.Max(0, over)
}

// standing is the highest level of all concerns today.
func (e *engine) standing() care.Standing {
	e.freshen()
	s := max(e.alarmLevel(), e.lostLevel())
	switch n, ago := e.regurgitations(); {
	case n >= 2:
		s = care.Vet
	case n == 1 && ago <= regurgitatedOnce:
		s = max(s, care.Watch)
	}
	for i := range e.findings {
		s = max(s, e.findings[i].level)
	}
	for i := range e.hazards {
		s = max(s, e.hazards[i].level)
	}
	for i := range e.signs {
		s = max(s, e.signLevel(&e.signs[i]))
	}
	if s < care.Watch && e.silent() > 0 {
		s = care.Watch
	}
	return s
}

func (e *engine) alarmLevel() care.Standing {
	switch e.levels.level {
	case levelAct:
		return care.StepIn
	case levelWatch, levelAsk:
		return care.Watch
	}
	return care.Settled
}

// lostLevel is the red rule of the weight: more likely than not a tenth of the
// mass is gone. That is for a vet once a scale has shown it; while it is only
// reckoned, it is for a weigh-in.
func (e *engine) lostLevel() care.Standing {
	switch {
	case e.lost.level == 0 || e.weight.start == 0:
		return care.Settled
	case e.shown:
		return care.Vet
	}
	return care.StepIn
}

// freshen judges climate and setup anew where something changed.
func (e *engine) freshen() {
	if e.climateDay != e.day {
		e.findings, e.climateDay = e.climateFindings(e.findings), e.day
	}
	if len(e.answers)+len(e.marks) > 0 && (e.hazardsStale || e.day >= e.hazardsUntil) {
		e.weighHazards(e.lastMass, false)
	}
}

// latestHarm is the days to harm of a lasting refusal that nobody turns: once it
// is likely, a word is due this week, however much the animal has to live on.
var latestHarm, leastLoss = split(snake.Numbers("refusal", "harm", 2))

// failing is the risk that the animal is in a lasting refusal: harm is the day
// on which a tenth of its mass would be gone, latestHarm at the latest.
func (e *engine) failing() risk {
	m, _ := e.weight.tissue()
	days := (m - (1 - tenth)) / math.Max(e.weight.s, leastLoss*e.weight.s0)
	return risk{calibrated(e.logOdds()), 1, math.Min(latestHarm, math.Max(1, days))}
}

// trouble is one concern before it is put into words: what of, which of its
// list, how grave.
type trouble struct {
	of    troubleOf
	i     int
	level care.Standing
	risk  risk
}

type troubleOf int

const (
	ofRefusal troubleOf = iota
	ofWeight
	ofRegurgitation
	ofClimate
	ofSetup
	ofSign
	ofSilence
)

func (t *trouble) urgency() float64 { return math.Min(1, math.Max(0, t.risk.loss())) }

// findTroubles gathers into e.troubles all that could do harm, also what is
// below any level, and returns the urgency of all together.
func (e *engine) findTroubles() (urgency float64) {
	e.freshen()
	list := e.troubles[:0]
	lost := risk{0, 1, 0} // while it is reckoned and not weighed, nothing is known and a weigh-in is asked for
	if e.shown {
		lost.p = e.weight.pLoss(tenth)
	}
	failing := e.failing()
	if !e.witnessed() && e.levels.level == 0 {
		// What silence may hide is counted once, as silence; but a case that gave
		// cause for concern is no less urgent when its keeper falls silent.
		failing.p = 0
	}
	if e.refusedInARow == 0 && e.weightAlarm() >= e.logOdds() {
		list = append(list, trouble{ofWeight, 0, max(e.alarmLevel(), e.lostLevel()), worse(failing, lost)})
	} else {
		list = append(list, trouble{ofRefusal, 0, e.alarmLevel(), failing}, trouble{ofWeight, 0, e.lostLevel(), lost})
	}
	if n, ago := e.regurgitations(); n > 0 && (n > 1 || ago <= regurgitatedOnce) {
		level := care.Watch
		if n > 1 {
			level = care.Vet
		}
		list = append(list, trouble{ofRegurgitation, 0, level, risk{regurgitatedRisk[0] * math.Min(regurgitatedRisk[3], float64(n)), regurgitatedRisk[1], regurgitatedRisk[2]}})
	}
	for i := range e.findings {
		list = append(list, trouble{ofClimate, i, e.findings[i].level, e.findings[i].risk})
	}
	for i := range e.hazards {
		list = append(list, trouble{ofSetup, i, e.hazards[i].level, e.hazards[i].risk})
	}
	for i := range e.signs {
		level := e.signLevel(&e.signs[i])
		list = append(list, trouble{ofSign, i, level, e.signs[i].risk(level)})
	}
	if over := e.silent(); over > 0 {
		q := over / e.allowedSilence(&e.s.Thresholds)
		list = append(list, trouble{ofSilence, 0, care.Watch, risk{math.Min(silenceRisk[0], silenceRisk[1]+silenceRisk[2]*q), silenceRisk[3], silenceRisk[4]}})
	}
	e.troubles = list
	left := 1.0
	for i := range list {
		left *= 1 - list[i].urgency()
	}
	return 1 - left
}

// concerns puts into words what findTroubles found, the most urgent first.
func (e *engine) concerns() (list []care.Concern) {
	for i := range e.troubles {
		if t := &e.troubles[i]; t.level > care.Settled {
			list = append(list, care.Concern{Code: e.troubleCode(t), Level: t.level, Text: e.troubleText(t), Urgency: t.urgency()})
		}
	}
	slices.SortStableFunc(list, func(a, b care.Concern) int {
		return cmp.Or(cmp.Compare(b.Level, a.Level), cmp.Compare(b.Urgency, a.Urgency))
	})
	return list
}

func worse(a, b risk) risk {
	if b.loss() > a.loss() {
		return b
	}
	return a
}

// reasons gathers the contributions into few, whose weights still add up.
func (e *engine) reasons() []care.Reason {
	inRun := map[string]bool{}
	for i := range e.refusals {
		inRun[e.refusals[i].id] = true
	}
	var list []care.Reason
	add := func(code string, weight float64, id string) {
		i := slices.IndexFunc(list, func(r care.Reason) bool { return r.Code == code })
		if i < 0 {
			i = len(list)
			list = append(list, care.Reason{Code: code})
		}
		list[i].Weight += weight
		if id != "" {
			list[i].Evidence = append(list[i].Evidence, id)
		}
	}
	for _, c := range e.contributions {
		if c.code == ReasonRefused && !inRun[c.id] {
			c.code = ReasonEarlier
		}
		add(c.code, c.delta, c.id)
	}
	if w := e.weight.logOdds(); w != 0 {
		add(ReasonWeight, w, "")
	}
	for i := range list {
		list[i].Text = e.reasonText(&list[i])
	}
	slices.SortStableFunc(list, func(a, b care.Reason) int { return cmp.Compare(math.Abs(b.Weight), math.Abs(a.Weight)) })
	return list
}

// numbers is the assessment without its words; it leaves e.troubles for them.
func (e *engine) numbers() Numbers {
	l := e.logOdds()
	n := Numbers{
		At: e.now, Day: e.day, Standing: e.standing(), Urgency: e.findTroubles(),
		PRefusal: calibrated(l), POffFeed: e.offFeed(), LogOdds: l,
		FastDays: e.fastDays(), Offers: e.offers, RefusedInARow: e.refusedInARow, DaysTo10: -1,
		LearnedFrom: e.s.Learned.Animals, NothingHeardDays: e.daysSince(e.lastHeard),
		DueAt: e.today.Add(day),
	}
	if e.ended {
		n.DueAt = never
	} else if e.now.Before(e.s.HandedOverAt) {
		n.DueAt = e.s.HandedOverAt
	}
	if e.weight.start > 0 {
		m, sd := e.weight.tissue()
		n.LossPct, n.LossLow, n.LossHigh = 100*(1-m), 100*(1-m-z90*sd), 100*(1-m+z90*sd)
		n.PLoss10 = e.weight.pLoss(tenth)
		n.DaysTo10 = e.weight.daysTo(1 - tenth)
	}
	return n
}

// words adds to the numbers what people read.
func (e *engine) words(n Numbers) Assessment {
	if len(e.hazards) > 0 && !e.hazardsSaid {
		e.weighHazards(e.lastMass, true)
	}
	a := Assessment{Numbers: n, Reasons: e.reasons(), Causes: e.causes(), Concerns: e.concerns()}
	if !e.lastMeal.IsZero() {
		at := e.lastMeal
		a.LastMeal = &at
	}
	e.say(&a)
	e.ask(&a)
	a.CheckIns = e.checkIns(&a)
	return a
}
