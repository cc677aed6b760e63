package server_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/internal/followup"
	"warmhand/internal/replay"
	"warmhand/server"
	"warmhand/server/servertest"
)

// lived makes a case as phones and breeders make them, through the use cases:
// history, a handover, a claim, entries that come in late, corrections,
// withdrawals, agreed steps, messages, an end and a reopening.
func lived(t *testing.T, f *servertest.Fixture, r *rand.Rand, owner care.Actor, n int) (caseID string) {
	t.Helper()
	s, ctx := f.Server.FollowUp(), care.WithReach(t.Context(), care.EverybodysReach)
	b := owner.BreederID
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	sold := servertest.Epoch.AddDate(0, 0, -100+r.IntN(60)).Add(time.Duration(r.IntN(86400)) * time.Second)
	hatched := sold.AddDate(0, -5, 0).Truncate(24 * time.Hour)
	a, err := s.CreateAnimal(ctx, owner, sold.AddDate(0, -4, 0), care.Animal{BreederID: b, ID: fmt.Sprintf("animal-%d", n), Name: fmt.Sprintf("tub %d", n), Note: "shy", Species: "python_regius", Sex: care.Male,
		Hatched: &hatched, Genes: []string{"spider"}, Clutch: "c-1", SnoutVent: 400})
	must(err)
	entry := func(who care.Actor, happened, received time.Time, body care.Body, replaces string) care.Entry {
		t.Helper()
		e, err := s.CreateEntry(ctx, who, received, care.Entry{BreederID: b, AnimalID: a.ID, CaseID: caseID, ID: fmt.Sprintf("entry-%d-%d", n, r.Int64()), HappenedAt: happened,
			Body: body, Replaces: replaces, Confirmed: true, Note: []string{"", "as it was"}[r.IntN(2)]})
		must(err)
		return e
	}
	offer := func() care.Body {
		return care.Offer{Result: []care.OfferResult{care.Eaten, care.Refused, care.Refused, care.Struck, care.Regurgitated}[r.IntN(5)], Prey: "rat", PreyState: care.Thawed, PreyMass: 9}
	}
	for d := 60; d > 2; d -= 7 {
		at := sold.AddDate(0, 0, -d)
		entry(owner, at, at.Add(time.Hour), care.Offer{Result: []care.OfferResult{care.Eaten, care.Eaten, care.Refused}[r.IntN(3)], Prey: "mouse"}, "")
	}
	entry(owner, sold.AddDate(0, 0, -1), sold.AddDate(0, 0, -1), care.WeighIn{Mass: 120}, "")
	h, code, err := s.CreateHandover(ctx, owner, sold, followup.HandoverDraft{BreederID: b, AnimalID: a.ID, ShowDay: "spring", RequestID: fmt.Sprintf("request-%d", n), At: sold})
	must(err)
	caseID = h.ID
	if n%5 == 4 {
		return caseID // nobody claims it
	}
	v, _, err := s.Claim(ctx, care.Actor{}, sold.Add(3*time.Hour), code, "Kim", fmt.Sprintf("claim-%d", n), func(care.Tx, care.Actor) error { return nil })
	must(err)
	keeper := care.Actor{Kind: care.KeeperActor, KeeperID: v.Case.KeeperID}
	warm := care.Celsius(27 + 6*r.Float64())
	at := sold.Add(4 * time.Hour)
	for range 8 + r.IntN(20) {
		at = at.Add(time.Duration(r.ExpFloat64() * 50 * float64(time.Hour)))
		happened := care.Instant(at.Add(-time.Duration(r.IntN(2)*r.IntN(100)) * time.Hour)) // some come in late
		var body care.Body
		switch r.IntN(8) {
		case 0, 1:
			body = offer()
		case 2:
			body = care.WeighIn{Mass: care.Grams(110 + 10*r.NormFloat64())}
		case 3:
			body = care.ClimateReading{Warm: &warm, TakenWith: care.WithDial}
		case 4:
			body = care.SetupCheck{Answers: []care.SetupAnswer{{Point: "tubes", Choice: "snug", Measure: 17, Note: "the cork one"}, {Point: "hides", Choice: "one"}}}
		case 5:
			body = care.Seen{}
		case 6:
			body = care.Sign{Code: []string{"wobble", "wheeze", "nose_rub"}[r.IntN(3)]}
		case 7:
			body = care.Shed{Stage: care.Opaque}
		}
		e := entry(keeper, happened, care.Instant(at), body, "")
		switch r.IntN(6) {
		case 0:
			if _, weighed := body.(care.WeighIn); weighed {
				entry(keeper, happened.Add(time.Minute), care.Instant(at.Add(26*time.Hour)), care.WeighIn{Mass: 101}, e.ID)
			} else {
				entry(keeper, care.Instant(at), care.Instant(at.Add(time.Hour)), care.Withdrawal{}, e.ID)
			}
		case 1:
			entry(owner, care.Instant(at), care.Instant(at), care.StepAgreed{Code: "leave_in_peace", HoldsDays: 3}, "")
			entry(owner, care.Instant(at), care.Instant(at), care.Message{Text: "Leave it be."}, "")
		}
	}
	if n%3 == 0 {
		_, err := s.EndCase(ctx, owner, at.Add(time.Hour), b, caseID, care.OutcomeVet, "", fmt.Sprintf("end-%d", n))
		must(err)
		if n%2 == 0 {
			_, err := s.ReopenCase(ctx, owner, at.Add(40*time.Hour), b, caseID, fmt.Sprintf("again-%d", n))
			must(err)
			entry(keeper, care.Instant(at.Add(41*time.Hour)), care.Instant(at.Add(41*time.Hour)), offer(), "")
		}
	}
	return caseID
}

// withoutBreeder is an exported file without what an import changes: whose book
// it is, and when it was assessed last.
func withoutBreeder(t *testing.T, text string) (lines []string) {
	t.Helper()
	for line := range strings.Lines(text) {
		var m map[string]any
		if err := json.Unmarshal([]byte(line), &m); err != nil {
			t.Fatal(err)
		}
		delete(m, "breeder")
		delete(m, "until")
		b, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, string(b))
	}
	return lines
}

// A case that is exported and replayed ends as the service shows it; exported,
// imported and exported again it is the same; imported again it adds nothing.
func TestCaseFilesGoRound(t *testing.T) {
	t.Parallel()
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			var cfg server.Config
			f := servertest.Start(t, servertest.Options{Postgres: engine == "postgres", Configure: func(c *server.Config) { cfg = *c }})
			ctx := care.WithReach(t.Context(), care.EverybodysReach)
			page, other := f.NewBreeder("origin"), f.NewBreeder("copy")
			f.Write(func(tx care.Tx) error { // where the seasons are the other way round
				for _, id := range []string{"origin", "copy"} {
					b, err := tx.Breeder(id)
					if err != nil {
						return err
					}
					b.Hemi, b.Thresholds = care.South, care.Thresholds{Act: .25, Watch: .06, FirstWordDays: 7}
					if err := tx.UpdateBreeder(b); err != nil {
						return err
					}
				}
				return nil
			})
			owner := care.Actor{Kind: care.BreederOwner, BreederID: "origin", UserID: "origin-owner"}
			r := rand.New(rand.NewPCG(3, 9))
			var ids []string
			for n := range 12 {
				ids = append(ids, lived(t, f, r, owner, n))
			}
			if _, err := f.Server.FollowUp().Pass(ctx, servertest.Epoch); err != nil {
				t.Fatal(err)
			}
			admin, err := server.OpenAdmin(ctx, server.Data{Dir: cfg.DataDir, DatabaseURL: cfg.DatabaseURL}, false)
			if err != nil {
				t.Fatal(err)
			}
			defer admin.Close()
			export := func(breeder string, cases ...string) string {
				t.Helper()
				var out bytes.Buffer
				if _, err := admin.ExportCases(ctx, &out, breeder, cases, true); err != nil {
					t.Fatal(err)
				}
				return out.String()
			}
			before := export("origin")
			// What a breeder changes later is news to the open cases, not to the ended.
			if _, err := f.Server.FollowUp().UpdateThresholds(ctx, owner, servertest.Epoch, "origin", care.Thresholds{Act: .6, SilenceGaps: 1}, 0); err != nil {
				t.Fatal(err)
			}
			if n, err := f.Server.FollowUp().Pass(ctx, servertest.Epoch); err != nil || n == 0 || n == len(ids) {
				t.Errorf("%d cases were assessed anew, %v", n, err)
			}
			if _, err := f.Server.FollowUp().UpdateThresholds(ctx, care.Actor{Kind: care.BreederOwner, BreederID: "copy"}, servertest.Epoch, "copy", care.Thresholds{Act: .6, SilenceGaps: 1}, 0); err != nil {
				t.Fatal(err)
			}
			text := export("origin")
			if was, is := strings.Count(before, `"act_from":0.25`), strings.Count(text, `"act_from":0.25`); was != len(ids) || is == 0 || is+strings.Count(text, `"act_from":0.6`) != len(ids) {
				t.Errorf("%d cases had the first thresholds, %d have them still", was, is)
			}

			if n := strings.Count(text, `"hemisphere":"south"`); n != len(ids) {
				t.Errorf("%d cases of %d say where they are", n, len(ids))
			}

			// The same end, by the same code.
			var steps bytes.Buffer
			if _, err := replay.Run(ctx, []replay.Input{{Name: "export", Reader: strings.NewReader(text)}}, &steps, replay.Options{Every: 24 * time.Hour, UntilDays: 400}); err != nil {
				t.Fatal(err)
			}
			type end struct {
				Case, Standing string
				At             time.Time
				Urgency        float64
				PRefusal       float64 `json:"p_refusal"`
				Concerns       []struct{ Code, Text string }
			}
			last := map[string]end{}
			for line := range strings.Lines(steps.String()) {
				var e end
				if err := json.Unmarshal([]byte(line), &e); err != nil {
					t.Fatal(err)
				}
				last[e.Case] = e
			}
			if len(last) != len(ids) {
				t.Errorf("%d cases were replayed, want %d", len(last), len(ids))
			}
			seen := map[string]bool{}
			for _, id := range ids {
				v, err := f.Server.FollowUp().GetCase(ctx, owner, servertest.Epoch, "origin", id)
				if err != nil {
					t.Fatal(err)
				}
				got := last[id]
				seen[got.Standing] = true
				if got.Standing != v.Case.Standing.String() || math.Abs(got.Urgency-v.Case.Urgency) > 1e-6 || math.Abs(got.PRefusal-v.Assessment.PRefusal) > 1e-6 || len(got.Concerns) != len(v.Assessment.Concerns) {
					t.Errorf("case %s: replayed %+v\nthe service shows %v, %v, %+v", id, got, v.Case.Standing, v.Case.Urgency, v.Assessment)
					continue
				}
				for i, c := range v.Assessment.Concerns {
					if got.Concerns[i].Code != c.Code || got.Concerns[i].Text != c.Text.String() {
						t.Errorf("case %s: concern %+v, the service says %+v", id, got.Concerns[i], c)
					}
				}
			}
			if len(seen) < 3 {
				t.Errorf("all cases stand alike: %v", seen)
			}

			sum, err := admin.ImportCases(ctx, strings.NewReader(text), "copy")
			if err != nil || sum.Cases != len(ids) || sum.Animals != len(ids) || sum.Entries == 0 {
				t.Fatalf("import: %+v, %v", sum, err)
			}
			if sum, err := admin.ImportCases(ctx, strings.NewReader(text), "copy"); err != nil || sum.Cases+sum.Animals+sum.Entries != 0 {
				t.Errorf("the same file again: %+v, %v", sum, err)
			}
			if sum, err := admin.ImportCases(ctx, strings.NewReader(text), "origin"); err != nil || sum.Cases+sum.Animals+sum.Entries != 0 {
				t.Errorf("where it came from: %+v, %v", sum, err)
			}
			again := export("copy")
			a, b := withoutBreeder(t, text), withoutBreeder(t, again)
			if len(a) != len(b) {
				t.Fatalf("%d lines became %d", len(a), len(b))
			}
			for i := range a {
				if a[i] != b[i] {
					t.Fatalf("line %d\n%s\nbecame\n%s", i+1, a[i], b[i])
				}
			}
			// The prior is frozen and came along; the keepers' cases are claimed.
			v, err := f.Server.FollowUp().GetCase(ctx, care.Actor{Kind: care.Service, BreederID: "copy"}, servertest.Epoch, "copy", ids[5])
			if err != nil {
				t.Fatal(err)
			}
			o, err := f.Server.FollowUp().GetCase(ctx, owner, servertest.Epoch, "origin", ids[5])
			if err != nil || v.Case.Learned != o.Case.Learned || v.Case.Learned.Animals == 0 || v.Case.KeeperID == "" || v.Case.KeeperID == o.Case.KeeperID {
				t.Errorf("%+v\n%+v, %v", v.Case, o.Case, err)
			}

			one := export("origin", ids[0])
			where := "/v1/breeders/origin/cases/" + ids[0] + "/case.jsonl"
			if got := page.Call("GET", where, nil).OK(); string(got.Body) != one || got.Header.Get("Content-Type") != "application/jsonl" {
				t.Errorf("by HTTP: %s %s", got.Header, got.Body)
			}
			if got := page.Call("GET", where+"?texts=false", nil).OK(); strings.Contains(string(got.Body), "tub 0") {
				t.Errorf("texts stay behind: %s", got.Body)
			}
			if got := page.Call("GET", where+"?texts=some", nil); got.Status != http.StatusBadRequest {
				t.Errorf("texts=some: %d %s", got.Status, got.Body)
			}
			if got := other.Call("GET", where, nil); got.Status != http.StatusNotFound || strings.Contains(string(got.Body), "tub 0") {
				t.Errorf("to another breeder: %d %s", got.Status, got.Body)
			}
			if got := f.Program("").Call("GET", where, nil); got.Status != http.StatusUnauthorized {
				t.Errorf("to nobody: %d %s", got.Status, got.Body)
			}
			if strings.Contains(one, ids[1]) || !strings.Contains(one, ids[0]) {
				t.Error("one case was asked for")
			}
			var bare bytes.Buffer
			if _, err := admin.ExportCases(ctx, &bare, "origin", nil, false); err != nil || strings.Contains(bare.String(), "Leave it be") || strings.Contains(bare.String(), "tub ") || strings.Contains(bare.String(), "cork") || strings.Contains(bare.String(), "as it was") {
				t.Errorf("texts stay behind: %v", err)
			}
			if _, err := casefile.ReadAll(&bare); err != nil {
				t.Errorf("without texts it cannot be read: %v", err)
			}
			if _, err := admin.ExportCases(ctx, io.Discard, "copy", []string{"no-such-case"}, true); !care.IsCode(err, care.NotFound) {
				t.Errorf("a case that is not there: %v", err)
			}
		})
	}
}

// A file with a mistake, or one that does not fit what is there, adds nothing.
func TestImportIsWholeOrNothing(t *testing.T) {
	t.Parallel()
	var cfg server.Config
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { cfg = *c }})
	f.NewBreeder("b")
	ctx := care.WithReach(t.Context(), care.EverybodysReach)
	admin, err := server.OpenAdmin(ctx, server.Data{Dir: cfg.DataDir}, false)
	if err != nil {
		t.Fatal(err)
	}
	defer admin.Close()
	const (
		first  = `{"case":"c-1","at":"2026-03-06T15:00:00Z","kind":"handover","species":"python_regius","breeder":"x","animal":"a-1"}` + "\n"
		seen   = `{"case":"c-1","at":"2026-03-07T15:00:00Z","kind":"seen"}` + "\n"
		second = `{"case":"c 2","at":"2026-03-06T15:00:00Z","kind":"handover","species":"python_regius"}` + "\n"
		meal   = `{"case":"c 2","at":"2026-03-05T15:00:00Z","kind":"offer","result":"eaten"}` + "\n"
	)
	count := func() care.Counts {
		t.Helper()
		var n care.Counts
		if err := f.Server.Store().Read(ctx, func(tx care.Tx) (err error) { n, err = tx.Counts(); return err }); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := count()
	for _, c := range []struct{ name, text, says string }{
		{"a mistake in the last line", first + seen + `{"case":"c-1","at":"2026-03-08T15:00:00Z","kind":"weigh_in"}`, "line 3, field mass_g: is missing"},
		{"an entry in the future", first + seen + `{"case":"c-1","at":"2126-03-08T15:00:00Z","kind":"seen"}`, "line 3, field at: 2126-03-08T15:00:00Z lies in the future"},
		{"a handover in the future", first + `{"case":"c-2","at":"2126-03-08T15:00:00Z","kind":"handover","species":"boa_imperator"}`, "line 2, field at: The handover, 2126"},
		{"two breeders", first + strings.Replace(second, `"species"`, `"breeder":"y","species"`, 1), "more than one breeder"},
		{"one animal in two open cases", first + strings.Replace(second, `"species"`, `"animal":"a-1","species"`, 1), "line 2: The animal has another case"},
	} {
		if _, err := admin.ImportCases(ctx, strings.NewReader(c.text), "b"); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
		if after := count(); after != before {
			t.Errorf("%s: %+v became %+v", c.name, before, after)
		}
	}
	if _, err := admin.ImportCases(ctx, strings.NewReader(first), "nobody"); err == nil || !strings.Contains(err.Error(), "no breeder") {
		t.Errorf("%v", err)
	}
	sum, err := admin.ImportCases(ctx, strings.NewReader(first+seen+second+meal), "b")
	if err != nil || sum.Cases != 2 || sum.Animals != 2 || sum.Entries != 2 {
		t.Fatalf("%+v, %v", sum, err)
	}
	// The longer file adds what is new; the same id with other content does not.
	sum, err = admin.ImportCases(ctx, strings.NewReader(first+seen+second+meal+strings.ReplaceAll(meal, "03-05", "03-09")), "b")
	if err != nil || sum.Cases != 0 || sum.Animals != 0 || sum.Entries != 1 {
		t.Errorf("a longer file: %+v, %v", sum, err)
	}
	named := `{"case":"c-1","at":"2026-03-09T15:00:00Z","kind":"weigh_in","id":"w-1","mass_g":90}`
	if _, err := admin.ImportCases(ctx, strings.NewReader(first+named), "b"); err != nil {
		t.Error(err)
	}
	var e *casefile.Error
	if _, err := admin.ImportCases(ctx, strings.NewReader(first+strings.Replace(named, "90}", "91}", 1)), "b"); !errors.As(err, &e) || e.Line != 2 || !strings.Contains(e.Text, "other content") {
		t.Errorf("other content: %v", err)
	}
	// An animal that was sold again: what comes in of its history is news to the
	// case that is open.
	again := strings.ReplaceAll(first, "c-1", "c-3")
	again = strings.Replace(strings.Replace(again, "a-1", "a-3", 1), "2026-03", "2026-04", 1)
	if _, err := admin.ImportCases(ctx, strings.NewReader(again), "b"); err != nil {
		t.Fatal(err)
	}
	version := func() int64 {
		t.Helper()
		v, err := f.Server.FollowUp().GetCase(ctx, care.Actor{Kind: care.Service, BreederID: "b"}, servertest.Epoch, "b", "c-3")
		if err != nil {
			t.Fatal(err)
		}
		return v.Case.Version
	}
	was := version()
	earlier := strings.ReplaceAll(strings.ReplaceAll(again, "c-3", "c-4"), "2026-04", "2026-01") +
		`{"case":"c-4","at":"2026-01-02T15:00:00Z","kind":"offer","result":"refused"}` + "\n" +
		`{"case":"c-4","at":"2026-02-02T15:00:00Z","kind":"outcome","outcome":"returned"}` + "\n"
	if _, err := admin.ImportCases(ctx, strings.NewReader(earlier), "b"); err != nil {
		t.Fatal(err)
	}
	if now := version(); now == was {
		t.Error("the open case does not know of the history that came in")
	}
	if _, err := admin.ImportCases(ctx, strings.NewReader(strings.Replace(first, "15:00:00", "16:00:00", 1)), "b"); !errors.As(err, &e) || e.Line != 1 || !strings.Contains(e.Text, "another case with this id") {
		t.Errorf("another case: %v", err)
	}
}
