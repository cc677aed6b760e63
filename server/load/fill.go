package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // so is pgx
	_ "github.com/mattn/go-sqlite3"    // the store's driver

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	"warmhand/internal/store"
	"warmhand/server"
)

// place is a data folder with its database.
type place struct {
	dir, url string
	followed []followedCase // whom the load acts for
	breeders []signedIn
}

type followedCase struct {
	breeder, animal, caseID, secret string
	mass                            float64
}

type signedIn struct{ breeder, secret string }

const (
	// A breeder has the demonstration's handovers several times, about fifty
	// open cases.
	copiesEach = 6
	// So many keepers and breeders are signed in for the load.
	keepersIn, breedersIn = 500, 100
	template              = "thimblewick"
)

func (p *place) storeConfig() store.Config { return store.Config{URL: p.url, Dir: p.dir} }

// fill makes a database with at least n open cases. One breeder's are lived
// through by the program itself (the demonstration); the rest are copies of
// their rows, by the database, under other breeders and ids. Nothing is due. One that
// was filled before is taken as it is.
func (p *place) fill(ctx context.Context, n int) (took time.Duration, err error) {
	full := filepath.Join(p.dir, "filled")
	if _, err := os.Stat(full); err == nil {
		return 0, p.signIn(ctx)
	}
	begun := time.Now()
	cfg := server.Config{DataDir: p.dir, DatabaseURL: p.url, Listen: "127.0.0.1:0", PassEvery: -1, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	s, err := server.New(ctx, cfg)
	if err != nil {
		return 0, err
	}
	_, err = s.FillDemo(ctx)
	if err = errors.Join(err, s.Close()); err != nil {
		return 0, err
	}
	if err := p.multiply(ctx, n); err != nil {
		return 0, err
	}
	took = time.Since(begun)
	if err := os.WriteFile(full, nil, 0o600); err != nil {
		return 0, err
	}
	return took, p.signIn(ctx)
}

func (p *place) open() (*sql.DB, error) {
	if p.url != "" {
		u, err := url.Parse(p.url)
		if err != nil {
			return nil, err
		}
		q := u.Query()
		q.Set("options", "-cwarmhand.breeder="+string(care.EverybodysReach))
		u.RawQuery = q.Encode()
		return sql.Open("pgx", u.String())
	}
	return sql.Open("sqlite3", (&url.URL{Scheme: "file", Path: filepath.Join(p.dir, "warmhand.db"), RawQuery: "_journal_mode=WAL&_synchronous=OFF&_foreign_keys=0&_cache_size=-500000"}).String())
}

type copyOf struct {
	table   string
	once    bool   // for each breeder
	suffix  string // columns that get the copy's suffix where they are not empty
	keepers string // columns that nobody else may have, and so get the breeder too
	without map[string]string
	only    string
}

// followedUp are the animals with an open case.
const followedUp = `t.animal_id IN (SELECT animal_id FROM cases WHERE breeder_id = '` + template + `' AND open = 1)`

// copied are the tables, and the columns that carry a copy's own ids.
var copied = []copyOf{
	{table: "breeders", once: true},
	{table: "users", once: true},
	{table: "signing_keys", once: true},
	{table: "animals", suffix: "animal_id mother_id father_id", only: followedUp},
	// Of what the breeder logged before, the last week.
	{table: "entries", suffix: "animal_id case_id", only: followedUp + ` AND (t.case_id <> '' OR t.happened_at > (SELECT max(handed_over_at) FROM cases WHERE breeder_id = '` + template + `') - 604800000)`},
	// A record, which nothing reads here, is as large as all else of a case together.
	{table: "handovers", suffix: "handover_id animal_id", keepers: "keeper_id code_hash", without: map[string]string{"record": `'{}'`, "signed": `''`},
		only: `t.handover_id IN (SELECT case_id FROM cases WHERE breeder_id = '` + template + `' AND open = 1)`},
	{table: "cases", suffix: "case_id animal_id", keepers: "keeper_id", only: `t.open = 1`},
	{table: "flags", suffix: "case_id", only: `t.case_id IN (SELECT case_id FROM cases WHERE breeder_id = '` + template + `' AND open = 1)`},
	{table: "photos", suffix: "photo_id case_id", only: `t.case_id IN (SELECT case_id FROM cases WHERE breeder_id = '` + template + `' AND open = 1)`},
	{table: "keepers", keepers: "keeper_id", only: `t.keeper_id IN (SELECT keeper_id FROM cases WHERE breeder_id = '` + template + `')`},
}

func (p *place) multiply(ctx context.Context, n int) (err error) {
	db, err := p.open()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1) // the table of copies is the connection's own
	exec := func(text string, args ...any) error {
		if _, err := db.ExecContext(ctx, text, args...); err != nil {
			return fmt.Errorf("%s: %w", text, err)
		}
		return nil
	}
	var each int
	if err := db.QueryRowContext(ctx, `SELECT count(*) FROM cases WHERE open = 1`).Scan(&each); err != nil {
		return err
	}
	if err := exec(`CREATE TEMP TABLE copies (breeder TEXT NOT NULL, suffix TEXT NOT NULL)`); err != nil {
		return err
	}
	statements := make([]string, len(copied))
	for i, c := range copied {
		if statements[i], err = c.statement(ctx, db); err != nil {
			return err
		}
	}
	// The day of what is due is far off: the load is not to share with the pass.
	if err := exec(`UPDATE cases SET due_at = due_at + 864000000 WHERE open = 1`); err != nil {
		return err
	}
	breeders := (n + each*copiesEach - 1) / (each * copiesEach)
	const together = 100
	for from := 0; from < breeders; from += together {
		tx, err := db.BeginTx(ctx, nil)
		if err != nil {
			return err
		}
		run := func(text string, args ...any) {
			if err == nil {
				_, err = tx.ExecContext(ctx, text, args...)
			}
		}
		run(`DELETE FROM copies`)
		for b := from; b < min(from+together, breeders); b++ {
			for k := range copiesEach {
				suffix := ""
				if k > 0 {
					suffix = fmt.Sprint("-", k)
				}
				run(`INSERT INTO copies VALUES ($1, $2)`, fmt.Sprintf("yard-%06d", b), suffix)
			}
		}
		for _, text := range statements {
			run(text)
		}
		if err == nil {
			err = tx.Commit()
		} else {
			err = errors.Join(err, tx.Rollback())
		}
		if err != nil {
			return err
		}
	}
	if p.url != "" {
		return exec(`ANALYZE`) // as its autovacuum does by itself in time
	}
	return exec(`PRAGMA wal_checkpoint(TRUNCATE)`)
}

func (c *copyOf) statement(ctx context.Context, db *sql.DB) (string, error) {
	rows, err := db.QueryContext(ctx, `SELECT * FROM `+c.table+` LIMIT 0`)
	if err != nil {
		return "", err
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		return "", err
	}
	suffix, keepers := strings.Fields(c.suffix), strings.Fields(c.keepers)
	values := make([]string, len(names))
	where := []string{`t.breeder_id = '` + template + `'`}
	if !slices.Contains(names, "breeder_id") {
		where = nil
	}
	if c.only != "" {
		where = append(where, c.only)
	}
	for i, name := range names {
		switch {
		case c.without[name] != "":
			values[i] = c.without[name]
		case name == "breeder_id":
			values[i] = `c.breeder`
		case slices.Contains(suffix, name):
			values[i] = `CASE WHEN t.` + name + ` = '' THEN '' ELSE t.` + name + ` || c.suffix END`
		case slices.Contains(keepers, name):
			values[i] = `CASE WHEN t.` + name + ` = '' THEN '' ELSE t.` + name + ` || '/' || c.breeder || c.suffix END`
		case name == "by_id" && c.suffix != "":
			values[i] = `CASE WHEN t.by_kind = 'keeper' THEN t.by_id || '/' || c.breeder || c.suffix ELSE t.by_id END`
		default:
			values[i] = `t.` + name
		}
	}
	if c.once {
		where = append(where, `c.suffix = ''`)
	}
	// In the order of the key, so that pages are filled one after the other.
	return `INSERT INTO ` + c.table + ` (` + strings.Join(names, ", ") + `) SELECT ` + strings.Join(values, ", ") +
		` FROM copies c CROSS JOIN ` + c.table + ` t WHERE ` + strings.Join(where, ` AND `) + ` ORDER BY 1, 2, 3`, rows.Err()
}

// signIn signs in those for whom the load acts, spread over all breeders.
func (p *place) signIn(ctx context.Context) (err error) {
	db, err := p.open()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	var breeders []string
	rows, err := db.QueryContext(ctx, `SELECT breeder_id FROM breeders WHERE breeder_id LIKE 'yard-%' ORDER BY breeder_id`)
	if err != nil {
		return err
	}
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return err
		}
		breeders = append(breeders, id)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	spread := func(i, of int) string { return breeders[i*len(breeders)/of] }
	s, err := store.Open(ctx, p.storeConfig())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	sessions, now := access.NewSessions(s), time.Now()
	return s.Write(ctx, func(tx care.Tx) error {
		p.followed, p.breeders = nil, nil
		for i := range breedersIn {
			breeder := spread(i, breedersIn)
			users, err := tx.ListUsers(breeder)
			if err != nil {
				return err
			}
			secret, err := sessions.Start(tx, care.Actor{Kind: care.BreederOwner, BreederID: breeder, UserID: users[0].ID}, "load", now)
			if err != nil {
				return err
			}
			p.breeders = append(p.breeders, signedIn{breeder, secret})
		}
		for i := range keepersIn {
			breeder := spread(i, keepersIn)
			cases, _, err := tx.ListCases(breeder, care.CaseQuery{Open: true}, care.Cursor{}, 100)
			if err != nil {
				return err
			}
			cases = slices.DeleteFunc(cases, func(c care.Case) bool { return c.KeeperID == "" })
			c := cases[i%len(cases)]
			log, err := tx.Log(breeder, c.AnimalID)
			if err != nil {
				return err
			}
			mass := 100.0
			for _, e := range log {
				if w, ok := e.Body.(care.WeighIn); ok {
					mass = float64(w.Mass)
				}
			}
			secret, err := sessions.Start(tx, care.Actor{Kind: care.KeeperActor, KeeperID: c.KeeperID}, "load", now)
			if err != nil {
				return err
			}
			p.followed = append(p.followed, followedCase{breeder, c.AnimalID, c.ID, secret, mass})
		}
		return nil
	})
}

// allMost is how many cases are all looked at at once, which no day asks for and which shows
// how many of them are due on the next.
const allMost = 20_000

// passed is what a pass did.
type passed struct {
	looked             int
	took, used, beside time.Duration // used is the processor time of this process; SQLite runs within it, and PostgreSQL beside it
}

func (d *passed) rate() float64 { return float64(d.looked) / d.took.Seconds() }

// passes has the pass look at all open cases, and then at those of the day after: what is
// due then, and a fifth of all as if something had been logged of them. Where there are
// too many for that, it looks at as large a share of them, evenly over the breeders, as
// was due on that day in a smaller place, or at fifty thousand.
func (o *options) passes(ctx context.Context, p *place, n int, share float64) (all, day passed, err error) {
	now := time.Now()
	if o.passMost == 0 {
		return all, day, nil
	}
	if n <= allMost {
		if err = p.makeDue(ctx, now, 100); err == nil {
			all, err = o.pass(ctx, p, now)
		}
		if err != nil {
			return all, day, err
		}
		now, share = now.Add(24*time.Hour), .2
	}
	if err = p.makeDue(ctx, now, int(math.Round(100*min(share, 50_000/float64(n))))); err == nil {
		day, err = o.pass(ctx, p, now)
	}
	return all, day, err
}

// makeDue makes the open cases of so many of a hundred breeders due.
func (p *place) makeDue(ctx context.Context, at time.Time, ofHundred int) error {
	db, err := p.open()
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, `UPDATE cases SET due_at = $1 WHERE open = 1 AND due_at > $1 AND breeder_id LIKE 'yard-%' AND 37 * CAST(substr(breeder_id, 6) AS INTEGER) % 100 < $2`, at.UnixMilli(), ofHundred)
	return errors.Join(err, db.Close())
}

// pass is as a server does it, for as long as it may take.
func (o *options) pass(ctx context.Context, p *place, now time.Time) (d passed, err error) {
	s, err := store.Open(ctx, p.storeConfig())
	if err != nil {
		return d, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	before, err := o.count(ctx, p, nil)
	if err != nil {
		return d, err
	}
	limited, stop := context.WithTimeout(ctx, o.passMost)
	defer stop()
	begun, used := time.Now(), processorTime()
	d.looked, err = followup.New(s, nil, nil).Pass(limited, now) // a pass makes no code and signs nothing
	if limited.Err() != nil && ctx.Err() == nil {
		err = nil // it may be stopped at any point
	}
	d.took, d.used = time.Since(begun), processorTime()-used
	if err != nil {
		return d, err
	}
	after, err := o.count(ctx, p, nil)
	d.beside = after.since(before).database
	return d, err
}

// processorTime is what this process has used so far.
func processorTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// newSchema makes an empty schema on a PostgreSQL server.
func newSchema(ctx context.Context, server, name string) (address string, drop func() error, err error) {
	u, err := url.Parse(server)
	if err != nil {
		return "", nil, err
	}
	run := func(text string) error {
		db, err := sql.Open("pgx", server)
		if err != nil {
			return err
		}
		_, err = db.ExecContext(context.WithoutCancel(ctx), text)
		return errors.Join(err, db.Close())
	}
	if err := run(`CREATE SCHEMA IF NOT EXISTS ` + name); err != nil {
		return "", nil, err
	}
	q := u.Query()
	q.Set("search_path", name)
	u.RawQuery = q.Encode()
	return u.String(), func() error { return run(`DROP SCHEMA ` + name + ` CASCADE`) }, nil
}
