package notify

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/hkdf"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
)

// PushMost is how many bytes of text go in one message to a device: what every push
// service takes is 4096 (RFC 8030, 7.2), less the header of 86 bytes, the tag of 16
// and the one that ends the text.
const PushMost = 4096 - 86 - 16 - 1

const authSize = 16 // bytes of a device's secret, RFC 8291, 3.2

// CheckDevice checks the two values by which a browser lets itself be written to:
// its public key, an uncompressed point of P-256, and its secret of 16 bytes.
func CheckDevice(public, auth []byte) error {
	if _, err := ecdh.P256().NewPublicKey(public); err != nil {
		return fmt.Errorf("the device's key: %w", err)
	}
	if len(auth) != authSize {
		return fmt.Errorf("the device's secret has %d bytes and not %d", len(auth), authSize)
	}
	return nil
}

// Seal encrypts a text for one device as RFC 8291 says, in one record of the
// encoding aes128gcm (RFC 8188). The key and the salt of 16 bytes must be fresh and
// random for each message. What comes out is the body of the request to the push
// service, which can read none of it.
func Seal(text, public, auth []byte, fresh *ecdh.PrivateKey, salt []byte) ([]byte, error) {
	if len(text) > PushMost {
		return nil, fmt.Errorf("a text of %d bytes is longer than the %d that a push service takes", len(text), PushMost)
	}
	if err := CheckDevice(public, auth); err != nil {
		return nil, err
	}
	if len(salt) != 16 {
		return nil, errors.New("the salt has to have 16 bytes")
	}
	device, err := ecdh.P256().NewPublicKey(public)
	if err != nil {
		return nil, err
	}
	shared, err := fresh.ECDH(device)
	if err != nil {
		return nil, fmt.Errorf("a key for this device: %w", err)
	}
	own := fresh.PublicKey().Bytes()
	// RFC 8291, 3.4.
	secret, err := hkdf.Key(sha256.New, shared, auth, "WebPush: info\x00"+string(public)+string(own), 32)
	if err != nil {
		return nil, err
	}
	key, err := hkdf.Key(sha256.New, secret, salt, "Content-Encoding: aes128gcm\x00", 16)
	if err != nil {
		return nil, err
	}
	nonce, err := hkdf.Key(sha256.New, secret, salt, "Content-Encoding: nonce\x00", 12)
	if err != nil {
		return nil, err
	}
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, err
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		return nil, err
	}
	// RFC 8188, 2.1: salt, record size, length of the key's id, and the id.
	body := append([]byte(nil), salt...)
	body = binary.BigEndian.AppendUint32(body, 4096)
	body = append(body, byte(len(own)))
	body = append(body, own...)
	last := append(append([]byte(nil), text...), 2) // RFC 8188, 2: the delimiter of the last record
	return gcm.Seal(body, nonce, last, nil), nil
}
