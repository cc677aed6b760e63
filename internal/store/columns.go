package store

import (
	"database/sql/driver"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// The types below stand between a field and its column. Each is used both
// ways, so that a row function names every column once: as an argument it
// gives the field's value, as the target of a scan it sets the field.

// bind turns arguments into what both drivers take: int64, float64, string,
// []byte and nil. Pointers give what they point to.
func bind(args []any) error {
	for i, a := range args {
		if v, ok := a.(driver.Valuer); ok {
			value, err := v.Value()
			if err != nil {
				return err
			}
			a = value
		}
		switch v := a.(type) {
		case nil:
		case *string:
			a = *v
		case string, int64, float64, []byte:
		default:
			r := reflect.ValueOf(a)
			if r.Kind() == reflect.Pointer {
				r = r.Elem()
			}
			switch r.Kind() {
			case reflect.String:
				a = r.String()
			case reflect.Int, reflect.Int64:
				a = r.Int()
			case reflect.Float64:
				a = r.Float()
			default:
				return fmt.Errorf("a %T cannot be stored", a)
			}
		}
		switch v := a.(type) {
		case string:
			if err := checkText(v); err != nil {
				return err
			}
		case float64:
			if err := checkNumber(v); err != nil {
				return err
			}
		}
		args[i] = a
	}
	return nil
}

// number is any integer.
type number[T ~int | ~int64] struct{ field *T }

func (c number[T]) Value() (driver.Value, error) { return int64(*c.field), nil }

func (c number[T]) Scan(v any) error {
	n, ok := v.(int64)
	*c.field = T(n)
	return expect(ok, v)
}

// truth is 0 or 1.
type truth struct{ field *bool }

func (c truth) Value() (driver.Value, error) { return int64(btoi(*c.field)), nil }

func (c truth) Scan(v any) error {
	n, ok := v.(int64)
	*c.field = n != 0
	return expect(ok, v)
}

// instant is UTC milliseconds.
type instant struct{ field *time.Time }

func (c instant) Value() (driver.Value, error) { return c.field.UnixMilli(), nil }

func (c instant) Scan(v any) error {
	n, ok := v.(int64)
	*c.field = time.UnixMilli(n).UTC()
	return expect(ok, v)
}

// maybeInstant is an instant or NULL.
type maybeInstant struct{ field **time.Time }

func (c maybeInstant) Value() (driver.Value, error) {
	if *c.field == nil {
		return nil, nil
	}
	return (*c.field).UnixMilli(), nil
}

func (c maybeInstant) Scan(v any) error {
	if v == nil {
		*c.field = nil
		return nil
	}
	n, ok := v.(int64)
	t := time.UnixMilli(n).UTC()
	*c.field = &t
	return expect(ok, v)
}

// blob is bytes or NULL.
type blob struct{ field *[]byte }

func (c blob) Value() (driver.Value, error) {
	if *c.field == nil {
		return nil, nil
	}
	return *c.field, nil
}

func (c blob) Scan(v any) error {
	if v == nil {
		*c.field = nil
		return nil
	}
	b, ok := v.([]byte)
	*c.field = append([]byte{}, b...) // the driver's is gone with the row
	return expect(ok, v)
}

// jsonText is bytes that are JSON already, or NULL.
type jsonText struct{ field *[]byte }

func (c jsonText) Value() (driver.Value, error) {
	if *c.field == nil {
		return nil, nil
	}
	return string(*c.field), nil
}

func (c jsonText) Scan(v any) error {
	if v == nil {
		*c.field = nil
		return nil
	}
	s, ok := v.(string)
	*c.field = []byte(s)
	return expect(ok, v)
}

// said is a text to be said in any language: a plain sentence, or JSON where it has
// values.
type said struct{ field *words.Text }

func (c said) Value() (driver.Value, error) { return c.field.Kept() }

func (c said) Scan(v any) error {
	s, ok := v.(string)
	if err := expect(ok, v); err != nil {
		return err
	}
	t, err := words.Keep(s)
	*c.field = t
	return err
}

// document is a value kept as JSON text.
type document[T any] struct{ field *T }

func (c document[T]) Value() (driver.Value, error) {
	b, err := json.Marshal(c.field)
	return string(b), err
}

func (c document[T]) Scan(v any) error {
	s, ok := v.(string)
	if !ok {
		return expect(ok, v)
	}
	var fresh T
	err := json.Unmarshal([]byte(s), &fresh)
	*c.field = fresh
	return err
}

// entryKind and entryBody are the two columns of an entry's body. On a scan
// the kind comes first and says how to read the body.
type entryKind struct {
	entry *care.Entry
	read  care.Kind
}

func (c *entryKind) Value() (driver.Value, error) {
	if c.entry.Body == nil {
		return nil, errors.New("an entry has no body")
	}
	return string(c.entry.Body.Kind()), nil
}

func (c *entryKind) Scan(v any) error {
	s, ok := v.(string)
	c.read = care.Kind(s)
	return expect(ok, v)
}

type entryBody struct{ kind *entryKind }

func (c entryBody) Value() (driver.Value, error) {
	b, err := care.EncodeBody(c.kind.entry.Body)
	return string(b), err
}

func (c entryBody) Scan(v any) error {
	s, ok := v.(string)
	if !ok {
		return expect(ok, v)
	}
	b, err := care.DecodeBody(c.kind.read, []byte(s))
	c.kind.entry.Body = b
	return err
}

// handoverRecord is the record of a handover. JSON cannot read back the bodies
// of its entries without their kinds, so these are written beside them. The
// names in it are those of the Go fields; testdata/v1.db fails a change.
type handoverRecord struct{ field *care.Record }

type recordDocument struct {
	care.Record
	Weights, Offers, Sheds []entryDocument
}

type entryDocument struct {
	care.Entry
	Kind care.Kind
	Body json.RawMessage
}

func (c handoverRecord) Value() (driver.Value, error) {
	r := c.field
	d := recordDocument{Record: *r}
	var errs [3]error
	d.Weights, errs[0] = writeEntries(r.Weights)
	d.Offers, errs[1] = writeEntries(r.Offers)
	d.Sheds, errs[2] = writeEntries(r.Sheds)
	if err := errors.Join(errs[:]...); err != nil {
		return nil, err
	}
	b, err := json.Marshal(d)
	return string(b), err
}

func (c handoverRecord) Scan(v any) error {
	s, ok := v.(string)
	if !ok {
		return expect(ok, v)
	}
	var d recordDocument
	if err := json.Unmarshal([]byte(s), &d); err != nil {
		return err
	}
	var errs [3]error
	d.Record.Weights, errs[0] = readEntries(d.Weights)
	d.Record.Offers, errs[1] = readEntries(d.Offers)
	d.Record.Sheds, errs[2] = readEntries(d.Sheds)
	*c.field = d.Record
	return errors.Join(errs[:]...)
}

func writeEntries(entries []care.Entry) ([]entryDocument, error) {
	if entries == nil {
		return nil, nil
	}
	docs := make([]entryDocument, len(entries))
	for i, e := range entries {
		if e.Body == nil {
			return nil, errors.New("an entry has no body")
		}
		body, err := care.EncodeBody(e.Body)
		if err != nil {
			return nil, err
		}
		docs[i] = entryDocument{e, e.Body.Kind(), body}
	}
	return docs, nil
}

func readEntries(docs []entryDocument) ([]care.Entry, error) {
	if docs == nil {
		return nil, nil
	}
	entries := make([]care.Entry, len(docs))
	for i, d := range docs {
		body, err := care.DecodeBody(d.Kind, d.Body)
		if err != nil {
			return nil, err
		}
		entries[i] = d.Entry
		entries[i].Body = body
	}
	return entries, nil
}

func expect(ok bool, v any) error {
	if !ok {
		return fmt.Errorf("a column holds a %T", v)
	}
	return nil
}
