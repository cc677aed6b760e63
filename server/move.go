package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"warmhand/internal/care"
	"warmhand/internal/photo"
	"warmhand/internal/store"
)

// MovedData says what Move found the same on both sides in the end.
type MovedData struct {
	Tables []store.Moved // none when the database stays where it is
	Photos int           // picture files, two for each picture
}

// Move copies data to another place: the pictures, the server's key and the
// database, whatever of the three is elsewhere there. It may be cut off at any
// point and run again. No server may use either side. In the end both sides are
// compared; what they were moved from stays as it is. tell hears of the progress.
func Move(ctx context.Context, from, to Data, tell func(string)) (out MovedData, err error) {
	same := filepath.Clean(from.Dir) == filepath.Clean(to.Dir)
	if same && from == to {
		return out, errors.New("both places are the same: say where the data are to go")
	}
	if _, err := os.Stat(from.Dir); err != nil {
		return out, fmt.Errorf("there are no data in %s: check the folder's name: %w", from.Dir, err)
	}
	if _, err := os.Stat(filepath.Join(from.Dir, databaseFile)); from.DatabaseURL == "" && err != nil {
		return out, fmt.Errorf("there is no %s in %s: check the folder's name, or name the database: %w", databaseFile, from.Dir, err)
	}
	if err := os.MkdirAll(to.Dir, 0o700); err != nil {
		return out, fmt.Errorf("making the data folder: %w", err)
	}
	dirs := []string{from.Dir, to.Dir}
	if same {
		dirs = dirs[:1]
	}
	for _, dir := range dirs {
		unlock, failed := lockFolder(filepath.Join(dir, lockFile))
		if failed != nil {
			return out, failed
		}
		defer func() { err = errors.Join(err, unlock()) }()
	}
	if err := moveKey(from.Dir, to.Dir); err != nil {
		return out, err
	}
	// Pictures are there before the database names them.
	if from.PhotosURL != to.PhotosURL || from.PhotosURL == "" && !same {
		if out.Photos, err = movePhotos(ctx, from, to, tell); err != nil {
			return out, err
		}
	}
	if from.DatabaseURL != to.DatabaseURL || from.DatabaseURL == "" && !same {
		if err := unmark(ctx, to); err != nil {
			return out, fmt.Errorf("where it is to go: %w", err)
		}
		out.Tables, err = store.Move(ctx, store.Config{URL: from.DatabaseURL, Dir: from.Dir}, store.Config{URL: to.DatabaseURL, Dir: to.Dir}, func(table string, rows int64) {
			tell(fmt.Sprintf("%s: %d rows", table, rows))
		})
	}
	return out, err
}

// unmark takes the mark of a key off a database in which nobody is yet: a server was only
// tried on it.
func unmark(ctx context.Context, d Data) error {
	st, err := store.Open(ctx, store.Config{URL: d.DatabaseURL, Dir: d.Dir})
	if err != nil {
		return err
	}
	err = st.Everything().Write(ctx, func(tx care.Tx) error {
		if n, err := tx.Counts(); err != nil || n.Breeders > 0 {
			return err
		}
		return tx.DeleteKept(keyMark)
	})
	return errors.Join(err, st.Close())
}

func moveKey(from, to string) error {
	key, err := os.ReadFile(filepath.Join(from, keyFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil // a folder that never served has none yet
	}
	if err != nil {
		return fmt.Errorf("reading the key: %w", err)
	}
	there, err := os.ReadFile(filepath.Join(to, keyFile))
	switch {
	case err == nil && bytes.Equal(there, key):
		return nil
	case err == nil:
		return fmt.Errorf("%s has a key of its own, for other data: move into a new folder", to)
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("reading the key: %w", err)
	}
	// Whole or not at all: a part of a key would be refused for ever.
	temp := filepath.Join(to, keyFile+".partial")
	if err := os.Remove(temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if _, err := writeFile(temp, bytes.NewReader(key)); err != nil {
		return fmt.Errorf("copying the key: %w", err)
	}
	return os.Rename(temp, filepath.Join(to, keyFile))
}

func movePhotos(ctx context.Context, from, to Data, tell func(string)) (n int, err error) {
	source, done, err := from.photos(ctx)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, done()) }()
	target, done2, err := to.photos(ctx)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, done2()) }()
	for info, err := range source.List(ctx) {
		if err != nil {
			return n, err
		}
		if err := movePhoto(ctx, source, target, info.Key); err != nil {
			return n, err
		}
		if n++; n%100 == 0 {
			tell(fmt.Sprintf("photos: %d files", n))
		}
	}
	there := map[photo.Key]int64{}
	for info, err := range target.List(ctx) {
		if err != nil {
			return n, err
		}
		there[info.Key] = info.Size
	}
	for info, err := range source.List(ctx) {
		if err != nil {
			return n, err
		}
		if size, ok := there[info.Key]; !ok || size != info.Size {
			return n, fmt.Errorf("the picture %s is not the same on both sides: delete it there, and move once more", info.Key)
		}
	}
	return n, nil
}

// movePhoto copies one picture. The one that gives the key is checked against
// its hash on the way (photo.Blobs).
func movePhoto(ctx context.Context, from, to photo.Blobs, k photo.Key) error {
	b, err := from.Open(ctx, k)
	if err != nil {
		return err
	}
	return errors.Join(to.Put(ctx, k, b), b.Close())
}
