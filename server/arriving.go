package server

import (
	"io"
	"net/http"
	"slices"
	"sync"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/photo"
	"warmhand/internal/words"
)

// arrivingEach is how many pictures and lists one account may be sending at once, to this
// server: a phone sends three side by side. Each takes up to its own size of the disk.
const arrivingEach = 12

// arriving are the files that come in just now, by the account that sends them.
type arriving struct {
	mu  sync.Mutex
	now map[string][]*arrival
}

// arrival is one of them; it reads what comes.
type arrival struct {
	name string
	in   io.Reader
	rc   *http.ResponseController

	mu         sync.Mutex
	read, anew bool
}

// begin counts one more, which has so long to come in, until end is called. Who sends the same anew has given up the
// request before, which the server may not have noticed: that one gets photo.ErrAnew when
// it reads on, and leaves its place. What has been read is worked on, and counts.
func (a *arriving) begin(account, name string, in io.Reader, rc *http.ResponseController, within time.Duration) (it *arrival, end func(), err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	mine := slices.DeleteFunc(a.now[account], func(before *arrival) bool { return before.name == name && before.giveUp() })
	if a.now == nil {
		a.now = map[string][]*arrival{}
	}
	if len(mine) >= arrivingEach {
		a.now[account] = mine
		return nil, nil, tooMuch(words.Say("Too many files come from this account at once. Let one of them arrive whole, then send this one again."))
	}
	rc.SetReadDeadline(time.Now().Add(within)) //nolint:errcheck // a connection without deadlines has none
	it = &arrival{name: name, in: in, rc: rc}
	a.now[account] = append(mine, it)
	return it, func() {
		a.mu.Lock()
		defer a.mu.Unlock()
		left := slices.DeleteFunc(a.now[account], func(other *arrival) bool { return other == it })
		if a.now[account] = left; len(left) == 0 {
			delete(a.now, account)
		}
	}, nil
}

func (it *arrival) Read(p []byte) (n int, err error) {
	n, err = it.in.Read(p)
	it.mu.Lock()
	defer it.mu.Unlock()
	if it.anew {
		return 0, photo.ErrAnew
	}
	it.read = it.read || err != nil
	return n, err
}

// giveUp ends the reading, if it has not ended.
func (it *arrival) giveUp() bool {
	it.mu.Lock()
	defer it.mu.Unlock()
	if it.read {
		return false // a deadline would end the work on it, too
	}
	it.anew = true
	it.rc.SetReadDeadline(time.Now()) //nolint:errcheck // without one, it ends with the next bytes
	return true
}

// tooMuchBegun says what to do where what has come in by half leaves no room.
func tooMuchBegun(full *photo.FullError) error {
	if full.OfAll {
		return tooBusy(words.Say("Too many pictures come in just now, from everywhere together. Please try again in a little while."))
	}
	return tooMuch(words.Say("Too many pictures have come in by half. Send one of those whole first, then this one again; what is not sent on is gone after an hour."))
}

// tooMuch is for who has as much of something as one may have at once.
func tooMuch(text words.Text) error {
	return &care.Error{Code: care.Exhausted, Reason: care.ReasonTooManyTries, Text: text, Meta: map[string]string{"retry_seconds": "60"}}
}

// tooBusy is for where all together have.
func tooBusy(text words.Text) error {
	return &care.Error{Code: care.Unavailable, Reason: care.ReasonNotSaved, Text: text, Meta: map[string]string{"retry_seconds": "60"}}
}
