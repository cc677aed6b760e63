// Package snake is what is known of species and bodies: tables with their
// sources, age classes, girth, what fits through what, and prey sizes. It does
// no I/O and reads no clock.
//
// Masses are grams, lengths and widths millimetres, temperatures degrees
// Celsius, humidities per cent. A length is total length, nose to tail tip.
//
// Every number stands in tables.json with its source and how sure it is; see Row.
package snake

import (
	"math"
	"strings"
	"time"
)

// AgeClass is the coarse age that feeding rules of the trade go by.
type AgeClass int

// The age classes. They index the [3] arrays of Species.
const (
	Hatchling AgeClass = iota
	Juvenile
	Adult
)

// String is the plain word for the class.
func (a AgeClass) String() string {
	return [...]string{"hatchling", "juvenile", "adult"}[a]
}

// Band is a range from Low to High, both in it.
type Band struct{ Low, High float64 }

// Has reports whether v lies in the band.
func (b Band) Has(v float64) bool { return b.Low <= v && v <= b.High }

// Mid is the middle of the band.
func (b Band) Mid() float64 { return (b.Low + b.High) / 2 }

// Climate is the climate a species is kept in, °C and % relative humidity. The
// bands are what to aim at; the TooLow and TooHigh limits, set outside the
// bands, are where the program speaks up. The limits are convention.
type Climate struct {
	HotSpot, Cool, Night, Humidity Band
	ShedHumidity                   Band // while the skin is changing

	HotTooLow, HotTooHigh           float64
	CoolTooLow, CoolTooHigh         float64
	NightTooLow                     float64
	HumidityTooLow, HumidityTooHigh float64

	// Optimum is the warm side, °C, that the feeding model counts from.
	Optimum float64

	Source   string
	Sureness string // of the bands; see Row
}

// Species is one row of the species table. Arrays are indexed by AgeClass.
type Species struct {
	ID         string // scientific name in lower case with "_"
	Scientific string
	Common     string
	Family     string // python, boa, colubrid, lamprophiid
	CITES      string // "Appendix II", or "" when not listed

	HatchMass, AdultMass     float64 // g, typical
	HatchLength, AdultLength float64 // mm total length, typical
	JuvenileFrom, AdultFrom  float64 // g, where the age class begins
	// FirstYear is the mass a year after hatching, in hatch masses: of slow and
	// of fast growers.
	FirstYear Band

	RefusalMean     [3]float64 // share of offers that a healthy animal refuses
	RefusalStrength float64    // how many offers that mean is worth
	LossPerDay      [3]float64 // fraction of body mass a day, healthy and fasting
	GirthC          [3]float64 // body diameter mm = c·(g)^(1/3)

	OfferEvery [3]Band // days between offers
	PreyShare  [3]Band // prey mass, % of body mass

	Climate Climate
	Climbs  bool // at home on branches, so that height alone is no concern
	Sources []string
}

// All is the species table, the ball python first. The caller owns the slice.
func All() []Species { return append([]Species(nil), table...) }

// ByID finds a species by its id; the scientific name in any case, with spaces
// or "_", and older names in use by the trade are understood too. For a species
// that is not in the table it returns false and a stand-in with wide limits
// under the id that was asked for.
func ByID(id string) (Species, bool) {
	id = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(id)), " ", "_")
	key := id
	if newer, ok := olderNames[id]; ok {
		key = newer
	}
	for i := range table {
		if table[i].ID == key {
			return table[i], true
		}
	}
	s := unlisted
	s.ID = id
	return s, false
}

// standIn are the ages, days, that stand in for a mass that is not known: from
// the first an animal is a juvenile, from the second an adult.
var standIn = Numbers("age", "stand_in", 2)

// Age is the age class of an animal of this mass (g, 0 unknown), else of this
// hatch date; with neither, Juvenile. The mass decides where both are known:
// animals of one clutch grow at very different speeds.
func (s *Species) Age(hatched *time.Time, mass float64, at time.Time) AgeClass {
	switch {
	case mass >= s.AdultFrom && mass > 0:
		return Adult
	case mass >= s.JuvenileFrom && mass > 0:
		return Juvenile
	case mass > 0:
		return Hatchling
	case hatched == nil:
		return Juvenile
	}
	switch old := at.Sub(*hatched).Hours() / 24; {
	case old < standIn[0]:
		return Hatchling
	case old < standIn[1]:
		return Juvenile
	}
	return Adult
}

var lossRule, lossExponent, lossQ10 = Number("loss", "rule"), Number("loss", "exponent"), Number("loss", "q10")

// DefaultLossPerDay is the fraction of body mass that a healthy fasting snake
// of this mass (g) loses in a day at this temperature (°C): the rule for species
// of which nothing better is known.
func DefaultLossPerDay(mass, tempC float64) float64 {
	if mass <= 0 {
		mass = 100
	}
	return lossRule * math.Pow(mass/100, lossExponent) * math.Pow(lossQ10, (tempC-30)/10)
}
