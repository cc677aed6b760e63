package notify

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/words"
)

// What stands on a device for whom it is: where it leads, and what takes its place.
func TestOnADevice(t *testing.T) {
	t.Parallel()
	c := care.Case{BreederID: "loam", ID: "c1", AnimalID: "a1", Standing: care.StepIn}
	keeper, breeder := "https://w.example/k/loam/c1", "https://w.example/b/cases/c1"
	ask := Told{Animal: "Quill", Case: c, Link: keeper, CheckIn: &assess.CheckIn{Ask: assess.AskFood, Question: words.Say("Did it eat?")}}
	toKeeper := Told{Animal: "Quill", Case: c, Link: keeper, Wrote: care.BreederOwner}
	toBreeder := Told{Animal: "Quill", Case: c, Link: breeder, Wrote: care.KeeperActor}
	rose := Told{Animal: "Quill", Case: c, Link: breeder}
	home := "https://w.example/home"
	for name, x := range map[string]struct {
		told []Told
		want onDevice
	}{
		"a question": {[]Told{ask}, onDevice{"Quill", "Did it eat?", keeper + "/offer", "c1", "en",
			&logHere{"breeders/loam/cases/c1", "breeders/loam/animals/a1"}}},
		"the breeder wrote":  {[]Told{toKeeper}, onDevice{"Quill: your breeder wrote", "Open it to read.", keeper + "/thread", "wrote-c1", "en", nil}},
		"the keeper wrote":   {[]Told{toBreeder}, onDevice{"Quill: its keeper wrote", "Open it to read and to answer.", breeder, "wrote-c1", "en", nil}},
		"it rose":            {[]Told{rose}, onDevice{"Quill: step in", "Open it to see why, and what to do.", breeder, "c1", "en", nil}},
		"questions":          {[]Told{ask, ask}, onDevice{"2 short questions", "Quill: Did it eat?\nQuill: Did it eat?", home, "told", "en", nil}},
		"several rose":       {[]Told{rose, rose}, onDevice{"2 animals need you", "Quill: step in\nQuill: step in", home, "told", "en", nil}},
		"message, question":  {[]Told{toKeeper, ask}, onDevice{"News of Quill", "Quill: your breeder wrote\nQuill: Did it eat?", home, "told", "en", nil}},
		"rose, and it wrote": {[]Told{toBreeder, rose}, onDevice{"News of Quill", "Quill: its keeper wrote\nQuill: step in", home, "told", "en", nil}},
	} {
		m := Message{In: words.English, Told: x.told, Home: home}
		text, _, err := m.ForDevice()
		if err != nil {
			t.Fatal(err)
		}
		if want, _ := json.Marshal(x.want); string(text) != string(want) {
			t.Errorf("%s:\n%s\nwant\n%s", name, text, want)
		}
	}
}

// Everything that comes to a person is in their language, in each of the three packings.
func TestInTheirLanguage(t *testing.T) {
	t.Parallel()
	german, ok := words.ByTag("de")
	if !ok {
		t.Fatal("there is no German")
	}
	question := words.Say("What does it weigh now?")
	check := assess.CheckIn{ID: "rhythm-7-1", Ask: assess.AskWeight, Question: question}
	morning := Message{In: german, Home: "https://w.example/b", Logged: 1,
		News: []News{{"Quill", "https://w.example/b/cases/c1", words.Say("Its keeper wrote.")}, {"Moss", "", words.Say("Card not claimed yet.")}, {Animal: ""}, {Animal: "Larch"}, {Animal: "Fen"}}}
	for name, x := range map[string]struct {
		m                          Message
		title, body, subject, mail string
	}{
		"a question": {Message{In: german, Told: []Told{{Link: "https://w.example/k/loam/c1", CheckIn: &check}}},
			"Deine Schlange", german.Say(question), "Deine Schlange: " + german.Say(question), "Es dauert keine Minute."},
		"it rose": {Message{In: german, Told: []Told{{Animal: "Quill", Case: care.Case{Standing: care.Vet, Headline: words.Count("Has not eaten for {n} day.", "Has not eaten for {n} days.", 31)}}}},
			"Quill: ein Fall für den Tierarzt", "Öffne es jetzt und sag dem Halter, was zu tun ist.", "Quill: ein Fall für den Tierarzt", "Öffne es jetzt"},
		"the morning": {morning, "Heute Morgen", "Neues: Quill, Moss, Deine Schlange und 2 weitere. Bei 1 Tier wurde etwas eingetragen.", "Heute Morgen: 6 Tiere", "Der Halter hat geschrieben."},
	} {
		text, _, err := x.m.ForDevice()
		var got onDevice
		if err == nil {
			err = json.Unmarshal(text, &got)
		}
		if err != nil || got.Title != x.title || got.Body != x.body || got.Lang != "de" {
			t.Errorf("%s, on a device: %s, %v", name, text, err)
		}
		l, err := x.m.ByMail("robin@example.org", "https://w.example/mail/stop/x")
		if err != nil || l.Subject != x.subject || !strings.Contains(l.HTML, `<html lang="de">`) {
			t.Errorf("%s, by mail: %+v, %v", name, l, err)
		}
		for kind, body := range map[string]string{"text": l.Text, "page": l.HTML} {
			for _, want := range []string{x.mail, "Du bekommst das, weil", "Hier abbestellen"} {
				if !strings.Contains(body, want) {
					t.Errorf("%s: the %s of the mail does not say %q:\n%s", name, kind, want, body)
				}
			}
		}
	}
	file := string(Calendar([]Followed{{Case: care.Case{ID: "c1"}, CheckIns: []assess.CheckIn{check}}}, time.Unix(0, 0), german))
	if !strings.Contains(file, "SUMMARY;LANGUAGE=de:Deine Schlange: ") || !strings.Contains(file, "DESCRIPTION;LANGUAGE=de:Es dauert keine Minute.") {
		t.Error(file)
	}
}
