package assess

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// recordOf is the record that a breeder would issue of a subject with this log.
func recordOf(s *Subject, log []care.Entry) *care.Record {
	r := &care.Record{Animal: s.Animal, Breeder: "Warm Burrow", Contact: "01 234 567", IssuedAt: s.HandedOverAt}
	for _, e := range log {
		if e.HappenedAt.After(s.HandedOverAt) {
			break
		}
		switch e.Body.(type) {
		case care.WeighIn:
			r.Weights = append(r.Weights, e)
		case care.Offer:
			r.Offers = append(r.Offers, e)
		}
	}
	r.FeedNext = care.FeedSentence(&r.Animal, r.Weights, r.Offers, r.IssuedAt)
	return r
}

func pageNamed(t *testing.T, g *Guide, code string) (text string) {
	t.Helper()
	for _, p := range g.Pages {
		if p.Code != code {
			continue
		}
		lines := []string{p.Title.String(), p.Now.String()}
		for _, part := range p.Parts {
			lines = append(append(lines, part.Title.String()), strings.ReplaceAll(strings.Join(words.English.All(part.Points), "\n"), "\u00a0", " "))
		}
		return strings.Join(lines, "\n")
	}
	t.Fatalf("no page %q", code)
	return ""
}

var sentenceEnd = regexp.MustCompile(`[.:;?]["”)]?\s|\n`)

// readable finds what a thirteen-year-old could not read at one go: long
// sentences, and text that a mistake left behind.
func readable(t *testing.T, g *Guide) {
	t.Helper()
	words, ends := 0, 0
	for _, p := range g.Pages {
		text := pageNamed(t, g, p.Code)
		for _, s := range sentenceEnd.Split(text, -1) {
			n := len(strings.Fields(s))
			if n > 30 {
				t.Errorf("%s: %d words in a row: %q", p.Code, n, s)
			}
			if n > 0 {
				words, ends = words+n, ends+1
			}
		}
		if strings.ContainsAny(text, "!") || strings.Contains(text, "%!") || strings.Contains(text, "NaN") || strings.Contains(text, " 0 g") || strings.Contains(text, "  ") {
			t.Errorf("%s: %q", p.Code, text)
		}
		for _, part := range p.Parts {
			if part.Title.String() == "" || part.Source == "" || len(part.Points) == 0 {
				t.Errorf("%s: a part without title, source or points: %+v", p.Code, part)
			}
		}
	}
	if mean := float64(words) / float64(ends); mean > 12 {
		t.Errorf("%.1f words to a sentence", mean)
	}
}

// Every kind of snake at every size has every page, and none names numbers
// that its table does not have.
func TestGuideForAll(t *testing.T) {
	t.Parallel()
	kinds := append(snake.All(), snake.Species{ID: "boiga_dendrophila", HatchMass: 30, AdultMass: 900})
	for _, sp := range kinds {
		for _, mass := range []float64{0, sp.HatchMass, (sp.HatchMass + sp.AdultMass) / 2, 1.2 * sp.AdultMass} {
			for _, genes := range [][]string{nil, {"spider"}} {
				s := &Subject{Animal: care.Animal{Species: sp.ID, Genes: genes}, HandedOverAt: d0}
				var log []care.Entry
				if mass > 0 {
					log = []care.Entry{{ID: "w", By: care.BreederOwner, HappenedAt: at(-1), Body: care.WeighIn{Mass: care.Grams(mass)}}}
				}
				g := MakeGuide(s, recordOf(s, log), log, at(3), time.UTC)
				if len(g.Pages) != 7 || g.Now != PageFirstDays {
					t.Fatalf("%s, %v g: %d pages, now %q", sp.ID, mass, len(g.Pages), g.Now)
				}
				readable(t, &g)
				if t.Failed() {
					t.Fatalf("so it is for %s of %v g with %v", sp.ID, mass, genes)
				}
			}
		}
	}
}

// The numbers of a page are those by which the assessment judges: the same
// sentences as the checklist's, the species' own band, the weight at which it
// speaks of a vet.
func TestGuideNumbers(t *testing.T) {
	t.Parallel()
	guide := func(species string, mass float64) (*Guide, *Subject) {
		s := &Subject{Animal: care.Animal{Species: species}, HandedOverAt: d0}
		log := []care.Entry{{ID: "w", By: care.BreederOwner, HappenedAt: at(-1), Body: care.WeighIn{Mass: care.Grams(mass)}}}
		g := MakeGuide(s, recordOf(s, log), log, at(20), time.UTC)
		return &g, s
	}
	g, s := guide("python_regius", 60)
	openings := pageNamed(t, g, PageOpenings)
	for _, it := range care.MakeChecklist(&s.Animal, 60, at(20)) {
		if (it.Point == "decor_openings" || it.Point == "lid_gaps" || it.Point == "tubes") && !strings.Contains(openings, words.Say(it.ForThisAnimal.String()).Within().String()) {
			t.Errorf("%s is not said: %q", it.Point, it.ForThisAnimal)
		}
	}
	// Zürcher Tierschutz and Austrian law: a hot spot of at most 35 °C and about 33;
	// the table's band is 30 to 34 °C (86 to 93 °F).
	if heat := pageNamed(t, g, PageHeat); !strings.Contains(heat, "Warm end: 30 to 34 °C (86 to 93 °F).") {
		t.Errorf("warmth of a ball python:\n%s", heat)
	}
	// McCue 2007, Zoology 110:318: subadult ball pythons lost 18.3 % in 168 days,
	// which is 3.3 to 3.5 % in 30. The table is a little above for subadults: .0015 a day, 4.5 %.
	grown, _ := guide("python_regius", 500)
	if eat := pageNamed(t, grown, PageNotEating); !strings.Contains(eat, "At 500 g it usually loses about 22 g in a month") || !strings.Contains(eat, "less than 450 g. It weighed 500 g") {
		t.Errorf("a fast of a subadult:\n%s", eat)
	}
	corn, _ := guide("pantherophis_guttatus", 60)
	for _, code := range []string{PageHeat, PageOpenings, PageShed} {
		if pageNamed(t, corn, code) == pageNamed(t, g, code) {
			t.Errorf("%s says the same of two species", code)
		}
	}
	unknown, _ := guide("boiga_dendrophila", 60)
	if heat := pageNamed(t, unknown, PageHeat); !strings.Contains(heat, "Ask your breeder how warm") || strings.Contains(heat, "Warm end:") {
		t.Errorf("a species without a table:\n%s", heat)
	}
	// The wobble's shallow water and its like stand in the checklist; the caution on
	// electricity is the record's own.
	if heat := pageNamed(t, g, PageHeat); !strings.Contains(strings.ReplaceAll(heat, "\n", " "), care.ElectricCaution) {
		t.Error("the electrician is missing")
	}
}

// The steps against a fast name the days that are left of the wait, as the
// line above them does.
func TestGuideWaits(t *testing.T) {
	t.Parallel()
	s := &Subject{Animal: care.Animal{Species: "python_regius"}, HandedOverAt: d0}
	offer := func(day float64, result care.OfferResult) care.Entry {
		return care.Entry{ID: fmt.Sprint(day), By: care.KeeperActor, HappenedAt: at(day), Body: care.Offer{Prey: "mouse", PreyMass: 12, Result: result}}
	}
	refused := []care.Entry{offer(10, care.Refused)}
	for _, c := range []struct {
		name  string
		log   []care.Entry
		day   float64
		alone string
		now   string
	}{
		{"refused two days ago", refused, 12, "Leave it alone for another 5 days. No", "Offer food again in 5 days, not before."},
		{"refused six days ago", refused, 16, "Leave it alone until tomorrow. No", "Offer food again tomorrow, not before."},
		{"refused eight days ago", refused, 18, "It has had its rest. Leave it alone until the evening. No", ""},
		{"just come", nil, 3, "Leave it alone for another 4 days. No", ""},
		{"ate", []care.Entry{offer(10, care.Eaten)}, 12, "Leave it alone for 7 days. No", ""},
	} {
		g := MakeGuide(s, recordOf(s, nil), c.log, at(c.day), time.UTC)
		page := pageNamed(t, &g, PageNotEating)
		if !strings.Contains(page, c.alone) || strings.Contains(page, "Offer food again") != (c.now != "") || !strings.Contains(page, c.now) {
			t.Errorf("%s:\n%s", c.name, page)
		}
	}
}

// Which page is offered at one of a scenario's looks.
func TestGuidePageNow(t *testing.T) {
	t.Parallel()
	want := map[string]string{
		"wheeze": PageVet, "regurgitated-twice": PageVet, "wedge-opening": PageOpenings, "way-out": PageOpenings,
		"outgrown-opening": PageOpenings, "heater-without-thermostat": PageHeat, "heater-inside": PageHeat, "burning-surface": PageHeat,
		"cold-hatchling": PageHeat, "one-temperature": PageHeat, "blue-phase": PageShed, "settled-eater": "", "doing-well": "",
		"losing-fast": PageVet, "ended": "",
	}
	for _, name := range scenarios(t) {
		short := strings.TrimSuffix(filepath.Base(name), ".jsonl")
		t.Run(short, func(t *testing.T) {
			t.Parallel()
			s := readScenario(t, name)
			var seen []string
			for _, l := range s.looks {
				g := MakeGuide(&s.subject, recordOf(&s.subject, s.log), s.log, s.at(l.Day), time.UTC)
				readable(t, &g)
				seen = append(seen, fmt.Sprintf("day %v: %q", l.Day, g.Now))
				if g.Now != "" {
					for _, p := range g.Pages {
						if p.Code == g.Now && p.Now.String() == "" {
							t.Errorf("day %v: page %q is offered and says nothing of this animal", l.Day, g.Now)
						}
					}
				}
			}
			if page, ok := want[short]; ok && !strings.Contains(strings.Join(seen, "\n"), fmt.Sprintf("%q", page)) {
				t.Errorf("never %q: %v", page, seen)
			}
		})
	}
}

// Whatever is suggested has a name by which it stands in the log once it is agreed on.
func TestStepNames(t *testing.T) {
	t.Parallel()
	codes := []string{"remeasure:tubes"}
	for _, p := range care.SetupPoints() {
		codes = append(codes, "fix:"+p.Code)
	}
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, "words.go", nil, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok && strings.HasPrefix(v.Names[0].Name, "Step") && len(v.Values) == 1 {
			code, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			codes = append(codes, code)
		}
		return true
	})
	if len(codes) < 30 {
		t.Fatalf("only %v: where are the steps?", codes)
	}
	for _, code := range codes {
		if name := StepName(code); name.Form == "{words}" || name.Empty() {
			t.Errorf("%s has no name", code)
		}
	}
	if got := StepName("of_another_program").String(); got != "of another program" {
		t.Errorf("%q", got)
	}
}
