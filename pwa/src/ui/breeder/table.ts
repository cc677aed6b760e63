// The breeder's work without network: the copy of the stock book, and what is logged on the way to the service.

import { signal } from '@preact/signals';
import { ApiError, withQuery } from '../../api/client';
import type { CardJson, EntryJson, ListCardsResponseJson, StockAnimalJson } from '../../core/contract';
import { uuidv7 } from '../../core/ids';
import { say } from '../../core/say';
import { slipOf } from '../../core/slip';
import { warmFinder } from '../../photo/finder';
import { keepCards, keepStock, readCards, readStock, type StockCopy } from '../../store/copies';
import { type Item, isFull } from '../../store/db';
import {
  allItems,
  drop,
  type GoesOn,
  hurry,
  itemOf,
  type NewPhoto,
  type NewSale,
  saveEntry,
  saveSale,
  type Undo,
  undoEntry,
} from '../../store/outbox';
import { flush } from '../../sync/flush';
import { askForBackgroundSync } from '../../sync/sync';
import { isOffline } from './hooks';
import { ask, breeder, refreshMe, signedOut } from './session';
import { loadStock } from './stock';

/** What this breeder logged and the service does not have yet, in the order of saving; `dead` needs the person. */
export const waiting = signal<readonly Item[]>([]);
export const sending = signal(false);

/** Reads `waiting` again. */
export async function loadWaiting(): Promise<void> {
  const mine = `${breeder()}/`;
  waiting.value = (await allItems()).filter((i) => i.as === 'breeder' && i.animal.startsWith(mine));
}

/** Every animal of the stock book from the service; the device keeps a copy. Throws what the call throws. */
export async function fetchStock(signal?: AbortSignal): Promise<StockAnimalJson[]> {
  const of = breeder();
  const animals = await loadStock(signal);
  await keepStock(of, animals).catch(() => undefined); // a full phone: the screen has it all the same
  return (await stockCopy())?.animals ?? animals;
}

/** Every card of the breeder's, the last made first; the device keeps what it needs to know the blank ones by. */
export async function fetchCards(signal?: AbortSignal): Promise<CardJson[]> {
  const of = breeder();
  const all: CardJson[] = [];
  let key = '';
  let pageToken = '';
  do {
    const path = withQuery(`/v1/${of}/cards`, { pageSize: 200, pageToken });
    const page = await ask<ListCardsResponseJson>('GET', path, undefined, signal && { signal });
    all.push(...(page.cards ?? []));
    key = page.markKey ?? '';
    pageToken = page.nextPageToken ?? '';
  } while (pageToken);
  const blank = all.flatMap((c) => (c.mark ? { mark: c.mark, number: Number(c.number) } : []));
  const bytes = Uint8Array.from(atob(key), (c) => c.charCodeAt(0));
  await keepCards({ breeder: of, at: Date.now(), key: bytes, blank }).catch(() => undefined);
  return all;
}

/** What this device knows of a card by its code: that it is blank, with its number; that it is not; or nothing. */
export async function cardOf(code: string): Promise<{ number: number } | 'not blank' | 'not known'> {
  const cards = await readCards(breeder()).catch(() => undefined);
  if (!cards || !crypto.subtle) return 'not known';
  const hmac = { name: 'HMAC', hash: 'SHA-256' };
  const key = await crypto.subtle.importKey('raw', cards.key, hmac, false, ['sign']);
  const mark = new Uint8Array(await crypto.subtle.sign('HMAC', key, new TextEncoder().encode(code)));
  const hex = [...mark].map((b) => b.toString(16).padStart(2, '0')).join('');
  return cards.blank.find((c) => c.mark === hex) ?? 'not blank';
}

/** Saves a sale on this device, ends its draft, and sends it by itself. */
export async function sell(n: NewSale, draft: string): Promise<Item> {
  const item = await kept(saveSale(n, draft));
  await loadWaiting();
  announce();
  void send().catch(() => undefined); // the next round tries again
  return item;
}

/** Says in words why the device did not keep what a person saved. */
async function kept<T>(saving: Promise<T>): Promise<T> {
  try {
    return await saving;
  } catch (e) {
    throw new Error(
      isFull(e)
        ? say('Not saved: this device is full. Delete something else, such as old videos, and save again.')
        : say('Not saved: the device did not let the app store it. Close other tabs of this app and save again.'),
      { cause: e },
    );
  }
}

/** The signed-in breeder's copy with unsent entries laid over; undefined when this device has none. */
export function stockCopy(): Promise<StockCopy | undefined> {
  const of = breeder();
  return of ? readStock(of).catch(() => undefined) : Promise.resolve(undefined);
}

/** Runs a call; without network, `fromCopy` answers from the copy, if it can. */
export async function orCopy<T>(load: () => Promise<T>, fromCopy: (copy: StockCopy) => T | undefined): Promise<T> {
  try {
    return await load();
  } catch (e) {
    const copy = isOffline(e) ? await stockCopy() : undefined;
    const found = copy && fromCopy(copy);
    if (found === undefined) throw e;
    return found;
  }
}

/** The service has it, or this device keeps it and sends it by itself. */
export type Logged = { entry: EntryJson; kept?: never } | { kept: true; entry?: never };

/** How long a person waits for the answer before the entry is left to go by itself, ms. */
const patience = 5_000;

/**
 * Saves an entry of the breeder's and its pictures on this device, ends the draft, and sends it. Called again with the same id, it sends the same
 * entry. Refused while the person is there, nothing of it stays, and the ApiError says why. LIKELY_SLIP also comes
 * from this device, when the last known weight makes it one: ask, then log it under a new id with `confirmed`.
 */
export async function logAsBreeder(
  animal: string,
  entry: EntryJson,
  { id = uuidv7(), photos = [], draft }: { id?: string; photos?: readonly NewPhoto[]; draft?: string } = {},
): Promise<Logged> {
  if (!(await itemOf(id))) {
    await askAboutSlip(animal, entry);
    const of = { name: entry.case ?? '', animal: { name: animal } };
    await kept(saveEntry({ as: 'breeder', case: of, entry, id, photos, ...(draft && { draft }) }));
    await loadWaiting();
  }
  await within(patience, send());
  const item = await itemOf(id);
  const refused = [...(await Promise.all(photos.map((p) => itemOf(p.id)))), item].find((i) => i?.state === 'dead');
  if (item && refused) {
    const { status = 0, message = '', reason = '', fields = [], meta = {} } = refused.error ?? {};
    await drop(item.seq);
    for (const p of photos) {
      const left = await itemOf(p.id);
      if (left) await drop(left.seq);
    }
    await loadWaiting();
    throw new ApiError(status, reason, message, fields, meta);
  }
  await loadWaiting();
  return item ? { kept: true } : { entry: { ...entry, name: `${animal}/entries/${id}`, by: 'ACTOR_KIND_BREEDER' } };
}

async function askAboutSlip(animal: string, e: EntryJson): Promise<void> {
  if (!e.weighIn && !e.offer) return;
  const slip = slipOf(
    (await stockCopy())?.animals.find((s) => s.animal?.name === animal),
    e,
  );
  if (!slip) return;
  const meta = { value: String(slip.value), against: String(slip.against) };
  throw new ApiError(400, 'LIKELY_SLIP', slip.text, [], meta);
}

/** An entry of a run, where nobody waits for an answer: kept on this device with the run as it goes on, and sent by itself. */
export async function logInRun(animal: string, entry: EntryJson, id: string, goesOn: GoesOn): Promise<void> {
  await kept(saveEntry({ as: 'breeder', case: { name: '', animal: { name: animal } }, entry, id, goesOn }));
  await leaves();
}

/** Takes an entry of a run back, whether it was sent or not. */
export async function undoInRun(undo: Omit<Undo, 'as'>): Promise<void> {
  await kept(undoEntry({ ...undo, as: 'breeder' }));
  await leaves();
}

let leaving = false;
let more = false;

/** Begins to send what was saved; what is saved meanwhile goes in one more round. */
async function leaves(): Promise<void> {
  await loadWaiting();
  announce();
  if (leaving) {
    more = true;
    return;
  }
  leaving = true;
  const round = async (): Promise<void> => {
    more = false;
    await send().catch(() => undefined); // the next round tries again
    if (more) await round();
  };
  void round().finally(() => {
    leaving = false;
  });
}

async function within(ms: number, work: Promise<unknown>): Promise<void> {
  let timer: ReturnType<typeof setTimeout> | undefined;
  const limit = new Promise<void>((done) => {
    timer = setTimeout(done, ms);
  });
  await Promise.race([work, limit]);
  clearTimeout(timer);
}

/** Sends what waits, now. */
export async function send(): Promise<void> {
  if (!navigator.onLine) {
    await askForBackgroundSync();
    return;
  }
  sending.value = true;
  try {
    await hurry();
    const result = await flush(announce);
    if (result.left > 0) await askForBackgroundSync();
    await loadWaiting();
    if (waiting.value.some((i) => i.error?.status === 401)) signedOut.value = true;
  } finally {
    sending.value = false;
  }
}

let channel: BroadcastChannel | undefined;

/** To this device's other tabs. */
export function announce(): void {
  channel?.postMessage('changed');
}

const every = 30_000;
/** For how long a copy of the stock book is as good as a new one, ms. */
export const copyHolds = 10 * 60_000;

/** Sends, and keeps the copy fresh, for as long as the breeder's screens are open. Returns how to end it. */
export function startTable(): () => void {
  const stop = new AbortController();
  const { signal } = stop;
  const read = () => void loadWaiting().catch(() => undefined);
  const workers = navigator.serviceWorker as ServiceWorkerContainer | undefined;
  let warmed = false;
  const round = async () => {
    try {
      await loadWaiting();
      if (waiting.value.some((i) => i.state === 'queued')) await send();
      if (!navigator.onLine) return;
      if (Date.now() - ((await stockCopy())?.at ?? 0) > copyHolds) await fetchStock(signal);
      const cards = await readCards(breeder());
      if (Date.now() - (cards?.at ?? 0) > copyHolds) await fetchCards(signal);
      // Who has cards to hand over scans them where there is no network. What is fetched before the service worker
      // serves this page is not kept.
      if (!warmed && cards && cards.blank.length > 0 && (!workers || workers.controller)) {
        await warmFinder();
        warmed = true;
      }
    } catch {
      // No network or no storage: the screens say so where it matters, and the next round tries again.
    }
  };
  if (typeof BroadcastChannel !== 'undefined') {
    channel = new BroadcastChannel('warmhand');
    channel.onmessage = read;
  }
  const seen = () => document.visibilityState === 'visible' && void round();
  addEventListener('online', () => void refreshMe().then(round, round), { signal });
  workers?.addEventListener('controllerchange', () => void round(), { signal });
  document.addEventListener('visibilitychange', seen, { signal });
  const timer = setInterval(seen, every);
  void round();
  return () => {
    stop.abort();
    clearInterval(timer);
    channel?.close();
    channel = undefined;
    waiting.value = [];
  };
}
