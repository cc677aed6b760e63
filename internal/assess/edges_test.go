package assess

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"warmhand/internal/care"
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
		if !a.DueAt.After(at(10)) || a.Headline == "" || a.KeeperDo == "" {
			t.Errorf("%q: %+v", species, a)
		}
	}
}
