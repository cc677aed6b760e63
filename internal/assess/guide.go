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

// The pages of the keeper's guide, in their order.
const (
	PageFirstDays = "first_days"
	PageNotEating = "not_eating"
	PageShed      = "shed"
	PageHeat      = "heat"
	PageOpenings  = "openings"
	PageHygiene   = "hygiene"
	PageVet       = "vet"
)

// Guide is what a keeper can read up: short pages for one animal as it is now.
type Guide struct {
	Pages []GuidePage
	Now   string // the code of the page that matters now, "" when none does more than the others
}

// GuidePage is one page. Its text is for somebody who has their first snake, is
// perhaps thirteen, and is scared.
type GuidePage struct {
	Code  string
	Title words.Text
	Now   words.Text // what is known of this animal about it, nothing when nothing is
	Parts []GuidePart
}

// GuidePart is a few points under one heading.
type GuidePart struct {
	Title   words.Text
	Points  []words.Text
	Ordered bool   // the points are to be done one after the other
	Source  string // where they come from, and how sure that is
}

// The guide's own numbers; all others are those that the assessment judges by.
var (
	refusalMonths   = snake.Numbers("guide", "refusal_months", 2)
	salmonellaHours = snake.Numbers("guide", "salmonella_hours", 2)
)

// MakeGuide writes the guide of a case as of an instant, from its handover
// record, its log (see Assess) and the tables. The days in it are those of the
// zone.
func MakeGuide(s *Subject, r *care.Record, log []care.Entry, now time.Time, zone *time.Location) Guide {
	var w Walker
	w.Reset(s, log)
	w.to(now, nil)
	a := w.Assessment()
	g := guide{engine: w.at, a: &a, r: r, zone: zone, mass: w.at.lastMass}
	g.species, g.listed = snake.ByID(s.Animal.Species)
	out := Guide{Now: g.page(), Pages: []GuidePage{g.firstDays(), g.notEating(), g.shedding(), g.heat(), g.openings(), g.hygiene(), g.vet()}}
	for i := range out.Pages {
		if p := &out.Pages[i]; p.Code == out.Now && p.Now.Empty() {
			p.Now = a.KeeperSees
		}
	}
	return out
}

// guide is a guide under way.
type guide struct {
	*engine
	a       *Assessment
	r       *care.Record
	species snake.Species
	listed  bool
	zone    *time.Location
	mass    float64 // g, as last weighed; 0: never
}

// pageOf says which page a point of the setup belongs to. What is not here is
// put right with the checklist alone.
var pageOf = map[string]string{
	"heaters": PageHeat, "heater_thermostat": PageHeat, "heat_rock": PageHeat, "bulb_guard": PageHeat, "power_near_water": PageHeat,
	"gradient": PageHeat, "thermometers": PageHeat,
	"lid_gaps": PageOpenings, "decor_openings": PageOpenings, "tubes": PageOpenings, "netting": PageOpenings,
	"hides": PageNotEating, "live_prey": PageNotEating,
	"other_pets": PageHygiene, "fumes": PageHygiene,
}

// shedSigns are the signs that the page on shedding is about.
var shedSigns = []string{"retained_eye_cap", "stuck_shed_tail", "stuck_shed"}

// climateSteps are the steps that the page on heating is about.
var climateSteps = []string{StepCoolDown, StepWarmUp, StepCoolEnd, StepTwoEnds, StepWarmNight, StepDampen, StepAir, StepMeasure}

// page is the one that matters now: that of the one thing to do, else of the
// gravest concern, else of the time. When nothing is the matter it is none.
func (g *guide) page() string {
	if g.ended {
		return ""
	}
	if g.a.Standing == care.Vet {
		return PageVet
	}
	if len(g.a.Steps) > 0 {
		code := g.a.Steps[0].Code
		kind, point, _ := strings.Cut(code, ":")
		switch {
		case (kind == "fix" || kind == "remeasure") && pageOf[point] != "":
			return pageOf[point]
		case code == StepDampen && (g.inShed(g.today) || g.shedInPieces):
			return PageShed
		case slices.Contains(climateSteps, code):
			return PageHeat
		}
	}
	for _, c := range g.a.Concerns {
		kind, rest, _ := strings.Cut(c.Code, ":")
		switch {
		case kind == "sign" && slices.Contains(shedSigns, rest):
			return PageShed
		case kind == "sign":
			return PageVet
		case kind == ConcernRefusal && g.inShed(g.today) && c.Level < care.StepIn:
			return PageShed
		case kind == ConcernRefusal, kind == ConcernWeight, kind == ConcernRegurgitation:
			return PageNotEating
		case strings.HasPrefix(kind, "climate"):
			return PageHeat
		case kind == "setup" && pageOf[rest] != "":
			return pageOf[rest]
		}
	}
	switch {
	case g.inShed(g.today):
		return PageShed
	case g.refusedInARow > 0:
		return PageNotEating
	case g.day < firstWeeks(g.r, g.s.HandedOverAt.In(g.zone)):
		return PageFirstDays
	}
	return ""
}

func firstWeeks(r *care.Record, home time.Time) int {
	plan, _ := care.FirstDays(r, home)
	return len(plan)
}

// known writes a source with how sure it is.
func known(of, what string) string {
	sure, source := snake.Known(of, what)
	switch {
	case source == "" || source == "no source":
		return sure + ", no source"
	case sure == "published":
		return source
	}
	return source + " (" + sure + ")"
}

// known is known of a row of the animal's species.
func (g *guide) known(what string) string {
	if !g.listed {
		return "reckoned for snakes in general, since its kind is not in our table"
	}
	return known(g.species.ID, what)
}

func (g *guide) firstDays() GuidePage {
	home := g.s.HandedOverAt.In(g.zone)
	plan, after := care.FirstDays(g.r, home)
	p := GuidePage{Code: PageFirstDays, Title: words.Say("The first two weeks")}
	days := GuidePart{Title: words.Say("Day by day"), Source: care.FirstDaysCaution.String()}
	for _, d := range plan {
		if d.Day == g.day+1 && !g.ended {
			p.Now = words.Join(words.Say("Today is day {day}.", d.Day), d.Text)
		}
		days.Points = append(days.Points, words.Say("Day {day}, {date}: {plan}", d.Day, words.Date{At: d.Date, As: words.WeekDay}, d.Text))
	}
	days.Points = append(days.Points, words.Say("After that: {plan}", after))
	p.Parts = []GuidePart{
		{Title: words.Say("What is normal now"), Points: []text{
			words.Say("It hides all day. That is how a snake feels safe. It is not sad."),
			words.Say("It may hiss, curl into a ball or flick its tail. It is afraid of you, not angry."),
			words.Say("It may not eat the first time. Everything smells strange to it."),
			words.Say("It moves about at night and looks at all the corners. Many snakes do."),
		}, Source: "a veterinary page on snakes that do not eat: newly bought ones often refuse until they know the place; the rest " + common},
		days,
		{Title: words.Say("How it was fed before"), Points: g.r.FeedNext.Parts(), Source: "your breeder's own notes of this snake"},
	}
	return p
}

// sentences takes a text apart, so that each is a point.
func sentences(of string) (out []text) {
	for _, s := range words.Sentences(of) {
		out = append(out, words.Say(s))
	}
	return out
}

func (g *guide) notEating() GuidePage {
	p := GuidePage{Code: PageNotEating, Title: words.Say("It will not eat")}
	n, ago := g.regurgitations()
	switch {
	case g.ended:
	case n > 0:
		p.Now = words.Say("It brought up food {ago}.", daysAgo(ago))
	case g.refusedInARow > 0:
		p.Now = words.Say("It refused {times} in a row. {fast}.", times(g.refusedInARow), g.fastText().Begin())
		if g.refusedInARow == 1 {
			p.Now = words.Say("It refused the last meal. {fast}.", g.fastText().Begin())
		}
	case g.fastDays() >= 0:
		p.Now = words.Say("{fast}.", g.fastText().Begin())
	}
	// The third step and the line above the steps name the same day.
	alone := words.Say("Leave it alone for {days} days.", usualAgain)
	pauses := n > 0 || g.refusedInARow > 0 || (g.day < peaceDays && g.meals == 0)
	switch wait := g.offerWait(); {
	case g.ended || !pauses:
	case wait > 0:
		alone = words.Say("Leave it alone {until}.", untilIn(wait))
		if !p.Now.Empty() {
			p.Now = words.Join(p.Now, words.Say("Offer food again {when}, not before.", inDays(wait)))
		}
	default:
		alone = words.Say("It has had its rest. Leave it alone until the evening.")
	}

	warm := words.Say("Measure the warm end. Ask your breeder what it should be.")
	if g.listed {
		warm = words.Say("Measure the warm end, on the floor. It should be {band}. A cool snake does not eat.", bandOf(g.species.Climate.HotSpot))
	}
	do := GuidePart{Title: words.Say("Do this, one after the other"), Ordered: true, Points: []text{
		warm,
		words.Say("See that it has two snug hides, one warm and one cool. A snake that feels seen is too afraid to eat."),
		words.Join(alone, words.Say("No handling, no looking into its hide. Give fresh water.")),
		words.Join(words.Say("Offer the food that it knows: the same kind, the same size."), g.usualMeal()),
		words.Say("Thaw it all the way through. Warm it in a closed bag in warm water, never in a microwave. Dry it."),
		words.Say("Offer in the evening, with the light low. Use tongs. Then leave it alone with the food."),
		words.Say("Take away in the morning what it left. Do not freeze that again. Write down what happened."),
	}, Source: "warmth: the species table of this app, from " + g.species.Climate.Source + "; days between offers: " + known("offering", "again") + "; the rest " + common}
	if !g.listed {
		do.Source = "days between offers: " + known("offering", "again") + "; the rest " + common
	}
	dont := GuidePart{Title: words.Say("Do not"), Points: []text{
		words.Say("Do not offer every day. Each try disturbs it."),
		words.Say("Do not push food into its mouth. That can hurt it badly. Only a vet or an expert may do that."),
		words.Say("Do not change everything at once. Then nobody can tell what helped."),
		words.Say("Never leave a live mouse or rat alone with it. They bite."),
	}, Source: "live prey: a veterinary client sheet on feeding snakes; the rest " + common}
	up := GuidePart{Title: words.Say("If food comes up again"), Points: []text{
		words.Say("Give it rest: no food for {days} days, no handling, the right warmth.", restRegurgFull),
		words.Say("The next meal is half the usual size."),
		words.Say("Tell your breeder now. If food comes up a second time, call a reptile vet."),
	}, Source: known("offering", "rest") + "; vet after the second time: " + known("regurgitation", "days")}

	normal := []text{words.Say("A healthy snake can go without food for weeks. It lives slowly and stays strong.")}
	source := known("guide", "refusal_months")
	if g.mass > 0 {
		loss := g.species.LossPerDay[g.age]
		month := g.mass * loss * 30
		normal = append(normal, words.Say("At {mass} it usually loses about {loss} in a month without food. That alone is no illness.", gramsOf(g.mass), gramsOf(month)))
		source += "; weight lost in a fast: " + g.known("loss_per_day")
	}
	normal = append(normal,
		words.Say("More than {months} to {most} months without food is not usual. Have a reptile vet look at it then, whatever the reason.", number(refusalMonths[0], 0), number(refusalMonths[1], 0)),
		words.Say("Before a shed, and in a cool season, many snakes pause."))
	call := GuidePart{Title: words.Say("Get help"), Points: []text{
		words.Say("Tell your breeder when it refuses twice in a row, or when it gets lighter."),
	}, Source: "a tenth lost: " + known("weighing", "lost") + "; the rest " + common}
	if start := g.weight.start; start > 0 {
		call.Points = append(call.Points, words.Say("Call a reptile vet if it weighs less than {least}. It weighed {start} when it came to you.", gramsOf(start*(1-tenth)), gramsOf(start)))
	} else {
		call.Points = append(call.Points, words.Say("Weigh it once, quietly. Without a weight nobody can tell if it gets thinner."))
	}
	call.Points = append(call.Points, words.Say("Call a reptile vet at once if it also breathes with its mouth open, wheezes, or goes limp."))
	p.Parts = []GuidePart{do, dont, {Title: words.Say("How long is normal"), Points: normal, Source: source}, up, call}
	return p
}

// usualMeal says how large the meal should be, from what it last ate, else from
// the species table.
func (g *guide) usualMeal() text {
	if m := float64(g.lastFood.PreyMass); m > 0 {
		what := words.Say(snake.PreySize(m, g.lastFood.Prey))
		if what.Empty() {
			what = words.Say("prey")
		}
		return words.Say("It last ate: {prey}, {mass}.", what, gramsOf(m))
	}
	if g.mass > 0 {
		share := g.species.PreyShare[g.age]
		return words.Say("For its weight that is {least} to {most}.", gramsOf(share.Low/100*g.mass), gramsOf(share.High/100*g.mass))
	}
	return words.Say("About as wide as its body is right.")
}

func (g *guide) shedding() GuidePage {
	p := GuidePage{Code: PageShed, Title: words.Say("Shedding its skin")}
	switch {
	case g.ended:
	case g.inShed(g.today):
		p.Now = words.Say("It is about to shed. It sees badly now and wants to be left alone.")
	case !g.shedAt.IsZero():
		p.Now = words.Say("You wrote that it shed {ago}.", daysAgo(g.daysSince(g.shedAt)))
		if g.shedInPieces {
			p.Now = words.Say("It shed {ago}, and the skin came off in pieces.", daysAgo(g.daysSince(g.shedAt)))
		}
	}
	damp := words.Say("Make the air damp, as your breeder did.")
	source := common
	if g.listed {
		b := g.species.Climate.ShedHumidity
		damp = words.Say("Make the air damp: {low} to {high} % while it sheds.", number(b.Low, 0), number(b.High, 0))
		source = "humidity: " + g.known("shed_humidity") + "; no food before the shed: veterinary care sheets; the rest " + common
	}
	p.Parts = []GuidePart{
		{Title: words.Say("How you see it"), Points: []text{
			words.Say("The skin turns dull. The eyes turn cloudy or blue. Later they clear up again."),
			words.Say("From the first dull skin to the shed takes up to about {days} days.", shedDays),
			words.Say("It may hide more and eat nothing. That is normal."),
		}, Source: "how long: " + known("shed", "opaque_days") + "; the rest " + common},
		{Title: words.Say("What helps"), Points: []text{
			words.Join(damp, words.Say("A damp cloth in a hide does it too.")),
			words.Say("Give fresh water in a bowl that does not tip."),
			words.Say("Do not handle it. It cannot see you well and is easily scared."),
			words.Say("Offer no food until the old skin is off. Then wait two or three days."),
		}, Source: source},
		{Title: words.Say("When the skin is off"), Points: []text{
			words.Say("Look at the old skin. Best is one long piece, with two round eye caps."),
			words.Say("Look at its eyes and at the tip of its tail. Write down how it went."),
			words.Say("Never pull skin off. New skin tears."),
		}, Source: common},
	}
	stuck := GuidePart{Title: words.Say("If some stays on")}
	for _, code := range append(slices.Clone(shedSigns), "retained_eye_cap_twice", "tail_tip_swollen") {
		s := signByCode(code)
		stuck.Points = append(stuck.Points, words.Say("{sign}: {do}", s.label(), words.Say(s.DoNow).Within()))
		stuck.Source = s.Source
	}
	p.Parts = append(p.Parts, stuck)
	return p
}

func (g *guide) heat() GuidePage {
	p := GuidePage{Code: PageHeat, Title: words.Say("Heating safely")}
	if !g.ended {
		for i := range g.findings {
			p.Now = g.findingNow(&g.findings[i])
			break
		}
		if p.Now.Empty() {
			p.Now = g.hazardNow(PageHeat)
		}
	}
	home := care.HomeOf(g.r)
	should := GuidePart{Title: words.Say("How warm, how damp"), Source: home.Note.String()}
	for _, f := range home.Facts {
		switch {
		case f.High == nil:
			should.Points = []text{words.Say("There is no table for this kind of snake. Ask your breeder how warm and how damp it was kept.")}
		case f.Humidity:
			should.Points = append(should.Points, words.Say("{what}: {low} to {high} %.", words.Say(f.Label), number(*f.Low, 0), number(*f.High, 0)))
		case f.Low == nil:
			should.Points = append(should.Points, words.Say("{what}: never above {limit}.", words.Say(f.Label), wholeDegrees(*f.High)))
		default:
			should.Points = append(should.Points, words.Say("{what}: {band}.", words.Say(f.Label), bandOf(snake.Band{Low: *f.Low, High: *f.High})))
		}
	}
	p.Parts = append(p.Parts, should)
	for _, code := range []string{"gradient", "thermometers", "heater_thermostat", "heaters", "bulb_guard", "heat_rock"} {
		p.Parts = append(p.Parts, g.point(code))
	}
	b := burns[1]
	p.Parts = append(p.Parts,
		GuidePart{Title: words.Say("Why heat is a danger"), Points: []text{
			words.Say("A snake often does not move away from a place that burns it."),
			words.Say("On something of {heat}, human skin burns in {time}. Nobody has measured it for snakes.", wholeDegrees(b.celsius), contact(b.seconds)),
			words.Say("A burn can show days later. Look at the belly: dark, raw or blistered scales need a vet."),
		}, Source: "burns in snakes: " + burnNotes + "; human skin: ISO 13732-1, from memory"},
		g.point("power_near_water"),
		GuidePart{Title: words.Say("Who may touch what"), Points: append(sentences(care.ElectricCaution), words.Say("If you are not grown up, let a grown-up do it."), words.Say("If somebody gets a shock: switch off at the wall first, then call for help.")), Source: common})
	return p
}

func (g *guide) findingNow(f *finding) text {
	return words.Join(words.Say("You measured {what}: {value}.", f.what(), f.number()), climateMeans[f.code])
}

// hazardNow says what the setup check found that a page is about.
func (g *guide) hazardNow(page string) text {
	for i := range g.hazards {
		if h := &g.hazards[i]; pageOf[h.point] == page {
			return words.Join(words.Say("Your setup check says: {point}.", words.Say(h.title).Within()), words.Say(h.fix))
		}
	}
	return text{}
}

// point is one of the setup checklist: why, how to look and how to put it right.
// What it adds for this animal stands in a part of its own.
func (g *guide) point(code string) GuidePart {
	pt, _ := care.Point(code)
	part := GuidePart{Title: words.Say(pt.Title), Points: []text{words.Say(pt.Why)}, Source: pt.Source}
	part.Points = append(append(part.Points, sentences(pt.Look)...), words.Say("To put it right: {fix}", words.Say(pt.Fix).Within()))
	return part
}

// limits is the checklist for an animal of this mass after a while, by point.
func (g *guide) limits(mass float64, after time.Duration) map[string]care.ChecklistItem {
	m := map[string]care.ChecklistItem{}
	for _, it := range care.MakeChecklist(&g.s.Animal, care.Grams(mass), g.today.Add(after)) {
		m[it.Point] = it
	}
	return m
}

func (g *guide) openings() GuidePage {
	p := GuidePage{Code: PageOpenings, Title: words.Say("Openings: stuck, or away")}
	if !g.ended {
		p.Now = g.hazardNow(PageOpenings)
		for i := range g.outgrown {
			if o := &g.outgrown[i]; p.Now.Empty() {
				p.Now = words.Say("You measured {point}: {size}. It is wide enough today. As it grows, it could get stuck {when}.", words.Say(o.title).Within(), millimetres(o.size), o.when())
			}
		}
	}
	now := GuidePart{Title: words.Say("Sizes for your snake today"), Source: "a body as wide as its weight makes it: " + known("body", "widest") + ", head: " + known("body", "head") + ". Measured for no snake alone, so the limits leave room"}
	if g.mass <= 0 {
		now.Points = []text{words.Say("It was not weighed, so there are no sizes. Weigh it once, and they stand here.")}
		p.Parts = []GuidePart{now}
	} else {
		width := snake.BodyDiameter(&g.species, g.age, g.mass, 0)
		now.Points = append([]text{words.Say("It weighs {mass}, so its body is about {width} thick.", gramsOf(g.mass), millimetres(width))}, openingLimits(g.limits(g.mass, 0))...)
		ahead := hours(24 * laterTrap)
		low, high := g.species.Grown(g.mass, ahead, snake.Slow), g.species.Grown(g.mass, ahead, snake.Fast)
		later := GuidePart{Title: words.Count("In {n} month", "In {n} months", int(laterTrap/30)), Source: "growth: " + g.known("first_year")}
		if high > g.mass*1.05 {
			later.Points = []text{words.Say("If it eats well it may weigh {low} to {high} by then.", gramsOf(low), gramsOf(high))}
			later.Points = append(later.Points, holeLater(g.limits(low, ahead)["decor_openings"], g.limits(high, ahead)["decor_openings"]),
				words.Say("So measure every hole again each month, and after each meal that leaves a lump."))
		} else {
			later.Points = []text{words.Say("It is nearly grown, so these sizes stay about the same.")}
		}
		p.Parts = []GuidePart{now, later}
	}
	stuck := signByCode("stuck_in_object")
	p.Parts = append([]GuidePart{
		GuidePart{Title: words.Say("If it is stuck now"), Ordered: true, Points: append(sentences(stuck.DoNow), words.Say("Switch off any heater near it, at the wall."), words.Say("Do not cut or break the thing while it is in it.")), Source: stuck.Source},
		GuidePart{Title: words.Say("If it got out"), Ordered: true, Points: []text{
			words.Say("Shut the doors of the room. Keep cats, dogs and small children out."),
			words.Say("Look low, dark and warm: behind the radiator, under the bed, in shoes, behind books."),
			words.Say("Look again at night with a torch. Most are found in the same room."),
			words.Say("Leave its hide and its water on the floor along a wall, near something warm."),
			words.Say("Tell everybody in the home. Tell your breeder. If it may be outside, ask what your local rules want you to do."),
		}, Source: common}}, p.Parts...)
	for _, code := range []string{"lid_gaps", "decor_openings", "tubes", "netting"} {
		p.Parts = append(p.Parts, g.point(code))
	}
	return p
}

// openingLimits are the sentences on openings of a checklist.
func openingLimits(m map[string]care.ChecklistItem) (out []text) {
	for _, code := range []string{"lid_gaps", "decor_openings", "tubes"} {
		p, _ := care.Point(code)
		out = append(out, words.Say("{point}: {limit}", words.Say(p.Title), m[code].ForThisAnimal.Within()))
	}
	return out
}

// holeLater says which holes could hold an animal that will be somewhere
// between two sizes.
func holeLater(low, high care.ChecklistItem) text {
	return words.Say("Then holes from {from} to {to} could hold it. So could some that are safe today.", millimetres(float64(low.ShutBelow)), millimetres(float64(high.PassAbove)))
}

func (g *guide) hygiene() GuidePage {
	p := GuidePage{Code: PageHygiene, Title: words.Say("Clean hands, clean home")}
	if !g.ended {
		p.Now = g.hazardNow(PageHygiene)
	}
	other, _ := care.Point("other_pets")
	fumes, _ := care.Point("fumes")
	rules := care.Hygiene()
	p.Parts = []GuidePart{
		{Title: words.Say("Salmonella"), Points: sentences(rules[0]), Source: "CDC on feeding reptiles; that freezing does not kill it: a public health agency, second hand"},
		{Title: words.Say("Small children"), Points: []text{
			words.Say("Small children put their hands into their mouths. A grown-up stays with them, and washes their hands with them."),
			words.Say("Do not kiss the snake. Do not let it near a face, or near food."),
		}, Source: common},
		{Title: words.Say("Kitchen and food"), Points: append(sentences(rules[1]),
			words.Say("Keep frozen prey in its own closed box. Thaw it in a closed bag. What was thawed is not frozen again."),
			words.Say("Do not let it roam where people cook or eat.")), Source: "UK HPA and Defra leaflet, 2009; thawing: food-safety rules applied to prey, from memory"},
		{Title: words.Say("If somebody gets ill"), Points: []text{
			words.Say("Salmonella shows after {hours} to {most} hours: fever, cramps, diarrhoea.", number(salmonellaHours[0], 0), number(salmonellaHours[1], 0)),
			words.Say("Call a doctor for people, and say that a snake lives in the home."),
		}, Source: known("guide", "salmonella_hours")},
		{Title: words.Say("Cleaning"), Points: append([]text{
			words.Say("Take out droppings the same day. Give fresh water every day, and wash the bowl."),
			words.Say("Use cloths and brushes for the snake alone.")}, sentences(fumes.Fix)...), Source: fumes.Source},
		{Title: words.Say("Other pets"), Points: append([]text{words.Say(other.Why)}, sentences(other.Fix)...), Source: other.Source},
		{Title: words.Say("The law"), Points: []text{words.Say("Rules on keeping, moving and selling snakes differ from place to place. Ask which apply where you live.")}, Source: "see the cautions of its handover record"},
	}
	return p
}

func (g *guide) vet() GuidePage {
	p := GuidePage{Code: PageVet, Title: words.Say("When to call a reptile vet")}
	switch sign, level := g.worst(); {
	case g.ended:
	case g.a.Standing == care.Vet && level < care.Vet:
		p.Now = words.Join(g.a.KeeperSees, g.a.KeeperDo)
	case level > care.Settled:
		p.Now = words.Join(words.Say("You saw: {sign}.", sign.info.label().Within()), g.signDo(sign))
	}
	for _, part := range []struct {
		title text
		soon  Soon
	}{
		{words.Say("Call now, day or night"), Now},
		{words.Say("Call today"), Today},
		{words.Say("Call within a day or two, and tell your breeder now"), DayOrTwo},
		{words.Say("Call within a few days, and tell your breeder now"), FewDays},
	} {
		gp := GuidePart{Title: part.title}
		var from []string
		for _, s := range signs {
			soon := s.Soon
			if s.Code == "wobble" && g.wobble == snake.NoWobble {
				soon = Today // see signDo
			}
			if soon == part.soon {
				gp.Points = append(gp.Points, s.label())
				if !slices.Contains(from, s.Source) {
					from = append(from, s.Source)
				}
			}
		}
		gp.Source = strings.Join(from, "; ")
		p.Parts = append(p.Parts, gp)
	}
	reach := []text{
		words.Say("Look for a vet who treats reptiles today, before you need one. Not every vet does."),
		words.Say("Write down the name, the number, and who is there at night."),
	}
	if g.r.Contact != "" {
		reach = append(reach, words.Say("Your breeder, {breeder}: {contact}", g.r.Breeder, g.r.Contact))
	}
	p.Parts = append(p.Parts,
		GuidePart{Title: words.Say("Until the vet sees it"), Points: []text{
			words.Say("Keep it still, dark and at its usual warmth. Give no food."),
			words.Say("Give it no medicine and no cream. Much that helps people harms snakes."),
			words.Say("Take it in a cloth bag or a box with air holes, away from draught and sun."),
			words.Say("Take a short film or a picture. Take the letter for the vet from this app."),
		}, Source: common},
		GuidePart{Title: words.Say("Have it ready"), Points: reach, Source: common},
		GuidePart{Title: words.Say("Good to know"), Points: []text{
			words.Say("You do not need to be sure. A vet would rather be asked too early."),
			words.Say("You did nothing wrong by asking. If a vet costs more than you have, say so on the phone, and ask your breeder or a grown-up."),
			words.Say("This guide does not know what your snake has. A vet can find out."),
		}, Source: common})
	return p
}

func wholeDegrees(c float64) text {
	return words.Say("{c} °C ({f} °F)", number(c, 0), number(c*1.8+32, 0))
}

func millimetres(v float64) text { return words.Say("{size} mm", number(v, 0)) }

// gramsOf is a mass as a kitchen scale shows it.
func gramsOf(v float64) text {
	n := number(v, 0)
	if v < 10 && math.Round(v*10) != 10*math.Round(v) {
		n.Decimals = 1
	}
	return words.Say("{mass} g", n)
}
