package insight

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"warmhand/internal/reference"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > within {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func watched(days ...float64) (list []Watched) {
	for _, d := range days { // a negative number is a watch that ended
		list = append(list, Watched{math.Abs(d), d > 0})
	}
	return list
}

// Weeks to relapse in acute myelogenous leukaemia, with and without maintenance (Miller
// 1981, Survival Analysis; R's survival::aml). The numbers are of R 4.2 with
// survival 3.5-3.
var (
	maintained    = watched(9, 13, -13, 18, 23, -28, 31, 34, -45, 48, -161)
	nonMaintained = watched(5, 5, 8, 8, 12, -16, 23, 27, 30, 33, 43, 45)
)

func TestLeukaemia(t *testing.T) {
	t.Parallel()
	type row struct{ day, waiting, se float64 }
	for _, c := range []struct {
		name   string
		of     []Watched
		rows   []row
		median float64
	}{
		{"maintained", maintained, []row{{9, .909091, .0866784}, {13, .818182, .1162913}, {18, .715909, .1396650}, {23, .613636, .1526323},
			{31, .490909, .1641933}, {34, .368182, .1626689}, {48, .184091, .1534927}}, 31},
		{"not maintained", nonMaintained, []row{{5, .833333, 0}, {8, .666667, 0}, {12, .583333, 0}, {23, .486111, 0}, {27, .388889, 0},
			{30, .291667, 0}, {33, .194444, 0}, {43, .097222, 0}, {45, 0, 0}}, 23},
	} {
		curve := Estimate(c.of)
		near(t, c.name+", median", curve.Median, c.median, 0)
		at := map[float64]Point{}
		for _, p := range curve.Points {
			at[p.Day] = p
		}
		for _, r := range c.rows {
			p := at[r.day]
			near(t, fmt.Sprint(c.name, ", day ", r.day), p.Waiting, r.waiting, 5e-7)
			if r.se > 0 { // Low is S exp(-z se/S)
				near(t, fmt.Sprint(c.name, ", standard error on day ", r.day), math.Log(p.Waiting/p.Low)/z95*p.Waiting, r.se, 5e-8)
			}
		}
	}
	p, chi2, df := LogRank([][]Watched{maintained, nonMaintained})
	near(t, "log-rank", chi2, 3.39639, 5e-6)
	near(t, "its probability", p, .06534, 5e-6)
	if df != 1 {
		t.Errorf("%d degrees of freedom", df)
	}
}

func TestWaitingByR(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1958, 1966))
	for range 5 { // R takes its second each time
		groups := make([][]Watched, 2+r.IntN(4))
		var q struct {
			Days  []float64 `json:"days"`
			Came  []bool    `json:"came"`
			Group []int     `json:"group"`
		}
		var all []Watched
		for g := range groups {
			for range 4 + r.IntN(12) {
				w := Watched{float64(1 + r.IntN(30)), r.IntN(3) > 0}
				groups[g], all = append(groups[g], w), append(all, w)
				q.Days, q.Came, q.Group = append(q.Days, w.Days), append(q.Came, w.Came), append(q.Group, g)
			}
		}
		var got struct {
			Waiting struct {
				Days, Waiting []float64
				Low, High     []any // "NA" where there is none
				Median        []any
				Chi2, P       float64
			}
		}
		reference.AskR(t, map[string]any{"waiting": q}, &got)
		c := Estimate(all)
		if len(c.Points) != len(got.Waiting.Days) {
			t.Fatalf("%d days, R has %d", len(c.Points), len(got.Waiting.Days))
		}
		for i, p := range c.Points {
			near(t, "day", p.Day, got.Waiting.Days[i], 0)
			near(t, "waiting", p.Waiting, got.Waiting.Waiting[i], 1e-12)
			if low, ok := got.Waiting.Low[i].(float64); ok {
				near(t, "low", p.Low, low, 1e-9)
				near(t, "high", p.High, got.Waiting.High[i].(float64), 1e-9)
			} else if p.Waiting > 0 {
				t.Errorf("R has no interval on day %v, where %v wait", p.Day, p.Waiting)
			}
		}
		for i, v := range []float64{c.Median, c.MedianLow, c.MedianHigh} {
			want, ok := got.Waiting.Median[i].(float64)
			if !ok {
				want = math.NaN()
			}
			near(t, fmt.Sprint("median and its bounds, ", i), v, want, 1e-12)
		}
		p, chi2, _ := LogRank(groups)
		near(t, "log-rank", chi2, got.Waiting.Chi2, 1e-9)
		near(t, "its probability", p, got.Waiting.P, 1e-9)
	}
}

func TestShareByR(t *testing.T) {
	t.Parallel()
	q := struct {
		K []int `json:"k"`
		N []int `json:"n"`
	}{[]int{0, 1, 3, 5, 40, 7}, []int{4, 9, 3, 5, 100, 200}}
	var got struct{ Share [][2]float64 }
	reference.AskR(t, map[string]any{"share": q}, &got)
	for i := range q.K {
		s := ShareOf(q.K[i], q.N[i])
		near(t, "low", s.Low, got.Share[i][0], 1e-9)
		near(t, "high", s.High, got.Share[i][1], 1e-9)
	}
	if s := ShareOf(0, 0); s.Low != 0 || s.High != 1 {
		t.Errorf("of nothing: %+v", s)
	}
}

func TestNothingToTell(t *testing.T) {
	t.Parallel()
	for name, groups := range map[string][][]Watched{
		"no group": nil, "one": {maintained}, "one and nobody": {maintained, nil}, "nobody ate": {watched(-3, -4), watched(-5)},
	} {
		if p, _, df := LogRank(groups); !math.IsNaN(p) || df != 0 {
			t.Errorf("%s: p %v with %d degrees of freedom", name, p, df)
		}
	}
	if c := Estimate(nil); !math.IsNaN(c.Median) || len(c.Points) != 0 {
		t.Errorf("of nobody: %+v", c)
	}
	if c := Estimate(watched(-3, -9)); !math.IsNaN(c.Median) || c.Points[1].Waiting != 1 {
		t.Errorf("nobody ate: %+v", c)
	}
}
