package server

import (
	"warmhand/internal/access"
	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
)

var (
	anyone   = access.Anyone()
	owner    = access.Allow(care.BreederOwner)
	people   = access.Allow(care.BreederOwner, care.Helper)
	team     = access.Allow(care.BreederOwner, care.Helper, care.Program)
	keeper   = access.Allow(care.KeeperActor)
	persons  = access.Allow(care.BreederOwner, care.Helper, care.KeeperActor)
	involved = access.Allow(care.BreederOwner, care.Helper, care.Program, care.KeeperActor)
)

// policy says who may call what. A method that is not here is closed to all.
// Whose records a call may touch is checked by the use case.
var policy = access.Policy{
	pb.AccessService_GetMe_FullMethodName:                     anyone.Reads(),
	pb.AccessService_RedeemSignInLink_FullMethodName:          anyone,
	pb.AccessService_BeginPasskeySignIn_FullMethodName:        anyone,
	pb.AccessService_FinishPasskeySignIn_FullMethodName:       anyone,
	pb.AccessService_UseRecoveryCode_FullMethodName:           anyone,
	pb.AccessService_UseKeeperCode_FullMethodName:             anyone,
	pb.AccessService_SignOut_FullMethodName:                   anyone,
	pb.AccessService_EndOtherSignIns_FullMethodName:           people,
	pb.AccessService_SetLanguage_FullMethodName:               persons,
	pb.AccessService_CreateKeeperCode_FullMethodName:          people,
	pb.AccessService_CreateDeviceCode_FullMethodName:          keeper,
	pb.AccessService_CreateCalendarLink_FullMethodName:        keeper,
	pb.AccessService_GetCalendarLink_FullMethodName:           keeper.Reads(),
	pb.AccessService_DeleteCalendarLink_FullMethodName:        keeper,
	pb.AccessService_BeginPasskeyRegistration_FullMethodName:  people,
	pb.AccessService_FinishPasskeyRegistration_FullMethodName: people,
	pb.AccessService_ListPasskeys_FullMethodName:              people.Reads(),
	pb.AccessService_DeletePasskey_FullMethodName:             people,
	pb.AccessService_CreateRecoveryCodes_FullMethodName:       people,
	pb.AccessService_ListPeople_FullMethodName:                people.Reads(),
	pb.AccessService_CreateHelper_FullMethodName:              owner,
	pb.AccessService_RenamePerson_FullMethodName:              people,
	pb.AccessService_DeleteHelper_FullMethodName:              owner,
	pb.AccessService_CreateSignInLink_FullMethodName:          people,
	pb.AccessService_CreateToken_FullMethodName:               owner,
	pb.AccessService_ListTokens_FullMethodName:                owner.Reads(),
	pb.AccessService_DeleteToken_FullMethodName:               owner,

	pb.AnimalService_CreateAnimal_FullMethodName:   team,
	pb.AnimalService_GetAnimal_FullMethodName:      involved.Reads(),
	pb.AnimalService_ListAnimals_FullMethodName:    team.Reads(),
	pb.AnimalService_ListStock_FullMethodName:      team.Reads(),
	pb.AnimalService_GetStockAnimal_FullMethodName: team.Reads(),
	pb.AnimalService_UpdateAnimal_FullMethodName:   team,
	pb.AnimalService_DeleteAnimal_FullMethodName:   access.Allow(care.BreederOwner, care.Program),

	pb.BreederService_GetBreeder_FullMethodName:        team.Reads(),
	pb.BreederService_UpdateBreeder_FullMethodName:     owner,
	pb.BreederService_GetThresholds_FullMethodName:     team.Reads(),
	pb.BreederService_TryThresholds_FullMethodName:     people.Reads(),
	pb.BreederService_UpdateThresholds_FullMethodName:  owner,
	pb.BreederService_GetCheckInPlan_FullMethodName:    team.Reads(),
	pb.BreederService_UpdateCheckInPlan_FullMethodName: owner,

	pb.CaseService_ListCases_FullMethodName:           team.Reads(),
	pb.CaseService_ListKeeperCases_FullMethodName:     keeper.Reads(),
	pb.CaseService_GetCase_FullMethodName:             involved.Reads(),
	pb.CaseService_GetCourse_FullMethodName:           involved.Reads(),
	pb.CaseService_GetGuide_FullMethodName:            involved.Reads(),
	pb.CaseService_ListFlags_FullMethodName:           team.Reads(),
	pb.CaseService_ListGatherings_FullMethodName:      team.Reads(),
	pb.CaseService_ProbeCase_FullMethodName:           involved.Reads(),
	pb.CaseService_ListPhotos_FullMethodName:          involved.Reads(),
	pb.CaseService_MarkCaseSeen_FullMethodName:        team,
	pb.CaseService_SetCaseAside_FullMethodName:        team,
	pb.CaseService_LookAfterCase_FullMethodName:       team,
	pb.CaseService_EndCase_FullMethodName:             team,
	pb.CaseService_ReopenCase_FullMethodName:          team,
	pb.CaseService_GiveBack_FullMethodName:            keeper,
	pb.CaseService_AcknowledgeMessages_FullMethodName: keeper,
	pb.CaseService_AgreeReturn_FullMethodName:         team,
	pb.CaseService_SendReturn_FullMethodName:          involved,
	pb.CaseService_ArriveReturn_FullMethodName:        team,
	pb.CaseService_EndQuarantine_FullMethodName:       team,
	pb.CaseService_WatchCases_FullMethodName:          team.Reads(),
	pb.CaseService_ListNewPhotos_FullMethodName:       team.Reads(),
	pb.CaseService_LookAtPhoto_FullMethodName:         team,
	pb.CaseService_ReadCard_FullMethodName:            team.Reads(),

	pb.EntryService_CreateEntry_FullMethodName:        involved,
	pb.EntryService_BatchCreateEntries_FullMethodName: involved,
	pb.EntryService_GetEntry_FullMethodName:           involved.Reads(),
	pb.EntryService_ListEntries_FullMethodName:        involved.Reads(),

	pb.HandoverService_CreateHandover_FullMethodName:   team,
	pb.HandoverService_GetHandover_FullMethodName:      involved.Reads(),
	pb.HandoverService_ListHandovers_FullMethodName:    team.Reads(),
	pb.HandoverService_RevokeHandover_FullMethodName:   team,
	pb.HandoverService_ReplaceClaimCode_FullMethodName: team,
	pb.HandoverService_CreatePassOn_FullMethodName:     keeper,
	pb.HandoverService_GetPassOn_FullMethodName:        keeper.Reads(),
	pb.HandoverService_RevokePassOn_FullMethodName:     keeper,
	pb.HandoverService_LookUpClaim_FullMethodName:      anyone.Reads(),
	pb.HandoverService_ClaimHandover_FullMethodName:    anyone,

	pb.CardService_CreateCards_FullMethodName:      people,
	pb.CardService_ListCards_FullMethodName:        people.Reads(),
	pb.CardService_RevokeCard_FullMethodName:       people,
	pb.CardService_ClaimCard_FullMethodName:        anyone,
	pb.CardService_ListWaitingCards_FullMethodName: keeper.Reads(),

	pb.InsightService_GetInsight_FullMethodName: team.Reads(),

	pb.ImportService_GetImport_FullMethodName:     team.Reads(),
	pb.ImportService_ListImports_FullMethodName:   team.Reads(),
	pb.ImportService_PreviewImport_FullMethodName: team.Reads(),
	pb.ImportService_ConfirmImport_FullMethodName: team,
	pb.ImportService_UndoImport_FullMethodName:    access.Allow(care.BreederOwner, care.Program),

	pb.ReferenceService_ListSpecies_FullMethodName:     anyone.Reads(),
	pb.ReferenceService_ListGenes_FullMethodName:       anyone.Reads(),
	pb.ReferenceService_ListSigns_FullMethodName:       anyone.Reads(),
	pb.ReferenceService_ListSetupPoints_FullMethodName: anyone.Reads(),
	pb.ReferenceService_ListTables_FullMethodName:      anyone.Reads(),

	pb.RightsService_LeaveKeeper_FullMethodName:      keeper,
	pb.RightsService_ScheduleErasure_FullMethodName:  owner,
	pb.RightsService_CancelErasure_FullMethodName:    owner,
	pb.RightsService_CreateLetterLink_FullMethodName: access.Allow(care.BreederOwner, care.Helper, care.KeeperActor),
	pb.RightsService_ListLetterLinks_FullMethodName:  access.Allow(care.BreederOwner, care.Helper, care.KeeperActor).Reads(),
	pb.RightsService_EndLetterLink_FullMethodName:    access.Allow(care.BreederOwner, care.Helper, care.KeeperActor),
	pb.RightsService_ListLooks_FullMethodName:        access.Allow(care.BreederOwner, care.KeeperActor).Reads(),

	pb.ReminderService_GetReminders_FullMethodName:      persons.Reads(),
	pb.ReminderService_SetReminderHours_FullMethodName:  persons,
	pb.ReminderService_AddPushDevice_FullMethodName:     persons,
	pb.ReminderService_SetReminderMail_FullMethodName:   persons,
	pb.ReminderService_RemoveReminderWay_FullMethodName: persons,
	pb.ReminderService_TestReminder_FullMethodName:      persons,

	"/grpc.health.v1.Health/Check":                                   anyone.Reads(),
	"/grpc.health.v1.Health/List":                                    anyone.Reads(),
	"/grpc.health.v1.Health/Watch":                                   anyone.Reads(),
	"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      anyone.Reads(),
	"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": anyone.Reads(),

	// Routes without a method of the contract, as the handlers name them.
	routeBreederLive: team.Reads(),
	routeKeeperLive:  keeper.Reads(),
	routePhotoPut:    involved,
	routePhotoPatch:  involved,
	routePhotoHead:   involved.Reads(),
	routePhotoGet:    involved.Reads(),
	routeCards:       team.Reads(),
	routeLabels:      team.Reads(),
	routeRecord:      involved.Reads(),
	routeGuide:       involved.Reads(),
	routeLetter:      involved.Reads(),
	routeLetterLink:  anyone.Reads(),
	routeSigned:      involved.Reads(),
	routeKeys:        anyone.Reads(),
	routeRevoked:     anyone.Reads(),
	routeCaseFile:    team.Reads(),
	routeCaseFiles:   team.Reads(),
	routeListPut:     team,
	routeStock:       team.Reads(),
	routeEverything:  owner.Reads(),
	routeTakeaway:    keeper.Reads(),
	routeCalendar:    anyone.Reads(),
	routeMailLink:    anyone.Reads(),
	routeMailAnswer:  anyone,
}

// Names of the routes that are plain HTTP.
const (
	routeBreederLive = "GET /v1/breeders/{breeder}/live"
	routeKeeperLive  = "GET /v1/keepers/me/live"
	routePhotoPut    = "PUT /v1/breeders/{breeder}/cases/{case}/photos/{photo}"
	routePhotoPatch  = "PATCH /v1/breeders/{breeder}/cases/{case}/photos/{photo}"
	routePhotoHead   = "HEAD /v1/breeders/{breeder}/cases/{case}/photos/{photo}"
	routePhotoGet    = "GET /v1/breeders/{breeder}/cases/{case}/photos/{photo}/{size}"
	routeCards       = "POST /v1/breeders/{breeder}/cards.pdf"
	routeLabels      = "GET /v1/breeders/{breeder}/labels.pdf"
	routeRecord      = "GET /v1/breeders/{breeder}/handovers/{handover}/record.pdf"
	routeSigned      = "GET /v1/breeders/{breeder}/handovers/{handover}/record.jws"
	routeKeys        = "GET /v1/breeders/{breeder}/keys.json"
	routeRevoked     = "GET /v1/breeders/{breeder}/handovers/{handover}/signed/{digest}"
	routeGuide       = "GET /v1/breeders/{breeder}/cases/{case}/guide.pdf"
	routeLetter      = "POST /v1/breeders/{breeder}/cases/{case}/vet-letter.pdf"
	routeLetterLink  = "POST /v1/vet-letter.pdf"
	routeCaseFile    = "GET /v1/breeders/{breeder}/cases/{case}/case.jsonl"
	routeCaseFiles   = "GET /v1/breeders/{breeder}/cases.jsonl"
	routeListPut     = "PUT /v1/breeders/{breeder}/imports/{import}/file"
	routeEverything  = "GET /v1/breeders/{breeder}/everything.zip"
	routeTakeaway    = "GET /v1/keepers/me/export.zip"
	routeCalendar    = "GET /v1/calendars/{link}"
	routeMailLink    = "GET /mail/{what}/{token}"
	routeMailAnswer  = "POST /mail/{what}/{token}"
	routeStock       = "GET /v1/breeders/{breeder}/export/{file}"
)

// across are the methods that go across breeders: whoever calls them is not known
// yet, or is a keeper, who may have animals of several, or has to do with such a
// keeper.
var across = map[string]bool{
	pb.AccessService_RedeemSignInLink_FullMethodName:    true,
	pb.AccessService_BeginPasskeySignIn_FullMethodName:  true,
	pb.AccessService_FinishPasskeySignIn_FullMethodName: true,
	pb.AccessService_UseRecoveryCode_FullMethodName:     true,
	pb.AccessService_UseKeeperCode_FullMethodName:       true,
	pb.AccessService_SignOut_FullMethodName:             true,
	pb.AccessService_CreateKeeperCode_FullMethodName:    true, // ends sign-ins, which may be for others' cases too
	pb.CaseService_ListKeeperCases_FullMethodName:       true,
	pb.HandoverService_LookUpClaim_FullMethodName:       true,
	pb.HandoverService_ClaimHandover_FullMethodName:     true,
	pb.CardService_ClaimCard_FullMethodName:             true,
	pb.CardService_ListWaitingCards_FullMethodName:      true,
	pb.RightsService_LeaveKeeper_FullMethodName:         true,

	routeKeeperLive: true,
	routeTakeaway:   true,
	routeCalendar:   true,
	routeLetterLink: true,
	routeMailLink:   true,
	routeMailAnswer: true,
}

// reachOf is whose rows a call may touch: of the breeder's people and programs
// their breeder's, whatever the request names, and of others, and where all may
// ask, those of the breeder that it names.
func reachOf(method string, who care.Actor, breederID string) care.Reach {
	toAll := policy.Check(method, care.Actor{}) == nil
	switch {
	case across[method]:
		return care.EverybodysReach
	case who.BreederID != "" && !(toAll && breederID != ""):
		return care.Reach(who.BreederID)
	case plainID.MatchString(breederID): // which everybody's reach is not
		return care.Reach(breederID)
	}
	return ""
}

// preference says which of two sign-ins on one phone a method is meant for.
type preference int

const (
	// byOwner: the breeder when the resource named is the breeder's, else the
	// keeper.
	byOwner preference = iota
	breederFirst
	keeperFirst
)

// preferenceOf reads it off the rule, so that the table above stays the only
// place that says who may.
func preferenceOf(method string) preference {
	switch method {
	case pb.HandoverService_ClaimHandover_FullMethodName, pb.HandoverService_LookUpClaim_FullMethodName, pb.CardService_ClaimCard_FullMethodName, pb.AccessService_UseKeeperCode_FullMethodName:
		return keeperFirst
	}
	asBreeder := policy.Check(method, care.Actor{Kind: care.BreederOwner}) == nil
	asKeeper := policy.Check(method, care.Actor{Kind: care.KeeperActor}) == nil
	switch {
	case asKeeper && !asBreeder:
		return keeperFirst
	case asBreeder && !asKeeper || policy.Check(method, care.Actor{}) == nil:
		return breederFirst
	}
	return byOwner
}
