package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/store/storetest"
)

// filled makes a breeder with so many animals, whose values are of the kinds
// that engines could tell differently.
func filled(t *testing.T, c Config, animals int) {
	t.Helper()
	s, err := Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 5, 1, 9, 0, 0, 7e6, time.UTC)
	err = s.Write(t.Context(), func(tx care.Tx) error {
		err := tx.InsertBreeder(care.Breeder{ID: "fern", Name: "Fern \\ 'quoted' \u017d\U0001F40D", TimeZone: "UTC", Hemi: care.South, CreatedAt: at, Version: 1})
		for i := range animals {
			a := care.Animal{BreederID: "fern", ID: fmt.Sprintf("a%04d", i), Name: fmt.Sprint("Zoë\n", i), Species: "python_regius", SnoutVent: .1, TotalLength: 600, CreatedAt: at, UpdatedAt: at, Version: 1}
			if i%2 == 0 {
				a.Hatched = &at
			}
			err = errors.Join(err, tx.InsertAnimal(a))
		}
		return errors.Join(err, tx.InsertSigningKey(care.SigningKey{BreederID: "fern", ID: "k", Sealed: []byte{0, 255, 39, 92}, CreatedAt: at}))
	})
	if err := errors.Join(err, s.Close()); err != nil {
		t.Fatal(err)
	}
}

func rowsOf(moved []Moved, table string) int64 {
	for _, m := range moved {
		if m.Table == table {
			return m.Rows
		}
	}
	return -1
}

func TestMoveThereAndBack(t *testing.T) {
	t.Parallel()
	from, middle, back := Config{Dir: t.TempDir()}, Config{URL: storetest.Schema(t)}, Config{Dir: t.TempDir()}
	filled(t, from, 1203)
	there, err := Move(t.Context(), from, middle, nil)
	if err != nil {
		t.Fatal(err)
	}
	if rowsOf(there, "animals") != 1203 || rowsOf(there, "signing_keys") != 1 || rowsOf(there, "breeders") != 1 {
		t.Errorf("%v", there)
	}
	again, err := Move(t.Context(), middle, back, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range there {
		if there[i] != again[i] {
			t.Errorf("%+v came back as %+v", there[i], again[i])
		}
	}
}

// A move that was cut off goes on, and does not begin again.
func TestMoveGoesOn(t *testing.T) {
	t.Parallel()
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			from, to := Config{Dir: t.TempDir()}, Config{Dir: t.TempDir()}
			if engine == "postgres" {
				to = Config{URL: storetest.Schema(t)}
			}
			filled(t, from, 1203)
			ctx, cut := context.WithCancel(t.Context())
			if _, err := Move(ctx, from, to, func(table string, rows int64) {
				if table == "animals" && rows == 2*moveBatch {
					cut()
				}
			}); !errors.Is(err, context.Canceled) {
				t.Fatalf("cut off: %v", err)
			}
			var told []int64
			done, err := Move(t.Context(), from, to, func(table string, rows int64) {
				if table == "animals" {
					told = append(told, rows)
				}
			})
			if err != nil || rowsOf(done, "animals") != 1203 || fmt.Sprint(told) != "[203]" {
				t.Errorf("%v, %v: %v", done, told, err)
			}
			if again, err := Move(t.Context(), from, to, func(string, int64) { t.Error("copied a second time") }); err != nil || fmt.Sprint(again) != fmt.Sprint(done) {
				t.Errorf("once more: %v, %v", again, err)
			}
		})
	}
}

// What is somebody else's is not written to.
func TestMoveRefusesAFullDatabase(t *testing.T) {
	t.Parallel()
	from, to := Config{Dir: t.TempDir()}, Config{Dir: t.TempDir()}
	filled(t, from, 3)
	filled(t, to, 5)
	if _, err := Move(t.Context(), from, to, func(table string, _ int64) { t.Errorf("wrote to %s", table) }); err == nil || !strings.Contains(err.Error(), "animals there holds something else") {
		t.Errorf("into a full one: %v", err)
	}
	other := Config{Dir: t.TempDir()}
	filled(t, other, 2)
	change := open(t, other)
	if err := change.Write(t.Context(), func(tx care.Tx) error {
		a, err := tx.Animal("fern", "a0001")
		a.Note = "changed"
		return errors.Join(err, tx.UpdateAnimal(a))
	}); err != nil {
		t.Fatal(err)
	}
	if _, err := Move(t.Context(), from, other, nil); err == nil || !strings.Contains(err.Error(), "something else") {
		t.Errorf("over a changed copy: %v", err)
	}
	if _, err := Move(t.Context(), from, Config{URL: "mysql://x"}, nil); err == nil || !strings.Contains(err.Error(), "where it is to go") {
		t.Errorf("nowhere: %v", err)
	}
}
