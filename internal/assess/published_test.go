package assess

import (
	"math"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

var d0 = time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)

func at(d float64) time.Time { return d0.Add(time.Duration(d * float64(day))) }

// workedExample is the worked example of the method: a ball python hatchling
// whose numbers were computed by an independent implementation.
func workedExample() (*Subject, []care.Entry) {
	hatched := d0.AddDate(0, -3, -10)
	s := &Subject{Animal: care.Animal{Species: "python_regius", Hatched: &hatched}, HandedOverAt: d0, Hemi: care.South}
	var log []care.Entry
	add := func(d float64, by care.ActorKind, b care.Body) {
		log = append(log, care.Entry{ID: string(rune('a' + len(log))), By: by, HappenedAt: at(d), ReceivedAt: at(d), Body: b})
	}
	i := 0
	for d := -87.0; d <= -10; d += 7 {
		r := care.Eaten
		if i == 2 {
			r = care.Refused
		}
		add(d, care.BreederOwner, care.Offer{Result: r, Prey: "rat"})
		i++
	}
	add(-9.99, care.BreederOwner, care.WeighIn{Mass: 92})
	add(-.001, care.BreederOwner, care.WeighIn{Mass: 91})
	warm := care.Celsius(29)
	add(7, care.KeeperActor, care.Offer{Result: care.Refused, Prey: "rat", PreyMass: 12})
	add(7.001, care.KeeperActor, care.ClimateReading{Warm: &warm, TakenWith: care.WithProbe})
	add(13, care.KeeperActor, care.Offer{Result: care.Refused, Prey: "rat", PreyMass: 12})
	add(14, care.KeeperActor, care.WeighIn{Mass: 88})
	add(19, care.KeeperActor, care.Offer{Result: care.Refused, Prey: "rat", PreyMass: 12})
	add(21, care.KeeperActor, care.WeighIn{Mass: 85})
	add(26, care.KeeperActor, care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 11})
	return s, log
}

func TestWorkedExample(t *testing.T) {
	t.Parallel()
	rows := []struct{ day, feed, total, pX, pB, loss, sd, p10 float64 }{
		{0, -3.4761, -3.4761, .0300, .0800, 0, .0210, 0},
		{6, -3.2239, -3.2239, .0383, .0782, .0150, .0234, .0001},
		{7, -1.4086, -1.4086, .1965, .2121, .0175, .0241, .0003},
		{13, -.6200, -.6200, .3498, .3034, .0325, .0300, .0122},
		{14, -.6194, -1.2351, .2253, .2927, .0340, .0222, .0015},
		{19, -.0597, -.6224, .3492, .3398, .0463, .0274, .0250},
		{21, -.0671, -.7778, .3148, .3151, .0585, .0212, .0250},
		{25, -.0815, -.7420, .3226, .2717, .0695, .0251, .1123},
		{26, -1.6853, -2.3299, .0887, .0856, .0722, .0262, .1446},
		{33, -1.6008, -2.1457, .1047, .0791, .0465, .0360, .0683},
	}
	s, log := workedExample()
	for _, r := range rows {
		var e engine
		e.run(s, log, at(r.day+.5), nil)
		m, sd := e.weight.tissue()
		for name, v := range map[string][2]float64{
			"feeding and climate": {e.feed.logOdds(), r.feed}, "total": {e.logOdds(), r.total},
			"P(failing)": {logistic(e.logOdds()), r.pX}, "P(benign fast)": {e.feed.b, r.pB},
			"loss": {1 - m, r.loss}, "sd": {sd, r.sd}, "P(loss>10 %)": {e.weight.pLoss(.10), r.p10},
		} {
			if math.Abs(v[0]-v[1]) > 6e-5 {
				t.Errorf("day %v: %s is %.4f, want %.4f", r.day, name, v[0], v[1])
			}
		}
	}
}

func TestWorkedContributions(t *testing.T) {
	t.Parallel()
	s, log := workedExample()
	var e engine
	e.run(s, log, at(21.5), nil)
	got := map[string]float64{ReasonWeight: e.weight.logOdds()}
	for _, c := range e.contributions {
		got[c.code] += c.delta
	}
	want := map[string]float64{ReasonStart: -3.4761, ReasonTime: .3345, ReasonRefused: 2.4745, ReasonTooCool: .6, ReasonWeight: -.7107}
	if len(got) != len(want) {
		t.Errorf("contributions %v, want %v", got, want)
	}
	for code, w := range want {
		if math.Abs(got[code]-w) > 6e-5 {
			t.Errorf("%s is %.4f, want %.4f", code, got[code], w)
		}
	}
	a := Assess(s, log, at(21.5))
	if math.Abs(a.Total()+.7778) > 6e-5 {
		t.Errorf("total %.4f, want -.7778", a.Total())
	}
}

// Golden numbers of the method, §1.4: with p0 = .2 and p1 = .92 a refusal
// changes the log-odds of failing against normal by ln 4.6 and a meal by ln .1.
func TestLikelihoodRatios(t *testing.T) {
	t.Parallel()
	f := feeding{n: .5, x: .5, alpha: 2, beta: 8}
	before := f.logOdds()
	f.refused(0)
	near(t, "refusal", f.logOdds()-before, 1.5261, 5e-5)
	f = feeding{n: .5, x: .5, alpha: 2, beta: 8}
	f.accepted(0)
	// A meal may be noted by mistake: that slack of 1 % is taken out again.
	near(t, "meal", f.logOdds()-before+math.Log(1-slack), -2.3026, 5e-5)
}

// Beta(1.2, 4.8): the probabilities of one to five refusals in a row; the fifth
// is also scipy's betabinom.pmf(5; 5, 1.2, 4.8).
func TestRefusalsInARow(t *testing.T) {
	t.Parallel()
	sp, _ := snake.ByID("python_regius")
	f := newFeeding(&sp, snake.Hatchling, care.Learned{})
	p := 1.0
	for i, want := range []float64{.2, .062857, .025143, .011733, .006101} {
		p *= f.rate(0)
		near(t, "run of "+string(rune('1'+i)), p, want, 1e-6)
		f.learn(1, 1)
	}
}

// Efron & Morris, Stein's paradox, Scientific American 1977: hits of 45 times
// at bat. The moment estimates were computed independently.
func TestMoments(t *testing.T) {
	t.Parallel()
	var counts []care.FeedingCount
	for _, hits := range []int{18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7} {
		counts = append(counts, care.FeedingCount{Refused: hits, Offers: 45})
	}
	flock := FlockOf(counts)
	mean, rho, ok := flock.moments()
	if !ok {
		t.Fatal("no estimate")
	}
	m := 1/rho - 1
	near(t, "mean", mean, .265432, 1e-6)
	near(t, "strength", m, 367.988, 5e-4)
	near(t, "alpha", mean*m, 97.6759, 5e-4)
	near(t, "beta", (1-mean)*m, 270.3124, 5e-4)
	near(t, "best", (mean*m+18)/(m+45), .2801, 5e-5)
	near(t, "last", (mean*m+7)/(m+45), .2535, 5e-5)
}

func TestPrior(t *testing.T) {
	t.Parallel()
	sp, _ := snake.ByID("python_regius")
	if got := new(Flock).Prior(&sp, snake.Hatchling); got != (care.Learned{Mean: .2, Strength: 6}) {
		t.Errorf("without animals: %+v", got)
	}
	// Three animals: the mean moves, (40·.2 + 10) / (40 + 60); the strength does not.
	few := FlockOf([]care.FeedingCount{{Refused: 2, Offers: 20}, {Refused: 8, Offers: 20}, {Refused: 0, Offers: 20}})
	got := few.Prior(&sp, snake.Hatchling)
	near(t, "mean of three", got.Mean, .18, 1e-12)
	if got.Strength != 6 || got.Animals != 3 {
		t.Errorf("three animals: %+v", got)
	}
	// Eight animals, all alike: ρ is clipped at .02, M̂ = 49, ln M = (8·ln 6 + 8·ln 49) / 16.
	var alike Flock
	for range 8 {
		alike.Add(care.FeedingCount{Refused: 2, Offers: 20})
	}
	near(t, "strength of eight", alike.Prior(&sp, snake.Hatchling).Strength, math.Sqrt(6*49), 1e-9)
}

// Whoever came and went has left nothing behind.
func TestFlockComesAndGoes(t *testing.T) {
	t.Parallel()
	sp, _ := snake.ByID("python_regius")
	stay := []care.FeedingCount{{Refused: 2, Offers: 20}, {Refused: 8, Offers: 20}, {Refused: 0, Offers: 3}, {}}
	for len(stay) < 12 {
		stay = append(stay, care.FeedingCount{Refused: len(stay), Offers: 20 + len(stay)})
	}
	want, got := FlockOf(stay), FlockOf(stay)
	for n := range 50 {
		got.Add(care.FeedingCount{Refused: n, Offers: 60})
	}
	for n := range 50 {
		got.Remove(care.FeedingCount{Refused: n, Offers: 60})
	}
	a, b := want.Prior(&sp, snake.Juvenile), got.Prior(&sp, snake.Juvenile)
	if a.Animals != 11 || b.Animals != 11 {
		t.Errorf("%d and %d animals", a.Animals, b.Animals)
	}
	near(t, "mean", b.Mean, a.Mean, 1e-12)
	near(t, "strength", b.Strength, a.Strength, 1e-9)
}

// McCue 2007 gives .00120 a day by exponential loss and .00109 by linear loss
// for a ball python without food, so that 10 % are gone after 88 to 92 days.
func TestDaysToATenth(t *testing.T) {
	t.Parallel()
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0, Hemi: care.North}
	log := []care.Entry{{ID: "w", By: care.BreederOwner, HappenedAt: at(-.01), Body: care.WeighIn{Mass: 1500}}}
	for d := 0.; d < 80; d += 10 {
		if got := Assess(s, log, at(d+.5)).DaysTo10 + d; got < 88 || got > 92 {
			t.Errorf("on day %v a tenth is gone on day %.1f", d, got)
		}
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.9g, want %.9g", what, got, want)
	}
}
