package care

import (
	"time"

	"warmhand/internal/words"
)

// PlannedDay is one day of the first two weeks in the new home.
type PlannedDay struct {
	Day  int // from 1
	Date time.Time
	Text words.Text
}

// planDays is how many days are planned.
const planDays = 14

// noHandling is for how many days after a meal a snake is not handled: common
// practice, no source.
const noHandling = 2

// FirstDaysCaution stands below the plan of the first days.
var FirstDaysCaution = words.Say("Usual practice of keepers. What the breeder tells you goes before it, and what a vet tells you before both.")

// FirstDays is what to do on each of the first fourteen days, from the record's
// own words on feeding, and what comes after. home is when the animal was handed
// over, in the zone that days are counted in. That peace comes before food is
// from the sources of settleDays; the rest is common practice, no source.
func FirstDays(r *Record, home time.Time) (plan []PlannedDay, after words.Text) {
	f := feedingOf(&r.Animal, r.Weights, r.Offers, r.IssuedAt)
	one := civil(home)
	// The day that FeedSentence names.
	offer := max(int(civil(f.first.UTC()).Sub(one)/day)+1, 1)
	next := offer + max(int(f.every.Low), 1)

	quiet := []words.Text{
		words.Say("Read the warm end and the cool end once, in the evening, from outside."),
		words.Say("Fresh water. Look at lid, doors and cables without opening more than you must."),
		words.Say("Do the setup check in the app. Put right what it finds before the first offer."),
		words.Say("Read the temperatures again, one of them at night."),
		words.Say("Fresh water. See that you have the right food at hand for the first offer."),
	}
	for i := range planDays {
		d := PlannedDay{Day: i + 1, Date: one.AddDate(0, 0, i)}
		switch {
		case d.Day == offer:
			d.Text = words.Say("First offer, in the evening: {meal} Leave it alone with the food, and take out in the morning what is left. Write down what happened.", f.firstMeal())
		case d.Day == next:
			d.Text = words.Say("Next offer, whether it ate or not; nothing in between.")
		case d.Day > offer && d.Day <= offer+noHandling, d.Day > next && d.Day <= next+noHandling:
			d.Text = words.Say("No handling, so that a meal stays down. Fresh water.")
		case d.Day == planDays && offer < planDays:
			d.Text = words.Say("Weigh it once if it is calm, and write to the breeder how it is doing.")
		case d.Day > offer:
			d.Text = words.Say("Fresh water. If it ate, a short and calm time on your hands is fine now.")
		case d.Day == 1:
			d.Text = words.Say("Into its warm and ready enclosure, with fresh water. Close it, lock it, and leave it alone.")
		default:
			d.Text = words.Join(words.Say("In peace."), quiet[(d.Day-2)%len(quiet)])
		}
		plan = append(plan, d)
	}
	switch {
	case offer > planDays:
		after = words.Say("The first offer comes after these two weeks, on {date} or a little later: {meal}", date(f.first), f.firstMeal())
	case next > planDays:
		after = words.Say("The next offer is due on {date}, whether it ate the first or not; nothing in between.", date(one.AddDate(0, 0, next-1)))
	default:
		after = words.Say("Then go on in the same rhythm: {every}.", every(f.every))
	}
	return plan, after
}

// firstMeal is what to offer first.
func (f *feeding) firstMeal() words.Text {
	switch {
	case !f.upset.IsZero():
		return words.Say("half the usual size, once you have talked to the breeder.")
	case f.mealAt.IsZero():
		return words.Say("what the breeder names, warmed through, with tongs.")
	case f.meal.PreyState == Live:
		return words.Say("{meal}, as the breeder shows you; never leave live prey alone with it.", mealWords(f.meal))
	}
	return words.Say("{meal}, warmed through, with tongs.", mealWords(f.meal))
}

// civil is the calendar day of an instant in its zone, as midnight UTC.
func civil(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}
