package assess

import (
	"math"
	"slices"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// risk is the chance of harm, its severity (1: death) and the days until then.
type risk struct{ p, severity, days float64 }

// loss is the expected loss, 0 to 1, with harm that is far off counting less.
func (r risk) loss() float64 { return r.p * r.severity * math.Exp(-r.days/farHarm) }

var farHarm = snake.Number("risk", "far") // days

// risks are the rows of one kind in the tables. All are assumptions, ordered by
// what the trade and vets report as common and as grave.
func risks(of string) map[string]risk {
	m := map[string]risk{}
	for what, v := range snake.Group(of, 3) {
		m[what] = risk{v[0], v[1], v[2]}
	}
	return m
}

var (
	// hazardRisks is what a hazard of the setup may do: by point and answer; one
	// that is not listed takes the default.
	hazardRisks = risks("setup risk")
	// heaterRisks is the matrix of heater, control and water: what a hazard of the
	// thermostat, of the wiring or of the bowl may do where it is known what heats
	// the enclosure and where. Heat that can be touched burns, wiring inside can
	// be splashed.
	heaterRisks = risks("heater risk")

	// stepInLoss is the expected loss from which a hazard of the setup is worth a
	// word today, and not at the next chance.
	stepInLoss = snake.Number("setup", "step_in")
	// holdConcern is the probability of getting stuck, or out, below which a
	// measured hole or slit is let pass.
	holdConcern = snake.Number("setup", "hold")
	// netGives is how much wider a mesh of a soft net gets when a head pushes
	// into it.
	netGives = snake.Number("setup", "net_gives")
	// hardFallMost is a fall, mm, onto a hard floor that is a reason to see a vet
	// even of a snake that is at home on branches.
	hardFallMost = snake.Number("setup", "hard_fall")
	// tipSafe is how much more than the animal's push a thing should stand, and
	// crushShare the share of the animal's mass below which a thing that falls on
	// it is let pass.
	tipSafe, crushShare = snake.Number("setup", "tip_safe"), snake.Number("setup", "crush")
	// roomyHide is how many coils wide a hide may be inside before it is none.
	roomyHide = snake.Number("setup", "roomy_hide")
	// soonTrap is how many days ahead an opening that becomes too narrow is a
	// concern, laterTrap how many it is a thing to keep in mind.
	soonTrap, laterTrap = split(snake.Numbers("setup", "trap", 2))

	escape = snake.Numbers("setup", "escape", 3) // see escapeRisk
	stuck  = snake.Numbers("setup", "stuck", 2)  // severity, days
	ruler  = snake.Numbers("setup", "ruler", 2)  // see openingSD
)

// escapeRisk is what a slit may do that the head passes with this probability:
// many that could get out never try, and some are found again.
func escapeRisk(p float64) risk { return risk{escape[0] * p, escape[1], escape[2]} }

// hazard is one thing wrong with the setup, by the latest answers.
type hazard struct {
	point string
	title string
	fix   string
	note  text // the number behind it, or nothing
	risk  risk
	level care.Standing
	at    time.Time
	id    string
}

// outgrown is an opening that is wide enough today and will not be for long.
type outgrown struct {
	point, title string
	size         float64
	// From is when a fast grower of its kind could be held, To when a slow one
	// could; zero: not within twenty years.
	from, to time.Time
}

// answer is the latest answer to a point.
type answer struct {
	care.SetupAnswer
	at time.Time
	id string
	// seenFine: the breeder looked at it since and said so. It weighs more than the
	// keeper's word, and less than a number.
	seenFine bool
}

// sd is the standard deviation of its measure.
func (a *answer) sd() float64 {
	if a.MeasureSD > 0 {
		return float64(a.MeasureSD)
	}
	return openingSD(float64(a.Measure))
}

// width is its measure as a note says it, with the error where a photo tells it.
func (a *answer) width() text {
	if a.MeasureSD > 0 {
		return words.Say("{size} ± {error} mm", number(float64(a.Measure), 1), number(2*float64(a.MeasureSD), 1))
	}
	return millimetres(float64(a.Measure))
}

// mark is a hazard that the breeder saw in a photo.
type mark struct {
	point, text string
	at          time.Time
	id          string
}

// openingSD is how far off a width may be that somebody measured with a ruler,
// mm: that of the ruler, or a share of what is large.
func openingSD(width float64) float64 { return math.Max(ruler[0], ruler[1]*width) }

// weighHazards judges the latest answers anew for a body of this mass.
//
// Without say the notes are left out, which are made when somebody asks for words.
func (e *engine) weighHazards(mass float64, say bool) {
	e.hazards, e.outgrown, e.hazardsStale, e.hazardsSaid = e.hazards[:0], e.outgrown[:0], false, say
	e.hazardsUntil = math.MaxInt
	b := body{mass: mass, width: snake.BodyDiameter(&e.sp, e.age, mass, 0), prey: e.sp.PreyShare[e.age].High / 100 * mass}
	for i := range e.answers {
		a := &e.answers[i]
		p, ok := care.Point(a.Point)
		if !ok {
			continue
		}
		verdict := care.Unsure
		for _, c := range p.Choices {
			if c.Code == a.Choice {
				verdict = c.Verdict
			}
		}
		if verdict == care.NotHere {
			continue
		}
		j := judgement{say: say, bad: verdict == care.Hazard, risk: e.hazardRisk(a)}
		if b.width > 0 {
			e.measured(a, &b, &j)
		}
		if a.Point == "gradient" && a.Choice != care.NotSure && e.gradientSince(a.at) >= leastGradient {
			j.bad = false // a thermometer says more than the word
		}
		if a.seenFine && a.Measure == 0 {
			j.bad = false
		}
		if !j.bad {
			continue
		}
		h := hazard{point: a.Point, title: p.Title, fix: p.Fix, note: j.note, risk: j.risk, level: care.Watch, at: a.at, id: a.id}
		if say && h.note.Empty() && e.heaterKey(a) != "" {
			h.note = words.Say("{answer}; what heats it: {heater}", e.choiceLabel(a.Point), e.choiceLabel("heaters"))
		}
		if h.risk.loss() >= stepInLoss {
			h.level = care.StepIn
		}
		e.hazards = append(e.hazards, h)
	}
	for i := range e.marks {
		m := &e.marks[i]
		p, ok := care.Point(m.point)
		if !ok || slices.ContainsFunc(e.hazards, func(h hazard) bool { return h.point == m.point }) {
			continue
		}
		h := hazard{point: m.point, title: p.Title, fix: p.Fix, risk: e.worstRisk(&p), level: care.Watch, at: m.at, id: m.id}
		if say {
			h.note = words.Say("the breeder saw in a photo: {message}", strings.TrimRight(m.text, ". "))
		}
		if h.risk.loss() >= stepInLoss {
			h.level = care.StepIn
		}
		e.hazards = append(e.hazards, h)
	}
}

// worstRisk is the gravest of what a hazard of this point may do.
func (e *engine) worstRisk(p *care.SetupPoint) (worst risk) {
	for _, c := range p.Choices {
		if c.Verdict != care.Hazard {
			continue
		}
		if r := e.hazardRisk(&answer{SetupAnswer: care.SetupAnswer{Point: p.Code, Choice: c.Code}}); r.loss() > worst.loss() {
			worst = r
		}
	}
	return worst
}

// hazardRisk is what an answer may do, in this animal and with this heater.
func (e *engine) hazardRisk(a *answer) risk {
	key := a.Point + "/" + a.Choice
	if e.wobble != snake.NoWobble {
		if r, ok := hazardRisks[key+"/wobble"]; ok {
			return r
		}
	}
	if r, ok := heaterRisks[e.heaterKey(a)]; ok {
		return r
	}
	if r, ok := hazardRisks[key]; ok {
		return r
	}
	return hazardRisks["default"]
}

// heaterKey is the row of the heater matrix that an answer falls into, "" when
// there is none.
func (e *engine) heaterKey(a *answer) string {
	if h := e.answerTo("heaters"); h != nil {
		key := a.Point + "/" + a.Choice + "@" + h.Choice
		if _, ok := heaterRisks[key]; ok {
			return key
		}
	}
	return ""
}

// body is what sizes are judged for.
type body struct {
	mass, width, prey float64 // g, mm, g
	limits            []care.ChecklistItem
}

// limit is a point's limits, as the checklist for this body has them.
func (e *engine) limit(b *body, point string) care.ChecklistItem {
	if b.limits == nil {
		b.limits = care.MakeChecklist(&e.s.Animal, care.Grams(b.mass), e.today)
	}
	for _, l := range b.limits {
		if l.Point == point {
			return l
		}
	}
	return care.ChecklistItem{}
}

// judgement is what an answer amounts to.
type judgement struct {
	bad  bool
	risk risk
	note text
	say  bool // a note is wanted
}

// tell makes the note if one is wanted.
func (j *judgement) tell(note func() text) {
	if j.say {
		j.note = note()
	}
}

// measured lets a size that was measured decide, for a number says more than
// the word "about": a hole and a slit by the probability of getting stuck or
// out, a heavy thing by what tips it, the rest by the limit made for this animal.
func (e *engine) measured(a *answer, b *body, j *judgement) {
	size := float64(a.Measure)
	// In a wobbly animal a measured excess is what the answer would have been.
	over := func(choice string) {
		j.bad = true
		j.risk = e.hazardRisk(&answer{SetupAnswer: care.SetupAnswer{Point: a.Point, Choice: choice}})
	}
	switch a.Point {
	case "decor_openings", "tubes", "netting":
		switch {
		case size == 0 || a.Choice == "cut_open":
		case a.Choice == "soft_net":
			// A net has no size that is wide enough: it folds and draws tight. It can
			// only be too fine for the head.
			if shut, _ := snake.UnsafeOpening(b.width, 0); size*netGives < shut {
				j.bad = false
			} else {
				j.tell(func() text {
					return words.Say("a soft net of {size} mm gives way, and a head about {head} mm wide goes in and not out", number(size, 0), number(snake.HeadPasses(b.width), 0))
				})
			}
		default:
			e.hole(a, size, b, j)
		}
	case "lid_gaps":
		if size > 0 && a.Choice != "no_lock" {
			p := snake.EscapeProbability(size, a.sd(), b.width)
			j.bad, j.risk = p >= holdConcern, escapeRisk(p)
			j.tell(func() text {
				return words.Say("a slit of {size}: its head would go through with a chance of about {chance}", a.width(), percent(p))
			})
		}
	case "water_depth":
		if size == 0 {
			return
		}
		switch most := e.limit(b, a.Point).MaxDepth; {
		case most == 0:
		case a.Measure > most:
			over("too_deep")
			j.tell(func() text {
				return words.Say("{size} mm deep, for a limit of {limit} mm", number(size, 0), number(float64(most), 0))
			})
		case a.Choice == "too_deep":
			j.bad = false
		}
	case "climb_height":
		if size > 0 {
			e.fall(a, size, b, j, over)
		}
	case "heavy_things":
		e.tipping(a, b, j)
	case "hides":
		inside, coil := a.Sizes["inside_mm"], snake.Coil(b.mass, b.width)
		if (a.Choice == "both_ends" || a.Choice == "one") && inside > roomyHide*coil {
			over("too_open")
			j.tell(func() text {
				return words.Say("the smallest hide is {inside} wide inside, for a snake that is about {coil} across when coiled", centimetres(inside), centimetres(coil))
			})
		}
	}
}

// hole judges a rigid opening now, and when growth will make it a trap.
func (e *engine) hole(a *answer, size float64, b *body, j *judgement) {
	sd := a.sd()
	p := snake.WedgeProbability(size, sd, b.width, b.prey)
	j.bad, j.risk = p >= holdConcern, risk{p, stuck[0], stuck[1]}
	j.tell(func() text {
		return words.Say("{size} wide, for a body about {body} mm: it could get stuck with a chance of about {chance}", a.width(), number(b.width, 0), percent(p))
	})
	if j.bad {
		return
	}
	from := snake.HeldFrom(size, sd, e.sp.GirthC[e.age], e.sp.PreyShare[e.age].High/100, holdConcern)
	if from <= b.mass {
		return // it is already too narrow for the head, and gets more so
	}
	weighed := e.s.HandedOverAt
	if !e.lastWeighed.IsZero() {
		weighed = e.lastWeighed
	}
	fast, ok := e.sp.GrownBy(b.mass, from, snake.Fast)
	if !ok {
		return
	}
	o := outgrown{point: a.Point, size: size, from: weighed.Add(fast)}
	p0, _ := care.Point(a.Point)
	o.title = p0.Title
	if slow, ok := e.sp.GrownBy(b.mass, from, snake.Slow); ok {
		o.to = weighed.Add(slow)
	}
	soon := e.today.Add(hours(24 * soonTrap))
	if !o.from.After(soon) {
		j.bad = true
		j.tell(func() text {
			return words.Say("{size} wide and wide enough by its last weight; as its kind grows it could get stuck {when}", a.width(), o.when())
		})
		j.risk = risk{holdConcern, stuck[0], soonTrap}
		return
	}
	e.hazardsUntil = min(e.hazardsUntil, e.day+int(o.from.Sub(soon)/day)+1)
	e.outgrown = append(e.outgrown, o)
}

// when is the time from which the opening could hold it, in months, for no
// forecast of growth is good to the day.
func (o *outgrown) when() text {
	switch from, to := month(o.from), month(o.to); {
	case o.to.IsZero():
		return words.Say("from {month} at the earliest", from)
	case from.At.Year() == to.At.Year() && from.At.Month() == to.At.Month():
		return words.Say("from about {month}", from)
	default:
		return words.Say("some time between {from} and {to}", from, to)
	}
}

// fall judges a height by what is below: onto loose ground of a known depth it
// counts as the lower height that is as rough onto a hard floor.
func (e *engine) fall(a *answer, height float64, b *body, j *judgement, over func(string)) {
	ground := a.Sizes["ground_mm"]
	soft := a.Choice == "high_soft" && ground == 0 // said to be soft, not how deep
	hard := snake.HardFall(height, ground, b.width)
	most := float64(e.limit(b, a.Point).MaxHeight)
	switch {
	case most == 0:
		most = hardFallMost
	case e.wobble != snake.NoWobble:
		soft, hard = false, height // it may not land on its belly
	}
	switch {
	case !soft && hard > most:
		over("high_hard")
		j.tell(func() text {
			if ground > 0 && hard < height {
				return words.Say("{height} high, over soft ground of {ground} as rough as {hard} onto a hard floor, for a limit of {limit}", centimetres(height), centimetres(ground), centimetres(hard), centimetres(most))
			}
			return words.Say("{height} high, for a limit of {limit}", centimetres(height), centimetres(most))
		})
	case a.Choice == "high_hard":
		j.bad = false
	}
}

// tipping judges a heavy thing by the push that tips it, with the ground dug
// away under one edge where it stands on ground that can be dug.
func (e *engine) tipping(a *answer, b *body, j *judgement) {
	mass, foot, height := a.Sizes["mass_g"], a.Sizes["foot_mm"], a.Sizes["height_mm"]
	if mass == 0 || foot == 0 || height == 0 {
		return
	}
	if mass < crushShare*b.mass {
		j.bad = false
		return
	}
	dug := 0.
	if a.Choice == "on_substrate" {
		dug = snake.Burrow(b.width)
	}
	tips, push := snake.TipForce(mass, foot, height, dug), snake.Push(b.mass)
	switch {
	case tips < push:
		j.bad, j.risk = true, hazardRisks["heavy_things/tips"]
	case tips < tipSafe*push:
		j.bad, j.risk = true, hazardRisks["heavy_things/loose"]
	default:
		// What does not tip may still sink onto an animal that digs under it.
		j.bad = a.Choice == "on_substrate"
	}
	j.tell(func() text {
		how := words.Say("stands by itself")
		if a.Choice == "on_substrate" {
			how = words.Say("with a burrow of {depth} mm under its edge", number(dug, 0))
		}
		if tips == 0 {
			return words.Say("the heaviest piece, {how}, falls by itself", how)
		}
		return words.Say("the heaviest piece, {how}, tips at a push of about {tips} g at its top, and this animal pushes with up to {push} g", how, number(tips, 0), number(push, 0))
	})
}

// answerTo is the latest answer to a point, nil when it was never answered.
func (e *engine) answerTo(point string) *answer {
	for i := range e.answers {
		if e.answers[i].Point == point {
			return &e.answers[i]
		}
	}
	return nil
}
