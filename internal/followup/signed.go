package followup

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/internal/words"
)

// Signer signs in a breeder's name.
type Signer interface {
	NewSigningKey(breederID string) (care.SigningKey, error)
	// Sign returns a compact JWS; ok is false for a key that this server cannot
	// open.
	Sign(by *care.SigningKey, payload []byte) (jws string, ok bool, err error)
	// Issuer is the origin under which people reach the service.
	Issuer() string
}

// sign has the record of a handover signed by its breeder's key. The breeder
// gets one with the first record, and another one when the server's key that
// sealed it is lost.
func (s *Service) sign(tx care.Tx, h *care.Handover, now time.Time) (string, error) {
	payload, err := casefile.Statement(h, s.signer.Issuer())
	if err != nil {
		return "", fmt.Errorf("what is to be signed: %w", err)
	}
	keys, err := tx.ListSigningKeys(h.BreederID)
	if err != nil {
		return "", err
	}
	for _, k := range slices.Backward(keys) {
		if jws, ok, err := s.signer.Sign(&k, payload); ok || err != nil {
			return jws, err
		}
	}
	k, err := s.signer.NewSigningKey(h.BreederID)
	if err != nil {
		return "", err
	}
	k.CreatedAt = now
	if err := tx.InsertSigningKey(k); err != nil {
		return "", err
	}
	jws, ok, err := s.signer.Sign(&k, payload)
	if err == nil && !ok {
		err = fmt.Errorf("the signing key %s was made and does not open", k.ID)
	}
	return jws, err
}

// SignedRecord is the record of a handover as its breeder's key signed it, for
// those who have the record anyway.
func (s *Service) SignedRecord(ctx context.Context, who care.Actor, breederID, id string) (string, error) {
	var h care.Handover
	err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		h, err = tx.Handover(breederID, id)
		return err
	})
	switch {
	case err != nil:
		return "", err
	case !who.OfBreeder(breederID) && !who.IsKeeper(h.KeeperID, breederID):
		return "", care.Missing("handover")
	case h.Signed != "":
		return h.Signed, nil
	case h.From != "":
		return "", &care.Error{Code: care.Precondition, Reason: care.ReasonNotSigned, Text: words.Say("A keeper passed this animal on, and the breeder's key signs only what the breeder hands over. Ask that keeper for the signed record they were given.")}
	}
	return "", &care.Error{Code: care.Precondition, Reason: care.ReasonNotSigned, Text: words.Say("This record has no signature: it was issued before records were signed, or came from another server.")}
}

// PublicKeys are the public halves of all keys that a breeder's records were
// ever signed by, JSON Web Keys, oldest first. They are for everybody; a breeder
// who is not there has none either.
func (s *Service) PublicKeys(ctx context.Context, breederID string) (list [][]byte, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) error {
		list = nil
		keys, err := tx.ListSigningKeys(breederID)
		for _, k := range keys {
			list = append(list, k.Public)
		}
		return err
	})
	return list, err
}

// Revoked reports whether a handover was revoked, to whoever has its signed
// record and shows so by the record's digest.
func (s *Service) Revoked(ctx context.Context, breederID, id, digest string) (bool, error) {
	var h care.Handover
	err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		h, err = tx.Handover(breederID, id)
		return err
	})
	if care.IsCode(err, care.NotFound) || err == nil && (h.Signed == "" || subtle.ConstantTimeCompare([]byte(RecordDigest(h.Signed)), []byte(digest)) == 0) {
		return false, care.Missing("record")
	}
	return h.State == care.HandoverRevoked, err
}

// RecordDigest is SHA-256 of a signed record, in hex.
func RecordDigest(jws string) string {
	sum := sha256.Sum256([]byte(jws))
	return hex.EncodeToString(sum[:])
}
