package print

import (
	"bytes"
	"fmt"
	"image"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/image/font/sfnt"

	"warmhand/internal/care"
	"warmhand/internal/print/printtest"
	"warmhand/internal/words"
)

var (
	hatched = time.Date(2026, 1, 12, 0, 0, 0, 0, time.UTC)
	noon    = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
)

func spider() care.Animal {
	return care.Animal{Name: "Zoë Dvořák Nguyễn", Species: "python_regius", Sex: care.Female, Hatched: &hatched, Genes: []string{"spider", "pastel"}, Clutch: "2026-04"}
}

const (
	dpi   = 300
	exact = .2 // mm, how far off a printed length may be
)

func px(mm float64) int { return int(math.Round(mm * dpi / 25.4)) }
func mm(px int) float64 { return float64(px) * 25.4 / dpi }
func dark(c uint8) bool { return c < 128 }
func crop(pic *image.Gray, x, y, w, h float64) *image.Gray {
	return pic.SubImage(image.Rect(px(x), px(y), px(x+w), px(y+h))).(*image.Gray)
}

// inked is the smallest rectangle that holds all dark pixels.
func inked(pic *image.Gray) (r image.Rectangle) {
	for y := pic.Rect.Min.Y; y < pic.Rect.Max.Y; y++ {
		for x := pic.Rect.Min.X; x < pic.Rect.Max.X; x++ {
			if dark(pic.GrayAt(x, y).Y) {
				r = r.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	return r
}

// longest is the longest row of dark pixels.
func longest(pic *image.Gray) (most int) {
	for y := pic.Rect.Min.Y; y < pic.Rect.Max.Y; y++ {
		run := 0
		for x := pic.Rect.Min.X; x < pic.Rect.Max.X; x++ {
			if run++; !dark(pic.GrayAt(x, y).Y) {
				run = 0
			}
			most = max(most, run)
		}
	}
	return most
}

// checkCode holds a printed code in a part of a page to its text, its side and
// its quiet margin. around is the part with nothing else in it.
func checkCode(t *testing.T, what string, page *image.Gray, x, y, side, free float64, text string) {
	t.Helper()
	around := crop(page, x-free+.3, y-free+.3, side+2*free-.6, side+2*free-.6)
	if got := printtest.Codes(t, around); !slices.Equal(got, []string{text}) {
		t.Errorf("%s: a reader finds %q, want %q", what, got, text)
		return
	}
	r := inked(around)
	for name, got := range map[string]int{"width": r.Dx(), "height": r.Dy()} {
		if got := mm(got); math.Abs(got-side) > exact || math.Abs(got/side-1) > .01 {
			t.Errorf("%s: the code's %s is %.2f mm, want %.2f", what, name, got, side)
		}
	}
	// The finder in the corner is seven modules wide (ISO/IEC 18004).
	finder := 0
	for finder < r.Dx() && dark(page.GrayAt(r.Min.X+finder, r.Min.Y+2).Y) {
		finder++
	}
	need := finder * quiet / 7
	if left, top, right, bottom := r.Min.X-around.Rect.Min.X, r.Min.Y-around.Rect.Min.Y, around.Rect.Max.X-r.Max.X, around.Rect.Max.Y-r.Max.Y; min(left, top, right, bottom)+px(.4) < need {
		t.Errorf("%s: the white round the code is %d %d %d %d pixels, want %d", what, left, top, right, bottom, need)
	}
}

func checkLine(t *testing.T, what string, part *image.Gray) {
	t.Helper()
	if got := mm(longest(part)); math.Abs(got-CheckLine) > exact {
		t.Errorf("%s: the check line is %.2f mm long", what, got)
	}
}

func checkFonts(t *testing.T, pdf []byte) {
	t.Helper()
	fonts := printtest.Fonts(t, pdf)
	if len(fonts) != 3 {
		t.Errorf("fonts: %v", fonts)
	}
	for _, f := range fonts {
		if !f.Embedded || !f.Unicode {
			t.Errorf("%s: embedded %v, with a map to Unicode %v", f.Name, f.Embedded, f.Unicode)
		}
	}
}

// links are short, usual and long; the long one is a code of 49 modules.
var links = []string{"https://a.io/c#K7QM42XR90", "https://snakes.example.org/c#K7QM42XR90", "https://" + strings.Repeat("long-name.", 9) + "example.org:8443/c#K7QM42XR90"}

func cardsOf(t *testing.T, p Paper, f Form, n int, link string) []byte {
	t.Helper()
	r := care.Record{Animal: spider(), Breeder: "Loam Row", Contact: "at the table by the door, " + strings.Repeat("or elsewhere ", 13)}
	card := Card{Record: &r, Code: "K7QM4-2XR90", Link: link, Until: noon}
	var b bytes.Buffer
	if err := Cards(&b, p, f, slices.Repeat([]Card{card}, n), noon, time.UTC, words.English); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestCardsReadBack(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		paper Paper
		form  Form
		// Where the cards of a full page begin, worked out by hand from the
		// sizes of paper and card.
		corners [][2]float64
		lineY   float64
	}{
		{A4, Credit, [][2]float64{{19.4, 13.55}, {19.4, 67.53}, {19.4, 121.51}, {19.4, 175.49}, {19.4, 229.47}}, 50},
		{Letter, Credit, [][2]float64{{22.35, 31.74}, {22.35, 85.72}, {22.35, 139.7}, {22.35, 193.68}}, 50},
		{A4, A6, [][2]float64{{0, .5}, {105, .5}, {0, 148.5}, {105, 148.5}}, 78.12},
		{Letter, A6, [][2]float64{{2.95, 65.7}, {107.95, 65.7}}, 78.12},
	} {
		for i, link := range links {
			if c.paper == Letter && i != 1 {
				continue // A4 has shown it
			}
			t.Run(fmt.Sprintf("%s %s %d", c.paper, c.form, i), func(t *testing.T) {
				t.Parallel()
				pdf := cardsOf(t, c.paper, c.form, len(c.corners)+1, link)
				checkFonts(t, pdf)
				pages := printtest.Pages(t, pdf, dpi)
				if len(pages) != 2 {
					t.Fatalf("%d pages, want a full one and one with a card", len(pages))
				}
				if w, h := c.paper.size(); math.Abs(mm(pages[0].Rect.Dx())-w) > .1 || math.Abs(mm(pages[0].Rect.Dy())-h) > .1 {
					t.Errorf("the page is %v pixels", pages[0].Rect)
				}
				for n, at := range c.corners {
					what := fmt.Sprintf("card %d", n)
					x, y := at[0]+5.12, at[1]+8.8
					if c.form == A6 {
						x, y = at[0]+8, at[1]+39.5
					}
					checkCode(t, what, pages[0], x, y, 32, 5.12, link)
					checkLine(t, what, crop(pages[0], x-1, at[1]+c.lineY-1.5, 60, 3))
				}
				text := printtest.Text(t, pdf)
				address, _, _ := strings.Cut(strings.TrimPrefix(link, "https://"), "#")
				for _, want := range []string{"Zoë Dvořák Nguyễn", "Ball python", "Python regius", "K7QM4-2XR90", "36 °C", "spider", "vet who treats reptiles", "CITES Appendix II", "32 mm wide", "From Loam Row"} {
					if !strings.Contains(text, want) {
						t.Errorf("%q is not in %s", want, text)
					}
				}
				if !strings.Contains(strings.ReplaceAll(text, " ", ""), address[:min(len(address), 20)]) {
					t.Errorf("the address is not in %s", text)
				}
				if strings.Contains(text, "…") && i != 2 {
					t.Errorf("something is cut in %s", text)
				}
			})
		}
	}
}

func TestLabelsReadBack(t *testing.T) {
	t.Parallel()
	for p, corner := range map[Paper]struct {
		x, y float64
		n    int
	}{A4: {9, 12.5, 24}, Letter: {11.95, 20.7, 21}} {
		t.Run(string(p), func(t *testing.T) {
			t.Parallel()
			var labels []Label
			for i := range corner.n + 1 {
				a := spider()
				a.Name = fmt.Sprintf("tub %d", i)
				labels = append(labels, Label{&a, fmt.Sprintf("https://snakes.example.org/b/animals/01890f3e-7b2a-7cc0-98c4-dc0c0c07%04d", i)})
			}
			var b bytes.Buffer
			if err := Labels(&b, p, labels, noon, words.English); err != nil {
				t.Fatal(err)
			}
			checkFonts(t, b.Bytes())
			pages := printtest.Pages(t, b.Bytes(), dpi)
			if len(pages) != 2 {
				t.Fatalf("%d pages", len(pages))
			}
			for i := range corner.n {
				x, y := corner.x+float64(i%3)*64, corner.y+float64(i/3)*34
				checkCode(t, labels[i].Animal.Name, pages[0], x+3.52, y+7, 22, 3.52, labels[i].Link)
			}
			for _, page := range pages {
				_, h := p.size()
				checkLine(t, "foot", crop(page, corner.x-1, h-8.5, 60, 3))
			}
			text := printtest.Text(t, b.Bytes())
			for _, want := range []string{"tub 0", fmt.Sprintf("tub %d", corner.n), "Ball python", "Python regius", "female", "hatched 12 January 2026", "clutch 2026-04", "CITES II", "spider, pastel"} {
				if !strings.Contains(text, want) {
					t.Errorf("%q is not in %s", want, text)
				}
			}
		})
	}
}

// The same input makes the same bytes, so that a record printed twice is one
// document.
func TestSameBytes(t *testing.T) {
	t.Parallel()
	first := cardsOf(t, A4, A6, 3, links[1])
	for range 10 {
		if !bytes.Equal(first, cardsOf(t, A4, A6, 3, links[1])) {
			t.Fatal("two runs differ")
		}
	}
}

func TestPlain(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"Zoe\u0308":               "Zoë",               // composed
		"a\tb\nc":                 "a b c",             // on one line
		"蛇 and 🐍":                 "\ufffd and \ufffd", // no picture
		"x\u200dy\ufe0f\x00":      "xy",
		"36 °C, 5 g, 3 gaps, 4 %": "36\u00a0°C, 5\u00a0g, 3 gaps, 4\u00a0%",
		"Αθήνα Москва Đặng":       "Αθήνα Москва Đặng",
	} {
		if got := plain(in); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}

// Columns of figures only stand in line when all are equally wide, and what one
// cut has the others must have: plain asks one.
func TestFont(t *testing.T) {
	t.Parallel()
	s := newSheet(A4, words.English, words.Text{}, noon)
	for _, style := range []string{regular, bold, italic} {
		s.set(style, 10, ink)
		for d := '0'; d <= '9'; d++ {
			if s.pdf.GetStringWidth(string(d)) != s.pdf.GetStringWidth("0") {
				t.Errorf("%q: %c has a width of its own", style, d)
			}
		}
	}
	var buf sfnt.Buffer
	for _, ttf := range [][]byte{boldTTF, italicTTF} {
		f, err := sfnt.Parse(ttf)
		if err != nil {
			t.Fatal(err)
		}
		if f.NumGlyphs() < 1000 {
			t.Errorf("%d glyphs", f.NumGlyphs())
		}
		for r := rune(' '); r < 0xffff; r++ {
			a, _ := covered.GlyphIndex(&buf, r)
			b, _ := f.GlyphIndex(&buf, r)
			if (a == 0) != (b == 0) {
				t.Errorf("%q is in one cut only", r)
			}
		}
	}
}

func TestLines(t *testing.T) {
	t.Parallel()
	s := newSheet(A4, words.English, words.Text{}, noon)
	s.set(regular, 10, ink)
	text := "Leave it in peace for 5 to 7 days, then make the first offer. " + strings.Repeat("x", 100) + " end"
	list := s.lines(text, 30, 0)
	if got := strings.ReplaceAll(strings.Join(list, ""), " ", ""); got != strings.ReplaceAll(text, " ", "") {
		t.Errorf("something is lost: %q", list)
	}
	for _, l := range list {
		if w := s.pdf.GetStringWidth(l); w > 30 {
			t.Errorf("%q is %.1f mm wide", l, w)
		}
	}
	if cut := s.lines(text, 30, 2); len(cut) != 2 || !strings.HasSuffix(cut[1], "…") || s.pdf.GetStringWidth(cut[1]) > 30 {
		t.Errorf("cut to %q", cut)
	}
	if got := s.lines("", 30, 1); len(got) != 0 {
		t.Errorf("nothing makes %q", got)
	}
	if got := s.lines("xy", .1, 0); strings.Join(got, "") != "xy" {
		t.Errorf("a column without room makes %q", got)
	}
}

func TestLinkTooLong(t *testing.T) {
	t.Parallel()
	r := care.Record{Animal: spider()}
	err := Cards(&bytes.Buffer{}, A4, Credit, []Card{{Record: &r, Link: strings.Repeat("x", 3000)}}, noon, time.UTC, words.English)
	if err == nil || !strings.Contains(err.Error(), "3000") {
		t.Errorf("got %v", err)
	}
}
