package photo

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"warmhand/internal/photo/phototest"
)

// onWaiting runs a test on both places where pictures wait for their rest. left says how
// many files there are, in the place and of calls that were.
func onWaiting(t *testing.T, test func(t *testing.T, w *Waiting, left func() int)) {
	t.Parallel()
	for name, blobs := range map[string]func(t *testing.T) Blobs{
		"folder": func(t *testing.T) Blobs {
			f, err := OpenFolder(t.TempDir())
			if err != nil {
				t.Fatal(err)
			}
			return f
		},
		"bucket": func(t *testing.T) Blobs { return openBucket(t, phototest.S3(t, nil)) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			temp := t.TempDir()
			w, err := blobs(t).Waiting(temp)
			if err != nil {
				t.Fatal(err)
			}
			test(t, w, func() (n int) {
				spooled, err := os.ReadDir(temp)
				if err != nil {
					t.Fatal(err)
				}
				for _, err := range w.List(t.Context(), "") {
					if err != nil {
						t.Fatal(err)
					}
					n++
				}
				return n + len(spooled)
			})
		})
	}
}

func TestWaiting(t *testing.T) {
	onWaiting(t, func(t *testing.T, w *Waiting, left func() int) {
		ctx := t.Context()
		put := func(name, text string) {
			t.Helper()
			if err := w.Put(ctx, name, strings.NewReader(text)); err != nil {
				t.Fatal(err)
			}
		}
		put("lists/b-2", "second")
		put("lists/b-1", "first")
		put("lists/b-1", "first again")
		put("lists/c-1", "another's")
		cut := errors.New("the line dropped")
		if err := w.Put(ctx, "lists/b-3", io.MultiReader(strings.NewReader("half"), iotest.ErrReader(cut))); !errors.Is(err, cut) {
			t.Errorf("a list that broke off: %v", err)
		}
		var names []string
		for i, err := range w.List(ctx, "lists/b-") {
			if err != nil || time.Since(i.Since) > time.Hour {
				t.Fatal(i, err)
			}
			names = append(names, fmt.Sprint(i.Name, " ", i.Size))
		}
		if want := []string{"lists/b-1 11", "lists/b-2 6"}; !slices.Equal(names, want) {
			t.Errorf("%q wait, want %q", names, want)
		}
		f, err := w.Open(ctx, "lists/b-1")
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if text, err := io.ReadAll(f); err != nil || string(text) != "first again" {
			t.Errorf("%q, %v", text, err)
		}
		for range 2 {
			if err := w.Delete(ctx, "lists/b-1"); err != nil {
				t.Error(err)
			}
		}
		if _, err := w.Open(ctx, "lists/b-1"); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("what is gone: %v", err)
		}
		if n := left(); n != 2 {
			t.Errorf("%d files are left", n)
		}
	})
}

func TestReceiveInPieces(t *testing.T) {
	jpg := withExif(jpegOf(t, quarters(640, 480)), exifOf(binary.BigEndian, 6, "2026:06:07 08:09:10", "+02:00"))
	whole := mustIntake(t, jpg)
	onWaiting(t, func(t *testing.T, w *Waiting, left func() int) {
		const name = "b/c/p"
		send := func(from, to int64, last bool) (*Picture, error) {
			return w.Receive(t.Context(), name, from, last, bytes.NewReader(jpg[from:to]), Limits{})
		}
		arrived := func(want int64) {
			t.Helper()
			if got, err := w.Arrived(t.Context(), name); err != nil || got != want {
				t.Fatalf("arrived %d, want %d (%v)", got, want, err)
			}
		}
		n := int64(len(jpg))
		for at := int64(0); at < n; at += 1000 {
			arrived(at)
			p, err := send(at, min(at+1000, n), at+1000 >= n)
			if err != nil {
				t.Fatal(err)
			}
			if last := at+1000 >= n; (p != nil) != last {
				t.Fatalf("at %d: picture %v", at, p)
			} else if last && (p.Hash != whole.Hash || p.UploadHash != whole.UploadHash || p.UploadBytes != n) {
				t.Errorf("in pieces it is another picture")
			}
		}
		if err := w.Forget(t.Context(), name); err != nil || left() != 0 {
			t.Errorf("%d files are left, %v", left(), err)
		}

		var elsewhere *OffsetError
		if _, err := send(1000, 2000, true); !errors.As(err, &elsewhere) || elsewhere.Offset != 0 {
			t.Errorf("going on with nothing: %v", err)
		}
		for _, to := range []int64{900, 500} { // the second time it is begun anew
			if _, err := send(0, to, false); err != nil {
				t.Fatal(err)
			}
			arrived(to)
		}
		for _, from := range []int64{499, 501} {
			if _, err := send(from, n, true); !errors.As(err, &elsewhere) || elsewhere.Offset != 500 {
				t.Errorf("going on at %d: %v", from, err)
			}
		}
		for range 2 { // until it is kept, it can be sent again
			if p, err := send(500, n, true); err != nil || p.Hash != whole.Hash {
				t.Errorf("after a wrong offset what arrived is gone: %v", err)
			}
		}
		// What is left of an upload before is no part of the next.
		if err := w.Put(t.Context(), piece(name, 2000), strings.NewReader("of another")); err != nil {
			t.Fatal(err)
		}
		arrived(500)
	})
}

func TestReceiveAfterACut(t *testing.T) {
	jpg := jpegOf(t, quarters(640, 480))
	onWaiting(t, func(t *testing.T, w *Waiting, left func() int) {
		dropped := errors.New("the line dropped")
		cut := io.MultiReader(bytes.NewReader(jpg[:700]), iotest.ErrReader(dropped))
		hungUp, hangUp := context.WithCancel(t.Context())
		defer hangUp()
		if _, err := w.Receive(hungUp, "p", 0, true, readFunc(func(b []byte) (int, error) {
			n, err := cut.Read(b)
			if err != nil {
				hangUp()
			}
			return n, err
		}), Limits{}); !errors.Is(err, dropped) {
			t.Fatal(err)
		}
		if got, _ := w.Arrived(t.Context(), "p"); got != 700 {
			t.Errorf("arrived %d", got)
		}
		if got, _ := w.Arrived(t.Context(), "q"); got != 0 {
			t.Errorf("of another picture %d", got)
		}
		if p, err := w.Receive(t.Context(), "p", 700, true, bytes.NewReader(jpg[700:]), Limits{}); err != nil || p.UploadBytes != int64(len(jpg)) {
			t.Errorf("the rest: %v", err)
		}

		// The limit is that of the whole, and nothing stays of what is refused.
		lim := Limits{Bytes: 1000}
		var e *Error
		for _, last := range []bool{false, true} {
			if _, err := w.Receive(t.Context(), "p", 0, false, bytes.NewReader(jpg[:900]), lim); err != nil {
				t.Fatal(err)
			}
			if _, err := w.Receive(t.Context(), "p", 900, last, bytes.NewReader(jpg[900:1200]), lim); !errors.As(err, &e) || e.Code != TooLarge {
				t.Errorf("more than the limit in pieces: %v", err)
			}
		}
		if _, err := w.Receive(t.Context(), "p", 0, false, strings.NewReader("no picture"), Limits{}); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Receive(t.Context(), "p", 10, true, strings.NewReader(" at all"), Limits{}); !errors.As(err, &e) {
			t.Errorf("no picture: %v", err)
		}
		if n := left(); n != 0 {
			t.Errorf("%d files are left of what was refused", n)
		}
	})
}

type readFunc func([]byte) (int, error)

func (f readFunc) Read(b []byte) (int, error) { return f(b) }

// What waits too long is gone, for it may still say where it was taken. Other things
// that wait stay.
func TestSweep(t *testing.T) {
	onWaiting(t, func(t *testing.T, w *Waiting, left func() int) {
		ctx := t.Context()
		for _, name := range []string{"p", "q"} {
			for from := range int64(2) {
				if _, err := w.Receive(ctx, name, from*5, false, strings.NewReader("begun"), Limits{}); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := w.Put(ctx, "lists/b-1", strings.NewReader("a list")); err != nil {
			t.Fatal(err)
		}
		if err := w.Sweep(ctx, time.Now()); err != nil || left() != 5 {
			t.Errorf("at once: %d files, %v", left(), err)
		}
		if err := w.Sweep(ctx, time.Now().Add(arrivingAge+time.Minute)); err != nil || left() != 1 {
			t.Errorf("after an hour: %d files, %v", left(), err)
		}
	})
}

func TestTooSlow(t *testing.T) {
	t.Parallel()
	var e *Error
	_, err := Intake(t.Context(), bytes.NewReader(jpegOf(t, noisy(2000, 1500))), Limits{Time: time.Nanosecond}, t.TempDir())
	if !errors.As(err, &e) || e.Code != TooSlow {
		t.Errorf("got %v", err)
	}
}
