package care

import (
	"cmp"
	"strconv"
	"time"

	"warmhand/internal/words"
)

// HandoverState is where a handover is.
type HandoverState string

// The states. Expired is derived from ClaimExpiresAt and never stored.
const (
	HandoverIssued  HandoverState = "issued"
	HandoverClaimed HandoverState = "claimed"
	HandoverRevoked HandoverState = "revoked"
	HandoverExpired HandoverState = "expired"
)

// Handover is the sale of one animal: its record and its claim. The case that
// follows it up has the same id.
type Handover struct {
	BreederID      string
	ID             string
	AnimalID       string
	From           string // the case whose keeper passes the animal on; "" when the breeder hands it over
	State          HandoverState
	HandedOverAt   time.Time
	ShowDay        string
	BuyerNote      string // the breeder's own note on the buyer; personal, never in the record
	Price          Price
	Record         Record
	Signed         string // the record signed by the breeder's key, a compact JWS; "" when it was not
	CodeHash       string
	ClaimExpiresAt time.Time
	ClaimedAt      *time.Time
	KeeperID       string
	CreatedAt      time.Time
	Version        int64
}

// ForKeeper leaves out what is the breeder's own.
func (h *Handover) ForKeeper() {
	h.BuyerNote, h.Price = "", Price{}
}

// StateAt is the state at an instant, with expiry taken into account.
func (h *Handover) StateAt(now time.Time) HandoverState {
	if h.State == HandoverIssued && !now.Before(h.ClaimExpiresAt) {
		return HandoverExpired
	}
	return h.State
}

// Record is the handover record as it was issued: a copy, so that what the
// keeper was told stays as it was.
type Record struct {
	Animal    Animal
	Breeder   string // the breeder's name
	Contact   string
	Weights   []Entry // the breeder's weigh-ins, oldest first
	Offers    []Entry // the breeder's offers, oldest first
	Sheds     []Entry
	FeedNext  words.Text // plain sentences: what, how big, how often, when first
	Checklist []ChecklistItem
	Cautions  []words.Text
	// Mother and Father as the stock book had them; without a name, it had none.
	Mother, Father Parent
	// Kept is how the animal was kept when the breeder last measured, at KeptAt;
	// the zero time: never.
	Kept        ClimateReading
	KeptAt      time.Time
	IssuedAt    time.Time
	SchemaMinor int
}

// Parent is what a record says of an animal's mother or father.
type Parent struct {
	Name  string
	Genes []string
}

// ChecklistItem is one point of the setup checklist as made for one animal.
type ChecklistItem struct {
	Point string
	// ForThisAnimal is the sentence that the animal's species, size or genes
	// add, or nothing.
	ForThisAnimal words.Text
	// ShutBelow and PassAbove bound the unsafe widths of an opening for this
	// body; MaxDepth bounds water; MaxHeight a climb. 0: no such limit.
	ShutBelow, PassAbove, MaxDepth, MaxHeight Millimetres
}

// Standing is where a case is, in the order of urgency.
type Standing int

// The standings.
const (
	Settled Standing = iota
	Watch
	StepIn
	Vet
)

// String is the name on the wire and in case files.
func (s Standing) String() string {
	return [...]string{"settled", "watch", "step_in", "vet"}[s]
}

// Reason is a fact that moved the standing: its weight in log-odds (positive
// raises concern), and the entries that show it.
type Reason struct {
	Code     string     `json:"code"`
	Weight   float64    `json:"weight"`
	Text     words.Text `json:"text"`
	Evidence []string   `json:"evidence,omitempty"`
}

// Cause is what would explain a refusal, with its share of one.
type Cause struct {
	Code  string     `json:"code"`
	Share float64    `json:"share"`
	Text  words.Text `json:"text"`
}

// Step is something suggested next.
type Step struct {
	Code      string     `json:"code"`
	Text      words.Text `json:"text"`       // for the keeper
	HoldsDays int        `json:"holds_days"` // how long it should be given
}

// Case is one handover that is being followed up. Everything from Standing on
// is derived from the log and may be rebuilt.
type Case struct {
	BreederID    string
	ID           string // the handover's id
	AnimalID     string
	KeeperID     string // "" until claimed
	KeeperName   string // what the keeper calls themselves; personal
	HandedOverAt time.Time
	ClosedAt     *time.Time
	Outcome      Outcome // "" while open
	// Earlier are the cases of the keepers before, each of whom passed the animal
	// on: what was seen of it then is history here (PassedOn), oldest first.
	Earlier    []string
	GiveBackAt *time.Time // when the keeper asked to give the animal back; nil: not
	Return     Return
	// LookedAfterBy is who of the breeder's people sees to this case, a name as they
	// call each other; "" for whoever comes. It lets nobody in and keeps nobody out.
	LookedAfterBy string
	Aside         Aside
	// GotAt and ReadAt are up to when the breeder's messages have arrived on the
	// keeper's phone and were opened there; nil: none.
	GotAt, ReadAt *time.Time
	// Learned is the feeding prior at handover, from the breeder's own animals.
	Learned Learned
	// Thresholds are those that it was last assessed by: the breeder's while it
	// was open, so that an ended case keeps the standing that it ended with.
	Thresholds Thresholds
	CreatedAt  time.Time
	Version    int64

	Standing   Standing
	Urgency    float64
	Headline   words.Text // the first reason in plain words, for the list
	Assessment []byte     // the full assessment, JSON
	AssessedAt time.Time
	// Ahead is what Headline and NextStep are on the days after AssessedAt if nothing
	// is logged until DueAt, JSON of followup's; nil: of none.
	Ahead     []byte
	DueAt     time.Time // when the passing of time alone calls for a new look
	LastHeard *time.Time
	SeenAt    *time.Time // when the breeder last looked
	SeenAs    Standing   // as what it stood then
	ChangedAt time.Time  // when the standing last changed
	// WroteAt, ToldAt and AnsweredAt are when the keeper's newest message came in,
	// the keeper's newest entry that says more than that the app was opened, and
	// the breeder's newest message or step; nil: never.
	WroteAt, ToldAt, AnsweredAt *time.Time
	Silent                      bool       // for longer than is usual nothing was heard
	NextStep                    words.Text // what the keeper might do next, the most useful
}

// Return is how far an animal is on its way back to the breeder. While it is on
// its way the follow-up goes on; with its arrival the case ends as returned, and
// only the quarantine is left.
type Return struct {
	AgreedAt        *time.Time `json:"agreed_at,omitempty"`
	How             string     `json:"how,omitempty"`     // when and how it travels, as both read it
	LeftAt          *time.Time `json:"left_at,omitempty"` // when it went on its way
	QuarantineUntil *time.Time `json:"quarantine_until,omitempty"`
}

// Aside takes a case off the list until a day. The zero value is on the list.
type Aside struct {
	Until *time.Time
	At    *time.Time // when it was set aside
	Why   string     // in the breeder's words; for the breeder only
}

// Holds reports whether the case is aside at an instant.
func (a *Aside) Holds(now time.Time) bool { return a.Until != nil && now.Before(*a.Until) }

// comesBack reports whether a case that was set aside belongs on the list again:
// the day has come, it has ended, it has become one to step into, or its keeper
// wrote or asked to give the animal back. before is how it stood so far.
func (c *Case) comesBack(before Standing, now time.Time) bool {
	since := func(at *time.Time) bool { return at != nil && at.After(*c.Aside.At) }
	return !c.Aside.Holds(now) || c.ClosedAt != nil || c.Standing >= StepIn && c.Standing > before || since(c.WroteAt) || since(c.GiveBackAt)
}

// BringBack takes a case back onto the list if it belongs there again.
func (c *Case) BringBack(before Standing, now time.Time) {
	if c.Aside.Until != nil && c.comesBack(before, now) {
		c.Aside = Aside{}
	}
}

// Listen takes from a log who told and wrote what last in this case.
func (c *Case) Listen(log []Entry) {
	var wrote, told, answered *time.Time // in the log
	later := func(at **time.Time, e *Entry) {
		if *at == nil || e.ReceivedAt.After(**at) {
			*at = &e.ReceivedAt
		}
	}
	for i := range log {
		e := &log[i]
		if e.CaseID != c.ID || e.Body == nil {
			continue
		}
		k := e.Body.Kind()
		switch {
		case e.By == KeeperActor:
			if k != KindSeen && k != KindOutcome {
				later(&told, e)
			}
			if k == KindMessage && e.Current() {
				later(&wrote, e)
			}
		case (k == KindMessage || k == KindStep) && e.Current():
			later(&answered, e)
		}
	}
	c.WroteAt, c.ToldAt, c.AnsweredAt = copyOf(wrote), copyOf(told), copyOf(answered)
}

func copyOf(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	is := *t
	return &is
}

// Turn is whose move it is in a case.
type Turn string

// The turns. Nobody's is a case that simply goes on.
const (
	TurnNobody  Turn = ""
	TurnBreeder Turn = "breeder"
	TurnKeeper  Turn = "keeper"
)

// Turn says who is waited for. It is the breeder when the keeper wrote or wants to
// give the animal back and it is not agreed how or it is on its way, and when nothing was written or agreed since the case
// became one to step into; the keeper when nothing came after the breeder's last
// word, or the card was not claimed.
func (c *Case) Turn() Turn {
	after := func(a, b *time.Time) bool { return a != nil && (b == nil || a.After(*b)) }
	switch {
	case c.ClosedAt != nil || c.KeeperGone():
		return TurnNobody
	case c.KeeperID == "":
		return TurnKeeper
	case c.GiveBackAt != nil && c.Return.AgreedAt != nil && c.Return.LeftAt == nil:
		return TurnKeeper // to send it, or bring it
	case c.GiveBackAt != nil, after(c.WroteAt, c.AnsweredAt), c.Standing >= StepIn && after(&c.ChangedAt, c.AnsweredAt):
		return TurnBreeder
	case after(c.AnsweredAt, c.ToldAt):
		return TurnKeeper
	}
	return TurnNobody
}

// Learned is the feeding prior of the group breeder × species × age class at
// the time of the handover: mean refusal rate, strength in pseudo-offers, and
// how many of the breeder's animals it was learned from.
type Learned struct {
	Mean     float64 `json:"mean"`
	Strength float64 `json:"strength"`
	Animals  int     `json:"animals"`
}

// FeedingCount is one animal's refusals out of its offers at the breeder.
type FeedingCount struct{ Refused, Offers int }

// Flag is one concern of a case over its life: it opens, rises, falls, closes.
type Flag struct {
	BreederID string
	CaseID    string
	ID        string // stable: the concern's code and a count, e.g. "refusal-1"
	Code      string
	Level     Standing
	Text      words.Text
	OpenedAt  time.Time
	ClosedAt  *time.Time
	History   []FlagChange
}

// Compare orders the flags of a case as Tx.ListFlags has them: by opening, oldest first.
func (f Flag) Compare(g Flag) int {
	return cmp.Or(f.OpenedAt.Compare(g.OpenedAt), cmp.Compare(f.ID, g.ID))
}

// FlagChange is one change of a flag.
type FlagChange struct {
	At    time.Time  `json:"at"`
	Level Standing   `json:"level"`
	What  string     `json:"what"` // opened, rose, fell, closed
	Text  words.Text `json:"text"`
}

// Concern is one thing that an assessment finds, before it becomes a flag.
type Concern struct {
	Code    string     `json:"code"`
	Level   Standing   `json:"level"`
	Text    words.Text `json:"text"`
	Urgency float64    `json:"urgency"`
}

// Keeper is a buyer. The name is optional.
type Keeper struct {
	ID   string
	Name string
	// Language is the tag (BCP 47) of the one in which they are told what goes out
	// without a request; "" while nothing is known of it.
	Language  string
	CreatedAt time.Time
}

// PhotosOfCase is how many pictures a case can hold, so that nobody who has one fills
// the disk: five a day for more than a year, and less than a gigabyte as they are kept.
const PhotosOfCase = 2000

// Photo is one picture of a case; its bytes live elsewhere under Hash.
type Photo struct {
	BreederID     string
	CaseID        string
	ID            string // made on the phone
	By            ActorKind
	ByID          string
	Hash          string // key of the bytes
	Source        string // sha256 of what was sent, to recognise a repeat
	Width, Height int
	Bytes         int64
	Dark, Blurred bool
	TakenAt       *time.Time
	ReceivedAt    time.Time
	// LookedAt is when somebody of the breeder went past it in the review; nil: it
	// is new.
	LookedAt *time.Time
}

// UpdateFlags merges what an assessment found, the most urgent first, into the
// flags of a case and returns those that changed. A concern at Settled level
// closes its flag; of a concern that is named twice the first counts.
func UpdateFlags(caseOf *Case, flags []Flag, found []Concern, now time.Time) (changed []Flag) {
	open := map[string]int{}
	count := map[string]int{}
	for i := range flags {
		count[flags[i].Code]++
		if flags[i].ClosedAt == nil {
			open[flags[i].Code] = i
		}
	}
	still := map[string]bool{}
	for _, c := range found {
		if c.Level == Settled || still[c.Code] {
			continue
		}
		still[c.Code] = true
		i, ok := open[c.Code]
		if !ok {
			f := Flag{BreederID: caseOf.BreederID, CaseID: caseOf.ID, Code: c.Code, Level: c.Level, Text: c.Text, OpenedAt: now}
			f.ID = flagID(c.Code, count[c.Code]+1)
			f.History = []FlagChange{{now, c.Level, "opened", c.Text}}
			changed = append(changed, f)
			continue
		}
		f := flags[i]
		if f.Level == c.Level {
			continue
		}
		what := "rose"
		if c.Level < f.Level {
			what = "fell"
		}
		f.Level, f.Text = c.Level, c.Text
		f.History = append(append([]FlagChange(nil), f.History...), FlagChange{now, c.Level, what, c.Text})
		changed = append(changed, f)
	}
	for i, f := range flags {
		if at, ok := open[f.Code]; !ok || at != i || still[f.Code] {
			continue
		}
		at := now
		f.ClosedAt = &at
		f.History = append(append([]FlagChange(nil), f.History...), FlagChange{now, f.Level, "closed", words.Text{}})
		changed = append(changed, f)
	}
	return changed
}

func flagID(code string, n int) string { return code + "-" + strconv.Itoa(n) }
