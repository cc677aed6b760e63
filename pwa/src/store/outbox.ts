import type { CaseJson, EntryJson, HandoverJson } from '../core/contract';
import { uuidv7 } from '../core/ids';
import { type CardCopy, cardsKey, cardWent, withEntry, withLast } from './copies';
import { type Db, type Item, type LastKnown, type Refusal, type StoredPhoto, withDb } from './db';

const strict = { durability: 'strict' } as const;

/** The database gives the number when it stores the row. */
type Unnumbered = Omit<Item, 'seq'> & { seq?: number };

/** A picture to be saved together with the entry that names it. */
export type NewPhoto = StoredPhoto;

export interface NewEntry {
  /** Who says it; the keeper unless told. */
  as?: Item['as'];
  case: Pick<CaseJson, 'name' | 'animal'>;
  /** Without name and case, which are put in here. */
  entry: EntryJson;
  photos?: readonly NewPhoto[];
  /** A draft that this entry finishes: gone in the same transaction. */
  draft?: string;
  /** A draft that this entry takes further: written in the same transaction. */
  goesOn?: GoesOn | undefined;
  /** Of one that takes another back: see Item. */
  last?: LastKnown;
  /** An item that this one takes the place of ("change it"). */
  instead?: number;
  id?: string;
}

/** A draft and what stands in it from now on. */
export interface GoesOn {
  draft: string;
  as: unknown;
}

/**
 * Saves an entry and its pictures on this phone: all or nothing, and on disk when
 * the promise resolves. Pictures come first in the order of sending.
 */
export async function saveEntry(n: NewEntry, now = Date.now()): Promise<string> {
  const id = n.id ?? uuidv7(now);
  const animal = n.case.animal?.name ?? '';
  const caseName = n.case.name ?? '';
  const photos = n.photos ?? [];
  await withDb(async (db) => {
    const tx = db.transaction(['outbox', 'photos', 'drafts'], 'readwrite', strict);
    tx.done.catch(() => undefined); // told below, by the step that failed
    try {
      const outbox = tx.objectStore('outbox');
      const common = {
        version: 1 as const,
        as: n.as ?? 'keeper',
        animal,
        case: caseName,
        state: 'queued' as const,
        tries: 0,
        nextAt: 0,
        savedAt: now,
      };
      for (const p of photos) {
        await tx.objectStore('photos').put(p);
        if ((await outbox.index('id').getKey(p.id)) !== undefined) continue; // chosen again: it goes once
        await outbox.add({
          ...common,
          id: p.id,
          method: 'PUT',
          path: `/v1/${caseName}/photos/${p.id}`,
          after: [],
        } as Unnumbered as Item);
      }
      const after = photos.map((p) => p.id);
      const replaced = lastPart(n.entry.replaces);
      if (replaced && (await outbox.index('id').getKey(replaced)) !== undefined) after.push(replaced);
      await outbox.add({
        ...common,
        id,
        method: 'POST',
        path: `/v1/${animal}/entries?entryId=${id}`,
        entry: { ...n.entry, ...(caseName && { case: caseName }) },
        ...(n.last && { last: n.last }),
        after,
      } as Unnumbered as Item);
      if (n.instead !== undefined) {
        const old = await outbox.get(n.instead);
        if (old) {
          // Pictures that the refused entry named may still wait: they belong to the new one now.
          await outbox.delete(n.instead);
          for (const item of await outbox.index('animal').getAll(animal)) {
            if (item.id !== id && item.after.includes(old.id)) await outbox.put(renamed(item, old.id, id));
          }
        }
      }
      if (n.draft) await tx.objectStore('drafts').delete(n.draft);
      if (n.goesOn) await tx.objectStore('drafts').put(n.goesOn.as, n.goesOn.draft);
    } catch (e) {
      try {
        tx.abort(); // without it, the steps before the failed one would be kept
      } catch {
        // It has ended by itself.
      }
      throw e;
    }
    await tx.done;
  });
  return id;
}

function lastPart(name: string | undefined): string {
  return name?.slice(name.lastIndexOf('/') + 1) ?? '';
}

function renamed(item: Item, from: string, to: string): Item {
  return {
    ...item,
    after: item.after.map((a) => (a === from ? to : a)),
    ...(item.entry?.replaces?.endsWith(`/${from}`) && {
      entry: { ...item.entry, replaces: item.entry.replaces.slice(0, -from.length) + to },
    }),
  };
}

export function allItems(): Promise<Item[]> {
  return withDb((db) => db.getAll('outbox'));
}

/** The bytes of a photo that is not sent yet. */
export function photoOf(id: string): Promise<StoredPhoto | undefined> {
  return withDb((db) => db.get('photos', id));
}

/** The item of an entry or a picture, while it is here. */
export function itemOf(id: string): Promise<Item | undefined> {
  return withDb((db) => db.getFromIndex('outbox', 'id', id));
}

/** A sale, and the number on its card if that is known. */
export interface NewSale {
  sale: HandoverJson;
  card: number | undefined;
}

function saleItem(id: string, { sale, card }: NewSale, now: number): Item {
  const animal = sale.animal ?? '';
  const item: Unnumbered = {
    id,
    version: 1,
    as: 'breeder',
    animal,
    case: '',
    method: 'POST',
    path: `/v1/${animal.split('/').slice(0, 2).join('/')}/handovers?requestId=${id}`,
    sale,
    ...(card && { card }),
    after: [],
    state: 'queued',
    tries: 0,
    nextAt: 0,
    savedAt: now,
  };
  return item as Item;
}

/** Saves a sale on this phone, and ends the draft it was written in; on disk when the promise resolves. */
export async function saveSale(n: NewSale, draft: string, id = uuidv7(), now = Date.now()): Promise<Item> {
  return withDb(async (db) => {
    const tx = db.transaction(['outbox', 'drafts'], 'readwrite', strict);
    const item = saleItem(id, n, now);
    const seq = await tx.objectStore('outbox').add(item);
    await tx.objectStore('drafts').delete(draft);
    await tx.done;
    return { ...item, seq };
  });
}

/** A refused sale said otherwise, such as with another card: it goes as a new request, of the same time. */
export function changeSale(old: Item, n: NewSale): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction('outbox', 'readwrite', strict);
    if ((await tx.store.get(old.seq))?.state === 'dead') {
      await tx.store.delete(old.seq);
      await tx.store.add(saleItem(uuidv7(), n, old.savedAt));
    }
    await tx.done;
  });
}

/** Those of them that go out now, as they stand: what was taken back meanwhile does not. */
export function goesOut(items: readonly Item[]): Promise<Item[]> {
  return withDb(async (db) => {
    const tx = db.transaction('outbox', 'readwrite', strict);
    const going: Item[] = [];
    for (const item of items) {
      const now = await tx.store.get(item.seq);
      if (now?.id !== item.id || now.undone !== item.undone) continue;
      const out: Item = { ...now, out: true };
      await tx.store.put(out);
      going.push(out);
    }
    await tx.done;
    return going;
  });
}

/** An entry of this device's that a person takes back. */
export interface Undo {
  as: Item['as'];
  animal: string;
  id: string;
  /** What the stock book said before it. */
  last: LastKnown;
  goesOn?: GoesOn | undefined;
}

/** Takes an entry back. One that never went out, or that the service refused, is gone; any other is followed by its withdrawal. */
export async function undoEntry(u: Undo, now = Date.now()): Promise<void> {
  const gone = await withDb(async (db) => {
    const tx = removing(db);
    const item = await tx.objectStore('outbox').index('id').get(u.id);
    const alone = item !== undefined && (!item.out || item.state === 'dead');
    if (alone) {
      await remove(tx, item);
      if (u.goesOn) await tx.objectStore('drafts').put(u.goesOn.as, u.goesOn.draft);
    }
    await tx.done;
    return alone;
  });
  if (gone) return;
  const { as, last, goesOn } = u;
  const replaces = `${u.animal}/entries/${u.id}`;
  const entry = { happenTime: new Date(now).toISOString(), replaces, withdrawal: {} };
  await saveEntry({ as, case: { name: '', animal: { name: u.animal } }, entry, last, goesOn }, now);
}

/**
 * Takes a sale back. One that never went out is gone; else the service is told, also when
 * it has arrived since: the same sale again says which one it was.
 */
export function undoSale(item: Item): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction('outbox', 'readwrite', strict);
    const now = await tx.store.get(item.seq);
    if (now && !now.out) await tx.store.delete(item.seq);
    else {
      const { error: _, ...rest } = now ?? item;
      await tx.store.put({ ...rest, out: true, undone: true, state: 'queued', tries: 0, nextAt: 0 });
    }
    await tx.done;
  });
}

/** The service has the sale, or has revoked the one that was taken back. One that was taken back meanwhile stays. */
export function sold(item: Item): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction(['outbox', 'stock', 'state'], 'readwrite', strict);
    const now = await tx.objectStore('outbox').get(item.seq);
    if (now && now.undone === item.undone) {
      await tx.objectStore('outbox').delete(item.seq);
      const row = await tx.objectStore('stock').get(item.animal);
      if (row) await tx.objectStore('stock').put({ ...row, stock: { ...row.stock, away: !item.undone } }, item.animal);
      const cards = (await tx.objectStore('state').get(cardsKey)) as CardCopy | undefined;
      if (cards && item.card) await tx.objectStore('state').put(cardWent(cards, item.card), cardsKey);
    }
    await tx.done;
  });
}

/** The server has it. Its answer goes into the copy in the same transaction, so that nothing flickers. */
export function arrived(item: Item, answer: EntryJson | undefined): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction(['outbox', 'photos', 'logs', 'stock'], 'readwrite', strict);
    await tx.objectStore('outbox').delete(item.seq);
    if (item.method === 'PUT') await tx.objectStore('photos').delete(item.id);
    if (item.as === 'breeder') {
      const row = await tx.objectStore('stock').get(item.animal);
      if (row && answer) {
        const stock = item.last ? withLast(row.stock, item.last) : withEntry(row.stock, answer);
        await tx.objectStore('stock').put({ ...row, stock }, item.animal);
      }
    } else if (answer?.name) {
      const logs = tx.objectStore('logs');
      const log = (await logs.get(item.animal)) ?? [];
      const others = log
        .filter((e) => e.name !== answer.name)
        .map((e) => (e.name === answer.replaces ? { ...e, replacedBy: answer.name ?? '' } : e));
      await logs.put([answer, ...others], item.animal);
    }
    await tx.done;
  });
}

/** Not reached: try again at `nextAt`. */
export function postpone(item: Item, nextAt: number, error: Refusal): Promise<void> {
  return change(item.seq, (i) => ({ ...i, tries: i.tries + 1, nextAt, error }));
}

/** Refused for good. It stays on the phone until a person decides. */
export function refused(item: Item, error: Refusal): Promise<void> {
  return change(item.seq, (i) => ({ ...i, state: 'dead', tries: i.tries + 1, error }));
}

/** "Send again", unchanged. */
export function sendAgain(seq: number): Promise<void> {
  return change(seq, (i) => {
    const { error: _, ...rest } = i;
    return { ...rest, state: 'queued', tries: 0, nextAt: 0 };
  });
}

function change(seq: number, f: (i: Item) => Item): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction('outbox', 'readwrite', strict);
    const item = await tx.store.get(seq);
    if (item) await tx.store.put(f(item));
    await tx.done;
  });
}

/** Everything that waits may go at once: the network came back, or the person asks. */
export function hurry(): Promise<void> {
  return withDb(async (db) => {
    const tx = db.transaction('outbox', 'readwrite');
    for await (const cursor of tx.store) {
      if (cursor.value.state === 'queued' && cursor.value.nextAt > 0)
        await cursor.update({ ...cursor.value, nextAt: 0 });
    }
    await tx.done;
  });
}

/** "It is right": the same entry under a new id, confirmed. */
export async function confirmed(item: Item, now = Date.now()): Promise<void> {
  if (!item.entry) return;
  await withDb(async (db) => {
    const tx = db.transaction('outbox', 'readwrite', strict);
    const old = await tx.store.get(item.seq);
    if (old?.entry) {
      const id = uuidv7(now);
      const { error: _, out: __, ...rest } = old;
      // Under the old number: what was saved after it still goes after it.
      await tx.store.put({
        ...rest,
        id,
        path: `/v1/${old.animal}/entries?entryId=${id}`,
        entry: { ...old.entry, confirmed: true },
        state: 'queued',
        tries: 0,
        nextAt: 0,
      });
      for (const other of await tx.store.index('animal').getAll(old.animal)) {
        if (other.after.includes(old.id)) await tx.store.put(renamed(other, old.id, id));
      }
    }
    await tx.done;
  });
}

/**
 * "Drop it". What waited for it is put right: an entry loses the dropped picture, a
 * correction of a dropped entry becomes an entry of its own, its withdrawal goes too.
 */
export function drop(seq: number): Promise<void> {
  return withDb(async (db) => {
    const tx = removing(db);
    const gone = await tx.objectStore('outbox').get(seq);
    if (gone) await remove(tx, gone);
    await tx.done;
  });
}

function removing(db: Db) {
  return db.transaction(['outbox', 'photos', 'drafts'], 'readwrite', strict);
}

async function remove(tx: ReturnType<typeof removing>, gone: Item): Promise<void> {
  const outbox = tx.objectStore('outbox');
  await outbox.delete(gone.seq);
  await tx.objectStore('photos').delete(gone.id);
  for (const item of await outbox.index('animal').getAll(gone.animal)) {
    if (!item.after.includes(gone.id)) continue;
    if (item.entry?.withdrawal) await outbox.delete(item.seq);
    else await outbox.put(without(item, gone.id));
  }
}

function without(item: Item, id: string): Item {
  const next: Item = { ...item, after: item.after.filter((a) => a !== id) };
  if (!item.entry) return next;
  const entry: EntryJson = { ...item.entry };
  if (entry.replaces?.endsWith(`/${id}`)) delete entry.replaces;
  if (entry.setup) {
    const answers = (entry.setup.answers ?? []).map((a) => ({
      ...a,
      photos: (a.photos ?? []).filter((p) => p !== id),
    }));
    entry.setup = { ...entry.setup, answers };
  }
  if (entry.message?.photos) entry.message = { ...entry.message, photos: entry.message.photos.filter((p) => p !== id) };
  return { ...next, entry };
}
