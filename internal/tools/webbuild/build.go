package main

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base32"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/evanw/esbuild/pkg/api"
)

// site is the whole web app in memory.
type site struct {
	files map[string][]byte // by path, without the first slash
	first []string          // what the first screen loads
	// version is a hash over everything that reaches the browser.
	version string
}

// build reads the web app in the folder pwa and bundles it.
func build(pwa string) (*site, error) {
	static, err := readAll(filepath.Join(pwa, "public"))
	if err != nil {
		return nil, err
	}
	page, err := os.ReadFile(filepath.Join(pwa, "index.html"))
	if err != nil {
		return nil, err
	}
	b := bundler{pwa: pwa, page: page, static: static}
	if b.engine, err = compile(pwa); err != nil {
		return nil, err
	}
	// The version goes into the files and is a hash of them: bundle once with
	// none to know it, then again with it. So a changed icon renames the
	// scripts as well, and no name ever stands for two contents.
	draft, err := b.bundle("")
	if err != nil {
		return nil, err
	}
	return b.bundle(hash(draft.files))
}

type bundler struct {
	pwa    string
	page   []byte
	static map[string][]byte
	engine *engine
}

func (b *bundler) bundle(version string) (*site, error) {
	s := &site{files: map[string][]byte{}, version: version}
	for name, data := range b.static {
		s.files[name] = data
	}
	define := map[string]string{"__VERSION__": strconv.Quote(version)}
	if err := b.words(s, define); err != nil {
		return nil, err
	}

	large, err := b.measuring(s, define)
	if err != nil {
		return nil, err
	}
	options := b.options(define)
	options.EntryPoints = []string{start}
	options.Format = api.FormatESModule
	options.Splitting = true
	app, err := b.esbuild(options)
	if err != nil {
		return nil, err
	}
	if before := app.before(); len(before) > 0 {
		options.Plugins = []api.Plugin{b.after(before)}
		if app, err = b.esbuild(options); err != nil {
			return nil, err
		}
		options.Plugins = nil
	}
	sheets, err := b.sheets()
	if err != nil {
		return nil, err
	}
	// esbuild puts what any script imports into the one sheet of the first load;
	// a sheet that no script imports is one of its own.
	alone := &bundled{}
	if sheets = slices.DeleteFunc(sheets, app.uses); len(sheets) > 0 {
		options.EntryPoints = sheets
		if alone, err = b.esbuild(options); err != nil {
			return nil, err
		}
	}
	maps.Copy(s.files, app.files)
	maps.Copy(s.files, alone.files)
	scripts, styles := app.firstLoad()
	later := alone.sheets()
	if first, ok := later[firstStyle]; ok {
		styles = append(styles, first)
		delete(later, firstStyle)
	}
	if s.files["index.html"], err = head(b.page, scripts, styles, later); err != nil {
		return nil, err
	}
	s.first = slices.Concat([]string{"index.html"}, scripts, styles)

	// Offline the whole app works, what is loaded later too; only what is large
	// waits for its first use.
	shell := []string{"/"}
	for name := range s.files {
		if name != "index.html" && name != "robots.txt" && !slices.Contains(large, "/"+name) {
			shell = append(shell, "/"+name)
		}
	}
	slices.Sort(shell)
	for name, list := range map[string][]string{"__PRECACHE__": shell, "__LARGE__": large} {
		text, err := json.Marshal(list)
		if err != nil {
			return nil, err
		}
		define[name] = string(text)
	}
	options = b.options(define)
	options.EntryPoints = []string{"src/sw/sw.ts"}
	options.EntryNames = "sw" // its address is its scope and never changes
	options.Format = api.FormatIIFE
	worker, err := b.esbuild(options)
	if err != nil {
		return nil, err
	}
	maps.Copy(s.files, worker.files)

	if s.files["licenses.txt"], err = b.licenses(slices.Concat(app.packages(), alone.packages(), worker.packages())); err != nil {
		return nil, err
	}
	s.files["licenses.txt"] = append(s.files["licenses.txt"], b.engine.licenses...)
	return s, nil
}

// words adds the web app's part of each language beside English, and tells the
// scripts what the languages call themselves and where their words are.
func (b *bundler) words(s *site, define map[string]string) error {
	files, err := filepath.Glob(filepath.Join(b.pwa, filepath.FromSlash(languages), "*.json"))
	if err != nil {
		return err
	}
	type language struct {
		Name string `json:"name"`
		At   string `json:"at"`
	}
	known := map[string]language{}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		var of struct {
			Tag, Name string
			Web       json.RawMessage
		}
		if err := json.Unmarshal(data, &of); err != nil {
			return fmt.Errorf("%s: %w", filepath.Base(file), err)
		}
		if of.Tag == "" || of.Name == "" || of.Web == nil {
			return fmt.Errorf("%s: needs tag, name and web", filepath.Base(file))
		}
		var web bytes.Buffer
		if err := json.Compact(&web, of.Web); err != nil {
			return fmt.Errorf("%s: %w", filepath.Base(file), err)
		}
		name := "assets/words-" + of.Tag + "-" + hash(map[string][]byte{"": web.Bytes()}) + ".json"
		s.files[name] = web.Bytes()
		known[of.Tag] = language{of.Name, "/" + name}
	}
	text, err := json.Marshal(known)
	define["__WORDS__"] = string(text)
	return err
}

// measuring adds the engine and the worker that runs it, tells the scripts
// their names, and returns the addresses of what is large.
func (b *bundler) measuring(s *site, define map[string]string) (large []string, err error) {
	large = []string{}
	if b.engine.wasm == nil {
		return large, nil
	}
	address := "/assets/measure-" + hash(map[string][]byte{"": b.engine.wasm}) + ".wasm"
	s.files[address[1:]] = b.engine.wasm
	define["__ENGINE__"] = strconv.Quote(address)
	options := b.options(define)
	options.EntryPoints = []string{measuringWorker}
	options.Format = api.FormatESModule
	options.Inject = []string{b.engine.glue}
	worker, err := b.esbuild(options)
	if err != nil {
		return nil, err
	}
	for name, data := range worker.files {
		s.files[name] = data
		define["__MEASURE__"] = strconv.Quote("/" + name)
	}
	return append(large, address), nil
}

func (b *bundler) options(define map[string]string) api.BuildOptions {
	assets := map[string]api.Loader{}
	for _, ext := range []string{".woff2", ".svg", ".png", ".jpg", ".webp"} {
		assets[ext] = api.LoaderFile
	}
	return api.BuildOptions{
		AbsWorkingDir: b.pwa,
		Outdir:        "dist",
		PublicPath:    "/",
		EntryNames:    "assets/[name]-[hash]",
		ChunkNames:    "assets/[name]-[hash]",
		AssetNames:    "assets/[name]-[hash]",
		Bundle:        true,
		Metafile:      true,
		Target:        api.ES2022,
		// The browsers that first had light-dark(), which esbuild does not lower.
		Engines: []api.Engine{
			{Name: api.EngineSafari, Version: "17.5"},
			{Name: api.EngineChrome, Version: "123"},
			{Name: api.EngineFirefox, Version: "120"},
		},
		JSX:               api.JSXAutomatic,
		JSXImportSource:   "preact",
		MinifySyntax:      true,
		MinifyWhitespace:  true,
		MinifyIdentifiers: true,
		LegalComments:     api.LegalCommentsNone, // licenses.txt has them whole
		Loader:            assets,
		Define:            define,
	}
}

// imported is one import in a source or a script.
type imported struct{ Path, Kind string }

// bundled is one answer of esbuild.
type bundled struct {
	files map[string][]byte
	meta  struct {
		Inputs map[string]struct {
			Imports []imported
		}
		Outputs map[string]struct {
			EntryPoint string
			CSSBundle  string
			Imports    []imported
			Inputs     map[string]struct{ BytesInOutput int }
		}
	}
}

func (b *bundler) esbuild(options api.BuildOptions) (*bundled, error) {
	result := api.Build(options)
	if len(result.Errors) > 0 {
		texts := api.FormatMessages(result.Errors, api.FormatMessagesOptions{Kind: api.ErrorMessage})
		return nil, errors.New(strings.Join(texts, ""))
	}
	if len(result.Warnings) > 0 {
		texts := api.FormatMessages(result.Warnings, api.FormatMessagesOptions{Kind: api.WarningMessage})
		return nil, errors.New(strings.Join(texts, ""))
	}
	out := &bundled{files: map[string][]byte{}}
	if err := json.Unmarshal([]byte(result.Metafile), &out.meta); err != nil {
		return nil, fmt.Errorf("esbuild's metafile: %w", err)
	}
	for _, file := range result.OutputFiles {
		name, err := filepath.Rel(filepath.Join(b.pwa, "dist"), file.Path)
		if err != nil {
			return nil, err
		}
		out.files[filepath.ToSlash(name)] = file.Contents
	}
	return out, nil
}

func (b *bundled) uses(source string) bool {
	for _, output := range b.meta.Outputs {
		if _, ok := output.Inputs[source]; ok {
			return true
		}
	}
	return false
}

// languages is the folder of the languages beside English, seen from the web app.
const languages = "../internal/words"

// start is where everything begins.
const start = "src/app.tsx"

// firstScreen is loaded by start before it draws anything, so it is part of the first load.
const firstScreen = "src/ui/app.tsx"

// firstStyle is part of the first load, even if no script imports it.
const firstStyle = "src/style.css"

// after makes each script that is loaded later import what before says. esbuild
// keeps in one file what the same entry points need, so what the first screen
// needs, or a breeder's, is one file or two and not one for each way in which
// later scripts share it: each file costs a phone a request and a run of its own.
func (b *bundler) after(before map[string][]string) api.Plugin {
	return api.Plugin{Name: "after what is there", Setup: func(build api.PluginBuild) {
		build.OnLoad(api.OnLoadOptions{Filter: `\.tsx?$`, Namespace: "file"}, func(args api.OnLoadArgs) (api.OnLoadResult, error) {
			name, err := filepath.Rel(b.pwa, args.Path)
			if err != nil || len(before[filepath.ToSlash(name)]) == 0 {
				return api.OnLoadResult{}, err
			}
			data, err := os.ReadFile(args.Path)
			if err != nil {
				return api.OnLoadResult{}, err
			}
			text := string(data)
			for _, source := range before[filepath.ToSlash(name)] {
				text += fmt.Sprintf("\nimport %q;", filepath.ToSlash(filepath.Join(b.pwa, source)))
			}
			loader := api.LoaderTS
			if strings.HasSuffix(name, "x") {
				loader = api.LoaderTSX
			}
			return api.OnLoadResult{Contents: &text, Loader: loader}, nil
		})
	}}
}

// sheets are the style sheets there are.
func (b *bundler) sheets() (sources []string, err error) {
	err = fs.WalkDir(os.DirFS(b.pwa), "src", func(name string, _ fs.DirEntry, err error) error {
		if strings.HasSuffix(name, ".css") {
			sources = append(sources, name)
		}
		return err
	})
	return sources, err
}

// firstLoad returns the scripts that app.tsx needs before it draws, itself
// first, and the style sheets.
func (b *bundled) firstLoad() (scripts, styles []string) {
	local := func(output string) string { return strings.TrimPrefix(output, "dist/") }
	var walk func(string)
	walk = func(output string) {
		if slices.Contains(scripts, local(output)) {
			return
		}
		scripts = append(scripts, local(output))
		for _, imported := range b.meta.Outputs[output].Imports {
			if imported.Kind == "import-statement" {
				walk(imported.Path)
			}
		}
	}
	for name, output := range b.meta.Outputs {
		if output.EntryPoint != start {
			continue
		}
		walk(name)
		for _, imported := range output.Imports {
			if b.meta.Outputs[imported.Path].EntryPoint == firstScreen {
				walk(imported.Path)
			}
		}
		if output.CSSBundle != "" {
			styles = append(styles, local(output.CSSBundle))
		}
	}
	slices.Sort(scripts[1:])
	return scripts, styles
}

// before returns, for each source that import() loads, what may come with it:
// those that import() has loaded by then, for without them it is not reached;
// and, where it shares something with a screen that it is not reached through,
// all that this screen shares in this way.
func (b *bundled) before() map[string][]string {
	var later []string
	for _, output := range b.meta.Outputs {
		if output.EntryPoint != "" && output.EntryPoint != start {
			later = append(later, output.EntryPoint)
		}
	}
	slices.Sort(later)
	before := map[string][]string{}
	behind := map[string][]string{}
	for _, source := range later {
		reached := b.reached(start, func(imported imported) bool { return imported.Path != source })
		for _, other := range later {
			if other != source && !reached[other] {
				before[other] = append(before[other], source)
				behind[source] = append(behind[source], other)
			}
		}
	}
	needs := func(source string) map[string]bool {
		return b.reached(source, func(imported imported) bool { return imported.Kind == "import-statement" })
	}
	for _, screen := range later {
		if len(behind[screen]) == 0 {
			continue
		}
		there := map[string]bool{}
		for _, source := range before[screen] {
			maps.Copy(there, needs(source))
		}
		mine := needs(screen)
		shared, takers := map[string]bool{}, []string{}
		for _, other := range later {
			if other == screen || slices.Contains(before[screen], other) || slices.Contains(behind[screen], other) {
				continue
			}
			taken := false
			for source := range needs(other) {
				if mine[source] && !there[source] {
					shared[source], taken = true, true
				}
			}
			if taken {
				takers = append(takers, other)
			}
		}
		for _, other := range takers {
			before[other] = append(before[other], slices.Sorted(maps.Keys(shared))...)
		}
	}
	return before
}

// reached returns the sources that a source needs, itself among them, by those
// of the imports that count.
func (b *bundled) reached(from string, counts func(imported) bool) map[string]bool {
	reached := map[string]bool{}
	var walk func(string)
	walk = func(source string) {
		if reached[source] {
			return
		}
		reached[source] = true
		for _, imported := range b.meta.Inputs[source].Imports {
			if counts(imported) {
				walk(imported.Path)
			}
		}
	}
	walk(from)
	return reached
}

// sheets returns the style sheets that were bundled each by itself, by their
// sources.
func (b *bundled) sheets() map[string]string {
	styles := map[string]string{}
	for name, output := range b.meta.Outputs {
		if strings.HasSuffix(output.EntryPoint, ".css") {
			styles[output.EntryPoint] = strings.TrimPrefix(name, "dist/")
		}
	}
	return styles
}

// packages returns the folders of the npm packages of which something went
// into the bundle.
func (b *bundled) packages() []string {
	const modules = "node_modules/"
	var folders []string
	for _, output := range b.meta.Outputs {
		for source, input := range output.Inputs {
			at := strings.LastIndex(source, modules)
			if at < 0 || input.BytesInOutput == 0 {
				continue
			}
			at += len(modules)
			parts := strings.Split(source[at:], "/")
			n := 1
			if strings.HasPrefix(parts[0], "@") {
				n = 2
			}
			folders = append(folders, source[:at]+strings.Join(parts[:n], "/"))
		}
	}
	return folders
}

// licenses puts the licence texts of the packages into one document.
func (b *bundler) licenses(packages []string) ([]byte, error) {
	var text bytes.Buffer
	fmt.Fprintln(&text, "The web app contains these packages.")
	slices.Sort(packages)
	for _, folder := range slices.Compact(packages) {
		dir := filepath.Join(b.pwa, filepath.FromSlash(folder))
		var about struct{ Name, Version, License string }
		data, err := os.ReadFile(filepath.Join(dir, "package.json"))
		if err != nil {
			return nil, err
		}
		if err := json.Unmarshal(data, &about); err != nil {
			return nil, fmt.Errorf("package.json of %s: %w", folder, err)
		}
		license, err := os.ReadFile(filepath.Join(dir, "LICENSE"))
		if err != nil {
			return nil, fmt.Errorf("the licence of %s: %w", folder, err)
		}
		fmt.Fprintf(&text, "\n\n%s %s (%s)\n\n%s\n", about.Name, about.Version, about.License, bytes.TrimSpace(license))
	}
	return text.Bytes(), nil
}

// head puts the tags for scripts and styles into the page. The later styles are
// not loaded before a script takes their "disabled" away.
func head(page []byte, scripts, styles []string, later map[string]string) ([]byte, error) {
	const end = "</head>"
	if bytes.Count(page, []byte(end)) != 1 {
		return nil, errors.New("index.html: needs one " + end)
	}
	if bytes.Contains(page, []byte("/src/")) {
		return nil, errors.New("index.html: names a file under /src/; the tags for script and style are put in here")
	}
	var tags strings.Builder
	for _, style := range styles {
		fmt.Fprintf(&tags, "<link rel=\"stylesheet\" href=\"/%s\">\n", style)
	}
	for _, source := range slices.Sorted(maps.Keys(later)) {
		fmt.Fprintf(&tags, "<link rel=\"stylesheet\" href=\"/%s\" data-of=\"%s\" disabled>\n", later[source], source)
	}
	for i, script := range scripts {
		if i == 0 {
			fmt.Fprintf(&tags, "<script type=\"module\" src=\"/%s\"></script>\n", script)
		} else {
			fmt.Fprintf(&tags, "<link rel=\"modulepreload\" href=\"/%s\">\n", script)
		}
	}
	return bytes.Replace(page, []byte(end), []byte(tags.String()+end), 1), nil
}

func (s *site) firstLoad() int {
	total := 0
	for _, name := range s.first {
		total += zipped(s.files[name])
	}
	return total
}

func (s *site) report(log io.Writer) {
	names := make([]string, 0, len(s.files))
	for name := range s.files {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		mark := " "
		if slices.Contains(s.first, name) {
			mark = "*"
		}
		fmt.Fprintf(log, "%9.1f kB %s %s\n", kB(zipped(s.files[name])), mark, name)
	}
	fmt.Fprintf(log, "%9.1f kB * first load, of %.1f kB (gzip). Version %s.\n", kB(s.firstLoad()), kB(budget), s.version)
}

// write replaces what is in the folder. Names that begin with a dot stay.
func (s *site) write(folder string) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	old, err := os.ReadDir(folder)
	if err != nil {
		return err
	}
	for _, entry := range old {
		if !strings.HasPrefix(entry.Name(), ".") {
			if err := os.RemoveAll(filepath.Join(folder, entry.Name())); err != nil {
				return err
			}
		}
	}
	for name, data := range s.files {
		file := filepath.Join(folder, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(file, data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// readAll reads a folder that may be missing.
func readAll(folder string) (map[string][]byte, error) {
	files := map[string][]byte{}
	err := filepath.WalkDir(folder, func(file string, entry fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) && file == folder {
			return filepath.SkipAll
		}
		if err != nil || entry.IsDir() {
			return err
		}
		name, err := filepath.Rel(folder, file)
		if err != nil {
			return err
		}
		if path.Base(filepath.ToSlash(name)) == "index.html" {
			return fmt.Errorf("%s: the page is made from index.html beside the folder public", file)
		}
		files[filepath.ToSlash(name)], err = os.ReadFile(file)
		return err
	})
	return files, err
}

// hash is a short name for the contents, in the letters that esbuild uses too.
func hash(files map[string][]byte) string {
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	slices.Sort(names)
	all := sha256.New()
	for _, name := range names {
		fmt.Fprintf(all, "%d %s %d ", len(name), name, len(files[name]))
		all.Write(files[name])
	}
	return base32.StdEncoding.EncodeToString(all.Sum(nil))[:8]
}

func zipped(data []byte) int {
	var n counter
	w, err := gzip.NewWriterLevel(&n, gzip.BestCompression)
	if err != nil {
		panic(err) // the level is a constant
	}
	if _, err := w.Write(data); err != nil {
		panic(err) // the counter takes everything
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
	return int(n)
}

type counter int

func (c *counter) Write(p []byte) (int, error) {
	*c += counter(len(p))
	return len(p), nil
}

func kB(n int) float64 { return float64(n) / 1000 }
