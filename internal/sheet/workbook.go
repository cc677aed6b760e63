package sheet

import (
	"archive/zip"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// A workbook is read here part by part as a stream, and not with the library
// that writes ours: what that one streams does not say which numbers are dates
// but writes them in the workbook's own order of day and month, nor which cells
// are merged; and what says so holds all sheets in memory.

// workbook is a packed workbook that is being read.
type workbook struct {
	files    map[string]*zip.File
	left     int64 // bytes that may still be unpacked
	from1904 bool
	dates    []numberForm // by style
	texts    []string     // shared by the sheets
}

// numberForm is how a style shows a number.
type numberForm uint8

const (
	plainNumber numberForm = iota
	asDate
	asClock
)

var errUnpacked = errors.New("too much")

var damaged = words.Say("The file is damaged, or is no workbook. Open it in a spreadsheet and save it anew as XLSX or CSV.")

// openWorkbook unpacks at most limit bytes.
func openWorkbook(r io.ReaderAt, size int64, name string, limit int64) (*Table, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, refused(0, damaged)
	}
	w := &workbook{files: map[string]*zip.File{}, left: limit}
	for _, f := range z.File {
		w.files[strings.TrimPrefix(f.Name, "/")] = f
	}
	switch {
	case w.files["xl/workbook.bin"] != nil:
		return nil, refused(0, words.Say("This is a workbook in binary form. Open it in a spreadsheet and save it as XLSX or CSV."))
	case w.files["content.xml"] != nil:
		return nil, refused(0, words.Say("This is an OpenDocument file. Open it and save it as XLSX or CSV."))
	case w.files["xl/workbook.xml"] == nil && w.files["_rels/.rels"] == nil:
		return nil, refused(0, words.Say("This is a packed folder. Unpack it and choose one list from it, XLSX or CSV."))
	}
	t, err := w.read(name)
	switch {
	case errors.Is(err, errUnpacked):
		return nil, refused(0, words.Say("Unpacked, the file is larger than {most} MB. Save the list alone as CSV, or in parts.", int(limit>>20)))
	case err != nil && !isRefusal(err):
		return nil, refused(0, damaged)
	}
	return t, err
}

// walk reads one part of the workbook, element by element.
func (w *workbook) walk(part string, each func(d *xml.Decoder, e xml.StartElement) error) error {
	f := w.files[part]
	if f == nil {
		return io.ErrUnexpectedEOF
	}
	in, err := f.Open()
	if err != nil {
		return err
	}
	defer in.Close()
	d := xml.NewDecoder(&counted{in, &w.left})
	for {
		token, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if e, ok := token.(xml.StartElement); ok {
			if err := each(d, e); err != nil {
				return err
			}
		}
	}
}

// counted stops when more was unpacked than may be.
type counted struct {
	in   io.Reader
	left *int64
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.in.Read(p)
	if *c.left -= int64(n); *c.left < 0 {
		return 0, errUnpacked
	}
	return n, err
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// link is one line of a part's list of relations.
type link struct{ id, kind, target string }

// links are the relations of a part, by id, with their targets' full names.
func (w *workbook) links(part string) (all []link, err error) {
	dir, file := path.Split(part)
	err = w.walk(dir+"_rels/"+file+".rels", func(_ *xml.Decoder, e xml.StartElement) error {
		if e.Name.Local == "Relationship" {
			target := attr(e, "Target")
			if !strings.HasPrefix(target, "/") {
				target = path.Join(dir, target)
			}
			all = append(all, link{attr(e, "Id"), path.Base(attr(e, "Type")), strings.TrimPrefix(target, "/")})
		}
		return nil
	})
	return all, err
}

func (w *workbook) read(name string) (*Table, error) {
	main := "xl/workbook.xml"
	if tops, err := w.links(""); err == nil {
		for _, l := range tops {
			if l.kind == "officeDocument" {
				main = l.target
			}
		}
	}
	links, err := w.links(main)
	if err != nil {
		return nil, err
	}
	target := func(match func(link) bool) string {
		if i := slices.IndexFunc(links, match); i >= 0 {
			return links[i].target
		}
		return ""
	}
	t := &Table{Workbook: true}
	var parts []string
	if err := w.walk(main, func(_ *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "workbookPr":
			v := attr(e, "date1904")
			w.from1904 = v == "1" || v == "true"
		case "sheet":
			if state := attr(e, "state"); state == "hidden" || state == "veryHidden" {
				return nil
			}
			id := ""
			for _, a := range e.Attr {
				if a.Name.Local == "id" && a.Name.Space != "" { // r:id
					id = a.Value
				}
			}
			if p := target(func(l link) bool { return l.id == id && l.kind == "worksheet" }); p != "" && len(parts) < maxSheets {
				t.Sheets, parts = append(t.Sheets, clean(attr(e, "name"))), append(parts, p)
			}
		}
		return nil
	}); err != nil {
		return nil, err
	}
	t.From1904 = w.from1904
	if len(parts) == 0 {
		return nil, refused(0, words.Say("There is no sheet in this workbook. Choose another file."))
	}
	if p := target(func(l link) bool { return l.kind == "styles" }); p != "" {
		if err := w.readStyles(p); err != nil {
			return nil, err
		}
	}
	if p := target(func(l link) bool { return l.kind == "sharedStrings" }); p != "" {
		if err := w.readTexts(p); err != nil {
			return nil, err
		}
	}
	if name != "" {
		i := slices.Index(t.Sheets, name)
		if i < 0 {
			return nil, refused(0, words.Say("The workbook has no sheet “{name}”. Choose one of its sheets.", name))
		}
		t.Sheet = name
		return t, w.readSheet(parts[i], t)
	}
	for i, p := range parts { // the first with more than a heading
		if err := w.readSheet(p, t); err != nil {
			return nil, err
		}
		if t.Sheet = t.Sheets[i]; len(t.Rows) > 1 {
			break
		}
	}
	return t, nil
}

// readStyles learns which styles show dates.
func (w *workbook) readStyles(part string) error {
	forms := map[string]numberForm{}
	inCells := false
	return w.walk(part, func(_ *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "numFmt":
			forms[attr(e, "numFmtId")] = formOf(attr(e, "formatCode"))
		case "cellStyleXfs", "cellXfs":
			inCells = e.Name.Local == "cellXfs"
		case "xf":
			if !inCells {
				break
			}
			id := attr(e, "numFmtId")
			form, own := forms[id]
			if n, err := strconv.Atoi(id); err == nil && !own {
				form = builtIn(n)
			}
			w.dates = append(w.dates, form)
		case "cellStyles":
			inCells = false
		}
		return nil
	})
}

// builtIn is the form of a number format that has a number and no text
// (ECMA-376 Part 1, 18.8.30; 27 to 36 and 50 to 58 are dates of East Asian
// locales).
func builtIn(id int) numberForm {
	switch {
	case id >= 14 && id <= 17, id == 22, id >= 27 && id <= 31, id == 36, id >= 50 && id <= 58:
		return asDate
	case id >= 18 && id <= 21, id >= 32 && id <= 35, id >= 45 && id <= 47:
		return asClock
	}
	return plainNumber
}

// formOf reads a format's text: letters of dates outside of quotation marks,
// brackets and escapes.
func formOf(code string) numberForm {
	code, _, _ = strings.Cut(code, ";") // for positive numbers
	clock := false
	for i := 0; i < len(code); i++ {
		switch c := code[i] | 0x20; {
		case code[i] == '"':
			if n := strings.IndexByte(code[i+1:], '"'); n >= 0 {
				i += n + 1
			}
		case code[i] == '\\', code[i] == '_', code[i] == '*':
			i++
		case code[i] == '[':
			n := strings.IndexByte(code[i:], ']')
			if n < 0 {
				return plainNumber
			}
			if in := strings.ToLower(code[i+1 : i+n]); strings.Trim(in, "h") == "" || strings.Trim(in, "m") == "" || strings.Trim(in, "s") == "" {
				clock = true // elapsed hours
			}
			i += n
		case c == 'g' && strings.HasPrefix(strings.ToLower(code[i:]), "general"):
			i += len("general") - 1
		case c == 'y', c == 'd':
			return asDate
		case c == 'h', c == 's':
			clock = true
		case c == 'm' && !strings.ContainsAny(strings.ToLower(code), "hs"):
			return asDate
		}
	}
	if clock {
		return asClock
	}
	return plainNumber
}

// readTexts reads the texts that the cells share.
func (w *workbook) readTexts(part string) error {
	return w.walk(part, func(d *xml.Decoder, e xml.StartElement) error {
		if e.Name.Local != "si" {
			return nil
		}
		text, err := textIn(d)
		w.texts = append(w.texts, text)
		if len(w.texts) > maxCells {
			return refused(0, words.Say("The workbook holds more than {most} texts. Save the list alone as CSV, or in parts.", maxCells))
		}
		return err
	})
}

// textIn is the text up to the end of the element that was begun, without the
// readings that go with East Asian letters.
func textIn(d *xml.Decoder) (string, error) {
	var out strings.Builder
	inText := false
	for depth := 1; depth > 0; {
		token, err := d.Token()
		if err != nil {
			return "", err
		}
		switch x := token.(type) {
		case xml.StartElement:
			if x.Name.Local == "rPh" {
				if err := d.Skip(); err != nil {
					return "", err
				}
				continue
			}
			depth++
			inText = x.Name.Local == "t"
		case xml.EndElement:
			depth--
			inText = false
		case xml.CharData:
			if inText && out.Len() <= maxText {
				out.Write(x)
			}
		}
	}
	return out.String(), nil
}

func (w *workbook) readSheet(part string, t *Table) error {
	t.Rows = nil
	held, n := 0, 0
	var merged []string
	err := w.walk(part, func(d *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "row":
			n++
			if r, err := strconv.Atoi(attr(e, "r")); err == nil {
				if r < n {
					return io.ErrUnexpectedEOF
				}
				n = r
			}
			cells, err := w.readRow(d, n)
			if err != nil {
				return err
			}
			return t.add(n, cells, &held)
		case "mergeCell":
			if len(merged) > maxCells/10 {
				return refused(0, words.Say("The sheet has too many merged cells. Take the merging out, or save the list as CSV."))
			}
			merged = append(merged, attr(e, "ref"))
		}
		return nil
	})
	if err != nil {
		return err
	}
	budget := maxCells
	for _, ref := range merged {
		if budget -= t.spread(ref); budget < 0 {
			return refused(0, words.Say("The sheet has too many merged cells. Take the merging out, or save the list as CSV."))
		}
	}
	return nil
}

func isRefusal(err error) bool {
	var e *care.Error
	return errors.As(err, &e)
}

// readRow reads the cells of a row up to its end.
func (w *workbook) readRow(d *xml.Decoder, n int) ([]Cell, error) {
	var cells []Cell
	for {
		token, err := d.Token()
		if err != nil {
			return nil, err
		}
		if end, ok := token.(xml.EndElement); ok && end.Name.Local == "row" {
			return cells, nil
		}
		e, ok := token.(xml.StartElement)
		if !ok || e.Name.Local != "c" {
			continue
		}
		col := len(cells)
		if ref := attr(e, "r"); ref != "" {
			if c, _, ok := place(ref); ok {
				col = c
			}
		}
		cell, err := w.readCell(d, e)
		if err != nil {
			return nil, err
		}
		if len(cell.Text) > maxText {
			return nil, refused(n, words.Say("A cell is longer than {most} letters. Shorten it.", maxText))
		}
		if cell.Text == "" {
			continue
		}
		if col >= maxColumns {
			return nil, refused(n, words.Say("There are more than {most} columns. Take out those that are not needed.", maxColumns))
		}
		if col < len(cells) {
			return nil, io.ErrUnexpectedEOF
		}
		for len(cells) < col {
			cells = append(cells, Cell{})
		}
		cells = append(cells, cell)
	}
}

// readCell reads one cell up to its end.
func (w *workbook) readCell(d *xml.Decoder, c xml.StartElement) (cell Cell, err error) {
	kind := attr(c, "t")
	value, formula := "", false
	for {
		token, err := d.Token()
		if err != nil {
			return cell, err
		}
		switch x := token.(type) {
		case xml.EndElement:
			if x.Name.Local == "c" {
				return w.cellOf(kind, attr(c, "s"), value, formula)
			}
		case xml.StartElement:
			switch x.Name.Local {
			case "f":
				formula = true
				if err := d.Skip(); err != nil {
					return cell, err
				}
			case "is":
				if value, err = textIn(d); err != nil {
					return cell, err
				}
			case "v":
				var text strings.Builder
				for {
					in, err := d.Token()
					if err != nil {
						return cell, err
					}
					if _, ok := in.(xml.EndElement); ok {
						break
					}
					if chars, ok := in.(xml.CharData); ok && text.Len() <= maxText {
						text.Write(chars)
					}
				}
				value = text.String()
			}
		}
	}
}

func (w *workbook) cellOf(kind, style, value string, formula bool) (Cell, error) {
	if formula && strings.TrimSpace(value) == "" {
		if kind == "str" {
			return Cell{}, nil // it was reckoned, and is empty
		}
		return Cell{Text: "a formula that was never reckoned", Kind: Fault}, nil
	}
	switch kind {
	case "s":
		i, err := strconv.Atoi(strings.TrimSpace(value))
		if err != nil || i < 0 || i >= len(w.texts) {
			return Cell{}, io.ErrUnexpectedEOF
		}
		return Cell{Text: clean(w.texts[i])}, nil
	case "inlineStr", "str":
		return Cell{Text: clean(value)}, nil
	case "e":
		return Cell{Text: clean(value), Kind: Fault}, nil
	case "b":
		if strings.TrimSpace(value) == "1" {
			return Cell{Text: "yes"}, nil
		}
		return Cell{Text: "no"}, nil
	case "d": // ISO 8601
		for _, layout := range []string{"2006-01-02T15:04:05.999", time.DateOnly, "2006-01-02T15:04:05.999Z07:00"} {
			if at, err := time.Parse(layout, strings.TrimSpace(value)); err == nil {
				return moment(at.UTC()), nil
			}
		}
		return Cell{Text: clean(value)}, nil
	}
	value = strings.TrimSpace(value)
	if value == "" {
		return Cell{}, nil
	}
	num, err := strconv.ParseFloat(value, 64)
	if err != nil || math.IsInf(num, 0) || math.IsNaN(num) {
		return Cell{Text: clean(value)}, nil
	}
	form := plainNumber
	if i, err := strconv.Atoi(style); err == nil && i >= 0 && i < len(w.dates) {
		form = w.dates[i]
	}
	switch {
	case form == asDate && num >= 1:
		if at, ok := dayNumber(num, w.from1904); ok {
			return moment(at), nil
		}
	case form != plainNumber && num >= 0 && num < 1:
		ms := math.Round(num * 86400e3)
		return Cell{Text: time.UnixMilli(int64(ms)).UTC().Format("15:04"), Num: ms, Kind: Clock}, nil
	}
	return Cell{Text: strconv.FormatFloat(num, 'f', -1, 64), Num: num, Kind: Number}, nil
}

// dayNumber is the local time of a spreadsheet's day number. Those that count
// from 1900 take that year for a leap year: 60 is a day that never was, and the
// numbers before it are one less (ECMA-376 Part 1, 18.17.4.1).
func dayNumber(num float64, from1904 bool) (time.Time, bool) {
	if num < 0 || num > 80_000 { // 2119
		return time.Time{}, false
	}
	epoch := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	switch {
	case from1904:
		epoch = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	case num < 61:
		epoch = epoch.AddDate(0, 0, 1)
	}
	days, part := math.Modf(num)
	return epoch.AddDate(0, 0, int(days)).Add(time.Duration(math.Round(part*86400)) * time.Second), true
}

// place is the column and the row of a cell's name, such as C7: 2 and 7.
func place(ref string) (col, row int, ok bool) {
	i := 0
	for ; i < len(ref) && i < 4 && ref[i] >= 'A' && ref[i] <= 'Z'; i++ {
		col = col*26 + int(ref[i]-'A') + 1
	}
	row, err := strconv.Atoi(ref[i:])
	return col - 1, row, i > 0 && err == nil && row > 0
}

// spread writes the text of merged cells into those below it, and returns how
// many cells that took.
func (t *Table) spread(ref string) (n int) {
	from, to, ok := strings.Cut(ref, ":")
	col, top, ok1 := place(from)
	_, bottom, ok2 := place(to)
	if !ok || !ok1 || !ok2 || bottom <= top || col >= maxColumns {
		return 1
	}
	i, found := slices.BinarySearchFunc(t.Rows, top, func(r Row, n int) int { return r.N - n })
	if !found {
		return 1
	}
	cell := t.Rows[i].cell(col) // a copy: the first cell is the one that holds the text
	if cell.Spread = true; cell.Text == "" {
		return 1
	}
	for i++; i < len(t.Rows) && t.Rows[i].N <= bottom; i++ {
		r := &t.Rows[i]
		n += 1 + max(0, col-len(r.Cells))
		for len(r.Cells) <= col {
			r.Cells = append(r.Cells, Cell{})
		}
		if r.Cells[col].Text == "" {
			r.Cells[col] = cell
		}
	}
	return n
}
