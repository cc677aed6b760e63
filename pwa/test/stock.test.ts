import { expect, test } from 'vitest';
import type { StockAnimalJson } from '../src/api/gen/warmhand/v1/animal_service_pb';
import { middle } from '../src/ui/breeder/clutch';
import { type Choice, choose, everything, missing, occurring } from '../src/ui/breeder/stock';

const now = new Date('2026-11-20T12:00:00Z');
const animal = (displayName: string, more: StockAnimalJson['animal'] = {}, rest: StockAnimalJson = {}) =>
  ({ animal: { name: `breeders/b/animals/${displayName}`, displayName, ...more }, ...rest }) as StockAnimalJson;
const all = [
  animal(
    'Zoë',
    { species: 'python_regius', clutch: '26-1', place: 'rack 2 tub 10', genes: ['het Clown'] },
    { massG: 90, weighTime: '2026-11-18T08:00:00Z', readiness: { ready: true } },
  ),
  animal(
    'tub 9',
    { species: 'python_regius', clutch: '26-1', place: 'Rack 2 tub 9', hatchDate: '2026-07-01' },
    { massG: 120, weighTime: '2026-11-01T08:00:00Z', readiness: {} },
  ),
  animal('tub 10', { species: 'boa_imperator', hatchDate: '2020-07-01' }, { readiness: {} }),
  animal('gone', { species: 'boa_imperator', place: 'rack 1' }, { away: true }),
];
const kinds = [{ id: 'python_regius', commonName: 'ball python' }];
const names = (c: Partial<Choice>) =>
  choose(all, { ...everything, ...c }, kinds, now).map((s) => s.animal?.displayName);

test('the stock book is narrowed', () => {
  expect(names({})).toEqual(['Zoë', 'tub 9', 'tub 10']); // what is here
  expect(names({ where: 'all' })).toHaveLength(4);
  expect(names({ where: 'away' })).toEqual(['gone']);
  expect(names({ where: 'ready' })).toEqual(['Zoë']);
  expect(names({ where: 'not_yet' })).toEqual(['tub 9', 'tub 10']);
  expect(names({ species: 'boa_imperator' })).toEqual(['tub 10']);
  expect(names({ clutch: '26-1' })).toEqual(['Zoë', 'tub 9']);
  expect(names({ unweighed: 14 })).toEqual(['tub 9', 'tub 10']); // never weighed counts as long ago
  expect(names({ unweighed: 14, where: 'all' })).not.toContain('gone');
  for (const words of ['zoe', 'ZOE\u0308', 'clown', 'BALL zo', 'tub 10 zoe', 'regius 26-1 clown']) {
    expect(names({ words }), words).toEqual(['Zoë']);
  }
  expect(names({ words: 'clown boa' })).toEqual([]);
});

test('the stock book is put in order', () => {
  expect(names({ order: 'name' })).toEqual(['tub 9', 'tub 10', 'Zoë']);
  expect(names({ order: 'place' })).toEqual(['tub 9', 'Zoë', 'tub 10']); // who has none comes last
  expect(names({ order: 'weighed' })).toEqual(['tub 10', 'tub 9', 'Zoë']);
  expect(names({ order: 'heaviest' })).toEqual(['tub 9', 'Zoë', 'tub 10']);
  expect(names({ order: 'oldest' })).toEqual(['tub 10', 'tub 9', 'Zoë']);
  expect(occurring(all, 'clutch')).toEqual(['26-1']);
  expect(occurring(all, 'species')).toEqual(['boa_imperator', 'python_regius']);
});

test('what is missing is said in one breath', () => {
  const point = (text: string) => ({ verdict: 'READY_VERDICT_NOT_YET' as const, missing: text });
  expect(missing([{ verdict: 'READY_VERDICT_TELL_BUYER', missing: '' }, point('a weight')])).toBe('a weight');
  expect(missing(['a', 'b', 'c', 'd'].map(point))).toBe('a; b; and 2 more');
});

test('the middle of a clutch', () => {
  expect(middle([90, 120, 100])).toBe(100);
  expect(middle([90, 120, 100, 110])).toBe(105);
  expect(middle([7])).toBe(7);
  expect(middle([])).toBe(0);
});

test('a stock book of 2000 animals is narrowed within a frame or few', () => {
  const many = Array.from({ length: 2000 }, (_, i) =>
    animal(`tub ${i}`, { place: `rack ${i % 40} tub ${i}`, genes: ['pastel', 'het clown'] }),
  );
  const began = performance.now();
  expect(choose(many, { ...everything, words: 'tub 19', order: 'place' }, kinds, now).length).toBeGreaterThan(100);
  expect(performance.now() - began).toBeLessThan(500); // some 20 ms where nothing else runs
});
