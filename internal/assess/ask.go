package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// The questions that a check-in may ask.
const (
	AskFood   = "offer" // how the meals since then went
	AskWeight = "weigh"
	AskWord   = "word" // how it is
)

var (
	// furthestAsk is the longest time between two questions, days, unless an agreed
	// step holds longer.
	furthestAsk = int(snake.Number("ask", "furthest"))
	// burden is what an answer costs the keeper, as the chance of leaving a failing
	// animal alone that weighs as much; a weight costs more, since it also disturbs
	// the animal.
	burden, timesWeigh = split(snake.Numbers("ask", "burden", 2))
	weighsBurden       = timesWeigh * burden
)

// outlook is what the next question depends on, as of the last day on which
// something was logged.
type outlook struct {
	day     int
	feed    feeding
	weights float64 // what the weights say, log-odds
	excuse  float64 // of a refusal
	deficit float64 // °C
	wait    int     // days until food may be offered
	every   int     // days from one offer to the next

	mass, sd float64 // of the body, as a share of the start; mass 0: no weight known
	loss     float64 // of a fasting day
	noise    float64 // standard deviation of a weight

	found bool // the two below are worked out
	after int  // days until the next question is worth asking
	about string
}

// lookOut takes the outlook of today.
func (e *engine) lookOut() {
	o := outlook{day: e.day, feed: e.feed, weights: e.weight.logOdds(), deficit: e.deficit(), wait: e.offerWait(),
		every: int(math.Max(float64(betweenOffers), e.sp.OfferEvery[e.age].Mid()))}
	x := e.excusesAt(&care.Offer{}, slips{}, e.today)
	o.excuse = x.total()
	if e.weight.start > 0 {
		o.mass, o.sd = e.weight.tissue()
		o.loss, o.noise = e.weight.s, math.Sqrt(e.weight.noise(o.mass, 0))
	}
	e.outlook = o
}

// question is the day on which the next one is due, and what about.
func (e *engine) question() (due int, about string) {
	o := &e.outlook
	if !o.found {
		o.after, o.about = o.next()
		o.found = true
	}
	due = o.day + o.after
	if held := e.holding(); held > 0 {
		due = max(due, e.day+held) // an agreed step is not talked over
	}
	return due, o.about
}

// next looks a day at a time for the first on which an answer would be worth
// its burden: by then the offers would have been eaten or refused, and a weight
// could be taken.
//
// The worth of an answer is what it is expected to save (Raiffa & Schlaifer 1961,
// Applied Statistical Decision Theory, on the expected value of sample
// information). Leaving alone an animal that fails with probability p costs p, a
// step in vain costs c; whoever knows p pays min(p, c). How much a step in vain
// costs differs from breeder to breeder and is not known: for c anywhere from 0
// to 1 alike, the mean of min(p, c) is p − p²/2, and so an answer that moves p
// saves half the variance of p.
func (o *outlook) next() (after int, about string) {
	const most = 4 // offers; more than that tell little more
	type branch struct {
		feeding
		p float64 // that it comes to this
	}
	var store [1 << most]branch
	branches := append(store[:0], branch{o.feed, 1})
	for d := 1; d <= furthestAsk; d++ {
		for i := range branches {
			branches[i].pass(o.deficit)
		}
		if d >= o.wait && (d-max(1, o.wait))%o.every == 0 && len(branches) < 1<<most {
			for i := range branches {
				b := branches[i]
				refused := b
				eats := (1-b.n)*eatsFast + b.n*(1-b.rate(o.excuse))
				branches[i].accepted(o.excuse)
				branches[i].p *= eats
				refused.refused(o.excuse)
				refused.p *= 1 - eats
				branches = append(branches, refused)
			}
		}
		if d < o.wait {
			continue
		}
		var mean, square, off float64
		for i := range branches {
			b := &branches[i]
			p := logistic(b.logOdds() + o.weights)
			mean += b.p * p
			square += b.p * p * p
			off += b.p * (b.b + b.x)
		}
		food, weight := (square-mean*mean)/2/burden, off*o.weightWorth(d)/weighsBurden
		if math.Max(food, weight) >= 1 || d == furthestAsk { // one thing is asked at a time
			switch {
			case weight > food:
				return d, AskWeight
			case food > 0:
				return d, AskFood
			}
			return d, AskWord
		}
	}
	return max(o.wait, furthestAsk), AskWord // a step holds longer than any question waits
}

// weightWorth is what a weight d days from now would save in an animal that eats
// nothing until then: half the variance of the probability that a tenth is gone.
// One that eats makes good by itself what it has lost.
func (o *outlook) weightWorth(d int) float64 {
	if o.mass == 0 {
		return 0
	}
	mass := o.mass - o.loss*float64(d)
	before := o.sd*o.sd + walkX*float64(d)
	after := before * o.noise * o.noise / (before + o.noise*o.noise)
	moves := math.Sqrt(before - after) // of the mean, by the weight
	var mean, square float64
	for i, z := range hermite.at {
		q := phi((1 - tenth - mass - moves*z) / math.Sqrt(after))
		mean += hermite.weight[i] * q
		square += hermite.weight[i] * q * q
	}
	return (square - mean*mean) / 2
}

// hermite is Gauss-Hermite quadrature of five points for the standard normal
// distribution (Abramowitz & Stegun 1964, table 25.10, rescaled).
var hermite = struct{ at, weight [5]float64 }{
	[5]float64{-2.856970013872806, -1.355626179974266, 0, 1.355626179974266, 2.856970013872806},
	[5]float64{.011257411327720689, .22207592200561264, .53333333333333333, .22207592200561264, .011257411327720689},
}

// waiting are the steps that ask nothing of the keeper today.
var waiting = map[string]bool{StepKeepGoing: true, StepInPeace: true, StepStopFeeding: true, StepOffer: true, StepSmallerMeal: true}

// ask says when the keeper is to be asked next, and what.
func (e *engine) ask(a *Assessment) {
	if e.ended {
		return
	}
	due, about := e.question()
	a.Ask, a.AskAt = about, e.s.HandedOverAt.Add(time.Duration(due)*day)
	if len(a.Steps) > 0 && !waiting[a.Steps[0].Code] && due > e.day {
		a.AskAt = e.today // there is something to do now, and the answer is how it went
	}
	switch a.Ask {
	case AskFood:
		a.Question = words.Say("How did its last meals go?")
	case AskWeight:
		a.Question = words.Say("What does it weigh now?")
	default:
		a.Question = words.Say("How is it?")
	}
}
