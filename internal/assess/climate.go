package assess

import (
	"math"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// climate is what is known of the enclosure's climate: the smoothed warm side
// that the feeding model goes by, and the latest reading of each kind.
type climate struct {
	known  bool
	warm   float64 // smoothed, °C
	latest map[string]reading
}

type reading struct {
	value float64
	with  care.TakenWith
	at    time.Time
	id    string
}

// trust is how far a way of measuring may be off, °C: a probe or an infrared
// thermometer 1, a stick-on dial or strip 3, for it shows the wall it sits on
// (instrument practice, from memory).
func trust(w care.TakenWith) float64 {
	switch w {
	case care.WithProbe, care.WithInfrared:
		return 1
	}
	return 3
}

// take takes in a reading and reports whether it is the first of the warm side.
func (c *climate) take(b care.ClimateReading, x *care.Entry, sp *snake.Species) (first bool) {
	if c.latest == nil {
		c.latest = map[string]reading{}
	}
	keep := func(kind string, v *care.Celsius) {
		if v != nil {
			c.latest[kind] = reading{float64(*v), b.TakenWith, x.HappenedAt, x.ID}
		}
	}
	keep("warm", b.Warm)
	keep("cool", b.Cool)
	keep("night", b.Night)
	keep("surface", b.Surface)
	if b.Humidity != nil {
		c.latest["humidity"] = reading{float64(*b.Humidity), b.TakenWith, x.HappenedAt, x.ID}
	}
	if b.Warm == nil {
		return false
	}
	warm := float64(*b.Warm)
	if trust(b.TakenWith) > 1 {
		// A weak instrument moves the picture half as far.
		warm = (warm + sp.Climate.Optimum) / 2
	}
	if !c.known {
		c.known, c.warm = true, warm
		return true
	}
	c.warm = (c.warm + warm) / 2
	return false
}

// deficit is how many °C the warm side is below the optimum; 0 when unknown.
func (c *climate) deficit(sp *snake.Species) float64 {
	if !c.known {
		return 0
	}
	return math.Max(0, sp.Climate.Optimum-c.warm)
}
