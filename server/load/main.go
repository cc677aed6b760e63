// Command load shows what the program bears: it fills databases with many open
// cases, starts the real program on them, logs and reads triage lists as
// phones and desks do, times the pass, and writes a table. See README.md beside
// it; run it by make load.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/store"
)

// setup is one kind of place that is loaded.
type setup struct {
	engine  string // "sqlite" or "postgres"
	servers int
}

type options struct {
	program, peer, folder, postgres, out, plans string
	cases, servers                              []int
	engines                                     []string
	seconds, passMost                           time.Duration
	loggers, readers                            int
	kept                                        bool // the folder stays
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) (err error) {
	ctx = care.WithReach(ctx, care.EverybodysReach)
	var o options
	var sizes, servers, engines string
	flag.StringVar(&sizes, "cases", "1000,100000", "how many open cases, one database after the other")
	flag.StringVar(&engines, "engines", "sqlite,postgres", "which of them are loaded")
	flag.StringVar(&servers, "servers", "1,3", "how many servers share a PostgreSQL database, one number after the other")
	flag.StringVar(&o.program, "program", ".build/warmhand", "the program")
	flag.StringVar(&o.peer, "peer", "", "the peer's program, built from internal/tools/peer; empty: none")
	flag.StringVar(&o.folder, "keep", "", "folder in which filled databases stay and are used again; on PostgreSQL their schemas stay, too")
	flag.StringVar(&o.out, "out", "", "file for the table; empty: to the screen only")
	flag.StringVar(&o.plans, "plans", "", "file for the plans of all queries at the last size; empty: none")
	flag.DurationVar(&o.seconds, "time", 10*time.Second, "how long each is loaded")
	flag.DurationVar(&o.passMost, "pass", time.Hour, "for how long at most a pass runs; 0: none is run")
	flag.IntVar(&o.loggers, "loggers", 12, "phones that log, each the next when the last was answered")
	flag.IntVar(&o.readers, "readers", 4, "desks that read triage lists in the same way")
	flag.Parse()
	o.postgres = os.Getenv("WARMHAND_TEST_POSTGRES")
	var errs [2]error
	o.cases, errs[0] = numbers("-cases", sizes)
	o.servers, errs[1] = numbers("-servers", servers)
	if err := errors.Join(errs[:]...); err != nil {
		return err
	}
	o.engines = strings.Split(engines, ",")
	if o.kept = o.folder != ""; !o.kept {
		if o.folder, err = os.MkdirTemp("", "warmhand-load-"); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, os.RemoveAll(o.folder)) }()
	}

	t := &table{}
	for i, n := range o.cases {
		t.last = i == len(o.cases)-1
		if slices.Contains(o.engines, "sqlite") {
			if err := o.sqlite(ctx, n, t); err != nil {
				return fmt.Errorf("%d cases on SQLite: %w", n, err)
			}
		}
		if slices.Contains(o.engines, "postgres") && o.postgres != "" {
			if err := o.onPostgres(ctx, n, t); err != nil {
				return fmt.Errorf("%d cases on PostgreSQL: %w", n, err)
			}
		}
	}
	if o.peer != "" {
		if t.peer, err = o.againstPeer(ctx); err != nil {
			return fmt.Errorf("the peer: %w", err)
		}
	}
	if o.plans != "" {
		if err := os.WriteFile(o.plans, []byte(t.plans.String()), 0o644); err != nil {
			return err
		}
	}
	text := t.markdown(&o)
	fmt.Print(text)
	if o.out == "" {
		return nil
	}
	before, err := os.ReadFile(o.out)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if _, said, ok := strings.Cut(string(before), byHand); ok {
		text += byHand + said
	}
	return os.WriteFile(o.out, []byte(text), 0o644)
}

// byHand begins what somebody wrote below the table, and has to be looked at anew.
const byHand = "\n## What to make of it\n"

// numbers reads numbers with commas between them.
func numbers(name, list string) (all []int, err error) {
	for text := range strings.SplitSeq(list, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		if err != nil || n < 1 {
			return nil, fmt.Errorf("%s %s: write numbers with commas between them", name, list)
		}
		all = append(all, n)
	}
	return all, nil
}

func (o *options) sqlite(ctx context.Context, n int, t *table) (err error) {
	p := place{dir: filepath.Join(o.folder, fmt.Sprint("sqlite-", n))}
	if !o.kept {
		defer func() { err = errors.Join(err, os.RemoveAll(p.dir)) }()
	}
	took, err := p.fill(ctx, n)
	if err != nil {
		return fmt.Errorf("filling: %w", err)
	}
	r, err := o.load(ctx, &p, setup{"SQLite", 1})
	if err != nil {
		return err
	}
	r.cases, r.filled = n, took
	if r.all, r.day, err = o.passes(ctx, &p, n, t.due(r.engine)); err != nil {
		return fmt.Errorf("the pass: %w", err)
	}
	t.rows = append(t.rows, r)
	fmt.Fprintln(os.Stderr, r.line())
	return t.plan(ctx, &p, r.engine, n)
}

func (o *options) onPostgres(ctx context.Context, n int, t *table) (err error) {
	p := place{dir: filepath.Join(o.folder, fmt.Sprint("postgres-", n))}
	name := fmt.Sprint("load_", n)
	if !o.kept {
		name = fmt.Sprint("load_", os.Getpid(), "_", n)
	}
	var drop func() error
	if p.url, drop, err = newSchema(ctx, o.postgres, name); err != nil {
		return err
	}
	if !o.kept {
		defer func() { err = errors.Join(err, drop(), os.RemoveAll(p.dir)) }()
	}
	took, err := p.fill(ctx, n)
	if err != nil {
		return fmt.Errorf("filling: %w", err)
	}
	for i, servers := range o.servers {
		r, err := o.load(ctx, &p, setup{"PostgreSQL", servers})
		if err != nil {
			return err
		}
		r.cases, r.filled = n, took
		if i == 0 {
			if r.all, r.day, err = o.passes(ctx, &p, n, t.due(r.engine)); err != nil {
				return fmt.Errorf("the pass: %w", err)
			}
		}
		t.rows = append(t.rows, r)
		fmt.Fprintln(os.Stderr, r.line())
	}
	return t.plan(ctx, &p, "PostgreSQL", n)
}

// table is what was found.
type table struct {
	rows  []result
	peer  peerResult
	last  bool // the largest size
	plans strings.Builder
}

// plan notes how the engine runs each query on a place of the last size.
func (t *table) plan(ctx context.Context, p *place, engine string, cases int) error {
	if !t.last {
		return nil
	}
	plans, err := store.Plans(ctx, p.storeConfig())
	if err != nil {
		return err
	}
	if t.plans.Len() == 0 {
		t.plans.WriteString("<!-- made by make load -->\n# How each query is run\n\nFor any arguments, as prepared statements are.\n")
	}
	fmt.Fprintf(&t.plans, "\n## %s, %d open cases\n", engine, cases)
	for _, q := range plans {
		fmt.Fprintf(&t.plans, "\n**%s**: `%s`\n\n```\n%s\n```\n", q.Query, q.Text, strings.Join(q.Steps, "\n"))
	}
	return nil
}

type result struct {
	setup
	cases     int
	filled    time.Duration
	logs      float64 // a second
	lists     float64 // a second
	log, list quantiles
	rss       int64 // of all servers at most, bytes
	spent     spent
	requests  float64
	all, day  passed
}

// due is which share of cases was due on a day in the largest place of an engine so far.
func (t *table) due(engine string) float64 {
	for i := len(t.rows) - 1; i >= 0; i-- {
		if r := &t.rows[i]; r.engine == engine && r.all.looked > 0 {
			return float64(r.day.looked) / float64(r.cases)
		}
	}
	return .33
}

type quantiles struct{ p50, p99 time.Duration }

func (q quantiles) String() string {
	ms := func(d time.Duration) string {
		return strconv.FormatFloat(float64(d.Microseconds())/1000, 'f', 1, 64)
	}
	return ms(q.p50) + " / " + ms(q.p99)
}

func (r *result) line() string {
	pass := func(d passed) string {
		if d.looked == 0 {
			return "–"
		}
		each := func(used time.Duration) float64 { return 1000 * used.Seconds() / float64(d.looked) }
		text := fmt.Sprintf("%d in %.0f s, %.0f/s, %.2f", d.looked, d.took.Seconds(), d.rate(), each(d.used))
		if d.beside > 0 {
			text += fmt.Sprintf(" + %.2f", each(d.beside))
		}
		return text + " ms"
	}
	return fmt.Sprintf("| %s, %d | %d | %.0f | %s | %.0f | %s | %s | %s | %d | %s | %s |", r.engine, r.servers, r.cases, r.logs, r.log, r.lists, r.list, r.spent.line(r.requests), r.spent.transactions(r.requests), r.rss>>20, pass(r.all), pass(r.day))
}

func (t *table) markdown(o *options) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<!-- made by make load; what is said of it by hand stands at the end -->
%d phones log and %d desks read triage lists at once, each request when the last was answered, for %v;
program, database and load share %d processors (%s).

Processor time is of servers and of database for each request, log or list; on SQLite the server's is all. Beside it is how many
transactions of the database there were to a request, and how many of these were undone and repeated. The last columns are how many cases the pass looked at, in what time, how many that is a second, and processor time for each, of program and of database.

| engine, servers | open cases | logs/s | log, ms, p50 / p99 | lists/s | list, ms, p50 / p99 | processor time of a request, ms | transactions, undone | memory, MiB | all due at once | the day after |
|---|---|---|---|---|---|---|---|---|---|---|
`, o.loggers, o.readers, o.seconds, runtime.NumCPU(), runtime.GOARCH)
	for i := range t.rows {
		b.WriteString(t.rows[i].line() + "\n")
	}
	b.WriteString("\n")
	for i := range t.rows {
		if r := &t.rows[i]; r.day.looked > 0 {
			share := t.due(r.engine)
			fmt.Fprintf(&b, "A day's pass over %d cases, %s: %.0f %% of them are due, which takes %.1f minutes at that rate", r.cases, r.engine, 100*share, share*float64(r.cases)/r.day.rate()/60)
			if r.cases >= 1_000_000 {
				fmt.Fprintf(&b, "; with two processors to itself and the time of each as in the table, %.1f (asked for: 5)", share*float64(r.cases)*(r.day.used+r.day.beside).Minutes()/float64(r.day.looked)/2)
			}
			b.WriteString(".\n")
		}
	}
	for i := range t.rows {
		for j := range t.rows[:i] {
			if big, small := &t.rows[i], &t.rows[j]; big.setup == small.setup && big.cases == 10*small.cases {
				fmt.Fprintf(&b, "From %d to %d cases, %s with %d: p99 of a log × %.2f, of a list × %.2f (asked for: less than 1.5).\n", small.cases, big.cases, big.engine, big.servers,
					big.log.p99.Seconds()/small.log.p99.Seconds(), big.list.p99.Seconds()/small.list.p99.Seconds())
			}
		}
	}
	if p := t.peer; p.ours > 0 {
		fmt.Fprintf(&b, `
Durable writes one by one, %d clients, each answered when it is on the disk: a log here, with sign-in, checks and
assessment, %.0f/s (p99 %.1f ms); a record without any of them in a general-purpose backend (PocketBase %s,
synchronous=FULL), %.0f/s (p99 %.1f ms): %.2f times (asked for: more than 1).
`, o.loggers, p.ours, float64(p.oursP99.Microseconds())/1000, peerVersion, p.theirs, float64(p.theirsP99.Microseconds())/1000, p.ours/p.theirs)
	}
	return b.String()
}
