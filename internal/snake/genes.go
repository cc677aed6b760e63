package snake

import (
	"slices"
	"strings"
)

// WobbleEvidence says how well it is known that a gene comes with a head
// wobble: the animal twists and shakes its head and rights itself badly.
type WobbleEvidence int

// The degrees, weakest first.
const (
	NoWobble   WobbleEvidence = iota // none known to us
	Reported                         // the trade says so; we know of no paper
	Documented                       // published studies
)

// String is the plain word for the degree.
func (w WobbleEvidence) String() string {
	return [...]string{"none known", "reported", "documented"}[w]
}

// GeneInfo is what is known of one named gene, or of a trade name for a
// combination of genes.
type GeneInfo struct {
	Name   string // as the table spells it; for a name not in the table, as given
	Wobble WobbleEvidence
	Note   string // for people, "" when there is nothing to say
	Source string
}

const (
	spiderNote   = "Every spider ball python that was examined wobbled: twisting head movements, poor balance, trouble striking. How strongly differs from animal to animal, and most live and feed well in a home that allows for it."
	spiderSource = "Rose & Williams 2014, J Exot Pet Med 23:234; Starck et al. 2022, PLoS ONE 17:e0262788"
	reportedNote = "Breeders report a head wobble with this gene. We know of no published study."
	practice     = "common practice, no source"
)

var genes = func() []GeneInfo {
	list := []GeneInfo{
		{"spider", Documented, spiderNote, spiderSource},

		{"woma", Reported, reportedNote, practice},
		{"hidden gene woma", Reported, reportedNote, practice},
		{"champagne", Reported, reportedNote, practice},
		{"super sable", Reported, reportedNote, practice},
		{"super spotnose", Reported, reportedNote, practice},
		{"blackhead", Reported, "Breeders report a head wobble in combinations with this gene, milder together with spider. We know of no published study.", practice},
		{"jaguar", Reported, "In carpet pythons breeders report a head wobble with this gene. We know of no published study.", practice},

		{"super cinnamon", NoWobble, "Breeders report a short nose and kinks of the spine in some animals.", practice},
		{"super black pastel", NoWobble, "Breeders report a short nose and kinks of the spine in some animals.", practice},
		{"super lesser", NoWobble, "Breeders report small or bulging eyes in some animals.", practice},
		{"super butter", NoWobble, "Breeders report small or bulging eyes in some animals.", practice},
		{"caramel albino", NoWobble, "Breeders report kinks of the spine in some animals.", practice},
		{"desert", NoWobble, "Breeders report that females often cannot lay their eggs. Do not breed them.", practice},
		{"scaleless", NoWobble, "Without scales the skin is hurt, burned and dried out more easily: smooth decor and gentle heat.", practice},
	}
	for _, name := range []string{
		"albino", "amelanistic", "anaconda", "anerythristic", "arctic", "axanthic", "banana", "black pastel", "bloodred", "butter",
		"calico", "candy", "cinnamon", "clown", "coral glow", "cypress", "desert ghost", "enchi", "fire", "genetic stripe",
		"ghi", "ghost", "hypo", "lavender albino", "leopard", "lesser", "mojave", "motley", "mystic", "orange dream",
		"pastel", "phantom", "piebald", "pinstripe", "russo", "sable", "spotnose", "stripe", "tessera", "toffee",
		"ultramel", "vanilla", "yellow belly",
	} {
		list = append(list, GeneInfo{Name: name})
	}
	slices.SortStableFunc(list, func(a, b GeneInfo) int {
		if a.Wobble != b.Wobble {
			return int(b.Wobble - a.Wobble)
		}
		return strings.Compare(a.Name, b.Name)
	})
	return list
}()

// otherNames are trade names for a gene or a combination, and the gene of the
// table that matters in it. Common practice, no source.
var otherNames = map[string]string{
	"bumble bee": "spider", "bumblebee": "spider", "killer bee": "spider", "killerbee": "spider",
	"queen bee": "spider", "queenbee": "spider", "honey bee": "spider", "honeybee": "spider",
	"lesser bee": "spider", "butter bee": "spider", "black bee": "spider", "cinnamon bee": "spider",
	"cinnabee": "spider", "stinger bee": "spider", "fire bee": "spider", "calico bee": "spider",
	"spinner": "spider", "spinner blast": "spider", "spied": "spider",
	// The trade calls what holds spider a bee, whatever else is in it.
	"bee": "spider",
	"hgw": "hidden gene woma", "hidden woma": "hidden gene woma",
	"powerball": "super spotnose", "power ball": "super spotnose",
	"black head": "blackhead", "jag": "jaguar",
	"pied": "piebald", "amel": "amelanistic", "anery": "anerythristic", "yellowbelly": "yellow belly", "yb": "yellow belly",
	"conda": "anaconda", "hypomelanistic": "hypo",
}

// Genes is the gene table, those with a wobble first. The caller owns the
// slice.
func Genes() []GeneInfo { return append([]GeneInfo(nil), genes...) }

// spellings are all names that Gene understands, the longest first, so that
// "desert ghost" is not taken for "desert".
var spellings = func() []spelling {
	var all []spelling
	for _, g := range genes {
		all = append(all, spelling{g.Name, g})
	}
	for name, of := range otherNames {
		i := slices.IndexFunc(genes, func(g GeneInfo) bool { return g.Name == of })
		all = append(all, spelling{name, genes[i]})
	}
	slices.SortFunc(all, func(a, b spelling) int {
		if len(a.name) != len(b.name) {
			return len(b.name) - len(a.name)
		}
		return strings.Compare(a.name, b.name)
	})
	return all
}()

type spelling struct {
	name string
	gene GeneInfo
}

// Gene finds what is known of a gene or of a trade name for a combination. Case
// and spacing do not matter. A name may hold several genes ("pastel spider"):
// the one with the best documented wobble is returned, else one that has a
// note, else the longest. A name with no known gene in it comes back as given,
// without a wobble, a note or a source.
func Gene(name string) GeneInfo {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return r < 'a' || r > 'z' })
	text := " " + strings.Join(words, " ") + " "
	best, found := GeneInfo{Name: strings.TrimSpace(name)}, false
	for _, s := range spellings {
		if !strings.Contains(text, " "+s.name+" ") {
			continue
		}
		text = strings.ReplaceAll(text, " "+s.name+" ", " / ")
		if !found || s.gene.Wobble > best.Wobble || s.gene.Wobble == best.Wobble && best.Note == "" && s.gene.Note != "" {
			best, found = s.gene, true
		}
	}
	return best
}

// Wobble is the best documented wobble among these genes, and the name of the
// gene that carries it, "" when there is none.
func Wobble(genes []string) (WobbleEvidence, string) {
	worst, which := NoWobble, ""
	for _, name := range genes {
		if g := Gene(name); g.Wobble > worst {
			worst, which = g.Wobble, g.Name
		}
	}
	return worst, which
}
