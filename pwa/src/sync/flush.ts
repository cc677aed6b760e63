// The only sender. Page and service worker run the same code; a lock over all
// tabs and the worker lets one of them send at a time.

import { ApiError, arrivedOf, asBreeder, asKeeper, asPhoto, call, type FieldProblem, Offline } from '../api/client';
import type {
  BatchCreateEntriesResponseJson,
  CreateEntryResponseJson,
  CreateHandoverResponseJson,
  EntryJson,
} from '../core/contract';
import { say } from '../core/say';
import { keptBreeder } from '../store/copies';
import type { Item, Refusal, StoredPhoto } from '../store/db';
import { allItems, arrived, goesOut, photoOf, postpone, refused, sold } from '../store/outbox';

/** Time and chance; tests bring their own. */
export interface Clock {
  now(): number;
  random(): number;
}

const real: Clock = { now: () => Date.now(), random: () => Math.random() };

const most = 15 * 60_000;

/** 1 s · 2ⁿ, at most 15 minutes, half of it random, so that a crowd of phones does not come back at once. */
export function wait(tries: number, random: number): number {
  const whole = Math.min(1000 * 2 ** tries, most);
  return whole / 2 + (whole / 2) * random;
}

export interface Result {
  /** What still waits to be sent, refused items not counted. */
  left: number;
  sent: number;
  /** The keeper's session ended: nothing is lost, and nothing goes until the person signs in. */
  signedOut: boolean;
}

let running: Promise<unknown> = Promise.resolve();

function locked<T>(work: () => Promise<T>): Promise<T> {
  if (typeof navigator !== 'undefined' && navigator.locks) {
    return navigator.locks.request('outbox', work) as Promise<T>;
  }
  // Without the lock (plain http inside a home network) one page still takes turns with itself.
  const turn = running.then(work, work);
  running = turn.catch(() => undefined);
  return turn;
}

/** Sends what may go now, in order within an animal, three animals side by side. */
export function flush(
  onChange: () => void = () => undefined,
  clock: Clock = real,
  /** How much of a picture has gone, 0 to 1. */
  onPart: (id: string, part: number) => void = () => undefined,
): Promise<Result> {
  return locked(async () => {
    const result: Result = { left: 0, sent: 0, signedOut: false };
    const byAnimal = new Map<string, Item[]>();
    const mine = await sendable();
    for (const item of mine) {
      const key = `${item.as} ${item.animal}`;
      byAnimal.set(key, [...(byAnimal.get(key) ?? []), item]);
    }
    const groups = [...byAnimal.values()];
    const worker = async () => {
      for (let group = groups.shift(); group; group = groups.shift())
        await sendGroup(group, clock, result, onChange, onPart);
    };
    await Promise.all([worker(), worker(), worker()]);
    result.left = (await sendable()).filter((i) => i.state === 'queued').length;
    return result;
  });
}

/** What a breeder who has signed out left here waits for them: nobody else's session sends it. */
async function sendable(): Promise<Item[]> {
  const [items, who] = await Promise.all([allItems(), keptBreeder()]);
  return items.filter((i) => i.as === 'keeper' || (who?.breeder && i.animal.startsWith(`${who.breeder}/`)));
}

const session = (item: Item) => (item.as === 'breeder' ? asBreeder : asKeeper);

/** As many as the server takes at once. */
const together = 100;

async function sendGroup(
  group: Item[],
  clock: Clock,
  result: Result,
  onChange: () => void,
  onPart: (id: string, part: number) => void,
): Promise<void> {
  const waiting = new Set(group.map((i) => i.id));
  const later = async (item: Item, error: Refusal) => {
    if (error.status === 401 && item.as === 'keeper') result.signedOut = true;
    await postpone(item, clock.now() + wait(item.tries, clock.random()), error);
    onChange();
  };
  let single = 0; // before it, items go one by one
  for (let at = 0; at < group.length; at++) {
    const item = group[at] as Item;
    const run = at < single ? [] : ready(group, at, waiting, clock.now());
    if (run.length > 1) {
      const going = await goesOut(run);
      const answer: RunAnswer = going.length > 0 ? await sendRun(item, going) : { kind: 'ok', entries: [] };
      if (answer.kind === 'ok') {
        for (const [i, sent] of going.entries()) {
          await arrived(sent, answer.entries[i]);
          result.sent++;
        }
        for (const { id } of run) waiting.delete(id);
        onChange();
        at += run.length - 1;
        continue;
      }
      if (answer.kind === 'later') {
        await later(item, answer.error);
        return;
      }
      single = at + run.length; // one of them is refused: by themselves it shows which
    }
    if (item.state === 'dead' || item.after.some((id) => waiting.has(id))) continue; // the person decides first
    if (item.nextAt > clock.now()) return;
    const going = item.method === 'PUT' ? item : (await goesOut([item]))[0];
    if (!going) {
      waiting.delete(item.id); // taken back while we were at it
      continue;
    }
    const answer = going.sale ? await sendSale(going) : await send(going, (part) => onPart(item.id, part));
    if (answer.kind === 'ok') {
      await (going.sale ? sold(going) : arrived(going, answer.entry));
      waiting.delete(item.id);
      result.sent++;
      onChange();
    } else if (answer.kind === 'refused') {
      await refused(item, answer.error);
      onChange();
    } else {
      await later(item, answer.error);
      return; // nothing of this animal overtakes it
    }
  }
}

/** The entries from `at` on that may go now, in one request, in order. */
function ready(group: Item[], at: number, waiting: Set<string>, now: number): Item[] {
  const run: Item[] = [];
  for (const item of group.slice(at, at + together)) {
    const sent = (id: string) => !waiting.has(id) || run.some((r) => r.id === id);
    if (!item.entry || item.state === 'dead' || item.nextAt > now || !item.after.every(sent)) break;
    run.push(item);
  }
  return run;
}

type RunAnswer = { kind: 'ok'; entries: EntryJson[] } | { kind: 'later' | 'refused'; error: Refusal };

async function sendRun(first: Item, run: Item[]): Promise<RunAnswer> {
  const { animal } = first;
  const requests = run.map((i) => ({ parent: animal, entryId: i.id, entry: i.entry }));
  try {
    const path = `/v1/${animal}/entries:batchCreate`;
    const answer = await call<BatchCreateEntriesResponseJson>('POST', path, { requests }, session(first));
    return { kind: 'ok', entries: answer.entries ?? [] };
  } catch (e) {
    return failure(e);
  }
}

type Answer = { kind: 'ok'; entry: EntryJson | undefined } | { kind: 'later' | 'refused'; error: Refusal };

/**
 * A picture goes in pieces of this many bytes: a line that breaks costs one piece, also
 * where something on the way holds a request back until it is whole.
 */
export const piece = 128 * 1024;

/** After a try that failed the service is asked how far it came. */
async function sendPhoto(item: Item, photo: StoredPhoto, onPart: (part: number) => void): Promise<void> {
  const how = asPhoto(photo);
  const headers = { ...session(item).headers, ...how.headers };
  const size = photo.bytes.byteLength;
  let at: number | 'all' = item.tries > 0 ? await arrivedOf(item.path, session(item)) : 0;
  let astray = 0;
  while (at !== 'all') {
    const to: number = at >= size ? size : Math.min(at + piece, size);
    const from: number = at >= size ? 0 : at; // more than there is cannot be ours
    const whole = to === size;
    const offset = from > 0 && { 'Upload-Offset': String(from) };
    try {
      await call(from > 0 ? 'PATCH' : 'PUT', item.path, photo.bytes.slice(from, to), {
        ...how,
        headers: { ...headers, ...offset, 'Upload-Complete': whole ? '?1' : '?0' },
      });
      at = whole ? 'all' : to;
      onPart(to / size);
    } catch (e) {
      // It was sent before, and another version of the browser drew it a little otherwise.
      if (e instanceof ApiError && e.reason === 'ID_REUSED') return;
      // What waited there was given up, or another tab sends it too.
      if (!(e instanceof ApiError) || e.reason !== 'UPLOAD_OFFSET' || ++astray > 2) throw e;
      at = await arrivedOf(item.path, session(item));
    }
  }
}

async function send(item: Item, onPart: (part: number) => void): Promise<Answer> {
  try {
    if (item.method === 'PUT') {
      const photo = await photoOf(item.id);
      if (!photo)
        return { kind: 'refused', error: refusal(0, 'PHOTO_GONE', say('The picture is no longer on this phone.')) };
      await sendPhoto(item, photo, onPart);
      return { kind: 'ok', entry: undefined };
    }
    const answer = await call<CreateEntryResponseJson>('POST', item.path, item.entry, session(item));
    return { kind: 'ok', entry: answer.entry };
  } catch (e) {
    return failure(e);
  }
}

/** A sale that was taken back after it had gone out goes once more, to learn which handover it is, and is revoked. */
async function sendSale(item: Item): Promise<Answer> {
  const done: Answer = { kind: 'ok', entry: undefined };
  let name: string | undefined;
  try {
    const answer = await call<CreateHandoverResponseJson>('POST', item.path, item.sale, session(item));
    name = answer.handover?.name;
  } catch (e) {
    const no = failure(e);
    return item.undone && no.kind === 'refused' ? done : no; // the service has no such sale
  }
  try {
    if (item.undone) await call('POST', `/v1/${name}:revoke`, {}, session(item));
    return done;
  } catch (e) {
    return failure(e);
  }
}

function failure(e: unknown): { kind: 'later' | 'refused'; error: Refusal } {
  if (e instanceof Offline) return { kind: 'later', error: refusal(0, 'OFFLINE', say('There was no network.')) };
  if (!(e instanceof ApiError)) throw e;
  const error = refusal(e.status, e.reason, e.message, e.meta, e.fields);
  // Two places that send one picture may be in each other's way: that says nothing against the picture.
  const later = comesBack(e.status) || e.reason === 'UPLOAD_OFFSET';
  return { kind: later ? 'later' : 'refused', error };
}

/** Classified by status alone: texts change. */
function comesBack(status: number): boolean {
  return status >= 500 || status === 408 || status === 425 || status === 429 || status === 401;
}

function refusal(
  status: number,
  reason: string,
  message: string,
  meta: Record<string, string> = {},
  fields: FieldProblem[] = [],
): Refusal {
  return { status, reason, message, meta, ...(fields.length > 0 && { fields }) };
}
