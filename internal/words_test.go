package internal_test

import (
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/sheet"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// spoken is a form in the code: where, and how many values it is given, −1 where
// that is not told.
type spoken struct {
	where  string
	values int
}

// sayers are the functions that take a form, and which of their arguments it is. The
// values follow; last: what the form is itself is a value of another.
var sayers = map[string]struct {
	form int
	last bool
}{
	"Say": {0, false}, "Count": {1, false}, "BadField": {1, false},
	"Missing": {0, true}, "breederOnly": {2, true}, // kinds of thing
}

// formsInCode finds what is said, and refuses what it cannot find: a form that is no
// literal is a row of a table, which formsInTables has.
func formsInCode(t *testing.T) map[string]spoken {
	t.Helper()
	forms := map[string]spoken{}
	for _, root := range []string{".", "../server"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.Contains(path, "storetest") || strings.HasPrefix(path, "words/") {
				return err
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if n == nil {
					return false
				}
				where := set.Position(n.Pos()).String()
				switch n := n.(type) {
				case *ast.BasicLit:
					// measure runs on the phone and holds its sentences as they are.
					if text, ok := literal(n); ok && strings.HasPrefix(path, "measure/") && aSentence.MatchString(text) {
						for _, s := range words.Sentences(text) {
							forms[s] = spoken{where, 0}
						}
					}
				case *ast.KeyValueExpr: // what a table of the store holds
					if text, ok := literal(n.Value); ok && strings.HasPrefix(path, "store/") && name(n.Key) == "what" {
						forms[text] = spoken{where, 0}
					}
				case *ast.CallExpr:
					by, is := sayers[name(n.Fun)]
					if from, ok := n.Fun.(*ast.SelectorExpr); !is || len(n.Args) <= by.form || ok && name(from.X) != "words" && name(from.X) != "care" {
						return true
					}
					form, ok := literal(n.Args[by.form])
					if !ok {
						if !fromATable(n.Args[by.form]) {
							t.Errorf("%s: a form has to stand there as it is", where)
						}
						return true
					}
					values := len(n.Args) - by.form - 1
					if by.last {
						values = 0
					}
					forms[form] = spoken{where, values}
					if by.form == 1 && name(n.Fun) == "Count" {
						one, ok := literal(n.Args[0])
						if !ok || placeOf(form, "n") < 0 || slices.ContainsFunc(words.Places(one), func(p string) bool { return placeOf(form, p) < 0 }) {
							t.Errorf("%s: the one of %q", where, form)
						}
					}
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return forms
}

var aSentence = regexp.MustCompile(`^[A-Z].* .*\. ?$`)

// fromATable reports whether something is a field, what one of the tables says, or
// one of the few names that sentences of tables go by; and nothing put together.
func fromATable(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.SelectorExpr, *ast.IndexExpr:
		return true
	case *ast.Ident:
		return slices.Contains([]string{"ElectricCaution", "form", "name", "rule", "s", "what"}, e.Name)
	case *ast.CallExpr:
		return name(e.Fun) == "string" || name(e.Fun) == "PreySize"
	}
	return false
}

func name(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return e.Sel.Name
	}
	return ""
}

func placeOf(form, name string) int { return slices.Index(words.Places(form), name) }

func literal(e ast.Expr) (string, bool) {
	l, ok := e.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	s, err := strconv.Unquote(l.Value)
	return s, err == nil
}

// formsInTables are the sentences of the tables that people read.
func formsInTables() map[string]spoken {
	forms := map[string]spoken{}
	add := func(of string, list ...string) {
		for _, text := range list {
			for _, s := range words.Sentences(text) {
				forms[s] = spoken{of, 0}
			}
		}
	}
	for _, p := range care.SetupPoints() {
		add("point "+p.Code, append([]string{p.Title, p.Why, p.Look, p.Fix}, p.Shots...)...)
		for _, c := range p.Choices {
			add("point "+p.Code, c.Label)
		}
		for _, z := range p.Sizes {
			add("point "+p.Code, z.Label, z.Hint)
		}
	}
	for _, s := range assess.Signs() {
		add("sign "+s.Code, s.Label, s.DoNow, s.Soon.String())
	}
	for _, c := range assess.Calls() {
		add("whom to call", c.Whom)
	}
	for _, o := range assess.OwnThresholds() {
		add("threshold "+o.Code, o.Label, o.About, o.Less, o.More, o.Source)
	}
	for _, o := range assess.OwnCheckIns() {
		add("check-in "+o.Code, o.Label, o.About)
	}
	add("thresholds", assess.Fixed...)
	_, rows := snake.Tables()
	for i := range rows {
		r := &rows[i]
		add("table "+r.Of, r.Unit, r.Sure, r.Note)
	}
	for _, s := range snake.All() {
		add("species "+s.ID, s.Common, s.CITES)
	}
	for _, g := range snake.Genes() {
		add("gene "+g.Name, g.Note)
	}
	for _, prey := range []string{"mouse", "rat"} {
		add("prey", prey)
		for mass := .5; mass < 1000; mass *= 1.1 {
			add("prey", snake.PreySize(mass, prey))
		}
	}
	for _, m := range append(sheet.Meanings(), sheet.Ignored) {
		add("columns of a list", m.Label())
	}
	add("ages", snake.Hatchling.String(), snake.Juvenile.String(), snake.Adult.String())
	add("sexes", string(care.Male), string(care.Female), string(care.SexUnknown))
	for _, f := range care.HomeOf(&care.Record{}).Facts {
		add("home", f.Label)
	}
	add("cautions", care.ElectricCaution)
	add("cautions", care.Hygiene()...)
	add("dates", "{day} {month} {year}", "{month} {year}", "{weekday} {day} {month}")
	for m := time.January; m <= time.December; m++ {
		add("months", m.String())
	}
	for d := time.Sunday; d <= time.Saturday; d++ {
		add("days of the week", d.String())
	}
	return forms
}

// Every form has its translation in every language, with the same places, and
// nothing is translated that nobody says.
func TestForms(t *testing.T) {
	t.Parallel()
	forms := formsInCode(t)
	for form, s := range forms {
		if places := len(words.Places(form)); places != s.values {
			t.Errorf("%s: %q has %d places and %d values", s.where, form, places, s.values)
		}
	}
	for form, s := range formsInTables() {
		if _, ok := forms[form]; !ok {
			forms[form] = s
		}
	}
	if len(forms) < 900 {
		t.Fatalf("only %d forms were found", len(forms))
	}
	missing := map[string]string{}
	for _, l := range words.Languages()[1:] {
		has := l.Translated()
		for form, s := range forms {
			texts, ok := has[form]
			if !ok && !strings.ContainsFunc(stripped(form), isLetter) {
				continue // the same in all languages
			}
			if !ok {
				missing[form] = s.where
				t.Errorf("%s: %s does not say %q, of %s", l.Tag, l.Name, form, s.where)
			}
			for _, text := range texts {
				for _, p := range words.Places(form) {
					if placeOf(text, p) < 0 && p != "n" {
						t.Errorf("%s: %q has no place {%s}, as %q has", l.Tag, text, p, form)
					}
				}
				for _, p := range words.Places(text) {
					if placeOf(form, p) < 0 {
						t.Errorf("%s: %q has a place {%s}, which %q has not", l.Tag, text, p, form)
					}
				}
			}
		}
		for form := range has {
			if _, ok := forms[form]; !ok {
				t.Errorf("%s: nobody says %q any more", l.Tag, form)
			}
		}
	}
	if to := os.Getenv("WARMHAND_FORMS_MISSING"); to != "" { // for whoever translates
		b, err := json.MarshalIndent(missing, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// otherTerms are German words for what has another term here.
var otherTerms = map[string]string{
	`(das|dem|dieses) Telefon`: "Handy", `Token\b`: "Zugangsschlüssel", `Textbaustein`: "Satz", `\b(er|ge)broch|erbricht`: "ausgewürgt",
	`(warme|kühle)[mns]? Ende`: "Seite", `Wiederherstellungscode`: "Notfallcode", `Elternteil`: "Elterntier", `(^|[^-])\bMail(s|adresse)?\b`: "E-Mail",
	`[Bb]erichtig`: "korrigieren", `frischtot`: "frisch getötet", `[Bb]eiseite`: "zurückgestellt", `\bIhnen\b`: "du", `!`: ".", `"`: "„“", `[a-zäöüß.]”`: "„“",
}

// One thing has one name, in both parts of a language.
func TestTerms(t *testing.T) {
	t.Parallel()
	b, err := os.ReadFile("words/de.json")
	if err != nil {
		t.Fatal(err)
	}
	var said struct{ Web, Server map[string]any }
	if err := json.Unmarshal(b, &said); err != nil || len(said.Web) < 1000 || len(said.Server) < 1000 {
		t.Fatalf("%d and %d sentences, %v", len(said.Web), len(said.Server), err)
	}
	for other, term := range otherTerms {
		unwanted := regexp.MustCompile(other)
		for _, part := range []map[string]any{said.Web, said.Server} {
			for form, text := range part {
				if found := unwanted.FindString(fmt.Sprint(text)); found != "" {
					t.Errorf("%q: %q is %q here: %v", form, found, term, text)
				}
			}
		}
	}
}

// stripped is a form without its places.
func stripped(form string) string {
	for _, p := range words.Places(form) {
		form = strings.ReplaceAll(form, "{"+p+"}", "")
	}
	return form
}

func isLetter(r rune) bool { return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' }
