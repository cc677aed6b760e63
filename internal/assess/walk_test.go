package assess

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"syscall"
	"testing"
	"time"

	"warmhand/internal/care"
)

// run takes an engine to an instant, for tests that look inside.
func (e *engine) run(s *Subject, log []care.Entry, now time.Time, _ func(CourseDay)) {
	var w Walker
	w.Reset(s, log)
	w.Step(now)
	*e = *w.at
}

// knownBy is the log as somebody had it before them at an instant: without what
// had not happened or not come in, and without the corrections that came later.
func knownBy(log []care.Entry, now time.Time) (known []care.Entry) {
	in := map[string]bool{}
	for _, e := range log {
		if !e.HappenedAt.After(now) && !e.ReceivedAt.After(now) {
			in[e.ID] = true
		}
	}
	for _, e := range log {
		if in[e.ID] {
			if !in[e.ReplacedBy] && slices.ContainsFunc(log, func(by care.Entry) bool { return by.ID == e.ReplacedBy }) {
				e.ReplacedBy = ""
			}
			known = append(known, e)
		}
	}
	return known
}

// muddle makes of a log what phones make of it: entries that come in days late,
// corrections, withdrawals, ends and reopenings.
func muddle(r *rand.Rand, log []care.Entry) []care.Entry {
	log = slices.Clone(log)
	for i := range log {
		switch r.IntN(4) {
		case 0:
			log[i].ReceivedAt = log[i].HappenedAt.Add(time.Duration(r.ExpFloat64() * 5 * float64(day)))
		case 1:
			log[i].ReceivedAt = log[i].HappenedAt.Add(time.Duration(r.ExpFloat64() * float64(time.Minute)))
		}
	}
	for n := range len(log) / 6 {
		i := r.IntN(len(log))
		old := &log[i]
		if old.ReplacedBy != "" || old.Replaces != "" {
			continue
		}
		by := *old
		by.ID, by.Replaces = "by"+strconv.Itoa(n), old.ID
		by.ReceivedAt = later(old.HappenedAt, old.ReceivedAt).Add(time.Duration(r.ExpFloat64() * 3 * float64(day)))
		by.HappenedAt = by.HappenedAt.Add(time.Duration(r.NormFloat64() * float64(day)))
		if r.IntN(3) == 0 {
			by.Body = care.Withdrawal{}
		}
		old.ReplacedBy = by.ID
		log = append(log, by)
	}
	for n := range r.IntN(4) {
		t := at(80 * r.Float64())
		log = append(log, care.Entry{ID: "end" + strconv.Itoa(n), By: care.BreederOwner, HappenedAt: t, ReceivedAt: t.Add(time.Duration(r.IntN(3)) * day),
			Body: care.Ended{Outcome: care.OutcomeSettled, Reopened: n%2 == 1}})
	}
	slices.SortStableFunc(log, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
	return log
}

// checkWalk compares every step of a walk with an assessment of its own, by
// somebody who had nothing before them but what was known then.
func checkWalk(t *testing.T, w *Walker, s *Subject, log []care.Entry, steps []time.Time) {
	t.Helper()
	w.Reset(s, log)
	for i, now := range steps {
		n := w.Step(now)
		if i%3 == 1 {
			continue // nobody asks for the words
		}
		got, want := w.Assessment(), Assess(s, knownBy(log, now), now)
		if !reflect.DeepEqual(n, got.Numbers) || !reflect.DeepEqual(got, want) {
			t.Fatalf("step %d at %v:\n%+v\nby itself:\n%+v", i, now, got, want)
		}
		first := ""
		if len(want.Concerns) > 0 {
			first = want.Concerns[0].Code
		}
		if got := w.Gravest(); got != first {
			t.Fatalf("step %d: the gravest concern is %q, want %q", i, got, first)
		}
	}
}

func TestWalkIsAssess(t *testing.T) {
	t.Parallel()
	var w Walker // one for all: nothing of a case may stay behind
	each(t, 300, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		if r.IntN(2) == 0 {
			log = muddle(r, log)
		}
		for i := range log { // the same weight again is news as well
			if w, ok := log[i].Body.(care.WeighIn); ok && r.IntN(2) == 0 {
				log[i].Body = care.WeighIn{Mass: care.Grams(20 * math.Ceil(float64(w.Mass)/20))}
			}
		}
		every := []time.Duration{day, day, 6 * time.Hour, 7*time.Hour + time.Millisecond, 60 * time.Hour}[r.IntN(5)]
		var steps []time.Time
		for now := at(-2 * float64(r.IntN(2))); now.Before(at(90)); now = now.Add(every) {
			steps = append(steps, now)
		}
		if r.IntN(4) == 0 {
			r.Shuffle(len(steps), func(i, j int) { steps[i], steps[j] = steps[j], steps[i] })
			steps = steps[:20]
		}
		checkWalk(t, &w, s, log, steps)
	})
}

// TestWalkGrows: a walk whose log grows by what came in says what an assessment of
// that log by itself says.
func TestWalkGrows(t *testing.T) {
	t.Parallel()
	went := 0
	each(t, 300, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		if r.IntN(3) > 0 {
			log = muddle(r, log)
		}
		var w Walker
		w.Reset(s, nil)
		every := []time.Duration{day, 6 * time.Hour, 7*time.Hour + time.Millisecond, 60 * time.Hour}[r.IntN(4)]
		for now := at(-2 * float64(r.IntN(2))); now.Before(at(90)); now = now.Add(every) {
			so := knownBy(log, now)
			w.Grow(so)
			if w.at != nil && w.past.day > 0 {
				went++
			}
			w.Step(now)
			if got, want := w.Assessment(), Assess(s, so, now); !reflect.DeepEqual(got, want) {
				t.Fatalf("at %v:\n%+v\nby itself:\n%+v", now, got, want)
			}
		}
	})
	if went < 10000 {
		t.Errorf("%d walks went on: the rest of them began again", went)
	}
}

func TestWalkScenarios(t *testing.T) {
	t.Parallel()
	for _, name := range scenarios(t) {
		s := readScenario(t, name)
		var w Walker
		var daily, odd []time.Time
		for d := 0.; d < 120; d++ {
			daily, odd = append(daily, s.at(d)), append(odd, s.at(d*1.37))
		}
		checkWalk(t, &w, &s.subject, s.log, daily)
		checkWalk(t, &w, &s.subject, s.log, odd)
	}
}

// An end that lies later, or is not known of yet, stops no earlier step.
func TestLaterEndStopsNothing(t *testing.T) {
	t.Parallel()
	s, log := workedExample()
	end := care.Entry{ID: "end", By: care.BreederOwner, HappenedAt: at(20), ReceivedAt: at(25), Body: care.Ended{Outcome: care.OutcomeSettled}}
	i, _ := slices.BinarySearchFunc(log, end, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
	log = slices.Insert(log, i, end)
	var w Walker
	w.Reset(s, log)
	for d := range 40 {
		a := w.Step(at(float64(d)))
		if want := d; d < 25 && (a.Day != want || a.DueAt.Equal(never)) {
			t.Errorf("day %d: assessed on day %d, due %v", d, a.Day, a.DueAt)
		} else if d >= 25 && (a.Day != 20 || !a.DueAt.Equal(never)) {
			t.Errorf("day %d: assessed on day %d, due %v, but it ended on day 20", d, a.Day, a.DueAt)
		}
	}
}

// What past and today share would be written over: every slice is its own.
func TestAssignSharesNothing(t *testing.T) {
	t.Parallel()
	var from, to engine
	fill := reflect.ValueOf(&from).Elem()
	for i := range fill.NumField() {
		if f := fill.Field(i); f.Kind() == reflect.Slice {
			f = reflect.NewAt(f.Type(), f.Addr().UnsafePointer()).Elem()
			f.Set(reflect.MakeSlice(f.Type(), 2, 8))
		}
	}
	to.assign(&from)
	a, b := reflect.ValueOf(&from).Elem(), reflect.ValueOf(&to).Elem()
	for i := range a.NumField() {
		switch f := a.Field(i); f.Kind() {
		case reflect.Slice:
			if f.UnsafePointer() == b.Field(i).UnsafePointer() {
				t.Errorf("%s is shared: copy it in assign and empty it in begin", a.Type().Field(i).Name)
			}
		case reflect.Map, reflect.Chan:
			t.Errorf("%s would be shared: use a slice", a.Type().Field(i).Name)
		}
	}
}

// BenchmarkWalkDay is the cost of one day of one case without words; the limit
// is 5 µs and no allocation.
func BenchmarkWalkDay(b *testing.B) {
	const days, limit = 180, 5e3 // ns
	s, log := benchCase(days)
	var w Walker
	walk := func() {
		w.Reset(s, log)
		for d := range days + 1 {
			w.Step(at(float64(d)))
		}
	}
	walk()
	if n := testing.AllocsPerRun(1, walk); n > 0 {
		b.Errorf("%v allocations in a walk", n)
	}
	b.ReportAllocs()
	var before, after syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &before); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		walk()
	}
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &after); err != nil {
		b.Fatal(err)
	}
	perDay := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / (days + 1)
	b.ReportMetric(perDay, "ns/case-day")
	b.ReportMetric(perDay/limit, "limit-ratio") // below 1
	// By the work done, which others on the machine do not change.
	cpu := float64(after.Utime.Nano()-before.Utime.Nano()+after.Stime.Nano()-before.Stime.Nano()) / float64(b.N) / (days + 1)
	b.ReportMetric(cpu/limit, "cpu-limit-ratio")
}
