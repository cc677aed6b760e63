package assess

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// randomLog makes a log of a random animal, wild on purpose: the properties
// must hold for any.
func randomLog(r *rand.Rand) (*Subject, []care.Entry) {
	species := []string{"python_regius", "pantherophis_guttatus", "boa_imperator", "other_snake"}
	s := &Subject{HandedOverAt: d0, Hemi: care.North, Animal: care.Animal{Species: species[r.IntN(len(species))]}}
	if r.IntN(3) == 0 {
		s.Animal.Genes = []string{"spider"}
	}
	mass := 40 * math.Exp(3*r.Float64())
	var log []care.Entry
	n := r.IntN(60)
	days := make([]float64, n)
	for i := range days {
		days[i] = -40 + 140*r.Float64()
	}
	slices.Sort(days)
	temperature := func() *care.Celsius {
		if r.IntN(2) == 0 {
			return nil
		}
		c := care.Celsius(15 + 35*r.Float64())
		return &c
	}
	for i, d := range days {
		var b care.Body
		switch r.IntN(9) {
		case 0, 1, 2:
			b = care.Offer{Result: []care.OfferResult{care.Eaten, care.Eaten, care.Refused, care.Refused, care.Struck, care.Regurgitated}[r.IntN(6)],
				Prey: []string{"", "rat", "mouse"}[r.IntN(3)], PreyMass: care.Grams(float64(r.IntN(3)) * mass * .05)}
		case 3, 4:
			b = care.WeighIn{Mass: care.Grams(mass * math.Exp(.05*r.NormFloat64()))}
		case 5:
			b = care.ClimateReading{Warm: temperature(), Cool: temperature(), Surface: temperature(), TakenWith: care.WithProbe}
		case 6:
			b = care.Shed{Stage: []care.ShedStage{care.Opaque, care.Cleared, care.ShedDone}[r.IntN(3)]}
		case 7:
			b = care.Sign{Code: signs[r.IntN(len(signs))].Code, Gone: r.IntN(3) == 0}
		case 8:
			p := care.SetupPoints()[r.IntN(len(care.SetupPoints()))]
			b = care.SetupCheck{Answers: []care.SetupAnswer{{Point: p.Code, Choice: p.Choices[r.IntN(len(p.Choices))].Code, Measure: care.Millimetres(r.IntN(3) * 12), Sizes: someSizes(r, p)}}}
		}
		by := care.KeeperActor
		if d < 0 {
			by = care.BreederOwner
		}
		log = append(log, care.Entry{ID: "e" + strconv.Itoa(i), By: by, HappenedAt: at(d), ReceivedAt: at(d), Body: b})
	}
	return s, log
}

// someSizes are sizes of a point as keepers may take them.
func someSizes(r *rand.Rand, p care.SetupPoint) map[string]float64 {
	sizes := map[string]float64{}
	for _, s := range p.Sizes {
		sizes[s.Code] = float64(r.IntN(4)) * 90
	}
	return sizes
}

func each(t *testing.T, n int, f func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry)) {
	t.Helper()
	for seed := range n {
		r := rand.New(rand.NewPCG(7, uint64(seed)))
		s, log := randomLog(r)
		f(t, r, s, log)
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
	}
}

func TestReasonsAddUp(t *testing.T) {
	t.Parallel()
	each(t, 400, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		a := Assess(s, log, at(110*r.Float64()))
		near(t, "sum of reasons", a.Total(), a.LogOdds, 1e-9)
		if !slices.IsSortedFunc(a.Reasons, func(x, y care.Reason) int {
			return int(math.Copysign(1, math.Abs(y.Weight)-math.Abs(x.Weight)))
		}) {
			t.Errorf("reasons are not in order: %+v", a.Reasons)
		}
		sum := 0.0
		for _, c := range a.Causes {
			sum += c.Share
		}
		if len(a.Causes) > 0 {
			near(t, "sum of causes", sum, 1, 1e-9)
		}
	})
}

// What an offer does to the log-odds: a refusal never lowers them, a meal never
// raises them, an excuse never makes a refusal weigh more.
func TestOffersPullOneWay(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		x, b := r.Float64(), r.Float64()
		f := feeding{n: 1 - r.Float64(), b: b, x: x, alpha: .01 + 20*r.Float64(), beta: .01 + 20*r.Float64()}
		f.normalise()
		excuse := 8 * r.Float64()
		before := f.logOdds()
		refused, excused, accepted, up := f, f, f, f
		refused.refused(excuse)
		excused.refused(excuse + 3*r.Float64())
		accepted.accepted(excuse)
		up.regurgitated()
		const eps = 1e-12
		switch {
		case refused.logOdds() < before-eps:
			t.Fatalf("a refusal lowers %+v by %g", f, before-refused.logOdds())
		case excused.logOdds() > refused.logOdds()+eps:
			t.Fatalf("an excuse makes a refusal weigh more: %+v", f)
		case accepted.logOdds() > before+eps:
			t.Fatalf("a meal raises %+v by %g", f, accepted.logOdds()-before)
		case up.logOdds() < before-eps:
			t.Fatalf("food brought up lowers %+v", f)
		}
	}
}

// The same through the whole engine: one more offer at the end of any log.
func TestOneMoreOffer(t *testing.T) {
	t.Parallel()
	each(t, 300, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		now := at(1 + 100*r.Float64())
		known := slices.DeleteFunc(slices.Clone(log), func(x care.Entry) bool { return x.HappenedAt.After(now) })
		before := Assess(s, known, now)
		o := care.Offer{Prey: []string{"", "rat", "mouse"}[r.IntN(3)], PreyMass: care.Grams(r.IntN(40))}
		after := func(result care.OfferResult) Assessment {
			o.Result = result
			return Assess(s, append(slices.Clip(known), care.Entry{ID: "one more", By: care.KeeperActor, HappenedAt: now, ReceivedAt: now, Body: o}), now)
		}
		const eps = 1e-9
		for _, result := range []care.OfferResult{care.Refused, care.Struck} {
			if a := after(result); a.LogOdds < before.LogOdds-eps || a.PRefusal < before.PRefusal-eps {
				t.Errorf("%s lowers the log-odds from %g to %g", result, before.LogOdds, a.LogOdds)
			}
		}
		if a := after(care.Eaten); a.LogOdds > before.LogOdds+eps || a.PRefusal > before.PRefusal+eps {
			t.Errorf("a meal raises the log-odds from %g to %g", before.LogOdds, a.LogOdds)
		}
	})
}

// And through the whole engine: shed and cold logged before a refusal.
func TestLoggedExcuseNeverRaisesARefusal(t *testing.T) {
	t.Parallel()
	delta := func(log ...care.Entry) float64 {
		s, worked := workedExample()
		log = append(worked[:14:14], log...)
		log = append(log, care.Entry{ID: "r", By: care.KeeperActor, HappenedAt: at(9), Body: care.Offer{Result: care.Refused, Prey: "rat"}})
		var e engine
		e.run(s, log, at(9.5), nil)
		last := e.contributions[len(e.contributions)-1]
		if last.id != "r" {
			t.Fatalf("the last contribution is %+v", last)
		}
		return last.delta
	}
	plain := delta()
	if plain <= 0 {
		t.Errorf("a refusal weighs %g", plain)
	}
	if shed := delta(care.Entry{By: care.KeeperActor, HappenedAt: at(7), Body: care.Shed{Stage: care.Opaque}}); shed >= plain {
		t.Errorf("in shed a refusal weighs %g, otherwise %g", shed, plain)
	}
	for below := care.Celsius(.5); below < 12; below++ { // °C below the optimum of 32
		warm := 32 - below
		c := care.Entry{ID: "c", By: care.KeeperActor, HappenedAt: at(9), Body: care.ClimateReading{Warm: &warm, TakenWith: care.WithProbe}}
		if cold := delta(c); cold > plain+1e-12 || below >= 2 && cold >= plain {
			t.Errorf("%.1f °C too cool a refusal weighs %g, otherwise %g", below, cold, plain)
		}
		// Days between the two let a little of what the cold made likelier flow
		// back to normal, 1 in 200 a day, which an excuse of nothing (up to 1.5 °C)
		// does not outweigh.
		c.HappenedAt = at(3)
		if cold := delta(c); cold > plain+1e-3 || below >= 2 && cold >= plain {
			t.Errorf("%.1f °C too cool for days a refusal weighs %g, otherwise %g", below, cold, plain)
		}
	}
	// It struck, it is about to shed by its own rhythm, the keeper offered too
	// much, or again too soon: each makes the same refusal weigh less.
	offer := func(d float64, o care.Offer) care.Entry {
		return care.Entry{ID: "r", By: care.KeeperActor, HappenedAt: at(d), Body: o}
	}
	last := func(log ...care.Entry) float64 {
		s, worked := workedExample()
		var e engine
		e.run(s, slices.SortedStableFunc(slices.Values(append(worked[:14:14], log...)), func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) }), at(9.5), nil)
		return e.contributions[len(e.contributions)-1].delta
	}
	if got := last(offer(9, care.Offer{Result: care.Struck, Prey: "rat"})); got >= plain {
		t.Errorf("struck weighs %g, otherwise %g", got, plain)
	}
	if got := last(offer(9, care.Offer{Result: care.Refused, Prey: "rat", PreyMass: 25})); got >= plain {
		t.Errorf("too large a meal weighs %g, otherwise %g", got, plain)
	}
	var sheds []care.Entry
	for _, d := range []float64{-65, -25} { // every 40 days, so the next on day 15
		sheds = append(sheds, care.Entry{ID: "s", By: care.BreederOwner, HappenedAt: at(d), Body: care.Shed{Stage: care.ShedDone}})
	}
	if got := last(append(sheds, offer(9, care.Offer{Result: care.Refused, Prey: "rat"}))...); got >= plain {
		t.Errorf("with a shed due a refusal weighs %g, otherwise %g", got, plain)
	}
	plainOffer := care.Offer{Result: care.Refused, Prey: "rat"}
	soon, late := last(offer(4.2, plainOffer), offer(9, plainOffer)), last(offer(3.8, plainOffer), offer(9, plainOffer))
	if soon > late-.1 {
		t.Errorf("less than five days after a refusal the next weighs %g, more than five days after it %g", soon, late)
	}

	other := care.Offer{Result: care.Refused, Prey: "mouse"}
	s, worked := workedExample()
	log := append(worked[:14:14], care.Entry{ID: "m", By: care.KeeperActor, HappenedAt: at(9), Body: other})
	var e engine
	e.run(s, log, at(9.5), nil)
	if got := e.contributions[len(e.contributions)-1].delta; got >= plain {
		t.Errorf("with other prey a refusal weighs %g, otherwise %g", got, plain)
	}
}

func TestWeightsOfADayInAnyOrder(t *testing.T) {
	t.Parallel()
	each(t, 100, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		day := 5 + float64(r.IntN(60))
		masses := []float64{90, 91, 86, 140, 55}[:2+r.IntN(4)]
		var first *engine
		for range 4 {
			r.Shuffle(len(masses), func(i, j int) { masses[i], masses[j] = masses[j], masses[i] })
			var mixed []care.Entry
			for _, e := range log {
				if e.HappenedAt.Before(at(day)) {
					mixed = append(mixed, e)
				}
			}
			for i, m := range masses {
				mixed = append(mixed, care.Entry{ID: "w", By: care.KeeperActor, HappenedAt: at(day + .1 + .1*float64(i)), Body: care.WeighIn{Mass: care.Grams(m)}})
			}
			e := &engine{}
			e.run(s, mixed, at(day+20), nil)
			if first == nil {
				first = e
				continue
			}
			near(t, "mass", e.weight.x, first.weight.x, 1e-9)
			near(t, "loss", e.weight.s, first.weight.s, 1e-9)
			near(t, "variance", e.weight.p[0][0], first.weight.p[0][0], 1e-9)
			near(t, "log-odds", e.logOdds(), first.logOdds(), 1e-9)
		}
	})
}

// The answer at an instant depends on nothing after it, nor on what was
// corrected or withdrawn.
func TestNoLookAhead(t *testing.T) {
	t.Parallel()
	each(t, 200, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		now := at(100 * r.Float64())
		var known []care.Entry
		for _, e := range log {
			if !e.HappenedAt.After(now) {
				known = append(known, e)
			}
		}
		want := Assess(s, known, now)
		if got := Assess(s, log, now); !reflect.DeepEqual(got, want) {
			t.Errorf("knows the future:\n%+v\n%+v", got, want)
		}
		ghosts := slices.Clone(known)
		for i := range 5 {
			g := care.Entry{ID: "g" + strconv.Itoa(i), By: care.KeeperActor, HappenedAt: at(100 * r.Float64()), ReplacedBy: "x", Body: care.WeighIn{Mass: 900}}
			if !g.HappenedAt.After(now) {
				ghosts = append(ghosts, g, care.Entry{ID: "w", HappenedAt: g.HappenedAt, Body: care.Withdrawal{}})
			}
		}
		slices.SortStableFunc(ghosts, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
		if got := Assess(s, ghosts, now); !reflect.DeepEqual(got, want) {
			t.Errorf("counts what was taken back:\n%+v\n%+v", got, want)
		}
	})
}

// Time alone changes nothing before DueAt; and the last day of the course is
// the assessment.
func TestDueAndCourse(t *testing.T) {
	t.Parallel()
	each(t, 200, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		now := at(100 * r.Float64())
		var known []care.Entry
		for _, e := range log {
			if !e.HappenedAt.After(now) {
				known = append(known, e)
			}
		}
		a, c := AssessCourse(s, known, now)
		if !a.DueAt.After(now) || a.DueAt.Sub(now) > day {
			t.Errorf("due at %v, now %v", a.DueAt, now)
		}
		b := Assess(s, known, a.DueAt.Add(-time.Millisecond))
		b.At = a.At
		if !reflect.DeepEqual(a, b) {
			t.Errorf("time alone changed it before it was due:\n%+v\n%+v", a, b)
		}
		last := c.Days[len(c.Days)-1]
		if last.Standing != a.Standing || last.Day != a.Day || last.LogOdds != a.LogOdds || len(c.Days) != a.Day+1 {
			t.Errorf("the course ends with %+v, the assessment is %+v", last, a)
		}
		level := c.Days[0].Standing
		for _, ch := range c.Changes[1:] {
			if ch.From != level || ch.To == level {
				t.Errorf("change %+v from %v", ch, level)
			}
			level = ch.To
		}
		if level != a.Standing {
			t.Errorf("the changes end at %v, not %v", level, a.Standing)
		}
	})
}

// To need help is to have stopped eating.
func TestOffFeedHoldsTheRefusal(t *testing.T) {
	t.Parallel()
	each(t, 200, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		if a := Assess(s, log, at(110*r.Float64())); a.POffFeed < a.PRefusal || a.POffFeed > 1 {
			t.Errorf("stopped eating %g, lasting refusal %g", a.POffFeed, a.PRefusal)
		}
	})
}

// A standing is the highest level of the concerns behind it.
func TestStandingHasAConcern(t *testing.T) {
	t.Parallel()
	each(t, 400, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		a := Assess(s, log, at(110*r.Float64()))
		highest := care.Settled
		for _, c := range a.Concerns {
			highest = max(highest, c.Level)
		}
		if highest != a.Standing {
			t.Errorf("standing %v, concerns %+v", a.Standing, a.Concerns)
		}
		if len(a.Steps) == 0 || a.KeeperDo.String() == "" {
			t.Error("nothing to do")
		}
	})
}

// Up at once; down only after three days well below and with news.
func TestLadder(t *testing.T) {
	t.Parallel()
	var l ladder
	thresholds, _ := ladders(&care.Thresholds{})
	steps := []struct {
		score        float64
		observations int
		want         int
	}{
		{-3, 0, 0}, {-1.8, 1, levelWatch}, {-.3, 2, levelAct}, {-1.3, 2, levelAct}, {-1.5, 2, levelAct}, {-1.5, 2, levelAct}, {-1.5, 2, levelAct},
		{-1.5, 2, levelAct},             // low for long, but nothing new
		{-1.5, 3, levelWatch},           // news
		{-2.7, 3, levelWatch},           // inside the deadband
		{-3, 4, levelWatch},             // one
		{-3, 4, levelWatch}, {-3, 4, 0}, // three days, and what brought it down was new
		{math.NaN(), 5, 0},
	}
	for i, s := range steps {
		l.look(s.score, thresholds[:], s.observations)
		if l.level != s.want {
			t.Fatalf("step %d (%v): level %d, want %d", i, s, l.level, s.want)
		}
	}
}

// A weight that cannot be right moves the estimate little: the filter's weight
// of an outlier is at least .05 and falls with the square of its distance.
func TestOutlierIsHeldOff(t *testing.T) {
	t.Parallel()
	s, log := workedExample()
	log = append(log[:14:14], care.Entry{ID: "o", By: care.KeeperActor, HappenedAt: at(10), Body: care.WeighIn{Mass: 150}})
	a := Assess(s, log, at(11))
	if a.LossPct < -20 {
		t.Errorf("one weight of 150 g after 91 g reads as a gain of %.0f %%", -a.LossPct)
	}
}

func TestTablesHoldTogether(t *testing.T) {
	t.Parallel()
	if math.Abs(likeFast+eatsFast-1) > 1e-12 {
		t.Errorf("who does not eat may refuse or eat: %v and %v", likeFast, eatsFast)
	}
	if tenth != .1 {
		t.Errorf("the texts say a tenth, the tables %v", tenth)
	}
	if len(seasonExcuse) != int(snake.Adult)+1 || !(alarmFrom[0] <= alarmFrom[1] && alarmFrom[1] <= alarmFrom[2]) || regurgitatedOnce > regurgitatedDays || forgotten > oldNews {
		t.Error("rows do not fit each other")
	}
	seen := map[string]bool{}
	for i, s := range Signs() {
		if seen[s.Code] || s.Label == "" || s.DoNow == "" || s.Source == "" || s.Level == care.Settled {
			t.Errorf("sign %+v", s)
		}
		seen[s.Code] = true
		if i > 0 && (s.Level > signs[i-1].Level || s.Soon < signs[i-1].Soon) {
			t.Errorf("%s is out of order", s.Code)
		}
		// How soon goes with the level, and what to do says it and who.
		switch fits := map[Soon]care.Standing{Now: care.Vet, Today: care.Vet, DayOrTwo: care.StepIn, FewDays: care.StepIn, IfItStays: care.Watch}; {
		case fits[s.Soon] != s.Level:
			t.Errorf("%s: %v, and a vet should hear of it %s", s.Code, s.Level, s.Soon)
		case s.Level == care.Vet && !strings.Contains(s.DoNow, "call a reptile vet "+s.Soon.String()) && !strings.HasPrefix(s.DoNow, "Call a reptile vet "+s.Soon.String()):
			t.Errorf("%s is to be seen %s, and says %q", s.Code, s.Soon, s.DoNow)
		case s.Level == care.StepIn && !strings.Contains(s.DoNow, "vet") && !strings.Contains(s.DoNow, "breeder"):
			t.Errorf("%s asks nobody: %q", s.Code, s.DoNow)
		}
		// Never a diagnosis or a dose.
		for _, word := range []string{"infection", "pneumonia", "parasite", "fungus", "septic", "disease", " mg", " ml", "antibiotic", "ointment", "dose"} {
			if strings.Contains(strings.ToLower(s.Label+" "+s.DoNow), word) {
				t.Errorf("%s speaks of %q", s.Code, word)
			}
		}
	}
	// Every hazard that the checklist knows has a risk of its own, and the other
	// way round.
	known := map[string]bool{}
	for _, p := range care.SetupPoints() {
		for _, c := range p.Choices {
			key := p.Code + "/" + c.Code
			known[key], known[key+"/wobble"] = true, true
			if _, ok := hazardRisks[key]; c.Verdict == care.Hazard && !ok {
				t.Errorf("%s has no risk", key)
			}
		}
	}
	for key := range hazardRisks {
		if !known[key] && key != "default" && key != "heavy_things/tips" {
			t.Errorf("%s is not on the checklist", key)
		}
	}
	for key := range heaterRisks {
		answer, heater, ok := strings.Cut(key, "@")
		if !ok || !known[answer] || !known["heaters/"+heater] {
			t.Errorf("%s is not on the checklist", key)
		}
	}
	// The more of what a heater needs is missing, the worse.
	for _, worse := range [][2]string{
		{"heater_thermostat/none_on@mat_inside", "heater_thermostat/none_on@under_floor"},
		{"heater_thermostat/none_on@under_floor", "heater_thermostat/loose_sensor@under_floor"},
		{"heater_thermostat/none_on@overhead_inside", "heater_thermostat/none_on@overhead_outside"},
		{"heater_thermostat/loose_sensor@mat_inside", "heater_thermostat/loose_sensor@overhead_inside"},
		{"power_near_water/reachable@mat_inside", "power_near_water/no_switch@mat_inside"},
		{"power_near_water/damaged@mat_inside", "power_near_water/reachable@mat_inside"},
	} {
		if heaterRisks[worse[0]].loss() <= heaterRisks[worse[1]].loss() {
			t.Errorf("%s is not worse than %s", worse[0], worse[1])
		}
	}
	for _, key := range []string{"power_near_water/reachable", "power_near_water/damaged", "power_near_water/no_switch"} {
		if heaterRisks[key+"@mat_inside"].loss() <= hazardRisks[key].loss() {
			t.Errorf("%s: water is no worse with a heater inside", key)
		}
	}
}

// A cold warm side is spoken of by how it was measured.
func TestWeakInstruments(t *testing.T) {
	t.Parallel()
	warm := func(c care.Celsius, with care.TakenWith) care.Standing {
		s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0}
		log := []care.Entry{{ID: "c", By: care.KeeperActor, HappenedAt: at(1), Body: care.ClimateReading{Warm: &c, TakenWith: with}}}
		return Assess(s, log, at(1.5)).Standing
	}
	for _, c := range []struct {
		temperature care.Celsius
		with        care.TakenWith
		want        care.Standing
	}{
		{28, care.WithProbe, care.Settled}, {27.5, care.WithProbe, care.Watch}, {24.9, care.WithProbe, care.StepIn},
		{27.5, care.WithDial, care.Settled}, {25.5, care.WithDial, care.Watch},
		{36, care.WithProbe, care.Settled}, {36.5, care.WithProbe, care.StepIn}, {37.5, care.WithStrip, care.Settled}, {39, care.WithStrip, care.StepIn},
	} {
		if got := warm(c.temperature, c.with); got != c.want {
			t.Errorf("%.1f °C by %s: %v, want %v", c.temperature, c.with, got, c.want)
		}
	}
}

// FuzzAssess feeds logs of arbitrary numbers: whatever comes in, the answer is
// finite and can be stored.
func FuzzAssess(f *testing.F) {
	f.Add([]byte{0, 1, 2, 3, 200, 100, 50, 25, 12, 6, 3, 1, 9, 9, 9, 255}, 100.0, 30.0)
	f.Add([]byte{1, 255, 255, 1, 0, 0}, math.Inf(1), -5.0)
	f.Add([]byte{3, 7, 7, 3, 9, 9, 2, 250, 250, 0, 10, 10}, math.NaN(), 400.0)
	f.Fuzz(func(t *testing.T, data []byte, value, until float64) {
		if math.IsNaN(until) || math.Abs(until) > 1000 {
			until = 90
		}
		s := &Subject{HandedOverAt: d0, Animal: care.Animal{Species: []string{"python_regius", "", "boa_imperator"}[len(data)%3], Genes: []string{"spider"}},
			Learned: care.Learned{Mean: value, Strength: value}}
		var log []care.Entry
		for ; len(data) >= 3; data = data[3:] {
			v := value * float64(data[2]) / 100
			c, p := care.Celsius(v), care.Percent(v)
			var b care.Body
			switch data[0] % 9 {
			case 0:
				b = care.Offer{Result: care.Eaten, PreyMass: care.Grams(v)}
			case 1:
				b = care.Offer{Result: care.Refused, PreyMass: care.Grams(-v)}
			case 2:
				b = care.Offer{Result: care.Regurgitated}
			case 3:
				b = care.WeighIn{Mass: care.Grams(v)}
			case 4:
				b = care.ClimateReading{Warm: &c, Surface: &c, Night: &c, Cool: &c, Humidity: &p}
			case 5:
				b = care.Shed{Stage: care.Opaque}
			case 6:
				b = care.Sign{Code: signs[int(data[2])%len(signs)].Code, Gone: data[2] > 127}
			case 7:
				pts := care.SetupPoints()
				b = care.SetupCheck{Answers: []care.SetupAnswer{{Point: pts[int(data[2])%len(pts)].Code, Choice: pts[int(data[2])%len(pts)].Choices[0].Code, Measure: care.Millimetres(v)}}}
			case 8:
				b = care.StepAgreed{Code: StepInPeace, HoldsDays: int(data[2])}
			}
			log = append(log, care.Entry{ID: strconv.Itoa(len(log)), By: care.KeeperActor, HappenedAt: at(float64(data[1]) - 60), Body: b})
		}
		slices.SortStableFunc(log, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
		a, c := AssessCourse(s, log, at(until))
		if _, err := json.Marshal(a); err != nil { // fails on NaN and infinities
			t.Fatalf("%v: %+v", err, a)
		}
		if _, err := json.Marshal(c.Days[len(c.Days)-1]); err != nil {
			t.Fatalf("%v: %+v", err, c.Days[len(c.Days)-1])
		}
		if a.Urgency < 0 || a.Urgency > 1 || a.PRefusal < 0 || a.PRefusal > 1 {
			t.Fatalf("out of range: %+v", a)
		}
	})
}

// BenchmarkCaseDay is the cost of one day of one case, everything included; the
// limit is 10 µs.
func BenchmarkCaseDay(b *testing.B) {
	const days, limit = 180, 10e3 // ns
	s, log := benchCase(days)
	b.ReportAllocs()
	for b.Loop() {
		Assess(s, log, at(days))
	}
	perDay := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / (days + 1)
	b.ReportMetric(perDay, "ns/case-day")
	b.ReportMetric(perDay/limit, "limit-ratio") // below 1
}

// benchCase is a usual case: weekly offers and weights, the climate every month,
// one setup check.
func benchCase(days int) (*Subject, []care.Entry) {
	s, worked := workedExample()
	log := worked[:14:14]
	warm := care.Celsius(31)
	for d := 1; d < days; d++ {
		add := func(hour float64, body care.Body) {
			log = append(log, care.Entry{ID: "b" + strconv.Itoa(len(log)), By: care.KeeperActor, HappenedAt: at(float64(d) + hour/24), Body: body})
		}
		if d == 2 {
			add(1, care.SetupCheck{Answers: []care.SetupAnswer{{Point: "hides", Choice: "one"}, {Point: "decor_openings", Choice: "about_body", Measure: 16}}})
		}
		if d%30 == 1 {
			add(2, care.ClimateReading{Warm: &warm, TakenWith: care.WithProbe})
		}
		if d%7 == 0 {
			add(3, care.WeighIn{Mass: care.Grams(91 - .1*float64(d))})
		}
		if d%7 == 0 {
			r := care.Refused
			if d%21 == 0 {
				r = care.Eaten
			}
			add(4, care.Offer{Result: r, Prey: "rat", PreyMass: 10})
		}
	}
	return s, log
}
