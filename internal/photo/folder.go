package photo

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Variant is one of the sizes a picture is kept in.
type Variant string

// The variants, named by their longest side in pixels.
const (
	Large Variant = "1600"
	Small Variant = "320"
)

// Key names a kept picture. Hash is that of the large variant for both.
type Key struct {
	Hash    string // 64 lower-case hex digits
	Variant Variant
}

func (k Key) String() string { return k.Hash + "-" + string(k.Variant) }

// ErrBadKey is wrapped by the errors for a key of any other form.
var ErrBadKey = errors.New("not the key of a photo")

// ErrWrongContent is wrapped by the error of a Put whose bytes do not have the
// hash in the key.
var ErrWrongContent = errors.New("content does not match its hash")

// ParseKey reads what Key.String writes.
func ParseKey(s string) (Key, error) {
	hash, variant, _ := strings.Cut(s, "-")
	k := Key{hash, Variant(variant)}
	return k, k.check()
}

func (k Key) check() error {
	ok := len(k.Hash) == 2*sha256.Size && (k.Variant == Large || k.Variant == Small)
	for _, c := range k.Hash {
		ok = ok && ('0' <= c && c <= '9' || 'a' <= c && c <= 'f')
	}
	if !ok {
		return fmt.Errorf("%.80q: %w", k.String(), ErrBadKey)
	}
	return nil
}

// Blob is a kept picture, open for reading. The caller closes it.
type Blob struct {
	io.ReadSeekCloser
	Info
}

// Info describes a kept picture.
type Info struct {
	Key     Key
	Size    int64 // bytes
	ModTime time.Time
}

// Folder keeps pictures as files: <first two digits>/<hash>-<variant>.jpg, and
// unfinished ones in tmp/. What a key names never changes, so several
// processes may use one folder. A missing picture gives fs.ErrNotExist.
type Folder struct{ dir string }

const (
	suffix = ".jpg"
	tmpDir = "tmp"
	// Older unfinished files are leftovers of a crash. Younger ones may be
	// another process at work.
	leftoverAge = 24 * time.Hour
)

// OpenFolder makes the folder if needed and clears what a crash left behind.
func OpenFolder(dir string) (*Folder, error) {
	tmp := filepath.Join(dir, tmpDir)
	if err := os.MkdirAll(tmp, 0o700); err != nil {
		return nil, fmt.Errorf("open the photo folder: %w", err)
	}
	for i := range 256 { // all at once, so that a Put need not make its own safe
		err := os.Mkdir(filepath.Join(dir, fmt.Sprintf("%02x", i)), 0o700)
		if err != nil && !errors.Is(err, fs.ErrExist) {
			return nil, fmt.Errorf("open the photo folder: %w", err)
		}
	}
	if err := syncDir(dir); err != nil {
		return nil, fmt.Errorf("open the photo folder: %w", err)
	}
	left, err := os.ReadDir(tmp)
	if err != nil {
		return nil, fmt.Errorf("open the photo folder: %w", err)
	}
	for _, e := range left {
		info, err := e.Info()
		if err == nil && time.Since(info.ModTime()) > leftoverAge {
			err = os.Remove(filepath.Join(tmp, e.Name()))
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("clear the photo folder: %w", err)
		}
	}
	return &Folder{dir}, nil
}

// Temp is a directory in the folder for Intake to spool to.
func (f *Folder) Temp() string { return filepath.Join(f.dir, tmpDir) }

func (f *Folder) path(k Key) string {
	return filepath.Join(f.dir, k.Hash[:2], k.String()+suffix)
}

// Put keeps what r gives. When it returns nil the picture is on the disk, and
// when it returns an error nothing of a new picture can be seen. Putting a key
// that is there reads nothing and changes nothing. The large variant is
// checked against its hash.
func (f *Folder) Put(ctx context.Context, k Key, r io.Reader) error {
	if err := k.check(); err != nil {
		return err
	}
	if err := f.put(ctx, k, r); err != nil {
		return fmt.Errorf("keep photo %s: %w", k, err)
	}
	return nil
}

func (f *Folder) put(ctx context.Context, k Key, r io.Reader) error {
	shard := filepath.Dir(f.path(k))
	switch _, err := os.Stat(f.path(k)); {
	case err == nil:
		return syncDir(shard) // the put that wrote it may have stopped just before
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	tmp, err := os.CreateTemp(f.Temp(), "put-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name()) // nothing is there once it has its name
	defer tmp.Close()

	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(tmp, sum), reader{ctx, r}); err != nil {
		return err
	}
	if k.Variant == Large && hex.EncodeToString(sum.Sum(nil)) != k.Hash {
		return ErrWrongContent
	}
	if err := tmp.Sync(); err != nil {
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := os.Rename(tmp.Name(), f.path(k)); err != nil {
		return err
	}
	return syncDir(shard)
}

// syncDir makes names in a directory survive a power cut.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// Open opens a picture for reading.
func (f *Folder) Open(ctx context.Context, k Key) (*Blob, error) {
	if err := k.check(); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	file, err := os.Open(f.path(k))
	if err != nil {
		return nil, fmt.Errorf("open photo %s: %w", k, err)
	}
	info, err := file.Stat()
	if err != nil {
		file.Close()
		return nil, fmt.Errorf("open photo %s: %w", k, err)
	}
	return &Blob{file, Info{k, info.Size(), info.ModTime()}}, nil
}

// Delete removes a picture. One that is not there is no error.
func (f *Folder) Delete(ctx context.Context, k Key) error {
	if err := k.check(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := os.Remove(f.path(k)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("delete photo %s: %w", k, err)
	}
	return nil
}

// List goes through all pictures in the order of their keys. Those that come
// or go meanwhile may be in it or not; every other one is, once. After an
// error it ends.
func (f *Folder) List(ctx context.Context) iter.Seq2[Info, error] {
	return func(yield func(Info, error) bool) {
		shards, err := os.ReadDir(f.dir)
		if err != nil {
			yield(Info{}, fmt.Errorf("list photos: %w", err))
			return
		}
		for _, shard := range shards {
			if !shard.IsDir() || shard.Name() == tmpDir {
				continue
			}
			files, err := os.ReadDir(filepath.Join(f.dir, shard.Name()))
			if err != nil {
				yield(Info{}, fmt.Errorf("list photos: %w", err))
				return
			}
			for _, file := range files {
				name, ok := strings.CutSuffix(file.Name(), suffix)
				key, err := ParseKey(name)
				if !ok || err != nil {
					continue // not ours
				}
				info, err := file.Info()
				if errors.Is(err, fs.ErrNotExist) {
					continue // deleted meanwhile
				}
				if err == nil {
					err = ctx.Err()
				}
				if err != nil {
					yield(Info{}, fmt.Errorf("list photos: %w", err))
					return
				}
				if !yield(Info{key, info.Size(), info.ModTime()}, nil) {
					return
				}
			}
		}
	}
}
