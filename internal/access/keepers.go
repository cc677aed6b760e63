package access

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// How long a keeper code waits. A breeder's travels by letter or by telephone
// to somebody who lost a phone; a keeper's own goes to the phone beside it.
const (
	keeperCodeLife = 7 * 24 * time.Hour
	deviceCodeLife = time.Hour
)

// NewKeeperCode makes the code that signs a keeper in on one more phone, once:
// ten characters like a claim code (see NewClaimCode for what that withstands)
// and, like it, stored as a keyed hash. Whoever uses it gets the sign-in that
// keeper describes. An earlier code for the same is void.
//
// own says that the keeper makes it, for a phone at hand; else it is the
// breeder's, and waits a week. endOthers is for a phone that is lost: it ends
// what the keeper's sign-ins and codes open of these breeders' cases.
func NewKeeperCode(tx care.Tx, key Key, keeper care.Actor, own, endOthers bool, now time.Time) (code string, s care.Secret, err error) {
	life := keeperCodeLife
	if own {
		life = deviceCodeLife
	}
	s, _, err = newSecret(care.SecretKeeper, keeper, "", life, now)
	if err == nil && s.KeeperID == "" {
		err = fmt.Errorf("a keeper code is for a keeper, not for %q", keeper.Kind)
	}
	if err != nil {
		return "", s, err
	}
	if endOthers {
		if err := EndKeeper(tx, s.KeeperID, keeper.Breeders); err != nil {
			return "", s, err
		}
	}
	codes, err := tx.ListKeeperSecrets(s.KeeperID, care.SecretKeeper)
	if err != nil {
		return "", s, fmt.Errorf("listing a keeper's codes: %w", err)
	}
	for _, old := range codes {
		// A used one stays, so that a second use can be told what happened.
		if old.UsedAt != nil || string(old.Data) != string(s.Data) {
			continue
		}
		if err := tx.DeleteSecret(old.Hash); err != nil {
			return "", s, fmt.Errorf("voiding a keeper code: %w", err)
		}
	}
	code = NewClaimCode()
	s.Hash = key.hash("keeper code ", code)
	if err := tx.InsertSecret(s); err != nil {
		return "", s, fmt.Errorf("storing a keeper code: %w", err)
	}
	return code, s, nil
}

// EndKeeper ends what all of a keeper's sign-ins, codes and links open of these
// breeders' cases, "" for all: used codes too, whose use could be repeated. One
// that opens other breeders' cases as well goes on for those alone, since a
// breeder has no say in what is between the keeper and another.
func EndKeeper(tx care.Tx, keeperID, breeders string) error {
	gone := strings.Fields(breeders)
	// narrowed is what is left of what somebody saw; "" for nothing.
	narrowed := func(saw string) (left string, fewer bool, err error) {
		opens := strings.Fields(saw)
		if len(opens) == 0 && len(gone) > 0 { // every case of the keeper's
			cases, err := tx.CasesOfKeeper(keeperID)
			if err != nil {
				return "", false, fmt.Errorf("listing a keeper's cases: %w", err)
			}
			for i := range cases {
				opens = append(opens, cases[i].BreederID)
			}
			slices.Sort(opens)
			opens = slices.Compact(opens)
		}
		kept := slices.DeleteFunc(slices.Clone(opens), func(b string) bool { return len(gone) == 0 || slices.Contains(gone, b) })
		return strings.Join(kept, " "), len(kept) < len(opens), nil
	}
	for _, kind := range []care.SecretKind{care.SecretSession, care.SecretSignIn, care.SecretKeeper, care.SecretCalendar} {
		all, err := tx.ListKeeperSecrets(keeperID, kind)
		if err != nil {
			return fmt.Errorf("listing a keeper's secrets: %w", err)
		}
		for _, s := range all {
			left, fewer, err := narrowed(string(s.Data))
			switch {
			case err != nil:
			case left == "": // never kept without a breeder, which would mean all
				err = tx.DeleteSecret(s.Hash)
			case fewer:
				s.Data = []byte(left)
				err = tx.UpdateSecret(s)
			}
			if err != nil {
				return fmt.Errorf("ending a keeper's secret: %w", err)
			}
		}
	}
	letters, err := tx.ListKeeperSecrets(keeperID, care.SecretLetter)
	if err != nil {
		return fmt.Errorf("listing a keeper's links: %w", err)
	}
	for _, s := range letters {
		l, err := letterOf(s)
		if err == nil && (len(gone) == 0 || slices.Contains(gone, l.BreederID)) {
			err = tx.DeleteSecret(s.Hash)
		}
		if err != nil {
			return fmt.Errorf("ending a keeper's link: %w", err)
		}
	}
	return endWays(tx, keeperID, narrowed)
}

// endWays ends the keeper's devices whose sign-in has ended, and what the mail
// address sees; with the last of them the hours go.
func endWays(tx care.Tx, keeperID string, narrowed func(saw string) (string, bool, error)) error {
	sessions, err := tx.ListKeeperSecrets(keeperID, care.SecretSession)
	if err != nil {
		return fmt.Errorf("listing a keeper's sign-ins: %w", err)
	}
	ways, err := tx.ListWays("", keeperID)
	if err != nil {
		return fmt.Errorf("listing a keeper's devices: %w", err)
	}
	kept := 0
	for _, w := range ways {
		gone, fewer := false, false
		if w.Kind == care.WayMail {
			var left string
			if left, fewer, err = narrowed(w.Breeders); err != nil {
				return err
			}
			gone, w.Breeders = left == "", left
		} else {
			gone = !slices.ContainsFunc(sessions, func(s care.Secret) bool { return s.ID == w.SessionID })
		}
		switch {
		case gone:
			err = tx.DeleteWay(w.ID)
		case fewer:
			err = tx.PutWay(w)
		}
		if err != nil {
			return fmt.Errorf("ending a keeper's reminders: %w", err)
		}
		if !gone {
			kept++
		}
	}
	if kept > 0 {
		return nil
	}
	if err := tx.DeleteHours("", keeperID); err != nil && !care.IsCode(err, care.NotFound) {
		return fmt.Errorf("ending a keeper's reminders: %w", err)
	}
	return nil
}

// RedeemKeeperCode uses a code up and says whose it is. With the request id of
// the use before it works again, so that an answer that was lost locks nobody
// out. who is signed in on the phone so far: what that sign-in sees, it still
// sees when it is the same keeper's.
func RedeemKeeperCode(tx care.Tx, key Key, typed, requestID string, who care.Actor, now time.Time) (care.Actor, error) {
	code, err := parseCode(typed, "code", words.Say("what your breeder sent you"), claimLength, claimGroup)
	if err != nil {
		return care.Actor{}, err
	}
	hash := key.hash("keeper code ", code)
	scope := "keeper code/" + hash
	var keeper care.Actor
	if _, err := tx.Answered(scope, requestID); err == nil {
		s, err := tx.Secret(hash)
		if care.IsCode(err, care.NotFound) {
			return care.Actor{}, signInNeeded()
		}
		if err != nil {
			return care.Actor{}, fmt.Errorf("looking up a keeper code: %w", err)
		}
		if keeper, err = actorOf(tx, s); err != nil {
			return care.Actor{}, err
		}
	} else if !care.IsCode(err, care.NotFound) {
		return care.Actor{}, fmt.Errorf("looking up the use of a keeper code: %w", err)
	} else {
		if keeper, err = redeem(tx, care.SecretKeeper, hash, words.Say("code"), words.Say("Please ask your breeder for a new one."), now); err != nil {
			return care.Actor{}, err
		}
		if err := tx.InsertAnswered(care.Answered{Scope: scope, RequestID: requestID, At: care.Instant(now)}); err != nil {
			return care.Actor{}, fmt.Errorf("noting the use of a keeper code: %w", err)
		}
	}
	if who.Kind == care.KeeperActor && who.KeeperID == keeper.KeeperID {
		keeper = who.WithBreeders(keeper.Breeders)
	}
	return keeper, nil
}
