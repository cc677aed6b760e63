package words

import "testing"

// What is said most: three values, one of them a text.
func BenchmarkSay(b *testing.B) {
	text := Say("{refused}, {loss} % lost in {days} days", Say("refused {times} in a row", 4), Number{V: 9.45, Decimals: 1}, 31)
	for _, l := range languages {
		b.Run(l.Tag, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				l.Say(text)
			}
		})
	}
}

func BenchmarkMatch(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		Match("de")
	}
}
