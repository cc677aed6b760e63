package server

import (
	"time"

	"golang.org/x/sys/unix"
)

// uptime is how long the machine has run, sleep included, whatever its clock says.
func uptime() time.Duration {
	var t unix.Timespec
	if unix.ClockGettime(unix.CLOCK_BOOTTIME, &t) != nil {
		return time.Since(begun)
	}
	return time.Duration(t.Nano())
}

var begun = time.Now()
