package print

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/print/printtest"
	"warmhand/internal/words"
)

// longRecord has something in every part: 14 weigh-ins, 13 offers, parents,
// readings.
func longRecord() *care.Record {
	a := spider()
	a.TotalLength = 512
	r := care.Record{Animal: a, Breeder: "Loam Row Snakes", Contact: "at the table by the door, or loamrow@example.org",
		Mother: care.Parent{Name: "Hazel", Genes: []string{"pastel"}}, Father: care.Parent{Name: "Rowan", Genes: []string{"spider", "het clown"}},
		Kept: care.ClimateReading{Warm: ptr(care.Celsius(32)), Cool: ptr(care.Celsius(26)), Humidity: ptr(care.Percent(62))}, KeptAt: noon.AddDate(0, 0, -3), IssuedAt: noon}
	for i := range 14 {
		at := hatched.AddDate(0, 0, 10*i).Add(20 * time.Hour)
		r.Weights = append(r.Weights, care.Entry{ID: "w", HappenedAt: at, Body: care.WeighIn{Mass: care.Grams(62 + 9.5*float64(i) - float64(i%3)*4)}})
	}
	for i := range 13 {
		o := care.Offer{Result: care.Eaten, Prey: "rat", PreyState: care.Thawed, PreyMass: care.Grams(9 + i)}
		switch i {
		case 5:
			o.Result = care.Refused
		case 8:
			o = care.Offer{Result: care.Struck, Prey: "mouse"}
		}
		r.Offers = append(r.Offers, care.Entry{ID: "o", HappenedAt: hatched.AddDate(0, 0, 14+9*i).Add(21 * time.Hour), Body: o})
	}
	r.FeedNext = care.FeedSentence(&r.Animal, r.Weights, r.Offers, noon)
	r.Checklist = care.MakeChecklist(&r.Animal, 180, noon)
	r.Cautions = care.Cautions(&r.Animal)
	return &r
}

func ptr[T any](v T) *T { return &v }

var signature = Signature{Page: "https://snakes.example.org/r", Digest: strings.Repeat("0123456789abcdef", 4)}

func recordOf(t *testing.T, p Paper, r *care.Record) []byte {
	t.Helper()
	return recordIn(t, p, r, words.English)
}

func recordIn(t *testing.T, p Paper, r *care.Record, in *words.Language) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Record(&b, p, r, signature, noon.Add(3*time.Hour), time.UTC, in); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestRecordReadsBack(t *testing.T) {
	t.Parallel()
	for _, p := range Papers() {
		t.Run(string(p), func(t *testing.T) {
			t.Parallel()
			pdf := recordOf(t, p, longRecord())
			checkFonts(t, pdf)
			text := printtest.Text(t, pdf)
			for part, list := range map[string][]string{
				"identity":  {"Zoë Dvořák Nguyễn", "Ball python", "Python regius", "female", "12 January 2026", "spider, pastel", "Hazel (pastel)", "Rowan (spider, het clown)", "2026-04", "512 mm", "1 June 2026", "Loam Row Snakes"},
				"feeding":   {"It eats a thawed weaned rat of about 21 g, every 9 days.", "first offer on 8 June 2026"},
				"weights":   {"14 weigh-ins", "62 g (2.2 oz) on 12 January 2026", "182 g (6.4 oz) on 22 May 2026", "50 g", "200 g"},
				"offers":    {"14 May 2026", "21 g (0.74 oz)", "refused", "struck and let go", "22 February 2026", "And 3 before these."},
				"climate":   {"at the breeder, 29 May 2026", "32 °C (90 °F)", "30 to 34 °C (86 to 93 °F)", "62 %", "55 to 80 %", "not above 36 °C (97 °F)", "70 to 90 %", "BGBl II 486/2004"},
				"setup":     {"keep every slit under", "no deeper than", "nothing to climb above 15 cm"},
				"two weeks": {"Monday 1 June", "Sunday 14 June", "First offer, in the evening", "17 June 2026", "Weigh it once"},
				"calling":   {"A vet who treats reptiles, today", "It breathes with its mouth open", "The breeder, when", "How to reach Loam Row Snakes: at the table by the door, or loamrow@example.org", "Reptile vet, name and number"},
				"cautions":  {"not a vet's advice", "licensed electrician", "Salmonella", "head wobble"},
				"origin":    {"Appendix II; in the European Union Annex B", "Boidae spp. and Pythonidae spp.", "not legal advice", "where you live", "bred in captivity", "Signature of the seller"},
				"signature": {"https://snakes.example.org/r", "0123 4567 89ab cdef.", "proves nothing"},
				"foot":      {"issued by Loam Row Snakes on 1 June 2026", "Page 1 of ", "Page 4 of 4"},
			} {
				for _, want := range list {
					if !strings.Contains(text, want) {
						t.Errorf("%s: %q is not in %s", part, want, text)
					}
				}
			}
			if strings.Contains(text, "13 February 2026") {
				t.Error("more than ten offers are listed")
			}
			if strings.Contains(text, "…") {
				t.Error("something is cut")
			}
			checkMargins(t, pdf)
		})
	}
}

func TestTableSaysOnEachPageWhatItIs(t *testing.T) {
	t.Parallel()
	f := &flow{sheet: newSheet(A4, words.English, words.Say("Handover record"), noon), zone: time.UTC, pages: 3, running: words.Say("Handover record")}
	f.x, f.w = 18, f.width-36
	f.page()
	rows := make([][]string, 90)
	for i := range rows {
		rows[i] = []string{"mouse", strings.Repeat("a long note ", 1+i%20)}
	}
	f.table([]float64{0, .5}, []string{"Prey", "What came of it"}, rows)
	var b bytes.Buffer
	pages := f.pdf.PageCount()
	if err := f.sheet.write(&b); err != nil {
		t.Fatal(err)
	}
	if heads := strings.Count(printtest.Text(t, b.Bytes()), "What came of it"); pages < 3 || heads != pages {
		t.Errorf("%d heads on %d pages", heads, pages)
	}
}

// checkMargins holds all pages to a margin of 8 mm: what runs out of its column
// runs into it.
func checkMargins(t *testing.T, pdf []byte) {
	t.Helper()
	const coarse = 72
	for n, page := range printtest.Pages(t, pdf, coarse) {
		edge := 8 * coarse * 10 / 254
		r := inked(page)
		if !r.In(page.Rect.Inset(edge)) {
			t.Errorf("page %d: ink at %v of %v", n+1, r, page.Rect)
		}
	}
}

// A record with nothing in it says so, and one with the most that the contract
// allows loses nothing.
func TestRecordAtItsEnds(t *testing.T) {
	t.Parallel()
	bare := care.Record{Animal: care.Animal{Species: "boiga_dendrophila"}, Breeder: "B", IssuedAt: noon}
	bare.FeedNext = care.FeedSentence(&bare.Animal, nil, nil, noon)
	bare.Checklist = care.MakeChecklist(&bare.Animal, 0, noon)
	bare.Cautions = care.Cautions(&bare.Animal)
	pdf := recordOf(t, Letter, &bare)
	text := printtest.Text(t, pdf)
	for _, want := range []string{"Boiga dendrophila", "not known", "not recorded", "none recorded", "No offer is on record", "No weight is on record", "We have no table for this species", "not in our table", "what the breeder names", "ask the breeder"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in %s", want, text)
		}
	}
	checkMargins(t, pdf)

	full := longRecord()
	full.Animal.Name = strings.Repeat("Wide ", 16)
	full.Animal.Clutch = strings.Repeat("x", 60)
	full.Breeder, full.Contact = strings.Repeat("Breeder ", 10), strings.Repeat("contact ", 24)+"the-end"
	full.Animal.Genes = nil
	for i := range 30 {
		full.Animal.Genes = append(full.Animal.Genes, fmt.Sprintf("%s%02d", strings.Repeat("gene ", 11), i))
	}
	full.Mother.Genes = full.Animal.Genes
	for i := range 300 {
		full.Weights = append(full.Weights, care.Entry{HappenedAt: hatched.AddDate(0, 0, -3*i), Body: care.WeighIn{Mass: 50_000}})
	}
	pdf = recordOf(t, A4, full)
	text = printtest.Text(t, pdf)
	for _, want := range []string{"gene 29", "the-end", "314 weigh-ins", "50000 g"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in %s", want, text)
		}
	}
	if strings.Count(text, "gene 17") != 2 {
		t.Errorf("the mother's or its own genes are not whole: %s", text)
	}
	checkMargins(t, pdf)
}

// One weigh-in is no plot, two of the same weight are one, and neither divides
// by nothing.
func TestPlotOfLittle(t *testing.T) {
	t.Parallel()
	w := func(days int, g care.Grams) care.Entry {
		return care.Entry{HappenedAt: hatched.AddDate(0, 0, days), Body: care.WeighIn{Mass: g}}
	}
	for want, weights := range map[string][]care.Entry{
		"Weighed once: 60 g (2.1 oz)":           {w(0, 60)},
		"2 weigh-ins by the breeder, from 60 g": {w(0, 60), w(9, 60)},
		"3 weigh-ins by the breeder, from 60 g": {w(0, 60), w(0, 61), w(0, 60.5)},
	} {
		r := care.Record{Animal: spider(), Breeder: "B", Weights: weights, IssuedAt: noon}
		pdf := recordOf(t, A4, &r)
		if text := printtest.Text(t, pdf); !strings.Contains(text, want) || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Errorf("%q is not in %s", want, text)
		}
		checkMargins(t, pdf)
	}
}

func TestRecordSameBytes(t *testing.T) {
	t.Parallel()
	first := recordOf(t, A4, longRecord())
	for range 5 {
		if !bytes.Equal(first, recordOf(t, A4, longRecord())) {
			t.Fatal("two runs differ")
		}
	}
}

// Days are those of the breeder's zone: an offer late in the evening in Los
// Angeles is not on the next day.
func TestRecordZone(t *testing.T) {
	t.Parallel()
	r := longRecord()
	r.Offers = []care.Entry{{HappenedAt: time.Date(2026, 5, 20, 4, 0, 0, 0, time.UTC), Body: care.Offer{Result: care.Eaten}}}
	var b bytes.Buffer
	if err := Record(&b, A4, r, Signature{}, time.Date(2026, 6, 1, 4, 0, 0, 0, time.UTC), time.FixedZone("PDT", -7*3600), words.English); err != nil {
		t.Fatal(err)
	}
	text := printtest.Text(t, b.Bytes())
	if !strings.Contains(text, "19 May 2026") || strings.Contains(text, "20 May 2026") || !strings.Contains(text, "Sunday 31 May") {
		t.Errorf("the days are not the breeder's: %s", text)
	}
}

func TestTick(t *testing.T) {
	t.Parallel()
	for v, want := range map[float64]float64{0: 1, .3: .5, 1: 1, 1.1: 2, 4: 5, 6: 10, 33: 50, 120: 200} {
		if got := tick(v); got != want {
			t.Errorf("tick(%v) is %v, want %v", v, got, want)
		}
	}
}
