package cohort

import (
	"math"
	"math/rand/v2"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// mirrored simulates an animal by the assessment's own assumptions: it is in
// one of three states, refuses by a coin that the excuses weigh, fasts for a
// time without memory, and loses the usual or 2.4 times the usual. How far the
// assessment falls off from here to the other worlds is what their unlikeness
// costs.
func mirrored(r *rand.Rand, w *World) (Case, care.FeedingCount) {
	id := "python_regius"
	if r.Float64() >= w.BallPythons {
		id = []string{"pantherophis_guttatus", "boa_imperator"}[r.IntN(2)]
	}
	sp, _ := snake.ByID(id)
	age, mass, old := body(r, &sp)
	ball := id == "python_regius"

	mean, strength := sp.RefusalMean[age], 5.
	own := beta(r, mean*strength, (1-mean)*strength)
	begin := time.Date(2027, 1, 1+r.IntN(365), 9, 0, 0, 0, time.UTC)
	sold := 40 + float64(r.IntN(80))
	var d diary
	var count care.FeedingCount
	for t := 3.; t < sold-2; t += 7 {
		o := care.Offer{Result: care.Eaten, Prey: "rat", PreyState: care.Thawed, PreyMass: grams(.1 * mass)}
		if t+14 < sold-2 && r.Float64() < own { // sold after it ate twice
			o.Result = care.Refused
			count.Refused++
		}
		count.Offers++
		d.add(t+.4, care.BreederOwner, o)
	}
	d.add(sold-.5, care.BreederOwner, care.WeighIn{Mass: grams(mass * (1 + .01*r.NormFloat64()))})
	c := sale(r, &sp, begin, sold, old, care.North, count)

	k := newKeeper(r, w, &sp, age, mass)
	cold := math.Max(0, sp.Climate.Optimum-k.warm)
	if r.Float64() < .75*w.Failing*math.Exp(.22*math.Max(0, cold-1)) {
		if c.Truth.Onset = 0; r.Float64() < .7 {
			c.Truth.Onset = lastOnset * r.Float64()
		}
	}
	fasts, pause := w.Pauses*.08, [2]float64{}
	if ball {
		fasts *= [3]float64{3, 3, 5}[age]
	}
	if r.Float64() < fasts {
		pause[0] = 80*r.Float64() - 10
		pause[1] = pause[0] + 14 + 28*r.ExpFloat64()
	}
	loss := sp.LossPerDay[age] * math.Exp(.3*r.NormFloat64())
	faster := math.Max(1.2, 2.4+.7*r.NormFloat64())
	sheds := 45 * r.Float64()
	strange := r.Float64() < .2
	prey := map[bool]string{false: "rat", true: "mouse"}[strange]
	body, gut := mass, 0.
	next, weigh := k.first+2, math.Min(k.weighs, 2+9*r.Float64())
	if math.IsInf(k.weighs, 1) {
		weigh = k.weighs
	}
	if len(k.reads) > 0 {
		warm := care.Celsius(math.Round(10*k.warm+5*r.NormFloat64()) / 10)
		d.add(sold+math.Floor(k.reads[0])+.2, care.KeeperActor, care.ClimateReading{Warm: &warm, TakenWith: care.WithProbe})
	}
	for day := 0.; day < Horizon; day++ {
		failing, pausing := day >= c.Truth.Onset, day >= pause[0] && day < pause[1]
		pace := loss
		if failing {
			pace *= faster
		}
		left := gut * math.Exp(-1./4)
		body += .45*(gut-left) - pace*mass
		gut = left
		if day >= weigh {
			weigh = day + k.weighs*(.8+.4*r.Float64())
			d.add(sold+day+.35, care.KeeperActor, care.WeighIn{Mass: grams(k.shows(r, day, (body+gut)*(1+.025*r.NormFloat64())))})
		}
		phase := math.Mod(day+sheds, 45)
		if math.Floor(phase) == 3 && r.Float64() < k.notesShed {
			d.add(sold+day+.1, care.KeeperActor, care.Shed{Stage: care.Opaque})
		}
		if day >= next {
			next = day + k.every*(.8+.4*r.Float64())
			odds := logit(own) + 1.5*math.Exp(-day/10) + 2*truth(phase < 10) + .3*math.Max(0, cold-1.5) + truth(strange)
			refuses := math.Min(.9, 1/(1+math.Exp(-odds)))
			if failing || pausing {
				refuses = .92
			}
			o := care.Offer{Result: care.Refused, Prey: prey, PreyState: care.Thawed, PreyMass: grams(.1 * mass)}
			if r.Float64() >= refuses {
				o.Result, strange = care.Eaten, false
				gut += .1 * mass
			}
			if r.Float64() < k.noted {
				d.add(sold+day+.5, care.KeeperActor, o)
			}
			if o.Result == care.Eaten && failing && r.Float64() < .08 {
				gut = 0
				d.add(sold+day+.9, care.KeeperActor, care.Offer{Result: care.Regurgitated})
			}
		}
		c.Truth.Loss = append(c.Truth.Loss, 1-body/mass)
		c.Truth.Paused = append(c.Truth.Paused, pausing && !failing)
	}
	c.Log = d.entries(begin)
	return c, count
}

// beta draws from a Beta distribution, as a share of two Gamma times.
func beta(r *rand.Rand, a, b float64) float64 {
	x, y := gamma(r, a), gamma(r, b)
	return math.Min(.97, math.Max(.01, x/(x+y)))
}

// gamma draws from a Gamma distribution of scale 1 (Marsaglia & Tsang 2000, ACM
// Trans Math Softw 26:363).
func gamma(r *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(r, shape+1) * math.Pow(r.Float64(), 1/shape)
	}
	d := shape - 1./3
	for {
		x := r.NormFloat64()
		v := math.Pow(1+x/math.Sqrt(9*d), 3)
		if v > 0 && math.Log(r.Float64()) < x*x/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}
