import 'fake-indexeddb/auto';
import { beforeEach, expect, test, vi } from 'vitest';
import type { EntryJson } from '../src/core/contract';
import { current, laidOver, readKnown } from '../src/store/copies';
import { readDraft, useDatabase, withDb, writeDraft } from '../src/store/db';
import { allItems, confirmed, drop, hurry, saveEntry, sendAgain } from '../src/store/outbox';
import { flush, piece, wait } from '../src/sync/flush';

const day = 86_400_000;
let at = Date.parse('2026-03-01T10:00:00Z');
const clock = { now: () => at, random: () => 1 };
let n = 0;

/** A server that stores each id once, as ours does, and whose network can be broken in every place. */
class Server {
  stored: { path: string; id: string; body: unknown; takenAt: string | null }[] = [];
  seen: string[] = [];
  batches: string[][] = [];
  /** Before the request arrives; an Error is a network that is not there. */
  before: (id: string) => Response | Error | undefined = () => undefined;
  /** What arrived of pictures that are not whole. */
  parts = new Map<string, Uint8Array>();
  pieces: string[] = [];
  /** After it was stored: the answer is lost on the way back. */
  loseAnswer: (id: string) => boolean = () => false;

  install() {
    vi.stubGlobal('fetch', async (path: string, init: RequestInit) => this.handle(path, init));
  }

  async handle(path: string, init: RequestInit): Promise<Response> {
    const url = new URL(path, 'http://localhost');
    expect(new Headers(init.headers).get('X-Warmhand')).toBe('keeper');
    if (url.pathname.endsWith(':batchCreate')) return this.batch(url.pathname.replace(':batchCreate', ''), init);
    const id = url.searchParams.get('entryId') ?? url.pathname.split('/').at(-1) ?? '';
    const headers = new Headers(init.headers);
    if (init.method === 'HEAD') {
      const whole = this.stored.some((s) => s.id === id);
      const offset = String(this.parts.get(id)?.length ?? 0);
      return new Response(null, {
        status: 204,
        headers: whole ? { 'Upload-Complete': '?1' } : { 'Upload-Complete': '?0', 'Upload-Offset': offset },
      });
    }
    const early = this.before(id);
    if (early instanceof Error) throw early;
    this.seen.push(id);
    if (early) return early;
    if (init.method === 'PUT' || init.method === 'PATCH') {
      const from = Number(headers.get('Upload-Offset') ?? 0);
      const was = init.method === 'PUT' ? new Uint8Array() : (this.parts.get(id) ?? new Uint8Array());
      this.pieces.push(`${init.method} ${from}`);
      if (from !== was.length) return refusal(409, 'UPLOAD_OFFSET');
      const all = new Uint8Array([...was, ...new Uint8Array(init.body as ArrayBuffer)]);
      this.parts.set(id, all);
      if (headers.get('Upload-Complete') === '?0') {
        if (this.loseAnswer(id)) throw new TypeError('connection reset');
        return new Response(null, { status: 204 });
      }
      this.store(url.pathname, id, all, headers.get('X-Taken-At'));
      if (this.loseAnswer(id)) throw new TypeError('connection reset');
      return json(200, { name: url.pathname.slice(4) });
    }
    const body = JSON.parse(String(init.body));
    this.store(url.pathname, id, body, null);
    if (this.loseAnswer(id)) throw new TypeError('connection reset');
    return json(200, { entry: this.entry(url.pathname, id, body) });
  }

  /** All or none. */
  batch(path: string, init: RequestInit): Response {
    const { requests } = JSON.parse(String(init.body)) as {
      requests: { parent: string; entryId: string; entry: EntryJson }[];
    };
    const ids = requests.map((r) => r.entryId);
    this.batches.push(ids);
    for (const id of ids) {
      const early = this.before(id);
      if (early instanceof Error) throw early;
      if (early) return early;
    }
    this.seen.push(...ids);
    for (const r of requests) {
      expect(path).toBe(`/v1/${r.parent}/entries`);
      this.store(path, r.entryId, r.entry, null);
    }
    for (const id of ids) if (this.loseAnswer(id)) throw new TypeError('connection reset');
    return json(200, { entries: requests.map((r) => this.entry(path, r.entryId, r.entry)) });
  }

  store(path: string, id: string, body: unknown, takenAt: string | null) {
    const was = this.stored.find((s) => s.id === id);
    if (was) {
      if (body instanceof Uint8Array) expect(same(was.body, body)).toBe(true);
      else expect(was.body).toEqual(body);
      return;
    }
    for (const a of (body as EntryJson).setup?.answers ?? []) {
      for (const p of a.photos ?? []) expect(this.stored.map((s) => s.id)).toContain(p); // the picture came first
    }
    this.stored.push({ path, id, body, takenAt });
  }

  entry(path: string, id: string, body: unknown): EntryJson {
    return { ...(body as EntryJson), name: `${path.slice(4)}/${id}`, by: 'ACTOR_KIND_KEEPER' };
  }
}

/** The test runner compares long arrays slowly. */
function same(a: unknown, b: ArrayBuffer | Uint8Array): boolean {
  const [x, y] = [a as Uint8Array, new Uint8Array(b)];
  return x.length === y.length && x.every((v, i) => v === y[i]);
}

/** True the first time. */
function once(): () => boolean {
  let done = false;
  return () => {
    const first = !done;
    done = true;
    return first;
  };
}

function json(status: number, body: unknown): Response {
  return new Response(JSON.stringify(body), { status, headers: { 'Content-Type': 'application/json' } });
}

function refusal(status: number, reason: string, metadata = {}): Response {
  return json(status, {
    code: 9,
    message: 'Not so.',
    details: [{ '@type': 'type.googleapis.com/google.rpc.ErrorInfo', reason, metadata }],
  });
}

function caseOf(animal: string) {
  return { name: `breeders/b/cases/c-${animal}`, animal: { name: `breeders/b/animals/${animal}` } };
}

function weigh(animal: string, g: number, more: Partial<EntryJson> = {}) {
  return saveEntry(
    { case: caseOf(animal), entry: { happenTime: new Date(at).toISOString(), weighIn: { massG: g }, ...more } },
    at,
  );
}

let server: Server;

beforeEach(() => {
  useDatabase(`test-${n++}`);
  at = Date.parse('2026-03-01T10:00:00Z');
  server = new Server();
  server.install();
});

const masses = (s = server) => s.stored.map((x) => (x.body as EntryJson).weighIn?.massG);

test('what was saved goes once and in the order of saving, whatever the clock did', async () => {
  await weigh('a', 60);
  at -= 3 * day; // the clock was set back
  await weigh('a', 61);
  at += 10 * day;
  await weigh('a', 62);
  const result = await flush(undefined, clock);
  expect(result).toEqual({ left: 0, sent: 3, signedOut: false });
  expect(masses()).toEqual([60, 61, 62]);
  expect(await allItems()).toEqual([]);
  await flush(undefined, clock);
  expect(server.seen).toHaveLength(3);
  const known = await readKnown();
  expect(known.logs.get('breeders/b/animals/a')).toHaveLength(3);
});

test('a lost answer: sent twice, stored once, in order', async () => {
  const first = await weigh('a', 60);
  const lose = once();
  server.loseAnswer = (id) => id === first && lose();
  expect((await flush(undefined, clock)).left).toBe(1);
  const second = await weigh('a', 61);
  await flush(undefined, clock);
  expect(server.seen).toEqual([first]); // nothing overtook it
  at += 3000;
  expect((await flush(undefined, clock)).left).toBe(0);
  expect(server.seen).toEqual([first, first, second]);
  expect(masses()).toEqual([60, 61]);
});

test('a lost answer to several at once: all sent twice, each stored once', async () => {
  const ids = [await weigh('a', 60), await weigh('a', 61), await weigh('a', 62)];
  const lose = once();
  server.loseAnswer = (id) => id === ids[1] && lose();
  expect((await flush(undefined, clock)).left).toBe(3);
  at += 3000;
  expect(await flush(undefined, clock)).toMatchObject({ left: 0, sent: 3 });
  expect(server.batches).toEqual([ids, ids]);
  expect(masses()).toEqual([60, 61, 62]);
});

test('a week offline: everything stays, tries get rarer, all of it arrives once', async () => {
  server.before = () => new TypeError('Failed to fetch');
  for (let d = 0; d < 7; d++) {
    await weigh('a', 60 + d);
    for (let h = 0; h < 12; h++) {
      await flush(undefined, clock);
      at += 2 * 3_600_000;
    }
  }
  const items = await allItems();
  expect(items).toHaveLength(7);
  expect(items.map((i) => i.state)).toEqual(Array(7).fill('queued'));
  expect(items[0]?.nextAt).toBeLessThanOrEqual(at + 15 * 60_000);
  expect(items[1]?.tries).toBe(0); // it waited behind the first
  server.before = () => undefined;
  await hurry();
  server.batches = [];
  expect((await flush(undefined, clock)).sent).toBe(7);
  expect(server.batches).toEqual([items.map((i) => i.id)]); // in one request
  expect(masses()).toEqual([60, 61, 62, 63, 64, 65, 66]);
});

test('a page that is not ours counts as no network', async () => {
  await weigh('a', 60);
  server.before = () =>
    new Response('<html>Welcome to the hotel</html>', { status: 200, headers: { 'Content-Type': 'text/html' } });
  expect((await flush(undefined, clock)).left).toBe(1);
  expect((await allItems())[0]).toMatchObject({ state: 'queued', tries: 1, error: { reason: 'OFFLINE' } });
});

test.each([500, 503, 408, 425, 429, 401])('status %i: try again later', async (status) => {
  await weigh('a', 60);
  server.before = () => refusal(status, 'X');
  const result = await flush(undefined, clock);
  expect(result).toEqual({ left: 1, sent: 0, signedOut: status === 401 });
  await flush(undefined, clock);
  expect(server.seen).toHaveLength(1); // not before its time
  at += wait(0, 1);
  server.before = () => undefined;
  expect((await flush(undefined, clock)).sent).toBe(1);
});

test('a refused entry is kept, lets the next ones pass and blocks no other animal', async () => {
  const bad = await weigh('a', 5400);
  const good = await weigh('a', 54);
  await weigh('b', 300);
  server.before = (id) => (id === bad ? refusal(400, 'BAD_FIELD') : undefined);
  const result = await flush(undefined, clock);
  expect(server.batches).toEqual([[bad, good]]); // refused as a whole, then one by one
  expect(result).toEqual({ left: 0, sent: 2, signedOut: false });
  expect(await allItems()).toMatchObject([
    { id: bad, state: 'dead', error: { status: 400, reason: 'BAD_FIELD', message: 'Not so.' } },
  ]);
});

test('an animal that cannot be sent does not hold up another', async () => {
  const stuck = await weigh('a', 60);
  await weigh('b', 300);
  server.before = (id) => (id === stuck ? refusal(503, '') : undefined);
  expect(await flush(undefined, clock)).toMatchObject({ left: 1, sent: 1 });
  expect(masses()).toEqual([300]);
});

test('a likely slip: asked, then sent under a new id as confirmed', async () => {
  const slip = await weigh('a', 5400);
  const fix = await weigh('a', 54, { replaces: `breeders/b/animals/a/entries/${slip}` });
  server.before = (id) => (id === slip ? refusal(400, 'LIKELY_SLIP', { value: '5400', against: '54' }) : undefined);
  await flush(undefined, clock);
  const [dead, waits] = await allItems();
  expect(dead).toMatchObject({ state: 'dead', error: { meta: { value: '5400', against: '54' } } });
  expect(waits).toMatchObject({ id: fix, state: 'queued', after: [slip] });
  if (dead) await confirmed(dead, at);
  expect((await flush(undefined, clock)).sent).toBe(2);
  const [a, b] = server.stored.map((s) => ({ id: s.id, ...(s.body as EntryJson) }));
  expect(a).toMatchObject({ weighIn: { massG: 5400 }, confirmed: true });
  expect(a?.id).not.toBe(slip);
  expect(b?.replaces).toBe(`breeders/b/animals/a/entries/${a?.id}`); // the correction followed the new id
});

test('"change it" takes the place of the refused entry', async () => {
  const slip = await weigh('a', 5400);
  server.before = (id) => (id === slip ? refusal(400, 'LIKELY_SLIP') : undefined);
  await flush(undefined, clock);
  const [dead] = await allItems();
  await saveEntry(
    {
      case: caseOf('a'),
      entry: { happenTime: '2026-03-01T10:00:00Z', weighIn: { massG: 54 } },
      instead: dead?.seq ?? -1,
    },
    at,
  );
  await flush(undefined, clock);
  expect(masses()).toEqual([54]);
  expect(await allItems()).toEqual([]);
});

const photo = (id: string) => ({
  id,
  bytes: new Uint8Array([255, 216, 255, 1]).buffer,
  type: 'image/jpeg',
  takenAt: '2026-03-01T09:00:00.000Z',
});

/** Three pieces and a bit. */
function large(id: string) {
  const bytes = new Uint8Array(3 * piece + 5);
  for (let i = 0; i < bytes.length; i++) bytes[i] = i % 251;
  return { ...photo(id), bytes: bytes.buffer };
}

function saveLarge(id: string, animal = 'a') {
  return saveEntry(
    {
      case: caseOf(animal),
      entry: { happenTime: new Date(at).toISOString(), message: { text: 'A picture', photos: [id] } },
      photos: [large(id)],
    },
    at,
  );
}

test('a large picture goes in pieces, and tells how far it is', async () => {
  await saveLarge('photo-big');
  const parts: number[] = [];
  await flush(undefined, clock, (_, part) => parts.push(part));
  expect(server.pieces).toEqual(['PUT 0', `PATCH ${piece}`, `PATCH ${2 * piece}`, `PATCH ${3 * piece}`]);
  expect(same(server.stored[0]?.body, large('photo-big').bytes)).toBe(true);
  expect(parts.at(-1)).toBe(1);
  expect(parts).toEqual([...parts].sort((a, b) => a - b));
});

test('after a cut only the rest goes, also when the answer to a piece was lost', async () => {
  await saveLarge('photo-big');
  let seen = 0;
  server.before = () => (++seen === 3 ? new TypeError('no network') : undefined);
  await flush(undefined, clock);
  expect(server.pieces).toEqual(['PUT 0', `PATCH ${piece}`]);
  server.before = () => undefined;
  server.loseAnswer = once();
  at += day;
  await flush(undefined, clock);
  at += day;
  await flush(undefined, clock);
  expect(server.pieces.slice(2)).toEqual([`PATCH ${2 * piece}`, `PATCH ${3 * piece}`]);
  expect(server.stored.map((s) => s.id)[0]).toBe('photo-big');
  expect(await allItems()).toEqual([]);
});

test('when the service gave up what had arrived, the picture begins again', async () => {
  await saveLarge('photo-big');
  let seen = 0;
  server.before = () => {
    if (++seen === 2) server.parts.clear();
    return undefined;
  };
  await flush(undefined, clock);
  expect(server.pieces).toEqual([
    'PUT 0',
    `PATCH ${piece}`,
    'PUT 0',
    `PATCH ${piece}`,
    `PATCH ${2 * piece}`,
    `PATCH ${3 * piece}`,
  ]);
  expect(same(server.stored[0]?.body, large('photo-big').bytes)).toBe(true);
});

test('where no more pictures may be begun, the next waits until one is whole, and all arrive', async () => {
  const ids = ['a', 'b', 'c', 'd', 'e'].map((animal) => `photo-${animal}`);
  for (const id of ids) await saveLarge(id, id.slice(-1));
  let cut = true;
  let refusals = 0;
  server.before = (id) => {
    const begun = [...server.parts.keys()].filter((i) => !server.stored.some((s) => s.id === i));
    if (ids.includes(id) && !server.parts.has(id) && begun.length >= 2) {
      refusals++;
      return refusal(429, 'TOO_MANY_TRIES');
    }
    return cut && server.parts.has(id) ? new TypeError('no network') : undefined;
  };
  await flush(undefined, clock);
  expect([...server.parts.keys()]).toHaveLength(2);
  expect(refusals).toBe(3);
  expect((await allItems()).map((i) => i.state)).toEqual(Array(10).fill('queued'));
  cut = false;
  for (let turn = 0; turn < 5; turn++) {
    at += wait(turn + 1, 1);
    await flush(undefined, clock);
  }
  expect(await allItems()).toEqual([]);
  expect(server.stored.map((s) => s.id)).toEqual(expect.arrayContaining(ids));
  expect(server.pieces.filter((p) => p === 'PUT 0')).toHaveLength(5); // what was begun went on, and was not begun anew
});

test('a picture whose place is always another waits, and is not refused', async () => {
  await saveLarge('photo-big');
  server.before = () => refusal(409, 'UPLOAD_OFFSET');
  expect(await flush(undefined, clock)).toMatchObject({ left: 2, sent: 0 });
  expect((await allItems()).map((i) => i.state)).toEqual(['queued', 'queued']);
  server.before = () => undefined;
  at += day;
  expect(await flush(undefined, clock)).toMatchObject({ left: 0, sent: 2 });
});

test('a picture that is chosen again while it waits goes once', async () => {
  await saveLarge('photo-big');
  await saveLarge('photo-big');
  await flush(undefined, clock);
  expect(server.stored.map((s) => s.id).filter((id) => id === 'photo-big')).toHaveLength(1);
  expect(server.stored).toHaveLength(3);
});

function setupEntry(ids: string[]) {
  return saveEntry(
    {
      case: caseOf('a'),
      entry: {
        happenTime: new Date(at).toISOString(),
        setup: { answers: [{ point: 'hides', choice: 'both_ends', photos: ids }] },
      },
      photos: ids.map(photo),
      draft: 'setup',
    },
    at,
  );
}

test('pictures go before the entry that names them, and the draft ends with the save', async () => {
  await writeDraft('setup', { hides: 'both_ends' });
  await setupEntry(['photo-one', 'photo-two']);
  expect(await readDraft('setup')).toBeUndefined();
  expect((await flush(undefined, clock)).sent).toBe(3);
  expect(server.stored.map((s) => s.path.split('/').slice(-2)[0])).toEqual(
    ['photos', 'photos', 'entries'].map((x) => (x === 'entries' ? 'a' : x)),
  );
  expect(server.stored[0]).toMatchObject({
    body: new Uint8Array([255, 216, 255, 1]),
    takenAt: '2026-03-01T09:00:00.000Z',
  });
  expect(await withDb((db) => db.getAll('photos'))).toEqual([]);
});

test('a refused picture: the entry waits, and goes without it when the picture is dropped', async () => {
  await setupEntry(['photo-one', 'photo-two']);
  server.before = (id) => (id === 'photo-one' ? refusal(400, 'PHOTO_REFUSED') : undefined);
  expect(await flush(undefined, clock)).toMatchObject({ left: 1, sent: 1 });
  const [dead] = await allItems();
  await drop(dead?.seq ?? -1);
  expect((await flush(undefined, clock)).left).toBe(0);
  expect((server.stored.at(-1)?.body as EntryJson | undefined)?.setup?.answers?.[0]?.photos).toEqual(['photo-two']);
});

test('dropping a refused entry: its correction stands alone, its withdrawal goes too', async () => {
  const bad = await weigh('a', 5400);
  const name = `breeders/b/animals/a/entries/${bad}`;
  await weigh('a', 54, { replaces: name });
  await saveEntry(
    { case: caseOf('a'), entry: { happenTime: '2026-03-01T10:00:00Z', withdrawal: {}, replaces: name } },
    at,
  );
  server.before = (id) => (id === bad ? refusal(400, 'BAD_FIELD') : undefined);
  await flush(undefined, clock);
  const [dead] = await allItems();
  await drop(dead?.seq ?? -1);
  await flush(undefined, clock);
  expect(server.stored).toHaveLength(1);
  expect(server.stored[0]?.body).not.toHaveProperty('replaces');
  expect(masses()).toEqual([54]);
});

test('send again gives a refused entry another try, unchanged', async () => {
  const id = await weigh('a', 60);
  server.before = () => refusal(403, 'NOT_YOURS');
  await flush(undefined, clock);
  const [dead] = await allItems();
  await sendAgain(dead?.seq ?? -1);
  server.before = () => undefined;
  await flush(undefined, clock);
  expect(server.stored.map((s) => s.id)).toEqual([id]);
});

// The page may die between any two steps; what is on disk must always lead to each entry once.
test.each(['before the request', 'after the server stored it', 'after the answer, before it was noted'])(
  'killed %s',
  async (where) => {
    const id = await weigh('a', 60);
    await weigh('a', 61);
    const kill = once();
    if (where === 'before the request') server.before = () => (kill() ? new Error('killed') : undefined);
    if (where === 'after the server stored it') server.loseAnswer = kill;
    if (where.startsWith('after the answer')) {
      // The request was answered, the transaction that notes it never ran.
      const item = (await allItems())[0];
      await server.handle(item?.path ?? '', {
        method: 'POST',
        headers: { 'X-Warmhand': 'keeper' },
        body: JSON.stringify(item?.entry),
      });
    } else await flush(undefined, clock);
    // A new page starts with nothing but the database.
    at += day;
    await flush(undefined, clock);
    expect(server.stored.map((s) => s.id)[0]).toBe(id);
    expect(masses()).toEqual([60, 61]);
    expect(await allItems()).toEqual([]);
  },
);

test('a save is all or nothing', async () => {
  const save = (photoId: string) =>
    saveEntry(
      { case: caseOf('a'), entry: { message: { text: 'A picture' } }, photos: [photo(photoId)], id: 'one' },
      at,
    );
  await save('photo-one');
  await expect(save('photo-two')).rejects.toThrow(); // the same id again
  expect((await allItems()).map((i) => i.id)).toEqual(['photo-one', 'one']);
  expect(await withDb((db) => db.getAllKeys('photos'))).toEqual(['photo-one']);
});

test('the screen shows the log with unsent entries over it, and corrections at once', async () => {
  const animal = 'breeders/b/animals/a';
  const id = await weigh('a', 60);
  await flush(undefined, clock);
  at += day;
  await weigh('a', 62, { replaces: `${animal}/entries/${id}` });
  const known = await readKnown();
  const lines = laidOver(known.logs.get(animal) ?? [], known.outbox, animal);
  expect(lines.map((l) => [l.entry.weighIn?.massG, Boolean(l.item), Boolean(l.entry.replacedBy)])).toEqual([
    [62, true, false],
    [60, false, true],
  ]);
  expect(current(lines).map((l) => l.entry.weighIn?.massG)).toEqual([62]);
});

test('backoff: doubles, ends at 15 minutes, half of it random', () => {
  expect([0, 1, 2, 3].map((t) => wait(t, 1))).toEqual([1000, 2000, 4000, 8000]);
  expect(wait(50, 1)).toBe(900_000);
  expect(wait(3, 0)).toBe(4000);
});
