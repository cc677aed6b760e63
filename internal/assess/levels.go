package assess

import (
	"math"

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

// Thresholds are where the levels begin. The zero value of each stands for that
// of the tables, so that the zero Thresholds are the program's own.
type Thresholds struct {
	// Watch, Ask and Act are alarm scores, in log-odds. Where they do not rise,
	// the tables' count.
	Watch, Ask, Act float64
	// Lost is the chance that a tenth of the mass is gone from which the weight
	// is a red rule, above 0 and below 1.
	Lost float64
}

var (
	ownThresholds = func() Thresholds {
		v := snake.Numbers("level", "alarm", 3)
		return Thresholds{v[0], v[1], v[2], snake.Number("level", "lost")}
	}()
	deadband = snake.Number("level", "deadband")
	offDays  = int(snake.Number("level", "off_days"))
)

// ladders are the scores from which each level begins, as look takes them.
func (t Thresholds) ladders() (alarm [levelAct + 1]float64, lost [2]float64) {
	own := ownThresholds
	if t.Watch == 0 {
		t.Watch = own.Watch
	}
	if t.Ask == 0 {
		t.Ask = own.Ask
	}
	if t.Act == 0 {
		t.Act = own.Act
	}
	if !(t.Watch <= t.Ask && t.Ask <= t.Act) {
		t.Watch, t.Ask, t.Act = own.Watch, own.Ask, own.Act
	}
	if !(t.Lost > 0 && t.Lost < 1) {
		t.Lost = own.Lost
	}
	low := math.Inf(-1)
	return [...]float64{low, levelWatch: t.Watch, levelAsk: t.Ask, levelAct: t.Act}, [...]float64{low, logit(t.Lost)}
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
