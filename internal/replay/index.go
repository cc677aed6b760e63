package replay

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"math"
	"os"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
)

// The input is read twice. The first time finds where the lines of each case
// are and what each breeder's histories teach; both are sorted in bounded
// memory. The second time takes case by case. So cases may be interleaved, and
// what a later case knew in time still teaches an earlier one.

const (
	blockBytes = 1 << 20 // read at once
	longestRun = 1 << 26
)

// run is a stretch of lines of one case in one input.
type run struct {
	input  int
	offset int64
	length int
	line   int // number of its first line
}

// index is what the first reading finds.
type index struct {
	ctx    context.Context
	inputs []input
	dir    string
	seed   maphash.Seed
	tell   func(bytes int64)

	skipBad      bool
	tooLong      int // lines that were left out
	firstTooLong error

	byCase sorter // handovers, offers and runs by case
	runs   sorter // by the place of their case
	asks   sorter // offers of histories and handovers by breeder and species, in time
	flocks sorter // what was known at a handover, by the place of its case

	decoder casefile.Decoder
	line    casefile.Line

	// The case of the line before, and its handover once it was seen.
	current  uint64
	open     run
	count    uint64 // of runs
	handover int64  // ms; MinInt64 while unknown
	learning bool   // its breeder is known
}

// input is one file, or the temporary copy of what can be read once only.
type input struct {
	name string
	at   io.ReaderAt
	copy *os.File // to be closed
}

// The kinds of record in byCase, in the order in which they are wanted:
//
//	{case, isHandover, ms, group, asks}
//	{case, isOffer, ms, refused}
//	{case, isRun, run's number, input<<48|offset, line<<32|length}
const (
	isHandover = iota
	isOffer
	isRun
)

// biased makes signed times sort as words do.
func biased(ms int64) uint64 { return uint64(ms) ^ 1<<63 }

func (x *index) sorters() []*sorter { return []*sorter{&x.byCase, &x.runs, &x.asks, &x.flocks} }

func (x *index) close() error {
	var errs []error
	for _, s := range x.sorters() {
		errs = append(errs, s.close())
	}
	for _, in := range x.inputs {
		if in.copy != nil {
			errs = append(errs, in.copy.Close())
		}
	}
	return errors.Join(errs...)
}

// read is the first reading of one input.
func (x *index) read(name string, r io.Reader) error {
	in := input{name: name}
	copyTo := io.Discard
	if f, ok := r.(*os.File); ok {
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
			if at, err := f.Seek(0, io.SeekCurrent); err == nil && at == 0 {
				in.at = f
			}
		}
	}
	if in.at == nil {
		f, err := temporary(x.dir)
		if err != nil {
			return err
		}
		in.at, in.copy, copyTo = f, f, f
	}
	x.inputs = append(x.inputs, in)
	x.handover = math.MinInt64
	buf := make([]byte, 0, blockBytes+casefile.LongestLine)
	offset, number := int64(0), 0 // of the start of buf
	long := false                 // in the middle of a line that is left out
	for end := false; !end; {
		if err := x.ctx.Err(); err != nil {
			return err
		}
		n, err := io.ReadFull(r, buf[len(buf):min(cap(buf), len(buf)+blockBytes)])
		if end = errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF); err != nil && !end {
			return fmt.Errorf("%s: %w", name, err)
		}
		if _, err := copyTo.Write(buf[len(buf) : len(buf)+n]); err != nil {
			return fmt.Errorf("temporary file: %w", err)
		}
		x.tell(int64(n))
		buf = buf[:len(buf)+n]
		done := 0
		for done < len(buf) {
			length := bytes.IndexByte(buf[done:], '\n') + 1
			if length == 0 {
				if !long && len(buf)-done > casefile.LongestLine {
					err := fmt.Errorf("%s: line %d: is longer than %d bytes; expected one event a line", name, number+1, casefile.LongestLine)
					if !x.skipBad {
						return err
					}
					if x.tooLong++; x.tooLong == 1 {
						x.firstTooLong = err
					}
					long = true
				}
				if !end && !long {
					break
				}
				length = len(buf) - done
				if long && !end {
					done += length
					break
				}
			}
			number++
			if long {
				long, done = false, done+length
				continue
			}
			if err := x.take(buf[done:done+length], offset+int64(done), number); err != nil {
				return err
			}
			done += length
		}
		offset += int64(done)
		buf = buf[:copy(buf, buf[done:])]
	}
	return x.closeRun()
}

// take takes in one line.
func (x *index) take(line []byte, offset int64, number int) error {
	if len(bytes.TrimSpace(line)) == 0 {
		if x.open.length > 0 {
			x.open.length += len(line) // the run stays one piece
		}
		return nil
	}
	id, at, kind := casefile.Peek(line)
	known, read := id != nil, false
	if !known {
		read = x.decoder.Decode(bytes.TrimSuffix(line, []byte("\n")), &x.line) == nil
		if read {
			id, known = []byte(x.line.Case), true
		}
	}
	hash := x.current
	if known {
		hash = maphash.Bytes(x.seed, id)
	} // a line that cannot be read is left to the case before
	if hash != x.current || x.open.length == 0 || x.open.length > longestRun || x.open.offset+int64(x.open.length) != offset {
		if err := x.closeRun(); err != nil {
			return err
		}
		if hash != x.current {
			x.current, x.handover = hash, math.MinInt64
		}
		x.open = run{len(x.inputs) - 1, offset, 0, number}
	}
	x.open.length += len(line)
	if !known || !read && string(kind) != string(casefile.KindHandover) && string(kind) != string(care.KindOffer) {
		return nil
	}
	if !read && string(kind) == string(care.KindOffer) && x.handover != math.MinInt64 {
		// Most offers are the keeper's, and teach nobody.
		var t time.Time
		if !x.learning || t.UnmarshalText(at) == nil && t.UnixMilli() > x.handover {
			return nil
		}
	}
	if !read && x.decoder.Decode(bytes.TrimSuffix(line, []byte("\n")), &x.line) != nil {
		return nil // the second reading says so
	}
	ms := x.line.Entry.HappenedAt.UnixMilli()
	if h := x.line.Handover; h != nil {
		x.handover, x.learning = ms, h.Animal.BreederID != ""
		if !x.learning {
			return nil
		}
		asks := uint64(1)
		if h.Learned.Strength > 0 {
			asks = 0
		}
		group := maphash.String(x.seed, h.Animal.BreederID+"\x00"+h.Animal.Species)
		return x.byCase.add(record{hash, isHandover, biased(ms), group, asks})
	}
	if o, ok := x.line.Entry.Body.(care.Offer); ok {
		refused := uint64(0)
		if o.Result != care.Eaten {
			refused = 1
		}
		return x.byCase.add(record{hash, isOffer, biased(ms), refused})
	}
	return nil
}

func (x *index) closeRun() error {
	r := x.open
	if r.length == 0 {
		return nil
	}
	x.open.length = 0
	x.count++
	return x.byCase.add(record{x.current, isRun, x.count, uint64(r.input)<<48 | uint64(r.offset), uint64(r.line)<<32 | uint64(r.length)})
}

// arrange brings the runs of each case together, the cases in the order in
// which they begin, and finds out what each breeder's histories taught by each
// handover.
func (x *index) arrange() error {
	all, err := x.byCase.read()
	if err != nil {
		return err
	}
	var key, group, handover, place uint64
	var teaches, asks bool
	for first := true; ; first = false {
		r, ok, err := all.next()
		if err != nil {
			return err
		}
		if !ok {
			break
		}
		if first || r[0] != key {
			key, teaches, asks, place = r[0], false, false, 0
		}
		switch r[1] {
		case isHandover:
			if !teaches { // a second one is an error, which the second reading finds
				teaches, handover, group, asks = true, r[2], r[3], r[4] == 1
			}
		case isOffer:
			if teaches && r[2] <= handover {
				err = x.asks.add(record{group, r[2], 0, key, r[3]})
			}
		case isRun:
			if place == 0 {
				if place = r[2]; asks {
					err = x.asks.add(record{group, handover, 1, key, place})
				}
			}
			if err == nil {
				err = x.runs.add(record{place, r[2], r[3], r[4]})
			}
		}
		if err != nil {
			return err
		}
	}
	return errors.Join(x.teach(), x.byCase.close())
}

// teach goes through the offers and handovers of each breeder and species in
// the order of time.
func (x *index) teach() error {
	all, err := x.asks.read()
	if err != nil {
		return err
	}
	var teacher casefile.Teacher[uint64]
	for group, first := uint64(0), true; ; first = false {
		r, ok, err := all.next()
		if err != nil || !ok {
			return errors.Join(err, x.asks.close())
		}
		if first || r[0] != group {
			group = r[0]
			teacher.Reset()
		}
		ms := int64(r[1] ^ 1<<63)
		if r[2] == 0 {
			teacher.Offer(ms, r[3], r[4] == 1)
			continue
		}
		others, word := teacher.Others(ms, r[3]), math.Float64bits
		if err := x.flocks.add(record{r[4], word(others.Animals), word(others.Refused), word(others.Offers), word(others.Offers2), word(others.Spread)}); err != nil {
			return err
		}
	}
}
