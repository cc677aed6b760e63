package assess

import (
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Soon is how soon a reptile vet should hear of a sign.
type Soon int

// The degrees, the most urgent first.
const (
	Now Soon = iota
	Today
	DayOrTwo
	FewDays
	IfItStays
)

// String is the degree in plain words.
func (s Soon) String() string {
	return [...]string{"now", "today", "within a day or two", "within a few days", "if it stays"}[s]
}

var soonDays = snake.Numbers("sign", "soon", 5)

// days until harm, by how soon a vet should hear of it.
func (s Soon) days() float64 { return soonDays[s] }

// SignInfo is one sign of illness or injury that a keeper can log. It says how
// urgent it is and what to do until somebody who knows has seen it; never what
// it is, and no treatment.
type SignInfo struct {
	Code   string
	Label  string        // what the keeper sees, in plain words
	Level  care.Standing // Vet: now or today; StepIn: within days; Watch: keep an eye on it
	Soon   Soon
	DoNow  string // one sentence for the keeper
	Source string
}

// Signs is the table of signs, the most urgent first. The caller owns the
// slice.
func Signs() []SignInfo { return append([]SignInfo(nil), signs...) }

// Call says whom to call about which signs, by their labels.
type Call struct {
	Whom  string
	Signs []string
}

// Calls is the table of signs by whom to call, the most urgent first.
func Calls() []Call {
	vet := Call{Whom: "A vet who treats reptiles, today, when you see one of these:"}
	breeder := Call{Whom: "The breeder, when you see one of these, when it refuses twice in a row, or when it loses weight:"}
	for _, s := range signs {
		if s.Level == care.Vet {
			vet.Signs = append(vet.Signs, s.Label)
		} else {
			breeder.Signs = append(breeder.Signs, s.Label)
		}
	}
	return []Call{vet, breeder}
}

const (
	clinics   = "usual order of urgency in reptile clinics, from memory"
	emergency = "a veterinary emergency course for reptile keepers"
	burnNotes = "Mader 2008, conference notes on thermal burns"
)

var signs = []SignInfo{
	{"unresponsive", "It does not react when touched", care.Vet, Now, "Call a reptile vet now; keep it at an ordinary room-warm temperature on the way.", clinics},
	{"electric_shock", "It had an electric shock", care.Vet, Now, "Switch off at the wall before you touch anything, then call a reptile vet now.", emergency},
	{"overheated", "It is very hot and limp", care.Vet, Now, "Switch the heat off, move it somewhere shaded and cool it slowly with lukewarm water, and call a reptile vet now.", clinics},
	{"near_drowning", "It was under water and does not move as usual", care.Vet, Now, "Take it out, keep it still and at its usual warmth, and call a reptile vet now.", clinics},
	{"poisoned", "Spray, paint, cleaner or another poison got on it or into it", care.Vet, Now, "Take it into fresh air, keep the pack at hand to read from, and call a reptile vet now.", clinics},
	{"prolapse", "Pink or red tissue sticks out under the tail", care.Vet, Now, "Keep it moist with clean water on a soft cloth, do not push it back, and call a reptile vet now.", emergency},
	{"bleeding", "Bleeding that does not stop", care.Vet, Now, "Press gently with a clean cloth and call a reptile vet now.", emergency},
	{"seizure", "It has cramps or shakes all over", care.Vet, Now, "Do not hold it down, keep it away from other snakes, and call a reptile vet now.", emergency},
	{"stuck_in_object", "It is stuck in something", care.Vet, Now, "Do not pull; support its body, keep it calm, and call a reptile vet now.", common},
	{"open_mouth_breathing", "It breathes with its mouth open", care.Vet, Today, "Call a reptile vet today, and keep its warm end at the right temperature until then.", clinics},
	{"bubbles", "Bubbles at the mouth or nose", care.Vet, Today, "Call a reptile vet today, and keep its warm end at the right temperature until then.", clinics},
	{"wheeze", "It wheezes or clicks while it breathes", care.Vet, Today, "Call a reptile vet today, and keep its warm end at the right temperature until then.", clinics},
	{"burn", "A burn, or belly scales that turned dark or raw after heat", care.Vet, Today, "Switch that heater off, put down clean paper, and call a reptile vet today.", emergency + "; " + burnNotes},
	{"red_belly", "Red or purple patches on the belly, and no heater was too hot", care.Vet, Today, "Put down clean paper, and call a reptile vet today.", clinics},
	{"bite_wound", "Bitten by its prey or another animal", care.Vet, Today, "Take the other animal out, leave the wound alone and call a reptile vet today.", clinics},
	{"limp", "It hangs limp or moves very weakly", care.Vet, Today, "Check that it is neither cold nor hot, and call a reptile vet today.", clinics},
	{"stargazing", "It twists its head up and stares", care.Vet, Today, "Keep it away from other snakes, take a short film, and call a reptile vet today.", emergency},
	{"loss_of_righting", "It stays on its back, or cannot turn over", care.Vet, Today, "Take deep water and high places away, take a short film, and call a reptile vet today.", emergency},
	{"fall", "It fell, and has moved differently since", care.Vet, Today, "Let it lie quietly on a flat floor, and call a reptile vet today.", emergency},
	{"part_drags", "A part of its body hangs, drags or has a new bend", care.Vet, Today, "Let it lie quietly on a flat floor, and call a reptile vet today.", clinics},
	{"mouth_does_not_close", "Its mouth does not close, or the jaw hangs crooked", care.Vet, Today, "Offer no food, leave the mouth alone, and call a reptile vet today.", clinics},
	{"eggs_stuck", "A female strains for hours and nothing comes, or laid some and stopped", care.Vet, Today, "Leave her warm and in peace, do not press, and call a reptile vet today.", clinics},

	{"wobble", "Its head wobbles or shakes", care.StepIn, DayOrTwo, "Take a short film, keep water shallow and high places away, and ask your breeder.", "Rose & Williams 2014, J Exot Pet Med 23:234"},
	{"mouth_rot", "Red gums, or cheesy stuff in the mouth", care.StepIn, DayOrTwo, "Do not scrape or treat it; call a reptile vet within a day or two.", clinics},
	{"nasal_discharge", "A wet nose, thick slime, or the head held up all the time", care.StepIn, DayOrTwo, "Check the warm end first, and call a reptile vet within a day or two.", clinics},
	{"swallowed_object", "It swallowed something that is not food", care.StepIn, DayOrTwo, "Offer no food, keep what is left of it to show, and call a reptile vet within a day or two.", clinics},
	{"eye_swollen", "An eye is swollen, bulges or is cloudy, and no shed is coming", care.StepIn, DayOrTwo, "Leave the eye alone, and call a reptile vet within a day or two.", clinics},
	{"bloody_droppings", "Blood, much slime or worms in the droppings", care.StepIn, DayOrTwo, "Keep some of it in a clean closed bag, wash your hands, and call a reptile vet within a day or two.", clinics},
	{"tail_tip_swollen", "A ring of old skin, and the tail behind it is swollen or dark", care.StepIn, DayOrTwo, "Do not pull; call a reptile vet within a day.", clinics},
	{"mites", "Tiny moving dots on it, at its eyes or in the water", care.StepIn, DayOrTwo, "Put down paper, keep it away from other reptiles, and ask your breeder or a reptile vet before you use any product.", clinics},
	{"thin", "Its back is sharp like a roof", care.StepIn, DayOrTwo, "Weigh it today, and ask your breeder or a reptile vet.", "body-condition photo scales of a snake rescue"},
	{"dry_folds", "Its skin stays up in folds, or its mouth is sticky", care.StepIn, DayOrTwo, "See that it has fresh water and is not too hot, and call a reptile vet within a day or two.", "signs of lack of water in reptile-medicine handbooks, from memory"},
	{"lump", "A lump that is not a meal", care.StepIn, FewDays, "Take a picture beside a ruler, and call a reptile vet within a few days.", clinics},
	{"bloat", "It is swollen, or strains and nothing comes", care.StepIn, FewDays, "Offer no food, and call a reptile vet within a few days, sooner if it gets worse.", emergency},
	{"blister", "Blisters or brown, soft belly scales", care.StepIn, FewDays, "Put down dry clean paper, and call a reptile vet if there are many or they spread.", clinics},
	{"skin_crusts", "Crusts, knots or open sores on the skin", care.StepIn, FewDays, "Keep it dry and away from other reptiles, wash your hands, and call a reptile vet within a few days.", clinics},
	{"retained_eye_cap_twice", "Old skin still sits on the eye after a second shed", care.StepIn, FewDays, "Leave it alone, and call a reptile vet within a few days.", clinics},

	{"retained_eye_cap", "An old skin still sits on the eye", care.Watch, IfItStays, "Leave it alone, raise the humidity and wait for the next shed; if it stays on twice, ask a reptile vet.", clinics},
	{"stuck_shed_tail", "Old skin is stuck on its tail", care.Watch, IfItStays, "Put a damp cloth into its hide for a few hours, and never pull the skin off; if it is still there after some days, ask a reptile vet.", clinics},
	{"stuck_shed", "Old skin is stuck on its body", care.Watch, IfItStays, "Put a damp cloth into its hide for a few hours, and never pull the skin off.", clinics},
	{"nose_rub", "Its nose is rubbed raw", care.Watch, IfItStays, "Cover mesh that it pushes against, and give it a second snug hide.", "a veterinary clinic's care sheet"},
	{"dented_eyes", "Its eyes look dented", care.Watch, IfItStays, "Check the humidity and that there is fresh water.", "a microscopy journal's report on one ball python; " + clinics},
	{"no_droppings", "No droppings for more than four weeks although it eats", care.Watch, IfItStays, "Check the warm end and the water, and tell your breeder.", clinics},
	{"keeps_soaking", "It lies in its water for days", care.Watch, IfItStays, "Check that it is not too hot, look for tiny moving dots in the water, and tell your breeder.", common},
	{"other", "Something else looks wrong", care.Watch, IfItStays, "Write down what you see, take a picture, and ask your breeder.", common},
}

const common = "common practice, no source"

var (
	// knownDays is after how many days a sign is known of old.
	knownDays = int(snake.Number("sign", "known"))
	// signHolds is how many days a sign counts after it was last logged; for its
	// second half it counts one step lower, for then the question is how it went
	// on.
	signHolds = int(snake.Number("sign", "holds"))
	// goneDays is how long a sign for the vet is watched after it was said to be
	// gone: such signs come and go. Others are closed at once.
	goneDays = int(snake.Number("sign", "gone"))

	// signRisks is the chance of harm, its severity and the days until then, by
	// the level of a sign: a sign for the vet stands above what is only reckoned.
	signRisks = func() (r [care.Vet + 1]risk) {
		by := risks("sign risk")
		for l := care.Watch; l <= care.Vet; l++ {
			r[l] = by[l.String()]
		}
		return r
	}()
)

// risk is what a sign may do at this level; at its own, how soon a vet should
// hear of it says how soon harm may come.
func (s *signState) risk(level care.Standing) risk {
	r := signRisks[level]
	if level == s.info.Level && !s.gone {
		r.days = s.info.Soon.days()
	}
	return r
}

// unknownDo is what to do about a sign that the table does not know.
const unknownDo = "Write to your breeder what you see, with a picture."

// signByCode finds a sign. One that the table does not know comes from a newer
// app and is taken seriously enough to be looked at.
func signByCode(code string) SignInfo {
	if i := slices.IndexFunc(signs, func(s SignInfo) bool { return s.Code == code }); i >= 0 {
		return signs[i]
	}
	return SignInfo{Code: code, Label: "Something looks wrong: " + code, Level: care.StepIn, Soon: DayOrTwo, DoNow: unknownDo}
}

// label is what the keeper sees.
func (s *SignInfo) label() text {
	if s.DoNow == unknownDo {
		return words.Say("Something looks wrong: {code}", s.Code)
	}
	return words.Say(s.Label)
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
	gone        bool // since
	goneAt      time.Time
	goneDay     int
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
	if s.info.Code == "wobble" && e.wobble == snake.NoWobble {
		level = care.Vet
	}
	if s.gone {
		if level == care.Vet && e.day-s.goneDay < goneDays {
			return care.Watch
		}
		return care.Settled
	}
	if nervous(s.info.Code) {
		if e.wobble != snake.NoWobble && e.refusedInARow < 2 {
			known := s.firstDay < 0 || e.day-s.firstDay >= knownDays
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
