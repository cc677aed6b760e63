package assess

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"warmhand/internal/care"
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

// Food that came up: twice within this many days is a red rule, and once is
// watched for half of it. Common practice; handbooks agree on rest and a vet
// after the second time, from memory.
const regurgitatedDays = 30

// regurgitations counts those of the last 30 days, with the days since the last.
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

// allowedSilence is for how many days nothing need be heard: one and a half
// times the longest usual gap between offers, and two weeks after the handover.
// [assumption]
func (e *engine) allowedSilence() float64 {
	allowed := 1.5 * math.Max(7, e.sp.OfferEvery[e.age].High)
	if !e.heard {
		allowed = math.Max(14, allowed)
	}
	return allowed
}

// witnessed reports whether a fast is known of and not only guessed from a log
// in which nothing was written. While it is not, the levels hold: silence is a
// concern of its own and never a failing animal.
func (e *engine) witnessed() bool { return float64(e.daysSince(e.lastNews)) <= e.allowedSilence() }

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
	return math.Max(0, float64(e.daysSince(since))-e.allowedSilence())
}

// standing is the highest level of all concerns today.
func (e *engine) standing() care.Standing {
	e.freshen()
	s := max(e.alarmLevel(), e.lostLevel())
	switch n, ago := e.regurgitations(); {
	case n >= 2:
		s = care.Vet
	case n == 1 && ago <= regurgitatedDays/2:
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
	if e.climateStale {
		e.findings, e.climateStale = e.climateFindings(e.findings), false
	}
	if len(e.answers) > 0 && (e.hazardsStale || e.lastMass != e.hazardMass) {
		e.weighHazards(e.lastMass)
	}
}

// failing is the risk that the animal is in a lasting refusal: harm is the day
// on which a tenth of its mass would be gone.
func (e *engine) failing() risk {
	m, _ := e.weight.tissue()
	days := (m - .90) / math.Max(e.weight.s, e.weight.s0/2)
	return risk{calibrated(e.logOdds()), 1, math.Min(60, math.Max(1, days))}
}

// concerns lists what is open, the most urgent first, and the urgency of all.
func (e *engine) concerns() (list []care.Concern, urgency float64) {
	e.freshen()
	left := 1.0
	add := func(code string, level care.Standing, r risk, text string) {
		u := math.Min(1, math.Max(0, r.loss()))
		left *= 1 - u
		if level > care.Settled {
			list = append(list, care.Concern{Code: code, Level: level, Text: text, Urgency: u})
		}
	}
	code, text := ConcernRefusal, e.refusalText()
	if e.refusedInARow == 0 && e.weightAlarm() >= e.logOdds() {
		code, text = ConcernWeight, e.weightText()
	}
	lost := risk{e.weight.pLoss(.10), 1, 0}
	if e.weight.start == 0 || !e.shown && !e.witnessed() {
		lost.p = 0
	}
	failing := e.failing()
	if !e.witnessed() {
		failing.p = 0 // what silence may hide is counted once, as silence
	}
	if code == ConcernWeight {
		add(code, max(e.alarmLevel(), e.lostLevel()), worse(failing, lost), text)
	} else {
		add(code, e.alarmLevel(), failing, text)
		add(ConcernWeight, e.lostLevel(), lost, e.weightText())
	}
	if n, ago := e.regurgitations(); n > 0 && (n > 1 || ago <= regurgitatedDays/2) {
		level, text := care.Watch, "Brought up food "+daysAgo(ago)+"."
		if n > 1 {
			level, text = care.Vet, "Brought up food "+times(n)+" within "+strconv.Itoa(regurgitatedDays)+" days, last "+daysAgo(ago)+"."
		}
		add(ConcernRegurgitation, level, risk{.3 * math.Min(2, float64(n)), .8, 7}, text)
	}
	for i := range e.findings {
		f := &e.findings[i]
		add(f.code, f.level, f.risk, f.breederText())
	}
	for i := range e.hazards {
		h := &e.hazards[i]
		text := "Setup: " + h.title + ", "
		if h.note != "" {
			text += h.note // what was measured, over what was said
		} else {
			text += e.choiceLabel(h.point)
		}
		add("setup:"+h.point, h.level, h.risk, text+".")
	}
	for i := range e.signs {
		s := &e.signs[i]
		level := e.signLevel(s)
		text := s.info.Label + ", last seen " + daysAgo(e.daysSince(s.last)) + "."
		if nervous(s.info.Code) && e.gene != "" {
			text = s.info.Label + ", last seen " + daysAgo(e.daysSince(s.last)) + "; it carries " + e.gene + "."
		}
		add("sign:"+s.info.Code, level, signRisk[level], text)
	}
	if over := e.silent(); over > 0 {
		q := over / e.allowedSilence()
		add(ConcernSilence, care.Watch, risk{math.Min(.25, .03+.05*q), .5, 21}, "Nothing heard for "+count(e.daysSince(e.lastHeard), "day")+".")
	}
	slices.SortStableFunc(list, func(a, b care.Concern) int {
		return cmp.Or(cmp.Compare(b.Level, a.Level), cmp.Compare(b.Urgency, a.Urgency))
	})
	return list, 1 - left
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

func (e *engine) conclude() Assessment {
	m, sd := e.weight.tissue()
	l := e.logOdds()
	a := Assessment{
		At: e.now, Day: e.day, Standing: e.standing(),
		PRefusal: calibrated(l), POffFeed: e.feed.b + e.feed.x, LogOdds: l,
		FastDays: -1, DaysTo10: -1,
		LearnedFrom: e.s.Learned.Animals, NothingHeardDays: e.daysSince(e.lastHeard),
		DueAt: e.today.Add(day),
	}
	if e.ended {
		a.DueAt = never
	} else if e.now.Before(e.s.HandedOverAt) {
		a.DueAt = e.s.HandedOverAt
	}
	if !e.lastMeal.IsZero() {
		at := e.lastMeal
		a.LastMeal, a.FastDays = &at, e.daysSince(at)
	}
	if e.weight.start > 0 {
		a.LossPct, a.LossLow, a.LossHigh = 100*(1-m), 100*(1-m-z90*sd), 100*(1-m+z90*sd)
		a.PLoss10 = e.weight.pLoss(.10)
		switch {
		case m <= .90:
			a.DaysTo10 = 0
		case e.weight.s > 0:
			a.DaysTo10 = (m - .90) / e.weight.s
		}
	}
	a.Reasons = e.reasons()
	a.Causes = e.causes()
	a.Concerns, a.Urgency = e.concerns()
	e.say(&a)
	return a
}
