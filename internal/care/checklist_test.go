package care

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/internal/snake"
	"warmhand/internal/words"
)

var handedOver = time.Date(2027, 3, 6, 15, 0, 0, 0, time.UTC)

func item(t *testing.T, list []ChecklistItem, point string) ChecklistItem {
	t.Helper()
	i := slices.IndexFunc(list, func(it ChecklistItem) bool { return it.Point == point })
	if i < 0 {
		t.Fatalf("no item for %s", point)
	}
	return list[i]
}

func TestSetupPointsComplete(t *testing.T) {
	t.Parallel()
	code := regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`)
	points := SetupPoints()
	if len(points) < 18 || len(points) > 22 {
		t.Errorf("%d points", len(points))
	}
	seen := map[string]bool{}
	for _, p := range points {
		if !code.MatchString(p.Code) || seen[p.Code] {
			t.Errorf("code %q is malformed or there twice", p.Code)
		}
		seen[p.Code] = true
		if got, ok := Point(p.Code); !ok || got.Title != p.Title {
			t.Errorf("Point(%q) finds %q", p.Code, got.Title)
		}
		for what, text := range map[string]string{"title": p.Title, "why": p.Why, "look": p.Look, "fix": p.Fix, "source": p.Source} {
			if strings.TrimSpace(text) == "" || strings.ContainsAny(text, "!—") || strings.Contains(text, "  ") {
				t.Errorf("%s: %s is empty or not in our style: %q", p.Code, what, text)
			}
		}
		if strings.Count(p.Why, ".") != 1 || !strings.HasSuffix(p.Why, ".") {
			t.Errorf("%s: why is not one sentence: %q", p.Code, p.Why)
		}
		if n := len(p.Choices); n < 3 || n > 7 {
			t.Errorf("%s: %d choices", p.Code, n)
		}
		codes, labels, verdicts := map[string]bool{}, map[string]bool{}, map[Verdict]bool{}
		for _, c := range p.Choices {
			if !code.MatchString(c.Code) || c.Label == "" || codes[c.Code] || labels[c.Label] {
				t.Errorf("%s: choice %q %q is malformed or there twice", p.Code, c.Code, c.Label)
			}
			codes[c.Code], labels[c.Label], verdicts[c.Verdict] = true, true, true
			if c.Code == NotSure && c.Verdict != Unsure {
				t.Errorf("%s: not sure means %s", p.Code, c.Verdict)
			}
		}
		for _, shot := range p.Shots {
			if strings.ContainsAny(shot, "!—.") || p.Measure == MeasureOpening && !strings.Contains(shot, "card") {
				t.Errorf("%s: shot %q", p.Code, shot)
			}
		}
		sizes := map[string]bool{}
		for _, z := range p.Sizes {
			if !code.MatchString(z.Code) || !strings.HasSuffix(z.Code, "_"+z.Unit) || sizes[z.Code] || z.Label == "" || z.Hint == "" || z.Unit != "mm" && z.Unit != "g" {
				t.Errorf("%s: size %+v is malformed or there twice", p.Code, z)
			}
			sizes[z.Code] = true
		}
		if !codes[NotSure] || !verdicts[Hazard] || !verdicts[Fine] {
			t.Errorf("%s: needs a way to say fine, hazard and not sure", p.Code)
		}
	}
	if _, ok := Point("no_such_point"); ok {
		t.Error("found a point that is not there")
	}
	points[0].Code = "changed"
	if SetupPoints()[0].Code == "changed" {
		t.Error("SetupPoints hands out the list itself")
	}
}

func TestChecklistBounds(t *testing.T) {
	t.Parallel()
	species := append(snake.All(), snake.Species{ID: "python_anchietae"})
	for _, s := range species {
		var last []ChecklistItem
		for mass := Grams(2); mass < 30000; mass *= 1.15 {
			list := MakeChecklist(&Animal{Species: s.ID}, mass, handedOver)
			if len(list) != len(setupPoints) {
				t.Fatalf("%s: %d items", s.ID, len(list))
			}
			for i, it := range list {
				p := setupPoints[i]
				if it.Point != p.Code {
					t.Fatalf("item %d is %s, not %s", i, it.Point, p.Code)
				}
				if (it.ShutBelow > 0 || it.PassAbove > 0) != (p.Measure == MeasureOpening || p.Measure == MeasureGap) ||
					it.MaxDepth > 0 != (p.Measure == MeasureDepth) || it.MaxHeight > 0 && p.Measure != MeasureHeight {
					t.Fatalf("%s: limits %+v do not fit what is measured (%s)", s.ID, it, p.Measure)
				}
				if p.Measure == MeasureOpening && it.PassAbove < it.ShutBelow+1 {
					t.Fatalf("%s %g g: no unsafe band in %+v", s.ID, mass, it)
				}
				if last != nil && (it.ShutBelow < last[i].ShutBelow || it.PassAbove < last[i].PassAbove || it.MaxDepth < last[i].MaxDepth) {
					t.Fatalf("%s %g g: a bigger body got tighter limits: %+v after %+v", s.ID, mass, it, last[i])
				}
			}
			hole, tube := item(t, list, "decor_openings"), item(t, list, "tubes")
			if tube.PassAbove < hole.PassAbove {
				t.Fatalf("%s: a tube may be narrower than a hole", s.ID)
			}
			// Outside the bounds an exact measurement leaves less than one in twenty-five.
			d := snake.BodyDiameter(mustSpecies(s.ID), mustSpecies(s.ID).Age(nil, float64(mass), handedOver), float64(mass), 0)
			for _, w := range []Millimetres{hole.ShutBelow, hole.PassAbove} {
				if p := snake.WedgeProbability(float64(w), 0, d, 0); p > .04 {
					t.Fatalf("%s %g g: %g mm is said to be safe, but wedges with %g", s.ID, mass, w, p)
				}
			}
			last = list
		}
	}
}

func mustSpecies(id string) *snake.Species { s, _ := snake.ByID(id); return &s }

func TestChecklistWobble(t *testing.T) {
	t.Parallel()
	for _, mass := range []Grams{0, 15, 60, 91, 400, 1500, 20000} {
		for _, id := range []string{"python_regius", "morelia_spilota", "pantherophis_guttatus"} {
			plain := MakeChecklist(&Animal{Species: id, Genes: []string{"pastel"}}, mass, handedOver)
			for _, gene := range []string{"spider", "Bumblebee", "HGW", "jaguar"} {
				wobble := MakeChecklist(&Animal{Species: id, Genes: []string{"pastel", gene}}, mass, handedOver)
				p, w := item(t, plain, "water_depth"), item(t, wobble, "water_depth")
				if w.MaxDepth <= 0 || p.MaxDepth > 0 && w.MaxDepth >= p.MaxDepth || w.MaxDepth > 30 {
					t.Errorf("%s %g g %s: water up to %g mm, without the gene %g mm", id, mass, gene, w.MaxDepth, p.MaxDepth)
				}
				if !strings.Contains(w.ForThisAnimal.String(), "shallow") || strings.Contains(p.ForThisAnimal.String(), "wobble") {
					t.Errorf("sentences: %q and %q", w.ForThisAnimal, p.ForThisAnimal)
				}
				p, w = item(t, plain, "climb_height"), item(t, wobble, "climb_height")
				if w.MaxHeight <= 0 || p.MaxHeight > 0 && w.MaxHeight >= p.MaxHeight {
					t.Errorf("%s %s: climbs up to %g mm, without the gene %g mm", id, gene, w.MaxHeight, p.MaxHeight)
				}
			}
		}
	}
	// What is only trade knowledge is not said to be known.
	known := item(t, MakeChecklist(&Animal{Species: "python_regius", Genes: []string{"spider"}}, 91, handedOver), "water_depth").ForThisAnimal
	said := item(t, MakeChecklist(&Animal{Species: "python_regius", Genes: []string{"champagne"}}, 91, handedOver), "water_depth").ForThisAnimal
	if !strings.Contains(known.String(), "is known") || strings.Contains(said.String(), "is known") || !strings.Contains(said.String(), "reported by breeders") {
		t.Errorf("%q\n%q", known, said)
	}
}

// Keepers' rules, common practice, no source: a hatchling's water 2 to 3 cm
// deep; slits at most 3 to 6 mm for hatchlings, 10 to 12 mm for an adult ball
// python.
func TestChecklistAgainstKeepersRules(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		species  string
		mass     Grams
		slit     snake.Band
		depthMax Millimetres
	}{
		{"python_regius", 60, snake.Band{Low: 3, High: 6}, 30},
		{"pantherophis_guttatus", 7.5, snake.Band{Low: 3, High: 5}, 30},
		{"boa_imperator", 68, snake.Band{Low: 3, High: 6}, 30},
		{"python_regius", 1500, snake.Band{Low: 10, High: 12}, 100},
	} {
		list := MakeChecklist(&Animal{Species: c.species}, c.mass, handedOver)
		if s := item(t, list, "lid_gaps").ShutBelow; !c.slit.Has(float64(s)) {
			t.Errorf("%s %g g: slits under %g mm, keepers say %v", c.species, c.mass, s, c.slit)
		}
		if d := item(t, list, "water_depth").MaxDepth; d < 20 || d > c.depthMax {
			t.Errorf("%s %g g: water %g mm", c.species, c.mass, d)
		}
		if h := item(t, list, "climb_height").MaxHeight; h > 600 {
			t.Errorf("%s: a fall of %g mm is one to see a vet for", c.species, h)
		}
	}
}

func TestChecklistSentences(t *testing.T) {
	t.Parallel()
	list := MakeChecklist(&Animal{Species: "python_regius"}, 91, handedOver)
	for point, want := range map[string]string{
		"gradient":          "30 to 34 °C (86 to 93 °F) at the warm end",
		"heater_thermostat": "36 °C (97 °F)",
		"thermometers":      "55 to 80 %",
		"substrate":         "damp",
		"hides":             "small",
		"decor_openings":    "91 g, a hole from ",
	} {
		if got := item(t, list, point).ForThisAnimal.String(); !strings.Contains(got, want) {
			t.Errorf("%s: %q lacks %q", point, got, want)
		}
	}
	unknown := MakeChecklist(&Animal{Species: "python_anchietae"}, 0, handedOver)
	if got := item(t, unknown, "gradient").ForThisAnimal.String(); !strings.Contains(got, "ask your breeder") {
		t.Errorf("unlisted: %q", got)
	}
	if got := item(t, unknown, "decor_openings"); got.ShutBelow != 0 || got.PassAbove != 0 || !strings.Contains(got.ForThisAnimal.String(), "not weighed") {
		t.Errorf("not weighed: %+v", got)
	}
	for _, id := range []string{"python_regius", "pantherophis_guttatus", "python_anchietae"} {
		for _, mass := range []Grams{0, 9, 91, 2000} {
			for _, genes := range [][]string{nil, {"spider"}, {"woma"}} {
				a := &Animal{Species: id, Genes: genes}
				texts := append(Cautions(a), FeedSentence(a, nil, nil, handedOver))
				for _, it := range MakeChecklist(a, mass, handedOver) {
					texts = append(texts, it.ForThisAnimal)
				}
				for _, text := range words.English.All(texts) {
					if strings.ContainsAny(text, "!—") || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") ||
						strings.Contains(text, "  ") || strings.Contains(text, "%!") || text != "" && !strings.HasSuffix(strings.TrimSuffix(text, ")"), ".") {
						t.Errorf("%s %g g: %q", id, mass, text)
					}
				}
			}
		}
	}
}

// said are the cautions in English.
func said(a *Animal) []string { return words.English.All(Cautions(a)) }

func TestCautions(t *testing.T) {
	t.Parallel()
	ball := strings.Join(said(&Animal{Species: "python_regius"}), "\n")
	for _, want := range []string{"not a vet's advice", "licensed electrician", "Salmonella", "freezing does not kill", "under 5", "over 65", "CITES, Appendix II", "Local rules"} {
		if !strings.Contains(ball, want) {
			t.Errorf("lacks %q", want)
		}
	}
	// The ball python is not on the injurious list; the Burmese python is.
	if strings.Contains(ball, "50 CFR") || !strings.Contains(strings.Join(said(&Animal{Species: "python_bivittatus"}), "\n"), "50 CFR 16.15") {
		t.Error("injurious species")
	}
	if corn := strings.Join(said(&Animal{Species: "pantherophis_guttatus"}), "\n"); strings.Contains(corn, "CITES") {
		t.Error("corn snakes are not listed by CITES")
	}
	if !strings.Contains(strings.Join(said(&Animal{Species: "python_regius", Genes: []string{"Killer Bee"}}), "\n"), "spider") {
		t.Error("a wobble gene goes unmentioned")
	}
}

func offer(daysBefore float64, o Offer) Entry {
	return Entry{HappenedAt: handedOver.Add(-time.Duration(daysBefore * float64(day))), Body: o}
}

func TestFeedSentence(t *testing.T) {
	t.Parallel()
	rat := func(r OfferResult) Offer { return Offer{Result: r, Prey: "rat", PreyState: Thawed, PreyMass: 12} }
	weekly := []Entry{offer(3, rat(Eaten)), offer(10, rat(Refused)), offer(17, rat(Eaten)), offer(24, rat(Eaten)), offer(31, rat(Eaten))}
	weights := []Entry{{HappenedAt: handedOver.Add(-day), Body: WeighIn{Mass: 91}}, {HappenedAt: handedOver.Add(-20 * day), Body: WeighIn{Mass: 84}}}
	slip := offer(1, Offer{Result: Eaten, Prey: "mouse", PreyMass: 900})
	slip.ReplacedBy = "another"
	after := offer(-2, Offer{Result: Eaten, Prey: "chick"})
	for _, c := range []struct {
		name    string
		animal  Animal
		weights []Entry
		offers  []Entry
		want    []string
	}{
		{"from the log", Animal{Species: "python_regius"}, weights, append(weekly, slip, after),
			[]string{"It eats a thawed rat fuzzy of about 12 g, every 7 days.", "It ate 4 of its last 5 offers here.", "5 to 7 days", "on 13 March 2027"}},
		{"fed just before an adult's long interval", Animal{Species: "python_regius"}, []Entry{{HappenedAt: handedOver.Add(-day), Body: WeighIn{Mass: 1500}}},
			[]Entry{offer(1, Offer{Result: Eaten, Prey: "rat", PreyState: Thawed, PreyMass: 80})},
			[]string{"a thawed small rat of about 80 g, every 14 to 28 days.", "on 19 March 2027"}},
		{"never ate", Animal{Species: "python_regius"}, weights, []Entry{offer(2, rat(Refused))},
			[]string{"No meal is on record", "9.1 to 14 g, every 5 to 7 days", "on 13 March 2027"}},
		{"nothing known", Animal{Species: "python_regius"}, nil, nil,
			[]string{"No meal is on record", "offers is 7 to 14 days", "on 13 March 2027"}},
		{"brought up", Animal{Species: "python_regius"}, weights, append(weekly[:5:5], offer(1, Offer{Result: Regurgitated})),
			[]string{"brought up food on 5 March 2027", "half the usual size", "on 19 March 2027"}},
		{"ate again after bringing up", Animal{Species: "python_regius"}, weights, append(weekly[:5:5], offer(12, Offer{Result: Regurgitated})),
			[]string{"on 13 March 2027"}},
		{"live", Animal{Species: "python_regius"}, nil, []Entry{offer(3, Offer{Result: Eaten, Prey: "mouse", PreyState: Live, PreyMass: 25})},
			[]string{"a live adult mouse of about 25 g", "Never leave live prey alone"}},
		{"state unknown", Animal{Species: "python_regius"}, nil, []Entry{offer(3, Offer{Result: Eaten, Prey: "mouse", PreyMass: 25})},
			[]string{"It eats an adult mouse of about 25 g"}},
		{"prey unknown", Animal{Species: "python_regius"}, nil, []Entry{offer(3, Offer{Result: Eaten})}, []string{"It eats prey, every"}},
	} {
		got := FeedSentence(&c.animal, c.weights, c.offers, handedOver).String()
		for _, want := range c.want {
			if !strings.Contains(got, want) {
				t.Errorf("%s: %q lacks %q", c.name, got, want)
			}
		}
		if c.name == "ate again after bringing up" && strings.Contains(got, "brought up") {
			t.Errorf("%s: %q", c.name, got)
		}
	}
	// The order of the entries does not matter.
	turned := slices.Clone(weekly)
	slices.Reverse(turned)
	a := Animal{Species: "python_regius"}
	if x, y := FeedSentence(&a, weights, weekly, handedOver).String(), FeedSentence(&a, weights, turned, handedOver).String(); x != y {
		t.Errorf("%q\n%q", x, y)
	}
}

func TestUsualGap(t *testing.T) {
	t.Parallel()
	log := func(days ...float64) (out []Entry) {
		for _, d := range days {
			out = append(out, offer(d, Offer{Result: Refused}))
		}
		return out
	}
	for _, c := range []struct {
		log  []Entry
		want float64
	}{
		{log(30, 23, 16), 0},          // two gaps are too few
		{log(30, 23, 16, 9), 7},       //
		{log(30, 23, 16, 15.9, 9), 7}, // a second try the same evening is not a gap
		{log(60, 23, 16, 9), 7},       // one long pause does not move the median
		{nil, 0},
	} {
		if got := usualGap(c.log); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%d offers: %g, want %g", len(c.log), got, c.want)
		}
	}
}
