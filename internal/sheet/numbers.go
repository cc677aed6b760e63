package sheet

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Decimal is how numbers in texts mark their decimals.
type Decimal string

// The marks.
const (
	DecimalOpen  Decimal = ""
	DecimalPoint Decimal = "point"
	DecimalComma Decimal = "comma"
)

var (
	numberShape = regexp.MustCompile(`^[+-]?[\d.,]+$`)
	grouped     = regexp.MustCompile(`^[+-]?\d{1,3}([.,]\d{3})$`)
	// measure is numbers with units, such as "1 lb 3 oz" or "123 g".
	measure = regexp.MustCompile(`^([+-]?[\d.,]+)\s*([\p{L}."%]*)\s*(.*)$`)
	// thousands are marks between groups that are no decimals in any language.
	thousands = strings.NewReplacer(" ", "", "\u202f", "", "\u2009", "", "\u00a0", "", "'", "", "\u2019", "")
	spacedOut = regexp.MustCompile(`(\d)[\s\x{202f}\x{2009}\x{00a0}'\x{2019}](\d{3})(\D|$)`)
)

// joinGroups takes out the spaces between groups of three digits.
func joinGroups(s string) string {
	for spacedOut.MatchString(s) {
		s = spacedOut.ReplaceAllString(s, "$1$2$3")
	}
	return s
}

// votes says what a number's text tells of decimals: which marks it may use, and
// whether that makes a difference.
func votes(text string) (point, comma bool) {
	text = thousands.Replace(text)
	p, c := strings.LastIndexByte(text, '.'), strings.LastIndexByte(text, ',')
	switch {
	case p < 0 && c < 0:
		return true, true
	case p >= 0 && c >= 0:
		return p > c, c > p
	case grouped.MatchString(text) && !strings.HasPrefix(strings.TrimLeft(text, "+-"), "0"):
		return true, true // 1.234 or 1,234
	case p >= 0:
		return strings.Count(text, ".") == 1, strings.Count(text, ".") > 1
	}
	return strings.Count(text, ",") > 1, strings.Count(text, ",") == 1
}

// readNumber reads a number by its decimal mark. DecimalOpen reads those that
// are the same in both.
func readNumber(text string, mark Decimal) (float64, bool) {
	text = thousands.Replace(text)
	if !numberShape.MatchString(text) {
		return 0, false
	}
	point, comma := votes(text)
	if mark == DecimalOpen {
		switch {
		case point && comma && strings.ContainsAny(text, ".,"):
			return 0, false
		case point:
			mark = DecimalPoint
		default:
			mark = DecimalComma
		}
	}
	if mark == DecimalPoint && !point || mark == DecimalComma && !comma {
		return 0, false
	}
	if mark == DecimalComma {
		text = strings.ReplaceAll(text, ".", "")
		text = strings.ReplaceAll(text, ",", ".")
	} else {
		text = strings.ReplaceAll(text, ",", "")
	}
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// decideDecimal finds the mark that most numbers show; ask is a text that could
// be read either way, when nothing decides. With neither it makes no difference.
func decideDecimal(texts []string) (mark Decimal, ask string) {
	points, commas := 0, 0
	for _, text := range texts {
		for rest := joinGroups(text); rest != ""; {
			m := measure.FindStringSubmatch(rest)
			if m == nil {
				break
			}
			point, comma := votes(m[1])
			switch {
			case point && !comma:
				points++
			case comma && !point:
				commas++
			case point && comma && strings.ContainsAny(m[1], ".,"):
				if ask == "" {
					ask = m[1]
				}
			}
			rest = m[3]
		}
	}
	switch {
	case points > commas:
		return DecimalPoint, ""
	case commas > points:
		return DecimalComma, ""
	}
	return DecimalOpen, ask
}

// Unit of a mass or a length.
type Unit string

// The units; g and mm are those inside.
const (
	NoUnit     Unit = ""
	Gram       Unit = "g"
	Kilogram   Unit = "kg"
	Ounce      Unit = "oz"
	Pound      Unit = "lb"
	Millimetre Unit = "mm"
	Centimetre Unit = "cm"
	Metre      Unit = "m"
	Inch       Unit = "in"
	Foot       Unit = "ft"
)

// The international pound and inch, exact (NIST Handbook 44, appendix C).
var factors = map[Unit]float64{
	Gram: 1, Kilogram: 1000, Ounce: 28.349523125, Pound: 453.59237,
	Millimetre: 1, Centimetre: 10, Metre: 1000, Inch: 25.4, Foot: 304.8,
}

var unitNames = map[string]Unit{
	"g": Gram, "gr": Gram, "gm": Gram, "gms": Gram, "gram": Gram, "grams": Gram, "gramm": Gram, "gramme": Gram, "grammes": Gram, "gramos": Gram,
	"kg": Kilogram, "kgs": Kilogram, "kilo": Kilogram, "kilos": Kilogram, "kilogram": Kilogram, "kilograms": Kilogram,
	"oz": Ounce, "ozs": Ounce, "ounce": Ounce, "ounces": Ounce, "unzen": Ounce,
	"lb": Pound, "lbs": Pound, "pound": Pound, "pounds": Pound,
	"mm": Millimetre, "cm": Centimetre, "m": Metre, "in": Inch, "inch": Inch, "inches": Inch, `"`: Inch, "ft": Foot, "feet": Foot, "foot": Foot,
}

func isMass(u Unit) bool { return u == Gram || u == Kilogram || u == Ounce || u == Pound }

// unitIn finds a unit in a heading, such as "Weight (g)" or "Gewicht in kg".
func unitIn(heading string, mass bool) Unit {
	words := strings.FieldsFunc(strings.ToLower(heading), func(r rune) bool { return strings.ContainsRune(" ()[]/,.:;-_", r) })
	for i := len(words) - 1; i >= 0; i-- {
		if u, ok := unitNames[words[i]]; ok && isMass(u) == mass && (words[i] != "in" || i == len(words)-1) {
			return u
		}
	}
	return NoUnit
}

// readMeasure reads a mass in grams or a length in millimetres. Units in the
// cell come before that of the column.
func readMeasure(c Cell, unit Unit, mark Decimal, mass bool) (float64, bool) {
	if c.Kind == Number {
		return inBase(c.Num, unit), true
	}
	sum, any := 0.0, false
	for rest := joinGroups(strings.TrimSpace(c.Text)); rest != ""; {
		m := measure.FindStringSubmatch(rest)
		if m == nil {
			return 0, false
		}
		v, ok := readNumber(m[1], mark)
		if !ok {
			return 0, false
		}
		u := unit
		if m[2] != "" {
			named, ok := unitNames[strings.ToLower(strings.Trim(m[2], "."))]
			if !ok || isMass(named) != mass {
				return 0, false
			}
			u = named
		} else if any {
			return 0, false
		}
		sum, any, rest = sum+inBase(v, u), true, strings.TrimSpace(m[3])
	}
	return sum, any
}

// inBase is a value in grams or millimetres, without what multiplying adds: a
// tenth of a milligram is finer than any scale here.
func inBase(v float64, u Unit) float64 {
	if factors[u] == 1 {
		return v
	}
	return math.Round(v*factors[u]*1e4) / 1e4
}
