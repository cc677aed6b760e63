package server

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Backups on a schedule: folders in Config.BackupTo with the time they were made
// for a name, each as Admin.Backup writes it.

// BackupName is the form of a scheduled backup's name, in UTC: text order is
// the order of time.
const BackupName = "2006-01-02T150405Z"

// lookForBackup is how often it is looked whether one is due, so that a server
// that was off makes it up.
const lookForBackup = 10 * time.Minute

// BackUp makes the backup that is due, if one is, and then deletes the oldest
// beyond Config.BackupKeep. A running server does so by itself.
func (s *Server) BackUp(ctx context.Context) error {
	now := s.now().UTC()
	have, err := backupsIn(s.cfg.BackupTo)
	if err != nil {
		return err
	}
	if len(have) > 0 && now.Sub(have[0]) < s.cfg.BackupEvery && !now.Before(have[0]) {
		return nil
	}
	a := &Admin{Data{Dir: s.cfg.DataDir, PhotosURL: s.cfg.PhotosURL}, s.store.Everything(), s.now}
	name := now.Format(BackupName)
	m, err := a.Backup(ctx, filepath.Join(s.cfg.BackupTo, name), false)
	if err != nil {
		return err
	}
	s.log.Info("A backup was made.", "name", name, "entries", m.Counts.Entries, "photos", m.Photos, "missing", len(m.Missing))
	if have, err = backupsIn(s.cfg.BackupTo); err != nil {
		return err
	}
	var errs []error
	for _, at := range have[min(s.cfg.BackupKeep, len(have)):] {
		errs = append(errs, os.RemoveAll(filepath.Join(s.cfg.BackupTo, at.Format(BackupName))))
	}
	return errors.Join(errs...)
}

// backupsIn are the times of the whole backups in a folder, newest first. What
// has another name is somebody else's and stays.
func backupsIn(dir string) (made []time.Time, err error) {
	list, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("looking for backups: %w", err)
	}
	for _, d := range list {
		at, err := time.Parse(BackupName, d.Name())
		if err != nil || !d.IsDir() {
			continue
		}
		if _, err := os.Stat(filepath.Join(dir, d.Name(), manifestFile)); err == nil {
			made = append(made, at)
		}
	}
	slices.SortFunc(made, func(a, b time.Time) int { return b.Compare(a) })
	return made, nil
}

// checkBackups refuses what could not work at night.
func (c *Config) checkBackups() error {
	if c.BackupTo == "" {
		return nil
	}
	if c.DatabaseURL != "" {
		return errors.New("backups on a schedule are of the SQLite file: with PostgreSQL run pg_dump and warmhand backup --blobs-only by a timer")
	}
	if c.BackupEvery <= 0 || c.BackupKeep < 1 {
		return fmt.Errorf("a backup every %v of which %d are kept is none: write such as --backup-every 24h --backup-keep 30", c.BackupEvery, c.BackupKeep)
	}
	data, err := filepath.Abs(c.DataDir)
	if err != nil {
		return err
	}
	to, err := filepath.Abs(c.BackupTo)
	if err != nil {
		return err
	}
	if rel, err := filepath.Rel(data, to); err == nil && !strings.HasPrefix(rel, "..") {
		return errors.New("the backups would lie in the data folder and be lost with it: name a folder elsewhere, best on another disk")
	}
	return nil
}
