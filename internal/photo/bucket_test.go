package photo

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"

	"warmhand/internal/photo/phototest"
)

func openBucket(t *testing.T, address string) *Bucket {
	t.Helper()
	b, err := OpenBucket(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

func TestBucketAddresses(t *testing.T) {
	t.Parallel()
	there := phototest.S3(t, nil)
	for address, want := range map[string]string{
		"":                          "form s3://",
		"/var/lib/photos":           "form s3://",
		"file:///tmp/photos":        "form s3://",
		"s3://":                     "form s3://",
		"s3://key:secret@pictures":  "form s3://",
		"s3://pictures?colour=blue": "colour",
		strings.Replace(there, "pictures", "absent", 1): "no such bucket",
	} {
		if b, err := OpenBucket(t.Context(), address); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, %v", address, b, err)
		} else if strings.Contains(err.Error(), "secret") {
			t.Errorf("%q: the error tells the key: %v", address, err)
		}
	}
}

// Other things in the bucket are left alone, and more than one page of objects
// is listed whole.
func TestBucketListsAllOfOurs(t *testing.T) {
	t.Parallel()
	b := openBucket(t, phototest.S3(t, nil))
	for _, name := range []string{"notes.txt", "ab/notes.jpg", "cd/" + keyOf([]byte("elsewhere"), Large).String() + suffix} {
		if err := b.b.WriteAll(t.Context(), name, []byte("not ours"), nil); err != nil {
			t.Fatal(err)
		}
	}
	want := 0
	for i := range 1003 {
		k := keyOf([]byte{byte(i), byte(i >> 8)}, Small)
		if err := b.b.WriteAll(t.Context(), object(k), []byte("x"), nil); err != nil {
			t.Fatal(err)
		}
		want++
	}
	if got := list(t, b); len(got) != want || got[0].String() >= got[1].String() {
		t.Errorf("%d of %d", len(got), want)
	}
}

// A store that answers with errors, or not to the end, is an error that says
// so, and a picture is there whole or not at all.
func TestBucketInTrouble(t *testing.T) {
	t.Parallel()
	var trouble atomic.Bool
	b := openBucket(t, phototest.S3(t, func(w http.ResponseWriter, r *http.Request) bool {
		if !trouble.Load() {
			return false
		}
		if r.Method == http.MethodPut { // half of it, then the line is cut
			io.CopyN(io.Discard, r.Body, 4) //nolint:errcheck // it is thrown away
			panic(http.ErrAbortHandler)
		}
		w.WriteHeader(http.StatusForbidden)
		return true
	}))
	content := []byte("whole picture")
	k, kept := keyOf(content, Large), keyOf([]byte("kept"), Large)
	put(t, b, kept, []byte("kept"))
	trouble.Store(true)
	if err := b.Put(t.Context(), k, bytes.NewReader(content)); err == nil {
		t.Error("kept nowhere")
	}
	if _, err := b.Open(t.Context(), kept); err == nil || errors.Is(err, fs.ErrNotExist) {
		t.Errorf("refused is not missing: %v", err)
	}
	if err := b.Delete(t.Context(), kept); err == nil {
		t.Error("deleted nowhere")
	}
	for _, err := range b.List(t.Context()) {
		if err == nil {
			t.Error("listed nothing")
		}
	}
	trouble.Store(false)
	if got := list(t, b); len(got) != 1 || got[0] != kept {
		t.Errorf("%v", got)
	}
	put(t, b, k, content)
	if got := get(t, b, k); !bytes.Equal(got, content) {
		t.Errorf("%q", got)
	}
}
