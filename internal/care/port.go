package care

import (
	"context"
	"time"
)

// Store keeps the log and what is derived from it. A failed callback leaves
// nothing behind. Write callbacks may be run more than once (an engine may
// retry after a serialisation failure) and must have no other effect than
// through Tx.
type Store interface {
	// Read runs f on a consistent snapshot.
	Read(ctx context.Context, f func(Tx) error) error
	// Write runs f in one durable transaction: when Write returns nil, what f
	// wrote survives a power cut.
	Write(ctx context.Context, f func(Tx) error) error
	// Swap is Write for an f that is right whatever is written beside it, as long as
	// the rows that it changes are still as it found them: all that it decides by stands
	// in them, or is guarded by the version of a case that it counts up, or it puts off
	// what is due. So writers of different cases need not be held against each other.
	Swap(ctx context.Context, f func(Tx) error) error
	// Lets counts the transactions of this program that changed who is let in:
	// secrets or users. It is counted up before such a Write returns.
	Lets() uint64
}

// Reach is whose rows a transaction may touch: a breeder's id, everyone's, or
// nobody's. It stands behind the checks of the use cases, so that one which is
// forgotten shows nothing of another breeder. PostgreSQL holds transactions to
// it; SQLite has nothing to do so with.
type Reach string

// EverybodysReach is for work that goes across breeders.
const EverybodysReach Reach = "*"

type reachKey struct{}

// WithReach says whose rows the transactions of ctx may touch. Without it they
// may touch nobody's.
func WithReach(ctx context.Context, r Reach) context.Context {
	return context.WithValue(ctx, reachKey{}, r)
}

// ReachOf is what WithReach said last.
func ReachOf(ctx context.Context) Reach {
	r, _ := ctx.Value(reachKey{}).(Reach)
	return r
}

// Cursor is a keyset position: the last row of the page before. The zero
// value is the start.
type Cursor struct {
	Key float64 `json:"k,omitempty"` // sort key: urgency, or milliseconds
	ID  string  `json:"i,omitempty"`
}

// EachPage calls page for the start and then for each cursor that it returned,
// until that is the zero value or an error.
func EachPage(page func(after Cursor) (next Cursor, err error)) error {
	for after := (Cursor{}); ; {
		next, err := page(after)
		if err != nil || next == (Cursor{}) {
			return err
		}
		after = next
	}
}

// CaseKey names a case.
type CaseKey struct{ BreederID, ID string }

// Followed is a case with all that an assessment of it is made from.
type Followed struct {
	Case    Case
	Breeder Breeder
	Animal  Animal
	Log     []Entry // as Tx.Log has it
	Flags   []Flag  // as Tx.ListFlags has them
}

// Saving is a case to be saved with what else came of an assessment of it.
type Saving struct {
	Case Case
	// Judged: nothing of the case is new but what an assessment makes of it, and nothing else
	// is written, which costs less.
	Judged bool
	// Entries are new ones of its animal, which mark those that they replace. They are not
	// saved without the case: where it is lost, all fails.
	Entries []Entry
	Flags   []Flag // those of its flags that changed
	// When people are to be looked at no later, see WakeHours; zero: when they are
	// anyway. They are the breeder's, those of them who are told of messages at once, and
	// the case's keeper.
	BreederAt, WroteAt, KeeperAt time.Time
}

// CaseQuery selects cases of a breeder.
type CaseQuery struct {
	Open, Closed bool // either or both
	AnimalID     string
}

// Tx is one transaction. Lookups that find nothing return a NotFound *Error
// (see Missing); inserts of an id that exists return a Conflict; updates
// compare Version and return Stale.
type Tx interface {
	InsertBreeder(Breeder) error
	Breeder(breederID string) (Breeder, error)
	UpdateBreeder(Breeder) error // compares and increments Version
	// BreedersToErase are those whose EraseAt has come, the oldest first.
	BreedersToErase(now time.Time) ([]Breeder, error)
	// EraseBreeder deletes some of what a breeder has, at most limit rows, in an
	// order that keeps what is left consistent, and the account last. It says
	// whether there may be more. Keepers and their secrets are not the breeder's.
	EraseBreeder(breederID string, limit int) (more bool, err error)

	InsertUser(User) error
	User(breederID, userID string) (User, error)
	UpdateUser(User) error
	ListUsers(breederID string) ([]User, error)
	// DeleteUser is for one whose passkeys are deleted already.
	DeleteUser(breederID, userID string) error
	InsertPasskey(Passkey) error
	// Passkey finds a credential by its id alone: a sign-in does not say whose
	// it is.
	Passkey(credentialID string) (Passkey, error)
	ListPasskeys(breederID, userID string) ([]Passkey, error)
	UpdatePasskey(Passkey) error
	DeletePasskey(breederID, userID, credentialID string) error

	InsertSecret(Secret) error
	Secret(hash string) (Secret, error)
	UpdateSecret(Secret) error
	ListSecrets(breederID string, kind SecretKind) ([]Secret, error)
	ListKeeperSecrets(keeperID string, kind SecretKind) ([]Secret, error)
	DeleteSecret(hash string) error
	DeleteExpiredSecrets(now time.Time, limit int) (int, error)

	InsertAnimal(Animal) error
	Animal(breederID, animalID string) (Animal, error)
	// Animals are those with these ids, ordered by id; what is not there is left out.
	Animals(breederID string, animalIDs []string) ([]Animal, error)
	UpdateAnimal(Animal) error
	// ListAnimals is ordered by creation, newest first; search matches name,
	// species, clutch, place and genes by substring of the folded text; deleted
	// animals are left out.
	ListAnimals(breederID, search string, after Cursor, limit int) ([]Animal, Cursor, error)

	InsertEntry(Entry) error
	Entry(breederID, animalID, entryID string) (Entry, error)
	// MarkReplaced sets ReplacedBy on an entry that has none.
	MarkReplaced(breederID, animalID, entryID, by string) error
	// Log is the animal's whole log ordered by HappenedAt, ReceivedAt, ID, with
	// replaced entries in it.
	Log(breederID, animalID string) ([]Entry, error)
	// RewriteEntry and DeleteEntry are for erasing a person, and nothing else.
	RewriteEntry(Entry) error
	DeleteEntry(breederID, animalID, entryID string) error
	// StockLog is what counts of the logs of these animals: current offers,
	// weigh-ins and sheds since then, and all current signs; ordered by animal,
	// HappenedAt, ReceivedAt, ID.
	StockLog(breederID string, animalIDs []string, since time.Time) ([]Entry, error)
	// ListEntries pages through the log, newest first; kinds empty means all.
	ListEntries(breederID, animalID string, kinds []Kind, caseID string, after Cursor, limit int) ([]Entry, Cursor, error)
	// FeedingCounts counts offers and refusals outside cases, one row an animal
	// of this species, for animals with at least one offer since.
	FeedingCounts(breederID, species string, since time.Time) ([]FeedingCount, error)

	InsertHandover(Handover) error
	Handover(breederID, handoverID string) (Handover, error)
	HandoverByCode(codeHash string) (Handover, error)
	UpdateHandover(Handover) error
	// ListHandovers is ordered by creation, newest first; animalID "" means all.
	ListHandovers(breederID, animalID string, after Cursor, limit int) ([]Handover, Cursor, error)

	InsertSigningKey(SigningKey) error
	// ListSigningKeys is ordered by creation, oldest first. One goes only with
	// its breeder's whole account: what it signed is checked by it later.
	ListSigningKeys(breederID string) ([]SigningKey, error)

	InsertCard(Card) error
	Card(breederID string, number int64) (Card, error)
	// CardByCode finds a card by its code's hash alone, as HandoverByCode does.
	CardByCode(codeHash string) (Card, error)
	UpdateCard(Card) error // compares and increments Version
	// ListCards is ordered by number, highest first.
	ListCards(breederID string, after Cursor, limit int) ([]Card, Cursor, error)
	// CardsOfKeeper are those that a keeper claimed and no sale has come for.
	CardsOfKeeper(keeperID string) ([]Card, error)

	InsertCase(Case) error
	Case(breederID, caseID string) (Case, error)
	// CaseVersion is the Version of a case alone.
	CaseVersion(breederID, caseID string) (int64, error)
	// UpdateCase writes every field; a case from ListCases lacks its Assessment.
	UpdateCase(Case) error
	// SaveCases is UpdateCase with InsertEntry, MarkReplaced, PutFlag, WakeHours and
	// WakeForMessages for many cases at once. A case that is not as it was read, or not there, is left as it is with all that
	// hangs on it, and lost says so (Stale, NotFound); it is nil for one that was saved.
	SaveCases(list []Saving) (lost []error, err error)
	// MakeDue makes all open cases of a breeder due, and counts their versions up.
	MakeDue(breederID string, at time.Time) error
	// HandOnCases writes another name, or none, on all cases of a breeder that one of
	// their people looks after, and counts their versions up.
	HandOnCases(breederID, from, to string) error
	// ListCases is ordered by urgency, highest first, then id; the cases come
	// without their Assessment.
	ListCases(breederID string, q CaseQuery, after Cursor, limit int) ([]Case, Cursor, error)
	// ClaimDue takes up to limit open cases of all breeders whose DueAt has come, the
	// oldest, and puts their DueAt off until then: whoever claims meanwhile gets others.
	// That is no change of a case, and its version stays.
	ClaimDue(now, until time.Time, limit int) ([]CaseKey, error)
	// BringForward makes due at an instant what a clock that was far ahead put off
	// beyond another: up to limit open cases that were assessed after at, and people to
	// be looked at. Versions of both are counted up; n is how many there were.
	BringForward(beyond, at time.Time, limit int) (n int, err error)
	// Followed reads many cases of whatever breeders at once, in no order; one that
	// is not there is left out.
	Followed(cases []CaseKey) ([]Followed, error)
	CasesOfKeeper(keeperID string) ([]Case, error)

	PutFlag(Flag) error
	ListFlags(breederID, caseID string) ([]Flag, error)

	InsertKeeper(Keeper) error
	Keeper(keeperID string) (Keeper, error)
	UpdateKeeper(Keeper) error
	DeleteKeeper(keeperID string) error

	InsertPhoto(Photo) error
	Photo(breederID, photoID string) (Photo, error)
	ListPhotos(breederID, caseID string) ([]Photo, error)
	// ListNewPhotos pages through keepers' photos that nobody has looked at,
	// oldest first; those of ended cases are in it.
	ListNewPhotos(breederID string, after Cursor, limit int) ([]Photo, Cursor, error)
	// LookPhoto sets LookedAt of a photo that has none.
	LookPhoto(breederID, photoID string, at time.Time) error
	// DeletePhotos deletes what somebody in this role added to a case, and
	// remembers whose bytes may have to go.
	DeletePhotos(breederID, caseID string, by ActorKind) error
	// Discard remembers bytes that were kept for a photo which was then refused.
	Discard(hash string) error
	// ListDiscarded are hashes of bytes that a deleted photo named; kept says
	// that another photo still does.
	ListDiscarded(limit int) ([]Discarded, error)
	// ForgetDiscarded is for when the bytes are gone, or are kept.
	ForgetDiscarded(hash string) error

	// AddLook adds to what is there of the same who, what and day.
	AddLook(Look) error
	// ListLooks is ordered by day and last look, newest first; caseID "" means all.
	ListLooks(breederID, caseID string, limit int) ([]Look, error)
	DeleteLooksBefore(t time.Time, limit int) (int, error)

	InsertImport(Import) error
	Import(breederID, importID string) (Import, error)
	UpdateImport(Import) error // compares and increments Version
	// ListImports is ordered by creation, newest first.
	ListImports(breederID string, after Cursor, limit int) ([]Import, Cursor, error)
	// PendingImports are those of all breeders that run or are undone, oldest
	// first.
	PendingImports(limit int) ([]Import, error)
	// DeleteDraftsBefore deletes imports that were never confirmed.
	DeleteDraftsBefore(t time.Time, limit int) (int, error)
	// PutImportAnimal keeps Made once it is set.
	PutImportAnimal(ImportAnimal) error
	// ListImportAnimals is ordered by AnimalID.
	ListImportAnimals(breederID, importID string) ([]ImportAnimal, error)

	InsertHours(Hours) error
	Hours(breederID, personID string) (Hours, error)
	UpdateHours(Hours) error // compares and increments Version
	// DueHours are those whose LookAt has come, of all breeders and keepers, the
	// oldest first.
	DueHours(now time.Time, limit int) ([]Hours, error)
	// WakeHours has a person looked at no later than at: a keeper with breederID
	// "", or with personID "" everybody of the breeder.
	WakeHours(breederID, personID string, at time.Time) error
	// WakeForMessages is WakeHours for those of a breeder's people who are told of
	// messages at once.
	WakeForMessages(breederID string, at time.Time) error
	DeleteHours(breederID, personID string) error

	// PutWay inserts or replaces a way by its id.
	PutWay(Way) error
	Way(wayID string) (Way, error)
	// ListWays is ordered by creation, oldest first; breederID is "" for a keeper.
	ListWays(breederID, personID string) ([]Way, error)
	DeleteWay(wayID string) error
	// DeleteUnconfirmedBefore deletes mail addresses that nobody said yes to.
	DeleteUnconfirmedBefore(t time.Time, limit int) (int, error)

	// InsertReminder claims: of several who do, one gets no Conflict.
	InsertReminder(Reminder) error
	UpdateReminder(Reminder) error
	DeleteReminder(Reminder) error
	// ListReminders are what a person was told of a case, "" for digests, in the
	// order of topic and way.
	ListReminders(breederID, caseID, personID string) ([]Reminder, error)
	// DeleteRemindersOf forgets what a person was told of a case.
	DeleteRemindersOf(breederID, caseID, personID string) error
	DeleteRemindersBefore(t time.Time, limit int) (int, error)

	// PutKept inserts or replaces by the name.
	PutKept(Kept) error
	Kept(name string) (Kept, error)
	// DeleteKept is no error when nothing is there.
	DeleteKept(name string) error

	Answered(scope, requestID string) (Answered, error)
	InsertAnswered(Answered) error
	// DeleteAnswered forgets all answers of a scope; none is no error.
	DeleteAnswered(scope string) error
	DeleteAnsweredBefore(t time.Time, limit int) (int, error)

	// Counts tells how much there is, for the program's own status line.
	Counts() (Counts, error)
	// Backlog is what waits for the program's own work, of all breeders.
	Backlog(now time.Time) (Backlog, error)
}

// Discarded is the hash of a picture's bytes that a deleted photo named.
type Discarded struct {
	Hash string
	Kept bool // another photo names them too
}

// Counts is how much a store holds.
type Counts struct{ Breeders, Animals, Entries, OpenCases int64 }
