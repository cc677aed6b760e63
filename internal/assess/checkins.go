package assess

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// What else than a question of outlook a check-in may ask for.
const (
	AskSetup   = "setup"   // the walk through the setup checklist
	AskClimate = "climate" // a reading of the warm end
)

// CheckIn is a planned moment at which the keeper is asked one thing.
type CheckIn struct {
	// ID is the same as long as it is the same question: a moment's code, or the
	// rhythm's with the day after which it asks.
	ID       string     `json:"id"`
	Code     string     `json:"code"`
	At       time.Time  `json:"at"` // the day begins then, counted from the handover
	Ask      string     `json:"ask"`
	Question words.Text `json:"question"`
	Own      bool       `json:"own,omitzero"` // Question is in the breeder's words
}

// OwnCheckIn is a check-in that a breeder may move or leave out.
type OwnCheckIn struct {
	Code, Label, About   string
	Default, Least, Most int // days
	// Questions are the program's own words, one for each thing it may ask for.
	Questions []words.Text
}

// The program's own words.
var (
	sayFirstNight = words.Say("How was the first night?")
	saySetup      = words.Say("Is its new home safe for it? Please walk through the setup check.")
	sayClimate    = words.Say("How warm is it at both ends?")
	sayFirstMeal  = words.Say("How did its first meal go?")
	sayMonthMass  = words.Say("A month is over. What does it weigh now?")
	sayMonthWord  = words.Say("A month is over. How are the two of you?")
)

var ownCheckIns = func() []OwnCheckIn {
	list := []OwnCheckIn{
		{Code: care.CheckInFirstNight, Label: "After the first night", About: "Days after the handover. One word on how it arrived; not asked of a keeper who has written by then.", Questions: []words.Text{sayFirstNight}},
		{Code: care.CheckInSettlingIn, Label: "Settling in", About: "Days after the handover. The setup check, or else the warmth; not asked when both are there.", Questions: []words.Text{saySetup, sayClimate}},
		{Code: care.CheckInBeforeOffer, Label: "Before the first meal", About: "Days before the first meal is due. What is still missing of warmth and setup; not asked when nothing is.", Questions: []words.Text{sayClimate, saySetup}},
		{Code: care.CheckInAfterOffer, Label: "After the first meal", About: "Days after the first meal is due. How it went; not asked once it was written down.", Questions: []words.Text{sayFirstMeal}},
		{Code: care.CheckInRhythm, Label: "From then on", About: "The least days between two questions while all is well. An animal that eats is asked about less often by itself. When something is wrong the questions come sooner, and none is left out; those are ours, own words are for the calm ones."},
		{Code: care.CheckInMonthEnd, Label: "After a month", About: "Days after the handover. A weight, or else one word; not asked when the log has it.", Questions: []words.Text{sayMonthMass, sayMonthWord}},
	}
	days := snake.Group("check-in", 3)
	for i := range list {
		v := days[list[i].Code]
		list[i].Default, list[i].Least, list[i].Most = int(v[0]), int(v[1]), int(v[2])
	}
	return list
}()

var (
	// lapses is for how many days a check-in at a fixed time waits for its answer.
	lapses = int(snake.Number("ask", "lapses"))
	// repeats is how often a question of the rhythm that nobody answers is put again;
	// silence beyond that is for the breeder to see.
	repeats = int(snake.Number("ask", "repeats"))
)

// OwnCheckIns are the check-ins that a breeder may move, in the order in which
// they are shown. The list must not be changed.
func OwnCheckIns() []OwnCheckIn { return ownCheckIns }

// CheckCheckIns checks what a breeder wants and returns it as it is kept: without
// what is the program's own. What is wrong is a BadField error that names it.
func CheckCheckIns(c care.CheckIns) (care.CheckIns, error) {
	for _, o := range ownCheckIns {
		switch v := c.Of(o.Code); {
		case *v == o.Default:
			*v = 0
		case *v != 0 && *v != care.NotAsked && (*v < o.Least || *v > o.Most):
			return c, care.BadField("check_in_plan.own."+o.Code, "“{name}” goes from {least} to {most}. Choose a number of days between them, or leave it out.", words.Say(o.Label), dayCount(o.Least), dayCount(o.Most))
		}
		w := c.WordsOf(o.Code)
		*w = strings.TrimSpace(*w)
		switch {
		case utf8.RuneCountInString(*w) > care.CheckInWordsMost:
			return c, care.BadField("check_in_plan.words."+o.Code, "Keep the words for “{name}” to {most} characters: a question is read at a glance.", words.Say(o.Label), care.CheckInWordsMost)
		case strings.ContainsFunc(*w, unicode.IsControl):
			return c, care.BadField("check_in_plan.words."+o.Code, "Write the words for “{name}” on one line, without control characters.", words.Say(o.Label))
		}
	}
	return c, nil
}

// planned is how many days the breeder wants for a check-in, and whether it is
// asked at all; of one that is not, the days are the program's own.
func (e *engine) planned(code string) (days int, asked bool) {
	days = *e.s.CheckIns.Of(code)
	asked = days != care.NotAsked
	if days <= 0 {
		i := slices.IndexFunc(ownCheckIns, func(o OwnCheckIn) bool { return o.Code == code })
		days = ownCheckIns[i].Default
	}
	return days, asked
}

// checkIns is what is asked next, the soonest first: the one that is due, if any,
// and those to come as things stand. Nothing is asked that the log says already,
// and nothing while an agreed step holds. Of several that are due the latest
// counts: one thing is asked at a time.
func (e *engine) checkIns(a *Assessment) []CheckIn {
	if e.ended || e.s.Unclaimed || e.s.Returning {
		return nil
	}
	p := planner{e: e, a: a}
	if !e.stepAt.IsZero() && e.step.HoldsDays > 0 {
		p.free = p.dayOf(e.stepAt) + e.step.HoldsDays
	}
	if a.Standing < care.Vet { // else only what the vet says is of interest
		p.moments()
	}
	p.rhythm()
	slices.SortStableFunc(p.plan, func(a, b CheckIn) int { return a.At.Compare(b.At) })
	return askedFrom(p.plan, e.today)
}

// planner puts the check-ins of one case together.
type planner struct {
	e    *engine
	a    *Assessment
	free int // the first day that no agreed step holds
	plan []CheckIn
}

func (p *planner) dayOf(at time.Time) int { return int(at.Sub(p.e.s.HandedOverAt) / day) }

func (p *planner) add(code, id string, on int, ask string, question text) {
	p.plan = append(p.plan, CheckIn{ID: id, Code: code, At: p.e.s.HandedOverAt.Add(time.Duration(on) * day), Ask: ask, Question: question})
}

// inOwnWords puts the check-in that was added last into the breeder's words.
func (p *planner) inOwnWords() {
	c := &p.plan[len(p.plan)-1]
	if w := *p.e.s.CheckIns.WordsOf(c.Code); w != "" {
		c.Question, c.Own = words.AsIs(w), true
	}
}

// moment adds a check-in at a fixed time, unless it has lapsed.
func (p *planner) moment(code string, on int, ask string, question text) {
	if p.e.day < p.free || on >= p.dayOf(p.e.stepAt) { // it would come, or came, while the step holds
		on = max(on, p.free)
	}
	if ask != "" && p.e.day-on < lapses {
		p.add(code, code, on, ask, question)
		p.inOwnWords()
	}
}

// missing is the first of two that nobody has told yet.
func (p *planner) missing(first, second string) (ask string, question text) {
	for _, of := range []string{first, second} {
		switch {
		case of == AskSetup && len(p.e.answers) == 0:
			return AskSetup, saySetup
		case of == AskClimate && !p.e.climate.known:
			return AskClimate, sayClimate
		}
	}
	return "", text{}
}

// moments are the check-ins at fixed times, as far as their answers are missing.
func (p *planner) moments() {
	e := p.e
	wordSince := func(days float64) bool { return e.lastWord.Sub(e.s.HandedOverAt) >= hours(24*days) }
	if on, asked := e.planned(care.CheckInFirstNight); asked && !wordSince(float64(on)-.5) {
		p.moment(care.CheckInFirstNight, on, AskWord, sayFirstNight)
	}
	if on, asked := e.planned(care.CheckInSettlingIn); asked {
		ask, question := p.missing(AskSetup, AskClimate)
		p.moment(care.CheckInSettlingIn, on, ask, question)
	}
	if e.offers == 0 {
		first := p.firstOffer()
		if before, asked := e.planned(care.CheckInBeforeOffer); asked {
			ask, question := p.missing(AskClimate, AskSetup)
			p.moment(care.CheckInBeforeOffer, first-before, ask, question)
		}
		if after, asked := e.planned(care.CheckInAfterOffer); asked {
			p.moment(care.CheckInAfterOffer, first+after, AskFood, sayFirstMeal)
		}
	}
	if on, asked := e.planned(care.CheckInMonthEnd); asked {
		switch {
		case (e.lastWeighed.IsZero() || p.dayOf(e.lastWeighed) <= on-weighEvery) && !e.inShed(e.today):
			p.moment(care.CheckInMonthEnd, on, AskWeight, sayMonthMass)
		case !wordSince(float64(on - lapses)):
			p.moment(care.CheckInMonthEnd, on, AskWord, sayMonthWord)
		}
	}
}

// firstOffer is the day on which the first meal is due: after the days of peace,
// and when what speaks against it is over.
func (p *planner) firstOffer() int {
	e := p.e
	first := usualAgain
	if e.step.Code == StepInPeace || e.step.Code == StepStopFeeding {
		first = max(first, p.free)
	}
	if wait := e.offerWait(); wait > 0 {
		first = max(first, e.day+wait)
	}
	return first
}

// rhythm adds the question that is found worth its burden: as question says while
// something is wrong, and otherwise with the breeder's least gap. When there is
// something to do, it is asked a day later how that went.
func (p *planner) rhythm() {
	e, calm := p.e, p.a.Standing == care.Settled
	gap, asked := e.planned(care.CheckInRhythm)
	if calm && !asked {
		return
	}
	on, ask := e.question()
	question := p.a.Question
	switch {
	case p.a.Standing == care.Vet:
		on, ask, question = e.outlook.day+1, AskWord, words.Say("What did the vet say?")
	case !calm && len(p.a.Steps) > 0 && !waiting[p.a.Steps[0].Code]:
		on, ask, question = e.outlook.day+1, AskWord, words.Say("How is it now?")
	case calm:
		on = max(on, e.outlook.day+gap)
		if after, asked := e.planned(care.CheckInAfterOffer); asked && e.offers == 0 {
			on = max(on, p.firstOffer()+after+lapses) // the first meal has a question of its own
		}
	}
	if e.outlook.day < p.free {
		on = max(on, p.free)
	}
	id := care.CheckInRhythm + "-" + strconv.Itoa(e.outlook.day)
	if n := min((e.day-on)/gap, repeats); e.day > on && n > 0 {
		on += n * gap
		id += "-" + strconv.Itoa(n)
	}
	p.add(care.CheckInRhythm, id, on, ask, question)
	if calm {
		p.inOwnWords()
	}
}
