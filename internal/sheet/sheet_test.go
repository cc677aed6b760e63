package sheet

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"warmhand/internal/care"
)

var (
	now    = time.Date(2026, 11, 25, 15, 0, 0, 0, time.UTC)
	vienna = func() *time.Location {
		z, err := time.LoadLocation("Europe/Vienna")
		if err != nil {
			panic(err)
		}
		return z
	}()
)

func bookWith(animals ...care.Animal) Book {
	return Book{Zone: vienna, Animals: animals, MakeID: func(what string) string { return "made:" + what }}
}

func mustOpen(t testing.TB, data []byte, sheet string) *Table {
	t.Helper()
	tab, err := Open(bytes.NewReader(data), int64(len(data)), sheet)
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

// planned is what a list gives with what it decides by itself, and m's answers.
func planned(t testing.TB, data []byte, m Mapping, book Book) (*Plan, Mapping) {
	t.Helper()
	tab := mustOpen(t, data, m.Sheet)
	full, questions := tab.Guess(m, now)
	return tab.Plan(full, questions, book, nil, now), full
}

func texts(p *Plan) (out []string) {
	for _, a := range p.Animals {
		hatched := ""
		if a.Animal.Hatched != nil {
			hatched = a.Animal.Hatched.Format(time.DateOnly)
		}
		out = append(out, fmt.Sprintf("%d animal %s %s %s %s %v %s<%s+%s", a.Row, a.Animal.Name, a.Animal.Species, a.Animal.Sex, hatched, a.Animal.Genes, a.Animal.Clutch, a.Animal.MotherID, a.Animal.FatherID))
	}
	for _, l := range p.Lines {
		out = append(out, fmt.Sprintf("%d %s %s %s", l.Row, l.AnimalID, l.At.In(vienna).Format("2006-01-02 15:04"), Content(l.Body)))
	}
	for _, q := range p.Questions {
		out = append(out, fmt.Sprintf("? %s %v", q.Text, q.Choices))
	}
	for _, x := range p.Problems {
		mark := "!"
		if x.Warning {
			mark = "~"
		}
		out = append(out, fmt.Sprintf("%s %d %s %q", mark, x.Row, x.Title, x.Value))
	}
	return out
}

func wantTexts(t *testing.T, got []string, want ...string) {
	t.Helper()
	for i := range max(len(got), len(want)) {
		g, w := "", ""
		if i < len(got) {
			g = got[i]
		}
		if i < len(want) {
			w = want[i]
		}
		if g != w {
			t.Errorf("%d:\n got %s\nwant %s", i, g, w)
		}
	}
}

func fixture(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile("../../testdata/sheets/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// What other people's programs write; see testdata/sheets.
func TestOthersFiles(t *testing.T) {
	t.Parallel()
	german := []string{
		"2 animal Schäfchen python_regius unknown  [] <+", "4 animal Igel python_regius unknown  [] <+",
		`2 made:name/schäfchen 2026-04-03 12:00 weigh_in{"mass_g":1204.5}`, `2 made:name/schäfchen 2026-04-03 12:00 offer{"result":"eaten"}`,
		`3 made:name/schäfchen 2026-04-17 12:00 weigh_in{"mass_g":1210}`, `3 made:name/schäfchen 2026-04-17 12:00 offer{"result":"refused"}`,
		`4 made:name/igel 2026-04-05 12:00 weigh_in{"mass_g":48.25}`, `4 made:name/igel 2026-04-05 12:00 offer{"result":"eaten"}`,
	}
	hazel := care.Animal{ID: "BP-01", Name: "Hazel", Species: "python_regius", Sex: care.Female}
	teasel := care.Animal{ID: "BP-17", Name: "Teasel", Species: "python_regius", Sex: care.Female}
	for _, c := range []struct {
		file string
		m    Mapping
		book Book
		want []string
	}{
		{"libreoffice.xlsx", Mapping{Species: "python_regius"}, bookWith(), german},
		{"libreoffice-1252.csv", Mapping{Species: "python_regius"}, bookWith(), german},
		{"libreoffice-utf16.csv", Mapping{Species: "python_regius"}, bookWith(), german},
		{"libreoffice-utf8.csv", Mapping{Species: "python_regius"}, bookWith(), german},
		{"openpyxl.xlsx", Mapping{}, bookWith(), []string{
			"4 animal Hazel python_regius female 2019-07-30 [Pastel] <+",
			"5 animal Rowan python_regius male 2020-08-02 [Spider Pastel] <+",
			"7 animal Larch python_regius unknown 2026-05-03 [] Hazel 2<BP-01+",
			"8 animal Pebble pantherophis_guttatus female 2026-04-01 [anery amel] <+",
			`! 6 Notes "a formula that was never reckoned"`, // to that writer any text is one that begins like it
			`~ 7 Sire "Nobody"`,
		}},
		{"openpyxl.xlsx", Mapping{Sheet: "Log"}, bookWith(hazel, teasel), []string{
			`2 BP-01 2026-09-01 12:00 weigh_in{"mass_g":2210}`, `2 BP-01 2026-09-01 12:00 offer{"result":"eaten","prey":"rat"}`,
			`3 BP-01 2026-09-15 12:00 weigh_in{"mass_g":2225.5}`, `3 BP-01 2026-09-15 12:00 offer{"result":"refused","prey":"rat"}`,
			`4 BP-01 2026-09-20 12:00 shed{"stage":"shed","complete":true}`,
			`5 BP-17 2026-09-01 18:30 weigh_in{"mass_g":66}`, `5 BP-17 2026-09-01 18:30 offer{"result":"eaten","prey":"rat pup"}`,
			`! 6 Weight (g) "a formula that was never reckoned"`,
		}},
		{"xlsxwriter-1904.xlsx", Mapping{}, bookWith(hazel, teasel), []string{
			`2 BP-01 2026-03-04 12:00 weigh_in{"mass_g":2211.2628}`,
			`3 BP-01 2026-04-03 09:05 weigh_in{"mass_g":2225.4376}`,
			`! 4 Date "2026-12-31"`,
			`! 5 Weight (oz) "#DIV/0!"`,
		}},
		{"xlsxwriter-wide.xlsx", Mapping{}, bookWith(), []string{
			"2 animal Alder pantherophis_guttatus unknown  [] <+", "3 animal Birch pantherophis_guttatus unknown  [] <+",
			`2 made:name/alder 2026-06-01 12:00 weigh_in{"mass_g":12}`, `2 made:name/alder 2026-06-08 12:00 weigh_in{"mass_g":14.5}`, `2 made:name/alder 2026-06-22 12:00 weigh_in{"mass_g":19}`,
			`3 made:name/birch 2026-06-01 12:00 weigh_in{"mass_g":11}`, `3 made:name/birch 2026-06-15 12:00 weigh_in{"mass_g":13}`,
			`! 3 2026-06-22 "lost"`,
		}},
	} {
		t.Run(c.file+" "+c.m.Sheet, func(t *testing.T) {
			t.Parallel()
			p, _ := planned(t, fixture(t, c.file), c.m, c.book)
			wantTexts(t, texts(p), c.want...)
		})
	}
	ods := fixture(t, "libreoffice.ods")
	if _, err := Open(bytes.NewReader(ods), int64(len(ods)), ""); err == nil || !strings.Contains(err.Error(), "OpenDocument") {
		t.Errorf("an OpenDocument file: %v", err)
	}
	if tab := mustOpen(t, fixture(t, "openpyxl.xlsx"), ""); !slices.Equal(tab.Sheets, []string{"Stock", "Log"}) {
		t.Errorf("sheets %q: the hidden one is not shown", tab.Sheets)
	}
}

func TestDates(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"2026-05-31": "2026-05-31", "2026/5/31": "2026-05-31", "20260531": "2026-05-31", "31.05.2026": "2026-05-31", "31.5.26": "2026-05-31", "1. 5. 2026": "2026-05-01",
		"3 May 2026": "2026-05-03", "May 3, 2026": "2026-05-03", "3rd May 2026": "2026-05-03", "03-May-26": "2026-05-03", "Sun, 3 May 2026": "2026-05-03", "3. März 2026": "2026-03-03",
		"3 de mayo de 2026": "2026-05-03", "3 août 2026": "2026-08-03", "12 Dez. 2025": "2025-12-12", "2026 May 3": "2026-05-03", "3 May 99": "1999-05-03",
		"2026-05-31 18:30": "2026-05-31 18:30", "2026-05-31T18:30:05": "2026-05-31 18:30", "31.5.2026 6:30 pm": "2026-05-31 18:30", "31.05.2026, 18.30 Uhr": "2026-05-31 18:30",
		"31.02.2026": "", "2026-13-01": "", "soon": "", "12": "", "May 2026": "", "2026-05-31 25:00": "", "1850-01-01": "", "32 May 2026": "",
	} {
		got := ""
		if d, ok := readDate(Cell{Text: text}, false, now); ok {
			if x, sure := d[Undecided]; !sure {
				t.Errorf("%q is not decided: %v", text, d)
			} else if got = x.at.Format(time.DateOnly); x.timed {
				got = x.at.Format("2006-01-02 15:04")
			}
		}
		if got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	// The serials of the standard's own example (ECMA-376 Part 1, 18.17.4.1 and
	// 18.17.4.2): 2 January 1904 is 1 where days count from that year, and 1 March
	// 1900 is 61 after the day that never was.
	for _, c := range []struct {
		num  float64
		old  bool
		want string
	}{{1, false, "1900-01-01"}, {59, false, "1900-02-28"}, {61, false, "1900-03-01"}, {1, true, "1904-01-02"}, {1462, false, "1904-01-01"}, {46143, false, "2026-05-01"}, {46143 - 1462, true, "2026-05-01"}} {
		if at, ok := dayNumber(c.num, c.old); !ok || at.Format(time.DateOnly) != c.want {
			t.Errorf("%v from 1904 %v: %v", c.num, c.old, at)
		}
	}
}

// The order of day and month is decided by the whole column, or asked.
func TestOrderOfDates(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		column string
		order  Order
		asks   bool
	}{
		{"03/04/2026 25/04/2026", DMY, false},
		{"03/04/2026 04/25/2026", MDY, false},
		{"03/04/2026 05/06/2026", Undecided, true},
		{"03-04-2026 05-06-2026", Undecided, true},
		{"03/03/2026 04/04/2026", DMY, false}, // the same either way
		{"03.04.2026 05.06.2026", Undecided, false},
		{"24-05-30 24-06-01", YMD, false},
		{"24-05-03 24-06-01", Undecided, true},
		{"13/04/2026 04/13/2026", Undecided, false}, // each wrong in one order; nothing differs
		{"13/04/2026 04/13/2026 03/04/2026", Undecided, true},
		{"46143 46150", Undecided, true}, // from 1900 or from 1904
	} {
		var cells []Cell
		for _, text := range strings.Fields(c.column) {
			cells = append(cells, Cell{Text: text})
		}
		order, ask, _ := decideOrder(cells, false, now)
		if c.asks != (ask != "") || c.asks && order != Undecided || !c.asks && c.order != Undecided && order != c.order {
			t.Errorf("%s: %q, asks %q", c.column, order, ask)
		}
	}
	data := []byte("name,date,weight\nHazel,03/04/2026,100\nHazel,05/06/2026,110\n")
	book := bookWith(care.Animal{ID: "h", Name: "hazel"})
	p, m := planned(t, data, Mapping{}, book)
	wantTexts(t, texts(p)[2:], "? date: which day is 03/04/2026? [{dmy 3 April 2026} {mdy 4 March 2026}]")
	m.Columns[1].Order = MDY
	p, _ = planned(t, data, m, book)
	wantTexts(t, texts(p), `2 h 2026-03-04 12:00 weigh_in{"mass_g":100}`, `3 h 2026-05-06 12:00 weigh_in{"mass_g":110}`)
}

func TestMeasures(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text string
		unit Unit
		mark Decimal
		want float64 // 0: none
	}{
		{"123", Gram, DecimalOpen, 123}, {"12,5", Gram, DecimalOpen, 12.5}, {"12.5 g", Gram, DecimalOpen, 12.5}, {"1.2kg", Gram, DecimalPoint, 1200}, {"0.450", Kilogram, DecimalOpen, 450},
		{"1,234.5", Gram, DecimalOpen, 1234.5}, {"1.234,5", Gram, DecimalOpen, 1234.5}, {"1 234,5", Gram, DecimalOpen, 1234.5}, {"1'234", Gram, DecimalOpen, 1234}, {"1.234.567", Millimetre, DecimalOpen, 1234567},
		{"1,234", Gram, DecimalComma, 1.234}, {"1,234", Gram, DecimalPoint, 1234}, {"1,234", Gram, DecimalOpen, 0},
		// One ounce is 28.349523125 g, one pound 453.59237 g (NIST Handbook 44).
		{"1 oz", Gram, DecimalOpen, 28.3495}, {"1 lb 3 oz", Gram, DecimalOpen, 538.641}, {"2", Pound, DecimalOpen, 907.1847}, {"4 ft 2 in", Millimetre, DecimalOpen, 1270},
		{"heavy", Gram, DecimalOpen, 0}, {"12 cm", Gram, DecimalOpen, 0}, {"12 34", Gram, DecimalOpen, 0}, {"1,2,3", Gram, DecimalPoint, 123}, {"12..5", Gram, DecimalPoint, 0},
	} {
		got, ok := readMeasure(Cell{Text: c.text}, c.unit, c.mark, isMass(c.unit))
		if !ok {
			got = 0
		}
		if got != c.want {
			t.Errorf("%q in %s, %s: %v, want %v", c.text, c.unit, c.mark, got, c.want)
		}
	}
	for _, c := range []struct {
		list, ask string
		want      Decimal
	}{{"12,5 1.234", "", DecimalComma}, {"12.5 1,234", "", DecimalPoint}, {"1.234 1.300", "1.234", DecimalOpen}, {"12 13", "", DecimalOpen}, {"12,5 12.5", "", DecimalOpen}} {
		if mark, ask := decideDecimal(strings.Fields(c.list)); mark != c.want || ask != c.ask {
			t.Errorf("%s: %q, asks %q", c.list, mark, ask)
		}
	}
	// What was decided while no column was a number does not stand in the way.
	_, m := planned(t, []byte("animal;day of it;how much\nHazel;2026-04-03;48,25\n"), Mapping{}, bookWith(care.Animal{ID: "h", Name: "Hazel"}))
	m.Columns[1].Meaning, m.Columns[2].Meaning = Date, Weight
	again, _ := planned(t, []byte("animal;day of it;how much\nHazel;2026-04-03;48,25\n"), m, bookWith(care.Animal{ID: "h", Name: "Hazel"}))
	wantTexts(t, texts(again), `2 h 2026-04-03 12:00 weigh_in{"mass_g":48.25}`)
	p, _ := planned(t, []byte("name;date;weight\nHazel;2026-04-03;1.234\n"), Mapping{}, bookWith(care.Animal{ID: "h", Name: "Hazel"}))
	wantTexts(t, texts(p)[1:], "? How much is 1.234? [{point 1.234} {comma 1234}]")
	p, _ = planned(t, []byte("name,date,weight kg\nHazel,2026-04-03,1.5\nHazel,2026-04-04,800 g\n"), Mapping{}, bookWith(care.Animal{ID: "h", Name: "Hazel"}))
	wantTexts(t, texts(p), `2 h 2026-04-03 12:00 weigh_in{"mass_g":1500}`, `3 h 2026-04-04 12:00 weigh_in{"mass_g":800}`)
}

func TestText(t *testing.T) {
	t.Parallel()
	const list = "name,species\nÄhre,corn\n"
	wide := func(big bool) []byte {
		out := []byte{0xff, 0xfe}
		if big {
			out = []byte{0xfe, 0xff}
		}
		for _, u := range utf16.Encode([]rune(list)) {
			if lo, hi := byte(u), byte(u>>8); big {
				out = append(out, hi, lo)
			} else {
				out = append(out, lo, hi)
			}
		}
		return out
	}
	for name, data := range map[string][]byte{
		"utf-8": []byte(list), "with a mark": []byte("\xef\xbb\xbf" + list), "utf-16": wide(false), "utf-16 big": wide(true), "utf-16 without a mark": wide(false)[2:], "windows-1252": []byte("name,species\n\xc4hre,corn\n"),
		"semicolons": []byte(strings.ReplaceAll(list, ",", ";")), "tabs": []byte(strings.ReplaceAll(list, ",", "\t")), "said": []byte("sep=|\r\n" + strings.ReplaceAll(list, ",", "|")),
		"lines of another machine": []byte(strings.ReplaceAll(list, "\n", "\r\n")), "empty rows": []byte("\n\n" + list + "\n\n,,\n"),
	} {
		p, _ := planned(t, data, Mapping{}, bookWith())
		if len(p.Animals) != 1 || p.Animals[0].Animal.Name != "Ähre" || p.Animals[0].Animal.Species != "pantherophis_guttatus" {
			t.Errorf("%s: %v", name, texts(p))
		}
	}
	// Rows are counted as a spreadsheet counts them.
	tab := mustOpen(t, []byte("name,note\n\nA,\"one\ntwo\nthree\"\nB,x\n"), "")
	if got := []int{tab.Rows[0].N, tab.Rows[1].N, tab.Rows[2].N}; !slices.Equal(got, []int{1, 3, 4}) {
		t.Errorf("rows %v", got)
	}
	for name, c := range map[string]struct{ data, want string }{
		"nothing":           {"", "empty"},
		"blank":             {" \n\n", "empty"},
		"only divisions":    {",,\n,,\n", "nothing in this list"},
		"an open quotation": {"name,note\nA,\"open\nB,x\n", "Row 2"},
		"text after one":    {"name,note\nA,\"closed\" and more\n", "Row 2"},
		"a long cell":       {"name\n" + strings.Repeat("x", maxText+1), "Row 2"},
		"many columns":      {"name\n" + strings.Repeat(",", maxColumns) + "x", "Row 2"},
		"many rows":         {"n\n" + strings.Repeat("x\n", MaxRows), fmt.Sprintf("Row %d", MaxRows+1)},
		"a picture":         {"\x89PNG\r\n\x1a\n", "picture"},
		"an old workbook":   {"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old form"},
		"a program":         {"MZ\x00\x01\x02name", "no table"},
		"a page":            {"<!DOCTYPE html><table>", "web page"},
		"a case file":       {`{"kind":"handover"}`, "Case files"},
	} {
		_, err := Open(strings.NewReader(c.data), int64(len(c.data)), "")
		var e *care.Error
		if !errors.As(err, &e) || !strings.Contains(e.Text.String(), c.want) || len(e.Fields) == 0 || e.Fields[0].Field != "file" {
			t.Errorf("%s: %v", name, err)
		}
	}
	p, _ := planned(t, []byte("name,species,note\n5\" tub,corn,ok\n"), Mapping{}, bookWith())
	if len(p.Animals) != 1 || p.Animals[0].Animal.Name != `5" tub` {
		t.Errorf("an inch mark: %v", texts(p))
	}
}

// A tub is where an animal is kept, unless it is all that the animal is called.
func TestTubs(t *testing.T) {
	t.Parallel()
	for list, want := range map[string][2]string{
		"tub,name,species\n14,Ada,corn\n":      {"Ada", "14"},
		"name,rack,species\nAda,2b,corn\n":     {"Ada", "2b"},
		"tub,species,weight\n14,corn,980\n":    {"14", ""},
		"no,tub,species\nA7,rack 2,corn\n":     {"A7", "rack 2"},
		"animal,place,species\nAda,x 1,corn\n": {"Ada", "x 1"},
	} {
		p, _ := planned(t, []byte(list), Mapping{}, bookWith())
		if len(p.Animals) != 1 || p.Animals[0].Animal.Name != want[0] || p.Animals[0].Animal.Place != want[1] {
			t.Errorf("%q: %v", list, p.Animals)
		}
	}
}

// zipOf is a packed file of parts.
func zipOf(t testing.TB, parts map[string]io.Reader) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.BestSpeed) })
	for name, r := range parts {
		w, err := z.Create(name)
		if err == nil {
			_, err = io.Copy(w, r)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// workbookOf is a workbook whose one sheet is this XML, and whose shared texts
// are that.
func workbookOf(t testing.TB, sheet, shared io.Reader) []byte {
	t.Helper()
	const ns = `xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"`
	const rel = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/"
	return zipOf(t, map[string]io.Reader{
		"xl/workbook.xml": strings.NewReader(`<workbook ` + ns + `><sheets><sheet name="One" sheetId="1" r:id="rId1"/></sheets></workbook>`),
		"xl/_rels/workbook.xml.rels": strings.NewReader(`<Relationships><Relationship Id="rId1" Type="` + rel + `worksheet" Target="worksheets/sheet1.xml"/>` +
			`<Relationship Id="rId2" Type="` + rel + `sharedStrings" Target="/xl/sharedStrings.xml"/></Relationships>`),
		"xl/worksheets/sheet1.xml": sheet, "xl/sharedStrings.xml": shared,
	})
}

// endless is so many bytes of a pattern.
func endless(head, pattern string, size int64) io.Reader {
	return io.MultiReader(strings.NewReader(head), io.LimitReader(&repeating{pattern: pattern}, size))
}

type repeating struct {
	pattern string
	at      int
}

func (r *repeating) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = r.pattern[r.at]
		r.at = (r.at + 1) % len(r.pattern)
	}
	return len(p), nil
}

// A small file may unpack to anything, or be damaged.
func TestHostileWorkbooks(t *testing.T) {
	t.Parallel()
	const limit, bomb = 4 << 20, 5 << 20
	none := func() io.Reader { return strings.NewReader(`<sst/>`) }
	cell := `<c t="inlineStr"><is><t>x</t></is></c>`
	good := `<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>name</t></is></c></row><row r="2"><c r="A2" t="inlineStr"><is><t>Hazel</t></is></c></row></sheetData></worksheet>`
	deep := strings.Repeat("<a>", 10_000)
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"space without end":     {workbookOf(t, endless("<worksheet>", " ", bomb), none()), "larger than 4 MB"},
		"rows without end":      {workbookOf(t, endless("<worksheet><sheetData>", "<row></row>", bomb), none()), "larger than 4 MB"},
		"full rows without end": {workbookOf(t, endless("<worksheet><sheetData>", "<row>"+cell+"</row>", bomb), none()), "Row 50001"},
		"cells without end":     {workbookOf(t, endless("<worksheet><sheetData><row>", cell, bomb), none()), "Row 1: There are more than 200 columns"},
		"texts without end":     {workbookOf(t, strings.NewReader(good), endless("<sst>", "<si><t>a</t></si>", bomb)), "larger than 4 MB"},
		"one text without end":  {workbookOf(t, strings.NewReader(good), endless("<sst><si><t>", "a", bomb)), "larger than 4 MB"},
		"merging without end":   {workbookOf(t, endless("<worksheet><sheetData/><mergeCells>", `<mergeCell ref="A1:A1048576"/>`, bomb), none()), "merged cells"},
		"nested deep":           {workbookOf(t, strings.NewReader("<worksheet>"+deep), none()), "damaged"},
		"a text that is not":    {workbookOf(t, strings.NewReader(`<worksheet><sheetData><row><c t="s"><v>7</v></c></row></sheetData></worksheet>`), none()), "damaged"},
		"rows backwards":        {workbookOf(t, strings.NewReader(`<worksheet><sheetData><row r="5"><c><v>1</v></c></row><row r="2"><c><v>1</v></c></row></sheetData></worksheet>`), none()), "damaged"},
		"no sheet":              {zipOf(t, map[string]io.Reader{"xl/workbook.xml": strings.NewReader("<workbook/>"), "xl/_rels/workbook.xml.rels": strings.NewReader("<Relationships/>")}), "no sheet"},
		"a packed folder":       {zipOf(t, map[string]io.Reader{"animals.csv": strings.NewReader("name\n")}), "packed folder"},
		"cut off":               {fixture(t, "openpyxl.xlsx")[:3000], "damaged"},
		"no zip":                {[]byte("PK\x03\x04 and then nothing"), "damaged"},
		"another sheet":         {fixture(t, "libreoffice.xlsx"), "no sheet “Nowhere”"},
	} {
		sheet := ""
		if name == "another sheet" {
			sheet = "Nowhere"
		}
		_, err := openWorkbook(bytes.NewReader(c.data), int64(len(c.data)), sheet, limit)
		var e *care.Error
		if !errors.As(err, &e) || !strings.Contains(e.Text.String(), c.want) {
			t.Errorf("%s: %v, want %q in it", name, err, c.want)
		}
	}
	if _, err := Open(nil, 100<<20, ""); !care.IsCode(err, care.Invalid) {
		t.Errorf("100 MB: %v", err)
	}
	mustOpen(t, workbookOf(t, strings.NewReader(good), none()), "One")
}

// Every byte of a workbook may be wrong.
func TestDamagedWorkbooks(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	for _, name := range []string{"openpyxl.xlsx", "libreoffice.xlsx", "xlsxwriter-1904.xlsx"} {
		whole := fixture(t, name)
		for range 300 {
			data := slices.Clone(whole)
			for range 1 + r.IntN(8) {
				data[r.IntN(len(data))] = byte(r.Uint32())
			}
			tab, err := Open(bytes.NewReader(data), int64(len(data)), "")
			if err != nil {
				if !isRefusal(err) {
					t.Fatalf("%s: %v", name, err)
				}
				continue
			}
			m, q := tab.Guess(Mapping{}, now)
			tab.Plan(m, q, bookWith(), nil, now)
		}
	}
}

func TestProblems(t *testing.T) {
	t.Parallel()
	hazel := care.Animal{ID: "h", Name: "Hazel", Species: "python_regius", Sex: care.Female}
	for _, c := range []struct {
		name, list string
		m          Mapping
		want       []string
	}{
		{"everything of an animal can be wrong", `Name,Species,Sex,Hatched,Genes,Dam,Length cm
A,dragon,m,2026-05-01,,,
B,corn,perhaps,2026-05-01,,,
C,corn,m,31.02.2026,,,
D,corn,m,2030-05-01,,,
E,corn,m,2026-05-01,,E,
F,corn,m,2026-05-01,,,long
G,,m,2026-05-01,,,
H,corn,m,2026-05-01,"a; b/c",I,45
I,corn,m,,,,
,corn,f,,,,
` + strings.Repeat("x", 81) + ",corn,,,,,\n", Mapping{}, []string{
			"6 animal E pantherophis_guttatus male 2026-05-01 [] <+", "9 animal H pantherophis_guttatus male 2026-05-01 [a b c] <+", "10 animal I pantherophis_guttatus male  [] <+",
			`! 2 Species "dragon"`, `! 3 Sex "perhaps"`, `! 4 Hatched "31.02.2026"`, `! 5 Hatched "2030-05-01"`, `! 7 Length cm "long"`, `! 8 Species ""`, `! 11 Name ""`,
			fmt.Sprintf("! 12 Name %q", strings.Repeat("x", 60)+"…"), `~ 6 Dam "E"`, `~ 9 Dam "I"`}},
		{"everything of a line can be wrong", `animal,date,weight,eaten,prey,prey state,prey g,shed
Hazel,2026-05-01,heavy,,,,,
Hazel,,100,,,,,
Hazel,2027-01-01,100,,,,,
Hazel,2026-05-02,,perhaps,,,,
Hazel,2026-05-03,,yes,rat,boiled,,
Hazel,2026-05-04,,yes,rat,f/t,big,
Hazel,2026-05-05,,,,,,maybe
Nobody,2026-05-06,100,,,,,
Hazel,2026-05-07,0.2,,,,,
Hazel,2026-05-08,100,yes,rat,frozen,40 g,in blue
`, Mapping{}, []string{
			`11 h 2026-05-08 12:00 weigh_in{"mass_g":100}`, `11 h 2026-05-08 12:00 offer{"result":"eaten","prey":"rat","prey_state":"thawed","prey_g":40}`, `11 h 2026-05-08 12:00 shed{"stage":"opaque"}`,
			`! 2 weight "heavy"`, `! 3 date ""`, `! 4 date "2027-01-01"`, `! 5 eaten "perhaps"`, `! 6 prey state "boiled"`, `! 7 prey g "big"`, `! 8 shed "maybe"`, `! 9 animal "Nobody"`, `! 10 weight "0.2"`}},
		{"what the stock book says stays", "name,species,sex\nhazel,corn,male\n", Mapping{}, []string{`~ 2 species "pantherophis_guttatus"`, `~ 2 sex "male"`}},
		{"two rows of one animal may not differ", "name,species,sex,clutch\nA,corn,male,\nA,corn,,7\nA,corn,female,\n", Mapping{}, []string{
			"2 animal A pantherophis_guttatus male  [] 7<+", `! 4 sex "female"`}},
		{"an empty cell for the one above", "name,date,weight\nHazel,2026-05-01,100\n,2026-05-02,101\n,,102\n", Mapping{FillDown: true}, []string{
			`2 h 2026-05-01 12:00 weigh_in{"mass_g":100}`, `3 h 2026-05-02 12:00 weigh_in{"mass_g":101}`, `4 h 2026-05-02 12:00 weigh_in{"mass_g":102}`}},
		{"a weight without a date", "name,species,last weight\nHazel,,100\nA,corn,20\n", Mapping{}, []string{
			"3 animal A pantherophis_guttatus unknown  [] <+", "? These weights have no date. On which day were they taken? [{out Leave the weights out}]"}},
		{"a weight whose date is said", "name,species,last weight\nHazel,,100\n", Mapping{UndatedOn: "2026-05-01"}, []string{`2 h 2026-05-01 12:00 weigh_in{"mass_g":100}`}},
		{"a weight without a date that is left out", "name,species,last weight\nHazel,,100\n", Mapping{UndatedOn: LeftOut}, nil},
		{"a feeding without an end", "name,date,prey\nHazel,2026-05-01,rat\n", Mapping{}, []string{"? Some feedings do not say how they ended. [{eaten They were eaten} {out Leave them out}]"}},
		{"a feeding without an end was eaten", "name,date,prey\nHazel,2026-05-01,rat\n", Mapping{BlankResult: "eaten"}, []string{`2 h 2026-05-01 12:00 offer{"result":"eaten","prey":"rat"}`}},
		{"lines of other kinds", "name,date,event,weight\nHazel,2026-05-01,cleaned,\nHazel,2026-05-01,weigh-in,100\nHazel,2026-05-02,shed,\nHazel,2026-05-03,refused,\nHazel,2026-05-04,fed,30\n", Mapping{BlankResult: "eaten"}, []string{
			`3 h 2026-05-01 12:00 weigh_in{"mass_g":100}`, `4 h 2026-05-02 12:00 shed{"stage":"shed"}`, `5 h 2026-05-03 12:00 offer{"result":"refused"}`, `6 h 2026-05-04 12:00 offer{"result":"eaten"}`,
			`~ 2 event "cleaned"`, `~ 6 weight "30"`}},
		{"dates of sheds, and refused as a mark", "name,date,refused,shed\nHazel,2026-05-01,yes,2026-04-20\nHazel,2026-05-02,no,\n", Mapping{}, []string{
			`2 h 2026-05-01 12:00 offer{"result":"refused"}`, `2 h 2026-04-20 12:00 shed{"stage":"shed"}`, `3 h 2026-05-02 12:00 offer{"result":"eaten"}`}},
		{"today, before noon is over", "name,date,weight\nHazel,2026-11-25,100\n", Mapping{}, []string{`2 h 2026-11-25 12:00 weigh_in{"mass_g":100}`}},
		{"an hour of its own", "name,date,time,weight\nHazel,2026-07-01,6:15 pm,100\n", Mapping{}, []string{`2 h 2026-07-01 18:15 weigh_in{"mass_g":100}`}},
		{"species that are not listed", "name,species\nA,dragon\n", Mapping{OtherSpecies: true}, []string{"2 animal A other_snake unknown  [] <+", `~ 2 species "dragon"`}},
		{"no headings", "Hazel,2026-05-01,100\nHazel,2026-05-02,101\n", Mapping{HeadingRow: NoHeadings, Columns: []Column{{Meaning: Name}, {Meaning: Date}, {Meaning: Weight}}}, []string{
			`1 h 2026-05-01 12:00 weigh_in{"mass_g":100}`, `2 h 2026-05-02 12:00 weigh_in{"mass_g":101}`}},
		{"nobody is named", "date,weight\n2026-05-01,100\n", Mapping{}, []string{"? Which column says what the animal is called? Choose it below. []", `! 2  ""`}},
		{"a number for an animal that has none", "id,name,date,weight\n7,Made,2026-05-01,100\n7,made,2026-05-02,101\n8,Made,2026-05-02,101\n9,Hazel,2026-05-02,101\n", Mapping{}, []string{
			`2 0190a1b2-0000-7000-8000-000000000001 2026-05-01 12:00 weigh_in{"mass_g":100}`, `3 0190a1b2-0000-7000-8000-000000000001 2026-05-02 12:00 weigh_in{"mass_g":101}`,
			`~ 2 id "7"`, `! 4 name "Made"`, `! 5 name "Hazel"`}},
		{"parts of dates, and what is not sure", "name,species,sex,hatched\nA,corn,male?,2024\nB,corn,m,05/2024\nC,corn,m,ca. May 2024\nD,corn,m,May 3 2024\n", Mapping{}, []string{
			"2 animal A pantherophis_guttatus unknown  [] <+", "3 animal B pantherophis_guttatus male  [] <+", "4 animal C pantherophis_guttatus male  [] <+", "5 animal D pantherophis_guttatus male 2024-05-03 [] <+",
			`~ 2 sex "male?"`, `~ 2 hatched "2024"`, `~ 3 hatched "05/2024"`, `~ 4 hatched "ca. May 2024"`}},
		{"days in headings with more words", "name,Weight 13/4/26 (g),20/4/26 oz\nHazel,100,3.5\n", Mapping{}, []string{
			`2 h 2026-04-13 12:00 weigh_in{"mass_g":100}`, `2 h 2026-04-20 12:00 weigh_in{"mass_g":99.2233}`}},
		{"days that are no weights", "name,species,1.4.2026,8.4.2026\nA,corn,x,refused\nB,corn,,x\n", Mapping{}, []string{
			"2 animal A pantherophis_guttatus unknown  [] <+", "3 animal B pantherophis_guttatus unknown  [] <+", `~ 1 1.4.2026 ""`}},
		{"ancestors in a ring", "name,species,dam\nA,corn,B\nB,corn,A\n", Mapping{}, []string{
			"3 animal B pantherophis_guttatus unknown  [] <+", "2 animal A pantherophis_guttatus unknown  [] <made:name/b+", `~ 3 dam "A"`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p, _ := planned(t, []byte(c.list), c.m, bookWith(hazel, care.Animal{ID: "0190a1b2-0000-7000-8000-000000000001", Name: "Made", Species: "python_regius"}))
			wantTexts(t, texts(p), c.want...)
		})
	}
	for _, p := range func() []Problem {
		p, _ := planned(t, []byte("name,species\nA,dragon\n,corn\n"), Mapping{}, bookWith())
		return p.Problems
	}() {
		if !strings.HasSuffix(p.Text.String(), ".") {
			t.Errorf("%+v does not say what to do", p)
		}
	}
}

// What has no other place is kept in the note under the list's own heading, in the language of who wrote it.
func TestNoteOfAList(t *testing.T) {
	t.Parallel()
	p, _ := planned(t, []byte("Name,Art,Geschlecht,Mutter\nA,Kornnatter,m?,Esche\n"), Mapping{}, bookWith())
	if len(p.Animals) != 1 || p.Animals[0].Animal.Note != "Geschlecht: m?\nMutter: Esche" {
		t.Errorf("%+v, %q", p.Animals, texts(p))
	}
}

// Species are found by what people call them.
func TestSpecies(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"Ball python": "python_regius", "royal pythons": "", "Python regius": "python_regius", "P. regius": "python_regius", "Königspython (Python regius)": "python_regius",
		"Elaphe guttata": "pantherophis_guttatus", "corn snakes": "pantherophis_guttatus", "Morelia spilota mcdowelli": "morelia_spilota", "Lampropeltis getula californiae": "", "python_regius": "python_regius", "unicorn": "", "": "",
	} {
		if got := speciesOf(text); got != want && !(want == "" && got == "") {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	for name, id := range speciesNames {
		if name != fold(name) || speciesOf(name) != id {
			t.Errorf("%q is not found under its own name", name)
		}
	}
	for _, words := range []vocabulary{resultWords, stateWords, shedWords, eventWords} {
		for w := range words {
			if w != fold(w) {
				t.Errorf("%q is never found: it is not folded", w)
			}
		}
	}
	for _, m := range meanings {
		for _, h := range m.headings {
			if h != fold(h) {
				t.Errorf("%q is never found: it is not folded", h)
			} else if got, sure := meaningOf(h); got != m.Meaning || !sure {
				t.Errorf("%q means %s and %s", h, got, m.Meaning)
			}
		}
	}
}

// stockOfAll is a stock book with every kind of line, and texts that a
// spreadsheet would run.
func stockOfAll() *Stock {
	day := func(s string) *time.Time {
		at, err := time.Parse(time.DateOnly, s)
		if err != nil {
			panic(err)
		}
		return &at
	}
	v := func(c care.Celsius) *care.Celsius { return &c }
	yes, no := true, false
	humid := care.Percent(55)
	log := map[string][]care.Entry{}
	for i, b := range []care.Body{
		care.WeighIn{Mass: 123.456}, care.WeighIn{Mass: 1234}, care.WeighIn{Mass: 98.4375}, care.Offer{Result: care.Eaten, Prey: "Rat, small", PreyState: care.Thawed, PreyMass: 12.5},
		care.Offer{Result: care.Refused, Prey: "-1+1"}, care.Offer{Result: care.Struck}, care.Offer{Result: care.Regurgitated, PreyState: care.Live},
		care.Shed{Stage: care.Opaque}, care.Shed{Stage: care.Cleared}, care.Shed{Stage: care.ShedDone}, care.Shed{Stage: care.ShedDone, Complete: &yes}, care.Shed{Stage: care.ShedDone, Complete: &no},
		care.Sign{Code: "wheeze"}, care.Sign{Code: "mites", Gone: true},
		care.ClimateReading{Warm: v(31.5), Cool: v(-1), Night: v(0), Surface: v(33), Humidity: &humid, TakenWith: care.WithProbe}, care.ClimateReading{Night: v(22.125)},
	} {
		// Half an hour that the clock shows twice, and milliseconds.
		at := time.Date(2026, 10, 24, 23, 30, 0, 7e6, time.UTC).Add(time.Duration(i) * 30 * time.Minute)
		log["BP-01"] = append(log["BP-01"], care.Entry{AnimalID: "BP-01", HappenedAt: at, Body: b, Note: []string{"", "=1+1", "'@x", "two\nlines; \"quoted\"", "-"}[i%4]})
	}
	log["a2"] = []care.Entry{{AnimalID: "a2", HappenedAt: now, Body: care.WeighIn{Mass: 20}}}
	return &Stock{Zone: vienna, Log: func(id string) ([]care.Entry, error) { return log[id], nil }, Animals: []care.Animal{
		{ID: "a2", Name: "Twin", Species: "python_regius", Sex: care.Male, MotherID: "BP-01", FatherID: "x3", Clutch: "-7", Place: "=rack 2"},
		{ID: "x3", Name: "Twin", Species: "other_snake", Sex: care.SexUnknown, SnoutVent: 412.5, TotalLength: 470.125},
		{ID: "BP-01", Name: "=HYPERLINK(\"x\")", Species: "python_regius", Sex: care.Female, Hatched: day("2019-07-30"), Genes: []string{"pastel", "het clown"}, Note: "+ shy\n@home"},
	}}
}

// What leaves comes back as it was, and no text of it runs in a spreadsheet.
func TestExportComesBack(t *testing.T) {
	t.Parallel()
	stock := stockOfAll()
	var packed, book bytes.Buffer
	if err := errors.Join(stock.WriteCSV(&packed), stock.WriteXLSX(&book)); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(packed.Bytes()), int64(packed.Len()))
	if err != nil {
		t.Fatal(err)
	}
	parts := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if parts[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
	}
	for _, part := range parts {
		rows, err := csv.NewReader(bytes.NewReader(part)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, cell := range slices.Concat(rows...) {
			if _, err := strconv.ParseFloat(cell, 64); err != nil && cell != "" && strings.IndexByte(formulaStarts, cell[0]) >= 0 {
				t.Errorf("%q would be run", cell)
			}
		}
	}
	check := func(name string, animals, log []byte, sheets [2]string) {
		p, _ := planned(t, animals, Mapping{Sheet: sheets[0]}, bookWith())
		if len(p.Questions)+len(p.Problems) > 0 || len(p.Lines) > 0 {
			t.Errorf("%s: %v", name, texts(p))
		}
		back := map[string]care.Animal{}
		for _, a := range p.Animals {
			back[a.Animal.ID] = a.Animal
		}
		for _, a := range stock.Animals {
			if got := fmt.Sprintf("%+v %v", back[a.ID], back[a.ID].Hatched); fmt.Sprintf("%+v %v", a, a.Hatched) != got && !sameAnimal(a, back[a.ID]) {
				t.Errorf("%s:\n got %s\nwant %+v", name, got, a)
			}
		}
		p, _ = planned(t, log, Mapping{Sheet: sheets[1]}, bookWith(stock.Animals...))
		if len(p.Questions)+len(p.Problems)+len(p.Animals) > 0 {
			t.Errorf("%s: %v", name, texts(p))
		}
		n := 0
		for _, id := range []string{"a2", "x3", "BP-01"} {
			want, _ := stock.Log(id)
			for _, e := range want {
				if n >= len(p.Lines) {
					t.Fatalf("%s: %d lines came back", name, n)
				}
				l := p.Lines[n]
				if l.AnimalID != id || !l.At.Equal(e.HappenedAt) || l.DayOnly || Content(l.Body) != Content(e.Body) || l.Note != e.Note {
					t.Errorf("%s:\n got %+v\nwant %+v", name, l, e)
				}
				n++
			}
		}
		if n != len(p.Lines) {
			t.Errorf("%s: %d lines came back of %d", name, len(p.Lines), n)
		}
	}
	check("CSV", parts["animals.csv"], parts["log.csv"], [2]string{})
	check("XLSX", book.Bytes(), book.Bytes(), [2]string{"Animals", "Log"})
	f, err := excelize.OpenReader(bytes.NewReader(book.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if formula, err := f.GetCellFormula("Animals", "A4"); err != nil || formula != "" {
		t.Errorf("a formula: %q, %v", formula, err)
	}
}

func sameAnimal(a, b care.Animal) bool {
	if (a.Hatched == nil) != (b.Hatched == nil) || a.Hatched != nil && !a.Hatched.Equal(*b.Hatched) {
		return false
	}
	a.Hatched, b.Hatched = nil, nil
	return fmt.Sprintf("%+v", a) == fmt.Sprintf("%+v", b)
}

// The log of ten thousand rows is read beside the library that writes it.
func BenchmarkRead10000(b *testing.B) {
	data := logOf(b, 10_000)
	b.Run("ours", func(b *testing.B) {
		for b.Loop() {
			if tab := mustOpen(b, data, ""); len(tab.Rows) != 10_001 {
				b.Fatal(len(tab.Rows))
			}
		}
	})
	b.Run("library", func(b *testing.B) {
		for b.Loop() {
			f, err := excelize.OpenReader(bytes.NewReader(data))
			if err != nil {
				b.Fatal(err)
			}
			rows, err := f.GetRows("Log")
			if err != nil || len(rows) != 10_001 {
				b.Fatal(len(rows), err)
			}
			f.Close()
		}
	})
}

func logOf(t testing.TB, n int) []byte {
	entries := make([]care.Entry, n)
	for i := range entries {
		entries[i] = care.Entry{HappenedAt: now.Add(-time.Duration(i) * time.Hour), Body: care.WeighIn{Mass: care.Grams(100 + i%50)}, Note: "row " + strconv.Itoa(i)}
	}
	s := Stock{Zone: vienna, Animals: []care.Animal{{ID: "a", Name: "Hazel", Species: "python_regius"}}, Log: func(string) ([]care.Entry, error) { return entries, nil }}
	var out bytes.Buffer
	if err := s.WriteXLSX(&out); err != nil {
		t.Fatal(err)
	}
	// The first sheet that holds a list: the log alone.
	f, err := excelize.OpenReader(&out)
	if err == nil {
		err = f.DeleteSheet("Animals")
	}
	out.Reset()
	if err == nil {
		err = f.Write(&out)
	}
	if err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// Whatever comes, it is read or refused, and what is read makes sense.
func FuzzOpen(f *testing.F) {
	for _, name := range []string{"openpyxl.xlsx", "libreoffice.xlsx", "xlsxwriter-wide.xlsx", "libreoffice-1252.csv", "libreoffice-utf16.csv"} {
		f.Add(fixture(f, name))
	}
	f.Add([]byte("sep=;\nname;date;weight\nHazel;03/04/26 6:30 pm;1.234,5 lb 3 oz\n"))
	f.Add([]byte("id,name,species,sex,hatched,dam,what,result,prey,shed,sign,note\n1,A,corn,0.1,May 3 2026,A,fed,ate,rat,in blue,mites,=x\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tab, err := Open(bytes.NewReader(data), int64(len(data)), "")
		if err != nil {
			if !isRefusal(err) {
				t.Fatal(err)
			}
			return
		}
		m, q := tab.Guess(Mapping{Species: "python_regius", FillDown: true}, now)
		p := tab.Plan(m, q, bookWith(), nil, now)
		seen := map[[2]int]bool{}
		for _, l := range p.Lines {
			if at := [2]int{l.Row, l.Column}; seen[at] {
				t.Fatalf("two lines come from row %d, column %d", l.Row, l.Column)
			} else {
				seen[at] = true
			}
			if err := care.CheckEntry(&care.Entry{HappenedAt: l.At, Body: l.Body}, now); err != nil {
				t.Fatal(err)
			}
		}
		ids := map[string]bool{"": true}
		for _, a := range p.Animals {
			if err := care.CheckAnimal(&a.Animal, now); err != nil || ids[a.Animal.ID] {
				t.Fatalf("%+v: %v", a, err)
			}
			if !ids[a.Animal.MotherID] || !ids[a.Animal.FatherID] {
				t.Fatalf("%s stands before its parents", a.Animal.Name)
			}
			ids[a.Animal.ID] = true
		}
		if again, _ := tab.Guess(m, now); fmt.Sprint(again) != fmt.Sprint(m) {
			t.Fatalf("guessed twice:\n%v\n%v", m, again)
		}
	})
}
