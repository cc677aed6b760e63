package assess

import (
	"math"
	"slices"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
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

// StepName is what a step is, in few words: what was agreed is listed with it long after its
// sentence with days and numbers was suggested. A code of another program is shown as it is.
func StepName(code string) words.Text {
	switch code {
	case StepCallVet:
		return words.Say("call a reptile vet")
	case StepStopFeeding:
		return words.Say("offer no food")
	case StepCoolDown:
		return words.Say("turn the heat down")
	case StepWarmUp:
		return words.Say("make the warm side warmer")
	case StepCoolEnd:
		return words.Say("make the cool side cooler")
	case StepTwoEnds:
		return words.Say("make one end warm and the other cool")
	case StepWarmNight:
		return words.Say("keep it warmer at night")
	case StepDampen:
		return words.Say("make the air damper")
	case StepAir:
		return words.Say("make the air drier")
	case StepInPeace:
		return words.Say("leave it in peace")
	case StepWeigh:
		return words.Say("weigh it")
	case StepOffer:
		return words.Say("offer food")
	case StepMeasure:
		return words.Say("measure the warmth")
	case StepCheckSetup:
		return words.Say("go through the setup check")
	case StepTell:
		return words.Say("tell the breeder")
	case StepSayHello:
		return words.Say("say how it is doing")
	case StepKeepGoing:
		return words.Say("go on as before")
	case StepSmallerMeal:
		return words.Say("offer a smaller meal")
	}
	what, of, _ := strings.Cut(code, ":")
	if p, ok := care.Point(of); ok && what == "fix" {
		return words.Say("put right: {point}", words.Say(p.Title).Within())
	} else if ok && what == "remeasure" {
		return words.Say("measure again: {point}", words.Say(p.Title).Within())
	}
	return words.AsIs(strings.ReplaceAll(code, "_", " "))
}

// text is what the assessment says.
type text = words.Text

// number is a value with so many decimals.
func number(v float64, decimals int) words.Number { return words.Number{V: v, Decimals: decimals} }

func dayCount(n int) text { return words.Count("{n} day", "{n} days", n) }

func times(n int) text {
	switch n {
	case 1:
		return words.Say("once")
	case 2:
		return words.Say("twice")
	}
	return words.Count("{n} time", "{n} times", n)
}

func daysAgo(n int) text {
	switch n {
	case 0:
		return words.Say("today")
	case 1:
		return words.Say("yesterday")
	}
	return words.Count("{n} day ago", "{n} days ago", n)
}

func inDays(n int) text {
	switch {
	case n <= 0:
		return words.Say("now")
	case n == 1:
		return words.Say("tomorrow")
	}
	return words.Count("in {n} day", "in {n} days", n)
}

func degrees(c float64) text {
	return words.Say("{c} °C ({f} °F)", number(c, 1), number(c*1.8+32, 0))
}

// centimetres is a length of so many mm as a ruler shows it.
func centimetres(mm float64) text {
	if mm < 20 {
		return millimetres(mm)
	}
	return words.Say("{length} cm", number(mm/10, 0))
}

func month(t time.Time) words.Date { return words.Date{At: t.UTC(), As: words.Month} }

func percent(p float64) text {
	switch {
	case p < .01:
		return words.Say("under 1 %")
	case p > .99:
		return words.Say("over 99 %")
	}
	return words.Say("{share} %", number(100*p, 0))
}

// lossText is the loss with its interval, or the gain.
func (e *engine) lossText() text {
	if e.weight.start == 0 {
		return words.Say("no weight on record")
	}
	m, sd := e.weight.tissue()
	l := 100 * (1 - m)
	low, high := number(l-100*z90*sd, 1), number(l+100*z90*sd, 1)
	if l < 0 {
		low, high = number(-high.V, 1), number(-low.V, 1)
		if e.weight.seen == 0 {
			return words.Say("gained {loss} % since the handover ({low} to {high}), reckoned without a weigh-in", number(-l, 1), low, high)
		}
		return words.Say("gained {loss} % since the handover ({low} to {high})", number(-l, 1), low, high)
	}
	if e.weight.seen == 0 {
		return words.Say("lost {loss} % since the handover ({low} to {high}), reckoned without a weigh-in", number(l, 1), low, high)
	}
	return words.Say("lost {loss} % since the handover ({low} to {high})", number(l, 1), low, high)
}

func (e *engine) fastDays() int {
	if e.lastMeal.IsZero() {
		return -1
	}
	return e.daysSince(e.lastMeal)
}

func (e *engine) fastText() text {
	switch n := e.fastDays(); {
	case n < 0:
		return words.Say("no meal on record")
	case n == 0:
		return words.Say("ate today")
	default:
		return words.Count("{n} day since the last meal", "{n} days since the last meal", n)
	}
}

func (e *engine) refusalText() text {
	off, lasting := percent(e.offFeed()), percent(calibrated(e.logOdds()))
	var so text
	switch n := e.refusedInARow; {
	case n > 1:
		so = words.Say("refused {times} in a row", times(n))
	case n == 1:
		so = words.Say("refused the last offer")
	case e.fastDays() >= 0:
		so = words.Say("no refusal since the last meal")
	default:
		return words.Say("{fast}, {loss}. That it has stopped eating for now is {off} likely, that it needs help to start again {lasting}.",
			e.fastText().Begin(), e.lossText(), off, lasting)
	}
	if days := e.weight.daysTo(1 - tenth); e.refusedInARow > 1 && e.weight.start > 0 && days > 0 {
		return words.Say("{refused}, {fast}, {loss}, and a tenth in {days} at this pace. That it has stopped eating for now is {off} likely, that it needs help to start again {lasting}.",
			so.Begin(), e.fastText(), e.lossText(), dayCount(int(math.Ceil(days))), off, lasting)
	}
	return words.Say("{refused}, {fast}, {loss}. That it has stopped eating for now is {off} likely, that it needs help to start again {lasting}.",
		so.Begin(), e.fastText(), e.lossText(), off, lasting)
}

func (e *engine) weightText() text {
	loss, likely := e.lossText().Begin(), percent(e.weight.pLoss(tenth))
	if e.weight.seen > 0 {
		return words.Say("{loss}, at {pace} % a day where {usual} is usual in a fast; more than 10 % lost is {likely} likely.",
			loss, number(100*e.weight.s, 2), number(100*e.weight.s0, 2), likely)
	}
	return words.Say("{loss}; more than 10 % lost is {likely} likely.", loss, likely)
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
func ConcernName(code string) words.Text {
	kind, rest, _ := strings.Cut(code, ":")
	switch kind {
	case ConcernRefusal:
		return words.Say("Refuses food")
	case ConcernWeight:
		return words.Say("Loses weight")
	case ConcernRegurgitation:
		return words.Say("Brought food up")
	case ConcernSilence:
		return words.Say("Nothing heard")
	case "setup":
		if p, ok := care.Point(rest); ok {
			return words.Say(p.Title)
		}
	case "sign":
		s := signByCode(rest)
		return s.label()
	}
	if name, ok := climateNames[code]; ok {
		return name
	}
	return words.AsIs(code)
}

var climateNames = map[string]text{
	"climate_warm_high":      words.Say("Warm end too hot"),
	"climate_surface_hot":    words.Say("Surface too hot to lie on"),
	"climate_warm_low":       words.Say("Warm end too cool"),
	"climate_cool_low":       words.Say("Cool end too cool"),
	"climate_cool_high":      words.Say("Cool end too warm"),
	"climate_night_low":      words.Say("Nights too cool"),
	"climate_humidity_low":   words.Say("Air too dry"),
	"climate_humidity_high":  words.Say("Air too damp"),
	"climate_gradient_small": words.Say("Same warmth everywhere"),
	"climate_gradient_large": words.Say("Ends too far apart"),
	"climate_cold_hours":     words.Say("Too cool for a good part of a week"),
}

// troubleText is what the breeder reads of a concern.
func (e *engine) troubleText(t *trouble) text {
	switch t.of {
	case ofRefusal:
		return e.refusalText()
	case ofWeight:
		return e.weightText()
	case ofRegurgitation:
		n, ago := e.regurgitations()
		if n > 1 {
			return words.Say("Brought up food {times} within {days} days, last {ago}.", times(n), regurgitatedDays, daysAgo(ago))
		}
		return words.Say("Brought up food {ago}.", daysAgo(ago))
	case ofClimate:
		f := &e.findings[t.i]
		return e.findingText(f)
	case ofSetup:
		h := &e.hazards[t.i]
		note := h.note // what was measured, over what was said
		if note.Empty() {
			note = e.choiceLabel(h.point)
		}
		return words.Say("Setup, {point}: {note}.", words.Say(h.title).Within(), note)
	case ofSign:
		s := &e.signs[t.i]
		seen := words.Say("{sign}, last seen {ago}", s.info.label(), daysAgo(e.daysSince(s.last)))
		gene := nervous(s.info.Code) && e.gene != ""
		switch {
		case s.gone && gene:
			return words.Say("{seen}, said to be gone {ago}; it is watched for two weeks, for such signs come and go; it carries {gene}.", seen, daysAgo(e.daysSince(s.goneAt)), e.gene)
		case s.gone:
			return words.Say("{seen}, said to be gone {ago}; it is watched for two weeks, for such signs come and go.", seen, daysAgo(e.daysSince(s.goneAt)))
		case gene:
			return words.Say("{seen}; it carries {gene}.", seen, e.gene)
		}
		return words.Say("{seen}.", seen)
	}
	if e.s.Unclaimed && !e.heard {
		return words.Count("Card not claimed yet, {n} day after the handover.", "Card not claimed yet, {n} days after the handover.", e.daysSince(e.s.HandedOverAt))
	}
	return words.Count("Nothing heard for {n} day.", "Nothing heard for {n} days.", e.daysSince(e.lastHeard))
}

func (f *finding) what() text {
	return [...]text{warmSide: words.Say("warm side"), coolSide: words.Say("cool side"), night: words.Say("night temperature"),
		surface: words.Say("hottest surface"), humidity: words.Say("humidity"), gradient: words.Say("difference between the ends")}[f.kind]
}

// is says what was measured, as a sentence.
func (f *finding) is() text {
	n := f.number()
	switch f.kind {
	case warmSide:
		return words.Say("The warm side is {value}.", n)
	case coolSide:
		return words.Say("The cool side is {value}.", n)
	case night:
		return words.Say("The night temperature is {value}.", n)
	case surface:
		return words.Say("The hottest surface is {value}.", n)
	case humidity:
		return words.Say("The humidity is {value}.", n)
	}
	return words.Say("The difference between the ends is {value}.", n)
}

func (f *finding) number() text {
	switch f.kind {
	case humidity:
		return words.Say("{share} %", number(f.value, 0))
	case gradient:
		return difference(f.value)
	}
	return degrees(f.value)
}

// bandOf is a band of temperatures in both units.
func bandOf(b snake.Band) text {
	return words.Say("{c} to {c2} °C ({f} to {f2} °F)", number(b.Low, 0), number(b.High, 0), number(b.Low*1.8+32, 0), number(b.High*1.8+32, 0))
}

// difference is a difference of temperatures: it has no offset in °F.
func difference(c float64) text {
	return words.Say("{c} °C ({f} °F)", number(c, 1), number(c*1.8, 0))
}

// contact is a time of contact in words.
func contact(seconds float64) text {
	switch m := seconds / 60; {
	case m >= 100:
		return words.Count("about {n} hour", "about {n} hours", int(math.Round(m/60)))
	case m >= 1.5:
		return words.Count("about {n} minute", "about {n} minutes", int(math.Round(m)))
	}
	return words.Say("a minute or less")
}

func (c *cold) text() text {
	return words.Say("of the last {hours} hours {known} are known, {below} of them too cool, {sum} degree-hours in all", number(coldDays*24, 0), number(c.known, 0), number(c.below, 0), number(c.degreeHours, 0))
}

func (e *engine) findingText(f *finding) text {
	measured := words.Say("{what} {value}", f.what().Begin(), f.number())
	var found text
	switch {
	case f.burns > 0:
		found = words.Say("{measured}: at this temperature contact of {time} burns human skin; no limits for snakes are published", measured, contact(f.burns))
	case f.code == "climate_gradient_small":
		found = words.Say("{measured}, where at least {least} are usual", measured, difference(f.limit))
	case f.code == "climate_gradient_large":
		found = words.Say("{measured}, more than the {most} that leave a middle", measured, difference(f.limit))
	case f.code == "climate_cold_hours":
		found = words.Say("{measured} now, and it was below {limit}: {hours}", measured, degrees(f.limit), f.cold.text())
	case f.kind == humidity:
		found = words.Say("{measured}, limit {limit} %", measured, number(f.limit, 0))
	default:
		found = words.Say("{measured}, limit {limit}", measured, degrees(f.limit))
	}
	if f.code == "climate_warm_low" && f.cold.known > 0 {
		found = words.Say("{found}; {hours}", found, f.cold.text())
	}
	switch {
	case f.got.weak() && f.got.with == care.WithDial:
		found = words.Say("{found} (a stick-on dial, ±3 °C)", found)
	case f.got.weak():
		found = words.Say("{found} (a stick-on strip, ±3 °C)", found)
	case f.kind == surface && f.got.with == care.WithInfrared:
		found = words.Say("{found} (by infrared, which reads shiny metal too low)", found)
	}
	if ago := e.daysSince(f.got.at); float64(ago) > freshDays {
		return words.Say("{found}; measured {ago}, so it counts less.", found, daysAgo(ago))
	}
	return words.Say("{found}.", found)
}

// climateMeans is what a finding means, for the keeper.
var climateMeans = map[string]text{
	"climate_warm_high":      words.Say("That is warmer than suits it, and it may not move away in time."),
	"climate_surface_hot":    words.Say("That is warmer than it should lie on for long."),
	"climate_warm_low":       words.Say("It is too cool for it. A snake that cannot warm up does not eat, and this is easily put right."),
	"climate_cool_low":       words.Say("That is a little cool for it. It can still warm up at the other end."),
	"climate_cool_high":      words.Say("It has nowhere to cool down, and too warm is harder on a snake than too cool."),
	"climate_night_low":      words.Say("Cooler nights are normal, but this is cooler than it needs."),
	"climate_humidity_low":   words.Say("The air is dry for it, and in dry air the old skin comes off in pieces."),
	"climate_humidity_high":  words.Say("The air is very damp for it, and a belly that never dries can get sore."),
	"climate_gradient_small": words.Say("It is about as warm everywhere. A snake warms and cools itself by moving, so it needs a real choice."),
	"climate_gradient_large": words.Say("One end is much warmer than the other, and between them there may be no place that is just right."),
	"climate_cold_hours":     words.Say("The warm end is right again, but was too cool for a good part of the week. A heater that goes off now and then is easily missed."),
}

func (e *engine) choiceLabel(point string) text {
	a := e.answerTo(point)
	p, _ := care.Point(point)
	for _, c := range p.Choices {
		if a != nil && c.Code == a.Choice {
			return words.Say(c.Label).Within()
		}
	}
	return words.Say("not as it should be")
}

// strength is the plain word for a change of the log-odds.
func strength(w float64) text {
	switch a := math.Abs(w); {
	case a > 2 && w < 0:
		return words.Say("strongly reassuring")
	case a > 2:
		return words.Say("strongly more worrying")
	case a >= 1 && w < 0:
		return words.Say("clearly reassuring")
	case a >= 1:
		return words.Say("clearly more worrying")
	case a >= .3 && w < 0:
		return words.Say("a little reassuring")
	case a >= .3:
		return words.Say("a little more worrying")
	}
	return words.Say("hardly changes the picture")
}

// reasonText says a reason without its weight, which stands beside it.
func (e *engine) reasonText(r *care.Reason) text {
	s := strength(r.Weight)
	switch r.Code {
	case ReasonStart:
		return words.Say("Where every case of its kind starts: most are fine")
	case ReasonTime:
		return words.Say("Time passing: what was seen grows older")
	case ReasonRefused:
		so := words.Say("Refused the last offer")
		if n := len(r.Evidence); n > 1 {
			so = words.Say("refused {times} in a row", times(n)).Begin()
		}
		rate := e.feed.alpha / (e.feed.alpha + e.feed.beta)
		shed := slices.ContainsFunc(e.refusals, func(r refusal) bool { return r.excuses.shed > 0 })
		switch {
		case rate > 0 && shed:
			return words.Say("{refused}, for an animal that refuses about {rate} of its offers; what it refused in or near a shed counts little: {strength}", so, percent(rate), s)
		case rate > 0:
			return words.Say("{refused}, for an animal that refuses about {rate} of its offers: {strength}", so, percent(rate), s)
		case shed:
			return words.Say("{refused}; what it refused in or near a shed counts little: {strength}", so, s)
		}
		return words.Say("{refused}: {strength}", so, s)
	case ReasonEarlier:
		return words.Count("{n} refusal before the last meal: {strength}", "{n} refusals before the last meal: {strength}", len(r.Evidence), s)
	case ReasonEaten:
		return words.Say("Ate {times} in the new home: {strength}", times(len(r.Evidence)), s)
	case ReasonTooCool:
		return words.Say("First reading of the warm side, {cold} °C below what suits it by now: {strength}", number(e.deficit(), 1), s)
	case ReasonRegurgitated:
		return words.Say("Brought up food: {strength}", s)
	case ReasonWeight:
		return words.Say("Weight: {loss}. Its pace beside that of an ordinary fast: {strength}", e.lossText(), s)
	}
	return words.AsIs(r.Code)
}

// missing is the datum that would tell most.
func (e *engine) missing() text {
	if e.ended {
		return text{}
	}
	weighed := e.daysSince(e.lastWeighed)
	unsettled := e.refusedInARow > 0 || e.levels.level > 0
	notWeighed := words.Count("Not weighed for {n} day.", "Not weighed for {n} days.", weighed)
	switch {
	case e.weight.start == 0:
		return words.Say("No weight on record: without one, loss cannot be told from an ordinary pause.")
	case e.weight.held > 0:
		return words.Say("The last weight, {mass} g, does not fit those before it; one more would tell which is right.", number(e.weight.held, 0))
	case e.lastWeighed.IsZero() && e.day >= 7:
		return words.Say("Not weighed in the new home yet.")
	case unsettled && !e.lastWeighed.IsZero() && weighed >= weighEveryIfLoss:
		return notWeighed
	case !e.climate.known && (unsettled || e.day >= 3):
		return words.Say("No reading of the warm side.")
	case e.climate.known && unsettled && e.faded(e.climate.latest[warmSide]) < 1:
		return words.Say("The warm side was last measured {ago}.", daysAgo(e.daysSince(e.climate.latest[warmSide].at)))
	case e.answerTo("hides") == nil && (unsettled || e.day >= 3):
		return words.Say("The setup was not checked yet.")
	case !e.lastWeighed.IsZero() && weighed >= 2*weighEvery:
		return notWeighed
	}
	return text{}
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

func (e *engine) state() text {
	n, ago := e.regurgitations()
	switch {
	case n > 0 && ago <= restRegurgFull && e.refusedInARow == 0 && !e.lastMeal.After(e.regurgitated[len(e.regurgitated)-1].at):
		return words.Say("brought up food")
	case e.inShed(e.today):
		return words.Say("in shed")
	case e.refusedInARow > 0:
		return words.Say("not eating")
	case e.meals >= 3:
		return words.Say("eating")
	}
	return words.Say("settling in")
}

func (e *engine) headline(a *Assessment) text {
	if len(a.Concerns) > 0 {
		return a.Concerns[0].Text
	}
	switch {
	case e.s.Unclaimed && !e.heard:
		return words.Say("Card not claimed yet.")
	case e.refusedInARow > 0:
		return e.refusalText()
	case e.meals > 0:
		return words.Say("Ate {ago}, {loss}.", daysAgo(e.fastDays()), e.lossText())
	}
	if e.day > 14 && e.lastNews.Equal(e.s.HandedOverAt) {
		return words.Say("No offer or weight logged in the new home, day {day}.", e.day)
	}
	return words.Say("Settling in, day {day}: nothing to worry about so far.", e.day)
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
func (e *engine) signDo(s *signState) text {
	if s.info.Code == "wobble" && e.wobble == snake.NoWobble && !s.gone {
		return words.Say("Keep it away from other snakes, take a short film, and call a reptile vet today.")
	}
	switch ago, level := e.daysSince(s.last), e.signLevel(s); {
	case s.gone:
		return words.Say("Look at it once a day for two weeks. If no reptile vet has seen it, tell one what you saw: {sign}.", s.info.label().Within())
	case ago >= 2 && level == care.Vet:
		return words.Say("You saw this {ago}. If a reptile vet has not looked at it yet, call one today.", daysAgo(ago))
	case ago >= signHolds/2:
		return words.Say("Write down how it is now. You saw this {ago}: {sign}.", daysAgo(ago), s.info.label().Within())
	}
	return words.Say(s.info.DoNow)
}

// steps are what the keeper might do next, the most useful first.
func (e *engine) steps() []care.Step {
	var list []care.Step
	add := func(code string, do text, holds int) {
		for _, s := range list {
			if s.Code == code {
				return
			}
		}
		list = append(list, care.Step{Code: code, Text: do, HoldsDays: holds})
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
			add(StepCoolDown, words.Say("Switch that heater off or turn it down until the hottest place it can touch is below {limit}, then look at its belly.", degrees(e.sp.Climate.HotTooHigh)), 0)
		}
	}
	e.fixes(care.StepIn, add)
	n, ago := e.regurgitations()
	if n > 1 {
		add(StepCallVet, words.Say("Call a reptile vet within a day or two: food came up more than once. Offer none until then."), 0)
	}
	if e.lostLevel() == care.Vet {
		add(StepCallVet, words.Say("Call a reptile vet within a day or two, and tell your breeder: it has lost more weight than a pause in eating explains well."), 0)
	}
	if n > 0 && ago < restRegurgFull {
		add(StepStopFeeding, words.Say("Offer no food {until}. Keep water and the warm end right; the first meal after that is half the usual size.", untilIn(restRegurgFull-ago)), restRegurgFull-ago)
	}
	if level == care.StepIn {
		add(StepTell, e.signDo(sign), 2)
	}
	for i := range e.findings {
		e.climateStep(&e.findings[i], add)
	}
	if e.silent() > 0 {
		add(StepSayHello, words.Say("Write in a word or two how it is doing. One line is enough."), 0)
	}
	held := e.holding()
	since := 1 << 30
	if !e.lastWeighed.IsZero() {
		since = e.daysSince(e.lastWeighed)
	}
	if e.weight.held > 0 {
		add(StepWeigh, words.Say("The last weight does not fit those before it. Weigh it once more, and write the number down here."), 0)
	}
	unsettled := e.levels.level > 0 || e.lost.level > 0 || e.refusedInARow >= 2
	if unsettled && e.day >= peaceDays && since >= weighEveryIfLoss && (held == 0 || e.step.Code != StepInPeace) {
		add(StepWeigh, words.Say("Weigh it once, quickly and quietly, and write the number down here."), 0)
	}
	if level < care.Vet {
		e.feedingStep(n > 0 && ago < restRegurgFull, held, add)
	}
	e.fixes(care.Watch, add)
	if level == care.Watch {
		add(StepTell, e.signDo(sign), 7)
	}
	if band, dry := e.inShedHumidity(); dry {
		add(StepDampen, words.Say("It is about to shed: raise the humidity to {low} to {high} %, or put a damp cloth into a hide.", number(band.Low, 0), number(band.High, 0)), 5)
	}
	if e.shedInPieces && e.daysSince(e.shedAt) < shedDays {
		add(StepDampen, words.Say("The skin came off in pieces: put a damp cloth into a hide for some hours, look at its eyes and tail tip, and never pull."), 2)
	}
	if !e.climate.known {
		add(StepMeasure, words.Say("Measure the warm end and the cool end on the floor, and write them down here."), 0)
	}
	if len(e.answers) == 0 {
		add(StepCheckSetup, words.Say("Walk through the setup check when you have ten minutes."), 0)
	}
	if !unsettled && since >= weighEvery && e.day >= 7 {
		add(StepWeigh, words.Say("Weigh it before its next meal, and write the number down here."), 0)
	}
	if len(list) == 0 {
		add(StepKeepGoing, words.Say("Nothing to change: keep going as you are."), 7)
	}
	for i := range e.outgrown {
		if o := &e.outgrown[i]; o.from.Before(e.today.Add(hours(24 * laterTrap))) {
			add("remeasure:"+o.point, words.Say("To keep in mind: {point}, {size} mm wide. It is wide enough today; as it grows, it could get stuck {when}. Measure again or take it out before {month}.",
				words.Say(o.title).Within(), number(o.size, 0), o.when(), month(o.from)), 0)
		}
	}
	return list
}

func untilIn(days int) text {
	if days == 1 {
		return words.Say("until tomorrow")
	}
	return words.Count("for another {n} day", "for another {n} days", days)
}

func (e *engine) fixes(level care.Standing, add func(string, text, int)) {
	for i := range e.hazards {
		if h := &e.hazards[i]; h.level == level {
			add("fix:"+h.point, words.Say(h.fix), 0)
		}
	}
}

func (e *engine) climateStep(f *finding, add func(string, text, int)) {
	c := &e.sp.Climate
	if f.got.weak() {
		again := words.Say("Measure again with a digital probe on the floor: a stick-on strip shows the wall it sits on.")
		if f.got.with == care.WithDial {
			again = words.Say("Measure again with a digital probe on the floor: a stick-on dial shows the wall it sits on.")
		}
		add(StepMeasure, again, 1)
	} else if ago := e.daysSince(f.got.at); float64(ago) > freshDays {
		add(StepMeasure, words.Say("Measure again: the last time was {ago}.", daysAgo(ago)), 1)
	}
	switch f.code {
	case "climate_warm_low":
		add(StepWarmUp, words.Say("Raise the warm end to {band} with a thermostat, then measure again the next day.", bandOf(c.HotSpot)), 3)
	case "climate_cold_hours":
		add(StepWarmUp, words.Say("See that the heater stays on, at night too: measure the warm end in the morning and in the evening for two days, and write it down here."), 2)
	case "climate_gradient_small":
		add(StepTwoEnds, words.Say("Put all heating at one end and leave the other end free, until they differ by at least 4 to 5 °C (7 to 9 °F)."), 2)
	case "climate_gradient_large":
		add(StepTwoEnds, words.Say("Bring the ends a little nearer: the cool end to {cool}, the warm end to {warm}, and a hide half way.", bandOf(c.Cool), bandOf(c.HotSpot)), 2)
	case "climate_warm_high", "climate_surface_hot":
		add(StepCoolDown, words.Say("Turn the thermostat down until no place it can touch is above {limit}.", degrees(c.HotTooHigh)), 1)
	case "climate_cool_high":
		add(StepCoolEnd, words.Say("Give it a cooler end of {band}: move all heating to one side.", bandOf(c.Cool)), 2)
	case "climate_cool_low":
		add(StepWarmUp, words.Say("Warm the cool end a little, to {band}.", bandOf(c.Cool)), 3)
	case "climate_night_low":
		add(StepWarmNight, words.Say("Keep nights at {band}.", bandOf(c.Night)), 3)
	case "climate_humidity_low":
		add(StepDampen, words.Say("Raise the humidity to {low} to {high} %: a larger bowl, damper ground, less open mesh.", number(c.Humidity.Low, 0), number(c.Humidity.High, 0)), 5)
	case "climate_humidity_high":
		add(StepAir, words.Say("Let it dry a little, to {low} to {high} %, with more air.", number(c.Humidity.Low, 0), number(c.Humidity.High, 0)), 5)
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
func (e *engine) feedingStep(resting bool, held int, add func(string, text, int)) {
	switch wait := e.offerWait(); {
	case held > 0 && (e.step.Code == StepInPeace || e.step.Code == StepStopFeeding):
		add(e.step.Code, words.Say("As agreed with your breeder: leave it in peace {until}, with water and nothing else.", untilIn(held)), held)
	case held > 0 || resting:
	case e.day < peaceDays && e.meals == 0:
		add(StepInPeace, words.Say("Leave it in peace {until}: water, warmth, a hide, no handling and no food yet.", untilIn(wait)), wait)
	case e.inShed(e.today):
		add(StepInPeace, words.Say("Wait with food until it has shed, then give it two or three days."), wait)
	case e.refusedInARow > 0 && wait > 0:
		add(StepInPeace, words.Say("Leave it in peace {until}, then offer once, in the evening.", untilIn(wait)), wait)
	case e.offerSmaller():
		add(StepSmallerMeal, words.Say("Offer one meal of half the usual size in the evening, then leave it alone with it."), 7)
	case e.refusedInARow > 0:
		add(StepOffer, words.Say("Offer once in the evening, warm and still, then leave it alone with it until morning. If it does not want it, take it away and wait a week."), 7)
	case wait > 0:
		add(StepKeepGoing, words.Say("Nothing to do now. The next meal is due {when}.", inDays(wait)), wait)
	default:
		add(StepOffer, words.Say("Offer its usual meal in the evening."), 0)
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
	set := func(sees, means, worry text) { a.KeeperSees, a.KeeperMeans, a.KeeperWorry = sees, means, worry }
	call := words.Say("Call a reptile vet if it breathes with its mouth open, wheezes, brings food up, or goes limp.")
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
	refused := words.Say("It refused its last meal.")
	if e.refusedInARow > 1 {
		refused = words.Say("It refused {count} meals in a row.", e.refusedInARow)
	}
	switch {
	case e.ended:
		set(words.Say("This follow-up has ended."), words.Say("Your log stays with you."), call)
	case level == care.Vet:
		set(words.Say("You saw: {sign}.", sign.info.label().Within()), words.Say("We cannot tell from here what it is. It is something a vet should look at, and you did right to write it down."),
			words.Say("Do not wait for a weigh-in or the next meal. If it gets worse on the way, tell the vet so."))
	case hot != nil && hot.level == care.StepIn:
		set(hot.is(), burnsWords(hot),
			words.Say("Call a reptile vet if you see dark, raw or blistered scales; burns can show days later."))
	case worstHazard != nil && e.lostLevel() < care.Vet && n < 2:
		set(words.Say("In the setup check: {point}.", words.Say(worstHazard.title).Within()), words.Say("Nothing has happened. This is one of the things that can hurt a snake, and it is quickly put right."),
			words.Say("Call a reptile vet if it is hurt or stuck. Do not pull."))
	case n > 1:
		set(words.Say("It brought up food {times}.", times(n)), words.Say("Often it is cold, too large a meal or too little rest; sometimes it is an illness, and only a vet can tell."), call)
	case e.lostLevel() == care.Vet:
		set(words.Say("It weighs clearly less than when it came to you."), words.Say("It has lost more than a pause in eating usually costs. There can be many reasons, and a vet can find out which."), call)
	case n > 0 && ago < restRegurgFull:
		set(words.Say("It brought up food {ago}.", daysAgo(ago)), words.Say("It happens when a snake is cool, was handled, or the meal was large. Its stomach needs rest now."), words.Say("If it happens again, or it looks ill, call a reptile vet."))
	case level == care.StepIn:
		set(words.Say("You saw: {sign}.", sign.info.label().Within()), words.Say("It may be harmless or the start of something. Your breeder or a vet can tell more."), call)
	case cold != nil:
		sees := words.Say("The warm end is {value}.", cold.number())
		if e.refusedInARow > 0 {
			sees = words.Join(sees, refused)
		}
		set(sees, climateMeans[cold.code], words.Join(words.Say("If it still refuses two weeks after the warm end is right, tell your breeder."), call))
	case e.refusedInARow > 0 && e.silent() > 0:
		set(words.Count("Nothing was written down for {n} day, and the last meal that you wrote down was refused.", "Nothing was written down for {n} days, and the last meal that you wrote down was refused.", e.daysSince(e.lastHeard)), words.Say("It may have eaten since. Your breeder would like to know."), call)
	case e.refusedInARow > 0 && e.inShed(e.today):
		set(words.Join(refused, words.Say("Its eyes or skin are cloudy.")), words.Say("It is about to shed. Most snakes do not eat until the old skin is off."), words.Join(words.Say("If it has not eaten two weeks after the shed, tell your breeder."), call))
	case e.refusedInARow > 0 && step >= care.StepIn:
		set(refused, words.Join(e.likely(a), words.Say("Your breeder sees this too and will help.")), call)
	case e.refusedInARow > 0:
		set(refused, words.Join(e.likely(a), words.Say("Healthy snakes can go without food for weeks.")), words.Join(words.Say("Tell your breeder if it loses weight."), call))
	case climate != nil:
		set(climate.is(), climateMeans[climate.code], call)
	case e.silent() > 0:
		set(words.Count("Nothing was written down for {n} day.", "Nothing was written down for {n} days.", e.daysSince(e.lastHeard)), words.Say("Most likely all is well. Your breeder would still like to know."), call)
	case level == care.Watch && sign.gone:
		set(words.Say("You wrote that this is gone: {sign}.", sign.info.label().Within()), words.Say("That is good news. Some illnesses come and go, so it is watched a little longer."), words.Say("If you see it again, write it down and call a reptile vet the same day."))
	case level == care.Watch:
		set(words.Say("You saw: {sign}.", sign.info.label().Within()), words.Say("Usually it is nothing serious."), call)
	case e.inShed(e.today):
		set(words.Say("Its eyes or skin are cloudy."), words.Say("It is about to shed. It sees badly for some days and wants to be left alone."), words.Say("If pieces of skin stay on its eyes or tail, tell your breeder."))
	case e.meals >= 3:
		set(words.Say("It has eaten {count} times in a row with you.", e.meals), words.Say("It has settled in."), call)
	case e.meals > 0:
		set(words.Say("It has eaten with you."), words.Say("It is settling in well."), call)
	default:
		set(words.Say("It is new in your home."), words.Say("Everything smells strange to it. Hiding all day is what a snake does when it arrives."), words.Join(words.Say("If it has not eaten after three weeks, tell your breeder."), call))
	}
}

// burnsWords says what a hot place can do to a snake that lies on it.
func burnsWords(f *finding) text {
	if f.burns == 0 {
		return climateMeans[f.code]
	}
	return words.Say("Lying on that burns skin after {time}, by what is known of people; a snake may not move away in time.", contact(f.burns))
}

// likely is the likeliest cause that is known, in a sentence.
func (e *engine) likely(a *Assessment) text {
	for _, c := range a.Causes {
		if c.Code != CauseUnknown {
			return c.Text
		}
	}
	return words.Say("Snakes pause now and then, and often nobody finds out why.")
}
