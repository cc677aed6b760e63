package server

import (
	"context"
	"math"
	"strings"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/insight"
	"warmhand/internal/words"
)

type insightService struct {
	pb.UnimplementedInsightServiceServer
	s *Server
}

func (c *insightService) GetInsight(ctx context.Context, req *pb.GetInsightRequest) (*pb.GetInsightResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	in, leftOut, err := c.s.followup.Insight(ctx, callOf(ctx).who.Actor, ids[0])
	if err != nil {
		return nil, err
	}
	out := &pb.Insight{
		Sales: int32(in.Sales), LeftOut: int32(leftOut), FirstMeal: waitToProto(&in.First, spoken(ctx)), ThirdMeal: waitToProto(&in.Third, spoken(ctx)),
		Harmed: shareToProto(in.Warnings.Harmed), DaysAhead: known(in.Warnings.Ahead), Calm: shareToProto(in.Warnings.Calm),
	}
	for _, p := range in.Preceding {
		out.Preceding = append(out.Preceding, &pb.Preceding{
			Concern: p.Concern, Name: spoken(ctx).Say(assess.ConcernName(p.Concern)), With: shareToProto(p.With), Without: shareToProto(p.Without), Chance: p.Chance,
		})
	}
	for _, f := range in.Home {
		out.Home = append(out.Home, &pb.HomeFinding{
			Concern: f.Concern, Name: spoken(ctx).Say(assess.ConcernName(f.Concern)), Cases: shareToProto(f.Cases), Righted: int32(f.Righted), Days: known(f.Days),
		})
	}
	for _, l := range in.Lessons {
		out.Lessons = append(out.Lessons, &pb.Lesson{Code: l.Code, Cases: shareToProto(l.Cases)})
	}
	return &pb.GetInsightResponse{Insight: out}, nil
}

// known is nil for what is not known.
func known(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	return &v
}

func shareToProto(s insight.Share) *pb.Share {
	return &pb.Share{Count: int32(s.K), Of: int32(s.N), Low: s.Low, High: s.High}
}

func waitToProto(w *insight.Waiting, in *words.Language) *pb.MealWait {
	out := &pb.MealWait{All: curveToProto(&w.All)}
	for i := range w.Splits {
		s := &w.Splits[i]
		split := &pb.WaitSplit{By: s.By, Chance: known(s.P), LeftOut: int32(s.LeftOut)}
		for j := range s.Groups {
			split.Groups = append(split.Groups, &pb.WaitGroup{Name: in.Say(groupName(s.By, s.Groups[j].Name)), Curve: curveToProto(&s.Groups[j].Curve)})
		}
		out.Splits = append(out.Splits, split)
	}
	return out
}

// groupName is what a side of a split is called: of a clutch or a show day what the
// breeder called it.
func groupName(by, s string) words.Text {
	if by == "species" || by == "age" {
		return words.Say(s)
	}
	if state, name, ok := strings.Cut(s, " "); ok && by == "prey" {
		switch care.PreyState(state) {
		case care.Thawed:
			return words.Say("thawed {prey}", words.Say(name))
		case care.Prekilled:
			return words.Say("freshly killed {prey}", words.Say(name))
		case care.Live:
			return words.Say("live {prey}", words.Say(name))
		}
	}
	return words.AsIs(s)
}

func curveToProto(c *insight.Curve) *pb.WaitCurve {
	out := &pb.WaitCurve{Animals: int32(c.Of), Ate: int32(c.Came), Median: known(c.Median), MedianLow: known(c.MedianLow), MedianHigh: known(c.MedianHigh)}
	for _, p := range c.Points {
		out.Points = append(out.Points, &pb.WaitPoint{Day: p.Day, AtRisk: int32(p.AtRisk), Waiting: p.Waiting, Low: p.Low, High: p.High})
	}
	return out
}
