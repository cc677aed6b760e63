// Package sheet reads the lists that people have: CSV and XLSX tables with any
// columns. It guesses what each column means, turns rows into animals and
// entries, and says of every row that it cannot take what is wrong and what to
// do. It writes the same tables for an export. It does no I/O of its own.
package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Limits of what is read. They hold whatever a file claims of itself: what is
// packed is counted as it comes out.
const (
	MaxBytes = 20 << 20 // of the file
	MaxRows  = 50_000   // that hold something, headings included

	maxColumns  = 200
	maxCells    = 1_000_000
	maxText     = 10_000   // bytes in one cell
	maxUnpacked = 96 << 20 // bytes of XML in all
	maxSheets   = 100
)

// Kind is what a cell holds.
type Kind uint8

// The kinds. A CSV file has texts only.
const (
	Text   Kind = iota
	Number      // Num is exact, whatever the cell looks like
	Moment      // Num is UTC milliseconds of the local time that the cell shows
	Clock       // Num is milliseconds after midnight
	Fault       // Text says what is wrong, such as #DIV/0! or a formula without a value
)

// Cell is one cell. Text is what it shows, in a neutral form: numbers with a
// point, times as 2026-05-01 18:30.
type Cell struct {
	Text string
	Num  float64
	Kind Kind
	// Spread says that the cell was merged with the one above, which holds the
	// text.
	Spread bool
}

// Row is one row that holds something. N is its number as a spreadsheet shows
// it, from 1.
type Row struct {
	N     int
	Cells []Cell
}

func (r *Row) cell(i int) Cell {
	if i < 0 || i >= len(r.Cells) {
		return Cell{}
	}
	return r.Cells[i]
}

// Table is one sheet of a file.
type Table struct {
	Sheets []string // all that the file has, in its order; none for CSV
	Sheet  string   // the one that was read
	Rows   []Row
	Width  int // columns
	// From1904 says that the workbook counts its days from 1904 and not from 1900.
	From1904 bool
	Workbook bool // XLSX
}

// refused is why a file is not taken, with the row where that is known (0: not).
func refused(row int, why words.Text) error {
	err := care.BadField("file", "{why}", why)
	if row > 0 {
		err = care.BadField("file", "Row {row}: {why}", row, why)
		err.Meta = map[string]string{"row": strconv.Itoa(row)}
	}
	return err
}

// TooLarge is the refusal of a file above MaxBytes.
func TooLarge() error {
	err := care.BadField("file", "The file is larger than 20 MB. Save the list alone as CSV, without pictures, or in parts.")
	err.Reason = care.ReasonTooLarge
	return err
}

var tooManyRows = words.Say("The list has more than {most} rows. Bring it in in parts.", MaxRows)

// Open reads one sheet of a file of size bytes: the one that name says, with ""
// the first that holds a list. What is no table that it can read is a
// *care.Error that says what to do.
func Open(r io.ReaderAt, size int64, name string) (*Table, error) {
	if size > MaxBytes {
		return nil, TooLarge()
	}
	head := make([]byte, min(size, 4096))
	if n, err := r.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("reading a list: %w", err)
	} else {
		head = head[:n]
	}
	if err := known(head); err != nil {
		return nil, err
	}
	t, err := &Table{}, error(nil)
	if bytes.HasPrefix(head, []byte("PK\x03\x04")) {
		t, err = openWorkbook(r, size, name, maxUnpacked)
	} else {
		err = t.readText(io.NewSectionReader(r, 0, size))
	}
	if err != nil {
		return nil, err
	}
	if len(t.Rows) == 0 {
		return nil, refused(0, words.Say("There is nothing in this list. Choose another file or sheet."))
	}
	for i := range t.Rows {
		t.Width = max(t.Width, len(t.Rows[i].Cells))
	}
	return t, nil
}

// known refuses what is neither a table of text nor a packed workbook, with
// what to do instead.
func known(head []byte) error {
	for _, f := range []struct {
		magic string
		why   words.Text
	}{
		{"\xd0\xcf\x11\xe0", words.Say("This is a spreadsheet in an old form, or one with a password. Open it in a spreadsheet and save it as XLSX or CSV.")},
		{"%PDF", words.Say("This is a PDF. Choose the list itself, saved as XLSX or CSV.")},
		{"{\\rtf", words.Say("This is a text document. Choose the list itself, saved as XLSX or CSV.")},
		{"\x89PNG", words.Say("This is a picture. Choose the list itself, saved as XLSX or CSV.")},
		{"\xff\xd8\xff", words.Say("This is a picture. Choose the list itself, saved as XLSX or CSV.")},
		{"SQLite format 3", words.Say("This is a database. Choose a list, saved as XLSX or CSV.")},
		{"\x1f\x8b", words.Say("This file is packed. Unpack it and choose the list itself.")},
		{"7z\xbc\xaf", words.Say("This file is packed. Unpack it and choose the list itself.")},
		{"Rar!", words.Say("This file is packed. Unpack it and choose the list itself.")},
		{"<?xml", words.Say("This is no table. Open it in a spreadsheet and save it as XLSX or CSV.")},
		{"<!DOCTYPE", words.Say("This is a web page. Open it in a spreadsheet and save it as XLSX or CSV.")},
		{"<html", words.Say("This is a web page. Open it in a spreadsheet and save it as XLSX or CSV.")},
		{"{", words.Say("This is no table. Case files are brought in on the service's own machine: warmhand import.")},
	} {
		if bytes.HasPrefix(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")), []byte(f.magic)) {
			return refused(0, f.why)
		}
	}
	if len(bytes.TrimSpace(head)) == 0 {
		return refused(0, words.Say("The file is empty. Choose another one."))
	}
	return nil
}

// add appends a row unless it is empty, and refuses what is too much.
func (t *Table) add(n int, cells []Cell, held *int) error {
	last := -1
	for i := range cells {
		if cells[i].Text != "" {
			last = i
		}
	}
	if last < 0 {
		return nil
	}
	if last >= maxColumns {
		return refused(n, words.Say("There are more than {most} columns. Take out those that are not needed.", maxColumns))
	}
	if len(t.Rows) >= MaxRows {
		return refused(n, tooManyRows)
	}
	if *held += last + 1; *held > maxCells {
		return refused(n, words.Say("The list has more than {most} cells. Bring it in in parts.", maxCells))
	}
	t.Rows = append(t.Rows, Row{N: n, Cells: cells[: last+1 : last+1]})
	return nil
}

// moment is a cell that shows a local time.
func moment(at time.Time) Cell {
	layout := "2006-01-02 15:04"
	switch {
	case at.Equal(at.Truncate(24 * time.Hour)):
		layout = time.DateOnly
	case at.Second() != 0:
		layout = time.DateTime
	}
	return Cell{Text: at.Format(layout), Num: float64(at.UnixMilli()), Kind: Moment}
}

// time is the local time that a Moment shows, as if it were UTC.
func (c *Cell) time() time.Time { return time.UnixMilli(int64(c.Num)).UTC() }

// clean drops what no text may hold: space around, and control characters.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "\ufffd")
	if strings.ContainsFunc(s, isControl) {
		s = strings.Map(func(r rune) rune {
			if isControl(r) {
				return -1
			}
			return r
		}, s)
	}
	return strings.TrimSpace(strings.ReplaceAll(s, "\u00a0", " "))
}

func isControl(r rune) bool { return r < ' ' && r != '\n' && r != '\t' || r == 0x7f || r == '\ufeff' }
