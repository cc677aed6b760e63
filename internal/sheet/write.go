package sheet

import (
	"archive/zip"
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Stock is what an export writes: a stock book, and the log of each animal as
// its breeder keeps it.
type Stock struct {
	Animals []care.Animal
	Log     func(animalID string) ([]care.Entry, error)
	Zone    *time.Location // the days and hours are written in it
}

var (
	animalColumns = []Meaning{Name, AnimalID, Species, Sex, Hatched, Genes, Dam, Sire, Clutch, Place, SnoutVent, TotalLength, AnimalNote}
	// A log line has its exact time first, for a program, and for people a date
	// that spreadsheets understand.
	logColumns = []Meaning{AnimalID, Name, Date, humanDate, Event, Weight, Result, Prey, PreyState, PreyMass, ShedMark, Sign, Warm, Cool, Night, Surface, Humidity, TakenWith, Note}
)

// humanDate is a column that is written and not read: the one with the exact
// time is.
const humanDate Meaning = "human_date"

func headingsOf(columns []Meaning) []any {
	out := make([]any, len(columns))
	for i, m := range columns {
		if out[i] = "date"; m == humanDate {
			continue
		}
		for _, x := range meanings {
			if x.Meaning == m {
				out[i] = x.headings[0]
			}
		}
	}
	return out
}

// animals gives the rows of the stock book.
func (s *Stock) animals(put func(row []any) error) error {
	names := map[string]int{}
	byID := map[string]string{}
	for i := range s.Animals {
		a := &s.Animals[i]
		names[named(a.Name)]++
		byID[a.ID] = a.Name
	}
	parent := func(id string) string {
		if name := byID[id]; name != "" && names[named(name)] == 1 && byID[name] == "" {
			return name
		}
		return id
	}
	for i := range s.Animals {
		a := &s.Animals[i]
		hatched := ""
		if a.Hatched != nil {
			hatched = a.Hatched.Format(time.DateOnly)
		}
		if err := put([]any{a.Name, a.ID, a.Species, string(a.Sex), hatched, strings.Join(a.Genes, ", "), parent(a.MotherID), parent(a.FatherID),
			a.Clutch, a.Place, amount(float64(a.SnoutVent)), amount(float64(a.TotalLength)), a.Note}); err != nil {
			return err
		}
	}
	return nil
}

// amount is a number, or nothing for 0.
func amount(v float64) any {
	if v == 0 {
		return ""
	}
	return v
}

// wallTime is a time that a spreadsheet shows as it stands.
type wallTime time.Time

// log gives the rows of all logs.
func (s *Stock) log(put func(row []any) error) error {
	for i := range s.Animals {
		a := &s.Animals[i]
		entries, err := s.Log(a.ID)
		if err != nil {
			return err
		}
		for j := range entries {
			e := &entries[j]
			row := make([]any, len(logColumns))
			set := func(m Meaning, v any) {
				for i, c := range logColumns {
					if c == m {
						row[i] = v
					}
				}
			}
			local := e.HappenedAt.In(s.Zone)
			set(AnimalID, a.ID)
			set(Name, a.Name)
			set(Date, local.Format("2006-01-02T15:04:05.999Z07:00"))
			set(humanDate, wallTime(time.Date(local.Year(), local.Month(), local.Day(), local.Hour(), local.Minute(), local.Second(), 0, time.UTC)))
			set(Event, string(e.Body.Kind()))
			set(Note, e.Note)
			switch b := e.Body.(type) {
			case care.WeighIn:
				set(Weight, float64(b.Mass))
			case care.Offer:
				set(Result, string(b.Result))
				set(Prey, b.Prey)
				set(PreyState, string(b.PreyState))
				set(PreyMass, amount(float64(b.PreyMass)))
			case care.Shed:
				set(ShedMark, shedText(b))
			case care.Sign:
				text := b.Code
				if b.Gone {
					text += goneMark
				}
				set(Sign, text)
			case care.ClimateReading:
				for _, t := range []struct {
					m Meaning
					v *care.Celsius
				}{{Warm, b.Warm}, {Cool, b.Cool}, {Night, b.Night}, {Surface, b.Surface}} {
					if t.v != nil {
						set(t.m, float64(*t.v))
					}
				}
				if b.Humidity != nil {
					set(Humidity, float64(*b.Humidity))
				}
				set(TakenWith, string(b.TakenWith))
			default:
				continue // what belongs to a case leaves in its case file
			}
			if err := put(row); err != nil {
				return err
			}
		}
	}
	return nil
}

func shedText(b care.Shed) string {
	switch {
	case b.Stage != care.ShedDone || b.Complete == nil:
		return string(b.Stage)
	case *b.Complete:
		return "complete"
	}
	return "incomplete"
}

// WriteCSV writes the stock book and the log as two CSV files in a zip.
func (s *Stock) WriteCSV(w io.Writer) error {
	z := zip.NewWriter(w)
	for _, part := range []struct {
		name    string
		columns []Meaning
		rows    func(func([]any) error) error
	}{{"animals.csv", animalColumns, s.animals}, {"log.csv", logColumns, s.log}} {
		f, err := z.Create(part.name)
		if err != nil {
			return fmt.Errorf("writing %s: %w", part.name, err)
		}
		if _, err := io.WriteString(f, "\ufeff"); err != nil { // spreadsheets ask for it
			return fmt.Errorf("writing %s: %w", part.name, err)
		}
		out := csv.NewWriter(f)
		put := func(row []any) error {
			texts := make([]string, len(row))
			for i, v := range row {
				texts[i] = csvText(v)
			}
			return out.Write(texts)
		}
		if err := put(headingsOf(part.columns)); err != nil {
			return fmt.Errorf("writing %s: %w", part.name, err)
		}
		if err := part.rows(put); err != nil {
			return fmt.Errorf("writing %s: %w", part.name, err)
		}
		if out.Flush(); out.Error() != nil {
			return fmt.Errorf("writing %s: %w", part.name, out.Error())
		}
	}
	return z.Close()
}

func csvText(v any) string {
	switch v := v.(type) {
	case string:
		return guarded(v)
	case float64:
		text := plain(v)
		// 1.234 might be read as more than a thousand; 1.2340 is not.
		if _, decimals, _ := strings.Cut(text, "."); len(decimals) == 3 {
			text += "0"
		}
		return text
	case wallTime:
		return time.Time(v).Format("2006-01-02 15:04")
	}
	return ""
}

// formulaStarts are what makes a spreadsheet take a text of a CSV file for a
// formula and run it.
const formulaStarts = "=+-@\t\r"

// guarded puts an apostrophe before what a spreadsheet would run; bare takes it
// off again.
func guarded(s string) string {
	if rest := strings.TrimLeft(s, "'"); rest != "" && strings.IndexByte(formulaStarts, rest[0]) >= 0 {
		return "'" + s
	}
	return s
}

func bare(s string) string {
	if rest := strings.TrimLeft(s, "'"); rest != "" && len(rest) < len(s) && strings.IndexByte(formulaStarts, rest[0]) >= 0 {
		return s[1:]
	}
	return s
}

// WriteXLSX writes the stock book and the log as the two sheets of a workbook.
// Texts are texts there, whatever they begin with.
func (s *Stock) WriteXLSX(w io.Writer) (err error) {
	f := excelize.NewFile()
	defer f.Close() // it has temporary files only
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return fmt.Errorf("writing a workbook: %w", err)
	}
	form := "yyyy-mm-dd hh:mm"
	day, err := f.NewStyle(&excelize.Style{CustomNumFmt: &form})
	if err != nil {
		return fmt.Errorf("writing a workbook: %w", err)
	}
	if err := f.SetSheetName("Sheet1", "Animals"); err != nil {
		return fmt.Errorf("writing a workbook: %w", err)
	}
	if _, err := f.NewSheet("Log"); err != nil {
		return fmt.Errorf("writing a workbook: %w", err)
	}
	for _, part := range []struct {
		name    string
		columns []Meaning
		rows    func(func([]any) error) error
	}{{"Animals", animalColumns, s.animals}, {"Log", logColumns, s.log}} {
		out, err := f.NewStreamWriter(part.name)
		if err != nil {
			return fmt.Errorf("writing a workbook: %w", err)
		}
		if err := out.SetColWidth(1, len(part.columns), 16); err != nil {
			return fmt.Errorf("writing a workbook: %w", err)
		}
		if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
			return fmt.Errorf("writing a workbook: %w", err)
		}
		n := 0
		put := func(row []any) error {
			if n++; n > excelize.TotalRows {
				return &care.Error{Code: care.Precondition, Reason: care.ReasonTooLarge, Text: words.Say("The log has more lines than a workbook can hold. Take the CSV files.")}
			}
			for i, v := range row {
				switch v := v.(type) {
				case wallTime:
					row[i] = excelize.Cell{StyleID: day, Value: time.Time(v)}
				case string:
					if row[i] = v; v == "" {
						row[i] = nil
					}
				}
				if n == 1 {
					row[i] = excelize.Cell{StyleID: bold, Value: v}
				}
			}
			return out.SetRow("A"+strconv.Itoa(n), row)
		}
		if err := put(headingsOf(part.columns)); err != nil {
			return fmt.Errorf("writing a workbook: %w", err)
		}
		if err := part.rows(put); err != nil {
			return fmt.Errorf("writing a workbook: %w", err)
		}
		if err := out.Flush(); err != nil {
			return fmt.Errorf("writing a workbook: %w", err)
		}
	}
	if err := f.Write(w); err != nil {
		return fmt.Errorf("writing a workbook: %w", err)
	}
	return nil
}
