// Package replay steps the cases of case files through time and says how each
// would have been assessed, with what was known then and nothing later. It
// reads files and keeps temporary ones, in memory that does not grow with the
// number of cases; internal/casefile/README.md says what comes out.
package replay

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"math"
	"runtime"
	"time"

	"golang.org/x/sync/errgroup"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/casefile"
)

// Options say what is to come out.
type Options struct {
	Every     time.Duration // between steps, more than 0
	UntilDays int           // after the handover; 0 or more
	Standings bool          // only the steps at which the standing changed
	Quiet     bool          // no steps at all, only the summary
	SkipBad   bool          // leave out what cannot be read
	Workers   int           // 0: one for each core
	TempDir   string        // "" for the system's
	// Progress, if not nil, is told now and then how many bytes were read of
	// how many there are to read; all is 0 while that is not known. Calls come
	// from several goroutines.
	Progress func(done, all int64)

	hold int // records in memory of one sorter; 0: inMemory
}

// Input is one case file. A regular file is read in place, from its beginning;
// of anything else a temporary copy is kept.
type Input struct {
	Name string
	io.Reader
}

// job is some cases that follow each other.
type job struct {
	runs   []run
	cases  []piece
	bytes  int
	result chan result
}

// piece is one case of a job.
type piece struct {
	runs, flock int // how many of the job's runs; its flock
	others      assess.Flock
}

type result struct {
	out     []byte
	summary Summary
	err     error
}

// Run replays case files and writes JSON Lines to out. The error of a line that
// cannot be read names the file, the line, the field and what was expected; what
// came before it has been written.
func Run(ctx context.Context, inputs []Input, out io.Writer, o Options) (sum *Summary, err error) {
	if o.Every <= 0 || o.UntilDays < 0 {
		return nil, errors.New("steps go forward: give more than 0 between them, and 0 days or more")
	}
	if len(inputs) >= 1<<16 {
		return nil, fmt.Errorf("%d files are too many at once; join some", len(inputs))
	}
	if o.Progress == nil {
		o.Progress = func(int64, int64) {}
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if o.hold == 0 {
		o.hold = inMemory
	}
	var read int64
	x := &index{ctx: ctx, dir: o.TempDir, seed: maphash.MakeSeed(), skipBad: o.SkipBad, tell: func(n int64) { read += n; o.Progress(read, 0) }}
	for _, s := range x.sorters() {
		s.dir, s.limit = o.TempDir, o.hold
	}
	defer func() { err = errors.Join(err, x.close()) }()
	for _, in := range inputs {
		if err := x.read(in.Name, in.Reader); err != nil {
			return nil, err
		}
	}
	if err := x.arrange(); err != nil {
		return nil, err
	}

	sum = &Summary{LeftOut: x.tooLong, FirstBad: x.firstTooLong}
	group, ctx := errgroup.WithContext(ctx)
	jobs := make(chan *job, o.Workers)
	inOrder := make(chan *job, 2*o.Workers) // how far ahead of the slowest one may be
	group.Go(func() error {
		defer close(jobs)
		defer close(inOrder)
		return x.hand(ctx, func(j *job) error {
			select {
			case inOrder <- j:
			case <-ctx.Done():
				return ctx.Err()
			}
			select {
			case jobs <- j:
			case <-ctx.Done():
				return ctx.Err()
			}
			return nil
		})
	})
	for range o.Workers {
		group.Go(func() error {
			w := worker{x: x, o: &o}
			for j := range jobs {
				j.result <- w.work(j)
			}
			return nil
		})
	}
	group.Go(func() error {
		var done int64
		for j := range inOrder {
			var r result
			select {
			case r = <-j.result:
			case <-ctx.Done():
				return ctx.Err()
			}
			if _, err := out.Write(r.out); err != nil {
				return fmt.Errorf("output: %w", err)
			}
			if r.err != nil {
				return r.err
			}
			sum.merge(&r.summary)
			done += int64(j.bytes)
			o.Progress(read+done, 2*read)
		}
		return nil
	})
	if err := group.Wait(); err != nil {
		return nil, err
	}
	return sum, nil
}

// hand hands out the cases in order.
func (x *index) hand(ctx context.Context, give func(*job) error) error {
	runs, err := x.runs.read()
	if err != nil {
		return err
	}
	flocks, err := x.flocks.read()
	if err != nil {
		return err
	}
	const enough = 128 << 10 // bytes of one job
	j := &job{result: make(chan result, 1)}
	for {
		r, ok, err := runs.next()
		if err != nil {
			return err
		}
		if !ok {
			break
		}
		if j.bytes > enough {
			if err := give(j); err != nil {
				return err
			}
			j = &job{result: make(chan result, 1)}
		}
		p := piece{}
		for place := r[0]; ; {
			one := run{int(r[2] >> 48), int64(r[2] << 16 >> 16), int(r[3] & math.MaxUint32), int(r[3] >> 32)}
			j.runs, j.bytes = append(j.runs, one), j.bytes+one.length
			p.runs++
			if next := runs.peek(); next == nil || next[0] != place {
				break
			}
			if r, _, err = runs.next(); err != nil {
				return err
			}
		}
		if f := flocks.peek(); f != nil && f[0] == r[0] {
			w := math.Float64frombits
			p.others = assess.Flock{Animals: w(f[1]), Refused: w(f[2]), Offers: w(f[3]), Offers2: w(f[4]), Spread: w(f[5])}
			if _, _, err := flocks.next(); err != nil {
				return err
			}
		}
		j.cases = append(j.cases, p)
	}
	if len(j.cases) == 0 {
		return nil
	}
	return give(j)
}

// worker replays one job after the other.
type worker struct {
	x       *index
	o       *Options
	buf     []byte
	decoder casefile.Decoder
	line    casefile.Line
	c       casefile.Case
	walker  assess.Walker
	out     []byte
	sum     Summary
}

func (w *worker) work(j *job) result {
	// The steps of one job are written at once, so it owns its output.
	w.out, w.sum = make([]byte, 0, cap(w.out)), Summary{}
	runs := j.runs
	for _, p := range j.cases {
		if err := w.one(runs[:p.runs], &p.others); err != nil {
			return result{w.out, w.sum, err}
		}
		runs = runs[p.runs:]
	}
	return result{w.out, w.sum, nil}
}

// one replays one case.
func (w *worker) one(runs []run, others *assess.Flock) error {
	w.c.Reset()
	lines := 0
	for _, r := range runs {
		in := &w.x.inputs[r.input]
		if cap(w.buf) < r.length {
			w.buf = make([]byte, r.length, max(r.length, 64<<10))
		}
		w.buf = w.buf[:r.length]
		if _, err := in.at.ReadAt(w.buf, r.offset); err != nil {
			return fmt.Errorf("%s changed while it was read: %w", in.name, err)
		}
		for rest, number := w.buf, r.line; len(rest) > 0; number++ {
			var text []byte
			text, rest, _ = bytes.Cut(rest, []byte("\n"))
			if len(bytes.TrimSpace(text)) == 0 {
				continue
			}
			lines++
			err := w.decoder.Decode(text, &w.line)
			if err == nil {
				err = w.c.Add(&w.line, number)
			}
			if err != nil {
				if err := w.bad(in.name, number, 1, err); err != nil {
					return err
				}
				lines--
			}
		}
	}
	if lines == 0 {
		return nil
	}
	if err := w.c.Done(); err != nil {
		return w.bad(w.x.inputs[runs[0].input].name, 0, lines, err)
	}
	w.sum.Cases++
	w.sum.Events += lines
	w.steps(others)
	return nil
}

// bad is an error of the file, or nil when such lines are left out and counted.
func (w *worker) bad(file string, number, lines int, err error) error {
	var e *casefile.Error
	if errors.As(err, &e) && e.Line == 0 {
		e.Line = number
	}
	err = fmt.Errorf("%s: %w", file, err)
	if !w.o.SkipBad {
		return err
	}
	w.sum.LeftOut += lines
	if w.sum.FirstBad == nil {
		w.sum.FirstBad = err
	}
	return nil
}

// steps walks one case and writes what is to be written of it.
func (w *worker) steps(others *assess.Flock) {
	c := &w.c
	subject := c.Subject(c.Learned(others))
	start, end := c.HandedOverAt, c.End()
	if last := start.AddDate(0, 0, w.o.UntilDays); end.After(last) {
		end = last
	}
	w.walker.Reset(&subject, c.Log)
	standing, highest := care.Settled, care.Settled
	w.walker.Steps(end, w.o.Every, func(at time.Time, day int, n *assess.Numbers) {
		if n.Standing > highest {
			w.sum.flag(highest, n.Standing, day, w.walker.Gravest())
			highest = n.Standing
		}
		if !w.o.Quiet && (!w.o.Standings || n.Standing != standing) {
			a := w.walker.Assessment()
			w.out = appendStep(w.out, c.ID, at, day, &a)
		}
		standing = n.Standing
	})
}
