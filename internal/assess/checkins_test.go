package assess

import (
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
)

// planned is a hatchling with a weight of the breeder's, and what came after.
func planned(more ...care.Entry) (*Subject, []care.Entry) {
	hatched := d0.AddDate(0, -4, 0)
	s := &Subject{Animal: care.Animal{Species: "python_regius", Hatched: &hatched}, HandedOverAt: d0, Hemi: care.North}
	log := []care.Entry{{ID: "w", By: care.BreederOwner, HappenedAt: at(-1), ReceivedAt: at(-1), Body: care.WeighIn{Mass: 90}}}
	for i := range more {
		more[i].ID, more[i].ReceivedAt = "k"+strconv.Itoa(i), more[i].HappenedAt
		if more[i].By == "" {
			more[i].By = care.KeeperActor
		}
	}
	return s, append(log, more...)
}

func happened(d float64, b care.Body) care.Entry { return care.Entry{HappenedAt: at(d), Body: b} }

// next is the first check-in on a day.
func next(t *testing.T, s *Subject, log []care.Entry, d float64) CheckIn {
	t.Helper()
	a := Assess(s, log, at(d))
	if len(a.CheckIns) == 0 {
		t.Fatalf("day %v: nothing is planned", d)
	}
	return a.CheckIns[0]
}

var (
	warmEnd    = care.Celsius(32)
	coolEnd    = care.Celsius(26)
	warmEnough = care.ClimateReading{Warm: &warmEnd, Cool: &coolEnd, TakenWith: care.WithProbe}
	allWell    = care.SetupCheck{Answers: []care.SetupAnswer{{Point: "hides", Choice: "both_ends"}}}
	ate        = care.Offer{Result: care.Eaten, Prey: "rat"}
)

// What is asked of a keeper of whom nothing is heard, day by day: the moments in
// turn, one at a time.
func TestCheckInsInTurn(t *testing.T) {
	t.Parallel()
	s, log := planned()
	for _, c := range []struct {
		day      float64
		id, ask  string
		on, more int // the day it is due; how many are planned in all, at least
	}{
		{.2, "first_night", AskWord, 1, 5},
		{1.5, "first_night", AskWord, 1, 5},
		{3.1, "settling_in", AskSetup, 3, 4},
		{float64(usualAgain) - .9, "before_offer", AskClimate, usualAgain - 1, 3},
		{float64(usualAgain) + 1.1, "after_offer", AskFood, usualAgain + 1, 2},
	} {
		got := next(t, s, log, c.day)
		if got.ID != c.id || got.Ask != c.ask || !got.At.Equal(at(float64(c.on))) || got.Question.String() == "" {
			t.Errorf("day %v: %+v, want %s about %s on day %d", c.day, got, c.id, c.ask, c.on)
		}
		if n := len(Assess(s, log, at(c.day)).CheckIns); n < c.more {
			t.Errorf("day %v: %d are planned, want %d or more", c.day, n, c.more)
		}
	}
}

// Nothing is asked that the log says.
func TestCheckInsKnowTheLog(t *testing.T) {
	t.Parallel()
	has := func(s *Subject, log []care.Entry, d float64, code string) bool {
		return slices.ContainsFunc(Assess(s, log, at(d)).CheckIns, func(c CheckIn) bool { return c.Code == code })
	}
	for _, c := range []struct {
		code   string
		day    float64
		answer care.Entry
	}{
		{care.CheckInFirstNight, 1, happened(.7, care.Message{Text: "It sleeps."})},
		{care.CheckInAfterOffer, 8, happened(7.5, ate)},
		{care.CheckInMonthEnd, 30, happened(27, care.WeighIn{Mass: 95})},
	} {
		s, log := planned()
		if !has(s, log, c.day, c.code) {
			t.Errorf("%s is not asked on day %v", c.code, c.day)
		}
		s, log = planned(c.answer, happened(29, care.Message{Text: "All is well."}))
		if has(s, log, c.day+.9, c.code) && c.code != care.CheckInMonthEnd || has(s, log, 30.5, c.code) {
			t.Errorf("%s is asked although the log says it", c.code)
		}
	}
	// Opening the app is no answer, and the setup check leaves the warmth to ask for.
	s, log := planned(happened(.8, care.Seen{}))
	if got := next(t, s, log, 1.1); got.Code != care.CheckInFirstNight {
		t.Errorf("after opening the app: %+v", got)
	}
	s, log = planned(happened(1.2, allWell))
	if got := next(t, s, log, 3.1); got.Code != care.CheckInSettlingIn || got.Ask != AskClimate {
		t.Errorf("after the setup check: %+v", got)
	}
	s, log = planned(happened(1.2, allWell), happened(1.3, warmEnough))
	if has(s, log, 2, care.CheckInSettlingIn) || has(s, log, 2, care.CheckInBeforeOffer) {
		t.Error("setup and warmth are asked for twice")
	}
	// Nobody to ask, and nothing left to ask.
	s.Unclaimed = true
	if got := Assess(s, log, at(2)).CheckIns; got != nil {
		t.Errorf("unclaimed: %+v", got)
	}
	s.Unclaimed = false
	log = append(log, care.Entry{ID: "end", By: care.BreederOwner, HappenedAt: at(4), ReceivedAt: at(4), Body: care.Ended{Outcome: care.OutcomeSettled}})
	if got := Assess(s, log, at(5)).CheckIns; got != nil {
		t.Errorf("ended: %+v", got)
	}
}

// An agreed step is not talked over, whatever was due.
func TestCheckInsLeaveInPeace(t *testing.T) {
	t.Parallel()
	step := happened(2, care.StepAgreed{Code: StepInPeace, HoldsDays: 10})
	step.By = care.BreederOwner
	s, log := planned(step)
	for d := 2.5; d < 12; d++ {
		if got := next(t, s, log, d); got.At.Before(at(12)) {
			t.Errorf("day %v: asked about %s on %v while the step holds", d, got.Code, got.At)
		}
	}
	if got := next(t, s, log, 12.1); !got.At.Equal(at(12)) {
		t.Errorf("after it: %+v", got)
	}
}

// A keeper whose animal eats is asked far less often than one whose animal
// refuses; when something is wrong the rhythm is not put off.
func TestCheckInsByStanding(t *testing.T) {
	t.Parallel()
	asked := func(result care.OfferResult) (questions int) {
		var more []care.Entry
		more = append(more, happened(1, allWell), happened(1, warmEnough))
		for d := 6.; d < 60; d += 7 {
			more = append(more, happened(d, care.Offer{Result: result, Prey: "rat"}))
			if result == care.Refused {
				more = append(more, happened(d+.1, care.WeighIn{Mass: care.Grams(90 - d/2)}))
			}
		}
		s, log := planned(more...)
		seen := map[string]bool{}
		for d := 31.; d < 62; d++ {
			for _, c := range Assess(s, log, at(d)).CheckIns {
				if !c.At.After(at(d)) {
					seen[c.ID] = true
				}
			}
		}
		return len(seen)
	}
	eats, refuses := asked(care.Eaten), asked(care.Refused)
	if eats > 1 || refuses < 3 {
		t.Errorf("asked %d times of an eater and %d times of a refuser", eats, refuses)
	}
	wheeze := happened(10, care.Sign{Code: "wheeze"})
	s, log := planned(happened(7, ate), wheeze)
	s.CheckIns.Rhythm = care.NotAsked
	if got := next(t, s, log, 11.1); got.Ask != AskWord || got.Question.String() != "What did the vet say?" || !got.At.Equal(at(11)) {
		t.Errorf("for a vet: %+v", got)
	}
}

// The breeder's plan moves and leaves out, and is checked.
func TestOwnCheckIns(t *testing.T) {
	t.Parallel()
	s, log := planned()
	s.CheckIns = care.CheckIns{FirstNight: care.NotAsked, SettlingIn: 5}
	if got := next(t, s, log, .5); got.Code != care.CheckInSettlingIn || !got.At.Equal(at(5)) {
		t.Errorf("%+v", got)
	}
	for _, code := range care.CheckInCodes {
		var c care.CheckIns
		*c.Of(code) = 100
		if _, err := CheckCheckIns(c); !care.IsCode(err, care.Invalid) {
			t.Errorf("%s in 100 days: %v", code, err)
		}
		i := slices.IndexFunc(ownCheckIns, func(o OwnCheckIn) bool { return o.Code == code })
		*c.Of(code) = ownCheckIns[i].Default
		if kept, err := CheckCheckIns(c); err != nil || kept != (care.CheckIns{}) || ownCheckIns[i].Label == "" {
			t.Errorf("%s as the program has it is kept as %+v, %v", code, kept, err)
		}
		*c.Of(code) = care.NotAsked
		if kept, err := CheckCheckIns(c); err != nil || kept != c {
			t.Errorf("%s left out: %+v, %v", code, kept, err)
		}
	}
}

// The breeder's own words stand in place of the program's while all is well, and
// are checked; whoever brings an animal back is not asked.
func TestOwnWords(t *testing.T) {
	t.Parallel()
	s, log := planned()
	s.CheckIns.Words = care.CheckInWords{FirstNight: "Did it find its hide?", Rhythm: "How are you two?"}
	if got := next(t, s, log, 1.1); got.Question.String() != "Did it find its hide?" || !got.Own {
		t.Errorf("%+v", got)
	}
	if got := next(t, s, log, 3.1); got.Own || got.Question.String() != saySetup.String() {
		t.Errorf("a check-in without own words: %+v", got)
	}
	eats, fed := planned(happened(1, allWell), happened(1, warmEnough), happened(7, ate), happened(14, ate), happened(21, ate), happened(27, care.WeighIn{Mass: 95}))
	eats.CheckIns.Words = s.CheckIns.Words
	if got := next(t, eats, fed, 32); got.Code != care.CheckInRhythm || got.Question.String() != "How are you two?" || !got.Own {
		t.Errorf("while all is well: %+v", got)
	}
	ill, seen := planned(happened(7, ate), happened(10, care.Sign{Code: "wheeze"}))
	ill.CheckIns.Words = s.CheckIns.Words
	if got := next(t, ill, seen, 11.1); got.Own || got.Question.String() != "What did the vet say?" {
		t.Errorf("for a vet: %+v", got)
	}
	s.Returning = true
	if got := Assess(s, log, at(1.1)).CheckIns; got != nil {
		t.Errorf("on its way back: %+v", got)
	}
	for _, code := range care.CheckInCodes {
		var c care.CheckIns
		*c.WordsOf(code) = " Well? "
		kept, err := CheckCheckIns(c)
		if err != nil || *kept.WordsOf(code) != "Well?" {
			t.Errorf("%s: %+v, %v", code, kept, err)
		}
		for _, bad := range []string{"one\ntwo", strings.Repeat("ä", care.CheckInWordsMost+1), "a\x00b"} {
			*c.WordsOf(code) = bad
			if _, err := CheckCheckIns(c); !care.IsCode(err, care.Invalid) {
				t.Errorf("%s: %q is taken: %v", code, bad, err)
			}
		}
	}
}

// For any log: in order, one due at most, none while a step holds, an id for each,
// and the same question keeps its id from one day to the next.
func TestCheckInsHold(t *testing.T) {
	t.Parallel()
	each(t, 300, func(t *testing.T, r *rand.Rand, s *Subject, log []care.Entry) {
		d := float64(r.IntN(90)) + .5
		a := Assess(s, log, at(d))
		var held time.Time
		for i := range log {
			if b, ok := log[i].Body.(care.StepAgreed); ok && log[i].ReplacedBy == "" && !later(log[i].HappenedAt, log[i].ReceivedAt).After(at(d)) && !log[i].HappenedAt.Before(s.HandedOverAt) {
				held = log[i].HappenedAt.Add(time.Duration(b.HoldsDays) * day)
			}
		}
		ids := map[string]bool{}
		for i, c := range a.CheckIns {
			if ids[c.ID] || c.ID == "" || c.Question.String() == "" || c.Ask == "" {
				t.Errorf("%+v", c)
			}
			ids[c.ID] = true
			if i > 0 && (c.At.Before(a.CheckIns[i-1].At) || !c.At.After(at(d))) {
				t.Errorf("day %v: %d. is due %v", d, i, c.At)
			}
			if !held.IsZero() && c.At.Add(day).Before(held) && at(d).Add(day).Before(held) {
				t.Errorf("day %v: %+v although a step holds until %v", d, c, held)
			}
		}
	})
}
