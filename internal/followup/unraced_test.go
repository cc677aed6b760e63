//go:build !race

package followup_test

const raced = false
