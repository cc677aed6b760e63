package casefile

import (
	"bytes"
	"errors"
	"io"
	"math/bits"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// field is one field that a line can have.
type field uint8

const (
	fCase field = iota
	fAt
	fKind
	fID
	fBy
	fReceivedAt
	fReplaces
	fConfirmed
	fInCase
	fNote
	fBreeder
	fAnimal
	fName
	fClutch
	fShowDay
	fSpecies
	fSex
	fHatched
	fGenes
	fSnoutVent
	fTotalLength
	fHemisphere
	fMean
	fStrength
	fAnimals
	fWatchFrom
	fActFrom
	fLostFrom
	fSilenceGaps
	fFirstWord
	fUntil
	fUnclaimed
	fResult
	fPrey
	fPreyState
	fPreyMass
	fMass
	fWarm
	fCool
	fNight
	fSurface
	fHumidity
	fTakenWith
	fStage
	fComplete
	fSign
	fGone
	fAnswers
	fStep
	fHoldsDays
	fOutcome
	fReopened
	fLessons
	fText
	fMark
	fPoint
	fields
)

// form is how a field is written.
type form uint8

const (
	word   form = iota // one of few, or an id: a string that comes again
	prose              // a string of its own
	number             // between low and high
	above              // the same, and more than low
	whole              // the same, without decimals
	truth
	instant
	date
	list
	answers
)

// spec says what a field holds: for a number its range, for a string how long
// it may be in characters, and for people what is expected.
type spec struct {
	name      string
	form      form
	low, high float64
	expected  string
}

const (
	anID        = "an id of 1 to 64 letters, digits, - and _"
	airs        = "°C from -20 to 90, or null"
	aChance     = "a chance of more than 0 and up to 0.999"
	longestText = 4000
)

var specs = [fields]spec{
	fCase:        {"case", word, 1, 200, "the case's id, up to 200 characters"},
	fAt:          {"at", instant, 0, 0, "a time such as 2027-03-06T15:00:00Z"},
	fKind:        {"kind", word, 1, 20, kindsExpected()},
	fID:          {"id", word, 1, 64, anID},
	fBy:          {"by", word, 1, 20, "breeder, helper, keeper, program or service"},
	fReceivedAt:  {"received_at", instant, 0, 0, "a time such as 2027-03-06T15:00:00Z, not before at"},
	fReplaces:    {"replaces", word, 1, 64, anID},
	fConfirmed:   {"confirmed", truth, 0, 0, "true or false"},
	fInCase:      {"in_case", truth, 0, 0, "true or false"},
	fNote:        {"note", prose, 0, 2000, "a text of up to 2000 characters"},
	fBreeder:     {"breeder", word, 1, 200, "the breeder's id, up to 200 characters, or null"},
	fAnimal:      {"animal", word, 1, 64, anID},
	fName:        {"name", prose, 0, 80, "a text of up to 80 characters"},
	fClutch:      {"clutch", prose, 0, 60, "a text of up to 60 characters, or null"},
	fShowDay:     {"show_day", prose, 0, 60, "a text of up to 60 characters, or null"},
	fSpecies:     {"species", word, 1, 80, "a scientific name in lower case with _ that the species table lists, or " + care.OtherSnake},
	fSex:         {"sex", word, 1, 20, "female, male or unknown"},
	fHatched:     {"hatched", date, 0, 0, "a date such as 2026-08-01 between 1950 and the handover, or null"},
	fGenes:       {"genes", list, 0, 60, "a list of up to 40 names of genes, each up to 60 characters"},
	fSnoutVent:   {"snout_vent_mm", above, 0, 10000, "millimetres, up to 10000, or null"},
	fTotalLength: {"total_length_mm", above, 0, 12000, "millimetres, up to 12000 and not less than snout_vent_mm, or null"},
	fHemisphere:  {"hemisphere", word, 1, 20, "north or south"},
	fMean:        {"learned_mean", above, 0, 1, "a share between 0 and 1"},
	fStrength:    {"learned_strength", above, 0, 1e6, "a number of offers, more than 0 and up to 1000000"},
	fAnimals:     {"learned_animals", whole, 0, 1e9, "a number of animals"},
	fWatchFrom:   {"watch_from", above, 0, .999, aChance},
	fActFrom:     {"act_from", above, 0, .999, aChance},
	fLostFrom:    {"lost_from", above, 0, .999, aChance},
	fSilenceGaps: {"silence_gaps", above, 0, 100, "how many gaps between offers, more than 0 and up to 100"},
	fFirstWord:   {"first_word_days", above, 0, 1000, "a number of days, more than 0 and up to 1000"},
	fUntil:       {"until", instant, 0, 0, "a time such as 2027-03-06T15:00:00Z, not before at"},
	fUnclaimed:   {"unclaimed", truth, 0, 0, "true or false"},
	fResult:      {"result", word, 1, 20, "eaten, refused, struck or regurgitated"},
	fPrey:        {"prey", word, 1, 40, "what was offered, such as rat, up to 40 characters, or null"},
	fPreyState:   {"prey_state", word, 1, 20, "thawed, prekilled or live, or null"},
	fPreyMass:    {"prey_g", above, 0, 20000, "grams, more than 0 and up to 20000, or null"},
	fMass:        {"mass_g", number, 1, 200000, "grams from 1 to 200000"},
	fWarm:        {"warm_c", number, -20, 90, airs},
	fCool:        {"cool_c", number, -20, 90, airs},
	fNight:       {"night_c", number, -20, 90, airs},
	fSurface:     {"surface_c", number, -20, 300, "°C from -20 to 300, or null"},
	fHumidity:    {"humidity_pct", number, 0, 100, "per cent from 0 to 100, or null"},
	fTakenWith:   {"taken_with", word, 1, 20, "probe, infrared, dial, strip or unknown"},
	fStage:       {"stage", word, 1, 20, "opaque, clear or shed"},
	fComplete:    {"complete", truth, 0, 0, "true, false or null"},
	fSign:        {"sign", word, 1, 40, "one of the signs that the program lists, such as wheeze"},
	fGone:        {"gone", truth, 0, 0, "true or false"},
	fAnswers:     {"answers", answers, 0, 0, "an object of points of the setup check with their answers, such as {\"hides\": \"two\"}"},
	fStep:        {"step", word, 1, 60, "a step's code in lower case, such as leave_in_peace"},
	fHoldsDays:   {"holds_days", whole, 0, 120, "whole days from 0 to 120"},
	fOutcome:     {"outcome", word, 1, 20, "settled, returned, vet, died, lost_touch, passed_on or left"},
	fReopened:    {"reopened", truth, 0, 0, "true or false"},
	fLessons:     {"lessons", word, 1, 200, "what was learned, by codes with a space between, such as warmth late"},
	fMark:        {"mark", word, 1, 20, "hazard, again or fine, with a point"},
	fPoint:       {"point", word, 1, 40, "a point of the setup check, such as decor_openings"},
	fText:        {"text", prose, 1, longestText, "a text of 1 to 4000 characters"},
}

// set is a set of fields.
type set uint64

func of(list ...field) (s set) {
	for _, f := range list {
		s |= 1 << f
	}
	return s
}

// everyEntry are the fields that every line but a handover may have.
var everyEntry = of(fCase, fAt, fKind, fID, fBy, fReceivedAt, fReplaces, fConfirmed, fInCase, fNote)

// kinds are what a line can be, with the fields that it may and must have.
var kinds = [...]struct {
	kind      care.Kind
	may, must set
}{
	{KindHandover, of(fCase, fAt, fKind, fNote, fBreeder, fAnimal, fName, fClutch, fShowDay, fSpecies, fSex, fHatched, fGenes,
		fSnoutVent, fTotalLength, fHemisphere, fMean, fStrength, fAnimals, fWatchFrom, fActFrom, fLostFrom, fSilenceGaps, fFirstWord, fUntil, fUnclaimed), of(fSpecies)},
	{care.KindOffer, everyEntry | of(fResult, fPrey, fPreyState, fPreyMass), of(fResult)},
	{care.KindWeighIn, everyEntry | of(fMass), of(fMass)},
	{care.KindClimate, everyEntry | of(fWarm, fCool, fNight, fSurface, fHumidity, fTakenWith), 0},
	{care.KindShed, everyEntry | of(fStage, fComplete), of(fStage)},
	{care.KindSign, everyEntry | of(fSign, fGone), of(fSign)},
	{care.KindSetup, everyEntry | of(fAnswers), of(fAnswers)},
	{care.KindSeen, everyEntry, 0},
	{care.KindStep, everyEntry | of(fStep, fHoldsDays), of(fStep)},
	{care.KindMessage, everyEntry | of(fText, fMark, fPoint), of(fText)},
	{care.KindOutcome, everyEntry | of(fOutcome, fReopened, fLessons), of(fOutcome)},
	{care.KindWithdrawal, everyEntry, of(fReplaces)},
}

func kindsExpected() string {
	return "handover, offer, weigh_in, climate, shed, sign, setup, seen, step, message, outcome or withdrawal"
}

// byName finds a field by its name in quotes.
var byName = func() map[string]field {
	m := make(map[string]field, fields)
	for f := range fields {
		m[`"`+specs[f].name+`"`] = f
	}
	return m
}()

var knownSigns = func() map[string]bool {
	m := map[string]bool{}
	for _, s := range assess.Signs() {
		m[s.Code] = true
	}
	return m
}()

// Decoder reads lines. The zero value is ready. It is not safe for concurrent
// use, but what it returns is.
type Decoder struct {
	in    bytes.Buffer
	json  jsontext.Decoder
	words map[string]string // strings met before
	has   set
	text  [fields]string
	num   [fields]float64 // truths as 0 and 1
	time  [fields]time.Time
	genes []string
	setup []care.SetupAnswer
}

// Decode reads one line without its line feed. An error is an *Error without a
// line number.
func (d *Decoder) Decode(data []byte, l *Line) error {
	if err := d.members(data); err != nil {
		return err
	}
	for _, f := range [...]field{fCase, fAt, fKind} {
		if d.has&of(f) == 0 {
			return bad(specs[f].name, "is missing; expected %s", specs[f].expected)
		}
	}
	kind := care.Kind(d.text[fKind])
	i := slices.IndexFunc(kinds[:], func(k struct {
		kind      care.Kind
		may, must set
	}) bool {
		return k.kind == kind
	})
	if i < 0 {
		return d.unlike(fKind)
	}
	if over := d.has &^ kinds[i].may; over != 0 {
		f := field(bits.TrailingZeros64(uint64(over)))
		return bad(specs[f].name, "does not belong to a line of kind %s; expected %s", kind, names(kinds[i].may&^everyEntry))
	}
	if missing := kinds[i].must &^ d.has; missing != 0 {
		f := field(bits.TrailingZeros64(uint64(missing)))
		return bad(specs[f].name, "is missing; expected %s", specs[f].expected)
	}
	at := d.time[fAt]
	if at.Year() < 1980 {
		return bad("at", "is %s; expected a time after 1980", at.Format(time.RFC3339))
	}
	*l = Line{Case: d.text[fCase], Entry: care.Entry{HappenedAt: at}}
	if kind == KindHandover {
		return d.handover(l)
	}
	return d.entry(kind, l)
}

func names(s set) string {
	var list []string
	for f := range fields {
		if s&of(f) != 0 {
			list = append(list, specs[f].name)
		}
	}
	if len(list) == 0 {
		return "no fields of its own"
	}
	return strings.Join(list, ", ")
}

// members takes apart the object of a line.
func (d *Decoder) members(data []byte) error {
	if d.words == nil {
		d.words = map[string]string{}
	}
	d.in, d.has = *bytes.NewBuffer(data), 0
	d.json.Reset(&d.in, jsontext.AllowDuplicateNames(true)) // has knows better
	if tok, err := d.json.ReadToken(); err != nil || tok.Kind() != '{' {
		return bad("", "is no JSON object; expected one such as {\"case\": \"c1\", \"at\": \"2027-03-06T15:00:00Z\", \"kind\": \"seen\"}")
	}
	for d.json.PeekKind() == '"' {
		name, err := d.json.ReadValue()
		if err != nil {
			return broken(err)
		}
		f, ok := byName[string(name)]
		if !ok {
			plain, err := jsontext.AppendUnquote(nil, name)
			if err != nil {
				return broken(err)
			}
			if f, ok = byName[`"`+string(plain)+`"`]; !ok {
				return bad(brief(string(plain)), "is not a field of a case file; expected %s", names(1<<fields-1))
			}
		}
		if d.has&of(f) != 0 {
			return bad(specs[f].name, "is there twice; expected it once")
		}
		there, err := d.value(f)
		if err != nil {
			return err
		}
		if there {
			d.has |= of(f)
		}
	}
	if _, err := d.json.ReadToken(); err != nil {
		return broken(err)
	}
	if _, err := d.json.ReadToken(); !errors.Is(err, io.EOF) {
		return bad("", "goes on after its JSON object; expected one object a line")
	}
	return nil
}

func broken(err error) *Error {
	text := strings.TrimPrefix(err.Error(), "jsontext: ")
	return bad("", "is broken JSON (%s); expected one whole object a line", text)
}

// brief is a text as an error quotes it.
func brief(s string) string { return strconv.Quote(cut(s)) }

// raw is a JSON value as an error shows it.
func raw(v jsontext.Value) string { return cut(string(v)) }

func cut(s string) string {
	if n := 40; len(s) > n {
		for !utf8.RuneStart(s[n]) {
			n--
		}
		return s[:n] + "..."
	}
	return s
}

// value reads the value of a field; there is false for null.
func (d *Decoder) value(f field) (there bool, err error) {
	s := &specs[f]
	switch {
	case s.form == list && d.json.PeekKind() == '[':
		return true, d.readGenes(f)
	case s.form == answers && d.json.PeekKind() == '{':
		return true, d.readAnswers()
	}
	v, err := d.json.ReadValue()
	if err != nil {
		return false, broken(err)
	}
	kind := v.Kind()
	if kind == 'n' {
		return false, nil
	}
	wrong := func() (bool, error) {
		return false, bad(s.name, "is %s; expected %s", raw(v), s.expected)
	}
	switch s.form {
	case word, prose, instant, date:
		if kind != '"' {
			return wrong()
		}
		if bytes.IndexByte(v, '\\') < 0 {
			v = v[1 : len(v)-1]
		} else if v, err = jsontext.AppendUnquote(nil, v); err != nil {
			return false, broken(err)
		}
		switch s.form {
		case instant:
			if d.time[f].UnmarshalText(v) != nil {
				return wrong()
			}
			d.time[f] = care.Instant(d.time[f])
			return true, nil
		case date:
			if d.time[f], err = time.Parse(time.DateOnly, string(v)); err != nil {
				return wrong()
			}
			return true, nil
		}
		if n := float64(len(v)); n < s.low || n > s.high && float64(utf8.RuneCount(v)) > s.high {
			return wrong()
		}
		if s.form == prose {
			d.text[f] = string(v)
		} else {
			d.text[f] = d.word(v)
		}
		return true, nil
	case number, above, whole:
		if kind != '0' {
			return wrong()
		}
		n, err := strconv.ParseFloat(string(v), 64)
		if err != nil || n < s.low || n > s.high || s.form == above && n == s.low || s.form == whole && n != float64(int64(n)) {
			return wrong()
		}
		d.num[f] = n
		return true, nil
	case truth:
		switch kind {
		case 't':
			d.num[f] = 1
		case 'f':
			d.num[f] = 0
		default:
			return wrong()
		}
		return true, nil
	}
	return wrong()
}

// word is v as a string; the same string for the same bytes, as far as memory
// is kept for it.
func (d *Decoder) word(v []byte) string {
	if s, ok := d.words[string(v)]; ok {
		return s
	}
	const most = 2048
	if len(d.words) >= most {
		clear(d.words)
	}
	s := string(v)
	d.words[s] = s
	return s
}

func (d *Decoder) readGenes(f field) error {
	d.genes = nil
	if _, err := d.json.ReadToken(); err != nil {
		return broken(err)
	}
	for d.json.PeekKind() != ']' {
		v, err := d.json.ReadValue()
		if err != nil {
			return broken(err)
		}
		if v.Kind() != '"' || len(d.genes) >= 40 {
			return bad("genes", "holds %s; expected %s", raw(v), specs[f].expected)
		}
		plain, err := jsontext.AppendUnquote(nil, v)
		if err != nil {
			return broken(err)
		}
		if n := utf8.RuneCount(plain); n == 0 || float64(n) > specs[f].high {
			return bad("genes", "holds %s; expected %s", brief(string(plain)), specs[f].expected)
		}
		d.genes = append(d.genes, d.word(plain))
	}
	_, err := d.json.ReadToken()
	if err != nil {
		return broken(err)
	}
	return nil
}

// readAnswers reads the answers of a setup check: to each point a choice, or an
// object with the choice and what was measured.
func (d *Decoder) readAnswers() error {
	d.setup = nil
	if _, err := d.json.ReadToken(); err != nil {
		return broken(err)
	}
	for d.json.PeekKind() == '"' {
		point, err := d.plain()
		if err != nil {
			return err
		}
		a := care.SetupAnswer{Point: point}
		where := "answers." + point
		switch d.json.PeekKind() {
		case '"':
			if a.Choice, err = d.plain(); err != nil {
				return err
			}
		case '{':
			if err := d.readAnswer(where, &a); err != nil {
				return err
			}
		default:
			v, err := d.json.ReadValue()
			if err != nil {
				return broken(err)
			}
			return bad(where, "is %s; expected a choice, or an object such as {\"choice\": \"about_body\", \"measure_mm\": 17}", raw(v))
		}
		d.setup = append(d.setup, a)
	}
	if _, err := d.json.ReadToken(); err != nil {
		return broken(err)
	}
	return nil
}

func (d *Decoder) readAnswer(where string, a *care.SetupAnswer) error {
	return d.object(where, func(name, where string) error {
		if name == "sizes" && d.json.PeekKind() == '{' {
			a.Sizes = map[string]float64{}
			return d.object(where, func(name, where string) error {
				n, err := d.size(where, 1e6)
				if err == nil && n > 0 {
					a.Sizes[name] = n
				}
				return err
			})
		}
		if name == "measure_mm" {
			n, err := d.size(where, 10000)
			a.Measure = care.Millimetres(n)
			return err
		}
		if name == "measure_sd_mm" {
			n, err := d.size(where, 10000)
			a.MeasureSD = care.Millimetres(n)
			return err
		}
		v, err := d.json.ReadValue()
		if err != nil {
			return broken(err)
		}
		if name != "choice" && name != "note" {
			return bad(where, "is not a field of an answer; expected choice, measure_mm, measure_sd_mm, sizes or note")
		}
		if v.Kind() == 'n' {
			return nil
		}
		text, err := jsontext.AppendUnquote(nil, v)
		if n := utf8.RuneCount(text); err != nil || n == 0 || n > 500 {
			return bad(where, "is %s; expected a text of up to 500 characters", raw(v))
		}
		if name == "choice" {
			a.Choice = d.word(text)
		} else {
			a.Note = string(text)
		}
		return nil
	})
}

// object reads an object inside an answer; member is told each name, and where
// that is, and reads its value.
func (d *Decoder) object(where string, member func(name, where string) error) error {
	if _, err := d.json.ReadToken(); err != nil {
		return broken(err)
	}
	for seen := map[string]bool{}; d.json.PeekKind() == '"'; {
		name, err := d.plain()
		if err != nil {
			return err
		}
		if seen[name] {
			return bad(where+"."+name, "is there twice; expected it once")
		}
		seen[name] = true
		if err := member(name, where+"."+name); err != nil {
			return err
		}
	}
	if _, err := d.json.ReadToken(); err != nil {
		return broken(err)
	}
	return nil
}

// size reads a size; null is 0, not taken.
func (d *Decoder) size(where string, most float64) (float64, error) {
	v, err := d.json.ReadValue()
	if err != nil {
		return 0, broken(err)
	}
	if v.Kind() == 'n' {
		return 0, nil
	}
	n, err := strconv.ParseFloat(string(v), 64)
	if v.Kind() != '0' || err != nil || !(n > 0 && n <= most) {
		return 0, bad(where, "is %s; expected a size, more than 0 and up to %g, or null", raw(v), most)
	}
	return n, nil
}

// plain reads a string without its quotes.
func (d *Decoder) plain() (string, error) {
	v, err := d.json.ReadValue()
	if err != nil {
		return "", broken(err)
	}
	text, err := jsontext.AppendUnquote(nil, v)
	if err != nil {
		return "", broken(err)
	}
	return d.word(text), nil
}

// unlike says that a word is none of those that the field may hold.
func (d *Decoder) unlike(f field) *Error {
	return bad(specs[f].name, "is %s; expected %s", brief(d.text[f]), specs[f].expected)
}

// one reads a field that holds one of few words; T's zero value when it is
// unknown.
func one[T ~string](d *Decoder, f field, words ...T) (T, error) {
	if d.has&of(f) == 0 {
		return "", nil
	}
	got := d.text[f]
	for _, w := range words {
		if string(w) == got {
			return w, nil
		}
	}
	return "", d.unlike(f)
}

func (d *Decoder) str(f field) string {
	if d.has&of(f) == 0 {
		return ""
	}
	return d.text[f]
}

func (d *Decoder) float(f field) float64 {
	if d.has&of(f) == 0 {
		return 0
	}
	return d.num[f]
}

// Identifier reports whether s can be an id in the program.
func Identifier(s string) bool {
	if s == "" || len(s) > 64 {
		return false
	}
	for i := range len(s) {
		if c := s[i]; !('0' <= c && c <= '9' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || c == '-' || c == '_') {
			return false
		}
	}
	return true
}

// handover reads the fields of a handover line.
func (d *Decoder) handover(l *Line) (err error) {
	at := l.Entry.HappenedAt
	h := &Handover{ShowDay: d.str(fShowDay), Unclaimed: d.float(fUnclaimed) == 1, Animal: care.Animal{BreederID: d.str(fBreeder), ID: d.str(fAnimal), Name: d.str(fName),
		Clutch: d.str(fClutch), Note: d.str(fNote), SnoutVent: care.Millimetres(d.float(fSnoutVent)), TotalLength: care.Millimetres(d.float(fTotalLength))}}
	a := &h.Animal
	if d.has&of(fAnimal) != 0 && !Identifier(a.ID) {
		return d.unlike(fAnimal)
	}
	sp, known := snake.ByID(d.text[fSpecies])
	if !known && sp.ID != care.OtherSnake || strings.ContainsAny(d.text[fSpecies], " ABCDEFGHIJKLMNOPQRSTUVWXYZ") {
		return d.unlike(fSpecies)
	}
	a.Species = sp.ID
	if a.Sex, err = one(d, fSex, care.Female, care.Male, care.SexUnknown); err != nil {
		return err
	}
	if a.Sex == "" {
		a.Sex = care.SexUnknown
	}
	if d.has&of(fHatched) != 0 {
		if day := d.time[fHatched]; day.Year() < 1950 || day.After(at) {
			return bad("hatched", "is %s; expected %s", day.Format(time.DateOnly), specs[fHatched].expected)
		} else {
			a.Hatched = &day
		}
	}
	if d.has&of(fGenes) != 0 {
		a.Genes, d.genes = d.genes, nil
	}
	if a.SnoutVent > 0 && a.TotalLength > 0 && a.TotalLength < a.SnoutVent {
		return bad("total_length_mm", "is less than snout_vent_mm; expected %s", specs[fTotalLength].expected)
	}
	if h.Hemi, err = one(d, fHemisphere, care.North, care.South); err != nil {
		return err
	}
	h.Learned = care.Learned{Mean: d.float(fMean), Strength: d.float(fStrength), Animals: int(d.float(fAnimals))}
	if (h.Learned.Mean > 0) != (h.Learned.Strength > 0) || h.Learned.Mean == 1 || h.Learned.Animals > 0 && h.Learned.Mean == 0 {
		return bad("learned_mean", "is 1 or not with all of learned_mean, learned_strength and learned_animals; expected all three or none")
	}
	h.Thresholds = care.Thresholds{Watch: d.float(fWatchFrom), Act: d.float(fActFrom), Lost: d.float(fLostFrom), SilenceGaps: d.float(fSilenceGaps), FirstWordDays: d.float(fFirstWord)}
	if d.has&of(fUntil) != 0 {
		if h.Until = d.time[fUntil]; h.Until.Before(at) {
			return bad("until", "is %s, before the handover; expected %s", h.Until.Format(time.RFC3339), specs[fUntil].expected)
		}
	}
	l.Handover = h
	return nil
}

// entry reads the fields of every other line.
func (d *Decoder) entry(kind care.Kind, l *Line) (err error) {
	e := &l.Entry
	e.ID, e.Replaces, e.Confirmed, e.Note = d.str(fID), d.str(fReplaces), d.float(fConfirmed) == 1, d.str(fNote)
	for _, f := range [...]field{fID, fReplaces} {
		if d.has&of(f) != 0 && !Identifier(d.text[f]) {
			return d.unlike(f)
		}
	}
	if e.ID != "" && e.ID == e.Replaces {
		return bad("replaces", "is the line's own id; expected the id of another line")
	}
	if e.By, err = one(d, fBy, care.BreederOwner, care.Helper, care.KeeperActor, care.Program, care.Service); err != nil {
		return err
	}
	if d.has&of(fReceivedAt) != 0 {
		if e.ReceivedAt = d.time[fReceivedAt]; e.ReceivedAt.Before(e.HappenedAt.Add(-clockSlack)) {
			return bad("received_at", "is %s, before it happened; expected %s", e.ReceivedAt.Format(time.RFC3339), specs[fReceivedAt].expected)
		}
	}
	if d.has&of(fInCase) != 0 {
		l.InCase = new(d.num[fInCase] == 1)
	}
	switch kind {
	case care.KindOffer:
		b := care.Offer{Prey: d.str(fPrey), PreyMass: care.Grams(d.float(fPreyMass))}
		if b.Result, err = one(d, fResult, care.Eaten, care.Refused, care.Struck, care.Regurgitated); err != nil {
			return err
		}
		if b.PreyState, err = one(d, fPreyState, care.Thawed, care.Prekilled, care.Live); err != nil {
			return err
		}
		e.Body = b
	case care.KindWeighIn:
		e.Body = care.WeighIn{Mass: care.Grams(d.num[fMass])}
	case care.KindClimate:
		b := care.ClimateReading{}
		if d.has&of(fWarm, fCool, fNight, fSurface, fHumidity) == 0 {
			return bad("warm_c", "is missing, and so is every other reading; expected at least one temperature or the humidity")
		}
		air := make([]care.Celsius, 0, 4)
		for _, r := range [...]struct {
			f  field
			to **care.Celsius
		}{{fWarm, &b.Warm}, {fCool, &b.Cool}, {fNight, &b.Night}, {fSurface, &b.Surface}} {
			if d.has&of(r.f) != 0 {
				air = append(air, care.Celsius(d.num[r.f]))
				*r.to = &air[len(air)-1]
			}
		}
		if d.has&of(fHumidity) != 0 {
			p := care.Percent(d.num[fHumidity])
			b.Humidity = &p
		}
		if b.TakenWith, err = one(d, fTakenWith, care.WithProbe, care.WithInfrared, care.WithDial, care.WithStrip, care.WithUnknown); err != nil {
			return err
		}
		e.Body = b
	case care.KindShed:
		b := care.Shed{}
		if b.Stage, err = one(d, fStage, care.Opaque, care.Cleared, care.ShedDone); err != nil {
			return err
		}
		if d.has&of(fComplete) != 0 {
			whole := d.num[fComplete] == 1
			b.Complete = &whole
		}
		e.Body = b
	case care.KindSign:
		if !knownSigns[d.text[fSign]] {
			return d.unlike(fSign)
		}
		e.Body = care.Sign{Code: d.text[fSign], Gone: d.float(fGone) == 1}
	case care.KindSetup:
		if len(d.setup) == 0 {
			return bad("answers", "is empty; expected %s", specs[fAnswers].expected)
		}
		e.Body = care.SetupCheck{Answers: d.setup}
	case care.KindSeen:
		e.Body = care.Seen{}
	case care.KindStep:
		if strings.Trim(d.text[fStep], "abcdefghijklmnopqrstuvwxyz0123456789_:") != "" {
			return d.unlike(fStep)
		}
		e.Body = care.StepAgreed{Code: d.text[fStep], HoldsDays: int(d.float(fHoldsDays))}
	case care.KindMessage:
		if strings.TrimSpace(d.text[fText]) == "" {
			return d.unlike(fText)
		}
		b := care.Message{Text: d.text[fText]}
		if d.has&of(fMark, fPoint) != 0 {
			b.Mark = &care.Mark{Point: d.str(fPoint)}
			if b.Mark.Kind, err = one(d, fMark, care.MarkHazard, care.MarkAgain, care.MarkFine); err != nil {
				return err
			}
		}
		e.Body = b
	case care.KindOutcome:
		b := care.Ended{Reopened: d.float(fReopened) == 1}
		if b.Outcome, err = one(d, fOutcome, care.OutcomeSettled, care.OutcomeReturned, care.OutcomeVet, care.OutcomeDied, care.OutcomeLostTouch, care.OutcomePassedOn, care.OutcomeLeft); err != nil {
			return err
		}
		if b.Lessons, err = care.LessonsOf(strings.Fields(d.str(fLessons))); err != nil {
			return d.unlike(fLessons)
		}
		e.Body = b
		return nil
	case care.KindWithdrawal:
		e.Body = care.Withdrawal{}
	}
	// The rules of the domain hold here as everywhere.
	if err := care.CheckEntry(e, e.HappenedAt); err != nil {
		var rule *care.Error
		if errors.As(err, &rule) && len(rule.Fields) > 0 {
			name, _, _ := strings.Cut(strings.TrimPrefix(rule.Fields[0].Field, "entry."+string(kind)+"."), "[")
			return bad(name, "%s", rule.Text)
		}
		return bad("", "%v", err)
	}
	return nil
}

// clockSlack is how far the clock of a phone may be ahead.
const clockSlack = 10 * time.Minute

// Peek finds the case of a line, its time and its kind without reading the
// rest, where they come first and in this order; otherwise all are nil.
func Peek(line []byte) (id, at, kind []byte) {
	if len(line) == 0 || line[0] != '{' {
		return nil, nil, nil
	}
	line = line[1:]
	next := func(name string) (v []byte) {
		rest, ok := bytes.CutPrefix(line, []byte(name))
		if !ok {
			return nil
		}
		if len(rest) > 0 && rest[0] == ' ' {
			rest = rest[1:]
		}
		if len(rest) == 0 || rest[0] != '"' {
			return nil
		}
		end := bytes.IndexByte(rest[1:], '"') + 1
		if end == 0 || bytes.IndexByte(rest[:end], '\\') >= 0 {
			return nil
		}
		v, line = rest[1:end:end], rest[end+1:]
		line = bytes.TrimPrefix(line, []byte(","))
		line = bytes.TrimPrefix(line, []byte(" "))
		return v
	}
	if id = next(`"case":`); id != nil {
		if at = next(`"at":`); at != nil {
			if kind = next(`"kind":`); kind != nil {
				return id, at, kind
			}
		}
	}
	return nil, nil, nil
}
