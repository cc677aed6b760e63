package assess

import (
	"math"
	"testing"
	"time"

	"warmhand/internal/care"
)

var d0 = time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)

func at(d float64) time.Time { return d0.Add(time.Duration(d * float64(day))) }

// workedExample is the worked example of the method: a ball python hatchling
// whose numbers were computed by an independent implementation.
func workedExample() (*Subject, []care.Entry) {
	hatched := d0.AddDate(0, -3, -10)
	s := &Subject{Animal: care.Animal{Species: "python_regius", Hatched: &hatched}, HandedOverAt: d0, Hemi: care.South}
	var log []care.Entry
	add := func(d float64, by care.ActorKind, b care.Body) {
		log = append(log, care.Entry{ID: string(rune('a' + len(log))), By: by, HappenedAt: at(d), ReceivedAt: at(d), Body: b})
	}
	i := 0
	for d := -87.0; d <= -10; d += 7 {
		r := care.Eaten
		if i == 2 {
			r = care.Refused
		}
		add(d, care.BreederOwner, care.Offer{Result: r, Prey: "rat"})
		i++
	}
	add(-9.99, care.BreederOwner, care.WeighIn{Mass: 92})
	add(-.001, care.BreederOwner, care.WeighIn{Mass: 91})
	warm := care.Celsius(29)
	add(7, care.KeeperActor, care.Offer{Result: care.Refused, Prey: "rat", PreyMass: 12})
	add(7.001, care.KeeperActor, care.ClimateReading{Warm: &warm, TakenWith: care.WithProbe})
	add(13, care.KeeperActor, care.Offer{Result: care.Refused, Prey: "rat", PreyMass: 12})
	add(14, care.KeeperActor, care.WeighIn{Mass: 88})
	add(19, care.KeeperActor, care.Offer{Result: care.Refused, Prey: "rat", PreyMass: 12})
	add(21, care.KeeperActor, care.WeighIn{Mass: 85})
	add(26, care.KeeperActor, care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 11})
	return s, log
}

func TestWorkedExample(t *testing.T) {
	t.Parallel()
	rows := []struct{ day, feed, total, pX, pB, loss, sd, p10 float64 }{
		{0, -3.4761, -3.4761, .0300, .0800, 0, .0210, 0},
		{6, -3.2239, -3.2239, .0383, .0782, .0150, .0234, .0001},
		{7, -1.4086, -1.4086, .1965, .2121, .0175, .0241, .0003},
		{13, -.6200, -.6200, .3498, .3034, .0325, .0300, .0122},
		{14, -.6194, -1.2351, .2253, .2927, .0340, .0222, .0015},
		{19, -.0597, -.6224, .3492, .3398, .0463, .0274, .0250},
		{21, -.0671, -.7778, .3148, .3151, .0585, .0212, .0250},
		{25, -.0815, -.7420, .3226, .2717, .0695, .0251, .1123},
		{26, -1.6853, -2.3299, .0887, .0856, .0722, .0262, .1446},
		{33, -1.6008, -2.1457, .1047, .0791, .0465, .0360, .0683},
	}
	s, log := workedExample()
	for _, r := range rows {
		var e engine
		e.run(s, log, at(r.day+.5), nil)
		m, sd := e.weight.tissue()
		for name, v := range map[string][2]float64{
			"feeding and climate": {e.feed.logOdds(), r.feed}, "total": {e.logOdds(), r.total},
			"P(failing)": {logistic(e.logOdds()), r.pX}, "P(benign fast)": {e.feed.b, r.pB},
			"loss": {1 - m, r.loss}, "sd": {sd, r.sd}, "P(loss>10 %)": {e.weight.pLoss(.10), r.p10},
		} {
			if math.Abs(v[0]-v[1]) > 6e-5 {
				t.Errorf("day %v: %s is %.4f, want %.4f", r.day, name, v[0], v[1])
			}
		}
	}
}
