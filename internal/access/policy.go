package access

import (
	"slices"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Rule says which actors may call a method. The zero value lets nobody in.
// Whose records a call may touch is for the use case to check.
type Rule struct {
	kinds []care.ActorKind
	open  bool
	reads bool
}

// Allow is a rule for actors of these kinds.
func Allow(kinds ...care.ActorKind) Rule { return Rule{kinds: kinds} }

// Anyone is a rule for everybody, signed in or not.
func Anyone() Rule { return Rule{open: true} }

// Reads marks a rule's method as one that changes nothing, so that read-only
// tokens may call it.
func (r Rule) Reads() Rule {
	r.reads = true
	return r
}

// OnlyReads reports whether the method changes nothing.
func (r Rule) OnlyReads() bool { return r.reads }

// Policy has a rule for each method, by full gRPC name.
type Policy map[string]Rule

// Check applies the method's rule. A method without one is closed to all.
func (p Policy) Check(method string, who care.Actor) error { return Check(p[method], who) }

// Check returns nil when the actor may go on, Unauthenticated when signing in
// may help, and Denied when it will not.
func Check(r Rule, who care.Actor) error {
	denied := func(text words.Text) error {
		return &care.Error{Code: care.Denied, Reason: care.ReasonNotYours, Text: text}
	}
	switch {
	case !r.open && who.Kind == care.Nobody:
		return &care.Error{Code: care.Unauthenticated, Reason: care.ReasonSignInNeeded, Text: words.Say("Please sign in first.")}
	case !r.open && !slices.Contains(r.kinds, who.Kind):
		return denied(r.forWhom())
	case who.ReadOnly && !r.reads:
		return denied(words.Say("This token may only read. Please use one that may also write."))
	}
	return nil
}

func (r Rule) forWhom() words.Text {
	breeder, helper := slices.Contains(r.kinds, care.BreederOwner), slices.Contains(r.kinds, care.Helper)
	keeper := slices.Contains(r.kinds, care.KeeperActor)
	switch {
	case keeper && !breeder:
		return words.Say("Only the keeper of the animal can do this.")
	case breeder && helper && !keeper:
		return words.Say("Only the breeder and their helpers can do this.")
	case breeder && !keeper:
		return words.Say("Only the owner of the breeder's account can do this.")
	}
	return words.Say("This is not open to you.")
}
