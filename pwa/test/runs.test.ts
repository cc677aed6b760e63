import { expect, test } from 'vitest';
import type { StockAnimalJson } from '../src/core/contract';
import { among, back, begin, done, goTo, left, logged, type Run, skip, takeUp, without } from '../src/core/run';
import { neighbourSlip, preySlip, slipOf } from '../src/core/slip';
import { usualPrey } from '../src/ui/breeder/feedrun';
import { foodDue, forRun, rackOf, racks } from '../src/ui/breeder/stock';
import { beside } from '../src/ui/breeder/weighrun';

const step = (animal: string, id = animal) => ({ animal, id, entry: {}, last: {} });
const weigh = (r: Run, id?: string) => logged(r, step(r.at, id));

test('a run goes on from one to the next, and those passed over come last', () => {
  let r = begin('breeders/b', ['a', 'b', 'c', 'd']);
  r = weigh(r);
  expect(r.at).toBe('b');
  r = skip(r);
  r = goTo(r, 'd'); // its label was scanned
  r = weigh(r);
  expect(r.at).toBe('c');
  r = weigh(r);
  expect([r.at, done(r), r.skipped, left(r)]).toEqual(['', 3, ['b'], []]);
  expect(skip(r)).toEqual(r);
  r = takeUp(r);
  expect(r.at).toBe('b');
  r = weigh(r);
  expect([r.at, done(r), r.skipped]).toEqual(['', 4, []]);
});

test('what was taken back has its turn again; weighed twice counts once', () => {
  let r = weigh(weigh(begin('breeders/b', ['a', 'b', 'c'])));
  r = without(r, 'b');
  expect([r.at, done(r)]).toEqual(['b', 1]);
  r = weigh(goTo(r, 'a'), 'again');
  expect([r.at, done(r), r.steps.length]).toEqual(['b', 1, 2]);
  r = without(r, 'again');
  expect([r.at, done(r)]).toEqual(['a', 1]); // the first weight of it stands
  expect(without(r, 'never was')).toBe(r);
});

test('a skipped one that is weighed after all is skipped no more; back goes to the one before', () => {
  let r = skip(begin('breeders/b', ['a', 'b']));
  r = back(r);
  expect(r.at).toBe('a');
  expect(back(r).at).toBe('a');
  r = weigh(r);
  expect([r.skipped, r.at]).toEqual([[], 'b']);
  expect(back(weigh(r)).at).toBe('b'); // from the end
});

test('an animal of another rack is taken in where it is scanned', () => {
  const r = goTo(begin('breeders/b', ['a', 'b']), 'x');
  expect([r.names, r.at, weigh(r).at]).toEqual([['a', 'x', 'b'], 'x', 'b']);
});

test('who was sold meanwhile is left out; what was logged of it stays', () => {
  const r = weigh(begin('breeders/b', ['a', 'b', 'c']));
  expect(among(r, new Set(['c']))).toMatchObject({ names: ['a', 'c'], at: 'c' });
  expect(among(r, new Set(['b', 'c']))).toMatchObject({ names: ['a', 'b', 'c'], at: 'b' });
  expect(among(r, new Set())).toMatchObject({ names: ['a'], at: '' });
});

test('the neighbour’s weight is asked about only when it is far from the own one', () => {
  expect(neighbourSlip(84, 120, 120)).toBe(true);
  expect(neighbourSlip(84, 121, 120)).toBe(true); // nearly
  expect(neighbourSlip(84, 123, 120)).toBe(false);
  expect(neighbourSlip(112, 120, 120)).toBe(false); // siblings weigh alike
  expect(neighbourSlip(0, 120, 120)).toBe(false);
  expect(neighbourSlip(84, 120, 0)).toBe(false);
  const animal = (name: string, massG: number) =>
    ({ animal: { name, displayName: name }, massG, weighTime: '2026-11-20T10:00:00Z' }) as StockAnimalJson;
  const stock = new Map([animal('a', 120), animal('b', 84), animal('c', 60)].map((s) => [s.animal?.name ?? '', s]));
  const run = goTo(begin('breeders/b', ['a', 'b', 'c']), 'b');
  const b = stock.get('b') as StockAnimalJson;
  expect(beside({ run, stock }, b, 120)).toMatch(/^120\u00a0g is what a in the next tub weighed/);
  expect(beside({ run, stock }, b, 60)).toContain('what c in the next tub');
  expect(beside({ run, stock }, b, 86)).toBe('');
});

test('a slip is told with what it is held against; what was confirmed or corrects another is taken', () => {
  const s: StockAnimalJson = { massG: 84, weighTime: '2026-11-01T10:00:00Z' };
  const weighIn = { massG: 840 };
  const happenTime = '2026-11-20T10:00:00Z';
  expect(slipOf(s, { happenTime, weighIn })).toMatchObject({ value: 840, against: 84 });
  expect(slipOf(s, { happenTime, weighIn, confirmed: true })).toBeUndefined();
  expect(slipOf(s, { happenTime, weighIn, replaces: 'x' })).toBeUndefined();
  expect(slipOf({}, { happenTime, weighIn })).toBeUndefined();
  expect(slipOf(s, { happenTime, weighIn: { massG: 90 } })).toBeUndefined();
  expect(slipOf(s, { happenTime: '2026-10-01T10:00:00Z', weighIn })).toBeUndefined(); // before the last: the service knows
  // The bound of the service: prey heavier than the snake.
  expect(slipOf(s, { happenTime, offer: { preyG: 85 } })).toMatchObject({ value: 85, against: 84 });
  expect(slipOf(s, { happenTime, offer: { preyG: 84 } })).toBeUndefined();
  expect(preySlip(85, 0)).toBe(false);
});

test('a rack is what stands before the tub', () => {
  for (const [place, rack] of [
    ['rack 2 tub 14', 'rack 2'],
    ['Rack 2, tub 14b', 'Rack 2'],
    ['2/14', '2'],
    ['A-14', 'A'],
    ['A14', 'A'],
    ['top rack tub 3', 'top rack tub'],
    ['tub 14', 'tub'],
    ['quarantine', 'quarantine'],
    ['', ''],
    [undefined, ''],
  ] as const) {
    expect(rackOf(place), place).toBe(rack);
  }
});

const now = new Date('2026-11-20T12:00:00Z');
const at = (displayName: string, place: string, more: StockAnimalJson = {}): StockAnimalJson => ({
  animal: { name: `breeders/b/animals/${displayName}`, displayName, place },
  offerAgainDays: 7,
  ...more,
});
const offered = (day: number) => ({ lastOffer: { happenTime: `2026-11-${day}T19:00:00Z` } });

test('a run takes a rack or all in the order of places, who is due, and nobody who is with a keeper', () => {
  const all = [
    at('ten', 'rack 2 tub 10', offered(13)),
    at('nine', 'Rack 2 tub 9', { ...offered(14), massG: 80, weighTime: '2026-11-18T08:00:00Z' }),
    at('one', 'rack 1 tub 1'),
    at('gone', 'rack 1 tub 2', { away: true }),
    at('nowhere', ''),
  ];
  const names = (kind: 'weigh' | 'feed', rack: string, due: number) =>
    forRun(all, kind, { rack, due }, now).map((s) => s.animal?.displayName);
  expect(racks(all)).toEqual(['rack 1', 'rack 2']);
  expect(names('weigh', '', 0)).toEqual(['one', 'nine', 'ten', 'nowhere']);
  expect(names('weigh', 'rack 2', 0)).toEqual(['nine', 'ten']);
  expect(names('weigh', '', 7)).toEqual(['one', 'ten', 'nowhere']); // never weighed is long ago
  expect(names('feed', '', 1)).toEqual(['one', 'ten', 'nowhere']);
  expect(foodDue(at('x', '', { ...offered(14), offerAgainDays: 5 }), now)).toBe(true);
});

test('what it eats is what it ate last, else what it was offered last', () => {
  const meal = { offer: { prey: 'mouse', preyState: 'PREY_STATE_THAWED', preyG: 8 } } as const;
  const refused = {
    offer: { prey: 'rat', preyState: 'PREY_STATE_LIVE', preyG: 9, result: 'OFFER_RESULT_REFUSED' },
  } as const;
  expect(usualPrey({ lastMeal: meal, lastOffer: refused })).toEqual(meal.offer);
  expect(usualPrey({ lastOffer: refused })).toEqual({ prey: 'rat', preyState: 'PREY_STATE_LIVE', preyG: 9 });
  expect(usualPrey({})).toEqual({ prey: '', preyState: 'PREY_STATE_UNSPECIFIED', preyG: 0 });
});
