package snake

import "math"

// Shared rows. None of the refusal rates has a published source: rates per
// offer were not found. They are assumptions that a breeder's own log replaces;
// for the ball python the inter-meal intervals of 12 captive animals in the
// Add-my-Pet data (median 13 days, many offers a week apart) rule out a rate
// near zero.
var (
	refusalBall  = [3]float64{.20, .20, .35}
	refusalCorn  = [3]float64{.12, .08, .10}
	refusalBoa   = [3]float64{.08, .06, .08}
	refusalOther = [3]float64{.15, .15, .20}

	// Fast-growing colubrids, days and % of body mass: common practice, no
	// source; 10 to 20 % is handbook guidance for snakes (from memory).
	offersColubrid = [3]Band{{5, 7}, {7, 10}, {10, 14}}
	sharesColubrid = [3]Band{{10, 20}, {8, 15}, {5, 10}}
	// Pythons and boas of middle size: common practice, no source.
	offersPython = [3]Band{{5, 7}, {7, 14}, {14, 28}}
	sharesPython = [3]Band{{10, 15}, {7, 12}, {5, 8}}
	// After a year, in hatch masses. Ball python: about 4 (Ellis & Chappell
	// 1987), and from 4.3 to 10.6 among the animals of the Add-my-Pet data, with
	// room on both sides; boa: 1.7 to 3.1 on three regimes (Steele et al. 2022,
	// through Add-my-Pet), and more where they are fed much. The others are
	// assumptions: like the ball python, faster in colubrids that are grown in
	// two or three years, and in giants.
	growthBall     = Band{3, 12}
	growthBoa      = Band{1.5, 8}
	growthPython   = Band{3, 12}
	growthColubrid = Band{3, 16}
	growthGiant    = Band{5, 50}
	// Giants grow fat easily as adults: common practice, no source.
	offersGiant = [3]Band{{5, 7}, {7, 14}, {21, 42}}
	sharesGiant = [3]Band{{10, 15}, {7, 12}, {3, 7}}
)

const (
	appendixII = "Appendix II" // all Pythonidae and Boidae, CITES appendices, from memory; P. regius confirmed

	memoryOfHandbooks = "typical of handbook and welfare-society tables, from memory"
	memory            = "memory"
	seen              = "seen"

	sourceFeldman = "Feldman & Meiri 2013, Biol J Linn Soc 108:161; Feldman et al. 2016, Glob Ecol Biogeogr 25:187"
	sourceLossRat = "McCue 2007, Zoology 110:318 (rat snake 9.3 % in 168 days)"
	sourceAmP     = "Add-my-Pet collection of energy budgets"
)

// climate sets the limits 2 °C and 10 points of humidity outside the bands, and
// the humidity of a shed 15 points above the usual. Both are convention. The
// optimum is the middle of the hot spot, so that the feeding model, which
// allows 1.5 °C, starts to count cold near the lower edge of the band.
func climate(hot, cool, night, humidity Band, source, sureness string) Climate {
	c := Climate{
		HotSpot: hot, Cool: cool, Night: night, Humidity: humidity,
		HotTooLow: hot.Low - 2, HotTooHigh: hot.High + 2,
		CoolTooLow: cool.Low - 2, CoolTooHigh: cool.High + 2,
		NightTooLow:    night.Low - 2,
		HumidityTooLow: humidity.Low - 10, HumidityTooHigh: math.Min(humidity.High+10, 98),
		Optimum: hot.Mid(), Source: source, Sureness: sureness,
	}
	c.ShedHumidity.Low = math.Min(humidity.Low+15, 80)
	c.ShedHumidity.High = math.Max(c.ShedHumidity.Low+10, math.Min(humidity.High+15, 90))
	return c
}

// byRule fills LossPerDay from DefaultLossPerDay at 30 °C for the typical
// hatchling, the middle juvenile and the typical adult.
func byRule(s Species) Species {
	s.LossPerDay = [3]float64{
		DefaultLossPerDay(s.HatchMass, 30),
		DefaultLossPerDay(math.Sqrt(s.JuvenileFrom*s.AdultFrom), 30),
		DefaultLossPerDay(s.AdultMass, 30),
	}
	return s
}

func same(c float64) [3]float64 { return [3]float64{c, c, c} }

// olderNames are names in use by the trade for species of the table: older
// names, and close kin kept alike.
var olderNames = map[string]string{
	"boa_constrictor":             "boa_imperator",
	"boa_constrictor_imperator":   "boa_imperator",
	"boa_constrictor_constrictor": "boa_imperator",
	"elaphe_guttata":              "pantherophis_guttatus",
	"pantherophis_guttata":        "pantherophis_guttatus",
	"lampropeltis_getula":         "lampropeltis_californiae",
	"lampropeltis_getulus":        "lampropeltis_californiae",
	"heterodon_nasicus_nasicus":   "heterodon_nasicus",
	"morelia_spilota_cheynei":     "morelia_spilota",
	"morelia_spilota_mcdowelli":   "morelia_spilota",
	"chondropython_viridis":       "morelia_viridis",
	"antaresia_maculosa":          "antaresia_childreni",
	"python_curtus":               "python_brongersmai",
	"python_breitensteini":        "python_brongersmai",
	"python_reticulatus":          "malayopython_reticulatus",
	"broghammerus_reticulatus":    "malayopython_reticulatus",
	"python_molurus_bivittatus":   "python_bivittatus",
	"lamprophis_fuliginosus":      "boaedon_fuliginosus",
	"boaedon_capensis":            "boaedon_fuliginosus",
	"lamprophis_capensis":         "boaedon_fuliginosus",
}

// In the table, masses, lengths and age classes are typical of captive animals.
// Where a line says no more they are from memory (hatchlings and adults) or
// common practice, no source (where an age class begins). GirthC without a
// remark is the cylinder through the row's own masses and lengths.
var table = []Species{
	{
		ID: "python_regius", Scientific: "Python regius", Common: "ball python", Family: "python", CITES: appendixII,
		HatchMass:    60,   // 45 to 75, Barker & Barker, from memory
		HatchLength:  430,  // about 40 cm at hatching (Bristol zoo); 43 cm by Feldman & Meiri 2013 at 59 g
		AdultMass:    1500, // wild Togo, largest 1635 (female) and 1561 (male), Aubret et al. 2005, J Herpetol 39:315; captive 1200 to 3000
		AdultLength:  1200, // 90 to 107 cm male, 122 to 137 cm female, captive, at second hand
		JuvenileFrom: 100,  // common practice, no source
		AdultFrom:    800,  // common practice, no source (males breed from 700)
		FirstYear:    growthBall,
		RefusalMean:  refusalBall, RefusalStrength: 6, // assumption
		LossPerDay: [3]float64{.0025, .0015, .0011},    // McCue 2007: subadults .0012 a day; Add-my-Pet fit .0010 to .0015; hatchling 80 to 69 g in 56 days
		GirthC:     same(3.6),                          // 125 cm and 1635 g, 120 cm and 1561 g (Aubret et al. 2005) give 3.5; 35 cm and 86 g (Add-my-Pet) gives 4.0
		OfferEvery: [3]Band{{5, 7}, {7, 14}, {14, 28}}, // care sheets; adults above 1000 g common practice
		PreyShare:  [3]Band{{10, 15}, {7, 10}, {5, 7}}, // care sheets (hatchling); common practice, no source (others)
		Climate: Climate{
			// Every source's hot spot includes or touches 32 to 33, none goes
			// above 35.6; the lowest night is 20 (in winter), the usual floor
			// 23 to 24; humidity 50 to 60 in the trade, 60 to 90 with the
			// authorities. The bands lie inside these, the limits around them.
			HotSpot: Band{30, 34}, Cool: Band{24, 27}, Night: Band{22, 25}, Humidity: Band{55, 80}, ShedHumidity: Band{70, 90},
			HotTooLow: 28, HotTooHigh: 36, CoolTooLow: 22, CoolTooHigh: 29, NightTooLow: 20, HumidityTooLow: 45, HumidityTooHigh: 90,
			Optimum: 32,
			Source:  "Austrian law (BGBl II 486/2004 Annex 3), Zürcher Tierschutz, veterinary care sheets and the trade", Sureness: seen,
		},
		Sources: []string{"McCue 2007, Zoology 110:318", "Aubret et al. 2005, J Herpetol 39:315", sourceFeldman, sourceAmP, "Austria, BGBl II 486/2004 Annex 3", "Zürcher Tierschutz, Königspython"},
	},
	{
		ID: "pantherophis_guttatus", Scientific: "Pantherophis guttatus", Common: "corn snake", Family: "colubrid",
		HatchMass:    7.5,
		HatchLength:  320, // length-mass fit of Add-my-Pet (Barnard et al. 1979), log10 g = 3.029·log10 cm − 3.686
		AdultMass:    450, // below 544, the species' largest by length, Feldman et al. 2016
		AdultLength:  1240,
		JuvenileFrom: 30, AdultFrom: 250,
		FirstYear:   growthColubrid,
		RefusalMean: refusalCorn, RefusalStrength: 6,
		LossPerDay: [3]float64{.0028, .0014, .0008}, // assumption; McCue 2007, rat snake: .00058 a day
		GirthC:     same(2.76),                      // log10 mm = .4408 + .3365·log10 g, n = 146, Add-my-Pet (Barnard et al. 1979)
		OfferEvery: offersColubrid, PreyShare: sharesColubrid,
		Climate: climate(Band{28, 32}, Band{21, 27}, Band{18, 22}, Band{40, 55}, "care sheets (hot spot 29 to 32, cool end 24 to 28, night from 18) and keepers' handbooks from memory (28 to 30, 21 to 27)", memory),
		Climbs:  true,
		Sources: []string{sourceLossRat, sourceAmP, sourceFeldman},
	},
	{
		ID: "boa_imperator", Scientific: "Boa imperator", Common: "boa constrictor", Family: "boa", CITES: appendixII,
		HatchMass: 68, HatchLength: 470, // Add-my-Pet
		AdultMass: 3500, AdultLength: 1800,
		JuvenileFrom: 150, AdultFrom: 2000,
		FirstYear:   growthBoa,
		RefusalMean: refusalBoa, RefusalStrength: 6,
		LossPerDay: [3]float64{.0020, .0012, .0008},      // assumption
		GirthC:     same(3.3),                            // 47 cm and 68 g gives 3.3, 250 cm and 18 kg gives 3.7, Add-my-Pet
		OfferEvery: [3]Band{{7, 10}, {10, 14}, {21, 35}}, // common practice, no source
		PreyShare:  sharesPython,
		Climate:    climate(Band{32, 34}, Band{26, 28}, Band{22, 25}, Band{60, 80}, memoryOfHandbooks, memory),
		Sources:    []string{sourceAmP, sourceFeldman},
	},
	byRule(Species{
		ID: "heterodon_nasicus", Scientific: "Heterodon nasicus", Common: "western hognose snake", Family: "colubrid",
		HatchMass: 6, HatchLength: 170,
		AdultMass: 150, AdultLength: 480, // females; males reach half of it. Largest by length 504 g, Feldman et al. 2016
		JuvenileFrom: 20, AdultFrom: 70,
		FirstYear:   growthPython,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(3.7),
		OfferEvery: offersColubrid, PreyShare: sharesColubrid,
		Climate: climate(Band{31, 33}, Band{22, 25}, Band{18, 22}, Band{30, 50}, memoryOfHandbooks, memory),
		Sources: []string{sourceFeldman},
	}),
	{
		ID: "lampropeltis_californiae", Scientific: "Lampropeltis californiae", Common: "California kingsnake", Family: "colubrid",
		HatchMass: 8, HatchLength: 300,
		AdultMass: 500, AdultLength: 1100, // largest by length 681 g, Feldman et al. 2016
		JuvenileFrom: 30, AdultFrom: 250,
		FirstYear:   growthColubrid,
		RefusalMean: refusalOther, RefusalStrength: 4,
		LossPerDay: [3]float64{.0028, .0014, .0008}, // as the corn snake, its closest kin here
		GirthC:     same(2.9),
		OfferEvery: offersColubrid, PreyShare: sharesColubrid,
		Climate: climate(Band{29, 31}, Band{24, 27}, Band{21, 23}, Band{40, 60}, "care sheets (day and night); hot spot and humidity "+memoryOfHandbooks, memory),
		Sources: []string{sourceLossRat, sourceFeldman},
	},
	{
		ID: "lampropeltis_triangulum", Scientific: "Lampropeltis triangulum", Common: "milk snake", Family: "colubrid",
		HatchMass: 7, HatchLength: 270,
		AdultMass: 350, AdultLength: 1000, // largest by length 598 g, Feldman et al. 2016
		JuvenileFrom: 30, AdultFrom: 200,
		FirstYear:   growthColubrid,
		RefusalMean: refusalOther, RefusalStrength: 4,
		LossPerDay: [3]float64{.0028, .0014, .0008}, // as the corn snake, its closest kin here
		GirthC:     same(2.9),
		OfferEvery: offersColubrid, PreyShare: sharesColubrid,
		Climate: climate(Band{28, 30}, Band{24, 27}, Band{21, 23}, Band{40, 60}, "care sheets (day and night); hot spot and humidity "+memoryOfHandbooks, memory),
		Sources: []string{sourceLossRat, sourceFeldman},
	},
	byRule(Species{
		ID: "thamnophis_sirtalis", Scientific: "Thamnophis sirtalis", Common: "garter snake", Family: "colubrid",
		HatchMass: 2, HatchLength: 180,
		AdultMass: 100, AdultLength: 650, // largest by length 862 g, Feldman et al. 2016
		JuvenileFrom: 12, AdultFrom: 50,
		FirstYear:   growthColubrid,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(2.9),
		OfferEvery: [3]Band{{3, 5}, {5, 7}, {7, 14}}, // common practice, no source
		PreyShare:  sharesColubrid,
		Climate:    climate(Band{28, 32}, Band{21, 24}, Band{16, 20}, Band{40, 60}, memoryOfHandbooks, memory),
		Sources:    []string{sourceFeldman},
	}),
	byRule(Species{
		ID: "morelia_spilota", Scientific: "Morelia spilota", Common: "carpet python", Family: "python", CITES: appendixII,
		HatchMass: 30, HatchLength: 400,
		AdultMass: 2500, AdultLength: 2000, // largest by length 21710 g, Feldman et al. 2016
		JuvenileFrom: 80, AdultFrom: 1500,
		FirstYear:   growthPython,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(3.0),
		OfferEvery: offersPython, PreyShare: sharesPython,
		Climate: climate(Band{31, 34}, Band{24, 27}, Band{20, 24}, Band{40, 60},
			memoryOfHandbooks+"; bodies of wild diamond pythons 28 to 30 while basking, Slip & Shine 1988", memory),
		Climbs:  true,
		Sources: []string{"Slip & Shine 1988 (body temperatures)", "Bedford & Christian 1998, Aust J Zool 46:317", sourceFeldman},
	}),
	byRule(Species{
		ID: "antaresia_childreni", Scientific: "Antaresia childreni", Common: "Children's python", Family: "python", CITES: appendixII,
		HatchMass: 8, HatchLength: 230,
		AdultMass: 350, AdultLength: 900, // largest by length 550 g, Feldman et al. 2016
		JuvenileFrom: 30, AdultFrom: 250,
		FirstYear:   growthPython,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(3.2),
		OfferEvery: offersPython, PreyShare: sharesPython,
		Climate: climate(Band{31, 33}, Band{24, 26}, Band{20, 24}, Band{40, 60},
			memoryOfHandbooks+"; 31.5 preferred by gravid females, J Exp Biol 215:1346 (2012)", memory),
		Sources: []string{"J Exp Biol 215:1346 (2012)", "Bedford & Christian 1998, Aust J Zool 46:317", sourceFeldman},
	}),
	byRule(Species{
		ID: "epicrates_cenchria", Scientific: "Epicrates cenchria", Common: "rainbow boa", Family: "boa", CITES: appendixII,
		HatchMass: 27, HatchLength: 430,
		AdultMass: 2000, AdultLength: 1600, // largest by length 4571 g, Feldman et al. 2016
		JuvenileFrom: 80, AdultFrom: 1000,
		FirstYear:   growthPython,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(3.1),
		OfferEvery: offersPython, PreyShare: sharesPython,
		Climate: climate(Band{29, 31}, Band{24, 26}, Band{20, 23}, Band{75, 90}, memoryOfHandbooks, memory),
		Sources: []string{sourceFeldman},
	}),
	byRule(Species{
		ID: "python_brongersmai", Scientific: "Python brongersmai", Common: "blood python", Family: "python", CITES: appendixII,
		HatchMass: 60, HatchLength: 350,
		AdultMass: 6000, AdultLength: 1400,
		JuvenileFrom: 200, AdultFrom: 2500,
		FirstYear:   Band{5, 30},
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(4.0),
		OfferEvery: [3]Band{{7, 10}, {10, 14}, {14, 28}}, // common practice, no source
		PreyShare:  sharesPython,
		Climate:    climate(Band{30, 32}, Band{25, 27}, Band{22, 25}, Band{65, 85}, memoryOfHandbooks, memory),
		Sources:    []string{"no published values at hand: from memory and common practice"},
	}),
	byRule(Species{
		ID: "morelia_viridis", Scientific: "Morelia viridis", Common: "green tree python", Family: "python", CITES: appendixII,
		HatchMass: 12, HatchLength: 300,
		AdultMass: 1100, AdultLength: 1400, // largest by length 3454 g, Feldman et al. 2016
		JuvenileFrom: 50, AdultFrom: 600,
		FirstYear:   growthPython,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(3.1),
		OfferEvery: offersPython, PreyShare: sharesPython,
		Climate: climate(Band{30, 32}, Band{25, 27}, Band{22, 25}, Band{60, 90}, memoryOfHandbooks, memory),
		Climbs:  true,
		Sources: []string{sourceFeldman},
	}),
	byRule(Species{
		ID: "boaedon_fuliginosus", Scientific: "Boaedon fuliginosus", Common: "house snake", Family: "lamprophiid",
		HatchMass: 4, HatchLength: 200,
		AdultMass: 120, AdultLength: 800,
		JuvenileFrom: 15, AdultFrom: 60,
		FirstYear:   growthPython,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(2.9),
		OfferEvery: offersColubrid, PreyShare: sharesColubrid,
		// At most 35 local, 24 to 28 by day, 20 to 24 at night: Austria. The
		// humidity is not in it: common practice, no source.
		Climate: climate(Band{29, 33}, Band{24, 26}, Band{20, 24}, Band{40, 60}, "Austrian law (BGBl II 486/2004 Annex 3, as Lamprophis); humidity common practice", seen),
		Sources: []string{"Austria, BGBl II 486/2004 Annex 3"},
	}),
	byRule(Species{
		ID: "malayopython_reticulatus", Scientific: "Malayopython reticulatus", Common: "reticulated python", Family: "python", CITES: appendixII,
		HatchMass: 130, HatchLength: 700,
		AdultMass: 25000, AdultLength: 4200, // largest by length 246604 g, Feldman et al. 2016
		JuvenileFrom: 400, AdultFrom: 8000,
		FirstYear:   growthGiant,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(3.0),
		OfferEvery: offersGiant, PreyShare: sharesGiant,
		Climate: climate(Band{31, 33}, Band{26, 28}, Band{24, 26}, Band{50, 70}, memoryOfHandbooks, memory),
		Sources: []string{sourceFeldman, "US, 50 CFR 16.15 (injurious species)"},
	}),
	byRule(Species{
		ID: "python_bivittatus", Scientific: "Python bivittatus", Common: "Burmese python", Family: "python", CITES: appendixII,
		HatchMass: 110, HatchLength: 580,
		AdultMass: 25000, AdultLength: 3500, // largest by length 119935 g (as P. molurus), Feldman et al. 2016
		JuvenileFrom: 400, AdultFrom: 8000,
		FirstYear:   growthGiant,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(3.3),
		OfferEvery: offersGiant, PreyShare: sharesGiant,
		Climate: climate(Band{31, 33}, Band{26, 28}, Band{23, 26}, Band{50, 70}, memoryOfHandbooks, memory),
		Sources: []string{sourceFeldman, "US, 50 CFR 16.15 (injurious species)"},
	}),
}

// unlisted stands for a species that is not in the table: girth between the
// slender and the stout, and the widest climate of all listed species, so that
// only what would be wrong for every one of them is called wrong.
var unlisted = func() Species {
	s := byRule(Species{
		Common: "snake", Scientific: "", Family: "",
		HatchMass: 30, HatchLength: 350, AdultMass: 800, AdultLength: 1200,
		JuvenileFrom: 60, AdultFrom: 500,
		FirstYear:   growthPython,
		RefusalMean: refusalOther, RefusalStrength: 4,
		GirthC:     same(girthUnlisted),
		OfferEvery: offersPython, PreyShare: sharesPython,
	})
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
