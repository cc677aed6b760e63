package followup_test

import (
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
)

// What keepers logged is counted, a meal that came up again is not; and nobody
// else's sales are.
func TestInsight(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	for i := range 6 {
		a := p.animal(t)
		_, code, err := p.CreateHandover(t.Context(), p.loam, t0, followup.HandoverDraft{BreederID: "loam", AnimalID: a.ID, ShowDay: "Fernhollow", RequestID: p.id("request")})
		if err != nil {
			t.Fatal(err)
		}
		if i == 5 {
			continue // never claimed
		}
		keeper, v := p.claim(t, code, t0.Add(time.Hour))
		p.log(t, keeper, v.Case, t0.Add(7*day), care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 9})
		if i == 1 {
			if _, err := p.Arrive(t.Context(), p.loam, t0.Add(10*day), "loam", v.Case.ID, followup.Arrival{Lessons: []string{"late"}, RequestID: "arrival-1"}); err != nil {
				t.Fatal(err)
			}
		}
		if i == 0 {
			p.log(t, keeper, v.Case, t0.Add(9*day), care.Offer{Result: care.Regurgitated, Prey: "rat", PreyMass: 9})
		}
	}
	in, left, err := p.Insight(t.Context(), p.helper, "loam")
	if err != nil || left != 0 || in.Sales != 5 || in.First.All.Of != 5 || in.First.All.Came != 4 || in.Third.All.Came != 0 {
		t.Errorf("%+v, %d left out, %v", in, left, err)
	}
	if len(in.Lessons) != 1 || in.Lessons[0].Code != "late" || in.Lessons[0].Cases.K != 1 || in.Lessons[0].Cases.N != 1 {
		t.Errorf("lessons: %+v", in.Lessons)
	}
	if w := in.First.All.Points; len(w) != 2 || w[0].Day != 7 || w[1].Day != 9 || w[1].AtRisk != 1 {
		t.Errorf("%+v", w)
	}
	if in, _, err := p.Insight(t.Context(), p.other, "fern"); err != nil || in.Sales != 0 {
		t.Errorf("another breeder's: %+v, %v", in, err)
	}
	for _, who := range []care.Actor{p.other, {Kind: care.KeeperActor, KeeperID: "k"}, {}} {
		_, _, err := p.Insight(t.Context(), who, "loam")
		wantReason(t, err, care.ReasonNotFound)
	}
}
