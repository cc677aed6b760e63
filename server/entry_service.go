package server

import (
	"context"
	"strings"

	pb "warmhand/internal/gen/warmhand/v1"
)

type entryService struct {
	pb.UnimplementedEntryServiceServer
	s *Server
}

func (e *entryService) CreateEntry(ctx context.Context, req *pb.CreateEntryRequest) (*pb.CreateEntryResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders", "animals")
	if err != nil {
		return nil, err
	}
	in, err := entryFromProto(req.GetEntry(), ids[0], ids[1], req.GetEntryId())
	if err != nil {
		return nil, err
	}
	out, err := e.s.followup.CreateEntry(ctx, callOf(ctx).who.Actor, e.s.now(), in)
	return &pb.CreateEntryResponse{Entry: entryToProto(&out)}, err
}

func (e *entryService) GetEntry(ctx context.Context, req *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "animals", "entries")
	if err != nil {
		return nil, err
	}
	out, err := e.s.followup.GetEntry(ctx, callOf(ctx).who.Actor, ids[0], ids[1], ids[2])
	return &pb.GetEntryResponse{Entry: entryToProto(&out)}, err
}

func (e *entryService) ListEntries(ctx context.Context, req *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders", "animals")
	if err != nil {
		return nil, err
	}
	caseID, err := splitOwn("case", req.GetCase(), ids[0], "cases")
	if err != nil {
		return nil, err
	}
	kinds, err := kindsFromProto(req.GetKinds())
	if err != nil {
		return nil, err
	}
	query := queryDigest("ListEntries", req.GetParent(), req.GetCase(), strings.Join(req.GetKinds(), ","))
	after, err := pageAfter(query, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	list, next, err := e.s.followup.ListEntries(ctx, callOf(ctx).who.Actor, ids[0], ids[1], kinds, caseID, after, pageSize(req.GetPageSize(), 100))
	return &pb.ListEntriesResponse{Entries: entriesToProto(list), NextPageToken: nextPage(query, next)}, err
}
