package notify

// Letter is one mail.
type Letter struct {
	To, Subject string
	Text, HTML  string
	// Stop is the private address that ends mail to this address by one request
	// (RFC 8058); "" where nothing goes on.
	Stop string
}
