package measure

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io"
	"slices"
	"strings"
)

// Answer is what Ask says: one of the two.
type Answer struct {
	Result  *Result  `json:"result,omitempty"`
	Refusal *Refusal `json:"refusal,omitempty"`
}

// Ask measures by a Request in JSON, in which a field that is not known is an
// error. The web app and the command line ask in this way; README.md has the
// fields. The error is of a question that cannot be read; a picture that cannot
// be measured is a Refusal.
func Ask(picture *image.Gray, question []byte) (*Answer, error) {
	var r Request
	d := json.NewDecoder(bytes.NewReader(question))
	d.DisallowUnknownFields()
	if err := d.Decode(&r); err != nil {
		return nil, fmt.Errorf("the question is not of the form that internal/measure/README.md shows: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("there is more after the question: write one JSON object")
	}
	r.Picture = picture
	return Answered(&r)
}

// Answered is Measure with a refusal as an answer; the error is none of Measure's.
func Answered(r *Request) (*Answer, error) {
	result, err := Measure(r)
	var no *Refusal
	if errors.As(err, &no) {
		return &Answer{Refusal: no}, nil
	}
	if err != nil {
		return nil, err
	}
	return &Answer{Result: result}, nil
}

var (
	referenceNames = []string{HandoverCard: "handover_card", BankCard: "bank_card"}
	shapeNames     = []string{Round: "round", Slot: "slot"}
)

// MarshalText gives the name that JSON has.
func (r Reference) MarshalText() ([]byte, error) { return nameOf(int(r), referenceNames) }

// UnmarshalText takes the name that JSON has.
func (r *Reference) UnmarshalText(text []byte) error {
	return byName(text, (*int)(r), "reference", referenceNames)
}

// MarshalText gives the name that JSON has.
func (s Shape) MarshalText() ([]byte, error) { return nameOf(int(s), shapeNames) }

// UnmarshalText takes the name that JSON has.
func (s *Shape) UnmarshalText(text []byte) error {
	return byName(text, (*int)(s), "shape", shapeNames)
}

func nameOf(i int, names []string) ([]byte, error) {
	if i < 0 || i >= len(names) {
		return nil, fmt.Errorf("there is no number %d of %s", i, strings.Join(names, ", "))
	}
	return []byte(names[i]), nil
}

func byName(text []byte, to *int, field string, names []string) error {
	i := slices.Index(names, string(text))
	if i < 0 {
		return fmt.Errorf("%s %q: say %s", field, text, strings.Join(names, " or "))
	}
	*to = i
	return nil
}
