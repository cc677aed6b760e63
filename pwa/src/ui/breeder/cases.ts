// The triage list as it is on this screen: what the service listed, with live changes laid in.

import { signal } from '@preact/signals';
import { withQuery } from '../../api/client';
import type { GetBreederResponseJson } from '../../api/gen/warmhand/v1/breeder_service_pb';
import type {
  CaseJson,
  ListCasesResponseJson,
  WatchCasesResponseJson,
} from '../../api/gen/warmhand/v1/case_service_pb';
import { byLetters } from '../../core/ids';
import { say } from '../../core/say';
import { standingWord } from '../../core/words';
import { ask, breeder } from './session';

export type Which = 'open' | 'ended';

/** What of the open cases is shown. */
export type View = 'open' | 'new' | 'breeder' | 'keeper' | 'silent' | 'aside';

export function isAside(c: CaseJson, now: Date): boolean {
  return Boolean(c.asideTime) && Date.parse(c.asideTime ?? '') > now.getTime();
}

export function shows(view: View, c: CaseJson, now: Date): boolean {
  if (view === 'aside' || isAside(c, now)) return view === 'aside' && isAside(c, now);
  switch (view) {
    case 'open':
      return true;
    case 'new':
      return Boolean(c.news);
    case 'silent':
      return Boolean(c.silent);
    case 'breeder':
      return c.turn === 'TURN_BREEDER';
    case 'keeper':
      return c.turn === 'TURN_KEEPER';
  }
}

/** What changed since the breeder last looked; '' when nothing did. */
export function newsOf(c: CaseJson): string {
  if (!c.news) return '';
  const seen = Date.parse(c.seenTime ?? '');
  if (Number.isNaN(seen)) return say('new');
  const since = (at: string | undefined) => Date.parse(at ?? '') > seen;
  const told = since(c.writeTime) ? say('wrote to you') : since(c.tellTime) ? say('logged something') : '';
  const moved =
    c.seenStanding && c.standing !== c.seenStanding
      ? say('was {word}', { word: standingWord(c.seenStanding).word })
      : '';
  const back = since(c.giveBackTime) ? say('wants to give it back') : '';
  return [back, told, moved].filter(Boolean).join(', ') || say('changed meanwhile');
}

/** What there is to do about an open case, in one line; '' for nothing. */
export function toDo(c: CaseJson): string {
  if (c.endTime) return '';
  if (c.giveBackTime) {
    if (c.returnLeaveTime) return say('Say when it has arrived.');
    return c.returnAgreeTime
      ? say('Waits for {keeperName} to send it.', { keeperName: c.keeperName || say('the keeper') })
      : say('Agree how it comes back to you.');
  }
  if (c.turn === 'TURN_BREEDER') {
    const wrote = Date.parse(c.writeTime ?? '') >= Date.parse(c.changeTime ?? '');
    if (wrote || !isPressing(c)) return say('Answer the message.');
    return c.nextStep ? say('Agree on a step: {first}', { first: first(c.nextStep) }) : say('Agree on a step.');
  }
  if (!c.claimed) return say('Waits for the card to be claimed.');
  if (c.turn === 'TURN_KEEPER')
    return say('Waits for {keeperName}.', { keeperName: c.keeperName || say('the keeper') });
  if (c.silent) return say('Ask how it is.');
  return c.standing === 'STANDING_SETTLED' || !c.nextStep
    ? ''
    : say('Suggested: {first}', { first: first(c.nextStep) });
}

/** The first sentence: the rest is on the case's own screen. */
function first(text: string): string {
  return /^.*?[.:](?= [A-Z]|$)/.exec(text)?.[0] ?? text;
}

function isPressing(c: CaseJson): boolean {
  return c.standing === 'STANDING_STEP_IN' || c.standing === 'STANDING_VET';
}

export interface CaseList {
  which: Which;
  cases: CaseJson[];
  /** Token of the next page; '' when all are here. */
  next: string;
}

/** The most urgent first, and by name where equal: the service's own order. */
export function byUrgency(a: CaseJson, b: CaseJson): number {
  const d = Number(b.urgency ?? 0) - Number(a.urgency ?? 0);
  return d !== 0 ? d : byLetters(a.name, b.name);
}

/** Lays one changed case into a list. Ended lists keep the service's order and take the newest in front. */
export function merge(list: CaseList, changed: CaseJson): CaseList {
  const others = list.cases.filter((c) => c.name !== changed.name);
  const was = others.length < list.cases.length;
  const belongs = (list.which === 'ended') === Boolean(changed.endTime);
  if (!belongs) return was ? { ...list, cases: others } : list;
  if (list.which === 'ended') {
    return {
      ...list,
      cases: was ? list.cases.map((c) => (c.name === changed.name ? changed : c)) : [changed, ...others],
    };
  }
  const cases = [...others, changed].sort(byUrgency);
  // Beyond the last loaded row only the service knows what comes next.
  if (list.next && !was && cases.at(-1) === changed) cases.pop();
  return { ...list, cases };
}

export function animalName(c: CaseJson): string {
  return c.animal?.displayName || c.commonName || say('Unnamed animal');
}

/** What is read out when a case changes. */
export function announcement(c: CaseJson, what: string): string {
  const name = animalName(c);
  if (what === 'claim')
    return c.keeperName
      ? say('{name} was claimed by {keeper}.', { name, keeper: c.keeperName })
      : say('{name} was claimed.', { name });
  if (c.endTime) return say('The follow-up of {name} has ended.', { name });
  if (what === 'aside')
    return c.asideTime ? say('{name} is set aside.', { name }) : say('{name} is back on the list.', { name });
  if (what === 'looked_after') return '';
  return `${name}: ${standingWord(c.standing).word}. ${c.headline ?? ''}`;
}

export const list = signal<CaseList | undefined>(undefined);
export const listError = signal<unknown>(undefined);
/** The latest live change; a new object each time. */
export const lastChange = signal<{ name: string; what: string } | undefined>(undefined);
export const spoken = signal('');
/** Whether changes arrive by themselves just now; undefined while that is not known yet. */
export const live = signal<boolean | undefined>(undefined);
/** For so long nobody needs to be told that the first changes are awaited, ms. */
const connects = 5_000;
/** What the breeder writes often; undefined until it was read. */
export const phrases = signal<readonly string[] | undefined>(undefined);

/** Reads them anew: another person of the breeder's may have changed them. What was there stays when it cannot. */
export async function loadPhrases(): Promise<void> {
  try {
    phrases.value = (await ask<GetBreederResponseJson>('GET', `/v1/${breeder()}`)).breeder?.phrases ?? [];
  } catch {
    // A message can be written without them.
  }
}

let asked = 0;
/** Cases as they changed since the list was asked for. */
let arrived: CaseJson[] = [];

/** Loads a list. Of the open cases all pages come, one after the other, so that the filters and their counts are right. */
export async function loadCases(which: Which, more = false): Promise<void> {
  const turn = ++asked;
  arrived = [];
  const again = !more && list.value?.which === which; // what is shown stays until all of it is here anew
  let cases = more && list.value ? list.value.cases : [];
  let next = more ? list.value?.next : undefined;
  try {
    do {
      const answer = await ask<ListCasesResponseJson>(
        'GET',
        withQuery(`/v1/${breeder()}/cases`, {
          state: which === 'open' ? 'CASE_STATE_OPEN' : 'CASE_STATE_ENDED',
          pageSize: cases.length === 0 ? 50 : 200, // the first screenful soon
          pageToken: next,
        }),
      );
      if (turn !== asked) return;
      const here = new Set(cases.map((c) => c.name));
      cases = [...cases, ...(answer.cases ?? []).filter((c) => !here.has(c.name))];
      next = answer.nextPageToken ?? '';
      // What changed while the pages came is newer than they are.
      if (!again || which === 'ended' || !next) list.value = arrived.reduce(merge, { which, cases, next });
      listError.value = undefined;
    } while (next && which === 'open');
  } catch (e) {
    if (turn === asked) listError.value = e;
  }
}

/** The breeder looked at it: the row is no news any more. */
export function seen(c: CaseJson): void {
  arrived.push(c);
  if (list.value) list.value = merge(list.value, c);
}

export function take(change: WatchCasesResponseJson): void {
  const c = change.case;
  if (!c?.name) {
    if (list.value) void loadCases(list.value.which); // changes were lost on the way
    lastChange.value = { name: '', what: 'resync' };
    return;
  }
  arrived.push(c);
  if (list.value) list.value = merge(list.value, c);
  if (change.what !== 'seen' && change.what !== 'read') spoken.value = announcement(c, change.what ?? '');
  lastChange.value = { name: c.name, what: change.what ?? '' };
}

/** Listens until the returned function is called. The browser connects again by itself; then everything is read anew. */
export function listen(name: string): () => void {
  const source = new EventSource(`/v1/${name}/live`);
  let lost = false;
  const late = setTimeout(() => {
    live.value ??= false;
  }, connects);
  let timer: ReturnType<typeof setTimeout> | undefined;
  let stop = () => source.close();
  source.addEventListener('change', (e) => {
    let change: WatchCasesResponseJson;
    try {
      change = JSON.parse(String((e as MessageEvent<unknown>).data)) as WatchCasesResponseJson;
    } catch {
      change = { what: 'resync' };
    }
    take(change);
  });
  source.addEventListener('open', () => {
    live.value = true;
    if (lost) take({ what: 'resync' });
    lost = false;
  });
  source.addEventListener('error', () => {
    live.value = false;
    lost = true;
    // After a status other than 200 the browser gives up for good; we do not.
    if (source.readyState === EventSource.CLOSED) {
      clearTimeout(timer);
      timer = setTimeout(() => {
        stop = listen(name);
        take({ what: 'resync' });
      }, 5000);
    }
  });
  return () => {
    clearTimeout(late);
    clearTimeout(timer);
    live.value = undefined;
    stop();
  };
}
