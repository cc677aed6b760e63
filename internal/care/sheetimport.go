package care

import (
	"time"

	"warmhand/internal/words"
)

// ImportState is where the import of a list is.
type ImportState string

// The states. A draft adds nothing; it is forgotten after ImportDraftLife.
const (
	ImportDraft   ImportState = "draft"
	ImportRunning ImportState = "running"
	ImportDone    ImportState = "done"
	ImportUndoing ImportState = "undoing"
	ImportUndone  ImportState = "undone"
	ImportFailed  ImportState = "failed" // it may be confirmed again, or undone
)

// ImportDraftLife is how long a list waits to be confirmed.
const ImportDraftLife = 24 * time.Hour

// Import is a list that a breeder brings in: animals and log lines, added
// together and undone together.
type Import struct {
	BreederID string
	ID        string
	File      string // the file's name
	Digest    string // of the file, SHA-256 in hex
	Bytes     int64
	State     ImportState
	// Reading says how the list is read, as JSON of the use case; nil for a
	// draft.
	Reading []byte
	// By and ByID are who confirmed it, and then who undid it.
	By          ActorKind
	ByID        string
	CreatedAt   time.Time
	ConfirmedAt *time.Time
	EndedAt     *time.Time // when it was done, undone or failed
	// Animals and Entries count what it added so far; while it is undone, what
	// is left of that.
	Animals, Entries int
	// Done of Total are the steps taken, for a person who waits.
	Done, Total int
	Trouble     words.Text // why it failed, for people
	Kept        []KeptByUndo
	Version     int64
}

// KeptByUndo is an animal that undoing an import left as it was, and why.
type KeptByUndo struct {
	AnimalID, Name string
	Why            words.Text
}

// ImportAnimal is an animal that an import made, or whose log it added to.
type ImportAnimal struct {
	BreederID, ImportID, AnimalID string
	Made                          bool
}
