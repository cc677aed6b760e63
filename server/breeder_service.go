package server

import (
	"context"

	pb "warmhand/internal/gen/warmhand/v1"
)

type breederService struct {
	pb.UnimplementedBreederServiceServer
	s *Server
}

func (b *breederService) GetBreeder(ctx context.Context, req *pb.GetBreederRequest) (*pb.GetBreederResponse, error) {
	ids, err := split("name", req.GetName(), "breeders")
	if err != nil {
		return nil, err
	}
	out, err := b.s.followup.GetBreeder(ctx, callOf(ctx).who.Actor, ids[0])
	return &pb.GetBreederResponse{Breeder: breederToProto(&out)}, err
}

func (b *breederService) UpdateBreeder(ctx context.Context, req *pb.UpdateBreederRequest) (*pb.UpdateBreederResponse, error) {
	fields, err := masked(req.GetUpdateMask())
	if err != nil {
		return nil, err
	}
	in, err := breederFromProto(req.GetBreeder())
	if err != nil {
		return nil, err
	}
	out, err := b.s.followup.UpdateBreeder(ctx, callOf(ctx).who.Actor, b.s.now(), in, fields)
	return &pb.UpdateBreederResponse{Breeder: breederToProto(&out)}, err
}
