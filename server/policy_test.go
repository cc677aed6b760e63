package server

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"warmhand/internal/care"
	"warmhand/internal/photo"
)

func TestEveryMethodHasARule(t *testing.T) {
	t.Parallel()
	there := map[string]bool{routeBreederLive: true, routeKeeperLive: true, routePhotoPut: true, routePhotoPatch: true, routePhotoHead: true, routePhotoGet: true,
		routeCards: true, routeLabels: true, routeRecord: true, routeGuide: true, routeLetter: true, routeCaseFile: true, routeCaseFiles: true, routeListPut: true, routeStock: true, routeTakeaway: true, routeEverything: true,
		routeSigned: true, routeKeys: true, routeRevoked: true, routeCalendar: true, routeMailLink: true, routeMailAnswer: true, routeLetterLink: true}
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if file.Package() == "opentelemetry.proto.collector.trace.v1" {
			return true // called to send traces, and not served
		}
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				there[fmt.Sprintf("/%s/%s", service.FullName(), service.Methods().Get(j).Name())] = true
			}
		}
		return true
	})
	for method := range there {
		if _, ok := policy[method]; !ok {
			t.Errorf("%s has no rule in policy.go: say who may call it", method)
		}
	}
	for method := range policy {
		if !there[method] {
			t.Errorf("policy.go has a rule for %s, which does not exist", method)
		}
	}
	if err := policy.Check("/warmhand.v1.NewService/Forgotten", care.Actor{Kind: care.BreederOwner}); err == nil {
		t.Error("a method without a rule is open")
	}
}

func TestErrorsOnTheWire(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		err    error
		code   codes.Code
		http   int
		reason string
	}{
		{care.BadField("entry.note", "x"), codes.InvalidArgument, 400, "BAD_FIELD"},
		{care.Missing("case"), codes.NotFound, 404, "NOT_FOUND"},
		{&care.Error{Code: care.Conflict, Reason: care.ReasonIDReused}, codes.AlreadyExists, 409, "ID_REUSED"},
		{&care.Error{Code: care.Precondition, Reason: care.ReasonLikelySlip}, codes.FailedPrecondition, 400, "LIKELY_SLIP"},
		{&care.Error{Code: care.Stale, Reason: care.ReasonStale}, codes.Aborted, 409, "STALE"},
		{&care.Error{Code: care.Denied, Reason: care.ReasonNotYours}, codes.PermissionDenied, 403, "NOT_YOURS"},
		{&care.Error{Code: care.Unauthenticated, Reason: care.ReasonSignInNeeded}, codes.Unauthenticated, 401, "SIGN_IN_NEEDED"},
		{&care.Error{Code: care.Exhausted, Reason: care.ReasonTooManyTries}, codes.ResourceExhausted, 429, "TOO_MANY_TRIES"},
		{&care.Error{Code: care.Unavailable, Reason: care.ReasonNotSaved}, codes.Unavailable, 503, "NOT_SAVED"},
		{&care.Error{Code: care.Invalid, Reason: care.ReasonTooLarge}, codes.InvalidArgument, 413, "TOO_LARGE"},
		{&photo.Error{Code: photo.Damaged, Field: "photo"}, codes.InvalidArgument, 400, "PHOTO_REFUSED"},
		{&photo.Error{Code: photo.TooLarge, Field: "photo"}, codes.InvalidArgument, 413, "TOO_LARGE"},
		{fmt.Errorf("saving: %w", care.Missing("animal")), codes.NotFound, 404, "NOT_FOUND"},
		{errors.New("password=sesame"), codes.Internal, http.StatusInternalServerError, "INTERNAL"},
	} {
		st, unexpected := statusOf(c.err, "request-7", nil)
		if st.Code() != c.code || httpStatus(st) != c.http || reasonOf(st) != c.reason {
			t.Errorf("%v: got %v, %d, %s", c.err, st.Code(), httpStatus(st), reasonOf(st))
		}
		if unexpected != (c.code == codes.Internal) {
			t.Errorf("%v: unexpected is %v", c.err, unexpected)
		}
		if text := fmt.Sprint(st.Proto()); c.code == codes.Internal && (!strings.Contains(text, "request-7") || strings.Contains(text, "sesame")) {
			t.Errorf("an unknown error shows %s", text)
		}
	}
	for code := range grpcCodes {
		if grpcCodes[code] == codes.OK || grpcCodes[code] == codes.Internal {
			t.Errorf("%s has no code of its own", code)
		}
	}
}
