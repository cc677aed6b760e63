package server_test

import (
	"strings"
	"testing"
	"time"

	"warmhand/internal/print/printtest"
	"warmhand/server/servertest"
)

// A link opens the letter to whoever has it until it is ended, is too old, or
// its maker has lost the case, and every opening is a look.
func TestLetterLink(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		caseID, code := breeder.HandOver(breeder.NewAnimal())
		keeper := f.Page()
		keeper.Claim(code).OK()
		name := "/v1/breeders/b1/cases/" + caseID
		stranger := f.Page()
		secret := func(url string) string { _, s, _ := strings.Cut(url, "/v#"); return s }
		open := func(secret string) *servertest.Answer {
			return stranger.Call("POST", "/v1/vet-letter.pdf", map[string]any{"secret": secret, "paper": "letter"})
		}
		gone := func(a *servertest.Answer) {
			t.Helper()
			if a.Status != 404 || !strings.Contains(string(a.Body), "opens no letter") {
				t.Errorf("what opens no letter answers %d %s", a.Status, a.Body)
			}
		}

		theirs := secret(keeper.Call("POST", name+":createLetterLink", map[string]any{"concern": "It wheezes."}).OK().Text("url"))
		ours := secret(breeder.Call("POST", name+":createLetterLink", map[string]any{}).OK().Text("url"))
		pdf := open(theirs).OK()
		if text := printtest.Text(t, pdf.Body); !strings.Contains(text, "It wheezes.") {
			t.Errorf("the letter says %s", text)
		}
		for header, want := range map[string]string{"Content-Type": "application/pdf", "Cache-Control": "no-store", "X-Robots-Tag": "noindex"} {
			if got := pdf.Header.Get(header); got != want {
				t.Errorf("%s is %q", header, got)
			}
		}
		if text := printtest.Text(t, open(ours).OK().Body); strings.Contains(text, "It wheezes.") {
			t.Error("one link's words stand in another's letter")
		}
		german := stranger.Call("POST", "/v1/vet-letter.pdf", map[string]any{"secret": theirs}, "Accept-Language", "de").OK()
		if text := printtest.Text(t, german.Body); !strings.Contains(text, "Für den reptilienkundigen Tierarzt") {
			t.Errorf("whoever opens it in German reads %s", text)
		}
		gone(open(theirs + "x"))
		gone(open(""))

		// Both see both links, and the secrets of neither.
		for who, list := range map[string]string{"keeper": string(keeper.Call("GET", name+"/letterLinks", nil).OK().Body), "breeder": string(breeder.Call("GET", name+"/letterLinks", nil).OK().Body)} {
			if strings.Count(list, `"id"`) != 2 || strings.Count(list, `"byKeeper":true`) != 1 || strings.Contains(list, "whv_") {
				t.Errorf("the %s's list is %s", who, list)
			}
		}
		looks := string(keeper.Call("GET", name+"/looks", nil).OK().Body)
		if strings.Count(looks, "LOOK_KIND_LETTER") != 2 || !strings.Contains(looks, `"count":2`) {
			t.Errorf("the keeper's list of looks is %s", looks)
		}

		// Others' cases have no links.
		other := f.NewBreeder("b2")
		for _, c := range []*servertest.Client{other, f.Page()} {
			if c.Call("POST", name+":createLetterLink", map[string]any{}).Status < 400 || c.Call("GET", name+"/letterLinks", nil).Status < 400 {
				t.Error("a stranger got at the links of a case")
			}
		}

		id := keeper.Call("GET", name+"/letterLinks", nil).OK().Get("links").([]any)[0].(map[string]any)["id"]
		keeper.Call("POST", name+":endLetterLink", map[string]any{"id": id}).OK()
		gone(open(ours))
		open(theirs).OK()
		f.Clock.Advance(time.Hour)
		ours = secret(breeder.Call("POST", name+":createLetterLink", map[string]any{}).OK().Text("url"))
		f.Clock.Advance(14*24*time.Hour - time.Minute)
		gone(open(theirs))
		open(ours).OK()

		late := secret(keeper.Call("POST", name+":createLetterLink", map[string]any{}).OK().Text("url"))
		open(late).OK()
		keeper.Call("POST", "/v1/keepers/me:leave", map[string]any{"confirm": "leave"}).OK()
		gone(open(late))
	})
}
