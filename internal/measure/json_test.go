package measure

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// By JSON comes the same as by Go.
func TestAsk(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(3, 4))
	s := still()
	img := s.shot(rnd)
	rim, _ := s.taps(rnd, 8, 1)
	code, err := Find(img)
	if err != nil {
		t.Fatal(err)
	}
	req := &Request{Code: code, Rim: rim, Line: 50, OffPlane: 2, Shape: Round}
	question, err := json.Marshal(req)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"reference":"handover_card"`, `"shape":"round"`, `"lineMm":50`, `"rim":[{"x":`} {
		if !strings.Contains(string(question), want) {
			t.Errorf("%s is not in %s", want, question)
		}
	}
	answer, err := Ask(img, question)
	if err != nil {
		t.Fatal(err)
	}
	req.Picture = img
	want, err := Measure(req)
	if err != nil {
		t.Fatal(err)
	}
	if answer.Refusal != nil || answer.Result.Width != want.Width || answer.Result.PlusMinus != want.PlusMinus {
		t.Errorf("%+v, want %+v", answer, want)
	}
	text, err := json.Marshal(answer)
	if err != nil {
		t.Fatal(err)
	}
	if want := fmt.Sprintf(`{"result":{"widthMm":%v,"plusMinusMm":`, want.Width); !strings.HasPrefix(string(text), want) || strings.Contains(string(text), "refusal") {
		t.Errorf("%s begins otherwise: %s", want, text)
	}

	answer, err = Ask(img, []byte(`{"reference": "bank_card", "shape": "slot", "rim": [{"x": 1, "y": 2}]}`))
	if err != nil || answer.Result != nil || answer.Refusal.Code != NoCard {
		t.Errorf("no corners: %+v, %v", answer, err)
	}
	for _, c := range []struct{ question, want string }{
		{`{"rim": [], "widht": 3}`, `"widht"`},
		{`{"shape": "oval"}`, `shape "oval": say round or slot`},
		{`{"reference": "coin"}`, `say handover_card or bank_card`},
		{`{"rim": [[1, 2]]}`, "rim"},
		{`{} {}`, "more after"},
		{``, "README.md"},
	} {
		if _, err := Ask(img, []byte(c.question)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.question, err, c.want)
		}
	}
}

// Of whatever kind a picture is, its brightness is that of image/color.
func TestLuma(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(5, 6))
	r := image.Rect(3, 4, 20, 17)
	inner := image.Rect(5, 6, 18, 16)
	ycc := image.NewYCbCr(r, image.YCbCrSubsampleRatio420)
	for i := range ycc.Y {
		ycc.Y[i] = uint8(rnd.IntN(256))
	}
	for i := range ycc.Cb {
		ycc.Cb[i], ycc.Cr[i] = 128, 128
	}
	rgba, nrgba, gray, wide := image.NewRGBA(r), image.NewNRGBA(r), image.NewGray(r), image.NewRGBA64(r)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			c := color.NRGBA{uint8(rnd.IntN(256)), uint8(rnd.IntN(256)), uint8(rnd.IntN(256)), 255}
			rgba.Set(x, y, c)
			nrgba.Set(x, y, c)
			gray.Set(x, y, c)
			wide.Set(x, y, c)
		}
	}
	for _, img := range []image.Image{ycc, ycc.SubImage(inner), rgba, rgba.SubImage(inner), nrgba, nrgba.SubImage(inner), gray, gray.SubImage(inner), wide} {
		got, b := Luma(img), img.Bounds()
		if got.Rect != image.Rect(0, 0, b.Dx(), b.Dy()) {
			t.Fatalf("%T: %v", img, got.Rect)
		}
		for y := range b.Dy() {
			for x := range b.Dx() {
				want := color.GrayModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.Gray).Y
				if g := got.GrayAt(x, y).Y; math.Abs(float64(g)-float64(want)) > 1 {
					t.Fatalf("%T at %d, %d: %d, want %d", img, x, y, g, want)
				}
			}
		}
	}
}

var rewrite = flag.Bool("rewrite", false, "render testdata/photos/opening.jpg and its question anew")

// The photo that is kept, with its question, says its true width of 24 mm. Other
// packages and the browser tests measure it too.
func TestKeptPhoto(t *testing.T) {
	t.Parallel()
	const photo, question = "../../testdata/photos/opening.jpg", "../../testdata/photos/opening.json"
	if *rewrite {
		s := still()
		rnd := rand.New(rand.NewPCG(24, 24))
		var b bytes.Buffer
		if err := jpeg.Encode(&b, s.shot(rnd), &jpeg.Options{Quality: 80}); err != nil {
			t.Fatal(err)
		}
		rim, _ := s.taps(rnd, 8, 1.5)
		text, err := json.Marshal(&Request{Rim: rim})
		if err != nil {
			t.Fatal(err)
		}
		for name, data := range map[string][]byte{photo: b.Bytes(), question: append(text, '\n')} {
			if err := os.WriteFile(name, data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	f, err := os.Open(photo)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(question)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := Ask(Luma(img), text)
	if err != nil || answer.Refusal != nil {
		t.Fatalf("%+v, %v", answer, err)
	}
	if r := answer.Result; math.Abs(r.Width-24) > min(.24, r.PlusMinus) || r.Code.Text != cardText {
		t.Errorf("%.3f ± %.3f mm of %s", r.Width, r.PlusMinus, r.Code.Text)
	}
}
