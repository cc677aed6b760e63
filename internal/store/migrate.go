package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"warmhand/internal/care"
)

// compatibleSince is the oldest schema whose programs go on serving on the newest one:
// what they ask of a database has the same meaning there (TestTheReleaseBeforeGoesOn). It
// is written beside the version, so that such a program may also start there.
const compatibleSince = 19

// compatibleKnown is the first schema that has that number.
const compatibleKnown = 24

// migrate brings the schema of db up to date in one transaction. Migrations are
// numbered files that only ever add; the number of the last is the version. A newer
// schema is left as it is.
func migrate(ctx context.Context, db *sql.DB, d *dialect) (err error) {
	files, err := d.migrations()
	if err != nil {
		return err
	}
	steps, err := readMigrations(files)
	if err != nil {
		return err
	}
	// A look first: who only opens the database waits for nobody who writes.
	if version, err := schemaVersion(ctx, db, d); err != nil || version == len(steps) {
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
		var since int
		if err := tx.QueryRowContext(ctx, `SELECT compatible FROM schema_version`).Scan(&since); err != nil {
			return fmt.Errorf("reading the schema version: %w", err)
		}
		if since <= len(steps) {
			return tx.Commit()
		}
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
	write := fmt.Sprintf(`UPDATE schema_version SET version = %d, compatible = %d`, len(steps), compatibleSince)
	switch {
	case version == 0:
		write = fmt.Sprintf(`CREATE TABLE schema_version (version INTEGER NOT NULL, compatible INTEGER NOT NULL); INSERT INTO schema_version VALUES (%d, %d)`, len(steps), compatibleSince)
	case version < compatibleKnown:
		write = `ALTER TABLE schema_version ADD COLUMN compatible INTEGER NOT NULL DEFAULT 0; ` + write
	}
	if _, err := tx.ExecContext(ctx, write); err != nil {
		return fmt.Errorf("noting the schema version: %w", err)
	}
	return tx.Commit()
}

var schemaNow = newQuery("read the schema version", `SELECT version FROM schema_version`)

// Behind reports that a newer program has made the schema newer than this one knows. All
// that it does of one breeder's means the same there, but it does not know all tables, so
// what has to reach every one is for the newer.
func (s *Store) Behind(ctx context.Context) (behind bool, err error) {
	err = s.Read(ctx, func(t care.Tx) error {
		files, err := t.(*tx).d.migrations()
		if err != nil {
			return err
		}
		steps, err := readMigrations(files)
		if err != nil {
			return err
		}
		versions, err := list(t.(*tx), schemaNow, func(v *int) []any { return []any{number[int]{v}} })
		behind = len(versions) == 1 && versions[0] > len(steps)
		return err
	})
	return behind, err
}

// schemaVersion is 0 for an empty database.
func schemaVersion(ctx context.Context, in interface {
	QueryRowContext(context.Context, string, ...any) *sql.Row
}, d *dialect) (version int, err error) {
	var tables int
	if err := in.QueryRowContext(ctx, d.hasTable).Scan(&tables); err != nil {
		return 0, fmt.Errorf("looking for the schema version: %w", err)
	}
	if tables == 0 {
		return 0, nil
	}
	if err := in.QueryRowContext(ctx, `SELECT version FROM schema_version`).Scan(&version); err != nil {
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
