package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// feeding is the three-state filter: normal, benign fast, lasting refusal. It
// holds the animal's own refusal rate as a Beta distribution beside it.
type feeding struct {
	n, b, x     float64 // probabilities, sum 1
	alpha, beta float64 // refusals and acceptances, pseudo-offers
	hB          float64 // daily chance that a benign fast begins
}

var (
	recency      = snake.Number("feeding", "recency") // worth of an offer at the breeder for each week before the handover
	inShedWorth  = snake.Number("feeding", "in_shed")
	hX           = snake.Number("feeding", "fails")        // a day
	fastDays     = snake.Number("feeding", "fast_days")    // mean
	failingDays  = snake.Number("feeding", "failing_days") // mean
	fastEnds     = 1 / fastDays                            // a day
	fastStays    = (fastDays - 1) / fastDays
	failEnds     = 1 / failingDays
	failStays    = (failingDays - 1) / failingDays
	slack        = snake.Number("feeding", "mistaken")
	startOf      = snake.Numbers("feeding", "start", 3)
	startBall    = snake.Numbers("feeding", "start_ball_python", 2)
	startBallOld = snake.Numbers("feeding", "start_ball_python_adult", 2)

	likeFast, eatsFast               = split(snake.Numbers("feeding", "off_feed", 2)) // a refusal, a meal while fasting or failing
	coldWeight, coldest, coldLet     = three(snake.Numbers("feeding", "cold", 3))
	rateLeast, rateMost, rateExcused = three(snake.Numbers("feeding", "rate", 3))
	upNormal, upFast, upFailing      = three(snake.Numbers("feeding", "regurgitated", 3))
	tableOffers, tableAnimals        = split(snake.Numbers("feeding", "pool", 2))
	rhoLeast, rhoMost                = split(snake.Numbers("feeding", "spread", 2))
)

// rarest keeps every state possible.
const rarest = 1e-9

func three(v []float64) (a, b, c float64) { return v[0], v[1], v[2] }

func newFeeding(sp *snake.Species, age snake.AgeClass, learned care.Learned) feeding {
	mean, strength := learned.Mean, learned.Strength
	if !(strength > 0 && mean > 0 && mean < 1) {
		mean, strength = sp.RefusalMean[age], sp.RefusalStrength
	}
	f := feeding{x: startOf[0], b: startOf[1], hB: startOf[2], alpha: mean * strength, beta: (1 - mean) * strength}
	if sp.ID == ballPython {
		f.b, f.hB = split(startBall)
		if age == snake.Adult {
			f.b, f.hB = split(startBallOld)
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
	x := hX * math.Exp(coldWeight*math.Min(coldest, math.Max(0, deficit-coldLet)))
	n, b, fail := f.n, f.b, f.x
	f.n = n*(1-f.hB-x) + b*fastEnds + fail*failEnds
	f.b = n*f.hB + b*(fastStays-x)
	f.x = n*x + b*x + fail*failStays
	f.normalise()
}

// cold takes in the first temperature reading of the new home and reports
// whether it says anything.
func (f *feeding) cold(deficit float64) bool {
	if deficit <= coldLet {
		return false
	}
	f.x *= math.Exp(coldWeight * math.Min(coldest, deficit-coldLet))
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
	own := math.Min(rateMost, math.Max(rateLeast, f.alpha/(f.alpha+f.beta)))
	return math.Min(rateExcused, logistic(logit(own)+excuse))
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
	f.b *= eatsFast
	f.x *= eatsFast
	f.normalise()
	f.beta += f.n
}

func (f *feeding) regurgitated() {
	f.n *= upNormal
	f.b *= upFast
	f.x *= upFailing
	f.normalise()
}

// excuses are the terms, in log-odds, that make a refusal ordinary.
type excuses struct{ settling, shed, cold, season, prey, struck, keeper float64 }

func (x *excuses) total() float64 {
	return x.settling + x.shed + x.cold + x.season + x.prey + x.struck + x.keeper
}

var (
	settlingFirst, settlingBall, settlingDays = three(snake.Numbers("excuse", "settling", 3))
	shedExcuse, nearShedExcuse                = split(snake.Numbers("excuse", "shed", 2))

	coldFrom     = snake.Number("excuse", "cold_from") // °C
	seasonExcuse = snake.Numbers("excuse", "season", 3)
	coolMonths   = snake.Numbers("excuse", "cool_months", 4)
	preyExcuse   = snake.Number("excuse", "prey")
	biggerPrey   = snake.Number("excuse", "bigger")
	struckExcuse = snake.Number("excuse", "struck")
)

func (e *engine) excusesAt(o *care.Offer, sl slips, at time.Time) excuses {
	x := excuses{settling: settlingFirst}
	if e.sp.ID == ballPython {
		x.settling = settlingBall
	}
	x.settling *= math.Exp(-float64(e.day) / settlingDays)
	switch {
	case e.inShed(at):
		x.shed = shedExcuse
	case e.sheds.due(at):
		x.shed = nearShedExcuse // by its own rhythm, and nothing was seen
	}
	x.cold = coldWeight * math.Max(0, e.deficit()-coldFrom)
	if e.sp.ID == ballPython && coolSeason(at, e.s.Hemi) {
		x.season = seasonExcuse[e.age]
	}
	if e.preyDiffers(o) {
		e.preyChanged = true
	}
	if e.preyChanged {
		x.prey = preyExcuse
	}
	if o.Result == care.Struck {
		x.struck = struckExcuse
	}
	x.keeper = sl.excuse()
	return x
}

// preyDiffers compares an offer with the last meal: kind, state, or a size
// well above.
func (e *engine) preyDiffers(o *care.Offer) bool {
	m := &e.lastFood
	return o.Prey != "" && m.Prey != "" && o.Prey != m.Prey ||
		o.PreyState != "" && m.PreyState != "" && o.PreyState != m.PreyState ||
		o.PreyMass > 0 && m.PreyMass > 0 && float64(o.PreyMass) > biggerPrey*float64(m.PreyMass)
}

// rhythm is when an animal sheds: the last time, and how many days lie between
// two on average.
type rhythm struct {
	last time.Time
	days float64 // of n gaps together
	n    int
}

var (
	// Gaps that are taken for one round, days.
	shortestRound, longestRound = split(snake.Numbers("shed", "round", 2))
	nearBefore, nearAfter       = split(snake.Numbers("shed", "near", 2)) // days
)

func (r *rhythm) shed(at time.Time) {
	if gap := at.Sub(r.last).Hours() / 24; !r.last.IsZero() && gap >= shortestRound && gap <= longestRound {
		r.days += gap
		r.n++
	}
	r.last = at
}

// due reports whether the next shed is predicted for the next days, or was for the
// last few.
func (r *rhythm) due(at time.Time) bool {
	if r.n == 0 {
		return false
	}
	left := r.days/float64(r.n) - at.Sub(r.last).Hours()/24
	return left < nearBefore && left > -nearAfter
}

// coolSeason goes over the turn of the year north of the equator, and not south.
func coolSeason(at time.Time, h care.Hemisphere) bool {
	m := float64(at.Month())
	if h == care.South {
		return m >= coolMonths[2] && m <= coolMonths[3]
	}
	return m >= coolMonths[0] || m <= coolMonths[1]
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
// method of moments, pooled with the table's once there are as many animals as it
// counts for.
func (f *Flock) Prior(sp *snake.Species, age snake.AgeClass) care.Learned {
	out := care.Learned{Mean: sp.RefusalMean[age], Strength: sp.RefusalStrength, Animals: int(f.Animals)}
	out.Mean = (tableOffers*out.Mean + f.Refused) / (tableOffers + f.Offers)
	if _, rho, ok := f.moments(); ok && f.Animals >= tableAnimals {
		rho = math.Min(rhoMost, math.Max(rhoLeast, rho))
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
