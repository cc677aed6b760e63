package care

import (
	"os"
	"reflect"
	"regexp"
	"testing"
	"time"
)

// bodies has each kind twice: with every field, and with none.
var bodies = []Body{
	Offer{Result: Struck, Prey: "mouse", PreyState: Prekilled, PreyMass: 12.5}, Offer{},
	WeighIn{Mass: 98.4}, WeighIn{},
	ClimateReading{Warm: ptr(Celsius(31.5)), Cool: ptr(Celsius(24)), Night: ptr(Celsius(0)), Surface: ptr(Celsius(36)), Humidity: ptr(Percent(0)), TakenWith: WithInfrared}, ClimateReading{},
	Shed{Stage: ShedDone, Complete: ptr(false)}, Shed{},
	Sign{Code: "wheeze", Gone: true}, Sign{},
	SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: "gap", Measure: 14.5, Photos: []string{"p1", "p2"}, Note: "at the cable, 5 % \"wide\""}, {Point: "heavy_things", Choice: NotSure, Sizes: map[string]float64{"mass_g": 1500.5, "foot_mm": 60}}}}, SetupCheck{},
	Seen{}, Seen{},
	StepAgreed{Code: "leave_in_peace", HoldsDays: 5}, StepAgreed{},
	Message{Text: "Grüße 🐍\n<b>", Photos: []string{"p1"}}, Message{},
	Ended{Outcome: OutcomeReturned, Reopened: true}, Ended{},
	Withdrawal{}, Withdrawal{},
}

func TestBodiesRoundTrip(t *testing.T) {
	t.Parallel()
	seen := map[Kind]bool{}
	for _, b := range bodies {
		seen[b.Kind()] = true
		data, err := EncodeBody(b)
		if err != nil {
			t.Fatal(err)
		}
		got, err := DecodeBody(b.Kind(), data)
		if err != nil {
			t.Fatalf("%s: %v", data, err)
		}
		if !reflect.DeepEqual(got, b) {
			t.Errorf("%s came back as %#v, was %#v", data, got, b)
		}
		for _, bad := range []string{"", "[]", `"x"`, `{"result": `} {
			if _, err := DecodeBody(b.Kind(), []byte(bad)); err == nil {
				t.Errorf("%s: %q was read", b.Kind(), bad)
			}
		}
	}
	if _, err := DecodeBody("dance", []byte("{}")); err == nil {
		t.Error("an unknown kind was read")
	}
	// The list above has every kind that the source has.
	source, err := os.ReadFile("entry.go")
	if err != nil {
		t.Fatal(err)
	}
	kinds := regexp.MustCompile(`(?m)^func \((\w+)\) Kind\(\) Kind`).FindAllStringSubmatch(string(source), -1)
	if len(kinds) != len(seen) || len(kinds) == 0 {
		t.Errorf("entry.go has %d kinds, this test %d", len(kinds), len(seen))
	}
}

// The names in stored bodies are those of the case file: changing one would
// orphan what is stored.
func TestBodyNames(t *testing.T) {
	t.Parallel()
	for want, b := range map[string]Body{
		`{"result":"eaten","prey":"rat","prey_state":"thawed","prey_g":22}`: Offer{Result: Eaten, Prey: "rat", PreyState: Thawed, PreyMass: 22},
		`{"mass_g":412}`: WeighIn{Mass: 412},
		`{"warm_c":28,"cool_c":24.5,"night_c":22,"humidity_pct":48,"taken_with":"probe"}`: ClimateReading{Warm: ptr(Celsius(28)), Cool: ptr(Celsius(24.5)), Night: ptr(Celsius(22)), Humidity: ptr(Percent(48)), TakenWith: WithProbe},
		`{"stage":"opaque"}`:                          Shed{Stage: Opaque},
		`{"sign":"wheeze"}`:                           Sign{Code: "wheeze"},
		`{"sign":"wheeze","gone":true}`:               Sign{Code: "wheeze", Gone: true},
		`{"answers":[{"point":"tape","choice":"x"}]}`: SetupCheck{Answers: []SetupAnswer{{Point: "tape", Choice: "x"}}},
		`{"step":"leave_in_peace","holds_days":5}`:    StepAgreed{Code: "leave_in_peace", HoldsDays: 5},
		`{"outcome":"settled"}`:                       Ended{Outcome: OutcomeSettled},
	} {
		if got, err := EncodeBody(b); err != nil || string(got) != want {
			t.Errorf("%s, %v; want %s", got, err, want)
		}
	}
}

func TestCurrent(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		entry Entry
		want  bool
	}{
		{Entry{Body: Seen{}}, true},
		{Entry{Body: Seen{}, Replaces: "e0"}, true},
		{Entry{Body: Seen{}, ReplacedBy: "e2"}, false},
		{Entry{Body: Withdrawal{}, Replaces: "e0"}, false},
		{Entry{}, false},
	} {
		if got := c.entry.Current(); got != c.want {
			t.Errorf("%+v: %v", c.entry, got)
		}
	}
}

func TestHandoverStateAt(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		state HandoverState
		at    time.Duration // from the expiry
		want  HandoverState
	}{
		{HandoverIssued, -time.Millisecond, HandoverIssued},
		{HandoverIssued, 0, HandoverExpired},
		{HandoverClaimed, time.Hour, HandoverClaimed},
		{HandoverRevoked, time.Hour, HandoverRevoked},
	} {
		h := Handover{State: c.state, ClaimExpiresAt: now}
		if got := h.StateAt(now.Add(c.at)); got != c.want {
			t.Errorf("%s at %v: %s, want %s", c.state, c.at, got, c.want)
		}
	}
}

func TestActorOfBreeder(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		who  Actor
		want bool
	}{
		{Actor{Kind: BreederOwner, BreederID: "b"}, true},
		{Actor{Kind: Helper, BreederID: "b"}, true},
		{Actor{Kind: Program, BreederID: "b"}, true},
		{Actor{Kind: Service, BreederID: "b"}, true},
		{Actor{Kind: KeeperActor, BreederID: "b", KeeperID: "k"}, false},
		{Actor{Kind: BreederOwner, BreederID: "c"}, false},
		{Actor{BreederID: "b"}, false},
		{Actor{Kind: BreederOwner}, false},
	} {
		if got := c.who.OfBreeder("b"); got != c.want {
			t.Errorf("%+v: %v", c.who, got)
		}
	}
	if (Actor{Kind: BreederOwner}).OfBreeder("") {
		t.Error("an actor of no breeder works for a breeder without an id")
	}
}
