// Command sbom writes what the program is made of to standard output, as a
// CycloneDX 1.6 bill of materials in JSON: the Go modules that are linked, and the
// npm packages that are bundled into the web app, each with its licence. It asks
// no network. It fails when one comes under a licence that is not in allowed.
package main

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// allowed are the licences that what is handed on may come under, by their SPDX
// ids: each lets it be linked into a program under the Apache licence. Of MPL-2.0
// the module's own files stay under it, and we change none; OFL-1.1 is for typefaces.
var allowed = []string{"Apache-2.0", "MIT", "BSD-2-Clause", "BSD-3-Clause", "ISC", "0BSD", "MPL-2.0", "Unlicense", "CC0-1.0", "OFL-1.1"}

func main() {
	root := "."
	if len(os.Args) > 1 {
		root = os.Args[1]
	}
	if err := write(os.Stdout, root); err != nil {
		fmt.Fprintf(os.Stderr, "sbom: %v\n", err)
		os.Exit(1)
	}
}

// component is one of CycloneDX's, as far as it is used here.
type component struct {
	Type     string    `json:"type"`
	Ref      string    `json:"bom-ref"`
	Name     string    `json:"name"`
	Version  string    `json:"version,omitempty"`
	Purl     string    `json:"purl,omitempty"`
	Hashes   []hash    `json:"hashes,omitempty"`
	Licenses []license `json:"licenses,omitempty"`
}

type hash struct {
	Alg     string `json:"alg"`
	Content string `json:"content"`
}

type license struct {
	License struct {
		ID string `json:"id"`
	} `json:"license"`
}

// write writes the bill, or says which parts may not be handed on.
func write(w io.Writer, root string) error {
	modules, err := goModules(root)
	if err != nil {
		return err
	}
	packages, err := npmPackages(root)
	if err != nil {
		return err
	}
	all := append(modules, packages...)
	if err := check(all); err != nil {
		return err
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(map[string]any{
		"bomFormat": "CycloneDX", "specVersion": "1.6", "version": 1,
		"metadata":   map[string]any{"component": component{Type: "application", Ref: "warmhand", Name: "warmhand", Licenses: licenses("Apache-2.0")}},
		"components": all,
	})
}

func check(all []component) error {
	var errs []error
	for _, c := range all {
		if len(c.Licenses) == 0 {
			errs = append(errs, fmt.Errorf("%s: its licence is not known; read it, and teach licencesOf its words", c.Ref))
		}
		for _, l := range c.Licenses {
			if !slices.Contains(allowed, l.License.ID) {
				errs = append(errs, fmt.Errorf("%s comes under %s, which is not among those that may be handed on", c.Ref, l.License.ID))
			}
		}
	}
	return errors.Join(errs...)
}

func licenses(ids ...string) (all []license) {
	for _, id := range ids {
		var l license
		l.License.ID = id
		all = append(all, l)
	}
	return all
}

// goModules are the modules that the program links, and Go itself.
func goModules(root string) ([]component, error) {
	cmd := exec.Command("go", "list", "-deps", "-f", `{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}} {{.Dir}}{{end}}{{end}}`, "./server/cmd/warmhand")
	cmd.Dir = root
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("listing the modules: %w: %s", err, said.String())
	}
	version, err := exec.Command("go", "env", "GOVERSION").Output()
	if err != nil {
		return nil, fmt.Errorf("asking for Go's version: %w", err)
	}
	v := strings.TrimPrefix(strings.TrimSpace(string(version)), "go")
	all := []component{{Type: "library", Ref: "pkg:golang/std@" + v, Name: "std", Version: v, Purl: "pkg:golang/std@" + v, Licenses: licenses("BSD-3-Clause")}}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	slices.Sort(lines)
	for _, line := range slices.Compact(lines) {
		f := strings.SplitN(line, " ", 3)
		if len(f) != 3 {
			return nil, fmt.Errorf("a module without a folder: %q", line)
		}
		ids, err := licencesIn(f[2])
		if err != nil {
			return nil, err
		}
		purl := "pkg:golang/" + f[0] + "@" + f[1]
		all = append(all, component{Type: "library", Ref: purl, Name: f[0], Version: f[1], Purl: purl, Licenses: licenses(ids...)})
	}
	return all, nil
}

// licencesIn reads the licence files of a module's folder.
func licencesIn(dir string) (ids []string, err error) {
	list, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	for _, d := range list {
		name := strings.ToLower(d.Name())
		if d.IsDir() || !strings.HasPrefix(name, "licen") && !strings.HasPrefix(name, "copying") && !strings.HasPrefix(name, "unlicense") {
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, d.Name()))
		if err != nil {
			return nil, err
		}
		for _, id := range licencesOf(string(text)) {
			if !slices.Contains(ids, id) {
				ids = append(ids, id)
			}
		}
	}
	return ids, nil
}

// licencesOf knows licences by what they say.
func licencesOf(text string) (ids []string) {
	text = strings.ToLower(strings.Join(strings.Fields(text), " "))
	has := func(words ...string) bool {
		return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) })
	}
	mozilla := has("mozilla public license", "version 2.0") // which names the GNU licences
	for _, l := range []struct {
		id   string
		says bool
	}{
		{"AGPL-3.0-only", has("gnu affero general public license") && !mozilla},
		{"LGPL-3.0-only", has("gnu lesser general public license", "version 3, 29 june 2007") && !mozilla},
		{"GPL-3.0-only", has("gnu general public license", "version 3, 29 june 2007") && !has("lesser") && !has("affero")},
		{"GPL-2.0-only", has("gnu general public license", "version 2, june 1991")},
		{"BUSL-1.1", has("business source license")},
		{"SSPL-1.0", has("server side public license")},
		{"Apache-2.0", has("apache license", "version 2.0")},
		{"MPL-2.0", mozilla},
		{"MIT", has("permission is hereby granted, free of charge, to any person obtaining a copy")},
		{"ISC", has("permission to use, copy, modify, and/or distribute this software for any purpose with or without fee is hereby granted, provided")},
		{"BSD-3-Clause", has("redistribution and use in source and binary forms", "neither the name")},
		{"BSD-2-Clause", has("redistribution and use in source and binary forms") && !has("neither the name")},
		{"Unlicense", has("this is free and unencumbered software released into the public domain")},
		{"CC0-1.0", has("cc0 1.0 universal")},
	} {
		if l.says {
			ids = append(ids, l.id)
		}
	}
	return ids
}

// npmPackages are those that go into the web app: what only builds and tests it
// is handed on to nobody.
func npmPackages(root string) (all []component, err error) {
	text, err := os.ReadFile(filepath.Join(root, "pwa", "package-lock.json"))
	if err != nil {
		return nil, err
	}
	var lock struct {
		Packages map[string]struct {
			Version, License, Integrity string
			Dev                         bool
		}
	}
	if err := json.Unmarshal(text, &lock); err != nil {
		return nil, fmt.Errorf("package-lock.json: %w", err)
	}
	for path, p := range lock.Packages {
		at := strings.LastIndex(path, "node_modules/")
		if at < 0 || p.Dev {
			continue
		}
		name := path[at+len("node_modules/"):]
		purl := "pkg:npm/" + strings.Replace(name, "@", "%40", 1) + "@" + p.Version
		c := component{Type: "library", Ref: purl, Name: name, Version: p.Version, Purl: purl}
		if p.License != "" {
			c.Licenses = licenses(strings.Split(strings.Trim(p.License, "()"), " AND ")...)
		}
		if sum, ok := strings.CutPrefix(p.Integrity, "sha512-"); ok {
			b, err := base64.StdEncoding.DecodeString(sum)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", path, err)
			}
			c.Hashes = []hash{{"SHA-512", hex.EncodeToString(b)}}
		}
		all = append(all, c)
	}
	slices.SortFunc(all, func(a, b component) int { return strings.Compare(a.Ref, b.Ref) })
	return all, nil
}
