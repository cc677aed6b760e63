package main

import (
	"encoding/hex"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// small is a web app that has one of each thing.
var small = map[string]string{
	"index.html":                     "<!doctype html><html lang=\"en\"><head><title>t</title></head><body></body></html>",
	"src/app.tsx":                    "import { both } from './both';\nconst v: string = __VERSION__;\nvoid import('./later').then((m) => m.later(both(v)));",
	"src/both.ts":                    "import { pack } from 'pack';\nexport const both = (text: string) => pack('both' + text);",
	"src/later.ts":                   "import { both } from './both';\nexport const later = (text: string) => document.title = both(text) + 'later';",
	"src/style.css":                  "@font-face { font-family: x; src: url(./face.woff2) }",
	"src/face.woff2":                 "a font",
	"src/sw/sw.ts":                   "self.addEventListener('install', () => console.log(__VERSION__, __PRECACHE__));",
	"public/robots.txt":              "User-agent: *",
	"public/icons/icon.svg":          "<svg/>",
	"node_modules/pack/LICENSE":      "You may.",
	"node_modules/pack/index.js":     "export const pack = (text) => '<' + text + '>';",
	"node_modules/pack/package.json": `{"name": "pack", "version": "1.2.3", "license": "MIT", "main": "index.js", "type": "module"}`,
}

func lay(t *testing.T, change map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for _, files := range []map[string]string{small, change} {
		for name, text := range files {
			file := filepath.Join(dir, name)
			if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	return dir
}

func built(t *testing.T, change map[string]string) *site {
	t.Helper()
	s, err := build(lay(t, change))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestBuild(t *testing.T) {
	t.Parallel()
	s := built(t, nil)
	page := string(s.files["index.html"])
	if !regexp.MustCompile(`<link rel="stylesheet" href="/assets/style-\w+\.css">\n<script type="module" src="/assets/app-\w+\.js"></script>\n`).MatchString(page) {
		t.Errorf("index.html has no tags: %s", page)
	}
	worker := string(s.files["sw.js"])
	if !strings.Contains(worker, s.version) {
		t.Errorf("sw.js does not know the version %s: %s", s.version, worker)
	}
	listed := 0
	for name := range s.files {
		in := strings.Contains(worker, `"/`+name+`"`)
		want := strings.HasPrefix(name, "assets/") || name == "icons/icon.svg"
		if in != want {
			t.Errorf("%s in the worker's list: %v, want %v", name, in, want)
		}
		if in {
			listed++
		}
	}
	if listed < 4 || !strings.Contains(worker, `"/",`) {
		t.Errorf("the worker lists %d files and perhaps no page: %s", listed, worker)
	}
	for _, name := range s.first {
		if strings.Contains(name, "later") || strings.HasSuffix(name, ".woff2") {
			t.Errorf("the first load has %s", name)
		}
	}
	if len(s.first) != 4 { // the page, app, what app and later share, style
		t.Errorf("the first load is %v", s.first)
	}
	if text := string(s.files["licenses.txt"]); !strings.Contains(text, "pack 1.2.3 (MIT)\n\nYou may.") {
		t.Errorf("licenses.txt: %s", text)
	}
}

// sharing is a web app whose source src/ui/NAME uses three parts and loads three
// more scripts, each of which uses two of them.
func sharing(name string) map[string]string {
	change := map[string]string{
		"src/app.tsx":    "import { both } from './both';\nvoid import('./ui/app').then((m) => m.start(both(__VERSION__)));",
		"src/ui/app.tsx": "export const start = (v: string) => import('./desk').then((m: any) => m.start(v));",
		"src/ui/desk.ts": "export const start = (v: string) => console.log('desk', v);",
		"src/ui/" + name: "export const start = (v: string) => [import('./desk'), import('./one'), import('./two'), import('./three')].map((p) => p.then((m: any) => m.run(v)));",
	}
	if name == "desk.ts" {
		change["src/ui/desk.ts"] = strings.Replace(change["src/ui/desk.ts"], "import('./desk'), ", "", 1)
	}
	for script, uses := range map[string]string{"one": "ab", "two": "bc", "three": "ca"} {
		var imports, calls string
		for _, part := range strings.Split(uses, "") {
			imports += "import { " + part + " } from './" + part + "';\n"
			calls += " + " + part + "(v)"
		}
		change["src/ui/"+script+".ts"] = imports + "import { both } from '../both';\nexport const run = (v: string) => both('" + script + "')" + calls + ";"
	}
	for _, part := range []string{"a", "b", "c"} {
		change["src/ui/"+part+".ts"] = "export const " + part + " = (v: string) => console.log('" + part + "', v);"
		change["src/ui/"+name] += "\nimport { " + part + " } from './" + part + "';\n" + part + "('first');"
	}
	return change
}

// However the scripts that come later share what the first screen needs, the
// first load is few files: what comes before the screen, and the screen.
func TestFirstLoadIsFewFiles(t *testing.T) {
	t.Parallel()
	s := built(t, sharing("app.tsx"))
	scripts := 0
	for _, name := range s.first {
		if strings.HasSuffix(name, ".js") {
			scripts++
		}
		for _, later := range []string{"one-", "two-", "three-"} {
			if strings.Contains(name, later) {
				t.Errorf("the first load has %s", name)
			}
		}
	}
	if scripts > 4 { // app, what app shares, the screen's name for what is in the file beside it, that file
		t.Errorf("the first load is %d scripts: %v", scripts, s.first)
	}
}

// The same holds of a screen that is loaded later and loads more: a breeder's.
// What it shares with the other screens is one file more.
func TestLaterScreenIsFewFiles(t *testing.T) {
	t.Parallel()
	change := sharing("desk.ts")
	change["src/ui/app.tsx"] = "export const start = (v: string) => [import('./desk'), import('./left'), import('./right')].map((p) => p.then((m: any) => m.start(v)));"
	for name, part := range map[string]string{"left": "a", "right": "b"} {
		change["src/ui/"+name+".ts"] = "import { " + part + " } from './" + part + "';\nexport const start = (v: string) => " + part + "('" + name + "' + v);"
	}
	s := built(t, change)
	imported := regexp.MustCompile(`(?:from|import)"/(assets/[^"]+)"`)
	loaded := map[string]bool{}
	var walk func(string)
	walk = func(name string) {
		if loaded[name] || slices.Contains(s.first, name) {
			return
		}
		loaded[name] = true
		for _, found := range imported.FindAllStringSubmatch(string(s.files[name]), -1) {
			walk(found[1])
		}
	}
	for name, data := range s.files {
		if strings.HasPrefix(name, "assets/desk-") {
			walk(name)
		}
		if strings.HasPrefix(name, "assets/left-") && strings.Contains(string(data), "assets/desk-") {
			t.Error("a screen that only shares with it loads it")
		}
	}
	if n := len(loaded); n < 1 || n > 3 { // its name for what is in the file beside it, that file, what it shares
		t.Errorf("the screen is %d scripts: %v", n, loaded)
	}
}

// An old shell keeps hashed files that a new one names too: the same name with
// other contents would mix two releases.
func TestNameStandsForOneContents(t *testing.T) {
	t.Parallel()
	before := built(t, nil)
	for what, change := range map[string]map[string]string{
		"static file":  {"public/icons/icon.svg": "<svg></svg>"},
		"page":         {"index.html": strings.Replace(small["index.html"], "<title>t", "<title>u", 1)},
		"worker":       {"src/sw/sw.ts": small["src/sw/sw.ts"] + "console.log('more')"},
		"loaded later": {"src/later.ts": small["src/later.ts"] + "\nconsole.log('more')"},
		"font":         {"src/face.woff2": "another font"},
	} {
		after := built(t, change)
		if after.version == before.version {
			t.Errorf("%s changed, and the version did not", what)
		}
		for name, data := range after.files {
			if old, ok := before.files[name]; ok && strings.HasPrefix(name, "assets/") && string(old) != string(data) {
				t.Errorf("%s changed: %s has other contents", what, name)
			}
		}
	}
	if again := built(t, nil); again.version != before.version {
		t.Errorf("the same files gave versions %s and %s", before.version, again.version)
	}
}

func TestStyleImported(t *testing.T) {
	t.Parallel()
	s := built(t, map[string]string{"src/app.tsx": "import './style.css';\n" + small["src/app.tsx"]})
	styles := 0
	for name := range s.files {
		if strings.HasSuffix(name, ".css") {
			styles++
		}
	}
	if styles != 1 {
		t.Errorf("%d style sheets", styles)
	}
}

// A style sheet that no script imports stands in the page, and waits.
func TestLaterStyle(t *testing.T) {
	t.Parallel()
	s := built(t, map[string]string{"src/later.css": "b { color: red }"})
	found := regexp.MustCompile(`<link rel="stylesheet" href="/(assets/later-\w+\.css)" data-of="src/later.css" disabled>`).FindStringSubmatch(string(s.files["index.html"]))
	if found == nil {
		t.Fatalf("index.html does not name it: %s", s.files["index.html"])
	}
	if !strings.Contains(string(s.files[found[1]]), "red") || !strings.Contains(string(s.files["sw.js"]), found[1]) {
		t.Error("it is not among the files, or not kept for use without network")
	}
	if slices.Contains(s.first, found[1]) {
		t.Error("it is part of the first load")
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	noise := make([]byte, budget)
	random := rand.NewChaCha8([32]byte{1})
	if _, err := random.Read(noise); err != nil {
		t.Fatal(err)
	}
	large := "console.log('" + hex.EncodeToString(noise) + "');"
	for name, c := range map[string]struct {
		change map[string]string
		want   string
	}{
		"too large":           {map[string]string{"src/app.tsx": large}, "the first load is"},
		"no head":             {map[string]string{"index.html": "<p>"}, "index.html: needs one </head>"},
		"own tag":             {map[string]string{"index.html": "<head><script src=/src/app.tsx></script></head>"}, "index.html: names a file under /src/"},
		"two pages":           {map[string]string{"public/index.html": "x"}, "the page is made from"},
		"syntax":              {map[string]string{"src/later.ts": "export const later = ;"}, "later.ts:1"},
		"package not there":   {map[string]string{"src/later.ts": "import 'nowhere'; export const later = () => 1"}, "nowhere"},
		"package, no licence": {map[string]string{"src/later.ts": "import 'bare'; export const later = () => 1", "node_modules/bare/package.json": "{}", "node_modules/bare/index.js": "console.log(1)"}, "the licence of node_modules/bare"},
	} {
		out := t.TempDir()
		err := run(lay(t, c.change), out, io.Discard)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", name, err, c.want)
		}
		if entries, _ := os.ReadDir(out); len(entries) > 0 {
			t.Errorf("%s: wrote %v all the same", name, entries)
		}
	}
	// The same amount loaded later is no trouble.
	if err := run(lay(t, map[string]string{"src/later.ts": "export const later = () => {" + large + "}"}), t.TempDir(), io.Discard); err != nil {
		t.Error(err)
	}
}

func TestWriteReplaces(t *testing.T) {
	t.Parallel()
	out := t.TempDir()
	for _, name := range []string{".keep", "stale.js"} {
		if err := os.WriteFile(filepath.Join(out, name), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := run(lay(t, nil), out, io.Discard); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]bool{".keep": true, "stale.js": false, "sw.js": true, "icons/icon.svg": true} {
		if _, err := os.Stat(filepath.Join(out, name)); (err == nil) != want {
			t.Errorf("%s there: %v, want %v", name, err == nil, want)
		}
	}
}
