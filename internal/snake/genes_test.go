package snake

import "testing"

func TestGenes(t *testing.T) {
	t.Parallel()
	documented := 0
	names := map[string]bool{}
	for _, g := range Genes() {
		if names[g.Name] {
			t.Errorf("%s twice", g.Name)
		}
		names[g.Name] = true
		if got := Gene(g.Name); got != g {
			t.Errorf("Gene(%q) is %q", g.Name, got.Name)
		}
		if g.Wobble == Documented {
			documented++
		}
		if (g.Wobble != NoWobble || g.Note != "") && (g.Source == "" || g.Note == "") {
			t.Errorf("%s says something without a note and a source", g.Name)
		}
	}
	// Rose & Williams 2014 and Starck et al. 2022 studied spider and no other.
	if documented != 1 || Gene("spider").Wobble != Documented {
		t.Errorf("%d documented genes", documented)
	}
	for spelt, of := range otherNames {
		if Gene(spelt).Name != of {
			t.Errorf("%q should be %q", spelt, of)
		}
	}
}

func TestGene(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, want string
		wobble     WobbleEvidence
	}{
		{"Spider", "spider", Documented},
		{"  pastel   SPIDER ", "spider", Documented},
		{"Bumblebee", "spider", Documented},
		{"bumble-bee", "spider", Documented},
		{"Killer Bee", "spider", Documented},
		{"pewter bee", "spider", Documented},
		{"Spinner", "spider", Documented},
		{"HGW", "hidden gene woma", Reported},
		{"super sable", "super sable", Reported},
		{"sable", "sable", NoWobble},
		{"champagne spider", "spider", Documented},
		{"Jag", "jaguar", Reported},
		{"desert ghost", "desert ghost", NoWobble},
		{"desert", "desert", NoWobble},
		{"het piebald", "piebald", NoWobble},
		{"66% het clown", "clown", NoWobble},
		{"spidery", "spidery", NoWobble},
		{"", "", NoWobble},
		{"Räuber", "Räuber", NoWobble},
	} {
		if got := Gene(c.name); got.Name != c.want || got.Wobble != c.wobble {
			t.Errorf("%q: %q %s, want %q %s", c.name, got.Name, got.Wobble, c.want, c.wobble)
		}
	}
	if Gene("desert ghost").Note != "" {
		t.Error("desert ghost is taken for desert")
	}
	if w, which := Wobble([]string{"pastel", "woma", "bumblebee", "champagne"}); w != Documented || which != "spider" {
		t.Errorf("worst of several: %s %q", w, which)
	}
	if w, which := Wobble([]string{"pastel", "unheard of"}); w != NoWobble || which != "" {
		t.Errorf("none: %s %q", w, which)
	}
	if w, _ := Wobble(nil); w != NoWobble {
		t.Error("no genes wobble")
	}
}
