package access

import (
	"crypto"
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"

	"github.com/go-jose/go-jose/v4"

	"warmhand/internal/care"
)

// recordType is the type in the protected header of a signed record, so that
// nothing else that a key may come to sign passes for one (RFC 8725, 3.11).
const recordType = "handover-record+jws"

// ErrSealed says that something was sealed under another server's key.
var ErrSealed = errors.New("this was sealed under another server's key")

// NewSigningKey makes a key for a breeder's records. It is for ES256, because
// the browsers of older phones check that and not Ed25519.
func (k Key) NewSigningKey(breederID string) (care.SigningKey, error) {
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return care.SigningKey{}, fmt.Errorf("making a signing key: %w", err)
	}
	public := jose.JSONWebKey{Key: private.Public(), Algorithm: string(jose.ES256), Use: "sig"}
	thumb, err := public.Thumbprint(crypto.SHA256)
	if err != nil {
		return care.SigningKey{}, fmt.Errorf("naming a signing key: %w", err)
	}
	public.KeyID = base64.RawURLEncoding.EncodeToString(thumb)
	made := care.SigningKey{BreederID: breederID, ID: public.KeyID}
	if made.Public, err = public.MarshalJSON(); err != nil {
		return care.SigningKey{}, fmt.Errorf("writing a signing key: %w", err)
	}
	plain, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return care.SigningKey{}, fmt.Errorf("writing a signing key: %w", err)
	}
	seal, err := k.sealing("sealing of breeders' signing keys")
	if err != nil {
		return care.SigningKey{}, err
	}
	made.Sealed = seal.Seal(nil, nil, plain, sealedFor(&made))
	return made, nil
}

// Sign returns the payload as a compact JWS (RFC 7515) by a breeder's key, or
// ErrSealed.
func (k Key) Sign(by *care.SigningKey, payload []byte) (string, error) {
	seal, err := k.sealing("sealing of breeders' signing keys")
	if err != nil {
		return "", err
	}
	plain, err := seal.Open(nil, nil, by.Sealed, sealedFor(by))
	if err != nil {
		return "", ErrSealed
	}
	private, err := x509.ParsePKCS8PrivateKey(plain)
	if err != nil {
		return "", fmt.Errorf("reading a signing key: %w", err)
	}
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.ES256, Key: jose.JSONWebKey{Key: private, KeyID: by.ID}},
		(&jose.SignerOptions{}).WithType(recordType))
	if err != nil {
		return "", fmt.Errorf("signing: %w", err)
	}
	signed, err := signer.Sign(payload)
	if err != nil {
		return "", fmt.Errorf("signing: %w", err)
	}
	return signed.CompactSerialize()
}

// Seal makes ready for the database what only servers with this key may read, such as
// a certificate's key. It opens under its own name only.
func (k Key) Seal(name string, plain []byte) ([]byte, error) {
	seal, err := k.sealing("sealing of what servers have in common")
	if err != nil {
		return nil, err
	}
	return seal.Seal(nil, nil, plain, []byte(name)), nil
}

// Unseal is what was sealed under the name, or ErrSealed.
func (k Key) Unseal(name string, sealed []byte) ([]byte, error) {
	seal, err := k.sealing("sealing of what servers have in common")
	if err != nil {
		return nil, err
	}
	plain, err := seal.Open(nil, nil, sealed, []byte(name))
	if err != nil {
		return nil, ErrSealed
	}
	return plain, nil
}

// sealing is a cipher under the server's key. Its key is derived for one purpose
// alone, so that what else the server's key is used for tells nothing of it.
func (k Key) sealing(purpose string) (cipher.AEAD, error) {
	b, err := hkdf.Key(sha256.New, k.b[:], nil, purpose, 32)
	if err != nil {
		return nil, fmt.Errorf("the key for sealing: %w", err)
	}
	block, err := aes.NewCipher(b)
	if err != nil {
		return nil, fmt.Errorf("the key for sealing: %w", err)
	}
	return cipher.NewGCMWithRandomNonce(block)
}

// sealedFor binds a sealed key to its row: one that is put into another
// breeder's row does not open.
func sealedFor(k *care.SigningKey) []byte { return []byte(k.BreederID + "/" + k.ID) }
