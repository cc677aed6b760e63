package casefile

import (
	"bytes"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"warmhand/internal/care"
)

// example is the example of README.md, which has every kind.
func example(t testing.TB) []string {
	t.Helper()
	data, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, found := strings.Cut(string(data), "```json\n")
	block, _, closed := strings.Cut(rest, "\n```")
	if !found || !closed {
		t.Fatal("README.md has no example")
	}
	return strings.Split(block, "\n")
}

// together reads lines of one case.
func together(lines []string) (*Case, error) {
	var d Decoder
	var l Line
	c := &Case{}
	for i, text := range lines {
		if err := d.Decode([]byte(text), &l); err != nil {
			err.(*Error).Line = i + 1
			return nil, err
		}
		if err := c.Add(&l, i+1); err != nil {
			return nil, err
		}
	}
	return c, c.Done()
}

func TestExample(t *testing.T) {
	t.Parallel()
	lines := example(t)
	seen := map[care.Kind]bool{}
	var d Decoder
	for i, text := range lines {
		var l Line
		if err := d.Decode([]byte(text), &l); err != nil {
			t.Fatalf("line %d: %v", i+1, err)
		}
		kind := KindHandover
		if l.Handover == nil {
			kind = l.Entry.Body.Kind()
		}
		seen[kind] = true
		if id, at, k := Peek([]byte(text)); string(id) != l.Case || string(k) != string(kind) || string(at) == "" {
			t.Errorf("line %d: peeked %q %q %q", i+1, id, at, k)
		}
	}
	for _, k := range kinds {
		if !seen[k.kind] {
			t.Errorf("the example has no %s", k.kind)
		}
	}
	c, err := together(lines)
	if err != nil {
		t.Fatal(err)
	}
	a := c.Handover.Animal
	if c.ID != "c0001" || a.Species != "python_regius" || a.Sex != care.Female || a.BreederID != "b01" || a.Clutch != "b01-27-3" ||
		a.Hatched.Format(time.DateOnly) != "2026-08-01" || len(a.Genes) != 2 || a.SnoutVent != 0 || c.HandedOverAt.Format(time.RFC3339) != "2027-03-06T15:00:00Z" {
		t.Errorf("%+v, %+v", c, a)
	}
}

// What the documents say of kinds and fields is what is read.
func TestDocumented(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for f := range fields {
		if specs[f].name == "" || specs[f].expected == "" {
			t.Errorf("field %d has no name", f)
		}
		if !strings.Contains(string(data), "`"+specs[f].name+"`") {
			t.Errorf("README.md does not name %s", specs[f].name)
		}
	}
	for _, k := range kinds {
		if !strings.Contains(string(data), "| `"+string(k.kind)+"` |") || !strings.Contains(kindsExpected(), string(k.kind)) {
			t.Errorf("kind %s is not documented", k.kind)
		}
	}
	for _, p := range care.SetupPoints() {
		if !strings.Contains(string(data), "`"+p.Code+"`") {
			t.Errorf("README.md does not name the point %s", p.Code)
		}
		for _, z := range p.Sizes {
			if !strings.Contains(string(data), "`"+z.Code+"`") {
				t.Errorf("README.md does not name the size %s of %s", z.Code, p.Code)
			}
		}
		for _, c := range p.Choices {
			if !strings.Contains(string(data), "`"+c.Code+"`") {
				t.Errorf("README.md does not name the choice %s of %s", c.Code, p.Code)
			}
		}
	}
	for s := range knownSigns {
		if !strings.Contains(string(data), "`"+s+"`") {
			t.Errorf("README.md does not name the sign %s", s)
		}
	}
}

const opening = `{"case":"c","at":"2027-03-06T15:00:00Z","kind":"handover","species":"python_regius"}`

func TestMistakes(t *testing.T) {
	t.Parallel()
	event := func(at, rest string) string { return `{"case":"c","at":"` + at + `",` + rest + `}` }
	later := func(rest string) string { return event("2027-03-07T15:00:00Z", rest) }
	handover := func(rest string) string {
		return `{"case":"c","at":"2027-03-06T15:00:00Z","kind":"handover","species":"python_regius",` + rest + `}`
	}
	for _, c := range []struct {
		name        string
		lines       []string
		line        int
		field, says string
	}{
		{"unknown kind", []string{opening, later(`"kind":"meal"`)}, 2, "kind", `is "meal"; expected handover, offer`},
		{"unknown field", []string{opening, later(`"kind":"seen","colour":"red"`)}, 2, `"colour"`, "is not a field"},
		{"field of another kind", []string{opening, later(`"kind":"offer","result":"eaten","mass_g":12`)}, 2, "mass_g", "does not belong to a line of kind offer; expected result, prey"},
		{"case missing", []string{`{"at":"2027-03-06T15:00:00Z","kind":"seen"}`}, 1, "case", "is missing"},
		{"time missing", []string{`{"case":"c","kind":"seen"}`}, 1, "at", "is missing"},
		{"kind missing", []string{`{"case":"c","at":"2027-03-06T15:00:00Z"}`}, 1, "kind", "is missing"},
		{"kind null", []string{`{"case":"c","at":"2027-03-06T15:00:00Z","kind":null}`}, 1, "kind", "is missing"},
		{"result missing", []string{opening, later(`"kind":"offer","prey":"rat"`)}, 2, "result", "is missing; expected eaten, refused"},
		{"result unknown", []string{opening, later(`"kind":"offer","result":"ate"`)}, 2, "result", `is "ate"; expected eaten`},
		{"mass as text", []string{opening, later(`"kind":"weigh_in","mass_g":"412"`)}, 2, "mass_g", "expected grams from 1"},
		{"mass of nothing", []string{opening, later(`"kind":"weigh_in","mass_g":0`)}, 2, "mass_g", "is 0; expected grams from 1"},
		{"mass of a ship", []string{opening, later(`"kind":"weigh_in","mass_g":1e300`)}, 2, "mass_g", "expected grams"},
		{"mass beyond numbers", []string{opening, later(`"kind":"weigh_in","mass_g":1e999`)}, 2, "mass_g", "expected grams"},
		{"negative prey", []string{opening, later(`"kind":"offer","result":"eaten","prey_g":-3`)}, 2, "prey_g", "is -3; expected grams, more than 0"},
		{"°F", []string{opening, later(`"kind":"climate","warm_c":92`)}, 2, "warm_c", "expected °C from -20 to 90"},
		{"humidity", []string{opening, later(`"kind":"climate","humidity_pct":101`)}, 2, "humidity_pct", "per cent"},
		{"empty climate", []string{opening, later(`"kind":"climate","warm_c":null,"taken_with":"probe"`)}, 2, "warm_c", "at least one"},
		{"complete", []string{opening, later(`"kind":"shed","stage":"shed","complete":"yes"`)}, 2, "complete", "true, false or null"},
		{"sign", []string{opening, later(`"kind":"sign","sign":"sneeze"`)}, 2, "sign", `is "sneeze"; expected one of the signs`},
		{"point", []string{opening, later(`"kind":"setup","answers":{"moat":"deep"}`)}, 2, "answers", `“moat” is not a point`},
		{"choice", []string{opening, later(`"kind":"setup","answers":{"hides":"many"}`)}, 2, "answers", `“many” is not an answer`},
		{"point twice", []string{opening, later(`"kind":"setup","answers":{"hides":"one","hides":"one"}`)}, 2, "answers", "twice"},
		{"answer's size", []string{opening, later(`"kind":"setup","answers":{"tubes":{"choice":"snug","measure_mm":-1}}`)}, 2, "answers.tubes.measure_mm", "is -1; expected a size, more than 0 and up to 10000"},
		{"answer's field", []string{opening, later(`"kind":"setup","answers":{"tubes":{"choice":"snug","depth":1}}`)}, 2, "answers.tubes.depth", "expected choice, measure_mm, measure_sd_mm, sizes or note"},
		{"answer's further size", []string{opening, later(`"kind":"setup","answers":{"heavy_things":{"choice":"on_floor","sizes":{"speed":1}}}`)}, 2, "answers", `“speed” is not a size`},
		{"answer's further sizes", []string{opening, later(`"kind":"setup","answers":{"heavy_things":{"choice":"on_floor","sizes":[1]}}`)}, 2, "answers.heavy_things.sizes", "not a field"},
		{"answer's form", []string{opening, later(`"kind":"setup","answers":{"tubes":3}`)}, 2, "answers.tubes", "is 3; expected a choice"},
		{"no answers", []string{opening, later(`"kind":"setup","answers":{}`)}, 2, "answers", "is empty"},
		{"answers as list", []string{opening, later(`"kind":"setup","answers":[]`)}, 2, "answers", "expected an object"},
		{"days", []string{opening, later(`"kind":"step","step":"weigh","holds_days":1.5`)}, 2, "holds_days", "is 1.5; expected whole days"},
		{"outcome", []string{opening, later(`"kind":"outcome","outcome":"sold"`)}, 2, "outcome", "settled, returned"},
		{"outcome before the handover", []string{opening, event("2027-03-01T15:00:00Z", `"kind":"outcome","outcome":"settled"`)}, 2, "kind", "before the handover"},
		{"time out of order", []string{opening, later(`"kind":"seen"`), event("2027-03-07T14:59:59Z", `"kind":"seen"`)}, 3, "at", "is 2027-03-07T14:59:59Z, earlier than"},
		{"handover out of order", []string{later(`"kind":"seen"`), opening}, 2, "at", "earlier than"},
		{"two handovers", []string{opening, opening}, 2, "kind", "second time"},
		{"no handover", []string{later(`"kind":"seen"`)}, 1, "case", `is "c", which has no handover line`},
		{"time without zone", []string{event("2027-03-07T15:00:00", `"kind":"seen"`)}, 1, "at", "expected a time such as"},
		{"time long ago", []string{event("0027-03-07T15:00:00Z", `"kind":"seen"`)}, 1, "at", "after 1980"},
		{"received before", []string{opening, later(`"kind":"seen","received_at":"2027-03-01T00:00:00Z"`)}, 2, "received_at", "before it happened"},
		{"species", []string{strings.Replace(opening, "python_regius", "pyhton_regius", 1)}, 1, "species", `is "pyhton_regius"; expected a scientific name`},
		{"species with capitals", []string{strings.Replace(opening, "python_regius", "Python regius", 1)}, 1, "species", "lower case"},
		{"hatched after", []string{handover(`"hatched":"2027-04-01"`)}, 1, "hatched", "is 2027-04-01"},
		{"hatched as time", []string{handover(`"hatched":"2027-04-01T00:00:00Z"`)}, 1, "hatched", "expected a date"},
		{"sex", []string{handover(`"sex":"f"`)}, 1, "sex", "female, male or unknown"},
		{"genes", []string{handover(`"genes":"pastel"`)}, 1, "genes", "expected a list"},
		{"a gene", []string{handover(`"genes":["pastel",3]`)}, 1, "genes", "holds 3"},
		{"lengths", []string{handover(`"snout_vent_mm":800,"total_length_mm":700`)}, 1, "total_length_mm", "less than snout_vent_mm"},
		{"half a prior", []string{handover(`"learned_mean":0.2`)}, 1, "learned_mean", "all three or none"},
		{"until", []string{handover(`"until":"2027-03-01T00:00:00Z"`)}, 1, "until", "before the handover"},
		{"twice", []string{`{"case":"c","case":"c","at":"2027-03-06T15:00:00Z","kind":"seen"}`}, 1, "case", "is there twice"},
		{"id", []string{opening, later(`"kind":"seen","id":"a b"`)}, 2, "id", "letters, digits"},
		{"id twice", []string{opening, later(`"kind":"seen","id":"a"`), later(`"kind":"seen","id":"a"`)}, 3, "id", "second time"},
		{"replaces nothing", []string{opening, later(`"kind":"seen","id":"a","replaces":"b"`)}, 2, "replaces", "does not have"},
		{"replaces another kind", []string{opening, later(`"kind":"seen","id":"a"`), later(`"kind":"sign","sign":"wheeze","replaces":"a"`)}, 3, "replaces", "another kind"},
		{"replaced twice", []string{opening, later(`"kind":"seen","id":"a"`), later(`"kind":"withdrawal","replaces":"a"`), later(`"kind":"withdrawal","replaces":"a"`)}, 4, "replaces", "already"},
		{"withdrawal of nothing", []string{opening, later(`"kind":"withdrawal"`)}, 2, "replaces", "is missing"},
		{"empty", []string{""}, 1, "", "no JSON object"},
		{"list", []string{"[]"}, 1, "", "no JSON object"},
		{"cut off", []string{`{"case":"c"`}, 1, "", "broken JSON"},
		{"two objects", []string{opening + opening}, 1, "", "goes on after"},
		{"bytes that are no text", []string{"{\"case\":\"\xff\",\"at\":\"2027-03-06T15:00:00Z\",\"kind\":\"seen\"}"}, 1, "", "broken JSON"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := together(c.lines)
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("%v", err)
			}
			if e.Line != c.line || e.Field != c.field || !strings.Contains(e.Text, c.says) {
				t.Errorf("line %d, field %s: %s\nwant line %d, field %s, %q in it", e.Line, e.Field, e.Text, c.line, c.field, c.says)
			}
		})
	}
}

func TestOlderNames(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"boa_constrictor", "elaphe_guttata", "python_reticulatus", care.OtherSnake} {
		c, err := together([]string{strings.Replace(opening, "python_regius", name, 1)})
		if err != nil || (name != care.OtherSnake) == (c.Handover.Animal.Species == name) {
			t.Errorf("%s: %v %+v", name, err, c)
		}
	}
}

// The history may come before the handover line or after it.
func TestPlaceOfTheHandover(t *testing.T) {
	t.Parallel()
	meal := `{"case":"c","at":"2027-02-20T19:00:00Z","kind":"offer","result":"eaten"}`
	seen := `{"case":"c","at":"2027-03-07T19:00:00Z","kind":"seen"}`
	a, err := together([]string{opening, meal, seen})
	if err != nil {
		t.Fatal(err)
	}
	b, err := together([]string{meal, opening, seen})
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.Log {
		a.Log[i].ID, b.Log[i].ID = "", ""
	}
	if !reflect.DeepEqual(a.Log, b.Log) || a.Log[0].By != care.BreederOwner || a.Log[1].By != care.KeeperActor {
		t.Errorf("%+v\n%+v", a.Log, b.Log)
	}
}

// What is written is read again, whatever is in it.
func TestRoundTrip(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(11, 12))
	var d Decoder
	for range 3000 {
		want := randomLine(r)
		text, err := Append(nil, &want)
		if err != nil {
			t.Fatal(err)
		}
		var got Line
		if err := d.Decode(bytes.TrimSuffix(text, []byte("\n")), &got); err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("%s\ngot  %+v\nwant %+v", text, got, want)
		}
	}
}

func randomLine(r *rand.Rand) Line {
	at := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(r.IntN(1e9)) * time.Millisecond)
	texts := []string{"", "plain", "with \"quotes\" and \\", "Zeilen\nund\tTabs", "蛇 🐍 < & >"}
	text := func() string { return texts[r.IntN(len(texts))] }
	l := Line{Case: "case " + text(), Entry: care.Entry{HappenedAt: at}}
	if r.IntN(6) == 0 {
		h := &Handover{ShowDay: text(), Animal: care.Animal{BreederID: text(), Name: text(), Note: text(), Clutch: text(), Species: "python_regius", Sex: care.Male}}
		if r.IntN(2) == 0 {
			day := time.Date(2026, 8, 1, 0, 0, 0, 0, time.UTC)
			h.Animal.Hatched, h.Animal.Genes, h.Animal.ID = &day, []string{"pastel", "蛇"}, "a-1"
			h.Animal.SnoutVent, h.Animal.TotalLength = 512.5, 600
			h.Unclaimed, h.Hemi, h.Learned, h.Until = true, care.South, care.Learned{Mean: r.Float64(), Strength: 7 * r.Float64(), Animals: 12}, at.Add(time.Hour)
		}
		l.Handover = h
		return l
	}
	e := &l.Entry
	if r.IntN(2) == 0 {
		e.ID, e.By, e.ReceivedAt, e.Replaces, e.Confirmed, e.Note = "id-1", care.Helper, at.Add(time.Minute), "id-0", true, text()
	}
	c, p, yes := care.Celsius(30*r.Float64()), care.Percent(100*r.Float64()), r.IntN(2) == 0
	switch r.IntN(12) {
	case 0:
		e.Body = care.Offer{Result: care.Struck, Prey: text(), PreyState: care.Live, PreyMass: care.Grams(.1 + 30*r.Float64())}
	case 1:
		e.Body = care.Offer{Result: care.Regurgitated}
	case 2:
		e.Body = care.WeighIn{Mass: care.Grams(1 + 1000*r.Float64())}
	case 3:
		e.Body = care.ClimateReading{Warm: &c, Cool: &c, Night: &c, Surface: &c, Humidity: &p, TakenWith: care.WithDial}
	case 4:
		e.Body = care.ClimateReading{Humidity: &p}
	case 5:
		e.Body = care.Shed{Stage: care.ShedDone, Complete: &yes}
	case 6:
		e.Body = care.Sign{Code: "wheeze", Gone: yes}
	case 7:
		e.Body = care.SetupCheck{Answers: []care.SetupAnswer{{Point: "hides", Choice: "one"}, {Point: "tubes", Choice: "snug", Measure: 17.5, Note: "what it says"},
			{Point: "heavy_things", Choice: "loose", Sizes: map[string]float64{care.SetupPoints()[slices.IndexFunc(care.SetupPoints(), func(p care.SetupPoint) bool { return p.Code == "heavy_things" })].Sizes[0].Code: 120}}}}
	case 8:
		e.Body = care.Seen{}
	case 9:
		e.Body = care.StepAgreed{Code: "leave_in_peace", HoldsDays: r.IntN(20)}
	case 10:
		e.Body = care.Message{Text: texts[1+r.IntN(len(texts)-1)]}
	case 11:
		e.Body = care.Ended{Outcome: care.OutcomeVet, Reopened: yes}
		if !yes {
			e.Body = care.Ended{Outcome: care.OutcomeReturned, Lessons: "warmth late"}
		}
	}
	if r.IntN(20) == 0 {
		e.Replaces, e.Body = "id-0", care.Withdrawal{}
	}
	return l
}

// FuzzDecode compares with encoding/json: what is read here is JSON, means the
// same there, and is written and read again without loss.
func FuzzDecode(f *testing.F) {
	for _, text := range example(f) {
		f.Add([]byte(text))
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 60 {
		l := randomLine(r)
		text, err := Append(nil, &l)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(bytes.TrimSpace(text))
	}
	f.Add([]byte(`{"case":"c","\u0061t":"2027-03-06T15:00:00.123456Z","kind":"\u0073een"}`))
	f.Add([]byte(`{ "case" : "c" , "at" : "2027-03-06T15:00:00+02:00" , "kind" : "weigh_in" , "mass_g" : 4.12e2 }`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var d Decoder
		var l Line
		err := d.Decode(data, &l)
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Text == "" || !utf8.ValidString(e.Text) {
				t.Fatalf("an error that says nothing: %#v", err)
			}
			return
		}
		var there row
		dec := json.NewDecoder(bytes.NewReader(data))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&there); err != nil {
			t.Fatalf("encoding/json refuses it: %v", err)
		}
		if there.Case != l.Case || !there.At.UTC().Truncate(time.Millisecond).Equal(l.Entry.HappenedAt) {
			t.Fatalf("encoding/json reads another case or time: %+v, %+v", there, l)
		}
		if w, ok := l.Entry.Body.(care.WeighIn); ok && *there.WeighIn != w {
			t.Fatalf("encoding/json reads %v, not %v", there.WeighIn, w)
		}
		if o, ok := l.Entry.Body.(care.Offer); ok && *there.Offer != o {
			t.Fatalf("encoding/json reads %v, not %v", there.Offer, o)
		}
		if _, _, kind := Peek(data); kind != nil && !bytes.Contains(kind, []byte(there.Kind)) {
			t.Fatalf("peeked %q, it is %q", kind, there.Kind)
		}
		text, err := Append(nil, &l)
		if err != nil {
			t.Fatal(err)
		}
		var again Line
		if err := d.Decode(bytes.TrimSuffix(text, []byte("\n")), &again); err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		once, err := Append(nil, &again)
		if err != nil || !bytes.Equal(once, text) {
			t.Fatalf("%v\n%s%s", err, text, once)
		}
	})
}

// BenchmarkDecode is the cost of one line.
func BenchmarkDecode(b *testing.B) {
	var lines [][]byte
	for _, text := range example(b) {
		lines = append(lines, []byte(text))
	}
	var d Decoder
	var l Line
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if err := d.Decode(lines[i%len(lines)], &l); err != nil {
			b.Fatal(err)
		}
		i++
	}
}
