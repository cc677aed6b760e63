package care

import (
	"fmt"

	"warmhand/internal/snake"
)

// CautionsInBrief is the part of the cautions and of the care that fits on a
// handover card: one short sentence each, the most pressing first.
func CautionsInBrief(a *Animal) []string {
	s, listed := snake.ByID(a.Species)
	list := []string{
		"If it is ill or hurt, call a vet who treats reptiles. This card is not a vet's advice.",
		fmt.Sprintf("Leave it in peace for %d to %d days, then make the first offer.", settleLeast, settleDays),
		"A thermostat on every heater.",
		"Lock the lid or doors, and shut every gap that takes its head.",
	}
	if listed {
		list[2] = fmt.Sprintf("A thermostat on every heater; nothing that it can touch above %s.", degrees(s.Climate.HotTooHigh))
	}
	if evidence, gene := snake.Wobble(a.Genes); evidence != snake.NoWobble {
		list = append(list, fmt.Sprintf("It carries %s: its head may wobble. Shallow water, and nothing high to climb.", gene))
	}
	list = append(list, "Wash your hands after touching it, its things or its food.")
	rules := "Ask which rules on keeping snakes apply where you live."
	if s.CITES != "" {
		rules = fmt.Sprintf("CITES %s: keep its proof of origin. %s", s.CITES, rules)
	}
	return append(list, rules)
}
