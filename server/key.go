package server

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"warmhand/internal/access"
	"warmhand/internal/care"
)

// keyMark is the name under which the database knows its servers' key: by something
// that was sealed with it, which opens with no other and tells nothing of it.
const keyMark = "server key"

// loadKey reads the server's key, and makes it for a database that knows none. Two
// servers with other keys on one database would refuse each other's cards, links and
// certificates, and sign with keys that the other cannot open, so a key that is not the
// database's is refused.
func loadKey(ctx context.Context, st care.Store, dir string, now time.Time) (key access.Key, err error) {
	var mark care.Kept
	err = st.Read(ctx, func(tx care.Tx) (err error) {
		mark, err = tx.Kept(keyMark)
		return err
	})
	known := err == nil
	if err != nil && !care.IsCode(err, care.NotFound) {
		return key, fmt.Errorf("looking for the mark of the server's key: %w", err)
	}
	path := filepath.Join(dir, keyFile)
	if _, err := os.Stat(path); known && errors.Is(err, fs.ErrNotExist) {
		return key, fmt.Errorf("%s is missing, and this database has a key: %s", path, keyAdvice) // a new one would only be in the way
	}
	if key, err = access.LoadKey(dir); err != nil {
		return key, err
	}
	if !known {
		if mark, err = markKey(ctx, st, key, now, false); err != nil {
			return key, err
		}
	}
	_, err = key.Unseal(keyMark, mark.Sealed)
	if errors.Is(err, access.ErrSealed) {
		err = fmt.Errorf("%s is not the key of this database: %s", path, keyAdvice)
	}
	return key, err
}

const keyAdvice = "copy the file from the data folder of another server on it, or from a backup. If the key is lost for good, stop all servers and run \"warmhand key\""

// markKey has the database know the key, and returns its mark: the one that was there
// before, unless replace is set.
func markKey(ctx context.Context, st care.Store, key access.Key, now time.Time, replace bool) (mark care.Kept, err error) {
	sealed, err := key.Seal(keyMark, nil)
	if err != nil {
		return mark, err
	}
	err = st.Write(ctx, func(tx care.Tx) (err error) {
		if mark, err = tx.Kept(keyMark); !care.IsCode(err, care.NotFound) && (err != nil || !replace) {
			return err
		}
		mark = care.Kept{Name: keyMark, Sealed: sealed, At: care.Instant(now)}
		return tx.PutKept(mark)
	})
	if err != nil {
		return mark, fmt.Errorf("noting the server's key: %w", err)
	}
	return mark, nil
}

// ChangeKey makes the key in the data folder the database's, after the one before was
// lost; without one in the folder it makes one. It reports whether anything changed. No
// server may run meanwhile.
func (a *Admin) ChangeKey(ctx context.Context) (changed bool, err error) {
	unlock, err := lockFolder(filepath.Join(a.data.Dir, lockFile))
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	key, err := access.LoadKey(a.data.Dir)
	if err != nil {
		return false, err
	}
	mark, err := markKey(ctx, a.store, key, a.now(), false)
	if err != nil {
		return false, err
	}
	if _, err := key.Unseal(keyMark, mark.Sealed); !errors.Is(err, access.ErrSealed) {
		return false, err
	}
	_, err = markKey(ctx, a.store, key, a.now(), true)
	return err == nil, err
}
