package store

import (
	"time"

	"warmhand/internal/care"
)

// Breeders, their people, keepers, and what lets either in.

var (
	breeders = table{name: "breeders", what: "breeder", key: 1, columns: columns(
		`breeder_id name contact time_zone hemisphere thresholds check_ins erase_at created_at version phrases`)}
	users = table{name: "users", what: "user", key: 2, columns: columns(
		`breeder_id user_id name role language created_at`)}
	passkeys = table{name: "passkeys", what: "passkey", key: 1, columns: columns(
		`credential_id breeder_id user_id label data created_at used_at`)}
	secrets = table{name: "secrets", what: "secret", key: 1, columns: columns(
		`hash kind secret_id breeder_id user_id keeper_id label read_only data created_at expires_at used_at successor`)}
	keepers = table{name: "keepers", what: "keeper", key: 1, columns: columns(
		`keeper_id name language created_at`)}
	answered = table{name: "answered", what: "answer", key: 2, columns: columns(
		`scope request_id digest answer at`)}
)

func breederRow(b *care.Breeder) []any {
	return []any{&b.ID, &b.Name, &b.Contact, &b.TimeZone, &b.Hemi, document[care.Thresholds]{&b.Thresholds}, document[care.CheckIns]{&b.CheckIns}, maybeInstant{&b.EraseAt}, instant{&b.CreatedAt}, &b.Version, document[[]string]{&b.Phrases}}
}

func userRow(u *care.User) []any {
	return []any{&u.BreederID, &u.ID, &u.Name, &u.Role, &u.Language, instant{&u.CreatedAt}}
}

func passkeyRow(p *care.Passkey) []any {
	return []any{&p.ID, &p.BreederID, &p.UserID, &p.Label, jsonText{&p.Data}, instant{&p.CreatedAt}, maybeInstant{&p.UsedAt}}
}

func secretRow(s *care.Secret) []any {
	return []any{&s.Hash, &s.Kind, &s.ID, &s.BreederID, &s.UserID, &s.KeeperID, &s.Label, truth{&s.ReadOnly}, blob{&s.Data},
		instant{&s.CreatedAt}, instant{&s.ExpiresAt}, maybeInstant{&s.UsedAt}, &s.Successor}
}

func keeperRow(k *care.Keeper) []any {
	return []any{&k.ID, &k.Name, &k.Language, instant{&k.CreatedAt}}
}

func answeredRow(a *care.Answered) []any {
	return []any{&a.Scope, &a.RequestID, &a.Digest, blob{&a.Answer}, instant{&a.At}}
}

var (
	insertBreeder = breeders.insertQuery()
	getBreeder    = breeders.getQuery()
	updateBreeder = breeders.updateQuery()
	toErase       = breeders.selectQuery(`WHERE erase_at <= ?1 ORDER BY erase_at, breeder_id`)

	insertUser = users.insertQuery()
	getUser    = users.getQuery()
	updateUser = users.updateQuery()
	deleteUser = newQuery("delete user", `DELETE FROM users `+users.byKey())
	listUsers  = users.selectQuery(`WHERE breeder_id = ?1 ORDER BY created_at, user_id`)

	insertPasskey = passkeys.insertQuery()
	getPasskey    = passkeys.getQuery()
	listPasskeys  = passkeys.selectQuery(`WHERE breeder_id = ?1 AND user_id = ?2 ORDER BY created_at, credential_id`)
	updatePasskey = passkeys.updateQuery()
	deletePasskey = newQuery("delete passkey", `DELETE FROM passkeys WHERE breeder_id = ?1 AND user_id = ?2 AND credential_id = ?3`)

	insertSecret  = secrets.insertQuery()
	getSecret     = secrets.getQuery()
	updateSecret  = secrets.updateQuery()
	listSecrets   = secrets.selectQuery(`WHERE breeder_id = ?1 AND kind = ?2 ORDER BY created_at, hash`)
	keeperSecrets = secrets.selectQuery(`WHERE keeper_id = ?1 AND kind = ?2 ORDER BY created_at, hash`)
	deleteSecret  = newQuery("delete secret", `DELETE FROM secrets WHERE hash = ?1`)
	expireSecrets = newQuery("delete expired secrets", `DELETE FROM secrets WHERE hash IN
		(SELECT hash FROM secrets WHERE expires_at <= ?1 ORDER BY expires_at LIMIT ?2)`)

	insertKeeper = keepers.insertQuery()
	getKeeper    = keepers.getQuery()
	updateKeeper = keepers.updateQuery()
	deleteKeeper = newQuery("delete keeper", `DELETE FROM keepers `+keepers.byKey())

	insertAnswered = answered.insertQuery()
	getAnswered    = answered.getQuery()
	deleteAnswered = newQuery("delete answers", `DELETE FROM answered WHERE scope = ?1`)
	forgetAnswered = newQuery("delete old answers", `DELETE FROM answered WHERE (scope, request_id) IN
		(SELECT scope, request_id FROM answered WHERE at < ?1 ORDER BY at LIMIT ?2)`)
)

func (t *tx) InsertBreeder(b care.Breeder) error { return t.insert(insertBreeder, breederRow(&b)...) }

func (t *tx) Breeder(breederID string) (care.Breeder, error) {
	return get(t, getBreeder, breederRow, breeders.what, breederID)
}

func (t *tx) UpdateBreeder(b care.Breeder) error {
	exists := func() error { _, err := t.Breeder(b.ID); return err }
	return t.swap(updateBreeder, exists, breederRow(&b)...)
}

func (t *tx) BreedersToErase(now time.Time) ([]care.Breeder, error) {
	return list(t, toErase, breederRow, now.UnixMilli())
}

func (t *tx) EraseBreeder(breederID string, limit int) (more bool, err error) {
	if breederID == "" {
		return false, nil // that would be what belongs to keepers
	}
	for _, s := range erasures {
		if s.before != nil {
			if _, err := t.exec(s.before, breederID, limit); err != nil {
				return false, err
			}
		}
		if n, err := t.exec(s.rows, breederID, limit); err != nil || n > 0 {
			return n > 0, err
		}
	}
	return false, nil
}

func (t *tx) InsertUser(u care.User) error { return t.insert(insertUser, userRow(&u)...) }

func (t *tx) User(breederID, userID string) (care.User, error) {
	return get(t, getUser, userRow, users.what, breederID, userID)
}

func (t *tx) UpdateUser(u care.User) error { return t.update(updateUser, users.what, userRow(&u)...) }

func (t *tx) DeleteUser(breederID, userID string) error {
	return t.update(deleteUser, users.what, breederID, userID)
}

// ListUsers is ordered by creation, oldest first.
func (t *tx) ListUsers(breederID string) ([]care.User, error) {
	return list(t, listUsers, userRow, breederID)
}

func (t *tx) InsertPasskey(p care.Passkey) error { return t.insert(insertPasskey, passkeyRow(&p)...) }

func (t *tx) Passkey(credentialID string) (care.Passkey, error) {
	return get(t, getPasskey, passkeyRow, passkeys.what, credentialID)
}

// ListPasskeys is ordered by creation, oldest first.
func (t *tx) ListPasskeys(breederID, userID string) ([]care.Passkey, error) {
	return list(t, listPasskeys, passkeyRow, breederID, userID)
}

func (t *tx) UpdatePasskey(p care.Passkey) error {
	return t.update(updatePasskey, passkeys.what, passkeyRow(&p)...)
}

func (t *tx) DeletePasskey(breederID, userID, credentialID string) error {
	return t.update(deletePasskey, passkeys.what, breederID, userID, credentialID)
}

func (t *tx) InsertSecret(s care.Secret) error { return t.insert(insertSecret, secretRow(&s)...) }

// Secret also gives a secret that has expired: whether it still opens anything
// is for the caller, who knows the time.
func (t *tx) Secret(hash string) (care.Secret, error) {
	return get(t, getSecret, secretRow, secrets.what, hash)
}

func (t *tx) UpdateSecret(s care.Secret) error {
	return t.update(updateSecret, secrets.what, secretRow(&s)...)
}

// ListSecrets is ordered by creation, oldest first.
func (t *tx) ListSecrets(breederID string, kind care.SecretKind) ([]care.Secret, error) {
	if breederID == "" {
		return nil, nil // that would be everything that belongs to keepers
	}
	return list(t, listSecrets, secretRow, breederID, &kind)
}

// ListKeeperSecrets is ordered by creation, oldest first.
func (t *tx) ListKeeperSecrets(keeperID string, kind care.SecretKind) ([]care.Secret, error) {
	if keeperID == "" {
		return nil, nil // that would be everything that belongs to breeders
	}
	return list(t, keeperSecrets, secretRow, keeperID, &kind)
}

func (t *tx) DeleteSecret(hash string) error { return t.update(deleteSecret, secrets.what, hash) }

func (t *tx) DeleteExpiredSecrets(now time.Time, limit int) (int, error) {
	n, err := t.exec(expireSecrets, now.UnixMilli(), limit)
	return int(n), err
}

func (t *tx) InsertKeeper(k care.Keeper) error { return t.insert(insertKeeper, keeperRow(&k)...) }

func (t *tx) Keeper(keeperID string) (care.Keeper, error) {
	return get(t, getKeeper, keeperRow, keepers.what, keeperID)
}

func (t *tx) UpdateKeeper(k care.Keeper) error {
	return t.update(updateKeeper, keepers.what, keeperRow(&k)...)
}

func (t *tx) DeleteKeeper(keeperID string) error {
	return t.update(deleteKeeper, keepers.what, keeperID)
}

func (t *tx) Answered(scope, requestID string) (care.Answered, error) {
	return get(t, getAnswered, answeredRow, answered.what, scope, requestID)
}

func (t *tx) InsertAnswered(a care.Answered) error {
	return t.insert(insertAnswered, answeredRow(&a)...)
}

func (t *tx) DeleteAnswered(scope string) error {
	_, err := t.exec(deleteAnswered, scope)
	return err
}

func (t *tx) DeleteAnsweredBefore(before time.Time, limit int) (int, error) {
	n, err := t.exec(forgetAnswered, before.UnixMilli(), limit)
	return int(n), err
}
