package assess

import "warmhand/internal/care"

// SignInfo is one sign that a keeper can log. It never names an illness.
type SignInfo struct {
	Code  string
	Label string
	Level care.Standing // what the sign alone calls for
	DoNow string
	// Source says where the urgency comes from.
	Source string

	p, s, t float64 // chance of harm, its severity, days until it [assumption]
	days    int     // how long one report stands
}

// The urgency of signs is common clinic practice, from memory, except where a
// page was read: Pet Emergency Academy, "When to get your reptile to a
// veterinarian" (prolapse, burns, bleeding, falls, shock, nervous signs).
const (
	fromClinics = "common clinic practice, from memory"
	fromTriage  = "Pet Emergency Academy, When to get your reptile to a veterinarian"
	ownPractice = "common practice, no source"
)

func vetNow(code, label, do, source string) SignInfo {
	return SignInfo{code, label, care.Vet, do, source, .8, 1, .5, 21}
}

func vetSoon(code, label, do, source string) SignInfo {
	return SignInfo{code, label, care.StepIn, do, source, .5, .8, 3, 21}
}

func keepAnEye(code, label, do, source string) SignInfo {
	return SignInfo{code, label, care.Watch, do, source, .2, .4, 10, 14}
}

var signTable = []SignInfo{
	vetNow("open_mouth_breathing", "Breathes with its mouth open, or bubbles at the mouth", "Call a reptile vet today. Keep it warm and leave it in peace until then.", fromClinics),
	vetNow("wheeze", "Wheezes, whistles or clicks when it breathes", "Call a reptile vet today and say what you hear. Check that the warm side is warm enough, and do not offer food until then.", fromClinics),
	vetNow("prolapse", "Something red or pink sticks out under the tail", "Keep it moist with clean, lukewarm water, put it on damp paper, and go to a reptile vet now.", fromTriage),
	vetNow("burn", "A burn: blistered, raw or darkened skin", "Switch off whatever burned it, put it on clean paper, and call a reptile vet today. Put nothing on the skin.", fromTriage),
	vetNow("stargazing", "Head thrown back, looks straight up, or twists its neck", "Take away anything it could fall from or drown in, keep it away from other snakes, and call a reptile vet today.", fromTriage),
	vetNow("cannot_right_itself", "Cannot turn over when on its back", "Put it on a flat floor with nothing to climb, and call a reptile vet today.", fromTriage),
	vetNow("limp", "Limp, or does not react to touch", "This cannot wait. Call a reptile vet or an animal emergency line now. If it is hot to the touch, move it to a cooler place, slowly.", fromTriage),
	vetNow("bleeding", "Bleeds and does not stop", "Hold a clean cloth on it gently and go to a reptile vet now.", fromTriage),
	vetNow("electric_shock", "Had an electric shock, or touched a bare wire", "Switch off the power at the wall before you touch anything. Then call a reptile vet now, and a licensed electrician about the wire.", fromTriage),
	vetSoon("mouth_rot", "Red, swollen or cheesy mouth", "Call a reptile vet within a day or two. Do not open its mouth yourself.", fromClinics),
	vetSoon("nose_discharge", "Wet nose, thick slime, or holds its head up to breathe", "Check the warm side today, and call a reptile vet within a day or two.", fromClinics),
	vetSoon("bite_wound", "Bitten by its prey", "Take the prey out, keep the floor clean with paper, and call a reptile vet.", fromTriage),
	vetSoon("blister", "Blisters or brown patches on the belly", "Put it on dry, clean paper, and call a reptile vet within a few days.", fromClinics),
	vetSoon("bloat", "A swelling or lump that is not a meal", "Do not offer food. Call a reptile vet within a few days.", fromClinics),
	vetSoon("straining", "Strains and nothing comes", "Call a reptile vet within a few days.", fromTriage),
	vetSoon("sunken_eyes", "Sunken eyes, or skin that stays folded", "Give clean water and check the humidity. Call a reptile vet if it is no better tomorrow.", fromClinics),
	vetSoon("tight_ring", "A ring of old skin that cuts in, or a swollen tail tip", "Do not pull. Call a reptile vet today or tomorrow.", fromClinics),
	vetSoon("bad_fall", "Fell from a height and moves strangely", "Put it in a quiet box with nothing to climb and call a reptile vet.", fromTriage),
	vetSoon("mites", "Tiny moving specks on its eyes or in the water", "Keep it away from other animals, wash your hands, and ask your breeder or a reptile vet what to use.", fromClinics),
	keepAnEye("retained_eye_cap", "Old skin left over the eyes", "Raise the humidity until the next shed. Do not pick at the eye. If it stays after the next shed, ask a reptile vet.", fromClinics),
	keepAnEye("stuck_shed", "Pieces of old skin left on", "Raise the humidity and give it something rough to rub against. Do not pull.", fromClinics),
	keepAnEye("wobble", "Its head wobbles or shakes", "Keep the water shallow and take high places away, and send your breeder a short film.", "Rose & Williams 2014, J Exot Pet Med 23:234; Starck et al. 2022, PLoS ONE 17:e0262788"),
	keepAnEye("rubbed_nose", "A rubbed or sore nose", "Look for a gap or a mesh it pushes against, and cover it from outside.", "Renton Veterinary Hospital, Care of snakes"),
	keepAnEye("restless", "Never rests, pushes at the lid day and night", "Check the temperatures and that there is a snug hide at each end.", ownPractice),
}

// Signs lists the signs that a keeper can log, the most urgent first.
func Signs() []SignInfo { return append([]SignInfo(nil), signTable...) }

// SignByCode finds a sign.
func SignByCode(code string) (SignInfo, bool) {
	for _, s := range signTable {
		if s.Code == code {
			return s, true
		}
	}
	return SignInfo{}, false
}
