package notify

import (
	"bytes"
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"strings"
	"testing"

	"warmhand/internal/reference"
)

func bytesOf(t *testing.T, text string) []byte {
	t.Helper()
	b, err := base64.RawURLEncoding.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// RFC 8291, section 5 and appendix A.
func TestSealAsInTheStandard(t *testing.T) {
	t.Parallel()
	fresh, err := ecdh.P256().NewPrivateKey(bytesOf(t, "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"))
	if err != nil {
		t.Fatal(err)
	}
	public := bytesOf(t, "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4")
	got, err := Seal([]byte("When I grow up, I want to be a watermelon"), public, bytesOf(t, "BTBZMqHH6r4Tts7J_aSIgg"), fresh, bytesOf(t, "DGv6ra1nlYgDCS1FRnbzlw"))
	if err != nil {
		t.Fatal(err)
	}
	const want = "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
	if base64.RawURLEncoding.EncodeToString(got) != want {
		t.Errorf("got %s", base64.RawURLEncoding.EncodeToString(got))
	}
}

// Read back by another implementation, in another language (testdata/reference).
func TestSealReadByOthers(t *testing.T) {
	t.Parallel()
	type question struct {
		Private string `json:"private"` // of the device
		Auth    string `json:"auth"`
		Body    string `json:"body"`
	}
	var questions []question
	texts := []string{"", "a", `{"title":"Öl, the 🐍"}`, strings.Repeat("x", PushMost)}
	for i, text := range texts {
		device, err := ecdh.P256().GenerateKey(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		fresh, err := ecdh.P256().GenerateKey(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		auth, salt := bytes.Repeat([]byte{byte(i)}, 16), make([]byte, 16)
		rand.Read(salt)
		body, err := Seal([]byte(text), device.PublicKey().Bytes(), auth, fresh, salt)
		if err != nil {
			t.Fatal(err)
		}
		if len(body) > 4096 {
			t.Errorf("%d bytes of text make %d", len(text), len(body))
		}
		hex := func(b []byte) string { return fmt.Sprintf("%x", b) }
		questions = append(questions, question{hex(device.Bytes()), hex(auth), hex(body)})
	}
	var answers struct {
		Opened []string `json:"opened"`
	}
	reference.AskPython(t, map[string]any{"opened": questions}, &answers)
	if len(answers.Opened) != len(texts) {
		t.Fatalf("%d answers", len(answers.Opened))
	}
	for i, text := range texts {
		if answers.Opened[i] != text {
			t.Errorf("%.40q was read as %.40q", text, answers.Opened[i])
		}
	}
}

func TestSealRefuses(t *testing.T) {
	t.Parallel()
	fresh, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	public, auth, salt := fresh.PublicKey().Bytes(), make([]byte, 16), make([]byte, 16)
	off := bytes.Clone(public)
	off[64] ^= 1 // beside the curve
	for name, seal := range map[string]func() ([]byte, error){
		"a long text":         func() ([]byte, error) { return Seal(make([]byte, PushMost+1), public, auth, fresh, salt) },
		"a point off curve":   func() ([]byte, error) { return Seal(nil, off, auth, fresh, salt) },
		"a short key":         func() ([]byte, error) { return Seal(nil, public[:64], auth, fresh, salt) },
		"a short secret":      func() ([]byte, error) { return Seal(nil, public, auth[:15], fresh, salt) },
		"a salt that is none": func() ([]byte, error) { return Seal(nil, public, auth, fresh, nil) },
	} {
		if _, err := seal(); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}
