package insight

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// Sale is one case, open or ended, as it is counted here.
type Sale struct {
	Case string
	// What sales are compared by; "" where it is not known.
	Clutch, ShowDay, Prey, Age, Species string
	HandedOver                          time.Time
	// Until is when the watch ended: with the case, or with the last that was heard.
	Until time.Time
	// Meals in the new home, as they were kept down, in order of time.
	Meals   []time.Time
	Flags   []care.Flag
	Outcome care.Outcome // "" while open
	Lessons []string     // codes of what was learned, of one that came back
}

// Insight is what all sales show together.
type Insight struct {
	Sales     int
	First     Waiting // days from the handover to the first meal
	Third     Waiting // to the third
	Preceding []Preceding
	Home      []Found
	Warnings  Warnings
	Lessons   []Lesson
}

// Lesson is something learned from animals that came back.
type Lesson struct {
	Code  string
	Cases Share // of those that came back
}

// Waiting is the time to a meal: of all sales, and side by side.
type Waiting struct {
	All    Curve
	Splits []Split
}

// Split sets groups side by side that differ in one thing.
type Split struct {
	By     string // "clutch", "show_day", "prey", "age", "species"
	Groups []Group
	// P is the log-rank test's, NaN where there is too little to tell; corrected
	// by Holm's method for the splits shown.
	P float64
	// LeftOut counts sales of groups too small to stand alone or of which the
	// thing is not known.
	LeftOut int
}

// Group is one side of a split.
type Group struct {
	Name  string
	Curve Curve
}

// Least is how many animals a group needs to be shown by itself, and Most how
// many groups are shown, the largest; with more, each split says less.
const (
	Least = 5
	Most  = 6
)

// Of counts the sales.
func Of(sales []Sale) Insight {
	return Insight{
		Sales: len(sales), First: waiting(sales, 1), Third: waiting(sales, 3),
		Preceding: preceding(sales), Home: home(sales), Warnings: warnings(sales), Lessons: learned(sales),
	}
}

// learned counts what was learned, the most frequent first.
func learned(sales []Sale) []Lesson {
	back, codes := 0, map[string]int{}
	for i := range sales {
		if sales[i].Outcome == care.OutcomeReturned {
			back++
			for _, code := range sales[i].Lessons {
				codes[code]++
			}
		}
	}
	var out []Lesson
	for code, n := range codes {
		out = append(out, Lesson{code, ShareOf(n, back)})
	}
	slices.SortFunc(out, func(a, b Lesson) int {
		return cmp.Or(cmp.Compare(b.Cases.K, a.Cases.K), strings.Compare(a.Code, b.Code))
	})
	return out
}

func days(d time.Duration) float64 { return d.Hours() / 24 }

// waited is the wait for the nth meal; whole days, as a person would count
// them.
func (s *Sale) waited(n int) Watched {
	if len(s.Meals) >= n {
		return Watched{math.Max(0, math.Ceil(days(s.Meals[n-1].Sub(s.HandedOver)))), true}
	}
	return Watched{math.Max(0, math.Ceil(days(s.Until.Sub(s.HandedOver)))), false}
}

func waiting(sales []Sale, n int) Waiting {
	all := make([]Watched, len(sales))
	for i := range sales {
		all[i] = sales[i].waited(n)
	}
	w := Waiting{All: Estimate(all)}
	for _, by := range []struct {
		name string
		of   func(*Sale) string
	}{
		{"species", func(s *Sale) string { return s.Species }},
		{"age", func(s *Sale) string { return s.Age }},
		{"prey", func(s *Sale) string { return s.Prey }},
		{"clutch", func(s *Sale) string { return s.Clutch }},
		{"show_day", func(s *Sale) string { return s.ShowDay }},
	} {
		groups := map[string][]Watched{}
		for i := range sales {
			name := by.of(&sales[i])
			groups[name] = append(groups[name], all[i])
		}
		split := Split{By: by.name, P: math.NaN()}
		names := make([]string, 0, len(groups))
		for name := range groups {
			if name != "" && len(groups[name]) >= Least {
				names = append(names, name)
			}
		}
		slices.SortFunc(names, func(a, b string) int {
			return cmp.Or(cmp.Compare(len(groups[b]), len(groups[a])), strings.Compare(a, b))
		})
		names = names[:min(Most, len(names))]
		if len(names) < 2 {
			continue
		}
		split.LeftOut = len(sales)
		var compared [][]Watched
		for _, name := range names {
			split.Groups = append(split.Groups, Group{name, Estimate(groups[name])})
			split.LeftOut -= len(groups[name])
			compared = append(compared, groups[name])
		}
		split.P, _, _ = LogRank(compared)
		w.Splits = append(w.Splits, split)
	}
	ps := make([]float64, len(w.Splits))
	for i := range w.Splits {
		ps[i] = w.Splits[i].P
	}
	for i, p := range assess.Holm(ps) {
		w.Splits[i].P = p
	}
	return w
}

// Early is the first weeks of a case, in which is looked for what comes before
// trouble later. Looking at a fixed time keeps cases that were watched for long
// from seeming worse (Anderson, Cain & Gelber 1983, J Clin Oncol 1:710).
const Early = 14 * 24 * time.Hour

// Preceding is something found early in a case, and how often trouble came
// afterwards, with it and without.
type Preceding struct {
	Concern       string
	With, Without Share // of the cases that were not yet in trouble, those that came to be
	// Chance is Fisher's one-sided exact probability of so many or more, were
	// there no connection; corrected by Holm's method for all that are listed.
	Chance float64
}

// warned is when a case first asked the breeder to step in for the animal
// itself; the zero time: never.
func (s *Sale) warned() (first time.Time) {
	for i := range s.Flags {
		if f := &s.Flags[i]; bodily(f.Code) {
			if at := reached(f, care.StepIn); !at.IsZero() && (first.IsZero() || at.Before(first)) {
				first = at
			}
		}
	}
	return first
}

// trouble is when a case was warned of, or else when it ended badly; the zero
// time: never.
func (s *Sale) trouble() time.Time {
	if at := s.warned(); !at.IsZero() || !bad(s.Outcome) {
		return at
	}
	return s.Until
}

// bodily concerns are of the animal; the others are of where it lives.
func bodily(code string) bool {
	switch code {
	case assess.ConcernRefusal, assess.ConcernWeight, assess.ConcernRegurgitation:
		return true
	}
	return strings.HasPrefix(code, "sign:")
}

func bad(o care.Outcome) bool {
	return o == care.OutcomeReturned || o == care.OutcomeVet || o == care.OutcomeDied
}

// reached is when a flag first stood at a level or above; the zero time: never.
func reached(f *care.Flag, level care.Standing) time.Time {
	for _, h := range f.History {
		if h.Level >= level && h.What != "closed" {
			return h.At
		}
	}
	return time.Time{}
}

func preceding(sales []Sale) []Preceding {
	type sale struct {
		found   map[string]bool
		trouble bool
	}
	var told []sale
	codes := map[string]int{}
	for i := range sales {
		s := &sales[i]
		mark := s.HandedOver.Add(Early)
		trouble := s.trouble()
		if s.Until.Before(mark) || !trouble.IsZero() && !trouble.After(mark) {
			continue
		}
		t := sale{map[string]bool{}, !trouble.IsZero()}
		for _, f := range s.Flags {
			if !bodily(f.Code) && !f.OpenedAt.After(mark) && !t.found[f.Code] {
				t.found[f.Code] = true
				codes[f.Code]++
			}
		}
		told = append(told, t)
	}
	var out []Preceding
	for code, n := range codes {
		if n < 2 || n == len(told) {
			continue // nothing to compare with
		}
		var with, without, all int
		for _, t := range told {
			switch {
			case t.trouble && t.found[code]:
				with++
			case t.trouble:
				without++
			}
			if t.trouble {
				all++
			}
		}
		out = append(out, Preceding{Concern: code, With: ShareOf(with, n), Without: ShareOf(without, len(told)-n),
			Chance: assess.AtLeast(with, n, all, len(told))})
	}
	slices.SortFunc(out, func(a, b Preceding) int {
		return cmp.Or(cmp.Compare(a.Chance, b.Chance), strings.Compare(a.Concern, b.Concern))
	})
	ps := make([]float64, len(out))
	for i := range out {
		ps[i] = out[i].Chance
	}
	for i, p := range assess.Holm(ps) {
		out[i].Chance = p
	}
	return out
}

// Found is a setup point or a climate limit that came up, and how it went.
type Found struct {
	Concern string
	Cases   Share // of all
	Righted int   // of them put right
	// Days is the median until it was put right, among those; NaN for none.
	Days float64
}

func home(sales []Sale) []Found {
	type seen struct {
		cases int
		right []float64
	}
	all := map[string]*seen{}
	for i := range sales {
		in := map[string]bool{}
		for _, f := range sales[i].Flags {
			if !strings.HasPrefix(f.Code, "setup:") && !strings.HasPrefix(f.Code, "climate_") {
				continue
			}
			s := all[f.Code]
			if s == nil {
				s = &seen{}
				all[f.Code] = s
			}
			if in[f.Code] {
				continue // the first time counts
			}
			in[f.Code] = true
			s.cases++
			// What closes with the case was not put right.
			if f.ClosedAt != nil && f.ClosedAt.Before(sales[i].Until) {
				s.right = append(s.right, days(f.ClosedAt.Sub(f.OpenedAt)))
			}
		}
	}
	var out []Found
	for code, s := range all {
		out = append(out, Found{code, ShareOf(s.cases, len(sales)), len(s.right), median(s.right)})
	}
	slices.SortFunc(out, func(a, b Found) int {
		return cmp.Or(cmp.Compare(b.Cases.K, a.Cases.K), strings.Compare(a.Concern, b.Concern))
	})
	return out
}

// Warnings is how the service's own warnings did, by how cases ended. A case that
// lost touch says nothing.
type Warnings struct {
	// Harmed are the cases that ended badly, K of them warned of before the end.
	Harmed Share
	// Ahead is the median of days from the first warning to the end, among those; NaN
	// for none.
	Ahead float64
	// Calm are the cases that ended settled, K of them warned of all the same.
	Calm Share
}

func warnings(sales []Sale) Warnings {
	var harmed, warned, calm, alarmed int
	var ahead []float64
	for i := range sales {
		s := &sales[i]
		first := s.warned()
		switch {
		case bad(s.Outcome):
			harmed++
			if !first.IsZero() && first.Before(s.Until) {
				warned++
				ahead = append(ahead, days(s.Until.Sub(first)))
			}
		case s.Outcome == care.OutcomeSettled:
			calm++
			if !first.IsZero() {
				alarmed++
			}
		}
	}
	return Warnings{ShareOf(warned, harmed), median(ahead), ShareOf(alarmed, calm)}
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(v))
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}
