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
		name := Upload{"keeper", "case", "p"}
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
		if err := w.Put(t.Context(), name.piece(2000), strings.NewReader("of another")); err != nil {
			t.Fatal(err)
		}
		arrived(500)
	})
}

func one(name string) Upload { return Upload{"keeper", "case", name} }

func TestReceiveAfterACut(t *testing.T) {
	jpg := jpegOf(t, quarters(640, 480))
	onWaiting(t, func(t *testing.T, w *Waiting, left func() int) {
		dropped := errors.New("the line dropped")
		cut := io.MultiReader(bytes.NewReader(jpg[:700]), iotest.ErrReader(dropped))
		hungUp, hangUp := context.WithCancel(t.Context())
		defer hangUp()
		if _, err := w.Receive(hungUp, one("p"), 0, true, readFunc(func(b []byte) (int, error) {
			n, err := cut.Read(b)
			if err != nil {
				hangUp()
			}
			return n, err
		}), Limits{}); !errors.Is(err, dropped) {
			t.Fatal(err)
		}
		if got, _ := w.Arrived(t.Context(), one("p")); got != 700 {
			t.Errorf("arrived %d", got)
		}
		if got, _ := w.Arrived(t.Context(), one("q")); got != 0 {
			t.Errorf("of another picture %d", got)
		}
		if p, err := w.Receive(t.Context(), one("p"), 700, true, bytes.NewReader(jpg[700:]), Limits{}); err != nil || p.UploadBytes != int64(len(jpg)) {
			t.Errorf("the rest: %v", err)
		}

		// What is sent anew meanwhile is left alone.
		for _, from := range []int64{0, 500} {
			if _, err := w.Receive(t.Context(), one("p"), 0, false, bytes.NewReader(jpg[:500]), Limits{}); err != nil {
				t.Fatal(err)
			}
			if _, err := w.Receive(t.Context(), one("p"), from, false, io.MultiReader(bytes.NewReader(jpg[from:700]), iotest.ErrReader(ErrAnew)), Limits{}); !errors.Is(err, ErrAnew) {
				t.Errorf("what is sent anew meanwhile: %v", err)
			}
			if got, _ := w.Arrived(t.Context(), one("p")); got != 500 {
				t.Errorf("%d bytes have arrived, want those of the other request", got)
			}
		}

		// The limit is that of the whole, and nothing stays of what is refused.
		lim := Limits{Bytes: 1000}
		var e *Error
		for _, last := range []bool{false, true} {
			if _, err := w.Receive(t.Context(), one("p"), 0, false, bytes.NewReader(jpg[:900]), lim); err != nil {
				t.Fatal(err)
			}
			if _, err := w.Receive(t.Context(), one("p"), 900, last, bytes.NewReader(jpg[900:1200]), lim); !errors.As(err, &e) || e.Code != TooLarge {
				t.Errorf("more than the limit in pieces: %v", err)
			}
		}
		if _, err := w.Receive(t.Context(), one("p"), 0, false, strings.NewReader("no picture"), Limits{}); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Receive(t.Context(), one("p"), 10, true, strings.NewReader(" at all"), Limits{}); !errors.As(err, &e) {
			t.Errorf("no picture: %v", err)
		}
		if n := left(); n != 0 {
			t.Errorf("%d files are left of what was refused", n)
		}
	})
}

// So much has been begun at once by one sender, or for one case. What was begun goes on, and
// nothing is lost of it when something else is refused.
func TestBegunIsBounded(t *testing.T) {
	jpg := jpegOf(t, quarters(640, 480))
	onWaiting(t, func(t *testing.T, w *Waiting, left func() int) {
		receive := func(u Upload, from, to int, last bool) error {
			t.Helper()
			p, err := w.Receive(t.Context(), u, int64(from), last, bytes.NewReader(jpg[from:to]), Limits{})
			if err == nil && (p != nil) != last {
				t.Errorf("%v: picture %v", u, p)
			}
			return err
		}
		full := func(err error) bool {
			var e *FullError
			return errors.As(err, &e) && !e.OfAll
		}
		phone := func(i int) Upload { return Upload{"a phone", fmt.Sprint("case ", i), "p"} }
		for i := range begunEach {
			if err := receive(phone(i), 0, 500, false); err != nil {
				t.Fatal(err)
			}
		}
		before := left()
		read := false
		if _, err := w.Receive(t.Context(), phone(99), 0, false, readFunc(func([]byte) (int, error) { read = true; return 0, io.EOF }), Limits{}); !full(err) || read {
			t.Errorf("one more is begun: %v, read %t", err, read)
		}
		// One that is whole at once waits for nothing. Where it is cut, nothing of it is kept.
		if err := receive(phone(99), 0, len(jpg), true); err != nil {
			t.Errorf("a whole one: %v", err)
		}
		dropped := errors.New("the line dropped")
		if _, err := w.Receive(t.Context(), phone(99), 0, true, io.MultiReader(bytes.NewReader(jpg[:700]), iotest.ErrReader(dropped)), Limits{}); !errors.Is(err, dropped) || left() != before {
			t.Errorf("a whole one that is cut: %v, %d files and before %d", err, left(), before)
		}
		if err := receive(Upload{"another", "case 0", "p"}, 0, 500, false); err != nil {
			t.Errorf("another's: %v", err)
		}
		if err := receive(phone(3), 500, 900, false); err != nil {
			t.Errorf("one that was begun goes on: %v", err)
		}
		if err := receive(phone(4), 0, 400, false); err != nil {
			t.Errorf("one that was begun is begun anew: %v", err)
		}
		if err := receive(phone(3), 900, len(jpg), true); err != nil {
			t.Error(err)
		}
		if err := w.Forget(t.Context(), phone(3)); err != nil {
			t.Fatal(err)
		}
		if err := receive(phone(99), 0, 500, false); err != nil {
			t.Errorf("when one is finished: %v", err)
		}
		for i := range begunEach {
			if err := receive(Upload{fmt.Sprint("helper ", i), "case", "p"}, 0, 500, false); err != nil {
				t.Fatal(err)
			}
		}
		if err := receive(Upload{"one helper more", "case", "p"}, 0, 500, false); !full(err) {
			t.Errorf("one more in the same case: %v", err)
		}

		// By bytes: what does not fit is not kept, and what had arrived of it is.
		large := func(name string, from, n int) error {
			_, err := w.Receive(t.Context(), Upload{"a program", name, "p"}, int64(from), false, bytes.NewReader(make([]byte, n)), Limits{})
			return err
		}
		for i, n := range []int{22 << 20, 21 << 20, 20 << 20} {
			if err := large(fmt.Sprint(i), 0, n); err != nil {
				t.Fatal(err)
			}
		}
		if err := large("1", 21<<20, 2<<20); !full(err) {
			t.Errorf("more than there is room for: %v", err)
		}
		if n, err := w.Arrived(t.Context(), Upload{"a program", "1", "p"}); err != nil || n != 21<<20 {
			t.Errorf("%d bytes are left of it, %v", n, err)
		}
		if err := large("0", 22<<20, 2<<20); err != nil {
			t.Errorf("the one that is furthest does not go on: %v", err)
		}
	})
}

// All together have a bound, too, which no one sender reaches, and small pieces count for more
// than they are.
func TestRoomAmong(t *testing.T) {
	t.Parallel()
	u := Upload{"keeper", "case", "p"}
	who, what, _ := u.names()
	var others []begun
	for i := range 20 {
		others = append(others, begun{fmt.Sprint("o", i), fmt.Sprint("w", i), fmt.Sprint("c", i), begunOfAll / 20})
	}
	own := begun{u.pieces(), who, what, 1 << 20}
	for name, c := range map[string]struct {
		all        []begun
		from, size int64
		want       string
	}{
		"nothing waits":                        {nil, 0, 1 << 20, ""},
		"all have begun much":                  {others, 0, 1, "everybody"},
		"of that, one goes on":                 {append(slices.Clone(others), own), 1, 1, "everybody"},
		"and the furthest does":                {append(slices.Clone(others[1:]), begun{u.pieces(), who, what, begunOfAll/20 + 1}), 1, 2 << 20, ""},
		"it is alone, in far too many pieces":  {[]begun{{u.pieces(), who, what, begunBytes + 1}}, 1, 1, "sender"},
		"it is begun anew, which makes room":   {[]begun{{u.pieces(), who, what, begunBytes + 1}}, 0, 1, ""},
		"a small piece counts as a larger one": {[]begun{{"o", who, "c", begunBytes - 1000}}, 0, 10, "sender"},
		"of one before this release":           {[]begun{{"o", "", "", begunBytes}}, 0, 10, ""},
	} {
		err := roomAmong(c.all, u, c.from, c.size)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
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
				if _, err := w.Receive(ctx, one(name), from*5, false, strings.NewReader("begun"), Limits{}); err != nil {
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
