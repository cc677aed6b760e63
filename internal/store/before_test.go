package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var keep = flag.Bool("keep", false, "write testdata/before.json anew: this program's statements are those of the release before, from now on")

// earlier is the schema that a release made, and what it asks of a database.
type earlier struct {
	Schema     int         `json:"schema"`
	Statements []statement `json:"statements"`
}

type statement struct {
	Op       string `json:"op"`
	SQLite   string `json:"sqlite"`
	Postgres string `json:"postgres"`
}

func (s *statement) in(d *dialect) string {
	if d == sqlite {
		return s.SQLite
	}
	return s.Postgres
}

// While servers are replaced one after the other, those of the release before go on
// serving on the new schema (expand first, contract a release later): each of its
// statements has to mean something there, what it inserts has to be taken without the
// columns that it does not know, and what it wrote before has to be readable.
func TestTheReleaseBeforeGoesOn(t *testing.T) {
	t.Parallel()
	file := filepath.Join("testdata", "before.json")
	if *keep {
		keepRelease(t, file)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var before earlier
	if err := json.Unmarshal(data, &before); err != nil || len(before.Statements) < 90 {
		t.Fatalf("%d statements, %v", len(before.Statements), err)
	}
	if before.Schema != compatibleSince {
		t.Errorf("programs of schema %d are said to go on, and those of %d are tried: correct compatibleSince", compatibleSince, before.Schema)
	}
	places(t, func(t *testing.T, c Config, db *sql.DB) {
		d, explain := sqlite, explainSQLite
		if c.URL != "" {
			d, explain = postgres, explainPostgres
		}
		ctx := t.Context()
		conn, err := db.Conn(ctx)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if d == postgres {
			if _, err := conn.ExecContext(ctx, `SELECT set_config('warmhand.breeder', '*', false)`); err != nil {
				t.Fatal(err)
			}
		}
		migrateAsThen(t, conn, d, before.Schema)
		fillAll(t, conn, d, before.Statements, "before")
		s := open(t, c) // a server of now
		if err := s.Check(ctx); err != nil {
			t.Errorf("what the release before wrote: %v", err)
		}
		fillAll(t, conn, d, before.Statements, "after")
		for _, was := range before.Statements {
			if _, _, err := explain(ctx, conn, was.in(d)); err != nil {
				t.Errorf("the release before can no longer %s: %v\n%s", was.Op, err, was.in(d))
			}
		}
	})
}

// keepRelease writes down what this program asks.
func keepRelease(t *testing.T, file string) {
	t.Helper()
	var now earlier
	files, err := sqlite.migrations()
	if err != nil {
		t.Fatal(err)
	}
	steps, err := readMigrations(files)
	if err != nil {
		t.Fatal(err)
	}
	now.Schema = len(steps)
	flat := func(text string) string { return strings.Join(strings.Fields(text), " ") }
	for _, q := range queries {
		s := statement{q.op, flat(q.sqlite), flat(q.postgres)}
		if verb, _, _ := strings.Cut(s.SQLite, " "); slices.Contains([]string{"SELECT", "INSERT", "UPDATE", "DELETE"}, verb) && !slices.Contains(now.Statements, s) {
			now.Statements = append(now.Statements, s)
		}
	}
	slices.SortFunc(now.Statements, func(a, b statement) int { return strings.Compare(a.SQLite, b.SQLite) })
	var text bytes.Buffer
	out := json.NewEncoder(&text)
	out.SetEscapeHTML(false)
	out.SetIndent("", " ")
	if err := out.Encode(now); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, text.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// migrateAsThen makes the schema of an earlier program.
func migrateAsThen(t *testing.T, conn *sql.Conn, d *dialect, version int) {
	t.Helper()
	files, err := d.migrations()
	if err != nil {
		t.Fatal(err)
	}
	steps, err := readMigrations(files)
	if err != nil || len(steps) < version {
		t.Fatalf("%d migrations, %v", len(steps), err)
	}
	for _, step := range append(steps[:version:version], `CREATE TABLE schema_version (version INTEGER NOT NULL)`, fmt.Sprint(`INSERT INTO schema_version VALUES (`, version, `)`)) {
		if _, err := conn.ExecContext(context.Background(), step); err != nil {
			t.Fatal(err)
		}
	}
}

var insertion = regexp.MustCompile(`^INSERT INTO (\w+) \(([^)]*)\) VALUES \([?$\d, ]*\)`)

// fillAll adds a row to each table that the statements insert into, with a value in
// each column that they name.
func fillAll(t *testing.T, conn *sql.Conn, d *dialect, statements []statement, word string) {
	t.Helper()
	ctx := t.Context()
	type row struct {
		table, text string
		values      []any
	}
	var waiting []row
	tables := map[string]bool{}
	for _, s := range statements {
		m := insertion.FindStringSubmatch(s.in(d))
		if m == nil || tables[m[1]] {
			continue
		}
		tables[m[1]] = true
		r := row{table: m[1], text: s.in(d)}
		for _, column := range strings.Split(m[2], ", ") {
			list := `SELECT lower(type) FROM pragma_table_info($1) WHERE name = $2`
			if d == postgres {
				list = `SELECT data_type FROM information_schema.columns WHERE table_schema = current_schema() AND table_name = $1 AND column_name = $2`
			}
			var kind string
			if err := conn.QueryRowContext(ctx, list, m[1], column).Scan(&kind); err != nil {
				t.Fatalf("%s.%s is gone: %v", m[1], column, err)
			}
			if m[1] == "cases" && column == "closed_at" {
				r.values = append(r.values, nil) // for it is open
				continue
			}
			switch kind {
			case "text":
				r.values = append(r.values, word)
			case "integer", "bigint", "smallint", "real", "double precision":
				r.values = append(r.values, 1) // yes, where it is a truth
			case "blob", "bytea":
				r.values = append(r.values, []byte(word))
			case "json", "jsonb":
				r.values = append(r.values, `{}`)
			default:
				t.Fatalf("%s.%s is a %s", m[1], column, kind)
			}
		}
		waiting = append(waiting, r)
	}
	if len(waiting) < 15 {
		t.Fatalf("%d tables", len(waiting))
	}
	// What others refer to goes first: whatever order that is, each round adds some.
	for len(waiting) > 0 {
		var left []row
		var last error
		for _, r := range waiting {
			result, err := conn.ExecContext(ctx, r.text, r.values...)
			if err != nil {
				left, last = append(left, r), fmt.Errorf("%s: %w", r.text, err)
				continue
			}
			if n, err := result.RowsAffected(); err != nil || n != 1 {
				t.Errorf("%s: %d rows, %v", r.table, n, err)
			}
		}
		if len(left) == len(waiting) {
			t.Fatalf("a row of the release before is not taken (%s): %v", word, last)
		}
		waiting = left
	}
}
