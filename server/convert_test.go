package server

import (
	"reflect"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// An entry of every kind, with every field that its body has, comes back from
// the wire as it was.
func TestEntriesRoundTripOnTheWire(t *testing.T) {
	t.Parallel()
	c, p, whole := care.Celsius(31.5), care.Percent(60), true
	bodies := map[care.Kind]care.Body{}
	for _, b := range []care.Body{
		care.Offer{Result: care.Struck, Prey: "mouse", PreyState: care.Prekilled, PreyMass: 12.5},
		care.WeighIn{Mass: 98.4},
		care.ClimateReading{Warm: &c, Cool: &c, Night: &c, Surface: &c, Humidity: &p, TakenWith: care.WithInfrared},
		care.Shed{Stage: care.ShedDone, Complete: &whole},
		care.Sign{Code: "wheeze", Gone: true},
		care.SetupCheck{Answers: []care.SetupAnswer{{Point: "heavy_things", Choice: "loose", Measure: 9.5, Sizes: map[string]float64{"mass_g": 1500}, Photos: []string{"p1"}, Note: "left",
			MeasureSD: .4, Taps: &care.Taps{Photo: "p1", Slot: true, Rim: []care.Spot{{X: 1, Y: 2}}, Card: []care.Spot{{X: 3, Y: 4}}}}}},
		care.Seen{},
		care.StepAgreed{Code: "leave_in_peace", HoldsDays: 5},
		care.Message{Text: "hello", Photos: []string{"p1"}, Mark: &care.Mark{Kind: care.MarkAgain, Point: "tubes", Photo: "p1", At: &care.Spot{X: 5, Y: 6}}},
		care.Ended{Outcome: care.OutcomeReturned, Reopened: true, Lessons: "warmth late"},
		care.Withdrawal{},
	} {
		bodies[b.Kind()] = b
	}
	for _, kind := range entryKinds {
		b, ok := bodies[kind]
		if !ok {
			t.Errorf("no %s here", kind)
			continue
		}
		if kind != care.KindSeen && kind != care.KindWithdrawal {
			everyField(t, reflect.ValueOf(b), string(kind))
		}
		e := care.Entry{BreederID: "b1", AnimalID: "a1", ID: "e1", CaseID: "c1", HappenedAt: time.Date(2026, 5, 1, 18, 30, 0, 0, time.UTC), Replaces: "e0", Confirmed: true, Note: "n", Body: b}
		got, err := entryFromProto(entryToProto(words.English, &e), "b1", "a1", "e1")
		if err != nil || !reflect.DeepEqual(got, e) {
			t.Errorf("%s: came back as %+v, %v; was %+v", kind, got, err, e)
		}
	}
}

// everyField fails on a field that the test left empty, so that a new one is
// not forgotten here.
func everyField(t *testing.T, v reflect.Value, path string) {
	t.Helper()
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			everyField(t, v.Field(i), path+"."+v.Type().Field(i).Name)
		}
	case reflect.Slice:
		for i := range v.Len() {
			everyField(t, v.Index(i), path)
		}
		fallthrough
	default:
		if v.IsZero() {
			t.Errorf("%s is empty in this test", path)
		}
	}
}
