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
	caseID, _ := breeder.HandOver(breeder.NewAnimal())
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
	if record := breeder.Call("GET", "/v1/breeders/b1/handovers/"+caseID, nil, "Accept-Language", "de").OK().Text("handover", "record", "feeding"); !strings.Contains(record, "Lass sie die ersten 5 bis 7 Tage in Ruhe") {
		t.Errorf("the record: %s", record)
	}
}
