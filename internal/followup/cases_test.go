package followup_test

import (
	"database/sql"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/followup"
)

// A sign that is gone closes its flag, at once or after it was watched a while.
func TestSignGoneClosesItsFlag(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	flag := func(code string) (f care.Flag) {
		t.Helper()
		for _, f = range p.flags(t, c) {
			if f.Code == "sign:"+code {
				return f
			}
		}
		t.Fatalf("no flag of %s", code)
		return f
	}
	now := t0.Add(3 * day)
	for _, code := range []string{"mites", "wheeze"} {
		p.log(t, keeper, c, now, care.Sign{Code: code})
		if f := flag(code); f.ClosedAt != nil {
			t.Fatalf("%s: %+v", code, f)
		}
		now = now.Add(day)
		p.log(t, keeper, c, now, care.Sign{Code: code, Gone: true})
	}
	if f := flag("mites"); f.ClosedAt == nil {
		t.Errorf("mites are gone: %+v", f)
	}
	if f := flag("wheeze"); f.ClosedAt != nil || f.Level != care.Watch {
		t.Errorf("a wheeze is gone, and to be watched: %+v", f)
	}
	now = now.Add(15 * day)
	p.log(t, keeper, c, now, care.Seen{})
	if f := flag("wheeze"); f.ClosedAt == nil {
		t.Errorf("a wheeze is gone for two weeks: %+v", f)
	}
}

func TestEndAndReopen(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	now := t0.Add(10 * day)
	p.log(t, keeper, c, now, care.Sign{Code: "wheeze"})
	if openFlags(p.flags(t, c)) == 0 {
		t.Fatal("a wheeze opens no flag")
	}
	_, err := p.EndCase(t.Context(), p.loam, now, "loam", c.ID, "", "", "end-request-1")
	wantField(t, err, "outcome")
	v, err := p.EndCase(t.Context(), p.loam, now, "loam", c.ID, care.OutcomeVet, "with the vet now", "end-request-1")
	if err != nil || v.Case.ClosedAt == nil || v.Case.Outcome != care.OutcomeVet {
		t.Fatalf("%+v, %v", v.Case, err)
	}
	if n := openFlags(p.flags(t, c)); n != 0 {
		t.Errorf("%d flags of an ended case are open", n)
	}
	again, err := p.EndCase(t.Context(), p.loam, now.Add(day), "loam", c.ID, care.OutcomeVet, "with the vet now", "end-request-1")
	if err != nil || !again.Case.ClosedAt.Equal(now) || again.Case.Version != v.Case.Version {
		t.Errorf("repeat: %+v, %v", again.Case, err)
	}
	_, err = p.EndCase(t.Context(), p.loam, now, "loam", c.ID, care.OutcomeDied, "", "end-request-1")
	wantReason(t, err, care.ReasonRequestReused)
	_, err = p.EndCase(t.Context(), p.loam, now, "loam", c.ID, care.OutcomeDied, "", "end-request-2")
	wantReason(t, err, care.ReasonCaseClosed)

	entry := care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Body: care.WeighIn{Mass: 98}}
	for _, who := range []care.Actor{keeper, p.loam} {
		_, err = p.CreateEntry(t.Context(), who, now, entry)
		wantReason(t, err, care.ReasonCaseClosed)
	}
	_, err = p.MayAddPhoto(t.Context(), keeper, "loam", c.ID, "photo-1")
	wantReason(t, err, care.ReasonCaseClosed)

	v, err = p.ReopenCase(t.Context(), p.loam, now.Add(day), "loam", c.ID, "reopen-request-1")
	if err != nil || v.Case.ClosedAt != nil || v.Case.Outcome != "" {
		t.Fatalf("%+v, %v", v.Case, err)
	}
	if _, err := p.ReopenCase(t.Context(), p.loam, now.Add(day), "loam", c.ID, "reopen-request-1"); err != nil {
		t.Errorf("repeat: %v", err)
	}
	if _, err = p.CreateEntry(t.Context(), keeper, now, entry); err != nil {
		t.Errorf("after reopening: %v", err)
	}
	if openFlags(p.flags(t, c)) == 0 {
		t.Error("the wheeze is forgotten")
	}
	kinds := map[care.Kind]int{}
	for _, e := range p.entries(t, p.loam, c) {
		kinds[e.Body.Kind()]++
	}
	if kinds[care.KindOutcome] != 2 {
		t.Errorf("the log has %d entries of end and reopening, want 2", kinds[care.KindOutcome])
	}
}

// The breeder corrects an entry of an ended case no more than anybody adds one,
// named or not.
func TestEndedCaseTakesNoCorrection(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, _ := p.sold(t)
	old := p.log(t, p.loam, c, t0.Add(day), care.WeighIn{Mass: 98})
	if _, err := p.EndCase(t.Context(), p.loam, t0.Add(2*day), "loam", c.ID, care.OutcomeSettled, "", p.id("request")); err != nil {
		t.Fatal(err)
	}
	for _, caseID := range []string{c.ID, ""} {
		_, err := p.CreateEntry(t.Context(), p.loam, t0.Add(3*day), care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: caseID, ID: p.id("entry"), HappenedAt: t0.Add(day), Replaces: old.ID, Body: care.WeighIn{Mass: 97}})
		wantReason(t, err, care.ReasonCaseClosed)
	}
}

func TestReopenGivesWayToANewerCase(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, _ := p.sold(t)
	if _, err := p.EndCase(t.Context(), p.loam, t0.Add(day), "loam", c.ID, care.OutcomeReturned, "", p.id("request")); err != nil {
		t.Fatal(err)
	}
	p.handover(t, a, t0.Add(2*day))
	_, err := p.ReopenCase(t.Context(), p.loam, t0.Add(3*day), "loam", c.ID, p.id("request"))
	wantReason(t, err, care.ReasonAnimalHasCase)
	if v := p.get(t, c); v.Case.ClosedAt == nil || v.Case.Outcome != care.OutcomeReturned {
		t.Errorf("%+v", v.Case)
	}
	err = p.DeleteAnimal(t.Context(), p.loam, t0.Add(3*day), "loam", a.ID)
	wantReason(t, err, care.ReasonAnimalHasCase)
}

func openFlags(list []care.Flag) (n int) {
	for _, f := range list {
		if f.ClosedAt == nil {
			n++
		}
	}
	return n
}

func flag(list []care.Flag, code string) *care.Flag {
	for i := range list {
		if list[i].Code == code {
			return &list[i]
		}
	}
	return nil
}

// Time alone changes what is known: nothing heard is a concern that appears by
// itself, once, and goes when somebody writes.
func TestPassFindsSilence(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	if f := flag(p.flags(t, c), "silence"); f != nil {
		t.Fatalf("silence on the day of the claim: %+v", f)
	}
	looked, err := p.Pass(t.Context(), t0.Add(90*time.Minute))
	if err != nil || looked != 0 {
		t.Errorf("looked at %d cases whose time has not come, %v", looked, err)
	}
	late := t0.Add(60 * day)
	if looked, err = p.Pass(t.Context(), late); err != nil || looked != 1 {
		t.Fatalf("looked at %d, %v", looked, err)
	}
	f := flag(p.flags(t, c), "silence")
	if f == nil || f.ClosedAt != nil || !f.OpenedAt.Equal(late) {
		t.Fatalf("after 60 days of silence: %+v", f)
	}
	if v := p.get(t, c); v.Case.Standing < care.Watch || v.Assessment.NothingHeardDays < 55 || !v.Case.AssessedAt.Equal(late) {
		t.Errorf("%+v", v.Case)
	}
	// The same pass again, and by a program that was started anew.
	if looked, err = p.Pass(t.Context(), late); err != nil || looked != 0 {
		t.Errorf("again: looked at %d, %v", looked, err)
	}
	fresh := followup.New(p.store, p.codes, p.codes)
	if looked, err = fresh.Pass(t.Context(), late.Add(7*day)); err != nil || looked != 1 {
		t.Errorf("a week later, started anew: looked at %d, %v", looked, err)
	}
	silences := 0
	for _, f := range p.flags(t, c) {
		if f.Code == "silence" {
			silences++
		}
	}
	if silences != 1 {
		t.Errorf("%d flags for one silence", silences)
	}
	p.log(t, keeper, c, late.Add(2*day), care.Seen{})
	f = flag(p.flags(t, c), "silence")
	if f == nil || f.ClosedAt == nil || len(f.History) < 2 || f.History[0].What != "opened" || f.History[len(f.History)-1].What != "closed" {
		t.Errorf("after a word: %+v", f)
	}
}

func TestPassLeavesEndedCasesAlone(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, _ := p.sold(t)
	_, open, _ := p.sold(t)
	v, err := p.EndCase(t.Context(), p.loam, t0.Add(day), "loam", c.ID, care.OutcomeSettled, "", p.id("request"))
	if err != nil {
		t.Fatal(err)
	}
	looked, err := p.Pass(t.Context(), t0.Add(60*day))
	if err != nil || looked != 1 {
		t.Errorf("looked at %d, %v", looked, err)
	}
	if got := p.get(t, c).Case; got.Version != v.Case.Version || !got.AssessedAt.Equal(v.Case.AssessedAt) {
		t.Errorf("the ended case was looked at: %+v", got)
	}
	if got := p.get(t, open).Case; !got.AssessedAt.Equal(t0.Add(60 * day)) {
		t.Errorf("the open one was not: %v", got.AssessedAt)
	}
}

// More cases than one batch, in one pass.
func TestPassLooksAtAll(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	sold, _, _ := p.sold(t)
	const n = 130
	p.write(t, func(tx care.Tx) error {
		for range n {
			a := sold
			a.ID = p.id("animal")
			if err := tx.InsertAnimal(a); err != nil {
				return err
			}
			h := care.Handover{BreederID: "loam", ID: p.id("case"), AnimalID: a.ID, State: care.HandoverIssued, HandedOverAt: t0, CodeHash: p.id("hash"), CreatedAt: t0, Version: 1}
			if err := tx.InsertHandover(h); err != nil {
				return err
			}
			if err := tx.InsertCase(care.Case{BreederID: "loam", ID: h.ID, AnimalID: a.ID, HandedOverAt: t0, CreatedAt: t0, DueAt: t0.Add(day), Version: 1}); err != nil {
				return err
			}
		}
		return nil
	})
	if looked, err := p.Pass(t.Context(), t0.Add(2*day)); err != nil || looked != n+1 {
		t.Errorf("looked at %d, want %d, %v", looked, n+1, err)
	}
}

// One log that cannot be read does not stop the pass for everybody else.
func TestPassGoesOnAfterAFailure(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	bad, c, _ := p.sold(t)
	_, fine, _ := p.sold(t)
	db, err := sql.Open("sqlite3", "file:"+p.dir+"/warmhand.db?_busy_timeout=5000")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(t.Context(), "UPDATE entries SET body = '[]' WHERE animal_id = ?", bad.ID); err != nil {
		t.Fatal(err)
	}
	looked, err := p.Pass(t.Context(), t0.Add(60*day))
	if looked != 1 || err == nil || !strings.Contains(err.Error(), c.ID) {
		t.Errorf("looked at %d, %v", looked, err)
	}
	if got := p.get(t, fine).Case; !got.AssessedAt.Equal(t0.Add(60 * day)) {
		t.Errorf("the good one was assessed at %v", got.AssessedAt)
	}
}

// A flag over its life, by what a keeper logs: it opens, gets worse, gets
// better and closes, and all of that is kept.
func TestFlagsOverALife(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	at := t0
	until := func(d int) {
		for at.Before(t0.Add(time.Duration(d) * day)) {
			at = at.Add(day)
			if _, err := p.Pass(t.Context(), at); err != nil {
				t.Fatal(err)
			}
		}
	}
	for week := range 8 {
		until(7*week + 5)
		p.log(t, keeper, c, at.Add(time.Hour), care.Offer{Result: care.Refused, Prey: "rat", PreyState: care.Thawed, PreyMass: 9})
		p.log(t, keeper, c, at.Add(2*time.Hour), care.WeighIn{Mass: 99 - care.Grams(week)*2.5})
	}
	worst := p.get(t, c).Case.Standing
	if worst < care.StepIn {
		t.Fatalf("eight refusals and a fifth of its weight gone: %v", worst)
	}
	for week := range 8 {
		until(7*week + 61)
		p.log(t, keeper, c, at.Add(time.Hour), care.WeighIn{Mass: 84 + care.Grams(week)*5})
		p.log(t, keeper, c, at.Add(2*time.Hour), care.Offer{Result: care.Eaten, Prey: "rat", PreyState: care.Thawed, PreyMass: 9})
	}
	until(130)
	if now := p.get(t, c).Case.Standing; now >= worst {
		t.Errorf("eight meals later it stands at %v, was %v", now, worst)
	}
	happened := map[string]bool{}
	for _, f := range p.flags(t, c) {
		if len(f.History) == 0 || f.History[0].What != "opened" || !f.History[0].At.Equal(f.OpenedAt) {
			t.Errorf("%s does not begin with its opening: %+v", f.ID, f.History)
			continue
		}
		last := f.History[len(f.History)-1]
		if (f.ClosedAt != nil) != (last.What == "closed") {
			t.Errorf("%s: closed at %v, last %+v", f.ID, f.ClosedAt, last)
		}
		for i, h := range f.History {
			happened[h.What] = true
			if i > 0 {
				before := f.History[i-1]
				if h.At.Before(before.At) || h.What == "rose" && h.Level <= before.Level || h.What == "fell" && h.Level >= before.Level {
					t.Errorf("%s: %+v after %+v", f.ID, h, before)
				}
			}
		}
	}
	for _, what := range []string{"opened", "rose", "closed"} {
		if !happened[what] {
			t.Errorf("no flag %s", what)
		}
	}
}

func TestMarkSeen(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	if c.SeenAt != nil {
		t.Fatal("a new case was seen already")
	}
	v, err := p.MarkSeen(t.Context(), p.loam, t0.Add(day), "loam", c.ID)
	if err != nil || v.Case.SeenAt == nil || !v.Case.SeenAt.Equal(t0.Add(day)) || v.Case.ChangedAt.After(*v.Case.SeenAt) {
		t.Fatalf("%+v, %v", v.Case, err)
	}
	p.log(t, keeper, c, t0.Add(2*day), care.Sign{Code: "wheeze"})
	v = p.get(t, c)
	if v.Case.Standing != care.Vet || !v.Case.ChangedAt.After(*v.Case.SeenAt) {
		t.Errorf("a wheeze is no news: %+v", v.Case)
	}
	changed := v.Case.ChangedAt
	p.log(t, keeper, c, t0.Add(3*day), care.Message{Text: "hello"})
	if v = p.get(t, c); !v.Case.ChangedAt.Equal(changed) {
		t.Error("a message moved the standing")
	}
	list, _, err := p.ListCases(t.Context(), p.helper, t0, "loam", care.CaseQuery{Open: true}, care.Cursor{}, 10)
	if err != nil || len(list) != 1 || list[0].Case.Headline.String() == "" || list[0].Animal.Name != "tub 14" {
		t.Errorf("triage list: %+v, %v", list, err)
	}
	none, _, err := p.ListCases(t.Context(), p.other, t0, "fern", care.CaseQuery{}, care.Cursor{}, 10)
	if err != nil || len(none) != 0 {
		t.Errorf("another breeder's list: %+v, %v", none, err)
	}
}

func TestAnimalChanges(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, _ := p.sold(t)
	now := t0.Add(day)
	changed := a
	changed.Name, changed.Note = "tub 15", "gone"
	got, err := p.UpdateAnimal(t.Context(), p.helper, now, changed, []string{"display_name"})
	if err != nil || got.Name != "tub 15" || got.Note != a.Note || got.Version != a.Version+1 {
		t.Fatalf("%+v, %v", got, err)
	}
	if v := p.get(t, c).Case; !v.AssessedAt.Equal(now) {
		t.Errorf("its case was assessed at %v, not anew", v.AssessedAt)
	}
	changed.Name = "tub 16" // at the version from before
	_, err = p.UpdateAnimal(t.Context(), p.loam, now, changed, []string{"display_name"})
	if wantReason(t, err, care.ReasonStale).Code != care.Stale {
		t.Errorf("%v", err)
	}
	if got, err := p.GetAnimal(t.Context(), p.loam, "loam", a.ID); err != nil || got.Name != "tub 15" {
		t.Errorf("%+v, %v", got, err)
	}
	changed.Version = 0 // whatever is there
	if _, err = p.UpdateAnimal(t.Context(), p.loam, now, changed, []string{"display_name"}); err != nil {
		t.Error(err)
	}
	for field, in := range map[string]struct {
		change func(*care.Animal)
		names  string
	}{
		"species":      {func(a *care.Animal) { a.Species = "snake_of_dreams" }, "animal.species"},
		"mother":       {func(a *care.Animal) { a.MotherID = "nobody" }, "animal.mother"},
		"father":       {func(a *care.Animal) { a.FatherID = a.ID }, "animal.father"},
		"hatch_date":   {func(a *care.Animal) { a.Hatched = ptr(now.Add(72 * time.Hour)) }, "animal.hatch_date"},
		"colour_of_it": {func(*care.Animal) {}, "update_mask"},
	} {
		x := changed
		in.change(&x)
		_, err := p.UpdateAnimal(t.Context(), p.loam, now, x, []string{field})
		wantField(t, err, in.names)
	}

	// What was handed over keeps its species; its sex, day of hatching, genes and parents may be put right.
	moved := changed
	moved.Species = "pantherophis_guttatus"
	_, err = p.UpdateAnimal(t.Context(), p.loam, now, moved, []string{"species"})
	if e := wantReason(t, err, care.ReasonAnimalHasCase); len(e.Fields) != 1 || e.Fields[0].Field != "animal.species" {
		t.Errorf("fields %+v, want the species", e.Fields)
	}
	dam, err := p.CreateAnimal(t.Context(), p.loam, now, care.Animal{BreederID: "loam", ID: "dam", Name: "Ash", Species: a.Species, Sex: care.Female})
	if err != nil {
		t.Fatal(err)
	}
	right := changed
	right.Sex, right.Hatched, right.Genes, right.MotherID = care.Male, ptr(t0.AddDate(0, -6, 0)), []string{"pastel"}, dam.ID
	if got, err = p.UpdateAnimal(t.Context(), p.loam, now, right, []string{"species", "sex", "hatch_date", "genes", "mother"}); err != nil || got.MotherID != dam.ID || got.Sex != care.Male {
		t.Errorf("%+v, %v", got, err)
	}
	right.FatherID = dam.ID
	_, err = p.UpdateAnimal(t.Context(), p.loam, now, right, []string{"father"})
	wantField(t, err, "animal.father")
	if _, err := p.EndCase(t.Context(), p.loam, now, "loam", c.ID, care.OutcomeReturned, "", p.id("end")); err != nil {
		t.Fatal(err)
	}
	if got, err = p.UpdateAnimal(t.Context(), p.loam, now, moved, []string{"species"}); err != nil || got.Species != moved.Species {
		t.Errorf("after the end of its case: %+v, %v", got, err)
	}

	// Creating is idempotent by the caller's id.
	made := care.Animal{BreederID: "loam", ID: "mine-1", Species: "pantherophis_guttatus"}
	first, err := p.CreateAnimal(t.Context(), p.loam, now, made)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := p.CreateAnimal(t.Context(), p.loam, now.Add(day), made); err != nil || !again.CreatedAt.Equal(first.CreatedAt) {
		t.Errorf("%+v, %v", again, err)
	}
	made.Name = "another"
	_, err = p.CreateAnimal(t.Context(), p.loam, now, made)
	wantReason(t, err, care.ReasonIDReused)
	if err := p.DeleteAnimal(t.Context(), p.helper, now, "loam", made.ID); !care.IsCode(err, care.Denied) {
		t.Errorf("a helper deletes: %v", err)
	}
	for range 2 { // a repeat finds it gone, which is what was asked for
		if err := p.DeleteAnimal(t.Context(), p.loam, now, "loam", made.ID); err != nil {
			t.Error(err)
		}
	}
	_, err = p.CreateEntry(t.Context(), p.loam, now, care.Entry{BreederID: "loam", AnimalID: made.ID, ID: p.id("entry"), HappenedAt: now, Body: care.WeighIn{Mass: 20}})
	if !care.IsCode(err, care.NotFound) {
		t.Errorf("an entry for a deleted animal: %v", err)
	}
}

func TestBreederChanges(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	b, err := p.GetBreeder(t.Context(), p.loam, "loam")
	if err != nil {
		t.Fatal(err)
	}
	in := b
	in.TimeZone, in.Hemi = "Australia/Perth", care.South
	got, err := p.UpdateBreeder(t.Context(), p.loam, t0, in, []string{"time_zone", "hemisphere"})
	if err != nil || got.TimeZone != "Australia/Perth" || got.Hemi != care.South || got.Name != b.Name {
		t.Fatalf("%+v, %v", got, err)
	}
	_, err = p.UpdateBreeder(t.Context(), p.loam, t0, in, nil)
	wantReason(t, err, care.ReasonStale)
	in.Version = 0
	for field, x := range map[string]care.Breeder{
		"breeder.display_name": {ID: "loam", Name: " ", TimeZone: "UTC", Hemi: care.North},
		"breeder.time_zone":    {ID: "loam", Name: "Loam", TimeZone: "Local", Hemi: care.North},
		"breeder.hemisphere":   {ID: "loam", Name: "Loam", TimeZone: "UTC", Hemi: "east"},
	} {
		_, err := p.UpdateBreeder(t.Context(), p.loam, t0, x, nil)
		wantField(t, err, field)
	}
	if _, err := p.UpdateBreeder(t.Context(), p.helper, t0, in, nil); !care.IsCode(err, care.Denied) {
		t.Errorf("by a helper: %v", err)
	}
	if _, err := p.UpdateBreeder(t.Context(), p.other, t0, in, nil); !care.IsCode(err, care.NotFound) {
		t.Errorf("by another breeder: %v", err)
	}
}

func TestWatch(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	_, c, keeper := p.sold(t)
	mine, stop := p.Watch("loam")
	theirs, stopTheirs := p.Watch("fern")
	defer stopTheirs()
	next := func() followup.Change {
		t.Helper()
		select {
		case ch := <-mine:
			return ch
		case <-time.After(10 * time.Second):
			t.Fatal("no change came")
			return followup.Change{}
		}
	}
	p.log(t, keeper, c, t0.Add(day), care.WeighIn{Mass: 98})
	if got, want := next(), (followup.Change{BreederID: "loam", CaseID: c.ID, What: "entry"}); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if _, err := p.MarkSeen(t.Context(), p.loam, t0.Add(day), "loam", c.ID); err != nil {
		t.Fatal(err)
	}
	if got := next(); got.What != "seen" {
		t.Errorf("%+v", got)
	}
	if _, err := p.Pass(t.Context(), t0.Add(90*day)); err != nil {
		t.Fatal(err)
	}
	if got := next(); got.What != "standing" {
		t.Errorf("%+v", got)
	}

	// A refused write is no change; one that nobody reads in time is not waited for.
	_, err := p.EndCase(t.Context(), p.loam, t0, "loam", c.ID, "eaten by a bear", "", p.id("request"))
	wantField(t, err, "outcome")
	const many = 80
	for range many {
		if _, err := p.MarkSeen(t.Context(), p.loam, t0.Add(day), "loam", c.ID); err != nil {
			t.Fatal(err)
		}
	}
	resync, got := false, 0
	for len(mine) > 0 {
		resync = (<-mine).What == "resync" || resync
		got++
	}
	if !resync || got >= many {
		t.Errorf("%d of %d changes, told to read anew: %v", got, many, resync)
	}
	if len(theirs) != 0 {
		t.Errorf("another breeder was told %+v", <-theirs)
	}
	stop()
	stop()
	if _, err := p.MarkSeen(t.Context(), p.loam, t0.Add(day), "loam", c.ID); err != nil {
		t.Fatal(err)
	}
	if len(mine) != 0 {
		t.Errorf("told after it stopped: %+v", <-mine)
	}
}
