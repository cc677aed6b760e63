package assess

import (
	"math"
	"strconv"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// The steps besides "fix:<point>" and "remeasure:<point>".
const (
	StepCallVet     = "call_vet"
	StepStopFeeding = "stop_feeding"
	StepCoolDown    = "lower_the_heat"
	StepWarmUp      = "raise_warm_side"
	StepCoolEnd     = "cool_the_cool_side"
	StepTwoEnds     = "two_ends"
	StepWarmNight   = "raise_night"
	StepDampen      = "raise_humidity"
	StepAir         = "lower_humidity"
	StepInPeace     = "leave_in_peace"
	StepWeigh       = "weigh"
	StepOffer       = "offer"
	StepMeasure     = "measure_climate"
	StepCheckSetup  = "check_setup"
	StepTell        = "tell_breeder"
	StepSayHello    = "say_how_it_is"
	StepKeepGoing   = "keep_going"
	StepSmallerMeal = "offer_smaller"
)

func count(n int, of string) string {
	if n == 1 {
		return "1 " + of
	}
	return strconv.Itoa(n) + " " + of + "s"
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return strconv.Itoa(n) + " times"
}

func daysAgo(n int) string {
	switch n {
	case 0:
		return "today"
	case 1:
		return "yesterday"
	}
	return strconv.Itoa(n) + " days ago"
}

func inDays(n int) string {
	switch {
	case n <= 0:
		return "now"
	case n == 1:
		return "tomorrow"
	}
	return "in " + strconv.Itoa(n) + " days"
}

func degrees(c float64) string { return number(c, 1) + " °C (" + number(c*1.8+32, 0) + " °F)" }

// centimetres is a length of so many mm as a ruler shows it.
func centimetres(mm float64) string {
	if mm < 20 {
		return number(mm, 0) + " mm"
	}
	return number(mm/10, 0) + " cm"
}

func month(t time.Time) string { return t.UTC().Format("January 2006") }

func percent(p float64) string {
	switch {
	case p < .01:
		return "under 1 %"
	case p > .99:
		return "over 99 %"
	}
	return number(100*p, 0) + " %"
}

// lossText is the loss with its interval, or the gain.
func (e *engine) lossText() string {
	if e.weight.start == 0 {
		return "no weight on record"
	}
	m, sd := e.weight.tissue()
	l := 100 * (1 - m)
	low, high := l-100*z90*sd, l+100*z90*sd
	word := "lost "
	if l < 0 {
		word, l, low, high = "gained ", -l, -high, -low
	}
	text := word + number(l, 1) + " % since the handover (" + number(low, 1) + " to " + number(high, 1) + ")"
	if e.weight.seen == 0 {
		text += ", reckoned without a weigh-in"
	}
	return text
}

func (e *engine) fastDays() int {
	if e.lastMeal.IsZero() {
		return -1
	}
	return e.daysSince(e.lastMeal)
}

func (e *engine) fastText() string {
	switch n := e.fastDays(); {
	case n < 0:
		return "no meal on record"
	case n == 0:
		return "ate today"
	default:
		return count(n, "day") + " since the last meal"
	}
}

func (e *engine) refusalText() string {
	var say []string
	switch n := e.refusedInARow; {
	case n > 1:
		say = append(say, "Refused "+times(n)+" in a row")
	case n == 1:
		say = append(say, "Refused the last offer")
	case e.fastDays() >= 0:
		say = append(say, "No refusal since the last meal")
	}
	say = append(say, e.fastText(), e.lossText())
	text := strings.Join(say, ", ")
	text = strings.ToUpper(text[:1]) + text[1:]
	if days := e.weight.daysTo(1 - tenth); e.refusedInARow > 1 && e.weight.start > 0 && days > 0 {
		text += ", a tenth at its pace in " + count(int(math.Ceil(days)), "day")
	}
	return text + ". That it has stopped eating for now is " + percent(e.offFeed()) + " likely, that it needs help to start again " + percent(calibrated(e.logOdds())) + "."
}

func (e *engine) weightText() string {
	text := e.lossText()
	text = strings.ToUpper(text[:1]) + text[1:]
	if e.weight.seen > 0 {
		text += ", at " + number(100*e.weight.s, 2) + " % a day where " + number(100*e.weight.s0, 2) + " is usual in a fast"
	}
	return text + "; more than 10 % lost is " + percent(e.weight.pLoss(tenth)) + " likely."
}

// troubleCode is the code of a concern.
func (e *engine) troubleCode(t *trouble) string {
	switch t.of {
	case ofRefusal:
		return ConcernRefusal
	case ofWeight:
		return ConcernWeight
	case ofRegurgitation:
		return ConcernRegurgitation
	case ofClimate:
		return e.findings[t.i].code
	case ofSetup:
		return "setup:" + e.hazards[t.i].point
	case ofSign:
		return "sign:" + e.signs[t.i].info.Code
	}
	return ConcernSilence
}

// ConcernName is what a concern is about in a few plain words, for lists of many
// cases; the code where there are none.
func ConcernName(code string) string {
	kind, rest, _ := strings.Cut(code, ":")
	switch kind {
	case ConcernRefusal:
		return "Refuses food"
	case ConcernWeight:
		return "Loses weight"
	case ConcernRegurgitation:
		return "Brought food up"
	case ConcernSilence:
		return "Nothing heard"
	case "setup":
		if p, ok := care.Point(rest); ok {
			return p.Title
		}
	case "sign":
		return signByCode(rest).Label
	}
	if name, ok := climateNames[code]; ok {
		return name
	}
	return code
}

var climateNames = map[string]string{
	"climate_warm_high":      "Warm end too hot",
	"climate_surface_hot":    "Surface too hot to lie on",
	"climate_warm_low":       "Warm end too cool",
	"climate_cool_low":       "Cool end too cool",
	"climate_cool_high":      "Cool end too warm",
	"climate_night_low":      "Nights too cool",
	"climate_humidity_low":   "Air too dry",
	"climate_humidity_high":  "Air too damp",
	"climate_gradient_small": "Same warmth everywhere",
	"climate_gradient_large": "Ends too far apart",
	"climate_cold_hours":     "Too cool for a good part of a week",
}

// troubleText is what the breeder reads of a concern.
func (e *engine) troubleText(t *trouble) string {
	switch t.of {
	case ofRefusal:
		return e.refusalText()
	case ofWeight:
		return e.weightText()
	case ofRegurgitation:
		n, ago := e.regurgitations()
		if n > 1 {
			return "Brought up food " + times(n) + " within " + strconv.Itoa(regurgitatedDays) + " days, last " + daysAgo(ago) + "."
		}
		return "Brought up food " + daysAgo(ago) + "."
	case ofClimate:
		f := &e.findings[t.i]
		return e.findingText(f)
	case ofSetup:
		h := &e.hazards[t.i]
		text := h.note // what was measured, over what was said
		if text == "" {
			text = e.choiceLabel(h.point)
		}
		return "Setup, " + lower(h.title) + ": " + text + "."
	case ofSign:
		s := &e.signs[t.i]
		text := s.info.Label + ", last seen " + daysAgo(e.daysSince(s.last))
		if s.gone {
			text += ", said to be gone " + daysAgo(e.daysSince(s.goneAt)) + "; it is watched for two weeks, for such signs come and go"
		}
		if nervous(s.info.Code) && e.gene != "" {
			text += "; it carries " + e.gene
		}
		return text + "."
	}
	if e.s.Unclaimed && !e.heard {
		return "Card not claimed yet, " + count(e.daysSince(e.s.HandedOverAt), "day") + " after the handover."
	}
	return "Nothing heard for " + count(e.daysSince(e.lastHeard), "day") + "."
}

func (f *finding) what() string {
	return [...]string{warmSide: "warm side", coolSide: "cool side", night: "night temperature", surface: "hottest surface", humidity: "humidity", gradient: "difference between the ends"}[f.kind]
}

func (f *finding) number() string {
	switch f.kind {
	case humidity:
		return number(f.value, 0) + " %"
	case gradient:
		return difference(f.value)
	}
	return degrees(f.value)
}

// bandOf is a band of temperatures in both units.
func bandOf(b snake.Band) string {
	return number(b.Low, 0) + " to " + number(b.High, 0) + " °C (" + number(b.Low*1.8+32, 0) + " to " + number(b.High*1.8+32, 0) + " °F)"
}

// difference is a difference of temperatures: it has no offset in °F.
func difference(c float64) string {
	return number(c, 1) + " °C (" + number(c*1.8, 0) + " °F)"
}

// contact is a time of contact in words.
func contact(seconds float64) string {
	switch m := seconds / 60; {
	case m >= 100:
		return "about " + count(int(math.Round(m/60)), "hour")
	case m >= 1.5:
		return "about " + count(int(math.Round(m)), "minute")
	}
	return "a minute or less"
}

func (c *cold) text() string {
	return "of the last " + number(coldDays*24, 0) + " hours " + number(c.known, 0) + " are known, " + number(c.below, 0) + " of them too cool, " + number(c.degreeHours, 0) + " degree-hours in all"
}

func (e *engine) findingText(f *finding) string {
	what := f.what()
	text := strings.ToUpper(what[:1]) + what[1:] + " " + f.number()
	switch {
	case f.burns > 0:
		text += ": at this temperature contact of " + contact(f.burns) + " burns human skin; no limits for snakes are published"
	case f.code == "climate_gradient_small":
		text += ", where at least " + difference(f.limit) + " are usual"
	case f.code == "climate_gradient_large":
		text += ", more than the " + difference(f.limit) + " that leave a middle"
	case f.code == "climate_cold_hours":
		text += " now, and it was below " + degrees(f.limit) + ": " + f.cold.text()
	case f.kind == humidity:
		text += ", limit " + number(f.limit, 0) + " %"
	default:
		text += ", limit " + degrees(f.limit)
	}
	if f.code == "climate_warm_low" && f.cold.known > 0 {
		text += "; " + f.cold.text()
	}
	switch {
	case f.got.weak():
		text += " (a stick-on " + string(f.got.with) + ", ±3 °C)"
	case f.kind == surface && f.got.with == care.WithInfrared:
		text += " (by infrared, which reads shiny metal too low)"
	}
	if ago := e.daysSince(f.got.at); float64(ago) > freshDays {
		text += "; measured " + daysAgo(ago) + ", so it counts less"
	}
	return text + "."
}

// climateMeans is what a finding means, for the keeper.
var climateMeans = map[string]string{
	"climate_warm_high":      "That is warmer than suits it, and it may not move away in time.",
	"climate_surface_hot":    "That is warmer than it should lie on for long.",
	"climate_warm_low":       "It is too cool for it. A snake that cannot warm up does not eat, and this is easily put right.",
	"climate_cool_low":       "That is a little cool for it. It can still warm up at the other end.",
	"climate_cool_high":      "It has nowhere to cool down, and too warm is harder on a snake than too cool.",
	"climate_night_low":      "Cooler nights are normal, but this is cooler than it needs.",
	"climate_humidity_low":   "The air is dry for it, and in dry air the old skin comes off in pieces.",
	"climate_humidity_high":  "The air is very damp for it, and a belly that never dries can get sore.",
	"climate_gradient_small": "It is about as warm everywhere. A snake warms and cools itself by moving, so it needs a real choice.",
	"climate_gradient_large": "One end is much warmer than the other, and between them there may be no place that is just right.",
	"climate_cold_hours":     "The warm end is right again, but was too cool for a good part of the week. A heater that goes off now and then is easily missed.",
}

func (e *engine) choiceLabel(point string) string {
	a := e.answerTo(point)
	p, _ := care.Point(point)
	for _, c := range p.Choices {
		if a != nil && c.Code == a.Choice {
			return strings.ToLower(c.Label[:1]) + c.Label[1:]
		}
	}
	return "not as it should be"
}

// strength is the plain word for a change of the log-odds.
func strength(w float64) string {
	size, way := "hardly changes the picture", ""
	switch a := math.Abs(w); {
	case a > 2:
		size, way = "strongly ", "more worrying"
	case a >= 1:
		size, way = "clearly ", "more worrying"
	case a >= .3:
		size, way = "a little ", "more worrying"
	}
	if w < 0 && way != "" {
		way = "reassuring"
	}
	return size + way
}

// reasonText says a reason without its weight, which stands beside it.
func (e *engine) reasonText(r *care.Reason) string {
	s := strength(r.Weight)
	switch r.Code {
	case ReasonStart:
		return "Where every case of its kind starts: most are fine"
	case ReasonTime:
		return "Time passing: what was seen grows older"
	case ReasonRefused:
		text := "Refused the last offer"
		if n := len(r.Evidence); n > 1 {
			text = "Refused " + times(n) + " in a row"
		}
		if rate := e.feed.alpha / (e.feed.alpha + e.feed.beta); rate > 0 {
			text += ", for an animal that refuses about " + percent(rate) + " of its offers"
		}
		for i := range e.refusals {
			if e.refusals[i].excuses.shed > 0 {
				text += "; what it refused in or near a shed counts little"
				break
			}
		}
		return text + ": " + s
	case ReasonEarlier:
		return count(len(r.Evidence), "refusal") + " before the last meal: " + s
	case ReasonEaten:
		return "Ate " + times(len(r.Evidence)) + " in the new home: " + s
	case ReasonTooCool:
		return "First reading of the warm side, " + number(e.deficit(), 1) + " °C below what suits it by now: " + s
	case ReasonRegurgitated:
		return "Brought up food: " + s
	case ReasonWeight:
		return "Weight: " + e.lossText() + ". Its pace beside that of an ordinary fast: " + s
	}
	return r.Code
}

// missing is the datum that would tell most.
func (e *engine) missing() string {
	if e.ended {
		return ""
	}
	weighed := e.daysSince(e.lastWeighed)
	unsettled := e.refusedInARow > 0 || e.levels.level > 0
	switch {
	case e.weight.start == 0:
		return "No weight on record: without one, loss cannot be told from an ordinary pause."
	case e.weight.held > 0:
		return "The last weight, " + number(e.weight.held, 0) + " g, does not fit those before it; one more would tell which is right."
	case e.lastWeighed.IsZero() && e.day >= 7:
		return "Not weighed in the new home yet."
	case unsettled && !e.lastWeighed.IsZero() && weighed >= weighEveryIfLoss:
		return "Not weighed for " + count(weighed, "day") + "."
	case !e.climate.known && (unsettled || e.day >= 3):
		return "No reading of the warm side."
	case e.climate.known && unsettled && e.faded(e.climate.latest[warmSide]) < 1:
		return "The warm side was last measured " + daysAgo(e.daysSince(e.climate.latest[warmSide].at)) + "."
	case e.answerTo("hides") == nil && (unsettled || e.day >= 3):
		return "The setup was not checked yet."
	case !e.lastWeighed.IsZero() && weighed >= 2*weighEvery:
		return "Not weighed for " + count(weighed, "day") + "."
	}
	return ""
}

// say writes what people read: headline, steps, and the keeper's four lines.
func (e *engine) say(a *Assessment) {
	a.Missing = e.missing()
	a.AnimalState = e.state()
	a.Headline = e.headline(a)
	a.Steps = e.steps()
	e.tellKeeper(a)
	if len(a.Steps) > 0 {
		a.KeeperDo = a.Steps[0].Text
	}
}

func (e *engine) state() string {
	n, ago := e.regurgitations()
	switch {
	case n > 0 && ago <= restRegurgFull && e.refusedInARow == 0 && !e.lastMeal.After(e.regurgitated[len(e.regurgitated)-1].at):
		return "brought up food"
	case e.inShed(e.today):
		return "in shed"
	case e.refusedInARow > 0:
		return "not eating"
	case e.meals >= 3:
		return "eating"
	}
	return "settling in"
}

func (e *engine) headline(a *Assessment) string {
	if len(a.Concerns) > 0 {
		return a.Concerns[0].Text
	}
	switch {
	case e.s.Unclaimed && !e.heard:
		return "Card not claimed yet."
	case e.refusedInARow > 0:
		return e.refusalText()
	case e.meals > 0:
		return "Ate " + daysAgo(e.fastDays()) + ", " + e.lossText() + "."
	}
	if e.day > 14 && e.lastNews.Equal(e.s.HandedOverAt) {
		return "No offer or weight logged in the new home, day " + strconv.Itoa(e.day) + "."
	}
	return "Settling in, day " + strconv.Itoa(e.day) + ": nothing to worry about so far."
}

// worst is the gravest sign today, nil when there is none.
func (e *engine) worst() (*signState, care.Standing) {
	var worst *signState
	level := care.Settled
	for i := range e.signs {
		if l := e.signLevel(&e.signs[i]); l > level {
			worst, level = &e.signs[i], l
		}
	}
	return worst, level
}

// signDo is what to do about a sign in this animal.
func (e *engine) signDo(s *signState) string {
	if s.info.Code == "wobble" && e.wobble == snake.NoWobble && !s.gone {
		return "Keep it away from other snakes, take a short film, and call a reptile vet today."
	}
	switch ago, level := e.daysSince(s.last), e.signLevel(s); {
	case s.gone:
		return "Look at it once a day for two weeks. If no reptile vet has seen it, tell one what you saw: " + lower(s.info.Label) + "."
	case ago >= 2 && level == care.Vet:
		return "You saw this " + daysAgo(ago) + ". If a reptile vet has not looked at it yet, call one today."
	case ago >= signHolds/2:
		return "Write down how it is now. You saw this " + daysAgo(ago) + ": " + lower(s.info.Label) + "."
	}
	return s.info.DoNow
}

// steps are what the keeper might do next, the most useful first.
func (e *engine) steps() []care.Step {
	var list []care.Step
	add := func(code, text string, holds int) {
		for _, s := range list {
			if s.Code == code {
				return
			}
		}
		list = append(list, care.Step{Code: code, Text: text, HoldsDays: holds})
	}
	if e.ended {
		return nil
	}
	sign, level := e.worst()
	if level == care.Vet {
		add(StepCallVet, e.signDo(sign), 0)
	}
	for i := range e.findings {
		if f := &e.findings[i]; f.level == care.StepIn && f.hot() {
			add(StepCoolDown, "Switch that heater off or turn it down until the hottest place it can touch is below "+degrees(e.sp.Climate.HotTooHigh)+", then look at its belly.", 0)
		}
	}
	e.fixes(care.StepIn, add)
	n, ago := e.regurgitations()
	if n > 1 {
		add(StepCallVet, "Call a reptile vet within a day or two: food came up more than once. Offer none until then.", 0)
	}
	if e.lostLevel() == care.Vet {
		add(StepCallVet, "Call a reptile vet within a day or two, and tell your breeder: it has lost more weight than a pause in eating explains well.", 0)
	}
	if n > 0 && ago < restRegurgFull {
		add(StepStopFeeding, "Offer no food "+untilIn(restRegurgFull-ago)+". Keep water and the warm end right; the first meal after that is half the usual size.", restRegurgFull-ago)
	}
	if level == care.StepIn {
		add(StepTell, e.signDo(sign), 2)
	}
	for i := range e.findings {
		e.climateStep(&e.findings[i], add)
	}
	if e.silent() > 0 {
		add(StepSayHello, "Write in a word or two how it is doing. One line is enough.", 0)
	}
	held := e.holding()
	since := 1 << 30
	if !e.lastWeighed.IsZero() {
		since = e.daysSince(e.lastWeighed)
	}
	if e.weight.held > 0 {
		add(StepWeigh, "The last weight does not fit those before it. Weigh it once more, and write the number down here.", 0)
	}
	unsettled := e.levels.level > 0 || e.lost.level > 0 || e.refusedInARow >= 2
	if unsettled && e.day >= peaceDays && since >= weighEveryIfLoss && (held == 0 || e.step.Code != StepInPeace) {
		add(StepWeigh, "Weigh it once, quickly and quietly, and write the number down here.", 0)
	}
	if level < care.Vet {
		e.feedingStep(n > 0 && ago < restRegurgFull, held, add)
	}
	e.fixes(care.Watch, add)
	if level == care.Watch {
		add(StepTell, e.signDo(sign), 7)
	}
	if band, dry := e.inShedHumidity(); dry {
		add(StepDampen, "It is about to shed: raise the humidity to "+number(band.Low, 0)+" to "+number(band.High, 0)+" %, or put a damp cloth into a hide.", 5)
	}
	if e.shedInPieces && e.daysSince(e.shedAt) < shedDays {
		add(StepDampen, "The skin came off in pieces: put a damp cloth into a hide for some hours, look at its eyes and tail tip, and never pull.", 2)
	}
	if !e.climate.known {
		add(StepMeasure, "Measure the warm end and the cool end on the floor, and write them down here.", 0)
	}
	if len(e.answers) == 0 {
		add(StepCheckSetup, "Walk through the setup check when you have ten minutes.", 0)
	}
	if !unsettled && since >= weighEvery && e.day >= 7 {
		add(StepWeigh, "Weigh it before its next meal, and write the number down here.", 0)
	}
	if len(list) == 0 {
		add(StepKeepGoing, "Nothing to change: keep going as you are.", 7)
	}
	for i := range e.outgrown {
		if o := &e.outgrown[i]; o.from.Before(e.today.Add(hours(24 * laterTrap))) {
			add("remeasure:"+o.point, "To keep in mind: "+lower(o.title)+", "+number(o.size, 0)+" mm wide. It is wide enough today; as it grows, it could get stuck "+o.when()+". Measure again or take it out before "+month(o.from)+".", 0)
		}
	}
	return list
}

func untilIn(days int) string {
	if days == 1 {
		return "until tomorrow"
	}
	return "for another " + count(days, "day")
}

func (e *engine) fixes(level care.Standing, add func(string, string, int)) {
	for i := range e.hazards {
		if h := &e.hazards[i]; h.level == level {
			add("fix:"+h.point, h.fix, 0)
		}
	}
}

func (e *engine) climateStep(f *finding, add func(string, string, int)) {
	c := &e.sp.Climate
	if f.got.weak() {
		add(StepMeasure, "Measure again with a digital probe on the floor: a stick-on "+string(f.got.with)+" shows the wall it sits on.", 1)
	} else if ago := e.daysSince(f.got.at); float64(ago) > freshDays {
		add(StepMeasure, "Measure again: the last time was "+daysAgo(ago)+".", 1)
	}
	switch f.code {
	case "climate_warm_low":
		add(StepWarmUp, "Raise the warm end to "+bandOf(c.HotSpot)+" with a thermostat, then measure again the next day.", 3)
	case "climate_cold_hours":
		add(StepWarmUp, "See that the heater stays on, at night too: measure the warm end in the morning and in the evening for two days, and write it down here.", 2)
	case "climate_gradient_small":
		add(StepTwoEnds, "Put all heating at one end and leave the other end free, until they differ by at least 4 to 5 °C (7 to 9 °F).", 2)
	case "climate_gradient_large":
		add(StepTwoEnds, "Bring the ends a little nearer: the cool end to "+bandOf(c.Cool)+", the warm end to "+bandOf(c.HotSpot)+", and a hide half way.", 2)
	case "climate_warm_high", "climate_surface_hot":
		add(StepCoolDown, "Turn the thermostat down until no place it can touch is above "+degrees(c.HotTooHigh)+".", 1)
	case "climate_cool_high":
		add(StepCoolEnd, "Give it a cooler end of "+bandOf(c.Cool)+": move all heating to one side.", 2)
	case "climate_cool_low":
		add(StepWarmUp, "Warm the cool end a little, to "+bandOf(c.Cool)+".", 3)
	case "climate_night_low":
		add(StepWarmNight, "Keep nights at "+bandOf(c.Night)+".", 3)
	case "climate_humidity_low":
		add(StepDampen, "Raise the humidity to "+number(c.Humidity.Low, 0)+" to "+number(c.Humidity.High, 0)+" %: a larger bowl, damper ground, less open mesh.", 5)
	case "climate_humidity_high":
		add(StepAir, "Let it dry a little, to "+number(c.Humidity.Low, 0)+" to "+number(c.Humidity.High, 0)+" %, with more air.", 5)
	}
}

// offerWait is in how many days food may be offered next, 0 for today.
func (e *engine) offerWait() int {
	wait, last := 0, e.daysSince(e.lastOffer)
	if e.step.Code == StepInPeace || e.step.Code == StepStopFeeding {
		wait = e.holding()
	}
	if n, ago := e.regurgitations(); n > 0 {
		wait = max(wait, restRegurgFull-ago)
	}
	switch {
	case e.day < peaceDays && e.meals == 0:
		wait = max(wait, usualAgain-e.day)
	case e.inShed(e.today):
		wait = max(wait, usualAgain)
	case e.refusedInARow > 0:
		wait = max(wait, usualAgain-last)
	case !e.lastOffer.IsZero():
		wait = max(wait, int(e.sp.OfferEvery[e.age].Low)-last)
	}
	return wait
}

// feedingStep says when to offer again, or why not yet. An agreed step that
// holds is not talked over.
func (e *engine) feedingStep(resting bool, held int, add func(string, string, int)) {
	switch wait := e.offerWait(); {
	case held > 0 && (e.step.Code == StepInPeace || e.step.Code == StepStopFeeding):
		add(e.step.Code, "As agreed with your breeder: leave it in peace "+untilIn(held)+", with water and nothing else.", held)
	case held > 0 || resting:
	case e.day < peaceDays && e.meals == 0:
		add(StepInPeace, "Leave it in peace "+untilIn(wait)+": water, warmth, a hide, no handling and no food yet.", wait)
	case e.inShed(e.today):
		add(StepInPeace, "Wait with food until it has shed, then give it two or three days.", wait)
	case e.refusedInARow > 0 && wait > 0:
		add(StepInPeace, "Leave it in peace "+untilIn(wait)+", then offer once, in the evening.", wait)
	case e.offerSmaller():
		add(StepSmallerMeal, "Offer one meal of half the usual size in the evening, then leave it alone with it.", 7)
	case e.refusedInARow > 0:
		add(StepOffer, "Offer once in the evening, warm and still, then leave it alone with it until morning. If it does not want it, take it away and wait a week.", 7)
	case wait > 0:
		add(StepKeepGoing, "Nothing to do now. The next meal is due "+inDays(wait)+".", wait)
	default:
		add(StepOffer, "Offer its usual meal in the evening.", 0)
	}
}

// offerSmaller reports whether the next meal is better a small one: after food
// came up, and after prey that was too large for it.
func (e *engine) offerSmaller() bool {
	if n := len(e.regurgitated); n > 0 && !e.lastMeal.After(e.regurgitated[n-1].at) && e.daysSince(e.regurgitated[n-1].at) <= regurgitatedDays {
		return true
	}
	n := len(e.refusals)
	return n > 0 && e.refusals[n-1].slips.tooLarge
}

// tellKeeper writes for somebody who has their first snake, is perhaps
// thirteen, and is scared.
func (e *engine) tellKeeper(a *Assessment) {
	set := func(sees, means, worry string) { a.KeeperSees, a.KeeperMeans, a.KeeperWorry = sees, means, worry }
	const call = "Call a reptile vet if it breathes with its mouth open, wheezes, brings food up, or goes limp."
	sign, level := e.worst()
	n, ago := e.regurgitations()
	step := e.standing()
	var hot, cold, climate *finding // the first of each, of any
	for i := range e.findings {
		f := &e.findings[i]
		switch {
		case f.hot() && (hot == nil || f.level > hot.level):
			hot = f
		case f.code == "climate_warm_low":
			cold = f
		}
		if climate == nil || f.level > climate.level {
			climate = f
		}
	}
	var worstHazard *hazard
	for i := range e.hazards {
		if h := &e.hazards[i]; h.level == care.StepIn && (worstHazard == nil || h.risk.loss() > worstHazard.risk.loss()) {
			worstHazard = h
		}
	}
	refused := "It refused its last meal."
	if e.refusedInARow > 1 {
		refused = "It refused " + strconv.Itoa(e.refusedInARow) + " meals in a row."
	}
	switch {
	case e.ended:
		set("This follow-up has ended.", "Your log stays with you.", call)
	case level == care.Vet:
		set("You saw: "+lower(sign.info.Label)+".", "We cannot tell from here what it is. It is something a vet should look at, and you did right to write it down.",
			"Do not wait for a weigh-in or the next meal. If it gets worse on the way, tell the vet so.")
	case hot != nil && hot.level == care.StepIn:
		set("The "+hot.what()+" is "+hot.number()+".", burnsWords(hot),
			"Call a reptile vet if you see dark, raw or blistered scales; burns can show days later.")
	case worstHazard != nil && e.lostLevel() < care.Vet && n < 2:
		set("In the setup check: "+lower(worstHazard.title)+".", "Nothing has happened. This is one of the things that can hurt a snake, and it is quickly put right.",
			"Call a reptile vet if it is hurt or stuck. Do not pull.")
	case n > 1:
		set("It brought up food "+times(n)+".", "Often it is cold, too large a meal or too little rest; sometimes it is an illness, and only a vet can tell.", call)
	case e.lostLevel() == care.Vet:
		set("It weighs clearly less than when it came to you.", "It has lost more than a pause in eating usually costs. There can be many reasons, and a vet can find out which.", call)
	case n > 0 && ago < restRegurgFull:
		set("It brought up food "+daysAgo(ago)+".", "It happens when a snake is cool, was handled, or the meal was large. Its stomach needs rest now.", "If it happens again, or it looks ill, call a reptile vet.")
	case level == care.StepIn:
		set("You saw: "+lower(sign.info.Label)+".", "It may be harmless or the start of something. Your breeder or a vet can tell more.", call)
	case cold != nil:
		sees := "The warm end is " + cold.number() + "."
		if e.refusedInARow > 0 {
			sees += " " + refused
		}
		set(sees, climateMeans[cold.code], "If it still refuses two weeks after the warm end is right, tell your breeder. "+call)
	case e.refusedInARow > 0 && e.silent() > 0:
		set("Nothing was written down for "+count(e.daysSince(e.lastHeard), "day")+", and the last meal that you wrote down was refused.", "It may have eaten since. Your breeder would like to know.", call)
	case e.refusedInARow > 0 && e.inShed(e.today):
		set(refused+" Its eyes or skin are cloudy.", "It is about to shed. Most snakes do not eat until the old skin is off.", "If it has not eaten two weeks after the shed, tell your breeder. "+call)
	case e.refusedInARow > 0 && step >= care.StepIn:
		set(refused, e.likely(a)+" Your breeder sees this too and will help.", call)
	case e.refusedInARow > 0:
		set(refused, e.likely(a)+" Healthy snakes can go without food for weeks.", "Tell your breeder if it loses weight. "+call)
	case climate != nil:
		set("The "+climate.what()+" is "+climate.number()+".", climateMeans[climate.code], call)
	case e.silent() > 0:
		set("Nothing was written down for "+count(e.daysSince(e.lastHeard), "day")+".", "Most likely all is well. Your breeder would still like to know.", call)
	case level == care.Watch && sign.gone:
		set("You wrote that this is gone: "+lower(sign.info.Label)+".", "That is good news. Some illnesses come and go, so it is watched a little longer.", "If you see it again, write it down and call a reptile vet the same day.")
	case level == care.Watch:
		set("You saw: "+lower(sign.info.Label)+".", "Usually it is nothing serious.", call)
	case e.inShed(e.today):
		set("Its eyes or skin are cloudy.", "It is about to shed. It sees badly for some days and wants to be left alone.", "If pieces of skin stay on its eyes or tail, tell your breeder.")
	case e.meals >= 3:
		set("It has eaten "+strconv.Itoa(e.meals)+" times in a row with you.", "It has settled in.", call)
	case e.meals > 0:
		set("It has eaten with you.", "It is settling in well.", call)
	default:
		set("It is new in your home.", "Everything smells strange to it. Hiding all day is what a snake does when it arrives.", "If it has not eaten after three weeks, tell your breeder. "+call)
	}
}

// burnsWords says what a hot place can do to a snake that lies on it.
func burnsWords(f *finding) string {
	if f.burns == 0 {
		return climateMeans[f.code]
	}
	return "Lying on that burns skin after " + contact(f.burns) + ", by what is known of people; a snake may not move away in time."
}

// likely is the likeliest cause that is known, in a sentence.
func (e *engine) likely(a *Assessment) string {
	for _, c := range a.Causes {
		if c.Code != CauseUnknown {
			return c.Text
		}
	}
	return "Snakes pause now and then, and often nobody finds out why."
}

// lower makes a label fit into a sentence.
func lower(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
