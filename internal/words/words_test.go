package words

import (
	"encoding/json"
	"reflect"
	"testing"
	"time"
)

var sample = Count("{n} day, {loss} % lost by {date}, {who}: {what}", "{n} days, {loss} % lost by {date}, {who}: {what}",
	3, Number{-4.25, 1}, Date{time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC), Day}, `"A" {x}`, Say("refused {times}", Say("twice")).Begin())

func TestEnglish(t *testing.T) {
	t.Parallel()
	one := sample
	one.Values = append([]any{1}, sample.Values[1:]...)
	for _, c := range []struct {
		text Text
		want string
	}{
		{Text{}, ""},
		{Say("Plain."), "Plain."},
		{sample, `3 days, −4.2 % lost by 1 March 2027, "A" {x}: Refused twice`},
		{one, `1 day, −4.2 % lost by 1 March 2027, "A" {x}: Refused twice`},
		{Say("{a}, {b}, {a}", "x", "y"), "x, y, x"},
		{Say("{a} {b}", "x"), "x "}, // of a later version: no crash
		{Say("Élan vital").Within(), "élan vital"},
		{Say("{zero}", Number{-.04, 1}), "0.0"},
		{Say("in {m}, {w}", Date{time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC), Month}, Date{time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC), WeekDay}), "in March 2027, Monday 1 March"},
		{AsIs("{as it is}"), "{as it is}"},
		{Join(Say("One."), Text{}, Say("{a}.", "Two"), Say("Three.")), "One. Two. Three."},
		{Join(), ""},
	} {
		if got := c.text.String(); got != c.want {
			t.Errorf("%+v: %q, want %q", c.text, got, c.want)
		}
	}
}

// What is kept is read again as it was, and a row of before is a text.
func TestKept(t *testing.T) {
	t.Parallel()
	for _, want := range []Text{{}, Say("Plain."), Say("<a> & \u2028 é \"{b}\"", "<b>\\"), AsIs("{form} of a person"), sample, Join(sample, sample), Say("a {b}", Say("b")), Say("{n}", -3)} {
		s, err := want.Kept()
		if err != nil {
			t.Fatal(err)
		}
		if got, err := Keep(s); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, want %+v, %v", s, got, want, err)
		}
		b, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		var got Text
		if err := json.Unmarshal(b, &got); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, want %+v, %v", b, got, want, err)
		}
	}
	if s, _ := Say("Plain.").Kept(); s != "Plain." {
		t.Errorf("a plain sentence is kept as %s", s)
	}
	if got, err := Keep("It refused 3 meals in a row."); err != nil || got.String() != "It refused 3 meals in a row." {
		t.Errorf("%v, %v", got, err)
	}
	for _, bad := range []string{`{"form":"a","values":[tru]}`, `{"form":"a"`, `{"form":"a","values":[1`, `{"form":"a","values":[{"form":"b"}}`, `{"form":"a"} x`, `{"form":1}`, `{"form":"a\`, `{"form":"a","values":[{"number":"x"}]}`, `{"form":"a","values":[{"decimals"]}`} {
		if got, err := Keep(bad); err == nil {
			t.Errorf("%s, which is no JSON, was read as %+v", bad, got)
		}
	}
	var got Text
	if err := json.Unmarshal([]byte(" { \"values\" : [ 1 , {\"decimals\":1, \"number\":2.5}, {\"one\":\"b\",\"form\":\"c\"} ] , \"new\": {\"a\":[\"]\"]}, \"form\":\"{a} \\u003c {b} {c}\"}\n"), &got); err != nil || got.String() != "1 < 2.5 c" {
		t.Errorf("%q, %v", got, err)
	}
}

// A text with another's numbers says what the other says, if they differ in nothing
// else.
func TestNumbers(t *testing.T) {
	t.Parallel()
	other := sample
	other.Values = append([]any{1, Number{.26, 1}}, sample.Values[2:]...)
	if !SameButNumbers(&sample, &other) {
		t.Error("they differ in numbers alone")
	}
	nested, more := Say("{a}. {b}", sample, Count("{n} day", "{n} days", 2)), Say("{a}. {b}", other, Count("{n} day", "{n} days", 1))
	for _, c := range [][2]Text{{sample, other}, {nested, more}, {more, nested}, {Say("Plain."), Say("Plain.")}, {Say("{x}", Number{-.04, 1}), Say("{x}", Number{.15, 1})}} {
		got, err := c[0].WithNumbers(c[1].Numbers())
		if err != nil || got.String() != c[1].String() || !SameButNumbers(&c[0], &c[1]) {
			t.Errorf("%q, want %q, %v", got, c[1], err)
		}
	}
	if got := sample.String(); got != `3 days, −4.2 % lost by 1 March 2027, "A" {x}: Refused twice` {
		t.Errorf("the text itself became %q", got)
	}
	if _, err := sample.WithNumbers(nil); err == nil {
		t.Error("numbers that are missing were not missed")
	}
	for _, differs := range []Text{Say("Plain."), sample.Begin(), {Form: sample.Form, One: sample.One, Values: sample.Values[1:]},
		{Form: sample.Form, One: sample.One, Values: append([]any{Number{3, 1}}, sample.Values[1:]...)},
		{Form: sample.Form, One: sample.One, Values: append([]any{3, Number{-4.25, 2}}, sample.Values[2:]...)}} {
		if SameButNumbers(&sample, &differs) {
			t.Errorf("%+v is no other than %+v but for numbers", differs, sample)
		}
	}
}

func TestMatch(t *testing.T) {
	t.Parallel()
	for accept, want := range map[string]string{"": "en", "de": "de", "de-AT,de;q=0.9,en;q=0.5": "de", "en-GB,de;q=0.5": "en", "fr": "en", "fr,de;q=0.2": "de", "zz;;q": "en", "*": "en", "gsw": "de"} {
		if got := Match(accept).Tag; got != want {
			t.Errorf("%q: %s, want %s", accept, got, want)
		}
	}
}

func TestGerman(t *testing.T) {
	t.Parallel()
	l := Match("de")
	for _, c := range []struct {
		text Text
		want string
	}{
		{Say("{g} g ({oz} oz)", Number{1234.5, 1}, Number{43.5, 1}), "1234,5\u00a0g (43,5\u00a0oz)"},
		{Say("{x}", Number{-.2, 1}), "−0,2"},
		{Say("{d}", Date{time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC), Day}), "1. März 2027"},
		{Count("{n} day ago", "{n} days ago", 1), "vor 1 Tag"},
		{Count("{n} day ago", "{n} days ago", 2), "vor 2 Tagen"},
		{Say("What nobody has translated."), "What nobody has translated."},
	} {
		if got := l.Say(c.text); got != c.want {
			t.Errorf("%+v: %q, want %q", c.text, got, c.want)
		}
	}
}
