package server

import (
	"context"
	"strconv"

	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
)

type cardService struct {
	pb.UnimplementedCardServiceServer
	s *Server
}

func (c *cardService) CreateCards(ctx context.Context, req *pb.CreateCardsRequest) (*pb.CreateCardsResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	list, err := c.s.followup.CreateCards(ctx, callOf(ctx).who.Actor, c.s.now(), ids[0], int(req.GetCount()), req.GetRequestId())
	out := &pb.CreateCardsResponse{}
	for i := range list {
		out.Cards = append(out.Cards, &pb.NewCard{Card: cardToProto(&list[i].Card), Code: list[i].Code})
	}
	return out, err
}

func (c *cardService) ListCards(ctx context.Context, req *pb.ListCardsRequest) (*pb.ListCardsResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	query := queryDigest("ListCards", req.GetParent())
	after, err := pageAfter(query, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	list, next, key, err := c.s.followup.ListCards(ctx, callOf(ctx).who.Actor, ids[0], after, pageSize(req.GetPageSize(), 50))
	out := &pb.ListCardsResponse{NextPageToken: nextPage(query, next), MarkKey: key}
	for i := range list {
		out.Cards = append(out.Cards, cardToProto(&list[i]))
	}
	return out, err
}

func (c *cardService) RevokeCard(ctx context.Context, req *pb.RevokeCardRequest) (*pb.RevokeCardResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "cards")
	if err != nil {
		return nil, err
	}
	number, err := cardNumber("name", ids[1])
	if err != nil {
		return nil, err
	}
	out, err := c.s.followup.RevokeCard(ctx, callOf(ctx).who.Actor, c.s.now(), ids[0], number)
	return &pb.RevokeCardResponse{Card: cardToProto(&out)}, err
}

// ClaimCard gives browsers the session as a cookie and others in the answer.
func (c *cardService) ClaimCard(ctx context.Context, req *pb.ClaimCardRequest) (*pb.ClaimCardResponse, error) {
	call, now := callOf(ctx), c.s.now()
	var keeper care.Actor
	var secret string
	w, err := c.s.followup.ClaimCard(ctx, call.who.Actor, now, req.GetClaimCode(), req.GetKeeperName(), req.GetRequestId(), func(tx care.Tx, who care.Actor) (err error) {
		keeper = who
		secret, err = c.s.enter(tx, who, call, now)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &pb.ClaimCardResponse{Card: waitingToProto(&w)}
	if call.cred.viaGateway && call.cred.browser != "" {
		call.who.keeps(keeper, secret)
	} else {
		out.SessionToken = secret
	}
	return out, nil
}

func (c *cardService) ListWaitingCards(ctx context.Context, _ *pb.ListWaitingCardsRequest) (*pb.ListWaitingCardsResponse, error) {
	list, err := c.s.followup.WaitingCards(ctx, callOf(ctx).who.Actor)
	out := &pb.ListWaitingCardsResponse{}
	for i := range list {
		out.Cards = append(out.Cards, waitingToProto(&list[i]))
	}
	return out, err
}

func cardNumber(field, id string) (int64, error) {
	n, err := strconv.ParseInt(id, 10, 64)
	if err != nil {
		return 0, care.BadField(field, "A card's name ends with its number, as it is printed on it.")
	}
	return n, nil
}

func cardToProto(c *care.Card) *pb.Card {
	out := &pb.Card{Name: under(c.BreederID, "cards", strconv.FormatInt(c.Number, 10)), Number: c.Number, State: pb.CardState_CARD_STATE_BLANK,
		CreateTime: timeToProto(c.CreatedAt), ClaimTime: maybeTime(c.ClaimedAt), KeeperName: c.KeeperName}
	switch {
	case c.RevokedAt != nil:
		out.State = pb.CardState_CARD_STATE_REVOKED
	case c.HandoverID != "":
		out.State, out.Handover = pb.CardState_CARD_STATE_USED, under(c.BreederID, "handovers", c.HandoverID)
	default:
		out.Mark = c.Mark
	}
	return out
}

func waitingToProto(w *followup.WaitingCard) *pb.WaitingCard {
	return &pb.WaitingCard{Number: w.Number, BreederName: w.Breeder, ClaimTime: timeToProto(w.ClaimedAt), Revoked: w.Revoked}
}
