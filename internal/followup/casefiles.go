package followup

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/internal/words"

	"github.com/google/uuid"
)

// ExportCase returns a case as the lines of a case file. Its replay ends in the
// standing that the case has: the prior that was frozen at the handover goes
// along, the thresholds that it was judged by, and up to when it was assessed. A
// revoked handover has no case to export, which is a Precondition error. Without
// texts, notes, messages and the animal's name stay behind.
func (s *Service) ExportCase(ctx context.Context, who care.Actor, breederID, caseID string, texts bool) (lines []casefile.Line, err error) {
	if err := breederOnly(who, breederID, "case"); err != nil {
		return nil, err
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, err := tx.Case(breederID, caseID)
		if err != nil {
			return err
		}
		if c.ClosedAt != nil && c.Outcome == "" {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonCodeRevoked, Text: words.Say("This handover was revoked, so there is no case to export.")}
		}
		h, err := tx.Handover(breederID, caseID)
		if err != nil {
			return err
		}
		about, log, err := story(tx, &c)
		if err != nil {
			return err
		}
		a := about.Animal
		if !texts {
			a.Name, a.Note, a.Place = "", "", ""
		}
		file := casefile.Case{ID: caseID, HandedOverAt: c.HandedOverAt, Handover: &casefile.Handover{Animal: a, ShowDay: h.ShowDay,
			Hemi: about.Hemi, Learned: c.Learned, Thresholds: c.Thresholds, Until: later(c.AssessedAt, c.HandedOverAt), Unclaimed: about.Unclaimed}}
		left := map[string]bool{} // messages that stay behind
		for _, e := range log {
			if !texts {
				if e.Note = ""; e.Body.Kind() == care.KindMessage || left[e.Replaces] {
					left[e.ID] = true
					continue
				}
				if check, ok := e.Body.(care.SetupCheck); ok {
					check.Answers = slices.Clone(check.Answers)
					for i := range check.Answers {
						check.Answers[i].Note = ""
					}
					e.Body = check
				}
			}
			file.Log = append(file.Log, e)
		}
		// A withdrawal may be dated before the message that it takes back.
		file.Log = slices.DeleteFunc(file.Log, func(e care.Entry) bool { return left[e.Replaces] })
		lines = file.Lines()
		return nil
	})
	return lines, err
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// Imported says what an import added.
type Imported struct{ Animals, Cases, Entries int }

// ImportCases adds the cases of a case file to a breeder's book: animals,
// handovers, cases and entries, all or none. What is there already with the same
// content is left as it is, so the same file twice adds nothing. Ids are those
// of the file; where it gives none they are made of what the line says. What is
// wrong with the file is a *casefile.Error with its line.
func (s *Service) ImportCases(ctx context.Context, who care.Actor, now time.Time, breederID string, cases []*casefile.Case) (sum Imported, err error) {
	if err := breederOnly(who, breederID, "breeder"); err != nil {
		return sum, err
	}
	now = care.Instant(now)
	var from string
	for _, c := range cases {
		b := c.Handover.Animal.BreederID
		if from == "" {
			from = b
		}
		if b != "" && b != from {
			return sum, &care.Error{Code: care.Invalid, Reason: care.ReasonBadField, Text: words.Say("The file holds cases of more than one breeder, “{one}” and “{another}”. Import those of one breeder at a time.", from, b)}
		}
	}
	prior := lessons(cases)
	var touched []care.Case
	err = s.store.Write(ctx, func(tx care.Tx) error {
		sum, touched = Imported{}, nil
		if _, err := tx.Breeder(breederID); err != nil {
			return err
		}
		for i, c := range cases {
			in := importing{tx: tx, c: c, breederID: breederID, now: now, learned: prior[i], sum: &sum}
			after, err := in.run()
			if err != nil {
				return onLine(c.Opened(), err)
			}
			if after != nil {
				touched = append(touched, *after)
			}
		}
		return nil
	})
	if err != nil {
		return Imported{}, err
	}
	for i := range touched {
		s.hub.publish(change(&touched[i], "entry"))
	}
	return sum, nil
}

// onLine says on which line of the file what people are meant to see went
// wrong, unless that is said already.
func onLine(n int, err error) error {
	var e *care.Error
	if !errors.As(err, &e) || e.Code == care.Unavailable {
		return err
	}
	out := &casefile.Error{Line: n, Text: e.Text.String()}
	if len(e.Fields) > 0 {
		if out.Field = e.Fields[0].Field; out.Field == "entry.happen_time" {
			out.Field = "at"
		}
	}
	return out
}

// lessons is what each case learns from the others of the file, where it does
// not bring what it learned: the same as in a replay.
func lessons(cases []*casefile.Case) []care.Learned {
	type event struct {
		ms      int64
		asks    bool
		i       int
		refused bool
	}
	bySpecies := map[string][]event{}
	for i, c := range cases {
		species := c.Handover.Animal.Species
		list := append(bySpecies[species], event{c.HandedOverAt.UnixMilli(), true, i, false})
		for _, e := range c.Log {
			if o, ok := e.Body.(care.Offer); ok && !e.HappenedAt.After(c.HandedOverAt) {
				list = append(list, event{e.HappenedAt.UnixMilli(), false, i, o.Result != care.Eaten})
			}
		}
		bySpecies[species] = list
	}
	out := make([]care.Learned, len(cases))
	var teacher casefile.Teacher[int]
	for _, list := range bySpecies {
		slices.SortStableFunc(list, func(a, b event) int {
			if c := cmp.Compare(a.ms, b.ms); c != 0 || a.asks == b.asks {
				return c
			}
			if a.asks {
				return 1
			}
			return -1
		})
		teacher.Reset()
		for _, e := range list {
			if !e.asks {
				teacher.Offer(e.ms, e.i, e.refused)
				continue
			}
			others := teacher.Others(e.ms, e.i)
			subject := cases[e.i].Subject(cases[e.i].Learned(&others))
			out[e.i] = subject.Learned
		}
	}
	return out
}

// importing is one case on its way in.
type importing struct {
	tx        care.Tx
	c         *casefile.Case
	breederID string
	now       time.Time
	learned   care.Learned
	sum       *Imported
}

// made is an id that is made of what it stands for.
func (in *importing) made(what string) string {
	return uuid.NewSHA1(uuid.NameSpaceURL, []byte("warmhand/"+in.breederID+"/"+in.c.ID+"/"+what)).String()
}

func (in *importing) run() (*care.Case, error) {
	tx, file, h := in.tx, in.c, in.c.Handover
	caseID := file.ID
	if !casefile.Identifier(caseID) {
		caseID = in.made("case")
	}
	kase, err := tx.Case(in.breederID, caseID)
	if err != nil && !care.IsCode(err, care.NotFound) {
		return nil, err
	}
	fresh := err != nil
	a := h.Animal
	if a.BreederID = in.breederID; a.ID == "" {
		a.ID = in.made("animal")
	}
	if fresh {
		if err := in.animal(a); err != nil {
			return nil, err
		}
		if kase, err = in.open(caseID, a); err != nil {
			return nil, err
		}
	} else if kase.AnimalID != a.ID || !kase.HandedOverAt.Equal(file.HandedOverAt) {
		return nil, &care.Error{Code: care.Conflict, Reason: care.ReasonIDReused, Text: words.Say("There is another case with this id. Give the case of the file another one.")}
	}
	if kase.ClosedAt != nil && kase.Outcome == "" {
		return nil, &care.Error{Code: care.Precondition, Reason: care.ReasonCodeRevoked, Text: words.Say("The handover with this id was revoked here. Give the case of the file another id.")}
	}
	added, err := in.entries(&kase, a.ID)
	if err != nil || !fresh && added == 0 {
		return nil, err
	}
	if err := in.end(&kase); err != nil {
		return nil, err
	}
	if fresh { // the record shows the history, which is here only now
		if err := in.record(&kase); err != nil {
			return nil, err
		}
	}
	after, err := reassess(tx, kase, in.now)
	if err != nil {
		return nil, err
	}
	// What was added to the history is news to a later case of the animal too.
	if now, err := openCase(tx, in.breederID, a.ID); err != nil || now == nil || now.ID == kase.ID {
		return &after, err
	} else if _, err := reassess(tx, *now, in.now); err != nil {
		return nil, err
	}
	return &after, nil
}

// animal adds the animal unless it is there.
func (in *importing) animal(a care.Animal) error {
	old, err := in.tx.Animal(in.breederID, a.ID)
	if err == nil {
		if old.Species != a.Species {
			return &care.Error{Code: care.Conflict, Reason: care.ReasonIDReused, Text: words.Say("The animal “{id}” is of another species here, {species}. Give the animal of the file another id.", a.ID, old.Species)}
		}
		return nil
	}
	if !care.IsCode(err, care.NotFound) {
		return err
	}
	if a.Name == "" {
		a.Name = in.c.ID
	}
	a.CreatedAt, a.UpdatedAt, a.Version = in.now, in.now, 1
	if err := care.CheckAnimal(&a, in.now); err != nil {
		return err
	}
	in.sum.Animals++
	return in.tx.InsertAnimal(a)
}

// open adds the handover and its case. A card that was claimed has a keeper
// without a name, who gets back in with a code from the breeder.
func (in *importing) open(caseID string, a care.Animal) (care.Case, error) {
	at := in.c.HandedOverAt
	if at.After(in.now) {
		return care.Case{}, care.BadField("at", "The handover, {time}, lies in the future. Check the date.", at.Format(time.RFC3339))
	}
	h := care.Handover{BreederID: in.breederID, ID: caseID, AnimalID: a.ID, State: care.HandoverIssued, HandedOverAt: at, ShowDay: in.c.Handover.ShowDay,
		ClaimExpiresAt: in.now, CreatedAt: in.now, Version: 1}
	c := care.Case{BreederID: in.breederID, ID: caseID, AnimalID: a.ID, HandedOverAt: at, Learned: in.learned, Thresholds: in.c.Handover.Thresholds, CreatedAt: in.now, ChangedAt: in.now, Version: 1}
	if !in.c.Handover.Unclaimed {
		keeper := care.Keeper{ID: in.made("keeper"), CreatedAt: in.now}
		if err := in.tx.InsertKeeper(keeper); err != nil {
			return c, err
		}
		h.State, h.ClaimedAt, h.KeeperID, c.KeeperID = care.HandoverClaimed, &at, keeper.ID, keeper.ID
	}
	if err := in.tx.InsertHandover(h); err != nil {
		return c, err
	}
	in.sum.Cases++
	return c, in.tx.InsertCase(c)
}

// record writes the copy that goes with the card, as it would have been issued.
func (in *importing) record(c *care.Case) error {
	h, err := in.tx.Handover(in.breederID, c.ID)
	if err != nil {
		return err
	}
	b, err := in.tx.Breeder(in.breederID)
	if err != nil {
		return err
	}
	a, err := in.tx.Animal(in.breederID, c.AnimalID)
	if err != nil {
		return err
	}
	log, err := in.tx.Log(in.breederID, a.ID)
	if err != nil {
		return err
	}
	history := slices.DeleteFunc(log, func(e care.Entry) bool { return e.HappenedAt.After(c.HandedOverAt) })
	h.Record = record(&b, &a, caseLog(history, c), c.HandedOverAt)
	return in.tx.UpdateHandover(h)
}

// entries adds what is not there yet, and links corrections.
func (in *importing) entries(c *care.Case, animalID string) (added int, err error) {
	ids, err := in.ids()
	if err != nil {
		return 0, err
	}
	at := func(i int, err error) error { return onLine(in.c.Line(i), err) }
	for i, e := range in.c.Log {
		e.BreederID, e.AnimalID, e.ID, e.ReplacedBy = in.breederID, animalID, ids[i], ""
		if e.CaseID != "" {
			e.CaseID = c.ID
		}
		if e.By == care.KeeperActor {
			e.ByID = c.KeeperID
		}
		_, end := e.Body.(care.Ended)
		if err := care.CheckEntry(&e, in.now); err != nil && !(end && isEndRule(err)) {
			return added, at(i, err)
		}
		if e.ReceivedAt.After(in.now) {
			return added, at(i, care.BadField("received_at", "{time} lies in the future. Check the date.", e.ReceivedAt.Format(time.RFC3339)))
		}
		old, err := in.tx.Entry(in.breederID, animalID, e.ID)
		if err == nil {
			// What an earlier keeper saw, who passed the animal on, is in two cases.
			if passed, ok := care.PassedOn(old); ok && e.CaseID == "" && old.CaseID != "" && old.CaseID != c.ID && sameAs(&passed, &e) {
				if !slices.Contains(c.Earlier, old.CaseID) {
					c.Earlier = append(c.Earlier, old.CaseID)
				}
				continue
			}
			if !sameAs(&old, &e) {
				return added, at(i, &care.Error{Code: care.Conflict, Reason: care.ReasonIDReused, Text: words.Say("The entry “{id}” is there with other content. Correct it by a new line that replaces it.", e.ID)})
			}
			continue
		}
		if !care.IsCode(err, care.NotFound) {
			return added, err
		}
		if err := in.tx.InsertEntry(e); err != nil {
			return added, at(i, err)
		}
		added++
	}
	for i := range in.c.Log {
		by := in.c.Log[i].ReplacedBy
		if by == "" {
			continue
		}
		old, err := in.tx.Entry(in.breederID, animalID, ids[i])
		if err != nil {
			return added, err
		}
		id := ids[slices.IndexFunc(in.c.Log, func(e care.Entry) bool { return e.ID == by })]
		switch old.ReplacedBy {
		case id:
		case "":
			if err := in.tx.MarkReplaced(in.breederID, animalID, ids[i], id); err != nil {
				return added, at(i, err)
			}
		default:
			return added, at(i, &care.Error{Code: care.Conflict, Reason: care.ReasonAlreadyReplaced, Text: words.Say("This entry was corrected otherwise already.")})
		}
	}
	in.sum.Entries += added
	return added, nil
}

// isEndRule reports whether err only says that ends are not made by entries.
func isEndRule(err error) bool {
	var e *care.Error
	return errors.As(err, &e) && len(e.Fields) == 1 && e.Fields[0].Field == "entry.ended"
}

// sameAs compares an entry that is there with one that comes in; who wrote it
// on the other server has another name here.
func sameAs(old, e *care.Entry) bool {
	x := *e
	x.ByID = old.ByID
	switch had := old.Body.(type) { // pictures do not travel
	case care.SetupCheck:
		if b, ok := x.Body.(care.SetupCheck); ok && len(b.Answers) == len(had.Answers) {
			b.Answers = slices.Clone(b.Answers)
			for i := range b.Answers {
				b.Answers[i].Photos, b.Answers[i].Taps = had.Answers[i].Photos, had.Answers[i].Taps
			}
			x.Body = b
		}
	case care.Message:
		if b, ok := x.Body.(care.Message); ok {
			b.Photos = had.Photos
			if b.Mark != nil && had.Mark != nil {
				mark := *b.Mark
				mark.Photo, mark.At = had.Mark.Photo, had.Mark.At
				b.Mark = &mark
			}
			x.Body = b
		}
	}
	return sameEntry(old, &x)
}

// ids are the ids of the entries: those of the file, and for a line without one
// an id made of what it says. Those of one instant sort as their lines stand.
func (in *importing) ids() ([]string, error) {
	ids := make([]string, len(in.c.Log))
	lines := in.c.Lines()[1:]
	n := 0
	for i := range in.c.Log {
		if n++; i == 0 || !in.c.Log[i].HappenedAt.Equal(in.c.Log[i-1].HappenedAt) {
			n = 0
		}
		if ids[i] = lines[i].Entry.ID; ids[i] == "" {
			text, err := casefile.Append(nil, &lines[i])
			if err != nil {
				return nil, err
			}
			ids[i] = fmt.Sprintf("%03d-%s", n, in.made(string(bytes.TrimSpace(text))))
		}
	}
	return ids, nil
}

// end closes or opens the case as its last end says.
func (in *importing) end(c *care.Case) error {
	log, err := in.tx.Log(c.BreederID, c.AnimalID)
	if err != nil {
		return err
	}
	c.ClosedAt, c.Outcome = nil, ""
	for i := range log {
		if e, ok := log[i].Body.(care.Ended); ok && log[i].CaseID == c.ID && log[i].Current() {
			if c.ClosedAt, c.Outcome = &log[i].HappenedAt, e.Outcome; e.Reopened {
				c.ClosedAt, c.Outcome = nil, ""
			}
		}
	}
	if c.ClosedAt != nil {
		return nil
	}
	cases, err := animalCases(in.tx, c.BreederID, c.AnimalID)
	if err != nil {
		return err
	}
	for i := range cases {
		if cases[i].ClosedAt == nil && cases[i].ID != c.ID {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonAnimalHasCase, Text: words.Say("The animal has another case that is still followed up. End that one first, or give the animal of the file another id.")}
		}
	}
	return nil
}
