package server

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/words"
)

type caseService struct {
	pb.UnimplementedCaseServiceServer
	s *Server
}

func casesToProto(in *words.Language, list []followup.CaseView, who care.Actor, whole bool) []*pb.Case {
	out := make([]*pb.Case, len(list))
	for i := range list {
		out[i] = caseToProto(in, &list[i], who, whole)
	}
	return out
}

func (c *caseService) ListCases(ctx context.Context, req *pb.ListCasesRequest) (*pb.ListCasesResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	query := queryDigest("ListCases", req.GetParent(), req.GetState().String())
	after, err := pageAfter(query, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	ended := req.GetState() == pb.CaseState_CASE_STATE_ENDED
	list, next, err := c.s.followup.ListCases(ctx, who, c.s.now(), ids[0], care.CaseQuery{Open: !ended, Closed: ended}, after, pageSize(req.GetPageSize(), 50))
	return &pb.ListCasesResponse{Cases: casesToProto(spoken(ctx), list, who, false), NextPageToken: nextPage(query, next)}, err
}

// ListKeeperCases is the one list with assessments: a keeper has few cases, and
// the phone shows the next thing of each.
func (c *caseService) ListKeeperCases(ctx context.Context, _ *pb.ListKeeperCasesRequest) (*pb.ListKeeperCasesResponse, error) {
	who := callOf(ctx).who.Actor
	list, err := c.s.followup.KeeperCases(ctx, who, c.s.now())
	return &pb.ListKeeperCasesResponse{Cases: casesToProto(spoken(ctx), list, who, true)}, err
}

func (c *caseService) GetCase(ctx context.Context, req *pb.GetCaseRequest) (*pb.GetCaseResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.GetCase(ctx, who, c.s.now(), ids[0], ids[1])
	return &pb.GetCaseResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) GetCourse(ctx context.Context, req *pb.GetCourseRequest) (*pb.GetCourseResponse, error) {
	// The contract's pattern made sure of the form breeders/*/cases/*/course.
	name := req.GetName()[:len(req.GetName())-len("/course")]
	ids, err := split("name", name, "breeders", "cases")
	if err != nil {
		return nil, err
	}
	course, entries, err := c.s.followup.Course(ctx, callOf(ctx).who.Actor, c.s.now(), ids[0], ids[1])
	return &pb.GetCourseResponse{Course: courseToProto(spoken(ctx), req.GetName(), &course, entries)}, err
}

func (c *caseService) GetGuide(ctx context.Context, req *pb.GetGuideRequest) (*pb.GetGuideResponse, error) {
	// The contract's pattern made sure of the form breeders/*/cases/*/guide.
	ids, err := split("name", req.GetName()[:len(req.GetName())-len("/guide")], "breeders", "cases")
	if err != nil {
		return nil, err
	}
	found, err := c.s.followup.Guide(ctx, callOf(ctx).who.Actor, c.s.now(), ids[0], ids[1])
	out := &pb.Guide{Name: req.GetName(), NowPage: found.Guide.Now}
	in := spoken(ctx)
	for _, p := range found.Guide.Pages {
		page := &pb.GuidePage{Code: p.Code, Title: in.Say(p.Title), Now: in.Say(p.Now)}
		for _, part := range p.Parts {
			page.Parts = append(page.Parts, &pb.GuidePart{Title: in.Say(part.Title), Points: in.All(part.Points), Ordered: part.Ordered, Source: part.Source})
		}
		out.Pages = append(out.Pages, page)
	}
	return &pb.GetGuideResponse{Guide: out}, err
}

func (c *caseService) ProbeCase(ctx context.Context, req *pb.ProbeCaseRequest) (*pb.ProbeCaseResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	at, err := timeFromProto("happen_time", req.GetHappenTime())
	if err != nil {
		return nil, err
	}
	var body care.Body
	switch b := req.GetWhat().(type) {
	case *pb.ProbeCaseRequest_Offer:
		body = offerFromProto(b.Offer)
	case *pb.ProbeCaseRequest_WeighIn:
		body = weighInFromProto(b.WeighIn)
	case *pb.ProbeCaseRequest_Climate:
		body = climateFromProto(b.Climate)
	}
	who := callOf(ctx).who.Actor
	list, err := c.s.followup.Probe(ctx, who, c.s.now(), ids[0], ids[1], body, at)
	out := &pb.ProbeCaseResponse{}
	for i := range list {
		out.Probes = append(out.Probes, tryToProto(spoken(ctx), &list[i], who.OfBreeder(ids[0])))
	}
	return out, err
}

func (c *caseService) ListGatherings(ctx context.Context, req *pb.ListGatheringsRequest) (*pb.ListGatheringsResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	list, err := c.s.followup.Gatherings(ctx, who, c.s.now(), ids[0])
	out := &pb.ListGatheringsResponse{}
	for i := range list {
		g := &list[i]
		out.Gatherings = append(out.Gatherings, &pb.Gathering{Clutch: g.Clutch, ShowDay: g.ShowDay, Cases: casesToProto(spoken(ctx), g.Cases, who, false), Animals: int32(g.Animals),
			OthersRefusing: int32(g.OthersRefusing), Others: int32(g.Others), Chance: g.Chance, Groups: int32(g.Groups), Text: spoken(ctx).Say(g.Text()), Assumes: spoken(ctx).Say(g.Assumes())})
	}
	return out, err
}

func (c *caseService) ListFlags(ctx context.Context, req *pb.ListFlagsRequest) (*pb.ListFlagsResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	list, err := c.s.followup.ListFlags(ctx, callOf(ctx).who.Actor, ids[0], ids[1])
	out := &pb.ListFlagsResponse{}
	for i := range list {
		out.Flags = append(out.Flags, flagToProto(spoken(ctx), &list[i]))
	}
	return out, err
}

func (c *caseService) ListPhotos(ctx context.Context, req *pb.ListPhotosRequest) (*pb.ListPhotosResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	list, err := c.s.followup.ListPhotos(ctx, callOf(ctx).who.Actor, ids[0], ids[1])
	out := &pb.ListPhotosResponse{}
	for i := range list {
		out.Photos = append(out.Photos, photoToProto(&list[i]))
	}
	return out, err
}

func (c *caseService) ListNewPhotos(ctx context.Context, req *pb.ListNewPhotosRequest) (*pb.ListNewPhotosResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	query := queryDigest("ListNewPhotos", req.GetParent())
	after, err := pageAfter(query, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	list, next, err := c.s.followup.NewPhotos(ctx, callOf(ctx).who.Actor, ids[0], after, pageSize(req.GetPageSize(), 20))
	out := &pb.ListNewPhotosResponse{NextPageToken: nextPage(query, next)}
	for i := range list {
		n := &list[i]
		p := &pb.NewPhoto{Photo: photoToProto(&n.Photo), AnimalName: n.Animal.Name, KeeperName: n.Case.KeeperName,
			Animal: animalName(n.Animal.BreederID, n.Animal.ID), Note: n.Note, Mark: markToProto(n.Mark), MarkText: n.MarkText}
		if n.Answer.Point != "" {
			p.Answer = answerToProto(&n.Answer)
		}
		out.Photos = append(out.Photos, p)
	}
	return out, err
}

func (c *caseService) LookAtPhoto(ctx context.Context, req *pb.LookAtPhotoRequest) (*pb.LookAtPhotoResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases", "photos")
	if err != nil {
		return nil, err
	}
	return &pb.LookAtPhotoResponse{}, c.s.followup.LookAtPhoto(ctx, callOf(ctx).who.Actor, c.s.now(), ids[0], ids[1], ids[2])
}

func (c *caseService) ReadCard(ctx context.Context, req *pb.ReadCardRequest) (*pb.ReadCardResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases", "photos")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	p, err := c.s.followup.Photo(ctx, who, ids[0], ids[1], ids[2])
	if err != nil {
		return nil, err
	}
	code, found, err := c.s.readCard(ctx, p.Hash)
	if err != nil || !found {
		return &pb.ReadCardResponse{}, err
	}
	whose, animal, err := c.s.followup.WhoseCard(ctx, who, ids[0], code)
	if err != nil {
		return nil, err
	}
	out := &pb.ReadCardResponse{Found: true, AnimalName: animal}
	if whose != nil {
		out.Case = caseName(whose.BreederID, whose.ID)
	}
	return out, nil
}

func (c *caseService) GiveBack(ctx context.Context, req *pb.GiveBackRequest) (*pb.GiveBackResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.GiveBack(ctx, who, c.s.now(), ids[0], ids[1], !req.GetTakeBack())
	return &pb.GiveBackResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) MarkCaseSeen(ctx context.Context, req *pb.MarkCaseSeenRequest) (*pb.MarkCaseSeenResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.MarkSeen(ctx, who, c.s.now(), ids[0], ids[1])
	return &pb.MarkCaseSeenResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) SetCaseAside(ctx context.Context, req *pb.SetCaseAsideRequest) (*pb.SetCaseAsideResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	until, err := maybeTimeFromProto("until_time", req.GetUntilTime())
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.SetAside(ctx, who, c.s.now(), ids[0], ids[1], until, req.GetReason())
	return &pb.SetCaseAsideResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) LookAfterCase(ctx context.Context, req *pb.LookAfterCaseRequest) (*pb.LookAfterCaseResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.LookAfter(ctx, who, c.s.now(), ids[0], ids[1], req.GetLookedAfterBy())
	return &pb.LookAfterCaseResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) AcknowledgeMessages(ctx context.Context, req *pb.AcknowledgeMessagesRequest) (*pb.AcknowledgeMessagesResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	got, err := maybeTimeFromProto("got_time", req.GetGotTime())
	if err != nil {
		return nil, err
	}
	read, err := maybeTimeFromProto("read_time", req.GetReadTime())
	if err != nil {
		return nil, err
	}
	return &pb.AcknowledgeMessagesResponse{}, c.s.followup.Acknowledge(ctx, callOf(ctx).who.Actor, c.s.now(), ids[0], ids[1], got, read)
}

func (c *caseService) AgreeReturn(ctx context.Context, req *pb.AgreeReturnRequest) (*pb.AgreeReturnResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.AgreeReturn(ctx, who, c.s.now(), ids[0], ids[1], req.GetHow())
	return &pb.AgreeReturnResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) SendReturn(ctx context.Context, req *pb.SendReturnRequest) (*pb.SendReturnResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.SendReturn(ctx, who, c.s.now(), ids[0], ids[1])
	return &pb.SendReturnResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) EndQuarantine(ctx context.Context, req *pb.EndQuarantineRequest) (*pb.EndQuarantineResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.EndQuarantine(ctx, who, c.s.now(), ids[0], ids[1])
	return &pb.EndQuarantineResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) ArriveReturn(ctx context.Context, req *pb.ArriveReturnRequest) (*pb.ArriveReturnResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	until, err := maybeTimeFromProto("quarantine_time", req.GetQuarantineTime())
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.Arrive(ctx, who, c.s.now(), ids[0], ids[1], followup.Arrival{Mass: care.Grams(req.GetMassG()), Quarantine: until,
		Place: req.GetPlace(), Lessons: req.GetLessons(), Learned: req.GetLearned(), RequestID: req.GetRequestId()})
	return &pb.ArriveReturnResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) EndCase(ctx context.Context, req *pb.EndCaseRequest) (*pb.EndCaseResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.EndCase(ctx, who, c.s.now(), ids[0], ids[1], outcomes.domain(req.GetOutcome()), req.GetNote(), req.GetRequestId())
	return &pb.EndCaseResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) ReopenCase(ctx context.Context, req *pb.ReopenCaseRequest) (*pb.ReopenCaseResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	who := callOf(ctx).who.Actor
	v, err := c.s.followup.ReopenCase(ctx, who, c.s.now(), ids[0], ids[1], req.GetRequestId())
	return &pb.ReopenCaseResponse{Case: caseToProto(spoken(ctx), &v, who, true)}, err
}

func (c *caseService) WatchCases(req *pb.WatchCasesRequest, stream grpc.ServerStreamingServer[pb.WatchCasesResponse]) error {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return err
	}
	ctx := stream.Context()
	who := callOf(ctx).who
	if !who.OfBreeder(ids[0]) {
		return care.Missing("breeder")
	}
	// The header tells the client that it misses nothing from here on.
	begun := false
	return c.s.watch(ctx, who, func(context.Context) ([]string, error) { return ids, nil }, stream.Send, func() error {
		if begun {
			return nil // grpc has a heartbeat of its own
		}
		begun = true
		return stream.SendHeader(metadata.Pairs("warmhand-watching", "1"))
	})
}
