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

	Words CheckInWords `json:"words,omitzero"`
}

// CheckInWords are a breeder's own words for what is asked at each check-in; ""
// stands for the program's.
type CheckInWords struct {
	FirstNight  string `json:"first_night,omitempty"`
	SettlingIn  string `json:"settling_in,omitempty"`
	BeforeOffer string `json:"before_offer,omitempty"`
	AfterOffer  string `json:"after_offer,omitempty"`
	Rhythm      string `json:"rhythm,omitempty"`
	MonthEnd    string `json:"month_end,omitempty"`
}

// CheckInWordsMost is how many characters own words may have.
const CheckInWordsMost = 160

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

// WordsOf is where the own words for the check-in with this code are kept, nil for
// an unknown code.
func (c *CheckIns) WordsOf(code string) *string {
	switch w := &c.Words; code {
	case CheckInFirstNight:
		return &w.FirstNight
	case CheckInSettlingIn:
		return &w.SettlingIn
	case CheckInBeforeOffer:
		return &w.BeforeOffer
	case CheckInAfterOffer:
		return &w.AfterOffer
	case CheckInRhythm:
		return &w.Rhythm
	case CheckInMonthEnd:
		return &w.MonthEnd
	}
	return nil
}
