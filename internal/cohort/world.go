// Package cohort simulates sold snakes and their keepers, so that the
// assessment can be judged against a truth that no log contains: when an animal
// began to fail, and what it really weighed.
//
// But for the world called mirror, the animals are made unlike the assessment's
// own model on purpose. There is no switch between "normal" and "failing" and no
// chance of refusal: appetite is a level that hunger raises and stress, shed,
// season and cold lower, with a mood that lasts for days; an animal eats when the
// level is above a threshold. Pauses are semi-Markov with lengths that cluster;
// illness creeps in. Mass follows from metabolism, meals, water and held faeces.
// On top of that a keeper offers, weighs and writes things down as people do.
//
// Every number is simulated, none is field data. Constants name their source or
// are marked [assumption]. Masses are g, temperatures °C, times days from the
// handover.
package cohort

import "fmt"

// World is one set of circumstances.
type World struct {
	Name, About string
	// Failing is about the share of animals that come to fail.
	Failing float64
	// Pauses scales how many healthy animals pause for weeks.
	Pauses float64
	// Noted is the share of offers that are written down.
	Noted float64
	// Weighing shares out the keepers: never, monthly, every fortnight, weekly.
	Weighing [4]float64
	// Noise scales the errors of the scale, Slips the slips at it.
	Noise, Slips float64
	// CoolHomes is the share of homes with too cool a warm side.
	CoolHomes float64
	// Picky lowers the appetite of all of a breeder's animals.
	Picky float64
	// BallPythons is their share; the rest are of five other species.
	BallPythons float64
	// Mirror makes the animals by the assessment's own assumptions.
	Mirror bool
}

// Base is the ordinary world. 47.2 % of common pet snakes are kept at
// temperatures that are not the best (744 owners; Cargill et al., Animal
// Welfare, at second hand); far fewer are so cool that it shows. All else
// [assumption]; that about one animal in eight fails is high on purpose, so that
// there is something to find.
var Base = World{
	Name: "base", About: "ordinary homes and keepers",
	Failing: .13, Pauses: 1, Noted: .92, Weighing: [4]float64{.2, .3, .3, .2},
	Noise: 1, Slips: 1, CoolHomes: .25, BallPythons: .65,
}

// Worlds are Base and what differs from it in one thing.
func Worlds() []World {
	with := func(name, about string, change func(*World)) World {
		w := Base
		w.Name, w.About = name, about
		change(&w)
		return w
	}
	return []World{
		Base,
		with("no fasts", "no healthy animal pauses for weeks", func(w *World) { w.Pauses = 0 }),
		with("poor logging", "four offers in ten are not written down, half of the keepers never weigh", func(w *World) {
			w.Noted, w.Weighing = .6, [4]float64{.5, .3, .15, .05}
		}),
		with("weekly weights", "everybody weighs every week, before the offer, on a good scale", func(w *World) {
			w.Weighing, w.Noise, w.Slips = [4]float64{0, 0, 0, 1}, .4, 0
		}),
		with("cool homes", "six homes in ten are too cool", func(w *World) { w.CoolHomes = .6 }),
		with("picky breeder", "the breeders' animals refuse often, and are healthy", func(w *World) { w.Picky = .6 }),
		with("few ball pythons", "four animals in five are of other species", func(w *World) { w.BallPythons = .2 }),
		with("mirror", "the assessment's own assumptions, as far as a simulation can have them", func(w *World) { w.Mirror = true }),
		with("slips", "one weigh-in in sixteen is a slip", func(w *World) { w.Slips = 5 }),
	}
}

// ByName finds a world.
func ByName(name string) (World, error) {
	for _, w := range Worlds() {
		if w.Name == name {
			return w, nil
		}
	}
	return World{}, fmt.Errorf("no world %q: one of the names that the table shows", name)
}
