package care

import (
	"strings"
	"testing"
	"time"

	"warmhand/internal/words"
)

func TestFirstDays(t *testing.T) {
	t.Parallel()
	issued := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	meals := func(lastDaysAgo, gap int, o Offer) (list []Entry) {
		for i := range 5 {
			list = append(list, Entry{HappenedAt: issued.AddDate(0, 0, -lastDaysAgo-gap*(4-i)), Body: o})
		}
		return list
	}
	rat := Offer{Result: Eaten, Prey: "rat", PreyState: Thawed, PreyMass: 12}
	for _, c := range []struct {
		name   string
		record Record
		home   time.Time
		offers map[int]string // day of an offer: part of its text
		quiet  []int          // days without handling after a meal
		after  string
	}{
		{"a week of peace, then its rhythm of five days", Record{Offers: meals(1, 5, rat)}, issued,
			map[int]string{8: "a thawed rat fuzzy of about 12 g, warmed through", 13: "whether it ate or not"}, []int{9, 10, 14}, "every 5 days"},
		{"a rhythm of a fortnight", Record{Offers: meals(1, 14, rat)}, issued,
			map[int]string{14: "a thawed rat fuzzy"}, nil, "due on 28 June 2026"},
		{"food was brought up", Record{Offers: append(meals(9, 7, rat), Entry{HappenedAt: issued.AddDate(0, 0, -1), Body: Offer{Result: Regurgitated}})}, issued,
			map[int]string{14: "half the usual size, once you have talked to the breeder"}, nil, "due on 21 June 2026"},
		{"it was brought up today", Record{Offers: []Entry{{HappenedAt: issued, Body: Offer{Result: Regurgitated}}}}, issued,
			nil, nil, "on 15 June 2026 or a little later: half"},
		{"nothing is known", Record{}, issued, map[int]string{8: "what the breeder names"}, []int{9, 10}, ""},
		{"live prey", Record{Offers: meals(1, 5, Offer{Result: Eaten, Prey: "mouse", PreyState: Live})}, issued,
			map[int]string{8: "never leave live prey alone", 13: ""}, nil, ""},
		{"taken home late in the evening, west of Greenwich", Record{Offers: meals(1, 5, rat)}, time.Date(2026, 5, 31, 22, 0, 0, 0, time.FixedZone("PDT", -7*3600)),
			map[int]string{9: "First offer", 14: ""}, nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.record.Animal = Animal{Species: "python_regius"}
			c.record.IssuedAt = issued
			plan, after := FirstDays(&c.record, c.home)
			if len(plan) != 14 || plan[0].Day != 1 || plan[0].Date.Format("2006-01-02") != c.home.Format("2006-01-02") {
				t.Fatalf("%d days from %v", len(plan), plan[0])
			}
			for _, d := range plan {
				want, offered := c.offers[d.Day]
				if is := strings.Contains(d.Text.String(), " offer, "); is != offered || !strings.Contains(d.Text.String(), want) {
					t.Errorf("day %d: %q", d.Day, d.Text)
				}
			}
			for _, day := range c.quiet {
				if text := plan[day-1].Text.String(); !strings.HasPrefix(text, "No handling") {
					t.Errorf("day %d: %q", day, text)
				}
			}
			if !strings.Contains(after.String(), c.after) {
				t.Errorf("after them: %q", after)
			}
			// The plan and the sentence name one day.
			feed := FeedSentence(&c.record.Animal, c.record.Weights, c.record.Offers, issued).String()
			for _, d := range plan {
				if strings.HasPrefix(d.Text.String(), "First offer") && !strings.Contains(feed, words.Say("{d}", date(d.Date)).String()) {
					t.Errorf("the plan says %s, the sentence %q", date(d.Date), feed)
				}
			}
		})
	}
}

func TestOriginFacts(t *testing.T) {
	t.Parallel()
	for species, want := range map[string]string{
		// Pythonidae and Boidae are in Appendix II, Colubridae of the trade are not:
		// CITES appendices.
		"python_regius":         "CITES: Appendix II; in the European Union Annex B",
		"boa_imperator":         "CITES: Appendix II",
		"pantherophis_guttatus": "CITES: Not in the appendices.",
		"boiga_dendrophila":     "CITES: This species is not in our table.",
		// 50 CFR 16.15.
		"python_bivittatus": "United States: Listed as injurious",
	} {
		var all []string
		for _, f := range OriginFacts(&Animal{Species: species}) {
			all = append(all, f.Label.String()+": "+f.Text.String())
		}
		text := strings.Join(all, "\n")
		for _, w := range []string{want, "where you live", "not legal advice"} {
			if !strings.Contains(text, w) {
				t.Errorf("%s: %q is not in %s", species, w, text)
			}
		}
		if strings.Contains(text, "United States") != (species == "python_bivittatus") {
			t.Errorf("%s: %s", species, text)
		}
	}
}
