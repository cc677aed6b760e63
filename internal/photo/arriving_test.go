package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

func received(t *testing.T, f *Folder) int {
	t.Helper()
	left, err := os.ReadDir(f.Temp())
	if err != nil {
		t.Fatal(err)
	}
	return len(left)
}

func TestReceiveInPieces(t *testing.T) {
	t.Parallel()
	f, err := OpenFolder(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	jpg := withExif(jpegOf(t, quarters(640, 480)), exifOf(binary.BigEndian, 6, "2026:06:07 08:09:10", "+02:00"))
	whole := mustIntake(t, jpg)
	const name = "b/c/p"
	send := func(from, to int64, last bool) (*Picture, error) {
		return f.Receive(t.Context(), name, from, last, bytes.NewReader(jpg[from:to]), Limits{})
	}
	n := int64(len(jpg))
	for at := int64(0); at < n; at += 1000 {
		if got, err := f.Arrived(name); err != nil || got != at {
			t.Fatalf("arrived %d, want %d (%v)", got, at, err)
		}
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
	if got := received(t, f); got != 0 {
		t.Errorf("%d files are left", got)
	}

	var elsewhere *OffsetError
	if _, err := send(1000, 2000, true); !errors.As(err, &elsewhere) || elsewhere.Offset != 0 {
		t.Errorf("going on with nothing: %v", err)
	}
	if _, err := send(0, 500, false); err != nil {
		t.Fatal(err)
	}
	for _, from := range []int64{499, 501} {
		if _, err := send(from, n, true); !errors.As(err, &elsewhere) || elsewhere.Offset != 500 {
			t.Errorf("going on at %d: %v", from, err)
		}
	}
	if _, err := send(500, n, true); err != nil {
		t.Errorf("after a wrong offset what arrived is gone: %v", err)
	}
}

func TestReceiveAfterACut(t *testing.T) {
	t.Parallel()
	f, err := OpenFolder(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	jpg := jpegOf(t, quarters(640, 480))
	dropped := errors.New("the line dropped")
	cut := io.MultiReader(bytes.NewReader(jpg[:700]), iotest.ErrReader(dropped))
	if _, err := f.Receive(t.Context(), "p", 0, true, cut, Limits{}); !errors.Is(err, dropped) {
		t.Fatal(err)
	}
	if got, _ := f.Arrived("p"); got != 700 {
		t.Errorf("arrived %d", got)
	}
	if got, _ := f.Arrived("q"); got != 0 {
		t.Errorf("of another picture %d", got)
	}
	if p, err := f.Receive(t.Context(), "p", 700, true, bytes.NewReader(jpg[700:]), Limits{}); err != nil || p.UploadBytes != int64(len(jpg)) {
		t.Errorf("the rest: %v", err)
	}

	// The limit is that of the whole.
	lim := Limits{Bytes: 1000}
	if _, err := f.Receive(t.Context(), "p", 0, false, bytes.NewReader(jpg[:900]), lim); err != nil {
		t.Fatal(err)
	}
	var e *Error
	if _, err := f.Receive(t.Context(), "p", 900, false, bytes.NewReader(jpg[900:1200]), lim); !errors.As(err, &e) || e.Code != TooLarge {
		t.Errorf("more than the limit in pieces: %v", err)
	}
	if got := received(t, f); got != 0 {
		t.Errorf("%d files are left of what was refused", got)
	}
}

// What waits too long is gone, for it may still say where it was taken.
func TestSweep(t *testing.T) {
	t.Parallel()
	f, err := OpenFolder(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Receive(t.Context(), "p", 0, false, strings.NewReader("begun"), Limits{}); err != nil {
		t.Fatal(err)
	}
	if err := f.Sweep(time.Now()); err != nil || received(t, f) != 1 {
		t.Errorf("at once: %d files, %v", received(t, f), err)
	}
	if err := f.Sweep(time.Now().Add(arrivingAge + time.Minute)); err != nil || received(t, f) != 0 {
		t.Errorf("after an hour: %d files, %v", received(t, f), err)
	}
}

func TestTooSlow(t *testing.T) {
	t.Parallel()
	var e *Error
	_, err := Intake(t.Context(), bytes.NewReader(jpegOf(t, noisy(2000, 1500))), Limits{Time: time.Nanosecond}, t.TempDir())
	if !errors.As(err, &e) || e.Code != TooSlow {
		t.Errorf("got %v", err)
	}
}
