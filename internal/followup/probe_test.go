package followup_test

import (
	"math"
	"testing"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

func TestProbe(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	for d := 7; d <= 28; d += 7 {
		p.log(t, keeper, c, t0.Add(time.Duration(d)*day), care.Offer{Result: care.Refused, Prey: "rat"})
	}
	now := t0.Add(29 * day)
	before := p.get(t, c)

	list, err := p.Probe(t.Context(), p.helper, now, "loam", c.ID, nil, time.Time{})
	if err != nil || len(list) == 0 || len(list) > 3 {
		t.Fatalf("%+v, %v", list, err)
	}
	mine, err := p.Probe(t.Context(), keeper, now, "loam", c.ID, nil, time.Time{})
	if err != nil || len(mine) != 1 || !mine[0].Better() || mine[0].Code != assess.TryEats {
		t.Errorf("the keeper of a refuser is told %+v, %v; want that a meal would help", mine, err)
	}

	// What is promised comes true.
	meal := care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 9}
	at := now.Add(6 * day)
	tried, err := p.Probe(t.Context(), keeper, now, "loam", c.ID, meal, at)
	if err != nil || len(tried) != 1 || !tried[0].At.Equal(at) {
		t.Fatalf("%+v, %v", tried, err)
	}
	if after := p.get(t, c); after.Case.Version != before.Case.Version || len(p.entries(t, p.loam, c)) != 6+4 {
		t.Error("a probe changed the case or its log")
	}
	p.log(t, keeper, c, at, meal)
	if _, err := p.Pass(t.Context(), at.Add(3*day)); err != nil {
		t.Fatal(err)
	}
	if came := p.get(t, c); came.Case.Standing != tried[0].Standing || math.Abs(came.Case.Urgency-tried[0].Urgency) > 1e-9 {
		t.Errorf("%v %v came, promised %v %v", came.Case.Standing, came.Case.Urgency, tried[0].Standing, tried[0].Urgency)
	}
}

func TestProbeRefuses(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	_, _, stranger := p.sold(t)
	now := t0.Add(10 * day)
	probe := func(who care.Actor, body care.Body, at time.Time) error {
		_, err := p.Probe(t.Context(), who, now, "loam", c.ID, body, at)
		return err
	}
	for _, who := range []care.Actor{stranger, p.other, {}} {
		wantReason(t, probe(who, nil, time.Time{}), care.ReasonNotFound)
		wantReason(t, probe(who, care.WeighIn{Mass: 99}, time.Time{}), care.ReasonNotFound)
	}
	wantField(t, probe(keeper, care.WeighIn{}, time.Time{}), "weigh_in.mass_g")
	wantField(t, probe(keeper, care.WeighIn{Mass: care.Grams(math.NaN())}, time.Time{}), "weigh_in.mass_g")
	wantField(t, probe(keeper, care.WeighIn{Mass: 990}, time.Time{}), "what")
	wantField(t, probe(keeper, care.Offer{}, time.Time{}), "offer.result")
	wantField(t, probe(keeper, care.ClimateReading{}, time.Time{}), "climate")
	wantField(t, probe(keeper, care.ClimateReading{Warm: ptr(care.Celsius(90))}, time.Time{}), "what")
	wantField(t, probe(keeper, care.WeighIn{Mass: 99}, now.Add(-2*day)), "happen_time")
	wantField(t, probe(keeper, care.WeighIn{Mass: 99}, now.Add(61*day)), "happen_time")

	if _, err := p.EndCase(t.Context(), p.loam, now, "loam", c.ID, care.OutcomeSettled, "", p.id("request")); err != nil {
		t.Fatal(err)
	}
	wantReason(t, probe(p.loam, nil, time.Time{}), care.ReasonCaseClosed)
}
