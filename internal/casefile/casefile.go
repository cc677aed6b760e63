// Package casefile reads and writes case files: the form in which a case leaves
// and enters the program. A case file is UTF-8 JSON Lines, one event a line, in
// any order between cases and in order of time within a case; its fields are
// those of README.md and of the message CaseLine in proto.
//
// Reading is strict: an unknown kind or field, a time out of order and an
// impossible value are an *Error that names the field and what was expected.
package casefile

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"warmhand/internal/care"
)

// KindHandover is the kind of the line that opens a case; every other kind is
// that of an entry.
const KindHandover care.Kind = "handover"

// Line is one line of a case file.
type Line struct {
	Case string
	// Handover is what a handover line says, nil on every other.
	Handover *Handover
	// Entry is what any other line says. HappenedAt is set on both; what the
	// line leaves open (ID, By, ReceivedAt, CaseID) is zero until Case.Done.
	Entry care.Entry
	// InCase says whether the entry belongs to the case or to the breeder's own
	// history of the animal; nil: by who wrote it and when.
	InCase *bool
}

// Handover is what a handover line says besides its time.
type Handover struct {
	// Animal has the breeder's id, its own id, name, note and body; all but the
	// species may be unknown.
	Animal  care.Animal
	ShowDay string
	Hemi    care.Hemisphere // "" unknown
	// Learned is the feeding prior that was frozen at the handover; zero: to be
	// learned from the breeder's other cases.
	Learned care.Learned
	// Thresholds are what the case was last assessed by.
	Thresholds care.Thresholds
	// Until is up to when the case was followed when it was written; zero: up
	// to its last event.
	Until time.Time
	// Unclaimed says that no keeper has taken the card on.
	Unclaimed bool
}

// Error is one thing that is wrong with a case file.
type Error struct {
	Line  int    // counted from 1; 0 unknown
	Field string // "" when it is the line as a whole
	Text  string // what is wrong, and what was expected
}

func (e *Error) Error() string {
	where := ""
	if e.Line > 0 {
		where = fmt.Sprintf("line %d", e.Line)
	}
	if e.Field != "" {
		if where != "" {
			where += ", "
		}
		where += "field " + e.Field
	}
	if where == "" {
		return e.Text
	}
	return where + ": " + e.Text
}

func bad(field, format string, args ...any) *Error {
	return &Error{Field: field, Text: fmt.Sprintf(format, args...)}
}

// row is a line with all fields that a line can have, in their order.
type row struct {
	Case       string         `json:"case"`
	At         time.Time      `json:"at"`
	Kind       care.Kind      `json:"kind"`
	ID         string         `json:"id,omitempty"`
	By         care.ActorKind `json:"by,omitempty"`
	ReceivedAt *time.Time     `json:"received_at,omitempty"`
	Replaces   string         `json:"replaces,omitempty"`
	Confirmed  bool           `json:"confirmed,omitempty"`
	InCase     *bool          `json:"in_case,omitempty"`

	Breeder     string           `json:"breeder,omitempty"`
	Animal      string           `json:"animal,omitempty"`
	Name        string           `json:"name,omitempty"`
	Clutch      string           `json:"clutch,omitempty"`
	ShowDay     string           `json:"show_day,omitempty"`
	Species     string           `json:"species,omitempty"`
	Sex         care.Sex         `json:"sex,omitempty"`
	Hatched     string           `json:"hatched,omitempty"`
	Genes       []string         `json:"genes,omitempty"`
	SnoutVent   care.Millimetres `json:"snout_vent_mm,omitempty"`
	TotalLength care.Millimetres `json:"total_length_mm,omitempty"`
	Hemisphere  care.Hemisphere  `json:"hemisphere,omitempty"`
	Mean        float64          `json:"learned_mean,omitempty"`
	Strength    float64          `json:"learned_strength,omitempty"`
	Animals     int              `json:"learned_animals,omitempty"`
	care.Thresholds
	Until     *time.Time `json:"until,omitempty"`
	Unclaimed bool       `json:"unclaimed,omitempty"`

	*care.Offer
	*care.WeighIn
	*care.ClimateReading
	*care.Shed
	*care.Sign
	Answers json.RawMessage `json:"answers,omitempty"`
	*care.StepAgreed
	*care.Ended
	Text  string        `json:"text,omitempty"`
	Mark  care.MarkKind `json:"mark,omitempty"`
	Point string        `json:"point,omitempty"`
	Note  string        `json:"note,omitempty"`
}

// setupAnswer is the answer to one point with more than the choice.
type setupAnswer struct {
	Choice  string             `json:"choice"`
	Measure care.Millimetres   `json:"measure_mm,omitempty"`
	Sizes   map[string]float64 `json:"sizes,omitempty"`
	Note    string             `json:"note,omitempty"`
	SD      care.Millimetres   `json:"measure_sd_mm,omitempty"`
}

// appendAnswers writes answers in their order, which a map would lose.
func appendAnswers(dst []byte, list []care.SetupAnswer) ([]byte, error) {
	dst = append(dst, '{')
	for i, a := range list {
		if i > 0 {
			dst = append(dst, ',')
		}
		var value any = a.Choice
		if a.Measure > 0 || len(a.Sizes) > 0 || a.Note != "" {
			value = setupAnswer{a.Choice, a.Measure, a.Sizes, a.Note, a.MeasureSD}
		}
		for _, part := range [...]struct {
			v     any
			after string
		}{{a.Point, ":"}, {value, ""}} {
			text, err := json.Marshal(part.v)
			if err != nil {
				return nil, err
			}
			dst = append(append(dst, text...), part.after...)
		}
	}
	return append(dst, '}'), nil
}

// Append writes a line, with its line feed, after what is in dst.
func Append(dst []byte, l *Line) ([]byte, error) {
	r := row{Case: l.Case, At: l.Entry.HappenedAt}
	instant := func(t time.Time) *time.Time {
		if t.IsZero() {
			return nil
		}
		return &t
	}
	if h := l.Handover; h != nil {
		a := &h.Animal
		r.Kind, r.Note = KindHandover, a.Note
		r.Breeder, r.Animal, r.Name, r.Clutch, r.ShowDay = a.BreederID, a.ID, a.Name, a.Clutch, h.ShowDay
		r.Species, r.Sex, r.Genes, r.SnoutVent, r.TotalLength = a.Species, a.Sex, a.Genes, a.SnoutVent, a.TotalLength
		if a.Hatched != nil {
			r.Hatched = a.Hatched.Format(time.DateOnly)
		}
		r.Hemisphere, r.Until, r.Unclaimed = h.Hemi, instant(h.Until), h.Unclaimed
		r.Mean, r.Strength, r.Animals = h.Learned.Mean, h.Learned.Strength, h.Learned.Animals
		r.Thresholds = h.Thresholds
	} else {
		e := &l.Entry
		r.Kind, r.ID, r.By, r.Replaces, r.Confirmed, r.InCase, r.Note = e.Body.Kind(), e.ID, e.By, e.Replaces, e.Confirmed, l.InCase, e.Note
		if !e.ReceivedAt.Equal(e.HappenedAt) {
			r.ReceivedAt = instant(e.ReceivedAt)
		}
		switch b := e.Body.(type) {
		case care.Offer:
			r.Offer = &b
		case care.WeighIn:
			r.WeighIn = &b
		case care.ClimateReading:
			r.ClimateReading = &b
		case care.Shed:
			r.Shed = &b
		case care.Sign:
			r.Sign = &b
		case care.SetupCheck:
			var err error
			if r.Answers, err = appendAnswers(nil, b.Answers); err != nil {
				return dst, fmt.Errorf("case %s: %w", l.Case, err)
			}
		case care.StepAgreed:
			r.StepAgreed = &b
		case care.Message:
			r.Text = b.Text
			if b.Mark != nil {
				r.Mark, r.Point = b.Mark.Kind, b.Mark.Point
			}
		case care.Ended:
			r.Ended = &b
		}
	}
	buf := bytes.NewBuffer(dst)
	enc := json.NewEncoder(buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(&r); err != nil {
		return dst, fmt.Errorf("case %s: %w", l.Case, err)
	}
	return buf.Bytes(), nil
}
