// The triage list as it is on this screen: what the service listed, with live changes laid in.
import { signal } from '@preact/signals';
import { withQuery } from '../../api/client';
import type {
  CaseJson,
  ListCasesResponseJson,
  WatchCasesResponseJson,
} from '../../api/gen/warmhand/v1/case_service_pb';
import { standingWord } from '../../core/words';
import { ask, breeder } from './session';

export type Which = 'open' | 'ended';

export interface CaseList {
  which: Which;
  cases: CaseJson[];
  /** Token of the next page; '' when all are here. */
  next: string;
}

/** The most urgent first, and by name where equal: the service's own order. */
export function byUrgency(a: CaseJson, b: CaseJson): number {
  const d = Number(b.urgency ?? 0) - Number(a.urgency ?? 0);
  if (d !== 0) return d;
  const [x, y] = [a.name ?? '', b.name ?? ''];
  return x < y ? -1 : x > y ? 1 : 0;
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
  return c.animal?.displayName || c.commonName || 'Unnamed animal';
}

/** What is read out when a case changes. */
export function announcement(c: CaseJson, what: string): string {
  const name = animalName(c);
  if (what === 'claim') return `${name} was claimed${c.keeperName ? ` by ${c.keeperName}` : ''}.`;
  if (c.endTime) return `The follow-up of ${name} has ended.`;
  return `${name}: ${standingWord(c.standing).word}. ${c.headline ?? ''}`;
}

export const list = signal<CaseList | undefined>(undefined);
export const listError = signal<unknown>(undefined);
/** The latest live change; a new object each time. */
export const lastChange = signal<{ name: string; what: string } | undefined>(undefined);
export const spoken = signal('');
/** Whether changes arrive by themselves just now. */
export const live = signal(false);
/** Names of cases that changed on this screen since their row was last opened. */
export const fresh = signal<ReadonlySet<string>>(new Set());

let asked = 0;

export async function loadCases(which: Which, more = false): Promise<void> {
  const turn = ++asked;
  const token = more ? list.value?.next : undefined;
  try {
    const answer = await ask<ListCasesResponseJson>(
      'GET',
      withQuery(`/v1/${breeder()}/cases`, {
        state: which === 'open' ? 'CASE_STATE_OPEN' : 'CASE_STATE_ENDED',
        pageSize: 100,
        pageToken: token,
      }),
    );
    if (turn !== asked) return;
    const before = token && list.value ? list.value.cases : [];
    const here = new Set(before.map((c) => c.name));
    list.value = {
      which,
      cases: [...before, ...(answer.cases ?? []).filter((c) => !here.has(c.name))],
      next: answer.nextPageToken ?? '',
    };
    listError.value = undefined;
  } catch (e) {
    if (turn === asked) listError.value = e;
  }
}

/** The breeder looked at it: the row is no news any more. */
export function seen(c: CaseJson): void {
  if (list.value) list.value = merge(list.value, c);
  if (c.name && fresh.value.has(c.name)) fresh.value = new Set([...fresh.value].filter((n) => n !== c.name));
}

export function take(change: WatchCasesResponseJson): void {
  const c = change.case;
  if (!c?.name) {
    if (list.value) void loadCases(list.value.which); // changes were lost on the way
    lastChange.value = { name: '', what: 'resync' };
    return;
  }
  if (list.value) list.value = merge(list.value, c);
  if (change.what !== 'seen') {
    if (c.news) fresh.value = new Set([...fresh.value, c.name]);
    spoken.value = announcement(c, change.what ?? '');
  }
  lastChange.value = { name: c.name, what: change.what ?? '' };
}

/** Listens until the returned function is called. The browser connects again by itself; then everything is read anew. */
export function listen(name: string): () => void {
  const source = new EventSource(`/v1/${name}/live`);
  let lost = false;
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
    clearTimeout(timer);
    live.value = false;
    stop();
  };
}
