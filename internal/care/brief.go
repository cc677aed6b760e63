package care

import (
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// CautionsInBrief is the part of the cautions and of the care that fits on a
// handover card: one short sentence each, the most pressing first.
func CautionsInBrief(a *Animal) []words.Text {
	s, listed := snake.ByID(a.Species)
	list := []words.Text{
		words.Say("If it is ill or hurt, call a vet who treats reptiles. This card is not a vet's advice."),
		words.Say("Leave it in peace for {days} to {most} days, then make the first offer.", settleLeast, settleDays),
		words.Say("A thermostat on every heater."),
		words.Say("Lock the lid or doors, and shut every gap that takes its head."),
	}
	if listed {
		list[2] = words.Say("A thermostat on every heater; nothing that it can touch above {limit}.", degrees(s.Climate.HotTooHigh))
	}
	if evidence, gene := snake.Wobble(a.Genes); evidence != snake.NoWobble {
		list = append(list, words.Say("It carries {gene}: its head may wobble. Shallow water, and nothing high to climb.", gene))
	}
	list = append(list, words.Say("Wash your hands after touching it, its things or its food."))
	rules := words.Say("Ask which rules on keeping snakes apply where you live.")
	if s.CITES != "" {
		rules = words.Join(words.Say("CITES {appendix}: keep its proof of origin.", words.Say(s.CITES)), rules)
	}
	return append(list, rules)
}
