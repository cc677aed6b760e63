package access

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// What THREATS.md names as the test of a thing is there to be run.
func TestThreatsHaveTheirTests(t *testing.T) {
	t.Parallel()
	page, err := os.ReadFile("THREATS.md")
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{}
	def := regexp.MustCompile(`(?m)^func (Test\w+)\(`)
	for _, root := range []string{"../../server", "../../internal"} {
		if err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
				return err
			}
			text, err := os.ReadFile(path)
			for _, m := range def.FindAllSubmatch(text, -1) {
				there[string(m[1])] = true
			}
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
	named := regexp.MustCompile("`(Test\\w+)`").FindAllSubmatch(page, -1)
	if len(named) < 40 {
		t.Fatalf("the page names %d tests", len(named))
	}
	for _, m := range named {
		if !there[string(m[1])] {
			t.Errorf("%s is not among the tests", m[1])
		}
	}
	_, table, _ := strings.Cut(string(page), "|---|---|---|---|\n")
	table, _, _ = strings.Cut(table, "\n\n")
	for _, line := range strings.Split(table, "\n") {
		if !strings.Contains(line, "`Test") {
			t.Errorf("no test shows this: %.120s", line)
		}
	}
}
