package server

import (
	"context"
	"maps"
	"slices"
	"strings"

	"warmhand/internal/assess"
	"warmhand/internal/care"

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

func (b *breederService) GetThresholds(ctx context.Context, req *pb.GetThresholdsRequest) (*pb.GetThresholdsResponse, error) {
	id, err := settingOf("name", req.GetName(), "/thresholds")
	if err != nil {
		return nil, err
	}
	of, err := b.s.followup.GetBreeder(ctx, callOf(ctx).who.Actor, id)
	out := &pb.GetThresholdsResponse{Thresholds: thresholdsToProto(&of), Fixed: spoken(ctx).Forms(assess.Fixed)}
	for _, o := range assess.OwnThresholds() {
		out.Movable = append(out.Movable, &pb.Threshold{Code: o.Code, Label: spoken(ctx).Form(o.Label), About: spoken(ctx).Form(o.About), Less: spoken(ctx).Form(o.Less), More: spoken(ctx).Form(o.More), Unit: o.Unit,
			DefaultValue: o.Default, Least: o.Least, Most: o.Most, Step: o.Step, Sure: spoken(ctx).Form(o.Sure), Source: spoken(ctx).Form(o.Source)})
	}
	return out, err
}

func (b *breederService) UpdateThresholds(ctx context.Context, req *pb.UpdateThresholdsRequest) (*pb.UpdateThresholdsResponse, error) {
	in := req.GetThresholds()
	id, err := settingOf("thresholds.name", in.GetName(), "/thresholds")
	if err != nil {
		return nil, err
	}
	t, err := thresholdsFromProto(in)
	if err != nil {
		return nil, err
	}
	v, err := version("thresholds.etag", in.GetEtag())
	if err != nil {
		return nil, err
	}
	out, err := b.s.followup.UpdateThresholds(ctx, callOf(ctx).who.Actor, b.s.now(), id, t, v)
	return &pb.UpdateThresholdsResponse{Thresholds: thresholdsToProto(&out)}, err
}

func (b *breederService) TryThresholds(ctx context.Context, req *pb.TryThresholdsRequest) (*pb.TryThresholdsResponse, error) {
	id, err := settingOf("thresholds.name", req.GetThresholds().GetName(), "/thresholds")
	if err != nil {
		return nil, err
	}
	t, err := thresholdsFromProto(req.GetThresholds())
	if err != nil {
		return nil, err
	}
	tried, err := b.s.followup.TryThresholds(ctx, callOf(ctx).who.Actor, b.s.now(), id, t)
	if err != nil {
		return nil, err
	}
	sum := &tried.Sum
	out := &pb.TryThresholdsResponse{Total: int32(tried.Total), LookedAt: int32(sum.Cases), EndedBadly: int32(sum.Bad), Settled: int32(sum.Settled), Weeks: int32(sum.Weeks()),
		Present: trialToProto(&sum.Present), Proposed: trialToProto(&sum.Proposed), Changed: int32(tried.Changed), Caution: spoken(ctx).Say(sum.Caution())}
	for i := range tried.Cases {
		c := &tried.Cases[i]
		out.Cases = append(out.Cases, &pb.TriedCase{Case: caseName(id, c.Case.ID), AnimalName: c.Animal.Name, Outcome: outcomes.proto(c.Case.Outcome), Days: int32(c.Present.Days),
			Present: pastToProto(&c.Present), Proposed: pastToProto(&c.Proposed)})
	}
	return out, nil
}

func (b *breederService) GetCheckInPlan(ctx context.Context, req *pb.GetCheckInPlanRequest) (*pb.GetCheckInPlanResponse, error) {
	id, err := settingOf("name", req.GetName(), "/checkInPlan")
	if err != nil {
		return nil, err
	}
	of, err := b.s.followup.GetBreeder(ctx, callOf(ctx).who.Actor, id)
	out := &pb.GetCheckInPlanResponse{CheckInPlan: checkInPlanToProto(&of)}
	for _, o := range assess.OwnCheckIns() {
		out.Movable = append(out.Movable, &pb.PlannedCheckIn{Code: o.Code, Label: spoken(ctx).Form(o.Label), About: spoken(ctx).Form(o.About), DefaultDays: int32(o.Default), Least: int32(o.Least), Most: int32(o.Most), Questions: spoken(ctx).All(o.Questions)})
	}
	return out, err
}

func (b *breederService) UpdateCheckInPlan(ctx context.Context, req *pb.UpdateCheckInPlanRequest) (*pb.UpdateCheckInPlanResponse, error) {
	in := req.GetCheckInPlan()
	id, err := settingOf("check_in_plan.name", in.GetName(), "/checkInPlan")
	if err != nil {
		return nil, err
	}
	var plan care.CheckIns
	for _, code := range slices.Sorted(maps.Keys(in.GetOwn())) {
		v := plan.Of(code)
		if v == nil {
			return nil, care.BadField("check_in_plan.own", "“{code}” is no check-in of the plan. GetCheckInPlan lists them.", code)
		}
		*v = int(in.GetOwn()[code])
	}
	for _, code := range slices.Sorted(maps.Keys(in.GetWords())) {
		v := plan.WordsOf(code)
		if v == nil {
			return nil, care.BadField("check_in_plan.words", "“{code}” is no check-in of the plan. GetCheckInPlan lists them.", code)
		}
		*v = in.GetWords()[code]
	}
	v, err := version("check_in_plan.etag", in.GetEtag())
	if err != nil {
		return nil, err
	}
	out, err := b.s.followup.UpdateCheckIns(ctx, callOf(ctx).who.Actor, b.s.now(), id, plan, v)
	return &pb.UpdateCheckInPlanResponse{CheckInPlan: checkInPlanToProto(&out)}, err
}

func checkInPlanToProto(b *care.Breeder) *pb.CheckInPlan {
	out := &pb.CheckInPlan{Name: breederName(b.ID) + "/checkInPlan", Own: map[string]int32{}, Words: map[string]string{}, Etag: etag(b.Version)}
	for _, code := range care.CheckInCodes {
		if v := *b.CheckIns.Of(code); v != 0 {
			out.Own[code] = int32(v)
		}
		if w := *b.CheckIns.WordsOf(code); w != "" {
			out.Words[code] = w
		}
	}
	return out
}

func trialToProto(t *assess.Trial) *pb.Trial {
	out := &pb.Trial{Calls: int32(t.Calls), Found: int32(t.BadFound), MedianLeadDays: int32(t.MedianLead()), CalledInVain: int32(t.SettledCalled)}
	for _, d := range slices.Sorted(slices.Values(t.FirstCalls)) {
		out.FirstCallDays = append(out.FirstCallDays, int32(d))
	}
	return out
}

func pastToProto(p *assess.Past) *pb.Past {
	first := func(s care.Standing) *int32 {
		if p.First[s] < 0 {
			return nil
		}
		return new(int32(p.First[s]))
	}
	return &pb.Past{WatchDay: first(care.Watch), StepInDay: first(care.StepIn), VetDay: first(care.Vet)}
}

// settingOf is the breeder whose setting a name names; each has one.
func settingOf(field, name, thing string) (id string, err error) {
	ids, err := split(field, strings.TrimSuffix(name, thing), "breeders")
	if err != nil {
		return "", err
	}
	return ids[0], nil
}

func thresholdsToProto(b *care.Breeder) *pb.Thresholds {
	out := &pb.Thresholds{Name: breederName(b.ID) + "/thresholds", Own: map[string]float64{}, Etag: etag(b.Version)}
	for _, code := range care.ThresholdCodes {
		if v := *b.Thresholds.Of(code); v != 0 {
			out.Own[code] = v
		}
	}
	return out
}

func thresholdsFromProto(in *pb.Thresholds) (t care.Thresholds, err error) {
	for _, code := range slices.Sorted(maps.Keys(in.GetOwn())) {
		v := t.Of(code)
		if v == nil {
			return t, care.BadField("thresholds.own", "“{code}” is no threshold that can be moved. GetThresholds lists them.", code)
		}
		*v = in.GetOwn()[code]
	}
	return t, nil
}
