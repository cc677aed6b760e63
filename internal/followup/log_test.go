package followup

import (
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/store"
)

// What the assessment is given after an entry has to be what the store would
// give, in content and in order, late entries and corrections included.
func TestWithEntryIsTheStoredLog(t *testing.T) {
	t.Parallel()
	db, err := store.Open(t.Context(), store.Config{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	now := time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)
	rnd := rand.New(rand.NewPCG(7, 11))
	err = db.Write(t.Context(), func(tx care.Tx) error {
		if err := tx.InsertBreeder(care.Breeder{ID: "b", Name: "B", TimeZone: "UTC", Hemi: care.North, CreatedAt: now, Version: 1}); err != nil {
			return err
		}
		if err := tx.InsertAnimal(care.Animal{BreederID: "b", ID: "a", Species: "python_regius", Sex: care.SexUnknown, CreatedAt: now, UpdatedAt: now, Version: 1}); err != nil {
			return err
		}
		for i := range 60 {
			before, err := tx.Log("b", "a")
			if err != nil {
				return err
			}
			// Few different times, so that ties are broken too.
			e := care.Entry{BreederID: "b", AnimalID: "a", ID: newID(), By: care.BreederOwner, ByID: "u", Body: care.WeighIn{Mass: care.Grams(100 + i)},
				HappenedAt: now.Add(-time.Duration(rnd.IntN(5)) * time.Hour), ReceivedAt: now.Add(time.Duration(rnd.IntN(3)) * time.Minute)}
			if i%4 == 3 {
				if old := before[rnd.IntN(len(before))]; old.ReplacedBy == "" {
					e.Replaces = old.ID
				}
			}
			if err := tx.InsertEntry(e); err != nil {
				return err
			}
			if e.Replaces != "" {
				if err := tx.MarkReplaced("b", "a", e.Replaces, e.ID); err != nil {
					return err
				}
			}
			stored, err := tx.Log("b", "a")
			if err != nil {
				return err
			}
			if got := withEntry(before, e); !reflect.DeepEqual(got, stored) {
				t.Fatalf("after entry %d:\n got %+v\nwant %+v", i, got, stored)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
