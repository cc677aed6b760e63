package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/photo"
	"warmhand/internal/photo/phototest"
)

// lived is a server with the demonstration in it.
func lived(t *testing.T) (s *Server, dir string) {
	t.Helper()
	dir = t.TempDir()
	s, err := New(t.Context(), Config{DataDir: dir, Listen: "127.0.0.1:0", PassEvery: -1, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	if _, err := s.FillDemo(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s, dir
}

func admin(t *testing.T, dir string) *Admin {
	t.Helper()
	a, err := OpenAdmin(t.Context(), Data{Dir: dir}, false)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	return a
}

func logOf(t *testing.T, st care.Store, animal string) (log []care.Entry) {
	t.Helper()
	if err := st.Read(t.Context(), func(tx care.Tx) (err error) {
		log, err = tx.Log("thimblewick", animal)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return log
}

func TestBackupWhileWritesGoOn(t *testing.T) {
	t.Parallel()
	s, dir := lived(t)
	owner := care.Actor{Kind: care.BreederOwner, BreederID: "thimblewick", UserID: "thimblewick-owner"}
	animals, _, err := s.FollowUp().ListAnimals(t.Context(), owner, "thimblewick", "Teasel", care.Cursor{}, 5)
	if err != nil || len(animals) != 1 {
		t.Fatalf("%d animals, %v", len(animals), err)
	}
	animal := animals[0].ID

	ctx, stop := context.WithCancel(t.Context())
	first, ended := make(chan struct{}), make(chan error, 1)
	go func() {
		for n := 0; ; n++ {
			e := care.Entry{BreederID: "thimblewick", AnimalID: animal, ID: fmt.Sprintf("while-%06d", n), HappenedAt: time.Now(), Body: care.WeighIn{Mass: 150}}
			if _, err := s.FollowUp().CreateEntry(ctx, owner, time.Now(), e); err != nil {
				if ctx.Err() != nil {
					err = nil
				}
				ended <- err
				return
			}
			if n == 0 {
				close(first)
			}
		}
	}()
	<-first
	dest := filepath.Join(t.TempDir(), "backups", "one")
	m, err := admin(t, dir).Backup(t.Context(), dest, false)
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	if m.Photos != 2 || m.Counts.Animals != 18 || len(m.Missing) != 0 {
		t.Errorf("the manifest says %+v", m)
	}
	to := filepath.Join(t.TempDir(), "restored")
	if _, err := Restore(t.Context(), dest, to); err != nil {
		t.Fatal(err)
	}
	back := admin(t, to)
	if _, err := back.Check(t.Context()); err != nil {
		t.Error(err)
	}
	got, all := logOf(t, back.store, animal), logOf(t, s.Store(), animal)
	written := map[string]care.Entry{}
	for _, e := range all {
		written[e.ID] = e
	}
	during := 0
	for _, e := range got {
		if !reflect.DeepEqual(written[e.ID], e) {
			t.Errorf("%s came back as %+v", e.ID, e)
		}
		if strings.HasPrefix(e.ID, "while-") {
			during++
		}
	}
	if during == 0 || len(got) != len(all)-countWhile(all)+during {
		t.Errorf("%d of %d entries came back, %d of those made meanwhile", len(got), len(all), during)
	}
	for _, name := range []string{keyFile, databaseFile} {
		info, err := os.Stat(filepath.Join(to, name))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", name, info, err)
		}
	}
	if _, err := Restore(t.Context(), dest, to); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("restoring over data: %v", err)
	}
	if _, err := back.Backup(t.Context(), dest, false); err == nil || !strings.Contains(err.Error(), "exists already") {
		t.Errorf("a backup over a backup: %v", err)
	}
	testDamage(t, dest, back, to)
}

func countWhile(log []care.Entry) (n int) {
	for _, e := range log {
		if strings.HasPrefix(e.ID, "while-") {
			n++
		}
	}
	return n
}

// testDamage takes a picture from the data and from the backup.
func testDamage(t *testing.T, backup string, data *Admin, dir string) {
	find := func(root string) string {
		list, err := filepath.Glob(filepath.Join(root, "photos", "??", "*-1600.jpg"))
		if err != nil || len(list) != 2 {
			t.Fatalf("%v, %v", list, err)
		}
		return list[0]
	}
	lost := find(dir)
	if err := os.Remove(lost); err != nil {
		t.Fatal(err)
	}
	if _, err := data.Check(t.Context()); err == nil || !strings.Contains(err.Error(), filepath.Base(lost)) {
		t.Errorf("a lost picture: %v", err)
	}
	changed := find(backup)
	if err := os.WriteFile(changed, []byte("not the picture"), 0o600); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "new")
	if _, err := Restore(t.Context(), backup, to); err == nil || !strings.Contains(err.Error(), filepath.Base(changed)) {
		t.Errorf("a changed picture: %v", err)
	}
	if _, err := os.Stat(to); !os.IsNotExist(err) {
		t.Errorf("a refused restore left %s: %v", to, err)
	}
}

func TestInterruptedBackupIsNotABackup(t *testing.T) {
	t.Parallel()
	_, dir := lived(t)
	a := admin(t, dir)
	parent := t.TempDir()
	dest := filepath.Join(parent, "one")
	ctx, cancel := context.WithCancel(t.Context())
	a.now = func() time.Time { cancel(); return time.Now() } // in the middle of it
	if _, err := a.Backup(ctx, dest, false); err == nil {
		t.Fatal("an interrupted backup reported success")
	}
	if left, err := os.ReadDir(parent); err != nil || len(left) != 0 {
		t.Errorf("it left %v, %v", left, err)
	}
	// What a power cut leaves: everything but the manifest.
	if err := a.store.Backup(t.Context(), dest); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(t.Context(), dest, filepath.Join(parent, "two")); err == nil || !strings.Contains(err.Error(), "not a whole backup") {
		t.Errorf("restoring it: %v", err)
	}
}

// Pictures in a bucket are served, looked after and copied as those in the
// folder are.
func TestPhotosInABucket(t *testing.T) {
	t.Parallel()
	dir, address := t.TempDir(), phototest.S3(t, nil)
	s, err := New(t.Context(), Config{DataDir: dir, PhotosURL: address, Listen: "127.0.0.1:0", PassEvery: -1, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	if _, err := s.FillDemo(t.Context()); err != nil {
		t.Fatal(err)
	}
	count := func(blobs photo.Blobs) (keys []photo.Key) {
		for info, err := range blobs.List(t.Context()) {
			if err != nil {
				t.Fatal(err)
			}
			keys = append(keys, info.Key)
		}
		return keys
	}
	folder, err := photo.OpenFolder(filepath.Join(dir, photosDir))
	if err != nil {
		t.Fatal(err)
	}
	keys := count(s.blobs)
	if in := count(folder); len(keys) != 4 || len(in) != 0 {
		t.Fatalf("%d in the bucket, %d in the folder", len(keys), len(in))
	}
	a, err := OpenAdmin(t.Context(), Data{Dir: dir, PhotosURL: address}, false)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	if _, err := a.Check(t.Context()); err != nil {
		t.Error(err)
	}
	if _, err := admin(t, dir).Check(t.Context()); err == nil || !strings.Contains(err.Error(), keys[0].String()) {
		t.Errorf("looked for in the folder: %v", err)
	}
	dest := filepath.Join(t.TempDir(), "backup")
	if m, err := a.Backup(t.Context(), dest, false); err != nil || m.Photos != 2 || len(m.Missing) != 0 {
		t.Fatalf("%+v, %v", m, err)
	}
	to := filepath.Join(t.TempDir(), "restored")
	if _, err := Restore(t.Context(), dest, to); err != nil {
		t.Fatal(err)
	}
	if _, err := admin(t, to).Check(t.Context()); err != nil {
		t.Error(err)
	}
	if err := s.store.Write(t.Context(), func(tx care.Tx) error {
		page, _, err := tx.ListCases("thimblewick", care.CaseQuery{}, care.Cursor{}, 50)
		for _, c := range page {
			err = errors.Join(err, tx.DeletePhotos("thimblewick", c.ID, care.KeeperActor))
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if err := s.discard(t.Context()); err != nil {
		t.Fatal(err)
	}
	if left := count(s.blobs); len(left) != 0 {
		t.Errorf("left: %v", left)
	}
}
