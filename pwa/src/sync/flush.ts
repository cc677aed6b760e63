// The only sender. Page and service worker run the same code; a lock over all
// tabs and the worker lets one of them send at a time.
import type { EntryJson } from '../core/contract';
import type { Item, Refusal } from '../store/db';
import { allItems, arrived, photoOf, postpone, refused } from '../store/outbox';

export interface Net {
  fetch: typeof fetch;
  now(): number;
  random(): number;
}

export const realNet: Net = {
  fetch: (input, init) => fetch(input, init),
  now: () => Date.now(),
  random: () => Math.random(),
};

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
  /** The session ended: nothing is lost, and nothing goes until the person signs in. */
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
export function flush(net: Net = realNet, onChange: () => void = () => undefined): Promise<Result> {
  return locked(async () => {
    const result: Result = { left: 0, sent: 0, signedOut: false };
    const byAnimal = new Map<string, Item[]>();
    for (const item of await allItems()) byAnimal.set(item.animal, [...(byAnimal.get(item.animal) ?? []), item]);
    const groups = [...byAnimal.values()];
    const worker = async () => {
      for (let group = groups.shift(); group; group = groups.shift()) await sendGroup(group, net, result, onChange);
    };
    await Promise.all([worker(), worker(), worker()]);
    result.left = (await allItems()).filter((i) => i.state === 'queued').length;
    return result;
  });
}

async function sendGroup(group: Item[], net: Net, result: Result, onChange: () => void): Promise<void> {
  const waiting = new Set(group.map((i) => i.id));
  for (const item of group) {
    if (item.state === 'dead' || item.after.some((id) => waiting.has(id))) continue; // the person decides first
    if (item.nextAt > net.now()) return;
    const answer = await send(item, net);
    if (answer.kind === 'ok') {
      await arrived(item, answer.entry);
      waiting.delete(item.id);
      result.sent++;
      onChange();
    } else if (answer.kind === 'refused') {
      await refused(item, answer.error);
      onChange();
    } else {
      if (answer.error.status === 401) result.signedOut = true;
      await postpone(item, net.now() + Math.max(wait(item.tries, net.random()), answer.after), answer.error);
      onChange();
      return; // nothing of this animal overtakes it
    }
  }
}

type Answer =
  | { kind: 'ok'; entry: EntryJson | undefined }
  | { kind: 'later'; error: Refusal; after: number }
  | { kind: 'refused'; error: Refusal };

const notReached: Answer = {
  kind: 'later',
  after: 0,
  error: { status: 0, reason: 'OFFLINE', message: 'There was no network.', meta: {} },
};

async function send(item: Item, net: Net): Promise<Answer> {
  let body: BodyInit;
  const headers: Record<string, string> = { 'X-Warmhand': '1', 'Idempotency-Key': item.id, Accept: 'application/json' };
  if (item.method === 'PUT') {
    const photo = await photoOf(item.id);
    if (!photo) {
      return {
        kind: 'refused',
        error: { status: 0, reason: 'PHOTO_GONE', message: 'The picture is no longer on this phone.', meta: {} },
      };
    }
    body = photo.bytes;
    headers['Content-Type'] = photo.type;
    if (item.takenAt) headers['X-Taken-At'] = item.takenAt;
  } else {
    body = JSON.stringify(item.entry);
    headers['Content-Type'] = 'application/json';
  }
  let response: Response;
  let answer: unknown;
  try {
    response = await net.fetch(item.path, {
      method: item.method,
      headers,
      body,
      credentials: 'same-origin',
      cache: 'no-store',
      redirect: 'error',
      signal: AbortSignal.timeout(item.method === 'PUT' ? 120_000 : 30_000),
    });
    answer = await response.json();
  } catch {
    return notReached; // no network, or a page of somebody else's Wi-Fi that is not our JSON
  }
  if (typeof answer !== 'object' || answer === null) return notReached;
  if (response.ok) return { kind: 'ok', entry: (answer as { entry?: EntryJson }).entry };
  const error = refusalOf(response.status, answer as Status);
  const s = response.status;
  if (s >= 500 || s === 408 || s === 425 || s === 429 || s === 401) {
    const seconds = Number(response.headers.get('Retry-After'));
    return { kind: 'later', error, after: seconds > 0 ? Math.min(seconds * 1000, most) : 0 };
  }
  if (typeof (answer as Status).code !== 'number') return notReached; // JSON, but not from us
  return { kind: 'refused', error };
}

interface Status {
  code?: number;
  message?: string;
  details?: { '@type'?: string; reason?: string; metadata?: Record<string, string>; fieldViolations?: { description?: string }[] }[];
}

function refusalOf(status: number, s: Status): Refusal {
  const info = s.details?.find((d) => d['@type']?.endsWith('google.rpc.ErrorInfo'));
  const field = s.details?.find((d) => d.fieldViolations?.length)?.fieldViolations?.[0]?.description;
  return { status, reason: info?.reason ?? '', message: s.message || field || '', meta: info?.metadata ?? {} };
}
