package insight

import (
	"fmt"
	"math"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

var t0 = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

func at(day float64) time.Time { return t0.Add(time.Duration(day * 24 * float64(time.Hour))) }

func flag(code string, level care.Standing, opened, closed float64) care.Flag {
	f := care.Flag{Code: code, Level: level, OpenedAt: at(opened), History: []care.FlagChange{{At: at(opened), Level: level, What: "opened"}}}
	if closed > 0 {
		when := at(closed)
		f.ClosedAt = &when
		f.History = append(f.History, care.FlagChange{At: when, Level: level, What: "closed"})
	}
	return f
}

// Ten sales, counted by hand.
func book() (sales []Sale) {
	for i := range 10 {
		s := Sale{Case: fmt.Sprint(i), HandedOver: t0, Until: at(60), Clutch: "26-1", Species: "Ball python", Meals: []time.Time{at(6.2), at(13), at(20)}}
		if i >= 5 {
			s.Clutch = "26-2"
			s.Meals = []time.Time{at(20.5)}
		}
		sales = append(sales, s)
	}
	sales[9].Meals, sales[9].Until = nil, at(9)
	for i := 5; i < 9; i++ { // too cool early on, and later they refuse
		sales[i].Flags = []care.Flag{flag("climate_warm_low", care.Watch, 3, 10), flag(assess.ConcernRefusal, care.StepIn, 30, 0)}
	}
	sales[0].Flags = []care.Flag{flag("climate_warm_low", care.Watch, 30, 0)} // too late to count as early
	sales[1].Flags = []care.Flag{flag(assess.ConcernWeight, care.Vet, 5, 9)}  // in trouble before the mark
	sales[2].Flags = []care.Flag{flag("setup:lid_gaps", care.StepIn, 2, 60)}  // closed by the end, and not of the body
	sales[2].Outcome = care.OutcomeSettled
	sales[5].Outcome, sales[6].Outcome = care.OutcomeReturned, care.OutcomeDied
	sales[6].Until = at(29) // before its flag
	sales[1].Outcome, sales[3].Outcome = care.OutcomeSettled, care.OutcomeLostTouch
	return sales
}

func TestOf(t *testing.T) {
	t.Parallel()
	in := Of(book())
	if in.Sales != 10 || in.First.All.Of != 10 || in.First.All.Came != 9 || in.Third.All.Came != 5 {
		t.Errorf("%+v", in)
	}
	// Five eat on the seventh day; one is heard of until the ninth; four of four that are left on the 21st.
	if p := in.First.All.Points; len(p) != 3 || p[0].Day != 7 || p[0].Waiting != .5 || p[1].Day != 9 || p[1].Came != 0 || p[2].Day != 21 || p[2].Waiting != 0 {
		t.Errorf("first meal: %+v", p)
	}
	near(t, "median", in.First.All.Median, 14, 0)
	if len(in.First.Splits) != 1 || in.First.Splits[0].By != "clutch" || len(in.First.Splits[0].Groups) != 2 || in.First.Splits[0].LeftOut != 0 || !(in.First.Splits[0].P < .01) {
		t.Errorf("splits: %+v", in.First.Splits)
	}

	// Of eight that were watched to day 14 without trouble, four were too cool early, and all
	// four came to trouble; of the other four nobody did. 1 of the 70 ways.
	if len(in.Preceding) != 1 {
		t.Fatalf("%+v", in.Preceding)
	}
	p := in.Preceding[0]
	if p.Concern != "climate_warm_low" || p.With.K != 4 || p.With.N != 4 || p.Without.K != 0 || p.Without.N != 4 {
		t.Errorf("%+v", p)
	}
	near(t, "chance", p.Chance, 1./70, 1e-12)

	if len(in.Home) != 2 || in.Home[0].Concern != "climate_warm_low" || in.Home[0].Cases.K != 5 || in.Home[0].Righted != 4 || in.Home[0].Days != 7 ||
		in.Home[1].Concern != "setup:lid_gaps" || in.Home[1].Righted != 0 || !math.IsNaN(in.Home[1].Days) {
		t.Errorf("%+v", in.Home)
	}
	w := in.Warnings
	if w.Harmed.K != 1 || w.Harmed.N != 2 || w.Calm.K != 1 || w.Calm.N != 2 {
		t.Errorf("%+v", w)
	}
	near(t, "days ahead", w.Ahead, 30, 0)
}

// What was learned is counted of those that came back.
func TestLessons(t *testing.T) {
	t.Parallel()
	in := Of([]Sale{
		{Outcome: care.OutcomeReturned, Lessons: []string{"hides", "late"}}, {Outcome: care.OutcomeReturned, Lessons: []string{"late"}},
		{Outcome: care.OutcomeReturned}, {Outcome: care.OutcomeSettled}, {},
	})
	if len(in.Lessons) != 2 || in.Lessons[0].Code != "late" || in.Lessons[0].Cases.K != 2 || in.Lessons[0].Cases.N != 3 || in.Lessons[1].Code != "hides" || in.Lessons[1].Cases.K != 1 {
		t.Errorf("%+v", in.Lessons)
	}
}

func TestOfNobody(t *testing.T) {
	t.Parallel()
	in := Of(nil)
	if in.Sales != 0 || len(in.First.Splits) != 0 || len(in.Preceding) != 0 || !math.IsNaN(in.First.All.Median) || !math.IsNaN(in.Warnings.Ahead) {
		t.Errorf("%+v", in)
	}
}

// Small groups are not shown by themselves, and large numbers of groups are cut to the largest.
func TestSplits(t *testing.T) {
	t.Parallel()
	var sales []Sale
	for clutch := range 9 {
		for i := range 3 + clutch {
			sales = append(sales, Sale{HandedOver: t0, Until: at(40), Clutch: fmt.Sprint("26-", clutch), ShowDay: "one", Meals: []time.Time{at(float64(5 + i))}})
		}
	}
	splits := Of(sales).First.Splits
	if len(splits) != 1 {
		t.Fatalf("%+v", splits)
	}
	s := splits[0]
	if len(s.Groups) != Most || s.Groups[0].Name != "26-8" || s.Groups[0].Curve.Of != 11 || s.LeftOut != 3+4+5 {
		t.Errorf("%d groups, the first %s of %d; %d left out", len(s.Groups), s.Groups[0].Name, s.Groups[0].Curve.Of, s.LeftOut)
	}
}
