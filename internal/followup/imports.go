package followup

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"warmhand/internal/care"
	"warmhand/internal/sheet"
	"warmhand/internal/words"
)

// A list is brought in by steps: AddImport keeps that there is one, PreviewImport
// says what it would add, ConfirmImport has it added, which RunImports then does
// in pieces; UndoImport takes all of it back.

const (
	// importPiece is how many rows one transaction writes, so that phones that
	// log meanwhile wait no longer than for a few of their own writes.
	importPiece = 200
	// problemsShown bounds a preview; their number is told.
	problemsShown = 1000
)

// reading is how a list is read, as it is kept with its import.
type reading struct {
	Mapping sheet.Mapping `json:"mapping"`
	Leave   []int         `json:"leave,omitempty"` // rows
}

// Preview is what a list would add. Nothing of it is saved.
type Preview struct {
	Import    care.Import
	Table     *sheet.Table
	Mapping   sheet.Mapping
	Questions []sheet.Question
	Problems  []sheet.Problem // in order of rows; at most a thousand
	Wrong     int             // rows that are left out
	Warnings  int
	Rows      int
	Animals   int // new ones
	Entries   int // that are not there yet
	Already   int
	Earlier   *time.Time // when the same file was brought in before
}

// AddImport keeps a list's name until it is confirmed; a repeat with the same
// content gets the first answer.
func (s *Service) AddImport(ctx context.Context, who care.Actor, now time.Time, in care.Import) (care.Import, error) {
	if err := breederOnly(who, in.BreederID, "breeder"); err != nil {
		return in, err
	}
	now = care.Instant(now)
	in.State, in.By, in.ByID, in.CreatedAt, in.Version = care.ImportDraft, who.Kind, who.ID(), now, 1
	err := s.store.Write(ctx, func(tx care.Tx) error {
		old, err := tx.Import(in.BreederID, in.ID)
		switch {
		case err == nil && old.Digest != in.Digest:
			return &care.Error{Code: care.Conflict, Reason: care.ReasonIDReused, Text: words.Say("This id already belongs to another list. Make a new id for each list.")}
		case err == nil:
			in = old
			return nil
		case !care.IsCode(err, care.NotFound):
			return err
		}
		return tx.InsertImport(in)
	})
	return in, err
}

// GetImport returns one import.
func (s *Service) GetImport(ctx context.Context, who care.Actor, breederID, importID string) (in care.Import, err error) {
	if err := breederOnly(who, breederID, "import"); err != nil {
		return in, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		in, err = tx.Import(breederID, importID)
		return err
	})
	return in, err
}

// ListImports pages through the breeder's imports, newest first, without those
// that were never confirmed.
func (s *Service) ListImports(ctx context.Context, who care.Actor, breederID string, after care.Cursor, limit int) (list []care.Import, next care.Cursor, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, next, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		list, next, err = tx.ListImports(breederID, after, limit)
		return err
	})
	return slices.DeleteFunc(list, func(i care.Import) bool { return i.State == care.ImportDraft }), next, err
}

// bookOf is what planning needs to know of the breeder. Animals that this import
// made are left out: they are planned as the first time, and found by their ids.
func bookOf(tx care.Tx, in *care.Import) (book sheet.Book, err error) {
	b, err := tx.Breeder(in.BreederID)
	if err != nil {
		return book, err
	}
	if book.Zone, err = time.LoadLocation(b.TimeZone); err != nil {
		book.Zone = time.UTC
	}
	touched, err := tx.ListImportAnimals(in.BreederID, in.ID)
	if err != nil {
		return book, err
	}
	made := map[string]bool{}
	for _, a := range touched {
		made[a.AnimalID] = a.Made
	}
	if book.Animals, err = stockOf(tx, in.BreederID); err != nil {
		return book, err
	}
	book.Animals = slices.DeleteFunc(book.Animals, func(a care.Animal) bool { return made[a.ID] })
	book.MakeID = func(what string) string {
		if !strings.HasPrefix(what, "number/") { // the breeder's own numbers mean the same in every list
			what = in.ID + "/" + what
		}
		return uuid.NewSHA1(uuid.NameSpaceURL, []byte("warmhand/"+in.BreederID+"/"+what)).String()
	}
	return book, nil
}

// stockOf is the whole stock book, newest first.
func stockOf(tx care.Tx, breederID string) (all []care.Animal, err error) {
	for after := (care.Cursor{}); ; {
		page, next, err := tx.ListAnimals(breederID, "", after, 500)
		if err != nil {
			return nil, err
		}
		all = append(all, page...)
		if after = next; next == (care.Cursor{}) {
			return all, nil
		}
	}
}

// ofAnimal are the lines of one animal, in order of time.
type ofAnimal struct {
	id    string
	lines []sheet.Line
}

// byAnimal groups lines by animal, in the order in which the list names them.
func byAnimal(lines []sheet.Line) []ofAnimal {
	var groups []ofAnimal
	at := map[string]int{}
	for _, l := range lines {
		i, ok := at[l.AnimalID]
		if !ok {
			i = len(groups)
			at[l.AnimalID] = i
			groups = append(groups, ofAnimal{id: l.AnimalID})
		}
		groups[i].lines = append(groups[i].lines, l)
	}
	for i := range groups {
		slices.SortStableFunc(groups[i].lines, func(a, b sheet.Line) int { return a.At.Compare(b.At) })
	}
	return groups
}

// sifted is a line that is not in the log yet. slip is why its value is most
// likely a slip, or nil.
type sifted struct {
	line  sheet.Line
	entry care.Entry
	slip  error
}

// sift finds what of an animal's lines is not in its log. A line is there
// already when as many entries of the same content stand at its time as lines
// so far: two equal rows of one list are two meals, and the same list once more
// adds none.
func sift(in *care.Import, group ofAnimal, log []care.Entry, zone *time.Location, now time.Time) (fresh []sifted) {
	type place struct {
		at, content string
	}
	exactly := func(at time.Time) string { return at.UTC().Format(time.RFC3339Nano) }
	day := func(at time.Time) string { return at.In(zone).Format(time.DateOnly) }
	there, seen := map[place]int{}, map[place]int{}
	ids := map[string]bool{}
	var weights []care.Entry // in order of time; all that a slip is judged by
	for i := range log {
		e := &log[i]
		ids[e.ID] = true
		if !e.Current() {
			continue
		}
		content := sheet.Content(e.Body)
		there[place{exactly(e.HappenedAt), content}]++
		there[place{day(e.HappenedAt), content}]++
		if e.Body.Kind() == care.KindWeighIn {
			weights = append(weights, *e)
		}
	}
	for _, l := range group.lines {
		e := care.Entry{BreederID: in.BreederID, AnimalID: group.id, ID: entryOfRow(in.ID, l.Row, l.Column), By: in.By, ByID: in.ByID,
			HappenedAt: l.At, ReceivedAt: now, Note: l.Note, Body: l.Body}
		p := place{exactly(l.At), sheet.Content(l.Body)}
		if l.DayOnly {
			p.at = day(l.At)
		}
		if seen[p]++; seen[p] <= there[p] || ids[e.ID] {
			continue
		}
		slip := care.CheckSlip(&e, weights)
		// Whoever confirmed the list was shown it as one.
		e.Confirmed = slip != nil
		fresh = append(fresh, sifted{l, e, slip})
		if e.Body.Kind() == care.KindWeighIn {
			at, _ := slices.BinarySearchFunc(weights, e, func(a, b care.Entry) int { return cmp.Or(a.HappenedAt.Compare(b.HappenedAt), -1) })
			weights = slices.Insert(weights, at, e)
		}
	}
	return fresh
}

// entryOfRow is the id of the entry that a cell makes. It begins with the
// import's, so that what an import made is found again.
func entryOfRow(importID string, row, column int) string {
	return fmt.Sprintf("%s-%06d-%03d", importID, row, column+1)
}

// PreviewImport says what a list would add and what is wrong with it. m may
// leave open what the list decides by itself.
func (s *Service) PreviewImport(ctx context.Context, who care.Actor, now time.Time, breederID, importID string, t *sheet.Table, m sheet.Mapping, leave []int) (v Preview, err error) {
	if err := breederOnly(who, breederID, "import"); err != nil {
		return v, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		if v.Import, err = tx.Import(breederID, importID); err != nil {
			return err
		}
		_, err := preview(tx, &v, now, t, m, leave)
		return err
	})
	return v, err
}

// preview fills in v, whose import is set, and returns the plan.
func preview(tx care.Tx, v *Preview, now time.Time, t *sheet.Table, m sheet.Mapping, leave []int) (*sheet.Plan, error) {
	book, err := bookOf(tx, &v.Import)
	if err != nil {
		return nil, err
	}
	v.Table = t
	v.Mapping, v.Questions = t.Guess(m, now)
	plan := t.Plan(v.Mapping, v.Questions, book, setOf(leave), now)
	v.Questions, v.Rows, v.Animals = plan.Questions, plan.Rows, len(plan.Animals)
	problems := plan.Problems
	for _, group := range byAnimal(plan.Lines) {
		log, err := tx.Log(v.Import.BreederID, group.id)
		if err != nil {
			return nil, err
		}
		fresh := sift(&v.Import, group, log, book.Zone, now)
		v.Entries += len(fresh)
		v.Already += len(group.lines) - len(fresh)
		for _, f := range fresh {
			var slip *care.Error
			if errors.As(f.slip, &slip) {
				problems = append(problems, slipProblem(t, v.Mapping, f.line, slip))
			}
		}
	}
	slices.SortStableFunc(problems, func(a, b sheet.Problem) int { return cmp.Compare(a.Row, b.Row) })
	for _, p := range problems {
		if p.Warning {
			v.Warnings++
		} else {
			v.Wrong++
		}
	}
	v.Problems = problems[:min(len(problems), problemsShown)]
	list, _, err := tx.ListImports(v.Import.BreederID, care.Cursor{}, 200)
	if err != nil {
		return nil, err
	}
	for _, old := range list {
		if old.State == care.ImportDone && old.Digest == v.Import.Digest && old.ID != v.Import.ID && v.Earlier == nil {
			v.Earlier = old.ConfirmedAt
		}
	}
	return plan, nil
}

func setOf(list []int) map[int]bool {
	set := map[int]bool{}
	for _, n := range list {
		set[n] = true
	}
	return set
}

func slipProblem(t *sheet.Table, m sheet.Mapping, l sheet.Line, slip *care.Error) sheet.Problem {
	number := func(key string) words.Number {
		v, _ := strconv.ParseFloat(slip.Meta[key], 64) // care.CheckSlip wrote it
		return words.AsMany(v)
	}
	text := words.Say("This looks like a slip or a wrong unit. Leave the row out unless it is right.")
	switch l.Body.Kind() {
	case care.KindWeighIn:
		text = words.Say("{now} g after {before} g looks like a slip or a wrong unit. Leave the row out unless it is right.", number("value"), number("against"))
	case care.KindOffer:
		text = words.Say("Prey of {prey} g is heavier than the snake, {snake} g. Leave the row out unless it is right.", number("value"), number("against"))
	case care.KindClimate:
		text = words.Say("{c} °C is hotter than any enclosure should be. Leave the row out unless it is right.", number("value"))
	}
	return sheet.Problem{Row: l.Row, Column: l.Column, Title: sheet.Title(t.Headings(m.HeadingRow), l.Column), Value: slip.Meta["value"], Text: text, Warning: true}
}

var errImportGoesOn = &care.Error{Code: care.Precondition, Reason: care.ReasonImportState, Text: words.Say("This list is being worked on just now. Wait until that has ended.")}

// ConfirmImport has a list added as m says, without the rows in leave. What is
// open or wrong refuses it, unless leaveWrong says that wrong rows stay out. A
// repeat, once it is confirmed, gets the import as it is.
func (s *Service) ConfirmImport(ctx context.Context, who care.Actor, now time.Time, breederID, importID string, t *sheet.Table, m sheet.Mapping, leave []int, leaveWrong bool) (in care.Import, err error) {
	if err := breederOnly(who, breederID, "import"); err != nil {
		return in, err
	}
	now = care.Instant(now)
	var confirmed bool
	// Looked at in a Read, so that no phone waits for it. What the stock book is
	// changed to meanwhile counts when the list is added.
	err = s.store.Read(ctx, func(tx care.Tx) error {
		v := Preview{}
		if v.Import, err = tx.Import(breederID, importID); err != nil {
			return err
		}
		in = v.Import
		switch in.State {
		case care.ImportRunning, care.ImportDone:
			confirmed = true
			return nil
		case care.ImportUndoing:
			return errImportGoesOn
		case care.ImportUndone:
			return &care.Error{Code: care.Precondition, Reason: care.ReasonImportState, Text: words.Say("This import was undone. Choose the file again to bring it in anew.")}
		}
		plan, err := preview(tx, &v, now, t, m, leave)
		if err != nil {
			return err
		}
		switch {
		case len(v.Questions) > 0:
			return care.BadField("mapping", "Something is still open: {question}", v.Questions[0].Text)
		case v.Wrong > 0 && !leaveWrong:
			p := v.Problems[slices.IndexFunc(v.Problems, func(p sheet.Problem) bool { return !p.Warning })]
			return care.BadField("leave_wrong", "Row {row}: {problem} Put the list right, or say that such rows are left out.", p.Row, p.Text)
		case v.Animals+v.Entries == 0 && in.State == care.ImportDraft:
			return &care.Error{Code: care.Precondition, Reason: care.ReasonNothingNew, Text: words.Say("There is nothing in this list that is not there already.")}
		}
		if in.Reading, err = json.Marshal(reading{v.Mapping, leave}); err != nil {
			return fmt.Errorf("keeping how a list is read: %w", err)
		}
		in.State, in.By, in.ByID, in.ConfirmedAt, in.EndedAt, in.Trouble = care.ImportRunning, who.Kind, who.ID(), &now, nil, words.Text{}
		in.Done, in.Total = 0, len(plan.Animals)+len(plan.Lines)
		return nil
	})
	if err != nil || confirmed {
		return in, err
	}
	err = s.store.Write(ctx, func(tx care.Tx) error { return stale(tx.UpdateImport(in)) })
	in.Version++
	return in, err
}

// UndoImport takes back all that an import added. What hangs on something that
// came later stays; the import says so once it is undone.
func (s *Service) UndoImport(ctx context.Context, who care.Actor, now time.Time, breederID, importID string) (in care.Import, err error) {
	if err := breederOnly(who, breederID, "import"); err != nil {
		return in, err
	}
	if who.Kind == care.Helper {
		return in, errNotYours // it takes animals out of the stock book
	}
	err = s.store.Write(ctx, func(tx care.Tx) error {
		if in, err = tx.Import(breederID, importID); err != nil {
			return err
		}
		switch in.State {
		case care.ImportUndoing, care.ImportUndone:
			return nil
		case care.ImportRunning:
			return errImportGoesOn
		case care.ImportDraft:
			return &care.Error{Code: care.Precondition, Reason: care.ReasonImportState, Text: words.Say("This list was not brought in, so there is nothing to undo.")}
		}
		in.State, in.By, in.ByID, in.EndedAt, in.Trouble, in.Kept = care.ImportUndoing, who.Kind, who.ID(), nil, words.Text{}, nil
		in.Done, in.Total = 0, in.Animals+in.Entries
		if err := tx.UpdateImport(in); err != nil {
			return stale(err)
		}
		in.Version++
		return nil
	})
	return in, err
}

// PendingImports are those of all breeders that were confirmed, or are to be
// undone, and have not ended.
func (s *Service) PendingImports(ctx context.Context) (list []care.Import, err error) {
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		list, err = tx.PendingImports(10)
		return err
	})
	return list, err
}

// FailImport ends an import that cannot go on, with a reason for people. What it
// added so far stays, until it is undone or confirmed again.
func (s *Service) FailImport(ctx context.Context, now time.Time, in care.Import, why words.Text) error {
	now = care.Instant(now)
	return s.store.Write(ctx, func(tx care.Tx) error {
		in, err := tx.Import(in.BreederID, in.ID)
		if err != nil || in.State != care.ImportRunning && in.State != care.ImportUndoing {
			return err
		}
		in.State, in.EndedAt, in.Trouble = care.ImportFailed, &now, why
		return tx.UpdateImport(in)
	})
}

// SheetOf is the sheet of its workbook that a confirmed import reads, "" for the
// only one.
func (s *Service) SheetOf(in care.Import) (string, error) {
	read, err := readingOf(in)
	return read.Mapping.Sheet, err
}

func readingOf(in care.Import) (read reading, err error) {
	if err := json.Unmarshal(in.Reading, &read); err != nil {
		return read, fmt.Errorf("how a list is read: %w", err)
	}
	return read, nil
}

// RunImport adds a confirmed list, or goes on where it was stopped: what is
// there already is not added again. It may be stopped at any point and run again.
func (s *Service) RunImport(ctx context.Context, now time.Time, in care.Import, t *sheet.Table) error {
	read, err := readingOf(in)
	if err != nil {
		return err
	}
	now = care.Instant(now)
	var book sheet.Book
	if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		book, err = bookOf(tx, &in)
		return err
	}); err != nil {
		return err
	}
	plan := t.Plan(read.Mapping, nil, book, setOf(read.Leave), *in.ConfirmedAt)
	r := &runner{s: s, in: in, now: now, zone: book.Zone}
	for i := 0; i < len(plan.Animals); i += importPiece {
		piece := plan.Animals[i:min(i+importPiece, len(plan.Animals))]
		if err := r.step(ctx, len(piece), func(tx care.Tx) error { return r.animals(tx, i, piece) }); err != nil {
			return err
		}
	}
	groups := byAnimal(plan.Lines)
	for len(groups) > 0 {
		n, rest := 0, 0
		for n < len(groups) && (rest == 0 || rest+len(groups[n].lines) <= importPiece) {
			rest += len(groups[n].lines)
			n++
		}
		var more bool
		if err := r.step(ctx, rest, func(tx care.Tx) (err error) {
			more, err = r.lines(tx, groups[:n])
			return err
		}); err != nil {
			return err
		}
		if !more {
			groups = groups[n:]
		}
	}
	return r.end(ctx, care.ImportDone)
}

// runner takes the steps of one import or of its undoing.
type runner struct {
	s       *Service
	in      care.Import
	now     time.Time
	zone    *time.Location
	touched []care.Case // by the step
}

// step is one transaction. Another server that works on the same import is
// noticed by the version, and this one stops.
func (r *runner) step(ctx context.Context, steps int, do func(tx care.Tx) error) error {
	var before, after care.Import
	before = r.in
	err := r.s.store.Write(ctx, func(tx care.Tx) error {
		r.in, r.touched = before, nil
		if err := do(tx); err != nil {
			return err
		}
		r.in.Done = min(r.in.Done+steps, r.in.Total)
		if err := tx.UpdateImport(r.in); err != nil {
			return err
		}
		after = r.in
		after.Version++
		return nil
	})
	if err != nil {
		return err
	}
	r.in = after
	for i := range r.touched {
		r.s.hub.publish(change(&r.touched[i], "entry"))
	}
	return nil
}

func (r *runner) end(ctx context.Context, state care.ImportState) error {
	return r.step(ctx, 0, func(care.Tx) error {
		r.in.State, r.in.EndedAt, r.in.Done = state, &r.now, r.in.Total
		return nil
	})
}

// animals adds animals that are not there. first is the place of the piece.
func (r *runner) animals(tx care.Tx, first int, piece []sheet.Addition) error {
	for i, add := range piece {
		a := add.Animal
		a.BreederID = r.in.BreederID
		// The stock book shows the newest first: in the order of the list.
		a.CreatedAt = r.in.ConfirmedAt.Add(-time.Duration(first+i) * time.Millisecond)
		a.UpdatedAt, a.Version = r.now, 1
		old, err := tx.Animal(a.BreederID, a.ID)
		switch {
		case care.IsCode(err, care.NotFound):
			err = tx.InsertAnimal(a)
		case err == nil && old.DeletedAt != nil: // taken out before, and now back
			a.CreatedAt, a.Version = old.CreatedAt, old.Version
			cases, listed := animalCases(tx, a.BreederID, a.ID)
			if listed != nil {
				return listed
			}
			if len(cases) > 0 { // records were made for its species
				a.Species = old.Species
			}
			err = tx.UpdateAnimal(a)
		case err == nil:
			continue
		}
		if err != nil {
			return err
		}
		r.in.Animals++
		if err := tx.PutImportAnimal(care.ImportAnimal{BreederID: a.BreederID, ImportID: r.in.ID, AnimalID: a.ID, Made: true}); err != nil {
			return err
		}
	}
	return nil
}

// lines adds what is not in the logs yet, at most a piece; more says that
// something is left.
func (r *runner) lines(tx care.Tx, groups []ofAnimal) (more bool, err error) {
	left := importPiece
	for _, group := range groups {
		a, err := tx.Animal(r.in.BreederID, group.id)
		if care.IsCode(err, care.NotFound) || err == nil && a.DeletedAt != nil {
			continue // taken out meanwhile
		}
		if err != nil {
			return false, err
		}
		log, err := tx.Log(r.in.BreederID, group.id)
		if err != nil {
			return false, err
		}
		fresh := sift(&r.in, group, log, r.zone, r.now)
		if len(fresh) == 0 {
			continue
		}
		if len(fresh) > left {
			fresh, more = fresh[:left], true
		}
		for i := range fresh {
			if err := tx.InsertEntry(fresh[i].entry); err != nil {
				return false, err
			}
		}
		left -= len(fresh)
		r.in.Entries += len(fresh)
		if err := tx.PutImportAnimal(care.ImportAnimal{BreederID: r.in.BreederID, ImportID: r.in.ID, AnimalID: group.id}); err != nil {
			return false, err
		}
		if err := r.reassess(tx, group.id); err != nil {
			return false, err
		}
		if more {
			break
		}
	}
	return more, nil
}

// reassess computes the animal's open case anew, whose history has changed.
func (r *runner) reassess(tx care.Tx, animalID string) error {
	c, err := openCase(tx, r.in.BreederID, animalID)
	if err != nil || c == nil {
		return err
	}
	after, err := reassess(tx, *c, r.now)
	r.touched = append(r.touched, after)
	return err
}

// RunUndo takes an import back, or goes on where it was stopped.
func (s *Service) RunUndo(ctx context.Context, now time.Time, in care.Import) error {
	now = care.Instant(now)
	u := &undoing{runner: runner{s: s, in: in, now: now}, kept: map[string]words.Text{}, names: map[string]string{}, parents: map[string][]string{}}
	var list []care.ImportAnimal
	if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		list, err = tx.ListImportAnimals(in.BreederID, in.ID)
		return err
	}); err != nil {
		return err
	}
	for len(list) > 0 {
		n, made := 0, len(u.made)
		if err := u.step(ctx, 0, func(tx care.Tx) (err error) {
			u.made = u.made[:made]
			n, err = u.withdraw(tx, list)
			return err
		}); err != nil {
			return err
		}
		list = list[n:]
	}
	if err := u.findParents(ctx); err != nil {
		return err
	}
	for len(u.made) > 0 {
		piece := u.made[:min(importPiece, len(u.made))]
		if err := u.step(ctx, 0, func(tx care.Tx) error { return u.remove(tx, piece) }); err != nil {
			return err
		}
		u.made = u.made[len(piece):]
	}
	return u.step(ctx, 0, func(care.Tx) error {
		ids := make([]string, 0, len(u.kept))
		for id := range u.kept {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		u.in.Kept = nil
		for _, id := range ids {
			u.in.Kept = append(u.in.Kept, care.KeptByUndo{AnimalID: id, Name: u.names[id], Why: u.kept[id]})
		}
		u.in.State, u.in.EndedAt, u.in.Done = care.ImportUndone, &u.now, u.in.Total
		return nil
	})
}

// undoing is a runner that takes back.
type undoing struct {
	runner
	made    []string              // animals to take out
	kept    map[string]words.Text // animals that stay, and why
	names   map[string]string
	parents map[string][]string // children of an animal that are still there
}

// withdraw takes back the entries of animals, at most a piece, and returns how
// many animals are through. An animal that was handed over since keeps its log,
// which stands in the keeper's record.
func (u *undoing) withdraw(tx care.Tx, list []care.ImportAnimal) (n int, err error) {
	left := importPiece
	for _, x := range list {
		a, err := tx.Animal(x.BreederID, x.AnimalID)
		if err != nil {
			return n, err
		}
		u.names[a.ID] = a.Name
		handed, err := u.handedOver(tx, a.ID)
		if err != nil {
			return n, err
		}
		if handed {
			u.kept[a.ID] = words.Say("It was handed over since, and its history stands in the keeper's record.")
			n++
			continue
		}
		log, err := tx.Log(x.BreederID, x.AnimalID)
		if err != nil {
			return n, err
		}
		withdrawn, corrected, others := 0, 0, 0
		for i := range log {
			e := &log[i]
			ours := strings.HasPrefix(e.ID, u.in.ID+"-")
			switch {
			case ours && e.Current():
				if withdrawn == left {
					return n, u.reassess(tx, a.ID) // the rest of this animal in the next step
				}
				id := e.ID + "-u"
				w := care.Entry{BreederID: e.BreederID, AnimalID: e.AnimalID, ID: id, CaseID: e.CaseID, By: u.in.By, ByID: u.in.ByID,
					HappenedAt: u.now, ReceivedAt: u.now, Replaces: e.ID, Body: care.Withdrawal{}}
				if err := tx.InsertEntry(w); err != nil {
					return n, err
				}
				if err := tx.MarkReplaced(e.BreederID, e.AnimalID, e.ID, id); err != nil {
					return n, err
				}
				withdrawn++
				u.in.Entries--
				u.in.Done++
			case ours && e.ReplacedBy != "" && e.ReplacedBy != e.ID+"-u":
				corrected++
			case !ours && e.Current():
				others++
			}
		}
		left -= withdrawn
		if withdrawn > 0 {
			if err := u.reassess(tx, a.ID); err != nil {
				return n, err
			}
		}
		switch {
		case x.Made && a.DeletedAt != nil:
		case x.Made && others > 0:
			u.kept[a.ID] = words.Say("Something was logged on it since. The lines of the list are withdrawn.")
		case x.Made:
			u.made = append(u.made, a.ID)
		case corrected > 0:
			u.kept[a.ID] = words.Say("Lines of the list were corrected since; the corrections stay.")
		}
		n++
	}
	return n, nil
}

// handedOver reports whether the animal was handed over after the import.
func (u *undoing) handedOver(tx care.Tx, animalID string) (bool, error) {
	list, _, err := tx.ListHandovers(u.in.BreederID, animalID, care.Cursor{}, 20)
	if err != nil {
		return false, err
	}
	return slices.ContainsFunc(list, func(h care.Handover) bool {
		return h.State != care.HandoverRevoked && h.CreatedAt.After(*u.in.ConfirmedAt)
	}), nil
}

// findParents keeps animals whose young stay, and those that were followed up.
func (u *undoing) findParents(ctx context.Context) error {
	gone := map[string]bool{}
	for _, id := range u.made {
		gone[id] = true
	}
	return u.s.store.Read(ctx, func(tx care.Tx) error {
		stay, err := stockOf(tx, u.in.BreederID)
		if err != nil {
			return err
		}
		for changed := true; changed; {
			changed = false
			for i := range stay {
				if a := &stay[i]; !gone[a.ID] {
					for _, parent := range []string{a.MotherID, a.FatherID} {
						if gone[parent] {
							u.kept[parent] = words.Say("It is a parent of {name}, which stays.", a.Name)
							delete(gone, parent)
							changed = true
						}
					}
				}
			}
		}
		u.made = slices.DeleteFunc(u.made, func(id string) bool { return !gone[id] })
		return nil
	})
}

// remove takes animals out of the stock book.
func (u *undoing) remove(tx care.Tx, ids []string) error {
	for _, id := range ids {
		a, err := tx.Animal(u.in.BreederID, id)
		if err != nil {
			return err
		}
		if a.DeletedAt != nil {
			continue
		}
		if cases, err := animalCases(tx, u.in.BreederID, id); err != nil {
			return err
		} else if len(cases) > 0 {
			u.kept[id] = words.Say("It was followed up.")
			continue
		}
		a.DeletedAt, a.UpdatedAt = &u.now, u.now
		if err := tx.UpdateAnimal(a); err != nil {
			return err
		}
		u.in.Animals--
		u.in.Done++
	}
	return nil
}

// StockBook is what an export writes: the animals that are in the stock book,
// and what the breeder logged outside of cases. What belongs to a case leaves in
// its case file. Each log is read when it is asked for.
func (s *Service) StockBook(ctx context.Context, who care.Actor, breederID string) (*sheet.Stock, error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return nil, err
	}
	stock := &sheet.Stock{Log: func(animalID string) (log []care.Entry, err error) {
		err = s.store.Read(ctx, func(tx care.Tx) (err error) {
			log, err = tx.Log(breederID, animalID)
			return err
		})
		return slices.DeleteFunc(log, func(e care.Entry) bool { return e.CaseID != "" || !e.Current() }), err
	}}
	err := s.store.Read(ctx, func(tx care.Tx) error {
		b, err := tx.Breeder(breederID)
		if err != nil {
			return err
		}
		if stock.Zone, err = time.LoadLocation(b.TimeZone); err != nil {
			stock.Zone = time.UTC
		}
		stock.Animals, err = stockOf(tx, breederID)
		return err
	})
	return stock, err
}
