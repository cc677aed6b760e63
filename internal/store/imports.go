package store

import (
	"time"

	"warmhand/internal/care"
)

// Lists that breeders bring in.

var (
	imports = table{name: "imports", what: "import", key: 2, columns: columns(
		`breeder_id import_id file digest bytes state reading by_kind by_id created_at confirmed_at ended_at
		animals entries done total trouble kept version`)}
	importAnimals = table{name: "import_animals", what: "animal of an import", key: 3, columns: columns(
		`breeder_id import_id animal_id made`)}
)

func importRow(i *care.Import) []any {
	return []any{&i.BreederID, &i.ID, &i.File, &i.Digest, &i.Bytes, &i.State, jsonText{&i.Reading}, &i.By, &i.ByID,
		instant{&i.CreatedAt}, maybeInstant{&i.ConfirmedAt}, maybeInstant{&i.EndedAt},
		number[int]{&i.Animals}, number[int]{&i.Entries}, number[int]{&i.Done}, number[int]{&i.Total}, said{&i.Trouble}, document[[]care.KeptByUndo]{&i.Kept}, &i.Version}
}

func importAnimalRow(a *care.ImportAnimal) []any {
	return []any{&a.BreederID, &a.ImportID, &a.AnimalID, truth{&a.Made}}
}

var (
	insertImport = imports.insertQuery()
	getImport    = imports.getQuery()
	updateImport = imports.updateQuery()
	listImports  = imports.selectQuery(`
		WHERE breeder_id = ?1 AND created_at <= ?2 AND (created_at < ?2 OR import_id < ?3)
		ORDER BY created_at DESC, import_id DESC LIMIT ?4`)
	pendingImports = imports.selectQuery(`WHERE state IN ('running', 'undoing') ORDER BY created_at, breeder_id, import_id LIMIT ?1`)
	deleteDrafts   = newQuery("delete old drafts", `DELETE FROM imports WHERE (breeder_id, import_id) IN
		(SELECT breeder_id, import_id FROM imports WHERE state = 'draft' AND created_at < ?1 ORDER BY created_at LIMIT ?2)`)
	putImportAnimal = newQuery("put animal of an import", importAnimals.insertText()+`
		ON CONFLICT (breeder_id, import_id, animal_id) DO UPDATE SET made = CASE WHEN excluded.made = 1 THEN 1 ELSE import_animals.made END`)
	listImportAnimals = importAnimals.selectQuery(`WHERE breeder_id = ?1 AND import_id = ?2 ORDER BY animal_id`)
)

func (t *tx) InsertImport(i care.Import) error { return t.insert(insertImport, importRow(&i)...) }

func (t *tx) Import(breederID, importID string) (care.Import, error) {
	return get(t, getImport, importRow, imports.what, breederID, importID)
}

func (t *tx) UpdateImport(i care.Import) error {
	exists := func() error { _, err := t.Import(i.BreederID, i.ID); return err }
	return t.swap(updateImport, exists, importRow(&i)...)
}

func (t *tx) ListImports(breederID string, after care.Cursor, limit int) ([]care.Import, care.Cursor, error) {
	at := func(i *care.Import) care.Cursor { return newestFirst(i.CreatedAt, i.ID) }
	ms, id := beforeCursor(after)
	return page(t, listImports, importRow, at, limit, breederID, ms, id)
}

func (t *tx) PendingImports(limit int) ([]care.Import, error) {
	return list(t, pendingImports, importRow, limit)
}

func (t *tx) DeleteDraftsBefore(before time.Time, limit int) (int, error) {
	n, err := t.exec(deleteDrafts, before.UnixMilli(), limit)
	return int(n), err
}

func (t *tx) PutImportAnimal(a care.ImportAnimal) error {
	_, err := t.exec(putImportAnimal, importAnimalRow(&a)...)
	return err
}

func (t *tx) ListImportAnimals(breederID, importID string) ([]care.ImportAnimal, error) {
	return list(t, listImportAnimals, importAnimalRow, breederID, importID)
}
