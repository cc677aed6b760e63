package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"warmhand/internal/cohort"
)

// plots draws three pictures of the first world, and one of all.
func plots(dir string, verdicts []cohort.Verdict) error {
	v := &verdicts[0]
	find := chart{title: "Failing animals found within 21 days of the onset", x: "healthy animals that ever alarm, %", y: "found, %", xMax: 50, yMax: 100}
	for _, name := range []string{"alarm score", "best rule", "refusals in a row", "raw loss"} {
		l := line{name: name}
		for i := range v.Contestants {
			if c := &v.Contestants[i]; c.Name == name {
				for _, f := range c.Found {
					l.points = append(l.points, [2]float64{100 * f.FalseAlarms, 100 * f.S21})
				}
			}
		}
		find.lines = append(find.lines, l)
	}
	said := chart{title: "What the probability says, and what is so", x: "probability said, %", y: "failing, %", xMax: 100, yMax: 100,
		lines: []line{{name: "as it is said", dots: true}, {name: "if it were exact", points: [][2]float64{{0, 0}, {100, 100}}}}}
	for _, b := range v.Bins {
		if b.N > 20 {
			said.lines[0].points = append(said.lines[0].points, [2]float64{100 * b.Mean, 100 * b.Share})
		}
	}
	worlds := bars{title: "Found within 21 days at 10 % false alarms, by world", unit: "%"}
	for i := range verdicts {
		w := &verdicts[i]
		worlds.rows = append(worlds.rows, row{w.World.Name, [2]float64{100 * w.Contestants[0].At(.10).S21, 100 * best(w).At(.10).S21}})
	}
	for name, svg := range map[string]string{"found.svg": find.svg(), "calibration.svg": said.svg(), "worlds.svg": worlds.svg([2]string{"alarm score", "best rule"})} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(svg), 0o644); err != nil {
			return err
		}
	}
	return nil
}

func best(v *cohort.Verdict) *cohort.Contestant {
	for i := range v.Contestants {
		if v.Contestants[i].Name == "best rule" {
			return &v.Contestants[i]
		}
	}
	panic("no best rule")
}

// chart is a plot of lines from the origin.
type chart struct {
	title, x, y string
	xMax, yMax  float64
	lines       []line
}

type line struct {
	name   string
	dots   bool
	points [][2]float64
}

const (
	width, height             = 640., 400.
	left, right, above, below = 60., 20., 40., 50.
)

// Each line has a colour and a dash of its own, so that neither alone matters.
var strokes = []string{
	`stroke="#0b5d4e" stroke-width="3"`, `stroke="#b3541e" stroke-width="2" stroke-dasharray="8 4"`,
	`stroke="#3a4f9a" stroke-width="2" stroke-dasharray="2 4"`, `stroke="#6b6b6b" stroke-width="2" stroke-dasharray="10 3 2 3"`,
}

func open(title string, height float64) string {
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" font-family="sans-serif" font-size="13" role="img"><title>%s</title>
<rect width="%g" height="%g" fill="#fff"/>
<text x="%g" y="22" font-size="15" font-weight="bold">%s</text>
`, width, height, title, width, height, left, title)
}

func (c *chart) svg() string {
	var b strings.Builder
	b.WriteString(open(c.title, height))
	px := func(x float64) float64 { return left + x/c.xMax*(width-left-right) }
	py := func(y float64) float64 { return height - below - y/c.yMax*(height-above-below) }
	for i := 0.; i <= 5; i++ {
		x, y := c.xMax*i/5, c.yMax*i/5
		fmt.Fprintf(&b, `<path d="M%.1f %.1fH%.1f" stroke="#ddd"/><text x="%.1f" y="%.1f" text-anchor="end">%g</text><text x="%.1f" y="%.1f" text-anchor="middle">%g</text>`+"\n",
			left, py(y), width-right, left-6, py(y)+4, y, px(x), height-below+18, x)
	}
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text><text transform="translate(16 %.1f) rotate(-90)" text-anchor="middle">%s</text>`+"\n",
		(left+width-right)/2, height-12, c.x, (above+height-below)/2, c.y)
	for i, l := range c.lines {
		var path strings.Builder
		for n, p := range l.points {
			if math.IsNaN(p[0]) || math.IsNaN(p[1]) {
				continue
			}
			fmt.Fprintf(&path, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[n == 0], px(math.Min(p[0], c.xMax)), py(p[1]))
			if l.dots {
				fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="4" fill="#0b5d4e"/>`, px(p[0]), py(p[1]))
			}
		}
		y := above + 14 + 18*float64(i)
		fmt.Fprintf(&b, `<path d="%s" fill="none" %s/><path d="M%.1f %.1fh30" %s/><text x="%.1f" y="%.1f">%s</text>`+"\n",
			path.String(), strokes[i], left+12, y, strokes[i], left+50, y+4, l.name)
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// bars is a list of pairs.
type bars struct {
	title, unit string
	rows        []row
}

type row struct {
	name   string
	values [2]float64
}

func (c *bars) svg(names [2]string) string {
	var b strings.Builder
	const each = 40.
	tall := above + each*float64(len(c.rows)) + 40
	b.WriteString(open(c.title, tall))
	most := 0.
	for _, r := range c.rows {
		most = math.Max(most, math.Max(r.values[0], r.values[1]))
	}
	const from = 150.
	fills := [2]string{"#0b5d4e", "#d9a07e"}
	for i, r := range c.rows {
		y := above + each*float64(i)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="end">%s</text>`, from-8, y+20, r.name)
		for k, v := range r.values {
			wide := v / most * (width - from - 70)
			fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="14" fill="%s"/><text x="%.1f" y="%.1f">%.0f %s</text>`+"\n",
				from, y+2+16*float64(k), wide, fills[k], from+wide+6, y+14+16*float64(k), v, c.unit)
		}
	}
	for k, n := range names {
		x := from + 160*float64(k)
		fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="14" height="14" fill="%s"/><text x="%.1f" y="%.1f">%s</text>`+"\n", x, tall-28, fills[k], x+20, tall-16, n)
	}
	b.WriteString("</svg>\n")
	return b.String()
}
