package access

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"strings"
)

// PushKey is the key by which the server signs what it sends to push services (RFC
// 8292). It is derived from the server's own, so that it is kept nowhere, the same on
// all servers over one database, and of no use to who has the database alone. With
// another server.key the devices have to be set up anew.
func (k Key) PushKey() (*ecdsa.PrivateKey, error) {
	for try := 0; ; try++ {
		b, err := hkdf.Key(sha256.New, k.b[:], nil, fmt.Sprintf("key for push services %d", try), 32)
		if err != nil {
			return nil, fmt.Errorf("the key for push services: %w", err)
		}
		// One in 2^32 numbers is no key of the curve.
		if key, err := ecdsa.ParseRawPrivateKey(elliptic.P256(), b); err == nil {
			return key, nil
		}
	}
}

// MailToken is the secret in a link that a mail brings: it does one thing (purpose)
// for one address (its id). It is computed and not kept.
func (k Key) MailToken(purpose, wayID string) string {
	return wayID + "." + base64.RawURLEncoding.EncodeToString(k.mailMAC(purpose, wayID))
}

// OpenMailToken returns the id of the address that a token is for; ok is false when
// the token was not made for this purpose by this server.
func (k Key) OpenMailToken(purpose, token string) (wayID string, ok bool) {
	wayID, text, ok := strings.Cut(token, ".")
	mac, err := base64.RawURLEncoding.DecodeString(text)
	return wayID, ok && err == nil && hmac.Equal(mac, k.mailMAC(purpose, wayID))
}

func (k Key) mailMAC(purpose, wayID string) []byte {
	m := hmac.New(sha256.New, k.b[:])
	fmt.Fprintf(m, "mail link %q %q", purpose, wayID)
	return m.Sum(nil)
}
