//go:build !linux

package server

import "time"

// uptime is how long this program has run, whatever the clock says. Where sleep is not
// counted, waking up looks like a jump of the clock.
func uptime() time.Duration { return time.Since(begun) }

var begun = time.Now()
