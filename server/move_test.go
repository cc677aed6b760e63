package server_test

import (
	"fmt"
	"log/slog"
	"reflect"
	"strings"
	"testing"

	"warmhand/internal/photo/phototest"
	"warmhand/server"
	"warmhand/server/servertest"
)

// A whole demonstration goes to PostgreSQL and a bucket, and back into a folder.
func TestMoveAllThereAndBack(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Postgres: true}) // for its schema
	if err := f.Stop(); err != nil {
		t.Fatal(err)
	}
	quiet := func(string) {}
	here, there, back := server.Data{Dir: t.TempDir()}, server.Data{Dir: t.TempDir(), DatabaseURL: f.DatabaseURL, PhotosURL: phototest.S3(t, nil)}, server.Data{Dir: t.TempDir()}
	s, err := server.New(t.Context(), server.Config{DataDir: here.Dir, Listen: "127.0.0.1:0", PassEvery: -1, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.FillDemo(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := server.Move(t.Context(), here, there, quiet); err == nil || !strings.Contains(err.Error(), "another server") {
		t.Errorf("while a server runs: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	want := check(t, here)
	out, err := server.Move(t.Context(), here, there, quiet)
	if err != nil || out.Photos != 4 || len(out.Tables) < 15 {
		t.Fatalf("%+v, %v", out, err)
	}
	if got := check(t, there); got != want {
		t.Errorf("there: %s, here: %s", got, want)
	}
	again, err := server.Move(t.Context(), there, back, quiet)
	if err != nil || !reflect.DeepEqual(again, out) {
		t.Errorf("%+v, %v", again, err)
	}
	if got := check(t, back); got != want {
		t.Errorf("back: %s, before: %s", got, want)
	}

	if _, err := server.Move(t.Context(), back, back, quiet); err == nil || !strings.Contains(err.Error(), "the same") {
		t.Errorf("onto itself: %v", err)
	}
	if _, err := server.Move(t.Context(), server.Data{Dir: t.TempDir()}, there, quiet); err == nil || !strings.Contains(err.Error(), "warmhand.db") {
		t.Errorf("from nothing: %v", err)
	}
	other := server.Data{Dir: t.TempDir()}
	if s, err = server.New(t.Context(), server.Config{DataDir: other.Dir, Listen: "127.0.0.1:0", PassEvery: -1, Log: slog.New(slog.DiscardHandler)}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := server.Move(t.Context(), back, other, quiet); err == nil || !strings.Contains(err.Error(), "a key of its own") {
		t.Errorf("onto another's: %v", err)
	}
}

func check(t *testing.T, d server.Data) string {
	t.Helper()
	a, err := server.OpenAdmin(t.Context(), d, false)
	if err != nil {
		t.Fatal(err)
	}
	n, err := a.Check(t.Context())
	if err != nil {
		t.Error(err)
	}
	if err := a.Close(); err != nil {
		t.Error(err)
	}
	return fmt.Sprintf("%+v", n)
}
