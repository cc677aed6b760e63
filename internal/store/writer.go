package store

import (
	"context"
	"database/sql"
	"runtime"
	"sync/atomic"
	"time"

	"warmhand/internal/care"
)

// A batch ends when nobody waits, or at one of these, so that the first caller
// in it does not wait for ever.
const (
	batchWrites = 64
	batchTime   = 10 * time.Millisecond
	// yields is how often the processor is left to others, who may be about to write, before
	// nobody counts as waiting. It costs nothing where nobody else runs.
	yields = 3
)

// checkpointAfter is after how many writes SQLite's log is moved into the database file.
// What is written again meanwhile is moved once; about 30 MB of log with the writes of a
// busy server.
const checkpointAfter = 1000

// writer is the one goroutine that writes to SQLite. Making a commit durable
// costs far more than the statements in it, so writes that wait together share
// one: each callback runs in a savepoint of its own, and nobody is answered
// before the common commit is on the disk.
type writer struct {
	lets     *lets
	db       *sql.DB
	conn     *liteConn // nil until needed, and after it had to be given up
	tidy     tidy
	prepare  func(*liteConn) // set by tests only: run on each new connection
	queue    chan *write
	stopping chan struct{}
	stopped  chan struct{}
}

// write is one call that waits for its turn and its answer.
type write struct {
	ctx    context.Context
	f      func(care.Tx) error
	taken  atomic.Bool // by the writer, or by its caller to give up
	tx     *tx
	err    error
	answer chan struct{}
}

func newWriter(db *sql.DB, l *lets) *writer {
	w := &writer{
		lets: l, db: db, queue: make(chan *write, batchWrites),
		stopping: make(chan struct{}), stopped: make(chan struct{}),
		tidy: tidy{moved: make(chan struct{}, 1)},
	}
	go w.loop()
	return w
}

// do has f written by the writer. A context that ends before f had its turn
// leaves nothing behind; after that the answer is waited for, because it is
// too late to say that nothing was saved.
func (w *writer) do(ctx context.Context, f func(care.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	job := &write{ctx: ctx, f: f, answer: make(chan struct{})}
	select {
	case w.queue <- job:
	case <-ctx.Done():
		return ctx.Err()
	case <-w.stopping:
		return notSaved("sqlite", "closed")
	}
	select {
	case <-job.answer:
	case <-ctx.Done():
		if job.taken.CompareAndSwap(false, true) {
			return ctx.Err()
		}
		<-job.answer
	case <-w.stopped: // it came too late to be seen by the writer
		if job.taken.CompareAndSwap(false, true) {
			return notSaved("sqlite", "closed")
		}
		<-job.answer
	}
	return job.err
}

// close has what is queued written, and stops. It must be called once.
func (w *writer) close() {
	close(w.stopping)
	<-w.stopped
}

func (w *writer) loop() {
	done := false
	defer func() {
		if done {
			if w.tidy.moving {
				<-w.tidy.moved
			}
			if w.conn != nil {
				w.conn.discard()
			}
			close(w.stopped)
			return
		}
		go w.loop() // a callback ended this goroutine, as a failing test does
	}()
	for {
		select {
		case first := <-w.queue:
			w.batch(first)
		case <-w.tidy.moved:
			w.moved()
		case <-w.stopping:
			for {
				first := w.next()
				if first == nil {
					done = true
					return
				}
				w.batch(first)
			}
		}
	}
}

// tidy is how SQLite's log gets back into the database file.
type tidy struct {
	writes int           // since that was done
	moving bool          // beside the writer
	moved  chan struct{} // says that it is over
}

// checkpoint has the log moved beside the writer, who would otherwise do that inside
// some commit, while all wait, once the log has a thousand pages. The log begins anew only
// when all of it was moved: the rest, which came meanwhile, the writer moves itself, see
// moved. A failure leaves the log as it is until the next time, as in SQLite's own.
func (w *writer) checkpoint() {
	if w.tidy.writes < checkpointAfter || w.tidy.moving {
		return
	}
	w.tidy.moving = true
	go func() {
		defer func() { w.tidy.moved <- struct{}{} }()
		if c, err := connect(w.db); err == nil {
			c.pragma(checkpoint) //nolint:errcheck // see above
			c.close()            //nolint:errcheck // nothing was to be saved
		}
	}()
}

func (w *writer) moved() {
	w.tidy.moving, w.tidy.writes = false, 0
	if w.conn != nil {
		w.conn.pragma(checkpoint) //nolint:errcheck // see checkpoint
	}
}

// gather is the next write of those who wait or are about to, or nil.
func (w *writer) gather() *write {
	for range yields {
		if job := w.next(); job != nil {
			return job
		}
		runtime.Gosched()
	}
	return w.next()
}

// next is the next write that waits now, or nil.
func (w *writer) next() *write {
	select {
	case job := <-w.queue:
		return job
	default:
		return nil
	}
}

// batch runs first, and those that come to wait meanwhile, in one transaction,
// and answers them all.
func (w *writer) batch(first *write) {
	var jobs []*write
	err := notSaved("sqlite", "goroutine ended") // unless fill returns
	defer func() {
		if err != nil && w.conn != nil {
			w.conn.discard() // and with it what is left of the transaction
			w.conn = nil
		}
		for _, job := range jobs {
			// A callback that failed is told of the batch too: what it saw may
			// be among what was not saved.
			if err != nil {
				job.err = err
			}
			close(job.answer)
		}
	}()
	if err = w.fill(first, &jobs); err == nil && len(jobs) > 0 {
		if _, commitErr := w.conn.run(commit, nil); commitErr != nil {
			err = sqliteError(commit.op, commitErr)
			return
		}
		for _, job := range jobs {
			w.lets.saved(job.tx)
		}
		w.tidy.writes += len(jobs)
		w.checkpoint()
	}
}

// fill begins a transaction and runs callbacks in it. An error means that the
// transaction is lost.
func (w *writer) fill(job *write, jobs *[]*write) error {
	start := time.Now()
	for ; job != nil; job = w.gather() {
		if !job.taken.CompareAndSwap(false, true) {
			continue // its caller gave up
		}
		*jobs = append(*jobs, job)
		if len(*jobs) == 1 {
			if err := w.begin(); err != nil {
				return err
			}
		}
		if err := w.one(job); err != nil {
			return err
		}
		if len(*jobs) == batchWrites || time.Since(start) > batchTime {
			break
		}
	}
	return nil
}

func (w *writer) begin() error {
	if w.conn == nil {
		c, err := connect(w.db)
		if err != nil {
			return sqliteError("connect", err)
		}
		w.conn = c
		if err := c.pragma(checkpointLate); err != nil {
			return sqliteError(checkpointLate.op, err)
		}
		if w.prepare != nil {
			w.prepare(c)
		}
	}
	if _, err := w.conn.run(beginImmediate, nil); err != nil {
		return sqliteError(beginImmediate.op, err)
	}
	return nil
}

// one runs one callback in its savepoint. It returns an error when the
// savepoint was gone: after some failures SQLite rolls the whole transaction
// back by itself.
func (w *writer) one(job *write) error {
	if _, err := w.conn.run(savepoint, nil); err != nil {
		return sqliteError(savepoint.op, err)
	}
	job.tx = &tx{ctx: job.ctx, d: sqlite, conn: w.conn}
	job.err = run(job.tx, job.f)
	if job.err != nil {
		if _, err := w.conn.run(rollbackTo, nil); err != nil {
			return notSaved("sqlite", "savepoint lost")
		}
	}
	if _, err := w.conn.run(release, nil); err != nil {
		return notSaved("sqlite", "savepoint lost")
	}
	return nil
}
