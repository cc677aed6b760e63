package notify

import (
	"bytes"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/words"
)

// The calendar is read back by another library, with what makes trouble in one:
// commas, semicolons, line breaks, quotes, letters outside ASCII and long lines.
func TestCalendarReadBack(t *testing.T) {
	t.Parallel()
	now := time.Date(2027, 3, 27, 22, 30, 0, 0, time.UTC)
	// In Vienna this is 00:30 on the 28th, the night in which summer time begins.
	at := time.Date(2027, 3, 27, 23, 30, 0, 0, time.UTC)
	const name = "Öl, \"Moss\"; a\\b\nEND:VEVENT\nX: " + "very long, very long, very long, very long, very long, ünïcödé"
	const link = "https://snakes.example.org/k/loam/cases/c1"
	cases := []Followed{
		{Case: care.Case{ID: "c1"}, Animal: name, Link: link, CheckIns: []assess.CheckIn{
			{ID: "first_night", At: at, Ask: assess.AskWord, Question: words.Say("How was the first night?")},
			{ID: "rhythm-7-1", At: at.AddDate(0, 0, 14), Ask: assess.AskWeight, Question: words.Say("What does it weigh now?")}}},
		{Case: care.Case{ID: "c2"}, Animal: "Larch", Link: link, CheckIns: []assess.CheckIn{{ID: "first_night", At: at, Ask: assess.AskClimate, Question: words.Say("How warm is it at both ends?")}}},
	}
	file := Calendar(cases, now, words.English)
	for line := range strings.SplitSeq(string(file), "\r\n") {
		if len(line) > 75 { // RFC 5545, 3.1
			t.Errorf("a line of %d bytes: %s", len(line), line)
		}
		if strings.Contains(line, "\n") {
			t.Errorf("a bare line break in %q", line)
		}
	}
	decoder := ical.NewDecoder(bytes.NewReader(file))
	cal, err := decoder.Decode()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := decoder.Decode(); err != io.EOF {
		t.Errorf("after the calendar: %v", err)
	}
	events := cal.Events()
	if len(events) != 3 {
		t.Fatalf("%d events in %s", len(events), file)
	}
	uids := map[string]bool{}
	for i, want := range []struct{ summary, form string }{{name + ": How was the first night?", "/thread"}, {name + ": What does it weigh now?", "/weigh"}, {"Larch: How warm is it at both ends?", "/climate"}} {
		e := events[i]
		text := func(prop string) string {
			s, err := e.Props.Text(prop)
			if err != nil {
				t.Errorf("%s: %v", prop, err)
			}
			return s
		}
		uids[text(ical.PropUID)] = true
		url, err := e.Props.URI(ical.PropURL)
		if err != nil || url.String() != link+want.form || text(ical.PropSummary) != want.summary || !strings.Contains(text(ical.PropDescription), link+want.form) {
			t.Errorf("event %d: %v %v %q", i, url, err, text(ical.PropSummary))
		}
		start, err := e.DateTimeStart(time.UTC)
		when := at
		if i == 1 {
			when = at.AddDate(0, 0, 14)
		}
		if err != nil || !start.Equal(when) {
			t.Errorf("event %d starts %v, want %v, %v", i, start, when, err)
		}
		if stamp, err := e.Props.DateTime(ical.PropDateTimeStamp, time.UTC); err != nil || !stamp.Equal(now) {
			t.Errorf("event %d: stamp %v, %v", i, stamp, err)
		}
	}
	if len(uids) != 3 {
		t.Errorf("%d different ids", len(uids))
	}
	// Nothing to ask is a calendar, too.
	none := Calendar(nil, now, words.English)
	if cal, err := ical.NewDecoder(bytes.NewReader(none)).Decode(); err != nil || len(cal.Events()) != 0 {
		t.Errorf("%v: %s", err, none)
	}
}
