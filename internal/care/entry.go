package care

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Kind names what an entry records. The names are those of the case file.
type Kind string

// The kinds of entry.
const (
	KindOffer      Kind = "offer"
	KindWeighIn    Kind = "weigh_in"
	KindClimate    Kind = "climate"
	KindShed       Kind = "shed"
	KindSign       Kind = "sign"
	KindSetup      Kind = "setup"
	KindSeen       Kind = "seen"
	KindStep       Kind = "step"
	KindMessage    Kind = "message"
	KindOutcome    Kind = "outcome"
	KindWithdrawal Kind = "withdrawal"
)

// Entry is one line of an animal's log. Entries are never changed: a
// correction is a new entry whose Replaces names the old one.
type Entry struct {
	BreederID  string
	AnimalID   string
	ID         string // UUID made where the entry was made
	CaseID     string // "" for the breeder's history outside a case
	By         ActorKind
	ByID       string
	HappenedAt time.Time
	ReceivedAt time.Time
	Replaces   string // id of the entry this one corrects, or ""
	ReplacedBy string // id of the entry that corrects this one, or ""
	// Confirmed says that a person looked at a value the program took for a
	// slip and said that it is right.
	Confirmed bool
	Note      string
	Body      Body
}

// Current reports whether the entry counts: it was neither corrected nor
// withdrawn.
func (e *Entry) Current() bool {
	return e.ReplacedBy == "" && e.Body != nil && e.Body.Kind() != KindWithdrawal
}

// Body is what an entry records; one of the types below, by value.
type Body interface{ Kind() Kind }

// OfferResult is how an offer ended.
type OfferResult string

// The results. Regurgitated is dated when it was found and cancels the last
// meal.
const (
	Eaten        OfferResult = "eaten"
	Refused      OfferResult = "refused"
	Struck       OfferResult = "struck" // struck and let go: not eaten
	Regurgitated OfferResult = "regurgitated"
)

// PreyState is how the prey was offered.
type PreyState string

// The states of prey.
const (
	Thawed    PreyState = "thawed"
	Prekilled PreyState = "prekilled"
	Live      PreyState = "live"
)

// Offer is one time food was put before the animal.
type Offer struct {
	Result    OfferResult `json:"result"`
	Prey      string      `json:"prey,omitempty"`       // rat, mouse, chick, ...; "" unknown
	PreyState PreyState   `json:"prey_state,omitempty"` // "" unknown
	PreyMass  Grams       `json:"prey_g,omitempty"`     // 0 unknown
}

// WeighIn is one weighing.
type WeighIn struct {
	Mass Grams `json:"mass_g"`
}

// TakenWith is how a climate reading was taken.
type TakenWith string

// The ways. A stick-on dial or strip measures the wall it sits on.
const (
	WithUnknown  TakenWith = "unknown"
	WithProbe    TakenWith = "probe"
	WithInfrared TakenWith = "infrared"
	WithDial     TakenWith = "dial"
	WithStrip    TakenWith = "strip"
)

// ClimateReading holds what was read; nil is not read. Surface is the hottest
// thing the animal can touch.
type ClimateReading struct {
	Warm      *Celsius  `json:"warm_c,omitempty"`
	Cool      *Celsius  `json:"cool_c,omitempty"`
	Night     *Celsius  `json:"night_c,omitempty"`
	Surface   *Celsius  `json:"surface_c,omitempty"`
	Humidity  *Percent  `json:"humidity_pct,omitempty"`
	TakenWith TakenWith `json:"taken_with,omitempty"`
}

// ShedStage is a stage of a skin change.
type ShedStage string

// The stages: opaque ("in blue"), clear again, shed.
const (
	Opaque   ShedStage = "opaque"
	Cleared  ShedStage = "clear"
	ShedDone ShedStage = "shed"
)

// Shed is one observation of a skin change; Complete is nil when unknown.
type Shed struct {
	Stage    ShedStage `json:"stage"`
	Complete *bool     `json:"complete,omitempty"`
}

// Sign is something seen on the animal, or no longer seen; Code is a key of the
// signs table in package assess.
type Sign struct {
	Code string `json:"sign"`
	Gone bool   `json:"gone,omitempty"` // it was looked for, and is not there any more
}

// SetupAnswer is the answer to one point of the setup checklist.
type SetupAnswer struct {
	Point   string      `json:"point"`                // key of the checklist
	Choice  string      `json:"choice"`               // one of the point's choices
	Measure Millimetres `json:"measure_mm,omitempty"` // 0 not measured; what it measures the point says
	// Sizes are the point's further sizes that were taken, by code.
	Sizes  map[string]float64 `json:"sizes,omitempty"`
	Photos []string           `json:"photos,omitempty"` // photo ids of the same case
	Note   string             `json:"note,omitempty"`
	// MeasureSD is the standard deviation of Measure where it is known; 0: that of
	// a ruler.
	MeasureSD Millimetres `json:"measure_sd_mm,omitempty"`
	// Taps are what Measure was worked out from; nil: somebody typed it.
	Taps *Taps `json:"taps,omitempty"`
}

// Spot is a place in a photo, in pixels of its large size from the upper left
// corner.
type Spot struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// Taps is where somebody tapped in a photo to measure an opening, so that it can
// be measured again.
type Taps struct {
	Photo string `json:"photo"`
	Slot  bool   `json:"slot,omitempty"` // the gap between two edges; else a diameter
	Rim   []Spot `json:"rim"`
	Card  []Spot `json:"card,omitempty"` // corners of a bank card; none: the handover card is in the photo
}

// SetupCheck is the keeper's walk through the checklist, or a part of it: for
// each point the latest answer counts.
type SetupCheck struct {
	Answers []SetupAnswer `json:"answers"`
}

// Seen is a proof of contact: the keeper opened the app.
type Seen struct{}

// StepAgreed is a step that breeder and keeper agreed on, with the days it
// holds.
type StepAgreed struct {
	Code      string `json:"step"`
	HoldsDays int    `json:"holds_days,omitempty"`
}

// Message is one message of a case's thread.
type Message struct {
	Text   string   `json:"text"`
	Photos []string `json:"photos,omitempty"`
	// Mark says that the text is about a point of the setup; nil: it is not.
	Mark *Mark `json:"mark,omitempty"`
}

// MarkKind is what the breeder says of a point of the setup.
type MarkKind string

// The marks. A hazard stands until the breeder says fine, or the place is
// measured anew; again asks for another picture of it.
const (
	MarkHazard MarkKind = "hazard"
	MarkAgain  MarkKind = "again"
	MarkFine   MarkKind = "fine"
)

// Mark is what the breeder saw in a photo of the setup.
type Mark struct {
	Kind  MarkKind `json:"mark"`
	Point string   `json:"point"`           // of the checklist
	Photo string   `json:"photo,omitempty"` // of the same case; "" none
	At    *Spot    `json:"at,omitempty"`    // where in the photo; nil: all of it
}

// Outcome is how a case ended.
type Outcome string

// The outcomes.
const (
	OutcomeSettled   Outcome = "settled"
	OutcomeReturned  Outcome = "returned"
	OutcomeVet       Outcome = "vet"
	OutcomeDied      Outcome = "died"
	OutcomeLostTouch Outcome = "lost_touch"
	OutcomePassedOn  Outcome = "passed_on" // the keeper passed it on to another
	OutcomeLeft      Outcome = "left"      // the keeper left and was erased
)

// Ended closes a case with its outcome; Reopened undoes it.
type Ended struct {
	Outcome  Outcome `json:"outcome"`
	Reopened bool    `json:"reopened,omitempty"`
	Lessons  Lessons `json:"lessons,omitempty"` // of an animal that came back
}

// Lessons are what was learned from an animal that came back: codes in their order,
// with a space between.
type Lessons string

// lessons are the codes, which are stored: common findings, common practice, no source.
var lessons = []string{
	"warmth",        // it was too cool or too warm
	"hides",         // too little to hide in
	"handling",      // handled much, or early
	"food",          // other food than it knew
	"pauses",        // food offered again too soon
	"enclosure",     // a gap, an opening or a sharp thing
	"illness",       // it was ill
	"circumstances", // the keeper's life changed
	"late",          // the breeder heard of it too late
}

// LessonsOf are those with these codes.
func LessonsOf(codes []string) (Lessons, error) {
	var kept []string
	for _, code := range lessons {
		if slices.Contains(codes, code) {
			kept = append(kept, code)
		}
	}
	for _, code := range codes {
		if !slices.Contains(lessons, code) {
			return "", BadField("lessons", "“{lesson}” is none of what can be learned. Choose from: {lessons}.", code, strings.Join(lessons, ", "))
		}
	}
	return Lessons(strings.Join(kept, " ")), nil
}

// Codes are the codes.
func (l Lessons) Codes() []string { return strings.Fields(string(l)) }

// Withdrawal replaces an entry by nothing.
type Withdrawal struct{}

// Kind names the kind.
func (Offer) Kind() Kind          { return KindOffer }
func (WeighIn) Kind() Kind        { return KindWeighIn }
func (ClimateReading) Kind() Kind { return KindClimate }
func (Shed) Kind() Kind           { return KindShed }
func (Sign) Kind() Kind           { return KindSign }
func (SetupCheck) Kind() Kind     { return KindSetup }
func (Seen) Kind() Kind           { return KindSeen }
func (StepAgreed) Kind() Kind     { return KindStep }
func (Message) Kind() Kind        { return KindMessage }
func (Ended) Kind() Kind          { return KindOutcome }
func (Withdrawal) Kind() Kind     { return KindWithdrawal }

// EncodeBody is the body as JSON, in the fields of the case file.
func EncodeBody(b Body) ([]byte, error) { return json.Marshal(b) }

// DecodeBody reads what EncodeBody wrote.
func DecodeBody(k Kind, data []byte) (Body, error) {
	switch k {
	case KindOffer:
		return decode[Offer](data)
	case KindWeighIn:
		return decode[WeighIn](data)
	case KindClimate:
		return decode[ClimateReading](data)
	case KindShed:
		return decode[Shed](data)
	case KindSign:
		return decode[Sign](data)
	case KindSetup:
		return decode[SetupCheck](data)
	case KindSeen:
		return decode[Seen](data)
	case KindStep:
		return decode[StepAgreed](data)
	case KindMessage:
		return decode[Message](data)
	case KindOutcome:
		return decode[Ended](data)
	case KindWithdrawal:
		return decode[Withdrawal](data)
	}
	return nil, fmt.Errorf("unknown kind of entry %q", k)
}

func decode[B Body](data []byte) (Body, error) {
	var b B
	if err := json.Unmarshal(data, &b); err != nil {
		return nil, fmt.Errorf("entry body: %w", err)
	}
	return b, nil
}
