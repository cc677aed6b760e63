package snake

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A fault in the tables is found when they are read, and named.
func TestTablesAreChecked(t *testing.T) {
	t.Parallel()
	if _, err := readTables(tablesFile); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, old, new, want string }{
		{"no number", `"what": "hatch_mass", "unit": "g", "values": [60]`, `"what": "hatch_mass", "unit": "g", "values": ["60"]`, "cannot unmarshal"},
		{"too few", `"values": [30, 34]`, `"values": [30]`, "hot_spot has 1 values"},
		{"one left out", `"what": "hatch_mass"`, `"what": "birth_mass"`, `"birth_mass" is unknown`},
		{"twice", `"what": "hatch_length"`, `"what": "hatch_mass"`, "there twice"},
		{"no unit", `"what": "hatch_mass", "unit": "g"`, `"what": "hatch_mass", "unit": ""`, "unit, values, source"},
		{"unknown sureness", `"sure": "published"`, `"sure": "certain"`, "how sure"},
		{"another field", `"what": "hatch_mass"`, `"colour": "red", "what": "hatch_mass"`, "colour"},
		{"no version", `"version": "`, `"version": "", "x": "`, "x"},
	} {
		if _, err := readTables(bytes.Replace(tablesFile, []byte(c.old), []byte(c.new), 1)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	if _, err := readTables(append(bytes.Clone(tablesFile), '{')); err == nil {
		t.Error("what follows the tables is let pass")
	}
	if _, err := readTables([]byte("{}")); err == nil || !strings.Contains(err.Error(), "version") {
		t.Errorf("empty: %v", err)
	}
}

// Every row is read by somebody: a number that nothing goes by would be a
// second, silent truth.
func TestEveryRowIsRead(t *testing.T) {
	t.Parallel()
	var source strings.Builder
	for _, room := range []string{".", "../care", "../assess"} {
		names, err := filepath.Glob(filepath.Join(room, "*.go"))
		if err != nil || len(names) == 0 {
			t.Fatal(room, err)
		}
		for _, name := range names {
			if data, err := os.ReadFile(name); err != nil {
				t.Fatal(err)
			} else if !strings.HasSuffix(name, "_test.go") {
				source.Write(data)
			}
		}
	}
	version, rows := Tables()
	species := map[string]bool{}
	for _, s := range All() {
		species[s.ID] = true
	}
	for _, r := range rows {
		asked := species[r.Of] || strings.Contains(source.String(), `("`+r.Of+`", "`+r.What+`"`) ||
			strings.Contains(source.String(), `risks("`+r.Of+`")`) || strings.Contains(source.String(), `Group("`+r.Of+`", `) || r.Of == "climate" && strings.Contains(source.String(), `burn("`+r.What+`")`)
		if !asked {
			t.Errorf("nothing reads %s/%s", r.Of, r.What)
		}
	}
	if version == "" || len(rows) < 400 {
		t.Errorf("version %q, %d rows", version, len(rows))
	}
	rows[0].What = "changed"
	if _, again := Tables(); again[0].What == "changed" {
		t.Error("Tables hands out the list itself")
	}
}

// What is said to follow from the rule of loss does.
func TestLossByRule(t *testing.T) {
	t.Parallel()
	_, rows := Tables()
	checked := 0
	for _, r := range rows {
		if r.What != "loss_per_day" || r.Sure != "derived" {
			continue
		}
		s := mustFind(t, r.Of)
		for age, want := range s.lossByRule() {
			if math.Abs(r.Values[age]-want) > .001*want {
				t.Errorf("%s: %v a day, by the rule %.4g", r.Of, r.Values, want)
			}
		}
		checked++
	}
	if checked == 0 {
		t.Error("no species goes by the rule")
	}
}

func TestNumbersPanics(t *testing.T) {
	t.Parallel()
	for name, f := range map[string]func(){
		"missing": func() { Number("body", "wings") },
		"count":   func() { Number("growth", "adult_share") },
		"group":   func() { Group("wings", 1) },
		"known":   func() { Known("body", "wings") },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: goes on", name)
				}
			}()
			f()
		}()
	}
}
