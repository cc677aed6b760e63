// Package store keeps the domain in a database: SQLite in a folder, or
// PostgreSQL. Both engines run one set of query texts; what differs between
// them is in dialect.go and in the twin migrations.
//
// Errors that a person may see are *care.Error; any other error names the
// operation and the engine's error code, never the driver's text, which may
// quote what was stored.
package store

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"sync/atomic"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Config says where the store is.
type Config struct {
	// URL is a postgres:// URL, or "" for SQLite in Dir.
	URL string
	// Dir is the folder of warmhand.db; it is made when missing.
	Dir string
}

// Store is an open database. It implements care.Store and is safe for
// concurrent use. A Write must not be called from inside a callback: there is
// one writer, and it would wait for itself until its context ends.
type Store struct{ engine }

var _ care.Store = (*Store)(nil)

// engine is one kind of database.
type engine interface {
	Read(ctx context.Context, f func(care.Tx) error) error
	Write(ctx context.Context, f func(care.Tx) error) error
	Swap(ctx context.Context, f func(care.Tx) error) error
	Lets() uint64
	// Backup writes a complete copy of the database, taken at one instant while
	// writes go on, as destDir/warmhand.db. It never replaces a file. Only
	// SQLite can; the error for PostgreSQL says what to use.
	Backup(ctx context.Context, destDir string) error
	// Check reads the whole database and reports damage.
	Check(ctx context.Context) error
	// Close waits for the writes that are queued, then closes. Closing again
	// does nothing.
	Close() error
}

// lets counts what changed who is let in, see care.Store.
type lets struct{ count atomic.Uint64 }

func (l *lets) Lets() uint64 { return l.count.Load() }

// saved is told of each transaction once it is durable.
func (l *lets) saved(t *tx) {
	if t.lets {
		l.count.Add(1)
	}
}

// Open opens the store and brings its schema up to date. It refuses a database
// that a newer version of the program wrote.
func Open(ctx context.Context, c Config) (*Store, error) {
	var (
		e   engine
		err error
	)
	switch {
	case strings.HasPrefix(c.URL, "postgres://"), strings.HasPrefix(c.URL, "postgresql://"):
		e, err = openPostgres(ctx, c.URL)
	case c.URL != "":
		return nil, errors.New("the database URL must begin with postgres://; leave it empty to keep a SQLite file in the data folder")
	case c.Dir == "":
		return nil, errors.New("no data folder is named for the SQLite file")
	default:
		e, err = openSQLite(ctx, c.Dir)
	}
	if err != nil {
		return nil, err
	}
	return &Store{e}, nil
}

// Everything is the same store for what the owner of the machine does: its
// transactions reach everybody's rows, whatever their context says.
func (s *Store) Everything() *Store { return &Store{everything{s.engine}} }

type everything struct{ engine }

func (e everything) Read(ctx context.Context, f func(care.Tx) error) error {
	return e.engine.Read(care.WithReach(ctx, care.EverybodysReach), f)
}

func (e everything) Write(ctx context.Context, f func(care.Tx) error) error {
	return e.engine.Write(care.WithReach(ctx, care.EverybodysReach), f)
}

func (e everything) Swap(ctx context.Context, f func(care.Tx) error) error {
	return e.engine.Swap(care.WithReach(ctx, care.EverybodysReach), f)
}

// run calls f on t and turns a panic into an error, so that one bad callback
// does not take the writer or other callers' writes with it. An operation that
// the database failed spoils the transaction even if f ignored its error.
func run(t *tx, f func(care.Tx) error) (err error) {
	defer func() {
		t.over = true
		if r := recover(); r != nil {
			err = fmt.Errorf("panic in a transaction: %v\n%s", r, debug.Stack())
		}
	}()
	if err := t.ctx.Err(); err != nil {
		return err
	}
	if err := f(t); err != nil {
		return err
	}
	return t.failed
}

// notSaved is the answer when the database could not make a write durable.
// The code is the engine's, for the log.
func notSaved(engine string, code any) error {
	return fmt.Errorf("%s code %v: %w", engine, code, &care.Error{
		Code: care.Unavailable, Reason: care.ReasonNotSaved,
		Text: words.Say("This could not be saved just now. Please try again in a little while."),
	})
}

// idReused is the answer to an insert of a key that exists.
func idReused() *care.Error {
	return &care.Error{
		Code: care.Conflict, Reason: care.ReasonIDReused,
		Text: words.Say("This id is already in use for something else. Please make a new id."),
	}
}
