package store

import "fmt"

// erasure deletes some rows of one table; before is run first, on the same rows.
type erasure struct{ before, rows *query }

// erasures are all tables that hold something of a breeder: what lets somebody
// in, then what refers to other rows before what it refers to. A server test
// looks through all columns for what is left.
var erasures = []erasure{
	erase("secrets", "hash"),
	erase("passkeys", "credential_id"),
	erase("ways", "way_id"),
	erase("reminder_hours", "breeder_id, person_id"),
	erase("reminders", "breeder_id, case_id, person_id, topic, way_id"),
	erase("looks", "breeder_id, case_id, by_kind, by_id, what, day"),
	{
		newQuery("discard photos", `INSERT INTO discarded (hash) SELECT DISTINCT hash FROM photos WHERE breeder_id = ?1 AND (breeder_id, photo_id) IN
			(SELECT breeder_id, photo_id FROM photos WHERE breeder_id = ?1 ORDER BY breeder_id, photo_id LIMIT ?2) ON CONFLICT DO NOTHING`),
		erase("photos", "breeder_id, photo_id").rows,
	},
	erase("flags", "breeder_id, case_id, flag_id"),
	erase("cases", "breeder_id, case_id"),
	erase("handovers", "breeder_id, handover_id"),
	erase("cards", "breeder_id, number"),
	erase("import_animals", "breeder_id, import_id, animal_id"),
	erase("imports", "breeder_id, import_id"),
	erase("entries", "breeder_id, animal_id, entry_id"),
	erase("animals", "breeder_id, animal_id"),
	{rows: newQuery("erase answers", `DELETE FROM answered WHERE (scope, request_id) IN
		(SELECT scope, request_id FROM answered WHERE scope = ?1 ORDER BY scope, request_id LIMIT ?2)`)},
	erase("signing_keys", "breeder_id, key_id"),
	erase("users", "breeder_id, user_id"),
	erase("breeders", "breeder_id"),
}

func erase(table, key string) erasure {
	return erasure{rows: newQuery("erase "+table, fmt.Sprintf(`DELETE FROM %[1]s WHERE breeder_id = ?1 AND (%[2]s) IN
		(SELECT %[2]s FROM %[1]s WHERE breeder_id = ?1 ORDER BY %[2]s LIMIT ?2)`, table, key))}
}
