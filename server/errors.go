package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"buf.build/go/protovalidate"
	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"warmhand/internal/care"
	"warmhand/internal/photo"
	"warmhand/internal/words"
)

// errorDomain is the domain of every ErrorInfo.
const errorDomain = "warmhand"

// Reasons that the transport adds to those of package care.
const (
	reasonInternal care.ErrorReason = "INTERNAL"
	reasonTimedOut care.ErrorReason = "TIMED_OUT"
)

var grpcCodes = map[care.Code]codes.Code{
	care.Invalid:         codes.InvalidArgument,
	care.NotFound:        codes.NotFound,
	care.Conflict:        codes.AlreadyExists,
	care.Precondition:    codes.FailedPrecondition,
	care.Stale:           codes.Aborted,
	care.Denied:          codes.PermissionDenied,
	care.Unauthenticated: codes.Unauthenticated,
	care.Exhausted:       codes.ResourceExhausted,
	care.Unavailable:     codes.Unavailable,
}

// statusOf is the one place where errors get their form on the wire. What is
// not meant for people shows the request id only, and unexpected says that the
// cause belongs in the log: nobody else can do something about it.
func statusOf(err error, requestID string, in *words.Language) (st *status.Status, unexpected bool) {
	var e *care.Error
	var refused *photo.Error
	switch {
	case errors.As(err, &e):
	case errors.As(err, &refused):
		e = &care.Error{Code: care.Invalid, Reason: care.ReasonPhotoRefused, Text: refused.Message,
			Fields: []care.FieldError{{Field: refused.Field, Text: refused.Message}}, Meta: map[string]string{"cause": string(refused.Code)}}
		if refused.Format != "" {
			e.Meta["format"] = refused.Format
		}
		if refused.Code == photo.TooLarge || refused.Code == photo.TooManyPixels {
			e.Reason = care.ReasonTooLarge
		}
	default:
		if st, ok := status.FromError(err); ok && st.Code() != codes.Unknown {
			return st, false // made by grpc itself, or mapped before
		}
		code, reason, text := codes.Internal, reasonInternal, words.Say("Something went wrong here, and nothing was saved. Try again; if it stays, tell us the number {number}.", requestID)
		switch {
		case errors.Is(err, context.DeadlineExceeded):
			code, reason, text = codes.DeadlineExceeded, reasonTimedOut, words.Say("This took too long and was given up. Try again; a repeat with the same id is safe.")
		case errors.Is(err, context.Canceled):
			return status.New(codes.Canceled, "The caller hung up."), false
		}
		return withDetails(code, in.Say(text), &errdetails.ErrorInfo{Reason: string(reason), Domain: errorDomain, Metadata: map[string]string{"request_id": requestID}}), true
	}
	code, ok := grpcCodes[e.Code]
	if !ok {
		code = codes.Internal
	}
	details := []protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: string(e.Reason), Domain: errorDomain, Metadata: e.Meta}}
	if s, err := strconv.Atoi(e.Meta["retry_seconds"]); err == nil {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(time.Duration(s) * time.Second)})
	}
	if len(e.Fields) > 0 {
		bad := &errdetails.BadRequest{}
		for _, f := range e.Fields {
			bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: f.Field, Description: in.Say(f.Text)})
		}
		details = append(details, bad)
	}
	return withDetails(code, in.Say(e.Text), details...), e.Code == care.Unavailable && err != error(e)
}

func withDetails(code codes.Code, text string, details ...protoadapt.MessageV1) *status.Status {
	st := status.New(code, text)
	full, err := st.WithDetails(details...)
	if err != nil {
		return st // the details are ours and always fit
	}
	return full
}

// httpStatus is the status line for a status. It differs from the usual table
// where a phone's outbox would otherwise try for ever or give up wrongly.
func httpStatus(st *status.Status) int {
	switch {
	case reasonOf(st) == string(care.ReasonTooLarge) && st.Code() == codes.InvalidArgument:
		return http.StatusRequestEntityTooLarge
	case st.Code() == codes.Unimplemented:
		return http.StatusMethodNotAllowed
	}
	return runtime.HTTPStatusFromCode(st.Code())
}

func reasonOf(st *status.Status) string {
	for _, d := range st.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.Reason
		}
	}
	return ""
}

// writeStatus is the one encoder of errors over HTTP.
func (s *Server) writeStatus(w http.ResponseWriter, st *status.Status) {
	body, err := protojson.Marshal(st.Proto())
	if err != nil {
		s.log.Error("An error could not be encoded.", "error", err)
		body = []byte(`{"code":13,"message":"Something went wrong here."}`)
	}
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	if st.Code() == codes.Unauthenticated {
		h.Set("WWW-Authenticate", "Bearer")
	}
	for _, d := range st.Details() {
		if info, ok := d.(*errdetails.RetryInfo); ok {
			h.Set("Retry-After", strconv.FormatInt(info.GetRetryDelay().GetSeconds(), 10))
		}
	}
	w.WriteHeader(httpStatus(st))
	w.Write(body)
}

// writeError is for handlers outside the chain.
func (s *Server) writeError(w http.ResponseWriter, r *http.Request, err error) {
	id := w.Header().Get("X-Request-Id")
	st, unexpected := statusOf(err, id, asked(r))
	if unexpected {
		s.log.Error("A request failed.", "method", r.Method, "path", r.URL.Path, "request", id, "error", err)
	}
	s.writeStatus(w, st)
}

// Errors of the gateway's own: what it says when JSON does not fit the
// contract. protojson writes either kind of space after "proto:".
var (
	unknownField = regexp.MustCompile(`unknown field "([^"]+)"`)
	badValue     = regexp.MustCompile(`invalid value for (\w+) field ([\w.]+)`)
	badTime      = regexp.MustCompile(`invalid google\.protobuf\.Timestamp value`)
	jsonPlace    = regexp.MustCompile(`\(line (\d+):(\d+)\)`)
	badParameter = regexp.MustCompile(`parameter: ([\w.]+)`)
)

// fromGateway reads what the gateway says of a request that it could not pass
// on.
func fromGateway(st *status.Status) error {
	if st.Code() != codes.InvalidArgument || len(st.Details()) > 0 {
		return nil
	}
	text := strings.ReplaceAll(st.Message(), " ", " ")
	bad := care.BadField("body", "The request does not fit this method. Look at /api for what it takes.")
	if m := unknownField.FindStringSubmatch(text); m != nil {
		bad = care.BadField(m[1], "There is no field “{field}” here. Check how it is spelt, or update the app.", m[1])
	} else if m := badParameter.FindStringSubmatch(text); m != nil {
		bad = care.BadField(m[1], "The value of “{field}” in the address does not fit. Look at /api for what it takes.", m[1])
	} else if m := badValue.FindStringSubmatch(text); m != nil {
		bad = care.BadField(m[2], "The value of “{field}” does not fit: it takes {type}. Look at /api for what it takes.", m[2], m[1])
	} else if badTime.MatchString(text) {
		bad = care.BadField("body", "A time is not well formed. Write it like 2026-05-01T18:30:00Z.")
	}
	if m := jsonPlace.FindStringSubmatch(text); m != nil {
		bad.Text = words.Join(bad.Text, words.Say("It is in line {line}, column {column}.", m[1], m[2]))
	}
	return bad
}

// ruleBroken says in plain words which rules of the contract a request breaks.
// With an update mask, what is not to be changed may be as it is.
func ruleBroken(err error, mask []string) error {
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) {
		return fmt.Errorf("checking the request: %w", err)
	}
	var fields []care.FieldError
	for _, v := range broken.Violations {
		path := protovalidate.FieldPathString(v.Proto.GetField())
		if mask != nil {
			if _, inside, ok := strings.Cut(path, "."); ok && inside != "name" && inside != "etag" &&
				!slices.ContainsFunc(mask, func(m string) bool { return inside == m || strings.HasPrefix(inside, m+"[") }) {
				continue
			}
		}
		fields = append(fields, care.FieldError{Field: path, Text: plainRule(path, v)})
	}
	if len(fields) == 0 {
		return nil
	}
	return &care.Error{Code: care.Invalid, Reason: care.ReasonBadField, Text: fields[0].Text, Fields: fields}
}

// plainRule is one broken rule as a sentence that says what to do.
func plainRule(path string, v *protovalidate.Violation) words.Text {
	name := path
	if i := strings.LastIndexByte(path, '.'); i >= 0 {
		name = path[i+1:]
	}
	rule := v.Proto.GetRuleId()
	limit := ""
	if v.RuleValue.IsValid() {
		limit = fmt.Sprint(v.RuleValue.Interface())
	}
	switch {
	case rule == "required" && path != "" && strings.HasSuffix(path, "body"), rule == "required" && v.FieldDescriptor == nil:
		return words.Say("The entry is empty. Say what happened.")
	case rule == "required", rule == "string.min_len", rule == "repeated.min_items", rule == "enum.not_in":
		return words.Say("{field} is missing. Fill it in.", name)
	case rule == "string.max_len":
		return words.Say("{field} is too long. Use at most {most} characters.", name, limit)
	case rule == "repeated.max_items":
		return words.Say("{field} has too many items. Send at most {most}.", name, limit)
	case rule == "enum.defined_only":
		return words.Say("{field} has a value that this version does not know. Update the app, or choose one of the listed values.", name)
	case rule == "string.pattern":
		if name == "hatch_date" {
			return words.Say("hatch_date is not a date. Write it as YYYY-MM-DD, or leave it empty.")
		}
		return words.Say("{field} does not have the form that is needed here ({form}). Check it.", name, limit)
	case strings.HasSuffix(rule, ".gte_lte"):
		if limits := aNumber.FindAllString(v.Proto.GetMessage(), -1); len(limits) == 2 {
			return words.Say("{field} is out of range: it goes from {least} to {most}. Check the number and its unit.", name, limits[0], limits[1])
		}
	}
	return words.Say("{field} does not fit. Look at /api for what it takes.", name)
}

// aNumber is one in what protovalidate says of a range.
var aNumber = regexp.MustCompile(`-?\d+(\.\d+)?`)

// snakeCase turns a JSON name into the contract's: displayName, display_name.
func snakeCase(name string) string {
	var b strings.Builder
	for _, r := range name {
		if unicode.IsUpper(r) {
			b.WriteByte('_')
			r = unicode.ToLower(r)
		}
		b.WriteRune(r)
	}
	return b.String()
}
