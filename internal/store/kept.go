package store

import "warmhand/internal/care"

var (
	kept = table{name: "kept", what: "kept thing", key: 1, columns: columns(`name sealed kept_at`)}

	putKept    = kept.putQuery()
	getKept    = kept.getQuery()
	deleteKept = newQuery("delete a kept thing", `DELETE FROM kept `+kept.byKey())
)

func keptRow(k *care.Kept) []any { return []any{&k.Name, blob{&k.Sealed}, instant{&k.At}} }

func (t *tx) PutKept(k care.Kept) error {
	_, err := t.exec(putKept, keptRow(&k)...)
	return err
}

func (t *tx) Kept(name string) (care.Kept, error) { return get(t, getKept, keptRow, kept.what, name) }

func (t *tx) DeleteKept(name string) error {
	_, err := t.exec(deleteKept, name)
	return err
}
