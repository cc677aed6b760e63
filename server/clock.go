package server

import (
	"fmt"
	"sync"
	"time"
)

// A clock that is wrongly ahead would have people reminded, animals called silent, and
// what has not expired deleted. A machine's clock is mostly put right soon, so what
// nobody asks for rests for a while after a jump. Requests go on.
const (
	// jumpMost is by how much the clock may get ahead of the machine's own count of time.
	jumpMost = time.Hour
	// believedAfter is when a clock that stays ahead is taken to be right: it may have
	// been wrong before.
	believedAfter = time.Hour
)

// clock tells a jump ahead from time that passed.
type clock struct {
	uptime func() time.Duration // nil where time is a test's

	mu     sync.Mutex
	wall   time.Time     // at the last look at which it was believed
	up     time.Duration // then
	jumpAt time.Duration // since when it is ahead; 0 for not
}

// ahead is by how much it jumped, 0 when it is believed.
func (c *clock) ahead(now time.Time) time.Duration {
	if c.uptime == nil {
		return 0
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	up, now := c.uptime(), now.Round(0) // without what Go itself knows of time that passed
	jump := now.Sub(c.wall) - (up - c.up)
	switch {
	case c.wall.IsZero(), jump <= jumpMost, c.jumpAt > 0 && up-c.jumpAt >= believedAfter:
		c.wall, c.up, c.jumpAt = now, up, 0
		return 0
	case c.jumpAt == 0:
		c.jumpAt = up
	}
	return jump
}

// steady is f, but while the clock is not believed it fails.
func (c *clock) steady(now func() time.Time, f func() error) func() error {
	return func() error {
		if jump := c.ahead(now()); jump > 0 {
			return fmt.Errorf("the clock went ahead by %v: what is done by it rests until it is put right, or for %v", jump.Round(time.Minute), believedAfter)
		}
		return f()
	}
}
