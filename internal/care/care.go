// Package care is the domain: animals, handovers, claims, cases and the
// append-only log of entries, with the rules that hold for them. It does no
// I/O, reads no clock and knows neither database nor wire format.
//
// Units inside the program are grams, millimetres and degrees Celsius; times
// are UTC instants rounded to milliseconds (see Instant).
package care

import (
	"slices"
	"strings"
	"time"
)

// Grams is a mass. Zero means unknown wherever a mass is optional.
type Grams float64

// Millimetres is a length. Zero means unknown wherever a length is optional.
type Millimetres float64

// Celsius is a temperature, not a difference of temperatures.
type Celsius float64

// Percent is a share of a hundred, as humidity is read.
type Percent float64

// Instant rounds t to the precision that every store keeps, UTC milliseconds,
// so that a value compares equal before and after it was stored.
func Instant(t time.Time) time.Time { return t.UTC().Truncate(time.Millisecond) }

// ActorKind says in which role somebody acts.
type ActorKind string

// The roles. A program acts with an API token of its breeder.
const (
	Nobody       ActorKind = ""
	BreederOwner ActorKind = "breeder"
	Helper       ActorKind = "helper"
	KeeperActor  ActorKind = "keeper"
	Program      ActorKind = "program"
	Service      ActorKind = "service" // the daily pass and imports
)

// Actor is who acts: a person of a breeder (BreederID and UserID), a program
// of a breeder (BreederID and token id in UserID), or a keeper (KeeperID).
type Actor struct {
	Kind      ActorKind
	BreederID string
	UserID    string
	KeeperID  string
	// Breeders narrows a keeper to the cases of these breeders: ids with a space
	// between them, "" for all. A sign-in sees the breeders whose cards and codes
	// it was shown, so that no breeder can get at another's cases by signing in
	// as a keeper whom both know.
	Breeders string
	ReadOnly bool // a program whose token may only read
}

// IsKeeper reports whether the actor is this keeper and may see this breeder's
// cases.
func (a Actor) IsKeeper(keeperID, breederID string) bool {
	return a.Kind == KeeperActor && keeperID != "" && a.KeeperID == keeperID &&
		(a.Breeders == "" || slices.Contains(strings.Fields(a.Breeders), breederID))
}

// WithBreeders is a keeper's sign-in that was shown a card or a code which
// opens these breeders' cases, "" for all.
func (a Actor) WithBreeders(more string) Actor {
	if a.Breeders == "" || more == "" {
		a.Breeders = ""
		return a
	}
	all := append(strings.Fields(a.Breeders), strings.Fields(more)...)
	slices.Sort(all)
	a.Breeders = strings.Join(slices.Compact(all), " ")
	return a
}

// OfBreeder reports whether the actor works for this breeder.
func (a Actor) OfBreeder(breederID string) bool {
	return breederID != "" && a.BreederID == breederID &&
		(a.Kind == BreederOwner || a.Kind == Helper || a.Kind == Program || a.Kind == Service)
}

// ID is the identifier that the log keeps for the actor.
func (a Actor) ID() string {
	if a.Kind == KeeperActor {
		return a.KeeperID
	}
	return a.UserID
}

// Sex of an animal.
type Sex string

// The sexes that a record can state.
const (
	SexUnknown Sex = "unknown"
	Female     Sex = "female"
	Male       Sex = "male"
)

// Breeder is one account; several people may work in it.
type Breeder struct {
	ID       string
	Name     string
	Contact  string // how a keeper reaches the breeder besides the thread: shown on the record
	TimeZone string // IANA name; days of the triage list are counted in it
	Hemi     Hemisphere
	// Thresholds are what the breeder's open cases are judged by.
	Thresholds Thresholds
	CheckIns   CheckIns   // when the keepers of open cases are asked
	EraseAt    *time.Time // when the account is to be erased; nil: not
	// Phrases are what the breeder writes often, with places for an animal's facts
	// (CheckPhrases).
	Phrases   []string
	CreatedAt time.Time
	Version   int64
}

// Hemisphere decides when the cool season is.
type Hemisphere string

// The hemispheres.
const (
	North Hemisphere = "north"
	South Hemisphere = "south"
)

// Animal is one snake of a breeder's stock book.
type Animal struct {
	BreederID   string
	ID          string
	Name        string // the breeder's own label, such as "tub 14"
	Species     string // key of the species table, e.g. python_regius
	Sex         Sex
	Hatched     *time.Time // date, midnight UTC
	Genes       []string
	MotherID    string // an animal of the same breeder, or ""
	FatherID    string
	Clutch      string // the breeder's clutch label
	SnoutVent   Millimetres
	TotalLength Millimetres
	Note        string // for the breeder only
	Place       string // where it is kept, such as "rack 2 tub 14"; for the breeder only
	CreatedAt   time.Time
	UpdatedAt   time.Time
	DeletedAt   *time.Time
	Version     int64
}
