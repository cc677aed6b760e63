//go:build unix

package server

import (
	"math"
	"syscall"
)

// filesMost is how many files and connections this process may have open; 0 for unknown.
// Go takes the hard limit for its own when it starts.
func filesMost() int {
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		return 0
	}
	return int(min(uint64(limit.Cur), math.MaxInt32))
}
