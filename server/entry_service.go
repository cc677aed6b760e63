package server

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"warmhand/internal/care"
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
	who, list := callOf(ctx).who.Actor, []care.Entry{in}
	if _, err := e.s.measured(ctx, who, list); err != nil {
		return nil, err
	}
	out, err := e.s.followup.CreateEntry(ctx, who, e.s.now(), list[0])
	return &pb.CreateEntryResponse{Entry: entryToProto(spoken(ctx), &out)}, err
}

func (e *entryService) BatchCreateEntries(ctx context.Context, req *pb.BatchCreateEntriesRequest) (*pb.BatchCreateEntriesResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders", "animals")
	if err != nil {
		return nil, err
	}
	list := make([]care.Entry, len(req.GetRequests()))
	for i, r := range req.GetRequests() {
		if r.GetParent() != req.GetParent() {
			return nil, care.BadField(fmt.Sprintf("requests[%d].parent", i), "This entry is of another animal. Send the entries of each animal by themselves.")
		}
		if list[i], err = entryFromProto(r.GetEntry(), ids[0], ids[1], r.GetEntryId()); err != nil {
			return nil, ofRequest(i, err)
		}
	}
	who := callOf(ctx).who.Actor
	if failed, err := e.s.measured(ctx, who, list); err != nil {
		return nil, ofRequest(failed, err)
	}
	out, failed, err := e.s.followup.CreateEntries(ctx, who, e.s.now(), list)
	if err != nil {
		return nil, ofRequest(failed, err)
	}
	return &pb.BatchCreateEntriesResponse{Entries: entriesToProto(spoken(ctx), out)}, nil
}

// ofRequest says in an error which of several requests it is about, if it is
// about one.
func ofRequest(i int, err error) error {
	var e *care.Error
	if i < 0 || !errors.As(err, &e) {
		return err
	}
	about := *e
	about.Meta = maps.Clone(e.Meta)
	if about.Meta == nil {
		about.Meta = map[string]string{}
	}
	about.Meta["request"] = strconv.Itoa(i)
	about.Fields = slices.Clone(e.Fields)
	for j := range about.Fields {
		about.Fields[j].Field = fmt.Sprintf("requests[%d].%s", i, about.Fields[j].Field)
	}
	return &about
}

func (e *entryService) GetEntry(ctx context.Context, req *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "animals", "entries")
	if err != nil {
		return nil, err
	}
	out, err := e.s.followup.GetEntry(ctx, callOf(ctx).who.Actor, ids[0], ids[1], ids[2])
	return &pb.GetEntryResponse{Entry: entryToProto(spoken(ctx), &out)}, err
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
	return &pb.ListEntriesResponse{Entries: entriesToProto(spoken(ctx), list), NextPageToken: nextPage(query, next)}, err
}
