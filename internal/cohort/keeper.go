package cohort

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// keeper is how one person does things. All shares are [assumption].
type keeper struct {
	first      float64 // day of the first offer
	every      float64 // days between offers
	again      float64 // days to the next offer after a refusal
	noted      float64 // share of offers written down
	quits      float64 // day from which nothing is written any more
	weighs     float64 // days between weights; +Inf never
	before     bool    // weighs just before the offer
	resolution float64 // g
	scale      float64 // what it shows over what is there
	newScaleAt float64
	newScale   float64
	neighbour  float64 // g, another snake of theirs; 0 none
	slips      float64
	noise      float64
	warm       float64 // °C, the warm side
	betterAt   float64 // day it is put right
	reads      []float64
	with       care.TakenWith
	notesShed  float64
	share      float64 // prey over body
	prey       string
	state      care.PreyState
	checksAt   float64
}

func newKeeper(r *rand.Rand, w *World, sp *snake.Species, age snake.AgeClass, mass float64) *keeper {
	usual := sp.OfferEvery[age]
	k := &keeper{
		first: 1 + 8*r.Float64(), every: math.Max(5, usual.Low+(math.Min(usual.High, 14)-usual.Low)*r.Float64()),
		noted: 1 - (1-w.Noted)*2*r.Float64(), quits: math.Inf(1), weighs: math.Inf(1), newScaleAt: math.Inf(1), betterAt: math.Inf(1),
		before: r.Float64() < .6, slips: .012 * w.Slips, noise: w.Noise,
		scale: 1 + .008*w.Noise*r.NormFloat64(), notesShed: r.Float64(),
		checksAt: 1 + 10*r.ExpFloat64(),
	}
	k.again = k.every
	switch u := r.Float64(); {
	case u < .25:
		k.again = 3 + r.Float64() // tries again too soon
	case u < .45:
		k.again = k.every * 1.6 // lets it rest
	}
	if r.Float64() < .12 {
		k.quits = 90 * r.Float64()
	}
	u := r.Float64()
	for i, p := range w.Weighing {
		if u -= p; u < 0 {
			k.weighs = [...]float64{math.Inf(1), 28, 14, 7}[i]
			break
		}
	}
	k.resolution = 1
	if mass < 30 && r.Float64() < .6 || mass < 120 && r.Float64() < .2 {
		k.resolution = .1
	} else if mass > 800 && r.Float64() < .4 {
		k.resolution = 5
	}
	if r.Float64() < .06*w.Noise {
		k.newScaleAt, k.newScale = 10+50*r.Float64(), 1+.025*r.NormFloat64()
	}
	if r.Float64() < .25 {
		k.neighbour = mass * math.Exp(.9*r.NormFloat64())
	}
	k.warm = sp.Climate.Optimum + .9*r.NormFloat64()
	if r.Float64() < w.CoolHomes {
		k.warm = sp.Climate.Optimum - 2 - 3*r.ExpFloat64()
	}
	if r.Float64() < .7 {
		k.reads = append(k.reads, 1+5*r.ExpFloat64())
		for d := k.reads[0] + 30*r.ExpFloat64(); d < 75 && r.Float64() < .5; d += 25 * r.ExpFloat64() {
			k.reads = append(k.reads, d)
		}
		if r.Float64() < .5 && k.warm < sp.Climate.Optimum-2 {
			k.betterAt = k.reads[0] + 3 + 15*r.ExpFloat64()
		}
	}
	k.with = []care.TakenWith{care.WithProbe, care.WithProbe, care.WithInfrared, care.WithDial, care.WithStrip}[r.IntN(5)]
	band := sp.PreyShare[age]
	k.share = (band.Low + (band.High-band.Low)*r.Float64()) / 100
	if r.Float64() < .06 {
		k.share *= 1.8
	}
	return k
}

// warmOn is the warm side on a day.
func (k *keeper) warmOn(day float64, optimum float64) float64 {
	if day >= k.betterAt {
		return math.Max(k.warm, optimum-1)
	}
	return k.warm
}

// shows is what is written down when the animal truly weighs that much.
func (k *keeper) shows(r *rand.Rand, day, mass float64) float64 {
	scale := k.scale
	if day >= k.newScaleAt {
		scale = k.newScale
	}
	shown := mass * scale * (1 + .006*k.noise*r.NormFloat64())
	if r.Float64() < k.slips {
		switch u := r.Float64(); {
		case u < .3:
			shown *= 10
		case u < .5:
			shown /= 10
		case u < .6:
			shown /= 28.35 // ounces
		case u < .75 && k.neighbour > 0:
			shown = k.neighbour
		default:
			shown = swapped(shown) // two figures change places
		}
	}
	return math.Max(.1, math.Round(shown/k.resolution)*k.resolution)
}

// swapped exchanges the last two figures of the whole grams.
func swapped(v float64) float64 {
	n := int(v)
	if n < 10 {
		return v
	}
	return float64(n/100*100 + n%10*10 + n/10%10)
}

// diary is what is written down of one animal, by the day.
type diary []line

type line struct {
	day  float64
	by   care.ActorKind
	body care.Body
}

func (d *diary) add(day float64, by care.ActorKind, b care.Body) { *d = append(*d, line{day, by, b}) }

// entries are the lines in order of time, days counted from begin.
func (d diary) entries(begin time.Time) []care.Entry {
	slices.SortStableFunc(d, func(a, b line) int { return cmp.Compare(a.day, b.day) })
	log := make([]care.Entry, len(d))
	for i, l := range d {
		at := moment(begin, l.day)
		log[i] = care.Entry{ID: strconv.Itoa(i), By: l.by, HappenedAt: at, ReceivedAt: at, Body: l.body}
	}
	return log
}

func moment(begin time.Time, day float64) time.Time {
	return care.Instant(begin.Add(time.Duration(day * 24 * float64(time.Hour))))
}

// setup is a walk through the checklist. How many homes have which hazard is
// not published: one in fifty for each point that can hurt at once, more where
// beginners are known to go wrong, which is common practice.
func setup(r *rand.Rand) care.SetupCheck {
	var c care.SetupCheck
	for _, p := range care.SetupPoints() {
		wrong := .02
		switch p.Code {
		case "hides", "thermometers":
			wrong = .25
		case "lid_gaps", "gradient", "climb_height", "heavy_things", "water_depth":
			wrong = .06
		}
		var fine, hazards []string
		for _, ch := range p.Choices {
			switch ch.Verdict {
			case care.Fine:
				fine = append(fine, ch.Code)
			case care.Hazard:
				hazards = append(hazards, ch.Code)
			}
		}
		choice := fine
		if len(fine) == 0 || r.Float64() < wrong {
			choice = hazards
		}
		c.Answers = append(c.Answers, care.SetupAnswer{Point: p.Code, Choice: choice[r.IntN(len(choice))]})
	}
	return c
}
