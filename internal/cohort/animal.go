package cohort

import (
	"math"
	"math/rand/v2"

	"warmhand/internal/snake"
)

// animal is one snake as it truly is. Step it a day at a time.
type animal struct {
	r   *rand.Rand
	sp  *snake.Species
	age snake.AgeClass

	tissue float64 // g, without water swings, gut and faeces
	rate   float64 // share of tissue lost a day at 30 °C, fasting, at mass0
	mass0  float64
	water  float64 // swing of body water, a share of tissue
	gut    float64 // g of prey not yet digested
	faeces float64 // g held
	holds  float64 // days until they are passed

	taste     float64 // own appetite; negative: picky
	mood      float64 // wanders over days
	stress    float64
	calms     float64 // days in which stress falls to a third
	seasonal  float64 // how much the cool season takes
	shedShy   float64 // how much a shed takes
	preyShy   float64 // how much a change of prey takes; wears off
	sheds     float64 // days from shed to shed
	untilShed float64
	meal      float64 // days since the last meal
	mealKept  float64 // g of the last meal that has become tissue, in case it comes up
	pauses    float64 // days that a pause still lasts
	ill       illness
}

// illness is what makes an animal fail: it creeps in over days.
type illness struct {
	onset   float64 // day; +Inf: never
	creeps  float64 // days until it is all there
	takes   float64 // of the appetite
	burns   float64 // times the ordinary loss, on top of it
	spoils  float64 // the share of a meal's worth that is lost
	bringUp float64 // chance that a meal comes up
}

// appetite is that of an animal at rest, hungry and warm: its distance from the
// threshold in units of which a whim, a mood and the animals' differences are
// about half each. [assumption], set so that at a new home, everything included,
// healthy ball pythons refuse about two offers in five, corn snakes and boas one
// in five. No published rate per offer exists; for ball pythons 121 meals of 12
// animals in the Add-my-Pet collection speak for 30 to 50 % of weekly offers.
func appetite(sp *snake.Species, age snake.AgeClass) float64 {
	switch sp.ID {
	case "python_regius":
		return [3]float64{1.15, 1.15, .75}[age]
	case "pantherophis_guttatus", "lampropeltis_californiae":
		return [3]float64{1.7, 1.9, 1.8}[age]
	case "boa_imperator":
		return [3]float64{1.9, 2, 1.9}[age]
	}
	return [3]float64{1.2, 1.5, 1.3}[age] // hognoses and green tree pythons start badly
}

const (
	tasteSpread = .55 // between animals [assumption]
	whim        = .55 // from offer to offer [assumption]
	moodSpread  = .55 // [assumption]
	moodLasts   = 9.  // days [assumption]

	gutDays = 3.  // e-folding of digestion; peak at 1.5 days and over in 6 to 8, Ott & Secor 2007, J Exp Biol 210:340
	worth   = .44 // of a meal becomes tissue: .41 to .48 in the Add-my-Pet pythons
	waste   = .16 // of a meal is held as faeces and urates [assumption]
	q10     = 2.3 // Ellis & Chappell 1987, J Comp Physiol B 157:393
)

func newAnimal(r *rand.Rand, w *World, sp *snake.Species, mass float64, age snake.AgeClass, breeder float64) *animal {
	a := &animal{r: r, sp: sp, age: age, tissue: mass, mass0: mass, meal: 5, ill: illness{onset: math.Inf(1)}}
	// Loss: .00120 a day of subadult pythons, .00058 of rat snakes (McCue 2007,
	// Zoology 110:318), scaled by mass^-.26 from about 500 g; between animals
	// a quarter (Add-my-Pet: .0010 to .0015).
	a.rate = .00125 * math.Pow(mass/500, -.26) * math.Exp(.22*r.NormFloat64())
	if sp.Family == "colubrid" {
		a.rate *= .75
	}
	a.taste = appetite(sp, age) + breeder - w.Picky + tasteSpread*r.NormFloat64()
	a.mood = moodSpread * r.NormFloat64()
	a.calms = 4 + 6*r.ExpFloat64()
	a.shedShy = 2.2 * r.Float64()
	a.preyShy = .4 + 1.2*r.Float64()
	// Sheds every 4 to 6 weeks in young animals, 6 to 10 in grown ones: common
	// practice, no source.
	a.sheds = [3]float64{30, 40, 58}[age] * (.8 + .4*r.Float64())
	a.untilShed = a.sheds * r.Float64()
	// Ball pythons pause in the cool season, males most: common practice.
	if sp.ID == "python_regius" {
		a.seasonal = [3]float64{.1, .35, 1.1}[age] * (.4 + 1.2*r.Float64())
	} else {
		a.seasonal = .3 * r.Float64()
	}
	return a
}

// fallIll draws an illness that begins in the first days or at any later one.
// Three courses, [assumption]: it wastes; it never settles and lives on what it
// has; it is ill and still eats now and then.
func (a *animal) fallIll(days float64) {
	r := a.r
	switch u := r.Float64(); {
	case u < .5:
		a.ill = illness{onset: days * r.Float64(), creeps: 3 + 9*r.Float64(), takes: 2.2 + 1.5*r.Float64(), burns: .5 + 1.1*r.ExpFloat64(), spoils: .3, bringUp: .08}
	case u < .8:
		a.ill = illness{onset: 8 * r.Float64(), creeps: 1 + 3*r.Float64(), takes: 2.5 + 1.5*r.Float64(), burns: .3 + .7*r.ExpFloat64(), spoils: .2, bringUp: .05}
	default:
		a.ill = illness{onset: days * r.Float64(), creeps: 5 + 10*r.Float64(), takes: .9 + .8*r.Float64(), burns: .7 + .9*r.ExpFloat64(), spoils: .6, bringUp: .2}
	}
}

// sick is how much of the illness is there on a day, 0 to 1.
func (a *animal) sick(day float64) float64 {
	t := (day - a.ill.onset) / a.ill.creeps
	return math.Min(1, math.Max(0, t))
}

// inShed: dull from ten days before the skin comes off. The cycle takes 10 to
// 14 days, from memory.
func (a *animal) inShed() bool { return a.untilShed < 10 }

// pass lets a day go by at this body temperature; winter is 1 in the depth of
// the animal's cool season and -1 in high summer. It reports a shed.
func (a *animal) pass(day, temperature, winter, pauses float64) (shed bool) {
	r := a.r
	keep := math.Exp(-1 / moodLasts)
	a.mood = keep*a.mood + math.Sqrt(1-keep*keep)*moodSpread*r.NormFloat64()
	a.stress *= math.Exp(-1 / a.calms)
	a.meal++

	// Pauses begin more often in winter and in grown ball pythons, and last for
	// a gamma-like time of about five weeks: neither lengths nor numbers are
	// published. [assumption]
	if a.pauses > 0 {
		a.pauses--
	} else {
		begin := .0006
		if a.sp.ID == "python_regius" {
			begin = .0026
			if a.age == snake.Adult {
				begin = .0045
			}
		}
		if r.Float64() < pauses*begin*math.Exp(.8*winter) {
			a.pauses = 16 * (r.ExpFloat64() + r.ExpFloat64()) // mean 32, fewer short ones than a coin would give
		}
	}

	// Metabolism falls in a long fast, by up to 72 % in 168 days over three
	// species (McCue 2007); here by up to .35.
	thrift := 1 - .35*(1-math.Exp(-math.Max(0, a.meal-14)/50))
	loss := a.rate * math.Pow(a.tissue/a.mass0, -.26) * math.Pow(q10, (temperature-30)/10) * thrift * (1 + a.ill.burns*a.sick(day))
	a.tissue *= 1 - loss
	digested := a.gut * (1 - math.Exp(-math.Pow(q10, (temperature-30)/10)/gutDays))
	a.gut -= digested
	kept := digested * worth * (1 - a.ill.spoils*a.sick(day))
	a.tissue += kept
	a.mealKept += kept
	a.faeces += digested * waste
	// Faeces are held for two days to months (Lillywhite et al. 2002, at second
	// hand), so the scale drops in steps.
	if a.holds--; a.holds <= 0 {
		a.faeces, a.holds = 0, 5+12*r.ExpFloat64()
	}
	a.water = .85*a.water + .007*r.NormFloat64() // sd 1.3 % [assumption]

	if a.untilShed--; a.untilShed <= 0 {
		a.untilShed = a.sheds * math.Exp(.12*r.NormFloat64())
		return true
	}
	return false
}

// weighs is the mass that a perfect scale would show.
func (a *animal) weighs() float64 { return a.tissue*(1+a.water) + a.gut + a.faeces }

// moved is the handover: all is strange.
func (a *animal) moved() { a.stress = .5 + .6*a.r.ExpFloat64() }

// offered puts prey before it and reports what happens.
func (a *animal) offered(day, prey, cold, winter float64, strange bool) (eats, strikes bool) {
	level := a.taste + a.mood - 1.3*a.stress
	// Hungry from about a week after a meal, the sooner the younger.
	level += 1.1 * (1 - math.Exp(-a.meal/(3+float64(a.age)*2)) - .8)
	if a.inShed() {
		level -= a.shedShy
	}
	level -= a.seasonal * math.Max(0, winter)
	level -= .22 * math.Max(0, cold-1)
	if strange {
		level -= a.preyShy
		a.preyShy *= .75
	}
	level -= 8 * math.Max(0, prey/a.tissue-.2)
	if a.pauses > 0 {
		level -= 3.2
	}
	level -= a.ill.takes * a.sick(day)
	level += whim * a.r.NormFloat64()
	if level > 0 {
		a.gut += prey
		a.meal, a.mealKept = 0, 0
		return true, false
	}
	a.stress += .12 // each offer disturbs a little [assumption]
	return false, level > -.35 && a.r.Float64() < .4
}

// bringsUp reports whether the last meal comes up today.
func (a *animal) bringsUp(day, cold float64) bool {
	if a.meal > 6 || a.gut <= 0 {
		return false
	}
	p := .004 + a.ill.bringUp*a.sick(day) + .01*math.Max(0, cold-2)
	if a.r.Float64() >= p/4 { // spread over the days after it
		return false
	}
	a.tissue -= a.mealKept
	a.tissue *= .99 // what else comes up with it
	a.gut, a.mealKept, a.meal = 0, 0, a.meal+10
	return true
}
