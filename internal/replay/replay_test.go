package replay

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/internal/snake"
)

var t0 = time.Date(2027, 1, 1, 12, 0, 0, 0, time.UTC)

// ordinary is one invented case: history with the breeder, a handover, weekly
// offers and weights, a climate reading a month, a setup check; some go badly.
func ordinary(r *rand.Rand, id string, breeder string) []casefile.Line {
	species := []string{"python_regius", "python_regius", "pantherophis_guttatus", "boa_imperator"}[r.IntN(4)]
	at := t0.Add(time.Duration(r.IntN(700*24*60)) * time.Minute)
	hatched := at.AddDate(0, -4, 0).Truncate(24 * time.Hour)
	day := func(d float64) time.Time { return care.Instant(at.Add(time.Duration(d * 24 * float64(time.Hour)))) }
	lines := []casefile.Line{{Case: id, Entry: care.Entry{HappenedAt: at}, Handover: &casefile.Handover{
		Animal: care.Animal{BreederID: breeder, Species: species, Sex: care.Female, Hatched: &hatched, Genes: []string{"pastel"}}}}}
	add := func(d float64, b care.Body) {
		lines = append(lines, casefile.Line{Case: id, Entry: care.Entry{HappenedAt: day(d), Body: b}})
	}
	mass := 80 + 60*r.Float64()
	shy := .1 + .6*r.Float64()*r.Float64()
	offer := func(d, p float64) {
		o := care.Offer{Result: care.Eaten, Prey: "rat", PreyState: care.Thawed, PreyMass: care.Grams(math.Round(mass * .12))}
		if r.Float64() < p {
			o.Result = care.Refused
		} else {
			mass *= 1.04
		}
		add(d, o)
	}
	for d := -56.; d < -1; d += 7 {
		offer(d+r.Float64(), shy)
	}
	add(-.5, care.WeighIn{Mass: care.Grams(math.Round(mass))})
	if r.IntN(4) == 0 {
		shy = .9
	}
	warm := care.Celsius(31 + 2*r.NormFloat64())
	for d := 1.; d < 150; d++ {
		mass *= .998
		switch {
		case d == 3:
			add(d, care.SetupCheck{Answers: []care.SetupAnswer{{Point: "hides", Choice: "one"}, {Point: "netting", Choice: "none"}}})
		case math.Mod(d, 30) == 2:
			add(d, care.ClimateReading{Warm: &warm, TakenWith: care.WithProbe})
		case math.Mod(d, 7) == 6:
			offer(d+.3*r.Float64(), shy)
		case math.Mod(d, 7) == 0:
			add(d+.3*r.Float64(), care.WeighIn{Mass: care.Grams(math.Round(mass))})
		case math.Mod(d, 3) == 1:
			add(d, care.Seen{})
		case r.IntN(600) == 0:
			add(d, care.Sign{Code: "wheeze"})
		}
	}
	if r.IntN(3) == 0 {
		add(150, care.Ended{Outcome: care.OutcomeSettled})
	}
	return lines
}

// The orders of lines.
const (
	caseByCase = iota
	handoversFirst
	inTime
)

// written are cases as a file.
func written(t testing.TB, cases [][]casefile.Line, order int) []byte {
	t.Helper()
	all := slices.Concat(cases...)
	if order != caseByCase {
		slices.SortStableFunc(all, func(a, b casefile.Line) int {
			first := -cmp.Compare(b2i(a.Handover != nil), b2i(b.Handover != nil))
			if order == inTime {
				first = 0
			}
			return cmp.Or(first, a.Entry.HappenedAt.Compare(b.Entry.HappenedAt))
		})
	}
	var out []byte
	for i := range all {
		var err error
		if out, err = casefile.Append(out, &all[i]); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

func some(n, breeders int) (cases [][]casefile.Line) {
	r := rand.New(rand.NewPCG(5, uint64(n)))
	for i := range n {
		breeder := ""
		if breeders > 0 {
			breeder = fmt.Sprintf("b%02d", r.IntN(breeders))
		}
		cases = append(cases, ordinary(r, fmt.Sprintf("c%05d", i), breeder))
	}
	return cases
}

// file is a regular file with this in it.
func file(t testing.TB, data []byte) *os.File {
	t.Helper()
	name := filepath.Join(t.TempDir(), "cases.jsonl")
	if err := os.WriteFile(name, data, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// replayed runs over one file.
func replayed(t testing.TB, in io.Reader, o Options) (string, *Summary) {
	t.Helper()
	var out bytes.Buffer
	o.Every, o.UntilDays, o.TempDir = cmp.Or(o.Every, 24*time.Hour), cmp.Or(o.UntilDays, 180), t.TempDir()
	sum, err := Run(t.Context(), []Input{{"cases.jsonl", in}}, &out, o)
	if err != nil {
		t.Fatal(err)
	}
	if left, err := os.ReadDir(o.TempDir); err != nil || len(left) > 0 {
		t.Errorf("temporary files are left: %v, %v", left, err)
	}
	return out.String(), sum
}

type step struct {
	Case     string    `json:"case"`
	At       time.Time `json:"at"`
	Day      int       `json:"day"`
	Standing string    `json:"standing"`
	Urgency  float64   `json:"urgency"`
	PRefusal float64   `json:"p_refusal"`
	Loss     float64   `json:"loss_pct"`
	Low      float64   `json:"loss_pct_low"`
	High     float64   `json:"loss_pct_high"`
	Reasons  []struct {
		Code   string  `json:"code"`
		Weight float64 `json:"weight"`
		Text   string  `json:"text"`
	} `json:"reasons"`
	Causes []struct {
		Code  string  `json:"code"`
		Share float64 `json:"share"`
	} `json:"causes"`
	Steps    []string `json:"steps"`
	Concerns []struct {
		Code     string `json:"code"`
		Standing string `json:"standing"`
		Text     string `json:"text"`
	} `json:"concerns"`
}

func stepsOf(t testing.TB, out string) (list []step) {
	t.Helper()
	dec := json.NewDecoder(strings.NewReader(out))
	dec.DisallowUnknownFields()
	for {
		var s step
		if err := dec.Decode(&s); errors.Is(err, io.EOF) {
			return list
		} else if err != nil {
			t.Fatal(err)
		}
		list = append(list, s)
	}
}

// together is what a case file says, read without this package.
func together(t testing.TB, lines []casefile.Line) *casefile.Case {
	t.Helper()
	c := &casefile.Case{}
	for i := range lines {
		if err := c.Add(&lines[i], i+1); err != nil {
			t.Fatal(err)
		}
	}
	if err := c.Done(); err != nil {
		t.Fatal(err)
	}
	return c
}

// learnedBy is what a breeder's other cases teach by a handover, counted anew
// from all that is there.
func learnedBy(cases []*casefile.Case, mine *casefile.Case) care.Learned {
	a := &mine.Handover.Animal
	if a.BreederID == "" {
		return care.Learned{}
	}
	var counts []care.FeedingCount
	for _, c := range cases {
		if b := &c.Handover.Animal; c == mine || b.BreederID != a.BreederID || b.Species != a.Species {
			continue
		}
		var n care.FeedingCount
		for _, e := range c.Log {
			o, ok := e.Body.(care.Offer)
			if ok && !e.HappenedAt.After(c.HandedOverAt) && !e.HappenedAt.After(mine.HandedOverAt) && !e.HappenedAt.Before(mine.HandedOverAt.AddDate(-3, 0, 0)) {
				n.Offers++
				n.Refused += b2i(o.Result != care.Eaten)
			}
		}
		counts = append(counts, n)
	}
	sp, _ := snake.ByID(a.Species)
	flock := assess.FlockOf(counts)
	mass := 0.
	for _, e := range mine.Log {
		if w, ok := e.Body.(care.WeighIn); ok && !e.HappenedAt.After(mine.HandedOverAt) {
			mass = float64(w.Mass)
		}
	}
	return flock.Prior(&sp, sp.Age(a.Hatched, mass, mine.HandedOverAt))
}

// Every step is the assessment of what was known by then, for somebody who
// had only that, with what the other cases taught by the handover.
func TestStepsAreAssessments(t *testing.T) {
	t.Parallel()
	lines := some(24, 2)
	var cases []*casefile.Case
	for _, l := range lines {
		cases = append(cases, together(t, l))
	}
	out, sum := replayed(t, file(t, written(t, lines, caseByCase)), Options{})
	steps := stepsOf(t, out)
	if sum.Cases != len(cases) {
		t.Errorf("%d cases", sum.Cases)
	}
	taught := 0
	for _, c := range cases {
		learned := learnedBy(cases, c)
		if learned.Animals > 0 {
			taught++
		}
		subject := c.Subject(learned)
		for at := c.HandedOverAt; ; at = at.Add(24 * time.Hour) {
			last := !at.Before(c.End())
			if last {
				at = c.End()
			}
			var known []care.Entry
			for _, e := range c.Log {
				if !e.HappenedAt.After(at) {
					known = append(known, e)
				}
			}
			if len(steps) == 0 {
				t.Fatalf("case %s ends before %v", c.ID, at)
			}
			got, want := steps[0], assess.Assess(&subject, known, at)
			steps = steps[1:]
			same := got.Case == c.ID && got.At.Equal(at) && got.Day == int(at.Sub(c.HandedOverAt).Hours()/24) && got.Standing == want.Standing.String() &&
				len(got.Reasons) == len(want.Reasons) && len(got.Causes) == len(want.Causes) && len(got.Steps) == len(want.Steps) && len(got.Concerns) == len(want.Concerns)
			for _, v := range [][2]float64{{got.Urgency, want.Urgency}, {got.PRefusal, want.PRefusal}, {got.Loss, want.LossPct}, {got.Low, want.LossLow}, {got.High, want.LossHigh}} {
				same = same && math.Abs(v[0]-v[1]) < 1e-6
			}
			if !same {
				t.Fatalf("%+v\nwant %+v", got, want)
			}
			for i, r := range got.Reasons {
				if w := want.Reasons[i]; r.Code != w.Code || r.Text != w.Text.String() || math.Abs(r.Weight-w.Weight) > 1e-6 {
					t.Fatalf("reason %+v, want %+v", r, w)
				}
			}
			for i, s := range got.Steps {
				if s != want.Steps[i].Code {
					t.Fatalf("step %s, want %+v", s, want.Steps[i])
				}
			}
			if last {
				break
			}
		}
	}
	if len(steps) > 0 {
		t.Errorf("%d steps too many, the first is %+v", len(steps), steps[0])
	}
	if taught < len(cases)/2 {
		t.Errorf("only %d cases were taught anything", taught)
	}
}

// However the lines lie, however little is kept in memory, and however many
// work: the same answer for each case, in the order in which cases begin.
func TestOrderChangesNothing(t *testing.T) {
	t.Parallel()
	const days = 45 // what order may change shows as well in a short time as in a long one
	lines := some(42, 3)
	plain := written(t, lines, caseByCase)
	want, wantSum := replayed(t, file(t, plain), Options{UntilDays: days, Workers: 1})
	for name, o := range map[string]Options{"four workers": {Workers: 4}, "little memory": {hold: 3, Workers: 2}} {
		o.UntilDays = days
		if got, sum := replayed(t, file(t, plain), o); got != want || !reflect.DeepEqual(sum, wantSum) {
			t.Errorf("%s: another answer", name)
		}
	}
	if got, _ := replayed(t, bytes.NewReader(plain), Options{UntilDays: days}); got != want {
		t.Error("not from a file: another answer")
	}
	byCase := func(out string) map[string]string {
		m := map[string]string{}
		for line := range strings.Lines(out) {
			id := line[9:15]
			m[id] += line
		}
		return m
	}
	for _, order := range []int{handoversFirst, inTime} {
		for name, o := range map[string]Options{"mixed": {Workers: 3}, "mixed, little memory": {hold: 5}} {
			o.UntilDays = days
			got, _ := replayed(t, file(t, written(t, lines, order)), o)
			if !reflect.DeepEqual(byCase(got), byCase(want)) {
				t.Errorf("%s, order %d: another answer", name, order)
			}
		}
	}
	// Two files, one of them a pipe.
	half := bytes.Index(plain, []byte(`{"case":"c00020"`))
	var out bytes.Buffer
	if _, err := Run(t.Context(), []Input{{"a", file(t, plain[:half])}, {"b", bytes.NewReader(plain[half:])}}, &out, Options{Every: 24 * time.Hour, UntilDays: days}); err != nil || out.String() != want {
		t.Errorf("in two files: %v", err)
	}
	// Written by another program: fields in another order, spaces, blank lines.
	var other bytes.Buffer
	for line := range bytes.Lines(plain) {
		var m map[string]any
		if err := json.Unmarshal(line, &m); err != nil {
			t.Fatal(err)
		}
		text, err := json.MarshalIndent(m, " ", "")
		if err != nil {
			t.Fatal(err)
		}
		other.Write(append(bytes.ReplaceAll(text, []byte("\n"), nil), "\r\n\n"...))
	}
	if got, _ := replayed(t, &other, Options{UntilDays: days}); got != want {
		t.Error("written by another program: another answer")
	}
}

func TestStandingsAndSummary(t *testing.T) {
	t.Parallel()
	plain := written(t, some(40, 3), caseByCase)
	all, sum := replayed(t, file(t, plain), Options{})
	only, again := replayed(t, file(t, plain), Options{Standings: true})
	none, table := replayed(t, file(t, plain), Options{Quiet: true})
	if none != "" || !reflect.DeepEqual(sum, again) || !reflect.DeepEqual(sum, table) {
		t.Errorf("the summary depends on what is written, or something is written: %q", none)
	}
	var want []step
	days := map[string]Days{"watch": {}, "step_in": {}, "vet": {}}
	standing, highest := "settled", 0
	order := []string{"settled", "watch", "step_in", "vet"}
	for _, s := range stepsOf(t, all) {
		if s.Day == 0 {
			standing, highest = "settled", 0
		}
		if s.Standing != standing {
			want = append(want, s)
		}
		standing = s.Standing
		for l := slices.Index(order, s.Standing); l > highest; {
			highest++
			days[order[highest]][s.Day]++
		}
	}
	if got := stepsOf(t, only); !reflect.DeepEqual(got, want) {
		t.Errorf("%d changes, want %d", len(got), len(want))
	}
	for l, name := range order[1:] {
		if got := sum.Reached[l+1]; got.Count() != days[name].Count() || got.Count() > 0 && !reflect.DeepEqual(got, days[name]) {
			t.Errorf("%s by day: %v, want %v", name, got, days[name])
		}
		by := 0
		for r, d := range sum.Reasons {
			if int(r.Standing) == l+1 {
				by += d.Count()
			}
		}
		if by != days[name].Count() {
			t.Errorf("%s by reason: %d, want %d", name, by, days[name].Count())
		}
	}
	var text strings.Builder
	if err := sum.Write(&text); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"cases   40\n", fmt.Sprintf("watch or more    %d ", days["watch"].Count()), "what first made it watch or more", "refusal"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("no %q in\n%s", want, &text)
		}
	}
}

func TestQuantile(t *testing.T) {
	t.Parallel()
	d := Days{3: 1, 10: 8, 40: 1}
	for share, want := range map[float64]int{.1: 3, .5: 10, .9: 10, .95: 40, 1: 40} {
		if got := d.Quantile(share); got != want {
			t.Errorf("%v: day %d, want %d", share, got, want)
		}
	}
}

// A case goes no further than asked, nor than its last event, nor than until.
func TestEnd(t *testing.T) {
	t.Parallel()
	head := `{"case":"c","at":"2027-03-06T15:00:00Z","kind":"handover","species":"python_regius"%s}` + "\n"
	seen := `{"case":"c","at":"2027-03-16T18:00:00Z","kind":"seen"}` + "\n"
	for _, c := range []struct {
		text string
		days int
		last string
		n    int
	}{
		{fmt.Sprintf(head, ""), 180, "2027-03-06T15:00:00Z", 1},
		{fmt.Sprintf(head, "") + seen, 180, "2027-03-16T18:00:00Z", 12},
		{fmt.Sprintf(head, "") + seen, 4, "2027-03-10T15:00:00Z", 5},
		{fmt.Sprintf(head, `,"until":"2027-03-20T15:00:00Z"`) + seen, 180, "2027-03-20T15:00:00Z", 15},
		{fmt.Sprintf(head, "") + strings.Replace(seen, "}", `,"received_at":"2027-03-18T10:00:00Z"}`, 1), 180, "2027-03-18T10:00:00Z", 13},
	} {
		out, _ := replayed(t, strings.NewReader(c.text), Options{UntilDays: c.days})
		steps := stepsOf(t, out)
		if got := steps[len(steps)-1].At.Format(time.RFC3339); got != c.last || len(steps) != c.n {
			t.Errorf("%d steps up to %s, want %d up to %s", len(steps), got, c.n, c.last)
		}
	}
}

func TestBadLines(t *testing.T) {
	t.Parallel()
	head := `{"case":"c","at":"2027-03-06T15:00:00Z","kind":"handover","species":"python_regius","breeder":"b"}` + "\n"
	seen := `{"case":"c","at":"2027-03-07T15:00:00Z","kind":"seen"}` + "\n"
	for _, c := range []struct {
		name, text, says string
		leftOut          int
	}{
		{"a field", head + "\n" + seen + `{"case":"c","at":"2027-03-08T15:00:00Z","kind":"weigh_in","mass_g":"x"}` + "\n", "cases.jsonl: line 4, field mass_g: is \"x\"; expected grams", 1},
		{"no JSON", head + "nonsense\n" + seen, "cases.jsonl: line 2: is no JSON object", 1},
		{"no JSON first", "nonsense\n" + head + seen, "cases.jsonl: line 1: is no JSON object", 1},
		{"out of order", head + seen + strings.Replace(seen, "03-07", "03-06", 1) + seen, "cases.jsonl: line 3, field at: ", 1},
		{"no handover", head + seen + strings.ReplaceAll(seen+seen, `"c"`, `"d"`), `cases.jsonl: line 3, field case: is "d", which has no handover line`, 2},
		{"a bad handover", strings.Replace(head, "python_regius", "serpens", 1) + seen, "cases.jsonl: line 1, field species: is \"serpens\"", 2},
		{"the last line cut off", head + seen[:20], "cases.jsonl: line 2: is broken JSON", 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := Run(t.Context(), []Input{{"cases.jsonl", strings.NewReader(c.text)}}, io.Discard, Options{Every: time.Hour, UntilDays: 9})
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want %q", err, c.says)
			}
			_, sum := replayed(t, strings.NewReader(c.text), Options{SkipBad: true})
			if sum.LeftOut != c.leftOut || sum.FirstBad == nil || !strings.Contains(sum.FirstBad.Error(), c.says) {
				t.Errorf("%d lines left out, the first: %v", sum.LeftOut, sum.FirstBad)
			}
		})
	}
	long := head + `{"case":"c","note":"` + strings.Repeat("x", casefile.LongestLine) + `"}`
	if _, err := Run(t.Context(), []Input{{"long", strings.NewReader(long)}}, io.Discard, Options{Every: time.Hour}); err == nil || !strings.Contains(err.Error(), "long: line 2: is longer") {
		t.Errorf("a long line: %v", err)
	}
	// Left out, it takes no other line along, wherever it ends.
	want, _ := replayed(t, strings.NewReader(head+seen), Options{})
	for _, n := range []int{casefile.LongestLine, 3*casefile.LongestLine + 7, 2*blockBytes - len(head)} {
		long := `{"case":"c","note":"` + strings.Repeat("x", n) + "\"}"
		for name, text := range map[string]string{"inside": head + long + "\n" + seen, "first": long + "\n" + head + seen, "last": head + seen + long, "two": head + long + "\n" + long + "\n" + seen} {
			got, sum := replayed(t, strings.NewReader(text), Options{SkipBad: true})
			if got != want || sum.LeftOut != strings.Count(text, "note") || sum.FirstBad == nil {
				t.Errorf("%s, %d: %d lines left out, %v\n%s", name, n, sum.LeftOut, sum.FirstBad, got)
			}
		}
	}
}

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

func TestOutputFailsAndStops(t *testing.T) {
	t.Parallel()
	plain := written(t, some(30, 0), caseByCase)
	o := Options{Every: 24 * time.Hour, UntilDays: 180}
	if _, err := Run(t.Context(), []Input{{"a", bytes.NewReader(plain)}}, failing{}, o); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("%v", err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := Run(ctx, []Input{{"a", bytes.NewReader(plain)}}, io.Discard, o); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

// Any file gives an answer or an error that names its place; the answer is JSON.
func FuzzRun(f *testing.F) {
	r := rand.New(rand.NewPCG(8, 8))
	for range 4 {
		f.Add(written(f, [][]casefile.Line{ordinary(r, "a", "b")[:20], ordinary(r, "b", "b")[:30]}, r.IntN(3)), uint16(24), false)
	}
	f.Add([]byte(`{"case":"c","at":"2027-03-06T15:00:00Z","kind":"handover","species":"other_snake","learned_mean":1e-300,"learned_strength":1e-300,"learned_animals":1}
{"case":"c","at":"2027-03-06T15:00:00Z","kind":"weigh_in","mass_g":1}
{"case":"c","at":"2027-03-06T15:00:01Z","kind":"weigh_in","mass_g":200000}
{"case":"c","at":"9999-12-31T23:59:59Z","kind":"offer","result":"regurgitated","prey_g":20000}`), uint16(1), false)
	f.Add([]byte("nonsense\n{}\n[]\n\"\"\n\x00\n"), uint16(24), true)
	f.Fuzz(func(t *testing.T, data []byte, hours uint16, skip bool) {
		var out bytes.Buffer
		sum, err := Run(t.Context(), []Input{{"f", bytes.NewReader(data)}}, &out, Options{Every: time.Duration(max(6, hours)) * time.Hour, UntilDays: 60, SkipBad: skip, Workers: 1, hold: 4})
		if err != nil {
			if !strings.HasPrefix(err.Error(), "f: line ") || skip {
				t.Fatalf("%v", err)
			}
			return
		}
		for _, s := range stepsOf(t, out.String()) {
			for _, v := range []float64{s.Urgency, s.PRefusal} {
				if v < 0 || v > 1 {
					t.Fatalf("out of range: %+v", s)
				}
			}
			if s.Low > s.Loss || s.Loss > s.High {
				t.Fatalf("an interval that is none: %+v", s)
			}
		}
		if err := sum.Write(io.Discard); err != nil {
			t.Fatal(err)
		}
	})
}

// BenchmarkReplay is the rate of events through everything, from the file to the
// output, in events a second, and the largest heap meanwhile. The limit is
// 300,000 a second on two cores, and a heap that does not grow with the cases.
func BenchmarkReplay(b *testing.B) {
	const limit = 300e3
	for _, size := range []int{100_000, 1_000_000} {
		for _, mode := range []struct {
			name string
			o    Options
		}{{"summary", Options{Quiet: true}}, {"standings", Options{Standings: true}}, {"full", Options{}}} {
			b.Run(fmt.Sprintf("%s/%d", mode.name, size), func(b *testing.B) {
				if size > 100_000 && testing.Short() {
					b.Skip("short")
				}
				in := many(b, size)
				mode.o.Every, mode.o.UntilDays = 24*time.Hour, 180
				events, before := 0, cpuTime(b)
				peak := peakHeap(func() {
					for b.Loop() {
						if _, err := in.Seek(0, io.SeekStart); err != nil {
							b.Fatal(err)
						}
						sum, err := Run(b.Context(), []Input{{"cases", in}}, io.Discard, mode.o)
						if err != nil {
							b.Fatal(err)
						}
						events += sum.Events
					}
				})
				rate := float64(events) / b.Elapsed().Seconds()
				b.ReportMetric(rate, "events/s")
				b.ReportMetric(limit/rate, "limit-ratio") // below 1
				// The same by the work done, which says what two cores of its own
				// would make of it when others use the machine.
				b.ReportMetric(limit*(cpuTime(b)-before).Seconds()/float64(events)/2, "cpu-limit-ratio")
				b.ReportMetric(peak/(1<<20), "MB-peak-heap")
				b.ReportMetric(0, "ns/op")
			})
		}
	}
}

// cpuTime is what the process has used of all cores.
func cpuTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// many is a file with at least this many events.
func many(b *testing.B, events int) *os.File {
	b.Helper()
	f, err := os.Create(filepath.Join(b.TempDir(), "cases.jsonl"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { f.Close() })
	r := rand.New(rand.NewPCG(6, 6))
	for n, i := 0, 0; n < events; i++ {
		lines := ordinary(r, fmt.Sprintf("c%07d", i), fmt.Sprintf("b%04d", i/40))
		if _, err := f.Write(written(b, [][]casefile.Line{lines}, caseByCase)); err != nil {
			b.Fatal(err)
		}
		n += len(lines)
	}
	return f
}

// peakHeap runs f and returns the most heap that was seen in use.
func peakHeap(f func()) float64 {
	runtime.GC()
	stop, peak := make(chan struct{}), make(chan float64)
	go func() {
		var most float64
		var m runtime.MemStats
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			runtime.ReadMemStats(&m)
			most = max(most, float64(m.HeapAlloc))
			select {
			case <-stop:
				peak <- most
				return
			case <-tick.C:
			}
		}
	}()
	f()
	close(stop)
	return <-peak
}

// How a case would have gone is what the replay of its file says, under the
// thresholds that the file names.
func TestPastIsTheReplay(t *testing.T) {
	t.Parallel()
	lines := some(24, 5)
	for i := range lines {
		for j := range lines[i] {
			if h := lines[i][j].Handover; h != nil && i%2 == 0 {
				h.Thresholds = care.Thresholds{Watch: .08, Act: .2, SilenceGaps: 1}
			}
		}
	}
	var cases []*casefile.Case
	for _, l := range lines {
		cases = append(cases, together(t, l))
	}
	_, want := replayed(t, file(t, written(t, lines, caseByCase)), Options{UntilDays: 4000})
	var got Summary
	var w assess.Walker
	calls, moved := 0, false
	for i, c := range cases {
		subject := c.Subject(learnedBy(cases, c))
		w.Reset(&subject, c.Log)
		p := w.Past(c.End())
		for s := care.Watch; s <= care.Vet; s++ {
			if p.First[s] >= 0 {
				if got.Reached[s] == nil {
					got.Reached[s] = Days{}
				}
				got.Reached[s][p.First[s]]++
			}
		}
		if p.First[care.Settled] != 0 || p.Days != int(c.End().Sub(c.HandedOverAt)/(24*time.Hour)) || (p.Calls > 0) != (p.First[care.StepIn] >= 0) {
			t.Errorf("case %d: %+v", i, p)
		}
		calls += p.Calls
		subject.Thresholds = care.Thresholds{}
		moved = moved || w.Past(c.End()) != p
	}
	if !reflect.DeepEqual(got.Reached, want.Reached) {
		t.Errorf("%v, the replay says %v", got.Reached, want.Reached)
	}
	if calls == 0 || !moved {
		t.Error("nobody is called, or the thresholds of a file count for nothing")
	}
}
