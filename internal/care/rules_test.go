package care

import (
	"errors"
	"math"
	"testing"
	"time"
)

var now = time.Date(2026, 11, 1, 9, 0, 0, 0, time.UTC)

func ptr[T any](v T) *T { return &v }

// wantError checks class, reason and field of an error; field "" wants none.
func wantError(t *testing.T, err error, code Code, reason ErrorReason, field string) *Error {
	t.Helper()
	if field == "" {
		if err != nil {
			t.Errorf("got %v, want none", err)
		}
		return nil
	}
	var e *Error
	if !errors.As(err, &e) {
		t.Errorf("got %v, want %s about %s", err, reason, field)
		return nil
	}
	if e.Code != code || e.Reason != reason || len(e.Fields) != 1 || e.Fields[0].Field != field || e.Text.Empty() || e.Fields[0].Text.Empty() {
		t.Errorf("got %s %+v, want %s %s about %s", e.Code, e, code, reason, field)
	}
	return e
}

func TestCheckEntry(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name  string
		entry Entry
		field string // "" fine
	}{
		{"now", Entry{HappenedAt: now, Body: Seen{}}, ""},
		{"a phone that is 10 minutes fast", Entry{HappenedAt: now.Add(10 * time.Minute), Body: Seen{}}, ""},
		{"long ago", Entry{HappenedAt: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC), Body: Seen{}}, ""},
		{"too long ago", Entry{HappenedAt: time.Date(1979, 12, 31, 0, 0, 0, 0, time.UTC), Body: Seen{}}, "entry.happen_time"},
		{"never", Entry{Body: Seen{}}, "entry.happen_time"},
		{"nothing", Entry{}, "entry.happen_time"},

		{"eaten", Entry{Body: Offer{Result: Eaten}}, ""},
		{"refused", Entry{Body: Offer{Result: Refused, Prey: "rat", PreyState: Thawed, PreyMass: 20}}, ""},
		{"struck", Entry{Body: Offer{Result: Struck}}, ""},
		{"regurgitated", Entry{Body: Offer{Result: Regurgitated}}, ""},
		{"no result", Entry{Body: Offer{}}, "entry.offer.result"},
		{"another result", Entry{Body: Offer{Result: "sniffed"}}, "entry.offer.result"},
		{"prey of less than nothing", Entry{Body: Offer{Result: Eaten, PreyMass: -1}}, "entry.offer.prey_g"},
		{"prey of no number", Entry{Body: Offer{Result: Eaten, PreyMass: Grams(nan)}}, "entry.offer.prey_g"},
		{"endless prey", Entry{Body: Offer{Result: Eaten, PreyMass: Grams(inf)}}, "entry.offer.prey_g"},

		{"lightest", Entry{Body: WeighIn{Mass: 1}}, ""},
		{"heaviest", Entry{Body: WeighIn{Mass: 200_000}}, ""},
		{"no weight", Entry{Body: WeighIn{}}, "entry.weigh_in.mass_g"},
		{"below", Entry{Body: WeighIn{Mass: .9}}, "entry.weigh_in.mass_g"},
		{"above", Entry{Body: WeighIn{Mass: 200_001}}, "entry.weigh_in.mass_g"},
		{"negative", Entry{Body: WeighIn{Mass: -100}}, "entry.weigh_in.mass_g"},
		{"no number", Entry{Body: WeighIn{Mass: Grams(nan)}}, "entry.weigh_in.mass_g"},

		{"one temperature", Entry{Body: ClimateReading{Cool: ptr(Celsius(24))}}, ""},
		{"0 °C is a reading", Entry{Body: ClimateReading{Night: ptr(Celsius(0))}}, ""},
		{"0 % is a reading", Entry{Body: ClimateReading{Humidity: ptr(Percent(0))}}, ""},
		{"a hot plate", Entry{Body: ClimateReading{Surface: ptr(Celsius(300))}}, ""},
		{"empty reading", Entry{Body: ClimateReading{TakenWith: WithProbe}}, "entry.climate"},
		{"too cold", Entry{Body: ClimateReading{Warm: ptr(Celsius(-21))}}, "entry.climate.warm_c"},
		{"too hot", Entry{Body: ClimateReading{Cool: ptr(Celsius(301))}}, "entry.climate.cool_c"},
		{"no night", Entry{Body: ClimateReading{Night: ptr(Celsius(nan))}}, "entry.climate.night_c"},
		{"no surface", Entry{Body: ClimateReading{Surface: ptr(Celsius(-inf))}}, "entry.climate.surface_c"},
		{"more than wet", Entry{Body: ClimateReading{Humidity: ptr(Percent(101))}}, "entry.climate.humidity_pct"},
		{"less than dry", Entry{Body: ClimateReading{Humidity: ptr(Percent(-1))}}, "entry.climate.humidity_pct"},

		{"opaque", Entry{Body: Shed{Stage: Opaque}}, ""},
		{"no stage", Entry{Body: Shed{}}, "entry.shed.stage"},
		{"a sign", Entry{Body: Sign{Code: "wheeze"}}, ""},
		{"a sign of a newer app", Entry{Body: Sign{Code: "sings"}}, ""},
		{"no sign", Entry{Body: Sign{}}, "entry.sign.sign"},

		{"an answer", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: "gap", Measure: 12}}}}, ""},
		{"not sure", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: NotSure}}}}, ""},
		{"another point", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: "gap"}, {Point: "colour", Choice: "red"}}}}, "entry.setup.answers[1].point"},
		{"another choice", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: "red"}}}}, "entry.setup.answers[0].choice"},
		{"twice", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: "gap"}, {Point: "lid_gaps", Choice: "gap"}}}}, "entry.setup.answers[1].point"},
		{"a size below nothing", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: "gap", Measure: -1}}}}, "entry.setup.answers[0].measure_mm"},
		{"further sizes", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "heavy_things", Choice: "loose", Sizes: map[string]float64{"mass_g": 1500, "foot_mm": 0}}}}}, ""},
		{"a size of another point", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: "gap", Sizes: map[string]float64{"mass_g": 1500}}}}}, "entry.setup.answers[0].sizes"},
		{"a further size below nothing", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "heavy_things", Choice: "loose", Sizes: map[string]float64{"mass_g": -1}}}}}, "entry.setup.answers[0].sizes"},
		{"a further size of no number", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "heavy_things", Choice: "loose", Sizes: map[string]float64{"mass_g": nan}}}}}, "entry.setup.answers[0].sizes"},
		{"a size of no number", Entry{Body: SetupCheck{Answers: []SetupAnswer{{Point: "lid_gaps", Choice: "gap", Measure: Millimetres(nan)}}}}, "entry.setup.answers[0].measure_mm"},

		{"a step", Entry{Body: StepAgreed{Code: "leave_in_peace", HoldsDays: 5}}, ""},
		{"no step", Entry{Body: StepAgreed{HoldsDays: 5}}, "entry.step.step"},
		{"a message", Entry{Body: Message{Text: "hello"}}, ""},
		{"no message", Entry{Body: Message{Text: " \n\t"}}, "entry.message.text"},
		{"an end", Entry{Body: Ended{Outcome: OutcomeDied}}, "entry.ended"},
		{"taken back", Entry{Replaces: "e1", Body: Withdrawal{}}, ""},
		{"nothing taken back", Entry{Body: Withdrawal{}}, "entry.replaces"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if c.entry.HappenedAt.IsZero() && c.field != "entry.happen_time" {
				c.entry.HappenedAt = now
			}
			wantError(t, CheckEntry(&c.entry, now), Invalid, ReasonBadField, c.field)
		})
	}
	future := Entry{HappenedAt: now.Add(10*time.Minute + time.Millisecond), Body: Seen{}}
	wantError(t, CheckEntry(&future, now), Invalid, ReasonInFuture, "entry.happen_time")
	empty := Entry{HappenedAt: now}
	wantError(t, CheckEntry(&empty, now), Invalid, ReasonBadField, "entry.body")

	// Two things wrong: always the first in the order of the form.
	for range 50 {
		e := Entry{HappenedAt: now, Body: ClimateReading{Warm: ptr(Celsius(999)), Cool: ptr(Celsius(999)), Night: ptr(Celsius(999)), Surface: ptr(Celsius(999))}}
		wantError(t, CheckEntry(&e, now), Invalid, ReasonBadField, "entry.climate.warm_c")
		e.Body = ClimateReading{Warm: ptr(Celsius(91)), Cool: ptr(Celsius(78)), Night: ptr(Celsius(75))}
		wantError(t, CheckSlip(&e, nil), Precondition, ReasonLikelySlip, "entry.climate.warm_c")
	}
}

func TestCheckSlip(t *testing.T) {
	t.Parallel()
	ago := func(days int) time.Time { return now.AddDate(0, 0, -days) }
	log := []Entry{
		{ID: "w1", HappenedAt: ago(60), Body: WeighIn{Mass: 400}},
		{ID: "w2", HappenedAt: ago(30), ReplacedBy: "w3", Body: WeighIn{Mass: 5000}}, // a slip, corrected
		{ID: "w3", HappenedAt: ago(30), Replaces: "w2", Body: WeighIn{Mass: 500}},
		{ID: "o1", HappenedAt: ago(10), Body: Offer{Result: Eaten, PreyMass: 40}},
	}
	for _, c := range []struct {
		name    string
		entry   Entry
		log     []Entry
		field   string
		against string
	}{
		{"first weight", Entry{Body: WeighIn{Mass: 5400}}, nil, "", ""},
		{"the same", Entry{Body: WeighIn{Mass: 500}}, log, "", ""},
		{"5400 for 540", Entry{Body: WeighIn{Mass: 5400}}, log, "entry.weigh_in.mass_g", "500"},
		{"54 for 540", Entry{Body: WeighIn{Mass: 54}}, log, "entry.weigh_in.mass_g", "500"},
		{"ounces for grams", Entry{Body: WeighIn{Mass: 500 / 28.349523125}}, log, "entry.weigh_in.mass_g", "500"}, // 1 oz avoirdupois: NIST Handbook 44, appendix C
		{"confirmed", Entry{Confirmed: true, Body: WeighIn{Mass: 5400}}, log, "", ""},
		{"a loss that needs help, not doubt", Entry{Body: WeighIn{Mass: 350}}, log, "", ""},
		{"against what was known then", Entry{HappenedAt: ago(45), Body: WeighIn{Mass: 1000}}, log, "entry.weigh_in.mass_g", "400"},
		{"before all weights", Entry{HappenedAt: ago(90), Body: WeighIn{Mass: 5400}}, log, "", ""},
		{"a correction is not compared with what it corrects", Entry{HappenedAt: ago(30), Replaces: "w3", Body: WeighIn{Mass: 450}}, log, "", ""},
		{"a correction is compared with what was before", Entry{HappenedAt: ago(30), Replaces: "w3", Body: WeighIn{Mass: 4500}}, log, "entry.weigh_in.mass_g", "400"},

		// A hatchling ball python grows about four-fold in its first year and
		// loses less than a quarter in 168 days of fasting; neither is a slip.
		{"four-fold in a year (Ellis & Chappell 1987)", Entry{Body: WeighIn{Mass: 4 * 60}}, []Entry{{HappenedAt: ago(365), Body: WeighIn{Mass: 60}}}, "", ""},
		{"a quarter in 168 days (McCue 2007)", Entry{Body: WeighIn{Mass: 375}}, []Entry{{HappenedAt: ago(168), Body: WeighIn{Mass: 500}}}, "", ""},
		{"a meal of a quarter (Ott & Secor 2007)", Entry{Body: WeighIn{Mass: 625}}, []Entry{{HappenedAt: now, Body: WeighIn{Mass: 500}}}, "", ""},

		{"prey as heavy as the snake", Entry{Body: Offer{Result: Refused, PreyMass: 500}}, log, "", ""},
		{"heavier prey", Entry{Body: Offer{Result: Refused, PreyMass: 501}}, log, "entry.offer.prey_g", "500"},
		{"heavy prey and no weight", Entry{Body: Offer{Result: Eaten, PreyMass: 501}}, nil, "", ""},
		{"confirmed prey", Entry{Confirmed: true, Body: Offer{Result: Refused, PreyMass: 501}}, log, "", ""},

		{"50 °C", Entry{Body: ClimateReading{Warm: ptr(Celsius(50))}}, nil, "", ""},
		{"°F on the warm side", Entry{Body: ClimateReading{Warm: ptr(Celsius(90))}}, nil, "entry.climate.warm_c", "50"},
		{"°F on the cool side", Entry{Body: ClimateReading{Warm: ptr(Celsius(32)), Cool: ptr(Celsius(78))}}, nil, "entry.climate.cool_c", "50"},
		{"°F at night", Entry{Body: ClimateReading{Night: ptr(Celsius(72))}}, nil, "entry.climate.night_c", "50"},
		{"a surface that burns is no slip", Entry{Body: ClimateReading{Surface: ptr(Celsius(70))}}, nil, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if c.entry.HappenedAt.IsZero() {
				c.entry.HappenedAt = now
			}
			e := wantError(t, CheckSlip(&c.entry, c.log), Precondition, ReasonLikelySlip, c.field)
			if e != nil && (e.Meta["against"] != c.against || e.Meta["value"] == "") {
				t.Errorf("meta %v, want against %s", e.Meta, c.against)
			}
		})
	}
}

func TestCheckAnimal(t *testing.T) {
	t.Parallel()
	good := Animal{ID: "a1", Species: "python_regius", Sex: Female, Hatched: ptr(now.AddDate(-1, 0, 0)), SnoutVent: 500, TotalLength: 560, MotherID: "m", FatherID: "f"}
	for _, c := range []struct {
		name   string
		change func(*Animal)
		field  string
	}{
		{"as it should be", func(*Animal) {}, ""},
		{"not listed", func(a *Animal) { a.Species = OtherSnake }, ""},
		{"little known", func(a *Animal) { *a = Animal{Species: "python_regius"} }, ""},
		{"hatches today, further east", func(a *Animal) { a.Hatched = ptr(now.Add(24 * time.Hour)) }, ""},
		{"no species", func(a *Animal) { a.Species = "" }, "animal.species"},
		{"another species", func(a *Animal) { a.Species = "draco_volans" }, "animal.species"},
		{"not hatched yet", func(a *Animal) { a.Hatched = ptr(now.Add(25 * time.Hour)) }, "animal.hatch_date"},
		{"older than any snake", func(a *Animal) { a.Hatched = ptr(time.Date(1949, 12, 31, 0, 0, 0, 0, time.UTC)) }, "animal.hatch_date"},
		{"lengths the wrong way round", func(a *Animal) { a.SnoutVent, a.TotalLength = a.TotalLength, a.SnoutVent }, "animal.total_length_mm"},
		{"negative length", func(a *Animal) { a.SnoutVent = -1 }, "animal.snout_vent_mm"},
		{"endless snake", func(a *Animal) { a.TotalLength = Millimetres(math.Inf(1)) }, "animal.total_length_mm"},
		{"its own mother", func(a *Animal) { a.MotherID = a.ID }, "animal.mother"},
		{"its own father", func(a *Animal) { a.FatherID = a.ID }, "animal.father"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			a := good
			c.change(&a)
			wantError(t, CheckAnimal(&a, now), Invalid, ReasonBadField, c.field)
		})
	}
}
