package server

import (
	"context"

	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/words"
)

type handoverService struct {
	pb.UnimplementedHandoverServiceServer
	s *Server
}

// sharing is what a keeper is told before claiming.
var sharing = []words.Text{
	words.Say("The breeder sees what you write about this animal: meals, weights, temperatures, the setup, photos and messages."),
	words.Say("Other keepers and other breeders see none of it."),
	words.Say("You need no account and no e-mail address, and you may leave your name out."),
	words.Say("The place where a photo was taken is removed before it is kept."),
	words.Say("From what you write the breeder is shown how the animal is doing. That is no diagnosis; for that there is a reptile vet."),
}

func (h *handoverService) CreateHandover(ctx context.Context, req *pb.CreateHandoverRequest) (*pb.CreateHandoverResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	in := req.GetHandover()
	d := followup.HandoverDraft{BreederID: ids[0], ShowDay: in.GetShowDay(), BuyerNote: in.GetBuyerNote(), RequestID: req.GetRequestId(), CardCode: in.GetCardCode(),
		Price: care.Price{Amount: in.GetPrice().GetAmount(), Currency: in.GetPrice().GetCurrency()}}
	if in.GetAnimal() == "" {
		return nil, care.BadField("handover.animal", "Say which animal is handed over.")
	}
	if d.AnimalID, err = splitOwn("handover.animal", in.GetAnimal(), ids[0], "animals"); err != nil {
		return nil, err
	}
	if d.At, err = timeFromProto("handover.handover_time", in.GetHandoverTime()); err != nil {
		return nil, err
	}
	out, code, err := h.s.followup.CreateHandover(ctx, callOf(ctx).who.Actor, h.s.now(), d)
	if err != nil {
		return nil, err
	}
	whole, err := h.whole(ctx, &out)
	return &pb.CreateHandoverResponse{Handover: whole, ClaimCode: code, ClaimUrl: h.s.ClaimURL(code)}, err
}

// whole is a handover with its record.
func (h *handoverService) whole(ctx context.Context, out *care.Handover) (*pb.Handover, error) {
	zone, err := h.s.followup.Zone(ctx, out.BreederID)
	if err != nil {
		return nil, err
	}
	return handoverToProto(spoken(ctx), out, h.s.now(), zone), nil
}

func (h *handoverService) GetHandover(ctx context.Context, req *pb.GetHandoverRequest) (*pb.GetHandoverResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "handovers")
	if err != nil {
		return nil, err
	}
	out, err := h.s.followup.GetHandover(ctx, callOf(ctx).who.Actor, ids[0], ids[1])
	if err != nil {
		return nil, err
	}
	whole, err := h.whole(ctx, &out)
	return &pb.GetHandoverResponse{Handover: whole}, err
}

func (h *handoverService) ListHandovers(ctx context.Context, req *pb.ListHandoversRequest) (*pb.ListHandoversResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	animalID, err := splitOwn("animal", req.GetAnimal(), ids[0], "animals")
	if err != nil {
		return nil, err
	}
	query := queryDigest("ListHandovers", req.GetParent(), req.GetAnimal())
	after, err := pageAfter(query, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	list, next, err := h.s.followup.ListHandovers(ctx, callOf(ctx).who.Actor, ids[0], animalID, after, pageSize(req.GetPageSize(), 50))
	out := &pb.ListHandoversResponse{NextPageToken: nextPage(query, next)}
	for i := range list {
		out.Handovers = append(out.Handovers, handoverToProto(spoken(ctx), &list[i], h.s.now(), nil))
	}
	return out, err
}

func (h *handoverService) RevokeHandover(ctx context.Context, req *pb.RevokeHandoverRequest) (*pb.RevokeHandoverResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "handovers")
	if err != nil {
		return nil, err
	}
	out, err := h.s.followup.RevokeHandover(ctx, callOf(ctx).who.Actor, h.s.now(), ids[0], ids[1])
	if err != nil {
		return nil, err
	}
	whole, err := h.whole(ctx, &out)
	return &pb.RevokeHandoverResponse{Handover: whole}, err
}

func (h *handoverService) ReplaceClaimCode(ctx context.Context, req *pb.ReplaceClaimCodeRequest) (*pb.ReplaceClaimCodeResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "handovers")
	if err != nil {
		return nil, err
	}
	out, code, err := h.s.followup.ReplaceClaimCode(ctx, callOf(ctx).who.Actor, h.s.now(), ids[0], ids[1])
	if err != nil {
		return nil, err
	}
	whole, err := h.whole(ctx, &out)
	return &pb.ReplaceClaimCodeResponse{Handover: whole, ClaimCode: code, ClaimUrl: h.s.ClaimURL(code)}, err
}

func (h *handoverService) CreatePassOn(ctx context.Context, req *pb.CreatePassOnRequest) (*pb.CreatePassOnResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	out, code, err := h.s.followup.PassOn(ctx, callOf(ctx).who.Actor, h.s.now(), ids[0], ids[1])
	return &pb.CreatePassOnResponse{PassOn: &pb.PassOn{Code: code, Url: h.s.ClaimURL(code), ExpireTime: timeToProto(out.ClaimExpiresAt)}}, err
}

func (h *handoverService) GetPassOn(ctx context.Context, req *pb.GetPassOnRequest) (*pb.GetPassOnResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	out, found, err := h.s.followup.GetPassOn(ctx, callOf(ctx).who.Actor, h.s.now(), ids[0], ids[1])
	if err != nil || !found {
		return &pb.GetPassOnResponse{}, err
	}
	return &pb.GetPassOnResponse{PassOn: &pb.PassOn{ExpireTime: timeToProto(out.ClaimExpiresAt)}}, nil
}

func (h *handoverService) RevokePassOn(ctx context.Context, req *pb.RevokePassOnRequest) (*pb.RevokePassOnResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cases")
	if err != nil {
		return nil, err
	}
	return &pb.RevokePassOnResponse{}, h.s.followup.RevokePassOn(ctx, callOf(ctx).who.Actor, ids[0], ids[1])
}

func (h *handoverService) LookUpClaim(ctx context.Context, req *pb.LookUpClaimRequest) (*pb.LookUpClaimResponse, error) {
	out, err := h.s.followup.LookUpClaim(ctx, h.s.now(), req.GetClaimCode())
	if err != nil {
		return nil, err
	}
	zone, err := h.s.followup.Zone(ctx, out.BreederID)
	if err != nil {
		return nil, err
	}
	return &pb.LookUpClaimResponse{Record: recordToProto(spoken(ctx), &out.Record, out.HandedOverAt, zone), ClaimExpireTime: timeToProto(out.ClaimExpiresAt), Sharing: spoken(ctx).All(sharing), PassedOn: out.From != ""}, nil
}

// ClaimHandover gives browsers the session as a cookie and others in the
// answer.
func (h *handoverService) ClaimHandover(ctx context.Context, req *pb.ClaimHandoverRequest) (*pb.ClaimHandoverResponse, error) {
	c, now := callOf(ctx), h.s.now()
	var keeper care.Actor
	var secret string
	v, handover, err := h.s.followup.Claim(ctx, c.who.Actor, now, req.GetClaimCode(), req.GetKeeperName(), req.GetRequestId(), func(tx care.Tx, who care.Actor) (err error) {
		keeper = who
		secret, err = h.s.enter(tx, who, c, now)
		return err
	})
	if err != nil {
		return nil, err
	}
	whole, err := h.whole(ctx, &handover)
	if err != nil {
		return nil, err
	}
	out := &pb.ClaimHandoverResponse{Case: caseToProto(spoken(ctx), &v, keeper, true), Handover: whole}
	if c.cred.viaGateway && c.cred.browser != "" {
		c.who.keeps(keeper, secret)
	} else {
		out.SessionToken = secret
	}
	return out, nil
}
