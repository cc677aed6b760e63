import type { CaseJson, CourseJson, EntryJson, HandoverJson, SetupPointJson, SignInfoJson } from '../core/contract';
import { type Item, withDb } from './db';

/** What this phone knows: the server's copies, and what it has not sent yet. */
export interface Known {
  cases: CaseJson[];
  logs: Map<string, EntryJson[]>;
  records: Map<string, HandoverJson>;
  courses: Map<string, CourseJson>;
  signs: SignInfoJson[];
  points: SetupPointJson[];
  outbox: Item[];
  /** By case: when the newest of the breeder's messages that were read here was written. */
  read: Map<string, string>;
}

const readKey = 'read ';

/** Reads all of it in one transaction: a keeper has a few animals, so this is small. */
export function readKnown(): Promise<Known> {
  return withDb(async (db) => {
    const tx = db.transaction(['cases', 'logs', 'records', 'courses', 'tables', 'outbox', 'state'], 'readonly');
    const all = async <T>(store: { getAllKeys(): Promise<string[]>; getAll(): Promise<T[]> }) => {
      const [keys, values] = await Promise.all([store.getAllKeys(), store.getAll()]);
      return new Map(keys.map((k, i) => [k, values[i] as T]));
    };
    const marks = IDBKeyRange.bound(readKey, `${readKey}\uffff`);
    const [cases, logs, records, courses, signs, points, outbox, readKeys, readValues] = await Promise.all([
      tx.objectStore('cases').getAll(),
      all(tx.objectStore('logs')),
      all(tx.objectStore('records')),
      all(tx.objectStore('courses')),
      tx.objectStore('tables').get('signs'),
      tx.objectStore('tables').get('points'),
      tx.objectStore('outbox').getAll(),
      tx.objectStore('state').getAllKeys(marks),
      tx.objectStore('state').getAll(marks),
    ]);
    await tx.done;
    cases.sort((a, b) => (b.handoverTime ?? '').localeCompare(a.handoverTime ?? ''));
    const read = new Map(readKeys.map((k, i) => [k.slice(readKey.length), readValues[i] as string]));
    return { cases, logs, records, courses, signs: signs?.signs ?? [], points: points?.points ?? [], outbox, read };
  });
}

/** One line of the log as the person should see it now. */
export interface Line {
  entry: EntryJson;
  /** Of the outbox when it has not arrived. */
  item?: Item;
}

/** The server's log with the unsent entries laid over it, newest first. */
export function laidOver(log: readonly EntryJson[], outbox: readonly Item[], animal: string): Line[] {
  const unsent = outbox.filter((i) => i.animal === animal && i.entry);
  const replacedBy = new Map(
    unsent.filter((i) => i.entry?.replaces).map((i) => [i.entry?.replaces ?? '', `${animal}/entries/${i.id}`]),
  );
  const known = new Set(log.map((e) => e.name));
  const lines: Line[] = log.map((entry) => ({ entry }));
  for (const item of unsent) {
    const name = `${animal}/entries/${item.id}`;
    if (known.has(name)) continue; // it arrived; only the answer was lost
    lines.push({ entry: { ...item.entry, name, by: 'ACTOR_KIND_KEEPER' }, item });
  }
  for (const line of lines) {
    const by = replacedBy.get(line.entry.name ?? '');
    if (by && !line.entry.replacedBy) line.entry = { ...line.entry, replacedBy: by };
  }
  return lines.sort(
    (a, b) =>
      Date.parse(b.entry.happenTime ?? '') - Date.parse(a.entry.happenTime ?? '') ||
      (b.entry.name ?? '').localeCompare(a.entry.name ?? ''),
  );
}

/** Lines that count: neither corrected nor taken back, and no withdrawal themselves. */
export function current(lines: readonly Line[]): Line[] {
  return lines.filter((l) => !l.entry.replacedBy && !l.entry.withdrawal);
}

/** The breeder's messages of a case that nobody has read on this phone, newest first. */
export function unreadOf(lines: readonly Line[], caseName: string, read: ReadonlyMap<string, string>): EntryJson[] {
  const until = Date.parse(read.get(caseName) ?? '') || 0;
  return lines
    .map((l) => l.entry)
    .filter((e) => e.message && e.case === caseName && e.by !== 'ACTOR_KIND_KEEPER' && !e.replacedBy)
    .filter((e) => Date.parse(e.happenTime ?? '') > until);
}

/** They were read, up to the one written at this time. */
export function markRead(caseName: string, happenTime: string): Promise<void> {
  return withDb(async (db) => {
    await db.put('state', happenTime, readKey + caseName);
  });
}

/** Takes the keeper's cases as the server has them; what is no longer theirs goes, their unsent entries stay. */
export function keepCases(cases: readonly CaseJson[]): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction(['cases', 'logs', 'records', 'courses'], 'readwrite');
    const names = new Set(cases.map((c) => c.name ?? ''));
    const animals = new Set(cases.map((c) => c.animal?.name ?? ''));
    for (const key of await tx.objectStore('cases').getAllKeys()) {
      if (names.has(key)) continue;
      await tx.objectStore('cases').delete(key);
      await tx.objectStore('records').delete(key);
      await tx.objectStore('courses').delete(key);
    }
    for (const key of await tx.objectStore('logs').getAllKeys()) {
      if (!animals.has(key)) await tx.objectStore('logs').delete(key);
    }
    for (const c of cases) await tx.objectStore('cases').put(c, c.name ?? '');
    await tx.done;
  });
}

/** After a claim: case and record together, so that everything is there offline from then on. */
export function keepClaimed(c: CaseJson, record: HandoverJson | undefined): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction(['cases', 'records'], 'readwrite', { durability: 'strict' });
    await tx.objectStore('cases').put(c, c.name ?? '');
    if (record) await tx.objectStore('records').put(record, c.name ?? '');
    await tx.done;
  });
}

export function keepRecord(caseName: string, record: HandoverJson): Promise<void> {
  return withDb(async (db) => {
    await db.put('records', record, caseName);
  });
}

export function keepLog(animal: string, log: EntryJson[]): Promise<void> {
  return withDb(async (db) => {
    await db.put('logs', log, animal);
  });
}

export function keepCourse(caseName: string, course: CourseJson): Promise<void> {
  return withDb(async (db) => {
    await db.put('courses', course, caseName);
  });
}

export function keepTables(signs: SignInfoJson[], points: SetupPointJson[], now = Date.now()): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction('tables', 'readwrite');
    await tx.store.put({ at: now, signs }, 'signs');
    await tx.store.put({ at: now, points }, 'points');
    await tx.done;
  });
}

/** When the tables were fetched, ms; 0 for never. */
export function tablesAge(): Promise<number> {
  return withDb(async (db) => (await db.get('tables', 'points'))?.at ?? 0);
}

/** Everything of this person leaves the phone. */
export function forgetAll(): Promise<void> {
  return withDb(async (db) => {
    const stores = ['outbox', 'photos', 'cases', 'records', 'logs', 'courses', 'drafts', 'state'] as const;
    const tx = db.transaction(stores, 'readwrite', { durability: 'strict' });
    for (const s of stores) await tx.objectStore(s).clear();
    await tx.done;
  });
}
