package server_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	pb "warmhand/internal/gen/warmhand/v1"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
)

// The message CaseLine is what a line of a case file is: every field is in both,
// and a line goes through the message without loss.
func TestCaseLine(t *testing.T) {
	t.Parallel()
	at := time.Date(2027, 3, 6, 15, 0, 0, 120_000_000, time.UTC)
	day := time.Date(2026, 8, 1, 0, 0, 0, 0, time.UTC)
	c, p, no := care.Celsius(28.5), care.Percent(48), false
	lines := []casefile.Line{
		{Case: "c", Entry: care.Entry{HappenedAt: at}, Handover: &casefile.Handover{ShowDay: "spring", Hemi: care.South, Learned: care.Learned{Mean: .2, Strength: 6.5, Animals: 12},
			Thresholds: care.Thresholds{Watch: .1, Act: .5, Lost: .3, SilenceGaps: 2.25, FirstWordDays: 21}, Until: at.Add(time.Hour), Unclaimed: true,
			Animal: care.Animal{BreederID: "b", ID: "a-1", Name: "tub 14", Note: "shy", Clutch: "c-3", Species: "python_regius", Sex: care.Female, Hatched: &day, Genes: []string{"pastel", "spider"}, SnoutVent: 500.5, TotalLength: 600}}},
	}
	for _, b := range []care.Body{
		care.Offer{Result: care.Struck, Prey: "rat", PreyState: care.Live, PreyMass: 22.5}, care.WeighIn{Mass: 412},
		care.ClimateReading{Warm: &c, Cool: &c, Night: &c, Surface: &c, Humidity: &p, TakenWith: care.WithProbe}, care.Shed{Stage: care.ShedDone, Complete: &no},
		care.Sign{Code: "wheeze"}, care.Seen{}, care.StepAgreed{Code: "leave_in_peace", HoldsDays: 7}, care.Message{Text: "Hello.", Mark: &care.Mark{Kind: care.MarkHazard, Point: "tubes"}}, care.Ended{Outcome: care.OutcomeReturned, Reopened: true, Lessons: "warmth late"}, care.Withdrawal{},
		care.SetupCheck{Answers: []care.SetupAnswer{{Point: "heavy_things", Choice: "loose", Sizes: map[string]float64{"mass_g": 900}, Note: "a stone"}, {Point: "hides", Choice: "one"}, {Point: "tubes", Choice: "snug", Measure: 17, MeasureSD: .5}}},
	} {
		e := care.Entry{ID: "e-1", By: care.Helper, HappenedAt: at, ReceivedAt: at.Add(time.Minute), Replaces: "e-0", Confirmed: true, Note: "as it was", Body: b}
		lines = append(lines, casefile.Line{Case: "c", Entry: e, InCase: &no})
	}
	var names []string
	fields := (&pb.CaseLine{}).ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		names = append(names, string(fields.Get(i).Name()))
	}
	var written []string
	var d casefile.Decoder
	for _, want := range lines {
		text, err := casefile.Append(nil, &want)
		if err != nil {
			t.Fatal(err)
		}
		var members map[string]any
		if err := json.Unmarshal(text, &members); err != nil {
			t.Fatal(err)
		}
		for name := range members {
			if !slices.Contains(written, name) {
				written = append(written, name)
			}
		}
		var m pb.CaseLine
		if err := protojson.Unmarshal(bytes.TrimSpace(text), &m); err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		again, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(&m)
		if err != nil {
			t.Fatal(err)
		}
		var got casefile.Line
		if err := d.Decode(again, &got); err != nil {
			t.Fatalf("%v in %s", err, again)
		}
		if s, ok := got.Entry.Body.(care.SetupCheck); ok { // a message keeps no order of names
			slices.SortFunc(s.Answers, func(a, b care.SetupAnswer) int { return bytes.Compare([]byte(a.Point), []byte(b.Point)) })
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s\ngot  %+v\nwant %+v", again, got, want)
		}
	}
	slices.Sort(names)
	slices.Sort(written)
	if !slices.Equal(names, written) {
		t.Errorf("fields of the message\n%v\nand of the file\n%v", names, written)
	}
}
