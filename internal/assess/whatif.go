package assess

import (
	"cmp"
	"math"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// The things that may be tried, besides "fix:<point>".
const (
	TryEats    = "eats"
	TryRefuses = "refuses"
	TryWeighs  = "weighs"
	TryClimate = "climate"
	TryWord    = "word" // from a keeper who was not heard of
)

// Try is one thing that could happen next, and what would follow from it.
type Try struct {
	Code string
	At   time.Time // when it would happen
	Body care.Body
	// Standing, Urgency and PRefusal are what would follow, after the days that a
	// standing takes to fall; StandingAt is when the standing would be reached.
	Standing   care.Standing
	StandingAt time.Time
	Urgency    float64
	PRefusal   float64
	// Condition and Consequence make a sentence, with the day between them: "If <it eats> on
	// Friday, <it would go back to settled>". ForKeeper is Consequence in a keeper's words.
	Condition, Consequence, ForKeeper words.Text

	now       care.Standing // what it is today
	urgency   float64
	otherwise care.Standing // what the same days would bring without it
	edge      bool          // the weight is the first of many with this standing
}

// Better reports whether the standing would fall below today's.
func (t *Try) Better() bool { return t.Standing < t.now && t.Standing < t.otherwise }

// settles is how long after an entry its effect is read: a standing falls after
// three days.
var settles = time.Duration(offDays) * day

// Suppose says what would follow if this were the next entry, at an instant
// that is not before now; the zero time stands for now, for an offer for the day
// on which the next is due. The caller has checked body as an entry's.
func Suppose(s *Subject, log []care.Entry, now time.Time, body care.Body, at time.Time) Try {
	w := newWhatIf(s, log, now)
	if at.IsZero() {
		at = now
		if _, ok := body.(care.Offer); ok {
			at = w.nextOffer()
		}
	}
	t := w.suppose(body, at)
	t.describe(w.engine)
	return t
}

// WhatWouldChange lists what would change the standing or the urgency most, of
// the things that may sensibly be done or come about next; at most limit, the
// largest change first. While nothing is heard, a word is the one thing; nothing
// would change an ended case.
func WhatWouldChange(s *Subject, log []care.Entry, now time.Time, limit int) []Try {
	w := newWhatIf(s, log, now)
	e := w.engine
	if e.ended || now.Before(s.HandedOverAt) {
		return nil
	}
	var list []Try
	// A try that should help is no news when it does not, nor one that should
	// harm when it does not.
	add := func(t Try, direction float64) {
		if c := t.change(); math.Abs(c) >= leastChange && c*direction >= 0 {
			t.describe(e)
			list = append(list, t)
		}
	}
	const helps, harms, either = -1, 1, 0
	for i := range e.hazards {
		if fine, ok := fineAnswer(e.hazards[i].point); ok && e.hazards[i].level > care.Settled {
			add(w.suppose(care.SetupCheck{Answers: []care.SetupAnswer{fine}}, now), helps)
		}
	}
	tried := map[int]bool{}
	for i := range e.findings {
		if kind := e.findings[i].kind; !tried[kind] {
			tried[kind] = true
			add(w.suppose(e.rightReading(kind), now.Add(day)), helps)
		}
	}
	_, sign := e.worst()
	ups, _ := e.regurgitations()
	switch {
	case e.silent() > 0:
		add(w.suppose(care.Message{Text: "All is well."}, now), helps)
	case sign < care.Vet && ups < 2: // else neither food nor weight is what it hangs on
		if e.lostLevel() < care.Vet {
			at := w.nextOffer()
			o := care.Offer{Prey: e.lastFood.Prey, PreyState: e.lastFood.PreyState, PreyMass: e.lastFood.PreyMass}
			o.Result = care.Eaten
			add(w.suppose(o, at), helps)
			o.Result = care.Refused
			add(w.suppose(o, at), harms)
		}
		inPeace := e.holding() > 0 && e.step.Code == StepInPeace
		if !inPeace && e.day >= peaceDays && e.weight.start > 0 && (e.lastWeighed.IsZero() || e.daysSince(e.lastWeighed) > 0) {
			add(w.tellingWeight(), either)
		}
	}
	slices.SortStableFunc(list, func(a, b Try) int { return cmp.Compare(math.Abs(b.change()), math.Abs(a.change())) })
	return list[:min(limit, len(list))]
}

// leastChange is what is worth a line: a level, or this much of urgency.
var leastChange = snake.Number("probe", "least_change")

// change is what a try does, positive for the worse: levels count before
// urgency, which is less than one. What time alone would do is not counted.
func (t *Try) change() float64 {
	if t.Standing == t.otherwise && t.Standing != t.now {
		return 0
	}
	return float64(t.Standing-t.now) + t.Urgency - t.urgency
}

// whatIf is a case as it stands now.
type whatIf struct {
	*engine
	numbers Numbers
	log     []care.Entry // what is known of now, with room for one more
	walk    Walker       // of the tries
}

func newWhatIf(s *Subject, log []care.Entry, now time.Time) *whatIf {
	w := &whatIf{log: make([]care.Entry, 0, len(log)+1)}
	for i := range log {
		if x := &log[i]; !later(x.HappenedAt, x.ReceivedAt).After(now) {
			w.log = append(w.log, *x)
		}
	}
	var walk Walker
	walk.Reset(s, w.log)
	w.numbers = walk.Step(now)
	w.engine = walk.at
	return w
}

func (w *whatIf) nextOffer() time.Time { return w.now.Add(time.Duration(w.offerWait()) * day) }

// suppose assesses the log with and without the entry, a while after it.
func (w *whatIf) suppose(body care.Body, at time.Time) Try {
	until := at.Add(settles)
	w.walk.Reset(w.s, w.log)
	otherwise := w.walk.Step(until)
	entry := care.Entry{ID: "supposed", By: care.KeeperActor, Confirmed: true, HappenedAt: at, ReceivedAt: at, Body: body}
	w.walk.Reset(w.s, append(w.log, entry))
	t := Try{Code: tryCode(body), At: at, Body: body, now: w.numbers.Standing, urgency: w.numbers.Urgency, otherwise: otherwise.Standing}
	was := care.Standing(-1)
	w.walk.to(until, func(d CourseDay) {
		if d.Standing != was {
			was, t.StandingAt = d.Standing, later(at, d.At)
		}
	})
	n := &w.walk.last
	t.Standing, t.Urgency, t.PRefusal = n.Standing, n.Urgency, n.PRefusal
	return t
}

func tryCode(body care.Body) string {
	switch b := body.(type) {
	case care.Offer:
		if b.Result == care.Eaten {
			return TryEats
		}
		return TryRefuses
	case care.WeighIn:
		return TryWeighs
	case care.ClimateReading:
		return TryClimate
	case care.SetupCheck:
		return "fix:" + b.Answers[0].Point
	}
	return TryWord
}

// tellingWeight is the weight that today would tell most, of those that the
// scale may well show (nine in ten): the first at which the standing is another
// one, from above when that is good news, else from below.
func (w *whatIf) tellingWeight() Try {
	mean, sd := w.weight.foresee()
	try := func(mass float64) Try {
		return w.suppose(care.WeighIn{Mass: care.Grams(math.Max(1, math.Round(mass)))}, w.now)
	}
	low, high := mean-z90*sd, mean+z90*sd
	light, heavy := try(low), try(high)
	switch {
	case heavy.Better():
		return halve(try, high, low)
	case light.Standing > max(light.now, light.otherwise):
		return halve(try, low, high)
	case math.Abs(light.change()) > math.Abs(heavy.change()):
		return light
	}
	return heavy
}

// halve finds, to the gram, the mass nearest to beyond at which the standing is
// still the one at telling.
func halve(try func(float64) Try, telling, beyond float64) Try {
	found := try(telling)
	if t := try(beyond); t.Standing == found.Standing {
		found, telling = t, beyond
	}
	for math.Abs(telling-beyond) > .5 {
		if t := try((telling + beyond) / 2); t.Standing == found.Standing {
			telling, found = (telling+beyond)/2, t
		} else {
			beyond = (telling + beyond) / 2
		}
	}
	found.edge = true
	return found
}

// foresee is what the scale would show today, g, with its standard deviation.
func (w *weighing) foresee() (mean, sd float64) {
	g, _ := w.gut()
	m, sd := w.tissue()
	return (m + g) * w.start, math.Sqrt(sd*sd+w.noise(m+g, g)) * w.start
}

// rightReading is a probe's reading in the middle of what suits the species.
func (e *engine) rightReading(kind int) care.ClimateReading {
	c, b := &e.sp.Climate, care.ClimateReading{TakenWith: care.WithProbe}
	degrees := func(b snake.Band) *care.Celsius {
		v := care.Celsius(math.Round(b.Mid()))
		return &v
	}
	switch kind {
	case warmSide:
		b.Warm = degrees(c.HotSpot)
	case coolSide:
		b.Cool = degrees(c.Cool)
	case night:
		b.Night = degrees(c.Night)
	case surface:
		b.Surface = degrees(c.HotSpot)
	case gradient:
		b.Warm, b.Cool = degrees(c.HotSpot), degrees(c.Cool)
	case humidity:
		v := care.Percent(math.Round(c.Humidity.Mid()))
		b.Humidity = &v
	}
	return b
}

// fineAnswer answers a point of the setup so that nothing is left to do.
func fineAnswer(point string) (care.SetupAnswer, bool) {
	p, ok := care.Point(point)
	i := slices.IndexFunc(p.Choices, func(c care.Choice) bool { return c.Verdict == care.Fine })
	if !ok || i < 0 {
		return care.SetupAnswer{}, false
	}
	return care.SetupAnswer{Point: point, Choice: p.Choices[i].Code}, true
}

var (
	standingWords = [...]text{words.Say("settled"), words.Say("watch"), words.Say("step in"), words.Say("vet")}
	keeperWords   = [...]text{words.Say("all is as it should be"), words.Say("keeping an eye on it is enough"), words.Say("your breeder should look at it with you"), words.Say("a reptile vet should see it")}
)

// keeperLater is what a keeper reads of a standing that comes after so many days.
func keeperLater(s care.Standing, days text) text {
	return [...]text{words.Say("all is as it should be {days} later", days), words.Say("keeping an eye on it is enough {days} later", days),
		words.Say("your breeder should look at it with you {days} later", days), words.Say("a reptile vet should see it {days} later", days)}[s]
}

// describe finds the words.
func (t *Try) describe(e *engine) {
	switch b := t.Body.(type) {
	case care.Offer:
		switch {
		case b.Result == care.Eaten && e.refusedInARow > 0:
			t.Condition = words.Say("it eats again")
		case b.Result == care.Eaten:
			t.Condition = words.Say("it eats")
		case b.Result == care.Regurgitated:
			t.Condition = words.Say("it brings food up")
		case e.refusedInARow > 0:
			t.Condition = words.Say("it refuses again")
		default:
			t.Condition = words.Say("it refuses")
		}
	case care.WeighIn:
		t.Condition = words.Say("it weighs {mass}", grams(float64(b.Mass)))
		switch {
		case t.edge && t.Standing < t.now:
			t.Condition = words.Say("it weighs {mass} or more", grams(float64(b.Mass)))
		case t.edge:
			t.Condition = words.Say("it weighs {mass} or less", grams(float64(b.Mass)))
		}
	case care.ClimateReading:
		is := func(kind int, v float64) {
			f := finding{kind: kind, value: v}
			one := words.Say("the {what} is {value}", f.what(), f.number())
			if t.Condition.Empty() {
				t.Condition = one
			} else {
				t.Condition = words.Say("{condition} and {another}", t.Condition, one)
			}
		}
		for kind, v := range [...]*care.Celsius{warmSide: b.Warm, coolSide: b.Cool, night: b.Night, surface: b.Surface} {
			if v != nil {
				is(kind, float64(*v))
			}
		}
		if b.Humidity != nil {
			is(humidity, float64(*b.Humidity))
		}
	case care.SetupCheck:
		p, _ := care.Point(b.Answers[0].Point)
		t.Condition = words.Say("“{point}” is put right", words.Say(p.Title))
	default:
		t.Condition = words.Say("its keeper writes a word")
	}
	d, to := int(t.StandingAt.Sub(t.At).Hours()/24+.5), standingWords[t.Standing]
	t.ForKeeper = keeperWords[t.Standing]
	if d > 0 {
		t.ForKeeper = keeperLater(t.Standing, dayCount(d))
	}
	switch {
	case t.Standing < t.now && d > 0:
		t.Consequence = words.Say("it would go back to “{standing}” within {days}", to, dayCount(d))
	case t.Standing < t.now:
		t.Consequence = words.Say("it would go back to “{standing}”", to)
	case t.Standing > t.now && d > 0:
		t.Consequence = words.Say("it would rise to “{standing}” within {days}", to, dayCount(d))
	case t.Standing > t.now:
		t.Consequence = words.Say("it would rise to “{standing}”", to)
	case t.Urgency < t.urgency-leastChange:
		t.Consequence = words.Say("it would stay at “{standing}”, further down the list", to)
	case t.Urgency > t.urgency+leastChange:
		t.Consequence = words.Say("it would stay at “{standing}”, further up the list", to)
	default:
		t.Consequence = words.Say("it would stay at “{standing}”", to)
	}
}

func grams(v float64) text {
	return words.Say("{g} g ({oz} oz)", number(math.Round(v), 0), number(v/28.349523125, 1))
}
