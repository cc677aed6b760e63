package storetest

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

func animalID(a care.Animal) string     { return a.ID }
func entryID(e care.Entry) string       { return e.ID }
func caseID(c care.Case) string         { return c.ID }
func importID(i care.Import) string     { return i.ID }
func handoverID(h care.Handover) string { return h.ID }

// Binary order of ids: upper case before lower, and no language's rules.
var tied = []string{"A", "B", "a", "b", "z", "ä"}

func logOrder(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1", "a2")
	write(t, s, func(tx care.Tx) error {
		for _, e := range []care.Entry{
			{ID: "5", HappenedAt: at(2 * time.Second), ReceivedAt: at(2 * time.Second)},
			{ID: "b", HappenedAt: at(time.Second), ReceivedAt: at(3 * time.Second)},
			{ID: "A", HappenedAt: at(time.Second), ReceivedAt: at(3 * time.Second)},
			{ID: "z", HappenedAt: at(time.Second), ReceivedAt: at(2 * time.Second), ReplacedBy: "A"},
			{ID: "0", HappenedAt: at(time.Millisecond), ReceivedAt: at(9 * time.Second)},
		} {
			e.BreederID, e.AnimalID, e.Body = "b1", "a1", care.Seen{}
			if err := tx.InsertEntry(e); err != nil {
				return err
			}
			e.AnimalID = "a2"
			if err := tx.InsertEntry(e); err != nil {
				return err
			}
		}
		return nil
	})
	log := read(t, s, func(tx care.Tx) ([]care.Entry, error) { return tx.Log("b1", "a1") })
	wantSame(t, "log", ids(log, entryID), []string{"0", "z", "A", "b", "5"})
	for _, e := range log {
		if e.AnimalID != "a1" {
			t.Errorf("the log holds an entry of %s", e.AnimalID)
		}
	}
}

func stockLog(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1", "a2", "a3")
	stock(t, s, "b2", "a1")
	since := at(time.Minute)
	write(t, s, func(tx care.Tx) error {
		for _, e := range []care.Entry{
			{ID: "old sign", HappenedAt: at(0), Body: care.Sign{Code: "mites"}},
			{ID: "old meal", HappenedAt: since.Add(-time.Millisecond), Body: care.Offer{Result: care.Eaten}},
			{ID: "weight", HappenedAt: since.Add(2 * time.Second), Body: care.WeighIn{Mass: 60}},
			{ID: "meal", HappenedAt: since, Body: care.Offer{Result: care.Eaten}},
			{ID: "shed", HappenedAt: since.Add(2 * time.Second), ReceivedAt: at(time.Hour), CaseID: "h1", Body: care.Shed{Stage: care.Opaque}},
			{ID: "corrected", HappenedAt: since, ReplacedBy: "meal", Body: care.Offer{Result: care.Refused}},
			{ID: "seen", HappenedAt: since, Body: care.Seen{}},
			{ID: "taken back", HappenedAt: since, Body: care.Withdrawal{}},
		} {
			if e.ReceivedAt.IsZero() {
				e.ReceivedAt = at(time.Second)
			}
			for _, of := range [][2]string{{"b1", "a2"}, {"b1", "a1"}, {"b1", "a3"}, {"b2", "a1"}} {
				e.BreederID, e.AnimalID = of[0], of[1]
				if err := tx.InsertEntry(e); err != nil {
					return err
				}
			}
		}
		return nil
	})
	find := func(breeder string, animals ...string) (found []string) {
		for _, e := range read(t, s, func(tx care.Tx) ([]care.Entry, error) { return tx.StockLog(breeder, animals, since) }) {
			if e.BreederID != breeder {
				t.Errorf("an entry of %s", e.BreederID)
			}
			found = append(found, e.AnimalID+" "+e.ID)
		}
		return found
	}
	var want []string
	for _, a := range []string{"a1", "a2"} {
		want = append(want, a+" old sign", a+" meal", a+" weight", a+" shed")
	}
	wantSame(t, "two animals", find("b1", "a2", "a1", "nobody", "a2"), want)
	wantSame(t, "another breeder's", find("b2", "a2", "a1"), want[:4])
	wantSame(t, "none", find("b1"), []string(nil))
}

func animalsByID(t *testing.T, s care.Store) {
	for _, b := range []string{"b1", "b2"} {
		stock(t, s, b, "a1", "a2", "a3")
	}
	by := func(ids ...string) []care.Animal {
		return read(t, s, func(tx care.Tx) ([]care.Animal, error) { return tx.Animals("b1", ids) })
	}
	got := by("a3", "nope", "a1", "a3")
	wantSame(t, "by id", ids(got, animalID), []string{"a1", "a3"})
	for _, a := range got {
		wantSame(t, "the animal", a, read(t, s, func(tx care.Tx) (care.Animal, error) { return tx.Animal("b1", a.ID) }))
	}
	if none := by(); len(none) != 0 {
		t.Errorf("no id gives %d animals", len(none))
	}
}

func animalPages(t *testing.T, s care.Store) {
	stock(t, s, "b1", tied...)
	write(t, s, func(tx care.Tx) error {
		for i, id := range []string{"old", "new", "gone"} {
			a := care.Animal{BreederID: "b1", ID: id, CreatedAt: at(time.Duration(2*i-1) * time.Millisecond)}
			if id == "gone" {
				a.DeletedAt = &t0
			}
			if err := tx.InsertAnimal(a); err != nil {
				return err
			}
		}
		return nil
	})
	for size := 1; size < 10; size++ {
		all := walk(t, s, size, func(tx care.Tx, after care.Cursor) ([]care.Animal, care.Cursor, error) {
			return tx.ListAnimals("b1", "", after, size)
		})
		wantSame(t, fmt.Sprint("pages of ", size), ids(all, animalID), []string{"new", "ä", "z", "b", "a", "B", "A", "old"})
	}
	err := s.Read(limit(t), func(tx care.Tx) error { _, _, err := tx.ListAnimals("b1", "", care.Cursor{}, 0); return err })
	if err == nil {
		t.Error("a page of no rows was given: its reader would go on for ever")
	}
}

func entryPages(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1")
	kinds := []care.Body{care.Seen{}, care.Offer{Result: care.Eaten}, care.WeighIn{Mass: 50}}
	var newest []string
	write(t, s, func(tx care.Tx) error {
		for i := range 30 {
			e := care.Entry{BreederID: "b1", AnimalID: "a1", ID: fmt.Sprintf("e%02d", i), HappenedAt: at(time.Duration(i/4) * time.Millisecond), Body: kinds[i%3]}
			if i%2 == 1 {
				e.CaseID = "h1"
			}
			newest = append([]string{e.ID}, newest...)
			if err := tx.InsertEntry(e); err != nil {
				return err
			}
		}
		return nil
	})
	only := func(keep func(i int) bool) (some []string) {
		for _, id := range newest {
			var i int
			fmt.Sscanf(id, "e%d", &i) //nolint:errcheck // written above
			if keep(i) {
				some = append(some, id)
			}
		}
		return some
	}
	for name, q := range map[string]struct {
		kinds  []care.Kind
		caseID string
		want   []string
	}{
		"all":       {nil, "", newest},
		"empty":     {[]care.Kind{}, "", newest},
		"one kind":  {[]care.Kind{care.KindOffer}, "", only(func(i int) bool { return i%3 == 1 })},
		"two kinds": {[]care.Kind{care.KindWeighIn, care.KindSeen}, "", only(func(i int) bool { return i%3 != 1 })},
		"case":      {nil, "h1", only(func(i int) bool { return i%2 == 1 })},
		"both":      {[]care.Kind{care.KindOffer}, "h1", only(func(i int) bool { return i%3 == 1 && i%2 == 1 })},
		"none":      {[]care.Kind{care.KindShed}, "", []string{}},
	} {
		for _, size := range []int{1, 4, 7, 100} {
			all := walk(t, s, size, func(tx care.Tx, after care.Cursor) ([]care.Entry, care.Cursor, error) {
				return tx.ListEntries("b1", "a1", q.kinds, q.caseID, after, size)
			})
			wantSame(t, fmt.Sprint(name, " by ", size), ids(all, entryID), q.want)
		}
	}
}

func handoverPages(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1", "a2")
	write(t, s, func(tx care.Tx) error {
		for i, id := range tied {
			for _, h := range []care.Handover{{ID: id, CreatedAt: t0, AnimalID: "a1"}, {ID: id + "-new", CreatedAt: at(time.Duration(i+1) * time.Millisecond), AnimalID: "a2"}} {
				h.BreederID = "b1"
				if err := tx.InsertHandover(h); err != nil {
					return err
				}
			}
		}
		return nil
	})
	first, second := []string{"ä-new", "z-new", "b-new", "a-new", "B-new", "A-new"}, []string{"ä", "z", "b", "a", "B", "A"}
	for animal, want := range map[string][]string{"": append(slices.Clone(first), second...), "a1": second, "a2": first, "a3": {}} {
		for _, size := range []int{1, 5, 6, 12} {
			all := walk(t, s, size, func(tx care.Tx, after care.Cursor) ([]care.Handover, care.Cursor, error) {
				return tx.ListHandovers("b1", animal, after, size)
			})
			wantSame(t, fmt.Sprintf("of %q by %d", animal, size), ids(all, handoverID), want)
		}
	}
}

func cardPages(t *testing.T, s care.Store) {
	stock(t, s, "b1")
	stock(t, s, "b2")
	write(t, s, func(tx care.Tx) error {
		for _, n := range []int64{2, 10, 1, 9, 1 << 40} {
			for _, b := range []string{"b1", "b2"} {
				if err := tx.InsertCard(care.Card{BreederID: b, Number: n}); err != nil {
					return err
				}
			}
		}
		return nil
	})
	for _, size := range []int{1, 2, 5, 6} {
		all := walk(t, s, size, func(tx care.Tx, after care.Cursor) ([]care.Card, care.Cursor, error) {
			return tx.ListCards("b1", after, size)
		})
		var numbers []int64
		for _, c := range all {
			numbers = append(numbers, c.Number)
		}
		wantSame(t, fmt.Sprintf("by %d", size), numbers, []int64{1 << 40, 10, 9, 2, 1})
	}
}

func keeperCards(t *testing.T, s care.Store) {
	for _, b := range []string{"b1", "b2"} {
		stock(t, s, b)
	}
	write(t, s, func(tx care.Tx) error {
		for i, c := range []care.Card{{BreederID: "b2", KeeperID: "k1"}, {BreederID: "b1", KeeperID: "k1"}, {BreederID: "b1", KeeperID: "k2"}, {BreederID: "b1"}} {
			c.Number, c.ClaimedAt = int64(i), ptr(at(-time.Duration(i)*time.Hour))
			if err := tx.InsertCard(c); err != nil {
				return err
			}
		}
		return nil
	})
	for keeper, want := range map[string][]int64{"k1": {1, 0}, "k2": {2}, "": nil, "K1": nil} {
		var numbers []int64
		for _, c := range read(t, s, func(tx care.Tx) ([]care.Card, error) { return tx.CardsOfKeeper(keeper) }) {
			numbers = append(numbers, c.Number)
		}
		wantSame(t, "cards of "+keeper, numbers, want)
	}
}

func casePages(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1")
	write(t, s, func(tx care.Tx) error {
		for i, id := range tied {
			for _, c := range []care.Case{{ID: id, Urgency: 0}, {ID: id + "-half", Urgency: 0.5}, {ID: id + "-own", Urgency: 1 + float64(i)/3}, {ID: id + "-minus", Urgency: -1}} {
				c.BreederID, c.AnimalID = "b1", "a1"
				if err := follow(tx, c); err != nil {
					return err
				}
			}
		}
		return nil
	})
	want := []string{"ä-own", "z-own", "b-own", "a-own", "B-own", "A-own"}
	for _, group := range []string{"-half", "", "-minus"} {
		for _, id := range tied {
			want = append(want, id+group)
		}
	}
	for _, size := range []int{1, 2, 5, 6, 24, 100} {
		for _, q := range []care.CaseQuery{{Open: true}, {Open: true, Closed: true}, {}, {Open: true, AnimalID: "a1"}} {
			all := walk(t, s, size, func(tx care.Tx, after care.Cursor) ([]care.Case, care.Cursor, error) {
				return tx.ListCases("b1", q, after, size)
			})
			wantSame(t, fmt.Sprintf("%+v by %d", q, size), ids(all, caseID), want)
		}
	}
}

// steadyPages inserts around the cursor between pages: nothing that was there
// before is left out or shown twice.
func steadyPages(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1")
	write(t, s, func(tx care.Tx) error {
		for i := range 9 {
			if err := follow(tx, care.Case{BreederID: "b1", ID: fmt.Sprint("c", i), AnimalID: "a1", Urgency: float64(i / 3)}); err != nil {
				return err
			}
		}
		return nil
	})
	want := []string{"c6", "c7", "c8", "c3", "c4", "c5", "c0", "c1", "c2"}
	var got []string
	var after care.Cursor
	for i := 0; i == 0 || after != (care.Cursor{}); i++ {
		var page []care.Case
		after = read(t, s, func(tx care.Tx) (c care.Cursor, err error) {
			page, c, err = tx.ListCases("b1", care.CaseQuery{Open: true}, after, 2)
			return c, err
		})
		for _, c := range page {
			if c.ID[0] == 'c' {
				got = append(got, c.ID)
			}
		}
		if i > 20 {
			t.Fatal("the pages do not end")
		}
		if i < 4 {
			write(t, s, func(tx care.Tx) error {
				for _, c := range []care.Case{{ID: fmt.Sprint("a-first", i), Urgency: 9}, {ID: fmt.Sprint("x-last", i), Urgency: -9}, {ID: fmt.Sprint("b-tie", i), Urgency: 1}} {
					c.BreederID, c.AnimalID = "b1", "a1"
					if err := follow(tx, c); err != nil {
						return err
					}
				}
				return nil
			})
		}
	}
	wantSame(t, "cases", got, want)
}

func search(t *testing.T, s care.Store) {
	stock(t, s, "b1")
	write(t, s, func(tx care.Tx) error {
		for i, a := range []care.Animal{
			{ID: "zoe", Name: "Zoë Straße", Species: "python_regius", Clutch: "25-07", Genes: []string{"Pastel", "het Clown"}},
			{ID: "tub", Name: "TUB 14%", Species: "boa_imperator", Clutch: "A!B"},
			{ID: "nelson", Name: "ネルソン", Note: "pastel in the note", Species: "boa_imperator"},
		} {
			a.BreederID, a.CreatedAt = "b1", at(-time.Duration(i)*time.Second)
			if err := tx.InsertAnimal(a); err != nil {
				return err
			}
		}
		return nil
	})
	find := func(text string) []string {
		all := read(t, s, func(tx care.Tx) ([]care.Animal, error) {
			v, _, err := tx.ListAnimals("b1", text, care.Cursor{}, 10)
			return v, err
		})
		return ids(all, animalID)
	}
	for text, want := range map[string][]string{
		"": {"zoe", "tub", "nelson"}, "  ": {"zoe", "tub", "nelson"},
		"zoe": {"zoe"}, "ZOË": {"zoe"}, "Zoe\u0308": {"zoe"}, "strasse": {"zoe"}, "STRASSE": {"zoe"},
		"regius": {"zoe"}, "python_reg": {"zoe"}, "pythonXreg": {}, "25-07": {"zoe"}, "pastel": {"zoe"}, "CLOWN": {"zoe"}, "pastel het": {},
		"ub 1": {"tub"}, " tub 14% ": {"tub"}, "%": {"tub"}, "_": {"zoe", "tub", "nelson"}, "a!b": {"tub"}, "!": {"tub"},
		"ルソ": {"nelson"}, "imperator": {"tub", "nelson"}, "nothing": {}, "' OR 1=1 --": {}, `\`: {},
	} {
		wantSame(t, fmt.Sprintf("search %q", text), find(text), want)
	}
	write(t, s, func(tx care.Tx) error {
		a, err := tx.Animal("b1", "tub")
		if err != nil {
			return err
		}
		a.Name = "Bün 3"
		return tx.UpdateAnimal(a)
	})
	wantSame(t, "old name", find("tub 14"), []string{})
	wantSame(t, "new name", find("bun"), []string{"tub"})
}

func caseQueries(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1", "a2")
	write(t, s, func(tx care.Tx) error {
		for i, c := range []care.Case{{ID: "open1", AnimalID: "a1"}, {ID: "shut1", AnimalID: "a1", ClosedAt: &t0}, {ID: "open2", AnimalID: "a2"}, {ID: "shut2", AnimalID: "a2", ClosedAt: &t0}} {
			c.BreederID, c.Urgency = "b1", float64(-i)
			if err := follow(tx, c); err != nil {
				return err
			}
		}
		return nil
	})
	check := func(q care.CaseQuery, want ...string) {
		t.Helper()
		all := read(t, s, func(tx care.Tx) ([]care.Case, error) {
			v, _, err := tx.ListCases("b1", q, care.Cursor{}, 10)
			return v, err
		})
		wantSame(t, fmt.Sprintf("%+v", q), ids(all, caseID), want)
	}
	check(care.CaseQuery{Open: true}, "open1", "open2")
	check(care.CaseQuery{Closed: true}, "shut1", "shut2")
	check(care.CaseQuery{Open: true, Closed: true}, "open1", "shut1", "open2", "shut2")
	check(care.CaseQuery{}, "open1", "shut1", "open2", "shut2")
	check(care.CaseQuery{Open: true, AnimalID: "a2"}, "open2")
	check(care.CaseQuery{Closed: true, AnimalID: "a2"}, "shut2")
	check(care.CaseQuery{AnimalID: "a2"}, "open2", "shut2")
	check(care.CaseQuery{AnimalID: "a3"}, []string{}...)
	write(t, s, func(tx care.Tx) error {
		for id, closed := range map[string]*time.Time{"open1": &t0, "shut1": nil} {
			c, err := tx.Case("b1", id)
			if err != nil {
				return err
			}
			c.ClosedAt = closed
			if err := tx.UpdateCase(c); err != nil {
				return err
			}
		}
		return nil
	})
	check(care.CaseQuery{Open: true}, "shut1", "open2")
	check(care.CaseQuery{Closed: true}, "open1", "shut2")
}

func dueCases(t *testing.T, s care.Store) {
	for _, b := range []string{"b1", "b2"} {
		stock(t, s, b, "a1")
	}
	write(t, s, func(tx care.Tx) error {
		for _, c := range []care.Case{
			{BreederID: "b1", ID: "now", DueAt: t0}, {BreederID: "b2", ID: "before", DueAt: at(-time.Millisecond)}, {BreederID: "b1", ID: "later", DueAt: at(time.Millisecond)},
			{BreederID: "b1", ID: "closed", DueAt: at(-time.Hour), ClosedAt: &t0}, {BreederID: "b2", ID: "long", DueAt: at(-time.Hour)}, {BreederID: "b1", ID: "never looked at"},
			{BreederID: "b2", ID: "a-now", DueAt: t0},
		} {
			c.AnimalID = "a1"
			if err := follow(tx, c); err != nil {
				return err
			}
		}
		return nil
	})
	claim := func(now time.Time, limit int) (claimed []string) {
		t.Helper()
		write(t, s, func(tx care.Tx) error {
			all, err := tx.ClaimDue(now, at(time.Minute), limit)
			claimed = ids(all, dueID)
			slices.Sort(claimed)
			return err
		})
		return claimed
	}
	before := read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b2", "long") })
	wantSame(t, "the oldest", claim(at(999*time.Microsecond), 2), []string{"long", "never looked at"})
	after := read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b2", "long") })
	before.DueAt = at(time.Minute)
	wantSame(t, "a claimed case", after, before)
	wantSame(t, "the rest", claim(at(999*time.Microsecond), 10), []string{"a-now", "before", "now"})
	wantSame(t, "what is claimed", len(claim(at(999*time.Microsecond), 10)), 0)
	wantSame(t, "nobody came back", claim(at(time.Minute), 10), []string{"a-now", "before", "later", "long", "never looked at", "now"})

	before = read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b1", "later") })
	write(t, s, func(tx care.Tx) error { return tx.MakeDue("b1", at(-2*time.Hour)) })
	wantSame(t, "made due", claim(at(-time.Hour), 10), []string{"later", "never looked at", "now"})
	after = read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b1", "later") })
	wantSame(t, "the version of a case made due", after.Version, before.Version+1)

	write(t, s, func(tx care.Tx) error { // nobody's name is no name that cases go on from
		return errors.Join(tx.HandOnCases("b1", "", "Ona"), tx.HandOnCases("b1", "Nobody", "Ona"), tx.HandOnCases("b2", "Ida", "Ona"))
	})
	wantSame(t, "a case of nobody", read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b1", "later") }), after)
	for _, name := range []string{"Ida", "Ona", ""} {
		before = after
		write(t, s, func(tx care.Tx) error {
			if before.LookedAfterBy != "" {
				return tx.HandOnCases("b1", before.LookedAfterBy, name)
			}
			before.LookedAfterBy = name
			return tx.UpdateCase(before)
		})
		after = read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b1", "later") })
		before.LookedAfterBy, before.Version = name, before.Version+1
		wantSame(t, fmt.Sprintf("handed on to %q", name), after, before)
	}

	write(t, s, func(tx care.Tx) error {
		for _, c := range []care.Case{
			{ID: "far", DueAt: at(9 * time.Hour), AssessedAt: at(8 * time.Hour)}, {ID: "near", DueAt: at(2 * time.Hour), AssessedAt: at(2 * time.Hour)},
			{ID: "planned", DueAt: at(9 * time.Hour), AssessedAt: t0}, {ID: "far, closed", DueAt: at(9 * time.Hour), AssessedAt: at(8 * time.Hour), ClosedAt: &t0},
		} {
			c.BreederID, c.AnimalID = "b1", "a1"
			if err := follow(tx, c); err != nil {
				return err
			}
		}
		return nil
	})
	for _, want := range []int{1, 0} {
		write(t, s, func(tx care.Tx) error {
			n, err := tx.BringForward(at(2*time.Hour), at(time.Hour), 10)
			wantSame(t, "how many cases are brought forward", n, want)
			return err
		})
	}
	far := read(t, s, func(tx care.Tx) (care.Case, error) { return tx.Case("b1", "far") })
	wantSame(t, "when it is due", far.DueAt, at(time.Hour))
	wantSame(t, "the version of a case brought forward", far.Version, int64(1))
	wantSame(t, "due then", claim(at(time.Hour), 10)[:1], []string{"a-now"})
	wantSame(t, "due later", claim(at(2*time.Hour), 10)[:1], []string{"a-now"})
}

// followed reads many cases at once as each is read by itself.
func followed(t *testing.T, s care.Store) {
	for _, b := range []string{"b1", "b2", "b3"} {
		full(b).insert(t, s)
	}
	write(t, s, func(tx care.Tx) error {
		for i, id := range []string{"z", "m"} {
			w := full("b2")
			w.entry.ID, w.entry.HappenedAt = id, at(-time.Duration(i)*time.Minute)
			w.flag.ID, w.flag.ClosedAt = id, nil
			w.animal.ID, w.handover.ID, w.handover.AnimalID, w.handover.CodeHash = "a-"+id, "h-"+id, "a-"+id, id
			w.kase.ID, w.kase.AnimalID = "h-"+id, "a-"+id
			for _, err := range []error{tx.InsertEntry(w.entry), tx.PutFlag(w.flag), tx.InsertAnimal(w.animal), tx.InsertHandover(w.handover), tx.InsertCase(w.kase)} {
				if err != nil {
					return err
				}
			}
		}
		return nil
	})
	keys := []care.CaseKey{{BreederID: "b2", ID: "h1"}, {BreederID: "b1", ID: "h1"}, {BreederID: "b2", ID: "h-z"}, {BreederID: "b1", ID: "h-z"}, {BreederID: "b4", ID: "h1"}}
	got := read(t, s, func(tx care.Tx) ([]care.Followed, error) { return tx.Followed(keys) })
	slices.SortFunc(got, func(a, b care.Followed) int {
		return strings.Compare(a.Case.BreederID+a.Case.ID, b.Case.BreederID+b.Case.ID)
	})
	if len(got) != 3 {
		t.Fatalf("%d cases of 3: %+v", len(got), got)
	}
	for i, key := range []care.CaseKey{{BreederID: "b1", ID: "h1"}, {BreederID: "b2", ID: "h-z"}, {BreederID: "b2", ID: "h1"}} {
		want := read(t, s, func(tx care.Tx) (f care.Followed, err error) {
			if f.Case, err = tx.Case(key.BreederID, key.ID); err != nil {
				return f, err
			}
			if f.Animal, err = tx.Animal(key.BreederID, f.Case.AnimalID); err != nil {
				return f, err
			}
			if f.Log, err = tx.Log(key.BreederID, f.Case.AnimalID); err != nil {
				return f, err
			}
			if f.Breeder, err = tx.Breeder(key.BreederID); err != nil {
				return f, err
			}
			f.Flags, err = tx.ListFlags(key.BreederID, key.ID)
			return f, err
		})
		wantSame(t, fmt.Sprint(key), got[i], want)
	}
	if n := len(got[2].Log); n != 3 || len(got[2].Flags) != 3 {
		t.Errorf("%d entries and %d flags: too few to show anything", n, len(got[2].Flags))
	}
	none := read(t, s, func(tx care.Tx) ([]care.Followed, error) { return tx.Followed(nil) })
	wantSame(t, "of none", len(none), 0)
}

// dueOnce has several servers claim at once: each case goes to one of them.
func dueOnce(t *testing.T, s care.Store) {
	const cases, batch, servers = 60, 7, 4
	stock(t, s, "b1", "a1")
	write(t, s, func(tx care.Tx) error {
		for i := range cases {
			if err := follow(tx, care.Case{BreederID: "b1", ID: fmt.Sprint(i), AnimalID: "a1", DueAt: t0}); err != nil {
				return err
			}
		}
		return nil
	})
	claimed := make([][]care.CaseKey, servers)
	for _, err := range each(servers, func(i int) error {
		for {
			var got []care.CaseKey
			if err := s.Write(limit(t), func(tx care.Tx) (err error) {
				got, err = tx.ClaimDue(t0, at(time.Hour), batch)
				return err
			}); err != nil || len(got) == 0 {
				return err
			}
			claimed[i] = append(claimed[i], got...)
		}
	}) {
		if err != nil {
			t.Error(err)
		}
	}
	all := slices.Concat(claimed...)
	once := map[care.CaseKey]bool{}
	for _, k := range all {
		once[k] = true
	}
	if len(all) != cases || len(once) != cases {
		t.Errorf("%d of %d cases were claimed %d times", len(once), cases, len(all))
	}
}

func dueID(k care.CaseKey) string { return k.ID }

func keeperCases(t *testing.T, s care.Store) {
	for _, b := range []string{"b1", "b2"} {
		stock(t, s, b, "a1")
	}
	write(t, s, func(tx care.Tx) error {
		for i, c := range []care.Case{
			{BreederID: "b1", ID: "old", KeeperID: "k1"}, {BreederID: "b2", ID: "new", KeeperID: "k1"},
			{BreederID: "b1", ID: "other", KeeperID: "k2"}, {BreederID: "b1", ID: "unclaimed"},
			{BreederID: "b1", ID: "closed", KeeperID: "k1", ClosedAt: &t0},
		} {
			c.AnimalID, c.HandedOverAt = "a1", at(time.Duration(i)*time.Hour)
			if err := follow(tx, c); err != nil {
				return err
			}
		}
		return nil
	})
	for keeper, want := range map[string][]string{"k1": {"closed", "new", "old"}, "k2": {"other"}, "": {}, "K1": {}} {
		all := read(t, s, func(tx care.Tx) ([]care.Case, error) { return tx.CasesOfKeeper(keeper) })
		wantSame(t, "cases of "+keeper, ids(all, caseID), want)
	}
}

func listOrder(t *testing.T, s care.Store) {
	full("b1").insert(t, s)
	write(t, s, func(tx care.Tx) error {
		for i, id := range []string{"z", "a"} {
			when := at(-time.Duration(i+1) * time.Hour)
			w := full("b1")
			w.user.ID, w.user.CreatedAt = id, when
			w.passkey.ID, w.passkey.CreatedAt = id, when
			w.secret.Hash, w.secret.ID, w.secret.CreatedAt = id, id, when
			w.flag.ID, w.flag.OpenedAt = id, when
			w.photo.ID, w.photo.ReceivedAt = id, when
			for _, err := range []error{tx.InsertUser(w.user), tx.InsertPasskey(w.passkey), tx.InsertSecret(w.secret), tx.PutFlag(w.flag), tx.InsertPhoto(w.photo)} {
				if err != nil {
					return err
				}
			}
		}
		return nil
	})
	got := read(t, s, func(tx care.Tx) (got [5][]string, err error) {
		users, err := tx.ListUsers("b1")
		if err != nil {
			return got, err
		}
		passkeys, err := tx.ListPasskeys("b1", "u1")
		if err != nil {
			return got, err
		}
		secrets, err := tx.ListSecrets("b1", care.SecretToken)
		if err != nil {
			return got, err
		}
		flags, err := tx.ListFlags("b1", "h1")
		if err != nil {
			return got, err
		}
		photos, err := tx.ListPhotos("b1", "h1")
		return [5][]string{
			ids(users, func(u care.User) string { return u.ID }), ids(passkeys, func(p care.Passkey) string { return p.ID }),
			ids(secrets, func(s care.Secret) string { return s.ID }), ids(flags, func(f care.Flag) string { return f.ID }), ids(photos, func(p care.Photo) string { return p.ID }),
		}, err
	})
	wantSame(t, "oldest first", got, [5][]string{{"a", "z", "u1"}, {"a", "z", "cred-b1"}, {"a", "z", "s1"}, {"a", "z", "refusal-1"}, {"a", "z", "p1"}})
}

func newPhotos(t *testing.T, s care.Store) {
	full("b1").insert(t, s)
	full("b2").insert(t, s)
	write(t, s, func(tx care.Tx) error {
		for id, p := range map[string]struct {
			by   care.ActorKind
			when time.Time
		}{"z": {care.KeeperActor, at(time.Hour)}, "a": {care.KeeperActor, at(time.Hour)}, "early": {care.KeeperActor, at(-time.Hour)}, "breeder's": {care.BreederOwner, at(0)}} {
			w := full("b1")
			w.photo.ID, w.photo.By, w.photo.ReceivedAt, w.photo.LookedAt = id, p.by, p.when, nil
			if err := tx.InsertPhoto(w.photo); err != nil {
				return err
			}
		}
		return nil
	})
	all := func(limit int) (got []string) {
		after := care.Cursor{}
		for {
			page := read(t, s, func(tx care.Tx) (list []care.Photo, err error) {
				list, after, err = tx.ListNewPhotos("b1", after, limit)
				return list, err
			})
			got = append(got, ids(page, func(p care.Photo) string { return p.ID })...)
			if after == (care.Cursor{}) {
				return got
			}
		}
	}
	for _, limit := range []int{1, 2, 10} {
		wantSame(t, "new photos", all(limit), []string{"early", "a", "z"})
	}
	write(t, s, func(tx care.Tx) error {
		for _, err := range []error{tx.LookPhoto("b1", "a", at(time.Minute)), tx.LookPhoto("b1", "a", at(2*time.Minute)), tx.LookPhoto("b2", "z", at(0)), tx.LookPhoto("b1", "none", at(0))} {
			if err != nil {
				return err
			}
		}
		return nil
	})
	wantSame(t, "after a look", all(10), []string{"early", "z"})
	seen := read(t, s, func(tx care.Tx) (care.Photo, error) { return tx.Photo("b1", "a") })
	wantSame(t, "the first look", seen.LookedAt, ptr(at(time.Minute)))
}

func flagPut(t *testing.T, s care.Store) {
	w := full("b1")
	w.insert(t, s)
	w.flag.Level, w.flag.Text, w.flag.ClosedAt = care.Vet, words.Say("Worse."), nil
	w.flag.History = append(w.flag.History, care.FlagChange{At: at(2 * time.Hour), Level: care.Vet, What: "rose", Text: words.Say("Worse.")})
	write(t, s, func(tx care.Tx) error { return tx.PutFlag(w.flag) })
	all := read(t, s, func(tx care.Tx) ([]care.Flag, error) { return tx.ListFlags("b1", "h1") })
	wantSame(t, "flags", all, []care.Flag{w.flag})
}

// saveCases saves three cases at once, of which one was changed meanwhile and one is
// not there.
func saveCases(t *testing.T, s care.Store) {
	for _, b := range []string{"b1", "b2"} {
		full(b).insert(t, s)
	}
	person := func(b, p string) care.Hours { // beside those of full
		return care.Hours{BreederID: b, PersonID: p, LookAt: at(48 * time.Hour), DigestAt: t0, CreatedAt: t0, MessagesSince: ptr(t0)}
	}
	write(t, s, func(tx care.Tx) error {
		return errors.Join(tx.InsertHours(person("", "k1")), tx.InsertHours(person("b1", "u9")), tx.InsertHours(person("b2", "u9")))
	})
	saving := func(b string, change func(*care.Saving)) care.Saving {
		w := full(b)
		of := care.Saving{Case: w.kase}
		of.Case.Urgency = .875
		w.flag.ID, w.flag.ClosedAt = "new-1", nil
		of.Flags = []care.Flag{w.flag}
		change(&of)
		return of
	}
	list := []care.Saving{
		saving("b2", func(of *care.Saving) { of.Case.Version--; of.BreederAt = at(time.Hour) }),
		saving("b1", func(of *care.Saving) { of.BreederAt, of.KeeperAt = at(2*time.Hour), at(3*time.Hour) }),
		saving("b1", func(of *care.Saving) { of.Case.ID, of.Flags, of.WroteAt = "gone", nil, at(time.Hour) }),
	}
	var lost []error
	write(t, s, func(tx care.Tx) (err error) {
		lost, err = tx.SaveCases(list)
		return err
	})
	if len(lost) != 3 || lost[1] != nil {
		t.Fatalf("lost: %v", lost)
	}
	wantCode(t, lost[0], care.Stale)
	wantCode(t, lost[2], care.NotFound)
	after := read(t, s, func(tx care.Tx) ([]care.Followed, error) {
		return tx.Followed([]care.CaseKey{{BreederID: "b1", ID: "h1"}, {BreederID: "b2", ID: "h1"}})
	})
	for _, f := range after {
		want, flags := full(f.Case.BreederID).kase, 1
		if f.Case.BreederID == "b1" {
			want, flags = list[1].Case, 2
			want.Version++
		}
		wantSame(t, "the case of "+f.Case.BreederID, f.Case, want)
		wantSame(t, "flags of "+f.Case.BreederID, len(f.Flags), flags)
	}
	for who, want := range map[[2]string]time.Time{{"b1", "u9"}: at(2 * time.Hour), {"", "k1"}: at(3 * time.Hour), {"b2", "u9"}: at(48 * time.Hour)} {
		r := read(t, s, func(tx care.Tx) (care.Hours, error) { return tx.Hours(who[0], who[1]) })
		wantSame(t, fmt.Sprint(who), r.LookAt, want)
	}
	again := saving("b1", func(of *care.Saving) { of.Case.Version++; of.Flags, of.WroteAt = nil, at(time.Hour) })
	write(t, s, func(tx care.Tx) (err error) {
		lost, err = tx.SaveCases([]care.Saving{again})
		return errors.Join(err, lost[0])
	})
	r := read(t, s, func(tx care.Tx) (care.Hours, error) { return tx.Hours("b1", "u9") })
	wantSame(t, "who is told of messages", r.LookAt, at(time.Hour))

	// With entries it is all or nothing.
	entry := func(id, replaces string) care.Entry {
		return care.Entry{BreederID: "b1", AnimalID: "a1", ID: id, CaseID: "h1", HappenedAt: at(2 * time.Hour), ReceivedAt: at(2 * time.Hour), Replaces: replaces, Body: care.Seen{}}
	}
	logged := func(entries ...care.Entry) error {
		return s.Write(limit(t), func(tx care.Tx) error {
			c, err := tx.Case("b1", "h1")
			if err != nil {
				return err
			}
			lost, err := tx.SaveCases([]care.Saving{{Case: c, Entries: entries}})
			return errors.Join(err, errors.Join(lost...))
		})
	}
	if err := logged(entry("n1", ""), entry("n2", "n1")); err != nil {
		t.Fatal(err)
	}
	wantCode(t, logged(entry("n3", ""), entry("n2", "")), care.Conflict)
	wantCode(t, logged(entry("n3", "n1")), care.Precondition)
	wantCode(t, logged(entry("n3", "nothing")), care.NotFound)
	stale := saving("b1", func(of *care.Saving) { of.Entries = []care.Entry{entry("n3", "")} })
	err := s.Write(limit(t), func(tx care.Tx) error { _, err := tx.SaveCases([]care.Saving{stale}); return err })
	wantCode(t, err, care.Stale)
	log := read(t, s, func(tx care.Tx) ([]care.Entry, error) { return tx.Log("b1", "a1") })
	wantSame(t, "entries", ids(log, func(e care.Entry) string { return e.ID }), []string{"e1", "n1", "n2"})
	wantSame(t, "what is replaced", log[1].ReplacedBy, "n2")

	none := read(t, s, func(tx care.Tx) ([]error, error) { return tx.SaveCases(nil) })
	wantSame(t, "of none", len(none), 0)
}

func feedingCounts(t *testing.T, s care.Store) {
	for _, b := range []string{"b1", "b2"} {
		write(t, s, func(tx care.Tx) error {
			if err := tx.InsertBreeder(care.Breeder{ID: b}); err != nil {
				return err
			}
			for _, a := range []care.Animal{{ID: "a1", Species: "python_regius"}, {ID: "a2", Species: "python_regius"}, {ID: "a3", Species: "python_regius"}, {ID: "boa", Species: "boa_imperator"}} {
				a.BreederID = b
				if err := tx.InsertAnimal(a); err != nil {
					return err
				}
			}
			return nil
		})
	}
	n := 0
	put := func(tx care.Tx, e care.Entry) error {
		n++
		e.ID = fmt.Sprint("e", n)
		if e.BreederID == "" {
			e.BreederID = "b1"
		}
		if e.HappenedAt.IsZero() {
			e.HappenedAt = t0
		}
		return tx.InsertEntry(e)
	}
	offer := func(r care.OfferResult) care.Body { return care.Offer{Result: r} }
	write(t, s, func(tx care.Tx) error {
		for _, e := range []care.Entry{
			{AnimalID: "a2", Body: offer(care.Eaten)}, {AnimalID: "a2", Body: offer(care.Refused)}, {AnimalID: "a2", Body: offer(care.Struck)}, {AnimalID: "a2", Body: offer(care.Regurgitated)},
			{AnimalID: "a2", Body: offer(care.Refused), CaseID: "h1"},
			{AnimalID: "a2", Body: offer(care.Refused), ReplacedBy: "x"},
			{AnimalID: "a2", Body: offer(care.Refused), HappenedAt: at(-time.Millisecond)},
			{AnimalID: "a2", Body: care.WeighIn{Mass: 1}}, {AnimalID: "a2", Body: care.Withdrawal{}},
			{AnimalID: "a1", Body: offer(care.Eaten)}, {AnimalID: "a1", Body: offer(care.Eaten)},
			{AnimalID: "a3", Body: care.WeighIn{Mass: 1}}, {AnimalID: "a3", Body: offer(care.Refused), HappenedAt: at(-time.Hour)},
			{AnimalID: "boa", Body: offer(care.Refused)},
			{BreederID: "b2", AnimalID: "a1", Body: offer(care.Refused)},
		} {
			if err := put(tx, e); err != nil {
				return err
			}
		}
		return nil
	})
	got := read(t, s, func(tx care.Tx) ([]care.FeedingCount, error) { return tx.FeedingCounts("b1", "python_regius", t0) })
	wantSame(t, "counts", got, []care.FeedingCount{{Refused: 0, Offers: 2}, {Refused: 3, Offers: 4}})
}

func counts(t *testing.T, s care.Store) {
	wantSame(t, "empty", read(t, s, func(tx care.Tx) (care.Counts, error) { return tx.Counts() }), care.Counts{})
	for _, b := range []string{"b1", "b2"} {
		stock(t, s, b, "a1", "a2")
		write(t, s, func(tx care.Tx) error {
			if err := follow(tx, care.Case{BreederID: b, ID: "h1", AnimalID: "a1"}); err != nil {
				return err
			}
			if err := follow(tx, care.Case{BreederID: b, ID: "h2", AnimalID: "a2", ClosedAt: &t0}); err != nil {
				return err
			}
			return tx.InsertEntry(care.Entry{BreederID: b, AnimalID: "a1", ID: "e1", Body: care.Seen{}})
		})
	}
	wantSame(t, "counts", read(t, s, func(tx care.Tx) (care.Counts, error) { return tx.Counts() }), care.Counts{Breeders: 2, Animals: 4, Entries: 2, OpenCases: 2})
}

func importPages(t *testing.T, s care.Store) {
	stock(t, s, "b1")
	write(t, s, func(tx care.Tx) error {
		for i, id := range []string{"i1", "i2", "i3", "i4", "i5"} { // two share an instant
			if err := tx.InsertImport(care.Import{BreederID: "b1", ID: id, CreatedAt: at(time.Duration(i/2) * time.Second)}); err != nil {
				return err
			}
		}
		return nil
	})
	all := walk(t, s, 2, func(tx care.Tx, after care.Cursor) ([]care.Import, care.Cursor, error) {
		return tx.ListImports("b1", after, 2)
	})
	wantSame(t, "imports", ids(all, importID), []string{"i5", "i4", "i3", "i2", "i1"})
}

func pendingImports(t *testing.T, s care.Store) {
	stock(t, s, "b1")
	stock(t, s, "b2")
	write(t, s, func(tx care.Tx) error {
		for i, x := range []care.Import{
			{BreederID: "b2", ID: "i1", State: care.ImportUndoing}, {BreederID: "b1", ID: "i2", State: care.ImportRunning},
			{BreederID: "b1", ID: "i3", State: care.ImportDraft}, {BreederID: "b1", ID: "i4", State: care.ImportDone},
			{BreederID: "b1", ID: "i5", State: care.ImportUndone}, {BreederID: "b1", ID: "i6", State: care.ImportFailed}, {BreederID: "b1", ID: "i7", State: care.ImportRunning},
		} {
			x.CreatedAt = at(time.Duration(-i) * time.Second)
			if err := tx.InsertImport(x); err != nil {
				return err
			}
		}
		return nil
	})
	for limit, want := range map[int][]string{10: {"i7", "i2", "i1"}, 2: {"i7", "i2"}} {
		all := read(t, s, func(tx care.Tx) ([]care.Import, error) { return tx.PendingImports(limit) })
		wantSame(t, "pending", ids(all, importID), want)
	}
}

func importMade(t *testing.T, s care.Store) {
	stock(t, s, "b1", "a1", "a2")
	write(t, s, func(tx care.Tx) error { return tx.InsertImport(care.Import{BreederID: "b1", ID: "i1"}) })
	put := func(animal string, made bool) {
		write(t, s, func(tx care.Tx) error {
			return tx.PutImportAnimal(care.ImportAnimal{BreederID: "b1", ImportID: "i1", AnimalID: animal, Made: made})
		})
	}
	put("a2", false)
	put("a1", true)
	put("a1", false)
	wantSame(t, "animals", read(t, s, func(tx care.Tx) ([]care.ImportAnimal, error) { return tx.ListImportAnimals("b1", "i1") }), []care.ImportAnimal{
		{BreederID: "b1", ImportID: "i1", AnimalID: "a1", Made: true}, {BreederID: "b1", ImportID: "i1", AnimalID: "a2"}})
}
