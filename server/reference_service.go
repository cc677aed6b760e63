package server

import (
	"context"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/snake"
)

type referenceService struct {
	pb.UnimplementedReferenceServiceServer
}

func (*referenceService) ListSpecies(ctx context.Context, _ *pb.ListSpeciesRequest) (*pb.ListSpeciesResponse, error) {
	out := &pb.ListSpeciesResponse{}
	for _, s := range snake.All() {
		out.Species = append(out.Species, speciesToProto(spoken(ctx), &s))
	}
	return out, nil
}

func (*referenceService) ListGenes(ctx context.Context, _ *pb.ListGenesRequest) (*pb.ListGenesResponse, error) {
	out := &pb.ListGenesResponse{}
	for _, g := range snake.Genes() {
		out.Genes = append(out.Genes, &pb.Gene{Name: g.Name, Wobble: wobbles.proto(g.Wobble), Note: spoken(ctx).Form(g.Note), Source: g.Source})
	}
	return out, nil
}

func (*referenceService) ListSigns(ctx context.Context, _ *pb.ListSignsRequest) (*pb.ListSignsResponse, error) {
	out := &pb.ListSignsResponse{}
	for _, s := range assess.Signs() {
		out.Signs = append(out.Signs, &pb.SignInfo{Code: s.Code, Label: spoken(ctx).Form(s.Label), Level: standings.proto(s.Level), DoNow: spoken(ctx).Form(s.DoNow), Source: s.Source, HowSoon: spoken(ctx).Form(s.Soon.String())})
	}
	return out, nil
}

func (*referenceService) ListSetupPoints(ctx context.Context, _ *pb.ListSetupPointsRequest) (*pb.ListSetupPointsResponse, error) {
	out := &pb.ListSetupPointsResponse{}
	for _, p := range care.SetupPoints() {
		out.Points = append(out.Points, setupPointToProto(spoken(ctx), &p))
	}
	return out, nil
}

func (*referenceService) ListTables(ctx context.Context, _ *pb.ListTablesRequest) (*pb.ListTablesResponse, error) {
	version, rows := snake.Tables()
	out := &pb.ListTablesResponse{Version: version}
	in := spoken(ctx)
	for _, r := range rows {
		out.Rows = append(out.Rows, &pb.TableRow{Of: r.Of, What: r.What, Unit: in.Form(r.Unit), Values: r.Values, Sure: in.Form(r.Sure), Source: in.Form(r.Source), Note: in.Form(r.Note)})
	}
	return out, nil
}
