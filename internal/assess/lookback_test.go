package assess

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
)

func TestLookBacks(t *testing.T) {
	t.Parallel()
	t0 := time.Date(2026, 9, 1, 18, 0, 0, 0, time.UTC)
	on := func(day int, b care.Body) care.Entry {
		return care.Entry{ID: string(b.Kind()) + strconv.Itoa(day), HappenedAt: t0.AddDate(0, 0, day), Body: b}
	}
	offer := func(r care.OfferResult) care.Body { return care.Offer{Result: r} }
	step := care.StepAgreed{Code: StepInPeace, HoldsDays: 7}
	withdrawn := on(21, offer(care.Eaten))
	withdrawn.ReplacedBy = "x"
	log := []care.Entry{
		on(-3, offer(care.Eaten)), // at the breeder's
		on(1, offer(care.Refused)), on(6, offer(care.Struck)), on(8, care.WeighIn{Mass: 100}), on(11, offer(care.Refused)),
		on(12, step),
		on(20, offer(care.Eaten)), withdrawn, on(22, care.WeighIn{Mass: 90}), on(24, offer(care.Eaten)), on(25, offer(care.Eaten)), on(26, offer(care.Regurgitated)),
		on(30, care.StepAgreed{Code: StepWarmUp}),
	}
	list := LookBacks(log, t0, t0.AddDate(0, 0, 29)) // the second step is not known yet
	if len(list) != 1 {
		t.Fatalf("%d looks", len(list))
	}
	l := list[0]
	if l.Before != (Fed{0, 3}) || l.After != (Fed{2, 3}) || l.Code != StepInPeace || !l.HeldUntil.Equal(t0.AddDate(0, 0, 19)) {
		t.Errorf("%+v", l)
	}
	// Fisher's exact test by hand: of 6 offers 2 were eaten, both among the last
	// three: C(3,2)·C(3,0)/C(6,2) = 3/15.
	if math.Abs(l.Chance-3./15) > 1e-12 {
		t.Errorf("chance %v", l.Chance)
	}
	pct, within, ok := l.Change()
	if !ok || math.Abs(pct+10) > 1e-9 || within < 5 || within > 9 {
		t.Errorf("changed by %v ± %v, %v", pct, within, ok)
	}
	text := l.Text()
	for _, want := range []string{"Before: 0 meals from 3 offers.", "Since then: 2 meals from 3 offers.", "about once in 5 times", "−10.0 % in 14 days", "It has lost.", "need not have come from it"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%q lacks %q", text, want)
		}
	}

	// Fewer meals than before: of 6 offers 1 was refused, and it is the last.
	fewer := LookBacks([]care.Entry{on(1, offer(care.Eaten)), on(2, offer(care.Eaten)), on(3, offer(care.Eaten)), on(4, offer(care.Eaten)), on(5, offer(care.Eaten)),
		on(6, step), on(12, offer(care.Refused))}, t0, t0.AddDate(0, 0, 13))
	if math.Abs(fewer[0].Chance-1./6) > 1e-12 {
		t.Errorf("chance of as few %v", fewer[0].Chance)
	}

	// Of two steps the first is looked at up to the second, and the second from the
	// first on; the newest stands first.
	list = LookBacks(append(log, on(33, offer(care.Eaten))), t0, t0.AddDate(0, 0, 40))
	if len(list) != 2 || list[0].Code != StepWarmUp || list[1].After != (Fed{2, 3}) || list[0].Before != (Fed{2, 3}) || list[0].After != (Fed{1, 1}) {
		t.Errorf("%+v", list)
	}
}

func TestLookBackSaysHowLittleItKnows(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		l    LookBack
		want string
	}{
		{LookBack{Before: Fed{0, 3}, Chance: 1}, "Nothing was offered and nothing weighed since"},
		{LookBack{After: Fed{1, 1}, Chance: 1}, "nothing from before to compare"},
		{LookBack{Before: Fed{2, 2}, After: Fed{1, 2}, Chance: .5}, "It eats less often, but so few offers cannot tell that from chance: as much comes up about once in 2 times"},
		{LookBack{Before: Fed{1, 9}, After: Fed{0, 1}, Chance: .9}, "It eats less often, but so few offers cannot tell that from chance."},
		{LookBack{Before: Fed{9, 9}, After: Fed{1, 5}, Chance: 5. / 1001}, "It eats less often, and by chance alone that comes up less than once in 200 times."},
		{LookBack{Before: Fed{1, 2}, After: Fed{1, 2}, Chance: .8}, "the same as before"},
		{LookBack{Before: Fed{0, 5}, After: Fed{5, 5}, Chance: 1. / 252}, "less than once in 252 times"},
		{LookBack{MassBefore: 100, MassAfter: 103}, "less than two weights of the same animal may differ by"},
		{LookBack{MassBefore: 100, MassAfter: 115}, "It has gained."},
	} {
		if got := x.l.Text().String(); !strings.Contains(got, x.want) {
			t.Errorf("%+v: %q, not %q", x.l, got, x.want)
		}
	}
}
