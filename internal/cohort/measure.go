package cohort

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Score is one number a day for each case of a cohort, higher meaning worse.
type Score struct {
	Name string
	Days [][]float64 // by case, by day
}

// highest is the largest score of a case from one day to another, both in it.
func (s *Score) highest(i, from, to int) float64 {
	days := s.Days[i][max(0, from):min(len(s.Days[i]), to+1)]
	if len(days) == 0 {
		return math.Inf(-1)
	}
	return slices.Max(days)
}

// Threshold is the score that this share of the healthy animals ever reaches.
func (s *Score) Threshold(cases []Case, falseAlarms float64) float64 {
	var tops []float64
	for i := range cases {
		if !cases[i].Truth.Fails() {
			tops = append(tops, s.highest(i, 0, Horizon))
		}
	}
	slices.SortFunc(tops, func(a, b float64) int { return cmp.Compare(b, a) })
	n := int(falseAlarms * float64(len(tops)))
	if n >= len(tops) {
		return math.Inf(-1)
	}
	// Between two neighbours, so that ties with the next do not alarm.
	if n == 0 {
		return math.Nextafter(tops[0], math.Inf(1))
	}
	if tops[n-1] == tops[n] {
		return math.Nextafter(tops[n], math.Inf(1))
	}
	return (tops[n-1] + tops[n]) / 2
}

// Found is what a threshold finds.
type Found struct {
	FalseAlarms   float64 // share of healthy animals that ever reach it
	S14, S21, S28 float64 // share of failing animals that reach it within so many days of the onset
	MedianDelay   float64 // days from the onset, +Inf when fewer than half are found
	Before10      float64 // of those that lose a tenth: reached before that
	Lead          float64 // days before it, median of those
	PickyAlarms   float64 // share of healthy picky animals that ever reach it
	Healthy       int
	Failing       int
	Picky         int
}

// Find judges a score at a threshold. What stands at the onset counts as found
// on that day; what was over by then does not.
func (s *Score) Find(cases []Case, threshold float64) Found {
	var f Found
	var delays, leads []float64
	lost := 0
	for i := range cases {
		t := &cases[i].Truth
		if !t.Fails() {
			alarm := s.highest(i, 0, Horizon) >= threshold
			f.Healthy++
			f.FalseAlarms += truth(alarm)
			if t.Picky {
				f.Picky++
				f.PickyAlarms += truth(alarm)
			}
			continue
		}
		f.Failing++
		on := int(t.Onset)
		at := math.Inf(1)
		for d := on; d < len(s.Days[i]); d++ {
			if s.Days[i][d] >= threshold {
				at = float64(d)
				break
			}
		}
		delays = append(delays, math.Max(0, at-t.Onset))
		if tenth := slices.IndexFunc(t.Loss[on:], func(l float64) bool { return l > .10 }); tenth > 0 {
			lost++
			if lead := float64(on+tenth) - at; lead > 0 {
				leads = append(leads, lead)
			}
		}
	}
	within := func(days float64) float64 {
		n := 0
		for _, d := range delays {
			if d <= days {
				n++
			}
		}
		return float64(n) / float64(len(delays))
	}
	f.FalseAlarms /= float64(f.Healthy)
	f.PickyAlarms /= float64(f.Picky)
	f.S14, f.S21, f.S28 = within(14), within(21), within(28)
	f.MedianDelay = median(delays)
	f.Before10 = float64(len(leads)) / float64(lost)
	f.Lead = median(leads)
	return f
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[len(v)/2]
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// snapshots is how often each book is looked at, on days of its own for each case.
const snapshots = 5

// Snapshot is one case on one day.
type Snapshot struct {
	Case, Day int
	Look      int  // which of the book's looks
	Failing   bool // by then
}

// snapshotsOf draws random days.
func snapshotsOf(cases []Case, seed uint64) []Snapshot {
	r := rand.New(rand.NewPCG(seed, 0x5eed))
	var out []Snapshot
	for look := range snapshots {
		for i := range cases {
			d := 1 + r.IntN(Horizon-1)
			out = append(out, Snapshot{i, d, look, cases[i].Truth.Onset <= float64(d)})
		}
	}
	return out
}

// AUROC is the chance that a failing case scores higher than another; ties
// count half.
func AUROC(score []float64, failing []bool) float64 {
	order := byScore(score)
	var pos, neg, sum float64
	for i := 0; i < len(order); {
		j, p := i, 0.
		for ; j < len(order) && score[order[j]] == score[order[i]]; j++ {
			p += truth(failing[order[j]])
		}
		n := float64(j-i) - p
		sum += n * (pos + p/2)
		pos, neg, i = pos+p, neg+n, j
	}
	return sum / (pos * neg)
}

// AUPRC is the average precision.
func AUPRC(score []float64, failing []bool) float64 {
	order := byScore(score)
	var pos, sum float64
	for i := 0; i < len(order); {
		j, p := i, 0.
		for ; j < len(order) && score[order[j]] == score[order[i]]; j++ {
			p += truth(failing[order[j]])
		}
		pos += p
		sum += p * pos / float64(j)
		i = j
	}
	return sum / pos
}

// byScore are the indices, the highest score first.
func byScore(score []float64) []int {
	order := make([]int, len(score))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(score[b], score[a]) })
	return order
}

// Brier is the mean square of probability less outcome.
func Brier(p []float64, failing []bool) float64 {
	sum := 0.
	for i := range p {
		d := p[i] - truth(failing[i])
		sum += d * d
	}
	return sum / float64(len(p))
}

// Bin is the animals of like probability.
type Bin struct {
	Mean, Share float64 // probability said; share that was failing
	N           int
}

// Bins sorts probabilities into tenths.
func Bins(p []float64, failing []bool) []Bin {
	bins := make([]Bin, 10)
	for i := range p {
		b := &bins[min(9, int(10*p[i]))]
		b.Mean += p[i]
		b.Share += truth(failing[i])
		b.N++
	}
	for i := range bins {
		if n := float64(bins[i].N); n > 0 {
			bins[i].Mean /= n
			bins[i].Share /= n
		}
	}
	return bins
}

// ECE is the expected calibration error: over ten bins, how far the
// probability is from the share, by the size of the bin.
func ECE(p []float64, failing []bool) float64 {
	sum := 0.
	for _, b := range Bins(p, failing) {
		sum += float64(b.N) * math.Abs(b.Mean-b.Share)
	}
	return sum / float64(len(p))
}

// Line is a calibration: logit p → A + B·logit p.
type Line struct{ A, B float64 }

// Apply corrects one probability.
func (l Line) Apply(p float64) float64 { return 1 / (1 + math.Exp(-l.A-l.B*logit(p))) }

// Recalibrate fits a line by logistic regression, in Newton's way.
func Recalibrate(p []float64, failing []bool) Line {
	l := Line{0, 1}
	for range 30 {
		var ga, gb, haa, hab, hbb float64
		for i := range p {
			x := logit(p[i])
			q := l.Apply(p[i])
			d, w := truth(failing[i])-q, q*(1-q)
			ga, gb = ga+d, gb+d*x
			haa, hab, hbb = haa+w, hab+w*x, hbb+w*x*x
		}
		det := haa*hbb - hab*hab
		if det < 1e-12 {
			break
		}
		l.A += (hbb*ga - hab*gb) / det
		l.B += (haa*gb - hab*ga) / det
	}
	return l
}

func logit(p float64) float64 {
	p = math.Min(1-1e-9, math.Max(1e-9, p))
	return math.Log(p / (1 - p))
}

// Ranking is how well a score orders a breeder's book.
type Ranking struct {
	AUROC, AUPRC float64
	TopShare     float64 // of the failing, those among the first eight of forty
	TopPrecision float64 // of the first eight, those that fail
}

const top = 8

// rank judges a score on snapshots.
func (s *Score) rank(cases []Case, shots []Snapshot) Ranking {
	score, failing := s.at(shots)
	r := Ranking{AUROC: AUROC(score, failing), AUPRC: AUPRC(score, failing)}
	type book struct{ book, look int }
	books := map[book][]int{}
	for i, x := range shots {
		k := book{cases[x.Case].Book, x.Look}
		books[k] = append(books[k], i)
	}
	var hits, fail, places float64
	for _, list := range books {
		slices.SortStableFunc(list, func(a, b int) int { return cmp.Or(cmp.Compare(score[b], score[a]), cmp.Compare(a, b)) })
		for n, i := range list {
			fail += truth(failing[i])
			if n < top {
				places++
				hits += truth(failing[i])
			}
		}
	}
	r.TopShare, r.TopPrecision = hits/fail, hits/places
	return r
}

func (s *Score) at(shots []Snapshot) (score []float64, failing []bool) {
	for _, x := range shots {
		score = append(score, s.Days[x.Case][x.Day])
		failing = append(failing, x.Failing)
	}
	return score, failing
}
