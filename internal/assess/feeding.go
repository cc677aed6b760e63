package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// recency is what an offer at the breeder is still worth for each week before
// the handover. [assumption]
const recency = .985

// feeding is the three-state filter: normal, benign fast, lasting refusal. It
// holds the animal's own refusal rate as a Beta distribution beside it.
type feeding struct {
	n, b, x     float64 // probabilities, sum 1
	alpha, beta float64 // refusals and acceptances, pseudo-offers
	hB          float64 // daily chance that a benign fast begins
}

// Daily rates. [assumption], anchored on 1.9 % of boas and pythons dying in
// their first year in homes (Robinson et al. 2015, PLOS ONE e0141460), which
// is contested as too low.
const (
	hX         = .0016
	fastEnds   = 1. / 28
	failEnds   = 1. / 200
	likeFast   = .92 // a refusal while fasting or failing
	slack      = .01 // an acceptance noted by mistake
	coldWeight = .30 // log-odds for each °C too cool
	coldest    = 12  // °C; what is colder still counts as that
	rarest     = 1e-9
)

func newFeeding(sp *snake.Species, age snake.AgeClass, learned care.Learned) feeding {
	mean, strength := learned.Mean, learned.Strength
	if !(strength > 0 && mean > 0 && mean < 1) {
		mean, strength = sp.RefusalMean[age], sp.RefusalStrength
	}
	f := feeding{x: .03, b: .03, hB: .001, alpha: mean * strength, beta: (1 - mean) * strength}
	if sp.ID == ballPython {
		f.b, f.hB = .08, .003
		if age == snake.Adult {
			f.b, f.hB = .16, .006
		}
	}
	f.n = 1 - f.b - f.x
	return f
}

const ballPython = "python_regius"

func (f *feeding) logOdds() float64 { return math.Log(f.x / (f.n + f.b)) }

// learn takes in one offer at the breeder.
func (f *feeding) learn(refused, weight float64) {
	f.alpha += weight * refused
	f.beta += weight * (1 - refused)
}

// pass lets a day go by at a warm side that is deficit °C too cool.
func (f *feeding) pass(deficit float64) {
	x := hX * math.Exp(coldWeight*math.Min(coldest, math.Max(0, deficit-1)))
	n, b, fail := f.n, f.b, f.x
	f.n = n*(1-f.hB-x) + b*fastEnds + fail*failEnds
	f.b = n*f.hB + b*(1-fastEnds-x)
	f.x = n*x + b*x + fail*(1-failEnds)
	f.normalise()
}

// cold takes in the first temperature reading of the new home and reports
// whether it says anything.
func (f *feeding) cold(deficit float64) bool {
	if deficit <= 1 {
		return false
	}
	f.x *= math.Exp(coldWeight * math.Min(coldest, deficit-1))
	f.normalise()
	return true
}

// normalise keeps every state possible: however long the run, the log can turn.
func (f *feeding) normalise() {
	sum := f.n + f.b + f.x
	f.n, f.b, f.x = math.Max(rarest, f.n/sum), math.Max(rarest, f.b/sum), math.Max(rarest, f.x/sum)
}

// rate is the chance of a refusal while all is normal, with the excuses.
func (f *feeding) rate(excuse float64) float64 {
	own := math.Min(.97, math.Max(.01, f.alpha/(f.alpha+f.beta)))
	return math.Min(.90, logistic(logit(own)+excuse))
}

func (f *feeding) refused(excuse float64) {
	f.n *= f.rate(excuse)
	f.b *= likeFast
	f.x *= likeFast
	f.normalise()
	f.alpha += f.n
}

func (f *feeding) accepted(excuse float64) {
	f.n *= (1 - f.rate(excuse)) * (1 - slack)
	f.b *= 1 - likeFast
	f.x *= 1 - likeFast
	f.normalise()
	f.beta += f.n
}

func (f *feeding) regurgitated() {
	f.n *= .01
	f.b *= .005
	f.x *= .08
	f.normalise()
}

// excuses are the terms, in log-odds, that make a refusal ordinary. All are
// [assumption] in size; direction: shed and temperature from reptile-medicine
// teaching (WSAVA 2014), season and the rest common practice.
type excuses struct{ settling, shed, cold, season, prey, struck, keeper float64 }

func (x *excuses) total() float64 {
	return x.settling + x.shed + x.cold + x.season + x.prey + x.struck + x.keeper
}

// struckExcuse: an animal that strikes and lets go is at least interested.
const struckExcuse = 1

func (e *engine) excusesAt(o *care.Offer, sl slips, at time.Time) excuses {
	x := excuses{settling: 1}
	if e.sp.ID == ballPython {
		x.settling = 1.5
	}
	x.settling *= math.Exp(-float64(e.day) / 10)
	switch {
	case e.inShed(at):
		x.shed = 2
	case e.sheds.due(at):
		x.shed = 1 // by its own rhythm, and nothing was seen
	}
	x.cold = coldWeight * math.Max(0, e.deficit()-1.5)
	if e.sp.ID == ballPython && coolSeason(at, e.s.Hemi) {
		x.season = [...]float64{snake.Hatchling: 0, snake.Juvenile: .3, snake.Adult: 1}[e.age]
	}
	if e.preyDiffers(o) {
		e.preyChanged = true
	}
	if e.preyChanged {
		x.prey = 1
	}
	if o.Result == care.Struck {
		x.struck = struckExcuse
	}
	x.keeper = sl.excuse()
	return x
}

// preyDiffers compares an offer with the last meal: kind, state, or a size
// more than half as big again.
func (e *engine) preyDiffers(o *care.Offer) bool {
	m := &e.lastFood
	return o.Prey != "" && m.Prey != "" && o.Prey != m.Prey ||
		o.PreyState != "" && m.PreyState != "" && o.PreyState != m.PreyState ||
		o.PreyMass > 0 && m.PreyMass > 0 && o.PreyMass > 1.5*m.PreyMass
}

// rhythm is when an animal sheds: the last time, and how many days lie between
// two on average.
type rhythm struct {
	last time.Time
	days float64 // of n gaps together
	n    int
}

// Gaps that are taken for one round: shorter is the same shed noted twice,
// longer is one that nobody noted. Young animals shed every 4 to 6 weeks, grown
// ones every 6 to 10: common practice, no source.
const shortestRound, longestRound = 18, 100

func (r *rhythm) shed(at time.Time) {
	if gap := at.Sub(r.last).Hours() / 24; !r.last.IsZero() && gap >= shortestRound && gap <= longestRound {
		r.days += gap
		r.n++
	}
	r.last = at
}

// due reports whether the next shed is predicted within ten days, or was for the
// last few: the skin is dull for a week or two before (from memory,
// reptile-medicine handbooks).
func (r *rhythm) due(at time.Time) bool {
	if r.n == 0 {
		return false
	}
	left := r.days/float64(r.n) - at.Sub(r.last).Hours()/24
	return left < 10 && left > -4
}

// coolSeason is November to March, or May to September south of the equator.
func coolSeason(at time.Time, h care.Hemisphere) bool {
	m := at.Month()
	if h == care.South {
		return m >= time.May && m <= time.September
	}
	return m >= time.November || m <= time.March
}

// Flock sums up the feeding of a breeder's animals, so that one more or one
// fewer costs the same however many there are. The zero value is empty.
type Flock struct {
	Animals, Refused, Offers float64 // how many, of all together
	Offers2, Spread          float64 // sums over the animals of offers² and of refused²/offers
}

// FlockOf sums up these animals.
func FlockOf(counts []care.FeedingCount) (f Flock) {
	for _, c := range counts {
		f.Add(c)
	}
	return f
}

// Add takes in an animal; one without an offer says nothing.
func (f *Flock) Add(c care.FeedingCount) { f.change(c, 1) }

// Remove takes out an animal as it was added.
func (f *Flock) Remove(c care.FeedingCount) { f.change(c, -1) }

func (f *Flock) change(c care.FeedingCount, sign float64) {
	if c.Offers > 0 {
		r, n := float64(c.Refused), float64(c.Offers)
		f.Animals += sign
		f.Refused += sign * r
		f.Offers += sign * n
		f.Offers2 += sign * n * n
		f.Spread += sign * r * r / n
	}
}

// Prior is the feeding prior of a group (breeder × species × age class) by
// empirical Bayes: the mean pooled with the species table, the spread by the
// method of moments, pooled with the table's from eight animals on.
func (f *Flock) Prior(sp *snake.Species, age snake.AgeClass) care.Learned {
	// The table's mean counts as this many offers, its spread as this many animals.
	const tableOffers, tableAnimals = 40, 8
	out := care.Learned{Mean: sp.RefusalMean[age], Strength: sp.RefusalStrength, Animals: int(f.Animals)}
	out.Mean = (tableOffers*out.Mean + f.Refused) / (tableOffers + f.Offers)
	if _, rho, ok := f.moments(); ok && f.Animals >= tableAnimals {
		rho = math.Min(.5, math.Max(.02, rho))
		out.Strength = math.Exp((tableAnimals*math.Log(out.Strength) + f.Animals*math.Log(1/rho-1)) / (tableAnimals + f.Animals))
	}
	return out
}

// moments estimates a beta-binomial's mean and intra-class correlation ρ from
// the animals' refusals, weighted by their offers (Kleinman 1973, J Am Stat
// Assoc 68:46). The strength α+β is 1/ρ − 1. ok is false when the counts tell
// nothing of the spread.
func (f *Flock) moments() (mean, rho float64, ok bool) {
	if f.Offers == 0 {
		return 0, 0, false
	}
	mean = f.Refused / f.Offers
	s := f.Spread - mean*f.Refused // Σ offers·(rate − mean)²
	q := mean * (1 - mean)
	spread := f.Offers - f.Offers2/f.Offers - (f.Animals - 1)
	if q <= 0 || spread <= 0 {
		return mean, 0, false
	}
	return mean, (s - q*(f.Animals-1)) / (q * spread), true
}
