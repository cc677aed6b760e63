package care

// Thresholds are where a breeder wants the levels of the breeder's own cases to
// begin. 0 stands for the program's own value, so only what differs is kept.
// assess.OwnThresholds says what each means and how far it may be moved.
type Thresholds struct {
	// Watch and Act are the chances of a lasting refusal, above 0 and below 1, from
	// which a case is on watch and is to be stepped into. As chances they keep
	// their meaning when the score behind them is fitted anew.
	Watch float64 `json:"watch_from,omitempty"`
	Act   float64 `json:"act_from,omitempty"`
	// Lost is the chance that a tenth of the mass is gone from which the weight
	// is a red rule. More than the program's own does not count.
	Lost float64 `json:"lost_from,omitempty"`
	// SilenceGaps is how long a keeper may be silent, in times of the longest
	// usual gap between two offers.
	SilenceGaps float64 `json:"silence_gaps,omitempty"`
	// FirstWordDays is how long the first word after the handover may take, days.
	FirstWordDays float64 `json:"first_word_days,omitempty"`
}

// ThresholdCodes are the codes of the thresholds, in the order in which
// they are shown.
var ThresholdCodes = [...]string{"watch_from", "act_from", "lost_from", "silence_gaps", "first_word_days"}

// Of is where the threshold with this code is kept, nil for an unknown code.
func (t *Thresholds) Of(code string) *float64 {
	switch code {
	case "watch_from":
		return &t.Watch
	case "act_from":
		return &t.Act
	case "lost_from":
		return &t.Lost
	case "silence_gaps":
		return &t.SilenceGaps
	case "first_word_days":
		return &t.FirstWordDays
	}
	return nil
}
