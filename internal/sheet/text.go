package sheet

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"warmhand/internal/words"
)

// readText reads a table of text: its characters, then what divides its cells,
// then the rows.
func (t *Table) readText(r io.Reader) error {
	data, err := io.ReadAll(r)
	if err != nil {
		return fmt.Errorf("reading a list: %w", err)
	}
	if data, err = toUTF8(data); err != nil {
		return err
	}
	// Spreadsheets write the divider into the first line when asked to.
	divider, first := rune(0), 1
	if line, rest, _ := bytes.Cut(data, []byte("\n")); len(line) <= 6 && bytes.HasPrefix(bytes.ToLower(line), []byte("sep=")) {
		if sep := bytes.TrimRight(line[4:], "\r"); len(sep) == 1 {
			divider, data, first = rune(sep[0]), rest, 2
		}
	}
	if divider == 0 {
		divider = dividerOf(data)
	}
	err = t.readRows(data, divider, first, false)
	var bad *csv.ParseError
	if errors.As(err, &bad) && errors.Is(err, csv.ErrBareQuote) {
		// An inch mark in a cell that stands without quotation marks.
		err = t.readRows(data, divider, first, true)
	}
	if errors.As(err, &bad) {
		return refused(bad.StartLine+first-1, words.Say("A quotation mark opens and is not closed, or text follows after it closed. Put it right there, or save the list anew from a spreadsheet."))
	}
	return err
}

func (t *Table) readRows(data []byte, divider rune, first int, lazy bool) error {
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma, r.FieldsPerRecord, r.LazyQuotes, r.ReuseRecord = divider, -1, lazy, true
	t.Rows = nil
	held, folded := 0, 0 // folded: line ends inside of cells so far
	for {
		record, err := r.Read()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		line, _ := r.FieldPos(0)
		n := line - folded + first - 1
		cells := make([]Cell, len(record))
		for i, text := range record {
			lines := strings.Count(text, "\n")
			folded += lines
			if len(text) > maxText || lazy && lines > 20 {
				return refused(n, words.Say("A cell is longer than {most} letters. Is a quotation mark missing there?", maxText))
			}
			cells[i].Text = bare(clean(text))
		}
		if err := t.add(n, cells, &held); err != nil {
			return err
		}
	}
}

// toUTF8 finds out how the letters are written: by the mark in front, else UTF-8
// when it is that, else Windows-1252, which is what is left in practice.
func toUTF8(data []byte) ([]byte, error) {
	if body, ok := bytes.CutPrefix(data, []byte("\xef\xbb\xbf")); ok {
		data = body
	}
	wide := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM)
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
	case zeros(data, 1) > len(data)/8:
		wide = unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM)
	case zeros(data, 0) > len(data)/8:
		wide = unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM)
	case bytes.IndexByte(data, 0) >= 0:
		return nil, refused(0, words.Say("This is no table of text. Save the list as XLSX or CSV."))
	case utf8.Valid(data):
		return data, nil
	default:
		out, err := charmap.Windows1252.NewDecoder().Bytes(data)
		if err != nil {
			return nil, refused(0, words.Say("The letters of this file cannot be read. Save it as CSV in UTF-8, or as XLSX."))
		}
		return out, nil
	}
	out, err := wide.NewDecoder().Bytes(data)
	if err != nil || bytes.IndexByte(out, 0) >= 0 {
		return nil, refused(0, words.Say("The letters of this file cannot be read. Save it as CSV in UTF-8, or as XLSX."))
	}
	return out, nil
}

// zeros counts the zero bytes at even or odd places of the beginning.
func zeros(data []byte, odd int) (n int) {
	data = data[:min(len(data), 4096)]
	for i := odd; i < len(data); i += 2 {
		if data[i] == 0 {
			n++
		}
	}
	return n
}

// dividerOf is the character that divides the first lines into the most columns,
// the same in most of them.
func dividerOf(data []byte) rune {
	best, most := ',', 0.0
	for _, c := range ",;\t|" {
		counts := map[int]int{}
		lines := bufio.NewScanner(bytes.NewReader(data))
		lines.Buffer(nil, maxText*maxColumns)
		seen := 0
		for seen < 50 && lines.Scan() {
			if n := outside(lines.Text(), c); strings.TrimSpace(lines.Text()) != "" {
				counts[n]++
				seen++
			}
		}
		for n, lines := range counts {
			if score := float64(n) * float64(lines) / float64(seen); n > 0 && score > most {
				best, most = c, score
			}
		}
	}
	return best
}

// outside counts a divider outside of quotation marks.
func outside(line string, divider rune) (n int) {
	quoted := false
	for _, r := range line {
		switch {
		case r == '"':
			quoted = !quoted
		case r == divider && !quoted:
			n++
		}
	}
	return n
}
