package server_test

import (
	"net/http"
	"strings"
	"testing"

	"warmhand/server/servertest"
)

// The answer is in the language that the request asks for, with what is kept said anew
// in it; who asks for none of ours is answered in English.
func TestLanguageOfAnswers(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	caseID, code := breeder.HandOver(breeder.NewAnimal())
	// Before somebody agrees to share anything it is said what, in words that they read.
	for language, want := range map[string]string{"": "The breeder sees", "de": "Der Züchter sieht"} {
		said := f.Page().Call("POST", "/v1/claims:lookUp", map[string]any{"claimCode": code}, "Accept-Language", language).OK().Get("sharing").([]any)
		if len(said) < 5 || !strings.HasPrefix(said[0].(string), want) {
			t.Errorf("%q: shared is %q", language, said)
		}
	}
	path := "/v1/breeders/b1/cases/" + caseID
	for language, want := range map[string][2]string{
		"":               {"Card not claimed yet.", "ball python"},
		"fr":             {"Card not claimed yet.", "ball python"},
		"de-AT,en;q=0.3": {"Karte noch nicht angenommen.", "Königspython"},
	} {
		got := breeder.Call("GET", path, nil, "Accept-Language", language).OK()
		if is := [2]string{got.Text("case", "headline"), got.Text("case", "commonName")}; is != want {
			t.Errorf("%q: %v, want %v", language, is, want)
		}
	}
	for language, want := range map[string]string{"": "Please sign in first.", "de": "Bitte melde dich zuerst an."} {
		if got := f.Page().Call("GET", path, nil, "Accept-Language", language); got.Status != http.StatusUnauthorized || got.Text("message") != want {
			t.Errorf("%q: %d %s, want %q", language, got.Status, got.Body, want)
		}
	}
	for language, want := range map[string]string{"": "28.5\u00a0g after 2.5\u00a0g looks like a slip.", "de": "28,5\u00a0g nach 2,5\u00a0g sieht nach einem Tippfehler aus."} {
		animal := breeder.NewAnimal()
		breeder.Weigh("b1", animal, 2.5)
		got := breeder.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId="+f.ID("entry"),
			map[string]any{"happenTime": f.Clock.Now(), "weighIn": map[string]any{"massG": 28.5}}, "Accept-Language", language)
		if !strings.HasPrefix(got.Text("message"), want) {
			t.Errorf("%q: %s, want %q", language, got.Body, want)
		}
	}
	if record := breeder.Call("GET", "/v1/breeders/b1/handovers/"+caseID, nil, "Accept-Language", "de").OK().Text("handover", "record", "feeding"); !strings.Contains(record, "Lass sie die ersten 5 bis 7 Tage in Ruhe") {
		t.Errorf("the record: %s", record)
	}
}

// What goes out without a request is in the language of whom it is for: the one in
// which they first came in, until they choose.
func TestLanguageOfThePerson(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("loam")
	_, code := page.HandOver(page.NewAnimal())
	keeper := f.Page()
	if got := keeper.Call("POST", "/v1/claims", map[string]any{"claimCode": code, "requestId": f.ID("claim")}, "Accept-Language", "de-AT,en;q=0.5"); got.Status != http.StatusOK {
		t.Fatalf("%d %s", got.Status, got.Body)
	}
	kept := func(p *servertest.Client, language string) string {
		t.Helper()
		return p.Call("GET", "/v1/me", nil, "Accept-Language", language).OK().Text("language")
	}
	calendar := func(language string) string {
		t.Helper()
		link := keeper.Call("POST", "/v1/keepers/me:createCalendarLink", map[string]any{}, "Accept-Language", language).OK().Text("link", "url")
		return string(f.Program("").Call("GET", strings.TrimPrefix(link, f.Server.Origin()), nil, "Accept-Language", "en").OK().Body)
	}
	if got := kept(keeper, "en"); got != "de" {
		t.Errorf("who claimed in German has the language %q", got)
	}
	if got := calendar("en"); !strings.Contains(got, "SUMMARY;LANGUAGE=de:") || !strings.Contains(got, "Es dauert keine Minute.") {
		t.Errorf("the calendar is not in German: %s", got)
	}
	if got := kept(page, "de"); got != "" {
		t.Errorf("a breeder who was never asked has the language %q", got)
	}
	hours := map[string]any{"zone": "UTC", "quietFrom": 1260, "quietUntil": 480, "morning": 420}
	for _, p := range []*servertest.Client{page, keeper} { // the first counts for who has none
		p.Call("POST", "/v1/me/reminders:setHours", map[string]any{"hours": hours}, "Accept-Language", "de").OK()
		if got := p.Call("POST", "/v1/me/reminders:setHours", map[string]any{"hours": hours}, "Accept-Language", "en").OK().Text("reminders", "language"); got != "de" {
			t.Errorf("the first settings keep %q", got)
		}
	}
	if got := keeper.Call("POST", "/v1/me:setLanguage", map[string]any{"language": "EN"}).OK().Text("language"); got != "en" {
		t.Errorf("the choice is kept as %q", got)
	}
	if got := keeper.Call("POST", "/v1/me:setLanguage", map[string]any{"language": "tlh"}); got.Status != http.StatusBadRequest || !strings.Contains(string(got.Body), "de (Deutsch)") {
		t.Errorf("%d %s", got.Status, got.Body)
	}
	if got := calendar("de"); !strings.Contains(got, "It takes under a minute.") || kept(page, "de") != "de" {
		t.Errorf("after the choice: %s", got)
	}
}
