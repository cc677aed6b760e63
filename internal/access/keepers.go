package access

import (
	"fmt"
	"time"

	"warmhand/internal/care"
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
// breeder's, and waits a week. endOthers ends all the keeper's sign-ins and
// voids all other codes, for a phone that is lost.
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
	end := func(kind care.SecretKind, these func(*care.Secret) bool) error {
		all, err := tx.ListKeeperSecrets(s.KeeperID, kind)
		if err != nil {
			return fmt.Errorf("listing a keeper's secrets: %w", err)
		}
		for i := range all {
			if !these(&all[i]) {
				continue
			}
			if err := tx.DeleteSecret(all[i].Hash); err != nil {
				return fmt.Errorf("ending a keeper's secret: %w", err)
			}
		}
		return nil
	}
	// A used one stays, so that a second use can be told what happened; but not
	// where a lost phone could repeat its own use.
	if err := end(care.SecretKeeper, func(old *care.Secret) bool {
		return endOthers || old.UsedAt == nil && string(old.Data) == string(s.Data)
	}); err != nil {
		return "", s, err
	}
	if endOthers {
		every := func(*care.Secret) bool { return true }
		for _, kind := range []care.SecretKind{care.SecretSession, care.SecretSignIn} {
			if err := end(kind, every); err != nil {
				return "", s, err
			}
		}
	}
	code = NewClaimCode()
	s.Hash = key.hash("keeper code ", code)
	if err := tx.InsertSecret(s); err != nil {
		return "", s, fmt.Errorf("storing a keeper code: %w", err)
	}
	return code, s, nil
}

// RedeemKeeperCode uses a code up and says whose it is. With the request id of
// the use before it works again, so that an answer that was lost locks nobody
// out. who is signed in on the phone so far: what that sign-in sees, it still
// sees when it is the same keeper's.
func RedeemKeeperCode(tx care.Tx, key Key, typed, requestID string, who care.Actor, now time.Time) (care.Actor, error) {
	code, err := parseCode(typed, "code", "what your breeder sent you", claimLength, claimGroup)
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
		if keeper, err = redeem(tx, care.SecretKeeper, hash, "code", "Please ask your breeder for a new one.", now); err != nil {
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
