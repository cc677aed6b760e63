package server

import (
	"context"
	"strings"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"

	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
)

// looksEvery is how often looks are written down. What a crash takes are the
// last seconds of them; a request never waits for one.
const looksEvery = 10 * time.Second

// looks are what the breeder's people looked at of keepers' cases and is not
// written down yet, counted together for each person, thing and day.
type looks struct {
	mu   sync.Mutex
	seen map[lookKey]*followup.Seen
}

type lookKey struct {
	breederID, caseID, animalID string
	by                          care.ActorKind
	byID                        string
	what                        care.LookKind
	day                         int64
}

// note counts one look. Who looks at their own as a keeper is not counted.
func (l *looks) note(who care.Actor, breederID, caseID, animalID string, what care.LookKind, now time.Time) {
	if !who.OfBreeder(breederID) || caseID == "" && animalID == "" {
		return
	}
	l.count(lookKey{breederID: breederID, caseID: caseID, animalID: animalID, by: who.Kind, byID: who.UserID, what: what}, now)
}

// count adds one to a key of no day yet.
func (l *looks) count(key lookKey, now time.Time) {
	now = care.Instant(now)
	day := now.Truncate(24 * time.Hour)
	key.day = day.Unix()
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.seen[key]
	if s == nil {
		if l.seen == nil {
			l.seen = map[lookKey]*followup.Seen{}
		}
		s = &followup.Seen{AnimalID: key.animalID, Look: care.Look{BreederID: key.breederID, CaseID: key.caseID, By: key.by, ByID: key.byID, What: key.what, Day: day, FirstAt: now}}
		l.seen[key] = s
	}
	s.Count, s.LastAt = s.Count+1, now
}

// opened counts one opening of the letter about a case by a link.
func (l *looks) opened(breederID, caseID, link string, now time.Time) {
	l.count(lookKey{breederID: breederID, caseID: caseID, byID: link, what: care.LookLetter}, now)
}

// take empties the count.
func (l *looks) take() (list []followup.Seen) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, s := range l.seen {
		list = append(list, *s)
	}
	l.seen = nil
	return list
}

// back puts looks that could not be written down into the count again.
func (l *looks) back(list []followup.Seen) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.seen == nil {
		l.seen = map[lookKey]*followup.Seen{}
	}
	for i := range list {
		s := &list[i]
		key := lookKey{s.BreederID, s.CaseID, s.AnimalID, s.By, s.ByID, s.What, s.Day.Unix()}
		if newer := l.seen[key]; newer != nil {
			s.Count, s.LastAt = s.Count+newer.Count, newer.LastAt
		}
		l.seen[key] = s
	}
}

// keepLooks writes down what was looked at.
func (s *Server) keepLooks(ctx context.Context) error {
	const batch = 500
	ctx = care.WithReach(ctx, care.EverybodysReach)
	list := s.looks.take()
	for len(list) > 0 {
		n := min(batch, len(list))
		if err := s.followup.KeepLooks(ctx, list[:n]); err != nil {
			s.looks.back(list)
			return err
		}
		list = list[n:]
	}
	return nil
}

// noteLook counts a call that was answered.
func (s *Server) noteLook(who care.Actor, msg proto.Message) {
	if who.Kind == care.Nobody || who.Kind == care.KeeperActor {
		return
	}
	var name, only string
	what := care.LookCase
	switch m := msg.(type) {
	case *pb.GetCaseRequest:
		name = m.GetName()
	case *pb.GetCourseRequest:
		name = m.GetName()
	case *pb.GetGuideRequest:
		name = m.GetName()
	case *pb.ListFlagsRequest:
		name = m.GetParent()
	case *pb.ListEntriesRequest:
		name, only, what = m.GetParent(), m.GetCase(), care.LookLog
	case *pb.GetEntryRequest:
		name, what = m.GetName(), care.LookLog
	case *pb.ListPhotosRequest:
		name, what = m.GetParent(), care.LookPhoto
	case *pb.CreateKeeperCodeRequest:
		name, what = m.GetName(), care.LookCode
	default:
		return
	}
	if only != "" {
		name = only
	}
	parts := strings.Split(name, "/") // the contract's patterns made sure of the form
	if len(parts) < 4 {
		return
	}
	if parts[2] == "cases" {
		s.looks.note(who, parts[1], parts[3], "", what, s.now())
	} else {
		s.looks.note(who, parts[1], "", parts[3], what, s.now())
	}
}
