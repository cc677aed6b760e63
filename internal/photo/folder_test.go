package photo

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/iotest"
	"time"

	"warmhand/internal/photo/phototest"
)

func openFolder(t *testing.T) *Folder {
	t.Helper()
	f, err := OpenFolder(filepath.Join(t.TempDir(), "photos"))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func keyOf(b []byte, v Variant) Key {
	sum := sha256.Sum256(b)
	return Key{hex.EncodeToString(sum[:]), v}
}

func put(t *testing.T, f Blobs, k Key, b []byte) {
	t.Helper()
	if err := f.Put(t.Context(), k, bytes.NewReader(b)); err != nil {
		t.Fatal(err)
	}
}

func get(t *testing.T, f Blobs, k Key) []byte {
	t.Helper()
	blob, err := f.Open(t.Context(), k)
	if err != nil {
		t.Fatal(err)
	}
	defer blob.Close()
	b, err := io.ReadAll(blob)
	if err != nil {
		t.Fatal(err)
	}
	if blob.Size != int64(len(b)) || blob.Key != k || time.Since(blob.ModTime) > time.Hour {
		t.Errorf("info %+v of %d bytes", blob.Info, len(b))
	}
	return b
}

func list(t *testing.T, f Blobs) (keys []Key) {
	t.Helper()
	for info, err := range f.List(t.Context()) {
		if err != nil {
			t.Fatal(err)
		}
		keys = append(keys, info.Key)
	}
	return keys
}

// files lists every file below a folder, finished or not, or all objects of a bucket.
func files(t *testing.T, b Blobs) (found []string) {
	t.Helper()
	f, ok := b.(*Folder)
	if !ok {
		for objects := b.(*Bucket).b.List(nil); ; {
			o, err := objects.Next(t.Context())
			if errors.Is(err, io.EOF) {
				return found
			}
			if err != nil {
				t.Fatal(err)
			}
			found = append(found, o.Key)
		}
	}
	err := filepath.WalkDir(f.dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			found = append(found, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// bothKinds runs a test on a folder and on a bucket. again opens the same place
// once more, as after a restart.
func bothKinds(t *testing.T, test func(t *testing.T, f Blobs, again func() (Blobs, error))) {
	t.Parallel()
	t.Run("folder", func(t *testing.T) {
		t.Parallel()
		f := openFolder(t)
		test(t, f, func() (Blobs, error) { return OpenFolder(f.dir) })
	})
	t.Run("bucket", func(t *testing.T) {
		t.Parallel()
		address := phototest.S3(t, nil)
		test(t, openBucket(t, address), func() (Blobs, error) { return openBucket(t, address), nil })
	})
}

func TestRoundTrip(t *testing.T) {
	bothKinds(t, roundTrip)
}

func roundTrip(t *testing.T, f Blobs, reopen func() (Blobs, error)) {
	content := []byte("large picture")
	large := keyOf(content, Large)
	small := Key{large.Hash, Small}
	if _, err := f.Open(t.Context(), large); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("open before put: %v", err)
	}
	put(t, f, large, content)
	put(t, f, small, []byte("small picture"))

	again, err := reopen()
	if err != nil {
		t.Fatal(err)
	}
	if got := get(t, again, large); string(got) != "large picture" {
		t.Errorf("large %q", got)
	}
	if got := get(t, again, small); string(got) != "small picture" {
		t.Errorf("small %q", got)
	}
	if got := list(t, again); !slices.Equal(got, []Key{large, small}) {
		t.Errorf("list %v", got)
	}

	blob, err := f.Open(t.Context(), large)
	if err != nil {
		t.Fatal(err)
	}
	defer blob.Close()
	if _, err := blob.Seek(-7, io.SeekEnd); err != nil {
		t.Fatal(err)
	}
	if b, err := io.ReadAll(blob); string(b) != "picture" || err != nil {
		t.Errorf("after seek %q, %v", b, err)
	}

	for range 2 { // the second finds nothing and is content
		if err := f.Delete(t.Context(), large); err != nil {
			t.Fatal(err)
		}
	}
	if got := list(t, f); !slices.Equal(got, []Key{small}) {
		t.Errorf("after delete %v", got)
	}
}

func TestPutAgainReadsAndChangesNothing(t *testing.T) {
	bothKinds(t, putAgain)
}

func putAgain(t *testing.T, f Blobs, _ func() (Blobs, error)) {
	k := Key{keyOf([]byte("x"), Large).Hash, Small}
	put(t, f, k, []byte("first"))
	if err := f.Put(t.Context(), k, iotest.ErrReader(errors.New("was read"))); err != nil {
		t.Error(err)
	}
	if got := get(t, f, k); string(got) != "first" {
		t.Errorf("now %q", got)
	}
}

func TestFailedPutLeavesNothing(t *testing.T) {
	bothKinds(t, failedPut)
}

func failedPut(t *testing.T, f Blobs, _ func() (Blobs, error)) {
	k := keyOf([]byte("whole picture"), Large)
	ctx, cancel := context.WithCancel(t.Context())
	stop := readerFunc(func(p []byte) (int, error) {
		cancel()
		return copy(p, "whole"), nil // endless unless Put notices
	})
	if err := f.Put(ctx, k, stop); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	late, cancelLate := context.WithCancel(t.Context())
	last := readerFunc(func([]byte) (int, error) { cancelLate(); return 0, io.EOF })
	if err := f.Put(late, k, io.MultiReader(strings.NewReader("whole picture"), last)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled at the end: %v", err)
	}
	dropped := errors.New("the line dropped")
	if err := f.Put(t.Context(), k, io.MultiReader(strings.NewReader("whole"), iotest.ErrReader(dropped))); !errors.Is(err, dropped) {
		t.Errorf("dropped: %v", err)
	}
	if err := f.Put(t.Context(), k, strings.NewReader("another picture")); !errors.Is(err, ErrWrongContent) {
		t.Errorf("wrong content: %v", err)
	}
	if left := files(t, f); left != nil {
		t.Errorf("left %v", left)
	}
	put(t, f, k, []byte("whole picture"))
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

func TestRefusesOddKeys(t *testing.T) {
	bothKinds(t, oddKeys)
}

func oddKeys(t *testing.T, f Blobs, _ func() (Blobs, error)) {
	good := keyOf([]byte("x"), Large).Hash
	for _, k := range []Key{
		{}, {good, ""}, {good, "640"}, {good, "320.jpg"}, {good, "../320"}, {"", Large},
		{good[:63], Large}, {good + "0", Large}, {strings.ToUpper(good), Large},
		{"../" + good[3:], Large}, {good[:62] + "/x", Large}, {good[:62] + "é", Large}, {good[:63] + "\x00", Large},
	} {
		if err := f.Put(t.Context(), k, strings.NewReader("x")); !errors.Is(err, ErrBadKey) {
			t.Errorf("put %q: %v", k, err)
		}
		if _, err := f.Open(t.Context(), k); !errors.Is(err, ErrBadKey) {
			t.Errorf("open %q: %v", k, err)
		}
		if err := f.Delete(t.Context(), k); !errors.Is(err, ErrBadKey) {
			t.Errorf("delete %q: %v", k, err)
		}
		if _, err := ParseKey(k.String()); !errors.Is(err, ErrBadKey) {
			t.Errorf("parse %q: %v", k, err)
		}
	}
	k := Key{good, Small}
	if got, err := ParseKey(k.String()); got != k || err != nil {
		t.Errorf("parse %q: %v, %v", k, got, err)
	}
	if left := files(t, f); left != nil {
		t.Errorf("left %v", left)
	}
}

func TestSamePutAtOnce(t *testing.T) {
	bothKinds(t, samePut)
}

func samePut(t *testing.T, f Blobs, _ func() (Blobs, error)) {
	content := bytes.Repeat([]byte("picture "), 50_000)
	k := keyOf(content, Large)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			if err := f.Put(t.Context(), k, iotest.HalfReader(bytes.NewReader(content))); err != nil {
				t.Error(err)
			}
			blob, err := f.Open(t.Context(), k) // whole from the first moment
			if err != nil {
				t.Error(err)
				return
			}
			defer blob.Close()
			if b, err := io.ReadAll(blob); !bytes.Equal(b, content) || err != nil {
				t.Errorf("%d bytes, %v", len(b), err)
			}
		})
	}
	wg.Wait()
	if got := files(t, f); len(got) != 1 {
		t.Errorf("files %v", got)
	}
}

func TestFolderListWhileOthersWrite(t *testing.T) {
	t.Parallel()
	f := openFolder(t)
	before := map[Key]bool{}
	var gone []Key
	for i := range 60 {
		b := fmt.Append(nil, "kept ", i)
		k := keyOf(b, Large)
		put(t, f, k, b)
		if i%3 == 0 {
			gone = append(gone, k)
		} else {
			before[k] = true
		}
	}
	if err := os.WriteFile(filepath.Join(f.Temp(), "put-1"), []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(f.dir, "ab", "notes.txt"), []byte("not ours"), 0o600); err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(func() {
		for i := range 60 {
			b := fmt.Append(nil, "new ", i)
			if err := f.Put(t.Context(), keyOf(b, Large), bytes.NewReader(b)); err != nil {
				t.Error(err)
			}
		}
	})
	wg.Go(func() {
		for _, k := range gone {
			if err := f.Delete(t.Context(), k); err != nil {
				t.Error(err)
			}
		}
	})
	for range 5 {
		seen := map[Key]bool{}
		last := ""
		for info, err := range f.List(t.Context()) {
			if err != nil {
				t.Fatal(err)
			}
			if s := info.Key.String(); s <= last {
				t.Errorf("%s after %s", s, last)
			} else {
				last = s
			}
			if info.Size == 0 {
				t.Errorf("%s is empty", info.Key)
			}
			seen[info.Key] = true
		}
		for k := range before {
			if !seen[k] {
				t.Errorf("%s is missing", k)
			}
		}
	}
	wg.Wait()
	for range f.List(t.Context()) {
		break // stopping early is allowed
	}
}

func TestListCancelled(t *testing.T) {
	bothKinds(t, listCancelled)
}

func listCancelled(t *testing.T, f Blobs, _ func() (Blobs, error)) {
	put(t, f, keyOf([]byte("x"), Large), []byte("x"))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	n := 0
	for _, err := range f.List(ctx) {
		n++
		if !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	}
	if n != 1 {
		t.Errorf("%d results", n)
	}
}

func TestOpenFolderClearsOldLeftovers(t *testing.T) {
	t.Parallel()
	f := openFolder(t)
	old, young := filepath.Join(f.Temp(), "put-old"), filepath.Join(f.Temp(), "put-young")
	for _, name := range []string{old, young} {
		if err := os.WriteFile(name, []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	past := time.Now().Add(-25 * time.Hour)
	if err := os.Chtimes(old, past, past); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenFolder(f.dir); err != nil {
		t.Fatal(err)
	}
	if got := files(t, f); !slices.Equal(got, []string{young}) {
		t.Errorf("left %v", got)
	}
	if _, err := OpenFolder(young); err == nil {
		t.Error("a file was opened as a folder")
	}
}

// TestPictureIsKept goes the whole way: what Intake made can be put and read.
func TestPictureIsKept(t *testing.T) {
	t.Parallel()
	f := openFolder(t)
	p, err := Intake(t.Context(), bytes.NewReader(jpegOf(t, quarters(384, 288))), Limits{}, f.Temp())
	if err != nil {
		t.Fatal(err)
	}
	put(t, f, Key{p.Hash, Large}, p.Large)
	put(t, f, Key{p.Hash, Small}, p.Small)
	same(t, decoded(t, get(t, f, Key{p.Hash, Large})), 384, 288, 12)
	if got := len(files(t, f)); got != 2 {
		t.Errorf("%d files", got)
	}
}
