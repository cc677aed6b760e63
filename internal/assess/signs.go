package assess

import (
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// SignInfo is one sign of illness or injury that a keeper can log.
type SignInfo struct {
	Code   string
	Label  string        // what the keeper sees, in plain words
	Level  care.Standing // Vet: today; StepIn: within a day or two; Watch: keep an eye on it
	DoNow  string        // one sentence for the keeper
	Source string
}

// Signs is the table of signs, the most urgent first. The caller owns the
// slice.
func Signs() []SignInfo { return append([]SignInfo(nil), signs...) }

const (
	clinics   = "usual order of urgency in reptile clinics, from memory"
	emergency = "a veterinary emergency course for reptile keepers"
	burnNotes = "Mader 2008, conference notes on thermal burns"
)

var signs = []SignInfo{
	{"unresponsive", "It does not react when touched", care.Vet, "Call a reptile vet now; keep it at an ordinary room-warm temperature on the way.", clinics},
	{"electric_shock", "It had an electric shock", care.Vet, "Switch off at the wall before you touch anything, then call a reptile vet now.", emergency},
	{"overheated", "It is very hot and limp", care.Vet, "Switch the heat off, move it somewhere shaded and cool it slowly with lukewarm water, and call a reptile vet now.", clinics},
	{"open_mouth_breathing", "It breathes with its mouth open", care.Vet, "Call a reptile vet today, and keep its warm end at the right temperature until then.", clinics},
	{"bubbles", "Bubbles at the mouth or nose", care.Vet, "Call a reptile vet today, and keep its warm end at the right temperature until then.", clinics},
	{"wheeze", "It wheezes or clicks while it breathes", care.Vet, "Call a reptile vet today, and keep its warm end at the right temperature until then.", clinics},
	{"prolapse", "Pink or red tissue sticks out under the tail", care.Vet, "Keep it moist with clean water on a soft cloth, do not push it back, and call a reptile vet now.", emergency},
	{"burn", "A burn, or belly scales that turned dark or raw after heat", care.Vet, "Switch that heater off, put down clean paper, and call a reptile vet today.", emergency + "; " + burnNotes},
	{"bleeding", "Bleeding that does not stop", care.Vet, "Press gently with a clean cloth and call a reptile vet now.", emergency},
	{"bite_wound", "Bitten by its prey or another animal", care.Vet, "Take the other animal out, leave the wound alone and call a reptile vet today.", clinics},
	{"limp", "It hangs limp or moves very weakly", care.Vet, "Check that it is neither cold nor hot, and call a reptile vet today.", clinics},
	{"stargazing", "It twists its head up and stares", care.Vet, "Keep it away from other snakes, take a short film, and call a reptile vet today.", emergency},
	{"loss_of_righting", "It stays on its back, or cannot turn over", care.Vet, "Take deep water and high places away, take a short film, and call a reptile vet today.", emergency},
	{"seizure", "It has cramps or shakes all over", care.Vet, "Do not hold it down, keep it away from other snakes, and call a reptile vet now.", emergency},
	{"fall", "It fell, and has moved differently since", care.Vet, "Let it lie quietly on a flat floor, and call a reptile vet today.", emergency},
	{"stuck_in_object", "It is stuck in something", care.Vet, "Do not pull; support its body, keep it calm, and call a reptile vet now.", common},

	{"wobble", "Its head wobbles or shakes", care.StepIn, "Take a short film, keep water shallow and high places away, and ask your breeder.", "Rose & Williams 2014, J Exot Pet Med 23:234"},
	{"mouth_rot", "Red gums, or cheesy stuff in the mouth", care.StepIn, "Do not scrape or treat it; call a reptile vet within a day or two.", clinics},
	{"nasal_discharge", "A wet nose, thick slime, or the head held up all the time", care.StepIn, "Check the warm end first, and call a reptile vet within a day or two.", clinics},
	{"lump", "A lump that is not a meal", care.StepIn, "Take a picture beside a ruler, and call a reptile vet within a few days.", clinics},
	{"bloat", "It is swollen, or strains and nothing comes", care.StepIn, "Offer no food, and call a reptile vet within a few days.", emergency},
	{"blister", "Blisters or brown, soft belly scales", care.StepIn, "Put down dry clean paper, and call a reptile vet if there are many or they spread.", clinics},
	{"mites", "Tiny moving dots on it, at its eyes or in the water", care.StepIn, "Put down paper, keep it away from other reptiles, and ask your breeder or a reptile vet before you use any product.", clinics},
	{"tail_tip_swollen", "A ring of old skin, and the tail behind it is swollen or dark", care.StepIn, "Do not pull; call a reptile vet within a day.", clinics},
	{"thin", "Its back is sharp like a roof, or folds of skin show", care.StepIn, "Weigh it today, and ask your breeder or a reptile vet.", "body-condition photo scales of a snake rescue"},

	{"retained_eye_cap", "An old skin still sits on the eye", care.Watch, "Leave it alone, raise the humidity and wait for the next shed; if it stays on twice, ask a reptile vet.", clinics},
	{"stuck_shed_tail", "Old skin is stuck on its tail", care.Watch, "Put a damp cloth into its hide for a few hours, and never pull the skin off.", clinics},
	{"stuck_shed", "Old skin is stuck on its body", care.Watch, "Put a damp cloth into its hide for a few hours, and never pull the skin off.", clinics},
	{"nose_rub", "Its nose is rubbed raw", care.Watch, "Cover mesh that it pushes against, and give it a second snug hide.", "a veterinary clinic's care sheet"},
	{"dented_eyes", "Its eyes look dented", care.Watch, "Check the humidity and that there is fresh water.", "a microscopy journal's report on one ball python; " + clinics},
	{"no_droppings", "No droppings for more than four weeks although it eats", care.Watch, "Check the warm end and the water, and tell your breeder.", clinics},
	{"other", "Something else looks wrong", care.Watch, "Write down what you see, take a picture, and ask your breeder.", common},
}

const common = "common practice, no source"

// signHolds is how long a sign counts after it was last logged; for its second
// half it counts one step lower, for then the question is how it went on.
// [assumption]
const signHolds = 28

// signRisk is the chance of harm, its severity and the days until then, by the
// level of a sign: a sign for the vet stands above what is only reckoned.
// [assumption]
var signRisk = [...]risk{
	care.Settled: {},
	care.Watch:   {.1, .4, 21},
	care.StepIn:  {.3, .7, 7},
	care.Vet:     {.9, 1, .5},
}

// signByCode finds a sign. One that the table does not know comes from a newer
// app and is taken seriously enough to be looked at.
func signByCode(code string) SignInfo {
	if i := slices.IndexFunc(signs, func(s SignInfo) bool { return s.Code == code }); i >= 0 {
		return signs[i]
	}
	return SignInfo{Code: code, Label: "Something looks wrong: " + code, Level: care.StepIn, DoNow: "Write to your breeder what you see, with a picture."}
}

// nervous are the signs that a gene with a head wobble can explain.
func nervous(code string) bool {
	return code == "wobble" || code == "stargazing" || code == "loss_of_righting"
}

// signState is one kind of sign over the case.
type signState struct {
	info        SignInfo
	first, last time.Time
	firstDay    int // −1: before the handover
	lastDay     int
	id          string
}

// signLevel is how serious a sign is today. In an animal with a wobble gene
// that eats, a wobble is what the gene brings, and its kin are routine once
// they are known of old; an animal that does not eat is another matter.
func (e *engine) signLevel(s *signState) care.Standing {
	age := e.day - s.lastDay
	if age >= signHolds || s.lastDay < 0 {
		return care.Settled // of the breeder's time: known, and sold so
	}
	level := s.info.Level
	if nervous(s.info.Code) {
		if s.info.Code == "wobble" && e.wobble == snake.NoWobble {
			level = care.Vet
		}
		if e.wobble != snake.NoWobble && e.refusedInARow < 2 {
			known := s.firstDay < 0 || e.day-s.firstDay >= 14
			switch {
			case s.info.Code == "wobble":
				level = care.Settled
			case known:
				level = care.Watch
			default:
				level = care.StepIn
			}
		}
	}
	if age >= signHolds/2 && level > care.Watch {
		level--
	}
	return level
}
