// Command webbuild turns pwa/ into the files that the program carries:
//
//	src/app.tsx, src/style.css → assets/NAME-HASH.{js,css}, split at import()
//	src/sw/sw.ts               → sw.js
//	src/worker/measure.ts      → assets/measure-HASH.js, with the Go toolchain's glue
//	../internal/measure/wasm   → assets/measure-HASH.wasm, for that worker
//	../internal/words/*.json   → assets/words-TAG-HASH.json, what the web app says in other languages
//	other style sheets         → assets/NAME-HASH.css, off in the page until asked for
//	index.html                 → index.html, with script and style tags in its head
//	public/**                  → as it is
//
// and writes the licences of the packages that went in to licenses.txt. It
// fails when the first load is larger than its budget.
//
// Usage: webbuild [-pwa FOLDER] [-out FOLDER]
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// budget is what the first load may weigh, in bytes after gzip: the page, what
// it loads before it can draw, and the styles.
const budget = 60_000

func main() {
	pwa := flag.String("pwa", "", "folder of the web app (default: the pwa folder here or above)")
	out := flag.String("out", "", "folder to write (default: dist in the folder of the web app)")
	flag.Parse()
	if err := run(*pwa, *out, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "webbuild:", err)
		os.Exit(1)
	}
}

func run(pwa, out string, log io.Writer) error {
	if pwa == "" {
		var err error
		if pwa, err = find(); err != nil {
			return err
		}
	}
	pwa, err := filepath.Abs(pwa)
	if err != nil {
		return err
	}
	if out == "" {
		out = filepath.Join(pwa, "dist")
	}
	site, err := build(pwa)
	if err != nil {
		return err
	}
	site.report(log)
	if size := site.firstLoad(); size > budget {
		return fmt.Errorf("the first load is %.1f kB, its budget %.1f kB: load what the first screen does not need by import()", kB(size), kB(budget))
	}
	return site.write(out)
}

// find looks for pwa/package.json here and in each folder above.
func find() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		pwa := filepath.Join(dir, "pwa")
		if _, err := os.Stat(filepath.Join(pwa, "package.json")); err == nil {
			return pwa, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", errors.New("no folder pwa here or above: name it with -pwa")
		}
		dir = up
	}
}
