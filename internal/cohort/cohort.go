package cohort

import (
	"math"
	"math/rand/v2"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
)

const (
	// Horizon is how many days each case is followed.
	Horizon = 75
	// BookSize is how many cases one breeder has.
	BookSize = 40
	// lastOnset leaves four weeks to find what fails.
	lastOnset = Horizon - 28
)

// Case is one sold animal: what is known of it, and the truth.
type Case struct {
	Subject assess.Subject
	Log     []care.Entry
	Book    int // of the breeder
	Truth   Truth
}

// Truth is what no log contains.
type Truth struct {
	Onset  float64   // day it began to fail; +Inf: healthy
	Loss   []float64 // share of tissue truly lost since the handover, at the end of each day
	Paused []bool    // in an ordinary pause on that day
	Picky  bool      // refused two of five offers or more at the breeder
}

// Fails reports whether the animal comes to fail.
func (t *Truth) Fails() bool { return !math.IsInf(t.Onset, 1) }

// Make simulates that many books of one world. The same arguments make the same
// cases.
func Make(w World, seed uint64, books int) []Case {
	cases := make([]Case, 0, books*BookSize)
	for b := range books {
		own := .25 * rand.New(rand.NewPCG(seed, uint64(b)<<20)).NormFloat64() // the line of a breeder [assumption]
		known := map[string][]care.FeedingCount{}
		for i := range BookSize {
			r := rand.New(rand.NewPCG(seed, uint64(b)<<20|uint64(i+1)))
			var c Case
			var count care.FeedingCount
			if w.Mirror {
				c, count = mirrored(r, &w)
			} else {
				c, count = one(r, &w, own)
			}
			c.Book = b
			// A breeder knows the animals that came before, and this one.
			id := c.Subject.Animal.Species
			known[id] = append(known[id], count)
			sp, _ := snake.ByID(id)
			flock := assess.FlockOf(known[id])
			c.Subject.Learned = flock.Prior(&sp, ageAt(&c, &sp))
			cases = append(cases, c)
		}
	}
	return cases
}

// ageAt is the age class at the handover, as the assessment reckons it.
func ageAt(c *Case, sp *snake.Species) snake.AgeClass {
	mass := 0.
	for i := range c.Log {
		if b, ok := c.Log[i].Body.(care.WeighIn); ok && c.Log[i].HappenedAt.Before(c.Subject.HandedOverAt) {
			mass = float64(b.Mass)
		}
	}
	return sp.Age(c.Subject.Animal.Hatched, mass, c.Subject.HandedOverAt)
}

// kind draws a species.
func kind(r *rand.Rand, w *World) string {
	if r.Float64() < w.BallPythons {
		return "python_regius"
	}
	return []string{"pantherophis_guttatus", "pantherophis_guttatus", "pantherophis_guttatus", "boa_imperator", "boa_imperator",
		"heterodon_nasicus", "lampropeltis_californiae", "morelia_viridis"}[r.IntN(8)]
}

// one simulates one animal of a breeder whose line has this appetite.
func one(r *rand.Rand, w *World, breeder float64) (Case, care.FeedingCount) {
	sp, _ := snake.ByID(kind(r, w))
	age, mass, old := body(r, &sp)
	a := newAnimal(r, w, &sp, mass, age, breeder)
	k := newKeeper(r, w, &sp, age, mass)
	south, peak := r.Float64() < .25, 15. // mid January
	if south {
		peak = 197
	}
	begin := time.Date(2027, 1, 1, 9, 0, 0, 0, time.UTC).AddDate(0, 0, r.IntN(365))
	winter := func(t float64) float64 {
		return math.Cos(2 * math.Pi * (float64(begin.YearDay()) + t - peak) / 365.25)
	}

	var d diary
	prey, state := "rat", care.Thawed
	if r.Float64() < .4 {
		prey = "mouse"
	}
	if r.Float64() < .1 {
		state = care.Live
	}
	sold, count := raised(a, &d, prey, state, winter)
	hemi := care.North
	if south {
		hemi = care.South
	}
	c := sale(r, &sp, begin, sold, old, hemi, count)

	// Cool homes and delicate animals fail more often. [assumption]
	risk := w.Failing * (.85 + .09*math.Max(0, sp.Climate.Optimum-1.5-k.warm)) * math.Exp(.4*r.NormFloat64()-.08)
	if r.Float64() < risk {
		a.fallIll(lastOnset)
		c.Truth.Onset = a.ill.onset
	}
	if k.prey = prey; r.Float64() < .2 {
		k.prey = map[string]string{"rat": "mouse", "mouse": "rat"}[prey]
	}
	if k.state = state; state == care.Live && r.Float64() < .6 {
		k.state = care.Thawed
	}
	c.Truth.Loss, c.Truth.Paused = kept(a, k, &d, sold, w.Pauses, winter, k.prey != prey || k.state != state)
	c.Log = d.entries(begin)
	return c, count
}

// sale is what is known of a case besides its log; old is the age in days when
// the records begin, which one breeder in ten does not know.
func sale(r *rand.Rand, sp *snake.Species, begin time.Time, sold float64, old int, hemi care.Hemisphere, count care.FeedingCount) Case {
	c := Case{Subject: assess.Subject{Animal: care.Animal{Species: sp.ID}, HandedOverAt: moment(begin, sold), Hemi: hemi}}
	if r.Float64() < .9 {
		hatched := c.Subject.HandedOverAt.AddDate(0, 0, -old-int(sold))
		c.Subject.Animal.Hatched = &hatched
	}
	c.Truth = Truth{Onset: math.Inf(1), Picky: count.Offers > 4 && 5*count.Refused >= 2*count.Offers}
	return c
}

// body draws an age class, a mass and an age in days at the beginning of the
// records.
func body(r *rand.Rand, sp *snake.Species) (age snake.AgeClass, mass float64, days int) {
	switch u := r.Float64(); {
	case u < .55:
		return snake.Hatchling, sp.HatchMass + (sp.JuvenileFrom-sp.HatchMass)*(.1+.6*r.Float64()), 20 + r.IntN(40)
	case u < .85:
		return snake.Juvenile, sp.JuvenileFrom * math.Pow(sp.AdultFrom/sp.JuvenileFrom, .1+.7*r.Float64()), 150 + r.IntN(300)
	}
	return snake.Adult, sp.AdultFrom * (1.05 + .6*r.Float64()), 700 + r.IntN(900)
}

// never is the illness clock of the time with the breeder.
const never = -1e9

// raised is the time with the breeder, who keeps it warm until it has eaten
// twice in a row; sold is the day it goes. The count is of what was written
// down, and some breeders write down the meals only.
func raised(a *animal, d *diary, prey string, state care.PreyState, winter func(float64) float64) (sold float64, count care.FeedingCount) {
	r := a.r
	every := []float64{5, 7, 7, 10}[r.IntN(4)]
	notesRefusals := 1.
	if u := r.Float64(); u < .15 {
		notesRefusals = .3
	} else if u < .4 {
		notesRefusals = .8
	}
	weigh := func(t float64) {
		shown := a.weighs() * (1 + .006*r.NormFloat64())
		if shown > 50 {
			shown = math.Round(shown)
		}
		d.add(t, care.BreederOwner, care.WeighIn{Mass: grams(shown)})
	}
	atLeast, row, next, t := 25+60*r.Float64(), 0, every*r.Float64(), 0.
	for ; (t < atLeast || row < 2) && t < atLeast+50; t++ {
		shed := a.pass(never, a.sp.Climate.Optimum-.5, winter(t), 0)
		if shed && r.Float64() < .7 {
			d.add(t+.1, care.BreederOwner, care.Shed{Stage: care.ShedDone})
		}
		if t < next {
			continue
		}
		next += every
		if r.Float64() < .3 {
			weigh(t + .35)
		}
		mass := a.sp.PreyShare[a.age].Mid() / 100 * (.85 + .3*r.Float64()) * a.tissue
		eats, strikes := a.offered(never, mass, 0, winter(t), false)
		row++
		if !eats {
			row = 0
		}
		if eats || r.Float64() < notesRefusals {
			d.add(t+.4, care.BreederOwner, care.Offer{Result: outcome(eats, strikes), Prey: prey, PreyState: state, PreyMass: grams(mass)})
			count.Offers++
			if !eats {
				count.Refused++
			}
		}
	}
	weigh(t - .01 - 6*r.Float64()*r.Float64())
	return t, count
}

// kept is the time with the keeper; winter's days and the diary's count from
// the beginning of the records, all else from the day it was sold.
func kept(a *animal, k *keeper, d *diary, sold, pauses float64, winter func(float64) float64, strange bool) (loss []float64, paused []bool) {
	r, optimum := a.r, a.sp.Climate.Optimum
	a.moved()
	atFirst := a.tissue
	next, weigh, seenDull, checked := k.first, math.Min(k.weighs, 2+9*r.Float64()), false, false
	if math.IsInf(k.weighs, 1) {
		weigh = k.weighs
	}
	offset := .2 * r.Float64() // hour of the evening
	bias := 0.
	if k.with == care.WithDial || k.with == care.WithStrip {
		bias = 1.5 * r.NormFloat64()
	}
	for day := 0.; day < Horizon; day++ {
		note := func(hour float64, b care.Body) {
			if day < k.quits {
				d.add(sold+day+hour, care.KeeperActor, b)
			}
		}
		warm := k.warmOn(day, optimum)
		cold := math.Max(0, optimum-warm)
		// The body follows the warm side but for some hours of the day.
		shed := a.pass(day, warm-1.5, winter(sold+day), pauses)
		if shed {
			seenDull = false
			if r.Float64() < k.notesShed {
				note(.1, care.Shed{Stage: care.ShedDone})
			}
		} else if !seenDull && a.untilShed < 8 {
			if seenDull = true; r.Float64() < .7*k.notesShed {
				note(.1, care.Shed{Stage: care.Opaque})
			}
		}
		for _, at := range k.reads {
			if math.Floor(at) == day {
				c := care.Celsius(math.Round(10*(warm+bias+.6*r.NormFloat64())) / 10)
				note(.2, care.ClimateReading{Warm: &c, TakenWith: k.with})
			}
		}
		if !checked && day >= k.checksAt {
			checked = true
			note(.25, setup(r))
		}
		if a.bringsUp(day, cold) {
			note(.3, care.Offer{Result: care.Regurgitated})
			next = math.Max(next, day+5+7*r.Float64())
		}
		offering := day >= next
		if day >= weigh && (!k.before || offering || day >= weigh+6) {
			note(.35, care.WeighIn{Mass: grams(k.shows(r, day, a.weighs()))})
			weigh = day + k.weighs*(.7+.6*r.Float64())
		}
		if offering {
			mass := k.share * a.tissue * (.8 + .4*r.Float64())
			eats, strikes := a.offered(day, mass, cold, winter(sold+day), strange)
			o := care.Offer{Result: outcome(eats, strikes), Prey: k.prey, PreyState: k.state}
			if r.Float64() < .75 {
				o.PreyMass = grams(mass)
			}
			if r.Float64() < k.noted {
				note(.5+offset, o)
			}
			gap := k.every
			if !eats {
				gap = k.again
			} else {
				strange = false
			}
			next = day + gap*(.8+.4*r.Float64())
		}
		loss = append(loss, 1-a.tissue/atFirst)
		paused = append(paused, a.pauses > 0)
	}
	return loss, paused
}

func outcome(eats, strikes bool) care.OfferResult {
	switch {
	case eats:
		return care.Eaten
	case strikes:
		return care.Struck
	}
	return care.Refused
}

// grams are to a tenth, as they are written down.
func grams(v float64) care.Grams { return care.Grams(math.Round(10*v) / 10) }
