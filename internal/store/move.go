package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// Moved is what a table holds after Move, the same on both sides.
type Moved struct {
	Table  string
	Rows   int64
	Digest string // SHA-256 of all rows in the order of the key, as hex
}

// moveBatch is how many rows go in one transaction: what an interrupted move
// has to do again.
const moveBatch = 500

// Move copies all that one database holds into another, which must be empty or
// hold what an earlier, interrupted Move of the same copied: it goes on behind
// that. Then it reads both from end to end, and what is not the same on both
// sides is an error that names the table. Neither may be written to meanwhile.
// The engines may be the same or not. tell hears how far a table is; it may be
// nil.
func Move(ctx context.Context, from, to Config, tell func(table string, rows int64)) (done []Moved, err error) {
	tables, err := schemaTables(ctx)
	if err != nil {
		return nil, err
	}
	source, err := openBare(ctx, from)
	if err != nil {
		return nil, fmt.Errorf("what is to be moved: %w", err)
	}
	defer func() { err = errors.Join(err, source.close()) }()
	target, err := openBare(ctx, to)
	if err != nil {
		return nil, fmt.Errorf("where it is to go: %w", err)
	}
	defer func() { err = errors.Join(err, target.close()) }()
	begun := make([][]any, len(tables))
	for i, t := range tables { // all, before the first row goes anywhere
		if begun[i], err = t.begun(ctx, source, target); err != nil {
			return nil, err
		}
	}
	for i, t := range tables {
		if err := t.copy(ctx, source, target, begun[i], tell); err != nil {
			return nil, fmt.Errorf("moving %s: %w", t.name, err)
		}
	}
	for _, t := range tables {
		a, err := t.digest(ctx, source)
		if err != nil {
			return nil, fmt.Errorf("comparing %s: %w", t.name, err)
		}
		b, err := t.digest(ctx, target)
		if err != nil {
			return nil, fmt.Errorf("comparing %s: %w", t.name, err)
		}
		if a != b {
			return nil, fmt.Errorf("%s has %d rows here and %d there, or others: one of the two was written to. Stop what uses them, and move into an empty database", t.name, a.Rows, b.Rows)
		}
		done = append(done, a)
	}
	return done, nil
}

// bare is a database as SQL alone, with the schema up to date.
type bare struct {
	*sql.DB
	d     *dialect
	close func() error
}

func openBare(ctx context.Context, c Config) (*bare, error) {
	s, err := Open(ctx, c)
	if err != nil {
		return nil, err
	}
	if behind, err := s.Everything().Behind(ctx); err != nil || behind {
		if err == nil {
			err = errors.New("it has tables that this program does not know: move it with the newer program that made them")
		}
		return nil, errors.Join(err, s.Close())
	}
	switch e := s.engine.(type) {
	case *sqliteEngine: // its writer has the one connection that may write
		if err := s.Close(); err != nil {
			return nil, err
		}
		db, err := sql.Open("sqlite3", e.address(writePragmas))
		if err != nil {
			return nil, err
		}
		db.SetMaxOpenConns(1)
		return &bare{db, sqlite, db.Close}, nil
	case *postgresEngine:
		if err := s.Close(); err != nil {
			return nil, err
		}
		config, err := pgx.ParseConfig(c.URL)
		if err != nil {
			return nil, err
		}
		db := stdlib.OpenDB(*config, stdlib.OptionAfterConnect(func(ctx context.Context, conn *pgx.Conn) error {
			_, err := conn.Exec(ctx, `SELECT set_config('warmhand.breeder', '*', false)`)
			return err
		}))
		return &bare{db, postgres, db.Close}, nil
	}
	return nil, errors.Join(fmt.Errorf("%T has no tables to move", s.engine), s.Close())
}

// moveTable is one table as its migrations made it.
type moveTable struct {
	name  string
	keys  []string // of the primary key, in its order
	names []string // all columns that are not computed
	kinds []string // INTEGER, REAL, TEXT or BLOB
	needs []string // tables that rows refer to
}

// schemaTables reads the tables off an empty database, those first that others
// refer to.
func schemaTables(ctx context.Context) (sorted []moveTable, err error) {
	db, err := sql.Open("sqlite3", ":memory:")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1) // each connection has a memory of its own
	if err := migrate(ctx, db, sqlite); err != nil {
		return nil, err
	}
	names, err := texts(ctx, db, `SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> 'schema_version' ORDER BY name`)
	if err != nil {
		return nil, err
	}
	var waiting []moveTable
	for _, name := range names {
		t := moveTable{name: name}
		if t.keys, err = texts(ctx, db, `SELECT name FROM pragma_table_info(?1) WHERE pk > 0 ORDER BY pk`, name); err != nil {
			return nil, err
		}
		if t.names, err = texts(ctx, db, `SELECT name FROM pragma_table_info(?1) ORDER BY cid`, name); err != nil {
			return nil, err
		}
		if t.kinds, err = texts(ctx, db, `SELECT type FROM pragma_table_info(?1) ORDER BY cid`, name); err != nil {
			return nil, err
		}
		if t.needs, err = texts(ctx, db, `SELECT DISTINCT "table" FROM pragma_foreign_key_list(?1) WHERE "table" <> ?1`, name); err != nil {
			return nil, err
		}
		if len(t.keys) == 0 {
			return nil, fmt.Errorf("the table %s has no key to move it by", name)
		}
		waiting = append(waiting, t)
	}
	for len(waiting) > 0 {
		i := slices.IndexFunc(waiting, func(t moveTable) bool {
			return !slices.ContainsFunc(waiting, func(other moveTable) bool { return slices.Contains(t.needs, other.name) })
		})
		if i < 0 {
			return nil, errors.New("the tables refer to each other in a circle")
		}
		sorted, waiting = append(sorted, waiting[i]), slices.Delete(waiting, i, i+1)
	}
	return sorted, nil
}

func texts(ctx context.Context, db *sql.DB, query string, args ...any) (out []string, err error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

// numbered is ?1, ?2, ... or the same as PostgreSQL has it.
func (b *bare) numbered(n int) string {
	sign := "?"
	if b.d == postgres {
		sign = "$"
	}
	list := make([]string, n)
	for i := range list {
		list[i] = sign + strconv.Itoa(i+1)
	}
	return strings.Join(list, ", ")
}

// after reads rows in the order of the key, behind one key; nil for the first.
func (t *moveTable) after(ctx context.Context, b *bare, key []any) (rows [][]any, err error) {
	keys := strings.Join(t.keys, ", ")
	query := `SELECT ` + strings.Join(t.names, ", ") + ` FROM ` + t.name
	if key != nil {
		query += ` WHERE (` + keys + `) > (` + b.numbered(len(key)) + `)`
	}
	result, err := b.QueryContext(ctx, query+` ORDER BY `+keys+` LIMIT `+strconv.Itoa(moveBatch), key...)
	if err != nil {
		return nil, err
	}
	defer result.Close()
	for result.Next() {
		row, into := make([]any, len(t.names)), make([]any, len(t.names))
		for i := range row {
			into[i] = &row[i]
		}
		if err := result.Scan(into...); err != nil {
			return nil, err
		}
		for i := range row {
			if row[i], err = sameKind(t.kinds[i], row[i]); err != nil {
				return nil, fmt.Errorf("column %s: %w", t.names[i], err)
			}
		}
		rows = append(rows, row)
	}
	return rows, result.Err()
}

// sameKind is a value as both drivers give it.
func sameKind(kind string, v any) (any, error) {
	switch x := v.(type) {
	case nil:
		return nil, nil
	case int64:
		switch kind {
		case "INTEGER":
			return x, nil
		case "REAL":
			return float64(x), nil
		}
	case float64:
		if kind == "REAL" {
			return x, nil
		}
	case string:
		if kind == "TEXT" {
			return x, nil
		}
	case []byte:
		switch kind {
		case "BLOB":
			return slices.Clone(x), nil
		case "TEXT":
			return string(x), nil
		}
	}
	return nil, fmt.Errorf("%T in a column of %s", v, kind)
}

func (t *moveTable) key(row []any) []any {
	out := make([]any, len(t.keys))
	for i, k := range t.keys {
		out[i] = row[slices.Index(t.names, k)]
	}
	return out
}

// begun is the key up to which a target has the source's rows already, nil for
// none. Rows of any other kind are an error: they are somebody's.
func (t *moveTable) begun(ctx context.Context, from, to *bare) (key []any, err error) {
	for {
		there, err := t.after(ctx, to, key)
		if err != nil || len(there) == 0 {
			return key, err
		}
		here, err := t.after(ctx, from, key)
		if err != nil {
			return nil, err
		}
		if len(here) < len(there) || !reflect.DeepEqual(here[:len(there)], there) {
			return nil, fmt.Errorf("the table %s there holds something else already: move into an empty database", t.name)
		}
		key = t.key(there[len(there)-1])
	}
}

func (t *moveTable) copy(ctx context.Context, from, to *bare, key []any, tell func(string, int64)) error {
	insert := `INSERT INTO ` + t.name + ` (` + strings.Join(t.names, ", ") + `) VALUES (` + to.numbered(len(t.names)) + `)`
	for n := int64(0); ; {
		rows, err := t.after(ctx, from, key)
		if err != nil || len(rows) == 0 {
			return err
		}
		tx, err := to.BeginTx(ctx, nil)
		if err != nil {
			return err
		}
		for _, row := range rows {
			if _, err := tx.ExecContext(ctx, insert, row...); err != nil {
				return errors.Join(err, ignoreDone(tx.Rollback()))
			}
		}
		if err := tx.Commit(); err != nil {
			return err
		}
		n += int64(len(rows))
		if tell != nil {
			tell(t.name, n)
		}
		key = t.key(rows[len(rows)-1])
	}
}

func (t *moveTable) digest(ctx context.Context, b *bare) (Moved, error) {
	sum := sha256.New()
	out := Moved{Table: t.name}
	for key := []any(nil); ; {
		rows, err := t.after(ctx, b, key)
		if err != nil {
			return out, err
		}
		if len(rows) == 0 {
			out.Digest = hex.EncodeToString(sum.Sum(nil))
			return out, nil
		}
		for _, row := range rows {
			for _, v := range row {
				writeValue(sum, v)
			}
		}
		out.Rows += int64(len(rows))
		key = t.key(rows[len(rows)-1])
	}
}

// writeValue writes a value so that no two rows give the same bytes.
func writeValue(to hash.Hash, v any) {
	var head [9]byte
	tail := ""
	switch x := v.(type) {
	case nil:
	case int64:
		head[0] = 'i'
		binary.BigEndian.PutUint64(head[1:], uint64(x))
	case float64:
		head[0] = 'f'
		binary.BigEndian.PutUint64(head[1:], math.Float64bits(x))
	case string:
		head[0], tail = 't', x
		binary.BigEndian.PutUint64(head[1:], uint64(len(x)))
	case []byte:
		head[0], tail = 'b', string(x)
		binary.BigEndian.PutUint64(head[1:], uint64(len(x)))
	}
	to.Write(head[:])
	to.Write([]byte(tail))
}
