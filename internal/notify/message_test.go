package notify

import (
	"encoding/json"
	"testing"

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
		"a question": {[]Told{ask}, onDevice{"Quill", "Did it eat?", keeper + "/offer", "c1",
			&logHere{"breeders/loam/cases/c1", "breeders/loam/animals/a1"}}},
		"the breeder wrote":  {[]Told{toKeeper}, onDevice{"Quill: your breeder wrote", "Open it to read.", keeper + "/thread", "wrote-c1", nil}},
		"the keeper wrote":   {[]Told{toBreeder}, onDevice{"Quill: its keeper wrote", "Open it to read and to answer.", breeder, "wrote-c1", nil}},
		"it rose":            {[]Told{rose}, onDevice{"Quill: step in", "Open it to see why, and what to do.", breeder, "c1", nil}},
		"questions":          {[]Told{ask, ask}, onDevice{"2 short questions", "Quill: Did it eat?\nQuill: Did it eat?", home, "told", nil}},
		"several rose":       {[]Told{rose, rose}, onDevice{"2 animals need you", "Quill: step in\nQuill: step in", home, "told", nil}},
		"message, question":  {[]Told{toKeeper, ask}, onDevice{"News of Quill", "Quill: your breeder wrote\nQuill: Did it eat?", home, "told", nil}},
		"rose, and it wrote": {[]Told{toBreeder, rose}, onDevice{"News of Quill", "Quill: its keeper wrote\nQuill: step in", home, "told", nil}},
	} {
		m := Message{Told: x.told, Home: home}
		text, _, err := m.ForDevice()
		if err != nil {
			t.Fatal(err)
		}
		if want, _ := json.Marshal(x.want); string(text) != string(want) {
			t.Errorf("%s:\n%s\nwant\n%s", name, text, want)
		}
	}
}
