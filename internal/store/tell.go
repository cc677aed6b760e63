package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// Programs on one PostgreSQL database tell each other what happened by NOTIFY
// (https://www.postgresql.org/docs/15/sql-notify.html). What is told is kept nowhere:
// who did not hear it has to ask the database what it missed.

// TellMost is the longest text in bytes that can be told; PostgreSQL takes 7999.
const TellMost = 7900

// channel is one for each schema, as NOTIFY reaches all of a database.
const channel = `'warmhand_' || md5(current_schema())`

// Nothing is lost by a crash that was not lost by it anyway, so nobody waits for the disk.
const tell = `SELECT set_config('synchronous_commit', 'off', true), pg_notify(` + channel + `, $1)`

// Shared reports that other programs may serve the same database.
func (s *Store) Shared() bool {
	_, err := s.shared()
	return err == nil
}

func (s *Store) shared() (*postgresEngine, error) {
	e, ok := s.engine.(*postgresEngine)
	if !ok {
		return nil, errors.New("nobody else is on a SQLite database")
	}
	return e, nil
}

// Tell says a text to every program that hears on this database, this one too, in
// the order in which one program tells.
func (s *Store) Tell(ctx context.Context, text string) error {
	e, err := s.shared()
	if err != nil {
		return err
	}
	if _, err := e.pool.Exec(ctx, tell, text); err != nil {
		return postgresError("tell other servers", err)
	}
	return nil
}

// Hear calls begun when it hears what is told from now on, and heard for each text. It
// ends with ctx, when the connection breaks, or when nothing at all came for so long.
func (s *Store) Hear(ctx context.Context, silence time.Duration, begun func(), heard func(text string)) error {
	e, err := s.shared()
	if err != nil {
		return err
	}
	opening, cancel := context.WithTimeout(ctx, silence)
	defer cancel()
	conn, err := pgx.ConnectConfig(opening, e.pool.Config().ConnConfig)
	if err != nil {
		return postgresError("hear other servers", unreachable{err})
	}
	defer conn.Close(context.WithoutCancel(opening)) //nolint:errcheck // nothing is under way on it
	var name string
	if err := conn.QueryRow(opening, `SELECT `+channel).Scan(&name); err != nil {
		return postgresError("hear other servers", err)
	}
	if _, err := conn.Exec(opening, `LISTEN `+pgx.Identifier{name}.Sanitize()); err != nil {
		return postgresError("hear other servers", err)
	}
	begun()
	for {
		waiting, cancel := context.WithTimeout(ctx, silence)
		n, err := conn.WaitForNotification(waiting)
		cancel()
		if err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if errors.Is(err, context.DeadlineExceeded) {
				return fmt.Errorf("store: nothing was heard of other servers for %v", silence)
			}
			return postgresError("hear other servers", err)
		}
		heard(n.Payload)
	}
}
