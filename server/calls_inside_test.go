package server

import (
	"testing"
	"time"

	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
)

// A phone that was offline for a week sends all at once: sixty entries a day, and fifty
// pictures of 0.5 MB in pieces of 128 kB.
func TestAWeekOfOnePhone(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	s := &Server{calls: newCalls(0), now: func() time.Time { return now }}
	phone := care.Actor{Kind: care.KeeperActor, KeeperID: "k1"}
	for range 7*60 + 50*4 {
		if err := s.count(pb.EntryService_CreateEntry_FullMethodName, phone); err != nil {
			t.Fatal(err)
		}
	}
	n := 0
	for s.count(pb.EntryService_CreateEntry_FullMethodName, phone) == nil {
		if n++; n > callsEach {
			t.Fatal("nobody counts")
		}
	}
	if err := s.count(routePhotoPatch, phone); !care.IsCode(err, care.Exhausted) {
		t.Errorf("a picture beside: %v", err)
	}
	if err := s.count(pb.EntryService_ListEntries_FullMethodName, phone); err != nil {
		t.Errorf("reading: %v", err)
	}
	for range 5000 { // has its own limits
		if err := s.count(pb.HandoverService_LookUpClaim_FullMethodName, care.Actor{}); err != nil {
			t.Fatal(err)
		}
	}
}
