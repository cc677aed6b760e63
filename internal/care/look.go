package care

import "time"

// LookDays is how long it is kept who looked at what.
const LookDays = 365

// LookKind is what of a keeper's case somebody looked at.
type LookKind string

// The kinds. A list of all cases shows a headline of each and is no look.
const (
	LookCase  LookKind = "case"  // how it stands, its course and its reasons
	LookLog   LookKind = "log"   // what was logged and written
	LookPhoto LookKind = "photo" // a picture
	LookFile  LookKind = "file"  // a copy was taken: a case file, an export, a letter
	LookCode  LookKind = "code"  // a code was made that signs in as the keeper
	// LookLetter: somebody opened the letter for the vet by a link; by Nobody, and
	// the id is the link's.
	LookLetter LookKind = "letter"
)

// Look is how often somebody of the breeder looked at one thing of a keeper's
// case on one day.
type Look struct {
	BreederID, CaseID string
	By                ActorKind
	ByID              string // of the person or the token
	What              LookKind
	Day               time.Time // midnight UTC
	FirstAt, LastAt   time.Time
	Count             int
}
