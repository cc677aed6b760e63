package access

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

const keyFile = "server.key"

// Key is the server's own secret of 32 bytes, kept outside the database so
// that a leaked table of claim code hashes cannot be searched, and nobody who
// has the database alone can sign in a breeder's name. Without it the cards that
// are not claimed yet no longer open anything and have to be issued again, and
// breeders sign with new keys; what the old ones signed is checked as before. A
// backup that should keep the cards valid has to hold server.key, apart from the
// database.
type Key struct{ b [32]byte }

// LoadKey reads DIR/server.key and makes it when there is none. Several
// servers over one database need the same file, which is for the caller to see to. It refuses a file of the wrong
// length and one that other users of the machine can read.
func LoadKey(dir string) (Key, error) {
	path := filepath.Join(dir, keyFile)
	k, err := readKey(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return k, err
	}
	if err := makeKey(dir, path); err != nil {
		return Key{}, fmt.Errorf("making the server's key: %w", err)
	}
	return readKey(path)
}

func readKey(path string) (Key, error) {
	f, err := os.Open(path)
	if err != nil {
		return Key{}, fmt.Errorf("the server's key: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Key{}, fmt.Errorf("the server's key: %w", err)
	}
	// Windows has no such bits; its files show 0666 whatever the rights are.
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return Key{}, fmt.Errorf("other users can read %s (mode %04o): set its mode to 0600", path, info.Mode().Perm())
	}
	var k Key
	if info.Size() != int64(len(k.b)) {
		return Key{}, fmt.Errorf("%s has %d bytes and should have %d: put the file back from a backup",
			path, info.Size(), len(k.b))
	}
	if _, err := f.ReadAt(k.b[:], 0); err != nil {
		return Key{}, fmt.Errorf("the server's key: %w", err)
	}
	return k, nil
}

// makeKey puts a whole, durable file in place or none; when another process
// was first, its key stands.
func makeKey(dir, path string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, keyFile+".*.tmp") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	var b [32]byte
	rand.Read(b[:])
	if _, err := f.Write(b[:]); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := os.Link(f.Name(), path); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && runtime.GOOS != "windows" { // where a folder cannot be synced
		return err
	}
	return nil
}

// HashClaimCode is what is stored of a claim code, in the form that
// NewClaimCode and ParseClaimCode give: HMAC-SHA256 under the key, in hex.
func (k Key) HashClaimCode(code string) string { return k.hash("claim code ", code) }

// CardKey is a breeder's own key for CardMark. The breeder's phone holds it, to
// know the breeder's blank cards without a network; who steals the database has
// marks without it, and who steals the phone has one breeder's alone.
func (k Key) CardKey(breederID string) []byte {
	m := hmac.New(sha256.New, k.b[:])
	m.Write([]byte("card marks "))
	m.Write([]byte(breederID))
	return m.Sum(nil)
}

// CardMark is what a phone compares a scanned card with: HMAC-SHA256 of the
// code, in the form that NewClaimCode gives, under the breeder's CardKey, in hex.
func CardMark(cardKey []byte, code string) string {
	m := hmac.New(sha256.New, cardKey)
	m.Write([]byte(code))
	return hex.EncodeToString(m.Sum(nil))
}

// The purpose keeps a claim code and a keeper code of the same characters apart.
func (k Key) hash(purpose, code string) string {
	m := hmac.New(sha256.New, k.b[:])
	m.Write([]byte(purpose))
	m.Write([]byte(code))
	return hex.EncodeToString(m.Sum(nil))
}

// Format keeps the key out of logs, whatever the verb.
func (k Key) Format(s fmt.State, _ rune) { fmt.Fprint(s, "the server's key") }
