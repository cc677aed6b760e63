package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// measuringWorker runs the engine beside the page; an app without it needs none.
const measuringWorker = "src/worker/measure.ts"

// engine is the Go code that runs in the browser.
type engine struct {
	wasm     []byte
	glue     string // the toolchain's file that carries calls between Go and the browser
	licenses []byte
}

// compile makes the engine, for the app in the folder pwa, of the package
// internal/measure/wasm beside it.
func compile(pwa string) (*engine, error) {
	e := &engine{}
	if _, err := os.Stat(filepath.Join(pwa, measuringWorker)); errors.Is(err, fs.ErrNotExist) {
		return e, nil
	}
	const source = "./internal/measure/wasm"
	root := filepath.Dir(pwa)
	run := func(args ...string) ([]byte, error) {
		cmd := exec.Command("go", args...)
		cmd.Dir = root
		cmd.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "CGO_ENABLED=0", "GOFLAGS=")
		out, err := cmd.Output()
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			return nil, fmt.Errorf("go %s: %w\n%s", args[0], err, exit.Stderr)
		}
		return out, err
	}
	dir, err := os.MkdirTemp("", "webbuild-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	// The same sources make the same bytes, wherever they lie.
	file := filepath.Join(dir, "measure.wasm")
	if _, err := run("build", "-trimpath", "-buildvcs=false", "-ldflags=-s -w", "-o", file, source); err != nil {
		return nil, err
	}
	if e.wasm, err = os.ReadFile(file); err != nil {
		return nil, err
	}
	home, err := run("env", "GOROOT")
	if err != nil {
		return nil, err
	}
	goroot := strings.TrimSpace(string(home))
	e.glue = filepath.Join(goroot, "lib/wasm/wasm_exec.js")

	// What went in is Go itself and modules.
	list, err := run("list", "-deps", "-json=Module", source)
	if err != nil {
		return nil, err
	}
	parts := map[string]string{"Go": goroot}
	for d := json.NewDecoder(bytes.NewReader(list)); ; {
		var p struct {
			Module *struct {
				Path, Version, Dir string
				Main               bool
			}
		}
		if err := d.Decode(&p); err == io.EOF {
			break
		} else if err != nil {
			return nil, fmt.Errorf("go list: %w", err)
		}
		if p.Module != nil && !p.Module.Main {
			parts[p.Module.Path+" "+p.Module.Version] = p.Module.Dir
		}
	}
	var text bytes.Buffer
	fmt.Fprint(&text, "\n\nWhat measures photos in the app is compiled by Go, of these parts.\n")
	names := make([]string, 0, len(parts))
	for name := range parts {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		license, err := os.ReadFile(filepath.Join(parts[name], "LICENSE"))
		if err != nil {
			return nil, fmt.Errorf("the licence of %s: %w", name, err)
		}
		fmt.Fprintf(&text, "\n\n%s\n\n%s\n", name, bytes.TrimSpace(license))
	}
	e.licenses = text.Bytes()
	return e, nil
}
