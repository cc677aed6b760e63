package access

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"warmhand/internal/care"
)

func TestSigningKeysAreSealed(t *testing.T) {
	t.Parallel()
	var servers [2]Key
	for i := range servers {
		var err error
		if servers[i], err = LoadKey(t.TempDir()); err != nil {
			t.Fatal(err)
		}
	}
	ours, theirs := servers[0], servers[1]
	key, err := ours.NewSigningKey("b1")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ours.Sign(&key, []byte("{}")); err != nil {
		t.Error(err)
	}
	if _, err := theirs.Sign(&key, []byte("{}")); !errors.Is(err, ErrSealed) {
		t.Errorf("another server's key: %v", err)
	}
	if strings.Contains(string(key.Public), `"d"`) {
		t.Errorf("the public key holds the private one: %s", key.Public)
	}
	other, err := ours.NewSigningKey("b1")
	if err != nil || other.ID == key.ID {
		t.Errorf("the next key is %s too (%v)", other.ID, err)
	}
	for name, change := range map[string]func(*care.SigningKey){
		"in another breeder's row": func(k *care.SigningKey) { k.BreederID = "b2" },
		"under another key's id":   func(k *care.SigningKey) { k.ID = other.ID },
		"with a changed byte":      func(k *care.SigningKey) { k.Sealed = append([]byte{k.Sealed[0] ^ 1}, k.Sealed[1:]...) },
		"cut off":                  func(k *care.SigningKey) { k.Sealed = k.Sealed[:5] },
		"empty":                    func(k *care.SigningKey) { k.Sealed = nil },
	} {
		k := key
		change(&k)
		if _, err := ours.Sign(&k, []byte("{}")); !errors.Is(err, ErrSealed) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What servers have in common opens with the same key under the same name, and not else.
func TestSealed(t *testing.T) {
	t.Parallel()
	key, err := LoadKey(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	other, err := LoadKey(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	sealed, err := key.Seal("certificate/a", []byte("private"))
	if err != nil || bytes.Contains(sealed, []byte("private")) {
		t.Fatalf("%q, %v", sealed, err)
	}
	if plain, err := key.Unseal("certificate/a", sealed); err != nil || string(plain) != "private" {
		t.Errorf("%q, %v", plain, err)
	}
	for what, open := range map[string]func() ([]byte, error){
		"another name": func() ([]byte, error) { return key.Unseal("certificate/b", sealed) },
		"another key":  func() ([]byte, error) { return other.Unseal("certificate/a", sealed) },
		"cut":          func() ([]byte, error) { return key.Unseal("certificate/a", sealed[:5]) },
	} {
		if plain, err := open(); !errors.Is(err, ErrSealed) {
			t.Errorf("%s: %q, %v", what, plain, err)
		}
	}
}
