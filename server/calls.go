package server

import (
	"warmhand/internal/access"
	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
)

// callsEach is how many changes one person or program may make in a minute. A phone that
// was offline for a week sends what it has all at once: hundreds of entries, and pictures
// in pieces.
const callsEach = 1200

// calls are the limits of what is called by whoever is signed in, each class by itself.
// Every server counts what comes to it.
type calls struct{ changes, reads, heavy *access.Limiter }

// heavy are the methods that go through all of a breeder's records. What is printed or
// exported has limits of its own.
var heavy = map[string]bool{
	pb.InsightService_GetInsight_FullMethodName:    true,
	pb.BreederService_TryThresholds_FullMethodName: true,
	pb.ImportService_PreviewImport_FullMethodName:  true,
}

// newCalls makes the limits from the number of changes a minute; below 0 there are none.
func newCalls(each int) *calls {
	if each < 0 {
		return nil
	}
	if each == 0 {
		each = callsEach
	}
	limiter := func(n int) *access.Limiter { return access.NewLimiter(access.CallLimits(max(n, 1))) }
	return &calls{limiter(each), limiter(2 * each), limiter(each / 20)}
}

// count counts a call of a method or route. Who is not signed in has other limits, where
// there is something to guess.
func (s *Server) count(method string, who care.Actor) error {
	if s.calls == nil || who.Kind == care.Nobody {
		return nil
	}
	of := s.calls.changes
	switch {
	case heavy[method]:
		of = s.calls.heavy
	case policy[method].OnlyReads():
		of = s.calls.reads
	}
	return of.Try(callerKey(who), s.now())
}
