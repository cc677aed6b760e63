package print

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/print/printtest"
	"warmhand/internal/words"
)

func letterOf(t *testing.T, p Paper, l *VetCase, in *words.Language) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := VetLetter(&b, p, l, time.UTC, in); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// ill is a case as the program itself assesses it: no meal for six weeks, lighter by a seventh, a sign.
func ill(t *testing.T) *VetCase {
	t.Helper()
	r := longRecord()
	home := noon
	log := slices.Concat(r.Weights, r.Offers)
	add := func(day int, b care.Body, note string) {
		at := home.AddDate(0, 0, day)
		log = append(log, care.Entry{ID: at.String() + string(b.Kind()), CaseID: "c", By: care.KeeperActor, HappenedAt: at, ReceivedAt: at, Body: b, Note: note})
	}
	for d := 7; d <= 42; d += 7 {
		add(d, care.Offer{Result: care.Refused, Prey: "rat", PreyState: care.Thawed, PreyMass: 20}, "")
		add(d+1, care.WeighIn{Mass: care.Grams(182 - float64(d)*.62)}, "")
	}
	add(20, care.ClimateReading{Warm: ptr(care.Celsius(27)), Cool: ptr(care.Celsius(22)), Humidity: ptr(care.Percent(40))}, "")
	add(25, care.Shed{Stage: care.ShedDone, Complete: ptr(false)}, "")
	add(30, care.SetupCheck{Answers: []care.SetupAnswer{{Point: "lid_gaps", Choice: "gap"}}}, "")
	add(31, care.SetupCheck{Answers: []care.SetupAnswer{{Point: "lid_gaps", Choice: "no_lock"}}}, "")
	add(40, care.Sign{Code: "open_mouth_breathing"}, "mostly in the evening")
	slices.SortStableFunc(log, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
	at := home.AddDate(0, 0, 44)
	about := &assess.Subject{Animal: r.Animal, HandedOverAt: home}
	a, _ := assess.AssessCourse(about, log, at)
	return &VetCase{Record: r, HandedOver: home, Concern: "It breathes loudly since Monday, and I am worried.", Assessment: a, Entries: log, At: at}
}

func TestVetLetter(t *testing.T) {
	t.Parallel()
	l := ill(t)
	tall := image.NewGray(image.Rect(0, 0, 30, 80))
	wide := image.NewGray(image.Rect(0, 0, 160, 90))
	for i := range wide.Pix {
		wide.Pix[i] = color.Gray{Y: 90}.Y
	}
	for i, m := range []image.Image{tall, wide, wide} {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, m, nil); err != nil {
			t.Fatal(err)
		}
		l.Pictures = append(l.Pictures, Picture{JPEG: b.Bytes(), Caption: words.Say("Taken on {day}", []string{"Monday", "Tuesday", "Friday"}[i])})
	}
	for _, p := range Papers() {
		pdf := letterOf(t, p, l, words.English)
		checkFonts(t, pdf)
		checkMargins(t, pdf)
		text := printtest.Text(t, pdf)
		label := func(code string) string {
			for _, s := range assess.Signs() {
				if s.Code == code {
					return s.Label
				}
			}
			t.Fatalf("no sign %q", code)
			return ""
		}
		for _, want := range []string{"For the reptile vet", "Python regius", "It breathes loudly since Monday", label("open_mouth_breathing"), "mostly in the evening",
			"days ago", "At the breeder it ate 11 of 13 offers", "refused", "20 g (0.71 oz)", "27 °C (81 °F)", "usual for it", "40 %", "nothing locks it", "Shed, not all of it came off",
			"Taken on Monday", "Taken on Friday", "Notes of the vet", "no diagnosis", "Page 1 of", "it weighs 12 % less than then (90 % interval: 8 % less to 15 % less)", "Loam Row Snakes · at the table by the door"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is not in %s", p, want, text)
			}
		}
		if strings.Contains(text, "There is a gap that the head may fit through") {
			t.Error("an answer that was put right is in it")
		}
	}
}

func TestVetLetterNotWeighedHere(t *testing.T) {
	t.Parallel()
	l := ill(t)
	before := slices.DeleteFunc(slices.Clone(l.Entries), func(e care.Entry) bool {
		return e.Body.Kind() == care.KindWeighIn && !e.HappenedAt.Before(l.HandedOver)
	})
	l.Assessment, _ = assess.AssessCourse(&assess.Subject{Animal: l.Record.Animal, HandedOverAt: l.HandedOver}, before, l.At)
	l.Entries = before
	text := printtest.Text(t, letterOf(t, A4, l, words.English))
	if !strings.Contains(text, "It was not weighed here: going by its meals") {
		t.Errorf("what was reckoned is told as if it had been weighed: %s", text)
	}
	// The broken line is there, and the days reach to it.
	if day := words.English.Say(words.Say("{date}", date(l.HandedOver, time.UTC))); !strings.Contains(text, day+" 14 weigh-ins") {
		t.Errorf("the plot does not reach to %s: %s", day, text)
	}
}

func TestVetLetterOfNothing(t *testing.T) {
	t.Parallel()
	l := &VetCase{Record: &care.Record{Animal: care.Animal{Species: "boiga_dendrophila"}, Breeder: "B"}, HandedOver: noon, At: noon}
	l.Assessment.FastDays = -1
	text := printtest.Text(t, letterOf(t, A4, l, words.English))
	for _, want := range []string{"raises no concern of its own", "No weight is on record", "No meal is on record", "Nothing was offered", "No sign and no shed", "not measured"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in %s", want, text)
		}
	}
	l.Pictures = []Picture{{JPEG: []byte("no picture")}}
	if err := VetLetter(&bytes.Buffer{}, A4, l, time.UTC, words.English); err == nil {
		t.Error("what is no picture is printed")
	}
}
