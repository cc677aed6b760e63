package snake

import "math"

var table, olderNames = tables.species, tables.older

// lossByRule is LossPerDay from DefaultLossPerDay at 30 °C for the typical
// hatchling, the middle juvenile and the typical adult.
func (s *Species) lossByRule() [3]float64 {
	return [3]float64{
		DefaultLossPerDay(s.HatchMass, 30),
		DefaultLossPerDay(math.Sqrt(s.JuvenileFrom*s.AdultFrom), 30),
		DefaultLossPerDay(s.AdultMass, 30),
	}
}

// unlisted stands for a species that is not in the table: girth between the
// slender and the stout, and the widest climate of all listed species, so that
// only what would be wrong for every one of them is called wrong.
var unlisted = func() Species {
	s := Species{
		Common:    "snake",
		HatchMass: 30, HatchLength: 350, AdultMass: 800, AdultLength: 1200,
		JuvenileFrom: 60, AdultFrom: 500, FirstYear: Band{3, 12},
		RefusalMean: [3]float64{.15, .15, .20}, RefusalStrength: 4,
		GirthC:     [3]float64{girthUnlisted, girthUnlisted, girthUnlisted},
		OfferEvery: [3]Band{{5, 7}, {7, 14}, {14, 28}}, PreyShare: [3]Band{{10, 15}, {7, 12}, {5, 8}},
	}
	s.LossPerDay = s.lossByRule()
	wide := table[0].Climate
	for _, row := range table[1:] {
		c := row.Climate
		wide.HotSpot, wide.Cool = join(wide.HotSpot, c.HotSpot), join(wide.Cool, c.Cool)
		wide.Night, wide.Humidity = join(wide.Night, c.Night), join(wide.Humidity, c.Humidity)
		wide.ShedHumidity = join(wide.ShedHumidity, c.ShedHumidity)
		wide.HotTooLow, wide.HotTooHigh = math.Min(wide.HotTooLow, c.HotTooLow), math.Max(wide.HotTooHigh, c.HotTooHigh)
		wide.CoolTooLow, wide.CoolTooHigh = math.Min(wide.CoolTooLow, c.CoolTooLow), math.Max(wide.CoolTooHigh, c.CoolTooHigh)
		wide.NightTooLow = math.Min(wide.NightTooLow, c.NightTooLow)
		wide.HumidityTooLow, wide.HumidityTooHigh = math.Min(wide.HumidityTooLow, c.HumidityTooLow), math.Max(wide.HumidityTooHigh, c.HumidityTooHigh)
		wide.Optimum = math.Min(wide.Optimum, c.Optimum)
	}
	wide.Source, wide.Sureness = "the widest of the species in the table", "common practice"
	s.Climate = wide
	return s
}()

func join(a, b Band) Band { return Band{math.Min(a.Low, b.Low), math.Max(a.High, b.High)} }
