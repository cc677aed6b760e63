package assess_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// stocked writes the log of an animal in the stock book; days count back from
// readyNow.
type stocked struct {
	animal care.Animal
	log    []care.Entry
	mates  []assess.Weighed
}

var readyNow = time.Date(2026, 11, 20, 12, 0, 0, 0, time.UTC)

func before(days float64) time.Time {
	return readyNow.Add(-time.Duration(days * 24 * float64(time.Hour)))
}

func (s *stocked) add(days float64, b care.Body) *stocked {
	s.log = append(s.log, care.Entry{ID: fmt.Sprint(len(s.log)), HappenedAt: before(days), Body: b})
	return s
}

// grown is a young ball python that meets every point of the rule by little:
// the numbers are those of the table, written out.
func grown(genes ...string) *stocked {
	hatched := before(60)
	s := &stocked{animal: care.Animal{Species: "python_regius", Hatched: &hatched, Genes: genes}}
	s.add(58, care.WeighIn{Mass: 60}).add(48, care.Shed{Stage: care.ShedDone, Complete: new(true)})
	for _, days := range []float64{28, 21, 14} {
		s.add(days, care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 7})
	}
	return s.add(3, care.WeighIn{Mass: 72})
}

func (s *stocked) at(mass care.Grams, days float64) *stocked {
	s.mates = append(s.mates, assess.Weighed{Mass: mass, At: before(days)})
	return s
}

// The rule by its own words (tables.json, "ready": common practice, no
// standard is published): each case breaks or meets one point, and the point
// says what is missing.
func TestReady(t *testing.T) {
	t.Parallel()
	eaten, refused := care.Offer{Result: care.Eaten, Prey: "rat"}, care.Offer{Result: care.Refused, Prey: "rat"}
	for _, c := range []struct {
		name    string
		of      *stocked
		code    string
		verdict assess.ReadyVerdict
		missing string
		text    string
	}{
		{"all is met", grown(), "meals", assess.Met, "", "It ate 3 times in a row, the last 14 days ago."},
		{"a refusal", grown().add(1, refused), "meals", assess.NotYet, "three meals in a row", "It did not eat yesterday."},
		{"one meal since", grown().add(10, refused).add(4, eaten), "meals", assess.NotYet, "two more meals in a row", "It ate 4 days ago."},
		{"two meals since", grown().add(12, refused).add(8, eaten).add(4, eaten), "meals", assess.NotYet, "one more meal", "It ate twice in a row"},
		{"two mice of one evening", grown().add(12, refused).add(8, eaten).add(4, eaten).add(3.9, eaten), "meals", assess.NotYet, "one more meal", ""},
		{"it came up", grown().add(2, care.Offer{Result: care.Regurgitated}), "meals", assess.NotYet, "three meals in a row", "It brought its food up 2 days ago."},
		{"struck and let go", grown().add(2, care.Offer{Result: care.Struck}), "meals", assess.NotYet, "three meals in a row", "It did not eat"},
		// 7 days between offers of a hatchling at most, two of these.
		{"no meal for long", func() *stocked {
			s := grown()
			for i := range s.log {
				if _, ok := s.log[i].Body.(care.Offer); ok {
					s.log[i].HappenedAt = s.log[i].HappenedAt.AddDate(0, 0, -2)
				}
			}
			return s
		}(), "last_meal", assess.NotYet, "a meal soon", "for 16 days"},
		{"too young", func() *stocked { s := grown(); h := before(41.5); s.animal.Hatched = &h; return s }(), "age", assess.NotYet, "one day more", "It hatched 41 days ago."},
		{"old enough", func() *stocked { s := grown(); h := before(42); s.animal.Hatched = &h; return s }(), "age", assess.Met, "", "It hatched 42 days ago."},
		{"no day of hatching", func() *stocked { s := grown(); s.animal.Hatched = nil; return s }(), "age", assess.NotYet, "the day when it hatched", ""},
		{"grown, no day of hatching", func() *stocked {
			s := grown().add(1, care.WeighIn{Mass: 900})
			s.animal.Hatched = nil
			return s
		}(), "age", assess.Met, "", "no hatchling"},
		{"1.1 times at hatching", grown().add(1, care.WeighIn{Mass: 66}), "weight", assess.Met, "", "It weighs 66 g (2.3 oz), weighed yesterday. That is 1.1 times its weight at hatching, 60 g (2.1 oz)."},
		{"less", grown().add(1, care.WeighIn{Mass: 65.9}), "weight", assess.NotYet, "66 g (2.3 oz)", ""},
		{"not weighed at hatching", func() *stocked { s := grown().add(1, care.WeighIn{Mass: 62}); s.log = s.log[1:]; return s }(), "weight", assess.NotYet, "66 g (2.3 oz)", "what is typical at hatching, 60 g"},
		{"an old weight", func() *stocked { s := grown(); s.log = s.log[:len(s.log)-1]; return s.add(31, care.WeighIn{Mass: 70}) }(), "weight", assess.NotYet, "a new weight", "31 days ago"},
		{"never weighed", func() *stocked { s := grown(); s.log = s.log[1 : len(s.log)-1]; return s }(), "weight", assess.NotYet, "a weight", "No recent weight"},
		{"0.7 of its clutch", grown().at(98, 2).at(102, 4).at(500, 40), "clutch", assess.Met, "", "100 g (3.5 oz) in the middle of two others"},
		{"below its clutch", grown().at(104, 2).at(103, 4).at(90, 3), "clutch", assess.NotYet, "73 g (2.6 oz), as its clutch stands now", "70 % of the middle of its clutch, 103 g (3.6 oz) in three others"},
		{"never shed", func() *stocked { s := grown(); s.log = append(s.log[:1:1], s.log[2:]...); return s }(), "shed", assess.NotYet, "its first shed", "No shed"},
		{"in blue", grown().add(14, care.Shed{Stage: care.Opaque}), "shed", assess.NotYet, "the shed to be over", "A shed is coming"},
		{"in blue long ago", grown().add(15.1, care.Shed{Stage: care.Opaque}), "shed", assess.Met, "", "in one piece"},
		{"in pieces", grown().add(5, care.Shed{Stage: care.ShedDone, Complete: new(false)}), "shed", assess.NotYet, "a look that nothing is left on it, or its next shed", "in pieces"},
		{"a sign", grown().add(200, care.Sign{Code: "mites"}), "sign:mites", assess.NotYet, "the sign to be gone, and logged so", "logged 200 days ago"},
		{"a sign that is gone", grown().add(20, care.Sign{Code: "mites"}).add(9, care.Sign{Code: "mites", Gone: true}), "sign:none", assess.Met, "", ""},
		{"a sign for the vet, gone since today", grown().add(20, care.Sign{Code: "wheeze"}).add(0, care.Sign{Code: "wheeze", Gone: true}), "sign:wheeze", assess.NotYet, "without it", "come and go"},
		{"a wobble that no gene explains", grown("pastel").add(9, care.Sign{Code: "wobble"}), "sign:wobble", assess.NotYet, "a reptile vet's look", "the buyer must hear it"},
		{"a wobble that a gene explains", grown("spider").add(9, care.Sign{Code: "wobble"}), "sign:wobble", assess.TellBuyer, "", "no reason to hide it"},
		{"a gene with a wobble", grown("Spider"), "wobble", assess.TellBuyer, "", "the buyer must hear it before buying"},
		{"a gene with a reported wobble", grown("woma"), "wobble", assess.TellBuyer, "", "breeders report"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := assess.Ready(&c.of.animal, inTime(c.of.log), c.of.mates, readyNow)
			held := false
			var got *assess.ReadyPoint
			for i := range r.Points {
				p := &r.Points[i]
				held = held || p.Verdict == assess.NotYet
				if p.Code == c.code {
					got = p
				}
				if p.Text.String() == "" || p.Source == "" || (p.Missing.String() != "") != (p.Verdict == assess.NotYet) {
					t.Errorf("%+v", *p)
				}
			}
			if r.Ready == held {
				t.Errorf("ready %t beside %+v", r.Ready, r.Points)
			}
			if got == nil || got.Verdict != c.verdict || !strings.Contains(got.Text.String(), c.text) {
				t.Fatalf("%s: %+v", c.code, r.Points)
			}
			if got.Missing.String() != c.missing && (c.missing != "without it" || !strings.HasSuffix(got.Missing.String(), c.missing)) {
				t.Errorf("missing %q, want %q", got.Missing, c.missing)
			}
			if c.verdict != assess.NotYet && !r.Ready {
				t.Errorf("held back: %+v", r.Points)
			}
		})
	}
}

func inTime(log []care.Entry) []care.Entry {
	for i := range log {
		for j := i; j > 0 && log[j].HappenedAt.Before(log[j-1].HappenedAt); j-- {
			log[j], log[j-1] = log[j-1], log[j]
		}
	}
	return log
}

// What was taken back or corrected, and what lies ahead, does not count.
func TestReadyReadsWhatCounts(t *testing.T) {
	t.Parallel()
	s := grown().add(1, care.Offer{Result: care.Refused}).add(-1, care.Sign{Code: "mites"})
	s.log[len(s.log)-2].ReplacedBy = "x"
	if r := assess.Ready(&s.animal, s.log, nil, readyNow); !r.Ready {
		t.Errorf("%+v", r.Points)
	}
	// A grown animal is asked for one meal, and for nothing of a hatchling's.
	hatched := before(1500)
	old := &stocked{animal: care.Animal{Species: "python_regius", Hatched: &hatched}}
	old.add(12, care.Offer{Result: care.Refused}).add(6, care.Offer{Result: care.Eaten}).add(5, care.WeighIn{Mass: 1400}).at(3000, 5).at(3000, 5)
	r := assess.Ready(&old.animal, old.log, old.mates, readyNow)
	if !r.Ready || len(r.Points) != 4 {
		t.Errorf("%+v", r.Points)
	}
	// Nothing on record at all: each point says what it wants, in any species.
	for _, sp := range append(snake.All(), snake.Species{ID: care.OtherSnake}) {
		if r := assess.Ready(&care.Animal{Species: sp.ID}, nil, nil, readyNow); r.Ready || len(r.Points) != 4 || r.Points[0].Missing.String() != "three meals in a row" {
			t.Errorf("%s: %+v", sp.ID, r.Points)
		}
	}
}

// "Yesterday" is before last midnight where the breeder is, as people say it.
func TestReadyCountsNights(t *testing.T) {
	t.Parallel()
	west := time.FixedZone("west", -10*3600)
	for _, c := range []struct {
		days float64
		zone *time.Location
		want string
	}{
		{.3, time.UTC, "weighed today."}, {.3, west, "weighed yesterday."},
		{.6, time.UTC, "weighed yesterday."},
		{1.6, time.UTC, "weighed 2 days ago."}, {1.4, time.UTC, "weighed yesterday."},
	} {
		s := grown().add(c.days, care.WeighIn{Mass: 72})
		var said []string
		for _, p := range assess.Ready(&s.animal, s.log, nil, readyNow.In(c.zone)).Points {
			said = append(said, p.Text.String())
		}
		if all := strings.Join(said, " "); !strings.Contains(all, c.want) {
			t.Errorf("%v days in %v: %s", c.days, c.zone, all)
		}
	}
}

// When food is due again, by the rows offer_every (from) of tables.json for the ball python (care sheets), offering
// again and offering rest: common practice, no source.
func TestOfferAgain(t *testing.T) {
	t.Parallel()
	offered := func(r care.OfferResult) *care.Entry {
		return &care.Entry{HappenedAt: before(3), Body: care.Offer{Result: r, Prey: "rat"}}
	}
	hatched := before(400)
	for _, c := range []struct {
		name    string
		species string
		mass    care.Grams
		last    *care.Entry
		want    int
	}{
		{"a hatchling that ate", "python_regius", 80, offered(care.Eaten), 5},
		{"a grown one that ate", "python_regius", 1800, offered(care.Eaten), 14},
		{"a hatchling that refused", "python_regius", 80, offered(care.Refused), 7},
		{"one that let go", "python_regius", 1800, offered(care.Struck), 7},
		{"one whose food came up", "python_regius", 80, offered(care.Regurgitated), 14},
		{"never offered any", "python_regius", 80, nil, 5},
		{"never weighed: by its age", "python_regius", 0, offered(care.Eaten), 7},
	} {
		a := care.Animal{Species: c.species, Hatched: &hatched}
		if got := assess.OfferAgain(&a, c.mass, c.last, readyNow); got != c.want {
			t.Errorf("%s: due again after %d days, want %d", c.name, got, c.want)
		}
	}
}
