package server

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

// Names of resources.

func breederName(id string) string           { return "breeders/" + id }
func animalName(breederID, id string) string { return under(breederID, "animals", id) }
func caseName(breederID, id string) string   { return under(breederID, "cases", id) }

func under(breederID, kind, id string) string {
	if id == "" {
		return ""
	}
	return "breeders/" + breederID + "/" + kind + "/" + id
}

// split takes a resource name apart: the ids after each of the kinds.
func split(field, name string, kinds ...string) ([]string, error) {
	parts := strings.Split(name, "/")
	ids := make([]string, 0, len(kinds))
	for i, kind := range kinds {
		if len(parts) != 2*len(kinds) || parts[2*i] != kind || !plainID.MatchString(parts[2*i+1]) {
			return nil, care.BadField(field, "“{name}” is not a name of the form {form}.", name, strings.Join(kinds, "/{id}/")+"/{id}")
		}
		ids = append(ids, parts[2*i+1])
	}
	return ids, nil
}

// splitOwn is split for a thing of this breeder; "" gives "".
func splitOwn(field, name, breederID string, kinds ...string) (id string, err error) {
	if name == "" {
		return "", nil
	}
	ids, err := split(field, name, append([]string{"breeders"}, kinds...)...)
	if err != nil {
		return "", err
	}
	if ids[0] != breederID {
		return "", care.BadField(field, "“{name}” belongs to another account. Choose one of the same account.", name)
	}
	return ids[len(ids)-1], nil
}

// Times, versions, masks, pages.

func timeToProto(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func maybeTime(t *time.Time) *timestamppb.Timestamp {
	if t == nil {
		return nil
	}
	return timestamppb.New(*t)
}

func maybeTimeFromProto(field string, t *timestamppb.Timestamp) (*time.Time, error) {
	if t == nil {
		return nil, nil
	}
	at, err := timeFromProto(field, t)
	return &at, err
}

// timeFromProto is the zero time for nil.
func timeFromProto(field string, t *timestamppb.Timestamp) (time.Time, error) {
	if t == nil {
		return time.Time{}, nil
	}
	if err := t.CheckValid(); err != nil {
		return time.Time{}, care.BadField(field, "This is not a time. Write it like 2026-05-01T18:30:00Z.")
	}
	return t.AsTime(), nil
}

func etag(version int64) string { return strconv.FormatInt(version, 10) }

func version(field, tag string) (int64, error) {
	if tag == "" {
		return 0, nil
	}
	v, err := strconv.ParseInt(tag, 10, 64)
	if err != nil || v < 1 {
		return 0, care.BadField(field, "“{etag}” did not come from this server. Send the etag of the last answer, or none.", tag)
	}
	return v, nil
}

// masked are the fields that an update names, in the contract's spelling. What
// only the service sets may be in it, since pages send whole resources back.
func masked(mask *fieldmaskpb.FieldMask) ([]string, error) {
	var fields []string
	for _, p := range mask.GetPaths() {
		switch p = snakeCase(p); p {
		case "name", "etag", "create_time", "update_time":
		default:
			fields = append(fields, p)
		}
	}
	if len(fields) == 0 {
		return nil, care.BadField("update_mask", "Nothing is named that should change. Send the fields to change.")
	}
	return fields, nil
}

// pageToken is a position in the answer to one query.
type pageToken struct {
	Query string      `json:"q"`
	After care.Cursor `json:"a"`
}

func queryDigest(parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:6])
}

func nextPage(query string, after care.Cursor) string {
	if after == (care.Cursor{}) {
		return ""
	}
	data, err := json.Marshal(pageToken{query, after})
	if err != nil {
		panic(err) // two strings and a finite number always marshal
	}
	return base64.RawURLEncoding.EncodeToString(data)
}

func pageAfter(query, token string) (care.Cursor, error) {
	if token == "" {
		return care.Cursor{}, nil
	}
	var t pageToken
	data, err := base64.RawURLEncoding.DecodeString(token)
	if err == nil {
		err = json.Unmarshal(data, &t)
	}
	if err != nil {
		return care.Cursor{}, care.BadField("page_token", "This page token did not come from this server. Leave it empty to begin at the start.")
	}
	if t.Query != query {
		return care.Cursor{}, care.BadField("page_token", "This page token belongs to another query. Repeat the query it came from, or leave it empty to begin at the start.")
	}
	return t.After, nil
}

func pageSize(asked int32, usual int) int {
	if asked == 0 {
		return usual
	}
	return int(asked)
}

// Enumerations.

// enum is a two-way table; the first proto value stands for what is not in it.
type enum[D, P comparable] []struct {
	d D
	p P
}

func (e enum[D, P]) proto(d D) (p P) {
	for _, x := range e {
		if x.d == d {
			return x.p
		}
	}
	return p
}

func (e enum[D, P]) domain(p P) (d D) {
	for _, x := range e {
		if x.p == p {
			return x.d
		}
	}
	return d
}

var (
	sexes       = enum[care.Sex, pb.Sex]{{care.SexUnknown, pb.Sex_SEX_UNKNOWN}, {care.Female, pb.Sex_SEX_FEMALE}, {care.Male, pb.Sex_SEX_MALE}}
	hemispheres = enum[care.Hemisphere, pb.Hemisphere]{{care.North, pb.Hemisphere_HEMISPHERE_NORTH}, {care.South, pb.Hemisphere_HEMISPHERE_SOUTH}}
	actorKinds  = enum[care.ActorKind, pb.ActorKind]{{care.BreederOwner, pb.ActorKind_ACTOR_KIND_BREEDER}, {care.Helper, pb.ActorKind_ACTOR_KIND_HELPER},
		{care.KeeperActor, pb.ActorKind_ACTOR_KIND_KEEPER}, {care.Program, pb.ActorKind_ACTOR_KIND_PROGRAM}, {care.Service, pb.ActorKind_ACTOR_KIND_SERVICE}}
	offerResults = enum[care.OfferResult, pb.OfferResult]{{care.Eaten, pb.OfferResult_OFFER_RESULT_EATEN}, {care.Refused, pb.OfferResult_OFFER_RESULT_REFUSED},
		{care.Struck, pb.OfferResult_OFFER_RESULT_STRUCK}, {care.Regurgitated, pb.OfferResult_OFFER_RESULT_REGURGITATED}}
	preyStates = enum[care.PreyState, pb.PreyState]{{care.Thawed, pb.PreyState_PREY_STATE_THAWED}, {care.Prekilled, pb.PreyState_PREY_STATE_PREKILLED},
		{care.Live, pb.PreyState_PREY_STATE_LIVE}}
	takenWith = enum[care.TakenWith, pb.TakenWith]{{care.WithUnknown, pb.TakenWith_TAKEN_WITH_UNSPECIFIED}, {care.WithProbe, pb.TakenWith_TAKEN_WITH_PROBE},
		{care.WithInfrared, pb.TakenWith_TAKEN_WITH_INFRARED}, {care.WithDial, pb.TakenWith_TAKEN_WITH_DIAL}, {care.WithStrip, pb.TakenWith_TAKEN_WITH_STRIP}}
	shedStages = enum[care.ShedStage, pb.ShedStage]{{care.Opaque, pb.ShedStage_SHED_STAGE_OPAQUE}, {care.Cleared, pb.ShedStage_SHED_STAGE_CLEAR},
		{care.ShedDone, pb.ShedStage_SHED_STAGE_SHED}}
	markKinds = enum[care.MarkKind, pb.MarkKind]{{care.MarkHazard, pb.MarkKind_MARK_KIND_HAZARD}, {care.MarkAgain, pb.MarkKind_MARK_KIND_AGAIN},
		{care.MarkFine, pb.MarkKind_MARK_KIND_FINE}}
	outcomes = enum[care.Outcome, pb.Outcome]{{care.OutcomeSettled, pb.Outcome_OUTCOME_SETTLED}, {care.OutcomeReturned, pb.Outcome_OUTCOME_RETURNED},
		{care.OutcomeVet, pb.Outcome_OUTCOME_VET}, {care.OutcomeDied, pb.Outcome_OUTCOME_DIED}, {care.OutcomeLostTouch, pb.Outcome_OUTCOME_LOST_TOUCH},
		{care.OutcomeLeft, pb.Outcome_OUTCOME_LEFT}, {care.OutcomePassedOn, pb.Outcome_OUTCOME_PASSED_ON}}
	standings = enum[care.Standing, pb.Standing]{{care.Settled, pb.Standing_STANDING_SETTLED}, {care.Watch, pb.Standing_STANDING_WATCH},
		{care.StepIn, pb.Standing_STANDING_STEP_IN}, {care.Vet, pb.Standing_STANDING_VET}}
	turns          = enum[care.Turn, pb.Turn]{{care.TurnBreeder, pb.Turn_TURN_BREEDER}, {care.TurnKeeper, pb.Turn_TURN_KEEPER}}
	handoverStates = enum[care.HandoverState, pb.HandoverState]{{care.HandoverIssued, pb.HandoverState_HANDOVER_STATE_ISSUED},
		{care.HandoverClaimed, pb.HandoverState_HANDOVER_STATE_CLAIMED}, {care.HandoverRevoked, pb.HandoverState_HANDOVER_STATE_REVOKED},
		{care.HandoverExpired, pb.HandoverState_HANDOVER_STATE_EXPIRED}}
	wobbles = enum[snake.WobbleEvidence, pb.WobbleEvidence]{{snake.NoWobble, pb.WobbleEvidence_WOBBLE_EVIDENCE_NONE},
		{snake.Reported, pb.WobbleEvidence_WOBBLE_EVIDENCE_REPORTED}, {snake.Documented, pb.WobbleEvidence_WOBBLE_EVIDENCE_DOCUMENTED}}
	verdicts = enum[assess.ReadyVerdict, pb.ReadyVerdict]{{assess.Met, pb.ReadyVerdict_READY_VERDICT_MET},
		{assess.NotYet, pb.ReadyVerdict_READY_VERDICT_NOT_YET}, {assess.TellBuyer, pb.ReadyVerdict_READY_VERDICT_TELL_BUYER}}
)

// Breeders and animals.

func breederToProto(b *care.Breeder) *pb.Breeder {
	return &pb.Breeder{Name: breederName(b.ID), DisplayName: b.Name, Contact: b.Contact, TimeZone: b.TimeZone,
		Hemisphere: hemispheres.proto(b.Hemi), Phrases: b.Phrases, CreateTime: timeToProto(b.CreatedAt), Etag: etag(b.Version), EraseTime: maybeTime(b.EraseAt)}
}

func breederFromProto(b *pb.Breeder) (care.Breeder, error) {
	ids, err := split("breeder.name", b.GetName(), "breeders")
	if err != nil {
		return care.Breeder{}, err
	}
	v, err := version("breeder.etag", b.GetEtag())
	return care.Breeder{ID: ids[0], Name: b.GetDisplayName(), Contact: b.GetContact(), TimeZone: b.GetTimeZone(),
		Hemi: hemispheres.domain(b.GetHemisphere()), Phrases: b.GetPhrases(), Version: v}, err
}

func animalToProto(a *care.Animal) *pb.Animal {
	out := &pb.Animal{Name: animalName(a.BreederID, a.ID), DisplayName: a.Name, Species: a.Species, Sex: sexes.proto(a.Sex), Genes: a.Genes,
		Mother: animalName(a.BreederID, a.MotherID), Father: animalName(a.BreederID, a.FatherID), Clutch: a.Clutch,
		SnoutVentMm: float64(a.SnoutVent), TotalLengthMm: float64(a.TotalLength), Note: a.Note, Place: a.Place,
		CreateTime: timeToProto(a.CreatedAt), UpdateTime: timeToProto(a.UpdatedAt), Etag: etag(a.Version)}
	if a.Hatched != nil {
		out.HatchDate = a.Hatched.Format(time.DateOnly)
	}
	return out
}

func stockAnimalToProto(in *words.Language, a *followup.StockAnimal) *pb.StockAnimal {
	out := &pb.StockAnimal{Animal: animalToProto(&a.Animal), Case: caseName(a.Animal.BreederID, a.CaseID), Away: a.Away, Outcome: outcomes.proto(a.Outcome)}
	if a.Away {
		return out
	}
	if a.Weighed.Mass > 0 {
		out.MassG, out.WeighTime = float64(a.Weighed.Mass), timeToProto(a.Weighed.At)
	}
	if a.LastOffer != nil {
		out.LastOffer = entryToProto(in, a.LastOffer)
	}
	if a.LastMeal != nil {
		out.LastMeal = entryToProto(in, a.LastMeal)
	}
	out.OfferAgainDays = int32(a.OfferAgain)
	out.Readiness = &pb.Readiness{Ready: a.Ready.Ready}
	for _, p := range a.Ready.Points {
		out.Readiness.Points = append(out.Readiness.Points, &pb.ReadyPoint{Code: p.Code, Verdict: verdicts.proto(p.Verdict), Text: in.Say(p.Text), Missing: in.Say(p.Missing), Source: p.Source})
	}
	return out
}

func animalFromProto(a *pb.Animal, breederID, id string) (out care.Animal, err error) {
	out = care.Animal{BreederID: breederID, ID: id, Name: a.GetDisplayName(), Species: a.GetSpecies(), Sex: sexes.domain(a.GetSex()), Genes: a.GetGenes(),
		Clutch: a.GetClutch(), SnoutVent: care.Millimetres(a.GetSnoutVentMm()), TotalLength: care.Millimetres(a.GetTotalLengthMm()), Note: a.GetNote(), Place: a.GetPlace()}
	if text := a.GetHatchDate(); text != "" {
		at, err := time.Parse(time.DateOnly, text)
		if err != nil {
			return out, care.BadField("animal.hatch_date", "“{date}” is not a date of the calendar. Write it as YYYY-MM-DD, or leave it empty.", text)
		}
		out.Hatched = &at
	}
	if out.MotherID, err = splitOwn("animal.mother", a.GetMother(), breederID, "animals"); err != nil {
		return out, err
	}
	if out.FatherID, err = splitOwn("animal.father", a.GetFather(), breederID, "animals"); err != nil {
		return out, err
	}
	out.Version, err = version("animal.etag", a.GetEtag())
	return out, err
}

// Entries.

func entryToProto(in *words.Language, e *care.Entry) *pb.Entry {
	name := func(id string) string {
		if id == "" {
			return ""
		}
		return animalName(e.BreederID, e.AnimalID) + "/entries/" + id
	}
	out := &pb.Entry{Name: name(e.ID), Case: caseName(e.BreederID, e.CaseID), By: actorKinds.proto(e.By), HappenTime: timeToProto(e.HappenedAt),
		ReceiveTime: timeToProto(e.ReceivedAt), Replaces: name(e.Replaces), ReplacedBy: name(e.ReplacedBy), Confirmed: e.Confirmed, Note: e.Note}
	switch b := e.Body.(type) {
	case care.Offer:
		out.Body = &pb.Entry_Offer{Offer: &pb.Offer{Result: offerResults.proto(b.Result), Prey: b.Prey, PreyState: preyStates.proto(b.PreyState), PreyG: float64(b.PreyMass)}}
	case care.WeighIn:
		out.Body = &pb.Entry_WeighIn{WeighIn: &pb.WeighIn{MassG: float64(b.Mass)}}
	case care.ClimateReading:
		out.Body = &pb.Entry_Climate{Climate: &pb.ClimateReading{WarmC: (*float64)(b.Warm), CoolC: (*float64)(b.Cool), NightC: (*float64)(b.Night),
			SurfaceC: (*float64)(b.Surface), HumidityPct: (*float64)(b.Humidity), TakenWith: takenWith.proto(b.TakenWith)}}
	case care.Shed:
		out.Body = &pb.Entry_Shed{Shed: &pb.Shed{Stage: shedStages.proto(b.Stage), Complete: b.Complete}}
	case care.Sign:
		out.Body = &pb.Entry_Sign{Sign: &pb.Sign{Sign: b.Code, Gone: b.Gone}}
	case care.SetupCheck:
		check := &pb.SetupCheck{}
		for i := range b.Answers {
			check.Answers = append(check.Answers, answerToProto(&b.Answers[i]))
		}
		out.Body = &pb.Entry_Setup{Setup: check}
	case care.Seen:
		out.Body = &pb.Entry_Seen{Seen: &pb.Seen{}}
	case care.StepAgreed:
		out.Body = &pb.Entry_Step{Step: &pb.StepAgreed{Step: b.Code, HoldsDays: int32(b.HoldsDays), Text: in.Say(assess.StepName(b.Code))}}
	case care.Message:
		out.Body = &pb.Entry_Message{Message: &pb.Message{Text: b.Text, Photos: b.Photos, Mark: markToProto(b.Mark)}}
	case care.Ended:
		out.Body = &pb.Entry_Ended{Ended: &pb.Ended{Outcome: outcomes.proto(b.Outcome), Reopened: b.Reopened, Lessons: b.Lessons.Codes()}}
	case care.Withdrawal:
		out.Body = &pb.Entry_Withdrawal{Withdrawal: &pb.Withdrawal{}}
	}
	return out
}

func answerToProto(a *care.SetupAnswer) *pb.SetupAnswer {
	return &pb.SetupAnswer{Point: a.Point, Choice: a.Choice, MeasureMm: float64(a.Measure), MeasureSdMm: float64(a.MeasureSD), Taps: tapsToProto(a.Taps),
		Sizes: a.Sizes, Photos: a.Photos, Note: a.Note}
}

func spotsToProto(list []care.Spot) (out []*pb.Spot) {
	for _, s := range list {
		out = append(out, &pb.Spot{X: s.X, Y: s.Y})
	}
	return out
}

func spotsFromProto(list []*pb.Spot) (out []care.Spot) {
	for _, s := range list {
		out = append(out, care.Spot{X: s.GetX(), Y: s.GetY()})
	}
	return out
}

func tapsToProto(t *care.Taps) *pb.Taps {
	if t == nil {
		return nil
	}
	return &pb.Taps{Photo: t.Photo, Slot: t.Slot, Rim: spotsToProto(t.Rim), Card: spotsToProto(t.Card)}
}

func tapsFromProto(t *pb.Taps) *care.Taps {
	if t == nil {
		return nil
	}
	return &care.Taps{Photo: t.GetPhoto(), Slot: t.GetSlot(), Rim: spotsFromProto(t.GetRim()), Card: spotsFromProto(t.GetCard())}
}

func markToProto(m *care.Mark) *pb.SetupMark {
	if m == nil {
		return nil
	}
	out := &pb.SetupMark{Kind: markKinds.proto(m.Kind), Point: m.Point, Photo: m.Photo}
	if m.At != nil {
		out.At = &pb.Spot{X: m.At.X, Y: m.At.Y}
	}
	return out
}

func markFromProto(m *pb.SetupMark) *care.Mark {
	if m == nil {
		return nil
	}
	out := &care.Mark{Kind: markKinds.domain(m.GetKind()), Point: m.GetPoint(), Photo: m.GetPhoto()}
	if at := m.GetAt(); at != nil {
		out.At = &care.Spot{X: at.GetX(), Y: at.GetY()}
	}
	return out
}

func entriesToProto(in *words.Language, list []care.Entry) []*pb.Entry {
	out := make([]*pb.Entry, len(list))
	for i := range list {
		out[i] = entryToProto(in, &list[i])
	}
	return out
}

func entryFromProto(e *pb.Entry, breederID, animalID, id string) (out care.Entry, err error) {
	out = care.Entry{BreederID: breederID, AnimalID: animalID, ID: id, Confirmed: e.GetConfirmed(), Note: e.GetNote()}
	if out.HappenedAt, err = timeFromProto("entry.happen_time", e.GetHappenTime()); err != nil {
		return out, err
	}
	if out.CaseID, err = splitOwn("entry.case", e.GetCase(), breederID, "cases"); err != nil {
		return out, err
	}
	if name := e.GetReplaces(); name != "" {
		ids, err := split("entry.replaces", name, "breeders", "animals", "entries")
		if err != nil {
			return out, err
		}
		if ids[0] != breederID || ids[1] != animalID {
			return out, care.BadField("entry.replaces", "“{name}” is in another animal's log. Correct it there.", name)
		}
		out.Replaces = ids[2]
	}
	switch b := e.GetBody().(type) {
	case *pb.Entry_Offer:
		out.Body = offerFromProto(b.Offer)
	case *pb.Entry_WeighIn:
		out.Body = weighInFromProto(b.WeighIn)
	case *pb.Entry_Climate:
		out.Body = climateFromProto(b.Climate)
	case *pb.Entry_Shed:
		out.Body = care.Shed{Stage: shedStages.domain(b.Shed.GetStage()), Complete: b.Shed.Complete}
	case *pb.Entry_Sign:
		out.Body = care.Sign{Code: b.Sign.GetSign(), Gone: b.Sign.GetGone()}
	case *pb.Entry_Setup:
		var check care.SetupCheck
		for _, a := range b.Setup.GetAnswers() {
			check.Answers = append(check.Answers, care.SetupAnswer{Point: a.GetPoint(), Choice: a.GetChoice(), Measure: care.Millimetres(a.GetMeasureMm()),
				Photos: a.GetPhotos(), Note: a.GetNote(), Sizes: a.GetSizes(),
				MeasureSD: care.Millimetres(a.GetMeasureSdMm()), Taps: tapsFromProto(a.GetTaps())})
		}
		out.Body = check
	case *pb.Entry_Seen:
		out.Body = care.Seen{}
	case *pb.Entry_Step:
		out.Body = care.StepAgreed{Code: b.Step.GetStep(), HoldsDays: int(b.Step.GetHoldsDays())}
	case *pb.Entry_Message:
		out.Body = care.Message{Text: b.Message.GetText(), Photos: b.Message.GetPhotos(), Mark: markFromProto(b.Message.GetMark())}
	case *pb.Entry_Ended:
		lessons, err := care.LessonsOf(b.Ended.GetLessons())
		if err != nil {
			return out, err
		}
		out.Body = care.Ended{Outcome: outcomes.domain(b.Ended.GetOutcome()), Reopened: b.Ended.GetReopened(), Lessons: lessons}
	case *pb.Entry_Withdrawal:
		out.Body = care.Withdrawal{}
	}
	return out, nil
}

func offerFromProto(o *pb.Offer) care.Offer {
	return care.Offer{Result: offerResults.domain(o.GetResult()), Prey: o.GetPrey(), PreyState: preyStates.domain(o.GetPreyState()), PreyMass: care.Grams(o.GetPreyG())}
}

func weighInFromProto(w *pb.WeighIn) care.WeighIn {
	return care.WeighIn{Mass: care.Grams(w.GetMassG())}
}

func climateFromProto(c *pb.ClimateReading) care.ClimateReading {
	return care.ClimateReading{Warm: (*care.Celsius)(c.WarmC), Cool: (*care.Celsius)(c.CoolC), Night: (*care.Celsius)(c.NightC),
		Surface: (*care.Celsius)(c.SurfaceC), Humidity: (*care.Percent)(c.HumidityPct), TakenWith: takenWith.domain(c.GetTakenWith())}
}

// entryKinds are the kinds that a list may be asked for.
var entryKinds = []care.Kind{care.KindOffer, care.KindWeighIn, care.KindClimate, care.KindShed, care.KindSign, care.KindSetup,
	care.KindSeen, care.KindStep, care.KindMessage, care.KindOutcome, care.KindWithdrawal}

func kindsFromProto(names []string) ([]care.Kind, error) {
	kinds := make([]care.Kind, len(names))
	for i, n := range names {
		if kinds[i] = care.Kind(n); !slices.Contains(entryKinds, kinds[i]) {
			return nil, care.BadField("kinds", "“{kind}” is not a kind of entry. Use offer, weigh_in, climate, shed, sign, setup, seen, step, message, outcome or withdrawal.", n)
		}
	}
	return kinds, nil
}

// Handovers.

// handoverToProto has the record when there is a zone for the days in it; lists
// go without.
func handoverToProto(in *words.Language, h *care.Handover, now time.Time, zone *time.Location) *pb.Handover {
	out := &pb.Handover{Name: under(h.BreederID, "handovers", h.ID), Animal: animalName(h.BreederID, h.AnimalID), State: handoverStates.proto(h.StateAt(now)),
		HandoverTime: timeToProto(h.HandedOverAt), ShowDay: h.ShowDay, BuyerNote: h.BuyerNote, ClaimExpireTime: timeToProto(h.ClaimExpiresAt),
		ClaimTime: maybeTime(h.ClaimedAt), Case: caseName(h.BreederID, h.ID), CreateTime: timeToProto(h.CreatedAt)}
	if h.Price != (care.Price{}) {
		out.Price = &pb.Price{Amount: h.Price.Amount, Currency: h.Price.Currency}
	}
	if h.From != "" && h.KeeperID == "" {
		out.Case = "" // it begins with the claim
	}
	if h.From != "" {
		out.FromCase = caseName(h.BreederID, h.From)
	}
	if zone != nil {
		out.Record = recordToProto(in, &h.Record, h.HandedOverAt, zone)
	}
	return out
}

// recordToProto is the record of an animal that is handed over at home; the days
// in it are those of the zone. It says what print.Record says.
func recordToProto(in *words.Language, r *care.Record, home time.Time, zone *time.Location) *pb.HandoverRecord {
	sp, _ := snake.ByID(r.Animal.Species)
	animal := r.Animal
	animal.Note, animal.Place = "", ""
	out := &pb.HandoverRecord{Animal: animalToProto(&animal), ScientificName: sp.Scientific, CommonName: in.Form(sp.Common), BreederName: r.Breeder, BreederContact: r.Contact,
		WeighIns: entriesToProto(in, r.Weights), Offers: entriesToProto(in, r.Offers), Sheds: entriesToProto(in, r.Sheds), Feeding: in.Say(r.FeedNext),
		Cautions: in.All(r.Cautions), CautionsInBrief: in.All(care.CautionsInBrief(&r.Animal)), IssueTime: timeToProto(r.IssuedAt),
		Mother: parentToProto(r.Mother), Father: parentToProto(r.Father), Home: homeToProto(in, care.HomeOf(r))}
	plan, after := care.FirstDays(r, home.In(zone))
	out.FirstDays = &pb.FirstDays{After: in.Say(after), Caution: in.Say(care.FirstDaysCaution)}
	for _, d := range plan {
		out.FirstDays.Days = append(out.FirstDays.Days, &pb.PlannedDay{Day: int32(d.Day), Date: d.Date.Format(time.DateOnly), Text: in.Say(d.Text)})
	}
	for _, c := range assess.Calls() {
		out.Calls = append(out.Calls, &pb.WhenToCall{Whom: in.Form(c.Whom), Signs: in.Forms(c.Signs)})
	}
	for _, f := range care.OriginFacts(&r.Animal) {
		out.Origin = append(out.Origin, &pb.OriginFact{Label: in.Say(f.Label), Text: in.Say(f.Text), Source: f.Source})
	}
	for _, c := range r.Checklist {
		out.Checklist = append(out.Checklist, &pb.ChecklistItem{Point: c.Point, ForThisAnimal: in.Say(c.ForThisAnimal), ShutBelowMm: float64(c.ShutBelow),
			PassAboveMm: float64(c.PassAbove), MaxDepthMm: float64(c.MaxDepth), MaxHeightMm: float64(c.MaxHeight)})
	}
	return out
}

func parentToProto(p care.Parent) *pb.ParentRecord {
	if p.Name == "" && len(p.Genes) == 0 {
		return nil
	}
	return &pb.ParentRecord{Name: p.Name, Genes: p.Genes}
}

func homeToProto(in *words.Language, h care.Home) *pb.Home {
	out := &pb.Home{Note: in.Say(h.Note), Points: in.All(h.Points)}
	if !h.MeasuredAt.IsZero() {
		out.MeasureTime = timeToProto(h.MeasuredAt)
	}
	for _, f := range h.Facts {
		unit := pb.HomeUnit_HOME_UNIT_CELSIUS
		if f.Humidity {
			unit = pb.HomeUnit_HOME_UNIT_PERCENT
		}
		out.Facts = append(out.Facts, &pb.HomeFact{Code: f.Code, Label: in.Form(f.Label), Unit: unit, Was: f.Was, Low: f.Low, High: f.High})
	}
	return out
}

// Cases.

// caseToProto is a case as the actor may see it; whole adds the assessment.
func caseToProto(in *words.Language, v *followup.CaseView, who care.Actor, whole bool) *pb.Case {
	c, animal := &v.Case, v.Animal
	if !who.OfBreeder(c.BreederID) {
		animal.Note, animal.Place = "", ""
	}
	sp, _ := snake.ByID(animal.Species)
	out := &pb.Case{Name: caseName(c.BreederID, c.ID), Animal: animalToProto(&animal), CommonName: in.Form(sp.Common), BreederName: v.Breeder.Name,
		KeeperName: c.KeeperName, Claimed: c.KeeperID != "", KeeperLeft: c.KeeperGone(), GiveBackTime: maybeTime(c.GiveBackAt), PassedOn: len(c.Earlier) > 0, KeeperGotTime: maybeTime(c.GotAt), KeeperReadTime: maybeTime(c.ReadAt), EraseTime: maybeTime(v.Breeder.EraseAt), HandoverTime: timeToProto(c.HandedOverAt), EndTime: maybeTime(c.ClosedAt),
		Outcome: outcomes.proto(c.Outcome), Standing: standings.proto(c.Standing), Urgency: c.Urgency, Headline: in.Say(c.Headline),
		AssessTime: timeToProto(c.AssessedAt), LastHeardTime: maybeTime(c.LastHeard), SeenTime: maybeTime(c.SeenAt), ChangeTime: timeToProto(c.ChangedAt),
		News: c.SeenAt == nil || c.ChangedAt.After(*c.SeenAt) || c.ToldAt != nil && c.ToldAt.After(*c.SeenAt) || c.GiveBackAt != nil && c.GiveBackAt.After(*c.SeenAt)}
	out.ReturnAgreeTime, out.ReturnHow, out.ReturnLeaveTime = maybeTime(c.Return.AgreedAt), c.Return.How, maybeTime(c.Return.LeftAt)
	if who.OfBreeder(c.BreederID) {
		out.QuarantineTime = maybeTime(c.Return.QuarantineUntil)
		if n := len(c.Earlier); n > 0 {
			out.EarlierCase = caseName(c.BreederID, c.Earlier[n-1])
		}
		out.LookedAfterBy, out.AsideTime, out.AsideReason = c.LookedAfterBy, maybeTime(c.Aside.Until), c.Aside.Why
		out.Turn, out.WriteTime, out.TellTime, out.Silent, out.NextStep = turns.proto(c.Turn()), maybeTime(c.WroteAt), maybeTime(c.ToldAt), c.Silent, in.Say(c.NextStep)
		if c.SeenAt != nil {
			out.SeenStanding = standings.proto(c.SeenAs)
		}
	}
	if whole && !v.Assessment.At.IsZero() {
		out.Assessment = assessmentToProto(in, &v.Assessment)
	}
	return out
}

func assessmentToProto(in *words.Language, a *assess.Assessment) *pb.Assessment {
	out := &pb.Assessment{Day: int32(a.Day), PRefusal: a.PRefusal, POffFeed: a.POffFeed, LossPct: a.LossPct, LossPctLow: a.LossLow, LossPctHigh: a.LossHigh,
		FastDays: int32(a.FastDays), DaysToTenPct: a.DaysTo10, LogOdds: a.LogOdds, Missing: in.Say(a.Missing), KeeperSees: in.Say(a.KeeperSees), KeeperMeans: in.Say(a.KeeperMeans),
		KeeperDo: in.Say(a.KeeperDo), KeeperWorry: in.Say(a.KeeperWorry), LearnedFromAnimals: int32(a.LearnedFrom), AskTime: timeToProto(a.AskAt), Ask: a.Ask, Question: in.Say(a.Question)}
	for _, c := range a.CheckIns {
		out.CheckIns = append(out.CheckIns, &pb.CheckIn{Id: c.ID, Code: c.Code, DueTime: timeToProto(c.At), Ask: c.Ask, Question: in.Say(c.Question), Own: c.Own})
	}
	for _, r := range a.Reasons {
		out.Reasons = append(out.Reasons, &pb.Reason{Code: r.Code, Weight: r.Weight, Text: in.Say(r.Text), Evidence: r.Evidence})
	}
	for _, c := range a.Causes {
		out.Causes = append(out.Causes, &pb.Cause{Code: c.Code, Share: c.Share, Text: in.Say(c.Text)})
	}
	for _, s := range a.Steps {
		out.Steps = append(out.Steps, &pb.Step{Code: s.Code, Text: in.Say(s.Text), HoldsDays: int32(s.HoldsDays)})
	}
	for _, c := range a.Concerns {
		out.Concerns = append(out.Concerns, &pb.Concern{Code: c.Code, Level: standings.proto(c.Level), Text: in.Say(c.Text), Urgency: c.Urgency})
	}
	return out
}

func tryToProto(in *words.Language, t *assess.Try, breeder bool) *pb.Probe {
	out := &pb.Probe{Code: t.Code, HappenTime: timeToProto(t.At), Standing: standings.proto(t.Standing), StandingTime: timeToProto(t.StandingAt),
		Urgency: t.Urgency, PRefusal: t.PRefusal, Condition: in.Say(t.Condition), Consequence: in.Say(t.Consequence), Better: t.Better()}
	if !breeder {
		out.Consequence = in.Say(t.ForKeeper)
	}
	return out
}

func courseToProto(in *words.Language, name string, c *assess.Course, entries []care.Entry) *pb.Course {
	out := &pb.Course{Name: name, Entries: entriesToProto(in, entries)}
	for _, d := range c.Days {
		out.Days = append(out.Days, &pb.CourseDay{Time: timeToProto(d.At), Day: int32(d.Day), MassG: d.Mass, MassLowG: d.Low, MassHighG: d.High,
			ExpectedG: d.Expected, PRefusal: d.PRefusal, Standing: standings.proto(d.Standing)})
	}
	for i := range c.Looks {
		l := &c.Looks[i]
		out.LookBacks = append(out.LookBacks, &pb.LookBack{Entry: l.Step, Step: l.Code, AgreeTime: timeToProto(l.At), HoldTime: timeToProto(l.HeldUntil),
			FromTime: timeToProto(l.From), ToTime: timeToProto(l.To), EatenBefore: int32(l.Before.Eaten), OffersBefore: int32(l.Before.Offers),
			EatenAfter: int32(l.After.Eaten), OffersAfter: int32(l.After.Offers), Chance: l.Chance, MassBeforeG: float64(l.MassBefore),
			MassAfterG: float64(l.MassAfter), Text: in.Say(l.Text())})
	}
	return out
}

func flagToProto(in *words.Language, f *care.Flag) *pb.Flag {
	out := &pb.Flag{Name: caseName(f.BreederID, f.CaseID) + "/flags/" + f.ID, Code: f.Code, Level: standings.proto(f.Level), Text: in.Say(f.Text),
		OpenTime: timeToProto(f.OpenedAt), CloseTime: maybeTime(f.ClosedAt)}
	for _, h := range f.History {
		out.History = append(out.History, &pb.FlagChange{Time: timeToProto(h.At), Level: standings.proto(h.Level), What: h.What, Text: in.Say(h.Text)})
	}
	return out
}

func photoToProto(p *care.Photo) *pb.Photo {
	return &pb.Photo{Name: caseName(p.BreederID, p.CaseID) + "/photos/" + p.ID, Width: int32(p.Width), Height: int32(p.Height), Dark: p.Dark, Blurred: p.Blurred,
		TakeTime: maybeTime(p.TakenAt), ReceiveTime: timeToProto(p.ReceivedAt), By: actorKinds.proto(p.By)}
}

// Access.

func passkeyToProto(p *care.Passkey) *pb.Passkey {
	return &pb.Passkey{PasskeyId: p.ID, Label: p.Label, CreateTime: timeToProto(p.CreatedAt), UseTime: maybeTime(p.UsedAt)}
}

func tokenToProto(s *care.Secret) *pb.Token {
	return &pb.Token{TokenId: s.ID, Label: s.Label, ReadOnly: s.ReadOnly, CreateTime: timeToProto(s.CreatedAt), ExpireTime: timeToProto(s.ExpiresAt)}
}

// Tables.

func bandToProto(b snake.Band) *pb.Band { return &pb.Band{Low: b.Low, High: b.High} }

func speciesToProto(in *words.Language, s *snake.Species) *pb.Species {
	c := &s.Climate
	return &pb.Species{Id: s.ID, ScientificName: s.Scientific, CommonName: in.Form(s.Common), Family: s.Family, Cites: s.CITES, HotSpotC: bandToProto(c.HotSpot),
		CoolSideC: bandToProto(c.Cool), NightC: bandToProto(c.Night), HumidityPct: bandToProto(c.Humidity), ClimateSource: c.Source,
		ClimateSureness: c.Sureness, HatchMassG: s.HatchMass, AdultMassG: s.AdultMass, Sources: s.Sources}
}

func setupPointToProto(in *words.Language, p *care.SetupPoint) *pb.SetupPoint {
	out := &pb.SetupPoint{Code: p.Code, Title: in.Form(p.Title), Why: in.Form(p.Why), Look: in.Form(p.Look), Fix: in.Form(p.Fix), Source: p.Source, Measure: string(p.Measure), Photo: len(p.Shots) > 0, Shots: in.Forms(p.Shots)}
	for _, c := range p.Choices {
		out.Choices = append(out.Choices, &pb.SetupChoice{Code: c.Code, Label: in.Form(c.Label), Verdict: strings.ReplaceAll(c.Verdict.String(), " ", "_")})
	}
	for _, z := range p.Sizes {
		out.Sizes = append(out.Sizes, &pb.SetupSize{Code: z.Code, Label: in.Form(z.Label), Hint: in.Form(z.Hint), Unit: z.Unit})
	}
	return out
}
