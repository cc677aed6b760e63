package store

import (
	"math"

	"warmhand/internal/care"
)

// Cards that were printed blank.

var cards = table{name: "cards", what: "card", key: 2, columns: columns(
	`breeder_id number code_hash mark created_at revoked_at handover_id keeper_id keeper_name claimed_at claim_request version`)}

func cardRow(c *care.Card) []any {
	return []any{&c.BreederID, &c.Number, &c.CodeHash, &c.Mark, instant{&c.CreatedAt}, maybeInstant{&c.RevokedAt}, &c.HandoverID,
		&c.KeeperID, &c.KeeperName, maybeInstant{&c.ClaimedAt}, &c.ClaimRequest, &c.Version}
}

var (
	insertCard    = cards.insertQuery()
	getCard       = cards.getQuery()
	cardByCode    = cards.selectQuery(`WHERE code_hash = ?1 AND code_hash <> ''`)
	updateCard    = cards.updateQuery()
	listCards     = cards.selectQuery(`WHERE breeder_id = ?1 AND number < ?2 ORDER BY number DESC LIMIT ?3`)
	cardsOfKeeper = cards.selectQuery(`WHERE keeper_id = ?1 AND keeper_id <> '' ORDER BY claimed_at, breeder_id, number`)
)

func (t *tx) InsertCard(c care.Card) error { return t.insert(insertCard, cardRow(&c)...) }

func (t *tx) Card(breederID string, number int64) (care.Card, error) {
	return get(t, getCard, cardRow, cards.what, breederID, number)
}

func (t *tx) CardByCode(codeHash string) (care.Card, error) {
	return get(t, cardByCode, cardRow, cards.what, codeHash)
}

func (t *tx) UpdateCard(c care.Card) error {
	exists := func() error { _, err := t.Card(c.BreederID, c.Number); return err }
	return t.swap(updateCard, exists, cardRow(&c)...)
}

func (t *tx) ListCards(breederID string, after care.Cursor, limit int) ([]care.Card, care.Cursor, error) {
	below := int64(math.MaxInt64)
	if after != (care.Cursor{}) {
		below = int64(after.Key)
	}
	at := func(c *care.Card) care.Cursor { return care.Cursor{Key: float64(c.Number)} }
	return page(t, listCards, cardRow, at, limit, breederID, below)
}

// CardsOfKeeper is ordered by claim, oldest first.
func (t *tx) CardsOfKeeper(keeperID string) ([]care.Card, error) {
	return list(t, cardsOfKeeper, cardRow, keeperID)
}
