package replay

import (
	"bufio"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
)

// record is what is sorted: compared word by word.
type record [7]uint64

const recordBytes = len(record{}) * 8

func (r *record) compare(o *record) int {
	for i := range r {
		if c := cmp.Compare(r[i], o[i]); c != 0 {
			return c
		}
	}
	return 0
}

// inMemory is how many records a sorter holds before it writes a sorted piece
// to its file.
const inMemory = 1 << 15

// sorter sorts any number of records in bounded memory: full buffers go sorted
// to a temporary file, whose pieces are merged while they are read.
type sorter struct {
	buf    []record
	limit  int
	dir    string
	file   *os.File
	pieces []int64 // where each ends in the file
}

func (s *sorter) add(r record) error {
	s.buf = append(s.buf, r)
	if len(s.buf) < s.limit {
		return nil
	}
	return s.spill()
}

func (s *sorter) sort() { slices.SortFunc(s.buf, func(a, b record) int { return a.compare(&b) }) }

func (s *sorter) spill() (err error) {
	if s.file == nil {
		if s.file, err = temporary(s.dir); err != nil {
			return err
		}
	}
	s.sort()
	w := bufio.NewWriterSize(s.file, 1<<16)
	var b [recordBytes]byte
	for i := range s.buf {
		for j, v := range s.buf[i] {
			binary.LittleEndian.PutUint64(b[j*8:], v)
		}
		if _, err := w.Write(b[:]); err != nil {
			return fmt.Errorf("temporary file: %w", err)
		}
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("temporary file: %w", err)
	}
	end := int64(len(s.buf) * recordBytes)
	if n := len(s.pieces); n > 0 {
		end += s.pieces[n-1]
	}
	s.pieces, s.buf = append(s.pieces, end), s.buf[:0]
	return nil
}

// close gives back the file and the memory.
func (s *sorter) close() error {
	f := s.file
	s.buf, s.file = nil, nil
	if f == nil {
		return nil
	}
	return f.Close()
}

// temporary makes a file that has no name any more and is gone when it is
// closed, or when the program ends.
func temporary(dir string) (*os.File, error) {
	f, err := os.CreateTemp(dir, "warmhand-replay-")
	if err != nil {
		return nil, fmt.Errorf("temporary file: %w", err)
	}
	if err := os.Remove(f.Name()); err != nil {
		return nil, errors.Join(fmt.Errorf("temporary file: %w", err), f.Close())
	}
	return f, nil
}

// sorted reads the records of a sorter in order.
type sorted struct {
	heads []head // a heap: the least first
}

type head struct {
	r    record
	rest []record      // of the piece in memory
	in   *bufio.Reader // of a piece in the file; nil for the one in memory
}

// read ends the adding and begins the reading.
func (s *sorter) read() (*sorted, error) {
	out := &sorted{}
	s.sort()
	from := int64(0)
	// However many pieces there are, their buffers together stay small.
	size := max(recordBytes, min(1<<16, (4<<20)/max(1, len(s.pieces))))
	for _, end := range s.pieces {
		h := head{in: bufio.NewReaderSize(io.NewSectionReader(s.file, from, end-from), size)}
		if ok, err := h.advance(); err != nil {
			return nil, err
		} else if ok {
			out.heads = append(out.heads, h)
		}
		from = end
	}
	h := head{rest: s.buf}
	if ok, err := h.advance(); err != nil {
		return nil, err
	} else if ok {
		out.heads = append(out.heads, h)
	}
	for i := len(out.heads)/2 - 1; i >= 0; i-- {
		out.sink(i)
	}
	return out, nil
}

func (h *head) advance() (ok bool, err error) {
	if h.in == nil {
		if len(h.rest) == 0 {
			return false, nil
		}
		h.r, h.rest = h.rest[0], h.rest[1:]
		return true, nil
	}
	var b [recordBytes]byte
	if _, err := io.ReadFull(h.in, b[:]); errors.Is(err, io.EOF) {
		return false, nil
	} else if err != nil {
		return false, fmt.Errorf("temporary file: %w", err)
	}
	for i := range h.r {
		h.r[i] = binary.LittleEndian.Uint64(b[i*8:])
	}
	return true, nil
}

// peek is the next record without taking it; nil at the end.
func (s *sorted) peek() *record {
	if len(s.heads) == 0 {
		return nil
	}
	return &s.heads[0].r
}

// next takes the next record; ok is false at the end.
func (s *sorted) next() (r record, ok bool, err error) {
	if len(s.heads) == 0 {
		return r, false, nil
	}
	r = s.heads[0].r
	more, err := s.heads[0].advance()
	if err != nil {
		return r, false, err
	}
	if !more {
		last := len(s.heads) - 1
		s.heads[0] = s.heads[last]
		s.heads = s.heads[:last]
	}
	s.sink(0)
	return r, true, nil
}

func (s *sorted) sink(i int) {
	for {
		least := i
		for c := 2*i + 1; c <= 2*i+2 && c < len(s.heads); c++ {
			if s.heads[c].r.compare(&s.heads[least].r) < 0 {
				least = c
			}
		}
		if least == i {
			return
		}
		s.heads[i], s.heads[least] = s.heads[least], s.heads[i]
		i = least
	}
}
