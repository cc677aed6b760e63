package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// tx is one transaction as the domain sees it.
type tx struct {
	ctx  context.Context // the caller's; looked at between statements
	d    *dialect
	conn runner
	// failed is the first operation that the database failed, as the caller is
	// told; cause is what the driver said.
	failed, cause error
	over          bool // the callback returned
	lets          bool // who is let in was changed
}

// runner runs statements inside the engine's transaction.
type runner interface {
	// exec runs statements one after the other and returns how many rows each changed;
	// of those before the one that failed, if one did.
	exec(list ...change) (changed []int64, err error)
	// query runs queries one after the other and has each read what it found; answered
	// are those before the one that failed.
	query(list ...asked) (answered int, err error)
}

// rows are what a query found.
type rows interface {
	Next() bool
	Scan(to ...any) error
	Err() error
}

// asked is a query that finds something, and what is done with that.
type asked struct {
	change
	read func(rows) error
}

// change is a statement with its arguments as bind leaves them.
type change struct {
	q    *query
	args []any
}

// usable says why no statement may run any more, if so. After a failure the
// engines differ in what is left of the transaction, so nothing is: a
// statement that ran on would be kept on one and not on the other.
func (t *tx) usable() error {
	if t.over {
		return errors.New("a transaction was used after its callback returned")
	}
	if t.failed != nil {
		return t.failed
	}
	t.failed = t.ctx.Err() // what was left out must not be missing from a commit
	return t.failed
}

func (t *tx) fail(q *query, err error) error {
	t.cause, t.failed = err, t.d.fail(q.op, err)
	return t.failed
}

// exec runs a statement and returns how many rows it changed.
func (t *tx) exec(q *query, args ...any) (int64, error) {
	n, err := t.execs([]change{{q, args}})
	if err != nil {
		return 0, err
	}
	return n[0], nil
}

// execs is exec for many that do not look at each other's numbers, in one way there
// and back.
func (t *tx) execs(list []change) ([]int64, error) {
	if err := t.usable(); err != nil || len(list) == 0 {
		return nil, err
	}
	for _, c := range list {
		if err := bind(c.args); err != nil {
			return nil, err
		}
		t.lets = t.lets || c.q.lets
	}
	n, err := t.conn.exec(list...)
	if err != nil {
		return nil, t.fail(list[min(len(n), len(list)-1)].q, err)
	}
	return n, nil
}

// ask runs queries, in one way there and back.
func (t *tx) ask(list ...asked) error {
	if err := t.usable(); err != nil {
		return err
	}
	for _, a := range list {
		if err := bind(a.args); err != nil {
			return err
		}
	}
	n, err := t.conn.query(list...)
	if err != nil {
		return t.fail(list[min(n, len(list)-1)].q, err)
	}
	return nil
}

// into asks for all rows of a query. row names where the columns go; it is called
// once, and what it scans into must be set anew for each row.
func into[T any](all *[]T, q *query, row func(*T) []any, args ...any) asked {
	return asked{change{q, args}, func(found rows) error {
		var v T
		to := row(&v)
		for found.Next() {
			if err := found.Scan(to...); err != nil {
				return err
			}
			*all = append(*all, v)
		}
		return found.Err()
	}}
}

// insert adds a row, or reports that its key is taken. It does so without an
// error of the driver, after which PostgreSQL would let the transaction do
// nothing more; callers want to look at what is there.
func (t *tx) insert(q *query, args ...any) error {
	n, err := t.exec(q, args...)
	if err == nil && n == 0 {
		return idReused()
	}
	return err
}

// update changes the one row that the key names.
func (t *tx) update(q *query, what string, args ...any) error {
	n, err := t.exec(q, args...)
	if err == nil && n == 0 {
		return care.Missing(what)
	}
	return err
}

// swap is update for rows with a version; no row changed means a row that is
// missing, which exists finds out, or one that somebody changed meanwhile.
func (t *tx) swap(q *query, exists func() error, args ...any) error {
	n, err := t.exec(q, args...)
	if err != nil || n > 0 {
		return err
	}
	return t.changedMeanwhile(exists)
}

// changedMeanwhile says why a row with a version was not changed.
func (t *tx) changedMeanwhile(exists func() error) error {
	if err := exists(); err != nil {
		return err
	}
	return &care.Error{
		Code: care.Stale, Reason: care.ReasonStale,
		Text: words.Say("Somebody else changed this meanwhile. Please look at it again and repeat your change."),
	}
}

// list reads all rows of a query, see into.
func list[T any](t *tx, q *query, row func(*T) []any, args ...any) (all []T, err error) {
	if err := t.ask(into(&all, q, row, args...)); err != nil {
		return nil, err
	}
	return all, nil
}

// get reads the one row of a query.
func get[T any](t *tx, q *query, row func(*T) []any, what string, args ...any) (T, error) {
	all, err := list(t, q, row, args...)
	if err == nil && len(all) == 0 {
		err = care.Missing(what)
	}
	if err != nil {
		var none T
		return none, err
	}
	return all[0], nil
}

// page reads limit rows and the cursor of the last, which is zero when there
// are no more. The last argument of the query is its limit.
func page[T any](t *tx, q *query, row func(*T) []any, at func(*T) care.Cursor, limit int, args ...any) ([]T, care.Cursor, error) {
	if limit < 1 || limit == math.MaxInt {
		return nil, care.Cursor{}, fmt.Errorf("%s: a page of %d rows was asked for", q.op, limit)
	}
	all, err := list(t, q, row, append(args, limit+1)...)
	if err != nil || len(all) <= limit {
		return all, care.Cursor{}, err
	}
	all = all[:limit]
	return all, at(&all[limit-1]), nil
}

// table describes the columns of one table, to write its plain statements.
type table struct {
	name, what string
	key        int      // how many leading columns are the primary key
	columns    []string // in the order in which the row function lists them
	derived    []string // written after them, never read: they serve WHERE
}

func columns(names string) []string { return strings.Fields(names) }

func (tb *table) selectFrom() string {
	return "SELECT " + strings.Join(tb.columns, ", ") + " FROM " + tb.name + " "
}

func (tb *table) selectQuery(rest string) *query {
	return newQuery("read "+tb.what, tb.selectFrom()+rest)
}

func (tb *table) byKey() string {
	var is []string
	for i, c := range tb.columns[:tb.key] {
		is = append(is, fmt.Sprintf("%s = ?%d", c, i+1))
	}
	return "WHERE " + strings.Join(is, " AND ")
}

func (tb *table) getQuery() *query { return tb.selectQuery(tb.byKey()) }

// keyedQuery reads the rows of many keys, given as pairsOf has them, in no order.
func (tb *table) keyedQuery(column string) *query {
	return newQuery("look at "+tb.name, "SELECT "+strings.Join(tb.columns, ", ")+" FROM KEYED("+tb.name+" "+column+" ?1)")
}

func (tb *table) insertText() string {
	all := append(tb.columns[:len(tb.columns):len(tb.columns)], tb.derived...)
	marks := make([]string, len(all))
	for i := range all {
		marks[i] = fmt.Sprintf("?%d", i+1)
	}
	return "INSERT INTO " + tb.name + " (" + strings.Join(all, ", ") + ") VALUES (" + strings.Join(marks, ", ") + ") "
}

func (tb *table) insertQuery() *query {
	return newQuery("insert "+tb.what, tb.insertText()+"ON CONFLICT DO NOTHING")
}

// putQuery inserts, or replaces all but the key.
func (tb *table) putQuery() *query {
	var set []string
	for _, c := range tb.columns[tb.key:] {
		set = append(set, c+" = excluded."+c)
	}
	key := strings.Join(tb.columns[:tb.key], ", ")
	return newQuery("put "+tb.what, tb.insertText()+"ON CONFLICT ("+key+") DO UPDATE SET "+strings.Join(set, ", "))
}

// updateQuery takes the arguments of insertQuery. A version column is compared
// and counted up.
func (tb *table) updateQuery() *query {
	var set []string
	where := tb.byKey()
	for i, c := range append(tb.columns[:len(tb.columns):len(tb.columns)], tb.derived...) {
		switch {
		case i < tb.key:
		case c == "version":
			set = append(set, "version = version + 1")
			where += fmt.Sprintf(" AND version = ?%d", i+1)
		default:
			set = append(set, fmt.Sprintf("%s = ?%d", c, i+1))
		}
	}
	return newQuery("update "+tb.what, "UPDATE "+tb.name+" SET "+strings.Join(set, ", ")+" "+where)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// checkText refuses what PostgreSQL cannot keep as text, on both engines.
func checkText(s string) error {
	if !utf8.ValidString(s) || strings.IndexByte(s, 0) >= 0 {
		return &care.Error{
			Code: care.Invalid, Reason: care.ReasonBadField,
			Text: words.Say("A text holds a character that cannot be kept. Please type it again."),
		}
	}
	return nil
}

func checkNumber(f float64) error {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return &care.Error{Code: care.Invalid, Reason: care.ReasonBadField, Text: words.Say("A value is not a number. Please enter it again.")}
	}
	return nil
}
