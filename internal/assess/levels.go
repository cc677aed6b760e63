package assess

import "math"

// ladder holds a level against small changes: up at once, down only after
// three days well below the threshold and with something new heard since. The
// idea is that of off-delay and deadband of alarms (OPC UA Part 9).
type ladder struct {
	level     int
	lowDays   int
	heardThen int // observations when it was last not low
}

// The levels of the alarm score. The thresholds were set for a budget of false
// alarms: 40, 20 and 10 % of healthy animals ever reach them in 75 days, in the
// base world of package cohort, seeds 101 and 102.
const (
	levelWatch = 1 + iota
	levelAsk   // one question, or a weigh-in
	levelAct
)

var (
	alarmThresholds = []float64{levelWatch: -1.8, levelAsk: -1, levelAct: -.3, 0: math.Inf(-1)}
	// lostThresholds: more likely than not, by log-odds.
	lostThresholds = []float64{math.Inf(-1), 0}
)

const (
	deadband = 1.0
	offDays  = 3
)

func (h *ladder) look(score float64, thresholds []float64, observations int) {
	target := len(thresholds) - 1
	for target > 0 && !(score >= thresholds[target]) {
		target--
	}
	if target >= h.level || score >= thresholds[h.level]-deadband {
		h.level = max(h.level, target)
		h.lowDays, h.heardThen = 0, observations
		return
	}
	if h.lowDays++; h.lowDays >= offDays && observations > h.heardThen {
		h.level, h.lowDays, h.heardThen = target, 0, observations
	}
}
