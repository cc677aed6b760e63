// Package printtest reads PDFs back with other people's programs, for tests:
// poppler's and zbar's, as Debian has them.
package printtest

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// run runs a reader on input. It skips the test where the program is not there,
// and fails it where WARMHAND_REQUIRE_PRINT says that it must be.
func run(t testing.TB, input []byte, name string, args ...string) []byte {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	var out, errs bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(input), &out, &errs
	err := cmd.Run()
	if errors.Is(err, exec.ErrNotFound) {
		if os.Getenv("CI") != "" || os.Getenv("WARMHAND_REQUIRE_PRINT") != "" {
			t.Fatalf("%s is not here, and here it must", name)
		}
		t.Skipf("%s is not here (internal/tools/prereq.sh print)", name)
	}
	if err != nil && (name != "zbarimg" || cmd.ProcessState.ExitCode() != noCode) {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, &errs)
	}
	return out.Bytes()
}

// noCode is what zbarimg exits with when there is no code on the picture.
const noCode = 4

// Text is what pdftotext reads, in the order of reading, with single spaces
// and no line ends.
func Text(t testing.TB, pdf []byte) string {
	t.Helper()
	return strings.Join(strings.Fields(string(run(t, pdf, "pdftotext", "-enc", "UTF-8", "-", "-"))), " ")
}

// Fonts are the lines of pdffonts, one for each font, in words: the name first,
// and "yes" or "no" for embedded, subset and with a map to Unicode.
func Fonts(t testing.TB, pdf []byte) (fonts []Font) {
	t.Helper()
	for line := range strings.Lines(string(run(t, pdf, "pdffonts", "-"))) {
		w := strings.Fields(line)
		if len(w) < 6 || w[0] == "name" || strings.HasPrefix(w[0], "---") {
			continue
		}
		w = w[:len(w)-2] // the object
		n := len(w)
		fonts = append(fonts, Font{Name: w[0], Embedded: w[n-3] == "yes", Unicode: w[n-1] == "yes"})
	}
	return fonts
}

// Font is one font of a PDF.
type Font struct {
	Name              string
	Embedded, Unicode bool
}

// Pages are the pages as pdftoppm renders them at this many dots per inch.
func Pages(t testing.TB, pdf []byte, dpi int) (pages []*image.Gray) {
	t.Helper()
	for data := run(t, pdf, "pdftoppm", "-gray", "-r", strconv.Itoa(dpi), "-"); len(data) > 0; {
		var w, h int
		if _, err := fmt.Sscanf(string(data[:min(len(data), 40)]), "P5\n%d %d\n255\n", &w, &h); err != nil {
			t.Fatalf("pdftoppm makes %.40q: %v", data, err)
		}
		start := len(fmt.Sprintf("P5\n%d %d\n255\n", w, h))
		if len(data) < start+w*h {
			t.Fatalf("pdftoppm breaks off in a page of %d × %d", w, h)
		}
		pages = append(pages, &image.Gray{Pix: data[start : start+w*h], Stride: w, Rect: image.Rect(0, 0, w, h)})
		data = data[start+w*h:]
	}
	return pages
}

// Codes are the texts of the QR codes that zbarimg finds on a picture, sorted.
func Codes(t testing.TB, pic image.Image) []string {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, pic); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "code.png")
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	found := strings.Fields(string(run(t, nil, "zbarimg", "--quiet", "--raw", "--set", "disable", "--set", "qrcode.enable", name)))
	slices.Sort(found)
	return found
}
