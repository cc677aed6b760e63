package assess

import (
	"slices"
	"strings"
	"testing"

	"warmhand/internal/care"
)

func marked(d float64, kind care.MarkKind, point, text string) care.Entry {
	return care.Entry{ID: "m" + text, By: care.BreederOwner, HappenedAt: at(d), ReceivedAt: at(d), Body: care.Message{Text: text, Mark: &care.Mark{Kind: kind, Point: point}}}
}

func answered(d float64, a care.SetupAnswer) care.Entry {
	return keeperEntry(d, care.SetupCheck{Answers: []care.SetupAnswer{a}})
}

// TestMarks: what the breeder sees in a photo is a concern of its point, until
// the breeder says that it is fine or somebody measures the place.
func TestMarks(t *testing.T) {
	t.Parallel()
	s, history := workedExample()
	history = history[:14:14]
	hole := marked(2, care.MarkHazard, "decor_openings", "The log has a hole at its end.")
	wide := care.SetupAnswer{Point: "decor_openings", Choice: "all_wide"}
	measured := func(mm, sd care.Millimetres) care.SetupAnswer {
		return care.SetupAnswer{Point: "decor_openings", Choice: "all_wide", Measure: mm, MeasureSD: sd}
	}
	keepers := hole
	keepers.By = care.KeeperActor
	for name, c := range map[string]struct {
		log  []care.Entry
		want bool
	}{
		"a hazard":                      {[]care.Entry{hole}, true},
		"over what the keeper answered": {[]care.Entry{answered(1, wide), hole}, true},
		"and over what comes later":     {[]care.Entry{hole, answered(3, wide)}, true},
		"until the breeder says fine":   {[]care.Entry{hole, marked(3, care.MarkFine, "decor_openings", "It is out.")}, false},
		"of another point":              {[]care.Entry{hole, marked(3, care.MarkFine, "tubes", "Fine.")}, true},
		"until it is measured":          {[]care.Entry{hole, answered(3, measured(80, .5))}, false},
		"not by an old measure":         {[]care.Entry{answered(1, measured(80, .5)), hole, answered(3, measured(80, .5))}, true},
		"a measure that is a hazard":    {[]care.Entry{hole, answered(3, measured(24, .5))}, true},
		"a word asks for a picture":     {[]care.Entry{marked(2, care.MarkAgain, "decor_openings", "Once more, please.")}, false},
		"fine over a keeper's worry":    {[]care.Entry{answered(1, care.SetupAnswer{Point: "decor_openings", Choice: "about_body"}), marked(3, care.MarkFine, "decor_openings", "That is wide enough.")}, false},
		"but not over a number":         {[]care.Entry{answered(1, measured(24, .5)), marked(3, care.MarkFine, "decor_openings", "Fine.")}, true},
		"a keeper cannot mark":          {[]care.Entry{keepers}, false},
	} {
		a := Assess(s, append(slices.Clone(history), c.log...), at(5))
		i := slices.IndexFunc(a.Concerns, func(c care.Concern) bool { return c.Code == "setup:decor_openings" && c.Level > care.Settled })
		if (i >= 0) != c.want {
			t.Errorf("%s: concerns %+v", name, a.Concerns)
		}
	}
	a := Assess(s, append(slices.Clone(history), hole), at(5))
	if said := everythingSaid(t, &a); !strings.Contains(said, "The log has a hole at its end") {
		t.Errorf("the breeder's words are not said: %s", said)
	}
}

// TestMeasuredBetter: the error of a photo is its own, smaller than a ruler's or
// larger, and decides with the width.
func TestMeasuredBetter(t *testing.T) {
	t.Parallel()
	s, history := workedExample()
	history = history[:14:14]
	chance := func(mm, sd care.Millimetres) (float64, string) {
		e := answered(1, care.SetupAnswer{Point: "decor_openings", Choice: "all_wide", Measure: mm, MeasureSD: sd})
		a := Assess(s, append(slices.Clone(history), e), at(2))
		for _, c := range a.Concerns {
			if c.Code == "setup:decor_openings" && c.Level > care.Settled {
				return 1, c.Text.String()
			}
		}
		return 0, ""
	}
	// From a width on that a ruler leaves open, a good photo says that it is wide
	// enough, and a bad one that it may not be.
	for mm := care.Millimetres(20); mm < 90; mm++ {
		good, _ := chance(mm, .2)
		bad, text := chance(mm, 6)
		if good == 0 && bad == 1 {
			if !strings.Contains(text, "± 12.0 mm") {
				t.Errorf("the error is not said: %q", text)
			}
			return
		}
	}
	t.Error("the error of the photo changes nothing")
}
