package care

import "time"

// User is one person of a breeder's account.
type User struct {
	BreederID string
	ID        string
	Name      string
	Role      ActorKind // BreederOwner or Helper
	Language  string    // as Keeper.Language
	CreatedAt time.Time
}

// Actor is the person as who calls.
func (u *User) Actor() Actor { return Actor{Kind: u.Role, BreederID: u.BreederID, UserID: u.ID} }

// Passkey is one credential of a user. Data is the credential as the passkey
// library stores it (JSON).
type Passkey struct {
	BreederID string
	UserID    string
	ID        string // credential id, base64url
	Label     string
	Data      []byte
	CreatedAt time.Time
	UsedAt    *time.Time
}

// SecretKind is what a stored secret opens.
type SecretKind string

// The kinds. Only hashes of secrets are stored.
const (
	SecretSession  SecretKind = "session"  // a browser's cookie
	SecretToken    SecretKind = "token"    // a program's API token
	SecretRecovery SecretKind = "recovery" // one recovery code, used once
	SecretSignIn   SecretKind = "sign_in"  // a one-time sign-in link
	SecretKeeper   SecretKind = "keeper"   // a code of ten characters that signs a keeper in once
	SecretLetter   SecretKind = "letter"   // a link to the letter for the vet about a case
	SecretPasskey  SecretKind = "passkey"  // a passkey ceremony in progress
	SecretCalendar SecretKind = "calendar" // the address of a keeper's calendar
)

// Secret is one stored secret. Exactly one of BreederID and KeeperID is set,
// except for a passkey ceremony that does not know yet who signs in.
type Secret struct {
	Hash      string // see package access
	Kind      SecretKind
	ID        string // public id, for listing and revoking
	BreederID string
	UserID    string
	KeeperID  string
	Label     string
	ReadOnly  bool
	Data      []byte // ceremony state; of a keeper's secret, Actor.Breeders
	CreatedAt time.Time
	ExpiresAt time.Time
	UsedAt    *time.Time
	// Successor is the hash that a rotation put in this secret's place; the
	// old one holds a short while longer, for an answer that was lost.
	Successor string
}

// Answered is the stored answer to a write with a request id.
type Answered struct {
	Scope     string // who asked: breeder or keeper id
	RequestID string
	Digest    string // of method and request content
	Answer    []byte
	At        time.Time
}

// SigningKey is a key by which a breeder's records are signed. Its private half
// is there only as it was sealed by the server that made it.
type SigningKey struct {
	BreederID string
	ID        string // the public key's thumbprint, RFC 7638
	Public    []byte // a JSON Web Key, RFC 7517
	Sealed    []byte
	CreatedAt time.Time
}

// Kept is something small that the servers on one database have in common beside the
// domain, such as a certificate, as it was sealed by one of them.
type Kept struct {
	Name   string
	Sealed []byte
	At     time.Time
}
