package care

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// PhrasePlaces are the places for an animal's facts that a phrase may have, each
// written in square brackets. The web app fills them in, where the breeder sees
// the whole text before it is sent.
var PhrasePlaces = []string{"animal", "keeper", "species", "day", "days since the last meal", "last weight", "next step", "breeder"}

// How many phrases there may be, and how long each, in characters.
const (
	MostPhrases = 40
	PhraseLong  = 1000
)

var place = regexp.MustCompile(`\[([^\[\]]*)\]`)

// CheckPhrases checks a breeder's phrases and returns them as they are kept,
// without the empty ones. A place that nobody knows is refused, since it would be
// sent as it stands.
func CheckPhrases(list []string) ([]string, error) {
	var out []string
	for i, p := range list {
		field := fmt.Sprintf("breeder.phrases[%d]", i)
		if p = strings.TrimSpace(p); p == "" {
			continue
		}
		if n := len([]rune(p)); n > PhraseLong {
			return nil, BadField(field, "This phrase has {n} characters. Keep it to {most}.", n, PhraseLong)
		}
		for _, m := range place.FindAllStringSubmatch(p, -1) {
			if !slices.Contains(PhrasePlaces, m[1]) {
				return nil, BadField(field, "[{place}] is none of the places that a phrase may have. Choose one of those beside it, or take the brackets out.", m[1])
			}
		}
		out = append(out, p)
	}
	if len(out) > MostPhrases {
		return nil, BadField("breeder.phrases", "These are {n} phrases. Keep it to {most}, so that one is found quickly.", len(out), MostPhrases)
	}
	return out, nil
}
