package assess

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"warmhand/internal/reference"
)

// The lady tasting tea: four cups of eight had the milk first, and she names
// three of them. 17/70 (Fisher 1935, The Design of Experiments, ch. 2).
func TestTastingTea(t *testing.T) {
	t.Parallel()
	near(t, "three of four cups", atLeast(3, []stratum{{"cup", 8, 4, 4}}), 17./70, 1e-12)
	near(t, "all four", atLeast(4, []stratum{{"cup", 8, 4, 4}}), 1./70, 1e-12)
	near(t, "none or more", atLeast(0, []stratum{{"cup", 8, 4, 4}}), 1, 1e-12)
}

func TestExactTestsByR(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1935, 1959))
	var all []stratum
	var tables [][4]int // refusing and not in the group, then of the others
	table := func() (s stratum, cells [4]int) {
		for i := range cells {
			cells[i] = r.IntN(9)
		}
		cells[3]++
		cells[0]++ // R has no test of a group of nobody
		cells[1]++
		return stratum{"", cells[0] + cells[1] + cells[2] + cells[3], cells[0] + cells[2], cells[0] + cells[1]}, cells
	}
	for range 40 {
		s, cells := table()
		all, tables = append(all, s), append(tables, cells)
	}
	raw := []float64{.04, .001, .2, .012, .012, .9}
	var got struct {
		Fisher         []float64
		MantelHaenszel float64 `json:"mantel_haenszel"`
		Holm           []float64
	}
	const together = 3 // of the tables, as strata of one group
	reference.AskR(t, map[string]any{"fisher": tables, "mantel_haenszel": tables[:together], "holm": raw}, &got)
	for i, s := range all {
		near(t, fmt.Sprint("table ", tables[i]), atLeast(tables[i][0], []stratum{s}), got.Fisher[i], 1e-9)
	}
	n := 0
	for i := range together {
		n += tables[i][0]
	}
	near(t, "strata together", atLeast(n, all[:together]), got.MantelHaenszel, 1e-9)

	for i, p := range Holm(raw) {
		near(t, "Holm", p, got.Holm[i], 1e-12)
	}
}

// litter is a breeder's recent sales: clutches of so many, of which so many
// refuse, all sold at one show day or at none.
func litter(day string, clutches ...[2]int) (sales []Sale) {
	for i, c := range clutches {
		for j := range c[0] {
			s := Sale{Case: fmt.Sprintf("%s-%d-%d", day, i, j), Like: "python_regius 0", Clutch: fmt.Sprintf("%s %d", day, i), ShowDay: day, Offers: 4}
			if j < c[1] {
				s.Refused = 3
			}
			sales = append(sales, s)
		}
	}
	return sales
}

func TestGatherings(t *testing.T) {
	t.Parallel()
	// One clutch of five in which all refuse, beside three of twenty: 56/53130
	// one-sided (the ways to put 5 refusers of 8 into the clutch, of 25 animals),
	// four clutches looked at.
	sales := litter("", [2]int{5, 5}, [2]int{7, 1}, [2]int{7, 1}, [2]int{6, 1})
	got := Gatherings(sales)
	if len(got) != 1 || got[0].Clutch != " 0" || len(got[0].Cases) != 5 || got[0].Animals != 5 || got[0].OthersRefusing != 3 || got[0].Others != 20 || got[0].Groups != 4 {
		t.Fatalf("%+v", got)
	}
	near(t, "chance", got[0].Chance, 4*56./53130, 1e-9)
	want := "5 of 5 animals of the clutch  0 have refused their last 2 offers or more, and 3 of your 20 other recent sales of the same species and age. By chance alone that comes up about once in 237 times, with 4 clutches and show days looked at."
	if got[0].Text().String() != want {
		t.Errorf("%s\nwant\n%s", got[0].Text(), want)
	}
	if !strings.Contains(got[0].Assumes().String(), "as likely to refuse") {
		t.Error(got[0].Assumes())
	}

	for name, sales := range map[string][]Sale{
		"everybody refuses":    litter("", [2]int{5, 5}, [2]int{5, 5}),
		"nobody refuses":       litter("", [2]int{5, 0}, [2]int{5, 0}),
		"two of two":           litter("", [2]int{2, 2}, [2]int{9, 3}),
		"nothing to compare":   litter("", [2]int{8, 8}),
		"another species":      append(litter("", [2]int{6, 6}), Sale{Case: "x", Like: "boa 2", Offers: 9}),
		"no clutch, no day":    append(litter("", [2]int{9, 0}), Sale{Case: "x", Like: "python_regius 0", Offers: 3, Refused: 3}),
		"offered only once":    once(litter("", [2]int{6, 6}, [2]int{9, 0})),
		"refused once in four": lately(litter("", [2]int{6, 6}, [2]int{9, 0})),
		"nothing":              nil,
	} {
		if got := Gatherings(sales); len(got) > 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}

	// A clutch that went to one show day together: what it is cannot be told.
	both := append(litter("Fernhollow", [2]int{6, 6}), litter("", [2]int{15, 2})...)
	if got := Gatherings(both); len(got) != 1 || got[0].Clutch != "Fernhollow 0" || got[0].ShowDay != "Fernhollow" {
		t.Errorf("clutch and day are the same animals: %+v", got)
	}
	// A show day of two species: each is counted among its like.
	mixed := append(litter("Fernhollow", [2]int{3, 3}, [2]int{3, 3}), litter("", [2]int{12, 1}, [2]int{12, 1})...)
	for i := range mixed {
		if strings.HasSuffix(mixed[i].Clutch, "1") {
			mixed[i].Like = "boa_imperator 0"
		}
	}
	got = Gatherings(mixed)
	if len(got) == 0 || got[0].ShowDay != "Fernhollow" || got[0].Clutch != "" || len(got[0].Cases) != 6 || got[0].Others != 24 {
		t.Errorf("a show day of two species: %+v", got)
	}
}

func once(sales []Sale) []Sale {
	for i := range sales {
		sales[i].Offers, sales[i].Refused = 1, min(1, sales[i].Refused)
	}
	return sales
}

func lately(sales []Sale) []Sale {
	for i := range sales {
		sales[i].Refused = min(1, sales[i].Refused)
	}
	return sales
}

// Where refusals have no source in common, at most one breeder in twenty ever
// reads a note; where one clutch refuses four times as often, most do.
func TestGatheringsFalseAndTrue(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1979, 6))
	breeder := func(clutch float64) (found, wrong bool) {
		var sales []Sale
		for i := range 50 {
			s := Sale{Case: fmt.Sprint(i), Like: "python_regius 0", Clutch: fmt.Sprint(i / 8), ShowDay: []string{"", "Fernhollow", "Mosswick"}[r.IntN(3)], Offers: 5}
			p := .18
			if i < 8 {
				p = clutch
			}
			if r.Float64() < p {
				s.Refused = 2
			}
			sales = append(sales, s)
		}
		for _, g := range Gatherings(sales) {
			found = found || g.Clutch == "0"
			wrong = wrong || g.Clutch != "0"
		}
		return found, wrong
	}
	const breeders = 2000
	var notes, found int
	for range breeders {
		if a, b := breeder(.18); a || b {
			notes++
		}
		if a, _ := breeder(.8); a {
			found++
		}
	}
	t.Logf("of %d breeders %d read a note without a cause, %d with one", breeders, notes, found)
	if notes > breeders*6/100 {
		t.Errorf("%d of %d breeders read a note without a cause", notes, breeders)
	}
	if found < breeders*7/10 {
		t.Errorf("only %d of %d with a refusing clutch read of it", found, breeders)
	}
}
