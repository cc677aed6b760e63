package print

import (
	"io"
	"slices"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// A show day's table: forty cards in one document.
func BenchmarkCards40(b *testing.B) {
	r := care.Record{Animal: spider(), Breeder: "Loam Row", Contact: "at the table by the door"}
	cards := slices.Repeat([]Card{{Record: &r, Code: "K7QM4-2XR90", Link: links[1], Until: noon}}, 40)
	for b.Loop() {
		if err := Cards(io.Discard, A4, Credit, cards, noon, time.UTC, words.English); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRecord(b *testing.B) {
	r := longRecord()
	for b.Loop() {
		if err := Record(io.Discard, A4, r, signature, noon, time.UTC, words.English); err != nil {
			b.Fatal(err)
		}
	}
}
