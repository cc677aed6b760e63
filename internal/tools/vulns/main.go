// Command vulns asks the public lists of known weaknesses about what is linked into
// the program, and about what the web app is bundled of, built and tested with. It ends
// with 0 when both lists answered and know nothing, with 1 when one knows something, and
// with 2 when one could not be asked: an answer that nobody gave is never "nothing
// known".
//
// It wants the network, or for Go a copy of the list: GOVULNDB=file:///folder.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

const (
	// goList is where Go's list is (https://go.dev/doc/security/vuln/database).
	goList = "https://vuln.go.dev"
	// listOld is from when on a list is too old to say anything of today. Go's changes
	// every few days.
	listOld = 14 * 24 * time.Hour
	// listLeast is how many modules Go's list names at least; it has had many more for
	// years, so one with fewer is no whole copy.
	listLeast = 100
)

func main() {
	root := "."
	if len(os.Args) > 1 {
		root = os.Args[1]
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	os.Exit(look(ctx, os.Stdout, []list{
		{"Go modules", func(ctx context.Context) ([]string, error) {
			return knownOfGo(ctx, root, time.Now())
		}},
		{"npm packages", func(ctx context.Context) ([]string, error) { return knownOfNpm(ctx, filepath.Join(root, "pwa")) }},
	}))
}

// list is one to be asked: what is known, or why nobody can say.
type list struct {
	of  string
	ask func(context.Context) (known []string, err error)
}

// look asks all and returns how the program ends.
func look(ctx context.Context, out io.Writer, lists []list) (code int) {
	for _, l := range lists {
		known, err := l.ask(ctx)
		switch {
		case err != nil:
			fmt.Fprintf(out, "%s: COULD NOT LOOK, so nothing is known of them either way: %v\n", l.of, err)
			code = 2
		case len(known) > 0:
			fmt.Fprintf(out, "%s: %d known weaknesses:\n  %s\n", l.of, len(known), strings.Join(known, "\n  "))
			code = max(code, 1)
		default:
			fmt.Fprintf(out, "%s: looked; nothing is known against them.\n", l.of)
		}
	}
	return code
}

// knownOfGo has govulncheck, at the version of this module, look for weaknesses of the
// packages that ours import, and says which of them ours call. Of all packages, and not of
// the program alone: its verbs are called by reflection, which govulncheck does not see.
func knownOfGo(ctx context.Context, root string, now time.Time) (known []string, err error) {
	db := os.Getenv("GOVULNDB")
	if db == "" {
		db = goList
	}
	if root, err = filepath.Abs(root); err != nil {
		return nil, err
	}
	if err := wholeList(ctx, db); err != nil {
		return nil, err
	}
	out, said, err := output(exec.CommandContext(ctx, "go", "tool", "govulncheck", "-C", root, "-db", db, "-format", "json", "./..."))
	if err != nil {
		return nil, fmt.Errorf("govulncheck: %w: %s", err, said)
	}
	var modified time.Time
	scanned := false
	summary := map[string]string{}
	called := map[string]string{} // by line: the calls that were seen, the first of them
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var m struct {
			Config *struct {
				DBLastModified *time.Time `json:"db_last_modified"`
			}
			SBOM    *struct{ Modules []any }
			OSV     *struct{ ID, Summary string }
			Finding *struct {
				OSV   string
				Fixed string `json:"fixed_version"`
				Trace []struct{ Module, Version, Package, Function string }
			}
		}
		if err := d.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("govulncheck's answer: %w", err)
		}
		switch {
		case m.Config != nil && m.Config.DBLastModified != nil:
			modified = *m.Config.DBLastModified
		case m.SBOM != nil:
			scanned = len(m.SBOM.Modules) > 0
		case m.OSV != nil:
			summary[m.OSV.ID] = m.OSV.Summary
		case m.Finding != nil && len(m.Finding.Trace) > 0 && m.Finding.Trace[0].Package != "":
			f, in := m.Finding, m.Finding.Trace[0]
			line := fmt.Sprintf("%s in %s of %s %s, mended in %s: %s", f.OSV, in.Package, in.Module, in.Version, f.Fixed, summary[f.OSV])
			if called[line] == "" {
				called[line] = in.Function
			}
		}
	}
	if !scanned {
		return nil, errors.New("govulncheck does not say what it looked at")
	}
	if now.Sub(modified) > listOld {
		return nil, fmt.Errorf("the list at %s is of %s: fetch a newer copy", db, modified.Format("2 January 2006"))
	}
	for line, function := range called {
		if function == "" {
			line += " (no call of it was seen)"
		} else {
			line += " (" + function + " is called)"
		}
		known = append(known, line)
	}
	slices.Sort(known)
	return known, nil
}

// wholeList refuses what is no copy of Go's list, since govulncheck takes an empty one
// for one that knows nothing.
func wholeList(ctx context.Context, db string) error {
	var text []byte
	var err error
	if folder, ok := strings.CutPrefix(db, "file://"); ok {
		text, err = os.ReadFile(filepath.Join(folder, "index", "modules.json"))
	} else {
		text, err = fetch(ctx, strings.TrimSuffix(db, "/")+"/index/modules.json")
	}
	if err != nil {
		return fmt.Errorf("the list at %s: %w", db, err)
	}
	var modules []struct{ Path string }
	if err := json.Unmarshal(text, &modules); err != nil {
		return fmt.Errorf("the list at %s: %w", db, err)
	}
	if len(modules) < listLeast {
		return fmt.Errorf("the list at %s names %d modules and is no whole copy", db, len(modules))
	}
	return nil
}

func fetch(ctx context.Context, url string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return nil, err
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return nil, errors.New(res.Status)
	}
	return io.ReadAll(res.Body)
}

// knownOfNpm has npm ask its registry about all packages of a lock file. Before that it
// asks about one whose weakness has been known for years: some registries hand packages
// out and answer such questions with nothing.
func knownOfNpm(ctx context.Context, dir string) ([]string, error) {
	probe, err := os.MkdirTemp("", "vulns-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(probe)
	const name = `{"name": "probe", "version": "1.0.0", "dependencies": {"minimist": "0.0.8"}}`
	const lock = `{"name": "probe", "version": "1.0.0", "lockfileVersion": 3, "packages": {
		"": {"name": "probe", "version": "1.0.0", "dependencies": {"minimist": "0.0.8"}}, "node_modules/minimist": {"version": "0.0.8"}}}`
	if err := errors.Join(os.WriteFile(filepath.Join(probe, "package.json"), []byte(name), 0o600),
		os.WriteFile(filepath.Join(probe, "package-lock.json"), []byte(lock), 0o600)); err != nil {
		return nil, err
	}
	known, err := audit(ctx, probe)
	if err != nil {
		return nil, err
	}
	if len(known) == 0 {
		return nil, errors.New("the registry knows no weaknesses: not even one of minimist 0.0.8, which has had one since 2020")
	}
	return audit(ctx, dir)
}

func audit(ctx context.Context, dir string) (known []string, err error) {
	c := exec.CommandContext(ctx, "npm", "audit", "--json", "--package-lock-only")
	c.Dir = dir
	out, said, failed := output(c) // 1 when something is known, and when nobody answers
	var a struct {
		Version         int `json:"auditReportVersion"`
		Message         string
		Vulnerabilities map[string]struct {
			Severity, Range string
			Via             []json.RawMessage
		}
	}
	if err := json.Unmarshal(out, &a); err != nil {
		return nil, fmt.Errorf("npm audit: %w: %s", errors.Join(failed, err), said)
	}
	if a.Version != 2 || a.Vulnerabilities == nil {
		return nil, fmt.Errorf("npm audit: %s", a.Message)
	}
	for name, v := range a.Vulnerabilities {
		line := fmt.Sprintf("%s %s (%s)", name, v.Range, v.Severity)
		for _, via := range v.Via {
			var why struct{ Title, URL string }
			if json.Unmarshal(via, &why) == nil && why.Title != "" { // else the name of another package
				line += fmt.Sprintf(": %s, %s", why.Title, why.URL)
			}
		}
		known = append(known, line)
	}
	slices.Sort(known)
	if len(known) == 0 && failed != nil {
		return nil, fmt.Errorf("npm audit: %w: %s", failed, said)
	}
	return known, nil
}

// output runs a command and returns what it wrote, and the end of what it said beside
// that.
func output(c *exec.Cmd) (out []byte, said string, err error) {
	var errs bytes.Buffer
	c.Stderr = &errs
	out, err = c.Output()
	said = strings.Join(strings.Fields(errs.String()), " ")
	return out, said[max(0, len(said)-500):], err
}
