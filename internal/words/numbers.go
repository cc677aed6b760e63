package words

import (
	"encoding/json"
	"slices"
	"strconv"
	"time"
)

// Numbers are the numbers in a text as they are written, those within its texts, too,
// in the order of the values.
func (t *Text) Numbers() (list []json.Number) {
	for _, v := range t.Values {
		switch v := v.(type) {
		case int:
			list = append(list, json.Number(strconv.Itoa(v)))
		case Number:
			list = append(list, json.Number(strconv.FormatFloat(v.V, 'f', v.Decimals, 64)))
		case Text:
			list = append(list, v.Numbers()...)
		}
	}
	return list
}

// WithNumbers is the text with other numbers, as Numbers gave them of one that is the
// same but for them (SameButNumbers).
func (t Text) WithNumbers(list []json.Number) (Text, error) {
	t, _, err := t.take(list)
	return t, err
}

func (t Text) take(list []json.Number) (_ Text, rest []json.Number, err error) {
	t.Values = slices.Clone(t.Values)
	for i, v := range t.Values {
		switch v := v.(type) {
		case Text:
			if t.Values[i], list, err = v.take(list); err != nil {
				return t, nil, err
			}
			continue
		case int, Number:
			if len(list) == 0 {
				return t, nil, strconv.ErrSyntax
			}
			f, err := list[0].Float64()
			if err != nil {
				return t, nil, err
			}
			if n, ok := v.(Number); ok {
				t.Values[i] = Number{f, n.Decimals}
			} else {
				t.Values[i] = int(f)
			}
			list = list[1:]
		}
	}
	return t, list, nil
}

// SameButNumbers reports whether two texts differ in nothing but their numbers.
func SameButNumbers(a, b *Text) bool {
	return a.Form == b.Form && a.One == b.One && a.First == b.First && slices.EqualFunc(a.Values, b.Values, func(x, y any) bool {
		switch x := x.(type) {
		case int:
			_, ok := y.(int)
			return ok
		case Number:
			n, ok := y.(Number)
			return ok && n.Decimals == x.Decimals
		case Text:
			inner, ok := y.(Text)
			return ok && SameButNumbers(&x, &inner)
		case Date:
			d, ok := y.(Date)
			return ok && d.As == x.As && d.At.Format(time.RFC3339Nano) == x.At.Format(time.RFC3339Nano)
		}
		return x == y
	})
}
