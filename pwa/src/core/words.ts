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
import { say } from './say';
import { day, daysSince } from './time';
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
      return { word: say('settled'), keeper: say('all is as it should be'), shape: 'circle', place: 1 };
    case 'STANDING_WATCH':
      return { word: say('watch'), keeper: say('keep an eye on it'), shape: 'half', place: 2 };
    case 'STANDING_STEP_IN':
      return {
        word: say('step in'),
        keeper: say('your breeder should look at it with you'),
        shape: 'triangle',
        place: 3,
      };
    case 'STANDING_VET':
      return { word: say('vet'), keeper: say('a reptile vet should see it'), shape: 'square', place: 4 };
    default:
      return { word: say('not known yet'), keeper: say('not known yet'), shape: 'circle', place: 0 };
  }
}

/** What would follow from one thing that could come next, as a sentence with its day. */
export function ifSentence(p: ProbeJson, now = new Date()): string {
  const at = p.happenTime ?? now.toISOString();
  const { condition, consequence } = p;
  return daysSince(at, now) === 0
    ? say('If {condition} today, {consequence}.', { condition, consequence })
    : say('If {condition} on {day}, {consequence}.', { condition, consequence, day: day(at, now) });
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
  OFFER_RESULT_UNSPECIFIED: say('Offered'),
  OFFER_RESULT_EATEN: say('Ate'),
  OFFER_RESULT_REFUSED: say('Did not take'),
  OFFER_RESULT_STRUCK: say('Struck and let go of'),
  OFFER_RESULT_REGURGITATED: say('Brought up'),
};

/** How prey is offered, to be chosen from; the last says nothing of it. */
export const preyStates: readonly { value: PreyStateJson; label: string }[] = [
  { value: 'PREY_STATE_THAWED', label: say('thawed') },
  { value: 'PREY_STATE_PREKILLED', label: say('freshly killed') },
  { value: 'PREY_STATE_LIVE', label: say('live') },
  { value: 'PREY_STATE_UNSPECIFIED', label: say('not known') },
];

/** What was offered: "a thawed rat of 12 g". */
export function preyWords(o: OfferJson): string {
  const known = o.preyState !== 'PREY_STATE_UNSPECIFIED' && preyStates.find((s) => s.value === o.preyState);
  const state = known ? known.label : '';
  const prey = preyName(o.prey);
  const mass = Number(o.preyG) > 0 ? formatMass(Number(o.preyG)) : '';
  if (state && mass) return say('a {state} {prey} of {mass}', { state, prey: prey || say('prey'), mass });
  if (state) return say('a {state} {prey}', { state, prey: prey || say('prey') });
  if (mass) return prey ? say('a {prey} of {mass}', { prey, mass }) : say('prey of {mass}', { mass });
  return prey ? say('a {prey}', { prey }) : say('prey');
}

/** Prey that is offered often has a word in each language; the log has the English one. */
export const preyNames: Readonly<Record<string, string>> = {
  rat: say('rat'),
  mouse: say('mouse'),
  chick: say('chick'),
  hamster: say('hamster'),
  gerbil: say('gerbil'),
  quail: say('quail'),
  fish: say('fish'),
  lizard: say('lizard'),
};

/** Prey as it was logged, in the person's words. */
export function preyName(prey: string | undefined): string {
  return preyNames[prey ?? ''] ?? prey ?? '';
}

/** An offer in one line: "Ate a thawed rat of 12 g". */
function offerLine(o: OfferJson): string {
  const prey = preyWords(o);
  switch (o.result) {
    case 'OFFER_RESULT_EATEN':
      return say('Ate {prey}', { prey });
    case 'OFFER_RESULT_REFUSED':
      return say('Did not take {prey}', { prey });
    case 'OFFER_RESULT_STRUCK':
      return say('Struck and let go of {prey}', { prey });
    case 'OFFER_RESULT_REGURGITATED':
      return say('Brought up {prey}', { prey });
    default:
      return say('Offered {prey}', { prey });
  }
}

/** Tables of the server that turn codes into words; empty ones give the codes. */
export interface Names {
  signs?: readonly SignInfoJson[] | undefined;
  points?: readonly SetupPointJson[] | undefined;
}

/** One entry as one line, in plain words. */
export function entryLine(e: EntryJson, names: Names = {}): string {
  if (e.offer) return offerLine(e.offer);
  if (e.weighIn) return say('Weighed {mass}', { mass: formatMass(Number(e.weighIn.massG)) });
  if (e.climate) {
    const c = e.climate;
    const parts = [
      c.warmC !== undefined && say('warm side {temp}', { temp: formatTemp(Number(c.warmC)) }),
      c.coolC !== undefined && say('cool side {temp}', { temp: formatTemp(Number(c.coolC)) }),
      c.nightC !== undefined && say('at night {temp}', { temp: formatTemp(Number(c.nightC)) }),
      c.surfaceC !== undefined && say('hottest surface {temp}', { temp: formatTemp(Number(c.surfaceC)) }),
      c.humidityPct !== undefined && say('humidity {percent} %', { percent: formatNumber(Number(c.humidityPct)) }),
    ].filter((p) => p !== false);
    return say('Measured: {parts}', { parts: parts.join(', ') });
  }
  if (e.shed) {
    if (e.shed.stage === 'SHED_STAGE_OPAQUE') return say('Eyes are cloudy: a shed is coming');
    if (e.shed.stage === 'SHED_STAGE_CLEAR') return say('Eyes are clear again: it sheds in a few days');
    return e.shed.complete === undefined
      ? say('Shed')
      : e.shed.complete
        ? say('Shed in one piece')
        : say('Shed in pieces');
  }
  if (e.sign) {
    const sign = names.signs?.find((s) => s.code === e.sign?.sign)?.label ?? plain(e.sign.sign);
    return e.sign.gone ? say('Gone: {sign}', { sign }) : say('Seen: {sign}', { sign });
  }
  if (e.setup) {
    const list = e.setup.answers ?? [];
    const only = list.length === 1 ? list[0] : undefined;
    if (!only) return say('Setup checked: {n} points', { n: list.length });
    const point = names.points?.find((p) => p.code === only.point);
    const choice = point?.choices?.find((c) => c.code === only.choice);
    return say('Setup: {point} – {choice}', {
      point: point?.title ?? plain(only.point),
      choice: choice?.label ?? plain(only.choice),
    });
  }
  if (e.message) return e.message.text ?? '';
  if (e.step) {
    const step = e.step.text || plain(e.step.step);
    const until = heldUntil(e);
    return until ? say('Agreed: {step}, until {day}', { step, day: until }) : say('Agreed: {step}', { step });
  }
  if (e.ended)
    return e.ended.reopened
      ? say('Follow-up opened again')
      : say('Follow-up ended: {outcome}', { outcome: outcomeWords[e.ended.outcome ?? ''] ?? '' });
  if (e.withdrawal) return say('Taken back');
  if (e.seen) return say('Opened the app');
  return say('Entry');
}

const outcomeWords: Readonly<Record<string, string>> = {
  OUTCOME_SETTLED: say('settled'),
  OUTCOME_RETURNED: say('returned'),
  OUTCOME_VET: say('vet'),
  OUTCOME_DIED: say('died'),
  OUTCOME_LOST_TOUCH: say('lost touch'),
  OUTCOME_LEFT: say('left'),
  OUTCOME_PASSED_ON: say('passed on'),
};

function plain(code: string | undefined): string {
  return (code ?? '').replaceAll('_', ' ');
}

/** The last day of a step that holds for days. */
function heldUntil(e: EntryJson): string {
  const at = Date.parse(e.happenTime ?? '');
  if (!e.step?.holdsDays || Number.isNaN(at)) return '';
  return day(new Date(at + e.step.holdsDays * 86_400_000).toISOString());
}

/** What somebody typed as prey, as the log has it. */
export function preyCode(text: string): string {
  const typed = text.trim().toLowerCase();
  return Object.keys(preyNames).find((code) => preyNames[code]?.toLowerCase() === typed) ?? text.trim();
}
