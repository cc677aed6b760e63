package care

import (
	"math"
	"slices"
	"strings"
	"time"

	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Verdict is what one answer to a point of the setup checklist means.
type Verdict int

// The verdicts.
const (
	Fine    Verdict = iota
	Hazard          // can hurt the animal
	Unsure          // the keeper cannot tell
	NotHere         // there is no such thing in this setup
)

// String is the plain word for the verdict.
func (v Verdict) String() string {
	return [...]string{"fine", "hazard", "unsure", "not here"}[v]
}

// NotSure is the choice that every point offers.
const NotSure = "not_sure"

// Choice is one answer that a point offers.
type Choice struct {
	Code    string
	Label   string
	Verdict Verdict
}

// MeasureKind is what SetupAnswer.Measure holds for a point.
type MeasureKind string

// The kinds. All are millimetres.
const (
	MeasureNothing MeasureKind = ""
	MeasureOpening MeasureKind = "opening" // the narrowest way across a hole
	MeasureDepth   MeasureKind = "depth"   // of the water
	MeasureHeight  MeasureKind = "height"  // from the floor to the highest place it can reach
	MeasureGap     MeasureKind = "gap"     // the width of a slit
)

// Size is one further size of a point, for those who can take it.
type Size struct {
	Code  string
	Label string
	Hint  string
	Unit  string // "mm" or "g"
}

// SetupPoint is one point of the setup checklist.
type SetupPoint struct {
	Code    string
	Title   string
	Why     string // one sentence
	Look    string // how to look
	Fix     string // how to put it right
	Source  string
	Choices []Choice
	Measure MeasureKind
	Sizes   []Size
	// Shots are the pictures that help the breeder to see it, in the order of
	// taking: what to hold the camera at, and how.
	Shots []string
}

// SetupPoints is the checklist in the order of a walk from the outside in. The
// caller owns the slice but not the choices in it.
func SetupPoints() []SetupPoint { return append([]SetupPoint(nil), setupPoints...) }

// Point finds a point by its code.
func Point(code string) (SetupPoint, bool) {
	for i := range setupPoints {
		if setupPoints[i].Code == code {
			return setupPoints[i], true
		}
	}
	return SetupPoint{}, false
}

const noSource = "common practice, no source"

// choices appends the answer that every point has.
func choices(list ...Choice) []Choice {
	return append(list, Choice{NotSure, "I am not sure", Unsure})
}

var setupPoints = []SetupPoint{
	{
		Code: "lid_gaps", Title: "Lid, doors and gaps to the outside",
		Why:    "A snake gets out through any gap that its head fits through, and it pushes for hours.",
		Look:   "Close everything as you would at night. Run a finger along each edge, each cable hole and each vent. Measure the widest slit.",
		Fix:    "Add a lock or clips to the lid or doors, and close slits and cable holes with a rigid piece fixed from the outside.",
		Source: noSource,
		Choices: choices(
			Choice{"locked_tight", "It locks, and every gap is too small for the head", Fine},
			Choice{"no_lock", "It closes, but nothing locks it", Hazard},
			Choice{"gap", "There is a gap that the head may fit through", Hazard}),
		Measure: MeasureGap, Shots: []string{"The whole enclosure from the front", "Each gap straight on, with the handover card flat beside it"},
	},
	{
		Code: "other_pets", Title: "Other animals in the home",
		Why:    "Cats, dogs and other snakes can hurt or frighten it, or pass on illness.",
		Look:   "Think of every animal that can reach the enclosure, and check that only one snake lives in it.",
		Fix:    "Keep one snake in each enclosure, in a room that other pets cannot enter alone. Keep a new snake apart from your other reptiles for 30 days at the least, better 90.",
		Source: "at least 30 days of quarantine: a breeder's handbook chapter; 90 days: reptile-medicine handbooks, from memory",
		Choices: choices(
			Choice{"kept_apart", "It lives alone and other animals cannot reach it", Fine},
			Choice{"can_reach", "A cat, dog or other pet can get to the enclosure", Hazard},
			Choice{"shares", "Another reptile lives in the same enclosure", Hazard},
			Choice{"none", "There are no other animals in the home", NotHere}),
	},
	{
		Code: "fumes", Title: "Sprays, smoke and cleaning",
		Why:    "Fumes stay in a small space, and a snake cannot walk away from them.",
		Look:   "Think of what is used in the room: air freshener, insect spray, paint, smoke, strong cleaner.",
		Fix:    "Keep sprays and smoke out of the room. Clean with the snake in a safe box elsewhere, rinse well and let everything dry and air before it goes back.",
		Source: noSource,
		Choices: choices(
			Choice{"none_used", "Nothing of that kind is used near it", Fine},
			Choice{"moved_out", "We clean only while it is out, then rinse and air", Fine},
			Choice{"near_it", "Sprays, smoke or strong cleaners get near it", Hazard}),
	},
	{
		Code: "heaters", Title: "What heats it, and where",
		Why:    "What lies inside can be touched, dug up and splashed, so the same heater is safer outside.",
		Look:   "Follow each cable from the wall to what gets warm. If there are several, answer for the one that the snake can get nearest to.",
		Fix:    "Move mats, pads and cables outside, under the floor of one end or onto a wall, with a gap for air. Until then switch it off at the wall, or see that it runs through a thermostat with the sensor on it.",
		Source: "burns by heaters that can be touched: Mader 2008, conference notes on thermal burns; the rest " + noSource,
		Choices: choices(
			Choice{"under_floor", "A mat or cable outside, under the floor or on a wall", Fine},
			Choice{"overhead_outside", "A bulb, panel or ceramic heater outside, above the mesh", Fine},
			Choice{"overhead_inside", "A bulb, panel or ceramic heater inside", Fine},
			Choice{"mat_inside", "A mat, pad or cable inside, where it can lie on it or dig to it", Hazard},
			Choice{"room", "Nothing but the warm room", NotHere}),
		Shots: []string{"What heats it, from where its cable can be seen"},
	},
	{
		Code: "heater_thermostat", Title: "Every heater on a thermostat",
		Why:    "A heater without a thermostat can get hot enough to burn, and snakes often do not move away in time.",
		Look:   "Follow the cable of each mat, bulb and panel. It should end in a thermostat whose sensor is fixed at the hottest place the snake can touch.",
		Fix:    "Unplug the heater until it runs through a thermostat. For one night, a warm room is safer than a heater with no control.",
		Source: "Mader 2008, conference notes on thermal burns; sensor at the hottest place: " + noSource,
		Choices: choices(
			Choice{"all_on", "Every heater has a thermostat and the sensor is fixed", Fine},
			Choice{"loose_sensor", "There is a thermostat, but its sensor is loose or not at the hot spot", Hazard},
			Choice{"none_on", "A heater runs without a thermostat", Hazard},
			Choice{"no_heater", "There is no heater", NotHere}),
		Shots: []string{"The thermostat with its display", "The sensor where it is fixed"},
	},
	{
		Code: "heat_rock", Title: "Heated rocks",
		Why:    "Heated rocks get very hot in spots and burn the belly of a snake that lies on them.",
		Look:   "Look for any rock, cave or branch with a cable.",
		Fix:    "Unplug it and take it out. Use a mat or an overhead heater on a thermostat instead.",
		Source: "Mader 2008, conference notes on thermal burns",
		Choices: choices(
			Choice{"unplugged", "There is one, but it is unplugged for good", Fine},
			Choice{"in_use", "One is in use", Hazard},
			Choice{"none", "There is none", NotHere}),
		Shots: []string{"The rock with its cable"},
	},
	{
		Code: "bulb_guard", Title: "Bulbs and hot panels guarded",
		Why:    "A snake climbs to a warm bulb and coils round it, and is burned before it lets go.",
		Look:   "Look at every bulb or ceramic heater inside. It needs a guard that the snake cannot get into or lie on.",
		Fix:    "Switch it off and fit a guard all round, or move the heater outside above the mesh.",
		Source: "welfare-society leaflets, from memory; Mader 2008, conference notes on thermal burns",
		Choices: choices(
			Choice{"guarded", "Each has a guard all round", Fine},
			Choice{"outside", "All are outside, where it cannot touch them", Fine},
			Choice{"open", "One inside has no guard, or the guard has a way in", Hazard},
			Choice{"none", "There are none", NotHere}),
		Shots: []string{"The bulb or panel with its guard, from below"},
	},
	{
		Code: "power_near_water", Title: "Electrical parts and water",
		Why:    "Water on a plug or a joint in a cable can give a shock to the snake and to you.",
		Look:   "From outside, without touching: is any plug, socket, joint or adapter inside, or where spilled or sprayed water could reach it? Is there a safety switch (RCD or GFCI) on the socket?",
		Fix:    "Switch off at the wall before you touch anything. Move plugs and joints outside and above the water, and let each cable hang in a loop below its socket. Ask a licensed electrician if you are in doubt.",
		Source: "general practice after IEC 60529 and IEC 61008, from memory",
		Choices: choices(
			Choice{"dry", "Plugs and joints are outside and dry, with a safety switch", Fine},
			Choice{"no_switch", "They are dry, but there is no safety switch", Hazard},
			Choice{"reachable", "Water could reach a plug, joint or adapter", Hazard},
			Choice{"damaged", "A cable is cut, cracked or taped up", Hazard},
			Choice{"none", "There is no electricity at the enclosure", NotHere}),
		Shots: []string{"Plugs, joints and cables, from outside", "What could splash: the bowl and the way to the nearest cable"},
	},
	{
		Code: "gradient", Title: "A warm end and a cool end",
		Why:    "A snake warms and cools itself by moving, so it needs a real choice.",
		Look:   "Measure the floor at the warm end and at the cool end, after the heater has been on for a few hours.",
		Fix:    "Put all heating at one end and leave the other end free. The two ends should differ by at least 4 to 5 °C (7 to 9 °F).",
		Source: noSource,
		Choices: choices(
			Choice{"both_ends", "One end is warm, the other clearly cooler", Fine},
			Choice{"all_warm", "It is about as warm everywhere", Hazard},
			Choice{"all_cool", "It is cool everywhere", Hazard}),
	},
	{
		Code: "thermometers", Title: "What measures the heat, and where",
		Why:    "A stick-on dial shows the wall it sits on, and can be wrong by several degrees where the snake lies.",
		Look:   "See what kind you have and where its sensor is.",
		Fix:    "Use a digital thermometer with its probe on the floor of the warm end, and another at the cool end.",
		Source: "accuracy of dials and probes: instrument practice, from memory",
		Choices: choices(
			Choice{"probes_both", "A digital probe at each end, on the floor", Fine},
			Choice{"probe_one", "One digital probe, at the warm end", Fine},
			Choice{"infrared", "A point-and-read infrared thermometer", Fine},
			Choice{"dial", "Only a stick-on dial or strip", Hazard},
			Choice{"none", "Nothing measures it", Hazard}),
		Shots: []string{"Each thermometer, near enough to read it"},
	},
	{
		Code: "hides", Title: "Places to hide",
		Why:    "A snake that cannot hide stays afraid, and a frightened snake often does not eat.",
		Look:   "Count the hides. A good one is dark, closed all round but for one opening, and so snug that the coiled snake touches its sides.",
		Fix:    "Put one snug hide at each end, warm and cool. An upturned box with a wide, smooth doorway does well.",
		Source: noSource,
		Choices: choices(
			Choice{"both_ends", "A snug hide at each end", Fine},
			Choice{"one", "Only one hide", Hazard},
			Choice{"too_open", "The hides are large or open on several sides", Hazard},
			Choice{"no_hide", "There is no hide", Hazard}),
		Sizes: []Size{{"inside_mm", "Inside of the smallest hide, the wider way", "“15 cm” works too", "mm"}},
		Shots: []string{"The hides from above, with the ends of the enclosure in view"},
	},
	{
		Code: "decor_openings", Title: "Holes in decor, wood and hides",
		Why:    "A snake puts its head through a hole that its body cannot follow through, and gets stuck.",
		Look:   "Find every hole in hides, branches, bark, pots and ornaments. Measure the narrowest way across each, and photograph it with the handover card lying flat beside it.",
		Fix:    "Take out what has a hole about as wide as the body. If your snake is stuck now, do not pull: support its body, keep it calm and call a reptile vet.",
		Source: noSource,
		Choices: choices(
			Choice{"all_wide", "Every hole is much wider than the snake", Fine},
			Choice{"all_tiny", "Every hole is too small for its head", Fine},
			Choice{"about_body", "One is about as wide as the snake", Hazard},
			Choice{"none", "There are no holes", NotHere}),
		Measure: MeasureOpening, Shots: []string{"Each hole straight on, with the handover card flat beside it"},
	},
	{
		Code: "tubes", Title: "Tubes and rolls",
		Why:    "A tube that fits today is too tight after a few months of growth or after a meal.",
		Look:   "Measure the inside of each tube, roll or hollow log at its narrowest place.",
		Fix:    "Cut the tube open along its length, or use a much wider one.",
		Source: noSource,
		Choices: choices(
			Choice{"cut_open", "They are cut open along their length", Fine},
			Choice{"very_wide", "They are much wider than the snake, with room to grow", Fine},
			Choice{"snug", "One is snug, or will be soon", Hazard},
			Choice{"none", "There are none", NotHere}),
		Measure: MeasureOpening, Shots: []string{"The narrow end of each tube straight on, with the handover card held level with it"},
	},
	{
		Code: "netting", Title: "Nets and mesh",
		Why:    "Scales slide into a net one way only, so a snake in netting cannot back out; coarse mesh also rubs the nose raw.",
		Look:   "Look for garden net, fruit net, hammock net and wire mesh, inside or as the lid or front. Measure the narrowest way across one hole of the mesh.",
		Fix:    "Take soft netting out. Use a smooth, fine and rigid mesh, or a solid front with small vents. If your snake is caught now, hold it still and cut the net strand by strand; do not pull.",
		Source: "nose rubbed on wire mesh: a veterinary clinic's care sheet; snakes caught in netting: Ebert et al. 2019, Wildl Soc Bull",
		Choices: choices(
			Choice{"fine_rigid", "Only fine, stiff mesh that it cannot push into", Fine},
			Choice{"coarse", "Mesh with holes that its nose or head goes into", Hazard},
			Choice{"soft_net", "There is soft netting", Hazard},
			Choice{"none", "There is no net or mesh", NotHere}),
		Measure: MeasureOpening, Shots: []string{"The mesh straight on, with the handover card flat on it"},
	},
	{
		Code: "sharp_edges", Title: "Sharp edges and points",
		Why:    "The belly and the skin under a shed tear easily.",
		Look:   "Feel with your fingers along hides, wood, wire ends, cut plastic and broken pots.",
		Fix:    "Sand it smooth, bend wire ends outwards, or take the piece out.",
		Source: noSource,
		Choices: choices(
			Choice{"all_smooth", "Everything feels smooth", Fine},
			Choice{"sharp", "Something is sharp, broken or splintered", Hazard}),
		Shots: []string{"Each sharp place from near, in good light"},
	},
	{
		Code: "tape", Title: "Sticky tape, labels and glue",
		Why:    "Tape holds a snake fast and pulls its skin off when it struggles.",
		Look:   "Look inside for tape on cables, mats, sensors and cracks, for sticky labels and for glue traps in the room.",
		Fix:    "Take all of it out, and fix sensors with a suction cup or a clip. If your snake is stuck now, do not pull: work in a little cooking oil until it comes free, and call a reptile vet if the skin is hurt.",
		Source: "usual advice of vets, from memory",
		Choices: choices(
			Choice{"no_tape", "There is nothing sticky inside", Fine},
			Choice{"tape_inside", "There is tape, a label or glue inside", Hazard}),
		Shots: []string{"Each place with tape, a label or glue"},
	},
	{
		Code: "water_depth", Title: "Water bowl",
		Why:    "A small, weak or wobbly snake can drown in water that is too deep, and a light bowl tips.",
		Look:   "Measure the depth of the water with a ruler. Push the rim: the bowl should not tip.",
		Fix:    "Pour out what is too much, or use a wide, low and heavy bowl. Fresh water every day.",
		Source: noSource,
		Choices: choices(
			Choice{"shallow_heavy", "Shallow water in a heavy bowl", Fine},
			Choice{"too_deep", "Deeper than the limit for this snake", Hazard},
			Choice{"tips", "The bowl is light and tips", Hazard},
			Choice{"no_water", "There is no water bowl", Hazard}),
		Measure: MeasureDepth, Shots: []string{"The bowl from the side, at the height of the water"},
	},
	{
		Code: "heavy_things", Title: "Heavy things",
		Why:    "Snakes dig and push, and a stone or hide that stands on loose ground can sink or fall on them.",
		Look:   "Push each stone, log and hide at its top. Check that heavy pieces stand on the bare floor, not on the substrate.",
		Fix:    "Set heavy pieces on the bare floor first and put the substrate round them. Fix anything stacked, and lay tall pieces down.",
		Source: "statics, for the push that tips a thing; on the bare floor: keeping codes, from memory",
		Choices: choices(
			Choice{"on_floor", "Heavy pieces stand on the bare floor and are steady", Fine},
			Choice{"loose", "Something heavy wobbles, or is stacked and not fixed", Hazard},
			Choice{"on_substrate", "Something heavy stands on the substrate", Hazard},
			Choice{"none", "There is nothing heavy", NotHere}),
		Sizes: []Size{
			{"mass_g", "Weight of the heaviest piece", "guess if you cannot weigh it", "g"},
			{"foot_mm", "Width of its foot, the narrower way", "of a stacked piece: what it rests on; “12 cm” works too", "mm"},
			{"height_mm", "Its height", "“20 cm” works too", "mm"},
		},
		Shots: []string{"Each heavy piece from the side, with what it stands on"},
	},
	{
		Code: "climb_height", Title: "High places",
		Why:    "Many snakes climb well enough to get up and badly enough to fall.",
		Look:   "Measure from the floor to the highest place it can get to, and see what is below.",
		Fix:    "Lower the perch, fix thick branches so that they do not turn, and put soft, deep substrate below.",
		Source: "a fall of more than 60 cm (2 ft) is a reason to see a vet: a veterinary emergency course; lower limits " + noSource,
		Choices: choices(
			Choice{"low", "Nothing high to climb", Fine},
			Choice{"high_soft", "High, with fixed branches and soft ground below", Fine},
			Choice{"high_hard", "High, with a hard floor or hard things below", Hazard},
			Choice{"loose_branch", "A branch turns or slips", Hazard}),
		Measure: MeasureHeight, Shots: []string{"The highest place from the front, with the floor in view"},
		Sizes: []Size{{"ground_mm", "Depth of the soft ground below", "“5 cm” works too", "mm"}},
	},
	{
		Code: "substrate", Title: "What is on the floor",
		Why:    "Some floors give off harmful vapour, and loose grit is swallowed with the food.",
		Look:   "Read the bag. If you cannot, smell it: a strong wood scent means cedar or pine.",
		Fix:    "Put down plain paper today; it is always safe. Later use aspen for dry species, or cypress bark, orchid bark or coco for those that like damp air.",
		Source: "cedar and pine: studies on rodents and poultry summarised by a reptile care archive; no study on snakes exists. Grit: care literature, from memory",
		Choices: choices(
			Choice{"paper", "Paper or paper towel", Fine},
			Choice{"aspen", "Aspen shavings", Fine},
			Choice{"bark_coco_soil", "Cypress or orchid bark, coco or soil mix", Fine},
			Choice{"cedar_pine", "Cedar, pine or another scented wood", Hazard},
			Choice{"sand_litter", "Sand, cat litter, nutshell, corn cob or gravel", Hazard},
			Choice{"other", "Something else", Unsure}),
		Shots: []string{"The floor from above, from near"},
	},
	{
		Code: "live_prey", Title: "Live prey",
		Why:    "A mouse or rat left alone with a snake bites, and the wounds can be serious.",
		Look:   "Think of how you feed, and of what happens when it does not eat at once.",
		Fix:    "Offer thawed prey with tongs. If yours has only ever eaten live prey, ask the breeder how to change over, and never leave live prey with it.",
		Source: "a veterinary client sheet on feeding snakes",
		Choices: choices(
			Choice{"thawed", "We feed thawed or already killed prey", Fine},
			Choice{"live_watched", "Live prey, watched all the time and taken out again", Fine},
			Choice{"live_alone", "Live prey is sometimes left with it", Hazard}),
	},
}

// Limits of our own; what lies behind each stands in the tables.
var (
	roomToGrow = snake.Number("limit", "room_to_grow") // by which a tube must still be wide enough

	depthShare, depthLeast = snake.Number("limit", "water"), snake.Number("limit", "water_least")
	// With a wobble the head is out of the water while the belly rests: body
	// widths, and the least and the most, mm.
	wobbleDepth = snake.Numbers("limit", "wobble_water", 3)

	// Heavy-bodied snakes climb badly; and no higher than the animal is long, so
	// that it can reach the ground from there.
	climbMost, wobbleClimbMost = snake.Number("limit", "climb"), snake.Number("limit", "wobble_climb")
)

// MakeChecklist makes the checklist for one animal of this mass (0 unknown):
// the sentences and limits that its species, size and genes add. Openings are
// bounded so that about one animal in forty could be stuck outside the bounds.
func MakeChecklist(a *Animal, mass Grams, at time.Time) []ChecklistItem {
	s, listed := snake.ByID(a.Species)
	age := s.Age(a.Hatched, float64(mass), at)
	// By mass alone: a length in the stock book has no date, the mass is fresh.
	body := snake.BodyDiameter(&s, age, float64(mass), 0)
	shut, pass := snake.UnsafeOpening(body, largestMeal(&s, age, float64(mass)))
	evidence, gene := snake.Wobble(a.Genes)
	wobble := evidence != snake.NoWobble

	items := make([]ChecklistItem, len(setupPoints))
	for i, p := range setupPoints {
		it := ChecklistItem{Point: p.Code}
		known := body > 0
		if p.Measure == MeasureOpening && known {
			it.ShutBelow, it.PassAbove = Millimetres(math.Floor(shut)), Millimetres(math.Ceil(pass))
		}
		switch p.Code {
		case "decor_openings", "netting":
			it.ForThisAnimal = openingSentence(it, mass)
		case "tubes":
			it.PassAbove = Millimetres(math.Ceil(pass * roomToGrow))
			if known {
				it.ForThisAnimal = words.Say("For a snake of {mass} that still grows: at least {size} inside, or cut open.", grams(mass), mm(it.PassAbove))
			}
		case "lid_gaps":
			if known {
				it.ShutBelow = Millimetres(math.Floor(snake.UnsafeSlit(body)))
				it.ForThisAnimal = words.Say("For a snake of {mass} keep every slit under {size}.", grams(mass), mm(it.ShutBelow))
			}
		case "water_depth":
			it.MaxDepth, it.ForThisAnimal = depth(body, evidence, gene)
		case "climb_height":
			switch {
			case wobble:
				it.MaxHeight = noLongerThan(wobbleClimbMost, snake.Length(float64(mass), body))
				it.ForThisAnimal = words.Say("It carries {gene}, and a snake with a head wobble falls easily: nothing to climb above {height} cm.", gene, whole(float64(it.MaxHeight/10)))
			case s.Climbs:
				it.ForThisAnimal = words.Say("A {species} likes to climb: give it thick, fixed branches over soft ground.", words.Say(s.Common))
			default:
				it.MaxHeight = noLongerThan(climbMost, snake.Length(float64(mass), body))
				it.ForThisAnimal = words.Say("It is no great climber and falls easily: nothing to climb above {height} cm.", whole(float64(it.MaxHeight/10)))
			}
		case "gradient":
			it.ForThisAnimal = gradientSentence(s.Climate, listed)
		case "heater_thermostat":
			it.ForThisAnimal = words.Say("Nothing that it can touch should get above {limit}.", degrees(s.Climate.HotTooHigh))
		case "thermometers":
			it.ForThisAnimal = words.Say("Measure humidity too: {low} to {high} %, and {shedLow} to {shedHigh} % while it sheds.",
				whole(s.Climate.Humidity.Low), whole(s.Climate.Humidity.High), whole(s.Climate.ShedHumidity.Low), whole(s.Climate.ShedHumidity.High))
		case "substrate":
			switch {
			case !listed:
			case s.Climate.Humidity.Low >= 55:
				it.ForThisAnimal = words.Say("A {species} needs damp air: bark, coco or a soil mix holds it best.", words.Say(s.Common))
			default:
				it.ForThisAnimal = words.Say("A {species} does well on a dry floor: aspen or paper.", words.Say(s.Common))
			}
		case "hides":
			if coil := snake.Coil(float64(mass), body); coil > 0 {
				it.ForThisAnimal = words.Say("Coiled up it is about {size} cm across: a hide about that wide inside is snug.", whole(math.Ceil(coil/10)))
			}
			if age == snake.Hatchling {
				it.ForThisAnimal = words.Join(it.ForThisAnimal, words.Say("It is still small: choose small hides, or it will feel that it is in the open."))
			}
		case "live_prey":
			if wobble {
				it.ForThisAnimal = words.Say("It carries {gene}. With a head wobble striking can be hard: hold thawed prey still with tongs, and give it time.", gene)
			}
		}
		items[i] = it
	}
	return items
}

// noLongerThan is a height that is no greater than the animal is long, where
// its length is known, in whole centimetres.
func noLongerThan(most, length float64) Millimetres {
	if length > 0 {
		most = math.Min(most, math.Max(10, 10*math.Floor(length/10)))
	}
	return Millimetres(most)
}

// largestMeal is the heaviest prey, g, that is usual for the animal. The share
// falls from one age class to the next, the prey itself does not.
func largestMeal(s *snake.Species, age snake.AgeClass, mass float64) float64 {
	meal := s.PreyShare[age].High / 100 * mass
	if age >= snake.Juvenile {
		meal = max(meal, s.PreyShare[snake.Hatchling].High/100*s.JuvenileFrom)
	}
	if age == snake.Adult {
		meal = max(meal, s.PreyShare[snake.Juvenile].High/100*s.AdultFrom)
	}
	return meal
}

func openingSentence(it ChecklistItem, mass Grams) words.Text {
	if it.PassAbove == 0 {
		return words.Say("It was not weighed, so there are no sizes: a hole should be too small for its head, or more than twice as wide as its body.")
	}
	return words.Say("For a snake of {mass}, a hole from {from} to {to} could hold it. As it grows, measure again.", grams(mass), mm(it.ShutBelow), mm(it.PassAbove))
}

func depth(body float64, evidence snake.WobbleEvidence, gene string) (Millimetres, words.Text) {
	if evidence == snake.NoWobble {
		if body == 0 {
			return 0, words.Text{}
		}
		d := Millimetres(math.Max(depthLeast, math.Floor(depthShare*body)))
		return d, words.Say("Water no deeper than {depth}.", mm(d))
	}
	d := Millimetres(math.Min(wobbleDepth[2], math.Max(wobbleDepth[1], math.Floor(wobbleDepth[0]*body))))
	if evidence == snake.Reported {
		return d, words.Say("It carries {gene}, a gene that is reported by breeders to bring a head wobble. It may not be able to right itself in water, so keep it shallow: no deeper than {depth}.", gene, mm(d))
	}
	return d, words.Say("It carries {gene}, a gene that is known to bring a head wobble. It may not be able to right itself in water, so keep it shallow: no deeper than {depth}.", gene, mm(d))
}

func gradientSentence(c snake.Climate, listed bool) words.Text {
	if !listed {
		return words.Say("We have no table for this species: ask your breeder which temperatures it was kept at.")
	}
	text := words.Say("Aim for {warm} at the warm end, {cool} at the cool end, and not under {night} at night.",
		degreeBand(c.HotSpot), degreeBand(c.Cool), degrees(c.Night.Low))
	if c.Sureness == "published" {
		return words.Join(text, words.Say("Set from {source}.", c.Source))
	}
	return words.Join(text, words.Say("These are the usual values of keepers' handbooks, from memory; if your breeder kept it otherwise, ask."))
}

// ElectricCaution stands wherever heating is spoken of.
const ElectricCaution = "For anything about wiring, sockets or a damaged cable, ask a licensed electrician, and switch off at the wall first."

// Hygiene is what people who live with a snake are told of clean hands, with its
// sources.
func Hygiene() []string {
	return []string{
		"Healthy snakes, and the animals they eat, can carry Salmonella, and freezing does not kill it. Wash your hands with soap after touching the snake, its things or its food. Children under 5, people over 65 and anyone with a weak immune system should not handle the feeder animals (CDC advice).",
		"Keep the snake, its food and its bowls out of the kitchen and away from the sink. Clean whatever prey was thawed on, and pour used water down the toilet (UK HPA and Defra leaflet, 2009).",
	}
}

// Cautions are what every handover record says besides care: what it is not,
// and what the law and hygiene ask for.
func Cautions(a *Animal) []words.Text {
	s, _ := snake.ByID(a.Species)
	list := []words.Text{
		words.Say("This record helps you, but it is not a vet's advice. If your snake looks ill or hurt, call a vet who treats reptiles."),
		words.Say(ElectricCaution),
	}
	for _, rule := range Hygiene() {
		list = append(list, words.Say(rule))
	}
	if s.CITES != "" {
		list = append(list, words.Say("The {species} is protected by CITES, {appendix} (in the EU Annex B). Keep the proof of where it comes from with this record; you need it when you move house abroad, sell it or give it away.", words.Say(s.Common), words.Say(s.CITES)))
	}
	if injurious(&s) {
		list = append(list, words.Say("In the United States this species is listed as injurious ({source}): importing it, and moving it to or from some places such as Hawaii, is restricted, and some states forbid it.", injuriousSource))
	}
	list = append(list, words.Say("Local rules on keeping, moving and selling snakes differ, and your landlord may have some too. Check them before you move or pass on the snake."))
	switch evidence, gene := snake.Wobble(a.Genes); evidence {
	case snake.Documented:
		list = append(list, words.Say("It carries {gene}, a gene that is known to bring a head wobble. A little wobble that was always there is part of it. If it gets worse, or if your snake stops eating, tell your breeder, and a reptile vet if it cannot right itself.", gene))
	case snake.Reported:
		list = append(list, words.Say("It carries {gene}, a gene with which breeders report a head wobble. There is no published study that we know of. Tell your breeder if you see it.", gene))
	}
	return list
}

// How the first offer in the new home is timed. Five to seven days of peace: a
// keepers' site; other breeders say two to three, for ball pythons up to 14.
// Two weeks of rest after food was brought up, then half the size: common
// practice, no source.
const (
	settleLeast       = 5
	settleDays        = 7
	afterRegurgitated = 14
	day               = 24 * time.Hour
)

// feeding is what the breeder's log says of how an animal is fed, and what
// follows for its first offer in the new home.
type feeding struct {
	species snake.Species
	age     snake.AgeClass
	mass    Grams      // the last, 0 when never weighed
	log     []Entry    // the offers, oldest first
	every   snake.Band // days between offers
	meal    Offer      // the last one eaten, at mealAt
	mealAt  time.Time  // zero when there was none
	upset   time.Time  // food was brought up since, zero when it was not
	first   time.Time  // when to offer first
}

// feedingOf reads the breeder's log, and the species table where the log does
// not tell. at is the handover.
func feedingOf(a *Animal, weights, offers []Entry, at time.Time) feeding {
	f := feeding{log: upTo(offers, at), first: at.Add(settleDays * day)}
	f.species, _ = snake.ByID(a.Species)
	for _, e := range upTo(weights, at) {
		if w, ok := e.Body.(WeighIn); ok {
			f.mass = w.Mass
		}
	}
	f.age = f.species.Age(a.Hatched, float64(f.mass), at)
	f.every = f.species.OfferEvery[f.age]
	if usual := usualGap(f.log); usual > 0 {
		f.every = snake.Band{Low: usual, High: usual}
	}
	for _, e := range f.log {
		switch o := e.Body.(Offer); o.Result {
		case Eaten:
			f.meal, f.mealAt, f.upset = o, e.HappenedAt, time.Time{}
		case Regurgitated:
			f.upset = e.HappenedAt
		}
	}
	if !f.mealAt.IsZero() {
		f.first = later(f.first, f.mealAt.Add(time.Duration(f.every.Low*float64(day))))
	}
	if !f.upset.IsZero() {
		f.first = later(f.first, f.upset.Add(afterRegurgitated*day))
	}
	return f
}

// FeedSentence says in plain words how the animal is fed and when to offer
// first in the new home: from the breeder's log where it tells, else from the
// species table. at is the handover.
func FeedSentence(a *Animal, weights, offers []Entry, at time.Time) words.Text {
	f := feedingOf(a, weights, offers, at)
	var say []words.Text
	if f.mealAt.IsZero() {
		say = append(say, words.Say("No meal is on record with the breeder yet."))
		if f.mass > 0 {
			share := f.species.PreyShare[f.age]
			say = append(say, words.Say("The usual meal for its size is {least} to {most}, {every}.",
				amount(share.Low/100*float64(f.mass)), grams(Grams(share.High/100*float64(f.mass))), every(f.every)))
		} else {
			say = append(say, words.Say("The usual time between offers is {days}.", days(f.every)))
		}
	} else {
		say = append(say, words.Say("It eats {meal}, {every}.", mealWords(f.meal), every(f.every)))
		if eaten, of := lately(f.log); of >= 3 {
			say = append(say, words.Say("It ate {eaten} of its last {offers} offers here.", eaten, of))
		}
		if f.meal.PreyState == Live {
			say = append(say, words.Say("Never leave live prey alone with it; ask the breeder how to change to thawed prey."))
		}
	}
	if !f.upset.IsZero() {
		say = append(say, words.Say("It brought up food on {date}: make the next meal half the usual size, and talk to the breeder before you offer it.", date(f.upset)))
	}
	say = append(say, words.Say("Leave it in peace for the first {days} to {most} days, then make the first offer on {date} or a little later.", settleLeast, settleDays, date(f.first)))
	return words.Join(say...)
}

// mealWords is a meal with its weight where that is known.
func mealWords(o Offer) words.Text {
	if o.PreyMass > 0 {
		return words.Say("{prey} of about {mass}", preyWords(o), grams(o.PreyMass))
	}
	return preyWords(o)
}

// upTo is the entries that count and happened by then, oldest first.
func upTo(list []Entry, at time.Time) []Entry {
	var out []Entry
	for _, e := range list {
		if e.Current() && !e.HappenedAt.After(at) {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(a, b Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
	return out
}

// usualGap is the median of the days between the last offers, rounded; 0 when
// there are too few to tell.
func usualGap(log []Entry) float64 {
	const need, most = 3, 10
	var gaps []float64
	var before time.Time
	for _, e := range log {
		if o, ok := e.Body.(Offer); !ok || o.Result == Regurgitated {
			continue // found later, not offered
		}
		if gap := e.HappenedAt.Sub(before); !before.IsZero() && gap >= day {
			gaps = append(gaps, gap.Hours()/24)
		}
		before = e.HappenedAt
	}
	if len(gaps) < need {
		return 0
	}
	gaps = gaps[max(0, len(gaps)-most):]
	slices.Sort(gaps)
	n := len(gaps)
	return math.Max(1, math.Round((gaps[(n-1)/2]+gaps[n/2])/2))
}

// lately counts meals among the last offers, at most twelve.
func lately(log []Entry) (eaten, of int) {
	for _, e := range slices.Backward(log) {
		o, ok := e.Body.(Offer)
		if !ok || o.Result == Regurgitated {
			continue
		}
		if o.Result == Eaten {
			eaten++
		}
		if of++; of == 12 {
			break
		}
	}
	return eaten, of
}

func preyWords(o Offer) words.Text {
	name := snake.PreySize(float64(o.PreyMass), o.Prey)
	what := words.Say(name)
	switch {
	case name == "" && o.PreyState == Thawed:
		return words.Say("thawed prey")
	case name == "" && o.PreyState == Prekilled:
		return words.Say("freshly killed prey")
	case name == "" && o.PreyState == Live:
		return words.Say("live prey")
	case name == "":
		return words.Say("prey")
	case o.PreyState == Thawed:
		return words.Say("a thawed {prey}", what)
	case o.PreyState == Prekilled:
		return words.Say("a freshly killed {prey}", what)
	case o.PreyState == Live:
		return words.Say("a live {prey}", what)
	case strings.ContainsRune("aeiou", rune(name[0])):
		return words.Say("an {prey}", what)
	}
	return words.Say("a {prey}", what)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func date(t time.Time) words.Date { return words.Date{At: t.UTC(), As: words.Day} }

func days(b snake.Band) words.Text {
	if b.Low == b.High {
		if b.Low == 1 {
			return words.Say("day")
		}
		return words.Say("{days} days", amount(b.Low))
	}
	return words.Say("{days} to {most} days", amount(b.Low), amount(b.High))
}

// every is how often something is done that is done after so many days.
func every(b snake.Band) words.Text {
	switch {
	case b.Low == b.High && b.Low == 1:
		return words.Say("every day")
	case b.Low == b.High:
		return words.Say("every {days} days", amount(b.Low))
	}
	return words.Say("every {days} to {most} days", amount(b.Low), amount(b.High))
}

// amount rounds to what a kitchen scale or a ruler shows.
func amount(v float64) words.Number {
	if tenths := math.Round(v * 10); v < 10 && tenths != 10*math.Round(tenths/10) {
		return words.Number{V: tenths / 10, Decimals: 1}
	}
	return whole(math.Round(v))
}

func whole(v float64) words.Number { return words.Number{V: v} }

func grams(g Grams) words.Text    { return words.Say("{mass} g", amount(float64(g))) }
func mm(v Millimetres) words.Text { return words.Say("{size} mm", amount(float64(v))) }

func degrees(c float64) words.Text {
	return words.Say("{c} °C ({f} °F)", whole(c), whole(fahrenheit(c)))
}

func degreeBand(b snake.Band) words.Text {
	return words.Say("{c} to {c2} °C ({f} to {f2} °F)", whole(b.Low), whole(b.High), whole(fahrenheit(b.Low)), whole(fahrenheit(b.High)))
}

func fahrenheit(c float64) float64 { return c*9/5 + 32 }
