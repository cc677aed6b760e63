package server_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/server"
	"warmhand/server/servertest"
)

// The drill: a server makes backups by itself, the newest is restored on another
// machine, read from end to end, and has every row that there was.
func TestBackupsOnASchedule(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "backups")
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.BackupTo, c.BackupEvery, c.BackupKeep = dir, 24*time.Hour, 2
	}})
	names := func() (list []string) {
		t.Helper()
		all, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range all {
			list = append(list, d.Name())
		}
		return list
	}
	// The first is made as soon as the server runs.
	for deadline := time.Now().Add(time.Minute); ; <-time.After(time.Millisecond) {
		if _, err := os.Stat(filepath.Join(dir, servertest.Epoch.Format(server.BackupName), "manifest.json")); err == nil {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("no backup")
		}
	}
	breeder, keeper := f.NewBreeder("b1"), f.Page()
	own := settle(t, f, breeder, keeper, "Oslo")
	if err := os.MkdirAll(filepath.Join(dir, "of somebody else"), 0o700); err != nil {
		t.Fatal(err)
	}
	for _, step := range []struct {
		after time.Duration
		want  []string
	}{
		{22 * time.Hour, []string{"2026-06-01T120000Z"}},
		{24 * time.Hour, []string{"2026-06-01T120000Z", "2026-06-03T"}},
		{24 * time.Hour, []string{"2026-06-03T", "2026-06-04T"}},
	} {
		f.Clock.Advance(step.after)
		breeder.Call("GET", "/v1/breeders/b1", nil).OK()
		if err := f.Server.BackUp(t.Context()); err != nil {
			t.Fatal(err)
		}
		got := slices.DeleteFunc(names(), func(n string) bool { return n == "of somebody else" })
		same := len(got) == len(step.want)
		for i := range step.want {
			same = same && strings.HasPrefix(got[i], step.want[i])
		}
		if !same || len(names()) != len(got)+1 {
			t.Fatalf("there are %v, want %v", names(), step.want)
		}
	}
	newest := slices.DeleteFunc(names(), func(n string) bool { return n == "of somebody else" })[1]
	want := f.Rows("b1")
	if err := f.Stop(); err != nil { // the machine is gone
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "restored")
	if _, err := server.Restore(t.Context(), filepath.Join(dir, newest), to); err != nil {
		t.Fatal(err)
	}
	admin, err := server.OpenAdmin(t.Context(), server.Data{Dir: to}, false)
	if err != nil {
		t.Fatal(err)
	}
	if n, err := admin.Check(t.Context()); err != nil || n.Breeders != 1 || n.OpenCases != 1 {
		t.Errorf("the restored data: %+v, %v", n, err)
	}
	if err := admin.Close(); err != nil {
		t.Fatal(err)
	}
	again := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.DataDir = to }})
	if got := again.Rows("b1"); len(want) < 12 || !slices.Equal(got, want) {
		t.Errorf("before it was\n%s\nand restored it is\n%s", strings.Join(want, "\n"), strings.Join(got, "\n"))
	}
	// A phone goes on where it was.
	again.Clock.Advance(f.Clock.Now().Sub(again.Clock.Now()))
	page := again.Page()
	page.SetCookie("warmhand_k", keeper.Cookies()["warmhand_k"])
	page.Call("GET", "/v1/breeders/b1/cases/"+own["case"], nil).OK()
	page.Call("GET", "/v1/breeders/b1/cases/"+own["case"]+"/photos/"+own["photo"]+"/1600", nil).OK()
}

func TestBackupsThatCouldNotWork(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for name, c := range map[string]server.Config{
		"in the data folder": {DataDir: dir, BackupTo: filepath.Join(dir, "backups"), BackupEvery: time.Hour, BackupKeep: 1},
		"none kept":          {DataDir: dir, BackupTo: t.TempDir(), BackupEvery: time.Hour},
		"never":              {DataDir: dir, BackupTo: t.TempDir(), BackupKeep: 1},
		"of PostgreSQL":      {DataDir: dir, BackupTo: t.TempDir(), BackupEvery: time.Hour, BackupKeep: 1, DatabaseURL: "postgres://localhost/none"},
	} {
		c.Listen = "127.0.0.1:0"
		if s, err := server.New(t.Context(), c); err == nil || !strings.Contains(err.Error(), "backup") {
			t.Errorf("%s: %v", name, err)
			if s != nil {
				s.Close()
			}
		}
	}
}
