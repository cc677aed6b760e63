package server

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"warmhand/internal/access"
	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/photo"
)

type rightsService struct {
	pb.UnimplementedRightsServiceServer
	s *Server
}

func (r *rightsService) LeaveKeeper(ctx context.Context, _ *pb.LeaveKeeperRequest) (*pb.LeaveKeeperResponse, error) {
	c := callOf(ctx)
	n, err := r.s.followup.Leave(ctx, c.who.Actor, r.s.now(), access.EndKeeper)
	if err != nil {
		return nil, err
	}
	c.who.keeps(c.who.Actor, "")
	// The pictures' rows are gone. Should their bytes not go now, cleaning tries
	// again.
	if err := r.s.discard(ctx); err != nil {
		r.s.log.Error("Pictures of a keeper who left are still on the disk and will be tried again.", "error", err)
	}
	return &pb.LeaveKeeperResponse{Cases: int32(n)}, nil
}

var lookKinds = enum[care.LookKind, pb.LookKind]{{care.LookCase, pb.LookKind_LOOK_KIND_CASE}, {care.LookLog, pb.LookKind_LOOK_KIND_LOG},
	{care.LookPhoto, pb.LookKind_LOOK_KIND_PHOTO}, {care.LookFile, pb.LookKind_LOOK_KIND_FILE}, {care.LookCode, pb.LookKind_LOOK_KIND_CODE},
	{care.LookLetter, pb.LookKind_LOOK_KIND_LETTER}}

func (r *rightsService) ListLooks(ctx context.Context, req *pb.ListLooksRequest) (*pb.ListLooksResponse, error) {
	levels := []string{"breeders", "cases"}
	ids, err := split("parent", req.GetParent(), levels[:1+strings.Count(req.GetParent(), "/cases/")]...)
	if err != nil {
		return nil, err
	}
	if err := r.s.keepLooks(ctx); err != nil { // so that the last seconds are in it
		return nil, err
	}
	list, err := r.s.followup.Looks(ctx, callOf(ctx).who.Actor, ids[0], strings.Join(ids[1:], ""))
	out := &pb.ListLooksResponse{}
	for i := range list {
		l := &list[i]
		out.Looks = append(out.Looks, &pb.Look{Case: caseName(l.BreederID, l.CaseID), AnimalName: l.Animal, By: actorKinds.proto(l.By), ByName: l.Name,
			What: lookKinds.proto(l.What), FirstTime: timeToProto(l.FirstAt), LastTime: timeToProto(l.LastAt), Count: int32(l.Count)})
	}
	return out, err
}

func (r *rightsService) CreateLetterLink(ctx context.Context, req *pb.CreateLetterLinkRequest) (*pb.CreateLetterLinkResponse, error) {
	out := &pb.CreateLetterLinkResponse{}
	err := r.ofCase(ctx, req.GetName(), r.s.store.Write, func(tx care.Tx, l access.Letter, keeperID string) error {
		l.Concern = strings.TrimSpace(req.GetConcern())
		plain, kept, err := access.NewLetterLink(tx, callOf(ctx).who.Actor, l, keeperID, r.s.now())
		out.Link, out.Url = letterLinkToProto(&kept), r.s.origin.String()+"/v#"+plain
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

func (r *rightsService) ListLetterLinks(ctx context.Context, req *pb.ListLetterLinksRequest) (*pb.ListLetterLinksResponse, error) {
	out := &pb.ListLetterLinksResponse{}
	return out, r.ofCase(ctx, req.GetName(), r.s.store.Read, func(tx care.Tx, l access.Letter, keeperID string) error {
		links, err := access.LetterLinks(tx, l, keeperID, r.s.now())
		out.Links = nil
		for i := range links {
			out.Links = append(out.Links, letterLinkToProto(&links[i]))
		}
		return err
	})
}

func (r *rightsService) EndLetterLink(ctx context.Context, req *pb.EndLetterLinkRequest) (*pb.EndLetterLinkResponse, error) {
	return &pb.EndLetterLinkResponse{}, r.ofCase(ctx, req.GetName(), r.s.store.Write, func(tx care.Tx, l access.Letter, keeperID string) error {
		return access.EndLetterLink(tx, l, keeperID, req.GetId(), r.s.now())
	})
}

// ofCase does something about the links of a case that the caller may see.
func (r *rightsService) ofCase(ctx context.Context, name string, in func(context.Context, func(care.Tx) error) error, do func(tx care.Tx, l access.Letter, keeperID string) error) error {
	ids, err := split("name", name, "breeders", "cases")
	if err != nil {
		return err
	}
	who := callOf(ctx).who.Actor
	return in(ctx, func(tx care.Tx) error {
		c, err := tx.Case(ids[0], ids[1])
		if err != nil {
			return err
		}
		if !who.OfBreeder(ids[0]) && !who.IsKeeper(c.KeeperID, ids[0]) {
			return care.Missing("case")
		}
		return do(tx, access.Letter{BreederID: ids[0], CaseID: ids[1]}, c.KeeperID)
	})
}

func letterLinkToProto(s *care.Secret) *pb.LetterLink {
	return &pb.LetterLink{Id: s.ID, CreateTime: timeToProto(s.CreatedAt), ExpireTime: timeToProto(s.ExpiresAt), ByKeeper: s.KeeperID != ""}
}

func (r *rightsService) ScheduleErasure(ctx context.Context, req *pb.ScheduleErasureRequest) (*pb.ScheduleErasureResponse, error) {
	b, err := r.erasure(ctx, req.GetName(), false)
	return &pb.ScheduleErasureResponse{Breeder: b}, err
}

func (r *rightsService) CancelErasure(ctx context.Context, req *pb.CancelErasureRequest) (*pb.CancelErasureResponse, error) {
	b, err := r.erasure(ctx, req.GetName(), true)
	return &pb.CancelErasureResponse{Breeder: b}, err
}

func (r *rightsService) erasure(ctx context.Context, name string, off bool) (*pb.Breeder, error) {
	ids, err := split("name", name, "breeders")
	if err != nil {
		return nil, err
	}
	b, err := r.s.followup.ScheduleErasure(ctx, callOf(ctx).who.Actor, r.s.now(), ids[0], off)
	return breederToProto(&b), err
}

// EraseAccounts erases what breeders asked to have erased, when the time that
// they had to call it off is over. A running server does so by itself.
func (s *Server) EraseAccounts(ctx context.Context) error {
	ctx = care.WithReach(ctx, care.EverybodysReach)
	// One that is older than the database does not know where all of it is.
	if behind, err := s.store.Behind(ctx); err != nil || behind {
		return err
	}
	erased, err := s.followup.EraseDue(ctx, s.now(), access.EndKeeper)
	errs := []error{err}
	for _, id := range erased {
		s.log.Info("An account was erased, as its owner had asked.", "breeder", id)
		errs = append(errs, s.lists.removeAll(ctx, id))
	}
	if len(erased) > 0 {
		errs = append(errs, s.discard(ctx))
	}
	return errors.Join(errs...)
}

// discard deletes the bytes of pictures that nothing names any more. A picture
// that comes in meanwhile waits (keepPicture): its bytes may be the same.
func (s *Server) discard(ctx context.Context) error {
	ctx = care.WithReach(ctx, care.EverybodysReach)
	s.pictures.Lock()
	defer s.pictures.Unlock()
	for {
		var list []care.Discarded
		if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
			list, err = tx.ListDiscarded(cleanBatch)
			return err
		}); err != nil || len(list) == 0 {
			return err
		}
		for _, d := range list {
			for _, v := range []photo.Variant{photo.Large, photo.Small} {
				if d.Kept {
					break
				}
				if err := s.blobs.Delete(ctx, photo.Key{Hash: d.Hash, Variant: v}); err != nil {
					return fmt.Errorf("discarding a picture: %w", err)
				}
			}
		}
		if err := s.store.Write(ctx, func(tx care.Tx) error {
			for _, d := range list {
				if err := tx.ForgetDiscarded(d.Hash); err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			return err
		}
	}
}
