//go:build !unix

package server

import (
	"fmt"
	"os"
)

// lockFolder keeps a second server away from one data folder. Where there is
// no flock, the file's presence is the lock; after a crash it has to be
// deleted by hand.
func lockFolder(path string) (unlock func() error, err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("another server seems to use this data folder; if none is running, delete the lock file: %w", err)
	}
	return func() error {
		if err := f.Close(); err != nil {
			return err
		}
		return os.Remove(path)
	}, nil
}
