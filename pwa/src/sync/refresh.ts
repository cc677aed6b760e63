import { ApiError, asKeeper, call, Offline } from '../api/client';
import type {
  CaseJson,
  EntryJson,
  GetCourseResponseJson,
  GetGuideResponseJson,
  GetHandoverResponseJson,
  ListEntriesResponseJson,
  ListKeeperCasesResponseJson,
  ListSetupPointsResponseJson,
  ListSignsResponseJson,
  ListWaitingCardsResponseJson,
} from '../core/contract';
import { byLetters } from '../core/ids';
import { language } from '../core/language';
import { cardCameIn } from '../photo/card';
import {
  type Known,
  keepCases,
  keepCourse,
  keepGuide,
  keepLog,
  keepRecord,
  keepTables,
  keepWaiting,
  readKnown,
  tablesAge,
} from '../store/copies';
import { readState, writeState } from '../store/db';

const get = <T>(path: string) => call<T>('GET', path, undefined, asKeeper);

/** The state that says in which language the copies are. */
const copiesLanguage = 'copies in';

const tablesHold = 24 * 3_600_000;

/** Fetches the keeper's cases, logs, records and the tables into the database, from which the screens draw. */
export async function refresh(): Promise<'ok' | 'offline' | 'signed out'> {
  try {
    const known = await readKnown();
    // What the service says stands in the copies in the language that was asked for; what is fetched seldom is fetched anew in another.
    const anew = ((await readState<string>(copiesLanguage)) ?? 'en') !== language();
    // Before the cases: a card that waits no more has its case.
    const waiting = known.waiting.length > 0 && (await get<ListWaitingCardsResponseJson>('/v1/keepers/me/cards'));
    const { cases = [] } = await get<ListKeeperCasesResponseJson>('/v1/keepers/me/cases');
    if (!same(byName(known.cases), byName(cases))) await keepCases(cases);
    if (waiting) await keepWaiting(waiting.cards ?? []);
    await Promise.all(cases.map((c) => refreshCase(c, known, anew)));
    await acknowledge(cases);
    if (cases.length > 0 && (anew || Date.now() - (await tablesAge()) > tablesHold)) await refreshTables();
    if (anew) await writeState(copiesLanguage, language());
    return 'ok';
  } catch (e) {
    if (e instanceof Offline) return 'offline';
    if (e instanceof ApiError && (e.status === 401 || e.status === 403)) return 'signed out';
    if (e instanceof ApiError) return 'offline'; // the server is in trouble; what we have stays on screen
    throw e;
  }
}

/** Tells the breeders how far their messages have come, where the service does not know it yet. */
async function acknowledge(cases: readonly CaseJson[]): Promise<void> {
  const { logs, read } = await readKnown();
  for (const c of cases) {
    const { got, opened } = cameTo(c, logs.get(c.animal?.name ?? '') ?? [], read.get(c.name ?? ''));
    const isNew = (at: string | undefined, known: string | undefined) =>
      at !== undefined && !(Date.parse(at) <= Date.parse(known ?? ''));
    if (!isNew(got, c.keeperGotTime) && !isNew(opened, c.keeperReadTime)) continue;
    try {
      await call('POST', `/v1/${c.name}:acknowledge`, { gotTime: got, ...(opened && { readTime: opened }) }, asKeeper);
    } catch (e) {
      if (!(e instanceof ApiError)) throw e; // a receipt that is not taken is no reason to say that anything is wrong
    }
  }
}

/** When the newest of the breeder's messages that are here came to the service, and the newest of those that were opened. */
export function cameTo(
  c: CaseJson,
  log: readonly EntryJson[],
  readUntil: string | undefined,
): { got: string | undefined; opened: string | undefined } {
  let got: string | undefined;
  let opened: string | undefined;
  const later = (a: string | undefined, b: string) => (a && Date.parse(a) >= Date.parse(b) ? a : b);
  for (const e of log) {
    if (!e.message || e.case !== c.name || e.by === 'ACTOR_KIND_KEEPER' || !e.receiveTime) continue;
    got = later(got, e.receiveTime);
    if (Date.parse(e.happenTime ?? '') <= Date.parse(readUntil ?? '')) opened = later(opened, e.receiveTime);
  }
  return { got, opened };
}

const byName = (cases: readonly CaseJson[]) => [...cases].sort((a, b) => byLetters(a.name, b.name));

/** Most often nothing is new, and a phone writes slowly: what is there already stays as it is. */
function same(a: unknown, b: unknown): boolean {
  return JSON.stringify(a) === JSON.stringify(b);
}

async function refreshCase(c: CaseJson, known: Known, anew: boolean): Promise<void> {
  const name = c.name ?? '';
  const animal = c.animal?.name ?? '';
  const log: EntryJson[] = [];
  let page = '';
  do {
    const q = `pageSize=500${page && `&pageToken=${encodeURIComponent(page)}`}`;
    const part = await get<ListEntriesResponseJson>(`/v1/${animal}/entries?${q}`);
    log.push(...(part.entries ?? []));
    page = part.nextPageToken ?? '';
  } while (page);
  if (!same(known.logs.get(animal), log)) await keepLog(animal, log);
  const { course } = await get<GetCourseResponseJson>(`/v1/${name}/course`);
  if (course && !same(known.courses.get(name), course)) await keepCourse(name, course);
  const { guide } = await get<GetGuideResponseJson>(`/v1/${name}/guide`);
  if (guide && !same(known.guides.get(name), guide)) await keepGuide(name, guide);
  const record = anew ? undefined : known.records.get(name);
  // Copies from before the record said all that is on paper have no first days.
  if (!record?.record?.firstDays) {
    // A case has the id of the handover that it follows up.
    const { handover } = await get<GetHandoverResponseJson>(`/v1/${name.replace('/cases/', '/handovers/')}`);
    if (handover) {
      await keepRecord(name, handover);
      await cardCameIn(name, handover.claimTime);
    }
  }
}

async function refreshTables(): Promise<void> {
  const [signs, points] = await Promise.all([
    get<ListSignsResponseJson>('/v1/signs'),
    get<ListSetupPointsResponseJson>('/v1/setupPoints'),
  ]);
  await keepTables(signs.signs ?? [], points.points ?? []);
}
