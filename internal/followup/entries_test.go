package followup_test

import (
	"reflect"
	"sync"
	"testing"
	"time"

	"warmhand/internal/care"
)

func TestRepeatGetsTheFirstAnswer(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	e := care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: t0.Add(day), Note: "calm",
		Body: care.Message{Text: "It came home well."}}
	first, err := p.CreateEntry(t.Context(), keeper, t0.Add(day), e)
	if err != nil {
		t.Fatal(err)
	}
	before := p.get(t, c).Case.Version
	e.Body = care.Message{Text: "It came home well.", Photos: []string{}} // an empty list is no other content
	again, err := p.CreateEntry(t.Context(), keeper, t0.Add(9*day), e)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(first, again) {
		t.Errorf("the repeat got %+v, the first call %+v", again, first)
	}
	if v := p.get(t, c).Case.Version; v != before {
		t.Errorf("the repeat changed the case: version %d, was %d", v, before)
	}

	for name, change := range map[string]func(*care.Entry){
		"text": func(e *care.Entry) { e.Body = care.Message{Text: "It came home ill."} },
		"kind": func(e *care.Entry) { e.Body = care.Seen{} },
		"time": func(e *care.Entry) { e.HappenedAt = e.HappenedAt.Add(time.Second) },
		"note": func(e *care.Entry) { e.Note = "wild" },
	} {
		other := e
		change(&other)
		_, err := p.CreateEntry(t.Context(), keeper, t0.Add(9*day), other)
		if wantReason(t, err, care.ReasonIDReused).Code != care.Conflict {
			t.Errorf("%s: %v is no conflict", name, err)
		}
	}
	_, err = p.CreateEntry(t.Context(), p.loam, t0.Add(9*day), e)
	wantReason(t, err, care.ReasonIDReused) // somebody else's
	e.CaseID, e.ID, e.Body = "", p.id("entry"), care.WeighIn{Mass: 99}
	if _, err = p.CreateEntry(t.Context(), p.loam, t0.Add(9*day), e); err != nil {
		t.Fatal(err)
	}
	e.CaseID = c.ID
	_, err = p.CreateEntry(t.Context(), p.loam, t0.Add(9*day), e)
	wantReason(t, err, care.ReasonIDReused) // elsewhere
	if e, err := p.GetEntry(t.Context(), p.loam, "loam", a.ID, first.ID); err != nil || !reflect.DeepEqual(e, first) {
		t.Errorf("after all that the log has %+v, %v", e, err)
	}
}

func TestCorrectionKeepsBoth(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	now := t0.Add(2 * day)
	wrong := p.log(t, keeper, c, now, care.WeighIn{Mass: 89})
	right := care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Replaces: wrong.ID, Body: care.WeighIn{Mass: 98}}
	if _, err := p.CreateEntry(t.Context(), keeper, now, right); err != nil {
		t.Fatal(err)
	}
	all := p.entries(t, p.loam, c)
	old, fresh := find(all, wrong.ID), find(all, right.ID)
	if old == nil || fresh == nil {
		t.Fatal("the history does not show both entries")
	}
	if old.ReplacedBy != right.ID || old.Body != (care.WeighIn{Mass: 89}) || old.Current() {
		t.Errorf("the old entry: %+v", old)
	}
	if fresh.Replaces != wrong.ID || !fresh.Current() {
		t.Errorf("the new entry: %+v", fresh)
	}

	// A corrected entry is corrected at its newest.
	right.ID, right.Body = p.id("entry"), care.WeighIn{Mass: 97}
	_, err := p.CreateEntry(t.Context(), keeper, now, right)
	if e := wantReason(t, err, care.ReasonAlreadyReplaced); e.Meta["replaced_by"] != fresh.ID {
		t.Errorf("the error does not lead to the newer entry: %v", e.Meta)
	}
	right.Replaces, right.Body = fresh.ID, care.Seen{}
	_, err = p.CreateEntry(t.Context(), keeper, now, right)
	wantField(t, err, "entry.replaces") // of another kind
	right.Replaces = "nowhere"
	_, err = p.CreateEntry(t.Context(), keeper, now, right)
	wantField(t, err, "entry.replaces")

	// Taken back altogether: neither counts any more.
	right.Replaces, right.Body = fresh.ID, care.Withdrawal{}
	if _, err := p.CreateEntry(t.Context(), keeper, now, right); err != nil {
		t.Fatal(err)
	}
	_, marks, err := p.Course(t.Context(), p.loam, now, "loam", c.ID)
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{wrong.ID, fresh.ID, right.ID} {
		if find(marks, id) != nil {
			t.Errorf("%s is still drawn", id)
		}
	}
}

func TestOnlyWhoeverMadeItCorrects(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	now := t0.Add(2 * day)
	theirs := p.log(t, p.loam, c, now, care.WeighIn{Mass: 98})
	mine := p.log(t, keeper, c, now, care.WeighIn{Mass: 97})
	history := p.entries(t, p.loam, c)
	var old care.Entry
	for _, e := range history {
		if e.CaseID == "" && e.Body.Kind() == care.KindWeighIn {
			old = e
		}
	}
	for _, x := range []struct {
		who      care.Actor
		replaces string
		body     care.Body
	}{
		{keeper, theirs.ID, care.WeighIn{Mass: 96}},
		{keeper, theirs.ID, care.Withdrawal{}},
		{keeper, old.ID, care.WeighIn{Mass: 96}},
		{p.loam, mine.ID, care.WeighIn{Mass: 96}},
	} {
		_, err := p.CreateEntry(t.Context(), x.who, now, care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Replaces: x.replaces, Body: x.body})
		wantField(t, err, "entry.replaces")
	}
	// A helper works in the breeder's place.
	if _, err := p.CreateEntry(t.Context(), p.helper, now, care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Replaces: theirs.ID, Body: care.WeighIn{Mass: 99}}); err != nil {
		t.Error(err)
	}
	// A correction goes where the entry is, whatever case it names.
	fixed, err := p.CreateEntry(t.Context(), p.loam, now, care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: old.HappenedAt, Replaces: old.ID, Body: old.Body})
	if err != nil || fixed.CaseID != "" {
		t.Errorf("corrected history is in case %q, %v", fixed.CaseID, err)
	}
}

func TestSlipIsAskedOnce(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	now := t0.Add(2 * day)
	e := care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Body: care.WeighIn{Mass: 990}}
	_, err := p.CreateEntry(t.Context(), keeper, now, e)
	slip := wantReason(t, err, care.ReasonLikelySlip)
	if slip.Code != care.Precondition || slip.Meta["value"] != "990" || slip.Meta["against"] != "99" || len(slip.Fields) != 1 || slip.Fields[0].Field != "entry.weigh_in.mass_g" {
		t.Errorf("slip: %+v", slip)
	}
	if _, err := p.GetEntry(t.Context(), keeper, "loam", a.ID, e.ID); !care.IsCode(err, care.NotFound) {
		t.Errorf("the slip is in the log: %v", err)
	}
	e.Confirmed = true
	saved, err := p.CreateEntry(t.Context(), keeper, now, e)
	if err != nil || !saved.Confirmed {
		t.Errorf("confirmed: %+v, %v", saved, err)
	}
}

func TestStepsAreTheBreeders(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	now := t0.Add(day)
	_, err := p.CreateEntry(t.Context(), keeper, now, care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Body: care.StepAgreed{Code: "leave_in_peace", HoldsDays: 5}})
	wantReason(t, err, care.ReasonNotYours)
	step := p.log(t, p.loam, c, now, care.StepAgreed{Code: "leave_in_peace", HoldsDays: 5})
	if e, err := p.GetEntry(t.Context(), keeper, "loam", a.ID, step.ID); err != nil || e.Body != (care.StepAgreed{Code: "leave_in_peace", HoldsDays: 5}) {
		t.Errorf("the keeper sees %+v, %v", e, err)
	}
	// What belongs to a case says to which.
	for _, body := range []care.Body{care.StepAgreed{Code: "x"}, care.Message{Text: "hello"}, care.Seen{}, care.SetupCheck{}} {
		_, err = p.CreateEntry(t.Context(), p.loam, now, care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("entry"), HappenedAt: now, Body: body})
		wantField(t, err, "entry.case")
	}
	second := p.animal(t)
	_, err = p.CreateEntry(t.Context(), p.loam, now, care.Entry{BreederID: "loam", AnimalID: second.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Body: care.Message{Text: "hello"}})
	wantField(t, err, "entry.case")
}

func TestPhotosBelongToTheCase(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	_, c2, keeper2 := p.sold(t)
	now := t0.Add(day)
	photo := care.Photo{BreederID: "loam", CaseID: c.ID, ID: "photo-1", Hash: "h", Source: "s", Width: 4, Height: 3, Bytes: 99}
	message := func(id string) error {
		_, err := p.CreateEntry(t.Context(), keeper, now, care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now, Body: care.Message{Text: "look", Photos: []string{id}}})
		return err
	}
	wantField(t, message(photo.ID), "entry.photos") // not there yet
	if existing, err := p.MayAddPhoto(t.Context(), keeper, "loam", c.ID, photo.ID); err != nil || existing != nil {
		t.Fatal(existing, err)
	}
	first, err := p.AddPhoto(t.Context(), keeper, now, photo)
	if err != nil || first.By != care.KeeperActor || first.ByID != keeper.KeeperID {
		t.Fatal(first, err)
	}
	if existing, err := p.MayAddPhoto(t.Context(), keeper, "loam", c.ID, photo.ID); err != nil || existing == nil || existing.Hash != "h" {
		t.Error(existing, err)
	}
	if again, err := p.AddPhoto(t.Context(), keeper, now.Add(day), photo); err != nil || !reflect.DeepEqual(again, first) {
		t.Error("the repeat got", again, err)
	}
	other := photo
	other.Source = "another picture"
	_, err = p.AddPhoto(t.Context(), keeper, now, other)
	wantReason(t, err, care.ReasonIDReused)
	if err := message(photo.ID); err != nil {
		t.Error(err)
	}
	setup := care.SetupCheck{Answers: []care.SetupAnswer{{Point: "lid_gaps", Choice: "locked_tight", Photos: []string{photo.ID}}}}
	p.log(t, keeper, c, now, setup)

	// Another case's picture is no picture here.
	_, err = p.CreateEntry(t.Context(), keeper2, now, care.Entry{BreederID: "loam", AnimalID: c2.AnimalID, CaseID: c2.ID, ID: p.id("entry"), HappenedAt: now, Body: setup})
	wantField(t, err, "entry.photos")
	for name, f := range map[string]func(care.Actor, string) error{
		"MayAddPhoto": func(who care.Actor, caseID string) error {
			_, err := p.MayAddPhoto(t.Context(), who, "loam", caseID, photo.ID)
			return err
		},
		"Photo": func(who care.Actor, caseID string) error {
			_, err := p.Photo(t.Context(), who, "loam", caseID, photo.ID)
			return err
		},
		"ListPhotos": func(who care.Actor, caseID string) error {
			list, err := p.ListPhotos(t.Context(), who, "loam", caseID)
			if err == nil && len(list) == 0 && caseID == c2.ID {
				return care.Missing("photo") // an empty list of one's own case gives nothing away
			}
			return err
		},
	} {
		for _, x := range []struct {
			who    care.Actor
			caseID string
		}{{keeper2, c.ID}, {p.other, c.ID}, {care.Actor{}, c.ID}, {keeper2, c2.ID}, {p.loam, c2.ID}} {
			if err := f(x.who, x.caseID); !care.IsCode(err, care.NotFound) {
				t.Errorf("%s of case %s by %+v: %v", name, x.caseID, x.who, err)
			}
		}
	}
}

func TestKeeperSeesTheirOwn(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	now := t0.Add(day)
	p.log(t, p.loam, c, now, care.Message{Text: "How is it?"})
	if _, err := p.EndCase(t.Context(), p.loam, now, "loam", c.ID, care.OutcomeReturned, "", p.id("request")); err != nil {
		t.Fatal(err)
	}
	// Sold again: the second keeper gets the breeder's history, not the first keeper's.
	_, code := p.handover(t, a, now.Add(day))
	second, v := p.claim(t, code, now.Add(day))
	mine := p.log(t, second, v.Case, now.Add(2*day), care.WeighIn{Mass: 99})
	all := p.entries(t, second, v.Case)
	histories := 0
	for _, e := range all {
		switch {
		case e.CaseID == "" && e.Note == "":
			histories++
		case e.CaseID == "":
			t.Errorf("the keeper reads the breeder's note %q", e.Note)
		case e.CaseID != v.Case.ID:
			t.Errorf("the keeper sees %s of case %s", e.ID, e.CaseID)
		}
	}
	if histories != 6 || find(all, mine.ID) == nil {
		t.Errorf("%d entries of the breeder's history, and the keeper's own: %v", histories, find(all, mine.ID))
	}
	for _, e := range p.entries(t, p.loam, c) {
		got, err := p.GetEntry(t.Context(), second, "loam", a.ID, e.ID)
		if allowed := e.CaseID == "" || e.CaseID == v.Case.ID; allowed != (err == nil) || err != nil && !care.IsCode(err, care.NotFound) {
			t.Errorf("entry %s of case %q: %v", e.ID, e.CaseID, err)
		} else if got.CaseID == "" && got.Note != "" {
			t.Errorf("the keeper reads the note %q", got.Note)
		}
	}
	if got, err := p.GetAnimal(t.Context(), second, "loam", a.ID); err != nil || got.Note != "" || got.Name != a.Name {
		t.Errorf("animal for the keeper: %+v, %v", got, err)
	}
	if got := p.get(t, v.Case); got.Animal.Note == "" {
		t.Error("the breeder lost the note")
	}
	for name, who := range map[string]care.Actor{"the first keeper": keeper, "another breeder": p.other, "nobody": {}, "a keeper without a name": {Kind: care.KeeperActor}} {
		_, err := p.GetCase(t.Context(), who, now, "loam", v.Case.ID)
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("GetCase by %s: %v", name, err)
		}
		_, _, err = p.Course(t.Context(), who, now, "loam", v.Case.ID)
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("Course by %s: %v", name, err)
		}
		_, err = p.ListFlags(t.Context(), who, "loam", v.Case.ID)
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("ListFlags by %s: %v", name, err)
		}
		_, err = p.GetHandover(t.Context(), who, "loam", v.Case.ID)
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("GetHandover by %s: %v", name, err)
		}
		_, err = p.CreateEntry(t.Context(), who, now.Add(2*day), care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: v.Case.ID, ID: p.id("entry"), HappenedAt: now, Body: care.Seen{}})
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("CreateEntry by %s: %v", name, err)
		}
	}
	// Lists and changes of the account are the breeder's alone.
	for name, err := range map[string]error{
		"ListCases":     second3(p.ListCases(t.Context(), second, t0, "loam", care.CaseQuery{}, care.Cursor{}, 10)),
		"ListAnimals":   second3(p.ListAnimals(t.Context(), second, "loam", "", care.Cursor{}, 10)),
		"ListHandovers": second3(p.ListHandovers(t.Context(), second, "loam", "", care.Cursor{}, 10)),
		"GetBreeder":    second2(p.GetBreeder(t.Context(), second, "loam")),
		"UpdateAnimal":  second2(p.UpdateAnimal(t.Context(), second, now, a, nil)),
		"DeleteAnimal":  p.DeleteAnimal(t.Context(), second, now, "loam", a.ID),
		"MarkSeen":      second2(p.MarkSeen(t.Context(), second, now, "loam", v.Case.ID)),
		"EndCase":       second2(p.EndCase(t.Context(), second, now, "loam", v.Case.ID, care.OutcomeDied, "", p.id("request"))),
		"ReopenCase":    second2(p.ReopenCase(t.Context(), second, now, "loam", c.ID, p.id("request"))),
	} {
		if !care.IsCode(err, care.NotFound) {
			t.Errorf("%s by a keeper: %v", name, err)
		}
	}
	// What the breeder logs after a case ended is not its keeper's any more.
	later, err := p.CreateEntry(t.Context(), p.loam, now.Add(time.Hour), care.Entry{BreederID: "loam", AnimalID: a.ID, ID: p.id("history"), HappenedAt: now, Body: care.WeighIn{Mass: 97}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.GetEntry(t.Context(), keeper, "loam", a.ID, later.ID); !care.IsCode(err, care.NotFound) || find(p.entries(t, keeper, c), later.ID) != nil {
		t.Errorf("the first keeper sees what was logged after the return: %v", err)
	}
	if find(p.entries(t, second, v.Case), later.ID) == nil {
		t.Error("the second keeper does not see all of the history")
	}
	mineOnly, err := p.KeeperCases(t.Context(), second, t0)
	if err != nil || len(mineOnly) != 1 || mineOnly[0].Case.ID != v.Case.ID || mineOnly[0].Animal.Note != "" {
		t.Errorf("the keeper's cases: %+v, %v", mineOnly, err)
	}
	if _, err := p.KeeperCases(t.Context(), p.loam, t0); !care.IsCode(err, care.Denied) {
		t.Errorf("KeeperCases by a breeder: %v", err)
	}
}

func second2[T any](_ T, err error) error                { return err }
func second3[T any](_ T, _ care.Cursor, err error) error { return err }

// Two phones and a scale on one animal at once: every entry is kept, and the
// case is assessed on all of them.
func TestConcurrentEntriesAreAllKept(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	now := t0.Add(3 * day)
	before := len(p.entries(t, p.loam, c))
	const clients, each = 8, 6
	ids := make([][each]string, clients)
	errs := make(chan error, clients*each)
	var wg sync.WaitGroup
	for i := range clients {
		wg.Add(1)
		go func() {
			defer wg.Done()
			who := keeper
			if i%2 == 1 {
				who = p.loam
			}
			for j := range each {
				ids[i][j] = p.id("entry")
				_, err := p.CreateEntry(t.Context(), who, now, care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: ids[i][j],
					HappenedAt: now.Add(time.Duration(i*each+j) * time.Millisecond), Body: care.WeighIn{Mass: 95 + care.Grams(j)}})
				errs <- err
			}
		}()
	}
	wg.Wait()
	close(errs)
	for err := range errs {
		if err != nil {
			t.Error(err)
		}
	}
	all := p.entries(t, p.loam, c)
	if len(all) != before+clients*each {
		t.Errorf("%d entries, want %d", len(all), before+clients*each)
	}
	for _, client := range ids {
		for _, id := range client {
			if find(all, id) == nil {
				t.Errorf("%s is lost", id)
			}
		}
	}
	// The last to be saved saw all the others: assessing again changes nothing.
	v := p.get(t, c)
	p.log(t, p.loam, c, now, care.Message{Text: "thank you"})
	w := p.get(t, c)
	if v.Assessment.LossPct != w.Assessment.LossPct || v.Case.Urgency != w.Case.Urgency {
		t.Errorf("the case was assessed without some of its entries: loss %v, then %v", v.Assessment.LossPct, w.Assessment.LossPct)
	}
	if w.Case.Version <= v.Case.Version {
		t.Errorf("version %d after %d", w.Case.Version, v.Case.Version)
	}
}

// What a phone kept while it was offline is saved whole or not at all, each
// entry judged after the ones before it.
func TestSeveralEntriesAtOnce(t *testing.T) {
	t.Parallel()
	p := newPlace(t)
	a, c, keeper := p.sold(t)
	now := t0.Add(20 * day)
	entry := func(ago time.Duration, body care.Body) care.Entry {
		return care.Entry{BreederID: "loam", AnimalID: a.ID, CaseID: c.ID, ID: p.id("entry"), HappenedAt: now.Add(-ago), Body: body}
	}
	week := []care.Entry{
		entry(9*day, care.Offer{Result: care.Refused, Prey: "rat"}),
		entry(6*day, care.WeighIn{Mass: 98}),
		entry(2*day, care.Offer{Result: care.Eaten, Prey: "rat", PreyMass: 9}),
	}
	week = append(week, entry(6*day, care.WeighIn{Mass: 97}))
	week[3].Replaces = week[1].ID // a correction of what is in the same batch

	slip := append(week[:4:4], entry(day, care.WeighIn{Mass: 970}))
	if _, failed, err := p.CreateEntries(t.Context(), keeper, now, slip); failed != 4 {
		t.Errorf("entry %d failed", failed)
	} else {
		wantReason(t, err, care.ReasonLikelySlip)
	}
	if got := p.entries(t, keeper, c); len(got) != 6 {
		t.Errorf("%d entries after a batch that failed, want the breeder's 6", len(got))
	}
	first, _, err := p.CreateEntries(t.Context(), keeper, now, week)
	if err != nil {
		t.Fatal(err)
	}
	before := p.get(t, c).Case
	again, _, err := p.CreateEntries(t.Context(), keeper, now.Add(day), week)
	first[1].ReplacedBy = week[3].ID
	if err != nil || !reflect.DeepEqual(again, first) {
		t.Errorf("the repeat got %+v, %v; the first call %+v", again, err, first)
	}
	if v := p.get(t, c).Case; v.Version != before.Version || !v.AssessedAt.Equal(before.AssessedAt) {
		t.Errorf("the repeat changed the case: %+v", v)
	}
	if got := p.entries(t, keeper, c); len(got) != 10 {
		t.Errorf("%d entries, want the breeder's 6 and 4", len(got))
	}
	// One by one comes to the same.
	q := newPlace(t)
	qa, qc, qk := q.sold(t)
	for _, e := range week {
		e.AnimalID, e.CaseID = qa.ID, qc.ID
		if _, err := q.CreateEntry(t.Context(), qk, now, e); err != nil {
			t.Fatal(err)
		}
	}
	one, all := q.get(t, qc).Assessment, p.get(t, c).Assessment
	if one.Standing != all.Standing || one.Urgency != all.Urgency || one.LogOdds != all.LogOdds || one.LossPct != all.LossPct {
		t.Errorf("at once %+v, one by one %+v", all, one)
	}
}
