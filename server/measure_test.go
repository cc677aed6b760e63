package server_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"testing"
	"time"

	"github.com/boombuler/barcode/qr"

	"warmhand/server/servertest"
)

// cardAndHole is a photo from straight above at 10 pixels a mm: a card's code,
// 32 mm wide, and a round hole beside it.
func cardAndHole(t testing.TB, holeMM float64, text string) []byte {
	t.Helper()
	q, err := qr.Encode(text, qr.M, qr.Unicode)
	if err != nil {
		t.Fatal(err)
	}
	n := float64(q.Bounds().Dx())
	m := image.NewGray(image.Rect(0, 0, 1200, 900))
	for y := range 900 {
		for x := range 1200 {
			v := 0.
			for _, d := range [4][2]float64{{.25, .25}, {.75, .25}, {.25, .75}, {.75, .75}} { // edges are soft in photos
				px, py := float64(x)+d[0], float64(y)+d[1]
				w := 225.
				if math.Hypot(px-850, py-450) < 5*holeMM {
					w = 40
				}
				if cx, cy := (px-200)/320*n, (py-290)/320*n; cx >= 0 && cx < n && cy >= 0 && cy < n && q.At(int(cx), int(cy)) == color.Black {
					w = 30
				}
				v += w / 4
			}
			m.Pix[y*m.Stride+x] = uint8(v)
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 85}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestMeasuredInAPhoto: the service measures anew what the phone measured, and
// what it finds reaches the assessment with its error.
func TestMeasuredInAPhoto(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		animal := breeder.NewAnimal()
		breeder.Weigh("b1", animal, 540)
		caseID, code := breeder.HandOver(animal)
		keeper := f.Page()
		keeper.Claim(code).OK()
		_, other := breeder.HandOver(breeder.NewAnimal())
		stranger := f.Page()
		stranger.Claim(other).OK()
		of := "/v1/breeders/b1/cases/" + caseID
		f.Clock.Advance(time.Hour)
		keeper.Call("PUT", of+"/photos/photo-1", cardAndHole(t, 30, "HTTPS://EXAMPLE.ORG/C/0123456789"), "Content-Type", "image/jpeg").OK()
		rim := func(radius float64) (list []map[string]any) {
			for i := range 8 {
				sin, cos := math.Sincos(float64(i) * math.Pi / 4)
				list = append(list, map[string]any{"x": 850 + radius*cos, "y": 450 + radius*sin})
			}
			return list
		}
		n := 0
		send := func(who *servertest.Client, answer map[string]any) *servertest.Answer {
			n++
			return who.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId="+fmt.Sprintf("measured-entry-%d", n), map[string]any{
				"happenTime": f.Clock.Now(), "case": of[4:], "setup": map[string]any{"answers": []any{answer}}})
		}
		taps := map[string]any{"photo": "photo-1", "rim": rim(151)}
		got := send(keeper, map[string]any{"point": "decor_openings", "choice": "all_wide", "measureMm": 99, "photos": []string{"photo-1"}, "taps": taps}).OK()
		a := got.Get("entry", "setup", "answers").([]any)[0].(map[string]any)
		width, sd := a["measureMm"].(float64), a["measureSdMm"].(float64)
		if math.Abs(width-30) > 2*sd || sd <= 0 || sd > 2 {
			t.Errorf("measured %v mm, standard deviation %v: want 30", width, sd)
		}
		again := keeper.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId=measured-entry-1", map[string]any{
			"happenTime": f.Clock.Now(), "case": of[4:], "setup": map[string]any{"answers": []any{
				map[string]any{"point": "decor_openings", "choice": "all_wide", "photos": []string{"photo-1"}, "taps": taps}}}}).OK()
		if !bytes.Equal(again.Body, got.Body) {
			t.Errorf("a repeat got %s", again.Body)
		}
		if course := breeder.Call("GET", of, nil).OK(); !bytes.Contains(course.Body, []byte("setup:decor_openings")) || !bytes.Contains(course.Body, []byte("± ")) {
			t.Errorf("the width did not reach the assessment: %s", course.Body)
		}
		for name, answer := range map[string]map[string]any{
			"taps on nothing":     {"point": "decor_openings", "choice": "all_wide", "taps": map[string]any{"photo": "photo-1", "rim": rim(0)}},
			"a photo not there":   {"point": "decor_openings", "choice": "all_wide", "taps": map[string]any{"photo": "photo-2", "rim": rim(151)}},
			"a point of no width": {"point": "hides", "choice": "one", "taps": taps},
			"too few taps":        {"point": "decor_openings", "choice": "all_wide", "taps": map[string]any{"photo": "photo-1", "rim": rim(151)[:3]}},
		} {
			got := send(keeper, answer)
			if reason, fields, _ := got.Problem(); got.Status != 400 || reason != "BAD_FIELD" || len(fields) == 0 {
				t.Errorf("%s: %d %s", name, got.Status, got.Body)
			}
		}
		if got := send(stranger, map[string]any{"point": "decor_openings", "choice": "all_wide", "taps": taps}); got.Status == 200 {
			t.Errorf("a stranger measures: %s", got.Body)
		}
		// The breeder measures in the same photo, to the same width.
		got = send(breeder, map[string]any{"point": "decor_openings", "choice": "about_body", "taps": taps}).OK()
		if a := got.Get("entry", "setup", "answers").([]any)[0].(map[string]any); a["measureMm"] != width {
			t.Errorf("the breeder measured %v, the keeper %v", a["measureMm"], width)
		}

		// Whose card lies in it.
		for id, code := range map[string]string{"with-own-card": code, "with-others-card": other} {
			keeper.Call("PUT", of+"/photos/"+id, cardAndHole(t, 30, f.Server.ClaimURL(code)), "Content-Type", "image/jpeg").OK()
			card := breeder.Call("GET", of+"/photos/"+id+":readCard", nil).OK()
			if own := card.Get("case") == of[4:]; card.Get("found") != true || own != (code != other) || card.Get("case") == "" || card.Get("animalName") == "" {
				t.Errorf("%s: %v", id, card)
			}
			breeder.Call("POST", of+"/photos/"+id+":lookAt", map[string]any{}).OK()
		}
		if card := breeder.Call("GET", of+"/photos/photo-1:readCard", nil).OK(); card.Get("found") != true || card.Get("case") != "" {
			t.Errorf("another's code: %v", card)
		}
		if got := keeper.Call("GET", of+"/photos/photo-1:readCard", nil); got.Status < 400 {
			t.Errorf("a keeper read a card: %v", got)
		}

		// The review by wire.
		list := breeder.Call("GET", "/v1/breeders/b1/newPhotos", nil).OK().Get("photos").([]any)
		if len(list) != 1 || list[0].(map[string]any)["answer"].(map[string]any)["point"] != "decor_openings" {
			t.Fatalf("new photos: %v", list)
		}
		if got := keeper.Call("GET", "/v1/breeders/b1/newPhotos", nil); got.Status != 403 && got.Status != 401 {
			t.Errorf("a keeper's list of new photos: %d", got.Status)
		}
		breeder.Call("POST", of+"/photos/photo-1:lookAt", map[string]any{}).OK()
		if list, _ := breeder.Call("GET", "/v1/breeders/b1/newPhotos", nil).OK().Get("photos").([]any); len(list) != 0 {
			t.Errorf("after the look: %v", list)
		}
	})
}
