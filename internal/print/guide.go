package print

import (
	"fmt"
	"io"
	"strings"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Guide writes pages of the keeper's guide to an animal, as it was at an instant.
func Guide(w io.Writer, p Paper, a *care.Animal, pages []assess.GuidePage, at time.Time, zone *time.Location, in *words.Language) error {
	count := layGuide(p, a, pages, at, zone, in, 0).pdf.PageCount()
	return layGuide(p, a, pages, at, zone, in, count).write(w)
}

func layGuide(p Paper, a *care.Animal, list []assess.GuidePage, at time.Time, zone *time.Location, in *words.Language, pages int) *sheet {
	name, common, _ := names(a, in)
	f := &flow{sheet: newSheet(p, in, words.Say("Guide for {name}", name), at), zone: zone, pages: pages}
	f.running = words.Say("Guide for {name} · {species} · as of {date} · no vet's advice", name, common, date(at, zone))
	f.x, f.w = 18, f.width-36
	for _, g := range list {
		f.page() // each by itself, to hang up
		f.set(regular, 9.5, muted)
		f.put(f.x, f.y+3.4, words.Say("For {name}, {species}", name, common))
		f.y += 5.4
		f.set(bold, 20, ink)
		for _, l := range f.lines(in.Say(g.Title), f.w, 2) {
			f.pdf.Text(f.x, f.y+7, l)
			f.y += 9
		}
		f.y += 1
		if !g.Now.Empty() {
			f.say(bold, 10.5, ink, g.Now)
		}
		for _, part := range g.Parts {
			f.section(part.Title, 12)
			if part.Ordered {
				f.steps(part.Points)
			} else {
				f.list(10, part.Points)
			}
		}
		// As small as it can be read, and one after the other: else a few lines begin a page of their own.
		f.need(14)
		f.y += 2.5
		f.say(bold, 7.5, muted, words.Say("Where this comes from"))
		var from []string
		for _, part := range g.Parts {
			from = append(from, in.Say(words.Say("{title}: {source}", part.Title, part.Source)))
		}
		f.say(regular, 7.5, muted, words.AsIs(strings.Join(from, " · ")))
	}
	return f.sheet
}

// steps writes points with their numbers.
func (f *flow) steps(points []words.Text) {
	const size = 10.
	f.set(regular, size, ink)
	for i, p := range points {
		lines := f.lines(f.in.Say(p), f.w-7, 0)
		f.need(float64(len(lines)) * size * spacing)
		f.pdf.Text(f.x, f.y+size*.33, fmt.Sprintf("%d.", i+1))
		f.write(f.x+7, size, lines)
		f.y += .9
	}
}
