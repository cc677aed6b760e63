// When the page sends and fetches: at start, when the network or the person comes
// back, after each save, and by a timer while the page is visible.
import { signal } from '@preact/signals';
import { waitingCards } from '../store/copies';
import { allItems, hurry } from '../store/outbox';
import { flush } from './flush';
import { refresh } from './refresh';

export type Phase = 'idle' | 'sending' | 'offline';

export const phase = signal<Phase>('idle');
/** The session on this phone ended; unsent entries wait for a new sign-in. */
export const signedOut = signal(false);

/** How much of the picture that is being sent has gone, 0 to 1. */
export const part = signal<{ id: string; part: number } | undefined>(undefined);

const every = 30_000;
const seldom = 5 * 60_000;
let fetchedAt = 0;

let channel: BroadcastChannel | undefined;
let changed: () => void = () => undefined;

/** Tells this page and the other tabs to read the database again. */
export function announce(): void {
  changed();
  channel?.postMessage('changed');
}

let turn: Promise<void> | undefined;
let again = false;

/** Sends, then fetches. Calls while one is under way lead to one more round. */
export function syncNow(): Promise<void> {
  if (turn !== undefined) {
    again = true;
    return turn;
  }
  turn = (async () => {
    do {
      again = false;
      await round();
    } while (again);
  })().finally(() => {
    turn = undefined;
  });
  return turn;
}

async function round(): Promise<void> {
  phase.value = 'sending';
  try {
    const result = await flush(announce, undefined, (id, gone) => {
      part.value = { id, part: gone };
    });
    part.value = undefined;
    if (result.left > 0) await askForBackgroundSync();
    const fetched = await refresh();
    if (fetched === 'ok') fetchedAt = Date.now();
    signedOut.value = result.signedOut || fetched === 'signed out';
    phase.value = fetched === 'offline' ? 'offline' : 'idle';
  } catch {
    phase.value = 'offline'; // the database is closed to us; the screens say so when they read it
  }
  announce();
}

/** Where the browser has it, the worker sends even when the app is closed. */
export async function askForBackgroundSync(): Promise<void> {
  try {
    const registration = (await navigator.serviceWorker?.getRegistration()) as
      | (ServiceWorkerRegistration & { sync?: { register(tag: string): Promise<void> } })
      | undefined;
    await registration?.sync?.register('outbox');
  } catch {
    // Refused by the person or not there: the page sends when it is open.
  }
}

/** Network, the person or their sign-in came back: everything that waits may go. */
export async function back(): Promise<void> {
  await turn; // what it still puts off because there was no network may go now, too
  await hurry();
  await syncNow();
  watch();
}

/** While the service tells of every change, the timer only sends, and fetches seldom. */
async function tick(): Promise<void> {
  watch();
  const hears = live?.readyState === 1;
  const waits = (await allItems()).some((i) => i.as === 'keeper' && i.state === 'queued');
  if (waits || (await waitingCards()).length > 0 || !hears || Date.now() - fetchedAt > seldom) await syncNow();
}

let live: EventSource | undefined;

/** The breeder's answer shows up by itself while the app is open. */
function watch(): void {
  if (typeof EventSource === 'undefined' || (live && live.readyState !== 2)) return;
  if (signedOut.value || phase.value === 'offline') return;
  live = new EventSource('/v1/keepers/me/live');
  live.addEventListener('change', () => void syncNow());
}

export function startSync(onChange: () => void): void {
  changed = onChange;
  if (typeof BroadcastChannel !== 'undefined') {
    channel = new BroadcastChannel('warmhand');
    channel.onmessage = () => changed();
  }
  addEventListener('online', () => void back());
  addEventListener('offline', () => {
    phase.value = 'offline';
  });
  document.addEventListener('visibilitychange', () => {
    if (document.visibilityState === 'visible') void back();
  });
  setInterval(() => {
    if (document.visibilityState === 'visible') void tick();
  }, every);
  void back();
}
