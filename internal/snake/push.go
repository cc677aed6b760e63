package snake

import "math"

// TipForce is the level push, in grams-force, that tips a thing over when it is
// applied at the thing's top. It stands on a foot of footMM the narrower way,
// is heightMM high and of one piece, so that its weight acts at the middle; dug
// is how far, mm, the ground was dug away under that edge (0: it stands on the
// bare floor). Where the middle of the foot is dug away, it tips by itself.
//
// Statics: about the edge it tips over, the push turns with height as its arm,
// the weight turns back with what is left of half the foot.
func TipForce(massG, footMM, heightMM, dug float64) float64 {
	if heightMM <= 0 {
		return math.Inf(1)
	}
	return massG * math.Max(0, footMM/2-dug) / heightMM
}

// pushShare is the level push of a snake that has something to brace against,
// over its weight; no measurement of these species was found. A snake that lies
// free pushes less, for its grip ends at friction.
var pushShare = Number("body", "push")

// Push is the level push, grams-force, of an animal of this mass (g).
func Push(mass float64) float64 { return pushShare * mass }

// Burrow is how far, mm, one burrow along an edge takes the ground away: the
// widest width of a body whose cylinder is dEq mm wide.
func Burrow(dEq float64) float64 { return WidestDiameter(dEq, 0) }

// bodyGives and groundGives are the way over which a fall is stopped: a share
// of the body's own width, and of the depth of loose ground.
var bodyGives, groundGives = Number("body", "gives"), Number("body", "ground_gives")

// HardFall is the fall, mm, onto a hard floor that is as rough as one of
// heightMM onto loose ground of groundMM: the work of stopping is the same, so
// the force goes with the height over the way in which it is stopped.
func HardFall(heightMM, groundMM, dEq float64) float64 {
	hard := bodyGives * dEq
	if hard <= 0 || groundMM <= 0 {
		return heightMM
	}
	return heightMM * hard / (hard + groundGives*groundMM)
}

// Coil is how wide, mm, an animal of this mass (g) is when it lies coiled in one
// layer without gaps: the circle with the area of its outline, length times
// width of its cylinder.
func Coil(mass, dEq float64) float64 {
	if mass <= 0 || dEq <= 0 {
		return 0
	}
	return math.Sqrt(4 / math.Pi * Length(mass, dEq) * dEq)
}

// Length is the total length, mm, of the cylinder with this mass (g) and width
// (mm).
func Length(mass, dEq float64) float64 {
	if mass <= 0 || dEq <= 0 {
		return 0
	}
	return 4000 * mass / (math.Pi * dEq * dEq)
}
