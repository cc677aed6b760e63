package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/mattn/go-sqlite3"

	"warmhand/internal/care"
)

// fileName is the database inside the data folder.
const fileName = "warmhand.db"

// readers is how many transactions may read at once. Reads are short; more
// would only take turns on the processors.
const readers = 8

// sqliteEngine has one connection that writes and some that can only read. In
// WAL mode neither waits for the other.
type sqliteEngine struct {
	lets
	path    string
	writeDB *sql.DB
	readDB  *sql.DB
	idle    chan *liteConn // readers; nil stands for one not opened yet
	writer  *writer
	closing sync.Once
	closed  error
}

// Pragmas go into the address, because one set by a statement reaches one
// connection only. The cache, in KiB for each connection, holds the cases of a
// large breeder: reading a thousand takes half as long as with SQLite's 2 MB.
const (
	writePragmas = "_txlock=immediate&_journal_mode=WAL&_synchronous=FULL&_busy_timeout=5000&_foreign_keys=1&_cache_size=-8000"
	readPragmas  = "mode=ro&_query_only=1&_synchronous=FULL&_busy_timeout=5000&_foreign_keys=1&_cache_size=-8000"
)

func openSQLite(ctx context.Context, dir string) (_ *sqliteEngine, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("making the data folder: %w", err)
	}
	path, err := filepath.Abs(filepath.Join(dir, fileName))
	if err != nil {
		return nil, fmt.Errorf("finding the data folder: %w", err)
	}
	// Made here and not by SQLite, so that only the owner can read it; the files
	// beside it get the same mode.
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("making the database file: %w", err)
	}
	if err := errors.Join(f.Close(), syncFolder(dir)); err != nil {
		return nil, fmt.Errorf("making the database file: %w", err)
	}
	e := &sqliteEngine{path: path, idle: make(chan *liteConn, readers)}
	if e.writeDB, err = sql.Open("sqlite3", e.address(writePragmas)); err != nil {
		return nil, err
	}
	if e.readDB, err = sql.Open("sqlite3", e.address(readPragmas)); err != nil {
		return nil, errors.Join(err, e.writeDB.Close())
	}
	e.writeDB.SetMaxOpenConns(1)
	e.readDB.SetMaxOpenConns(readers)
	e.readDB.SetMaxIdleConns(0) // kept here, with their statements
	for range readers {
		e.idle <- nil
	}
	if err := patiently(ctx, func() error { return migrate(ctx, e.writeDB, sqlite) }); err != nil {
		return nil, errors.Join(err, e.readDB.Close(), e.writeDB.Close())
	}
	e.writeDB.SetMaxOpenConns(2) // the writer's, and one that moves its log into the file
	e.writer = newWriter(e.writeDB, &e.lets)
	return e, nil
}

// patiently repeats what SQLite refuses because another program has the file:
// where waiting could be a deadlock, as when two switch one file to WAL at
// once, it refuses at once and busy_timeout does not count
// (https://www.sqlite.org/c3ref/busy_handler.html).
func patiently(ctx context.Context, open func() error) error {
	for until := time.Now().Add(5 * time.Second); ; {
		err := open()
		var busy sqlite3.Error
		if !errors.As(err, &busy) || busy.Code != sqlite3.ErrBusy || time.Now().After(until) {
			return err
		}
		select {
		case <-time.After(20 * time.Millisecond):
		case <-ctx.Done():
			return errors.Join(err, ctx.Err())
		}
	}
}

func (e *sqliteEngine) address(pragmas string) string {
	u := url.URL{Scheme: "file", Path: e.path, RawQuery: pragmas}
	return u.String()
}

func (e *sqliteEngine) Write(ctx context.Context, f func(care.Tx) error) error {
	return e.writer.do(ctx, f)
}

// Swap is Write, since writes take turns.
func (e *sqliteEngine) Swap(ctx context.Context, f func(care.Tx) error) error {
	return e.writer.do(ctx, f)
}

func (e *sqliteEngine) Read(ctx context.Context, f func(care.Tx) error) (err error) {
	var c *liteConn
	select {
	case c = <-e.idle:
	case <-ctx.Done():
		return ctx.Err()
	case <-e.writer.stopping:
		return notSaved("sqlite", "closed")
	}
	keep := false
	defer func() {
		if !keep && c != nil {
			c.discard()
			c = nil
		}
		e.idle <- c
	}()
	if c == nil {
		if c, err = connect(e.readDB); err != nil {
			return sqliteError("connect", err)
		}
	}
	if _, err := c.run(begin, nil); err != nil {
		return sqliteError(begin.op, err)
	}
	err = run(&tx{ctx: ctx, d: sqlite, conn: c}, f)
	if _, endErr := c.run(rollback, nil); endErr != nil {
		return errors.Join(err, sqliteError(rollback.op, endErr))
	}
	keep = true
	return err
}

func (e *sqliteEngine) Close() error {
	e.closing.Do(func() {
		e.writer.close()
		var errs []error
		for range readers { // waits for reads that run
			if c := <-e.idle; c != nil {
				errs = append(errs, c.close())
			}
		}
		e.closed = errors.Join(append(errs, e.readDB.Close(), e.writeDB.Close())...)
	})
	return e.closed
}

func (e *sqliteEngine) Backup(ctx context.Context, destDir string) (err error) {
	if err := os.MkdirAll(destDir, 0o700); err != nil {
		return fmt.Errorf("making the backup folder: %w", err)
	}
	final := filepath.Join(destDir, fileName)
	if _, err := os.Lstat(final); err == nil {
		return fmt.Errorf("%s exists already: name an empty folder for the backup", final)
	}
	// VACUUM INTO wants a file that is missing or empty.
	f, err := os.CreateTemp(destDir, fileName+".partial-*")
	if err != nil {
		return fmt.Errorf("making the backup: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close(), removeIfThere(f.Name())) }()
	// Its own connection: it reads one snapshot, and the writer goes on.
	db, err := sql.Open("sqlite3", e.address("mode=ro&_busy_timeout=5000"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if _, err := db.ExecContext(ctx, `VACUUM INTO ?1`, f.Name()); err != nil {
		return fmt.Errorf("copying the database: %w", err)
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("making the backup durable: %w", err)
	}
	if err := os.Rename(f.Name(), final); err != nil {
		return fmt.Errorf("naming the backup: %w", err)
	}
	return syncFolder(destDir)
}

func (e *sqliteEngine) Check(ctx context.Context) (err error) {
	for _, check := range []string{
		`PRAGMA integrity_check(20)`,
		`SELECT 'a row of ' || "table" || ' refers to a missing row of ' || parent FROM pragma_foreign_key_check LIMIT 20`,
	} {
		found, err := e.checkWith(ctx, check)
		var damage sqlite3.Error
		if errors.As(err, &damage) && (damage.Code == sqlite3.ErrCorrupt || damage.Code == sqlite3.ErrNotADB) {
			found, err = append(found, damage.Error()), nil
		}
		if err != nil {
			return fmt.Errorf("checking the database: %w", err)
		}
		if len(found) > 0 {
			return fmt.Errorf("the database is damaged; restore a backup: %s", strings.Join(found, "; "))
		}
	}
	return nil
}

func (e *sqliteEngine) checkWith(ctx context.Context, check string) (found []string, err error) {
	db, err := sql.Open("sqlite3", e.address(readPragmas))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	rows, err := db.QueryContext(ctx, check)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return nil, err
		}
		if line != "ok" {
			found = append(found, line)
		}
	}
	return found, rows.Err()
}

// The statements that frame a transaction.
var (
	begin          = newQuery("begin", `BEGIN`)
	beginImmediate = newQuery("begin", `BEGIN IMMEDIATE`)
	commit         = newQuery("commit", `COMMIT`)
	rollback       = newQuery("roll back", `ROLLBACK`)
	savepoint      = newQuery("set savepoint", `SAVEPOINT one`)
	release        = newQuery("release savepoint", `RELEASE one`)
	rollbackTo     = newQuery("roll back to savepoint", `ROLLBACK TO one`)

	// https://www.sqlite.org/pragma.html#pragma_wal_checkpoint; it waits for nobody.
	checkpoint = newQuery("move the log into the file", `PRAGMA wal_checkpoint(PASSIVE)`)
	// So many pages are for what writes a lot at once; see writer.checkpoint.
	checkpointLate = newQuery("set when a commit moves the log", `PRAGMA wal_autocheckpoint = 16000`)
)

// liteConn is one connection with the statements that were prepared on it. The
// driver is never given a caller's context: a cancelled statement would roll
// back the whole batch, and watching for it costs more than the statement.
type liteConn struct {
	conn       *sql.Conn
	statements map[*query]*sql.Stmt
}

func connect(db *sql.DB) (*liteConn, error) {
	conn, err := db.Conn(context.Background())
	if err != nil {
		return nil, err
	}
	return &liteConn{conn, map[*query]*sql.Stmt{}}, nil
}

func (c *liteConn) statement(q *query) (*sql.Stmt, error) {
	if s := c.statements[q]; s != nil {
		return s, nil
	}
	s, err := c.conn.PrepareContext(context.Background(), q.sqlite)
	if err == nil {
		c.statements[q] = s
	}
	return s, err
}

func (c *liteConn) exec(list ...change) (changed []int64, err error) {
	for _, s := range list {
		n, err := c.run(s.q, s.args)
		if err != nil {
			return changed, err
		}
		changed = append(changed, n)
	}
	return changed, nil
}

func (c *liteConn) run(q *query, args []any) (int64, error) {
	s, err := c.statement(q)
	if err != nil {
		return 0, err
	}
	r, err := s.Exec(args...)
	if err != nil {
		return 0, err
	}
	return r.RowsAffected()
}

// pragma runs one that answers with rows: to leave these unread would keep its
// transaction open.
func (c *liteConn) pragma(q *query) error {
	return c.ask(asked{change{q: q}, func(found rows) error {
		for found.Next() {
		}
		return found.Err()
	}})
}

func (c *liteConn) query(list ...asked) (answered int, err error) {
	for _, a := range list {
		if err := c.ask(a); err != nil {
			return answered, err
		}
		answered++
	}
	return answered, nil
}

func (c *liteConn) ask(a asked) error {
	s, err := c.statement(a.q)
	if err != nil {
		return err
	}
	found, err := s.Query(a.args...)
	if err != nil {
		return err
	}
	defer found.Close()
	return a.read(found)
}

func (c *liteConn) close() error {
	var errs []error
	for _, s := range c.statements {
		errs = append(errs, s.Close())
	}
	return errors.Join(append(errs, c.conn.Close())...)
}

// discard closes the connection for good, which also ends a transaction that
// could not be ended otherwise.
func (c *liteConn) discard() {
	for _, s := range c.statements {
		s.Close() //nolint:errcheck // the connection is given up
	}
	c.conn.Raw(func(any) error { return driver.ErrBadConn }) //nolint:errcheck // that is the error asked for
	c.conn.Close()                                           //nolint:errcheck // closed by the line above
}

// sqliteError maps an error of the driver by its code.
func sqliteError(op string, err error) error {
	var e sqlite3.Error
	if !errors.As(err, &e) {
		if errors.Is(err, sql.ErrConnDone) || errors.Is(err, driver.ErrBadConn) {
			return notSaved("sqlite", "connection")
		}
		return fmt.Errorf("store: %s: %w", op, err) // a value that does not fit, ours to mend
	}
	switch e.ExtendedCode {
	case sqlite3.ErrConstraintPrimaryKey, sqlite3.ErrConstraintUnique, sqlite3.ErrConstraintRowID:
		return idReused()
	}
	switch e.Code {
	case sqlite3.ErrBusy, sqlite3.ErrLocked, sqlite3.ErrFull, sqlite3.ErrIoErr, sqlite3.ErrReadonly,
		sqlite3.ErrCantOpen, sqlite3.ErrNomem, sqlite3.ErrInterrupt:
		return notSaved("sqlite", int(e.ExtendedCode))
	}
	return fmt.Errorf("store: %s failed with sqlite code %d", op, e.ExtendedCode)
}

func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

func removeIfThere(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}
