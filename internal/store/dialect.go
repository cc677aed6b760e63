package store

import (
	"embed"
	"io/fs"
	"regexp"
	"strings"
)

//go:embed migrations
var migrations embed.FS

// dialect is what differs between the engines, apart from how each connects
// and commits.
type dialect struct {
	name string
	// text picks the engine's form of a query.
	text func(*query) string
	// lockSchema is run in the migrating transaction before the version is
	// read, so that two programs starting at once migrate one after the other,
	// each with all rows in reach.
	lockSchema string
	// hasTable finds the version table.
	hasTable string
	// fail maps a driver error; op names the operation for the log.
	fail func(op string, err error) error
}

var sqlite = &dialect{
	name:       "sqlite",
	text:       func(q *query) string { return q.sqlite },
	lockSchema: `SELECT 1`, // _txlock=immediate holds the write lock already
	hasTable:   `SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'schema_version'`,
	fail:       sqliteError,
}

var postgres = &dialect{
	name:       "postgres",
	text:       func(q *query) string { return q.postgres },
	lockSchema: `SELECT set_config('warmhand.breeder', '*', true) FROM pg_advisory_xact_lock(7239150411)`, // any number that is ours
	hasTable:   `SELECT count(*) FROM information_schema.tables WHERE table_schema = current_schema() AND table_name = 'schema_version'`,
	fail:       postgresError,
}

func (d *dialect) migrations() (fs.FS, error) { return fs.Sub(migrations, "migrations/"+d.name) }

// query is one query text in both forms. Texts are written with ?N, which
// SQLite binds by number. The other way round would be wrong without a sound:
// SQLite takes $N for a name and binds by first appearance.
type query struct {
	op               string // names the operation in errors
	sqlite, postgres string
	lets             bool // it changes who is let in
}

var placeholder = regexp.MustCompile(`\?(\d+)`)

// each is a list argument, a JSON array of texts: the engines have no list
// parameter in common.
var each = regexp.MustCompile(`EACH\((\?\d+)\)`)

// keyed are the rows of a table under each of many keys of a breeder and one column
// more: a list argument of arrays of two. The engine is told to take key by key,
// since it cannot know that a prepared statement's are few.
var keyed = regexp.MustCompile(`KEYED\((\w+) (\w+) (\?\d+)\)`)

// unlessTaken leaves out rows that another transaction has just taken; SQLite has
// one that writes.
const unlessTaken = "UNLESS TAKEN"

// letsIn finds what changes the rows by which somebody is let in.
var letsIn = regexp.MustCompile(`(?:INSERT INTO|UPDATE|DELETE FROM) (?:secrets|users)\b`)

// newQuery is for the program's own texts, all of which Plans explains; it must
// be called before main begins.
func newQuery(op, text string) *query {
	q := inBoth(op, text)
	queries = append(queries, q)
	return q
}

func inBoth(op, text string) *query {
	lite := each.ReplaceAllString(strings.ReplaceAll(text, unlessTaken, ""), `(SELECT value FROM json_each($1))`)
	post := each.ReplaceAllString(strings.ReplaceAll(text, unlessTaken, "FOR UPDATE SKIP LOCKED"), `(SELECT jsonb_array_elements_text($1::jsonb))`)
	return &query{op: op, lets: letsIn.MatchString(text),
		sqlite: keyed.ReplaceAllString(lite, `json_each($3) k CROSS JOIN $1 ON breeder_id = k.value ->> 0 AND $2 = k.value ->> 1`),
		postgres: placeholder.ReplaceAllString(keyed.ReplaceAllString(post,
			`jsonb_array_elements($3::jsonb) k CROSS JOIN LATERAL (SELECT * FROM $1 WHERE breeder_id = k.value ->> 0 AND $2 = k.value ->> 1 OFFSET 0) $1`), `$$$1`)}
}
