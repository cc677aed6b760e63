package print

import (
	"math"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// weights plots the breeder's weigh-ins over the days.
func (f *flow) weights(r *care.Record) {
	list := slices.Clone(r.Weights)
	slices.SortStableFunc(list, func(a, b care.Entry) int { return a.HappenedAt.Compare(b.HappenedAt) })
	f.section(words.Say("Its weight"), 52)
	switch len(list) {
	case 0:
		f.say(regular, body, ink, words.Say("No weight is on record with the breeder."))
		return
	case 1:
		f.weighedOnce(list[0])
		return
	}
	mass := func(i int) care.Grams { return list[i].Body.(care.WeighIn).Mass }
	last := len(list) - 1
	f.massPlot(list, time.Time{})
	f.say(regular, 8, muted, words.Say("{n} weigh-ins by the breeder, from {mass1} on {date1} to {mass2} on {date2}.", len(list),
		massWords(mass(0)), date(list[0].HappenedAt, f.zone), massWords(mass(last)), date(list[last].HappenedAt, f.zone)))
}

func (f *flow) weighedOnce(e care.Entry) {
	f.say(regular, body, ink, words.Say("Weighed once: {mass} on {date}.", massWords(e.Body.(care.WeighIn).Mass), date(e.HappenedAt, f.zone)))
}

// massPlot plots two weigh-ins or more, the oldest first, over the days; a mark
// is drawn as a line from top to bottom, and the days reach to it.
func (f *flow) massPlot(list []care.Entry, mark time.Time) {
	mass := func(i int) float64 { return float64(list[i].Body.(care.WeighIn).Mass) }
	low, high := mass(0), mass(0)
	for i := range list {
		low, high = min(low, mass(i)), max(high, mass(i))
	}
	first, last := list[0].HappenedAt, list[len(list)-1].HappenedAt
	if !mark.IsZero() {
		if mark.Before(first) {
			first = mark
		}
		if mark.After(last) {
			last = mark
		}
	}
	step := tick((high - low) / 3)
	bottom, top := math.Floor(low/step)*step, math.Ceil(high/step)*step
	if top == bottom {
		top += step
	}

	const height, gutter = 40., 12.
	x0, x1, y0 := f.x+gutter, f.x+f.w-2, f.y+2
	across := max(last.Sub(first).Hours(), 1)
	at := func(i int) (x, y float64) {
		return x0 + (x1-x0)*list[i].HappenedAt.Sub(first).Hours()/across, y0 + height*(top-mass(i))/(top-bottom)
	}
	f.set(regular, 7.5, muted)
	for v := bottom; v <= top+step/2; v += step {
		y := y0 + height*(top-v)/(top-bottom)
		f.line(x0, y, x1, y)
		label := f.in.Say(words.Say("{mass} g", number(v)))
		f.text(x0-2-f.pdf.GetStringWidth(plain(label)), y+.9, label)
	}
	for _, d := range f.days(first, last) {
		x := x0 + (x1-x0)*d.at.Sub(first).Hours()/across
		f.line(x, y0+height, x, y0+height+1.2)
		f.text(min(x-f.pdf.GetStringWidth(plain(d.label))/2, x1-f.pdf.GetStringWidth(plain(d.label))), y0+height+4.4, d.label)
	}
	if !mark.IsZero() {
		x := x0 + (x1-x0)*mark.Sub(first).Hours()/across
		f.pdf.SetDrawColor(ink.r, ink.g, ink.b)
		f.pdf.SetLineWidth(.25)
		f.pdf.SetDashPattern([]float64{1, 1}, 0)
		f.pdf.Line(x, y0, x, y0+height)
		f.pdf.SetDashPattern([]float64{}, 0)
	}
	f.pdf.SetDrawColor(warm.r, warm.g, warm.b)
	f.pdf.SetLineWidth(.4)
	for i := 1; i < len(list); i++ {
		ax, ay := at(i - 1)
		bx, by := at(i)
		f.pdf.Line(ax, ay, bx, by)
	}
	f.pdf.SetFillColor(ink.r, ink.g, ink.b)
	dot := .8
	if len(list) > 60 {
		dot = .45
	}
	for i := range list {
		x, y := at(i)
		f.pdf.Circle(x, y, dot, "F")
	}
	f.y = y0 + height + 7
}

// tick rounds a distance up to 1, 2 or 5 times a power of ten.
func tick(v float64) float64 {
	if v <= 0 {
		return 1
	}
	unit := math.Pow(10, math.Floor(math.Log10(v)))
	for _, n := range []float64{1, 2, 5} {
		if v <= n*unit {
			return n * unit
		}
	}
	return 10 * unit
}

type dayMark struct {
	at    time.Time
	label string
}

// days are four marks for a time axis.
func (f *flow) days(first, last time.Time) (marks []dayMark) {
	const n = 4
	for i := range n {
		at := first.Add(last.Sub(first) * time.Duration(i) / (n - 1))
		if label := f.day(at, f.zone); len(marks) == 0 || marks[len(marks)-1].label != label {
			marks = append(marks, dayMark{at, label})
		}
	}
	return marks
}
