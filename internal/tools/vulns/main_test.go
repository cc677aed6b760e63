package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// copyOf writes a list for Go with invented modules, and one weakness of the standard
// library.
func copyOf(t *testing.T, modules int, changed time.Time, pkg, function string) string {
	t.Helper()
	dir := t.TempDir()
	when := changed.UTC().Format(time.RFC3339)
	index := []any{}
	for i := range modules {
		index = append(index, map[string]any{"path": fmt.Sprint("invented.example/m", i), "vulns": []any{map[string]any{"id": fmt.Sprintf("GO-2026-1%03d", i), "modified": when}}})
	}
	index = append(index, map[string]any{"path": "stdlib", "vulns": []any{map[string]any{"id": "GO-2026-9999", "modified": when, "fixed": "1.999.0"}}})
	for name, v := range map[string]any{
		"index/db.json":      map[string]any{"modified": when},
		"index/modules.json": index,
		"ID/GO-2026-9999.json": map[string]any{"schema_version": "1.3.1", "id": "GO-2026-9999", "modified": when, "published": when, "summary": "An invented weakness",
			"affected": []any{map[string]any{"package": map[string]any{"name": "stdlib", "ecosystem": "Go"},
				"ranges":             []any{map[string]any{"type": "SEMVER", "events": []any{map[string]any{"introduced": "0"}, map[string]any{"fixed": "1.999.0"}}}},
				"ecosystem_specific": map[string]any{"imports": []any{map[string]any{"path": pkg, "symbols": []string{function}}}}}}},
	} {
		text, err := json.Marshal(v)
		if err == nil {
			err = errors.Join(os.MkdirAll(filepath.Join(dir, filepath.Dir(name)), 0o700), os.WriteFile(filepath.Join(dir, name), text, 0o600))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return "file://" + dir
}

func TestGoList(t *testing.T) {
	now := time.Now()
	for name, c := range map[string]struct {
		db    string
		known int
		says  string
	}{
		"a function that is called":     {copyOf(t, 200, now, "net/url", "Parse"), 1, "GO-2026-9999 in net/url of stdlib"},
		"that it is called":             {copyOf(t, 200, now, "net/url", "Parse"), 1, "(Parse is called)"},
		"one that is not":               {copyOf(t, 200, now, "net/url", "QueryUnescape"), 1, "no call of it was seen"},
		"a package that is not":         {copyOf(t, 200, now, "net/http", "ListenAndServe"), 0, ""},
		"no list":                       {"file://" + t.TempDir(), 0, "no such file"},
		"nobody there":                  {"http://127.0.0.1:1", 0, "refused"},
		"a list with hardly anything":   {copyOf(t, 3, now, "net/http", "ListenAndServe"), 0, "no whole copy"},
		"a list of long ago":            {copyOf(t, 200, now.AddDate(0, -2, 0), "net/http", "ListenAndServe"), 0, "fetch a newer copy"},
		"one of long ago with findings": {copyOf(t, 200, now.AddDate(0, -2, 0), "net/url", "Parse"), 0, "fetch a newer copy"},
	} {
		t.Setenv("GOVULNDB", c.db)
		known, err := knownOfGo(t.Context(), "testdata/program", now)
		if said := fmt.Sprint(known, err); len(known) != c.known || c.says == "" && err != nil || !strings.Contains(said, c.says) || c.known > 0 && err != nil {
			t.Errorf("%s: %s", name, said)
		}
	}
}

func TestNpmList(t *testing.T) {
	if _, err := exec.LookPath("npm"); err != nil {
		t.Skip("npm is not here")
	}
	weak := func(name string) any {
		return []any{map[string]any{"id": 1, "title": "An invented weakness", "url": "https://invented.example/1", "severity": "high", "vulnerable_versions": "*", "range": "*"}}
	}
	for name, c := range map[string]struct {
		weak   []string
		status int
		known  int
		says   string
	}{
		"something is known":                {[]string{"minimist", "kept"}, 200, 1, "An invented weakness"},
		"nothing is known":                  {[]string{"minimist"}, 200, 0, ""},
		"a registry without such a list":    {nil, 405, 0, "405"},
		"a registry whose list is empty":    {nil, 200, 0, "not even one of minimist"},
		"a registry that breaks in between": {[]string{"minimist"}, 503, 0, "503"},
	} {
		asked := 0
		registry := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if !strings.HasSuffix(r.URL.Path, "/advisories/bulk") {
				http.NotFound(w, r)
				return
			}
			asked++
			if c.status != 200 && (c.status != 503 || asked > 1) {
				w.WriteHeader(c.status)
				return
			}
			answer := map[string]any{}
			for _, name := range c.weak {
				answer[name] = weak(name)
			}
			json.NewEncoder(w).Encode(answer) //nolint:errcheck // npm may have gone
		}))
		for key, value := range map[string]string{"registry": registry.URL, "cache": t.TempDir(), "fetch_retries": "0", "update_notifier": "false"} {
			t.Setenv("npm_config_"+key, value)
		}
		dir := t.TempDir()
		if err := errors.Join(os.WriteFile(filepath.Join(dir, "package.json"), []byte(`{"name": "p", "version": "1.0.0", "devDependencies": {"kept": "2.0.0"}}`), 0o600),
			os.WriteFile(filepath.Join(dir, "package-lock.json"), []byte(`{"name": "p", "version": "1.0.0", "lockfileVersion": 3, "packages": {
				"": {"name": "p", "version": "1.0.0", "devDependencies": {"kept": "2.0.0"}}, "node_modules/kept": {"version": "2.0.0", "dev": true}}}`), 0o600)); err != nil {
			t.Fatal(err)
		}
		known, err := knownOfNpm(t.Context(), dir)
		if said := fmt.Sprint(known, err); len(known) != c.known || c.says == "" && err != nil || !strings.Contains(said, c.says) || c.known > 0 && err != nil {
			t.Errorf("%s: %s", name, said)
		}
		registry.Close()
	}
}

// What could not be asked is never told as nothing known.
func TestHowItEnds(t *testing.T) {
	t.Parallel()
	is := func(known []string, err error) func(context.Context) ([]string, error) {
		return func(context.Context) ([]string, error) { return known, err }
	}
	none, some, unasked := is(nil, nil), is([]string{"x"}, nil), is(nil, errors.New("nobody there"))
	for _, c := range []struct {
		first, second func(context.Context) ([]string, error)
		code, clean   int
	}{{none, none, 0, 2}, {none, some, 1, 1}, {some, unasked, 2, 0}, {unasked, none, 2, 1}, {unasked, some, 2, 0}} {
		var out bytes.Buffer
		code := look(t.Context(), &out, []list{{"first", c.first}, {"second", c.second}})
		if code != c.code || strings.Count(out.String(), "nothing is known against") != c.clean {
			t.Errorf("ends with %d, want %d:\n%s", code, c.code, out.String())
		}
	}
}
