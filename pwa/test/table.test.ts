// The breeder's side of the outbox, and the copy of the stock book.
import 'fake-indexeddb/auto';
import { createHmac } from 'node:crypto';
import { openDB } from 'idb';
import { beforeEach, expect, test, vi } from 'vitest';
import { asKeeper } from '../src/api/client';
import type { EntryJson } from '../src/core/contract';
import { forgetAll, forgetBreeder, keepBreeder, keepCards, keepStock, readKnown, readStock } from '../src/store/copies';
import { type Item, readDraft, useDatabase } from '../src/store/db';
import { allItems, changeSale, hurry, saveEntry, saveSale, undoEntry, undoSale } from '../src/store/outbox';
import { flush } from '../src/sync/flush';
import { me } from '../src/ui/breeder/session';
import { cardOf, logAsBreeder, logInRun, sell, send, waiting } from '../src/ui/breeder/table';

const fern = { role: 'breeder', breeder: 'breeders/fern', userName: 'Ada' };
const other = { role: 'breeder', breeder: 'breeders/other', userName: 'Bo' };
const animal = 'breeders/fern/animals/a';
const stock = [
  { animal: { name: 'breeders/fern/animals/b', displayName: 'Birch' } },
  { animal: { name: animal, displayName: 'Alder' }, massG: 80, weighTime: '2026-03-01T10:00:00Z' },
];
const weighed = (massG: number, more = {}) => ({ happenTime: '2026-03-08T10:00:00Z', weighIn: { massG }, ...more });

/** What arrived: who sent it, and the body. */
let got: { as: string; id: string; path: string; body: unknown }[];
let answer: (id: string) => Response | undefined;
let n = 0;

function json(status: number, body: unknown): Response {
  return new Response(JSON.stringify(body), { status, headers: { 'Content-Type': 'application/json' } });
}

function refusal(reason: string): Response {
  const info = { '@type': 'type.googleapis.com/google.rpc.ErrorInfo', reason, metadata: {} };
  const bad = {
    '@type': 'type.googleapis.com/google.rpc.BadRequest',
    fieldViolations: [{ field: 'entry.weigh_in.mass_g', description: 'Look again.' }],
  };
  return json(400, { code: 9, message: 'Look again.', details: [info, bad] });
}

beforeEach(async () => {
  useDatabase(`table-${n++}`);
  got = [];
  answer = () => undefined;
  vi.stubGlobal('navigator', { onLine: true });
  vi.stubGlobal('fetch', async (path: string, init: RequestInit) => {
    const url = new URL(path, 'http://localhost');
    const id = url.searchParams.get('entryId') ?? url.pathname.split('/').at(-1) ?? '';
    const early = answer(id);
    if (early) return early;
    const body = typeof init.body === 'string' ? JSON.parse(init.body) : {};
    got.push({ as: new Headers(init.headers).get('X-Warmhand') ?? '', id, path, body });
    if (url.pathname.endsWith('/handovers')) return json(200, { handover: { name: 'breeders/fern/handovers/h' } });
    const { requests } = body as { requests?: { entryId: string; entry: EntryJson }[] };
    if (requests)
      return json(200, { entries: requests.map((r) => ({ ...r.entry, name: `${animal}/entries/${r.entryId}` })) });
    return json(200, { entry: { ...body, name: `${animal}/entries/${id}` } });
  });
  me.value = fern;
  await keepBreeder(fern);
  await keepStock('breeders/fern', stock, 1000);
});

const noNetwork = () => {
  throw new TypeError('Failed to fetch');
};

test('online: answered at once, as the breeder, and the copy knows it', async () => {
  const logged = await logAsBreeder(animal, weighed(84), { id: 'one' });
  expect(logged.entry).toMatchObject({ name: `${animal}/entries/one`, weighIn: { massG: 84 } });
  expect(got).toMatchObject([{ as: 'breeder', id: 'one', body: weighed(84) }]);
  expect(await allItems()).toEqual([]);
  expect((await readStock('breeders/fern'))?.animals[1]).toMatchObject({
    massG: 84,
    weighTime: '2026-03-08T10:00:00Z',
  });
});

test('without network it is kept, seen in the copy, and goes once when pressed again', async () => {
  answer = noNetwork;
  expect(await logAsBreeder(animal, weighed(84), { id: 'one' })).toEqual({ kept: true });
  expect(await logAsBreeder(animal, weighed(84), { id: 'one' })).toEqual({ kept: true });
  expect(waiting.value).toMatchObject([{ id: 'one', as: 'breeder', state: 'queued' }]);
  expect((await readStock('breeders/fern'))?.animals[1]?.massG).toBe(84);
  expect((await readKnown()).outbox).toEqual([]); // it is nothing of the keeper's
  answer = () => undefined;
  await send();
  expect(got.map((g) => g.id)).toEqual(['one']);
  expect(waiting.value).toEqual([]);
});

test('refused while the person is there: said with its field, and nothing is left', async () => {
  answer = () => refusal('BAD_FIELD');
  const error = await logAsBreeder(animal, weighed(84)).catch((e: unknown) => e);
  expect(error).toMatchObject({ reason: 'BAD_FIELD', fields: [{ field: 'entry.weigh_in.mass_g' }] });
  expect(await allItems()).toEqual([]);
});

test('refused later: kept, and needs the person', async () => {
  answer = noNetwork;
  await logAsBreeder(animal, weighed(84), { id: 'one' });
  answer = () => refusal('BAD_FIELD');
  await send();
  expect(waiting.value).toMatchObject([{ id: 'one', state: 'dead', error: { message: 'Look again.' } }]);
});

test('a slip is asked about on the device; confirmed, it is saved', async () => {
  vi.stubGlobal('navigator', { onLine: false });
  await expect(logAsBreeder(animal, weighed(840))).rejects.toMatchObject({ reason: 'LIKELY_SLIP' });
  expect(await allItems()).toEqual([]);
  expect(await logAsBreeder(animal, weighed(840, { confirmed: true }))).toEqual({ kept: true });
});

test('keeper and breeder on one device: each goes with its own session', async () => {
  const c = { name: 'breeders/fern/cases/c', animal: { name: animal } };
  await saveEntry({ case: c, entry: weighed(82), id: 'keeper' });
  await saveEntry({ as: 'breeder', case: { name: '', animal: { name: animal } }, entry: weighed(83), id: 'breeder' });
  await flush();
  expect(new Map(got.map((g) => [g.id, g.as]))).toEqual(
    new Map([
      ['breeder', 'breeder'],
      ['keeper', asKeeper.headers['X-Warmhand']],
    ]),
  );
});

test('another sign-in sees no copy and sends nothing of the first; the first sends it when back', async () => {
  answer = noNetwork;
  await logAsBreeder(animal, weighed(84), { id: 'one' });
  answer = () => undefined;
  me.value = other;
  await keepBreeder(other);
  await keepStock('breeders/fern', stock); // an answer that was still on its way
  expect(await readStock('breeders/fern')).toBeUndefined();
  await send();
  expect(got).toEqual([]);
  expect(waiting.value).toEqual([]);
  me.value = fern;
  await keepBreeder(fern);
  await send();
  expect(got.map((g) => g.id)).toEqual(['one']);
});

test('signing out deletes the copy; a keeper who leaves takes nothing of the breeder along', async () => {
  answer = noNetwork;
  await logAsBreeder(animal, weighed(84), { id: 'one' });
  await forgetAll();
  expect((await readStock('breeders/fern'))?.animals.map((s) => s.animal?.displayName)).toEqual(['Birch', 'Alder']);
  await forgetBreeder();
  expect(await readStock('breeders/fern')).toBeUndefined();
  expect((await allItems()).map((i) => i.id)).toEqual(['one']);
});

test('a database of the first version: everything that waited in it goes on as the keeper’s', async () => {
  const name = `table-old-${n}`;
  const old = await openDB(name, 1, {
    upgrade(db) {
      const outbox = db.createObjectStore('outbox', { keyPath: 'seq', autoIncrement: true });
      outbox.createIndex('id', 'id', { unique: true });
      outbox.createIndex('animal', 'animal');
      db.createObjectStore('photos', { keyPath: 'id' });
      for (const s of ['cases', 'records', 'logs', 'courses', 'tables', 'drafts', 'state']) db.createObjectStore(s);
    },
  });
  const c = 'breeders/fern/cases/c';
  const item = { version: 1, animal, case: c, state: 'queued', tries: 0, nextAt: 0, savedAt: 1 };
  const photo = { ...item, id: 'photo', method: 'PUT', path: `/v1/${c}/photos/photo`, after: [] };
  const entry = { ...item, id: 'entry', method: 'POST', path: `/v1/${animal}/entries?entryId=entry`, after: ['photo'] };
  const dead = {
    ...entry,
    id: 'dead',
    after: [],
    state: 'dead',
    error: { status: 400, reason: 'X', message: '', meta: {} },
  };
  await old.add('outbox', photo);
  await old.add('outbox', { ...entry, entry: weighed(84) });
  await old.add('outbox', { ...dead, entry: weighed(85) });
  await old.add('photos', { id: 'photo', type: 'image/jpeg', bytes: new Uint8Array([1, 2, 3]).buffer });
  await old.add('drafts', 'words', 'a draft');
  await old.add('cases', { name: c }, c);
  old.close();
  useDatabase(name);
  expect(await allItems()).toEqual([
    { ...photo, seq: 1, as: 'keeper' },
    { ...entry, seq: 2, as: 'keeper', entry: weighed(84) },
    { ...dead, seq: 3, as: 'keeper', entry: weighed(85) },
  ]);
  expect(await readDraft('a draft')).toBe('words');
  expect((await readKnown()).cases).toEqual([{ name: c }]);
  await flush();
  expect(got.map((g) => [g.id, g.as])).toEqual([
    ['photo', 'keeper'],
    ['entry', 'keeper'],
  ]);
  expect((await allItems()).map((i) => i.id)).toEqual(['dead']);
});

const handed = { animal, handoverTime: '2026-03-08T10:00:00.000Z', cardCode: 'K7QM4-2XR90' };
const away = async () => (await readStock('breeders/fern'))?.animals[1]?.away;
/** The requests that arrived, by their path. */
const paths = () => got.map((g) => g.path.replace(/requestId=.*/, 'requestId'));
const sale = '/v1/breeders/fern/handovers?requestId';
const revoke = '/v1/breeders/fern/handovers/h:revoke';

test('a sale that never went out is taken back without a trace', async () => {
  vi.stubGlobal('navigator', { onLine: false });
  const item = await sell({ sale: handed, card: 1 }, 'draft');
  expect(await away()).toBe(true);
  await undoSale(item);
  expect(await allItems()).toEqual([]);
  expect(await away()).toBeFalsy();
  await flush();
  expect(got).toEqual([]);
});

test('a sale whose answer was lost is taken back by asking once more which it was', async () => {
  const item = await saveSale({ sale: handed, card: 1 }, 'draft');
  answer = noNetwork;
  await flush();
  await undoSale(item);
  expect(await away()).toBe(false);
  answer = () => undefined;
  await hurry();
  await flush();
  expect(paths()).toEqual([sale, revoke]);
  expect(await allItems()).toEqual([]);
  expect(await away()).toBe(false);
});

test('a sale that was taken back while it went out is revoked after', async () => {
  const item = await saveSale({ sale: handed, card: 1 }, 'draft');
  const before = answer;
  answer = () => {
    answer = before;
    taken = undoSale(item);
    return undefined;
  };
  let taken: Promise<void> | undefined;
  await flush();
  await taken;
  await flush();
  expect(paths()).toEqual([sale, sale, revoke]);
  expect(new Set(got.slice(0, 2).map((g) => g.path)).size).toBe(1); // the same request
  expect(await allItems()).toEqual([]);
});

test('a sale that has arrived is taken back, also without network', async () => {
  const item = await saveSale({ sale: handed, card: 1 }, 'draft');
  await flush();
  expect(await allItems()).toEqual([]);
  expect(await away()).toBe(true);
  await undoSale(item);
  expect(await away()).toBe(false);
  await flush();
  expect(paths()).toEqual([sale, sale, revoke]);
  expect(await away()).toBe(false);
});

test('a refused sale waits for a person, who says which card it was', async () => {
  const item = await saveSale({ sale: handed, card: 1 }, 'draft');
  answer = () => refusal('CARD_USED');
  await flush();
  const [dead] = await allItems();
  expect(dead).toMatchObject({ state: 'dead', error: { reason: 'CARD_USED' } });
  expect(await away()).toBe(true);
  answer = () => undefined;
  await changeSale(dead as Item, { sale: { ...handed, cardCode: '00000-00000' }, card: 2 });
  await flush();
  expect(got).toHaveLength(1);
  expect(got[0]).toMatchObject({ as: 'breeder', body: { ...handed, cardCode: '00000-00000' } });
  expect(got[0]?.path).not.toContain(item.id);
});

test('a blank card is known by its mark, until it went with a sale', async () => {
  const key = new Uint8Array(32).fill(7);
  const mark = createHmac('sha256', key).update(handed.cardCode).digest('hex');
  expect(await cardOf(handed.cardCode)).toBe('not known');
  await keepCards({ breeder: 'breeders/fern', at: 1, key, blank: [{ mark, number: 12 }] });
  expect(await cardOf(handed.cardCode)).toMatchObject({ number: 12 });
  expect(await cardOf('00000-00000')).toBe('not blank');
  await saveSale({ sale: handed, card: 12 }, 'draft');
  expect(await cardOf(handed.cardCode)).toBe('not blank');
  await flush();
  expect(await cardOf(handed.cardCode)).toBe('not blank');
  await keepBreeder(other);
  expect(await cardOf(handed.cardCode)).toBe('not known');
});

const known = async () => {
  const s = (await readStock('breeders/fern'))?.animals[1];
  return { massG: s?.massG, weighTime: s?.weighTime };
};
const before = { massG: 80, weighTime: '2026-03-01T10:00:00Z' };
const undo = { as: 'breeder' as const, animal, id: 'one', last: before };
const save = (id: string, massG: number, more = {}) =>
  saveEntry({ as: 'breeder', case: { name: '', animal: { name: animal } }, entry: weighed(massG), id, ...more });
const replaces = `${animal}/entries/one`;

test('an entry that never went out is taken back without a trace; the run goes on in the same breath', async () => {
  await save('one', 84, { goesOn: { draft: 'run', as: 'first' } });
  expect(await readDraft('run')).toBe('first');
  expect((await known()).massG).toBe(84);
  await undoEntry({ ...undo, goesOn: { draft: 'run', as: 'second' } });
  expect(await readDraft('run')).toBe('second');
  expect(await known()).toEqual(before);
  await flush();
  expect([got, await allItems()]).toEqual([[], []]);
});

test('an entry that has arrived is taken back by its withdrawal, and the copy says what it said before', async () => {
  await save('one', 84);
  await flush();
  expect((await known()).massG).toBe(84);
  await undoEntry(undo);
  expect(await known()).toEqual(before);
  await save('two', 85);
  expect((await known()).massG).toBe(85);
  answer = () => undefined;
  await flush();
  expect((await known()).massG).toBe(85);
  const bodies = got.map((g) => g.body as { requests?: { entry: object }[] });
  expect(bodies[0]).toMatchObject({ weighIn: { massG: 84 } });
  expect(bodies[1]?.requests?.map((r) => r.entry)).toMatchObject([
    { replaces, withdrawal: {} },
    { weighIn: { massG: 85 } },
  ]);
});

test('an entry whose answer was lost is followed by its withdrawal', async () => {
  await save('one', 84);
  answer = noNetwork;
  await flush();
  await undoEntry(undo);
  expect(await known()).toEqual(before);
  answer = () => undefined;
  await hurry();
  await flush();
  expect(got).toHaveLength(1);
  expect(got[0]?.body).toMatchObject({ requests: [{ entryId: 'one' }, { entry: { replaces, withdrawal: {} } }] });
  expect(await known()).toEqual(before);
});

test('an entry that is taken back while it goes out is withdrawn after', async () => {
  await save('one', 84);
  let taken: Promise<void> | undefined;
  answer = () => {
    answer = () => undefined;
    taken = undoEntry(undo);
    return undefined;
  };
  await flush();
  await taken;
  await flush();
  expect(got.map((g) => g.body)).toMatchObject([{ weighIn: { massG: 84 } }, { replaces, withdrawal: {} }]);
  expect([await known(), await allItems()]).toEqual([before, []]);
});

test('one of several that is taken back while the round waits for the network does not go', async () => {
  await save('zero', 83);
  await save('one', 84);
  // The round has read what there is; before it asks what still goes, a person is quicker.
  const round = flush();
  await Promise.all([undoEntry(undo), round]);
  await flush();
  const sent = got.flatMap((g) => {
    const { requests } = g.body as { requests?: { entryId: string; entry: EntryJson }[] };
    return requests?.map((r) => r.entry) ?? (g.body as EntryJson);
  });
  const withdrawn = sent.some((e) => e.replaces === replaces);
  const went = sent.some((e) => Number(e.weighIn?.massG) === 84);
  expect(withdrawn).toBe(went);
  expect(await allItems()).toEqual([]);
});

test('a refused entry is taken back: nothing of it stays', async () => {
  await save('one', 84);
  answer = () => refusal('BAD_FIELD');
  await flush();
  expect((await allItems())[0]?.state).toBe('dead');
  await undoEntry(undo);
  expect(await allItems()).toEqual([]);
});

test('taps of a run are kept at once, and all of them go', async () => {
  await Promise.all([1, 2, 3].map((n) => logInRun(animal, weighed(80 + n), `e${n}`, { draft: 'run', as: n })));
  expect(await readDraft('run')).toBe(3);
  await vi.waitFor(async () => expect(await allItems()).toEqual([]));
  const ids = got.flatMap(
    (g) => (g.body as { requests?: { entryId: string }[] }).requests?.map((r) => r.entryId) ?? g.id,
  );
  expect(ids.sort()).toEqual(['e1', 'e2', 'e3']);
});
