package assess

import "warmhand/internal/care"

// hysteresis holds a level against small changes: up at once, down only after
// three days well below the threshold and something new heard. The idea is
// that of alarm off-delay and deadband (OPC UA Part 9).
type hysteresis struct {
	level     int // 0 none, 1 watch, 2 ask, 3 act
	lowDays   int
	heardThen int // observations when the days below began
}

// thresholds were set on simulated animals for a budget of false alarms: 40,
// 20 and 10 % of healthy animals ever reach them in 75 days.
var thresholds = [...]float64{1: -1.8, 2: -1.1, 3: -.4}

const (
	deadband = 1.0
	offDays  = 3
)

func (h *hysteresis) look(alarm float64, observations int) {
	target := 0
	for l := 3; l > 0; l-- {
		if alarm >= thresholds[l] {
			target = l
			break
		}
	}
	switch {
	case target >= h.level:
		h.level, h.lowDays = target, 0
	case alarm >= thresholds[h.level]-deadband:
		h.lowDays = 0
	default:
		if h.lowDays == 0 {
			h.heardThen = observations - 1 // what brought it down counts as new
		}
		h.lowDays++
		if h.lowDays >= offDays && observations > h.heardThen {
			h.level, h.lowDays = target, 0
		}
	}
}

func (h *hysteresis) standing() care.Standing {
	switch h.level {
	case 3:
		return care.StepIn
	case 0:
		return care.Settled
	}
	return care.Watch
}
