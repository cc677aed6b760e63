package access

import (
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
)

func TestSignInLink(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, who := range []care.Actor{b.owner, keeper} {
		var link, late string
		b.write(func(tx care.Tx) (err error) {
			if link, _, err = NewSignInLink(tx, who, start); err != nil {
				return err
			}
			late, _, err = NewSignInLink(tx, who, start)
			return err
		})
		redeem := func(plain string, after time.Duration) (got care.Actor, err error) {
			err = b.try(func(tx care.Tx) (err error) {
				got, err = RedeemSignInLink(tx, plain, start.Add(after))
				return err
			})
			return got, err
		}
		b.refused(link, start) // it is no cookie
		if got, err := redeem(link, 15*time.Minute-time.Millisecond); err != nil || got != who {
			t.Fatalf("%+v, %v", got, err)
		}
		_, err := redeem(link, 0)
		wantError(t, err, care.Unauthenticated, care.ReasonCodeUsed)
		_, err = redeem(late, 15*time.Minute)
		wantError(t, err, care.Unauthenticated, care.ReasonCodeExpired)
		_, err = redeem("whl_nothing", 0)
		wantError(t, err, care.Unauthenticated, care.ReasonCodeWrong)
		_, err = redeem(b.start(who, start), 0) // a cookie is no link
		wantError(t, err, care.Unauthenticated, care.ReasonCodeWrong)
	}
}

func TestRecoveryCodes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	second := care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "u2"}
	make10 := func(who care.Actor) (codes []string) {
		b.write(func(tx care.Tx) (err error) {
			codes, err = NewRecoveryCodes(tx, who, start)
			return err
		})
		return codes
	}
	left := func(who care.Actor) (n int) {
		b.write(func(tx care.Tx) (err error) {
			n, err = RecoveryCodesLeft(tx, who.BreederID, who.UserID)
			return err
		})
		return n
	}
	redeem := func(code string) (got care.Actor, err error) {
		err = b.try(func(tx care.Tx) (err error) {
			got, err = RedeemRecoveryCode(tx, code, start.Add(5*365*day))
			return err
		})
		return got, err
	}
	codes, others := make10(b.owner), make10(second)
	if len(codes) != 10 || left(b.owner) != 10 || len(codes[0]) != 19 {
		t.Fatalf("%d codes, %d left, %q", len(codes), left(b.owner), codes[0])
	}
	if got, err := redeem(strings.ToLower(strings.ReplaceAll(codes[3], "-", " "))); err != nil || got != b.owner {
		t.Fatalf("%+v, %v", got, err)
	}
	_, err := redeem(codes[3])
	wantError(t, err, care.Unauthenticated, care.ReasonCodeUsed)
	if left(b.owner) != 9 || left(second) != 10 {
		t.Errorf("%d and %d left", left(b.owner), left(second))
	}
	slip := []byte(codes[0])
	slip[0] = alphabet[(strings.IndexByte(alphabet, slip[0])+1)%32]
	_, err = redeem(string(slip))
	if e := wantError(t, err, care.Invalid, care.ReasonBadField); e.Fields[0].Field != "code" {
		t.Errorf("field %s", e.Fields[0].Field)
	}
	again := make10(b.owner)
	_, err = redeem(codes[0])
	wantError(t, err, care.Unauthenticated, care.ReasonCodeWrong)
	for who, code := range map[care.Actor]string{b.owner: again[0], second: others[0]} {
		if got, err := redeem(code); err != nil || got != who {
			t.Errorf("%+v, %v", got, err)
		}
	}
	for _, who := range []care.Actor{keeper, {Kind: care.Program, BreederID: "b1", UserID: "t"}} {
		err := b.try(func(tx care.Tx) error { _, err := NewRecoveryCodes(tx, who, start); return err })
		wantError(t, err, care.Denied, care.ReasonNotYours)
	}
}
