package snake

import (
	"math"
	"time"
)

// Pace is one end of how fast animals of a species grow: nobody knows which
// one will be given how much, so a forecast is always both.
type Pace int

// The paces.
const (
	Slow Pace = iota
	Fast
)

// adultShare is how the lightest and the heaviest adults stand to the typical
// one, by pace.
var adultShare = Numbers("growth", "adult_share", 2)

const year = 365 * 24 * time.Hour

// Grown is the mass, g, that an animal of this mass has after a while, if it
// eats as its kind usually does. The length follows von Bertalanffy, and mass
// goes with the cube of length, so that it is the cube root of the mass that
// nears that of the adult; the pace is set by the masses after a first year
// (Species.FirstYear). An animal heavier than its pace's adult stays as it is.
// It is 0 when the mass is not known.
func (s *Species) Grown(mass float64, after time.Duration, pace Pace) float64 {
	if mass <= 0 {
		return 0
	}
	adult, k := s.growth(pace)
	now := math.Cbrt(mass)
	if now >= adult || after <= 0 {
		return mass
	}
	x := adult - (adult-now)*math.Exp(-k*after.Hours()/year.Hours())
	return x * x * x
}

// GrownBy is the time until an animal of this mass weighs as much as the target
// (g); false when at this pace it never does.
func (s *Species) GrownBy(mass, target float64, pace Pace) (time.Duration, bool) {
	if mass <= 0 {
		return 0, false
	}
	if mass >= target {
		return 0, true
	}
	adult, k := s.growth(pace)
	now, then := math.Cbrt(mass), math.Cbrt(target)
	if now >= adult || then >= adult {
		return 0, false
	}
	years := math.Log((adult-now)/(adult-then)) / k
	if years > 20 {
		return 0, false // longer than anybody plans, and than most snakes live
	}
	return time.Duration(years * float64(year)), true
}

// growth is the adult's cube root of mass and the rate, per year, of a pace.
func (s *Species) growth(pace Pace) (adult, k float64) {
	adult = math.Cbrt(adultShare[pace] * s.AdultMass)
	hatch := math.Cbrt(s.HatchMass)
	after := math.Cbrt(s.HatchMass * [...]float64{Slow: s.FirstYear.Low, Fast: s.FirstYear.High}[pace])
	return adult, math.Log((adult - hatch) / (adult - after))
}
