package care

import (
	"errors"
	"fmt"

	"warmhand/internal/words"
)

// Code is the class of an error; the server maps each to one gRPC code.
type Code string

// The classes.
const (
	Invalid         Code = "invalid"         // a field is wrong; Fields names it
	NotFound        Code = "not_found"       // also for what the caller may not know of
	Conflict        Code = "conflict"        // the id exists with other content
	Precondition    Code = "precondition"    // right request, wrong state
	Stale           Code = "stale"           // somebody changed it meanwhile
	Denied          Code = "denied"          // known caller, not allowed
	Unauthenticated Code = "unauthenticated" // no or no longer valid session
	Exhausted       Code = "exhausted"       // rate or size limit
	Unavailable     Code = "unavailable"     // try again later; nothing was saved
)

// ErrorReason is the machine-readable cause of an error, stable across versions.
type ErrorReason string

// The reasons. Clients branch on these, never on texts.
const (
	ReasonBadField        ErrorReason = "BAD_FIELD"
	ReasonNotFound        ErrorReason = "NOT_FOUND"
	ReasonIDReused        ErrorReason = "ID_REUSED"
	ReasonRequestReused   ErrorReason = "REQUEST_REUSED"
	ReasonLikelySlip      ErrorReason = "LIKELY_SLIP"
	ReasonInFuture        ErrorReason = "IN_FUTURE"
	ReasonStale           ErrorReason = "STALE"
	ReasonNotYours        ErrorReason = "NOT_YOURS"
	ReasonSignInNeeded    ErrorReason = "SIGN_IN_NEEDED"
	ReasonTooManyTries    ErrorReason = "TOO_MANY_TRIES"
	ReasonCodeWrong       ErrorReason = "CODE_WRONG"
	ReasonCodeUsed        ErrorReason = "CODE_USED"
	ReasonCodeExpired     ErrorReason = "CODE_EXPIRED"
	ReasonCodeRevoked     ErrorReason = "CODE_REVOKED"
	ReasonNotClaimed      ErrorReason = "NOT_CLAIMED"
	ReasonCaseClosed      ErrorReason = "CASE_CLOSED"
	ReasonNotGivenBack    ErrorReason = "NOT_GIVEN_BACK" // no return is asked for, or agreed
	ReasonOnItsWay        ErrorReason = "ON_ITS_WAY"
	ReasonToBeErased      ErrorReason = "TO_BE_ERASED"
	ReasonAlreadyHanded   ErrorReason = "ALREADY_HANDED_OVER"
	ReasonAnimalHasCase   ErrorReason = "ANIMAL_HAS_CASE"
	ReasonAlreadyReplaced ErrorReason = "ALREADY_REPLACED"
	ReasonPhotoRefused    ErrorReason = "PHOTO_REFUSED"
	ReasonUploadOffset    ErrorReason = "UPLOAD_OFFSET"
	ReasonTooLarge        ErrorReason = "TOO_LARGE"
	ReasonPasskeyRefused  ErrorReason = "PASSKEY_REFUSED"
	ReasonNotSaved        ErrorReason = "NOT_SAVED"
	ReasonImportState     ErrorReason = "IMPORT_STATE"
	ReasonNothingNew      ErrorReason = "NOTHING_NEW"
	ReasonNotSigned       ErrorReason = "NOT_SIGNED"
	ReasonCardWaiting     ErrorReason = "CARD_WAITING"
	ReasonCardUsed        ErrorReason = "CARD_USED"
	ReasonCardRevoked     ErrorReason = "CARD_REVOKED"
	ReasonAnimalGone      ErrorReason = "ANIMAL_GONE"
	ReasonNoMail          ErrorReason = "NO_MAIL"       // this server sends none
	ReasonNotConfirmed    ErrorReason = "NOT_CONFIRMED" // of a mail address
)

// FieldError names one field (proto path, snake_case) and what to do about it.
type FieldError struct {
	Field string
	Text  words.Text
}

// Error is every error that a person or a client is meant to see. Text says
// what is wrong and what to do; it never holds internal detail.
type Error struct {
	Code   Code
	Reason ErrorReason
	Text   words.Text
	Fields []FieldError
	// Meta is small machine-readable detail, such as the weight that a slip
	// was compared with.
	Meta map[string]string
}

func (e *Error) Error() string {
	if len(e.Fields) == 0 {
		return fmt.Sprintf("%s: %s", e.Reason, e.Text)
	}
	return fmt.Sprintf("%s: %s (%s: %s)", e.Reason, e.Text, e.Fields[0].Field, e.Fields[0].Text)
}

// BadField is an Invalid error that names one field; form and values are those of
// words.Say.
func BadField(field, form string, values ...any) *Error {
	text := words.Say(form, values...)
	return &Error{Code: Invalid, Reason: ReasonBadField, Text: text, Fields: []FieldError{{field, text}}}
}

// Missing is the answer for a resource that does not exist or that the caller
// may not know of; the two must not be told apart.
func Missing(what string) *Error {
	return &Error{Code: NotFound, Reason: ReasonNotFound, Text: words.Say("There is no such {what}, or it is not yours to see.", words.Say(what))}
}

// IsCode reports whether err is an *Error of this class.
func IsCode(err error, code Code) bool {
	var e *Error
	return errors.As(err, &e) && e.Code == code
}
