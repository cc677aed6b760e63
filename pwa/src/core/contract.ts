// The contract's JSON in one place. Types only: nothing of the generated code reaches the browser.
export type {
  CalendarLinkJson,
  CreateCalendarLinkResponseJson,
  CreateDeviceCodeResponseJson,
  CreateKeeperCodeResponseJson,
  GetCalendarLinkResponseJson,
  GetMeResponseJson,
  KeeperCodeJson,
  RedeemSignInLinkResponseJson,
  UseKeeperCodeResponseJson,
} from '../api/gen/warmhand/v1/access_service_pb';
export type { AnimalJson, StockAnimalJson } from '../api/gen/warmhand/v1/animal_service_pb';
export type {
  CardJson,
  ClaimCardResponseJson,
  CreateCardsResponseJson,
  ListCardsResponseJson,
  ListWaitingCardsResponseJson,
  WaitingCardJson,
} from '../api/gen/warmhand/v1/card_service_pb';
export type {
  AssessmentJson,
  CaseJson,
  CourseJson,
  GetCaseResponseJson,
  GetCourseResponseJson,
  GetGuideResponseJson,
  GiveBackResponseJson,
  GuideJson,
  GuidePageJson,
  ListKeeperCasesResponseJson,
  ListNewPhotosResponseJson,
  NewPhotoJson,
  ProbeCaseResponseJson,
  ProbeJson,
  ReadCardResponseJson,
  StandingJson,
} from '../api/gen/warmhand/v1/case_service_pb';
export type {
  BatchCreateEntriesResponseJson,
  ClimateReadingJson,
  CreateEntryResponseJson,
  EntryJson,
  ListEntriesResponseJson,
  MarkKindJson,
  OfferJson,
  OfferResultJson,
  PreyStateJson,
  SetupAnswerJson,
  SetupMarkJson,
  ShedStageJson,
  TakenWithJson,
  TapsJson,
} from '../api/gen/warmhand/v1/entry_service_pb';
export type {
  ChecklistItemJson,
  ClaimHandoverResponseJson,
  CreateHandoverResponseJson,
  CreatePassOnResponseJson,
  FirstDaysJson,
  GetHandoverResponseJson,
  GetPassOnResponseJson,
  HandoverJson,
  HandoverRecordJson,
  HomeFactJson,
  HomeJson,
  LookUpClaimResponseJson,
  ParentRecordJson,
  PassOnJson,
  WhenToCallJson,
} from '../api/gen/warmhand/v1/handover_service_pb';
export type {
  GeneJson,
  ListSetupPointsResponseJson,
  ListSignsResponseJson,
  SetupPointJson,
  SignInfoJson,
  SpeciesJson,
} from '../api/gen/warmhand/v1/reference_service_pb';
export type {
  GetRemindersResponseJson,
  ReminderHoursJson,
  RemindersJson,
  ReminderWayJson,
} from '../api/gen/warmhand/v1/reminder_service_pb';
export type {
  CreateLetterLinkResponseJson,
  LetterLinkJson,
  ListLetterLinksResponseJson,
  ListLooksResponseJson,
  LookJson,
} from '../api/gen/warmhand/v1/rights_service_pb';
