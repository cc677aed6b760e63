package care

import (
	"slices"
	"strings"
)

// gone begins the id that stands in the place of a keeper who has left. Each case
// has one of its own, so that nothing shows which were the same person's.
const gone = "gone-"

// GoneKeeper is what stands in a case for a keeper who has left; unique is an id
// that nothing else has.
func GoneKeeper(unique string) string { return gone + unique }

// KeeperGone reports whether the keeper of the case has left and was erased.
func (c *Case) KeeperGone() bool { return strings.HasPrefix(c.KeeperID, gone) }

// PassedOn is an entry of an earlier keeper's case as the next keeper sees it:
// what was seen of the animal, without who saw it. It reports false for what
// does not go along: what was corrected, words, pictures, the setup of the
// other home and what was agreed there.
func PassedOn(e Entry) (Entry, bool) {
	switch e.Body.(type) {
	case Offer, WeighIn, ClimateReading, Shed, Sign:
	default:
		return Entry{}, false
	}
	if !e.Current() {
		return Entry{}, false
	}
	e.CaseID, e.ByID, e.Note, e.Replaces = "", "", "", ""
	return e, true
}

// WithoutPerson is what stays of a case in its animal's log when its keeper has
// left: what was seen and measured of the animal and its enclosure, and when
// somebody was in touch. Notes, messages of both sides and pictures go, and as
// stands for the keeper. The log is append-only except for this. It returns the
// entries that change, as they are to be, and the ids of those that go.
func WithoutPerson(log []Entry, caseID, as string) (changed []Entry, drop []string) {
	messages := map[string]bool{}
	for i := range log {
		if log[i].CaseID == caseID && log[i].Body.Kind() == KindMessage {
			messages[log[i].ID] = true
		}
	}
	for _, e := range log {
		if e.CaseID != caseID {
			continue
		}
		before := e
		if e.Note = ""; e.By == KeeperActor {
			e.ByID = as
		}
		same := true
		switch b := e.Body.(type) {
		case Message:
			if e.By != KeeperActor || e.ReplacedBy != "" {
				drop = append(drop, e.ID)
				continue
			}
			e.Replaces, e.Body, same = "", Seen{}, false
		case Withdrawal:
			if messages[e.Replaces] {
				drop = append(drop, e.ID)
				continue
			}
		case SetupCheck:
			b.Answers = slices.Clone(b.Answers)
			for i := range b.Answers {
				a := &b.Answers[i]
				same = same && a.Note == "" && len(a.Photos) == 0 && a.Taps == nil
				a.Note, a.Photos, a.Taps = "", nil, nil
			}
			e.Body = b
		}
		if !same || e.Note != before.Note || e.ByID != before.ByID {
			changed = append(changed, e)
		}
	}
	return changed, drop
}
