package assess

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// found is one concern with what it adds to the urgency.
type found struct {
	care.Concern
	harm harm
	step *care.Step
	// urgentWords is what the keeper sees of it.
	sees, means, worry string
}

func (e *engine) conclude() Assessment {
	m, sd := e.weight.tissue()
	loss := 1 - m
	a := Assessment{
		At: e.now, Day: max(0, e.day), LogOdds: e.logOdds(), PRefusal: calibrated(e.logOdds()),
		POffFeed: e.feed.b + e.feed.x,
		LossPct:  100 * loss, LossLow: 100 * (loss - z90*sd), LossHigh: 100 * (loss + z90*sd), PLoss10: e.weight.pLoss(.10),
		FastDays: -1, DaysTo10: -1, LearnedFrom: e.s.Learned.Animals,
	}
	if !e.lastMeal.IsZero() {
		a.FastDays = int(e.now.Sub(e.lastMeal).Hours() / 24)
	}
	if a.FastDays > 10 && loss < .10 && e.weight.s > 0 {
		a.DaysTo10 = (.10 - loss) / math.Max(e.weight.s, e.weight.s0/2)
	}
	a.Reasons = e.reasons()
	a.Causes = e.causes()

	list := e.concerns(&a)
	sort.SliceStable(list, func(i, j int) bool {
		if list[i].Level != list[j].Level {
			return list[i].Level > list[j].Level
		}
		return list[i].Urgency > list[j].Urgency
	})
	keep := 1.0
	for i := range list {
		keep *= 1 - list[i].harm.expected()
		a.Concerns = append(a.Concerns, list[i].Concern)
		if list[i].Level > a.Standing {
			a.Standing = list[i].Level
		}
	}
	a.Urgency = 1 - keep
	a.Missing = e.missing()
	a.Steps = e.steps(list)
	e.words(&a, list)
	a.DueAt = e.s.HandedOverAt.Add(time.Duration(e.day+1) * day)
	return a
}

// concerns are all that is open, each with its harm.
func (e *engine) concerns(a *Assessment) []found {
	var out []found
	add := func(f found) {
		f.Urgency = f.harm.expected()
		out = append(out, f)
	}

	// Signs on the animal come before all that is computed.
	evidence, _ := snake.Wobble(e.s.Animal.Genes)
	latest := map[string]signSeen{}
	for _, s := range e.signs {
		latest[s.code] = s
	}
	for _, info := range signTable {
		s, ok := latest[info.Code]
		if !ok || e.now.Sub(s.at) > time.Duration(info.days)*day {
			continue
		}
		f := found{harm: harm{info.p, info.s, info.t}}
		f.Code, f.Level = "sign:"+info.Code, info.Level
		f.Text = "Sign seen on " + date(s.at) + ": " + lower(info.Label)
		f.step = &care.Step{Code: "call_reptile_vet", Text: info.DoNow}
		f.sees = "You saw this: " + lower(info.Label) + "."
		f.means = "Only a reptile vet can say what it is. It should be looked at."
		f.worry = "If it gets worse, or you cannot reach anyone: an animal emergency line."
		if info.Level == care.Watch {
			f.step = &care.Step{Code: "look_again", Text: info.DoNow, HoldsDays: 7}
			f.means = "Often harmless, and worth a second look in a few days."
			f.worry = "When it gets worse, or is no better in two weeks."
		}
		if info.Code == "stargazing" && evidence != snake.NoWobble && e.meals > 0 {
			// Long-standing in such animals; ordinary while it feeds.
			f.Level, f.harm = care.StepIn, harm{.3, .6, 7}
		}
		add(f)
	}
	for code, s := range latest {
		if _, known := SignByCode(code); !known && e.now.Sub(s.at) < 14*day {
			add(found{Concern: care.Concern{Code: "sign:" + code, Level: care.Watch, Text: "A sign this version does not know: " + code}, harm: harm{.2, .4, 10}})
		}
	}

	// The red rules of weight and of food coming up.
	if e.weight.pLoss(.15) > .5 {
		add(found{Concern: care.Concern{Code: "weight", Level: care.Vet, Text: e.lossText(a)}, harm: harm{.9, 1, 0},
			step: &care.Step{Code: "call_reptile_vet", Text: "Call a reptile vet and take the weights along."}, sees: "It has lost a lot of weight.",
			means: "It needs someone who can look at it.", worry: "Do not wait for the next offer."})
	} else if a.PLoss10 > .5 {
		add(found{Concern: care.Concern{Code: "weight", Level: care.StepIn, Text: e.lossText(a)}, harm: harm{a.PLoss10 * .6, 1, 0},
			step: &care.Step{Code: "weigh_again", Text: "Weigh it again on the same scale, and write to your breeder today.", HoldsDays: 1}, sees: "It is lighter than when it came home.",
			means: "It is using up its reserves. That should not go on.", worry: "If it keeps losing, a reptile vet should see it."})
	}
	up := 0
	for _, at := range e.regurgitated {
		if e.now.Sub(at) <= 30*day {
			up++
		}
	}
	switch {
	case up >= 2:
		add(found{Concern: care.Concern{Code: "regurgitation", Level: care.Vet, Text: fmt.Sprintf("Brought food up %d times in 30 days", up)}, harm: harm{.6, .9, 4},
			step: &care.Step{Code: "call_reptile_vet", Text: "Do not offer food. Call a reptile vet this week.", HoldsDays: 14}, sees: "It has brought its food up more than once.",
			means: "Its stomach needs rest, and someone should find out why.", worry: "Slime, a bad smell, or no strength: call today."})
	case up == 1 && e.now.Sub(e.regurgitated[len(e.regurgitated)-1]) <= 14*day:
		add(found{Concern: care.Concern{Code: "regurgitation", Level: care.Watch, Text: "Brought a meal up on " + date(e.regurgitated[len(e.regurgitated)-1])}, harm: harm{.3, .8, 7},
			step: &care.Step{Code: "rest_after_regurgitation", Text: "No food and no handling for 14 days, then a meal of half the size.", HoldsDays: 14}, sees: "It brought a meal up.",
			means: "This happens when it is handled too soon, is too cool, or the meal was big.", worry: "If it happens again, call a reptile vet."})
	}

	// Lasting refusal.
	if lv := e.levels.standing(); lv > care.Settled {
		t := 60.0
		if a.DaysTo10 >= 0 {
			t = math.Min(60, math.Max(1, a.DaysTo10))
		}
		f := found{harm: harm{a.PRefusal, 1, t}}
		f.Code, f.Level = "refusal", lv
		f.Text = e.refusalText(a)
		add(f)
	}

	for _, f := range e.climateConcerns() {
		add(f)
	}
	for _, h := range e.hazards() {
		f := found{harm: h.harm}
		f.Code, f.Level, f.Text = "setup:"+h.point.Code, h.level, h.text
		f.step = &care.Step{Code: "fix_" + h.point.Code, Text: h.point.Fix}
		f.sees = "In the setup: " + lower(strings.TrimSuffix(h.text, ".")) + "."
		f.means = h.point.Why
		f.worry = "If the animal is stuck, hurt or wet and cold, call your breeder or a reptile vet at once."
		add(f)
	}

	if f, silent := e.silence(a); silent {
		add(f)
	}
	return out
}

func (e *engine) climateConcerns() []found {
	var out []found
	c := e.sp.Climate
	add := func(code string, r reading, lv care.Standing, h harm, text, do, means string) {
		f := found{harm: h}
		f.Code, f.Level, f.Text = code, lv, text+" ("+date(r.at)+", "+how(r.with)+")"
		f.step = &care.Step{Code: code, Text: do, HoldsDays: 2}
		f.sees, f.means = text+".", means
		f.worry = "If it wheezes, gapes or hangs limp, call a reptile vet."
		out = append(out, f)
	}
	// The room for error of the instrument counts in the keeper's favour.
	if r, ok := e.climate.latest["warm"]; ok {
		slack := trust(r.with) - 1
		switch {
		case r.value < c.HotTooLow-slack:
			lv, h := care.Watch, harm{.3, .6, 21}
			if c.Optimum-r.value > 6 {
				lv, h = care.StepIn, harm{.5, .7, 14}
			}
			add("raise_warm_side", r, lv, h, "The warm side is "+celsius(r.value)+", too cool for digesting",
				"Bring the warm side to "+band(c.HotSpot)+", with a thermostat, and measure again tomorrow.", "A snake that is too cool cannot digest, so it does not want to eat. This is the most common cause and is easily put right.")
		case r.value > c.HotTooHigh+slack:
			add("lower_warm_side", r, care.StepIn, harm{.3, 1, 3}, "The warm side is "+celsius(r.value)+", too hot",
				"Turn the heat down to "+band(c.HotSpot)+" today. It needs a thermostat.", "Too much heat burns and dries a snake out.")
		}
	}
	if r, ok := e.climate.latest["surface"]; ok {
		// Contact burns: ISO 13732-1 gives 43 °C for contact of eight hours and
		// more and 48 °C for ten minutes, for human skin (from memory); no curve
		// for reptiles is published. Below 43 °C the species' hot spot counts.
		switch {
		case r.value >= 48:
			add("cool_hot_surface", r, care.Vet, harm{.7, 1, 1}, "A surface it can touch is "+celsius(r.value)+", which burns within minutes",
				"Switch that heater off now and look at its belly for redness or blisters. Call a reptile vet if you see any.", "Snakes do not move away from heat that burns from below.")
		case r.value >= 43:
			add("cool_hot_surface", r, care.StepIn, harm{.4, 1, 2}, "A surface it can touch is "+celsius(r.value)+", which burns in time",
				"Turn that heater down, put a thermostat on it, and look at its belly.", "Snakes do not move away from heat that burns from below.")
		case r.value > c.HotTooHigh+2:
			add("cool_hot_surface", r, care.Watch, harm{.15, .8, 7}, "A surface it can touch is "+celsius(r.value)+", hotter than it should be",
				"Turn it down to "+band(c.HotSpot)+".", "Resting on it for hours can hurt.")
		}
	}
	if r, ok := e.climate.latest["cool"]; ok {
		slack := trust(r.with) - 1
		switch {
		case r.value > c.CoolTooHigh+slack:
			add("cool_the_cool_side", r, care.Watch, harm{.15, .6, 14}, "The cool side is "+celsius(r.value)+", so it has nowhere to cool down",
				"Let the cool side come down to "+band(c.Cool)+".", "It needs a warm and a cool end to choose from.")
		case r.value < c.CoolTooLow-slack:
			add("warm_the_cool_side", r, care.Watch, harm{.15, .5, 21}, "The cool side is "+celsius(r.value)+", rather cold",
				"Bring the cool side to "+band(c.Cool)+".", "It has to choose between warmth and hiding.")
		}
	}
	if r, ok := e.climate.latest["night"]; ok && r.value < c.NightTooLow-(trust(r.with)-1) {
		add("warm_the_night", r, care.Watch, harm{.2, .6, 21}, "At night it falls to "+celsius(r.value),
			"Keep the night at "+band(c.Night)+".", "Cold nights slow digestion and invite colds.")
	}
	if r, ok := e.climate.latest["humidity"]; ok {
		switch {
		case r.value < c.HumidityTooLow:
			add("raise_humidity", r, care.Watch, harm{.15, .4, 21}, fmt.Sprintf("Humidity is %.0f %%, dry for this species", r.value),
				fmt.Sprintf("Bring it to %.0f to %.0f %%: a bigger water bowl, damp moss in a hide, less open mesh.", c.Humidity.Low, c.Humidity.High), "Dry air makes sheds come off in pieces.")
		case r.value > c.HumidityTooHigh:
			add("lower_humidity", r, care.Watch, harm{.15, .5, 21}, fmt.Sprintf("Humidity is %.0f %%, very wet", r.value),
				fmt.Sprintf("Let it dry to %.0f to %.0f %%, and keep the floor dry.", c.Humidity.Low, c.Humidity.High), "Wet floors give sore bellies.")
		}
	}
	return out
}

// silence is "nothing heard": its own concern, never a sign of failing.
func (e *engine) silence(a *Assessment) (found, bool) {
	since := e.lastHeard
	if end := e.stepEnd(); end.After(since) {
		since = end // an agreed step is not silence
	}
	if since.After(e.now) {
		return found{}, false
	}
	gone := e.now.Sub(since).Hours() / 24
	a.NothingHeardDays = int(gone)
	interval := math.Max(7, e.sp.OfferEvery[e.ageNow()].High)
	q := math.Max(0, gone/(1.5*interval)-1)
	if q == 0 {
		return found{}, false
	}
	f := found{harm: harm{math.Min(.25, .03+.05*q), .5, 21}}
	f.Code, f.Level = "silence", care.Watch
	f.Text = fmt.Sprintf("Nothing heard for %d days", int(gone))
	f.step = &care.Step{Code: "say_how_it_is", Text: "Log one thing: the last offer, or a weight. It takes a minute."}
	f.sees = fmt.Sprintf("Nothing has been logged for %d days.", int(gone))
	f.means = "That is fine when all is well. One entry now and then lets your breeder help in time."
	f.worry = "If something looks wrong, write to your breeder; there is no silly question."
	return f, true
}

func (e *engine) stepEnd() time.Time {
	if e.stepAt.IsZero() {
		return time.Time{}
	}
	return e.stepAt.Add(time.Duration(e.step.HoldsDays) * day)
}

// reasons are the exact contributions, grouped so that they can be read; they
// add up to the log-odds.
func (e *engine) reasons() []care.Reason {
	type group struct {
		care.Reason
		n int
	}
	groups := map[string]*group{}
	var order []string
	put := func(key string, delta float64, id, text string) {
		g, ok := groups[key]
		if !ok {
			g = &group{Reason: care.Reason{Code: key, Text: text}}
			groups[key] = g
			order = append(order, key)
		}
		g.Weight += delta
		g.n++
		if id != "" {
			g.Evidence = append(g.Evidence, id)
		}
	}
	current := e.refusals
	for _, c := range e.contributions {
		switch c.group {
		case "start":
			put("starting_level", c.delta, "", "What is usual for "+article(e.age.String())+" "+lower(e.sp.Common)+" when it changes hands")
		case "time":
			put("time_passing", c.delta, "", "Time passing")
		case "temperature":
			put("warm_side_too_cool", c.delta, c.id, fmt.Sprintf("Warm side %.1f °C below the best for digesting", e.climate.deficit(&e.sp)))
		case "regurgitation":
			put("regurgitated", c.delta, c.id, "Brought a meal up")
		case "offer":
			key := "earlier_offers"
			if c.note == "eaten" {
				if c.at.Equal(e.lastMeal) {
					key = "last_meal"
				}
			} else {
				for i := range current {
					if current[i].id == c.id {
						key = "refusals_in_a_row"
					}
				}
			}
			switch key {
			case "last_meal":
				put(key, c.delta, c.id, "Ate on "+date(c.at))
			case "refusals_in_a_row":
				put(key, c.delta, c.id, "")
			default:
				put(key, c.delta, c.id, "Earlier offers in this home")
			}
		}
	}
	if w := e.weight.logOdds(); w != 0 {
		m, _ := e.weight.tissue()
		text := fmt.Sprintf("Weight in line with an ordinary fast (%s since the handover)", change(1-m))
		if w > 0 {
			text = fmt.Sprintf("Losing faster than an ordinary fast (%s since the handover)", change(1-m))
		}
		put("weight", w, "", text)
	}
	if g, ok := groups["refusals_in_a_row"]; ok {
		g.Text = e.refusedText()
	}
	out := make([]care.Reason, 0, len(order))
	for _, key := range order {
		out = append(out, groups[key].Reason)
	}
	sort.SliceStable(out, func(i, j int) bool { return math.Abs(out[i].Weight) > math.Abs(out[j].Weight) })
	return out
}

func (e *engine) refusedText() string {
	n := len(e.refusals)
	times := fmt.Sprintf("%d offers in a row refused", n)
	if n == 1 {
		times = "Refused on " + date(e.refusals[0].at)
	}
	if x := e.refusals[n-1].terms; x.shed > 0 {
		return times + "; in shed, so the last counts little"
	} else if x.settling > 1 {
		return times + "; still settling in, so they count less"
	}
	own := e.feed.alpha / (e.feed.alpha + e.feed.beta)
	return fmt.Sprintf("%s; it usually refuses about %.0f in 100", times, 100*own)
}

// causes ranks what would explain the refusals since the last meal, by the
// size of each excuse at the last of them. Shares add up to one.
func (e *engine) causes() []care.Cause {
	if len(e.refusals) == 0 {
		return nil
	}
	last := e.refusals[len(e.refusals)-1]
	var out []care.Cause
	sum := 0.0
	add := func(code string, w float64, text string) {
		if w > .05 {
			out = append(out, care.Cause{Code: code, Share: w, Text: text})
			sum += w
		}
	}
	x := last.terms
	add("settling_in", x.settling, "Still settling in: many snakes wait a few weeks before they eat in a new home")
	add("in_shed", x.shed, "About to shed: most snakes do not eat then")
	if d := e.climate.deficit(&e.sp); d > 1 {
		add("warm_side_too_cool", .5*d, fmt.Sprintf("The warm side is about %.0f °C too cool for digesting", d))
	}
	if r, ok := e.climate.latest["warm"]; ok && r.value > e.sp.Climate.HotTooHigh {
		add("warm_side_too_hot", 1.2, "The warm side is too hot")
	}
	add("season", x.season, "The cool season: adults often stop eating for weeks")
	add("prey_changed", x.prey, "The prey is not what it was used to")
	since := last.at.Sub(e.s.HandedOverAt).Hours() / 24
	if since < 5 {
		add("offered_too_soon", 1.2, "Offered in the first days: it had hardly arrived")
	}
	if n := len(e.refusals); n > 1 && last.at.Sub(e.refusals[n-2].at) < 5*day {
		add("offered_too_often", 1, "Offered again within a few days: each offer disturbs it")
	}
	if m := e.mass(); m > 0 && float64(last.offer.PreyMass) > 1.3*e.sp.PreyShare[e.age].High/100*m {
		add("prey_too_large", 1, "The prey is large for it")
	}
	if n := len(e.regurgitated); n > 0 && last.at.Sub(e.regurgitated[n-1]) < 14*day {
		add("offered_after_regurgitation", 1.2, "Offered soon after it brought a meal up: its stomach needs rest")
	}
	if a, ok := e.answers["hides"]; ok && a.Choice != care.NotSure {
		if p, ok := care.Point("hides"); ok {
			for _, c := range p.Choices {
				if c.Code == a.Choice && c.Verdict == care.Hazard {
					add("too_open", 1, "Too few snug hides: it does not feel safe")
				}
			}
		}
	}
	add("unexplained", .4+2*e.feed.x, "Something else; looking at weight and temperatures tells most")
	for i := range out {
		out[i].Share /= sum
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Share > out[j].Share })
	return out
}

// missing is the datum that would tell most.
func (e *engine) missing() string {
	weightAge := 999.0
	if !e.lastWeighed.IsZero() {
		weightAge = e.now.Sub(e.lastWeighed).Hours() / 24
	}
	_, warm := e.climate.latest["warm"]
	switch {
	case len(e.refusals) > 0 && !warm:
		return "The temperature of the warm side: nobody has measured it yet."
	case len(e.refusals) > 0 && weightAge > 13:
		if e.lastWeighed.IsZero() {
			return "A weight: it has not been weighed in the new home."
		}
		return fmt.Sprintf("A weight: the last one is %d days old.", int(weightAge))
	case len(e.answers) == 0 && e.day >= 1:
		return "The setup checklist: nobody has walked through it yet."
	case !warm && e.day >= 2:
		return "The temperature of the warm side: nobody has measured it yet."
	case weightAge > 30 && e.day > 21:
		return "A weight: there is none from the last month."
	}
	return ""
}

// steps are what to do next, the most useful first.
func (e *engine) steps(list []found) []care.Step {
	var out []care.Step
	have := map[string]bool{}
	add := func(s care.Step) {
		if !have[s.Code] {
			have[s.Code] = true
			out = append(out, s)
		}
	}
	for _, f := range list {
		if f.Level == care.Vet && f.step != nil {
			add(*f.step)
		}
	}
	holding := e.stepEnd().After(e.now)
	if holding {
		add(care.Step{Code: e.step.Code, Text: "Agreed with your breeder until " + date(e.stepEnd()) + ": " + stepText(e.step.Code) + ".", HoldsDays: e.step.HoldsDays})
	}
	for _, f := range list {
		if f.step != nil && f.Code != "silence" {
			add(*f.step)
		}
	}
	_, warm := e.climate.latest["warm"]
	n := len(e.refusals)
	switch {
	case holding:
	case n > 0 && !warm:
		add(care.Step{Code: "measure_warm_side", Text: "Measure the warm side with a probe thermometer, right where it lies."})
	case n > 0 && e.now.Sub(e.refusals[n-1].at) < 5*day:
		add(care.Step{Code: "leave_in_peace", Text: "Leave it in peace for five days: no handling, no offers. Then offer again.", HoldsDays: 5})
	case n > 1 && (e.lastWeighed.IsZero() || e.now.Sub(e.lastWeighed) > 13*day):
		add(care.Step{Code: "weigh_again", Text: "Weigh it before the next offer. The weight tells whether waiting is all right."})
	}
	for _, f := range list {
		if f.step != nil {
			add(*f.step)
		}
	}
	if len(e.answers) == 0 && e.day >= 1 {
		add(care.Step{Code: "walk_the_checklist", Text: "Walk through the setup checklist with your phone in hand. Ten minutes, and it catches most trouble."})
	}
	if !warm && e.day >= 2 {
		add(care.Step{Code: "measure_warm_side", Text: "Measure the warm side with a probe thermometer, right where it lies."})
	}
	if !holding && !have["call_reptile_vet"] && !have["rest_after_regurgitation"] {
		if at, ok := e.nextOffer(); ok && at.After(e.now) {
			add(care.Step{Code: "offer_later", Text: "Next offer on " + date(at) + " or after. Until then there is nothing to do."})
		} else {
			add(care.Step{Code: "offer", Text: "Offer food this evening, the way it knows it, and leave it alone with it."})
		}
	}
	return out
}

// nextOffer is when food makes sense again.
func (e *engine) nextOffer() (time.Time, bool) {
	every := e.sp.OfferEvery[e.ageNow()]
	at := e.s.HandedOverAt.Add(6 * day) // 5 to 7 days to settle (care sheets, second-hand)
	if t := e.lastMeal.Add(time.Duration(every.Mid() * float64(day))); !e.lastMeal.IsZero() && t.After(at) {
		at = t
	}
	if n := len(e.refusals); n > 0 {
		if t := e.refusals[n-1].at.Add(7 * day); t.After(at) { // common practice, no source
			at = t
		}
	}
	if n := len(e.regurgitated); n > 0 {
		if t := e.regurgitated[n-1].Add(14 * day); t.After(at) {
			at = t
		}
	}
	if e.inShed(e.now) {
		if t := e.opaqueAt.Add(12 * day); t.After(at) {
			at = t
		}
	}
	return at, true
}

// stepCodes are the steps that people agree on, in words.
var stepCodes = map[string]string{
	"leave_in_peace":           "leave it in peace, no handling and no offers",
	"raise_warm_side":          "raise the warm side",
	"lower_warm_side":          "turn the heat down",
	"measure_warm_side":        "measure the warm side",
	"weigh_again":              "weigh it again",
	"walk_the_checklist":       "walk through the setup checklist",
	"call_reptile_vet":         "see a reptile vet",
	"rest_after_regurgitation": "no food and no handling",
	"offer":                    "offer food",
	"offer_later":              "wait with the next offer",
	"look_again":               "look at it again",
	"say_how_it_is":            "say how it is",
}

func stepText(code string) string {
	if t, ok := stepCodes[code]; ok {
		return t
	}
	return strings.ReplaceAll(strings.TrimPrefix(code, "fix_"), "_", " ")
}

// words are what breeder and keeper read first.
func (e *engine) words(a *Assessment, list []found) {
	name := "It"
	switch {
	case len(list) > 0:
		a.Headline = list[0].Text
	case a.FastDays >= 0 && len(e.refusals) == 0:
		a.Headline = fmt.Sprintf("Ate %s", ago(a.FastDays))
		if e.meals >= 3 {
			a.Headline += fmt.Sprintf(", %d meals in a row", e.meals)
		}
	case len(e.refusals) > 0:
		a.Headline = e.refusalText(a)
	default:
		a.Headline = "Just handed over, nothing to worry about"
	}

	n := len(e.refusals)
	switch {
	case len(list) > 0 && list[0].sees != "" && (list[0].Level > care.Watch || n == 0):
		f := list[0]
		a.KeeperSees, a.KeeperMeans, a.KeeperWorry = f.sees, f.means, f.worry
	case n > 0:
		a.KeeperSees = fmt.Sprintf("%s did not eat the last time it was offered food.", name)
		if n > 1 {
			a.KeeperSees = fmt.Sprintf("%s did not eat the last %d times it was offered food.", name, n)
		}
		if e.weight.seen > 0 {
			a.KeeperSees += " Its weight: " + change(a.LossPct/100) + " since it came home."
		}
		a.KeeperMeans = "Most likely: " + lower(a.Causes[0].Text) + "."
		if a.Standing >= care.StepIn {
			a.KeeperMeans += " It has gone on long enough that your breeder should look at it with you."
		} else {
			a.KeeperMeans += " A healthy snake can wait for weeks."
		}
		a.KeeperWorry = "When it has lost a tenth of its weight, or you see a sign such as wheezing: then a reptile vet should see it."
	case a.FastDays >= 0 && e.meals > 0:
		a.KeeperSees = fmt.Sprintf("%s ate %s.", name, ago(a.FastDays))
		a.KeeperMeans = "That is how it should be."
		a.KeeperWorry = "When it refuses several offers in a row and loses weight."
	case e.day < 7:
		a.KeeperSees = "It has just moved in."
		a.KeeperMeans = "It needs quiet: a warm end, a cool end, a snug hide at each, and clean water."
		a.KeeperWorry = "Mouth open, wheezing, or hanging limp: call a reptile vet."
	default:
		a.KeeperSees = "No offer has been logged in the new home yet."
		a.KeeperMeans = "That is fine if you have not offered food yet. If you have, log how it went."
		a.KeeperWorry = "When it refuses several offers in a row and loses weight."
	}
	if len(a.Steps) > 0 {
		a.KeeperDo = a.Steps[0].Text
	}
}

func (e *engine) refusalText(a *Assessment) string {
	text := ""
	switch n := len(e.refusals); {
	case n == 1:
		text = "Refused on " + date(e.refusals[0].at)
	case n > 1:
		text = fmt.Sprintf("Refused %d offers in a row", n)
	default:
		text = "May not be feeding"
	}
	if a.FastDays > 0 {
		text += fmt.Sprintf(", %d days since the last meal", a.FastDays)
	}
	if e.weight.seen > 0 {
		text += ", weight " + e.lossText(a)
	} else if len(e.refusals) > 0 {
		text += ", not weighed yet"
	}
	return text
}

func (e *engine) lossText(a *Assessment) string {
	return fmt.Sprintf("%s (90 %%: %s to %s)", change(a.LossPct/100), signed(-a.LossHigh), signed(-a.LossLow))
}

// change says a share of body mass lost or gained.
func change(loss float64) string { return signed(-100*loss) + " %" }

func signed(v float64) string {
	s := strconv.FormatFloat(math.Abs(v), 'f', 1, 64)
	switch {
	case s == "0.0":
		return "0"
	case v < 0:
		return "−" + s
	}
	return "+" + s
}

func ago(days int) string {
	switch days {
	case 0:
		return "today"
	case 1:
		return "yesterday"
	}
	return fmt.Sprintf("%d days ago", days)
}

func date(t time.Time) string { return t.UTC().Format("2 January") }

func celsius(c float64) string {
	return fmt.Sprintf("%.1f °C (%.0f °F)", c, c*9/5+32)
}

func band(b snake.Band) string {
	return fmt.Sprintf("%.0f to %.0f °C (%.0f to %.0f °F)", b.Low, b.High, b.Low*9/5+32, b.High*9/5+32)
}

func how(w care.TakenWith) string {
	switch w {
	case care.WithProbe:
		return "probe"
	case care.WithInfrared:
		return "infrared thermometer"
	case care.WithDial:
		return "stick-on dial, which may be off by 3 °C"
	case care.WithStrip:
		return "stick-on strip, which may be off by 3 °C"
	}
	return "instrument not said"
}

func number(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func lower(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

func article(word string) string {
	if strings.ContainsAny(word[:1], "aeiou") {
		return "an " + word
	}
	return "a " + word
}
