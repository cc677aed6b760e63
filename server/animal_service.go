package server

import (
	"context"

	pb "warmhand/internal/gen/warmhand/v1"
)

type animalService struct {
	pb.UnimplementedAnimalServiceServer
	s *Server
}

func (a *animalService) CreateAnimal(ctx context.Context, req *pb.CreateAnimalRequest) (*pb.CreateAnimalResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	// With the request's id for the animal's, a repeat finds the first answer.
	id := req.GetAnimalId()
	if id == "" {
		id = req.GetRequestId()
	}
	in, err := animalFromProto(req.GetAnimal(), ids[0], id)
	if err != nil {
		return nil, err
	}
	out, err := a.s.followup.CreateAnimal(ctx, callOf(ctx).who.Actor, a.s.now(), in)
	return &pb.CreateAnimalResponse{Animal: animalToProto(&out)}, err
}

func (a *animalService) GetAnimal(ctx context.Context, req *pb.GetAnimalRequest) (*pb.GetAnimalResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "animals")
	if err != nil {
		return nil, err
	}
	out, err := a.s.followup.GetAnimal(ctx, callOf(ctx).who.Actor, ids[0], ids[1])
	return &pb.GetAnimalResponse{Animal: animalToProto(&out)}, err
}

func (a *animalService) ListAnimals(ctx context.Context, req *pb.ListAnimalsRequest) (*pb.ListAnimalsResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	query := queryDigest("ListAnimals", req.GetParent(), req.GetQuery())
	after, err := pageAfter(query, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	list, next, err := a.s.followup.ListAnimals(ctx, callOf(ctx).who.Actor, ids[0], req.GetQuery(), after, pageSize(req.GetPageSize(), 50))
	out := &pb.ListAnimalsResponse{NextPageToken: nextPage(query, next)}
	for i := range list {
		out.Animals = append(out.Animals, animalToProto(&list[i]))
	}
	return out, err
}

func (a *animalService) ListStock(ctx context.Context, req *pb.ListStockRequest) (*pb.ListStockResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	query := queryDigest("ListStock", req.GetParent())
	after, err := pageAfter(query, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	list, next, err := a.s.followup.ListStock(ctx, callOf(ctx).who.Actor, a.s.now(), ids[0], after, pageSize(req.GetPageSize(), 200))
	out := &pb.ListStockResponse{NextPageToken: nextPage(query, next)}
	for i := range list {
		out.Animals = append(out.Animals, stockAnimalToProto(spoken(ctx), &list[i]))
	}
	return out, err
}

func (a *animalService) GetStockAnimal(ctx context.Context, req *pb.GetStockAnimalRequest) (*pb.GetStockAnimalResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "animals")
	if err != nil {
		return nil, err
	}
	out, err := a.s.followup.GetStockAnimal(ctx, callOf(ctx).who.Actor, a.s.now(), ids[0], ids[1])
	if err != nil {
		return nil, err
	}
	return &pb.GetStockAnimalResponse{Animal: stockAnimalToProto(spoken(ctx), &out)}, nil
}

func (a *animalService) UpdateAnimal(ctx context.Context, req *pb.UpdateAnimalRequest) (*pb.UpdateAnimalResponse, error) {
	ids, err := split("animal.name", req.GetAnimal().GetName(), "breeders", "animals")
	if err != nil {
		return nil, err
	}
	fields, err := masked(req.GetUpdateMask())
	if err != nil {
		return nil, err
	}
	in, err := animalFromProto(req.GetAnimal(), ids[0], ids[1])
	if err != nil {
		return nil, err
	}
	out, err := a.s.followup.UpdateAnimal(ctx, callOf(ctx).who.Actor, a.s.now(), in, fields)
	return &pb.UpdateAnimalResponse{Animal: animalToProto(&out)}, err
}

func (a *animalService) DeleteAnimal(ctx context.Context, req *pb.DeleteAnimalRequest) (*pb.DeleteAnimalResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "animals")
	if err != nil {
		return nil, err
	}
	return &pb.DeleteAnimalResponse{}, a.s.followup.DeleteAnimal(ctx, callOf(ctx).who.Actor, a.s.now(), ids[0], ids[1])
}
