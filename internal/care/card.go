package care

import "time"

// Card is a handover card that was printed before anybody knew for which
// animal: its code is bound to an animal at the sale. Once it is, its handover
// says everything, and the card no longer names a person.
type Card struct {
	BreederID string
	Number    int64  // as printed on it; a breeder's own, from 1
	CodeHash  string // as a handover's
	// Mark is what the breeder's own phone recognises the code by without a
	// network: a hash under a key of this breeder's, not of the code alone.
	Mark       string
	CreatedAt  time.Time
	RevokedAt  *time.Time
	HandoverID string // the sale it went with; "" while it is blank
	// Who claimed it before the sale had arrived, when, and by which request.
	KeeperID, KeeperName string
	ClaimedAt            *time.Time
	ClaimRequest         string
	Version              int64
}

// Price is what an animal was sold for: the breeder's own note, never in a
// record and never a keeper's to see.
type Price struct {
	Amount   string `json:"amount,omitempty"`   // decimal, such as 120 or 89.50; "" for none
	Currency string `json:"currency,omitempty"` // three letters of ISO 4217
}
