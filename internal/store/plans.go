package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Plan is how an engine means to run one of the store's queries.
type Plan struct {
	Query string // what it does
	Text  string
	Steps []string // the engine's own words, one line each
	// Scans are the tables that it reads from end to end, however few rows it is
	// asked for: what grows with the database.
	Scans []string
}

// queries are all that were made, in the order of the program's texts.
var queries []*query

// Plans asks the engine how it would run each query on the database as it is,
// whatever the arguments. The database has to have the schema of this program.
func Plans(ctx context.Context, c Config) (plans []Plan, err error) {
	b, err := openBare(ctx, c)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, b.close()) }()
	conn, err := b.Conn(ctx)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	explain := explainSQLite
	if b.d == postgres {
		explain = explainPostgres
		// As for a statement that a server has prepared long ago.
		if _, err := conn.ExecContext(ctx, `SET plan_cache_mode = force_generic_plan`); err != nil {
			return nil, err
		}
	}
	var seen []string
	for _, q := range queries {
		text := b.d.text(q)
		if verb, _, _ := strings.Cut(text, " "); !slices.Contains([]string{"SELECT", "INSERT", "UPDATE", "DELETE"}, verb) || slices.Contains(seen, text) {
			continue
		}
		seen = append(seen, text)
		p := Plan{Query: q.op, Text: strings.Join(strings.Fields(text), " ")}
		if p.Steps, p.Scans, err = explain(ctx, conn, text); err != nil {
			return nil, fmt.Errorf("the plan to %s: %w", q.op, err)
		}
		plans = append(plans, p)
	}
	return plans, nil
}

var (
	numbered     = regexp.MustCompile(`[?$](\d+)`)
	sqliteScan   = regexp.MustCompile(`^SCAN (\w+)`)
	postgresScan = regexp.MustCompile(`(?:Seq Scan) on (\w+)`)
)

// arguments is how many a text has.
func arguments(text string) (n int) {
	for _, m := range numbered.FindAllStringSubmatch(text, -1) {
		if i, err := strconv.Atoi(m[1]); err == nil {
			n = max(n, i)
		}
	}
	return n
}

func explainSQLite(ctx context.Context, conn *sql.Conn, text string) (steps, scans []string, err error) {
	rows, err := conn.QueryContext(ctx, `EXPLAIN QUERY PLAN `+text, make([]any, arguments(text))...)
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	depth := map[int]int{}
	for rows.Next() {
		var id, parent, unused int
		var detail string
		if err := rows.Scan(&id, &parent, &unused, &detail); err != nil {
			return nil, nil, err
		}
		depth[id] = depth[parent] + 1
		steps = append(steps, strings.Repeat("  ", depth[parent])+detail)
		// A constant row and a list argument, which is a virtual table, are short.
		if m := sqliteScan.FindStringSubmatch(detail); m != nil && m[1] != "CONSTANT" && !strings.Contains(detail, "VIRTUAL TABLE") && !strings.HasPrefix(m[1], "SUBQUERY") {
			scans = append(scans, m[1])
		}
	}
	return steps, scans, rows.Err()
}

func explainPostgres(ctx context.Context, conn *sql.Conn, text string) (steps, scans []string, err error) {
	if _, err := conn.ExecContext(ctx, `PREPARE asked AS `+text); err != nil {
		return nil, nil, err
	}
	defer func() {
		_, endErr := conn.ExecContext(ctx, `DEALLOCATE asked`)
		err = errors.Join(err, endErr)
	}()
	given := ""
	if n := arguments(text); n > 0 {
		given = "(NULL" + strings.Repeat(", NULL", n-1) + ")"
	}
	rows, err := conn.QueryContext(ctx, `EXPLAIN (COSTS OFF) EXECUTE asked`+given)
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return nil, nil, err
		}
		steps = append(steps, line)
		if m := postgresScan.FindStringSubmatch(line); m != nil {
			scans = append(scans, m[1])
		}
	}
	return steps, scans, rows.Err()
}
