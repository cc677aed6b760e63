package assess

import (
	"bufio"
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
)

// line is one line of a scenario; see testdata/scenarios/README.md.
type line struct {
	Kind       string          `json:"kind"`
	Title      string          `json:"title"`
	Why        string          `json:"why"`
	At         time.Time       `json:"at"`
	Species    string          `json:"species"`
	Hatched    string          `json:"hatched"`
	Sex        care.Sex        `json:"sex"`
	Genes      []string        `json:"genes"`
	Hemisphere care.Hemisphere `json:"hemisphere"`
	Day        float64         `json:"day"`
	ID         string          `json:"id"`
	Replaces   string          `json:"replaces"`
	By         care.ActorKind  `json:"by"`
	look
}

type look struct {
	Standing string   `json:"standing"`
	Concerns []string `json:"concerns"`
	Quiet    bool     `json:"quiet"`
	Not      []string `json:"not"`
	Cause    string   `json:"cause"`
	Step     any      `json:"step"`
	Steps    []string `json:"steps"`
	NoStep   string   `json:"no_step"`
	Change   string   `json:"change"`
	AskFrom  float64  `json:"ask_from"`
	AskBy    float64  `json:"ask_by"`
}

type scenario struct {
	subject Subject
	log     []care.Entry
	looks   []line
}

func (s *scenario) at(day float64) time.Time {
	return care.Instant(s.subject.HandedOverAt.Add(time.Duration(day * 24 * float64(time.Hour))))
}

func readScenario(t testing.TB, name string) *scenario {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	s := &scenario{}
	in := bufio.NewScanner(bytes.NewReader(data))
	for n := 1; in.Scan(); n++ {
		var l line
		if err := json.Unmarshal(in.Bytes(), &l); err != nil {
			t.Fatalf("%s:%d: %v", name, n, err)
		}
		switch l.Kind {
		case "scenario":
			if l.Why == "" {
				t.Fatalf("%s:%d: why is missing", name, n)
			}
		case "handover":
			hatched, err := time.Parse(time.DateOnly, l.Hatched)
			if err != nil {
				t.Fatalf("%s:%d: %v", name, n, err)
			}
			s.subject = Subject{Animal: care.Animal{Species: l.Species, Sex: l.Sex, Hatched: &hatched, Genes: l.Genes}, HandedOverAt: l.At, Hemi: l.Hemisphere}
		case "look":
			s.looks = append(s.looks, l)
		default:
			body, err := care.DecodeBody(care.Kind(l.Kind), in.Bytes())
			if err != nil {
				t.Fatalf("%s:%d: %v", name, n, err)
			}
			e := care.Entry{ID: l.ID, Replaces: l.Replaces, By: l.By, HappenedAt: s.at(l.Day), ReceivedAt: s.at(l.Day), Body: body}
			if e.ID == "" {
				e.ID = "line-" + strconv.Itoa(n)
			}
			if e.By == "" {
				e.By = care.KeeperActor
				if l.Day < 0 {
					e.By = care.BreederOwner
				}
			}
			if err := care.CheckEntry(&e, e.HappenedAt); err != nil && e.Body.Kind() != care.KindOutcome {
				t.Fatalf("%s:%d: %v", name, n, err)
			}
			s.log = append(s.log, e)
		}
	}
	for _, e := range s.log {
		for i := range s.log {
			if e.Replaces == s.log[i].ID {
				s.log[i].ReplacedBy = e.ID
			}
		}
	}
	slices.SortStableFunc(s.log, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
	return s
}

func scenarios(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob("../../testdata/scenarios/*.jsonl")
	if err != nil || len(files) < 12 {
		t.Fatalf("scenarios: %v, %v", files, err)
	}
	return files
}

func TestScenarios(t *testing.T) {
	t.Parallel()
	for _, name := range scenarios(t) {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".jsonl"), func(t *testing.T) {
			t.Parallel()
			s := readScenario(t, name)
			if len(s.looks) == 0 {
				t.Fatal("nobody looks")
			}
			for _, l := range s.looks {
				a := Assess(&s.subject, s.log, s.at(l.Day))
				checkLook(t, &l, &a)
				if tries := WhatWouldChange(&s.subject, s.log, s.at(l.Day), 3); l.Change != "" && (len(tries) == 0 || tries[0].Code != l.Change) {
					t.Errorf("day %v: %+v would change it, want %s first", l.Day, tries, l.Change)
				}
				if a.Headline.String() == "" || a.KeeperSees.String() == "" || a.KeeperMeans.String() == "" || a.KeeperWorry.String() == "" {
					t.Errorf("day %v: something is left unsaid: %+v", l.Day, a)
				}
			}
		})
	}
}

func checkLook(t *testing.T, l *line, a *Assessment) {
	t.Helper()
	var codes, steps []string
	for _, c := range a.Concerns {
		codes = append(codes, c.Code)
	}
	for _, s := range a.Steps {
		steps = append(steps, s.Code)
	}
	if !slices.Contains(strings.Split(l.Standing, "|"), a.Standing.String()) {
		t.Errorf("day %v: standing %v, want %s (log-odds %.2f, loss %.1f %%, concerns %v, %s)", l.Day, a.Standing, l.Standing, a.LogOdds, a.LossPct, codes, a.Headline)
	}
	for _, c := range l.Concerns {
		if !slices.Contains(codes, c) {
			t.Errorf("day %v: no concern %q in %v", l.Day, c, codes)
		}
	}
	for _, c := range l.Not {
		if slices.Contains(codes, c) {
			t.Errorf("day %v: concern %q is open", l.Day, c)
		}
	}
	if l.Quiet && len(codes) > 0 {
		t.Errorf("day %v: concerns %v, want silence", l.Day, codes)
	}
	if l.Cause != "" && (len(a.Causes) == 0 || a.Causes[0].Code != l.Cause) {
		t.Errorf("day %v: causes %+v, want %s first", l.Day, a.Causes, l.Cause)
	}
	if want, _ := l.Step.(string); want != "" && (len(steps) == 0 || steps[0] != want) {
		t.Errorf("day %v: steps %v, want %s first", l.Day, steps, want)
	}
	for _, want := range l.Steps {
		if !slices.Contains(steps, want) {
			t.Errorf("day %v: steps %v, want %s among them", l.Day, steps, want)
		}
	}
	if in := a.AskAt.Sub(a.At).Hours() / 24; l.AskFrom > 0 && in < l.AskFrom || l.AskBy > 0 && in > l.AskBy {
		t.Errorf("day %v: asked about %q in %.1f days, want %v to %v", l.Day, a.Ask, in, l.AskFrom, l.AskBy)
	}
	if l.NoStep != "" && slices.Contains(steps, l.NoStep) {
		t.Errorf("day %v: steps %v, want no %s", l.Day, steps, l.NoStep)
	}
}
