package store

import (
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"testing"

	"warmhand/internal/store/storetest"
)

// directories are the tables that are not the breeder's: they are asked before it is known who
// calls, or belong to a keeper with animals of several breeders. They are small, and a split
// database keeps them by their own key.
var directories = []string{"answered", "discarded", "keepers", "kept", "passkeys", "secrets", "ways"}

// goAcross are the queries that name no breeder, by what they do and the table, and what for. A
// split database asks each part; server/deploy/SCALE.md says what each costs and what to do about it.
var goAcross = map[string]string{
	"read card: cards":                     "by a code, or those of a keeper",
	"read handover: handovers":             "by a code",
	"read case: cases":                     "those of a keeper",
	"claim due cases: cases":               "the pass",
	"look at cases: cases":                 "the pass; each of many keys is in one part",
	"look at animals: animals":             "the same",
	"look at entries: entries":             "the same",
	"look at flags: flags":                 "the same",
	"read person's hours: reminder_hours":  "the pass over reminders",
	"read import: imports":                 "those to be gone on with",
	"read breeder: breeders":               "those to be erased, and the operator's list",
	"list discarded photos: photos":        "whether another breeder has the picture",
	"list photo hashes: photos":            "warmhand check",
	"delete old looks: looks":              "the sweep",
	"delete old drafts: imports":           "the sweep",
	"delete old reminders: reminders":      "the sweep",
	"bring cases forward: cases":           "the sweep",
	"bring people forward: reminder_hours": "the sweep",
	"count: animals":                       "warmhand backup and check",
	"count: breeders":                      "the same",
	"count: cases":                         "the same",
	"count: entries":                       "the same",
}

// Each key begins with the breeder, so that a database may be split by breeder and answers from the
// one part that holds the breeder's rows: here the schema is made anew in parts, by hash of
// breeder_id, and the planner of PostgreSQL, which leaves out the parts that cannot hold an answer,
// is asked which are left of each query.
func TestSplitsByBreeder(t *testing.T) {
	t.Parallel()
	address := storetest.Schema(t)
	s := open(t, Config{URL: address})
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	split := splitTables(t, address)
	plans, err := Plans(t.Context(), Config{URL: address + "&options=-c%20enable_seqscan%3Doff"})
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{}
	inOne := 0
	for _, p := range plans {
		across := false
		for _, table := range split {
			if !slices.ContainsFunc(p.Steps, func(step string) bool {
				return strings.Contains(step, "Scan") && strings.Contains(step, " on "+table+"_part_")
			}) {
				continue // with no breeder given, each part was left out
			}
			across = true
			key := p.Query + ": " + table
			if used[key] = true; goAcross[key] == "" {
				t.Errorf("%s asks all parts of %s:\n%s\n  %s", p.Query, table, p.Text, strings.Join(p.Steps, "\n  "))
			}
		}
		if !across {
			inOne++
		}
	}
	for key := range goAcross {
		if !used[key] {
			t.Errorf("%s asks one part: take it from the list", key)
		}
	}
	t.Logf("%d of %d queries ask one part or a directory", inOne, len(plans))
}

// splitTables makes parts of each table of the breeder's and returns their names.
func splitTables(t *testing.T, address string) (split []string) {
	t.Helper()
	db, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	list := func(query string, args ...any) []string {
		t.Helper()
		all, err := texts(t.Context(), db, query, args...)
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	const parts = 4
	var whole, acrossUnique []string
	for _, table := range list(`SELECT tablename FROM pg_tables WHERE schemaname = current_schema ORDER BY 1`) {
		key := list(`SELECT pg_get_constraintdef(oid) FROM pg_constraint WHERE conrelid = $1::regclass AND contype = 'p'`, table)
		if len(key) == 0 {
			continue // the schema's version
		}
		if !strings.HasPrefix(key[0], "PRIMARY KEY (breeder_id") {
			whole = append(whole, table)
			continue
		}
		split = append(split, table)
		statements := []string{
			fmt.Sprintf(`ALTER TABLE %[1]s RENAME TO %[1]s_whole`, table),
			fmt.Sprintf(`CREATE TABLE %[1]s (LIKE %[1]s_whole INCLUDING DEFAULTS INCLUDING CONSTRAINTS) PARTITION BY HASH (breeder_id)`, table),
			fmt.Sprintf(`ALTER TABLE %s ADD %s`, table, key[0]), // PostgreSQL refuses a key without what it is split by
		}
		for part := range parts {
			statements = append(statements, fmt.Sprintf(`CREATE TABLE %[1]s_part_%[2]d PARTITION OF %[1]s FOR VALUES WITH (MODULUS %[3]d, REMAINDER %[2]d)`, table, part, parts))
		}
		indexes := list(`SELECT indexdef FROM pg_indexes WHERE schemaname = current_schema AND tablename = $1 AND indexname NOT LIKE '%_pkey'`, table)
		statements = append(statements, fmt.Sprintf(`DROP TABLE %s_whole CASCADE`, table))
		for _, index := range indexes {
			if strings.HasPrefix(index, "CREATE UNIQUE INDEX") && !strings.Contains(index, "(breeder_id") {
				acrossUnique = append(acrossUnique, strings.Fields(index)[3])
				index = strings.Replace(index, "UNIQUE", "", 1)
			}
			statements = append(statements, index)
		}
		for _, statement := range statements {
			if _, err := db.ExecContext(t.Context(), statement); err != nil {
				t.Fatalf("%s: %v", statement, err)
			}
		}
	}
	if !slices.Equal(whole, directories) {
		t.Errorf("the keys of %v do not begin with the breeder; of %v they need not", whole, directories)
	}
	// Codes are found without a breeder: they want a directory, which keeps them apart too.
	if want := []string{"cards_by_code", "handovers_by_code"}; !slices.Equal(acrossUnique, want) {
		t.Errorf("%v are unique across breeders, not only %v", acrossUnique, want)
	}
	return split
}
