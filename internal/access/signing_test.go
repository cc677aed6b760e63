package access

import (
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
