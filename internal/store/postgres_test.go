package store

import (
	"fmt"
	"strings"
	"testing"

	"warmhand/internal/care"
)

// A server that goes away in the middle is Unavailable, and comes back.
func TestPostgresConnectionLost(t *testing.T) {
	t.Parallel()
	address := newSchema(t)
	name := fmt.Sprint("lost-", schemas.Add(1), "-", t.Name())
	s := open(t, Config{URL: address + "&application_name=" + name})
	err := s.Write(t.Context(), func(tx care.Tx) error {
		if err := tx.InsertKeeper(care.Keeper{ID: "k"}); err != nil {
			return err
		}
		admin(t, address, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = '`+name+`'`)
		return tx.InsertKeeper(care.Keeper{ID: "k2"})
	})
	if !care.IsCode(err, care.Unavailable) || strings.Contains(err.Error(), "terminating") {
		t.Errorf("got %v", err)
	}
	insertKeeper1(t, s, "k")
}

func TestPostgresBackupNamesTheTool(t *testing.T) {
	t.Parallel()
	s := open(t, Config{URL: newSchema(t)})
	if err := s.Backup(t.Context(), t.TempDir()); err == nil || !strings.Contains(err.Error(), "pg_dump") {
		t.Errorf("got %v", err)
	}
	insertKeeper1(t, s, "k")
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// Two callers see that an animal has no case; the one that commits later must
// be run again and see the other's. No key would stop it.
func TestPostgresWriteSkew(t *testing.T) {
	t.Parallel()
	s := open(t, Config{URL: newSchema(t)})
	err := s.Write(t.Context(), func(tx care.Tx) error {
		if err := tx.InsertBreeder(care.Breeder{ID: "b1"}); err != nil {
			return err
		}
		return tx.InsertAnimal(care.Animal{BreederID: "b1", ID: "a1"})
	})
	if err != nil {
		t.Fatal(err)
	}
	var saw []int
	openCase := func(id string, between func()) error {
		return s.Write(t.Context(), func(tx care.Tx) error {
			there, _, err := tx.ListCases("b1", care.CaseQuery{Open: true, AnimalID: "a1"}, care.Cursor{}, 10)
			if err != nil {
				return err
			}
			saw = append(saw, len(there))
			between()
			if len(there) > 0 {
				return nil
			}
			if err := tx.InsertHandover(care.Handover{BreederID: "b1", ID: id, AnimalID: "a1"}); err != nil {
				return err
			}
			return tx.InsertCase(care.Case{BreederID: "b1", ID: id, AnimalID: "a1"})
		})
	}
	first := true
	err = openCase("slow", func() {
		if !first {
			return
		}
		first = false
		if err := openCase("quick", func() {}); err != nil {
			t.Error(err)
		}
	})
	if err != nil || fmt.Sprint(saw) != "[0 0 1]" {
		t.Errorf("got %v after seeing %v cases, want [0 0 1]", err, saw)
	}
}
