package assess

import (
	"cmp"
	"math"
	"slices"

	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Sale is one recent sale in the look for a source that refusals have in
// common.
type Sale struct {
	Case string
	// Like is what the sale may be compared with: the species and the age class.
	Like string
	// Clutch and ShowDay are where it comes from, "" where that is not known.
	Clutch, ShowDay string
	// Offers counts the offers in the new home, Refused those since its last
	// meal there.
	Offers, Refused int
}

// refusing is from how many refusals in a row a sale counts. One is common.
var refusing = int(snake.Number("gathering", "refusing"))

func (s *Sale) refusing() bool { return s.Refused >= refusing }

// Gathering is a clutch or a show day in which more animals refuse than chance
// explains well.
type Gathering struct {
	Clutch, ShowDay string   // what they have in common; both, when the same animals share both
	Cases           []string // of the refusing
	Animals         int
	// OthersRefusing of Others are the breeder's other recent sales of the same
	// species and age classes.
	OthersRefusing, Others int
	// Chance is the exact one-sided probability of so many or more among those
	// animals, had the refusals fallen on all alike; corrected by Holm's method
	// for the Groups looked at.
	Chance float64
	Groups int
}

// rare is the chance below which a gathering is worth a note.
var rare = snake.Number("gathering", "rare")

// Gatherings looks at each clutch and each show day of which two animals or more
// have been offered food often enough to tell, and returns those in which
// refusals gather, the least likely first.
//
// The test is Fisher's exact one, conditional on how many refuse in all; for a
// group of several species and age classes, each counted among its like, it is
// the exact Cochran-Mantel-Haenszel test (Agresti 2002, Categorical Data
// Analysis, §6.7). Holm 1979, Scand J Statist 6:65, keeps the chance of any false
// note at 5 % however many groups there are.
func Gatherings(sales []Sale) []Gathering {
	told := slices.DeleteFunc(slices.Clone(sales), func(s Sale) bool { return s.Offers < refusing })
	var groups []Gathering
	look := func(key func(*Sale) string, name func(*Gathering, string)) {
		var keys []string
		for i := range told {
			if k := key(&told[i]); k != "" && !slices.Contains(keys, k) {
				keys = append(keys, k)
			}
		}
		for _, k := range keys {
			if g, ok := gather(told, func(s *Sale) bool { return key(s) == k }); ok {
				name(&g, k)
				groups = append(groups, g)
			}
		}
	}
	look(func(s *Sale) string { return s.Clutch }, func(g *Gathering, k string) { g.Clutch = k })
	look(func(s *Sale) string { return s.ShowDay }, func(g *Gathering, k string) { g.ShowDay = k })

	slices.SortStableFunc(groups, func(a, b Gathering) int { return cmp.Compare(a.Chance, b.Chance) })
	var out []Gathering
	raw := make([]float64, len(groups))
	for i := range groups {
		raw[i] = groups[i].Chance
	}
	for i, p := range Holm(raw) {
		g := groups[i]
		g.Chance, g.Groups = p, len(groups)
		if p > rare {
			break
		}
		same := slices.IndexFunc(out, func(o Gathering) bool { return o.Animals == g.Animals && slices.Equal(o.Cases, g.Cases) })
		if same >= 0 { // the same animals share both, and which it is cannot be told
			out[same].Clutch, out[same].ShowDay = cmp.Or(out[same].Clutch, g.Clutch), cmp.Or(out[same].ShowDay, g.ShowDay)
			continue
		}
		out = append(out, g)
	}
	return out
}

// gather counts a group among its like and finds the chance of it; false when
// there is too little to compare.
func gather(sales []Sale, in func(*Sale) bool) (g Gathering, ok bool) {
	var strata []stratum
	for i := range sales {
		s := &sales[i]
		j := slices.IndexFunc(strata, func(o stratum) bool { return o.like == s.Like })
		if j < 0 {
			j = len(strata)
			strata = append(strata, stratum{like: s.Like})
		}
		of := &strata[j]
		of.all++
		if s.refusing() {
			of.refusing++
		}
		if in(s) {
			of.group++
			g.Animals++
			if s.refusing() {
				g.Cases = append(g.Cases, s.Case)
			}
		}
	}
	strata = slices.DeleteFunc(strata, func(o stratum) bool { return o.group == 0 })
	g.OthersRefusing = -len(g.Cases)
	for _, of := range strata {
		g.Others += of.all - of.group
		g.OthersRefusing += of.refusing
	}
	g.Chance = atLeast(len(g.Cases), strata)
	return g, g.Animals >= 2 && g.Others > 0
}

// stratum is one species and age class: all sales, how many refuse, how many are
// in the group.
type stratum struct {
	like                 string
	all, refusing, group int
}

// atLeast is the probability of n refusing or more in the group, given each
// stratum's margins: the sum of independent hypergeometric counts.
func atLeast(n int, strata []stratum) float64 {
	p := []float64{1} // of 0, 1, 2, ... so far
	for _, s := range strata {
		next := make([]float64, len(p)+s.group)
		for k := max(0, s.group+s.refusing-s.all); k <= min(s.group, s.refusing); k++ {
			here := math.Exp(lnChoose(s.refusing, k) + lnChoose(s.all-s.refusing, s.group-k) - lnChoose(s.all, s.group))
			for i, q := range p {
				next[i+k] += q * here
			}
		}
		p = next
	}
	sum := 0.
	for k := len(p) - 1; k >= n; k-- {
		sum += p[k]
	}
	return math.Min(1, sum)
}

// AtLeast is Fisher's one-sided exact probability that, of a group among all, so
// many or more are marked, when marked of all are and the marks fell on all alike.
func AtLeast(n, group, marked, all int) float64 {
	return atLeast(n, []stratum{{all: all, refusing: marked, group: group}})
}

// Holm corrects probabilities for being looked at together, in their order (Holm
// 1979, Scand J Statist 6:65). NaN stays, and does not count as looked at.
func Holm(p []float64) []float64 {
	order := make([]int, 0, len(p))
	out := slices.Clone(p)
	for i := range p {
		if !math.IsNaN(p[i]) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	worst := 0.
	for rank, i := range order {
		worst = math.Max(worst, math.Min(1, float64(len(order)-rank)*p[i]))
		out[i] = worst
	}
	return out
}

func lnChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// Text says it to the breeder, with what it takes for granted.
func (g *Gathering) Text() words.Text {
	of := words.Say("the clutch {clutch}", g.Clutch)
	switch {
	case g.Clutch == "":
		of = words.Say("show day {day}", g.ShowDay)
	case g.ShowDay != "":
		of = words.Say("the clutch {clutch}, all sold at show day {day},", g.Clutch, g.ShowDay)
	}
	in := words.Say("about once in {count} times", int(1/g.Chance+.5))
	if g.Chance < .001 {
		in = words.Say("less than once in 1000 times")
	}
	is := words.Say("{refusing} of {animals} animals of {source} have refused their last {offers} offers or more, and {others} of your {sales} other recent sales of the same species and age.",
		len(g.Cases), g.Animals, of, refusing, g.OthersRefusing, g.Others)
	if g.Groups > 1 {
		return words.Join(is, words.Say("By chance alone that comes up {often}, with {groups} clutches and show days looked at.", in, g.Groups))
	}
	return words.Join(is, words.Say("By chance alone that comes up {often}.", in))
}

// Assumes is what the reckoning takes for granted, in a sentence.
func (g *Gathering) Assumes() words.Text {
	return words.Say("This takes it that each of these animals was as likely to refuse as the others. Animals of one clutch or day also share their age, the season and the days on which food was offered; look at those, the trip and the prey, before the stock.")
}
