package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
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

type postgresEngine struct {
	lets
	pool *pgxpool.Pool
	turn chan struct{} // holds one while a write is tried again
}

// unreachable is what went wrong when a connection was wanted.
type unreachable struct{ error }

func (u unreachable) Unwrap() error { return u.error }

// Unheld reports that the database does not hold this program's transactions to
// their reach (care.Reach), because its role there is a superuser.
func (s *Store) Unheld(ctx context.Context) (unheld bool, err error) {
	e, ok := s.engine.(*postgresEngine)
	if !ok {
		return false, nil
	}
	err = e.pool.QueryRow(ctx, `SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user`).Scan(&unheld)
	if err != nil {
		return false, postgresError("ask for the role", err)
	}
	return unheld, nil
}

func openPostgres(ctx context.Context, address string) (*postgresEngine, error) {
	pool, err := pgxpool.ParseConfig(address)
	if err != nil {
		return nil, fmt.Errorf("reading the database URL: %w", err) // without its password
	}
	config := pool.ConnConfig
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
	pool.MaxConns, pool.MaxConnLifetime = pgConnections, pgConnectionLife
	// One that broke is found by the first statement, see pgRunner.first.
	pool.ShouldPing = func(context.Context, pgxpool.ShouldPingParams) bool { return false }
	e := &postgresEngine{turn: make(chan struct{}, 1)}
	if e.pool, err = pgxpool.NewWithConfig(context.WithoutCancel(ctx), pool); err != nil {
		return nil, fmt.Errorf("opening the database: %w", err)
	}
	return e, nil
}

// How each kind of transaction begins.
const (
	beginRead  = `BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY`
	beginWrite = `BEGIN ISOLATION LEVEL SERIALIZABLE`
	beginSwap  = `BEGIN ISOLATION LEVEL REPEATABLE READ`
)

func (e *postgresEngine) Read(ctx context.Context, f func(care.Tx) error) error {
	err, _ := e.once(ctx, beginRead, f)
	return err
}

// Write runs f at the strictest isolation, so that use cases hold here as they
// do with SQLite's one writer.
func (e *postgresEngine) Write(ctx context.Context, f func(care.Tx) error) error {
	return e.write(ctx, beginWrite, f)
}

// Swap holds f only against who changed the same rows. To PostgreSQL whoever looked
// at a page of an index read all of it, so that serializable writers of different
// cases are refused as if they had met: of a hundred logs to three servers more than
// that many, before all of them were swaps.
func (e *postgresEngine) Swap(ctx context.Context, f func(care.Tx) error) error {
	return e.write(ctx, beginSwap, f)
}

func (e *postgresEngine) write(ctx context.Context, begin string, f func(care.Tx) error) error {
	for try := 0; ; try++ {
		err, cause := e.once(ctx, begin, f)
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
func (e *postgresEngine) once(ctx context.Context, begin string, f func(care.Tx) error) (err, cause error) {
	r := &pgRunner{pool: e.pool, ctx: ctx, begin: begin}
	defer r.end()
	t := &tx{ctx: ctx, d: postgres, conn: r}
	if err := run(t, f); err != nil {
		return err, t.cause
	}
	if err := r.commit(); err != nil {
		return postgresError(commit.op, err), err
	}
	e.saved(t)
	return nil, nil
}

// lostToAnother reports whether a transaction failed only because of another
// that ran beside it.
func lostToAnother(cause error) bool {
	var e *pgconn.PgError
	return errors.As(cause, &e) && (e.Code == pgSerializationFailure || e.Code == pgDeadlockDetected)
}

func (e *postgresEngine) Close() error {
	e.pool.Close()
	return nil
}

func (e *postgresEngine) Backup(context.Context, string) error {
	return errors.New("a PostgreSQL database is backed up with pg_dump, which runs beside the program; only the SQLite file is copied from here")
}

// Check reads every row once, which is as much as a client of PostgreSQL can
// do; damage in indexes is for its own amcheck.
func (e *postgresEngine) Check(ctx context.Context) (err error) {
	tables, err := schemaTables(ctx)
	if err != nil {
		return err
	}
	ctx = care.WithReach(ctx, care.EverybodysReach)
	return e.Read(ctx, func(t care.Tx) error {
		t_ := t.(*tx)
		if _, err := t_.exec(&query{op: "check", postgres: `SET LOCAL statement_timeout = 0`}); err != nil {
			return err
		}
		for _, tb := range tables {
			// The text of each row makes the server read its long values too.
			all := &query{op: "check", postgres: `SELECT coalesce(sum(length(r::text)), 0) FROM ` + tb.name + ` r`}
			if _, err := get(t_, all, func(n *int64) []any { return []any{n} }, tb.name); err != nil {
				return fmt.Errorf("checking the table %s: %w", tb.name, err)
			}
		}
		return nil
	})
}

// pgRunner runs the statements of one transaction; the driver keeps them prepared on
// each connection. The transaction begins, within its reach, on the way of its first
// statement, since a way there and back costs as much as a small statement.
type pgRunner struct {
	pool  *pgxpool.Pool
	ctx   context.Context
	begin string
	conn  *pgxpool.Conn // nil before the first statement
}

// setReach is for one transaction, so that no connection keeps another's.
const setReach = `SELECT set_config('warmhand.breeder', $1, true)`

// first sends the first statements and whatever comes before them, all in one go. A
// connection that broke while nobody used it, as all do when the database starts anew,
// is nobody's concern: another is taken, as nothing was saved on it.
func (r *pgRunner) first(list []change) (pgx.BatchResults, error) {
	for try := 0; ; try++ {
		conn, err := r.pool.Acquire(r.ctx)
		if err != nil {
			return nil, unreachable{err}
		}
		b := &pgx.Batch{}
		b.Queue(r.begin)
		b.Queue(setReach, string(care.ReachOf(r.ctx)))
		for _, s := range list {
			b.Queue(s.q.postgres, s.args...)
		}
		results := conn.SendBatch(r.ctx, b)
		if _, err = results.Exec(); err == nil {
			if _, err = results.Exec(); err == nil {
				r.conn = conn
				return results, nil
			}
		}
		results.Close() //nolint:errcheck // the first of its errors is err
		broken := conn.Conn().IsClosed()
		conn.Release()
		if !broken || r.ctx.Err() != nil || try == pgConnections {
			return nil, err
		}
	}
}

func (r *pgRunner) exec(list ...change) ([]int64, error) {
	if len(list) == 1 && r.conn != nil {
		tag, err := r.conn.Exec(r.ctx, list[0].q.postgres, list[0].args...)
		if err != nil {
			return nil, err
		}
		return []int64{tag.RowsAffected()}, nil
	}
	results, err := r.send(list)
	if err != nil {
		return nil, err
	}
	changed := make([]int64, 0, len(list))
	for range list {
		var tag pgconn.CommandTag
		if tag, err = results.Exec(); err != nil {
			break
		}
		changed = append(changed, tag.RowsAffected())
	}
	return changed, cmp.Or(err, results.Close())
}

// send sends statements in one go.
func (r *pgRunner) send(list []change) (pgx.BatchResults, error) {
	if r.conn == nil {
		return r.first(list)
	}
	b := &pgx.Batch{}
	for _, s := range list {
		b.Queue(s.q.postgres, s.args...)
	}
	return r.conn.SendBatch(r.ctx, b), nil
}

func (r *pgRunner) query(list ...asked) (answered int, err error) {
	if len(list) == 1 && r.conn != nil {
		found, err := r.conn.Query(r.ctx, list[0].q.postgres, list[0].args...)
		if err != nil {
			return 0, err
		}
		defer found.Close()
		return 0, list[0].read(found)
	}
	all := make([]change, len(list))
	for i, a := range list {
		all[i] = a.change
	}
	results, err := r.send(all)
	if err != nil {
		return 0, err
	}
	for _, a := range list {
		var found pgx.Rows
		if found, err = results.Query(); err != nil {
			break
		}
		err = a.read(found)
		if found.Close(); err != nil {
			break
		}
		answered++
	}
	return answered, cmp.Or(err, results.Close())
}

// commit waits for the answer whatever becomes of the caller: a context that ended
// during the commit would leave it open whether anything was saved.
func (r *pgRunner) commit() error {
	if r.conn == nil {
		return nil
	}
	tag, err := r.conn.Exec(context.WithoutCancel(r.ctx), commit.postgres)
	if err == nil && tag.String() != commit.postgres {
		err = pgx.ErrTxCommitRollback
	}
	return err
}

// end gives the connection back, and undoes what was not committed.
func (r *pgRunner) end() {
	if r.conn == nil {
		return
	}
	if c := r.conn.Conn(); !c.IsClosed() && c.PgConn().TxStatus() != 'I' {
		r.conn.Exec(context.WithoutCancel(r.ctx), rollback.postgres) //nolint:errcheck // who cannot do that is closed by Release
	}
	r.conn.Release()
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
	var unreached unreachable
	var network net.Error
	gone := errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed)
	if gone || errors.As(err, &unreached) || errors.As(err, &network) || pgconn.SafeToRetry(err) {
		return notSaved("postgres", "connection")
	}
	return fmt.Errorf("store: %s: %w", op, err) // a value that does not fit, ours to mend
}
