package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/photo"
	"warmhand/internal/store"
)

// What a data folder and a backup of it hold.
const (
	databaseFile = "warmhand.db"
	keyFile      = "server.key"
	photosDir    = "photos"
	lockFile     = "server.lock"
	manifestFile = "manifest.json"
	// manifestFormat is raised when an older program could no longer restore.
	manifestFormat = 1
)

// Manifest says what a whole backup holds. It is written last.
type Manifest struct {
	Format  int            `json:"format"`
	MadeAt  time.Time      `json:"made_at"`
	Counts  care.Counts    `json:"counts"` // of the database; zero without one
	Photos  int            `json:"photos"` // pictures, each in two sizes
	Missing []string       `json:"missing,omitempty"`
	Files   []ManifestFile `json:"files"`
}

// ManifestFile is one file of a backup; the path has slashes.
type ManifestFile struct {
	Path   string `json:"path"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Backup writes a whole copy of the data as the new folder dest, while a server
// may be running: the database at one instant, then the pictures, which never
// change and are there before the database names them, and the server's key.
// The folder gets its name when all of it is on the disk; what an interrupted
// backup leaves is called dest.partial-... and can be deleted. blobsOnly leaves
// the database out, for PostgreSQL, whose own tool copies it.
func (a *Admin) Backup(ctx context.Context, dest string, blobsOnly bool) (m Manifest, err error) {
	if a.data.DatabaseURL != "" && !blobsOnly {
		return m, errors.New("PostgreSQL is copied by its own tool: run pg_dump for the database first, then this again with --blobs-only for the pictures and the key")
	}
	dest = filepath.Clean(dest)
	if _, err := os.Lstat(dest); err == nil {
		return m, fmt.Errorf("%s exists already: name a new folder for the backup", dest)
	}
	parent := filepath.Dir(dest)
	if err := os.MkdirAll(parent, 0o700); err != nil {
		return m, fmt.Errorf("making the folder for the backup: %w", err)
	}
	temp, err := os.MkdirTemp(parent, filepath.Base(dest)+".partial-*")
	if err != nil {
		return m, fmt.Errorf("making the backup: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(temp))
		}
	}()

	blobs, done, err := a.data.photos(ctx)
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, done()) }()
	m = Manifest{Format: manifestFormat, MadeAt: care.Instant(a.now())}
	keep := func(path string, from func() (io.ReadCloser, error)) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		r, err := from()
		if err != nil {
			return err
		}
		defer r.Close()
		f, err := writeFile(filepath.Join(temp, filepath.FromSlash(path)), r)
		f.Path = path
		m.Files = append(m.Files, f)
		return err
	}
	if !blobsOnly {
		if err := a.store.Backup(ctx, temp); err != nil {
			return m, err
		}
		f, err := sumFile(filepath.Join(temp, databaseFile))
		if err != nil {
			return m, err
		}
		f.Path = databaseFile
		m.Files = append(m.Files, f)
		if m.Counts, m.Missing, err = lookAtCopy(ctx, temp, blobs); err != nil {
			return m, err
		}
	}
	for info, err := range blobs.List(ctx) {
		if err != nil {
			return m, fmt.Errorf("listing the photos: %w", err)
		}
		path := photosDir + "/" + info.Key.Hash[:2] + "/" + info.Key.String() + ".jpg"
		err := keep(path, func() (io.ReadCloser, error) { return blobs.Open(ctx, info.Key) })
		if err != nil {
			return m, fmt.Errorf("copying a photo: %w", err)
		}
		if info.Key.Variant == photo.Large {
			m.Photos++
		}
	}
	err = keep(keyFile, func() (io.ReadCloser, error) { return os.Open(filepath.Join(a.data.Dir, keyFile)) })
	if err != nil && !errors.Is(err, fs.ErrNotExist) { // a folder that never served has none yet
		return m, fmt.Errorf("copying the key: %w", err)
	}
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return m, err
	}
	if _, err := writeFile(filepath.Join(temp, manifestFile), strings.NewReader(string(text)+"\n")); err != nil {
		return m, err
	}
	return m, place(temp, dest)
}

// lookAtCopy opens a copy of the database, which must be whole, and says what
// it holds and which of its pictures are missing.
func lookAtCopy(ctx context.Context, dir string, blobs photo.Blobs) (n care.Counts, missing []string, err error) {
	// Opening brings the schema up to date and leaves files beside it, so a copy
	// is looked at elsewhere.
	scratch, err := os.MkdirTemp(filepath.Dir(dir), filepath.Base(dir)+".look-*")
	if err != nil {
		return n, nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	in, err := os.Open(filepath.Join(dir, databaseFile))
	if err != nil {
		return n, nil, err
	}
	defer in.Close()
	if _, err := writeFile(filepath.Join(scratch, databaseFile), in); err != nil {
		return n, nil, err
	}
	st, err := store.Open(ctx, store.Config{Dir: scratch})
	if err != nil {
		return n, nil, err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	return inspect(ctx, st, blobs)
}

func inspect(ctx context.Context, st *store.Store, blobs photo.Blobs) (n care.Counts, missing []string, err error) {
	if err := st.Check(ctx); err != nil {
		return n, nil, err
	}
	if err := st.Read(ctx, func(tx care.Tx) (err error) {
		n, err = tx.Counts()
		return err
	}); err != nil {
		return n, nil, err
	}
	hashes, err := st.PhotoHashes(ctx)
	if err != nil || len(hashes) == 0 {
		return n, nil, err
	}
	for _, hash := range hashes {
		for _, v := range []photo.Variant{photo.Large, photo.Small} {
			b, err := blobs.Open(ctx, photo.Key{Hash: hash, Variant: v})
			if errors.Is(err, fs.ErrNotExist) {
				missing = append(missing, photosDir+"/"+hash[:2]+"/"+hash+"-"+string(v)+".jpg")
				continue
			}
			if err != nil {
				return n, nil, err
			}
			sum := sha256.New()
			_, err = io.Copy(sum, b)
			if err = errors.Join(err, b.Close()); err != nil {
				return n, nil, fmt.Errorf("reading a photo: %w", err)
			}
			if v == photo.Large && hex.EncodeToString(sum.Sum(nil)) != hash {
				missing = append(missing, photosDir+"/"+hash[:2]+"/"+hash+"-"+string(v)+".jpg (damaged)")
			}
		}
	}
	return n, missing, nil
}

// Check reads all data and returns what they hold; an error says what is
// damaged or missing.
func (a *Admin) Check(ctx context.Context) (care.Counts, error) {
	blobs, done, err := a.data.photos(ctx)
	if err != nil {
		return care.Counts{}, err
	}
	n, missing, err := inspect(ctx, a.store, blobs)
	err = errors.Join(err, done())
	if err == nil && len(missing) > 0 {
		err = fmt.Errorf("%d picture files are missing or damaged, restore them from a backup: %s", len(missing), firstOf(missing))
	}
	return n, err
}

// Restore makes dataDir, which must be empty or missing, from a whole backup,
// after checking every file of it.
func Restore(ctx context.Context, src, dataDir string) (m Manifest, err error) {
	text, err := os.ReadFile(filepath.Join(src, manifestFile))
	if errors.Is(err, fs.ErrNotExist) {
		return m, fmt.Errorf("%s is not a whole backup: it has no %s; choose another one", src, manifestFile)
	}
	if err != nil {
		return m, err
	}
	if err := json.Unmarshal(text, &m); err != nil {
		return m, fmt.Errorf("the %s of the backup cannot be read, choose another backup: %w", manifestFile, err)
	}
	if m.Format != manifestFormat {
		return m, fmt.Errorf("the backup has format %d and this program reads %d: restore it with the program that made it or a newer one", m.Format, manifestFormat)
	}
	dataDir = filepath.Clean(dataDir)
	if list, err := os.ReadDir(dataDir); err == nil && len(list) > 0 {
		return m, fmt.Errorf("%s is not empty: name an empty folder, so that nothing is overwritten", dataDir)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return m, err
	}
	if err := os.MkdirAll(filepath.Dir(dataDir), 0o700); err != nil {
		return m, err
	}
	temp, err := os.MkdirTemp(filepath.Dir(dataDir), filepath.Base(dataDir)+".partial-*")
	if err != nil {
		return m, fmt.Errorf("making the data folder: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(temp))
		}
	}()
	var bad []string
	for _, want := range m.Files {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		path := filepath.FromSlash(want.Path)
		if !filepath.IsLocal(path) {
			return m, fmt.Errorf("the backup names a file outside itself, %q: do not use it", want.Path)
		}
		in, err := os.Open(filepath.Join(src, path))
		if errors.Is(err, fs.ErrNotExist) {
			bad = append(bad, want.Path+" (missing)")
			continue
		}
		if err != nil {
			return m, err
		}
		got, err := writeFile(filepath.Join(temp, path), in)
		if err = errors.Join(err, in.Close()); err != nil {
			return m, err
		}
		if got.SHA256 != want.SHA256 || got.Bytes != want.Bytes {
			bad = append(bad, want.Path+" (changed)")
		}
	}
	if len(bad) > 0 {
		return m, fmt.Errorf("%d files of the backup are not as they were written, nothing was restored: %s", len(bad), firstOf(bad))
	}
	if err := os.Remove(dataDir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return m, err // an empty folder makes room
	}
	return m, place(temp, dataDir)
}

func firstOf(list []string) string {
	const shown = 5
	if len(list) > shown {
		return strings.Join(list[:shown], ", ") + fmt.Sprintf(" and %d more", len(list)-shown)
	}
	return strings.Join(list, ", ")
}

// writeFile makes a file that only its owner can read and waits for the disk.
func writeFile(path string, r io.Reader) (out ManifestFile, err error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return out, err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return out, err
	}
	sum := sha256.New()
	n, err := io.Copy(io.MultiWriter(f, sum), r)
	if err == nil {
		err = f.Sync()
	}
	return ManifestFile{Bytes: n, SHA256: hex.EncodeToString(sum.Sum(nil))}, errors.Join(err, f.Close())
}

func sumFile(path string) (out ManifestFile, err error) {
	f, err := os.Open(path)
	if err != nil {
		return out, err
	}
	defer f.Close()
	sum := sha256.New()
	out.Bytes, err = io.Copy(sum, f)
	out.SHA256 = hex.EncodeToString(sum.Sum(nil))
	return out, err
}

// place gives a finished folder its name; all of it is on the disk first.
func place(temp, final string) error {
	var dirs []string
	if err := filepath.WalkDir(temp, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			dirs = append(dirs, path)
		}
		return err
	}); err != nil {
		return err
	}
	for _, dir := range slices.Backward(dirs) {
		if err := syncDir(dir); err != nil {
			return err
		}
	}
	if err := os.Rename(temp, final); err != nil {
		return err
	}
	return syncDir(filepath.Dir(final))
}

func syncDir(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
