package store

import (
	"cmp"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"

	"warmhand/internal/care"
)

// PostgreSQL's own names for what is asked of it here,
// https://www.postgresql.org/docs/15/errcodes-appendix.html
const (
	pgUniqueViolation      = "23505"
	pgSerializationFailure = "40001"
	pgDeadlockDetected     = "40P01"
	pgReadOnlyTransaction  = "25006"
	pgIdleTooLong          = "25P03"
	pgBadText              = "22021"
)

// A write that lost to another is tried again, after a random pause of up to
// retryPause, doubled each time up to 64 times it. Those of one program take
// turns at that, or many callers at one row would go on beating each other;
// the pause is for other programs.
const (
	retries    = 40
	retryPause = time.Millisecond
)

// pgConnections bounds the connections of one program; a small server allows
// a hundred in all.
const pgConnections = 16

// pgLimits are how long PostgreSQL itself bears with a statement, with waiting
// for a lock, and with a transaction in which nothing happens: whatever becomes of
// a server, it keeps no row locked for longer. A request gives up before (server's
// callTime). The address may name others, as ?statement_timeout=60s.
var pgLimits = map[string]string{
	"statement_timeout":                   "30s",
	"lock_timeout":                        "10s",
	"idle_in_transaction_session_timeout": "60s",
}

// pgConnectionLife is after how long a connection is made anew, so that the
// program finds its way to a database that moved.
const pgConnectionLife = time.Hour

// connecting names getting a connection; whatever else goes wrong there, the
// database cannot be reached.
const connecting = "connect"

type postgresEngine struct {
	lets
	db     *sql.DB
	config *pgx.ConnConfig // of each connection
	turn   chan struct{}   // holds one while a write is tried again
}

// Unheld reports that the database does not hold this program's transactions to
// their reach (care.Reach), because its role there is a superuser.
func (s *Store) Unheld(ctx context.Context) (unheld bool, err error) {
	e, ok := s.engine.(*postgresEngine)
	if !ok {
		return false, nil
	}
	err = e.db.QueryRowContext(ctx, `SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user`).Scan(&unheld)
	if err != nil {
		return false, postgresError("ask for the role", err)
	}
	return unheld, nil
}

func openPostgres(ctx context.Context, address string) (*postgresEngine, error) {
	config, err := pgx.ParseConfig(address)
	if err != nil {
		return nil, fmt.Errorf("reading the database URL: %w", err) // without its password
	}
	if config.RuntimeParams["application_name"] == "" {
		config.RuntimeParams["application_name"] = "warmhand"
	}
	// A migration may take as long as it needs.
	asked := maps.Clone(config.RuntimeParams)
	for name := range pgLimits {
		config.RuntimeParams[name] = "0"
	}
	unlimited := stdlib.OpenDB(*config)
	if err := errors.Join(migrate(ctx, unlimited, postgres), unlimited.Close()); err != nil {
		return nil, err
	}
	for name, value := range pgLimits {
		config.RuntimeParams[name] = cmp.Or(asked[name], value)
	}
	db := stdlib.OpenDB(*config)
	db.SetMaxOpenConns(pgConnections)
	db.SetMaxIdleConns(pgConnections)
	db.SetConnMaxLifetime(pgConnectionLife)
	return &postgresEngine{db: db, config: config, turn: make(chan struct{}, 1)}, nil
}

func (e *postgresEngine) Read(ctx context.Context, f func(care.Tx) error) error {
	err, _ := e.once(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true}, f)
	return err
}

// Write runs f at the strictest isolation, so that use cases hold here as they
// do with SQLite's one writer.
func (e *postgresEngine) Write(ctx context.Context, f func(care.Tx) error) error {
	return e.write(ctx, sql.LevelSerializable, f)
}

// Swap holds f only against who changed the same rows. To PostgreSQL whoever looked
// at a page of an index read all of it, so that serializable writers of different
// cases are refused as if they had met: of a hundred logs to three servers more than
// that many, before all of them were swaps.
func (e *postgresEngine) Swap(ctx context.Context, f func(care.Tx) error) error {
	return e.write(ctx, sql.LevelRepeatableRead, f)
}

func (e *postgresEngine) write(ctx context.Context, isolation sql.IsolationLevel, f func(care.Tx) error) error {
	for try := 0; ; try++ {
		err, cause := e.once(ctx, &sql.TxOptions{Isolation: isolation}, f)
		if err == nil || !lostToAnother(cause) || try == retries {
			return err
		}
		if try == 0 {
			select {
			case e.turn <- struct{}{}:
				defer func() { <-e.turn }()
			case <-ctx.Done():
				return err
			}
		}
		pause := rand.N(retryPause << min(try, 6))
		select {
		case <-time.After(pause):
		case <-ctx.Done():
			return err
		}
	}
}

// once runs f in one transaction; cause is the driver's error, if there was
// one.
func (e *postgresEngine) once(ctx context.Context, opts *sql.TxOptions, f func(care.Tx) error) (err, cause error) {
	conn, dbtx, err, cause := e.begin(ctx, opts)
	if err != nil {
		return err, cause
	}
	defer conn.Close()    //nolint:errcheck // goes back to the pool
	defer dbtx.Rollback() //nolint:errcheck // after a commit it does nothing
	t := &tx{ctx: ctx, d: postgres, conn: pgRunner{ctx, dbtx}}
	if err := run(t, f); err != nil {
		return err, t.cause
	}
	if err := dbtx.Commit(); err != nil {
		return postgresError(commit.op, err), err
	}
	e.saved(t)
	return nil, nil
}

// begin begins a transaction within its reach. A connection that broke while nobody
// used it, as all do when the database starts anew, is nobody's concern: another is
// taken.
func (e *postgresEngine) begin(ctx context.Context, opts *sql.TxOptions) (_ *sql.Conn, _ *sql.Tx, err, cause error) {
	for try := 0; ; try++ {
		conn, err := e.db.Conn(ctx)
		if err != nil {
			return nil, nil, postgresError(connecting, err), err
		}
		// A context that ended during the commit would leave it open whether
		// anything was saved.
		dbtx, err := conn.BeginTx(context.WithoutCancel(ctx), opts)
		if err == nil {
			if _, err = dbtx.ExecContext(ctx, setReach, string(care.ReachOf(ctx))); err == nil {
				return conn, dbtx, nil, nil
			}
			dbtx.Rollback() //nolint:errcheck // nothing was done in it
		}
		sound := false
		broken := conn.Raw(func(c any) error {
			sound = !c.(*stdlib.Conn).Conn().IsClosed()
			return nil
		})
		conn.Close() //nolint:errcheck // goes back to the pool, if it is sound
		if sound && broken == nil || ctx.Err() != nil || try == pgConnections {
			return nil, nil, postgresError(begin.op, err), err
		}
	}
}

// setReach is for one transaction, so that no connection keeps another's.
const setReach = `SELECT set_config('warmhand.breeder', $1, true)`

// lostToAnother reports whether a transaction failed only because of another
// that ran beside it.
func lostToAnother(cause error) bool {
	var e *pgconn.PgError
	return errors.As(cause, &e) && (e.Code == pgSerializationFailure || e.Code == pgDeadlockDetected)
}

func (e *postgresEngine) Close() error { return e.db.Close() }

func (e *postgresEngine) Backup(context.Context, string) error {
	return errors.New("a PostgreSQL database is backed up with pg_dump, which runs beside the program; only the SQLite file is copied from here")
}

// Check reads every row once, which is as much as a client of PostgreSQL can
// do; damage in indexes is for its own amcheck.
func (e *postgresEngine) Check(ctx context.Context) (err error) {
	db, err := e.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return postgresError(connecting, err)
	}
	defer func() { err = errors.Join(err, ignoreDone(db.Rollback())) }()
	if _, err := db.ExecContext(ctx, setReach, string(care.EverybodysReach)); err != nil {
		return postgresError("check", err)
	}
	if _, err := db.ExecContext(ctx, `SET LOCAL statement_timeout = 0`); err != nil {
		return postgresError("check", err)
	}
	tables, err := schemaTables(ctx)
	if err != nil {
		return err
	}
	for _, tb := range tables {
		var n int64
		// The text of each row makes the server read its long values too.
		if err := db.QueryRowContext(ctx, `SELECT coalesce(sum(length(r::text)), 0) FROM `+tb.name+` r`).Scan(&n); err != nil {
			return fmt.Errorf("checking the table %s: %w", tb.name, err)
		}
	}
	return nil
}

// pgRunner runs statements; the driver keeps them prepared on each connection.
type pgRunner struct {
	ctx context.Context
	tx  *sql.Tx
}

func (r pgRunner) exec(q *query, args []any) (int64, error) {
	result, err := r.tx.ExecContext(r.ctx, q.postgres, args...)
	if err != nil {
		return 0, err
	}
	return result.RowsAffected()
}

func (r pgRunner) query(q *query, args []any) (*sql.Rows, error) {
	return r.tx.QueryContext(r.ctx, q.postgres, args...)
}

// postgresError maps an error of the driver by its code.
func postgresError(op string, err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var e *pgconn.PgError
	if errors.As(err, &e) {
		switch e.Code {
		case pgUniqueViolation:
			return idReused()
		case pgSerializationFailure, pgDeadlockDetected, pgReadOnlyTransaction, pgIdleTooLong:
			return notSaved("postgres", e.Code)
		case pgBadText:
			return checkText("\x00")
		}
		switch e.Code[:2] {
		case "08", "53", "55", "57", "58": // connection, resources, locks, shutdown, disk
			return notSaved("postgres", e.Code)
		}
		return fmt.Errorf("store: %s failed with postgres code %s", op, e.Code)
	}
	var dial *pgconn.ConnectError
	var network net.Error
	gone := errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) || errors.Is(err, sql.ErrConnDone) || errors.Is(err, driver.ErrBadConn)
	if op == connecting || gone || errors.As(err, &dial) || errors.As(err, &network) || pgconn.SafeToRetry(err) {
		return notSaved("postgres", "connection")
	}
	return fmt.Errorf("store: %s: %w", op, err) // a value that does not fit, ours to mend
}
