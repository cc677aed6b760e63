// Package reference asks R, scipy, statsmodels, OpenCV and
// jwcrypto, in tests, for what the
// program computes too. The questions are in testdata/reference.
package reference

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
)

// AskR answers by R. questions is an object of question and arguments; the
// answers are decoded into answers. It skips the test where R is not there,
// and fails it where WARMHAND_REQUIRE_REFERENCE says that it must be.
func AskR(t testing.TB, questions, answers any) {
	t.Helper()
	ask(t, questions, answers, "reference.R", "Rscript", "--vanilla")
}

// AskPython is AskR for scipy, statsmodels, OpenCV and jwcrypto.
func AskPython(t testing.TB, questions, answers any) {
	t.Helper()
	python := "/usr/bin/python3" // that of the Debian packages; another may be first in the path
	if _, err := os.Stat(python); err != nil {
		python = "python3"
	}
	ask(t, questions, answers, "reference.py", python)
}

// notHere is what a script exits with when its packages are missing.
const notHere = 3

func ask(t testing.TB, questions, answers any, script string, command ...string) {
	t.Helper()
	in, err := json.Marshal(questions)
	if err != nil {
		t.Fatal(err)
	}
	_, here, _, _ := runtime.Caller(0)
	script = filepath.Join(filepath.Dir(here), "../../testdata/reference", script)
	cmd := exec.CommandContext(t.Context(), command[0], append(command[1:], script)...)
	var out, errs bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(in), &out, &errs
	err = cmd.Run()
	if errors.Is(err, exec.ErrNotFound) || cmd.ProcessState != nil && cmd.ProcessState.ExitCode() == notHere {
		if os.Getenv("CI") != "" || os.Getenv("WARMHAND_REQUIRE_REFERENCE") != "" {
			t.Fatalf("%s or a package of it is not here, and here it must: %v %s", command[0], err, &errs)
		}
		t.Skipf("%s or a package of it is not here (internal/tools/prereq.sh reference): %v", command[0], err)
	}
	if err != nil {
		t.Fatalf("%s: %v\n%s", script, err, &errs)
	}
	if err := json.Unmarshal(out.Bytes(), answers); err != nil {
		t.Fatalf("%s answers %.200q: %v", script, &out, err)
	}
}
