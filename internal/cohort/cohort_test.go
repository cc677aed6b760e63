package cohort

import (
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"warmhand/internal/care"
)

// The measures on ten values; computed with scikit-learn.
func TestMeasures(t *testing.T) {
	t.Parallel()
	var y []bool
	for _, c := range "0011010010" {
		y = append(y, c == '1')
	}
	p := []float64{.1, .4, .35, .8, .2, .7, .6, .05, .9, .3}
	for name, v := range map[string][2]float64{"AUROC": {AUROC(p, y), .9166667}, "AUPRC": {AUPRC(p, y), .9166667}, "Brier": {Brier(p, y), .1225}} {
		if math.Abs(v[0]-v[1]) > 5e-8 {
			t.Errorf("%s is %.7f, want %.7f", name, v[0], v[1])
		}
	}
	if got := AUROC([]float64{1, 1, 1, 1}, []bool{true, false, true, false}); got != .5 {
		t.Errorf("AUROC of ties is %v", got)
	}
	// Two bins: said .25 where a half is so, said .75 where all is so.
	if got := ECE([]float64{.25, .25, .75, .75}, []bool{true, false, true, true}); math.Abs(got-.25) > 1e-12 {
		t.Errorf("calibration error is %v", got)
	}
}

// A line that was put in is found again.
func TestRecalibrate(t *testing.T) {
	t.Parallel()
	want := Line{-.7, .8}
	var p []float64
	var y []bool
	for i := 1; i < 200; i++ {
		said := float64(i) / 200
		n := int(math.Round(1000 * want.Apply(said)))
		for k := range 1000 {
			p, y = append(p, said), append(y, k < n)
		}
	}
	if got := Recalibrate(p, y); math.Abs(got.A-want.A) > .01 || math.Abs(got.B-want.B) > .01 {
		t.Errorf("%+v, want %+v", got, want)
	}
}

func TestThresholdKeepsToTheBudget(t *testing.T) {
	t.Parallel()
	cases := make([]Case, 10)
	s := Score{Days: make([][]float64, 10)}
	for i := range cases {
		cases[i].Truth = Truth{Onset: math.Inf(1)}
		s.Days[i] = []float64{0, float64(i / 2)} // pairs of ties
	}
	for _, c := range []struct{ budget, want float64 }{{0, 0}, {.1, 0}, {.2, .2}, {.3, .2}, {.5, .4}, {1, 1}} {
		if got := s.Find(cases, s.Threshold(cases, c.budget)).FalseAlarms; got != c.want {
			t.Errorf("budget %v: %v alarm, want %v", c.budget, got, c.want)
		}
	}
}

// What stands at the onset is found on that day; what was over by then is not.
func TestFind(t *testing.T) {
	t.Parallel()
	day := func(on ...int) (days []float64) {
		for d := range Horizon {
			days = append(days, truth(slices.Contains(on, d)))
		}
		return days
	}
	loss := make([]float64, Horizon)
	for d := range loss {
		loss[d] = .005 * float64(d) // a tenth is passed on day 21
	}
	fails := Case{Truth: Truth{Onset: 5.5, Loss: loss}}
	s := Score{Days: [][]float64{day(2), day(5), day(10), day(25), day(40), {0, 1}}}
	cases := []Case{fails, fails, fails, fails, fails, {Truth: Truth{Onset: math.Inf(1), Picky: true}}}
	got := s.Find(cases, 1)
	want := Found{FalseAlarms: 1, PickyAlarms: 1, S14: .4, S21: .6, S28: .6, MedianDelay: 19.5, Before10: .4, Lead: 16, Healthy: 1, Failing: 5, Picky: 1}
	if got != want {
		t.Errorf("found %+v\nwant  %+v", got, want)
	}
}

func TestSameSeedSameCohort(t *testing.T) {
	t.Parallel()
	for _, w := range Worlds() {
		a, b := Make(w, 3, 1), Make(w, 3, 1)
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s: two cohorts of one seed", w.Name)
		}
		if reflect.DeepEqual(a, Make(w, 4, 1)) {
			t.Errorf("%s: one cohort of two seeds", w.Name)
		}
		for i := range a {
			c := &a[i]
			if len(c.Truth.Loss) != Horizon || len(c.Truth.Paused) != Horizon {
				t.Fatalf("%s: case %d has %d days", w.Name, i, len(c.Truth.Loss))
			}
			if !slices.IsSortedFunc(c.Log, func(x, y care.Entry) int { return x.HappenedAt.Compare(y.HappenedAt) }) {
				t.Errorf("%s: the log of case %d is not in order", w.Name, i)
			}
			for j := range c.Log {
				if err := care.CheckEntry(&c.Log[j], c.Log[j].HappenedAt.Add(time.Hour)); err != nil {
					t.Errorf("%s: case %d: %v", w.Name, i, err)
				}
			}
		}
	}
}

// The animals of the base world are likely ones: refusals per offer of healthy
// ball pythons within the 57 % that the intervals between 121 meals of the
// Add-my-Pet collection allow for, and not near none; corn snakes far below; a
// tenth is lost by few of the healthy and many of the failing.
func TestLikelyAnimals(t *testing.T) {
	t.Parallel()
	d := Describe(Make(Base, 5, 20))
	if r := d.Refused["python_regius"]; r < .25 || r > .50 {
		t.Errorf("ball pythons refuse %.2f", r)
	}
	if r := d.Refused["pantherophis_guttatus"]; r > d.Refused["python_regius"]-.1 {
		t.Errorf("corn snakes refuse %.2f, ball pythons %.2f", r, d.Refused["python_regius"])
	}
	if d.LostTenth[0] > .05 || d.LostTenth[1] < .35 {
		t.Errorf("a tenth is lost by %.2f of the healthy, %.2f of the failing", d.LostTenth[0], d.LostTenth[1])
	}
	if d.Fails < .09 || d.Fails > .17 {
		t.Errorf("%.2f fail", d.Fails)
	}
}

// A small judgement, with room to both sides; the whole one is `make cohort`.
// Nothing here was tuned on these seeds.
func TestSmallJudgement(t *testing.T) {
	t.Parallel()
	v := Judge(Base, []uint64{11}, []uint64{12}, 25)
	score, rule := v.Contestants[0].At(.10), best(&v).At(.10)
	t.Logf("s21 %.3f at %.3f false alarms, best rule %.3f at %.3f; AUROC %.3f; calibration error %.3f, %.3f; picky %.3f, forgotten %.3f",
		score.S21, score.FalseAlarms, rule.S21, rule.FalseAlarms, v.Alarm.AUROC, v.ECE, v.ECERecalibrated, score.PickyAlarms, v.PickyForgotten)
	if score.S21 < 1.3*rule.S21 {
		t.Errorf("finds %.3f within three weeks, the best rule of thumb %.3f", score.S21, rule.S21)
	}
	if v.Alarm.AUROC < .78 || v.Chance.AUROC < .78 || v.Urgency.AUROC < .76 {
		t.Errorf("AUROC %.3f, of the probability %.3f, of the urgency %.3f", v.Alarm.AUROC, v.Chance.AUROC, v.Urgency.AUROC)
	}
	if v.ECE > .05 || v.ECERecalibrated > .03 {
		t.Errorf("calibration error %.3f, recalibrated %.3f", v.ECE, v.ECERecalibrated)
	}
	if score.PickyAlarms > .7*v.PickyForgotten {
		t.Errorf("%.3f of healthy picky animals alarm, %.3f without their history", score.PickyAlarms, v.PickyForgotten)
	}
}

// A breeder with forty open cases is called out for one of them a day at most.
func TestLoad(t *testing.T) {
	t.Parallel()
	l := LoadOf(Make(Base, 13, 10), 13)
	if l.RisesPerDay > 1 {
		t.Errorf("%.2f cases a day rise to step in: %v", l.RisesPerDay, l.ByCause)
	}
	if l.RisesPerDay == 0 {
		t.Error("nothing ever rises")
	}
}

func best(v *Verdict) *Contestant {
	return &v.Contestants[slices.IndexFunc(v.Contestants, func(c Contestant) bool { return c.Name == "best rule" })]
}
