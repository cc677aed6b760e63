package care

import (
	"strings"
	"testing"

	"warmhand/internal/words"
)

func TestCautionsInBrief(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		animal  Animal
		with    []string
		without []string
	}{
		{Animal{Species: "python_regius", Genes: []string{"bumble bee"}}, []string{"36 °C (97 °F)", "spider", "Shallow water", "CITES Appendix II"}, nil},
		{Animal{Species: "pantherophis_guttatus"}, []string{"34 °C"}, []string{"CITES", "wobble"}},
		{Animal{Species: "boiga_dendrophila"}, []string{"thermostat"}, []string{"°C", "CITES"}},
	} {
		list := CautionsInBrief(&c.animal)
		all := strings.ReplaceAll(strings.Join(words.English.All(list), "\n"), "\u00a0", " ")
		for _, want := range append(c.with, "call a vet", "not a vet's advice", "5 to 7 days", "Lock the lid", "Wash your hands", "where you live") {
			if !strings.Contains(all, want) {
				t.Errorf("%s: %q is not in %s", c.animal.Species, want, all)
			}
		}
		for _, not := range c.without {
			if strings.Contains(all, not) {
				t.Errorf("%s: %q is in %s", c.animal.Species, not, all)
			}
		}
		for _, l := range list {
			if len([]rune(l.String())) > 100 {
				t.Errorf("%s: %q is too long for a card", c.animal.Species, l)
			}
		}
	}
}
