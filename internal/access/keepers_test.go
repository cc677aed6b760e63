package access

import (
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
)

func TestKeeperCode(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	key, err := LoadKey(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	made := func(who care.Actor, own, endOthers bool) (code string) {
		b.write(func(tx care.Tx) (err error) {
			code, _, err = NewKeeperCode(tx, key, who, own, endOthers, start)
			return err
		})
		return code
	}
	use := func(code, request string, who care.Actor, after time.Duration) (got care.Actor, err error) {
		err = b.try(func(tx care.Tx) (err error) {
			got, err = RedeemKeeperCode(tx, key, code, request, who, start.Add(after))
			return err
		})
		return got, err
	}
	of := func(breeders string) care.Actor {
		return care.Actor{Kind: care.KeeperActor, KeeperID: "k1", Breeders: breeders}
	}

	code := made(of("b1"), false, false)
	if len(code) != 11 || code[5] != '-' {
		t.Fatalf("code %q", code)
	}
	if _, found := b.row(code); found {
		t.Error("the code is stored under a hash without the key")
	}
	// As it is read out over the phone, at the last moment.
	typed := strings.ToLower(strings.ReplaceAll(code, "-", " "))
	if got, err := use(typed, "request-1", care.Actor{}, keeperCodeLife-time.Millisecond); err != nil || got != of("b1") {
		t.Fatalf("%+v, %v", got, err)
	}
	// The answer was lost: the same phone comes again. Another one does not get in.
	if got, err := use(code, "request-1", care.Actor{}, time.Hour); err != nil || got != of("b1") {
		t.Errorf("repeated: %+v, %v", got, err)
	}
	_, err = use(code, "request-2", care.Actor{}, time.Hour)
	wantError(t, err, care.Unauthenticated, care.ReasonCodeUsed)

	// A phone that has a sign-in of the same keeper sees both breeders then; one
	// of somebody else sees what the code opens, and nothing of before.
	if got, err := use(made(of("b2"), false, false), "request-3", of("b1"), 0); err != nil || got != of("b1 b2") {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err := use(made(of("b2"), false, false), "request-4", of(""), 0); err != nil || got != of("") {
		t.Errorf("%+v, %v", got, err)
	}
	stranger := care.Actor{Kind: care.KeeperActor, KeeperID: "k2"}
	if got, err := use(made(of("b2"), false, false), "request-5", stranger, 0); err != nil || got != of("b2") {
		t.Errorf("%+v, %v", got, err)
	}

	// A new code voids the one before, and only that.
	first, elsewhere := made(of("b1"), false, false), made(of("b2"), false, false)
	second := made(of("b1"), false, false)
	_, err = use(first, "request-6", care.Actor{}, 0)
	wantError(t, err, care.Unauthenticated, care.ReasonCodeWrong)

	// A lost phone: what every sign-in and code opens of this breeder's cases
	// ends, even what it could repeat. Another breeder's cases stay open to it.
	lost, both, elsewheres, others := b.start(of("b1"), start), b.start(of("b1 b2"), start), b.start(of("b2"), start), b.start(stranger, start)
	used, usedToo := made(of("b1 b2"), true, false), made(of("b1"), true, false)
	for request, code := range map[string]string{"request-7": used, "request-8": usedToo} {
		if _, err := use(code, request, care.Actor{}, 0); err != nil {
			t.Fatal(err)
		}
	}
	b.ok(lost, of("b1"), start)
	code = made(of("b1"), false, true)
	b.refused(lost, start)
	b.ok(both, of("b2"), start)
	b.ok(elsewheres, of("b2"), start)
	b.ok(others, stranger, start)
	if got, err := use(used, "request-7", care.Actor{}, 0); err != nil || got != of("b2") {
		t.Errorf("what was used for both: %+v, %v", got, err)
	}
	for request, old := range map[string]string{"request-8": usedToo, "request-9": second} {
		if _, err := use(old, request, care.Actor{}, 0); !care.IsCode(err, care.Unauthenticated) {
			t.Errorf("%s still opens something: %v", request, err)
		}
	}
	if got, err := use(elsewhere, "request-9", care.Actor{}, 0); err != nil || got != of("b2") {
		t.Errorf("the other breeder's code: %+v, %v", got, err)
	}
	if got, err := use(code, "request-10", care.Actor{}, 0); err != nil || got != of("b1") {
		t.Errorf("%+v, %v", got, err)
	}

	// A sign-in that opens everything is left with what there is elsewhere, and
	// with nothing when that is nothing.
	all := b.start(of(""), start)
	made(of("b1"), false, true)
	b.refused(all, start)

	for own, life := range map[bool]time.Duration{true: deviceCodeLife, false: keeperCodeLife} {
		_, err = use(made(of("b1"), own, false), "request-11", care.Actor{}, life)
		wantError(t, err, care.Unauthenticated, care.ReasonCodeExpired)
	}
	_, err = use("K7QM", "request-12", care.Actor{}, 0)
	if e := wantError(t, err, care.Invalid, care.ReasonBadField); e.Fields[0].Field != "code" {
		t.Errorf("field %s", e.Fields[0].Field)
	}
	if err := b.try(func(tx care.Tx) error { _, _, err := NewKeeperCode(tx, key, b.owner, false, true, start); return err }); err == nil {
		t.Error("a breeder got a keeper code")
	}
}
