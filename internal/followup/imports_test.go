package followup_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
	"warmhand/internal/sheet"
)

// table reads a list.
func table(t testing.TB, list string) *sheet.Table {
	t.Helper()
	tab, err := sheet.Open(strings.NewReader(list), int64(len(list)), "")
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

// confirmed is a list of loam that was confirmed and not yet added.
func (p *place) confirmed(t testing.TB, list string) (care.Import, *sheet.Table) {
	t.Helper()
	tab := table(t, list)
	in, err := p.AddImport(t.Context(), p.loam, t0, care.Import{BreederID: "loam", ID: p.id("import"), File: "list.csv", Digest: list})
	if err == nil {
		m, _ := tab.Guess(sheet.Mapping{}, t0)
		in, err = p.ConfirmImport(t.Context(), p.loam, t0, "loam", in.ID, tab, m, nil, false)
	}
	if err != nil {
		t.Fatal(err)
	}
	return in, tab
}

// dying is a store that fails each write after so many.
type dying struct {
	care.Store
	left int
}

var errDied = errors.New("the power is gone")

func (d *dying) Write(ctx context.Context, f func(care.Tx) error) error {
	if d.left == 0 {
		return errDied
	}
	d.left--
	return d.Store.Write(ctx, f)
}

// Wherever an import or its undoing is cut off, going on ends as if it had not
// been: nothing is doubled, and nothing is missing.
func TestImportCutOffAnywhere(t *testing.T) {
	t.Parallel()
	var list strings.Builder
	list.WriteString("name,species,dam,date,weight\n")
	for i := range 3 * 250 { // three animals, more lines of each than one piece takes
		fmt.Fprintf(&list, "Snake %d,corn,%s,%s,%d\n", i%3, map[int]string{2: "Snake 0"}[i%3], t0.AddDate(0, 0, -i/3-1).Format(time.DateOnly), 100+i%2)
	}
	for cut := range 9 {
		t.Run(fmt.Sprint(cut), func(t *testing.T) {
			t.Parallel()
			p := newPlace(t)
			in, tab := p.confirmed(t, list.String())
			if in.Total != 3+750 {
				t.Fatalf("%d steps", in.Total)
			}
			until := func(run func(s *followup.Service, in care.Import) error) care.Import {
				t.Helper()
				got, err := p.GetImport(t.Context(), p.loam, "loam", in.ID)
				if err != nil {
					t.Fatal(err)
				}
				if err := run(followup.New(&dying{p.store, cut}, p.codes, p.codes), got); err != nil && !errors.Is(err, errDied) {
					t.Fatal(err)
				}
				// What another server would find after a restart.
				pending, err := p.PendingImports(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				for _, got := range pending {
					if err := run(p.Service, got); err != nil {
						t.Fatal(err)
					}
				}
				if got, err = p.GetImport(t.Context(), p.loam, "loam", in.ID); err != nil {
					t.Fatal(err)
				}
				return got
			}
			done := until(func(s *followup.Service, in care.Import) error { return s.RunImport(t.Context(), t0, in, tab) })
			if done.State != care.ImportDone || done.Animals != 3 || done.Entries != 750 || done.Done != done.Total {
				t.Errorf("added: %+v", done)
			}
			current := func() (animals, entries int) {
				p.write(t, func(tx care.Tx) error {
					all, _, err := tx.ListAnimals("loam", "", care.Cursor{}, 10)
					touched, errTouched := tx.ListImportAnimals("loam", in.ID)
					if err = errors.Join(err, errTouched); err != nil {
						return err
					}
					animals = len(all)
					for _, a := range touched {
						log, err := tx.Log("loam", a.AnimalID)
						if err != nil {
							return err
						}
						for i := range log {
							if log[i].Current() {
								entries++
							}
						}
					}
					return nil
				})
				return animals, entries
			}
			if animals, entries := current(); animals != 3 || entries != 750 {
				t.Errorf("there are %d animals with %d entries", animals, entries)
			}
			if _, err := p.UndoImport(t.Context(), p.helper, t0, "loam", in.ID); !care.IsCode(err, care.Denied) {
				t.Errorf("by a helper: %v", err)
			}
			if _, err := p.UndoImport(t.Context(), p.loam, t0, "loam", in.ID); err != nil {
				t.Fatal(err)
			}
			undone := until(func(s *followup.Service, in care.Import) error { return s.RunUndo(t.Context(), t0.Add(day), in) })
			if undone.State != care.ImportUndone || undone.Animals != 0 || undone.Entries != 0 || len(undone.Kept) != 0 {
				t.Errorf("taken back: %+v", undone)
			}
			if animals, entries := current(); animals != 0 || entries != 0 {
				t.Errorf("%d animals with %d entries are left", animals, entries)
			}
		})
	}
}

// Slips that were shown and not left out are taken as confirmed.
func TestImportSlips(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a := p.animal(t) // 97 to 99 g
	tab := table(t, "name,date,weight\ntub 14,2026-10-30,980\ntub 14,2026-10-31,990\n")
	in, err := p.AddImport(t.Context(), p.loam, t0, care.Import{BreederID: "loam", ID: p.id("import")})
	if err != nil {
		t.Fatal(err)
	}
	v, err := p.PreviewImport(t.Context(), p.loam, t0, "loam", in.ID, tab, sheet.Mapping{}, nil)
	if err != nil || v.Entries != 2 || v.Warnings != 1 || v.Problems[0].Row != 2 || v.Problems[0].Value != "980" {
		t.Fatalf("%+v, %v", v, err)
	}
	if v, err = p.PreviewImport(t.Context(), p.loam, t0, "loam", in.ID, tab, v.Mapping, []int{2, 3}); err != nil || v.Entries != 0 || v.Warnings != 0 {
		t.Fatalf("left out: %+v, %v", v, err)
	}
	if in, err = p.ConfirmImport(t.Context(), p.loam, t0, "loam", in.ID, tab, v.Mapping, nil, false); err != nil {
		t.Fatal(err)
	}
	if err := p.RunImport(t.Context(), t0, in, tab); err != nil {
		t.Fatal(err)
	}
	log, _, err := p.ListEntries(t.Context(), p.loam, "loam", a.ID, []care.Kind{care.KindWeighIn}, "", care.Cursor{}, 2)
	if err != nil || len(log) != 2 || log[0].Confirmed || !log[1].Confirmed {
		t.Errorf("%+v, %v", log, err)
	}
}
