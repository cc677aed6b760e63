package care

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// OtherSnake is the species of an animal that the species table does not
// know; it is assessed with the table's cautious stand-in.
const OtherSnake = "other_snake"

// clockSlack is how far ahead of the server a phone's clock may be.
const clockSlack = 10 * time.Minute

// CheckAnimal reports the first thing that is wrong with an animal's record.
func CheckAnimal(a *Animal, now time.Time) error {
	if _, known := snake.ByID(a.Species); !known && a.Species != OtherSnake {
		return BadField("animal.species", "“{species}” is not in the species table. Choose one of the listed species, or {other} for one that is not listed.", a.Species, OtherSnake)
	}
	if a.Hatched != nil && (a.Hatched.After(now.Add(24*time.Hour)) || a.Hatched.Year() < 1950) {
		return BadField("animal.hatch_date", "{date} cannot be right: a hatch date lies between 1950 and today. Correct it or leave it empty.", words.Date{At: *a.Hatched, As: words.Day})
	}
	for _, l := range []struct {
		field string
		v     Millimetres
	}{{"snout_vent_mm", a.SnoutVent}, {"total_length_mm", a.TotalLength}} {
		if !finite(float64(l.v)) || l.v < 0 {
			return BadField("animal."+l.field, "Give the length in millimetres, or leave it empty.")
		}
	}
	if a.SnoutVent > 0 && a.TotalLength > 0 && a.TotalLength < a.SnoutVent {
		return BadField("animal.total_length_mm", "The total length is shorter than snout to vent. Check which is which.")
	}
	if a.MotherID != "" && a.MotherID == a.ID {
		return BadField("animal.mother", "An animal cannot be its own parent. Choose another one or leave it empty.")
	}
	if a.FatherID != "" && a.FatherID == a.ID {
		return BadField("animal.father", "An animal cannot be its own parent. Choose another one or leave it empty.")
	}
	return nil
}

// CheckEntry reports the first thing that is wrong with an entry taken by
// itself; field names are those of the contract.
func CheckEntry(e *Entry, now time.Time) error {
	if e.HappenedAt.After(now.Add(clockSlack)) {
		err := BadField("entry.happen_time", "{time} lies in the future. Check the date, and the clock of this phone.", e.HappenedAt.UTC().Format(time.RFC3339))
		err.Reason = ReasonInFuture
		return err
	}
	if e.HappenedAt.Year() < 1980 {
		return BadField("entry.happen_time", "{date} is too long ago to be right. Check the year.", words.Date{At: e.HappenedAt.UTC(), As: words.Day})
	}
	switch b := e.Body.(type) {
	case Offer:
		switch b.Result {
		case Eaten, Refused, Struck, Regurgitated:
		default:
			return BadField("entry.offer.result", "Say how the offer ended: eaten, refused, struck or regurgitated.")
		}
		if !finite(float64(b.PreyMass)) || b.PreyMass < 0 {
			return BadField("entry.offer.prey_g", "Give the prey's mass in grams, or leave it empty.")
		}
	case WeighIn:
		if !finite(float64(b.Mass)) || b.Mass < 1 || b.Mass > 200_000 {
			return BadField("entry.weigh_in.mass_g", "Give the weight in grams, between 1 and 200000.")
		}
	case ClimateReading:
		if b.Warm == nil && b.Cool == nil && b.Night == nil && b.Surface == nil && b.Humidity == nil {
			return BadField("entry.climate", "The reading is empty. Give at least one temperature or the humidity.")
		}
		for _, t := range append(b.airs(), temperature{"surface_c", b.Surface}) {
			if t.v != nil && (!finite(float64(*t.v)) || *t.v < -20 || *t.v > 300) {
				return BadField("entry.climate."+t.field, "{c} °C cannot be right. Check the number and the unit.", words.Number{V: float64(*t.v), Decimals: 1})
			}
		}
		if b.Humidity != nil && (!finite(float64(*b.Humidity)) || *b.Humidity < 0 || *b.Humidity > 100) {
			return BadField("entry.climate.humidity_pct", "Humidity lies between 0 and 100 %.")
		}
	case Shed:
		switch b.Stage {
		case Opaque, Cleared, ShedDone:
		default:
			return BadField("entry.shed.stage", "Say which stage of the shed it is: opaque, clear or shed.")
		}
	case SetupCheck:
		return checkSetup(b)
	case StepAgreed:
		if b.Code == "" {
			return BadField("entry.step.step", "Say which step was agreed.")
		}
	case Message:
		if strings.TrimSpace(b.Text) == "" {
			return BadField("entry.message.text", "The message is empty. Write something, or leave it.")
		}
		if b.Mark != nil {
			return checkMark(b.Mark, e.By)
		}
	case Sign:
		if b.Code == "" {
			return BadField("entry.sign.sign", "Say what was seen.")
		}
	case Seen:
	case Ended:
		return BadField("entry.ended", "A case is ended with EndCase and reopened with ReopenCase, not with an entry.")
	case Withdrawal:
		if e.Replaces == "" {
			return BadField("entry.replaces", "A withdrawal takes an entry back. Name the entry.")
		}
	case nil:
		return BadField("entry.body", "The entry is empty. Say what happened.")
	}
	return nil
}

type temperature struct {
	field string
	v     *Celsius
}

// airs are the readings that are not of a surface, in the order of the form.
func (b *ClimateReading) airs() []temperature {
	return []temperature{{"warm_c", b.Warm}, {"cool_c", b.Cool}, {"night_c", b.Night}}
}

func checkMark(m *Mark, by ActorKind) error {
	switch m.Kind {
	case MarkHazard, MarkAgain, MarkFine:
	default:
		return BadField("entry.message.mark", "Say what the mark is: hazard, again or fine.")
	}
	if by == KeeperActor {
		return BadField("entry.message.mark", "Marks are the breeder's. Write it as a message, or answer the point again.")
	}
	if _, ok := Point(m.Point); !ok {
		return BadField("entry.message.point", "“{point}” is not a point of the setup checklist. Update the app, or choose a listed point.", m.Point)
	}
	if m.At != nil && (m.Photo == "" || !m.At.inside()) {
		return BadField("entry.message.mark", "The place of the mark lies in no photo. Name the photo, and give pixels of its large size.")
	}
	return nil
}

// inside reports whether a large photo may have this pixel.
func (s *Spot) inside() bool {
	const side = 1600 // of a large photo
	return finite(s.X) && finite(s.Y) && 0 <= s.X && s.X <= side && 0 <= s.Y && s.Y <= side
}

func (t *Taps) whole() bool {
	ok := t.Photo != "" && 4 <= len(t.Rim) && len(t.Rim) <= 32 && (len(t.Card) == 0 || len(t.Card) == 4)
	for _, list := range [][]Spot{t.Rim, t.Card} {
		for i := range list {
			ok = ok && list[i].inside()
		}
	}
	return ok
}

func checkSetup(s SetupCheck) error {
	seen := map[string]bool{}
	for i, a := range s.Answers {
		at := fmt.Sprintf("entry.setup.answers[%d]", i)
		p, ok := Point(a.Point)
		if !ok {
			return BadField(at+".point", "“{point}” is not a point of the setup checklist. Update the app, or choose a listed point.", a.Point)
		}
		if seen[a.Point] {
			return BadField(at+".point", "The point “{point}” is answered twice. Send one answer to each point.", a.Point)
		}
		seen[a.Point] = true
		found := false
		for _, c := range p.Choices {
			found = found || c.Code == a.Choice
		}
		if !found {
			return BadField(at+".choice", "“{answer}” is not an answer to “{point}”. Choose one of the listed answers.", a.Choice, words.Say(p.Title))
		}
		if !finite(float64(a.Measure)) || a.Measure < 0 {
			return BadField(at+".measure_mm", "Give the size in millimetres, or leave it empty.")
		}
		if !finite(float64(a.MeasureSD)) || a.MeasureSD < 0 || a.MeasureSD > 0 && a.Measure == 0 {
			return BadField(at+".measure_sd_mm", "Give how far off the size may be, in millimetres, or leave it empty.")
		}
		if a.Taps != nil {
			if p.Measure != MeasureOpening && p.Measure != MeasureGap {
				return BadField(at+".taps", "“{point}” is not measured in a photo. Leave the taps out.", words.Say(p.Title))
			}
			if !a.Taps.whole() {
				return BadField(at+".taps", "Name the photo, and give 4 to 32 places on the rim of the opening, and the four corners of a bank card or none.")
			}
		}
		for _, code := range slices.Sorted(maps.Keys(a.Sizes)) {
			i := slices.IndexFunc(p.Sizes, func(s Size) bool { return s.Code == code })
			if i < 0 {
				return BadField(at+".sizes", "“{size}” is not a size of “{point}”. Update the app, or leave it out.", code, words.Say(p.Title))
			}
			if v := a.Sizes[code]; !finite(v) || v < 0 || v > 1e6 {
				return BadField(at+".sizes", "{size}: give a number in {unit}, or leave it empty.", words.Say(p.Sizes[i].Label), p.Sizes[i].Unit)
			}
		}
	}
	return nil
}

// CheckSlip reports a value that is most likely a slip of the finger or a
// wrong unit, unless a person has confirmed it. log is the animal's log in
// order of time.
//
// The bounds on a change of weight are ours, wide on purpose: a hatchling ball
// python grows about four-fold in its first year (Ellis & Chappell 1987), a
// meal adds up to a quarter (Ott & Secor 2007), and 168 days of fasting cost
// less than a quarter (McCue 2007).
func CheckSlip(e *Entry, log []Entry) error {
	if e.Confirmed {
		return nil
	}
	var last *Entry
	for i := range log {
		if w := &log[i]; w.Current() && w.ID != e.Replaces && !w.HappenedAt.After(e.HappenedAt) {
			if _, ok := w.Body.(WeighIn); ok {
				last = w
			}
		}
	}
	slip := func(value, against float64, err *Error) error {
		number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
		err.Code, err.Reason = Precondition, ReasonLikelySlip
		err.Meta = map[string]string{"value": number(value), "against": number(against)}
		return err
	}
	switch b := e.Body.(type) {
	case WeighIn:
		if last == nil {
			return nil
		}
		before := float64(last.Body.(WeighIn).Mass)
		days := math.Max(0, e.HappenedAt.Sub(last.HappenedAt).Hours()/24)
		ratio := float64(b.Mass) / before
		if ratio > 1.5+days*.01 || ratio < math.Max(.4, .65-days*.001) {
			return slip(float64(b.Mass), before, BadField("entry.weigh_in.mass_g", "{now} g after {before} g looks like a slip. If the scale really shows it, say so and send it again.",
				words.AsMany(float64(b.Mass)), words.AsMany(before)))
		}
	case Offer:
		if last != nil && b.PreyMass > last.Body.(WeighIn).Mass {
			return slip(float64(b.PreyMass), float64(last.Body.(WeighIn).Mass),
				BadField("entry.offer.prey_g", "Prey of {prey} g is heavier than the snake itself. If that is right, say so and send it again.", words.AsMany(float64(b.PreyMass))))
		}
	case ClimateReading:
		for _, t := range b.airs() {
			if t.v != nil && *t.v > 50 {
				return slip(float64(*t.v), 50,
					BadField("entry.climate."+t.field, "{c} °C is hotter than any enclosure should be. Is it °F? If it is right, say so and send it again.", words.AsMany(float64(*t.v))))
			}
		}
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
