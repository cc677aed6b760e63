package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The engine is compiled from Go beside the app, found by the worker and the
// app under a name of its content, and not among what every phone fetches.
func TestEngine(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	pwa := filepath.Join(root, "pwa")
	if err := os.Rename(lay(t, map[string]string{
		"src/app.tsx":           small["src/app.tsx"] + "\nnew Worker(__MEASURE__);",
		"src/worker/measure.ts": "void fetch(__ENGINE__).then(() => new (globalThis as any).Go());",
		"src/sw/sw.ts":          small["src/sw/sw.ts"] + "\nconsole.log('large', __LARGE__);",
	}), pwa); err != nil {
		t.Fatal(err)
	}
	write := func(name, text string) {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(root, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(root, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("go.mod", "module small\n\ngo 1.26\n")
	write("internal/measure/wasm/main.go", "//go:build js && wasm\n\npackage main\n\nfunc main() { println(\"ready\") }\n")
	s, err := build(pwa)
	if err != nil {
		t.Fatal(err)
	}
	names := map[string]string{}
	for name := range s.files {
		if m := regexp.MustCompile(`^assets/(measure|app)-\w+(\.\w+)$`).FindStringSubmatch(name); m != nil {
			names[m[1]+m[2]] = name
		}
	}
	if !bytes.HasPrefix(s.files[names["measure.wasm"]], []byte("\x00asm")) {
		t.Fatalf("no engine among %v", names)
	}
	worker, app, sw := string(s.files[names["measure.js"]]), string(s.files[names["app.js"]]), string(s.files["sw.js"])
	if !strings.Contains(worker, "/"+names["measure.wasm"]) || !strings.Contains(worker, "importObject") {
		t.Errorf("the worker lacks the engine's name or the glue: %.200s", worker)
	}
	if !strings.Contains(app, "/"+names["measure.js"]) {
		t.Errorf("the app does not know its worker: %s", app)
	}
	if !strings.Contains(sw, `["/`+names["measure.wasm"]+`"]`) || strings.Count(sw, ".wasm") != 1 || !strings.Contains(sw, `"/`+names["measure.js"]+`"`) {
		t.Errorf("the service worker keeps the wrong files: %s", sw)
	}
	if text := string(s.files["licenses.txt"]); !strings.Contains(text, "The Go Authors") {
		t.Errorf("licenses.txt lacks Go's: %s", text)
	}
	again, err := build(pwa)
	if err != nil || again.version != s.version {
		t.Errorf("the same sources gave version %s and then %s, %v", s.version, again.version, err)
	}

	write("internal/measure/wasm/main.go", "package main\n\nfunc main() { wrong }\n")
	if _, err := build(pwa); err == nil || !strings.Contains(err.Error(), "wrong") {
		t.Errorf("sources that do not compile: %v", err)
	}
}
