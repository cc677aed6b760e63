package access

import (
	"math"
	"strings"
	"testing"

	"warmhand/internal/care"
)

// By hand, from ISO/IEC 7812-1 annex B carried over to base 32: the value
// beside the check character is doubled, 1 to 2, 16 to 32 which is "10", so 1.
func TestCheckCharacterByHand(t *testing.T) {
	t.Parallel()
	for body, want := range map[string]byte{
		"000000000": '0',
		"000000001": 'Y', // 2 + 30 = 32
		"00000000G": 'Z', // 1 + 31 = 32
		"000000010": 'Z', // not doubled
		"ZZZZZZZZZ": '9', // 9 × 31 = 279, and 279 + 9 = 9 × 32
	} {
		if got := checkFor(body); got != want {
			t.Errorf("%s: check %c, want %c", body, got, want)
		}
	}
}

func TestEveryWrongCharacterShows(t *testing.T) {
	t.Parallel()
	for range 50 {
		code := strings.ReplaceAll(NewClaimCode(), "-", "")
		for i := range len(code) {
			for _, c := range alphabet {
				wrong := code[:i] + string(c) + code[i+1:]
				_, err := ParseClaimCode(wrong)
				if (err == nil) != (wrong == code) {
					t.Fatalf("%s typed as %s: %v", code, wrong, err)
				}
			}
		}
	}
}

// All pairs of neighbours at all places: only 0 beside Z goes unseen, two of
// 992 ordered pairs.
func TestExchangedNeighboursShow(t *testing.T) {
	t.Parallel()
	for i := range claimLength - 1 {
		unseen := 0
		for _, a := range alphabet {
			for _, b := range alphabet {
				if a == b {
					continue
				}
				good, swapped := pair(i, a, b), pair(i, b, a)
				if good[:i] != swapped[:i] || good[i+2:] != swapped[i+2:] {
					continue // the check differs, so the exchange shows
				}
				unseen++
				if !strings.ContainsRune("0Z", a) || !strings.ContainsRune("0Z", b) {
					t.Errorf("%c%c exchanged at %d is not seen", a, b, i)
				}
			}
		}
		if unseen != 2 {
			t.Errorf("at place %d %d of 992 exchanges are not seen, want 2", i, unseen)
		}
	}
}

// pair is a valid code with a and b at i and i+1 and 7 elsewhere; at the last
// place, where b is the check, the first character is chosen to make it so.
func pair(i int, a, b rune) string {
	body := []rune("777777777")
	body[i] = a
	if i+1 < len(body) {
		body[i+1] = b
		return string(body) + string(checkFor(string(body)))
	}
	for _, c := range alphabet {
		body[0] = c
		if rune(checkFor(string(body))) == b {
			break
		}
	}
	return string(body) + string(b)
}

func TestParseClaimCode(t *testing.T) {
	t.Parallel()
	const good = "K7QM4-2XR90"
	const ones = "10100-0001T" // for the look-alikes
	for _, c := range []struct{ in, want, says string }{
		{good, good, ""},
		{"k7qm42xr90", good, ""},
		{" K7 QM4–2x r9 O\n", good, ""},
		{"K7QM4‑2XR90", good, ""}, // non-breaking hyphen
		{"k7qm4\u200b-2xr90", good, ""},
		{"IOLoO-OOOlt", "10100-0001T", ""},
		{ones, ones, ""},
		{"", "", "this one has 0"},
		{"K7QM4-2XR9", "", "this one has 9"},
		{good + "K", "", "this one has more"},
		{"K7QM4-2XR9T", "", "One character seems to be off"},
		{"K7QU4-2XR90", "", "may be a V"},
		{"K7QM4_2XR90", "", "“_”"},
		{"K7QM4-2ХR90", "", "only letters and numbers"}, // a Cyrillic Х
		{strings.Repeat("A", 1<<20), "", "this one has more"},
	} {
		got, err := ParseClaimCode(c.in)
		if c.says == "" {
			if err != nil || got != c.want {
				t.Errorf("%q: %q, %v", c.in, got, err)
			}
			continue
		}
		e := wantError(t, err, care.Invalid, care.ReasonBadField)
		if e.Fields[0].Field != "code" || !strings.Contains(e.Text.String(), c.says) {
			t.Errorf("%q: field %s, text %q", c.in, e.Fields[0].Field, e.Text)
		}
	}
}

func TestNewCodesParseToThemselves(t *testing.T) {
	t.Parallel()
	seen, first := map[string]bool{}, map[byte]int{}
	const n = 3200
	for range n {
		code := NewClaimCode()
		if got, err := ParseClaimCode(code); err != nil || got != code || seen[code] {
			t.Fatalf("%s: %q, %v, seen %v", code, got, err, seen[code])
		}
		seen[code] = true
		first[code[0]]++
	}
	// 100 expected of each; 40 and 180 are six and eight standard deviations off.
	for _, c := range []byte(alphabet) {
		if first[c] < 40 || first[c] > 180 {
			t.Errorf("%c came first %d times in %d", c, first[c], n)
		}
	}
}

func FuzzParseClaimCode(f *testing.F) {
	f.Add("k7qm4-2xr90")
	f.Add("O0Il-\xff")
	f.Fuzz(func(t *testing.T, s string) {
		code, err := ParseClaimCode(s)
		if err != nil {
			return
		}
		if again, err := ParseClaimCode(code); err != nil || again != code || len(code) != claimLength+1 {
			t.Errorf("%q gave %q, which gives %q, %v", s, code, again, err)
		}
	})
}

// The table of THREATS.md: how long it takes to guess some card, by the limits
// and the length in use.
func TestGuessing(t *testing.T) {
	t.Parallel()
	codes := math.Pow(32, claimLength-1)
	perYear := float64(ClaimLimits.Overall.Tries) / ClaimLimits.Overall.In.Hours() * 24 * 365.25
	hourly := math.Inf(1)
	for _, r := range ClaimLimits.Each {
		hourly = min(hourly, float64(r.Tries)/r.In.Hours())
	}
	for _, c := range []struct{ cards, years, alone, inLife float64 }{{1_000, 112, 67_000, 0.002}, {10_000, 11, 6_700, 0.02}, {100_000, 1.1, 670, 0.2}} {
		tries := codes / c.cards // on average until the first hit
		near := func(what string, got, want float64) {
			if got < want*0.9 || got > want*1.15 {
				t.Errorf("%g cards: %s %g, and THREATS.md says %g", c.cards, what, got, want)
			}
		}
		near("years", tries/perYear, c.years)
		near("years from one address", tries/(hourly*24*365.25), c.alone)
		near("chance in 90 days", -math.Expm1(-perYear*90/365.25/tries), c.inLife)
	}
}
