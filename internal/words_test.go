package internal_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// spoken is a form in the code: where, and how many values it is given, −1 where
// that is not told.
type spoken struct {
	where  string
	values int
}

// formsInCode finds what is said by words.Say and words.Count.
func formsInCode(t *testing.T) map[string]spoken {
	t.Helper()
	forms := map[string]spoken{}
	for _, root := range []string{".", "../server"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.Contains(path, "storetest") {
				return err
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if text, ok := errorText(n); ok && !strings.Contains(path, "casefile") {
					forms[text] = spoken{set.Position(n.Pos()).String(), 0}
				}
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				fun, ok := call.Fun.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				where := set.Position(call.Pos()).String()
				from, isWords := fun.X.(*ast.Ident)
				if !isWords || from.Name != "words" {
					return true
				}
				at := 0
				switch fun.Sel.Name {
				case "Count":
					at = 1
				case "Say":
				default:
					return true
				}
				form, ok := literal(call.Args[at])
				if !ok {
					return true
				}
				values := len(call.Args) - at - 1
				forms[form] = spoken{where, values}
				if at == 1 {
					one, ok := literal(call.Args[0])
					if !ok || placeOf(form, "n") < 0 || slices.ContainsFunc(words.Places(one), func(p string) bool { return placeOf(form, p) < 0 }) {
						t.Errorf("%s: the one of %q", where, form)
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

// errorText is the text of an error for people, where it is one with no values in it;
// those with values are in English yet.
func errorText(n ast.Node) (text string, ok bool) {
	name := func(e ast.Expr) string {
		switch e := e.(type) {
		case *ast.Ident:
			return e.Name
		case *ast.SelectorExpr:
			return e.Sel.Name
		}
		return ""
	}
	switch n := n.(type) {
	case *ast.CallExpr:
		if name(n.Fun) != "BadField" || len(n.Args) != 2 {
			return "", false
		}
		text, ok := literal(n.Args[1])
		return strings.ReplaceAll(text, "%%", "%"), ok
	case *ast.CompositeLit:
		if name(n.Type) != "Error" {
			return "", false
		}
		for _, e := range n.Elts {
			if kv, is := e.(*ast.KeyValueExpr); is && name(kv.Key) == "Text" {
				return literal(kv.Value)
			}
		}
	}
	return "", false
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
		add("threshold "+o.Code, o.Label, o.About, o.Less, o.More)
	}
	for _, o := range assess.OwnCheckIns() {
		add("check-in "+o.Code, o.Label, o.About)
	}
	add("thresholds", assess.Fixed...)
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

// stripped is a form without its places.
func stripped(form string) string {
	for _, p := range words.Places(form) {
		form = strings.ReplaceAll(form, "{"+p+"}", "")
	}
	return form
}

func isLetter(r rune) bool { return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' }
