import { describe, expect, test } from 'vitest';
import type { CaseJson } from '../src/api/gen/warmhand/v1/case_service_pb';
import type { EntryJson } from '../src/api/gen/warmhand/v1/entry_service_pb';
import { entryOf } from '../src/ui/breeder/animal';
import { animalOf, draftOf, mayBeParent } from '../src/ui/breeder/animals';
import { latestAnswers, unanswered } from '../src/ui/breeder/case';
import { announcement, type CaseList, merge } from '../src/ui/breeder/cases';
import { FormError } from '../src/ui/breeder/hooks';

function c(id: string, urgency: number, more: Partial<CaseJson> = {}): CaseJson {
  return { name: `breeders/b/cases/${id}`, urgency, ...more };
}
function open(...cases: CaseJson[]): CaseList {
  return { which: 'open', cases, next: '' };
}
const ids = (l: CaseList) => l.cases.map((x) => (x.name ?? '').slice(-1)).join('');

describe('a live change', () => {
  const list = open(c('a', 0.9), c('b', 0.5), c('d', 0.1));

  test('moves its row to its new place', () => {
    expect(ids(merge(list, c('d', 0.7)))).toBe('adb');
    expect(ids(merge(list, c('a', 0.05)))).toBe('bda');
  });
  test('adds a new row, and equal ones stand by name', () => {
    expect(ids(merge(list, c('c', 0.5)))).toBe('abcd');
  });
  test('leaves the list that came before as it was', () => {
    merge(list, c('d', 1));
    expect(ids(list)).toBe('abd');
  });
  test('takes an ended case out, and a reopened one in', () => {
    const ended = c('b', 0, { endTime: '2026-11-25T10:00:00Z', outcome: 'OUTCOME_SETTLED' });
    expect(ids(merge(list, ended))).toBe('ad');
    const endedList: CaseList = { which: 'ended', cases: [c('x', 0, { endTime: '2026-01-01T00:00:00Z' })], next: '' };
    expect(ids(merge(endedList, ended))).toBe('bx');
    expect(ids(merge(merge(endedList, ended), c('b', 0.5)))).toBe('x');
  });
  test('does not put a row where an unloaded one may belong', () => {
    const first: CaseList = { ...list, next: 'token' };
    expect(ids(merge(first, c('z', 0.01)))).toBe('abd');
    expect(ids(merge(first, c('z', 0.6)))).toBe('azbd');
    // It was there: it stays, until the list is loaded again.
    expect(ids(merge(first, c('a', 0.01)))).toBe('bda');
  });
  test('is read out in words', () => {
    const x = c('a', 1, {
      animal: { displayName: 'Fennel' },
      standing: 'STANDING_STEP_IN',
      headline: 'Refused 4 times in a row.',
    });
    expect(announcement(x, 'entry')).toBe('Fennel: step in. Refused 4 times in a row.');
    expect(announcement({ ...x, keeperName: 'Jonas' }, 'claim')).toBe('Fennel was claimed by Jonas.');
  });
});

test('of each point of the setup the latest answer counts, corrected ones do not', () => {
  const entry = (at: string, choice: string, more: Partial<EntryJson> = {}): EntryJson => ({
    happenTime: `2026-11-${at}T00:00:00Z`,
    setup: { answers: [{ point: 'lid', choice }] },
    ...more,
  });
  const got = latestAnswers([
    entry('05', 'loose', { replacedBy: 'breeders/b/animals/a/entries/e9' }),
    entry('03', 'locked'),
    entry('01', 'open'),
    { happenTime: '2026-11-02T00:00:00Z', setup: { answers: [{ point: 'bowl', choice: 'deep' }] } },
  ]);
  expect(got.map((g) => [g.answer.point, g.answer.choice])).toEqual([
    ['lid', 'locked'],
    ['bowl', 'deep'],
  ]);
});

describe('what a form says', () => {
  const log = {
    kind: 'weigh' as const,
    mass: '84,5',
    result: 'OFFER_RESULT_UNSPECIFIED' as const,
    prey: ' rat ',
    preyState: 'PREY_STATE_THAWED' as const,
    preyMass: '',
    stage: 'SHED_STAGE_SHED' as const,
    complete: '' as const,
    when: '',
    note: ' ',
  };
  const now = '2026-11-25T10:00:00.000Z';

  test('is one entry', () => {
    expect(entryOf(log, now)).toEqual({ happenTime: now, weighIn: { massG: 84.5 } });
    expect(entryOf({ ...log, kind: 'offer', result: 'OFFER_RESULT_REFUSED', preyMass: '12' }, now)).toEqual({
      happenTime: now,
      offer: { result: 'OFFER_RESULT_REFUSED', prey: 'rat', preyState: 'PREY_STATE_THAWED', preyG: 12 },
    });
    expect(entryOf({ ...log, kind: 'shed', complete: 'no', when: '2026-11-20T08:30', note: 'x' }, now)).toEqual({
      happenTime: '2026-11-20T08:30:00.000Z',
      note: 'x',
      shed: { stage: 'SHED_STAGE_SHED', complete: false },
    });
  });
  test.each([
    ['mass_g', { mass: 'heavy' }],
    ['mass_g', { mass: '0' }],
    ['result', { kind: 'offer' as const }],
    ['prey_g', { kind: 'offer' as const, result: 'OFFER_RESULT_EATEN' as const, preyMass: 'x' }],
    ['happen_time', { when: 'yesterday' }],
  ])('names the field %s that is wrong', (field, change) => {
    let caught: unknown;
    try {
      entryOf({ ...log, ...change }, now);
    } catch (e) {
      caught = e;
    }
    expect(caught).toBeInstanceOf(FormError);
    expect((caught as FormError).field).toBe(field);
  });
  test('is one animal', () => {
    const draft = { ...draftOf({}), displayName: ' tub 14 ', species: 'python_regius', snoutVent: '420,5' };
    expect(animalOf(draft)).toMatchObject({
      displayName: 'tub 14',
      snoutVentMm: 420.5,
      totalLengthMm: 0,
      sex: 'SEX_UNKNOWN',
    });
    expect(() => animalOf({ ...draft, species: '' })).toThrow(/species/);
    expect(() => animalOf({ ...draft, total: 'long' })).toThrow(/millimetres/);
  });
});

test('a parent is of the species, not of the other sex, older, and somebody else; who was chosen stays', () => {
  const a = (
    id: string,
    sex: 'SEX_FEMALE' | 'SEX_MALE' | 'SEX_UNKNOWN',
    hatchDate = '',
    species = 'python_regius',
  ) => ({
    name: `breeders/b/animals/${id}`,
    sex,
    hatchDate,
    species,
  });
  const all = [
    a('hen', 'SEX_FEMALE', '2020-01-01'),
    a('cock', 'SEX_MALE', '2020-01-01'),
    a('unsexed', 'SEX_UNKNOWN'),
    a('sister', 'SEX_FEMALE', '2026-06-01'),
    a('corn', 'SEX_FEMALE', '2020-01-01', 'pantherophis_guttatus'),
    a('child', 'SEX_FEMALE'),
  ];
  const child = { name: 'breeders/b/animals/child', species: 'python_regius', hatchDate: '2026-06-01' };
  const names = (chosen = '') => mayBeParent(all, child, 'SEX_MALE', chosen).map((x) => x.name?.split('/').at(-1));
  expect(names()).toEqual(['hen', 'unsexed']);
  expect(names('breeders/b/animals/cock')).toEqual(['hen', 'cock', 'unsexed']);
});

test('a question of the keeper waits until the breeder writes or agrees a step', () => {
  const at = (day: number, by: 'KEEPER' | 'BREEDER', more: Partial<EntryJson>): EntryJson => ({
    happenTime: new Date(Date.UTC(2026, 2, day)).toISOString(),
    by: `ACTOR_KIND_${by}`,
    ...more,
  });
  const asked = at(3, 'KEEPER', { message: { text: 'Is this normal?' } });
  const earlier = at(2, 'BREEDER', { message: { text: 'How is it?' } });
  expect(unanswered([])).toBeUndefined();
  expect(unanswered([asked, earlier, at(4, 'KEEPER', { weighIn: { massG: 80 } })])).toBe(asked);
  expect(unanswered([asked, at(4, 'BREEDER', { message: { text: 'It is.' } })])).toBeUndefined();
  expect(unanswered([asked, at(4, 'BREEDER', { step: { step: 'leave_in_peace' } })])).toBeUndefined();
  expect(unanswered([{ ...asked, replacedBy: 'x' }, earlier])).toBeUndefined();
});
