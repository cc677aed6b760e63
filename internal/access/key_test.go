package access

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
)

func TestKeyIsMadeOnceAndKept(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "data")
	keys := make([]Key, 8)
	var wg sync.WaitGroup
	for i := range keys { // several processes may start at once
		wg.Go(func() {
			var err error
			if keys[i], err = LoadKey(dir); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	for _, k := range keys {
		if k.b != keys[0].b || k.b == [32]byte{} {
			t.Fatal("the keys differ or are empty")
		}
	}
	files, err := os.ReadDir(dir)
	if err != nil || len(files) != 1 || files[0].Name() != "server.key" {
		t.Fatalf("the folder holds %v, %v", files, err)
	}
	info, err := files[0].Info()
	if err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

func TestKeyFileIsRefused(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		size int
		mode os.FileMode
		says string
	}{
		"cut short":      {31, 0o600, "has 31 bytes"},
		"empty":          {0, 0o600, "has 0 bytes"},
		"too long":       {64, 0o600, "has 64 bytes"},
		"group may read": {32, 0o640, "set its mode to 0600"},
		"all may read":   {32, 0o604, "set its mode to 0600"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if c.mode != 0o600 && runtime.GOOS == "windows" {
				t.Skip("no such modes here")
			}
			dir := t.TempDir()
			path := filepath.Join(dir, "server.key")
			if err := os.WriteFile(path, make([]byte, c.size), 0o600); err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(path, c.mode); err != nil {
				t.Fatal(err)
			}
			if _, err := LoadKey(dir); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v", err)
			}
			if info, err := os.Stat(path); err != nil || info.Size() != int64(c.size) {
				t.Error("the file was touched")
			}
		})
	}
	if _, err := LoadKey(filepath.Join(t.TempDir(), "a\x00b")); err == nil {
		t.Error("a folder that cannot be made gave a key")
	}
}

func TestClaimHashNeedsTheKey(t *testing.T) {
	t.Parallel()
	a, err := LoadKey(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	b, err := LoadKey(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	const code = "K7QM4-2XR90"
	h := a.HashClaimCode(code)
	if len(h) != 64 || h != a.HashClaimCode(code) || h == b.HashClaimCode(code) || h == Hash(code) || h == a.HashClaimCode("10100-0001T") {
		t.Errorf("hash %s", h)
	}
	for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%x", "%d"} {
		if got := fmt.Sprintf(verb, a); got != "the server's key" {
			t.Errorf("%s prints %q", verb, got)
		}
	}
}
