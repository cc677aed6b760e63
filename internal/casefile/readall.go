package casefile

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
)

// LongestLine is how many bytes a line may have.
const LongestLine = 1 << 20

// ReadAll reads a whole case file, with all of it in memory: the cases in the
// order in which they begin. The first thing that is wrong is an *Error with
// its line.
func ReadAll(r io.Reader) ([]*Case, error) {
	in := bufio.NewReaderSize(r, LongestLine)
	var d Decoder
	var l Line
	var cases []*Case
	byID := map[string]*Case{}
	for n := 1; ; n++ {
		text, err := in.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) {
			return nil, &Error{Line: n, Text: fmt.Sprintf("is longer than %d bytes; expected one event a line", LongestLine)}
		} else if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		if len(bytes.TrimSpace(text)) > 0 {
			if err := d.Decode(text, &l); err != nil {
				var e *Error
				if errors.As(err, &e) {
					e.Line = n
				}
				return nil, err
			}
			c := byID[l.Case]
			if c == nil {
				c = &Case{}
				byID[l.Case], cases = c, append(cases, c)
			}
			if err := c.Add(&l, n); err != nil {
				return nil, err
			}
		}
		if err != nil {
			break
		}
	}
	for _, c := range cases {
		if err := c.Done(); err != nil {
			return nil, err
		}
	}
	return cases, nil
}
