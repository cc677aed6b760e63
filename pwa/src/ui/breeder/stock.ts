// The stock book with what the record says of each animal: loaded whole, narrowed and put in order here, so that
// it answers at once.

import { withQuery } from '../../api/client';
import type {
  ListStockResponseJson,
  ReadyPointJson,
  StockAnimalJson,
} from '../../api/gen/warmhand/v1/animal_service_pb';
import type { SpeciesJson } from '../../api/gen/warmhand/v1/reference_service_pb';
import { byLetters } from '../../core/ids';
import { locale } from '../../core/language';
import { say } from '../../core/say';
import { daysSince } from '../../core/time';
import { ask, breeder } from './session';

/** Every animal of the stock book, newest first. */
export async function loadStock(signal?: AbortSignal): Promise<StockAnimalJson[]> {
  const all: StockAnimalJson[] = [];
  let pageToken = '';
  do {
    const path = withQuery(`/v1/${breeder()}/stock`, { pageSize: 500, pageToken });
    const page = await ask<ListStockResponseJson>('GET', path, undefined, signal && { signal });
    all.push(...(page.animals ?? []));
    pageToken = page.nextPageToken ?? '';
  } while (pageToken);
  return all;
}

export type Where = 'here' | 'ready' | 'not_yet' | 'away' | 'all';
export type Order = 'newest' | 'name' | 'place' | 'weighed' | 'heaviest' | 'oldest';

/** What of the stock book is shown, and how. */
export interface Choice {
  words: string;
  where: Where;
  species: string;
  clutch: string;
  /** Not weighed for so many days; 0: any. */
  unweighed: number;
  order: Order;
}

export const everything: Choice = {
  words: '',
  where: 'here',
  species: '',
  clutch: '',
  unweighed: 0,
  order: 'newest',
};

/** Without case, accents and the space around, as people leave them out. */
export function fold(text: string): string {
  return text.normalize('NFKD').replace(/\p{M}/gu, '').toLowerCase().replaceAll('ß', 'ss').trim();
}

let names: Intl.Collator | undefined;

/** As people call things, numbers as numbers. Made when first asked for: a browser takes longer for it than for the list. */
function byName(x: string, y: string): number {
  names ??= new Intl.Collator(locale(), { numeric: true, sensitivity: 'base' });
  return names.compare(x, y);
}

/** Days since the last weight; Infinity for an animal that was never weighed. */
export function unweighedFor(a: StockAnimalJson, now: Date): number {
  return a.weighTime ? daysSince(a.weighTime, now) : Number.POSITIVE_INFINITY;
}

function belongs(a: StockAnimalJson, where: Where): boolean {
  switch (where) {
    case 'here':
      return !a.away;
    case 'ready':
      return !a.away && a.readiness?.ready === true;
    case 'not_yet':
      return !a.away && a.readiness?.ready !== true;
    case 'away':
      return a.away === true;
    case 'all':
      return true;
  }
}

/** By place, numbers as numbers: tub 9 before tub 10. Who has none comes last, by label. */
export function byPlace(a: StockAnimalJson, b: StockAnimalJson): number {
  const [x, y] = [a.animal?.place ?? '', b.animal?.place ?? ''];
  return Number(!x) - Number(!y) || byName(x, y) || byName(a.animal?.displayName ?? '', b.animal?.displayName ?? '');
}

export function choose(
  all: readonly StockAnimalJson[],
  c: Choice,
  kinds: readonly SpeciesJson[] = [],
  now = new Date(),
): StockAnimalJson[] {
  const words = fold(c.words).split(/\s+/).filter(Boolean);
  const common = new Map(kinds.map((s) => [s.id, s.commonName ?? '']));
  const shown = all.filter((s) => {
    const a = s.animal;
    if (!belongs(s, c.where) || (c.species && a?.species !== c.species)) return false;
    if (c.clutch && a?.clutch !== c.clutch) return false;
    if (c.unweighed && (s.away || unweighedFor(s, now) < c.unweighed)) return false;
    if (words.length === 0) return true;
    const text = fold(
      [a?.displayName, a?.species, common.get(a?.species), a?.clutch, a?.place, ...(a?.genes ?? [])].join('\n'),
    );
    return words.every((w) => text.includes(w));
  });
  const name = (s: StockAnimalJson) => s.animal?.displayName ?? '';
  const orders: Record<Order, ((x: StockAnimalJson, y: StockAnimalJson) => number) | undefined> = {
    newest: undefined,
    name: (x, y) => byName(name(x), name(y)),
    place: byPlace,
    weighed: (x, y) => byLetters(x.weighTime, y.weighTime),
    heaviest: (x, y) => Number(y.massG ?? 0) - Number(x.massG ?? 0),
    // Without a day of hatching it is nobody's oldest.
    oldest: (x, y) => byLetters(x.animal?.hatchDate || '9', y.animal?.hatchDate || '9'),
  };
  const order = orders[c.order];
  return order ? shown.sort(order) : shown;
}

/** What is missing, in one breath: the first two, and how many more. */
export function missing(points: readonly ReadyPointJson[] | undefined): string {
  const all = (points ?? []).flatMap((p) => (p.verdict === 'READY_VERDICT_NOT_YET' && p.missing ? [p.missing] : []));
  const rest = all.length - 2;
  return rest > 0 ? say('{first}; and {n} more', { first: all.slice(0, 2).join('; '), n: rest }) : all.join('; ');
}

/** The words that occur in a field, each once, in order. */
export function occurring(all: readonly StockAnimalJson[], field: 'species' | 'clutch'): string[] {
  return [...new Set(all.flatMap((s) => s.animal?.[field] || []))].sort(byName);
}

/** The rack of a place: "rack 2" of "rack 2 tub 14", "A" of "A-14"; '' where nothing says so. */
export function rackOf(place: string | undefined): string {
  const before = (place ?? '').trim().replace(/[\s,;:/.-]*\d+\p{L}?$/u, '');
  const words = before.replace(/[\s,;:/.-]+\p{L}+$/u, '');
  return (/\d/.test(words) ? words : before).trim();
}

/** The racks of these animals, each once as it is first written, in order. */
export function racks(all: readonly StockAnimalJson[]): string[] {
  const found = new Map<string, string>();
  for (const s of all) {
    const rack = rackOf(s.animal?.place);
    if (rack && !found.has(fold(rack))) found.set(fold(rack), rack);
  }
  return [...found.values()].sort(byName);
}

/** Of which animals a run is made. */
export interface RunChoice {
  /** '' for any. */
  rack: string;
  /** Weigh-in: not weighed for so many days; feeding: 1 for those that are due. 0 for all. */
  due: number;
}

export type RunKind = 'weigh' | 'feed';

/** Is food due, by the days that the service gives for its species and size? */
export function foodDue(s: StockAnimalJson, now: Date): boolean {
  const last = s.lastOffer?.happenTime;
  return !last || daysSince(last, now) >= (s.offerAgainDays ?? 0);
}

/** The animals of a run, in the order of their places. Who is with a keeper is not among them. */
export function forRun(
  all: readonly StockAnimalJson[],
  kind: RunKind,
  c: RunChoice,
  now = new Date(),
): StockAnimalJson[] {
  return all
    .filter(
      (s) =>
        !s.away &&
        (!c.rack || fold(rackOf(s.animal?.place)) === fold(c.rack)) &&
        (!c.due || (kind === 'feed' ? foodDue(s, now) : unweighedFor(s, now) >= c.due)),
    )
    .sort(byPlace);
}
