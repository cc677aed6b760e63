package care

import (
	"time"

	"warmhand/internal/words"
)

// BacklogMost is as far as a queue is counted.
const BacklogMost = 10_000

// Queues of the program's own work.
const (
	QueueCases    = "cases"    // to be looked at by the pass
	QueuePeople   = "people"   // to be looked at for reminders
	QueueSends    = "sends"    // messages under way, or to be tried again
	QueueImports  = "imports"  // lists that are brought in or undone
	QueueAccounts = "accounts" // to be erased
)

// Queue is one kind of work whose time has come.
type Queue struct {
	Name   string
	Length int // at most BacklogMost
	// Since is when the time of the first came; zero for an empty queue. Of sends it is
	// when the first was to be tried, which may be in the future.
	Since time.Time
}

// Late is for how long the first of a queue has waited.
func (q *Queue) Late(now time.Time) time.Duration {
	if q.Since.IsZero() {
		return 0
	}
	return max(0, now.Sub(q.Since))
}

// Trouble is why messages do not reach some devices and addresses, in the words that
// their owners see.
type Trouble struct {
	Text words.Text
	Ways int
}

// Backlog is what waits for the program's own work, and what it gave up.
type Backlog struct {
	Queues []Queue // one for each name
	// FailedSends are the messages given up in the day before, at most BacklogMost.
	FailedSends int
	// Troubles are the most frequent ones, the first the most.
	Troubles []Trouble
}
