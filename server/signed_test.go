package server_test

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"warmhand/internal/care"
	"warmhand/internal/reference"
	"warmhand/server"
	"warmhand/server/servertest"
)

// toCheck is records, and the keys that the service gives to anybody.
type toCheck struct {
	Keys    json.RawMessage `json:"keys"`
	Records []string        `json:"records"`
}

// checked is what jwcrypto, which shares no code with us, reads out of records;
// nil for one that it refuses.
func checked(t *testing.T, sets ...toCheck) [][]*string {
	t.Helper()
	var answers struct{ Signatures [][]*string }
	reference.AskPython(t, map[string]any{"signatures": sets}, &answers)
	if len(answers.Signatures) != len(sets) {
		t.Fatalf("%d answers for %d sets", len(answers.Signatures), len(sets))
	}
	for i, said := range answers.Signatures {
		if len(said) != len(sets[i].Records) {
			t.Fatalf("%d answers for %d records", len(said), len(sets[i].Records))
		}
	}
	return answers.Signatures
}

func TestSignedRecord(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder, other := f.NewBreeder("b1"), f.NewBreeder("b2")
	if got := string(f.Page().Call("GET", "/v1/breeders/b1/keys.json", nil).OK().Body); got != `{"keys":[]}` {
		t.Errorf("before the first record there are keys: %s", got)
	}
	animal := f.ID("animal")
	breeder.Call("POST", "/v1/breeders/b1/animals?animalId="+animal, map[string]any{"displayName": "Tub <14>", "species": "python_regius",
		"sex": "SEX_FEMALE", "genes": []string{"spider"}, "note": "the breeder's own"}).OK()
	breeder.Weigh("b1", animal, 540)
	id, code := breeder.HandOver(animal)
	path := "/v1/breeders/b1/handovers/" + id
	keeper := f.Page()
	for name, c := range map[string]*servertest.Client{"another breeder": other, "a keeper of nothing": keeper} {
		if a := c.Call("GET", path+"/record.jws", nil); a.Status < 400 || bytes.Contains(a.Body, []byte("eyJ")) {
			t.Errorf("%s gets %d %s", name, a.Status, a.Body)
		}
	}
	breeder.Weigh("b1", animal, 560) // after the record was issued
	keeper.Claim(code).OK()

	file := keeper.Call("GET", path+"/record.jws", nil).OK()
	if got := file.Header.Get("Content-Type"); got != "application/jose" {
		t.Errorf("Content-Type is %q", got)
	}
	if same := breeder.Call("GET", path+"/record.jws", nil).OK(); !bytes.Equal(same.Body, file.Body) {
		t.Error("the breeder's copy is another one")
	}
	record := string(file.Body)
	keys := f.Page().Call("GET", "/v1/breeders/b1/keys.json", nil).OK().Body

	// Every byte counts. The last one of a signature has two bits of it, and four
	// that mean nothing (RFC 4648, 3.5), so the first bit of each letter changes.
	const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
	var changed []string
	for i := range record {
		to := byte('A')
		if k := strings.IndexByte(letters, record[i]); k >= 0 {
			to = letters[k^32]
		}
		changed = append(changed, record[:i]+string(to)+record[i+1:])
	}
	// Nor does a record name what it is to be checked by.
	head, rest, _ := strings.Cut(record, ".")
	body, _, _ := strings.Cut(rest, ".")
	b64 := base64.RawURLEncoding.EncodeToString
	plain, err := base64.RawURLEncoding.DecodeString(head)
	if err != nil || !bytes.Contains(plain, []byte(`"alg":"ES256"`)) || !bytes.Contains(plain, []byte(`"typ":"handover-record+jws"`)) {
		t.Fatalf("the header is %s (%v)", plain, err)
	}
	none := b64(bytes.Replace(plain, []byte("ES256"), []byte("none"), 1)) + "." + body
	hs := b64(bytes.Replace(plain, []byte("ES256"), []byte("HS256"), 1)) + "." + body
	mac := hmac.New(sha256.New, keys)
	mac.Write([]byte(hs))
	changed = append(changed, none+".", none+"."+b64([]byte("x")), hs+"."+b64(mac.Sum(nil)), head+"."+body+".", body, "")
	// The other breeder's key is another one, and signs for nobody else.
	theirs, _ := other.HandOver(other.NewAnimal())
	foreign := string(other.Call("GET", "/v1/breeders/b2/handovers/"+theirs+"/record.jws", nil).OK().Body)
	foreignKeys := f.Page().Call("GET", "/v1/breeders/b2/keys.json", nil).OK().Body

	answers := checked(t, toCheck{keys, []string{record, foreign}}, toCheck{keys, changed}, toCheck{foreignKeys, []string{record, foreign}})
	said := answers[0][0]
	if said == nil {
		t.Fatalf("jwcrypto refuses %s by %s", record, keys)
	}
	for _, want := range []string{`"name":"Tub <14>"`, `"scientific_name":"Python regius"`, `"mass_g":540`, `"handover":"` + id + `"`, `"issuer":"` + f.Server.Origin() + `"`, `"genes":["spider"]`} {
		if !strings.Contains(*said, want) {
			t.Errorf("%s is not in %s", want, *said)
		}
	}
	for _, not := range []string{"the breeder's own", "pays in two parts", "Kim", "At the show", strings.ReplaceAll(code, "-", ""), code, `"mass_g":560`} {
		if strings.Contains(*said, not) {
			t.Errorf("%q is in %s", not, *said)
		}
	}

	for i, said := range answers[1] {
		if said != nil {
			t.Errorf("change %d of %d is taken: %s", i, len(changed), changed[i])
		}
	}

	if answers[0][1] != nil || answers[2][0] != nil || answers[2][1] == nil {
		t.Error("the breeders' keys are not told apart")
	}
	if bytes.Contains(keys, []byte(`"d"`)) {
		t.Errorf("the keys for anybody hold a private one: %s", keys)
	}
}

// digest is how whoever has a record asks for it.
func digest(record []byte) string {
	sum := sha256.Sum256(record)
	return hex.EncodeToString(sum[:])
}

func TestRevokedRecord(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	id, _ := breeder.HandOver(breeder.NewAnimal())
	second, _ := breeder.HandOver(breeder.NewAnimal())
	path := "/v1/breeders/b1/handovers/" + id
	record := breeder.Call("GET", path+"/record.jws", nil).OK().Body
	stranger := f.Page()
	ask := path + "/signed/" + digest(record)
	if got := string(stranger.Call("GET", ask, nil).OK().Body); got != `{"revoked":false}` {
		t.Errorf("it says %s", got)
	}
	breeder.Call("POST", path+":revoke", map[string]any{}).OK()
	if got := string(stranger.Call("GET", ask, nil).OK().Body); got != `{"revoked":true}` {
		t.Errorf("after it was revoked it says %s", got)
	}
	// Whoever has no record learns nothing.
	for _, path := range []string{path + "/signed/" + digest([]byte("another")), "/v1/breeders/b1/handovers/" + second + "/signed/" + digest(record),
		"/v1/breeders/b2/handovers/" + id + "/signed/" + digest(record), "/v1/breeders/b1/handovers/nobody/signed/" + digest(nil)} {
		if a := stranger.Call("GET", path, nil); a.Status != 404 {
			t.Errorf("%s: %d %s", path, a.Status, a.Body)
		}
	}
	for range 60 {
		stranger.Call("GET", "/v1/breeders/b1/keys.json", nil)
	}
	if a := stranger.Call("GET", "/v1/breeders/b1/keys.json", nil); a.Status != 429 {
		t.Errorf("a stranger may ask without an end: %d", a.Status)
	}
}

// A handover from before records were signed has none, and nobody can ask for
// it by the digest of nothing.
func TestRecordWithoutSignature(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	id, _ := breeder.HandOver(breeder.NewAnimal())
	f.Write(func(tx care.Tx) error {
		h, err := tx.Handover("b1", id)
		if err != nil {
			return err
		}
		h.Signed = ""
		return tx.UpdateHandover(h)
	})
	a := breeder.Call("GET", "/v1/breeders/b1/handovers/"+id+"/record.jws", nil)
	if reason, _, _ := a.Problem(); a.Status != 400 || reason != "NOT_SIGNED" {
		t.Errorf("it is %d %s", a.Status, a.Body)
	}
	if a := f.Page().Call("GET", "/v1/breeders/b1/handovers/"+id+"/signed/"+digest(nil), nil); a.Status != 404 {
		t.Errorf("it has a digest: %d %s", a.Status, a.Body)
	}
}

// A server that was restored signs with the key that it had; one whose own key
// is lost signs with a new one, and what was signed before is checked as ever.
func TestKeysAfterRestore(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	first, _ := breeder.HandOver(breeder.NewAnimal())
	record := string(breeder.Call("GET", "/v1/breeders/b1/handovers/"+first+"/record.jws", nil).OK().Body)
	before := f.Page().Call("GET", "/v1/breeders/b1/keys.json", nil).OK().Body
	admin, err := server.OpenAdmin(t.Context(), server.Data{Dir: f.DataDir}, false)
	if err != nil {
		t.Fatal(err)
	}
	backup := filepath.Join(t.TempDir(), "backup")
	_, err = admin.Backup(t.Context(), backup, false)
	if err := admin.Close(); err != nil {
		t.Fatal(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	var sets []toCheck
	for _, lost := range []bool{false, true} {
		to := filepath.Join(t.TempDir(), "restored")
		if _, err := server.Restore(t.Context(), backup, to); err != nil {
			t.Fatal(err)
		}
		if lost {
			if err := os.Remove(filepath.Join(to, "server.key")); err != nil {
				t.Fatal(err)
			}
			restored, err := server.OpenAdmin(t.Context(), server.Data{Dir: to}, false)
			if err != nil {
				t.Fatal(err)
			}
			_, err = restored.ChangeKey(t.Context())
			if err := errors.Join(err, restored.Close()); err != nil {
				t.Fatal(err)
			}
		}
		again := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.DataDir = to }})
		again.ID("not one of the first server's")
		owner := again.SignIn(care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"})
		next, _ := owner.HandOver(owner.NewAnimal())
		signed := string(owner.Call("GET", "/v1/breeders/b1/handovers/"+next+"/record.jws", nil).OK().Body)
		keys := again.Page().Call("GET", "/v1/breeders/b1/keys.json", nil).OK().Body
		if bytes.Equal(keys, before) == lost {
			t.Errorf("server.key lost is %v, and the keys are\n%s, they were\n%s", lost, keys, before)
		}
		sets = append(sets, toCheck{keys, []string{record, signed}})
	}
	for i, said := range checked(t, sets...) {
		if said[0] == nil || said[1] == nil {
			t.Errorf("restored with its key %v: of the record from before and the next one, refused are %v and %v", i == 0, said[0] == nil, said[1] == nil)
		}
	}
}
