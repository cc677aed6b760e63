package print

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/print/printtest"
	"warmhand/internal/words"
)

// englishLeft finds words that no German sentence has, nor the name of a source.
var englishLeft = regexp.MustCompile(`\b(The|is|are|not|with|when|on|breeder|keeper|days?|weeks?|weight|record|recorded)\b`)

// What is printed is in the language that is asked for, with its numbers and dates,
// and nothing of it is cut or runs out of its place.
func TestInGerman(t *testing.T) {
	t.Parallel()
	german, ok := words.ByTag("de")
	if !ok {
		t.Fatal("there is no German")
	}
	r := longRecord()
	r.Contact = "am Tisch bei der Tür"
	l := ill(t)
	l.Record.Contact, l.Concern = r.Contact, "Sie atmet seit Montag laut."
	animal := spider()
	var cards, labels, guide bytes.Buffer
	for _, err := range []error{
		Cards(&cards, A4, A6, []Card{{Record: r, Code: "K7QM4-2XR90", Link: links[1], Until: noon}, {Number: 17, From: "Loam Row Snakes", Code: "K7QM4-2XR90", Link: links[1]}}, noon, time.UTC, german),
		Labels(&labels, A4, []Label{{Animal: &animal, Link: links[1]}}, noon, german),
		Guide(&guide, A4, &animal, []assess.GuidePage{{Title: words.Say("Heating safely"), Parts: []assess.GuidePart{{Title: words.Say("What to do"), Points: []words.Text{words.Say("Weigh it once.")}, Source: "A source"}}}}, noon, time.UTC, german),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	for what, x := range map[string]struct {
		pdf  []byte
		want []string
	}{
		"record": {recordIn(t, A4, r, german), []string{"Königspython", "weiblich", "12. Januar 2026", "182 g (6,4 oz)", "512 mm, Nase bis Schwanzspitze", "14 Wägungen beim Züchter", "aufgetaut", german.Form("struck and let go"),
			"30 bis 34 °C (86 bis 93 °F)", "Montag, 1. Juni", "Seite 4 von", "So erreichst du Loam Row Snakes", "Anhang II", "beweist nichts", "Nachzucht", "Wildfang"}},
		"letter": {letterOf(t, A4, l, german), []string{"Für den reptilienkundigen Tierarzt", "6 Monate alt", "Sie atmet seit Montag laut.", "Was der Verlauf zeigt", "wiegt sie 12 % weniger als damals", "verweigert", "20 g (0,71 oz)", "üblich für sie", "nicht alles ging ab", "geht mit Kopfwackeln einher"}},
		"cards":  {cards.Bytes(), []string{"Für den Halter von", "Code mit der Handykamera scannen", "Der Code gilt bis 1. Juni 2026.", "Karte 17", "50 mm lang"}},
		"labels": {labels.Bytes(), []string{"weiblich · CITES II", "Schlupf 12. Januar 2026", "Gelege 2026-04", "In voller Größe drucken"}},
		"guide":  {guide.Bytes(), []string{"Ratgeber für", "kein tierärztlicher Rat", "Woher das kommt"}},
	} {
		text := printtest.Text(t, x.pdf)
		for _, want := range x.want {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is not in %s", what, want, text)
			}
		}
		if strings.Contains(text, "…") {
			t.Errorf("%s: something is cut in %s", what, text)
		}
		if left := englishLeft.FindAllString(text, -1); len(left) > 0 {
			t.Errorf("%s: %q is left in %s", what, left, text)
		}
		if what == "record" || what == "letter" {
			checkMargins(t, x.pdf)
		}
	}
}
