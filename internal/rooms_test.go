// Package internal_test holds what must hold of all rooms together: who may
// import whom, and that the computing rooms stay pure.
package internal_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "warmhand/"

// room says what one package may know.
type room struct {
	knows []string // our packages it may import, besides those below itself
	why   string
	// bare: nothing but the standard library and knows.
	bare bool
	// modules are the modules it may use; nil with bare false: any.
	modules []string
	// pure: no I/O, no clock, no database, no log.
	pure bool
}

// The map of rooms. A package that is not in it fails the test: whoever adds
// one adds a line here, with the reason.
var rooms = map[string]room{
	"internal/snake": {bare: true, pure: true,
		why: "snake is tables and formulas of species; it stands at the bottom, so that every number can be tested alone"},
	"internal/words": {modules: []string{"github.com/go-json-experiment/json", "golang.org/x/text"}, pure: true,
		why: "words says things in a language; it stands below care, whose texts it holds, and knows of no animal"},
	"internal/care": {knows: []string{"internal/snake", "internal/words"}, bare: true, pure: true,
		why: "care is the domain, which every other room speaks; what it imports, all import"},
	"internal/assess": {knows: []string{"internal/care", "internal/snake", "internal/words"}, bare: true, pure: true,
		why: "assess is a pure function of (log, tables, time); it takes the entries of care as they are, so that an entry needs no second form"},
	"internal/casefile": {knows: []string{"internal/assess", "internal/care", "internal/snake"}, modules: []string{"github.com/go-json-experiment/json"}, pure: true,
		why: "casefile is how a case leaves and enters; it stands above care, which takes no module, and above assess, whose signs it checks"},
	"internal/cohort": {knows: []string{"internal/assess", "internal/care", "internal/snake"}, bare: true,
		why: "cohort simulates animals to judge the assessment by; it knows what it judges and no more"},
	"internal/cohort/judge": {knows: []string{"internal/cohort"}, bare: true,
		why: "judge prints and draws what cohort found"},
	"internal/sheet": {knows: []string{"internal/assess", "internal/care", "internal/snake", "internal/words"}, modules: []string{"github.com/xuri/excelize/v2", "golang.org/x/text"}, pure: true,
		why: "sheet reads people's lists into animals and entries and writes them; it stands beside casefile and does no I/O, so that any file can be tried on it"},
	"internal/followup": {knows: []string{"internal/assess", "internal/care", "internal/casefile", "internal/insight", "internal/sheet", "internal/snake", "internal/words"}, modules: []string{"github.com/go-json-experiment/json", "github.com/google/uuid", "github.com/hashicorp/golang-lru/v2"},
		why: "followup holds the use cases; it meets the store as care.Store and the wire not at all"},
	"internal/insight": {knows: []string{"internal/assess", "internal/care"}, modules: []string{"gonum.org/v1/gonum"}, pure: true,
		why: "insight looks at all of a breeder's cases together; it stands above assess, whose concerns and exact test it uses"},
	"internal/print": {knows: []string{"internal/assess", "internal/care", "internal/snake", "internal/words"}, pure: true,
		modules: []string{"codeberg.org/go-pdf/fpdf", "github.com/boombuler/barcode", "golang.org/x/image", "golang.org/x/text"},
		why:     "print lays out what the domain says; the same record makes the same bytes, so it needs no clock and no files"},
	"internal/print/printtest": {
		why: "printtest reads PDFs back with other people's software; it needs to know of nothing here"},
	"internal/replay": {knows: []string{"internal/assess", "internal/care", "internal/casefile", "internal/snake"},
		modules: []string{"github.com/go-json-experiment/json", "golang.org/x/sync"},
		why:     "replay reads files and keeps temporary ones around what casefile and assess do purely; it needs no store"},
	"internal/measure": {modules: []string{"github.com/makiuchi-d/gozxing"}, pure: true,
		why: "measure turns a picture into millimetres; it runs on the phone too, so it carries nothing that it does not need"},
	"internal/photo": {knows: []string{"internal/words"},
		why: "photo turns bytes into safe bytes and says why not; it needs to know of no animal"},
	"internal/photo/phototest": {modules: []string{"github.com/johannesboyne/gofakes3"},
		why: "phototest is a store of pictures for tests; it needs to know of nothing here"},
	"internal/notify": {knows: []string{"internal/assess", "internal/care", "internal/snake", "internal/words"}, modules: []string{"github.com/arran4/golang-ical"}, pure: true,
		why: "notify is how a reminder leaves; what is due it is told, so it needs neither store nor clock"},
	"internal/courier": {knows: []string{"internal/care", "internal/notify", "internal/words"}, modules: []string{"github.com/go-jose/go-jose/v4", "github.com/wneessen/go-mail"},
		why: "courier is the network behind notify: it carries what it is given to whom it is told, and knows no case and no store"},
	"internal/store": {knows: []string{"internal/care", "internal/words"},
		why: "store keeps what care defines; a rule in it would be a second place for rules"},
	"internal/store/storetest": {knows: []string{"internal/care", "internal/words"},
		why: "storetest holds any care.Store to the port, whatever engine is behind it"},
	"internal/access": {knows: []string{"internal/care", "internal/words"},
		why: "access makes and checks secrets; what they open is decided in followup and server"},
	"internal/reference": {
		why: "reference runs other people's software for tests; it needs to know of nothing here"},
	"internal/gen": {
		why: "generated code is no place for our own"},
	"internal/gen/warmhand/v1": {
		why: "generated code is no place for our own"},
	"pwa": {
		why: "pwa only carries the built web app"},
}

// dependents says who may import a package, where that is few.
var dependents = map[string]struct {
	only string // a path and all below it
	why  string
}{
	"internal/reference":       {"internal/reference", "reference is for tests only: the program computes for itself"},
	"internal/print/printtest": {"internal/print/printtest", "printtest is for tests only"},
	"internal/photo/phototest": {"internal/photo/phototest", "phototest is for tests only"},
	"internal/gen":             {"server", "the wire format stays at the edge, so that it can change without the domain"},
	"pwa":                      {"server", "the web app is served, not used"},
}

// forbiddenWhenPure are parts of the standard library, each with all below it.
var forbiddenWhenPure = []string{"context", "database", "io/fs", "log", "math/rand", "net", "os", "runtime", "sync", "syscall"}

// contextIsFine is the one file of a pure room that names context: the port
// that a store fulfils takes one.
const contextIsFine = "internal/care/port.go"

var clockCalls = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer"}

var emptyNames = []string{"util", "utils", "common", "helper", "helpers", "model", "models", "types", "misc", "shared", "lib", "base"}

// pkg is what `go list -json` says of a package.
type pkg struct {
	ImportPath, Name, Dir string
	GoFiles, CgoFiles     []string
	Imports               []string
	TestImports           []string
	XTestImports          []string
}

func (p pkg) path() string { return strings.TrimPrefix(p.ImportPath, module) }

func below(path, root string) bool { return path == root || strings.HasPrefix(path, root+"/") }

func ours(imp string) bool { return strings.HasPrefix(imp, module) }

// standard reports whether an import is of the standard library, by the rule
// of the go command: no dot in its first part.
func standard(imp string) bool {
	first, _, _ := strings.Cut(imp, "/")
	return !ours(imp) && !strings.Contains(first, ".")
}

// brokenArrows lists what the imports of p break.
func brokenArrows(p pkg) (broken []string) {
	name := p.path()
	say := func(imp, rule string) {
		broken = append(broken, fmt.Sprintf("%s imports %s: %s", name, strings.TrimPrefix(imp, module), rule))
	}
	for _, imp := range slices.Concat(p.Imports, p.TestImports, p.XTestImports) {
		if below(name, "internal") && ours(imp) && below(strings.TrimPrefix(imp, module), "server") {
			say(imp, "nothing in internal knows the server, not even its tests: server is where all is plugged together")
		}
	}
	if below(name, "server") {
		return broken // the one that sees all
	}
	r, ok := rooms[name]
	if !ok && len(p.Imports) > 0 {
		return append(broken, name+" is a new room: add a line to the map in internal/rooms_test.go that says what it may know, and why")
	}
	for _, imp := range p.Imports {
		to := strings.TrimPrefix(imp, module)
		switch {
		case ours(imp):
			for root, d := range dependents {
				if below(to, root) && !below(name, d.only) && !below(name, root) {
					say(imp, root+" is for "+d.only+" only: "+d.why)
				}
			}
			if !slices.Contains(r.knows, to) && !below(to, name) {
				say(imp, r.why)
			}
		case standard(imp):
			for _, f := range forbiddenWhenPure {
				if r.pure && f != "context" && below(imp, f) { // context: file by file, see impurities
					say(imp, "a pure room does no I/O and keeps no state, so that the same log gives the same answer: "+r.why)
				}
			}
		case r.bare:
			say(imp, "only the standard library here: "+r.why)
		case r.modules != nil && !slices.ContainsFunc(r.modules, func(m string) bool { return below(imp, m) }):
			say(imp, "not among its modules: "+r.why)
		}
	}
	return broken
}

// impurities lists clock calls and imports of context in one file of a pure
// room; name is its path in the module and src as for parser.ParseFile.
func impurities(name, file string, src any) (broken []string, err error) {
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, file, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	clock := ""
	for _, imp := range f.Imports {
		p, err := strconv.Unquote(imp.Path.Value)
		if err != nil {
			return nil, err
		}
		if p == "context" && name != contextIsFine {
			broken = append(broken, fmt.Sprintf("%s imports context: a pure room has nothing to cancel; only %s names it, for the store", name, contextIsFine))
		}
		if p == "time" {
			if clock = "time"; imp.Name != nil {
				clock = imp.Name.Name
			}
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		if sel, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := sel.X.(*ast.Ident); ok && clock != "" && x.Name == clock && slices.Contains(clockCalls, sel.Sel.Name) {
				broken = append(broken, fmt.Sprintf("%s:%d uses time.%s: the time is an argument, so that replay and tests see what the live service saw", name, fset.Position(sel.Pos()).Line, sel.Sel.Name))
			}
		}
		return true
	})
	return broken, nil
}

func listPackages(t *testing.T) []pkg {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", "list", "-e", "-json=ImportPath,Name,Dir,GoFiles,CgoFiles,Imports,TestImports,XTestImports", "./...")
	cmd.Dir = ".." // the module's root
	out, err := cmd.Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			t.Fatalf("go list: %v\n%s", err, exit.Stderr)
		}
		t.Fatalf("go list: %v", err)
	}
	var list []pkg
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p pkg
		if err := dec.Decode(&p); err == io.EOF {
			return list
		} else if err != nil {
			t.Fatalf("go list: %v", err)
		}
		list = append(list, p)
	}
}

func TestRooms(t *testing.T) {
	t.Parallel()
	list := listPackages(t)
	there := map[string]bool{}
	for _, p := range list {
		there[p.path()] = true
		for _, b := range brokenArrows(p) {
			t.Error(b)
		}
		if slices.Contains(emptyNames, p.Name) || slices.Contains(emptyNames, path.Base(p.ImportPath)) {
			t.Errorf("%s: a name that says nothing draws in everything; name it by what it does", p.path())
		}
		r := rooms[p.path()]
		if !r.pure && p.path() != "internal/followup" { // followup takes the time too
			continue
		}
		for _, f := range slices.Concat(p.GoFiles, p.CgoFiles) {
			broken, err := impurities(p.path()+"/"+f, filepath.Join(p.Dir, f), nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, b := range broken {
				if r.pure || !strings.Contains(b, "imports context") {
					t.Error(b)
				}
			}
		}
	}
	for name := range rooms {
		if !there[name] {
			t.Errorf("%s is on the map of rooms and is not there: take its line out of internal/rooms_test.go", name)
		}
	}
}

// The rules themselves are tried on what they must refuse.
func TestRoomsRefuse(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, from string
		imports    []string
		tests      []string
		want       string // part of the message; "" fine
	}{
		{"down is fine", "internal/followup", []string{"warmhand/internal/assess", "github.com/google/uuid", "context"}, nil, ""},
		{"up", "internal/snake", []string{"warmhand/internal/care"}, nil, "bottom"},
		{"a module in a bare room", "internal/assess", []string{"golang.org/x/exp/maps"}, nil, "only the standard library"},
		{"files in a pure room", "internal/care", []string{"os"}, nil, "no I/O"},
		{"network in a pure room", "internal/assess", []string{"net/http"}, nil, "no I/O"},
		{"sideways", "internal/store", []string{"warmhand/internal/access"}, nil, "second place"},
		{"photo knows nobody", "internal/photo", []string{"warmhand/internal/care"}, nil, "no animal"},
		{"the wire in the domain", "internal/followup", []string{"warmhand/internal/gen/warmhand/v1"}, nil, "server only"},
		{"an engine in the use cases", "internal/followup", []string{"github.com/jackc/pgx/v5"}, nil, "not among its modules"},
		{"server from below", "internal/photo", []string{"warmhand/server"}, nil, "not even its tests"},
		{"server from a test below", "internal/photo", nil, []string{"warmhand/server/servertest"}, "not even its tests"},
		{"a room off the map", "internal/newroom", []string{"fmt"}, nil, "new room"},
		{"the server sees all", "server", []string{"warmhand/internal/store", "warmhand/internal/gen", "google.golang.org/grpc"}, nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := strings.Join(brokenArrows(pkg{ImportPath: module + c.from, Imports: c.imports, XTestImports: c.tests}), "\n")
			if c.want == "" && got != "" || c.want != "" && !strings.Contains(got, c.want) {
				t.Errorf("got %q, want %q in it", got, c.want)
			}
		})
	}
	for src, want := range map[string]string{
		"package x\nimport \"time\"\nvar t = time.Now()":            "time.Now",
		"package x\nimport c \"time\"\nvar f = c.Since":             "time.Since",
		"package x\nimport \"context\"\nvar c context.Context":      "imports context",
		"package x\nimport \"time\"\nvar t = time.Unix(0, 0).UTC()": "",
	} {
		got, err := impurities("internal/care/x.go", "x.go", src)
		if err != nil {
			t.Fatal(err)
		}
		if all := strings.Join(got, "\n"); want == "" && all != "" || !strings.Contains(all, want) {
			t.Errorf("%q: got %q, want %q in it", src, all, want)
		}
	}
}
