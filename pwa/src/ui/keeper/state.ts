import { computed, signal } from '@preact/signals';
import type { CaseJson, EntryJson } from '../../core/contract';
import { say } from '../../core/say';
import { forInput } from '../../core/time';
import { type Known, type Line, laidOver, readKnown, unreadOf } from '../../store/copies';
import { isFull, readState, writeState } from '../../store/db';
import { drop, type NewEntry, saveEntry } from '../../store/outbox';
import { announce, syncNow } from '../../sync/sync';

/** What the phone knows; null until it was read. */
export const known = signal<Known | null>(null);
/** The phone's storage cannot be opened: said on every screen. */
export const broken = signal('');
/** What was saved last, for the screen that follows. */
export const saved = signal<{ case: string; text: string; id: string } | null>(null);

let drawn = '';

/** Reads the phone's database. The screens draw anew when it holds something new, and when the minutes they name have passed. */
export async function load(): Promise<void> {
  try {
    const next = await readKnown();
    for (const item of next.outbox) {
      // A refused "opened the app" is nothing that a person wrote or could put right.
      if (item.state === 'dead' && item.entry?.seen) await drop(item.seq);
    }
    const minute = Math.floor(Date.now() / 60_000);
    const all = JSON.stringify([minute, ...Object.values(next).map((v) => (v instanceof Map ? [...v] : v))]);
    if (all !== drawn) known.value = next;
    drawn = all;
    broken.value = '';
  } catch (e) {
    broken.value =
      e instanceof DOMException && e.name === 'VersionError'
        ? say('A newer version of this app has used this phone’s storage. Close all its tabs and open it again.')
        : say(
            'This phone does not let the app open its storage. In private windows that is normal: please use an ordinary one.',
          );
  }
}

/** Entries of the person that have not arrived; "opened the app" and pictures are not counted. */
export const unsent = computed(() => (known.value?.outbox ?? []).filter((i) => i.entry && !i.entry.seen));
export const refusedItems = computed(() =>
  (known.value?.outbox ?? []).filter((i) => i.state === 'dead' && !i.entry?.seen),
);

export function caseNamed(breeder: string, id: string): CaseJson | undefined {
  return known.value?.cases.find((c) => c.name === `breeders/${breeder}/cases/${id}`);
}

export function linesOf(c: CaseJson): Line[] {
  const k = known.value;
  const animal = c.animal?.name ?? '';
  return k ? laidOver(k.logs.get(animal) ?? [], k.outbox, animal) : [];
}

/** What the breeder wrote and the keeper has read on no phone, newest first. */
export function unread(c: CaseJson): EntryJson[] {
  return unreadOf(linesOf(c), c, known.value?.read ?? new Map());
}

export function animalName(c: CaseJson): string {
  return c.animal?.displayName || c.commonName || say('Your snake');
}

/** Saves on this phone, then sends. Throws a sentence for the screen when the phone did not keep it. */
export async function save(n: NewEntry): Promise<string> {
  let id: string;
  try {
    id = await saveEntry(n);
  } catch (e) {
    throw new Error(
      isFull(e)
        ? say('Not saved: this phone is full. Delete something else, such as old videos, and save again.')
        : say('Not saved: the phone did not let the app store it. Close other tabs of this app and save again.'),
      { cause: e },
    );
  }
  announce();
  await load();
  void syncNow();
  void keepStorage();
  return id;
}

/** Asks the browser, once there is something to lose, not to clear it by itself. */
async function keepStorage(): Promise<void> {
  try {
    if (!(await navigator.storage.persisted())) await navigator.storage.persist();
  } catch {
    // Not in every browser; Settings tells the person.
  }
}

/** One proof of contact a day, for each open case; whether one was saved now. */
export async function seenToday(now = new Date()): Promise<boolean> {
  let said = false;
  const work = async () => {
    for (const c of known.value?.cases ?? []) {
      if (c.endTime) continue;
      const key = `seen ${c.name}`;
      const today = forInput(now).slice(0, 10);
      if ((await readState<string>(key)) === today) continue;
      await writeState(key, today);
      await saveEntry({ case: c, entry: { happenTime: now.toISOString(), seen: {} } });
      said = true;
    }
  };
  try {
    // Two tabs that open together must not both say it.
    await (navigator.locks ? navigator.locks.request('seen', work) : work());
  } catch {
    // The phone is full: nothing that the person wrote.
  }
  return said;
}
