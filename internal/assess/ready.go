package assess

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Readiness says whether an animal is ready to be sold, and why. What is not
// met says what is missing; nothing in it stops a handover, for the breeder
// knows more than the log.
type Readiness struct {
	Ready  bool
	Points []ReadyPoint // in the order of the rule
}

// ReadyPoint is one point of the rule and how it stands.
type ReadyPoint struct {
	Code    string // meals, last_meal, age, weight, clutch, shed, sign:<sign>, wobble, quarantine
	Verdict ReadyVerdict
	Text    words.Text // what the record says
	Missing words.Text // what would meet it, nothing unless it is NotYet
	Source  string     // of the rule
}

// ReadyVerdict is how a point stands.
type ReadyVerdict int

// The verdicts. TellBuyer keeps no animal back: it is what the buyer must hear.
const (
	Met ReadyVerdict = iota
	NotYet
	TellBuyer
)

// Weighed is one weight of an animal.
type Weighed struct {
	Mass care.Grams // 0: none
	At   time.Time
}

// LastWeighed is the last weight of a log that counts, by the time now.
func LastWeighed(log []care.Entry, now time.Time) (last Weighed) {
	for i := range log {
		e := &log[i]
		if w, ok := e.Body.(care.WeighIn); ok && e.Current() && usable(float64(w.Mass)) && !e.HappenedAt.After(now) && !e.HappenedAt.Before(last.At) {
			last = Weighed{w.Mass, e.HappenedAt}
		}
	}
	return last
}

// The rule. No standard sets any of it; each row says what it is.
var (
	readyMeals = snake.Numbers("ready", "meals", 3) // by age class
	readyGap   = snake.Number("ready", "meal_gap")
	readyAge   = snake.Number("ready", "days")
	readyYoung = snake.Number("ready", "young")
	readyGrown = snake.Number("ready", "hatch_weight")
	// atHatch is within how many days of hatching a weight is that at hatching.
	atHatch     = snake.Number("ready", "at_hatch")
	weightHolds = snake.Number("ready", "weighed")
	ofClutch    = snake.Number("ready", "clutch")
	// mates is how many weights make a clutch, and within how many days of the
	// animal's own.
	matesLeast, matesApart = split(snake.Numbers("ready", "mates", 2))
	// oneMeal is how many hours apart two prey items are one meal.
	oneMeal = snake.Number("ready", "one_meal")
	// blueHolds is for how many days an opaque report stands for in shed.
	blueHolds = snake.Number("shed", "opaque_days")
)

// Ready applies the rule to an animal in the stock book. log is the animal's
// log in order of time, mates are the last weights of its clutch, without its
// own. "Yesterday" is meant in the zone of now.
func Ready(a *care.Animal, log []care.Entry, mates []Weighed, now time.Time) Readiness {
	r := &readying{a: a, now: now}
	r.species, _ = snake.ByID(a.Species)
	for i := range log {
		if e := &log[i]; e.Current() && !e.HappenedAt.After(now) {
			r.log = append(r.log, e)
		}
	}
	r.last = LastWeighed(log, now)
	r.class = r.species.Age(a.Hatched, float64(r.last.Mass), now)
	r.old, r.young = math.Inf(1), r.class == snake.Hatchling
	if a.Hatched != nil {
		r.old = now.Sub(*a.Hatched).Hours() / 24
		r.young = r.old < readyYoung
	}
	r.meals()
	r.age()
	r.weight()
	r.clutch(mates)
	r.shed()
	r.signs()
	r.wobble()
	out := Readiness{Ready: true, Points: r.points}
	for _, p := range r.points {
		out.Ready = out.Ready && p.Verdict != NotYet
	}
	return out
}

// Quarantine keeps back an animal that came back, until a day.
func (r *Readiness) Quarantine(until time.Time) {
	r.Ready = false
	on := words.Date{At: until.UTC(), As: words.Day}
	r.Points = append(r.Points, ReadyPoint{Code: "quarantine", Verdict: NotYet, Text: words.Say("It came back from a keeper and is in quarantine until {date}.", on),
		Missing: words.Say("the end of its quarantine, {date}", on), Source: readySource(common)})
}

// OfferAgain is how many days after its last offer an animal in the stock book is due
// for food again; last is nil when it was never offered any. It is the wait that
// a case has, of those parts that need no case.
func OfferAgain(a *care.Animal, mass care.Grams, last *care.Entry, now time.Time) int {
	sp, _ := snake.ByID(a.Species)
	days := int(sp.OfferEvery[sp.Age(a.Hatched, float64(mass), now)].Low)
	if last == nil {
		return days
	}
	switch o, _ := last.Body.(care.Offer); o.Result {
	case care.Refused, care.Struck:
		return usualAgain
	case care.Regurgitated:
		return max(days, restRegurgFull)
	}
	return days
}

// readying is the making of one Readiness.
type readying struct {
	a       *care.Animal
	species snake.Species
	now     time.Time
	log     []*care.Entry // what counts
	last    Weighed
	class   snake.AgeClass
	old     float64 // days since hatching, +Inf unknown
	young   bool    // what holds of young animals is asked of it
	points  []ReadyPoint
}

func (r *readying) add(code, rule string, v ReadyVerdict, missing, is text) {
	r.points = append(r.points, ReadyPoint{Code: code, Verdict: v, Text: is, Missing: missing, Source: readySource(rule)})
}

// Rules that are no numbers have their source here.
const (
	shedRule   = common
	signRule   = "England, SI 2018/486 Sch 3 para 2(2): an animal under treatment must not be sold; that an open sign counts as much is ours"
	wobbleRule = spiderPapers + ": it is heritable and touches welfare; that the buyer is told is ours"

	spiderPapers = "Rose & Williams 2014, J Exot Pet Med 23:234; Starck et al. 2022, PLoS ONE 17:e0262788"
)

// readySource is where a rule comes from: the row of that name says it, or the
// rule says it itself.
func readySource(rule string) string {
	switch rule {
	case shedRule, signRule, wobbleRule:
		return rule
	}
	sure, source := snake.Known("ready", rule)
	return sure + ", " + source
}

func (r *readying) daysSince(t time.Time) int { return int(r.now.Sub(t).Hours() / 24) }

// ago counts nights, as the history beside it does: the evening before last is
// two days ago on the next morning but one, though it is fewer than 48 hours.
func (r *readying) ago(t time.Time) text {
	midnight := func(t time.Time) time.Time {
		y, m, d := t.In(r.now.Location()).Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	}
	return daysAgo(int(midnight(r.now).Sub(midnight(t)).Hours() / 24))
}

func (r *readying) meals() {
	row, offers := 0, 0
	var last time.Time // meal
	what := words.Say("No recent offer of food is on record.")
	for _, e := range r.log {
		o, ok := e.Body.(care.Offer)
		if !ok {
			continue
		}
		offers++
		switch o.Result {
		case care.Eaten:
			if row == 0 || e.HappenedAt.Sub(last).Hours() >= oneMeal {
				row++
			}
			last = e.HappenedAt
		case care.Regurgitated:
			row, what = 0, words.Say("It brought its food up {ago}.", r.ago(e.HappenedAt))
		default:
			row, what = 0, words.Say("It did not eat {ago}.", r.ago(e.HappenedAt))
		}
	}
	want := int(readyMeals[r.class])
	switch when := r.ago(last); {
	case row == 1:
		what = words.Say("It ate {ago}.", when)
	case row > 1:
		what = words.Say("It ate {times} in a row, the last {ago}.", times(row), when)
	}
	if row >= want {
		r.add("meals", "meals", Met, text{}, what)
	} else {
		r.add("meals", "meals", NotYet, more(want-row, row > 0), what)
	}
	if row == 0 {
		return
	}
	most := readyGap * r.species.OfferEvery[r.class].High
	if since := r.daysSince(last); float64(since) > most {
		r.add("last_meal", "meal_gap", NotYet, words.Say("a meal soon"), words.Count("Nothing that it ate is on record for {n} day.", "Nothing that it ate is on record for {n} days.", since))
	}
}

func more(n int, some bool) text {
	switch {
	case some && n == 1:
		return words.Say("one more meal")
	case some:
		return words.Say("{number} more meals in a row", inWords(n))
	case n == 1:
		return words.Say("a meal")
	}
	return words.Say("{number} meals in a row", inWords(n))
}

var smallNumbers = [...]text{words.Say("no"), words.Say("one"), words.Say("two"), words.Say("three"), words.Say("four"), words.Say("five"), words.Say("six"),
	words.Say("seven"), words.Say("eight"), words.Say("nine"), words.Say("ten"), words.Say("eleven"), words.Say("twelve")}

func inWords(n int) text {
	if n < len(smallNumbers) {
		return smallNumbers[n]
	}
	return words.Say("{number}", n)
}

func (r *readying) age() {
	switch {
	case r.a.Hatched == nil && r.class == snake.Hatchling:
		r.add("age", "days", NotYet, words.Say("the day when it hatched"), words.Say("It is small, and nobody noted when it hatched."))
	case r.a.Hatched == nil:
		r.add("age", "days", Met, text{}, words.Say("Nobody noted when it hatched; by its weight it is no hatchling."))
	case r.old < readyAge:
		left := int(math.Ceil(readyAge - r.old))
		r.add("age", "days", NotYet, words.Count("one day more", "{n} days more", left), words.Say("It hatched {ago}.", daysAgo(int(r.old))))
	case r.young:
		r.add("age", "days", Met, text{}, words.Say("It hatched {ago}.", daysAgo(int(r.old))))
	default:
		r.add("age", "days", Met, text{}, words.Say("It hatched in {year}.", r.a.Hatched.Year()))
	}
}

// hatchWeight is what it weighed at hatching, and whether it was weighed then:
// else it is what is typical of its species.
func (r *readying) hatchWeight() (mass float64, own bool) {
	for _, e := range r.log {
		if w, ok := e.Body.(care.WeighIn); ok && usable(float64(w.Mass)) && e.HappenedAt.Sub(*r.a.Hatched).Hours()/24 <= atHatch {
			return float64(w.Mass), true
		}
	}
	return r.species.HatchMass, false
}

func (r *readying) weight() {
	if r.last.Mass == 0 {
		r.add("weight", "weighed", NotYet, words.Say("a weight"), words.Say("No recent weight is on record."))
		return
	}
	mass, since := float64(r.last.Mass), r.daysSince(r.last.At)
	what := words.Say("It weighs {mass}, weighed {ago}.", heavy(mass), r.ago(r.last.At))
	if float64(since) > weightHolds {
		r.add("weight", "weighed", NotYet, words.Say("a new weight"), what)
		return
	}
	if !r.young || r.a.Hatched == nil {
		r.add("weight", "weighed", Met, text{}, what)
		return
	}
	at, own := r.hatchWeight()
	if at == 0 {
		r.add("weight", "weighed", Met, text{}, what)
		return
	}
	grown := words.Say("That is {times} times its weight at hatching, {mass}.", number(mass/at, 1), heavy(at))
	if !own {
		grown = words.Say("That is {times} times what is typical at hatching, {mass}.", number(mass/at, 1), heavy(at))
	}
	if want := at * readyGrown; mass < want-1e-9 {
		r.add("weight", "hatch_weight", NotYet, heavy(math.Ceil(want)), words.Join(what, grown))
		return
	}
	r.add("weight", "hatch_weight", Met, text{}, words.Join(what, grown))
}

// heavy is a mass in words, to a tenth of a gram below 100.
func heavy(v float64) text {
	g := number(math.Round(v), 0)
	if tenths := math.Round(v * 10); v < 100 && tenths != 10*math.Round(tenths/10) {
		g = number(tenths/10, 1)
	}
	return words.Say("{g} g ({oz} oz)", g, number(v/28.349523125, 1))
}

// clutch asks it against the middle of its clutch. Only weights of about the
// same time compare: the sold ones grow on.
func (r *readying) clutch(mates []Weighed) {
	if r.last.Mass == 0 || !r.young {
		return
	}
	var near []float64
	for _, m := range mates {
		if m.Mass > 0 && math.Abs(m.At.Sub(r.last.At).Hours()/24) <= matesApart {
			near = append(near, float64(m.Mass))
		}
	}
	if len(near) < int(matesLeast) {
		return
	}
	slices.Sort(near)
	middle := (near[(len(near)-1)/2] + near[len(near)/2]) / 2
	if share := float64(r.last.Mass) / middle; share < ofClutch-1e-9 {
		r.add("clutch", "clutch", NotYet, words.Say("{mass}, as its clutch stands now", heavy(math.Ceil(middle*ofClutch))),
			words.Say("It weighs {share} % of the middle of its clutch, {mass} in {others} others.", number(100*share, 0), heavy(middle), inWords(len(near))))
		return
	}
	r.add("clutch", "clutch", Met, text{}, words.Say("It keeps up with its clutch: {mass} in the middle of {others} others.", heavy(middle), inWords(len(near))))
}

func (r *readying) shed() {
	var last, opaque *care.Entry
	for _, e := range r.log {
		if s, ok := e.Body.(care.Shed); ok {
			if s.Stage == care.ShedDone {
				last = e
			} else {
				opaque = e
			}
		}
	}
	if opaque != nil && (last == nil || opaque.HappenedAt.After(last.HappenedAt)) && float64(r.daysSince(opaque.HappenedAt)) <= blueHolds {
		r.add("shed", shedRule, NotYet, words.Say("the shed to be over"), words.Say("A shed is coming: noted {ago}.", r.ago(opaque.HappenedAt)))
		return
	}
	if last == nil {
		if r.young {
			r.add("shed", shedRule, NotYet, words.Say("its first shed"), words.Say("No shed is on record."))
		}
		return
	}
	when := r.ago(last.HappenedAt)
	switch whole := last.Body.(care.Shed).Complete; {
	case whole == nil:
		r.add("shed", shedRule, Met, text{}, words.Say("It shed {ago}.", when))
	case *whole:
		r.add("shed", shedRule, Met, text{}, words.Say("It shed {ago}, in one piece.", when))
	default:
		r.add("shed", shedRule, NotYet, words.Say("a look that nothing is left on it, or its next shed"), words.Say("Its last shed, {ago}, came off in pieces.", when))
	}
}

// signs are those that somebody logged and nobody said to be gone, however old:
// whoever sells the animal looks first.
func (r *readying) signs() {
	type state struct {
		info SignInfo
		at   time.Time
		gone bool
	}
	var all []*state
	for _, e := range r.log {
		b, ok := e.Body.(care.Sign)
		if !ok {
			continue
		}
		i := slices.IndexFunc(all, func(s *state) bool { return s.info.Code == b.Code })
		if i < 0 {
			all, i = append(all, &state{info: signByCode(b.Code)}), len(all)
		}
		all[i].at, all[i].gone = e.HappenedAt, b.Gone
	}
	slices.SortStableFunc(all, func(a, b *state) int { return cmp.Compare(a.info.Soon, b.info.Soon) })
	evidence, gene := snake.Wobble(r.a.Genes)
	for _, s := range all {
		when := r.ago(s.at)
		seen := s.info.label()
		switch {
		case s.info.Code == "wobble" && evidence != snake.NoWobble:
			if !s.gone {
				r.add("sign:wobble", wobbleRule, TellBuyer, text{}, words.Say("{sign}: logged {ago}, and it carries {gene}. That is no reason to hide it: the buyer must hear it before buying.", seen, when, gene))
			}
		case s.gone && s.info.Level == care.Vet && r.daysSince(s.at) < goneDays:
			r.add("sign:"+s.info.Code, signRule, NotYet, words.Count("one day without it", "{n} days without it", goneDays-r.daysSince(s.at)), words.Say("{sign}: said to be gone {ago}. Such signs come and go.", seen, when))
		case s.gone:
		case s.info.Code == "wobble":
			r.add("sign:wobble", signRule, NotYet, words.Say("a reptile vet's look"), words.Say("{sign}: logged {ago}, and no gene on record explains it. Whatever comes of it, the buyer must hear it.", seen, when))
		default:
			r.add("sign:"+s.info.Code, signRule, NotYet, words.Say("the sign to be gone, and logged so"), words.Say("{sign}: logged {ago}.", seen, when))
		}
	}
	if !slices.ContainsFunc(all, func(s *state) bool { return !s.gone }) && !slices.ContainsFunc(r.points, func(p ReadyPoint) bool { return strings.HasPrefix(p.Code, "sign:") }) {
		r.add("sign:none", signRule, Met, text{}, words.Say("No sign of illness or injury is open."))
	}
}

func (r *readying) wobble() {
	switch evidence, gene := snake.Wobble(r.a.Genes); evidence {
	case snake.Documented:
		r.add("wobble", wobbleRule, TellBuyer, text{}, words.Say("It carries {gene}, which comes with a head wobble. The record says so, and the buyer must hear it before buying.", gene))
	case snake.Reported:
		r.add("wobble", wobbleRule, TellBuyer, text{}, words.Say("It carries {gene}, of which breeders report a head wobble. The record says so, and the buyer must hear it before buying.", gene))
	}
}
