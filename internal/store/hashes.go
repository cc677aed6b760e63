package store

import (
	"context"

	"warmhand/internal/care"
)

var listHashes = newQuery("list photo hashes", `SELECT DISTINCT hash FROM photos ORDER BY hash`)

// PhotoHashes is the key of every photo of all breeders, for checks and
// backups. The bytes that they name live elsewhere.
func (s *Store) PhotoHashes(ctx context.Context) (hashes []string, err error) {
	err = s.Read(ctx, func(t care.Tx) (err error) {
		hashes, err = list(t.(*tx), listHashes, func(h *string) []any { return []any{h} })
		return err
	})
	return hashes, err
}
