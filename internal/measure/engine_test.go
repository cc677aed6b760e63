package measure

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestPhoneSaysTheSame: the engine that phones load measures rendered scenes, and
// says the numbers that the service says of the same pixels.
func TestPhoneSaysTheSame(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("compiles the engine")
	}
	node, err := exec.LookPath("node")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	engine := filepath.Join(dir, "measure.wasm")
	build := exec.Command("go", "build", "-o", engine, "./wasm")
	build.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "CGO_ENABLED=0", "GOFLAGS=")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}

	type asked struct {
		File          string
		Width, Height int
		Question      string
	}
	var questions []asked
	var want []*Answer
	rnd := rand.New(rand.NewPCG(5, 12))
	for i := range 6 {
		s := wholeScene(rnd)
		for s.width > 1280 { // the engine is several times as slow
			s = wholeScene(rnd)
		}
		rim, shape := s.taps(rnd, 8, 1.2)
		picture := s.shot(rnd)
		if i == 5 {
			rim = rim[:3] // the refusal is the same, too
		}
		text, err := json.Marshal(&Request{Rim: rim, Shape: shape})
		if err != nil {
			t.Fatal(err)
		}
		answer, err := Ask(picture, text)
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, answer)
		size := picture.Bounds().Size()
		rgba := make([]byte, 0, 4*size.X*size.Y)
		for _, v := range picture.Pix {
			rgba = append(rgba, v, v, v, 255)
		}
		file := filepath.Join(dir, string(rune('a'+i)))
		if err := os.WriteFile(file, rgba, 0o600); err != nil {
			t.Fatal(err)
		}
		questions = append(questions, asked{file, size.X, size.Y, string(text)})
	}
	text, err := json.Marshal(questions)
	if err != nil {
		t.Fatal(err)
	}
	run := exec.CommandContext(t.Context(), node, "-e", `
const fs = require('node:fs');
require(process.argv[1]);
const go = new Go();
WebAssembly.instantiate(fs.readFileSync(process.argv[2]), go.importObject).then(({ instance }) => {
  go.run(instance);
  const said = JSON.parse(fs.readFileSync(0, 'utf8')).map((q) =>
    JSON.parse(measureOpening(q.Width, q.Height, new Uint8Array(fs.readFileSync(q.File)), q.Question)));
  process.stdout.write(JSON.stringify(said), () => process.exit(0));
});`, filepath.Join(strings.TrimSpace(string(root)), "lib/wasm/wasm_exec.js"), engine)
	run.Stdin, run.Stderr = strings.NewReader(string(text)), os.Stderr
	out, err := run.Output()
	if err != nil {
		t.Fatal(err)
	}
	var got []*Answer
	if err := json.Unmarshal(out, &got); err != nil || len(got) != len(want) {
		t.Fatalf("%v: %s", err, out)
	}
	measured := 0
	for i, w := range want {
		g := got[i]
		if w.Result == nil || g.Result == nil {
			if w.Result != g.Result || w.Refusal.Code != g.Refusal.Code {
				t.Errorf("scene %d: %+v here, %+v on the phone", i, w, g)
			}
			continue
		}
		measured++
		// Some processors multiply and add in one step, which rounds once less.
		if math.Abs(w.Result.Width-g.Result.Width) > 1e-6 || math.Abs(w.Result.PlusMinus-g.Result.PlusMinus) > 1e-6 {
			t.Errorf("scene %d: %v ± %v mm here, %v ± %v on the phone", i, w.Result.Width, w.Result.PlusMinus, g.Result.Width, g.Result.PlusMinus)
		}
	}
	if measured < 3 || want[5].Refusal == nil {
		t.Errorf("%d of 5 scenes were measured: too few to compare", measured)
	}
}
