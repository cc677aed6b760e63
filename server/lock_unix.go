//go:build unix

package server

import (
	"errors"
	"fmt"
	"os"
	"syscall"
)

// lockFolder keeps a second server away from one data folder: its own SQLite
// writer and its own live watchers would not know of each other. The lock ends
// with the process, whatever way that goes.
func lockFolder(path string) (unlock func() error, err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("locking the data folder: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("another server is using %s: stop it first, or choose another data folder", path)
		}
		return nil, fmt.Errorf("locking the data folder: %w", err)
	}
	return f.Close, nil
}
