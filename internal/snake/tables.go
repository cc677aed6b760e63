package snake

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
)

// Row is one quantity of the tables, with where it comes from.
type Row struct {
	Of     string    `json:"of"` // a species' id, or what the quantity belongs to
	What   string    `json:"what"`
	Unit   string    `json:"unit"`
	Values []float64 `json:"values"`
	// Sure is how well it is known: published (the source was read), second hand
	// (read where it was quoted), memory (a published kind of value that was not
	// looked up again), derived (reckoned from other rows or the source),
	// common practice or assumption. What is from memory, common practice or
	// assumption may not be shown to people as a citation.
	Sure   string `json:"sure"`
	Source string `json:"source"`
	Note   string `json:"note,omitempty"`
}

// degreesOfSureness are the values of Row.Sure.
var degreesOfSureness = []string{"published", "second hand", "memory", "derived", "common practice", "assumption"}

// entry is a species' head and rows.
type entry struct {
	ID            string   `json:"id"`
	Scientific    string   `json:"scientific"`
	Common        string   `json:"common"`
	Family        string   `json:"family"`
	CITES         string   `json:"cites"`
	Climbs        bool     `json:"climbs"`
	Older         []string `json:"older"`
	ClimateSource string   `json:"climate_source"`
	ClimateSure   string   `json:"climate_sure"`
	Sources       []string `json:"sources"`
	Rows          []Row    `json:"rows"`
}

// tables.json holds every number that the program judges by, each with its unit,
// its source and how sure it is, and a version that goes up with each change.
//
//go:embed tables.json
var tablesFile []byte

// tables is the file, read once. A number that is missing or malformed is a
// fault in the program, and stops it at its start.
var tables = func() *file {
	f, err := readTables(tablesFile)
	if err != nil {
		panic("tables.json: " + err.Error())
	}
	return f
}()

// file is tables.json as read and checked.
type file struct {
	version string
	species []Species
	older   map[string]string
	rows    []Row          // those of species first
	at      map[string]int // row by "of/what"
}

func readTables(data []byte) (*file, error) {
	var raw struct {
		Version string  `json:"version"`
		Species []entry `json:"species"`
		Rows    []Row   `json:"rows"`
	}
	in := json.NewDecoder(bytes.NewReader(data))
	in.DisallowUnknownFields()
	if err := in.Decode(&raw); err != nil {
		return nil, err
	}
	if _, err := in.Token(); err != io.EOF {
		return nil, fmt.Errorf("something follows the tables")
	}
	if raw.Version == "" {
		return nil, fmt.Errorf("no version")
	}
	f := &file{version: raw.Version, older: map[string]string{}, at: map[string]int{}}
	for i := range raw.Species {
		e := &raw.Species[i]
		s := Species{ID: e.ID, Scientific: e.Scientific, Common: e.Common, Family: e.Family, CITES: e.CITES, Climbs: e.Climbs, Sources: e.Sources}
		s.Climate.Source, s.Climate.Sureness = e.ClimateSource, e.ClimateSure
		places := s.places()
		for _, r := range e.Rows {
			r.Of = e.ID
			to, ok := places[r.What]
			if !ok {
				return nil, fmt.Errorf("%s: %q is unknown or there twice", e.ID, r.What)
			}
			delete(places, r.What)
			if len(to) != len(r.Values) {
				return nil, fmt.Errorf("%s: %s has %d values, want %d", e.ID, r.What, len(r.Values), len(to))
			}
			for j := range to {
				*to[j] = r.Values[j]
			}
			if err := f.add(r); err != nil {
				return nil, err
			}
		}
		for what := range places {
			return nil, fmt.Errorf("%s: no %s", e.ID, what)
		}
		for _, old := range e.Older {
			f.older[old] = e.ID
		}
		f.species = append(f.species, s)
	}
	for _, r := range raw.Rows {
		if err := f.add(r); err != nil {
			return nil, err
		}
	}
	return f, nil
}

func (f *file) add(r Row) error {
	key := r.Of + "/" + r.What
	if _, twice := f.at[key]; twice {
		return fmt.Errorf("%s is there twice", key)
	}
	if r.Of == "" || r.What == "" || r.Unit == "" || r.Source == "" || len(r.Values) == 0 || !slices.Contains(degreesOfSureness, r.Sure) {
		return fmt.Errorf("%s: unit, values, source or how sure it is are missing or unknown", key)
	}
	for _, v := range r.Values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%s: a value is no number", key)
		}
	}
	f.at[key] = len(f.rows)
	f.rows = append(f.rows, r)
	return nil
}

// places are where the rows of a species go, by their names.
func (s *Species) places() map[string][]*float64 {
	c := &s.Climate
	band := func(b *Band) []*float64 { return []*float64{&b.Low, &b.High} }
	ages := func(a *[3]float64) []*float64 { return []*float64{&a[0], &a[1], &a[2]} }
	bands := func(a *[3]Band) []*float64 { return slices.Concat(band(&a[0]), band(&a[1]), band(&a[2])) }
	return map[string][]*float64{
		"hatch_mass": {&s.HatchMass}, "hatch_length": {&s.HatchLength}, "adult_mass": {&s.AdultMass}, "adult_length": {&s.AdultLength},
		"juvenile_from": {&s.JuvenileFrom}, "adult_from": {&s.AdultFrom}, "first_year": band(&s.FirstYear),
		"refusal_mean": ages(&s.RefusalMean), "refusal_strength": {&s.RefusalStrength}, "loss_per_day": ages(&s.LossPerDay), "girth_c": ages(&s.GirthC),
		"offer_every": bands(&s.OfferEvery), "prey_share": bands(&s.PreyShare),
		"hot_spot": band(&c.HotSpot), "cool": band(&c.Cool), "night": band(&c.Night), "humidity": band(&c.Humidity), "shed_humidity": band(&c.ShedHumidity),
		"hot_limits": {&c.HotTooLow, &c.HotTooHigh}, "cool_limits": {&c.CoolTooLow, &c.CoolTooHigh}, "night_least": {&c.NightTooLow},
		"humidity_limits": {&c.HumidityTooLow, &c.HumidityTooHigh}, "optimum": {&c.Optimum},
	}
}

// Tables are all rows with the version of the tables, those of species first.
// The caller owns the slice.
func Tables() (version string, rows []Row) { return tables.version, slices.Clone(tables.rows) }

// Numbers are the values of the row "of/what", which must be so many. It is
// meant for variables that are set as the program starts, and panics when the
// tables have no such row.
func Numbers(of, what string, count int) []float64 {
	i, ok := tables.at[of+"/"+what]
	if !ok || len(tables.rows[i].Values) != count {
		panic(fmt.Sprintf("tables.json: %s/%s is missing, or has not %d values", of, what, count))
	}
	return tables.rows[i].Values
}

// Number is the value of a row that has one; see Numbers.
func Number(of, what string) float64 { return Numbers(of, what, 1)[0] }

// Known is how sure a row is and where it comes from; see Numbers.
func Known(of, what string) (sure, source string) {
	i, ok := tables.at[of+"/"+what]
	if !ok {
		panic(fmt.Sprintf("tables.json: %s/%s is missing", of, what))
	}
	return tables.rows[i].Sure, tables.rows[i].Source
}

// Group are the rows of one kind, by name, each of which must have so many
// values; see Numbers.
func Group(of string, count int) map[string][]float64 {
	m := map[string][]float64{}
	for _, r := range tables.rows {
		if r.Of == of {
			m[r.What] = Numbers(of, r.What, count)
		}
	}
	if len(m) == 0 {
		panic(fmt.Sprintf("tables.json: nothing of %s", of))
	}
	return m
}
