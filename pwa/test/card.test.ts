import 'fake-indexeddb/auto';
import { beforeEach, expect, test } from 'vitest';
import { aboutCard, cardCameIn, rememberCard, rememberWaitingCard } from '../src/photo/card';
import type { Found } from '../src/photo/finder';
import { useDatabase } from '../src/store/db';

let n = 0;
beforeEach(() => useDatabase(`cards-${n++}`));

const at = (x: number, y: number) => ({ x, y });
const found = (text: string, side = 200): Found => ({
  text,
  modules: 25,
  corners: [at(0, 0), at(side, 0), at(side, side), at(0, side)],
  spreadPixels: 0,
  blurPixels: 1,
  contrast: 200,
});
// Two codes whose check characters are right.
const mine = 'K7QM4-2XR9';
const cases = [
  { name: 'breeders/b/cases/one', animal: 'Birch' },
  { name: 'breeders/b/cases/two', animal: 'Fern' },
];

/** A code with its check character: tried, for the check is the product's own. */
async function codes(): Promise<string[]> {
  const { parseClaimCode } = await import('../src/core/code');
  const made: string[] = [];
  for (const body of [mine, 'ABCD2-3456', '00000-1111']) {
    for (const c of '0123456789ABCDEFGHJKMNPQRSTVWXYZ') {
      const p = parseClaimCode(body + c);
      if (p.ok) made.push(p.code);
    }
  }
  return made;
}

test('a card is known again, and another animal’s is said kindly', async () => {
  const [first, second, third] = (await codes()) as [string, string, string];
  await rememberCard('breeders/b/cases/one', first);
  await rememberCard('breeders/b/cases/two', second);
  const about = (code: string, side?: number) =>
    aboutCard(found(`https://example.org/c#${code}`, side), 'breeders/b/cases/one', cases);
  expect(await about(first)).toBe('');
  expect(await about(second)).toContain('the card of Fern');
  expect(await about(third)).toContain('another animal');
  expect(await about(first, 60)).toContain('small');
});

test('no card, a code that is no card’s, and one that cannot be read', async () => {
  expect(await aboutCard(null, 'breeders/b/cases/one', cases)).toContain('not to be seen');
  expect(await aboutCard(found('a parcel'), 'breeders/b/cases/one', cases)).toContain('not that of a handover card');
  expect(await aboutCard(found(''), 'breeders/b/cases/one', cases)).toContain('If it is this animal’s card');
});

test('a case whose card this phone never saw says nothing of whose it is', async () => {
  const [first] = (await codes()) as [string];
  expect(await aboutCard(found(first), 'breeders/b/cases/one', cases)).toBe('');
});

test('a card that was taken on before its sale is known again once its case has come', async () => {
  const [first, second] = (await codes()) as [string, string];
  await rememberWaitingCard('2026-03-01T10:00:00.120Z', first);
  await rememberWaitingCard('2026-03-01T10:00:07Z', second);
  await cardCameIn('breeders/b/cases/two', undefined); // not claimed
  await cardCameIn('breeders/b/cases/two', '2026-03-02T09:00:00Z'); // claimed as ever
  await cardCameIn('breeders/b/cases/one', '2026-03-01T10:00:00.120Z');
  const about = (code: string, caseName: string) => aboutCard(found(`https://example.org/c#${code}`), caseName, cases);
  expect(await about(first, 'breeders/b/cases/two')).toContain('the card of Birch');
  expect(await about(second, 'breeders/b/cases/one')).toContain('another animal');
  expect(await about(second, 'breeders/b/cases/two')).toBe(''); // its own sale has not come in
});
