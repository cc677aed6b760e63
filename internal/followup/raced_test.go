//go:build race

package followup_test

// raced: the race detector makes everything some ten times slower.
const raced = true
