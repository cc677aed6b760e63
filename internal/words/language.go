package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
)

// A language is one file here; see de.json.
//
//go:embed *.json
var files embed.FS

// Language says texts. A nil one is English.
type Language struct {
	Tag  string // BCP 47
	Name string // as its speakers call it

	tag   language.Tag
	small bool // it writes what stands within a sentence small, as English does
	forms map[string]translation
	print *message.Printer // of numbers; nil writes them as English does
}

// translation is what a form is in one language: one text, or one for each of its
// plural categories.
type translation struct {
	text string
	by   map[plural.Form]string
}

var categories = map[string]plural.Form{"zero": plural.Zero, "one": plural.One, "two": plural.Two, "few": plural.Few, "many": plural.Many, "other": plural.Other}

// UnmarshalJSON reads a string, or an object by plural category.
func (t *translation) UnmarshalJSON(b []byte) error {
	if b[0] != '{' {
		return json.Unmarshal(b, &t.text)
	}
	var by map[string]string
	if err := json.Unmarshal(b, &by); err != nil {
		return err
	}
	t.by = map[plural.Form]string{}
	for name, text := range by {
		c, ok := categories[name]
		if !ok {
			return fmt.Errorf("%q is no plural category", name)
		}
		t.by[c] = text
	}
	if t.by[plural.Other] == "" {
		return fmt.Errorf("the category other is missing beside %v", by)
	}
	return nil
}

// English is the source of all others.
var English = &Language{Tag: "en", Name: "English", tag: language.English, small: true}

// languages are English and those that have a file, in the order of their tags.
var languages, matcher = read()

// read reads the files. They are compiled in, so one that cannot be read is a
// mistake in the program.
func read() ([]*Language, language.Matcher) {
	list := []*Language{English}
	tags := []language.Tag{English.tag}
	names, err := files.ReadDir(".")
	if err != nil {
		panic(err)
	}
	for _, f := range names {
		var file struct {
			Tag    string                 `json:"tag"`
			Name   string                 `json:"name"`
			Small  bool                   `json:"small"`
			Server map[string]translation `json:"server"`
		}
		b, err := files.ReadFile(f.Name())
		if err == nil {
			err = json.Unmarshal(b, &file)
		}
		if err != nil {
			panic(fmt.Errorf("%s: %w", f.Name(), err))
		}
		tag := language.MustParse(file.Tag)
		list = append(list, &Language{Tag: file.Tag, Name: file.Name, tag: tag, small: file.Small, forms: file.Server, print: message.NewPrinter(tag)})
		tags = append(tags, tag)
	}
	return list, language.NewMatcher(tags)
}

// Languages are all that texts can be said in, English first.
func Languages() []*Language { return slices.Clone(languages) }

// Match is the language that suits somebody best who asks in the words of the
// header Accept-Language (RFC 9110, 12.5.4); English for one that asks for none of
// ours, or not in those words.
func Match(accept string) *Language {
	if accept == "" {
		return English
	}
	if l, ok := ByTag(accept); ok { // what the app asks for, on every call
		return l
	}
	wanted, _, err := language.ParseAcceptLanguage(accept)
	if err != nil || len(wanted) == 0 {
		return English
	}
	_, i, sure := matcher.Match(wanted...)
	if sure == language.No {
		return English
	}
	return languages[i]
}

// ByTag is the language of a tag (BCP 47), in whatever case it is written; English
// and false for one that is none of ours.
func ByTag(tag string) (*Language, bool) {
	for _, l := range languages {
		if strings.EqualFold(l.Tag, tag) {
			return l, true
		}
	}
	return English, false
}

// Translated are the forms that it has, with the translations' texts.
func (l *Language) Translated() map[string][]string {
	all := map[string][]string{}
	for form, t := range l.forms {
		if t.by == nil {
			all[form] = []string{t.text}
		}
		for _, text := range t.by {
			all[form] = append(all[form], text)
		}
	}
	return all
}

// Say is a text in this language, for somebody to read.
func (l *Language) Say(t Text) string {
	if l == nil {
		l = English
	}
	return tied(l.loose(&t))
}

// loose is a text in this language that may be broken at any space.
func (l *Language) loose(t *Text) string {
	if len(t.Values) == 0 && t.First == 0 {
		return l.template(t)
	}
	var space [256]byte // most fit, and need nothing but the string
	return string(l.appendText(space[:0], t))
}

// tied keeps a number and its unit on one line (SI Brochure, 5.4.3: a space between
// them, and no end of a line).
func tied(text string) string {
	var out []byte
	from := 0
	for at := 1; at < len(text); at++ {
		if text[at] != ' ' || text[at-1] < '0' || text[at-1] > '9' || !beginsWithUnit(text[at+1:]) {
			continue
		}
		if out == nil {
			out = make([]byte, 0, len(text)+8)
		}
		out = append(append(out, text[from:at]...), "\u00a0"...)
		from = at + 1
	}
	if out == nil {
		return text
	}
	return string(append(out, text[from:]...))
}

var units = []string{"°C", "°F", "%", "g", "mm", "cm", "kg", "oz"}

func beginsWithUnit(text string) bool {
	for _, u := range units {
		if rest, ok := strings.CutPrefix(text, u); ok {
			next, _ := utf8.DecodeRuneInString(rest)
			return rest == "" || !unicode.IsLetter(next) && !unicode.IsDigit(next)
		}
	}
	return false
}

// Form is a form without places in this language; of one that is not in its file as a
// whole each sentence.
func (l *Language) Form(form string) string { return l.Say(Text{Form: form}) }

// All are several texts in this language.
func (l *Language) All(list []Text) []string {
	said := make([]string, len(list))
	for i := range list {
		said[i] = l.Say(list[i])
	}
	return said
}

// Forms are several forms without places in this language.
func (l *Language) Forms(list []string) []string {
	said := make([]string, len(list))
	for i, form := range list {
		said[i] = l.Form(form)
	}
	return said
}

// template is the text with places that is to be filled in.
func (l *Language) template(t *Text) string {
	if l.forms == nil {
		if t.One != "" {
			if n, ok := t.number(); ok && n == 1 {
				return t.One
			}
		}
		return t.Form
	}
	found, ok := l.forms[t.Form]
	if !ok && len(t.Values) == 0 && strings.Contains(t.Form, ". ") {
		list := Sentences(t.Form)
		for i, s := range list {
			list[i] = l.Form(s)
		}
		return strings.Join(list, " ")
	}
	if !ok {
		return English.template(t)
	}
	if found.by == nil {
		return found.text
	}
	n, _ := t.number()
	if text, ok := found.by[plural.Cardinal.MatchPlural(l.tag, n, 0, 0, 0, 0)]; ok {
		return text
	}
	return found.by[plural.Other]
}

// number is the value of the place n, where it is a whole number.
func (t *Text) number() (int, bool) {
	i := placeOf(t.Form, "n")
	if i < 0 || i >= len(t.Values) {
		return 0, false
	}
	n, ok := t.Values[i].(int)
	return n, ok
}

func (l *Language) appendText(b []byte, t *Text) []byte {
	start := len(b)
	rest := l.template(t)
	inOrder := rest == t.Form && strings.Count(rest, "{") == len(t.Values) // each place once: the usual case in English
	for next := 0; ; next++ {
		before, name, after, ok := cutPlace(rest)
		b = append(b, before...)
		if !ok {
			break
		}
		i := next
		if !inOrder {
			i = placeOf(t.Form, name)
		}
		if i >= 0 && i < len(t.Values) {
			b = l.appendValue(b, t.Values[i])
		}
		rest = after
	}
	switch {
	case t.First == capital:
		return recase(b, start, unicode.ToUpper)
	case t.First == small && l.small:
		return recase(b, start, unicode.ToLower)
	}
	return b
}

// recase changes the case of the letter at start.
func recase(b []byte, start int, to func(rune) rune) []byte {
	r, n := utf8.DecodeRune(b[start:])
	if n == 0 || to(r) == r {
		return b
	}
	return append(utf8.AppendRune(b[:start:start], to(r)), b[start+n:]...)
}

func (l *Language) appendValue(b []byte, v any) []byte {
	switch v := v.(type) {
	case Text:
		return l.appendText(b, &v)
	case string:
		return append(b, v...)
	case int:
		return strconv.AppendInt(b, int64(v), 10)
	case Number:
		return l.appendNumber(b, v)
	case Date:
		return l.appendDate(b, v)
	}
	return fmt.Append(b, v) // no value is of any other kind, see TestForms
}

// appendNumber writes with a minus sign and not a hyphen, and never "-0".
func (l *Language) appendNumber(b []byte, n Number) []byte {
	v := n.V
	text := strconv.FormatFloat(v, 'f', n.Decimals, 64)
	if text[0] == '-' {
		v, text = -v, text[1:]
		if strings.Trim(text, "0.") != "" {
			b = append(b, "−"...)
		}
	}
	if l.print == nil {
		return append(b, text...)
	}
	_, decimals, _ := strings.Cut(text, ".")
	return append(b, l.print.Sprint(number.Decimal(v, number.Scale(len(decimals)), number.NoSeparator()))...)
}

func (l *Language) appendDate(b []byte, d Date) []byte {
	month, year, day := l.Form(d.At.Month().String()), strconv.Itoa(d.At.Year()), d.At.Day()
	var t Text
	switch d.As {
	case Month:
		t = Say("{month} {year}", month, year)
	case WeekDay:
		t = Say("{weekday} {day} {month}", l.Form(d.At.Weekday().String()), day, month)
	default:
		t = Say("{day} {month} {year}", day, month, year)
	}
	return l.appendText(b, &t)
}
