package server

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/notify"
	"warmhand/internal/words"
)

// calendar answers a calendar program, which has no sign-in but the secret in the
// address.
func (s *Server) calendar(w http.ResponseWriter, r *http.Request) {
	file, err := s.calendarOf(care.WithReach(r.Context(), reachOf(routeCalendar, care.Actor{}, "")), strings.TrimSuffix(r.PathValue("link"), ".ics"))
	if err != nil {
		hidden := *r // what fails may be logged with its address
		hidden.URL = &url.URL{Path: "/v1/calendars/…"}
		s.writeError(w, &hidden, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8") // RFC 5545, 8.1
	h.Set("Content-Length", strconv.Itoa(len(file)))
	h.Set("Cache-Control", "private, no-store")
	w.Write(file)
}

func (s *Server) calendarOf(ctx context.Context, secret string) ([]byte, error) {
	if err := policy.Check(routeCalendar, care.Actor{}); err != nil {
		return nil, err
	}
	now := s.now()
	var who care.Actor
	if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		who, err = access.OpenCalendar(tx, secret, now)
		return err
	}); err != nil {
		return nil, err
	}
	cases, err := s.followup.KeeperCases(ctx, who, now)
	if err != nil {
		return nil, err
	}
	tag, err := s.followup.Language(ctx, who)
	if err != nil {
		return nil, err
	}
	in, _ := words.ByTag(tag)
	followed := make([]notify.Followed, 0, len(cases))
	for i := range cases {
		c := &cases[i]
		followed = append(followed, notify.Followed{Case: c.Case, Animal: c.Animal.Name, CheckIns: c.Assessment.CheckIns,
			Link: s.Origin() + "/k/" + c.Case.BreederID + "/" + c.Case.ID})
	}
	return notify.Calendar(followed, now, in), nil
}

func (a *accessService) CreateCalendarLink(ctx context.Context, _ *pb.CreateCalendarLinkRequest) (*pb.CreateCalendarLinkResponse, error) {
	out := &pb.CreateCalendarLinkResponse{}
	err := a.s.store.Write(ctx, func(tx care.Tx) error {
		c := callOf(ctx)
		if err := followup.FirstLanguage(tx, c.who.Actor, c.wants()); err != nil {
			return err
		}
		plain, kept, err := access.NewCalendarLink(tx, c.who.Actor, a.s.now())
		out.Link = calendarLinkToProto(&kept)
		out.Link.Url = a.s.Origin() + "/v1/calendars/" + plain + ".ics"
		return err
	})
	return out, err
}

func (a *accessService) GetCalendarLink(ctx context.Context, _ *pb.GetCalendarLinkRequest) (*pb.GetCalendarLinkResponse, error) {
	out := &pb.GetCalendarLinkResponse{}
	err := a.s.store.Read(ctx, func(tx care.Tx) error {
		kept, err := access.CalendarLink(tx, callOf(ctx).who.Actor, a.s.now())
		if kept != nil {
			out.Link = calendarLinkToProto(kept)
		}
		return err
	})
	return out, err
}

func (a *accessService) DeleteCalendarLink(ctx context.Context, _ *pb.DeleteCalendarLinkRequest) (*pb.DeleteCalendarLinkResponse, error) {
	err := a.s.store.Write(ctx, func(tx care.Tx) error { return access.EndCalendarLink(tx, callOf(ctx).who.Actor) })
	return &pb.DeleteCalendarLinkResponse{}, err
}

func calendarLinkToProto(s *care.Secret) *pb.CalendarLink {
	return &pb.CalendarLink{CreateTime: timeToProto(s.CreatedAt), ExpireTime: timeToProto(s.ExpiresAt)}
}
