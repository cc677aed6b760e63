package assess

import (
	"math"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// harm is how likely something hurts the animal, how badly (1: life), and in
// how many days. All are [assumption], to be shown as such and changed when
// real outcomes say so.
type harm struct{ p, s, t float64 }

// expected is the loss to expect, discounted over two weeks.
func (h harm) expected() float64 { return h.p * h.s * math.Exp(-h.t/14) }

// What a hazard does to the standing, by expected loss. [assumption]
const (
	stepInFrom = .10
	watchFrom  = .005
)

func (h harm) level() care.Standing {
	switch l := h.expected(); {
	case l >= stepInFrom:
		return care.StepIn
	case l >= watchFrom:
		return care.Watch
	}
	return care.Settled
}

// setupHarm is what an answer means, by point and choice; a hazard that is
// not listed by choice takes the point's own row. Openings are computed.
var setupHarm = map[string]harm{
	"heater_thermostat":              {.30, 1.0, 3},
	"heater_thermostat/loose_sensor": {.20, 1.0, 5},
	"heat_rock":                      {.30, 1.0, 3},
	"bulb_guard":                     {.20, 1.0, 5},
	"power_near_water":               {.20, 1.0, 7},
	"decor_openings":                 {.25, .9, 14},
	"tubes":                          {.20, .9, 21},
	"netting":                        {.25, .9, 10},
	"netting/coarse":                 {.10, .5, 14},
	"sharp_edges":                    {.20, .4, 10},
	"tape":                           {.30, .8, 7},
	"lid_gaps":                       {.25, .7, 7},
	"other_pets":                     {.20, .9, 10},
	"fumes":                          {.15, .6, 14},
	"gradient":                       {.30, .5, 21},
	"thermometers":                   {.15, .4, 21},
	"thermometers/none":              {.20, .6, 21},
	"hides":                          {.20, .3, 30},
	"hides/no_hide":                  {.30, .4, 21},
	"water_depth":                    {.05, .8, 21},
	"water_depth/tips":               {.05, .3, 21},
	"water_depth/no_water":           {.60, .8, 4},
	"heavy_things":                   {.15, 1.0, 10},
	"climb_height":                   {.10, .6, 21},
	"substrate":                      {.20, .5, 21},
	"substrate/cedar_pine":           {.30, .6, 14},
	"live_prey":                      {.30, .9, 3},
}

// With a wobble gene the animal may not right itself in water or after a slip.
var wobbleHarm = map[string]harm{
	"water_depth":  {.25, 1.0, 7},
	"climb_height": {.25, .7, 7},
}

// measureSD is how exact a keeper's ruler is, mm. [assumption]
const measureSD = 1.5

type hazard struct {
	point care.SetupPoint
	harm  harm
	level care.Standing
	text  string
	id    string
}

// hazards reads the latest answer to each point.
func (e *engine) hazards() []hazard {
	var out []hazard
	evidence, _ := snake.Wobble(e.s.Animal.Genes)
	mass := e.mass()
	for _, p := range care.SetupPoints() {
		a, ok := e.answers[p.Code]
		if !ok {
			continue
		}
		verdict := care.Unsure
		label := ""
		for _, c := range p.Choices {
			if c.Code == a.Choice {
				verdict, label = c.Verdict, c.Label
			}
		}
		h, listed := setupHarm[p.Code+"/"+a.Choice]
		if !listed {
			h = setupHarm[p.Code]
		}
		if w, ok := wobbleHarm[p.Code]; ok && evidence != snake.NoWobble && a.Choice != "tips" {
			h = w
		}
		text := p.Title + ": " + label
		switch {
		case a.Measure > 0 && p.Measure == care.MeasureOpening && mass > 0:
			// The ruler says more than the choice.
			d := snake.BodyDiameter(&e.sp, e.ageNow(), mass, 0)
			h.p = snake.WedgeProbability(float64(a.Measure), measureSD, d, float64(e.lastMealPrey.PreyMass))
			text = p.Title + ": " + number(float64(a.Measure)) + " mm wide, and a snake of " + number(mass) + " g may get stuck in it"
			if h.p < .03 {
				continue
			}
		case a.Measure > 0 && p.Measure == care.MeasureDepth && evidence != snake.NoWobble && a.Measure > 30:
			text = p.Title + ": " + number(float64(a.Measure)) + " mm deep, for a snake with a wobble gene"
		case verdict != care.Hazard:
			continue
		}
		level := h.level()
		if level == care.Settled {
			continue
		}
		out = append(out, hazard{p, h, level, text, a.id})
	}
	return out
}

func (e *engine) mass() float64 {
	m, _ := e.weight.tissue()
	return m * e.weight.start
}

func (e *engine) ageNow() snake.AgeClass {
	return e.sp.Age(e.s.Animal.Hatched, e.mass(), e.now)
}
