import { ApiError, asKeeper, call, Offline } from '../api/client';
import type {
  CaseJson,
  EntryJson,
  GetCaseResponseJson,
  GetCourseResponseJson,
  GetHandoverResponseJson,
  ListEntriesResponseJson,
  ListKeeperCasesResponseJson,
  ListSetupPointsResponseJson,
  ListSignsResponseJson,
} from '../core/contract';
import { keepCases, keepCourse, keepLog, keepRecord, keepTables, readKnown, tablesAge } from '../store/copies';

const get = <T>(path: string) => call<T>('GET', path, undefined, asKeeper);

const tablesHold = 24 * 3_600_000;

/** Fetches the keeper's cases, logs, records and the tables into the database, from which the screens draw. */
export async function refresh(): Promise<'ok' | 'offline' | 'signed out'> {
  try {
    const { cases = [] } = await get<ListKeeperCasesResponseJson>('/v1/keepers/me/cases');
    const known = await readKnown();
    const whole = await Promise.all(cases.map((c) => get<GetCaseResponseJson>(`/v1/${c.name}`)));
    await keepCases(whole.map((w, i) => w.case ?? (cases[i] as CaseJson)));
    await Promise.all(cases.map((c) => refreshCase(c, known.records.has(c.name ?? ''))));
    if (cases.length > 0 && Date.now() - (await tablesAge()) > tablesHold) await refreshTables();
    return 'ok';
  } catch (e) {
    if (e instanceof Offline) return 'offline';
    if (e instanceof ApiError && (e.status === 401 || e.status === 403)) return 'signed out';
    if (e instanceof ApiError) return 'offline'; // the server is in trouble; what we have stays on screen
    throw e;
  }
}

async function refreshCase(c: CaseJson, hasRecord: boolean): Promise<void> {
  const animal = c.animal?.name ?? '';
  const log: EntryJson[] = [];
  let page = '';
  do {
    const q = `pageSize=500${page && `&pageToken=${encodeURIComponent(page)}`}`;
    const part = await get<ListEntriesResponseJson>(`/v1/${animal}/entries?${q}`);
    log.push(...(part.entries ?? []));
    page = part.nextPageToken ?? '';
  } while (page);
  await keepLog(animal, log);
  const { course } = await get<GetCourseResponseJson>(`/v1/${c.name}/course`);
  if (course) await keepCourse(c.name ?? '', course);
  if (!hasRecord) {
    // A case has the id of the handover that it follows up.
    const { handover } = await get<GetHandoverResponseJson>(`/v1/${c.name?.replace('/cases/', '/handovers/')}`);
    if (handover) await keepRecord(c.name ?? '', handover);
  }
}

async function refreshTables(): Promise<void> {
  const [signs, points] = await Promise.all([
    get<ListSignsResponseJson>('/v1/signs'),
    get<ListSetupPointsResponseJson>('/v1/setupPoints'),
  ]);
  await keepTables(signs.signs ?? [], points.points ?? []);
}
