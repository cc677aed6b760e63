package assess

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"warmhand/internal/care"
	"warmhand/internal/reference"
)

// nile is the yearly flow of the Nile at Aswan, 1871 to 1970, in 10⁸ m³
// (Durbin & Koopman 2012, Time Series Analysis by State Space Methods).
var nile = []float64{
	1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
	1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
	831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
	781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
	744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
}

// The variances that Durbin & Koopman fit, and their vague start.
const nileNoise, nileStep, nileStart = 15099, 1469.1, 1e7

// nileFilter runs our filter as their local-level model: loss and meals are
// held at nothing. It returns level and variance after each year.
func nileFilter() (level, variance []float64, logLikelihood float64) {
	f := filter{}
	f.p[0][0] = nileStart
	for i, y := range nile {
		if i > 0 {
			f.predict(nileStep, 0)
			logLikelihood += lnNormal(y, f.x, f.p[0][0]+nileNoise)
		}
		f.update(y, 0, 0, nileNoise, false)
		level, variance = append(level, f.x), append(variance, f.p[0][0])
	}
	return level, variance, logLikelihood
}

// The first five years and the last, the log-likelihood without the first year,
// the steady state P² = σ²η(P + σ²ε) of the prediction variance and its gain.
func TestNile(t *testing.T) {
	t.Parallel()
	level, variance, l := nileFilter()
	for year, want := range map[int][2]float64{
		1: {1118.311, 15076.236}, 2: {1140.108, 7894.558}, 3: {1072.316, 5779.497}, 4: {1116.975, 4897.465}, 5: {1129.736, 4478.278},
		100: {798.370, 4032.158},
	} {
		near(t, "level", level[year-1], want[0], 5e-4)
		near(t, "variance", variance[year-1], want[1], 5e-4)
	}
	near(t, "log-likelihood", l, -632.5442, 5e-5)
	steady := variance[99] + nileStep
	near(t, "steady variance", steady, 5501.2579, 5e-5)
	near(t, "gain", steady/(steady+nileNoise), .2670480, 5e-8)
}

func TestNileByR(t *testing.T) {
	t.Parallel()
	years := []int{1, 2, 3, 4, 5, 28, 43, 99, 100}
	var r struct {
		LocalLevel [][2]float64 `json:"local_level"`
	}
	reference.AskR(t, map[string]any{"local_level": map[string]any{"years": years, "noise": nileNoise, "step": nileStep, "start": nileStart}}, &r)
	level, variance, _ := nileFilter()
	for i, n := range years {
		near(t, "level", level[n-1], r.LocalLevel[i][0], 1e-9*r.LocalLevel[i][0])
		near(t, "variance", variance[n-1], r.LocalLevel[i][1], 1e-9*r.LocalLevel[i][1])
	}
}

// fast is one animal's weights and meals on irregular days, in shares of the
// mass at the handover, and the noise of each weight.
type fast struct {
	s0            float64
	last          int
	weights       map[int]float64
	meals         map[int]float64 // eaten after that day's weighing
	g, h, r       []float64       // by day; as the method defines them
	startVariance [3]float64
}

// randomFast draws weights and meals. g and h are summed meal by meal from the
// method's definition, E = exp(−age/4 d), where the engine carries two numbers
// along.
func randomFast(r *rand.Rand) fast {
	f := fast{s0: .001 + .002*r.Float64(), last: 20 + r.IntN(60), weights: map[int]float64{}, meals: map[int]float64{}}
	f.startVariance = [3]float64{.021 * .021, sq(.6 * f.s0), .10 * .10}
	for d := 1 + r.IntN(9); d <= f.last; d += 1 + r.IntN(19) {
		f.weights[d] = 0
	}
	for d := r.IntN(9); d <= f.last; d += 5 + r.IntN(19) {
		f.meals[d] = .04 + .12*r.Float64()
	}
	for d := range f.last + 1 {
		var g, h float64
		for at, share := range f.meals {
			if at < d { // on its own day a meal comes after the weight
				e := math.Exp(-float64(d-at) / 4)
				g += share * e
				h += share * (1 - e)
			}
		}
		f.g, f.h = append(f.g, g), append(f.h, h)
		if _, ok := f.weights[d]; ok { // near what an ordinary animal weighs
			f.weights[d] = 1 - f.s0*float64(d) + g + .45*h + .02*r.NormFloat64()
		}
		f.r = append(f.r, sq(.03)+sq(.30*g))
	}
	return f
}

// filtered is what our filter makes of it.
func (f *fast) filtered() filter {
	k := filter{x: 1, s: f.s0, e: .45}
	for i, v := range f.startVariance {
		k.p[i][i] = v
	}
	for d := range f.last + 1 {
		if d > 0 {
			k.predict(walkX, walkS)
		}
		if y, ok := f.weights[d]; ok {
			k.update(y, f.g[d], f.h[d], f.r[d], false)
		}
	}
	return k
}

// conditioned is the best oracle there is: the joint normal distribution of
// all weights and the last day's state, written down whole, and conditioned on
// the weights at once (any textbook: mean + C·V⁻¹·(y − ŷ), variance S − C·V⁻¹·Cᵀ).
func (f *fast) conditioned() (state [3]float64, variance [3][3]float64) {
	var days []int
	for d := range f.weights {
		days = append(days, d)
	}
	slices.Sort(days)
	// A day's state is F^d·start + Σ F^(d−j)·noise_j, F^n = [1 −n 0; 0 1 0; 0 0 1].
	mean := func(d int) [3]float64 { return [3]float64{1 - f.s0*float64(d), f.s0, .45} }
	covariance := func(a, b int) (c [3][3]float64) {
		v := f.startVariance
		c[0][0] = v[0] + float64(a*b)*v[1]
		c[0][1], c[1][0] = -float64(a)*v[1], -float64(b)*v[1]
		c[1][1], c[2][2] = v[1], v[2]
		for j := 1; j <= min(a, b); j++ {
			c[0][0] += walkX + float64((a-j)*(b-j))*walkS
			c[0][1] -= float64(a-j) * walkS
			c[1][0] -= float64(b-j) * walkS
			c[1][1] += walkS
		}
		return c
	}
	observe := func(d int) [3]float64 { return [3]float64{1, 0, f.h[d]} }
	n := len(days)
	v, off := make([][]float64, n), make([]float64, n)
	cross := make([][3]float64, n) // of the last state with each weight
	for i, a := range days {
		v[i] = make([]float64, n)
		for j, b := range days {
			v[i][j] = quadratic(observe(a), covariance(a, b), observe(b))
		}
		v[i][i] += f.r[a]
		c := covariance(f.last, a)
		for k := range 3 {
			var unit [3]float64
			unit[k] = 1
			cross[i][k] = quadratic(unit, c, observe(a))
		}
		m := mean(a)
		off[i] = f.weights[a] - (m[0] + f.g[a] + f.h[a]*m[2])
	}
	state, variance = mean(f.last), covariance(f.last, f.last)
	w := solve(v, off)
	for k := range 3 {
		column := make([]float64, n)
		for i := range days {
			state[k] += cross[i][k] * w[i]
			column[i] = cross[i][k]
		}
		u := solve(v, column)
		for l := range 3 {
			for i := range days {
				variance[l][k] -= cross[i][l] * u[i]
			}
		}
	}
	return state, variance
}

func quadratic(a [3]float64, m [3][3]float64, b [3]float64) (sum float64) {
	for i := range 3 {
		for j := range 3 {
			sum += a[i] * m[i][j] * b[j]
		}
	}
	return sum
}

// solve solves a·x = b by elimination with pivots.
func solve(a [][]float64, b []float64) []float64 {
	n := len(b)
	m := make([][]float64, n)
	for i := range m {
		m[i] = append(slices.Clone(a[i]), b[i])
	}
	for i := range m {
		for p := i + 1; p < n; p++ {
			if math.Abs(m[p][i]) > math.Abs(m[i][i]) {
				m[i], m[p] = m[p], m[i]
			}
		}
		for j := range m {
			if j != i {
				for k, by := n, m[j][i]/m[i][i]; k >= i; k-- {
					m[j][k] -= by * m[i][k]
				}
			}
		}
	}
	x := make([]float64, n)
	for i := range m {
		x[i] = m[i][n] / m[i][i]
	}
	return x
}

func sameState(t *testing.T, f *filter, state [3]float64, variance [3][3]float64, within float64) {
	t.Helper()
	for i, v := range [3]float64{f.x, f.s, f.e} {
		near(t, "state "+string("xse"[i]), v, state[i], within)
		for j := range 3 {
			near(t, "variance "+string("xse"[i])+string("xse"[j]), f.p[i][j], variance[i][j], within)
		}
	}
}

// The engine's own bookkeeping, the meals above all, in place of the method's
// sums: what is in the gut, what has left it, the noise, the weights that do not
// count less. The scale is taken for exact, as R of this file has it.
func TestWeighingByConditioning(t *testing.T) {
	t.Parallel()
	checked := 0
	for seed := range uint64(200) {
		f := randomFast(rand.New(rand.NewPCG(1973, seed)))
		const start = 1e6 // g: the scale's whole grams do not matter
		w := newWeighing(f.s0, &baseline{mass: start})
		outlier := false
		for d := range f.last + 1 {
			if d > 0 {
				w.pass()
			}
			if y, ok := f.weights[d]; ok {
				g, h := w.gut()
				near(t, "in the gut", g, f.g[d], 1e-12)
				near(t, "left the gut", h, f.h[d], 1e-12)
				f.r[d] = sq(.03*math.Max(1, y)) + sq(.30*f.g[d]) + sq(1/start)/12
				v := w.p[0][0] + 2*h*w.p[0][2] + h*h*w.p[2][2] + f.r[d]
				outlier = outlier || sq(y-(w.x+g+h*w.e))/v > 3
				w.observe(y*start, false, true)
			}
			if share, ok := f.meals[d]; ok {
				w.meal(share * start)
			}
		}
		if outlier {
			continue // it counts less, and the oracle does not know
		}
		checked++
		state, variance := f.conditioned()
		sameState(t, &w.filter, state, variance, 1e-9)
		if t.Failed() {
			t.Fatalf("seed %d: %+v", seed, f)
		}
	}
	if checked < 100 {
		t.Errorf("only %d of 200 without an outlier", checked)
	}
}

func TestFilterByStatsmodels(t *testing.T) {
	t.Parallel()
	var animals []fast
	var questions []map[string]any
	for seed := range uint64(6) {
		f := randomFast(rand.New(rand.NewPCG(1992, seed)))
		var y []*float64
		var design [][3]float64
		for d := range f.last + 1 {
			design = append(design, [3]float64{1, 0, f.h[d]})
			y = append(y, nil)
			if v, ok := f.weights[d]; ok {
				y[d] = &v
			}
		}
		v := f.startVariance
		animals = append(animals, f)
		questions = append(questions, map[string]any{
			"y": y, "design": design, "intercept": f.g, "noise": f.r,
			"transition": [3][3]float64{{1, -1, 0}, {0, 1, 0}, {0, 0, 1}}, "steps": [3]float64{walkX, walkS, 0},
			"start": [3]float64{1, f.s0, .45}, "variance": [3][3]float64{{v[0]}, {0, v[1]}, {0, 0, v[2]}},
		})
	}
	var python struct {
		Filters []struct {
			State    [3]float64
			Variance [3][3]float64
		}
	}
	reference.AskPython(t, map[string]any{"filters": questions}, &python)
	for i, f := range animals {
		got := f.filtered()
		sameState(t, &got, python.Filters[i].State, python.Filters[i].Variance, 1e-9)
	}
}

// The feeding filter is a hidden Markov model: here against the sum over every
// path that the animal may have taken. The own rate is held by a strength that
// no offer can move, since what is learned on the way is no part of such a model.
func TestFeedingByEveryPath(t *testing.T) {
	t.Parallel()
	const rate, deficit = .2, 2.5
	f := feeding{n: .85, b: .12, x: .03, hB: .006, alpha: rate * 1e15, beta: (1 - rate) * 1e15}
	x := hX * math.Exp(coldWeight*(deficit-1))
	transition := [3][3]float64{{1 - f.hB - x, f.hB, x}, {fastEnds, 1 - fastEnds - x, x}, {failEnds, 0, 1 - failEnds}}
	refused := [3]float64{rate, likeFast, likeFast}
	ate := [3]float64{(1 - rate) * (1 - slack), 1 - likeFast, 1 - likeFast}
	nothing := [3]float64{1, 1, 1}
	up := [3]float64{.01, .005, .08}
	days := [][3]float64{nothing, refused, nothing, refused, refused, up, nothing, ate, refused}
	var python struct {
		HiddenStates [3]float64 `json:"hidden_states"`
	}
	reference.AskPython(t, map[string]any{"hidden_states": map[string]any{
		"start": [3]float64{f.n, f.b, f.x}, "transition": transition, "likelihood": days}}, &python)
	for _, what := range days {
		f.pass(deficit)
		switch what {
		case refused:
			f.refused(0)
		case ate:
			f.accepted(0)
		case up:
			f.regurgitated()
		}
	}
	for i, got := range [3]float64{f.n, f.b, f.x} {
		near(t, "P("+string("NBX"[i])+")", got, python.HiddenStates[i], 1e-9)
	}
}

// Refused, refused, eaten, refused: with two states and a known rate the filter
// adds up what Wald's sequential test and Page's CUSUM do. R gives the ratios;
// the sums are the method's golden numbers, 1.5261, 3.0521, .7495, 2.2756.
func TestSequentialRatioByR(t *testing.T) {
	t.Parallel()
	var r struct {
		Ratio [2]float64 `json:"bernoulli_ratio"`
	}
	reference.AskR(t, map[string]any{"bernoulli_ratio": map[string]float64{"p0": .2, "p1": likeFast}}, &r)
	f := feeding{n: .5, x: .5, alpha: .2e15, beta: .8e15}
	sum := 0.0
	for i, ate := range []bool{false, false, true, false} {
		if ate {
			f.accepted(0)
			sum += r.Ratio[1] - math.Log(1-slack) // a meal may be noted by mistake
		} else {
			f.refused(0)
			sum += r.Ratio[0]
		}
		near(t, "log-odds", f.logOdds(), sum, 1e-7) // a third state of 1e-9 is kept alive
		golden := [...]float64{1.5261, 3.0521, .7495, 2.2756}[i]
		if i >= 2 {
			golden -= math.Log(1 - slack)
		}
		near(t, "golden sum", sum, golden, 6e-5)
	}
}

func TestDistributionsByR(t *testing.T) {
	t.Parallel()
	x := []float64{-8, -3.4761, -1.8, -.4, 0, .21, 1, 2.2756, 7}
	k := []float64{1, 2, 3, 4, 5}
	const mean, variance, alpha, beta = .3, 2.5, 1.2, 4.8
	var r struct {
		Distributions struct {
			Logistic, Phi []float64
			LnNormal      []float64 `json:"ln_normal"`
			Run           []float64
			Z90           float64
		}
	}
	reference.AskR(t, map[string]any{"distributions": map[string]any{"x": x, "mean": mean, "variance": variance, "alpha": alpha, "beta": beta, "k": k}}, &r)
	d := &r.Distributions
	near(t, "z90", z90, d.Z90, 1e-12)
	for i, v := range x {
		near(t, "logistic", logistic(v), d.Logistic[i], 1e-12)
		near(t, "logit", logit(d.Logistic[i]), v, 1e-9)
		near(t, "normal distribution", phi(v), d.Phi[i], 1e-12)
		near(t, "normal density", lnNormal(v, mean, variance), d.LnNormal[i], 1e-12)
	}
	// Refusals in a row: each learned from before the next.
	f := feeding{n: 1, alpha: alpha, beta: beta}
	p := 1.0
	for i := range k {
		p *= f.rate(0)
		near(t, "run of refusals", p, d.Run[i], 1e-12)
		f.learn(1, 1)
	}
}

// Animals with different numbers of offers, in any order: the moment estimate
// solves the equation that it is derived from, found by scipy without the formula.
func TestMomentsByScipy(t *testing.T) {
	t.Parallel()
	counts := []care.FeedingCount{{Refused: 1, Offers: 12}, {Refused: 9, Offers: 20}, {Refused: 0, Offers: 5}, {Refused: 14, Offers: 31}, {Refused: 2, Offers: 17}, {Refused: 3, Offers: 4}}
	var refused, offers []int
	for _, c := range counts {
		refused, offers = append(refused, c.Refused), append(offers, c.Offers)
	}
	var python struct {
		Correlation  struct{ Mean, Rho float64 }
		BetaBinomial []float64 `json:"beta_binomial"`
		Student      []float64 `json:"student_weight"`
	}
	z := []float64{2, 3, 5, 7.4, 9}
	reference.AskPython(t, map[string]any{
		"correlation":    map[string]any{"refused": refused, "offers": offers},
		"beta_binomial":  map[string]any{"n": 5, "alpha": 1.2, "beta": 4.8},
		"student_weight": map[string]any{"freedom": 4, "z": z},
	}, &python)
	flock := FlockOf(counts)
	mean, rho, ok := flock.moments()
	if !ok {
		t.Fatal("no estimate")
	}
	near(t, "mean", mean, python.Correlation.Mean, 1e-12)
	near(t, "ρ", rho, python.Correlation.Rho, 1e-9)

	// Five offers, in every order of refused and eaten, learned one by one.
	chances := make([]float64, 6)
	for order := range 1 << 5 {
		f, p, n := feeding{n: 1, alpha: 1.2, beta: 4.8}, 1.0, 0
		for i := range 5 {
			if order>>i&1 == 1 {
				p *= f.rate(0)
				f.learn(1, 1)
				n++
			} else {
				p *= 1 - f.rate(0)
				f.learn(0, 1)
			}
		}
		chances[n] += p
	}
	for k, p := range chances {
		near(t, "refusals of five", p, python.BetaBinomial[k], 1e-12)
	}

	// An outlier's weight, read off the gain that it gets.
	for i, z := range z {
		f := filter{}
		f.p[0][0] = .5
		f.update(z, 0, 0, .5, true)
		near(t, "weight of an outlier", f.x/z, .5/(.5+.5/math.Max(.05, python.Student[i])), 1e-6)
	}
}
