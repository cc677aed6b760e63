import type {
  EntryJson,
  OfferJson,
  OfferResultJson,
  PreyStateJson,
  ProbeJson,
  SetupPointJson,
  SignInfoJson,
  StandingJson,
} from './contract';
import { day } from './time';
import { formatMass, formatNumber, formatTemp } from './units';

/** A standing as a word, a shape and a place in the order: never by colour alone. */
export interface StandingWord {
  word: string;
  /** The same for the keeper, who need not know our words. */
  keeper: string;
  shape: 'circle' | 'half' | 'triangle' | 'square';
  /** 0 not known yet, 1 settled … 4 vet. */
  place: number;
}

export function standingWord(s: StandingJson | undefined): StandingWord {
  switch (s) {
    case 'STANDING_SETTLED':
      return { word: 'settled', keeper: 'all is as it should be', shape: 'circle', place: 1 };
    case 'STANDING_WATCH':
      return { word: 'watch', keeper: 'keep an eye on it', shape: 'half', place: 2 };
    case 'STANDING_STEP_IN':
      return { word: 'step in', keeper: 'your breeder should look at it with you', shape: 'triangle', place: 3 };
    case 'STANDING_VET':
      return { word: 'vet', keeper: 'a reptile vet should see it', shape: 'square', place: 4 };
    default:
      return { word: 'not known yet', keeper: 'not known yet', shape: 'circle', place: 0 };
  }
}

/** What would follow from one thing that could come next, as a sentence with its day. */
export function ifSentence(p: ProbeJson, now = new Date()): string {
  const when = day(p.happenTime ?? now.toISOString(), now);
  return `If ${p.condition} ${when === 'today' ? when : `on ${when}`}, ${p.consequence}.`;
}

/** Where what a check-in asks for is written down: the form of a case. */
export const askPlaces: Record<string, string> = {
  offer: 'offer',
  weigh: 'weigh',
  climate: 'climate',
  setup: 'setup',
  word: 'thread',
};

export const resultWords: Record<OfferResultJson, string> = {
  OFFER_RESULT_UNSPECIFIED: 'Offered',
  OFFER_RESULT_EATEN: 'Ate',
  OFFER_RESULT_REFUSED: 'Did not take',
  OFFER_RESULT_STRUCK: 'Struck and let go of',
  OFFER_RESULT_REGURGITATED: 'Brought up',
};

/** How prey is offered, to be chosen from; the last says nothing of it. */
export const preyStates: readonly { value: PreyStateJson; label: string }[] = [
  { value: 'PREY_STATE_THAWED', label: 'thawed' },
  { value: 'PREY_STATE_PREKILLED', label: 'freshly killed' },
  { value: 'PREY_STATE_LIVE', label: 'live' },
  { value: 'PREY_STATE_UNSPECIFIED', label: 'not known' },
];

/** What was offered: "a thawed rat of 12 g". */
export function preyWords(o: OfferJson): string {
  const known = o.preyState !== 'PREY_STATE_UNSPECIFIED' && preyStates.find((s) => s.value === o.preyState);
  const state = known ? `${known.label} ` : '';
  const what = o.prey || 'prey';
  const article = state || o.prey ? 'a ' : '';
  return `${article}${state}${what}${Number(o.preyG) > 0 ? ` of ${formatMass(Number(o.preyG))}` : ''}`;
}

/** Tables of the server that turn codes into words; empty ones give the codes. */
export interface Names {
  signs?: readonly SignInfoJson[] | undefined;
  points?: readonly SetupPointJson[] | undefined;
}

/** One entry as one line, in plain words. */
export function entryLine(e: EntryJson, names: Names = {}): string {
  if (e.offer) return `${resultWords[e.offer.result ?? 'OFFER_RESULT_UNSPECIFIED']} ${preyWords(e.offer)}`;
  if (e.weighIn) return `Weighed ${formatMass(Number(e.weighIn.massG))}`;
  if (e.climate) {
    const c = e.climate;
    const parts = [
      c.warmC !== undefined && `warm side ${formatTemp(Number(c.warmC))}`,
      c.coolC !== undefined && `cool side ${formatTemp(Number(c.coolC))}`,
      c.nightC !== undefined && `at night ${formatTemp(Number(c.nightC))}`,
      c.surfaceC !== undefined && `hottest surface ${formatTemp(Number(c.surfaceC))}`,
      c.humidityPct !== undefined && `humidity ${formatNumber(Number(c.humidityPct))} %`,
    ].filter((p) => p !== false);
    return `Measured: ${parts.join(', ')}`;
  }
  if (e.shed) {
    if (e.shed.stage === 'SHED_STAGE_OPAQUE') return 'Eyes are cloudy: a shed is coming';
    if (e.shed.stage === 'SHED_STAGE_CLEAR') return 'Eyes are clear again: it sheds in a few days';
    return e.shed.complete === undefined ? 'Shed' : e.shed.complete ? 'Shed in one piece' : 'Shed in pieces';
  }
  if (e.sign)
    return `${e.sign.gone ? 'Gone' : 'Seen'}: ${names.signs?.find((s) => s.code === e.sign?.sign)?.label ?? plain(e.sign.sign)}`;
  if (e.setup) {
    const list = e.setup.answers ?? [];
    const only = list.length === 1 ? list[0] : undefined;
    if (!only) return `Setup checked: ${list.length} points`;
    const point = names.points?.find((p) => p.code === only.point);
    const choice = point?.choices?.find((c) => c.code === only.choice);
    return `Setup: ${point?.title ?? plain(only.point)} – ${choice?.label ?? plain(only.choice)}`;
  }
  if (e.message) return e.message.text ?? '';
  if (e.step) return `Agreed: ${plain(e.step.step)}${heldUntil(e)}`;
  if (e.ended)
    return e.ended.reopened
      ? 'Follow-up opened again'
      : `Follow-up ended: ${plain(e.ended.outcome?.replace('OUTCOME_', '').toLowerCase())}`;
  if (e.withdrawal) return 'Taken back';
  if (e.seen) return 'Opened the app';
  return 'Entry';
}

function plain(code: string | undefined): string {
  return (code ?? '').replaceAll('_', ' ');
}

/** ", until Thu 3 Dec" for a step that holds for days. */
function heldUntil(e: EntryJson): string {
  const at = Date.parse(e.happenTime ?? '');
  if (!e.step?.holdsDays || Number.isNaN(at)) return '';
  return `, until ${day(new Date(at + e.step.holdsDays * 86_400_000).toISOString())}`;
}
