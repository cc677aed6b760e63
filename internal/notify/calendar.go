// Package notify is how a reminder leaves the service: what it says, in the language
// of whom it is for, and how that is packed for a calendar, a device or a mail. It
// computes only; what is due is decided by the plan of check-ins.
package notify

import (
	"time"

	ics "github.com/arran4/golang-ical"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Followed is one case of a calendar's reader.
type Followed struct {
	Case     care.Case
	Animal   string // its name; "" when it has none
	Link     string // the address at which a check-in is answered, without the form
	CheckIns []assess.CheckIn
}

const (
	// eventTime is how long an answer takes at most, so that a calendar shows a
	// short line and no blocked hour.
	eventTime = 5 * time.Minute
	// refresh is how often a subscriber is asked to look again (RFC 7986, 5.7).
	refresh = "PT12H"
)

// forms are where the app writes down what a check-in asks for.
var forms = map[string]string{assess.AskFood: "offer", assess.AskWeight: "weigh", assess.AskClimate: "climate", assess.AskSetup: "setup", assess.AskWord: "thread"}

// called is an animal as it is called.
func called(name string) words.Text {
	if name == "" {
		return words.Say("Your snake")
	}
	return words.AsIs(name)
}

// Calendar is the check-ins of some cases as an iCalendar (RFC 5545), said in a
// language. Each is an instant, so that it stands on the right day in whatever zone it
// is read in. What was done is not in it any more; the same question keeps its UID.
func Calendar(cases []Followed, now time.Time, in *words.Language) []byte {
	cal := ics.NewCalendarFor("Warmhand")
	cal.SetMethod(ics.MethodPublish)
	cal.SetName("Warmhand")
	cal.SetXWRCalName("Warmhand")
	cal.SetRefreshInterval(refresh)
	cal.SetXPublishedTTL(refresh)
	said := &ics.KeyValues{Key: string(ics.ParameterLanguage), Value: []string{in.Tag}} // RFC 5545, 3.2.10
	for i := range cases {
		c := &cases[i]
		for _, k := range c.CheckIns {
			e := cal.AddEvent(k.ID + "." + c.Case.ID + "@warmhand")
			e.SetDtStampTime(now)
			e.SetStartAt(k.At)
			e.SetEndAt(k.At.Add(eventTime))
			link := c.Link + "/" + forms[k.Ask]
			e.SetSummary(in.Say(words.Say("{animal}: {question}", called(c.Animal), k.Question)), said)
			e.SetDescription(in.Say(words.Say("It takes under a minute. Answer here: {link}", link)), said)
			e.SetURL(link)
			e.SetTimeTransparency(ics.TransparencyTransparent) // it blocks no time
		}
	}
	return []byte(cal.Serialize(ics.WithNewLineWindows))
}
