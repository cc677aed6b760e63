package server

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"slices"
	"time"

	"github.com/boombuler/barcode/qr"

	"warmhand/internal/access"
	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	"warmhand/internal/photo"
	"warmhand/internal/print"
)

// Demo is how to look at the demonstration. The links sign in once each and
// within a day; there are spare ones for automatic checks.
type Demo struct {
	Breeder []string     `json:"breeder"`
	Keepers []DemoKeeper `json:"keepers"`
	Claim   DemoClaim    `json:"claim"`
}

// DemoKeeper is one keeper who follows an animal.
type DemoKeeper struct {
	Keeper string   `json:"keeper"`
	Animal string   `json:"animal"`
	Story  string   `json:"story"`
	CaseID string   `json:"case"`
	Links  []string `json:"links"`
}

// DemoClaim is the card that nobody has claimed yet.
type DemoClaim struct {
	Animal string `json:"animal"`
	Code   string `json:"code"`
	Link   string `json:"link"`
}

const (
	demoSpareLinks = 48
	demoLinksLast  = 24 * time.Hour
	demoHistory    = 130 // days of the breeder's log before today
	demoShow       = 30  // days since the show day
)

// FillDemo fills an empty store with an invented breeder, eighteen animals and
// ten handovers, lived through day by day with the same use cases and passes
// as a real one, so that every time in the log is what it would have been.
func (s *Server) FillDemo(ctx context.Context) (Demo, error) {
	ctx = care.WithReach(ctx, care.EverybodysReach)
	now := care.Instant(s.now())
	var held care.Counts
	if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		held, err = tx.Counts()
		return err
	}); err != nil {
		return Demo{}, err
	}
	if held.Breeders > 0 {
		return Demo{}, errors.New("the data folder holds records already: name an empty folder for the demonstration")
	}
	d := &demo{s: s, ctx: ctx, now: now, ids: map[string]string{}, cases: map[string]string{}, cards: map[string]string{}, keepers: map[string]care.Actor{}}
	var err error
	if d.owner, err = addBreeder(ctx, s.store, d.on(demoHistory, 0), care.Breeder{
		ID: "thimblewick", Name: "Thimblewick Burrow Snakes",
		Contact:  "Invented for the demonstration: there is nobody to call. Use the messages.",
		TimeZone: "UTC", Hemi: care.North,
	}, "Marlow"); err != nil {
		return Demo{}, err
	}
	d.plan()
	if err := d.live(); err != nil {
		return Demo{}, fmt.Errorf("the demonstration: %w", err)
	}
	return d.addresses()
}

// demo is the making of one demonstration.
type demo struct {
	s      *Server
	ctx    context.Context
	now    time.Time
	owner  care.Actor
	events []demoEvent

	ids     map[string]string // animal's id by name
	cases   map[string]string // case's id by animal's name
	cards   map[string]string // what the card's code says, by animal's name
	keepers map[string]care.Actor
	told    []DemoKeeper
	claim   DemoClaim
	count   int
}

type demoEvent struct {
	at time.Time
	do func(at time.Time) error
}

// on is an hour of the day so many days ago.
func (d *demo) on(daysAgo int, hour float64) time.Time {
	return d.now.Truncate(24*time.Hour).AddDate(0, 0, -daysAgo).Add(time.Duration(hour * float64(time.Hour)))
}

func (d *demo) add(at time.Time, do func(at time.Time) error) {
	d.events = append(d.events, demoEvent{at, do})
}

// live does everything in the order of time, with the pass of each day.
func (d *demo) live() error {
	for day := demoShow + 1; day >= 0; day-- {
		if at := d.on(day, 5); !at.After(d.now) {
			d.add(at, func(at time.Time) error {
				_, err := d.s.followup.Pass(d.ctx, at)
				return err
			})
		}
	}
	slices.SortStableFunc(d.events, func(a, b demoEvent) int { return a.at.Compare(b.at) })
	for _, e := range d.events {
		if err := e.do(e.at); err != nil {
			return fmt.Errorf("%s: %w", e.at.Format(time.DateTime), err)
		}
	}
	_, err := d.s.followup.Pass(d.ctx, d.now)
	return err
}

func (d *demo) id() string {
	d.count++
	return fmt.Sprintf("demo-%06d", d.count)
}

// log makes an entry; of a case unless it is the breeder's history.
func (d *demo) log(at time.Time, name string, who func() care.Actor, inCase bool, body care.Body) {
	d.add(at, func(at time.Time) error {
		e := care.Entry{BreederID: d.owner.BreederID, AnimalID: d.ids[name], ID: d.id(), HappenedAt: at, Body: body}
		if inCase {
			e.CaseID = d.cases[name]
		}
		_, err := d.s.followup.CreateEntry(d.ctx, who(), at.Add(2*time.Minute), e)
		if err != nil {
			return fmt.Errorf("%s, %s: %w", name, body.Kind(), err)
		}
		return nil
	})
}

func (d *demo) breeder() care.Actor { return d.owner }

// demoAnimal is an animal and its weights at the start of the log and now, or
// at its handover.
type demoAnimal struct {
	name, species  string
	sex            care.Sex
	ageDays        int
	genes          []string
	clutch         string
	mother, father string
	from, to       float64 // g
	prey           string
	every          int // days between offers
	sold           bool
	note           string
}

func (d *demo) plan() {
	const ball, corn, boa, hognose, king = "python_regius", "pantherophis_guttatus", "boa_imperator", "heterodon_nasicus", "lampropeltis_californiae"
	for i, a := range []demoAnimal{
		{name: "Hazel", species: ball, sex: care.Female, ageDays: 2300, genes: []string{"pastel"}, from: 2180, to: 2260, prey: "rat", every: 14, note: "Best mother here; never more than one clutch in two years."},
		{name: "Rowan", species: ball, sex: care.Male, ageDays: 1900, genes: []string{"spider"}, from: 1320, to: 1350, prey: "rat", every: 14, note: "Slight wobble when hungry. Not bred again."},
		{name: "Ivy", species: corn, sex: care.Female, ageDays: 1600, genes: []string{"anerythristic"}, from: 540, to: 565, prey: "mouse", every: 10},
		{name: "Flint", species: corn, sex: care.Male, ageDays: 1500, from: 430, to: 445, prey: "mouse", every: 10},
		{name: "Teasel", species: ball, sex: care.Female, ageDays: 175, clutch: "Hazel 2", mother: "Hazel", father: "Rowan", genes: []string{"pastel"}, from: 66, to: 152, prey: "rat", every: 7, note: "Kept back."},
		{name: "Larch", species: ball, sex: care.Male, ageDays: 175, clutch: "Hazel 2", mother: "Hazel", father: "Rowan", genes: []string{"pastel"}, from: 68, to: 136, prey: "rat", every: 7, sold: true},
		{name: "Bramble", species: ball, sex: care.Female, ageDays: 175, clutch: "Hazel 2", mother: "Hazel", father: "Rowan", from: 61, to: 112, prey: "rat", every: 7, sold: true},
		{name: "Fennel", species: ball, sex: care.Male, ageDays: 174, clutch: "Hazel 2", mother: "Hazel", father: "Rowan", from: 59, to: 96, prey: "rat", every: 7, sold: true, note: "Slow to start; needed three tries for the first meal."},
		{name: "Quill", species: ball, sex: care.Female, ageDays: 174, clutch: "Hazel 2", mother: "Hazel", father: "Rowan", genes: []string{"spider", "pastel"}, from: 64, to: 124, prey: "rat", every: 7, sold: true},
		{name: "Pebble", species: corn, sex: care.Female, ageDays: 190, clutch: "Ivy 1", mother: "Ivy", father: "Flint", genes: []string{"anerythristic"}, from: 12, to: 34, prey: "mouse", every: 7, sold: true},
		{name: "Clover", species: corn, sex: care.Male, ageDays: 190, clutch: "Ivy 1", mother: "Ivy", father: "Flint", from: 11, to: 31, prey: "mouse", every: 7, sold: true},
		{name: "Old Oak", species: ball, sex: care.Male, ageDays: 2500, from: 1490, to: 1510, prey: "rat", every: 14, sold: true},
		{name: "Sorrel", species: boa, sex: care.Female, ageDays: 420, from: 390, to: 520, prey: "rat", every: 12, sold: true},
		{name: "Moss", species: hognose, sex: care.Male, ageDays: 260, from: 22, to: 41, prey: "mouse", every: 7, sold: true},
		// Still here: one that stays behind its clutch, one that is nearly ready for sale, one that is.
		{name: "Sedge", species: king, sex: care.Male, ageDays: 140, clutch: "Kings 3", from: 8, to: 16, prey: "mouse", every: 7, note: "Small from the beginning."},
		{name: "Yarrow", species: king, sex: care.Female, ageDays: 140, clutch: "Kings 3", from: 8.5, to: 28, prey: "mouse", every: 7},
		{name: "Ling", species: king, sex: care.Male, ageDays: 140, clutch: "Kings 3", from: 9, to: 30, prey: "mouse", every: 7},
		// Sold, and here again.
		{name: "Thistle", species: corn, sex: care.Female, ageDays: 300, from: 24, to: 58, prey: "mouse", every: 7, sold: true},
	} {
		d.history(i, a)
	}
	d.stories()
}

// history is the breeder's log of an animal: offers in its rhythm with a
// refusal now and then, a weight each three weeks and a shed each six or seven.
func (d *demo) history(nth int, a demoAnimal) {
	until := 1
	if a.sold {
		until = demoShow + 1
	}
	mass := func(daysAgo int) float64 {
		return math.Round(a.from + (a.to-a.from)*float64(demoHistory-daysAgo)/float64(demoHistory-until))
	}
	hatched := d.on(a.ageDays, 0)
	// Parents stand before their young in the list, and so are made before them.
	d.add(d.on(demoHistory, 8).Add(time.Duration(nth)*time.Minute), func(at time.Time) error {
		made, err := d.s.followup.CreateAnimal(d.ctx, d.owner, at, care.Animal{BreederID: d.owner.BreederID, Name: a.name, Species: a.species, Sex: a.sex,
			Hatched: &hatched, Genes: a.genes, Clutch: a.clutch, MotherID: d.ids[a.mother], FatherID: d.ids[a.father], Note: a.note,
			Place: fmt.Sprintf("rack %d tub %d", 1+nth/6, 1+nth%6)})
		if err != nil {
			return fmt.Errorf("%s: %w", a.name, err)
		}
		d.ids[a.name] = made.ID
		return nil
	})
	for day, n := demoHistory-1-nth%3, 0; day >= until; day, n = day-a.every, n+1 {
		o := care.Offer{Result: care.Eaten, Prey: a.prey, PreyState: care.Thawed, PreyMass: care.Grams(math.Max(1, math.Round(mass(day)*.1)))}
		if (n+nth)%9 == 4 {
			o.Result = care.Refused
		}
		d.log(d.on(day, 19), a.name, d.breeder, false, o)
	}
	for day := demoHistory - 2; day >= until; day -= 21 {
		d.log(d.on(day, 10), a.name, d.breeder, false, care.WeighIn{Mass: care.Grams(mass(day))})
	}
	d.log(d.on(until, 9), a.name, d.breeder, false, care.WeighIn{Mass: care.Grams(a.to)})
	whole := true
	for day := demoHistory - 12 - nth; day-8 >= until; day -= 44 {
		d.log(d.on(day, 18), a.name, d.breeder, false, care.Shed{Stage: care.Opaque})
		d.log(d.on(day-8, 8), a.name, d.breeder, false, care.Shed{Stage: care.ShedDone, Complete: &whole})
	}
}

// tale writes what happened to one animal after the show day.
type tale struct {
	d      *demo
	animal string
	prey   care.Offer
}

// at is so many days after the show day.
func (t tale) at(day int, hour float64) time.Time { return t.d.on(demoShow-day, hour) }

func (t tale) keeper() care.Actor { return t.d.keepers[t.animal] }

func (t tale) log(day int, hour float64, body care.Body) {
	t.d.log(t.at(day, hour), t.animal, t.keeper, true, body)
}

func (t tale) offers(result care.OfferResult, days ...int) {
	for _, day := range days {
		o := t.prey
		o.Result = result
		t.log(day, 19.5, o)
	}
}

func (t tale) weighs(day int, g float64) { t.log(day, 17, care.WeighIn{Mass: care.Grams(g)}) }

func (t tale) climate(day int, warm, cool, night, humidity float64) {
	w, c, n, h := care.Celsius(warm), care.Celsius(cool), care.Celsius(night), care.Percent(humidity)
	t.log(day, 20.5, care.ClimateReading{Warm: &w, Cool: &c, Night: &n, Humidity: &h, TakenWith: care.WithProbe})
}

// says is a message of the keeper, who has read what the breeder wrote before it.
func (t tale) says(day int, hour float64, text string) {
	t.d.add(t.at(day, hour-.05), func(at time.Time) error {
		return t.d.s.followup.Acknowledge(t.d.ctx, t.keeper(), at, t.d.owner.BreederID, t.d.cases[t.animal], &at, &at)
	})
	t.log(day, hour, care.Message{Text: text})
}

// answers is a message of the breeder, who looks at the case first.
func (t tale) answers(day int, hour float64, text string) {
	t.d.add(t.at(day, hour), func(at time.Time) error {
		_, err := t.d.s.followup.MarkSeen(t.d.ctx, t.d.owner, at, t.d.owner.BreederID, t.d.cases[t.animal])
		return err
	})
	t.d.log(t.at(day, hour+.05), t.animal, t.d.breeder, true, care.Message{Text: text})
}

// setup answers the checklist; change names the points that are not as they
// should be.
func (t tale) setup(day int, change ...care.SetupAnswer) {
	good := []care.SetupAnswer{{Point: "lid_gaps", Choice: "locked_tight"}, {Point: "other_pets", Choice: "none"}, {Point: "fumes", Choice: "none_used"},
		{Point: "heater_thermostat", Choice: "all_on"}, {Point: "heat_rock", Choice: "none"}, {Point: "bulb_guard", Choice: "none"},
		{Point: "power_near_water", Choice: "dry"}, {Point: "gradient", Choice: "both_ends"}, {Point: "thermometers", Choice: "probes_both"},
		{Point: "hides", Choice: "both_ends"}, {Point: "decor_openings", Choice: "none"}, {Point: "tubes", Choice: "none"}, {Point: "netting", Choice: "none"},
		{Point: "sharp_edges", Choice: "all_smooth"}, {Point: "tape", Choice: "no_tape"}, {Point: "water_depth", Choice: "shallow_heavy"},
		{Point: "heavy_things", Choice: "on_floor"}, {Point: "climb_height", Choice: "low"}, {Point: "substrate", Choice: "bark_coco_soil"}, {Point: "live_prey", Choice: "thawed"}}
	for _, c := range change {
		i := slices.IndexFunc(good, func(a care.SetupAnswer) bool { return a.Point == c.Point })
		good[i] = c
	}
	t.log(day, 16, care.SetupCheck{Answers: good})
}

// sell hands an animal over on the show day; keeper "" leaves it unclaimed.
func (d *demo) sell(nth int, animal, keeper, story, prey string, preyMass care.Grams) tale {
	t := tale{d: d, animal: animal, prey: care.Offer{Prey: prey, PreyState: care.Thawed, PreyMass: preyMass}}
	var code string
	day := d.on(demoShow, 0).Format(time.DateOnly)
	d.add(t.at(0, 10+.3*float64(nth)), func(at time.Time) error {
		h, plain, err := d.s.followup.CreateHandover(d.ctx, d.owner, at, followup.HandoverDraft{BreederID: d.owner.BreederID, AnimalID: d.ids[animal],
			ShowDay: day, RequestID: d.id(), BuyerNote: cmp.Or(map[string]string{"Theo": "Thirteen, with an aunt. First snake; nervous and very keen."}[keeper], "Met at the show.")})
		code, d.cases[animal], d.cards[animal] = plain, h.ID, d.s.ClaimURL(plain)
		if keeper == "" {
			d.claim = DemoClaim{Animal: animal, Code: plain, Link: d.s.ClaimURL(plain)}
		}
		return err
	})
	if keeper == "" {
		return t
	}
	d.add(t.at(0, 18+.2*float64(nth)), func(at time.Time) error {
		_, h, err := d.s.followup.Claim(d.ctx, care.Actor{}, at, code, keeper, d.id(), func(care.Tx, care.Actor) error { return nil })
		if err != nil {
			return err
		}
		d.keepers[animal] = care.Actor{Kind: care.KeeperActor, KeeperID: h.KeeperID}
		d.told = append(d.told, DemoKeeper{Keeper: keeper, Animal: animal, Story: story, CaseID: h.ID})
		return nil
	})
	return t
}

// pictures takes in a drawn picture of the keeper's in the way of an upload.
func (t tale) pictures(day int, hour float64, id string, drawn func() (image.Image, error)) {
	t.d.add(t.at(day, hour), func(at time.Time) error {
		img, err := drawn()
		if err != nil {
			return err
		}
		var file bytes.Buffer
		if err := jpeg.Encode(&file, img, &jpeg.Options{Quality: 90}); err != nil {
			return err
		}
		pic, err := photo.Intake(t.d.ctx, &file, photo.Limits{}, t.d.s.temp)
		if err != nil {
			return err
		}
		_, err = t.d.s.keepPicture(t.d.ctx, t.keeper(), at, pic, care.Photo{BreederID: t.d.owner.BreederID, CaseID: t.d.cases[t.animal], ID: id, TakenAt: &at})
		return err
	})
}

// marks is a breeder's word about a place in a picture, who has then looked at it.
func (t tale) marks(day int, hour float64, text string, m care.Mark) {
	t.d.log(t.at(day, hour), t.animal, t.d.breeder, true, care.Message{Text: text, Mark: &m})
	t.d.add(t.at(day, hour), func(at time.Time) error {
		return t.d.s.followup.LookAtPhoto(t.d.ctx, t.d.owner, at, t.d.owner.BreederID, t.d.cases[t.animal], m.Photo)
	})
}

func (d *demo) stories() {
	t := d.sell(0, "Larch", "Mina", "settled and eating", "rat", 14)
	t.setup(1)
	t.climate(2, 31.5, 26, 24.5, 60)
	t.offers(care.Eaten, 7, 14, 21, 28)
	t.weighs(12, 141)
	t.weighs(26, 152)
	t.says(7, 20, "It took the rat before I had closed the door. Is that normal?")
	t.answers(8, 9, "Quite normal. Leave it alone for two days now, and offer again next week.")

	t = d.sell(1, "Bramble", "Theo", "refuses, and its warm side is too cool", "rat", 11)
	t.setup(1, care.SetupAnswer{Point: "hides", Choice: "one"}, care.SetupAnswer{Point: "thermometers", Choice: "probe_one"})
	t.climate(2, 27, 23.5, 21, 48)
	t.offers(care.Refused, 7, 13, 19)
	t.weighs(15, 110)
	t.says(13, 20, "She did not want it again. I am worried that I am doing something wrong.")
	t.answers(14, 8, "You are not. Her warm side is a little cool for digesting, so she waits. Let us get that right first.")
	d.log(t.at(20, 9), "Bramble", d.breeder, true, care.StepAgreed{Code: assess.StepWarmUp, HoldsDays: 7})
	t.climate(22, 28, 24, 22, 52)
	t.offers(care.Refused, 26)
	t.says(26, 21, "It is at 28 now. The mat does not go higher. What else can I try?")

	t = d.sell(2, "Pebble", "Ines", "refuses in its blue phase", "mouse", 4)
	t.setup(2)
	t.climate(2, 30, 23.5, 22, 50)
	t.offers(care.Eaten, 6, 12, 18)
	t.weighs(17, 36)
	t.log(24, 18, care.Shed{Stage: care.Opaque})
	t.offers(care.Refused, 26)
	t.says(26, 20, "Her eyes are milky and she hides all day. She left the mouse.")

	t = d.sell(3, "Old Oak", "Ruth", "an adult that fasts at a steady weight", "rat", 110)
	t.setup(3)
	t.climate(3, 31, 26, 24, 58)
	t.offers(care.Refused, 8, 18, 28)
	t.weighs(9, 1502)
	t.weighs(19, 1498)
	t.weighs(29, 1494)
	t.answers(19, 10, "Grown males sometimes leave out meals for weeks. His weight is what counts, and it holds.")

	t = d.sell(4, "Fennel", "Jonas", "loses weight after four refusals", "rat", 10)
	t.setup(1)
	t.climate(4, 31, 26, 24, 60)
	t.offers(care.Refused, 6, 13, 20, 27)
	t.weighs(8, 92)
	t.weighs(18, 88)
	t.weighs(28, 84.5)
	t.says(24, 20, "No interest at all. He only pushes along the glass.")

	t = d.sell(5, "Sorrel", "Ada", "wheezes since yesterday", "rat", 45)
	t.setup(2)
	t.climate(2, 30.5, 26, 24, 62)
	t.offers(care.Eaten, 7)
	t.offers(care.Refused, 19)
	t.climate(27, 27.5, 24, 21, 82)
	t.log(29, 20.6, care.Sign{Code: "wheeze"})
	t.says(29, 20.8, "She clicks when she breathes. Is that from shedding?")

	warm, cool, night, humidity := care.Celsius(32.5), care.Celsius(26.5), care.Celsius(25), care.Percent(64)
	d.log(d.on(demoShow+3, 20), "Quill", d.breeder, false, care.ClimateReading{Warm: &warm, Cool: &cool, Night: &night, Humidity: &humidity, TakenWith: care.WithProbe})
	t = d.sell(6, "Quill", "Sam", "a wobble, deep water and a hole in a log", "rat", 12)
	t.pictures(2, 15, "demo-log-and-bowl", func() (image.Image, error) { return drawSetup(), nil })
	hole := care.SetupAnswer{Point: "decor_openings", Choice: "about_body", Measure: 22, Photos: []string{"demo-log-and-bowl"}}
	t.setup(2, care.SetupAnswer{Point: "water_depth", Choice: "too_deep", Measure: 70}, hole)
	t.marks(3, 9, "She could get stuck in this hole. Please take the log out for now, and send a picture with the card beside the hole.",
		care.Mark{Kind: care.MarkHazard, Point: hole.Point, Photo: hole.Photos[0], At: &care.Spot{X: 420, Y: 480}})
	t.pictures(29, 16, "demo-hole-and-card", func() (image.Image, error) { return drawHole(d.cards["Quill"]) })
	hole.Photos = append(hole.Photos[:1:1], "demo-hole-and-card")
	t.log(29, 16.1, care.SetupCheck{Answers: []care.SetupAnswer{hole}})
	t.climate(2, 31.5, 26, 24.5, 60)
	t.log(4, 18, care.Sign{Code: "wobble"})
	t.offers(care.Eaten, 7, 14, 21, 28)
	t.weighs(20, 132)
	t.answers(5, 9, "Thank you for the picture. Please take the log out for now, and use a flat dish of water.")

	t = d.sell(7, "Moss", "Lior", "nothing heard for weeks", "mouse", 4)
	t.log(1, 12, care.Seen{})
	t.says(1, 12.2, "Home safe. He dug himself in at once.")
	t.answers(16, 10, "How is Moss getting on? A word is enough.")

	d.sell(8, "Clover", "", "", "mouse", 3)

	t = d.sell(9, "Thistle", "Nell", "came home, because the keeper moves abroad", "mouse", 6)
	t.setup(1)
	t.climate(2, 30, 24, 22, 50)
	t.offers(care.Eaten, 6, 13)
	t.weighs(12, 61)
	t.says(14, 20, "I move abroad for my work next week and cannot take her with me. May I bring her back to you?")
	t.answers(15, 9, "Of course. You looked after her well.")
	t.comesHome(14, 20)
}

// comesHome is the way back to the breeder, from the day it is asked for to the
// day of arrival.
func (t tale) comesHome(asked, arrived int) {
	f, breeder := t.d.s.followup, t.d.owner.BreederID
	do := func(day int, hour float64, step func(at time.Time, id string) error) {
		t.d.add(t.at(day, hour), func(at time.Time) error { return step(at, t.d.cases[t.animal]) })
	}
	do(asked, 20.5, func(at time.Time, id string) error {
		_, err := f.GiveBack(t.d.ctx, t.keeper(), at, breeder, id, true)
		return err
	})
	do(asked+1, 9.5, func(at time.Time, id string) error {
		_, err := f.AgreeReturn(t.d.ctx, t.d.owner, at, breeder, id, "By car, on Saturday at ten, in the box she came in.")
		return err
	})
	do(arrived, 8, func(at time.Time, id string) error {
		_, err := f.SendReturn(t.d.ctx, t.keeper(), at, breeder, id)
		return err
	})
	do(arrived, 10, func(at time.Time, id string) error {
		until := at.AddDate(0, 0, 30)
		_, err := f.Arrive(t.d.ctx, t.d.owner, at, breeder, id, followup.Arrival{Mass: 62, Quarantine: &until, Place: "quarantine shelf",
			Lessons: []string{"circumstances"}, Learned: "Nothing was wrong with her or her home.", RequestID: t.d.id()})
		return err
	})
}

// drawSetup draws an enclosure from the front: bark below, a hollow log with a
// round hole, and a bowl of water.
func drawSetup() image.Image {
	const w, h, floor = 1200, 800, 520
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	noise := func(x, y int) uint8 { return sha256.Sum256([]byte{byte(x), byte(x >> 8), byte(y), byte(y >> 8)})[0] }
	draw.Draw(m, m.Bounds(), image.NewUniform(color.RGBA{196, 186, 168, 255}), image.Point{}, draw.Src)
	for y := floor; y < h; y += 4 {
		for x := 0; x < w; x += 8 {
			n := noise(x, y) / 4
			draw.Draw(m, image.Rect(x, y, x+8, y+4), image.NewUniform(color.RGBA{96 + n, 66 + n, 40 + n/2, 255}), image.Point{}, draw.Src)
		}
	}
	oval := func(cx, cy, rx, ry int, c color.RGBA) {
		for y := -ry; y <= ry; y++ {
			half := int(float64(rx) * math.Sqrt(1-float64(y*y)/float64(ry*ry)))
			draw.Draw(m, image.Rect(cx-half, cy+y, cx+half, cy+y+1), image.NewUniform(c), image.Point{}, draw.Src)
		}
	}
	for y := 360; y < 620; y++ { // the log, darker towards its foot, with grain
		shade := uint8((y - 360) / 6)
		if y%23 < 3 {
			shade += 18
		}
		draw.Draw(m, image.Rect(140, y, 700, y+1), image.NewUniform(color.RGBA{138 - shade, 104 - shade, 70 - shade/2, 255}), image.Point{}, draw.Src)
	}
	oval(140, 490, 46, 130, color.RGBA{84, 60, 38, 255})
	oval(700, 490, 46, 130, color.RGBA{176, 140, 98, 255})
	oval(700, 490, 30, 96, color.RGBA{38, 26, 18, 255})
	oval(420, 480, 34, 34, color.RGBA{92, 66, 42, 255}) // the rim of the hole
	oval(420, 480, 26, 26, color.RGBA{22, 15, 11, 255})
	oval(950, 650, 150, 62, color.RGBA{72, 78, 84, 255})
	oval(950, 632, 134, 46, color.RGBA{120, 158, 176, 255})
	oval(920, 622, 40, 8, color.RGBA{206, 224, 232, 255})
	return m
}

// drawHole draws the log's hole from straight above, 24 mm across, and beside it
// the card with its code, as large as it is printed.
func drawHole(code string) (image.Image, error) {
	const w, h, mm = 1200, 900, 7.5 // pixels a millimetre
	q, err := qr.Encode(code, qr.M, qr.Unicode)
	if err != nil {
		return nil, err
	}
	const side, left, top, free = print.CodeSide * mm, 190., 300., 30.
	module := side / float64(q.Bounds().Dx())
	at := func(x, y float64) (grey float64, wood bool) {
		if math.Hypot(x-810, y-450) < 12*mm {
			return 24, true
		}
		if i, j := int(math.Floor((x-left)/module)), int(math.Floor((y-top)/module)); (image.Point{X: i, Y: j}.In(q.Bounds())) {
			return map[bool]float64{true: 34, false: 226}[q.At(i, j) == color.Black], false
		}
		if x > left-free && x < left+side+free+160 && y > top-free && y < top+side+free+75 {
			return 232, false
		}
		return 128 + 14*math.Sin(y/9+3*math.Sin(x/170)) + 6*math.Sin(y/2.3+x/90), true
	}
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var sum [3]float64
			for _, d := range [4][2]float64{{.25, .25}, {.75, .25}, {.25, .75}, {.75, .75}} { // edges are soft in photos
				grey, wood := at(float64(x)+d[0], float64(y)+d[1])
				tint := [3]float64{1, .99, .95}
				if wood {
					tint = [3]float64{1, .78, .56}
				}
				for i := range sum {
					sum[i] += grey * tint[i] / 4
				}
			}
			m.SetRGBA(x, y, color.RGBA{uint8(sum[0]), uint8(sum[1]), uint8(sum[2]), 255})
		}
	}
	return m, nil
}

// addresses makes the one-time links.
func (d *demo) addresses() (Demo, error) {
	out := Demo{Keepers: d.told, Claim: d.claim}
	link := func(tx care.Tx, who care.Actor) ([]string, error) {
		var links []string
		for range demoSpareLinks {
			secret, kept, err := access.NewSignInLink(tx, who, d.s.now())
			if err != nil {
				return nil, err
			}
			kept.ExpiresAt = kept.CreatedAt.Add(demoLinksLast) // nothing real is behind them
			if err := tx.UpdateSecret(kept); err != nil {
				return nil, err
			}
			links = append(links, d.s.SignInURL(secret))
		}
		return links, nil
	}
	err := d.s.store.Write(d.ctx, func(tx care.Tx) (err error) {
		if out.Breeder, err = link(tx, d.owner); err != nil {
			return err
		}
		for i := range out.Keepers {
			if out.Keepers[i].Links, err = link(tx, d.keepers[out.Keepers[i].Animal]); err != nil {
				return err
			}
		}
		return nil
	})
	return out, err
}
