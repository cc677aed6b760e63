package care

import (
	"slices"
	"strings"
	"testing"
)

func TestCheckPhrases(t *testing.T) {
	t.Parallel()
	got, err := CheckPhrases([]string{" Leave [animal] alone. ", "", "No place at all (really)"})
	if err != nil || !slices.Equal(got, []string{"Leave [animal] alone.", "No place at all (really)"}) {
		t.Errorf("%q, %v", got, err)
	}
	for field, list := range map[string][]string{
		"breeder.phrases[1]": {"fine", "Hello [name]"},
		"breeder.phrases[0]": {strings.Repeat("ä", PhraseLong+1)},
		"breeder.phrases":    slices.Repeat([]string{"again"}, MostPhrases+1),
	} {
		_, err := CheckPhrases(list)
		if e, ok := err.(*Error); !ok || len(e.Fields) != 1 || e.Fields[0].Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	for _, p := range PhrasePlaces {
		if _, err := CheckPhrases([]string{"[" + p + "]"}); err != nil {
			t.Error(err)
		}
	}
	if _, err := CheckPhrases([]string{strings.Repeat("ä", PhraseLong)}); err != nil {
		t.Error(err)
	}
}
