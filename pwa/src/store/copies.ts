import type {
  CaseJson,
  CourseJson,
  EntryJson,
  GetMeResponseJson,
  GuideJson,
  HandoverJson,
  SetupPointJson,
  SignInfoJson,
  StockAnimalJson,
  WaitingCardJson,
} from '../core/contract';
import { byLetters } from '../core/ids';
import { type Item, type LastKnown, type Tables, withDb } from './db';

/** What this phone knows: the server's copies, and what it has not sent yet. */
export interface Known {
  cases: CaseJson[];
  logs: Map<string, EntryJson[]>;
  records: Map<string, HandoverJson>;
  courses: Map<string, CourseJson>;
  guides: Map<string, GuideJson>;
  signs: SignInfoJson[];
  points: SetupPointJson[];
  outbox: Item[];
  /** Cards that were taken on before their sale came in. */
  waiting: WaitingCardJson[];
  /** By case: when the newest of the breeder's messages that were read here was written. */
  read: Map<string, string>;
}

const readKey = 'read ';
const waitingKey = 'waiting cards';

/** Reads all of it in one transaction: a keeper has a few animals, so this is small. */
export function readKnown(): Promise<Known> {
  return withDb(async (db) => {
    const tx = db.transaction(
      ['cases', 'logs', 'records', 'courses', 'guides', 'tables', 'outbox', 'state'],
      'readonly',
    );
    const all = async <T>(store: { getAllKeys(): Promise<string[]>; getAll(): Promise<T[]> }) => {
      const [keys, values] = await Promise.all([store.getAllKeys(), store.getAll()]);
      return new Map(keys.map((k, i) => [k, values[i] as T]));
    };
    const marks = IDBKeyRange.bound(readKey, `${readKey}\uffff`);
    const [cases, logs, records, courses, guides, signs, points, outbox, waiting, readKeys, readValues] =
      await Promise.all([
        tx.objectStore('cases').getAll(),
        all(tx.objectStore('logs')),
        all(tx.objectStore('records')),
        all(tx.objectStore('courses')),
        all(tx.objectStore('guides')),
        tx.objectStore('tables').get('signs'),
        tx.objectStore('tables').get('points'),
        tx.objectStore('outbox').getAll(),
        tx.objectStore('state').get(waitingKey),
        tx.objectStore('state').getAllKeys(marks),
        tx.objectStore('state').getAll(marks),
      ]);
    await tx.done;
    cases.sort((a, b) => byLetters(b.handoverTime, a.handoverTime));
    const read = new Map(readKeys.map((k, i) => [k.slice(readKey.length), readValues[i] as string]));
    return {
      cases,
      logs,
      records,
      courses,
      guides,
      signs: signs?.signs ?? [],
      points: points?.points ?? [],
      outbox: outbox.filter((i) => i.as === 'keeper'),
      waiting: (waiting as WaitingCardJson[] | undefined) ?? [],
      read,
    };
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
      byLetters(b.entry.name, a.entry.name),
  );
}

/** Lines that count: neither corrected nor taken back, and no withdrawal themselves. */
export function current(lines: readonly Line[]): Line[] {
  return lines.filter((l) => !l.entry.replacedBy && !l.entry.withdrawal);
}

/**
 * The breeder's messages of a case that nobody has read, newest first: not on this phone, nor on another of the
 * keeper's, as the service knows it.
 */
export function unreadOf(lines: readonly Line[], c: CaseJson, read: ReadonlyMap<string, string>): EntryJson[] {
  const here = Date.parse(read.get(c.name ?? '') ?? '') || 0;
  const elsewhere = Date.parse(c.keeperReadTime ?? '') || 0;
  return lines
    .map((l) => l.entry)
    .filter((e) => e.message && e.case === c.name && e.by !== 'ACTOR_KIND_KEEPER' && !e.replacedBy)
    .filter((e) => Date.parse(e.happenTime ?? '') > here && !(Date.parse(e.receiveTime ?? '') <= elsewhere));
}

export function waitingCards(): Promise<WaitingCardJson[]> {
  return withDb(async (db) => ((await db.get('state', waitingKey)) as WaitingCardJson[] | undefined) ?? []);
}

/** The cards that wait for their sale; none, once all have come. */
export function keepWaiting(cards: readonly WaitingCardJson[]): Promise<void> {
  return withDb(async (db) => {
    await db.put('state', cards, waitingKey);
  });
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
    const tx = db.transaction(['cases', 'logs', 'records', 'courses', 'guides'], 'readwrite');
    const names = new Set(cases.map((c) => c.name ?? ''));
    const animals = new Set(cases.map((c) => c.animal?.name ?? ''));
    for (const key of await tx.objectStore('cases').getAllKeys()) {
      if (names.has(key)) continue;
      await tx.objectStore('cases').delete(key);
      await tx.objectStore('records').delete(key);
      await tx.objectStore('courses').delete(key);
      await tx.objectStore('guides').delete(key);
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

export function keepGuide(caseName: string, guide: GuideJson): Promise<void> {
  return withDb(async (db) => {
    await db.put('guides', guide, caseName);
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

/** Everything of this keeper leaves the phone; what is a breeder's stays. */
export function forgetAll(): Promise<void> {
  return withDb(async (db) => {
    const stores = ['photos', 'cases', 'records', 'logs', 'courses', 'guides', 'drafts'] as const;
    const tx = db.transaction([...stores, 'outbox', 'state'] as const, 'readwrite', { durability: 'strict' });
    for (const s of stores) await tx.objectStore(s).clear();
    for await (const cursor of tx.objectStore('outbox')) if (cursor.value.as === 'keeper') await cursor.delete();
    for await (const cursor of tx.objectStore('state')) if (!breederKeys.includes(cursor.key)) await cursor.delete();
    await tx.done;
  });
}

/** The stock book of one breeder as this device last saw it. */
export interface StockCopy {
  /** When it was fetched, ms. */
  at: number;
  /** In the service's order, with what is unsent laid over. */
  animals: StockAnimalJson[];
}

const meKey = 'breeder me';
const stockAtKey = 'breeder stock at';
export const cardsKey = 'breeder cards';
const breederKeys: string[] = [meKey, stockAtKey, cardsKey];

/** The breeder's person who was signed in here when the service last said so. */
export function keptBreeder(): Promise<GetMeResponseJson | undefined> {
  return withDb(async (db) => (await db.get('state', meKey)) as GetMeResponseJson | undefined);
}

/** Somebody signed in. The copy that another person's sign-in left goes in the same transaction. */
export function keepBreeder(me: GetMeResponseJson): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction(['state', 'stock'], 'readwrite', { durability: 'strict' });
    const state = tx.objectStore('state');
    const was = (await state.get(meKey)) as GetMeResponseJson | undefined;
    if (was?.breeder !== me.breeder || was?.userName !== me.userName) {
      await tx.objectStore('stock').clear();
      await state.delete(stockAtKey);
      await state.delete(cardsKey);
    }
    await state.put(me, meKey);
    await tx.done;
  });
}

/** Nobody is signed in as a breeder any more: the copy goes. What is unsent waits for that breeder. */
export function forgetBreeder(): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction(['state', 'stock'], 'readwrite', { durability: 'strict' });
    await tx.objectStore('stock').clear();
    for (const key of breederKeys) await tx.objectStore('state').delete(key);
    await tx.done;
  });
}

/** Takes the whole stock book of the breeder in place of what was there, unless they have gone meanwhile. */
export function keepStock(breeder: string, animals: readonly StockAnimalJson[], now = Date.now()): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction(['state', 'stock'], 'readwrite');
    const me = (await tx.objectStore('state').get(meKey)) as GetMeResponseJson | undefined;
    if (me?.breeder === breeder) {
      const rows = tx.objectStore('stock');
      await rows.clear();
      for (const [at, stock] of animals.entries()) await rows.put({ at, stock }, stock.animal?.name ?? '');
      await tx.objectStore('state').put(now, stockAtKey);
    }
    await tx.done;
  });
}

/** The copy of this breeder; undefined when there is none. */
export function readStock(breeder: string): Promise<StockCopy | undefined> {
  return withDb(async (db) => {
    const tx = db.transaction(['state', 'stock', 'outbox'], 'readonly');
    const mine = IDBKeyRange.bound(`${breeder}/`, `${breeder}/\uffff`);
    const [at, rows, outbox] = await Promise.all([
      tx.objectStore('state').get(stockAtKey),
      tx.objectStore('stock').getAll(mine),
      tx.objectStore('outbox').getAll(),
    ]);
    await tx.done;
    if (typeof at !== 'number') return undefined;
    const unsent = new Map<string, Item[]>();
    for (const i of outbox) {
      if (i.as !== 'breeder' || (i.state === 'dead' && i.entry)) continue;
      unsent.set(i.animal, [...(unsent.get(i.animal) ?? []), i]);
    }
    rows.sort((a, b) => a.at - b.at);
    const animals = rows.map(({ stock }) => (unsent.get(stock.animal?.name ?? '') ?? []).reduce(withItem, stock));
    return { at, animals };
  });
}

/** A sale counts also while it needs the person: until they decide, the animal may be with a buyer. */
function withItem(s: StockAnimalJson, i: Item): StockAnimalJson {
  if (i.sale) return { ...s, away: !i.undone };
  if (i.last) return withLast(s, i.last);
  return i.entry ? withEntry(s, i.entry) : s;
}

/** The breeder's blank cards, by what a scanned code is compared with. */
export interface CardCopy {
  breeder: string;
  /** When it was fetched, ms. */
  at: number;
  /** Of HMAC-SHA256. */
  key: Uint8Array<ArrayBuffer>;
  blank: { mark: string; number: number }[];
}

/** Takes the list of blank cards in place of what was there, unless the breeder has gone meanwhile. */
export function keepCards(cards: CardCopy): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction('state', 'readwrite');
    const me = (await tx.store.get(meKey)) as GetMeResponseJson | undefined;
    if (me?.breeder === cards.breeder) await tx.store.put(cards, cardsKey);
    await tx.done;
  });
}

/** The copy of this breeder, without the cards that went with a sale that is not sent yet. */
export function readCards(breeder: string): Promise<CardCopy | undefined> {
  return withDb(async (db) => {
    const tx = db.transaction(['state', 'outbox'], 'readonly');
    const [cards, outbox] = await Promise.all([
      tx.objectStore('state').get(cardsKey) as Promise<CardCopy | undefined>,
      tx.objectStore('outbox').getAll(),
    ]);
    await tx.done;
    if (cards?.breeder !== breeder) return undefined;
    return outbox.reduce((c, i) => (i.card ? cardWent(c, i.card) : c), cards);
  });
}

/** The copy once this card went with an animal. */
export function cardWent(cards: CardCopy, number: number): CardCopy {
  return { ...cards, blank: cards.blank.filter((c) => c.number !== number) };
}

/** What of it an entry can change. */
export function lastKnown({ massG, weighTime, lastOffer, lastMeal }: StockAnimalJson): LastKnown {
  return {
    ...(massG !== undefined && { massG }),
    ...(weighTime !== undefined && { weighTime }),
    ...(lastOffer !== undefined && { lastOffer }),
    ...(lastMeal !== undefined && { lastMeal }),
  };
}

/** What the stock book said before an entry that was taken back. */
export function withLast(s: StockAnimalJson, last: LastKnown): StockAnimalJson {
  const { massG: _, weighTime: __, lastOffer: ___, lastMeal: ____, ...rest } = s;
  return { ...rest, ...last };
}

/** What the stock book says once this entry is in the log. Corrections are left to the service: they may uncover an older value. */
export function withEntry(s: StockAnimalJson, e: EntryJson): StockAnimalJson {
  if (e.replaces) return s;
  const since = (time: string | undefined) => Date.parse(e.happenTime ?? '') >= (Date.parse(time ?? '') || 0);
  if (e.weighIn?.massG !== undefined && since(s.weighTime))
    return { ...s, massG: e.weighIn.massG, ...(e.happenTime && { weighTime: e.happenTime }) };
  if (e.offer && since(s.lastOffer?.happenTime)) {
    const ate = e.offer.result === 'OFFER_RESULT_EATEN' && since(s.lastMeal?.happenTime);
    return { ...s, lastOffer: e, ...(ate && { lastMeal: e }) };
  }
  return s;
}

export function keepTable<K extends keyof Tables>(key: K, rows: Tables[K], now = Date.now()): Promise<void> {
  return withDb(async (db) => {
    await db.put('tables', { at: now, [key]: rows }, key);
  });
}

export function readTable<K extends keyof Tables>(key: K): Promise<Tables[K] | undefined> {
  return withDb(async (db) => (await db.get('tables', key))?.[key] as Tables[K] | undefined);
}
