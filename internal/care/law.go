package care

import (
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Fact is a fact of law that goes with an animal, with where it stands.
type Fact struct {
	Label, Text words.Text
	Source      string
}

const (
	// Both families stand there whole but for what is in Appendix I, and none of
	// the colubrids and house snakes of our table does: lists of 13 September
	// 2007 and 28 August 2020, read in copies.
	citesSource     = "CITES Appendices I and II, entries Boidae spp. and Pythonidae spp."
	injuriousSource = "50 CFR 16.15"
	// What a seller has to keep and to tell there: read.
	sellersSource = "for instance England, SI 2018/486 Schedule 3; Scotland, SSI 2021/84 Schedule 3"
)

func injurious(s *snake.Species) bool {
	return s.ID == "malayopython_reticulatus" || s.ID == "python_bivittatus"
}

// OriginFacts are the usual legal facts of a species, and what to ask where one
// lives. They remind; they are no advice, and say so.
func OriginFacts(a *Animal) []Fact {
	s, listed := snake.ByID(a.Species)
	var list []Fact
	switch {
	case !listed:
		list = append(list, Fact{words.Say("CITES"), words.Say("This species is not in our table. Look it up in the CITES appendices before it crosses a border."), ""})
	case s.CITES == "":
		list = append(list, Fact{words.Say("CITES"), words.Say("Not in the appendices."), citesSource})
	default:
		list = append(list, Fact{words.Say("CITES"), words.Say("{appendix}; in the European Union Annex B. The proof of its legal origin goes with the animal.", words.Say(s.CITES)), citesSource})
	}
	if injurious(&s) {
		list = append(list, Fact{words.Say("United States"), words.Say("Listed as injurious: importing it, and moving it to or from some places, is restricted."), injuriousSource})
	}
	return append(list,
		Fact{words.Say("What sellers usually tell"), words.Say("Its sex, age, origin and protection; how it is fed, housed and handled; when it needs a vet, and treatments under way. Which of it the law demands, and in writing, differs from country to country."), sellersSource},
		Fact{words.Say("To ask where you live"), words.Say("Does keeping it need a permit or a registration? Do state, town and landlord allow it? What is needed to sell it or to take it across a border?"), ""},
		Fact{words.Text{}, words.Say("This is a reminder and not legal advice."), ""})
}
