package cohort

import (
	"math"
	"math/rand/v2"
	"testing"

	"warmhand/internal/reference"
)

// The measures and the calibration line, with many ties, by R.
func TestMeasuresByR(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1947, 50))
	var p []float64
	var y []bool
	for range 800 {
		v := (1 + math.Floor(60*r.Float64())) / 64
		p, y = append(p, v), append(y, r.Float64() < .8*v*v)
	}
	var got struct {
		Judgement struct {
			AUROC, AUPRC, Brier float64
			Line                [2]float64
		}
	}
	reference.AskR(t, map[string]any{"judgement": map[string]any{"p": p, "y": y}}, &got)
	line := Recalibrate(p, y)
	for what, v := range map[string][2]float64{
		"AUROC": {AUROC(p, y), got.Judgement.AUROC}, "AUPRC": {AUPRC(p, y), got.Judgement.AUPRC}, "Brier": {Brier(p, y), got.Judgement.Brier},
		"A": {line.A, got.Judgement.Line[0]}, "B": {line.B, got.Judgement.Line[1]},
	} {
		if !(math.Abs(v[0]-v[1]) < 1e-9) {
			t.Errorf("%s is %v, R has %v", what, v[0], v[1])
		}
	}
}
