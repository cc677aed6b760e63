package replay

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"text/tabwriter"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// appendStep writes one step as a line.
func appendStep(b []byte, id string, at time.Time, day int, a *assess.Assessment) []byte {
	b = text(append(b, `{"case":`...), id)
	b = append(b, `,"at":"`...)
	b = at.AppendFormat(b, time.RFC3339Nano)
	b = append(b, `","day":`...)
	b = strconv.AppendInt(b, int64(day), 10)
	b = append(b, `,"standing":"`...)
	b = append(b, a.Standing.String()...)
	b = append(b, '"')
	for _, f := range [...]struct {
		name  string
		value float64
	}{{"urgency", a.Urgency}, {"p_refusal", a.PRefusal}, {"loss_pct", a.LossPct}, {"loss_pct_low", a.LossLow}, {"loss_pct_high", a.LossHigh}} {
		b = append(append(append(b, `,"`...), f.name...), `":`...)
		b = decimal(b, f.value)
	}
	b = append(b, `,"reasons":[`...)
	for i := range a.Reasons {
		r := &a.Reasons[i]
		b = text(append(comma(b, i), `{"code":`...), r.Code)
		b = decimal(append(b, `,"weight":`...), r.Weight)
		b = append(text(append(b, `,"text":`...), r.Text.String()), '}')
	}
	b = append(b, `],"causes":[`...)
	for i := range a.Causes {
		b = text(append(comma(b, i), `{"code":`...), a.Causes[i].Code)
		b = append(decimal(append(b, `,"share":`...), a.Causes[i].Share), '}')
	}
	b = append(b, `],"steps":[`...)
	for i := range a.Steps {
		b = text(comma(b, i), a.Steps[i].Code)
	}
	b = append(b, `],"concerns":[`...)
	for i := range a.Concerns {
		c := &a.Concerns[i]
		b = text(append(comma(b, i), `{"code":`...), c.Code)
		b = append(append(append(b, `,"standing":"`...), c.Level.String()...), '"')
		b = append(text(append(b, `,"text":`...), c.Text.String()), '}')
	}
	return append(b, "]}\n"...)
}

func comma(b []byte, i int) []byte {
	if i > 0 {
		b = append(b, ',')
	}
	return b
}

func text(b []byte, s string) []byte {
	b, _ = jsontext.AppendQuote(b, s) // replaces bytes that are no text
	return b
}

// decimal writes a number to a millionth, which is more than it is worth.
func decimal(b []byte, v float64) []byte {
	v = math.Round(v*1e6) / 1e6
	if v == 0 {
		v = 0 // no "-0"
	}
	return strconv.AppendFloat(b, v, 'f', -1, 64)
}

// Summary is what the cases came to.
type Summary struct {
	Cases, Events int
	LeftOut       int // lines
	FirstBad      error
	// Reached holds for each standing above settled how many cases reached it,
	// and by day after the handover; Reasons the same by the gravest concern then.
	Reached [int(care.Vet) + 1]Days
	Reasons map[Reason]Days
}

// Reason is what first brought a case to a standing.
type Reason struct {
	Standing care.Standing
	Concern  string
}

// Days counts cases by day.
type Days map[int]int

// Count is how many cases there are.
func (d Days) Count() (n int) {
	for _, c := range d {
		n += c
	}
	return n
}

// Quantile is the day by which this share of the cases is there: the least day
// up to which there are at least that many.
func (d Days) Quantile(share float64) int {
	need, seen := share*float64(d.Count()), 0
	for _, day := range slices.Sorted(maps.Keys(d)) {
		if seen += d[day]; float64(seen) >= need {
			return day
		}
	}
	return 0
}

// flag notes that a case rose for the first time above what it had reached.
func (s *Summary) flag(from, to care.Standing, day int, concern string) {
	for l := from + 1; l <= to; l++ {
		if s.Reached[l] == nil {
			s.Reached[l] = Days{}
		}
		s.Reached[l][day]++
		if s.Reasons == nil {
			s.Reasons = map[Reason]Days{}
		}
		r := Reason{l, concern}
		if s.Reasons[r] == nil {
			s.Reasons[r] = Days{}
		}
		s.Reasons[r][day]++
	}
}

func (s *Summary) merge(o *Summary) {
	s.Cases, s.Events, s.LeftOut = s.Cases+o.Cases, s.Events+o.Events, s.LeftOut+o.LeftOut
	if s.FirstBad == nil {
		s.FirstBad = o.FirstBad
	}
	for l := range o.Reached {
		s.Reached[l] = s.Reached[l].plus(o.Reached[l])
	}
	for r, d := range o.Reasons {
		if s.Reasons == nil {
			s.Reasons = map[Reason]Days{}
		}
		s.Reasons[r] = s.Reasons[r].plus(d)
	}
}

func (d Days) plus(o Days) Days {
	if d == nil && len(o) > 0 {
		d = Days{}
	}
	for day, n := range o {
		d[day] += n
	}
	return d
}

// Write writes the summary as a table.
func (s *Summary) Write(out io.Writer) error {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	share := func(n int) string { return fmt.Sprintf("%.1f %%", 100*float64(n)/float64(max(1, s.Cases))) }
	fmt.Fprintf(t, "cases\t%d\nevents\t%d\n", s.Cases, s.Events)
	fmt.Fprintf(t, "\nflagged as\tcases\tshare\tdays to it, median\t90th percentile\n")
	row := func(name string, d Days) {
		if n := d.Count(); n > 0 {
			fmt.Fprintf(t, "%s\t%d\t%s\t%d\t%d\n", name, n, share(n), d.Quantile(.5), d.Quantile(.9))
		} else {
			fmt.Fprintf(t, "%s\t0\t%s\t-\t-\n", name, share(0))
		}
	}
	row("watch or more", s.Reached[care.Watch])
	row("step_in or more", s.Reached[care.StepIn])
	row("vet", s.Reached[care.Vet])
	for _, l := range []care.Standing{care.Watch, care.StepIn, care.Vet} {
		var list []Reason
		for r := range s.Reasons {
			if r.Standing == l {
				list = append(list, r)
			}
		}
		if len(list) == 0 {
			continue
		}
		slices.SortFunc(list, func(a, b Reason) int {
			if d := s.Reasons[b].Count() - s.Reasons[a].Count(); d != 0 {
				return d
			}
			if a.Concern < b.Concern {
				return -1
			}
			return 1
		})
		name := l.String()
		if l < care.Vet {
			name += " or more"
		}
		fmt.Fprintf(t, "\nwhat first made it %s\tcases\tshare\tdays to it, median\t90th percentile\n", name)
		for _, r := range list {
			row(r.Concern, s.Reasons[r])
		}
	}
	if err := t.Flush(); err != nil {
		return fmt.Errorf("output: %w", err)
	}
	return nil
}
