// Package insight tells a breeder what their own sales show, all together: how
// long animals take to eat in their new homes, what came before trouble, and how
// well the warnings did. It is pure: sales in, numbers out.
package insight

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Watched is one animal waited for: days until what was waited for came, or,
// where it has not, the days it was watched.
type Watched struct {
	Days float64
	Came bool
}

// Curve is a Kaplan-Meier estimate (Kaplan & Meier 1958, J Am Stat Assoc
// 53:457): the share that still waits, from the day of each point to that of
// the next.
type Curve struct {
	Points []Point
	Of     int // animals
	Came   int // for how many it came
	// Median days and the bounds of its 95 % interval; NaN where the curve, or
	// a bound of it, does not come down to a half.
	Median, MedianLow, MedianHigh float64
}

// Point is a day on which it came for somebody, or on which somebody's watch
// ended. Low and High bound Waiting at 95 %, with Greenwood's variance on the
// logarithm.
type Point struct {
	Day                float64
	AtRisk, Came       int
	Waiting, Low, High float64
}

// z95 is the normal quantile of a two-sided 95 % interval.
const z95 = 1.959963984540054

// Estimate is the curve of some animals. An animal whose watch ends on a day on
// which it comes for another counts as watched on that day.
func Estimate(all []Watched) Curve {
	c := Curve{Of: len(all)}
	sorted := slices.SortedFunc(slices.Values(all), func(a, b Watched) int { return cmp.Compare(a.Days, b.Days) })
	waiting, variance := 1., 0.
	for i := 0; i < len(sorted); {
		p := Point{Day: sorted[i].Days, AtRisk: len(sorted) - i}
		for ; i < len(sorted) && sorted[i].Days == p.Day; i++ {
			if sorted[i].Came {
				p.Came++
			}
		}
		c.Came += p.Came
		n, d := float64(p.AtRisk), float64(p.Came)
		waiting *= 1 - d/n
		variance += d / (n * (n - d)) // +Inf once nobody is left
		p.Waiting = waiting
		if waiting > 0 {
			half := z95 * math.Sqrt(variance)
			p.Low, p.High = waiting*math.Exp(-half), math.Min(1, waiting*math.Exp(half))
		} else {
			p.Low, p.High = 0, 1 // the variance is not known there
		}
		c.Points = append(c.Points, p)
	}
	c.Median = c.halfway(func(p *Point) float64 { return p.Waiting })
	c.MedianLow = c.halfway(func(p *Point) float64 { return p.Low })
	c.MedianHigh = c.halfway(func(p *Point) float64 {
		if p.Waiting == 0 {
			return math.NaN()
		}
		return p.High
	})
	return c
}

// halfway is the first day on which a step line is below a half; where it runs
// at just a half, the middle of that run.
func (c *Curve) halfway(of func(*Point) float64) float64 {
	const slack = 1e-9 // of a product that should be a half
	for i := range c.Points {
		v := of(&c.Points[i])
		if !(v < .5+slack) {
			continue
		}
		if v > .5-slack {
			for j := i + 1; j < len(c.Points); j++ {
				if of(&c.Points[j]) < .5-slack {
					return (c.Points[i].Day + c.Points[j].Day) / 2
				}
			}
		}
		return c.Points[i].Day
	}
	return math.NaN()
}

// LogRank is the probability that groups which wait alike come out as
// different as these or more (Mantel 1966, Cancer Chemother Rep 50:163), with its
// chi-squared and degrees of freedom. All are NaN and 0 where there is nothing to tell:
// fewer than two groups, or nobody for whom it came.
func LogRank(groups [][]Watched) (p, chi2 float64, df int) {
	type seen struct {
		Watched
		group int
	}
	var all []seen
	groups = slices.DeleteFunc(slices.Clone(groups), func(g []Watched) bool { return len(g) == 0 })
	risk := make([]float64, len(groups))
	for g, list := range groups {
		risk[g] = float64(len(list))
		for _, w := range list {
			all = append(all, seen{w, g})
		}
	}
	slices.SortFunc(all, func(a, b seen) int { return cmp.Compare(a.Days, b.Days) })
	df = len(groups) - 1
	if df < 1 {
		return math.NaN(), math.NaN(), 0
	}
	// The last group follows from the others.
	over := mat.NewVecDense(df, nil)
	variance := mat.NewSymDense(df, nil)
	for i := 0; i < len(all); {
		day := all[i].Days
		n := float64(len(all) - i)
		came, left := make([]float64, len(groups)), make([]float64, len(groups))
		d := 0.
		for ; i < len(all) && all[i].Days == day; i++ {
			left[all[i].group]++
			if all[i].Came {
				came[all[i].group]++
				d++
			}
		}
		if d > 0 {
			for g := range df {
				over.SetVec(g, over.AtVec(g)+came[g]-d*risk[g]/n)
				for h := g; n > 1 && h < df; h++ {
					v := -risk[g] * risk[h] / n
					if g == h {
						v += risk[g]
					}
					variance.SetSym(g, h, variance.At(g, h)+d*(n-d)/(n*(n-1))*v)
				}
			}
		}
		for g := range risk {
			risk[g] -= left[g]
		}
	}
	var root mat.Cholesky
	var solved mat.VecDense
	if !root.Factorize(variance) || root.SolveVecTo(&solved, over) != nil {
		return math.NaN(), math.NaN(), 0
	}
	chi2 = mat.Dot(over, &solved)
	return distuv.ChiSquared{K: float64(df)}.Survival(chi2), chi2, df
}

// Share is k of n with its 95 % interval (Wilson 1927, J Am Stat Assoc 22:209);
// of nothing, everything is possible.
type Share struct {
	K, N      int
	Low, High float64
}

// ShareOf is k of n with its interval.
func ShareOf(k, n int) Share {
	s := Share{K: k, N: n, High: 1}
	if n == 0 {
		return s
	}
	p, m, z := float64(k)/float64(n), float64(n), z95
	middle := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	s.Low, s.High = math.Max(0, middle-half), math.Min(1, middle+half)
	return s
}
