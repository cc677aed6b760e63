package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
)

// migrate brings the schema of db up to date in one transaction. Migrations are
// numbered files that only ever add; the number of the last is the version.
func migrate(ctx context.Context, db *sql.DB, d *dialect) (err error) {
	files, err := d.migrations()
	if err != nil {
		return err
	}
	steps, err := readMigrations(files)
	if err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("opening the database: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreDone(tx.Rollback()))
		}
	}()
	if _, err := tx.ExecContext(ctx, d.lockSchema); err != nil {
		return fmt.Errorf("locking the schema: %w", err)
	}
	version, err := schemaVersion(ctx, tx, d)
	if err != nil {
		return err
	}
	if version > len(steps) {
		return fmt.Errorf("this database has schema version %d, and this program knows up to %d: start the newer program that wrote it, or restore a backup made before the upgrade", version, len(steps))
	}
	if version == len(steps) {
		return tx.Commit()
	}
	for i, step := range steps[version:] {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return fmt.Errorf("schema version %d: %w", version+i+1, err)
		}
	}
	write := `UPDATE schema_version SET version = ` + strconv.Itoa(len(steps))
	if version == 0 {
		write = `CREATE TABLE schema_version (version INTEGER NOT NULL); INSERT INTO schema_version VALUES (` + strconv.Itoa(len(steps)) + `)`
	}
	if _, err := tx.ExecContext(ctx, write); err != nil {
		return fmt.Errorf("noting the schema version: %w", err)
	}
	return tx.Commit()
}

// schemaVersion is 0 for an empty database.
func schemaVersion(ctx context.Context, tx *sql.Tx, d *dialect) (version int, err error) {
	var tables int
	if err := tx.QueryRowContext(ctx, d.hasTable).Scan(&tables); err != nil {
		return 0, fmt.Errorf("looking for the schema version: %w", err)
	}
	if tables == 0 {
		return 0, nil
	}
	if err := tx.QueryRowContext(ctx, `SELECT version FROM schema_version`).Scan(&version); err != nil {
		return 0, fmt.Errorf("reading the schema version: %w", err)
	}
	return version, nil
}

// readMigrations reads the numbered files, which must run from 0001 without a
// gap.
func readMigrations(files fs.FS) ([]string, error) {
	names, err := fs.Glob(files, "*.sql") // sorted
	if err != nil {
		return nil, err
	}
	var steps []string
	for i, name := range names {
		if !strings.HasPrefix(name, fmt.Sprintf("%04d_", i+1)) {
			return nil, fmt.Errorf("migration %s: expected number %04d", name, i+1)
		}
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		steps = append(steps, string(text))
	}
	return steps, nil
}

func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}
