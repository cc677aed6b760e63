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
// one by its pace: the weights never raise the log-odds. A tenth of the mass is
// truly gone on day 88 (facts on that paper: 88 to 92 days), and only near that
// day is the loss itself spoken of.
func TestPublishedFast(t *testing.T) {
	t.Parallel()
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0, Hemi: care.North}
	start := 1500.
	log := []care.Entry{{ID: "w", By: care.BreederOwner, HappenedAt: at(-.01), Body: care.WeighIn{Mass: care.Grams(start)}}}
	rate := -math.Log(1-.183) / 168
	for d := 7.; d <= 168; d += 7 {
		log = append(log, keeperEntry(d, care.WeighIn{Mass: care.Grams(start * math.Exp(-rate*d))}))
	}
	first := -1.
	for d := 0.; d <= 168; d++ {
		var e engine
		e.run(s, log, at(d+.5), nil)
		if w := e.weight.logOdds(); w > 0 {
			t.Fatalf("day %v: the pace of an ordinary fast raises the log-odds by %.3f", d, w)
		}
		if first < 0 && e.standing() >= care.StepIn {
			first = d
		}
		m, sd := e.weight.tissue()
		if truth := math.Exp(-rate * d); math.Abs(m-truth) > 2*sd {
			t.Errorf("day %v: mass %.4f ± %.4f, truly %.4f", d, m, sd, truth)
		}
	}
	if first < 80 || first > 98 {
		t.Errorf("first called out for on day %v, a tenth is gone on day 88", first)
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
		if a.PLoss10 != 0 || a.LossPct != 0 || a.DaysTo10 != -1 {
			t.Errorf("day %v: loss %.1f %%, P %.2f, %.0f days to a tenth", d, a.LossPct, a.PLoss10, a.DaysTo10)
		}
		if last := c.Days[len(c.Days)-1]; last.Mass != 0 || last.Expected != 0 {
			t.Errorf("day %v: the course knows a mass: %+v", d, last)
		}
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
