package server

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"
)

// contentTypes are those of the web app's files; the machine's own table may
// lack some.
var contentTypes = map[string]string{
	".css": "text/css; charset=utf-8", ".html": "text/html; charset=utf-8", ".ico": "image/x-icon", ".js": "text/javascript; charset=utf-8",
	".json": "application/json", ".map": "application/json", ".png": "image/png", ".svg": "image/svg+xml", ".txt": "text/plain; charset=utf-8",
	".wasm": "application/wasm", ".webmanifest": "application/manifest+json", ".webp": "image/webp", ".woff2": "font/woff2", ".xml": "application/xml",
}

// static serves the built web app from memory, compressed once.
type static map[string]*asset

type asset struct {
	body, gz  []byte // gz is nil where it does not pay
	kind, tag string
	immutable bool // its name changes with its content
}

func newStatic(files fs.FS) (static, error) {
	all := static{}
	if files == nil {
		return all, nil
	}
	err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(path.Base(name), ".") {
			return err
		}
		body, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(body)
		a := &asset{body: body, kind: contentTypes[path.Ext(name)], tag: hex.EncodeToString(sum[:8]), immutable: strings.HasPrefix(name, "assets/")}
		if a.kind == "" {
			a.kind = "application/octet-stream"
		}
		if !strings.HasPrefix(a.kind, "image/") && !strings.HasPrefix(a.kind, "font/") || path.Ext(name) == ".svg" {
			var b bytes.Buffer
			z := gzip.NewWriter(&b)
			if _, err := z.Write(body); err != nil {
				return err
			}
			if err := z.Close(); err != nil {
				return err
			}
			if b.Len() < len(body)*9/10 {
				a.gz = b.Bytes()
			}
		}
		all["/"+name] = a
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("reading the web app: %w", err)
	}
	return all, nil
}

func (s static) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, "Only reading is possible here.", http.StatusMethodNotAllowed)
		return
	}
	a, ok := s[r.URL.Path]
	if !ok && path.Ext(r.URL.Path) != "" {
		// Not index.html: it would be kept as the missing file.
		http.Error(w, "There is no such file.", http.StatusNotFound)
		return
	}
	if !ok {
		a, ok = s["/index.html"]
	}
	h := w.Header()
	if !ok {
		h.Set("Content-Type", "text/html; charset=utf-8")
		h.Set("Cache-Control", "no-store")
		w.WriteHeader(http.StatusServiceUnavailable)
		io.WriteString(w, notBuilt)
		return
	}
	h.Set("Content-Type", a.kind)
	h.Set("Cache-Control", "no-cache")
	if a.immutable {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	body, tag := a.body, a.tag
	if a.gz != nil {
		h.Add("Vary", "Accept-Encoding")
		if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") && r.Header.Get("Range") == "" {
			body, tag = a.gz, tag+"-gz"
			h.Set("Content-Encoding", "gzip")
		}
	}
	h.Set("ETag", `"`+tag+`"`)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(body))
}

const notBuilt = `<!doctype html>
<html lang="en"><title>Warmhand</title>
<h1>The app has not been built</h1>
<p>This program was compiled without its web app. Run <code>make build</code> and start it again.</p>
<p>The API works: <a href="/api">what it offers</a>.</p>
</html>
`
