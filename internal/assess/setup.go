package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// risk is the chance of harm, its severity (1: death) and the days until then.
type risk struct{ p, severity, days float64 }

// loss is the expected loss, 0 to 1, with harm that is far off counting less.
func (r risk) loss() float64 { return r.p * r.severity * math.Exp(-r.days/14) }

// stepInLoss is the expected loss from which a hazard of the setup is worth a
// word today, and not at the next chance. [assumption]
const stepInLoss = .08

// hazardRisks is what a hazard of the setup may do: by point and answer. All
// numbers are [assumption], ordered by what the trade and vets report as common
// and as grave; an answer that is not listed takes the default.
var hazardRisks = map[string]risk{
	"lid_gaps/no_lock":                 {.10, .7, 14},
	"lid_gaps/gap":                     {.20, .7, 14},
	"other_pets/can_reach":             {.05, .9, 30},
	"other_pets/shares":                {.15, .6, 21},
	"fumes/near_it":                    {.10, .5, 21},
	"heater_thermostat/loose_sensor":   {.20, .9, 5},
	"heater_thermostat/none_on":        {.30, 1, 3},
	"heat_rock/in_use":                 {.30, 1, 3},
	"bulb_guard/open":                  {.25, .9, 7},
	"power_near_water/no_switch":       {.02, 1, 30},
	"power_near_water/reachable":       {.15, 1, 7},
	"power_near_water/damaged":         {.20, 1, 3},
	"gradient/all_warm":                {.15, .7, 14},
	"gradient/all_cool":                {.30, .6, 21},
	"thermometers/dial":                {.05, .5, 30},
	"thermometers/none":                {.10, .5, 21},
	"hides/one":                        {.05, .3, 30},
	"hides/too_open":                   {.08, .3, 30},
	"hides/no_hide":                    {.10, .3, 30},
	"decor_openings/about_body":        {.30, .9, 14},
	"tubes/snug":                       {.25, .9, 14},
	"netting/coarse":                   {.10, .6, 14},
	"netting/soft_net":                 {.25, .9, 7},
	"sharp_edges/sharp":                {.15, .4, 14},
	"tape/tape_inside":                 {.20, .9, 7},
	"water_depth/too_deep":             {.05, .9, 14},
	"water_depth/too_deep/wobble":      {.25, .9, 7},
	"water_depth/tips":                 {.05, .3, 21},
	"water_depth/no_water":             {.30, .6, 5},
	"heavy_things/loose":               {.10, .9, 14},
	"climb_height/high_hard":           {.10, .5, 21},
	"climb_height/high_hard/wobble":    {.25, .8, 7},
	"climb_height/loose_branch":        {.10, .5, 21},
	"climb_height/loose_branch/wobble": {.25, .8, 7},
	"substrate/cedar_pine":             {.10, .5, 30},
	"substrate/sand_litter":            {.10, .5, 30},
	"live_prey/live_alone":             {.25, .8, 7},
}

var hazardDefault = risk{.05, .4, 30}

// wedgeConcern is the probability of getting stuck below which a measured hole
// is let pass. [assumption]
const wedgeConcern = .05

// hazard is one thing wrong with the setup, by the latest answers.
type hazard struct {
	point string
	title string
	fix   string
	note  string // the number behind it, or ""
	risk  risk
	level care.Standing
	at    time.Time
	id    string
}

// answer is the latest answer to a point.
type answer struct {
	care.SetupAnswer
	at time.Time
	id string
}

// openingSD is how far off a measured width may be, mm: a ruler 1, and a
// twentieth of what is large. [assumption]; a photo with the card does better.
func openingSD(width float64) float64 { return math.Max(1, width/20) }

// weighHazards judges the latest answers anew for a body of this mass.
func (e *engine) weighHazards(mass float64) {
	e.hazards, e.hazardMass, e.hazardsStale = e.hazards[:0], mass, false
	var limits []care.ChecklistItem
	dEq := snake.BodyDiameter(&e.sp, e.age, mass, 0)
	prey := e.sp.PreyShare[e.age].High / 100 * mass
	for i := range e.answers {
		a := &e.answers[i]
		p, ok := care.Point(a.Point)
		if !ok {
			continue
		}
		verdict := care.Unsure
		for _, c := range p.Choices {
			if c.Code == a.Choice {
				verdict = c.Verdict
			}
		}
		if verdict == care.NotHere {
			continue
		}
		r, found := hazardRisks[a.Point+"/"+a.Choice]
		if !found {
			r = hazardDefault
		}
		h := hazard{point: a.Point, title: p.Title, fix: p.Fix, at: a.at, id: a.id}
		bad := verdict == care.Hazard
		if a.Measure > 0 && dEq > 0 && p.Measure != care.MeasureNothing {
			if limits == nil {
				limits = care.MakeChecklist(&e.s.Animal, care.Grams(mass), a.at)
			}
			bad, r, h.note = e.measured(a, bad, r, limits, dEq, prey)
		}
		if !bad {
			continue
		}
		if e.wobble != snake.NoWobble {
			if w, ok := hazardRisks[a.Point+"/"+a.Choice+"/wobble"]; ok {
				r = w
			} else if w, ok := hazardRisks[a.Point+"/"+wobbleChoice[a.Point]+"/wobble"]; ok && a.Measure > 0 {
				r = w
			}
		}
		h.risk, h.level = r, care.Watch
		if r.loss() >= stepInLoss {
			h.level = care.StepIn
		}
		e.hazards = append(e.hazards, h)
	}
}

// wobbleChoice is the answer that a measure above the limit amounts to.
var wobbleChoice = map[string]string{"water_depth": "too_deep", "climb_height": "high_hard"}

// measured lets a size that was measured decide, for a number says more than
// the word "about": a hole by the probability of getting stuck in it, the rest
// by the limit made for this animal.
func (e *engine) measured(a *answer, bad bool, r risk, limits []care.ChecklistItem, dEq, prey float64) (bool, risk, string) {
	size := float64(a.Measure)
	var limit care.ChecklistItem
	for _, l := range limits {
		if l.Point == a.Point {
			limit = l
		}
	}
	switch a.Point {
	case "decor_openings", "tubes", "netting":
		if a.Choice == "soft_net" || a.Choice == "cut_open" {
			return bad, r, "" // a net holds any size, a cut tube none
		}
		p := snake.WedgeProbability(size, openingSD(size), dEq, prey)
		return p >= wedgeConcern, risk{p, .9, 14}, number(size, 0) + " mm wide, for a body about " + number(dEq, 0) + " mm: it could get stuck with a chance of about " + number(100*p, 0) + " %"
	case "lid_gaps":
		if limit.ShutBelow > 0 && a.Choice != "no_lock" {
			return a.Measure > limit.ShutBelow, hazardRisks["lid_gaps/gap"], "a slit of " + number(size, 0) + " mm, for a limit of " + number(float64(limit.ShutBelow), 0) + " mm"
		}
	case "water_depth":
		if limit.MaxDepth > 0 && a.Measure > limit.MaxDepth {
			return true, hazardRisks["water_depth/too_deep"], number(size, 0) + " mm deep, for a limit of " + number(float64(limit.MaxDepth), 0) + " mm"
		}
		if limit.MaxDepth > 0 && a.Choice == "too_deep" {
			return false, r, ""
		}
	case "climb_height":
		if limit.MaxHeight > 0 && a.Measure > limit.MaxHeight && (a.Choice != "high_soft" || e.wobble != snake.NoWobble) {
			return true, hazardRisks["climb_height/high_hard"], number(size/10, 0) + " cm high, for a limit of " + number(float64(limit.MaxHeight)/10, 0) + " cm"
		}
	}
	return bad, r, ""
}

// answerTo is the latest answer to a point, nil when it was never answered.
func (e *engine) answerTo(point string) *answer {
	for i := range e.answers {
		if e.answers[i].Point == point {
			return &e.answers[i]
		}
	}
	return nil
}
