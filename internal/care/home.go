package care

import (
	"slices"
	"time"

	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Home is how an animal was kept and what its home should be.
type Home struct {
	MeasuredAt time.Time // by the breeder; the zero time: never
	Facts      []HomeFact
	Note       words.Text   // where the values come from, or that there are none
	Points     []words.Text // of the setup, what this animal's species, size or genes add; the climate is in Facts
}

// HomeFact is one value of a home: °C, or % where it is Humidity.
type HomeFact struct {
	Code, Label string
	Humidity    bool
	Was         *float64 // at the breeder; nil: not measured, or not to be measured there
	// Low and High bound what it should be. Without Low it is a limit; without
	// both we know none, and the breeder is to be asked.
	Low, High *float64
}

// HomeOf is the home of the animal of a record.
func HomeOf(r *Record) Home {
	sp, listed := snake.ByID(r.Animal.Species)
	c := &sp.Climate
	h := Home{MeasuredAt: r.KeptAt, Facts: []HomeFact{
		{Code: "warm", Label: "Warm end", Was: (*float64)(r.Kept.Warm), Low: &c.HotSpot.Low, High: &c.HotSpot.High},
		{Code: "cool", Label: "Cool end", Was: (*float64)(r.Kept.Cool), Low: &c.Cool.Low, High: &c.Cool.High},
		{Code: "night", Label: "Night", Was: (*float64)(r.Kept.Night), Low: &c.Night.Low, High: &c.Night.High},
		{Code: "surface", Label: "Hottest thing it can touch", Was: (*float64)(r.Kept.Surface), High: &c.HotTooHigh},
		{Code: "humidity", Label: "Humidity", Humidity: true, Was: (*float64)(r.Kept.Humidity), Low: &c.Humidity.Low, High: &c.Humidity.High},
		{Code: "shed_humidity", Label: "Humidity while it sheds", Humidity: true, Low: &c.ShedHumidity.Low, High: &c.ShedHumidity.High},
	}}
	switch {
	case !listed:
		h.Note = words.Say("We have no table for this species, so we name no values.")
		for i := range h.Facts {
			h.Facts[i].Low, h.Facts[i].High = nil, nil
		}
	case c.Sureness == "published":
		h.Note = words.Say("Set from {source}.", c.Source)
	default: // not to be shown as a citation
		h.Note = words.Say("These are the usual values of keepers' handbooks, from memory. If your breeder kept it otherwise and it did well, ask.")
	}
	for _, it := range r.Checklist {
		if it.ForThisAnimal.Empty() || slices.Contains([]string{"gradient", "thermometers", "heater_thermostat"}, it.Point) {
			continue
		}
		if p, ok := Point(it.Point); ok {
			h.Points = append(h.Points, words.Say("{point}: {limit}", words.Say(p.Title), it.ForThisAnimal))
		}
	}
	return h
}
