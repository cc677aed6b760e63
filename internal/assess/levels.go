package assess

import (
	"math"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// ladder holds a level against small changes: up at once, down only after
// three days well below the threshold and with something new heard since. The
// idea is that of off-delay and deadband of alarms (OPC UA Part 9).
type ladder struct {
	level     int
	lowDays   int
	heardThen int // observations when it was last not low
}

// The levels of the alarm score.
const (
	levelWatch = 1 + iota
	levelAsk   // one question, or a weigh-in
	levelAct
)

var (
	alarmFrom = snake.Numbers("level", "alarm", 3) // log-odds
	lostFrom  = snake.Number("level", "lost")
	shownFrom = snake.Number("level", "shown") // chance of lost from which a weight has shown it
	deadband  = snake.Number("level", "deadband")
	offDays   = int(snake.Number("level", "off_days"))
)

// ladders are the scores from which each level begins, as look takes them.
// Thresholds that make no ladder count as none; so does a chance of loss above
// the tables', for the red rule of the weight may come earlier but not later.
func ladders(t *care.Thresholds) (alarm [levelAct + 1]float64, lost [2]float64) {
	watch, ask, act := alarmFrom[0], alarmFrom[1], alarmFrom[2]
	if t.Watch > 0 && t.Watch < 1 {
		watch = scoreOf(t.Watch)
	}
	if t.Act > 0 && t.Act < 1 {
		act = scoreOf(t.Act)
	}
	if watch > act {
		watch, act = alarmFrom[0], alarmFrom[2]
	}
	chance := lostFrom
	if t.Lost > 0 && t.Lost < chance {
		chance = t.Lost
	}
	low := math.Inf(-1)
	return [...]float64{low, levelWatch: watch, levelAsk: math.Min(math.Max(watch, ask), act), levelAct: act}, [...]float64{low, logit(chance)}
}

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
