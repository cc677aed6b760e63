package access

import (
	"crypto/rand"
	"strings"
	"unicode"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Codes are what people read off paper and type. The alphabet is Crockford's
// base 32 (crockford.com/base32.html): no I, L, O or U, so that nothing looks
// like 1 or 0 and fewer codes spell a word.
const alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

const (
	claimLength, claimGroup       = 10, 5
	recoveryLength, recoveryGroup = 16, 4
)

// NewClaimCode makes the code of a handover's card, such as K7QM4-2XR90: nine
// random characters and one to check them by, in two groups for reading aloud.
//
// Nine characters are 45 bits, 3.5e13 codes. With 10 000 cards unclaimed at
// once, one guess in 3.5e9 hits some card; at the limit of 600 tries a minute
// over all addresses (ClaimLimits) that takes eleven years on average, and a
// card is void long before. Offline it would be another matter: a computer
// that tries 1e10 a second is through in an hour, which is why the stored hash
// is keyed, see Key.
func NewClaimCode() string { return newCode(claimLength, claimGroup) }

// ParseClaimCode brings a typed code into the form that NewClaimCode made. It
// takes small letters, O for 0, I and L for 1, and spaces and dashes anywhere.
// A slip of one character, and nearly every exchange of two neighbours, is a
// BadField error for the field "code" without a look into the store.
func ParseClaimCode(s string) (string, error) {
	return parseCode(s, "code", words.Say("the card"), claimLength, claimGroup)
}

func newCode(length, group int) string {
	b := make([]byte, length-1, length)
	rand.Read(b)
	for i := range b {
		b[i] = alphabet[b[i]%32] // unbiased: 32 divides 256
	}
	return grouped(string(append(b, checkFor(string(b)))), group)
}

func grouped(code string, group int) string {
	var b strings.Builder
	for i := range len(code) {
		if i > 0 && i%group == 0 {
			b.WriteByte('-')
		}
		b.WriteByte(code[i])
	}
	return b.String()
}

func parseCode(s, field string, source words.Text, length, group int) (string, error) {
	code := make([]byte, 0, length)
	for _, r := range s {
		switch r = unicode.ToUpper(r); {
		case unicode.IsSpace(r), unicode.Is(unicode.Pd, r), unicode.Is(unicode.Cf, r), r == '−':
			continue // with the dashes that phones put in by themselves
		case r == 'O':
			r = '0'
		case r == 'I', r == 'L':
			r = '1'
		case r == 'U':
			return "", care.BadField(field, "There is no letter U in these codes. It may be a V. Please compare it with {source}.", source)
		case strings.IndexRune(alphabet, r) < 0:
			return "", care.BadField(field, "These codes have only letters and numbers, and this one has “{letter}” in it. Please compare it with {source}.", string(r), source)
		}
		if len(code) == length {
			return "", care.BadField(field, "A code has {length} letters and numbers, and this one has more. Please compare it with {source}.", length, source)
		}
		code = append(code, byte(r))
	}
	if len(code) < length {
		return "", care.BadField(field, "A code has {length} letters and numbers, and this one has {typed}. Please compare it with {source}.", length, len(code), source)
	}
	if checkFor(string(code[:length-1])) != code[length-1] {
		return "", care.BadField(field, "One character seems to be off. Please compare it with {source}.", source)
	}
	return grouped(string(code), group), nil
}

// checkFor is the Luhn check character (ISO/IEC 7812-1 annex B) taken to base
// 32: from the right, the first, third, ... value is doubled and its base-32
// digits are added. Doubling is one-to-one because 32 is even, so every wrong
// character shows. Of exchanged neighbours only 0 with Z stays hidden.
func checkFor(body string) byte {
	sum := 0
	for i := range len(body) {
		v := strings.IndexByte(alphabet, body[len(body)-1-i])
		if i%2 == 0 {
			v = 2*v/32 + 2*v%32
		}
		sum += v
	}
	return alphabet[(32-sum%32)%32]
}
