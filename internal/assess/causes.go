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

// The likely causes of a refusal.
const (
	CauseTooCool  = "warm_side_too_cool"
	CauseTooOpen  = "too_open"
	CausePrey     = "prey_changed"
	CauseShed     = "in_shed"
	CauseTooSoon  = "offered_too_soon"
	CauseTooOften = "offered_too_often"
	CauseSeason   = "season"
	CauseSettling = "settling_in"
	CauseTooLarge = "prey_too_large"
	CauseUnknown  = "unknown"
)

var (
	// recentRefusals is for how many days a refusal asks for a cause, and how many
	// of them are looked at.
	recentRefusals, lastRefusals = wholeDays(snake.Numbers("cause", "recent", 2))
	leastCause                   = snake.Number("cause", "least") // this and the next are log-odds
	openHides                    = snake.Numbers("cause", "hides", 3)
	coldCause                    = snake.Number("cause", "cold") // times coldWeight
	arrivalCause                 = snake.Number("cause", "arrival")
	unknownCause                 = snake.Numbers("cause", "unknown", 3)

	// Rules of the trade on when to offer, days.
	peaceDays                      = int(snake.Number("offering", "peace_days"))
	betweenOffers                  = int(snake.Number("offering", "between_offers"))
	betweenMeals                   = int(snake.Number("offering", "between_meals"))
	usualAgain                     = int(snake.Number("offering", "again"))
	restRegurgDays, restRegurgFull = wholeDays(snake.Numbers("offering", "rest", 2))
)

// slips are things about one offer that make a refusal likelier and that
// nobody tells a first-time keeper.
type slips struct{ afterArrival, afterRefusal, afterMeal, afterRegurgitation, tooLarge bool }

// How much likelier a slip makes a refusal, in log-odds; that the first days are
// hard is counted as settling in.
var (
	slipOften        = snake.Number("slip", "often")
	slipFull         = snake.Number("slip", "full")
	slipRegurgitated = snake.Number("slip", "regurgitated")
	slipLarge        = snake.Number("slip", "large")
	tooLarge         = snake.Number("slip", "too_large") // times the usual largest share
)

// excuse is what the slips of one offer take from its refusal: it says little of
// an animal that was not hungry, or was disturbed, or was offered too much.
func (s slips) excuse() float64 {
	return slipOften*truth(s.afterRefusal) + slipFull*truth(s.afterMeal) + slipRegurgitated*truth(s.afterRegurgitation) + slipLarge*truth(s.tooLarge)
}

func (e *engine) slipsAt(o *care.Offer, at time.Time) slips {
	s := slips{afterArrival: e.day < peaceDays}
	if n := len(e.refusals); n > 0 && at.After(e.refusals[n-1].at) {
		s.afterRefusal = at.Sub(e.refusals[n-1].at) < time.Duration(betweenOffers)*day
	}
	if !e.lastMeal.IsZero() && at.After(e.lastMeal) {
		s.afterMeal = at.Sub(e.lastMeal) < time.Duration(betweenMeals)*day
	}
	if n := len(e.regurgitated); n > 0 {
		s.afterRegurgitation = at.Sub(e.regurgitated[n-1].at) < time.Duration(restRegurgDays)*day
	}
	if o.PreyMass > 0 && e.lastMass > 0 {
		s.tooLarge = float64(o.PreyMass) > tooLarge*e.sp.PreyShare[e.age].High/100*e.lastMass
	}
	return s
}

// recentlyRefused is the last refusal since the last meal, if it is recent.
func (e *engine) recentlyRefused() *refusal {
	if n := len(e.refusals); n > 0 && e.day-e.refusals[n-1].day <= recentRefusals {
		return &e.refusals[n-1]
	}
	return nil
}

// causes ranks what would explain the last refusals; shares add up to one. The
// sizes are those of the excuses, in log-odds, as far as these have one.
func (e *engine) causes() []care.Cause {
	if e.recentlyRefused() == nil {
		return nil
	}
	list := make([]care.Cause, 0, 10)
	add := func(code string, weight float64, why text) {
		if weight > leastCause {
			list = append(list, care.Cause{Code: code, Share: weight, Text: why})
		}
	}
	// Of the last refusals, what held for the later ones counts more.
	last := e.refusals[max(0, len(e.refusals)-lastRefusals):]
	var mean excuses
	var soon, often, full, large, regurgitated, sum float64
	for i := range last {
		r, w := &last[i], float64(i+1)
		sum += w
		mean.settling += w * r.excuses.settling
		mean.shed += w * r.excuses.shed
		mean.season += w * r.excuses.season
		mean.prey += w * r.excuses.prey
		soon += w * truth(r.slips.afterArrival)
		often += w * truth(r.slips.afterRefusal)
		full += w * truth(r.slips.afterMeal)
		large += w * truth(r.slips.tooLarge)
		regurgitated += w * truth(r.slips.afterRegurgitation)
	}
	if deficit := e.deficit(); deficit > coldLet {
		add(CauseTooCool, coldCause*coldWeight*(deficit-coldLet), words.Say("The warm side is about {difference} below what suits it, and a cool snake cannot digest.", difference(deficit)))
	}
	if a := e.answerTo("hides"); a != nil {
		open := map[string]float64{"no_hide": openHides[0], "too_open": openHides[1], "one": openHides[2]}[a.Choice]
		add(CauseTooOpen, open, words.Say("It has too few snug places to hide, and a snake that feels watched often does not eat."))
	}
	add(CausePrey, mean.prey/sum, words.Say("The food is not quite what it last ate: another kind, size, or frozen and thawed instead of live."))
	if shed := words.Say("It is about to shed. Most snakes eat again soon after."); mean.shed > 0 {
		if !e.inShed(last[len(last)-1].at) {
			shed = words.Say("Going by its last sheds, the next one is near. Most snakes eat again soon after.")
		}
		add(CauseShed, mean.shed/sum, shed)
	}
	if regurgitated > 0 {
		add(CauseTooSoon, slipRegurgitated*math.Max(soon, regurgitated)/sum, words.Say("Food came up not long ago. The stomach wants about two weeks of rest before the next, smaller meal."))
	} else {
		add(CauseTooSoon, arrivalCause*soon/sum, words.Say("The offer came in its first days with you. Most need about a week to arrive before they eat."))
	}
	if full > often {
		add(CauseTooOften, slipFull*full/sum, words.Say("The offer came soon after a meal, and it may not be hungry yet; about a week from meal to meal works better."))
	} else {
		add(CauseTooOften, (slipOften*often+slipFull*full)/sum, words.Say("The offers came close together. Each one disturbs it a little; a week between them works better."))
	}
	add(CauseSeason, mean.season/sum, words.Say("It is the cool season, when many of its kind pause."))
	add(CauseSettling, mean.settling/sum, words.Say("It is still settling in."))
	add(CauseTooLarge, slipLarge*large/sum, words.Say("The prey was large for its size. One about as wide as its body is easier."))
	n := float64(len(e.refusals))
	add(CauseUnknown, unknownCause[0]+unknownCause[1]*math.Min(unknownCause[2], n-1), words.Say("None of the usual causes explains it."))

	sum = 0
	for _, c := range list {
		sum += c.Share
	}
	for i := range list {
		list[i].Share /= sum
	}
	slices.SortStableFunc(list, func(a, b care.Cause) int { return cmp.Compare(b.Share, a.Share) })
	return list
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
