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
