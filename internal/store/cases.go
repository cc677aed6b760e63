package store

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"warmhand/internal/care"
)

// Handovers, the cases that follow them up, and what hangs on a case.

var (
	handovers = table{name: "handovers", what: "handover", key: 2, columns: columns(
		`breeder_id handover_id animal_id passed_from state handed_over_at show_day buyer_note price record code_hash
		claim_expires_at claimed_at keeper_id created_at version signed`)}
	signingKeys = table{name: "signing_keys", what: "signing key", key: 2, columns: columns(
		`breeder_id key_id public sealed created_at`)}
	followed = table{name: "cases", what: "case", key: 2, columns: columns(
		`breeder_id case_id animal_id keeper_id keeper_name handed_over_at closed_at outcome earlier give_back_at
		learned_mean learned_strength learned_animals thresholds created_at
		standing urgency headline assessment assessed_at due_at last_heard seen_at changed_at version
		looked_after_by aside_until aside_at aside_why seen_as wrote_at told_at answered_at silent next_step
		got_at read_at return_state ahead`),
		derived: columns(`open`)}
	// inList is a case without its assessment, which is most of its bytes.
	inList = table{name: "cases", what: "case", key: 2, columns: slices.DeleteFunc(slices.Clone(followed.columns), func(c string) bool { return c == "assessment" })}
	// judged is of a case what an assessment changes.
	judged = table{name: "cases", what: "case", key: 2, columns: columns(
		`breeder_id case_id thresholds standing urgency headline assessment assessed_at due_at last_heard changed_at version
		aside_until aside_at aside_why wrote_at told_at answered_at silent next_step ahead`)}
	flags = table{name: "flags", what: "flag", key: 3, columns: columns(
		`breeder_id case_id flag_id code level text opened_at closed_at history`)}
	looks = table{name: "looks", what: "look", key: 6, columns: columns(
		`breeder_id case_id by_kind by_id what day first_at last_at count`)}
	photos = table{name: "photos", what: "photo", key: 2, columns: columns(
		`breeder_id photo_id case_id by_kind by_id hash source width height bytes dark blurred taken_at received_at looked_at`)}
)

func lookRow(l *care.Look) []any {
	return []any{&l.BreederID, &l.CaseID, &l.By, &l.ByID, &l.What, instant{&l.Day}, instant{&l.FirstAt}, instant{&l.LastAt}, number[int]{&l.Count}}
}

func handoverRow(h *care.Handover) []any {
	return []any{&h.BreederID, &h.ID, &h.AnimalID, &h.From, &h.State, instant{&h.HandedOverAt}, &h.ShowDay, &h.BuyerNote, document[care.Price]{&h.Price}, handoverRecord{&h.Record}, &h.CodeHash,
		instant{&h.ClaimExpiresAt}, maybeInstant{&h.ClaimedAt}, &h.KeeperID, instant{&h.CreatedAt}, &h.Version, &h.Signed}
}

func signingKeyRow(k *care.SigningKey) []any {
	return []any{&k.BreederID, &k.ID, jsonText{&k.Public}, blob{&k.Sealed}, instant{&k.CreatedAt}}
}

func caseRow(c *care.Case) []any {
	return []any{&c.BreederID, &c.ID, &c.AnimalID, &c.KeeperID, &c.KeeperName, instant{&c.HandedOverAt}, maybeInstant{&c.ClosedAt}, &c.Outcome, document[[]string]{&c.Earlier}, maybeInstant{&c.GiveBackAt},
		&c.Learned.Mean, &c.Learned.Strength, number[int]{&c.Learned.Animals}, document[care.Thresholds]{&c.Thresholds}, instant{&c.CreatedAt},
		number[care.Standing]{&c.Standing}, &c.Urgency, said{&c.Headline}, jsonText{&c.Assessment}, instant{&c.AssessedAt}, instant{&c.DueAt},
		maybeInstant{&c.LastHeard}, maybeInstant{&c.SeenAt}, instant{&c.ChangedAt}, &c.Version,
		&c.LookedAfterBy, maybeInstant{&c.Aside.Until}, maybeInstant{&c.Aside.At}, &c.Aside.Why, number[care.Standing]{&c.SeenAs},
		maybeInstant{&c.WroteAt}, maybeInstant{&c.ToldAt}, maybeInstant{&c.AnsweredAt}, truth{&c.Silent}, said{&c.NextStep},
		maybeInstant{&c.GotAt}, maybeInstant{&c.ReadAt}, document[care.Return]{&c.Return}, jsonText{&c.Ahead}}
}

func judgedRow(c *care.Case) []any {
	all, some := caseRow(c), make([]any, len(judgedAt))
	for i, at := range judgedAt {
		some[i] = all[at]
	}
	return some
}

// judgedAt is where a row of cases has the columns of judged.
var judgedAt = func() (at []int) {
	for _, c := range judged.columns {
		at = append(at, slices.Index(followed.columns, c))
	}
	return at
}()

func listedRow(c *care.Case) []any {
	return slices.Delete(caseRow(c), assessmentAt, assessmentAt+1)
}

// assessmentAt is where a row of cases has its assessment.
var assessmentAt = slices.Index(followed.columns, "assessment")

func flagRow(f *care.Flag) []any {
	return []any{&f.BreederID, &f.CaseID, &f.ID, &f.Code, number[care.Standing]{&f.Level}, said{&f.Text},
		instant{&f.OpenedAt}, maybeInstant{&f.ClosedAt}, document[[]care.FlagChange]{&f.History}}
}

func photoRow(p *care.Photo) []any {
	return []any{&p.BreederID, &p.ID, &p.CaseID, &p.By, &p.ByID, &p.Hash, &p.Source, number[int]{&p.Width}, number[int]{&p.Height}, &p.Bytes,
		truth{&p.Dark}, truth{&p.Blurred}, maybeInstant{&p.TakenAt}, instant{&p.ReceivedAt}, maybeInstant{&p.LookedAt}}
}

// mostUrgent is the order of the triage list and where it goes on.
const mostUrgent = ` AND urgency <= ?5 AND (urgency < ?5 OR case_id > ?6) ORDER BY urgency DESC, case_id LIMIT ?7`

var (
	insertHandover = handovers.insertQuery()
	getHandover    = handovers.getQuery()
	handoverByCode = handovers.selectQuery(`WHERE code_hash = ?1 AND code_hash <> ''`)
	updateHandover = handovers.updateQuery()
	listHandovers  = handovers.selectQuery(`
		WHERE breeder_id = ?1 AND (?2 = '' OR animal_id = ?2)
		AND created_at <= ?3 AND (created_at < ?3 OR handover_id < ?4)
		ORDER BY created_at DESC, handover_id DESC LIMIT ?5`)

	insertSigningKey = signingKeys.insertQuery()
	listSigningKeys  = signingKeys.selectQuery(`WHERE breeder_id = ?1 ORDER BY created_at, key_id`)

	insertCase  = followed.insertQuery()
	getCase     = followed.getQuery()
	updateCase  = followed.updateQuery()
	judgeCase   = judged.updateQuery()
	caseVersion = newQuery("read a case's version", `SELECT version FROM cases WHERE breeder_id = ?1 AND case_id = ?2`)
	// Three texts with the same arguments, each of which an index serves; one
	// with ORs would be served by none. A plus keeps SQLite from another index
	// (https://www.sqlite.org/optoverview.html, section 2.1).
	listCases       = inList.selectQuery(`WHERE breeder_id = ?1 AND open = ?2 AND open = ?3 AND ?4 = ''` + mostUrgent)
	listAllCases    = inList.selectQuery(`WHERE breeder_id = ?1 AND open BETWEEN ?2 AND ?3 AND ?4 = ''` + mostUrgent)
	listAnimalCases = inList.selectQuery(`WHERE breeder_id = ?1 AND +open BETWEEN ?2 AND ?3 AND animal_id = ?4` + mostUrgent)
	claimDue        = newQuery("claim due cases", `UPDATE cases SET due_at = ?2 WHERE (breeder_id, case_id) IN
		(WITH due AS MATERIALIZED (SELECT breeder_id, case_id FROM cases WHERE open = 1 AND due_at <= ?1 ORDER BY due_at, breeder_id, case_id LIMIT ?3 UNLESS TAKEN) SELECT breeder_id, case_id FROM due)
		RETURNING breeder_id, case_id`)
	makeDue      = newQuery("make cases due", `UPDATE cases SET due_at = ?2, version = version + 1 WHERE breeder_id = ?1 AND open = 1`)
	bringForward = newQuery("bring cases forward", `UPDATE cases SET due_at = ?2, version = version + 1 WHERE (breeder_id, case_id) IN
		(SELECT breeder_id, case_id FROM cases WHERE open = 1 AND due_at > ?1 AND assessed_at > ?2 ORDER BY due_at LIMIT ?3)`)
	lookCases   = followed.keyedQuery("case_id")
	lookAnimals = animals.keyedQuery("animal_id")
	lookLogs    = entries.keyedQuery("animal_id")
	lookFlags   = flags.keyedQuery("case_id")

	handOnCases   = newQuery("hand cases on", `UPDATE cases SET looked_after_by = ?3, version = version + 1 WHERE breeder_id = ?1 AND looked_after_by = ?2 AND ?2 <> ''`)
	casesOfKeeper = followed.selectQuery(`WHERE keeper_id = ?1 AND keeper_id <> '' ORDER BY handed_over_at DESC, breeder_id, case_id`)

	putFlag   = flags.putQuery()
	listFlags = flags.selectQuery(`WHERE breeder_id = ?1 AND case_id = ?2 ORDER BY opened_at, flag_id`)

	insertPhoto = photos.insertQuery()
	getPhoto    = photos.getQuery()
	listPhotos  = photos.selectQuery(`WHERE breeder_id = ?1 AND case_id = ?2 ORDER BY received_at, photo_id`)

	listNewPhotos = photos.selectQuery(`WHERE breeder_id = ?1 AND looked_at IS NULL AND by_kind = 'keeper'
		AND received_at >= ?2 AND (received_at > ?2 OR photo_id > ?3) ORDER BY received_at, photo_id LIMIT ?4`)
	lookPhoto = newQuery("look at a photo", `UPDATE photos SET looked_at = ?3 WHERE breeder_id = ?1 AND photo_id = ?2 AND looked_at IS NULL`)

	discardPhotos = newQuery("discard photos", `INSERT INTO discarded (hash)
		SELECT DISTINCT hash FROM photos WHERE breeder_id = ?1 AND case_id = ?2 AND by_kind = ?3 ON CONFLICT DO NOTHING`)
	discard       = newQuery("discard a photo", `INSERT INTO discarded (hash) VALUES (?1) ON CONFLICT DO NOTHING`)
	deletePhotos  = newQuery("delete photos", `DELETE FROM photos WHERE breeder_id = ?1 AND case_id = ?2 AND by_kind = ?3`)
	listDiscarded = newQuery("list discarded photos", `SELECT hash, CASE WHEN EXISTS (SELECT 1 FROM photos p WHERE p.hash = d.hash) THEN 1 ELSE 0 END
		FROM discarded d ORDER BY hash LIMIT ?1`)
	forgetDiscarded = newQuery("forget a discarded photo", `DELETE FROM discarded WHERE hash = ?1`)

	addLook = newQuery("add a look", looks.insertText()+`ON CONFLICT (breeder_id, case_id, by_kind, by_id, what, day) DO UPDATE SET
		count = looks.count + excluded.count,
		first_at = CASE WHEN excluded.first_at < looks.first_at THEN excluded.first_at ELSE looks.first_at END,
		last_at = CASE WHEN excluded.last_at > looks.last_at THEN excluded.last_at ELSE looks.last_at END`)
	listLooks = looks.selectQuery(`WHERE breeder_id = ?1 AND (?2 = '' OR case_id = ?2)
		ORDER BY day DESC, last_at DESC, case_id, by_kind, by_id, what LIMIT ?3`)
	forgetLooks = newQuery("delete old looks", `DELETE FROM looks WHERE (breeder_id, case_id, by_kind, by_id, what, day) IN
		(SELECT breeder_id, case_id, by_kind, by_id, what, day FROM looks WHERE day < ?1 ORDER BY day LIMIT ?2)`)

	countAll = newQuery("count", `SELECT (SELECT count(*) FROM breeders), (SELECT count(*) FROM animals WHERE deleted_at IS NULL),
		(SELECT count(*) FROM entries), (SELECT count(*) FROM cases WHERE open = 1)`)
)

func (t *tx) InsertHandover(h care.Handover) error {
	return t.insert(insertHandover, handoverRow(&h)...)
}

func (t *tx) Handover(breederID, handoverID string) (care.Handover, error) {
	return get(t, getHandover, handoverRow, handovers.what, breederID, handoverID)
}

func (t *tx) HandoverByCode(codeHash string) (care.Handover, error) {
	return get(t, handoverByCode, handoverRow, handovers.what, codeHash)
}

func (t *tx) UpdateHandover(h care.Handover) error {
	exists := func() error { _, err := t.Handover(h.BreederID, h.ID); return err }
	return t.swap(updateHandover, exists, handoverRow(&h)...)
}

func (t *tx) ListHandovers(breederID, animalID string, after care.Cursor, limit int) ([]care.Handover, care.Cursor, error) {
	at := func(h *care.Handover) care.Cursor { return newestFirst(h.CreatedAt, h.ID) }
	ms, id := beforeCursor(after)
	return page(t, listHandovers, handoverRow, at, limit, breederID, animalID, ms, id)
}

func (t *tx) InsertSigningKey(k care.SigningKey) error {
	return t.insert(insertSigningKey, signingKeyRow(&k)...)
}

// ListSigningKeys is ordered by creation, oldest first.
func (t *tx) ListSigningKeys(breederID string) ([]care.SigningKey, error) {
	return list(t, listSigningKeys, signingKeyRow, breederID)
}

func (t *tx) InsertCase(c care.Case) error {
	return t.insert(insertCase, append(caseRow(&c), btoi(c.ClosedAt == nil))...)
}

func (t *tx) Case(breederID, caseID string) (care.Case, error) {
	return get(t, getCase, caseRow, followed.what, breederID, caseID)
}

func (t *tx) CaseVersion(breederID, caseID string) (int64, error) {
	return get(t, caseVersion, func(v *int64) []any { return []any{v} }, followed.what, breederID, caseID)
}

func (t *tx) UpdateCase(c care.Case) error {
	exists := func() error { _, err := t.Case(c.BreederID, c.ID); return err }
	return t.swap(updateCase, exists, append(caseRow(&c), btoi(c.ClosedAt == nil))...)
}

// ListCases with neither Open nor Closed asked for gives both.
func (t *tx) ListCases(breederID string, q care.CaseQuery, after care.Cursor, limit int) ([]care.Case, care.Cursor, error) {
	at := func(c *care.Case) care.Cursor { return care.Cursor{Key: c.Urgency, ID: c.ID} }
	from, to := btoi(q.Open && !q.Closed), btoi(q.Open || !q.Closed)
	if after == (care.Cursor{}) {
		after.Key = math.MaxFloat64
	}
	text := listCases
	switch {
	case q.AnimalID != "":
		text = listAnimalCases
	case from != to:
		text = listAllCases
	}
	return page(t, text, listedRow, at, limit, breederID, from, to, q.AnimalID, after.Key, after.ID)
}

func (t *tx) MakeDue(breederID string, at time.Time) error {
	_, err := t.exec(makeDue, breederID, at.UnixMilli())
	return err
}

func (t *tx) HandOnCases(breederID, from, to string) error {
	_, err := t.exec(handOnCases, breederID, from, to)
	return err
}

// ClaimDue counts a zero DueAt as come: a case that was never looked at is due.
func (t *tx) ClaimDue(now, until time.Time, limit int) ([]care.CaseKey, error) {
	return list(t, claimDue, func(k *care.CaseKey) []any { return []any{&k.BreederID, &k.ID} }, now.UnixMilli(), until.UnixMilli(), limit)
}

func (t *tx) BringForward(beyond, at time.Time, limit int) (int, error) {
	n, err := t.exec(bringForward, beyond.UnixMilli(), at.UnixMilli(), limit)
	if err != nil {
		return 0, err
	}
	more, err := t.exec(bringPeopleForward, beyond.UnixMilli(), at.UnixMilli(), limit)
	return int(max(n, more)), err
}

func (t *tx) Followed(cases []care.CaseKey) ([]care.Followed, error) {
	if len(cases) == 0 {
		return nil, nil
	}
	keys := pairsOf(len(cases), func(i int) [2]string { return [2]string{cases[i].BreederID, cases[i].ID} })
	var ids []string
	for _, c := range cases {
		if !slices.Contains(ids, c.BreederID) { // they are few
			ids = append(ids, c.BreederID)
		}
	}
	var (
		found    []care.Case
		flags    []care.Flag
		breeders []care.Breeder
		animals  []care.Animal
		logs     []care.Entry
	)
	first := []asked{into(&found, lookCases, caseRow, keys), into(&flags, lookFlags, flagRow, keys)}
	for _, id := range ids {
		first = append(first, into(&breeders, getBreeder, breederRow, id))
	}
	if err := t.ask(first...); err != nil || len(found) == 0 {
		return nil, err
	}
	all := make([]care.Followed, len(found))
	byCase, byAnimal := map[care.CaseKey]*care.Followed{}, map[care.CaseKey][]*care.Followed{}
	for i := range found {
		c, f := &found[i], &all[i]
		f.Case = *c
		byCase[care.CaseKey{BreederID: c.BreederID, ID: c.ID}] = f
		a := care.CaseKey{BreederID: c.BreederID, ID: c.AnimalID}
		byAnimal[a] = append(byAnimal[a], f)
		if at := slices.IndexFunc(breeders, func(b care.Breeder) bool { return b.ID == c.BreederID }); at >= 0 {
			f.Breeder = breeders[at]
		}
	}
	slices.SortFunc(flags, care.Flag.Compare)
	for _, f := range flags {
		of := byCase[care.CaseKey{BreederID: f.BreederID, ID: f.CaseID}]
		of.Flags = append(of.Flags, f)
	}
	animalKeys := slices.Collect(maps.Keys(byAnimal)) // several cases may be of one
	keys = pairsOf(len(animalKeys), func(i int) [2]string { return [2]string{animalKeys[i].BreederID, animalKeys[i].ID} })
	if err := t.ask(into(&animals, lookAnimals, animalRow, keys), into(&logs, lookLogs, entryRow, keys)); err != nil {
		return nil, err
	}
	for _, a := range animals {
		for _, f := range byAnimal[care.CaseKey{BreederID: a.BreederID, ID: a.ID}] {
			f.Animal = a
		}
	}
	slices.SortFunc(logs, func(a, b care.Entry) int {
		return cmp.Or(strings.Compare(a.BreederID, b.BreederID), strings.Compare(a.AnimalID, b.AnimalID), a.HappenedAt.Compare(b.HappenedAt), a.ReceivedAt.Compare(b.ReceivedAt), strings.Compare(a.ID, b.ID))
	})
	for len(logs) > 0 {
		is := care.CaseKey{BreederID: logs[0].BreederID, ID: logs[0].AnimalID}
		n := slices.IndexFunc(logs, func(e care.Entry) bool { return e.AnimalID != is.ID || e.BreederID != is.BreederID })
		if n < 0 {
			n = len(logs)
		}
		for _, f := range byAnimal[is] {
			f.Log = logs[:n:n]
		}
		logs = logs[n:]
	}
	return all, nil
}

func (t *tx) SaveCases(list []care.Saving) (lost []error, err error) {
	lost = make([]error, len(list))
	var first []change
	for i := range list {
		s := &list[i]
		if s.Judged {
			first = append(first, change{judgeCase, judgedRow(&s.Case)})
		} else {
			first = append(first, change{updateCase, append(caseRow(&s.Case), btoi(s.Case.ClosedAt == nil))})
		}
		for j := range s.Entries {
			e := &s.Entries[j]
			first = append(first, change{insertEntry, append(entryRow(e), offerResult(e))})
			if e.Replaces != "" {
				first = append(first, change{markReplaced, []any{e.BreederID, e.AnimalID, e.Replaces, e.ID}})
			}
		}
	}
	changed, err := t.execs(first)
	if err != nil {
		return nil, err
	}
	next := func() (n int64) {
		n, changed = changed[0], changed[1:]
		return n
	}
	var more []change
	for i := range list {
		s := &list[i]
		c := &s.Case
		updated := next() > 0
		for _, e := range s.Entries {
			if next() == 0 {
				return nil, idReused()
			}
			if e.Replaces != "" && next() == 0 {
				return nil, t.replacedBefore(e.BreederID, e.AnimalID, e.Replaces)
			}
		}
		if !updated {
			if lost[i] = t.changedMeanwhile(func() error { _, err := t.Case(c.BreederID, c.ID); return err }); t.failed != nil {
				return nil, t.failed
			}
			if len(s.Entries) > 0 {
				return nil, lost[i]
			}
			continue
		}
		for j := range s.Flags {
			more = append(more, change{putFlag, flagRow(&s.Flags[j])})
		}
		if !s.BreederAt.IsZero() {
			more = append(more, change{wakeHours, []any{c.BreederID, "", s.BreederAt.UnixMilli()}})
		}
		if !s.WroteAt.IsZero() {
			more = append(more, change{wakeForMessages, []any{c.BreederID, s.WroteAt.UnixMilli()}})
		}
		if !s.KeeperAt.IsZero() && c.KeeperID != "" {
			more = append(more, change{wakeHours, []any{"", c.KeeperID, s.KeeperAt.UnixMilli()}})
		}
	}
	_, err = t.execs(more)
	return lost, err
}

// pairsOf is the argument of KEYED.
func pairsOf(n int, key func(int) [2]string) document[[][2]string] {
	keys := make([][2]string, n)
	for i := range keys {
		keys[i] = key(i)
	}
	return document[[][2]string]{&keys}
}

// CasesOfKeeper is ordered by handover, newest first. Cases that nobody claimed
// are nobody's.
func (t *tx) CasesOfKeeper(keeperID string) ([]care.Case, error) {
	return list(t, casesOfKeeper, caseRow, keeperID)
}

func (t *tx) PutFlag(f care.Flag) error {
	_, err := t.exec(putFlag, flagRow(&f)...)
	return err
}

// ListFlags is ordered by opening, oldest first.
func (t *tx) ListFlags(breederID, caseID string) ([]care.Flag, error) {
	return list(t, listFlags, flagRow, breederID, caseID)
}

func (t *tx) InsertPhoto(p care.Photo) error { return t.insert(insertPhoto, photoRow(&p)...) }

func (t *tx) Photo(breederID, photoID string) (care.Photo, error) {
	return get(t, getPhoto, photoRow, photos.what, breederID, photoID)
}

// ListPhotos is ordered by arrival, oldest first.
func (t *tx) ListPhotos(breederID, caseID string) ([]care.Photo, error) {
	return list(t, listPhotos, photoRow, breederID, caseID)
}

func (t *tx) ListNewPhotos(breederID string, after care.Cursor, limit int) ([]care.Photo, care.Cursor, error) {
	at := func(p *care.Photo) care.Cursor { return care.Cursor{Key: float64(p.ReceivedAt.UnixMilli()), ID: p.ID} }
	return page(t, listNewPhotos, photoRow, at, limit, breederID, int64(after.Key), after.ID)
}

// LookPhoto changes nothing where there is no such photo.
func (t *tx) LookPhoto(breederID, photoID string, at time.Time) error {
	_, err := t.exec(lookPhoto, breederID, photoID, at.UnixMilli())
	return err
}

func (t *tx) DeletePhotos(breederID, caseID string, by care.ActorKind) error {
	for _, q := range []*query{discardPhotos, deletePhotos} {
		if _, err := t.exec(q, breederID, caseID, &by); err != nil {
			return err
		}
	}
	return nil
}

func (t *tx) Discard(hash string) error {
	_, err := t.exec(discard, hash)
	return err
}

func (t *tx) ListDiscarded(limit int) ([]care.Discarded, error) {
	return list(t, listDiscarded, func(d *care.Discarded) []any { return []any{&d.Hash, truth{&d.Kept}} }, limit)
}

func (t *tx) ForgetDiscarded(hash string) error {
	_, err := t.exec(forgetDiscarded, hash)
	return err
}

func (t *tx) AddLook(l care.Look) error {
	_, err := t.exec(addLook, lookRow(&l)...)
	return err
}

func (t *tx) ListLooks(breederID, caseID string, limit int) ([]care.Look, error) {
	return list(t, listLooks, lookRow, breederID, caseID, limit)
}

func (t *tx) DeleteLooksBefore(before time.Time, limit int) (int, error) {
	n, err := t.exec(forgetLooks, before.UnixMilli(), limit)
	return int(n), err
}

func (t *tx) Counts() (care.Counts, error) {
	row := func(c *care.Counts) []any { return []any{&c.Breeders, &c.Animals, &c.Entries, &c.OpenCases} }
	return get(t, countAll, row, "count")
}
