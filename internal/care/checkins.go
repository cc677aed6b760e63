package care

// CheckIns are when a breeder wants keepers to be asked how it goes. 0 stands for
// the program's own value, NotAsked for not at all. assess.OwnCheckIns says what
// each means and how far it may be moved.
type CheckIns struct {
	FirstNight  int `json:"first_night,omitempty"`  // days after the handover
	SettlingIn  int `json:"settling_in,omitempty"`  // days after the handover
	BeforeOffer int `json:"before_offer,omitempty"` // days before the first offer
	AfterOffer  int `json:"after_offer,omitempty"`  // days after the first offer
	Rhythm      int `json:"rhythm,omitempty"`       // least days between two questions while all is well
	MonthEnd    int `json:"month_end,omitempty"`    // days after the handover
}

// NotAsked is the value of a check-in that a breeder leaves out.
const NotAsked = -1

// The codes of the check-ins.
const (
	CheckInFirstNight  = "first_night"
	CheckInSettlingIn  = "settling_in"
	CheckInBeforeOffer = "before_offer"
	CheckInAfterOffer  = "after_offer"
	CheckInRhythm      = "rhythm"
	CheckInMonthEnd    = "month_end"
)

// CheckInCodes are the codes in the order in which they are shown.
var CheckInCodes = [...]string{CheckInFirstNight, CheckInSettlingIn, CheckInBeforeOffer, CheckInAfterOffer, CheckInRhythm, CheckInMonthEnd}

// Of is where the check-in with this code is kept, nil for an unknown code.
func (c *CheckIns) Of(code string) *int {
	switch code {
	case CheckInFirstNight:
		return &c.FirstNight
	case CheckInSettlingIn:
		return &c.SettlingIn
	case CheckInBeforeOffer:
		return &c.BeforeOffer
	case CheckInAfterOffer:
		return &c.AfterOffer
	case CheckInRhythm:
		return &c.Rhythm
	case CheckInMonthEnd:
		return &c.MonthEnd
	}
	return nil
}
