package words

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// A case's assessment holds some fifty texts within texts. encoding/json reads and writes
// each of them once for every text around it; this does so once.

// appendWhole writes a text as it is kept: {"form": ..., "one": ..., "first": ...,
// "values": [...]}, where a text within it is never a mere string, which would be what
// a person wrote.
func (t *Text) appendWhole(b []byte) ([]byte, error) {
	b, err := appendString(append(b, `{"form":`...), t.Form)
	if err != nil {
		return nil, err
	}
	if t.One != "" {
		if b, err = appendString(append(b, `,"one":`...), t.One); err != nil {
			return nil, err
		}
	}
	if t.First != 0 {
		b = strconv.AppendInt(append(b, `,"first":`...), int64(t.First), 10)
	}
	if len(t.Values) == 0 {
		return append(b, '}'), nil
	}
	b = append(b, `,"values":`...)
	for i, v := range t.Values {
		if i == 0 {
			b = append(b, '[')
		} else {
			b = append(b, ',')
		}
		switch v := v.(type) {
		case Text:
			b, err = v.appendWhole(b)
		case string:
			b, err = appendString(b, v)
		case int:
			b = strconv.AppendInt(b, int64(v), 10)
		case Number:
			b, err = appendNumber(b, v)
		default:
			var other []byte
			other, err = json.Marshal(v)
			b = append(b, other...)
		}
		if err != nil {
			return nil, fmt.Errorf("a value of %q: %w", t.Form, err)
		}
	}
	return append(b, "]}"...), nil
}

// appendNumber writes what encoding/json would, without asking it where most numbers are.
func appendNumber(b []byte, n Number) ([]byte, error) {
	if size := math.Abs(n.V); size < 1e-6 && size != 0 || !(size < 1e21) {
		other, err := json.Marshal(n)
		return append(b, other...), err
	}
	b = strconv.AppendFloat(append(b, `{"number":`...), n.V, 'f', -1, 64)
	b = strconv.AppendInt(append(b, `,"decimals":`...), int64(n.Decimals), 10)
	return append(b, '}'), nil
}

func appendString(b []byte, s string) ([]byte, error) {
	ascii := true
	for i := range len(s) {
		switch c := s[i]; {
		case c >= utf8.RuneSelf:
			ascii = false
		case c < ' ', c == '"', c == '\\', c == '<', c == '>', c == '&': // what encoding/json escapes
			return appendQuoted(b, s)
		}
	}
	if !ascii && (strings.ContainsAny(s, "\u2028\u2029") || !utf8.ValidString(s)) {
		return appendQuoted(b, s)
	}
	return append(append(append(b, '"'), s...), '"'), nil
}

func appendQuoted(b []byte, s string) ([]byte, error) {
	quoted, err := json.Marshal(s)
	return append(b, quoted...), err
}

// reader reads what appendWhole wrote. It stops at the first thing that is wrong.
type reader struct {
	b   []byte
	err error
}

// next is the first byte of what comes, 0 at the end.
func (r *reader) next() byte {
	for len(r.b) > 0 && (r.b[0] == ' ' || r.b[0] == '\n' || r.b[0] == '\t' || r.b[0] == '\r') {
		r.b = r.b[1:]
	}
	if len(r.b) == 0 || r.err != nil {
		return 0
	}
	return r.b[0]
}

func (r *reader) fail(what string) {
	if r.err == nil {
		r.err = fmt.Errorf("no kept text: %s at %.20q", what, r.b)
	}
}

// take takes one byte, if it comes.
func (r *reader) take(c byte) bool {
	if r.next() != c {
		return false
	}
	r.b = r.b[1:]
	return true
}

func (r *reader) end() error {
	if r.next() != 0 {
		r.fail("more")
	}
	return r.err
}

// raw is one value that is no object within objects.
func (r *reader) raw() json.RawMessage {
	depth, quoted := 0, false
	for i := 0; i < len(r.b); i++ {
		switch c := r.b[i]; {
		case quoted && c == '\\':
			i++
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '{' || c == '[':
			depth++
		case depth == 0 && (c == ',' || c == '}' || c == ']'):
			raw := r.b[:i]
			r.b = r.b[i:]
			return raw
		case c == '}' || c == ']':
			depth--
		}
	}
	raw := r.b
	r.b = nil
	return raw
}

func (r *reader) string() (s string) {
	if r.next() != '"' {
		r.fail("no string")
		return ""
	}
	for i := 1; i < len(r.b); i++ {
		switch r.b[i] {
		case '"':
			s = string(r.b[1:i])
			r.b = r.b[i+1:]
			return s
		case '\\':
			raw := r.raw()
			if err := json.Unmarshal(raw, &s); err != nil && r.err == nil {
				r.err = err
			}
			return s
		}
	}
	r.fail("no end of a string")
	return ""
}

func (r *reader) int() int {
	r.next()
	raw := r.raw()
	n, err := strconv.Atoi(strings.TrimSpace(string(raw)))
	if err != nil && r.err == nil {
		r.err = err
	}
	return n
}

// text reads an object with a form.
func (r *reader) text() (t Text) {
	if !r.take('{') {
		r.fail("no object")
		return t
	}
	for n := 0; r.err == nil && !r.take('}'); n++ {
		if n > 0 && !r.take(',') {
			r.fail("no comma")
			return t
		}
		name := r.string()
		if !r.take(':') {
			r.fail("no colon")
			return t
		}
		switch name {
		case "form":
			t.Form = r.string()
		case "one":
			t.One = r.string()
		case "first":
			t.First = Case(r.int())
		case "values":
			t.Values = r.values()
		default: // of a later version
			r.raw()
		}
	}
	return t
}

func (r *reader) values() (list []any) {
	if !r.take('[') {
		r.fail("no list")
		return nil
	}
	for r.err == nil && !r.take(']') {
		if len(list) > 0 && !r.take(',') {
			r.fail("no comma")
			return nil
		}
		list = append(list, r.value())
	}
	return list
}

// value reads one by what it looks like.
func (r *reader) value() any {
	switch c := r.next(); {
	case c == '"':
		return r.string()
	case c != '{':
		return r.int()
	}
	rest := r.b
	r.take('{')
	name := r.string()
	r.b = rest
	if name == "form" {
		return r.text()
	}
	raw := r.raw()
	var v struct {
		Form     *string
		Date     *time.Time
		As       DateForm
		Number   float64
		Decimals int
	}
	if err := json.Unmarshal(raw, &v); err != nil {
		if r.err == nil {
			r.err = err
		}
		return nil
	}
	switch {
	case v.Form != nil: // not the first of its names
		inner := reader{b: raw}
		t := inner.text()
		r.err = inner.err
		return t
	case v.Date != nil:
		return Date{*v.Date, v.As}
	}
	return Number{v.Number, v.Decimals}
}
