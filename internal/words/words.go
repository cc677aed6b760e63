// Package words is what the program says to people: a Text holds a sentence
// before it is said in a language, and a Language says it.
//
// English is the source. A form is an English sentence with named places, as
// "Refused {times} in a row", and is the key by which a language file has its
// translation; what has none is said in English. What is kept in the database is
// form and values, so that it is said in whatever language it is read in.
package words

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// Text is something to say. The zero value says nothing.
type Text struct {
	// Form is the English sentence. Its places are filled in by Values, in the order
	// in which the form names them first.
	Form string
	// One is the English where the value of the place n is one; "" where Form
	// serves for one, too.
	One    string
	Values []any
	// First is how the first letter is written: 0 as the form has it.
	First Case
}

// Case is how a first letter is written.
type Case int8

// The cases. Small letters are for what stands within a sentence, in the languages
// that write it small then.
const (
	small   Case = -1
	capital Case = 1
)

// Number is a value that is written with so many decimals.
type Number struct {
	V        float64 `json:"number"`
	Decimals int     `json:"decimals"` // -1: as many as it has
}

// AsMany is a number with the decimals that it has.
func AsMany(v float64) Number { return Number{V: v, Decimals: -1} }

// Date is a value that is written as a day, or as what As names of it. It is
// said as of At's own zone.
type Date struct {
	At time.Time `json:"date"`
	As DateForm  `json:"as"`
}

// DateForm is what is said of a date.
type DateForm string

// The forms.
const (
	Day     DateForm = "day"     // 2 January 2006
	Month   DateForm = "month"   // January 2006
	WeekDay DateForm = "weekday" // Monday 2 January
)

// Say is a text. The values are of the form's places, in the order in which it
// names them first: an int, a Number, a Date, another Text, or a string, which is
// a name or what a person wrote and stays as it is.
func Say(form string, values ...any) Text { return Text{Form: form, Values: values} }

// Count is a text that differs with the number in the place n: one is the English
// for one, form the English for all others.
func Count(one, form string, values ...any) Text {
	return Text{Form: form, One: one, Values: values}
}

// AsIs is what a person wrote: no language has it in other words.
func AsIs(s string) Text {
	if s == "" {
		return Text{}
	}
	return Text{Form: "{words}", Values: []any{s}}
}

// Join is several whole sentences after one another, without those that say
// nothing.
func Join(texts ...Text) (all Text) {
	n := 0
	for i := range texts {
		if texts[i].Empty() {
			continue
		}
		if n++; n == 1 {
			all = texts[i]
			continue
		}
		if n == 2 {
			all = Text{Form: "{1} {2}", Values: []any{all, texts[i]}}
			continue
		}
		all.Form += fmt.Sprintf(" {%d}", n)
		all.Values = append(all.Values, texts[i])
	}
	return all
}

// Parts are the sentences of a text that is no more than those.
func (t Text) Parts() []Text {
	var parts []Text
	if strings.HasPrefix(t.Form, "{1} {2}") { // see Join
		for _, v := range t.Values {
			if inner, ok := v.(Text); ok {
				parts = append(parts, inner.Parts()...)
			}
		}
		return parts
	}
	if len(t.Values) > 0 {
		return []Text{t}
	}
	for _, s := range Sentences(t.Form) {
		parts = append(parts, Say(s))
	}
	return parts
}

// Sentences takes a text apart, so that each can stand and be translated by itself.
func Sentences(text string) (list []string) {
	for text = strings.TrimSpace(text); text != ""; {
		end := strings.Index(text, ". ")
		if end < 0 {
			return append(list, text)
		}
		list = append(list, text[:end+1])
		text = strings.TrimSpace(text[end+1:])
	}
	return list
}

// Empty reports whether it says nothing.
func (t *Text) Empty() bool { return t.Form == "" }

// Within is the text as it stands within a sentence.
func (t Text) Within() Text {
	t.First = small
	return t
}

// Begin is the text as a sentence begins with it.
func (t Text) Begin() Text {
	t.First = capital
	return t
}

// String is the text in English, for logs and to compare: Say is for people.
func (t Text) String() string { return English.loose(&t) }

// plain reports whether it is no more than its form.
func (t *Text) plain() bool { return t.One == "" && t.First == 0 && len(t.Values) == 0 }

// MarshalJSON implements json.Marshaler: a text that is no more than its form is a
// string.
func (t Text) MarshalJSON() ([]byte, error) { return t.append(make([]byte, 0, 256)) }

// MarshalJSONTo is MarshalJSON for the second version of encoding/json, which takes
// half as long for an assessment.
func (t Text) MarshalJSONTo(enc *jsontext.Encoder) error {
	b, err := t.append(enc.AvailableBuffer())
	if err != nil {
		return err
	}
	return enc.WriteValue(b)
}

func (t *Text) append(b []byte) ([]byte, error) {
	if t.plain() {
		return appendString(b, t.Form)
	}
	return t.appendWhole(b)
}

// UnmarshalJSON implements json.Unmarshaler.
func (t *Text) UnmarshalJSON(b []byte) error {
	if *t = (Text{}); string(b) == "null" {
		return nil
	}
	r := reader{b: b}
	if r.next() == '"' {
		t.Form = r.string()
	} else {
		*t = r.text()
	}
	return r.end()
}

// Kept is the text as a column of text holds it, and Keep reads it: what is no more
// than its form is the form.
func (t Text) Kept() (string, error) {
	if t.plain() {
		return t.Form, nil
	}
	b, err := t.appendWhole(make([]byte, 0, 256))
	return string(b), err
}

// Keep reads what Kept wrote, and what was kept as a plain sentence before.
func Keep(s string) (t Text, err error) {
	if !strings.HasPrefix(s, `{"form":`) {
		return Text{Form: s}, nil
	}
	err = t.UnmarshalJSON([]byte(s))
	return t, err
}

// Places are the names of a form's places, each once, in the order in which it
// names them first.
func Places(form string) (names []string) {
	for rest := form; ; {
		_, name, after, ok := cutPlace(rest)
		if !ok {
			return names
		}
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
		rest = after
	}
}

// cutPlace takes the first place out of a form.
func cutPlace(form string) (before, name, after string, ok bool) {
	i := strings.IndexByte(form, '{')
	if i < 0 {
		return form, "", "", false
	}
	n := strings.IndexByte(form[i:], '}')
	if n < 0 {
		return form, "", "", false
	}
	return form[:i], form[i+1 : i+n], form[i+n+1:], true
}

// placeOf is which of a form's places has this name, -1 for none.
func placeOf(form, name string) int {
	seen := 0
	for rest := form; ; {
		before, at, after, ok := cutPlace(rest)
		if !ok {
			return -1
		}
		if at == name {
			return seen
		}
		// A place that the form named before is no new one.
		if start := len(form) - len(rest) + len(before); !strings.Contains(form[:start], "{"+at+"}") {
			seen++
		}
		rest = after
	}
}
