package snake

import "math"

// A body is modelled as a cylinder of density 1 g/cm³ that tapers at both ends.
// The factors are assumptions: no measured series of girths, head widths and
// masses of these species was found. What each means stands in the tables.
var (
	widest        = Number("body", "widest")
	headFactor    = Number("body", "head")
	clearance     = Number("body", "clearance")
	lump          = Number("body", "lump")
	preyLong      = Number("body", "prey_long")
	spread        = Number("body", "spread")
	flatHead      = Number("body", "flat_head")
	leastHead     = Number("body", "least_head")
	girthUnlisted = Number("body", "girth_unlisted")
)

// BodyDiameter is the diameter, mm, of the cylinder with the animal's mass (g)
// and total length (mm); with length 0 it is estimated from mass alone by the
// species' girth constant. s may be nil. It is 0 when the mass is not known.
func BodyDiameter(s *Species, age AgeClass, mass, lengthMM float64) float64 {
	if mass <= 0 {
		return 0
	}
	if lengthMM > 0 {
		// Volume mass·1000 mm³ = π/4·d²·length.
		return math.Sqrt(4000 * mass / (math.Pi * lengthMM))
	}
	c := girthUnlisted
	if s != nil {
		c = s.GirthC[age]
	}
	return c * math.Cbrt(mass)
}

// PreyDiameter is the width, mm, of prey of this mass (g): a cylinder of
// density 1 that is so many times as long as wide.
func PreyDiameter(preyMass float64) float64 {
	if preyMass <= 0 {
		return 0
	}
	return 10 * math.Cbrt(4*preyMass/(preyLong*math.Pi))
}

// WidestDiameter is the widest width, mm, of a body whose cylinder is dEq mm
// wide, with prey of preyMass grams inside (0: empty).
func WidestDiameter(dEq, preyMass float64) float64 {
	return math.Max(widest*dEq, lump*PreyDiameter(preyMass))
}

// HeadPasses is the width, mm, of a round opening above which the head goes
// through. It is an estimate for the middle animal; see UnsafeOpening.
func HeadPasses(dEq float64) float64 { return headFactor * dEq }

// PassesFreely is the width, mm, of a round opening above which the whole body
// goes through, fed with preyMass grams. It is an estimate for the middle
// animal; see UnsafeOpening.
func PassesFreely(dEq, preyMass float64) float64 {
	return clearance * WidestDiameter(dEq, preyMass)
}

// UnsafeOpening bounds, in mm, the round openings in which a body could get
// stuck: the estimates moved outwards by two standard deviations of the body's
// width, so that about one animal in forty lies outside either bound.
func UnsafeOpening(dEq, preyMass float64) (shutBelow, passAbove float64) {
	return HeadPasses(dEq * math.Exp(-2*spread)), PassesFreely(dEq*math.Exp(2*spread), preyMass)
}

// SlitPasses is the width, mm, of a long slit above which the head goes through
// lying flat. It is an estimate for the middle animal; see UnsafeSlit.
func SlitPasses(dEq float64) float64 { return math.Max(leastHead, flatHead*HeadPasses(dEq)) }

// UnsafeSlit is the width, mm, from which a slit may let the head through: one
// animal in forty still passes a narrower one.
func UnsafeSlit(dEq float64) float64 { return SlitPasses(dEq) * math.Exp(-2*spread) }

// EscapeProbability is the probability that the head of a body dEq mm wide goes
// through a slit measured as slitMM ± sdMM (one standard deviation).
func EscapeProbability(slitMM, sdMM, dEq float64) float64 {
	if dEq <= 0 || slitMM <= 0 {
		return 0
	}
	head := SlitPasses(dEq)
	return .5 * math.Erfc(-math.Log(slitMM/head)/(widen(head, sdMM)*math.Sqrt2))
}

// widen is the spread with an error of measurement near this size in it, both
// lognormal.
func widen(sizeMM, sdMM float64) float64 { return math.Hypot(spread, sdMM/sizeMM) }

// HeldFrom is the mass, g, from which an animal that today passes an opening
// freely could be held by it with the probability p: its body alone, or its
// body round prey of this share of its mass. girthC is c of d = c·M^(1/3); the
// opening was measured as openingMM ± sdMM.
func HeldFrom(openingMM, sdMM, girthC, preyShare, p float64) float64 {
	if openingMM <= 0 || girthC <= 0 || p <= 0 || p >= .5 {
		return 0
	}
	z := math.Sqrt2 * math.Erfinv(1-2*p)
	cube := func(x float64) float64 { return x * x * x }
	body := cube(openingMM / (clearance * widest * girthC) * math.Exp(-z*widen(openingMM, sdMM)))
	if preyShare <= 0 {
		return body
	}
	// Prey of mass share·M is PreyDiameter(share)·M^(1/3) wide.
	return math.Min(body, cube(math.Max(0, openingMM-z*sdMM)/(clearance*lump*PreyDiameter(preyShare))))
}

// WedgeProbability is the probability that the animal puts its head through an
// opening measured as openingMM ± sdMM (one standard deviation, 0 allowed) and
// its body does not follow: the head's bound < opening < the body's bound, with
// the true diameter lognormal about dEq.
func WedgeProbability(openingMM, sdMM, dEq, preyMass float64) float64 {
	if dEq <= 0 || openingMM <= 0 {
		return 0
	}
	// For an opening of width w the unsafe diameters are an interval, so the
	// integral over the body is exact and only that over w is numeric.
	fed := clearance * lump * PreyDiameter(preyMass) // below this, the prey alone is too wide
	unsafe := func(w float64) float64 {
		if w <= 0 {
			return 0
		}
		p := below(w/headFactor, dEq)
		if w >= fed {
			p -= below(w/(clearance*widest), dEq)
		}
		return p
	}
	if sdMM <= 0 {
		return unsafe(openingMM)
	}
	low, high := openingMM-6*sdMM, openingMM+6*sdMM
	density := func(w float64) float64 {
		z := (w - openingMM) / sdMM
		return unsafe(w) * math.Exp(-z*z/2) / (sdMM * math.Sqrt(2*math.Pi))
	}
	if fed <= low || fed >= high {
		return clamp01(simpson(density, low, high))
	}
	// unsafe jumps at fed: integrate each side by itself.
	return clamp01(simpson(density, low, math.Nextafter(fed, low)) + simpson(density, fed, high))
}

// below is the probability that the true diameter is less than d.
func below(d, dEq float64) float64 {
	return .5 * math.Erfc(-math.Log(d/dEq)/(spread*math.Sqrt2))
}

func simpson(f func(float64) float64, a, b float64) float64 {
	const n = 100 // even
	h := (b - a) / n
	sum := f(a) + f(b)
	for i := 1; i < n; i++ {
		sum += f(a+float64(i)*h) * float64(2+2*(i%2))
	}
	return sum * h / 3
}

func clamp01(p float64) float64 { return math.Max(0, math.Min(1, p)) }

// feederSize is one size class of feeder animals: it is used below UpTo grams.
type feederSize struct {
	upTo float64
	name string
}

// Supplier size grades, common practice, no source. Grades leave gaps between
// them (a fuzzy mouse is 3 to 5 g, a hopper 7 to 10 g); the middle of a gap is
// where the name changes.
var (
	mice = []feederSize{{2.5, "mouse pinkie"}, {6, "mouse fuzzy"}, {10.5, "mouse hopper"}, {16.5, "weaned mouse"}, {math.Inf(1), "adult mouse"}}
	rats = []feederSize{{9.5, "rat pup"}, {19.5, "rat fuzzy"}, {47.5, "weaned rat"}, {90, "small rat"}, {150, "medium rat"}, {math.Inf(1), "large rat"}}
)

// PreySize is the trade's plain name for prey of this kind and mass (g), such
// as "rat fuzzy". Kinds other than mouse and rat have no size names, and are
// given back as they are; so is a kind whose mass is not known.
func PreySize(mass float64, prey string) string {
	var sizes []feederSize
	switch prey {
	case "mouse":
		sizes = mice
	case "rat":
		sizes = rats
	}
	if mass <= 0 {
		return prey
	}
	for _, s := range sizes {
		if mass < s.upTo {
			return s.name
		}
	}
	return prey
}
