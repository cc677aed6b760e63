package store

import (
	"math"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/runes"
	"golang.org/x/text/transform"
	"golang.org/x/text/unicode/norm"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Animals and their logs.

var (
	animals = table{name: "animals", what: "animal", key: 2, columns: columns(
		`breeder_id animal_id name species sex hatched genes mother_id father_id clutch
		snout_vent total_length note place created_at updated_at deleted_at version`),
		derived: columns(`search`)}
	entries = table{name: "entries", what: "entry", key: 3, columns: columns(
		`breeder_id animal_id entry_id case_id by_kind by_id happened_at received_at
		replaces replaced_by confirmed note kind body`),
		derived: columns(`offer_result`)}
)

func animalRow(a *care.Animal) []any {
	return []any{&a.BreederID, &a.ID, &a.Name, &a.Species, &a.Sex, maybeInstant{&a.Hatched}, document[[]string]{&a.Genes},
		&a.MotherID, &a.FatherID, &a.Clutch, &a.SnoutVent, &a.TotalLength, &a.Note, &a.Place,
		instant{&a.CreatedAt}, instant{&a.UpdatedAt}, maybeInstant{&a.DeletedAt}, &a.Version}
}

func entryRow(e *care.Entry) []any {
	kind := &entryKind{entry: e}
	return []any{&e.BreederID, &e.AnimalID, &e.ID, &e.CaseID, &e.By, &e.ByID, instant{&e.HappenedAt}, instant{&e.ReceivedAt},
		&e.Replaces, &e.ReplacedBy, truth{&e.Confirmed}, &e.Note, kind, entryBody{kind}}
}

var (
	insertAnimal = animals.insertQuery()
	getAnimal    = animals.getQuery()
	getAnimals   = animals.selectQuery(`WHERE breeder_id = ?1 AND animal_id IN EACH(?2) ORDER BY animal_id`)
	updateAnimal = animals.updateQuery()
	listAnimals  = animals.selectQuery(`
		WHERE breeder_id = ?1 AND deleted_at IS NULL AND search LIKE ?2 ESCAPE '!'
		AND created_at <= ?3 AND (created_at < ?3 OR animal_id < ?4)
		ORDER BY created_at DESC, animal_id DESC LIMIT ?5`)

	insertEntry  = entries.insertQuery()
	getEntry     = entries.getQuery()
	rewriteEntry = entries.updateQuery()
	deleteEntry  = newQuery("delete entry", `DELETE FROM entries `+entries.byKey())
	markReplaced = newQuery("mark entry replaced", `UPDATE entries SET replaced_by = ?4 `+entries.byKey()+` AND replaced_by = ''`)
	readLog      = entries.selectQuery(`WHERE breeder_id = ?1 AND animal_id = ?2 ORDER BY happened_at, received_at, entry_id`)
	// The kinds come as one text, ",offer,shed,", because the engines have no
	// list parameter in common. (An underscore in a kind also matches any other
	// letter; no two kinds differ in only that.)
	listEntries = entries.selectQuery(`
		WHERE breeder_id = ?1 AND animal_id = ?2
		AND (?3 = '' OR ?3 LIKE '%,' || kind || ',%') AND (?4 = '' OR case_id = ?4)
		AND (happened_at < ?5 OR (happened_at = ?5 AND entry_id < ?6))
		ORDER BY happened_at DESC, entry_id DESC LIMIT ?7`)
	readStockLog = entries.selectQuery(`
		WHERE breeder_id = ?1 AND animal_id IN EACH(?2) AND replaced_by = ''
		AND kind IN ('offer', 'weigh_in', 'shed', 'sign') AND (happened_at >= ?3 OR kind = 'sign')
		ORDER BY animal_id, happened_at, received_at, entry_id`)
	feedingCounts = newQuery("count offers", `
		SELECT count(CASE WHEN e.offer_result <> 'eaten' THEN 1 END), count(*)
		FROM animals a JOIN entries e ON e.breeder_id = a.breeder_id AND e.animal_id = a.animal_id
		WHERE a.breeder_id = ?1 AND a.species = ?2 AND e.kind = 'offer' AND e.case_id = '' AND e.replaced_by = '' AND e.happened_at >= ?3
		GROUP BY a.animal_id ORDER BY a.animal_id`)
)

func (t *tx) InsertAnimal(a care.Animal) error {
	return t.insert(insertAnimal, append(animalRow(&a), searchText(&a))...)
}

func (t *tx) Animal(breederID, animalID string) (care.Animal, error) {
	return get(t, getAnimal, animalRow, animals.what, breederID, animalID)
}

func (t *tx) UpdateAnimal(a care.Animal) error {
	exists := func() error { _, err := t.Animal(a.BreederID, a.ID); return err }
	return t.swap(updateAnimal, exists, append(animalRow(&a), searchText(&a))...)
}

func (t *tx) ListAnimals(breederID, search string, after care.Cursor, limit int) ([]care.Animal, care.Cursor, error) {
	at := func(a *care.Animal) care.Cursor { return newestFirst(a.CreatedAt, a.ID) }
	ms, id := beforeCursor(after)
	return page(t, listAnimals, animalRow, at, limit, breederID, like(search), ms, id)
}

func (t *tx) InsertEntry(e care.Entry) error {
	return t.insert(insertEntry, append(entryRow(&e), offerResult(&e))...)
}

func offerResult(e *care.Entry) string {
	if o, ok := e.Body.(care.Offer); ok {
		return string(o.Result)
	}
	return ""
}

func (t *tx) RewriteEntry(e care.Entry) error {
	return t.update(rewriteEntry, entries.what, append(entryRow(&e), offerResult(&e))...)
}

func (t *tx) DeleteEntry(breederID, animalID, entryID string) error {
	return t.update(deleteEntry, entries.what, breederID, animalID, entryID)
}

func (t *tx) Entry(breederID, animalID, entryID string) (care.Entry, error) {
	return get(t, getEntry, entryRow, entries.what, breederID, animalID, entryID)
}

func (t *tx) MarkReplaced(breederID, animalID, entryID, by string) error {
	n, err := t.exec(markReplaced, breederID, animalID, entryID, by)
	if err != nil || n > 0 {
		return err
	}
	return t.replacedBefore(breederID, animalID, entryID)
}

// replacedBefore says why an entry was not marked as replaced.
func (t *tx) replacedBefore(breederID, animalID, entryID string) error {
	if _, err := t.Entry(breederID, animalID, entryID); err != nil {
		return err
	}
	return &care.Error{
		Code: care.Precondition, Reason: care.ReasonAlreadyReplaced,
		Text: words.Say("This entry was corrected before. Please correct the newer one."),
	}
}

func (t *tx) Log(breederID, animalID string) ([]care.Entry, error) {
	return list(t, readLog, entryRow, breederID, animalID)
}

func (t *tx) Animals(breederID string, animalIDs []string) ([]care.Animal, error) {
	if len(animalIDs) == 0 {
		return nil, nil
	}
	return list(t, getAnimals, animalRow, breederID, document[[]string]{&animalIDs})
}

func (t *tx) StockLog(breederID string, animalIDs []string, since time.Time) ([]care.Entry, error) {
	if len(animalIDs) == 0 {
		return nil, nil
	}
	return list(t, readStockLog, entryRow, breederID, document[[]string]{&animalIDs}, since.UnixMilli())
}

func (t *tx) ListEntries(breederID, animalID string, kinds []care.Kind, caseID string, after care.Cursor, limit int) ([]care.Entry, care.Cursor, error) {
	at := func(e *care.Entry) care.Cursor { return newestFirst(e.HappenedAt, e.ID) }
	wanted := ""
	for _, k := range kinds {
		wanted += "," + string(k)
	}
	if wanted != "" {
		wanted += ","
	}
	ms, id := beforeCursor(after)
	return page(t, listEntries, entryRow, at, limit, breederID, animalID, wanted, caseID, ms, id)
}

// FeedingCounts is ordered by animal. Animals taken out of the stock book
// count on: what they ate is as true as before.
func (t *tx) FeedingCounts(breederID, species string, since time.Time) ([]care.FeedingCount, error) {
	row := func(c *care.FeedingCount) []any { return []any{number[int]{&c.Refused}, number[int]{&c.Offers}} }
	return list(t, feedingCounts, row, breederID, species, since.UnixMilli())
}

// newestFirst is the cursor of lists that go back in time. Milliseconds fit a
// float64 without loss until the year 287396.
func newestFirst(at time.Time, id string) care.Cursor {
	return care.Cursor{Key: float64(at.UnixMilli()), ID: id}
}

// beforeCursor is where a list that goes back in time goes on.
func beforeCursor(after care.Cursor) (ms int64, id string) {
	if after == (care.Cursor{}) {
		return math.MaxInt64, ""
	}
	return int64(after.Key), after.ID
}

// searchText is what a search looks through. Line breaks keep a match inside
// one field.
func searchText(a *care.Animal) string {
	return fold(strings.Join(append([]string{a.Name, a.Species, a.Clutch, a.Place}, a.Genes...), "\n"))
}

// like makes the pattern that finds a folded text anywhere.
func like(search string) string {
	return "%" + strings.NewReplacer("!", "!!", "%", "!%", "_", "!_").Replace(fold(search)) + "%"
}

// fold drops what people leave out when they type a search: case, accents,
// space around.
func fold(s string) string {
	s, _, err := transform.String(transform.Chain(norm.NFKD, runes.Remove(runes.In(unicode.Mn)), cases.Fold(), norm.NFC), s)
	if err != nil {
		return "" // not reached: none of these fails on any input
	}
	return strings.TrimSpace(s)
}
