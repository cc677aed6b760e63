// Package pwa carries the built web app inside the program.
package pwa

import (
	"embed"
	"io/fs"
)

//go:embed all:dist
var dist embed.FS

// Files returns what internal/tools/webbuild wrote: index.html, sw.js, the
// manifest and hashed files under assets/. It holds no index.html when the
// program was compiled before the web app was built.
func Files() fs.FS {
	files, err := fs.Sub(dist, "dist")
	if err != nil {
		panic(err) // "dist" is a valid path: it cannot happen
	}
	return files
}
