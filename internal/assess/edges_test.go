package assess

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// everythingSaid is all text of an assessment.
func everythingSaid(t *testing.T, a *Assessment) string {
	t.Helper()
	b, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// keeperEntry is one entry of the keeper's.
func keeperEntry(d float64, b care.Body) care.Entry {
	return care.Entry{ID: fmt.Sprint("k", d), By: care.KeeperActor, HappenedAt: at(d), ReceivedAt: at(d), Body: b}
}

// Two refusals are ordinary in a ball python hatchling (30 % of healthy ones
// refuse three times in a row), whether or not anything is known of its time
// with the breeder.
func TestFirstTwoRefusalsAreNoAlarm(t *testing.T) {
	t.Parallel()
	worked, history := workedExample()
	bare := *worked
	bare.Animal.Hatched = nil
	for name, c := range map[string]struct {
		s   *Subject
		log []care.Entry
	}{"with history": {worked, history[:14:14]}, "without": {worked, nil}, "hatch date unknown": {&bare, history[:14:14]}} {
		log := append(c.log, keeperEntry(7, care.Offer{Result: care.Refused, Prey: "rat"}), keeperEntry(14, care.Offer{Result: care.Refused, Prey: "rat"}))
		for d := 7.5; d < 18; d++ {
			if a := Assess(c.s, log, at(d)); a.Standing > care.Watch {
				t.Errorf("%s, day %v: %v, %s", name, d, a.Standing, a.Headline)
			}
		}
	}
}

// McCue 2007, Zoology 110:318: adult ball pythons lost 18.3 % of their mass in
// 168 days without food, and lived. Weighed weekly, such a fast is an ordinary
// one by its pace, so the weights never raise the log-odds. The loss itself is
// spoken of by the rule: step in once more than 6 % is nearly certain, which is
// after day 51 when 6 % is truly gone; a vet once 10 % is likelier than not, by
// that pace on day 88, give or take the few days that a 3 % scale leaves open.
func TestPublishedFast(t *testing.T) {
	t.Parallel()
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0, Hemi: care.North}
	start := 1500.
	log := []care.Entry{{ID: "w", By: care.BreederOwner, HappenedAt: at(-.01), Body: care.WeighIn{Mass: care.Grams(start)}}}
	rate := -math.Log(1-.183) / 168
	for d := 7.; d <= 168; d += 7 {
		log = append(log, keeperEntry(d, care.WeighIn{Mass: care.Grams(start * math.Exp(-rate*d))}))
	}
	stepIn, vet := -1., -1.
	for d := 0.; d <= 168; d++ {
		var e engine
		e.run(s, log, at(d+.5), nil)
		if w := e.weight.logOdds(); w > 0 {
			t.Fatalf("day %v: the pace of an ordinary fast raises the log-odds by %.3f", d, w)
		}
		if stepIn < 0 && e.standing() >= care.StepIn {
			stepIn = d
		}
		if vet < 0 && e.standing() == care.Vet {
			vet = d
		}
		m, sd := e.weight.tissue()
		if truth := math.Exp(-rate * d); math.Abs(m-truth) > 2*sd {
			t.Errorf("day %v: mass %.4f ± %.4f, truly %.4f", d, m, sd, truth)
		}
	}
	if stepIn < 60 || stepIn > vet {
		t.Errorf("step in on day %v", stepIn)
	}
	if vet < 81 || vet > 95 {
		t.Errorf("a vet on day %v", vet)
	}
}

// Without any weight nothing is said of loss, and nothing is claimed of it.
func TestNoWeightNoLoss(t *testing.T) {
	t.Parallel()
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0, Hemi: care.South}
	var log []care.Entry
	for d := 7.; d < 120; d += 7 {
		log = append(log, keeperEntry(d, care.Offer{Result: care.Refused, Prey: "rat"}))
	}
	for d := .5; d < 120; d += 7 {
		a, c := AssessCourse(s, log, at(d))
		said := everythingSaid(t, &a)
		for _, word := range []string{"lost ", "gained ", "It weighs"} {
			if strings.Contains(said, word) {
				t.Errorf("day %v: says %q without a weight: %s", d, word, said)
			}
		}
		for _, x := range a.Concerns {
			if x.Code == ConcernWeight {
				t.Errorf("day %v: %+v", d, x)
			}
		}
		if a.PLoss10 != 0 || a.LossPct != 0 || a.LossLow != 0 || a.LossHigh != 0 || a.DaysTo10 != -1 {
			t.Errorf("day %v: loss %.1f %% (%.1f to %.1f), P %.2f, %.0f days to a tenth", d, a.LossPct, a.LossLow, a.LossHigh, a.PLoss10, a.DaysTo10)
		}
		if last := c.Days[len(c.Days)-1]; last.Mass != 0 || last.Expected != 0 {
			t.Errorf("day %v: the course knows a mass: %+v", d, last)
		}
	}
}

// An animal that eats and is never weighed does not waste away on paper.
func TestEatsWithoutWeights(t *testing.T) {
	t.Parallel()
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0, Hemi: care.South}
	var log []care.Entry
	for d := 7.; d <= 112; d += 7 {
		log = append(log, keeperEntry(d, care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 12}))
	}
	a := Assess(s, log, at(113.5))
	if a.Standing != care.Settled || a.LossPct > 1 {
		t.Errorf("%v, loss %.1f %%, %s", a.Standing, a.LossPct, a.Headline)
	}
	if early := Assess(s, log, at(15.5)); a.Urgency > early.Urgency {
		t.Errorf("urgency %.3f after sixteen meals, %.3f after two", a.Urgency, early.Urgency)
	}
}

// What a newer app or another tool may send is taken in stride.
func TestUnknownCodes(t *testing.T) {
	t.Parallel()
	for _, species := range []string{care.OtherSnake, "serpens_ignota", ""} {
		s := &Subject{Animal: care.Animal{Species: species, Genes: []string{"no_such_gene"}}, HandedOverAt: d0}
		log := []care.Entry{
			{ID: "w", By: care.BreederOwner, HappenedAt: at(-1), Body: care.WeighIn{Mass: 200}},
			{ID: "s", By: care.BreederOwner, HappenedAt: at(6), Body: care.StepAgreed{Code: "sing_to_it", HoldsDays: 10}},
			keeperEntry(7, care.Offer{Result: care.Refused, Prey: "egg"}),
			keeperEntry(8, care.Sign{Code: "glows"}),
			keeperEntry(9, care.SetupCheck{Answers: []care.SetupAnswer{{Point: "moat", Choice: "deep"}}}),
		}
		a := Assess(s, log, at(10))
		if a.Standing != care.StepIn || a.Concerns[0].Code != "sign:glows" {
			t.Errorf("%q: %v, %+v", species, a.Standing, a.Concerns)
		}
		if !a.DueAt.After(at(10)) || a.Headline.String() == "" || a.KeeperDo.String() == "" {
			t.Errorf("%q: %+v", species, a)
		}
	}
}

// weekly is a grown animal that is weighed every week and loses as an ordinary
// fast makes it lose; change may replace a weight.
func weekly(change func(day, mass float64) float64) (*Subject, []care.Entry) {
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0, Hemi: care.North}
	log := []care.Entry{{ID: "w", By: care.BreederOwner, HappenedAt: at(-.01), Body: care.WeighIn{Mass: 1500}}}
	for d := 7.; d <= 42; d += 7 {
		log = append(log, keeperEntry(d, care.WeighIn{Mass: care.Grams(change(d, math.Round(1500*math.Exp(-.0011*d))))}))
	}
	return s, log
}

// A slip at the scale is held back and asked about: ten times, a tenth, ounces,
// a neighbour's weight. Twice the same is none, and what a person confirmed
// counts at once.
func TestSlipAtTheScale(t *testing.T) {
	t.Parallel()
	s, log := weekly(func(_, m float64) float64 { return m })
	plain := Assess(s, log, at(43))
	for name, slip := range map[string]func(m float64) float64{
		"ten times": func(m float64) float64 { return 10 * m }, "a tenth": func(m float64) float64 { return m / 10 },
		"ounces": func(m float64) float64 { return m / 28.35 }, "a neighbour": func(float64) float64 { return 900 },
	} {
		for _, on := range []float64{7, 21, 42} {
			s, log := weekly(func(d, m float64) float64 {
				if d == on {
					return slip(m)
				}
				return m
			})
			a := Assess(s, log, at(43))
			if math.Abs(a.LossPct-plain.LossPct) > 1 || a.Standing != plain.Standing {
				t.Errorf("%s on day %v: loss %.1f %%, %v; without it %.1f %%, %v", name, on, a.LossPct, a.Standing, plain.LossPct, plain.Standing)
			}
			if on == 42 && !strings.Contains(a.Missing.String(), "does not fit") {
				t.Errorf("%s: nothing asks about it: %q", name, a.Missing)
			}
		}
	}
	s, log = weekly(func(d, m float64) float64 {
		if d >= 21 {
			return math.Round(m/2.835) / 10 // ounces from then on
		}
		return m
	})
	if a := Assess(s, log, at(43)); a.Standing != care.Settled || a.LossPct > 8 {
		t.Errorf("ounces from the third weight on: loss %.1f %%, %v", a.LossPct, a.Standing)
	}
	drop := func(d, m float64) float64 {
		if d >= 35 {
			return .75 * m
		}
		return m
	}
	s, log = weekly(drop)
	if a := Assess(s, log, at(43)); a.LossPct < 15 || a.Standing != care.Vet {
		t.Errorf("a quarter less, weighed twice: loss %.1f %%, %v", a.LossPct, a.Standing)
	}
	last := len(log) - 1
	s, log = weekly(func(d, m float64) float64 { return drop(d-7, m) }) // the last weight only
	if a := Assess(s, log, at(43)); a.LossPct > 8 {
		t.Errorf("a quarter less, once: loss %.1f %%", a.LossPct)
	}
	log[last].Confirmed = true
	if a := Assess(s, log, at(43)); a.LossPct < 8 {
		t.Errorf("a quarter less, confirmed: loss %.1f %%", a.LossPct)
	}
}

// The breeder's last weight may be a slip as well, when two before it agree.
func TestSlipAtTheBreeder(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ masses, want []float64 }{
		{[]float64{90, 92, 920}, []float64{92}}, {[]float64{90, 92, 9.3}, []float64{92}},
		{[]float64{60, 92, 130}, []float64{130}}, {[]float64{92, 920}, []float64{920}}, {[]float64{90, 91, 92}, []float64{92}}, {nil, []float64{0}},
	} {
		var history []*care.Entry
		for i, m := range c.masses {
			history = append(history, &care.Entry{HappenedAt: at(float64(i - 20)), Body: care.WeighIn{Mass: care.Grams(m)}})
		}
		if got, _ := handoverWeight(history); got != c.want[0] {
			t.Errorf("%v: %v", c.masses, got)
		}
	}
}

// An animal that went with a full stomach has lost nothing when that is
// digested: 100 g that ate 15 g the evening before it was weighed and sold, of
// which .45 stay.
func TestFullStomachAtTheHandover(t *testing.T) {
	t.Parallel()
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0, Hemi: care.South}
	log := []care.Entry{
		{ID: "m", By: care.BreederOwner, HappenedAt: at(-1), Body: care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 15}},
		{ID: "w", By: care.BreederOwner, HappenedAt: at(-.01), Body: care.WeighIn{Mass: 115}},
	}
	for _, d := range []float64{10, 14, 18} {
		left := 15 * math.Exp(-(d+1)/gutDays)
		log = append(log, keeperEntry(d, care.WeighIn{Mass: care.Grams(100 + .45*(15-left) + left - .15*d)}))
	}
	a, c := AssessCourse(s, log, at(18.5))
	if a.LossPct > 1 || a.Standing != care.Settled {
		t.Errorf("loss %.1f %%, %v: %s", a.LossPct, a.Standing, a.Headline)
	}
	if d := c.Days[18]; math.Abs(d.Expected-d.Mass) > 3 {
		t.Errorf("an ordinary fast would leave %.1f g, there are %.1f g", d.Expected, d.Mass)
	}
}

// The next shed is near by an animal's own rhythm; a gap in the notes is none.
func TestShedRhythm(t *testing.T) {
	t.Parallel()
	var r rhythm
	if r.shed(at(0)); r.due(at(40)) {
		t.Error("one shed is no rhythm")
	}
	r.shed(at(1)) // noted twice
	r.shed(at(41))
	for d, want := range map[float64]bool{60: false, 72: true, 81: true, 84: true, 90: false} {
		if r.due(at(d)) != want {
			t.Errorf("day %v: due %v", d, !want)
		}
	}
	r.shed(at(300)) // months without a note
	if r.n != 1 || !r.due(at(335)) {
		t.Errorf("%+v", r)
	}
}

// A breeder's own thresholds move the levels one way: lower ones never leave a
// case lower. None, and ones that make no ladder, are the program's own; and the
// red rule of the weight never comes later.
func TestThresholds(t *testing.T) {
	t.Parallel()
	own, lost := ladders(&care.Thresholds{})
	for _, none := range []care.Thresholds{{Watch: .9}, {Watch: .5, Act: .3}, {Watch: math.NaN(), Act: math.Inf(1)}, {Act: -1}, {Lost: .9}, {Lost: 1.5}} {
		if a, l := ladders(&none); a != own || l != lost {
			t.Errorf("%+v: %v, %v", none, a, l)
		}
	}
	moved, lax := false, false
	each(t, 60, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		now := at(110 * r.Float64())
		was := Assess(s, log, now)
		wary, easy := *s, *s
		wary.Thresholds = care.Thresholds{Watch: .05, Act: .1, Lost: .2, SilenceGaps: 1, FirstWordDays: 7}
		easy.Thresholds = care.Thresholds{Watch: .6, Act: .8, Lost: .99, SilenceGaps: 4, FirstWordDays: 42}
		got, less := Assess(&wary, log, now), Assess(&easy, log, now)
		if got.Standing < was.Standing || less.Standing > was.Standing {
			t.Errorf("lower thresholds: %v, else %v, higher %v", got.Standing, was.Standing, less.Standing)
		}
		if was.Standing == care.Vet && less.Standing != care.Vet {
			t.Error("thresholds silence what is for a vet")
		}
		for _, c := range was.Concerns {
			kept := c.Code == ConcernRefusal || c.Code == ConcernSilence || slices.ContainsFunc(less.Concerns, func(o care.Concern) bool {
				return o.Code == c.Code && (o.Level == c.Level || c.Code == ConcernWeight && c.Level < care.Vet)
			}) || c.Code == ConcernWeight && c.Level < care.Vet
			if !kept {
				t.Errorf("thresholds silence %+v, leaving %+v", c, less.Concerns)
			}
		}
		for _, o := range []Assessment{got, less} {
			if o.LogOdds != was.LogOdds || o.LossPct != was.LossPct || o.AskAt != was.AskAt && o.Steps[0].Code == was.Steps[0].Code {
				t.Error("thresholds moved what is judged")
			}
		}
		moved, lax = moved || got.Standing > was.Standing, lax || less.Standing < was.Standing
	})
	if !moved || !lax {
		t.Error("thresholds move nothing")
	}
}

// What a breeder may set is bounded, rises, and is kept only where it differs.
func TestOwnThresholds(t *testing.T) {
	t.Parallel()
	var all care.Thresholds
	if len(OwnThresholds()) != len(care.ThresholdCodes) || len(snake.Group("own threshold", 3)) != len(care.ThresholdCodes) {
		t.Error("a threshold is missing, or a row is nobody's")
	}
	for i, o := range OwnThresholds() {
		if o.Code != care.ThresholdCodes[i] || o.Label == "" || o.About == "" || o.Less == "" || o.More == "" || o.Sure == "" || o.Source == "" ||
			!(o.Least < o.Most) || o.Default < o.Least || o.Default > o.Most || o.Step <= 0 {
			t.Errorf("%+v", o)
		}
		*all.Of(o.Code) = o.Default
		for _, v := range []float64{o.Least, o.Most, o.Default + o.Step/3} {
			one := care.Thresholds{}
			*one.Of(o.Code) = v
			kept, err := CheckThresholds(one)
			if want := v; o.Code != "watch_from" && o.Code != "act_from" { // these two go together
				if math.Abs(v-o.Default) < o.Step/2 {
					want = 0
				}
				if err != nil || *kept.Of(o.Code) != want {
					t.Errorf("%s %v: %+v, %v", o.Code, v, kept, err)
				}
			}
		}
		for _, v := range []float64{o.Least - o.Step/10, o.Most + o.Step, -1, math.NaN(), math.Inf(1)} {
			one := care.Thresholds{}
			*one.Of(o.Code) = v
			var e *care.Error
			if _, err := CheckThresholds(one); !errors.As(err, &e) || e.Fields[0].Field != "thresholds.own."+o.Code {
				t.Errorf("%s %v: %v", o.Code, v, err)
			}
		}
	}
	if kept, err := CheckThresholds(all); err != nil || kept != (care.Thresholds{}) {
		t.Errorf("the program's own: %+v, %v", kept, err)
	}
	if _, err := CheckThresholds(care.Thresholds{Watch: .5}); err == nil {
		t.Error("watching may begin after stepping in")
	}
	if kept, err := CheckThresholds(care.Thresholds{Watch: .5, Act: .6}); err != nil || kept.Watch != .5 || kept.Act != .6 {
		t.Errorf("%+v, %v", kept, err)
	}
	if all.Of("colour") != nil {
		t.Error("an unknown threshold is kept somewhere")
	}
	// A chance that is set is the chance that is shown when the level begins.
	if c := calibrated(scoreOf(.3)); math.Abs(c-.3) > 1e-12 {
		t.Errorf("%v", c)
	}
	if lost := OwnThresholds()[2]; lost.Code != "lost_from" || lost.Most > lost.Default {
		t.Errorf("the red rule of the weight can be put off: %+v", lost)
	}
}
