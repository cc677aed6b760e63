package server_test

import (
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"warmhand/server"
	"warmhand/server/servertest"
)

// opens opens a server, and closes it again.
func opens(t *testing.T, dir, database string) error {
	t.Helper()
	s, err := server.New(t.Context(), server.Config{DataDir: dir, DatabaseURL: database, Listen: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler)})
	if err == nil {
		err = s.Close()
	}
	return err
}

func refusedFor(t *testing.T, err error, why string) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), why) || !strings.Contains(err.Error(), "copy the file from the data folder of another server on it, or from a backup") || !strings.Contains(err.Error(), "warmhand key") {
		t.Errorf("want %q and what to do: %v", why, err)
	}
}

// A database that knows another key, or whose key is gone, is not served, until
// somebody says that the key is lost.
func TestKeyIsTheDatabases(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	_, code := breeder.HandOver(breeder.NewAnimal())
	change := func() (bool, error) {
		t.Helper()
		admin, err := server.OpenAdmin(t.Context(), server.Data{Dir: f.DataDir}, false)
		if err != nil {
			t.Fatal(err)
		}
		defer admin.Close()
		return admin.ChangeKey(t.Context())
	}
	if _, err := change(); err == nil || !strings.Contains(err.Error(), "stop it first") {
		t.Errorf("changed under a running server: %v", err)
	}
	if err := f.Stop(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(f.DataDir, "server.key")
	key, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	put := func(b []byte) {
		t.Helper()
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if changed, err := change(); changed || err != nil {
		t.Errorf("the same key is a change: %t, %v", changed, err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	refusedFor(t, opens(t, f.DataDir, ""), "is missing")
	if _, err := os.Stat(path); err == nil {
		t.Error("a key was made that is not the database's")
	}
	put([]byte(strings.Repeat("another key's 32", 2)))
	refusedFor(t, opens(t, f.DataDir, ""), "is not the key of this database")
	put(key)
	if err := opens(t, f.DataDir, ""); err != nil {
		t.Errorf("with its key again: %v", err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if changed, err := change(); !changed || err != nil {
		t.Fatalf("the lost key was not replaced: %t, %v", changed, err)
	}
	again := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.DataDir = f.DataDir }})
	if got := again.Page().Claim(code); got.Status != 404 {
		t.Errorf("the old key's card: %d %s", got.Status, got.Body)
	}
	if err := again.Stop(); err != nil {
		t.Fatal(err)
	}
	put(key)
	refusedFor(t, opens(t, f.DataDir, ""), "is not the key of this database")
}

// Of servers on one database all have its key.
func TestServersHaveOneKey(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Postgres: true})
	refusedFor(t, opens(t, t.TempDir(), f.DatabaseURL), "is missing")
	other := keyOnly(t, f.DataDir)
	if err := opens(t, other, f.DatabaseURL); err != nil {
		t.Errorf("with a copy of the key: %v", err)
	}
	if err := os.WriteFile(filepath.Join(other, "server.key"), make([]byte, 32), 0o600); err != nil {
		t.Fatal(err)
	}
	refusedFor(t, opens(t, other, f.DatabaseURL), "is not the key of this database")

	// Those that are the first together agree on one of their keys.
	f.Write(server.ForgetKey)
	refused := make([]error, 4)
	var all sync.WaitGroup
	for i := range refused {
		dir := t.TempDir()
		all.Go(func() { refused[i] = opens(t, dir, f.DatabaseURL) })
	}
	all.Wait()
	first := 0
	for _, err := range refused {
		if err == nil {
			first++
			continue
		}
		refusedFor(t, err, "")
	}
	if first != 1 {
		t.Errorf("%d keys for one database: %v", first, refused)
	}
}
