import { describe, expect, test } from 'vitest';
import type { CaseJson } from '../src/api/gen/warmhand/v1/case_service_pb';
import { fromDate, lookers, morning } from '../src/ui/breeder/aside';
import { newsOf, shows, toDo } from '../src/ui/breeder/cases';

const at = (hour: number) => new Date(Date.UTC(2026, 10, 25, hour)).toISOString();
const now = new Date(at(12));
const seen: CaseJson = {
  news: true,
  claimed: true,
  keeperName: 'Robin',
  seenTime: at(8),
  seenStanding: 'STANDING_WATCH',
  standing: 'STANDING_WATCH',
};

describe('what changed', () => {
  test.each<[string, CaseJson]>([
    ['', { ...seen, news: false, writeTime: at(9) }],
    ['new', { news: true, standing: 'STANDING_WATCH' }],
    ['wrote to you', { ...seen, writeTime: at(9), tellTime: at(9) }],
    ['logged something', { ...seen, writeTime: at(7), tellTime: at(9) }],
    ['logged something, was watch', { ...seen, tellTime: at(9), standing: 'STANDING_VET' }],
    ['wants to give it back', { ...seen, giveBackTime: at(9) }],
    ['changed meanwhile', seen],
  ])('%s', (word, c) => expect(newsOf(c)).toBe(word));
});

describe('what to do', () => {
  const step = 'Weigh it once, quickly and quietly. Write the number down here.';
  test.each<[string, CaseJson]>([
    ['', { ...seen, endTime: at(9), nextStep: step }],
    ['Agree how it comes back to you.', { ...seen, giveBackTime: at(9), turn: 'TURN_BREEDER' }],
    ['Answer the message.', { ...seen, turn: 'TURN_BREEDER', writeTime: at(9) }],
    [
      'Answer the message.',
      { ...seen, turn: 'TURN_BREEDER', writeTime: at(9), changeTime: at(8), standing: 'STANDING_VET' },
    ],
    [
      'Agree on a step: Weigh it once, quickly and quietly.',
      { ...seen, turn: 'TURN_BREEDER', writeTime: at(7), changeTime: at(8), standing: 'STANDING_VET', nextStep: step },
    ],
    ['Waits for the card to be claimed.', { ...seen, claimed: false, turn: 'TURN_KEEPER' }],
    ['Waits for Robin.', { ...seen, turn: 'TURN_KEEPER', nextStep: step }],
    ['Ask how it is.', { ...seen, silent: true, nextStep: step }],
    ['Suggested: Weigh it once, quickly and quietly.', { ...seen, nextStep: step }],
    ['', { ...seen, standing: 'STANDING_SETTLED', nextStep: step }],
  ])('%s', (word, c) => expect(toDo(c)).toBe(word));
});

test('what is aside is shown there alone, until its day', () => {
  const c: CaseJson = { ...seen, silent: true, turn: 'TURN_BREEDER', asideTime: at(13) };
  const all = ['open', 'new', 'breeder', 'silent', 'aside'] as const;
  expect(all.filter((v) => shows(v, c, now))).toEqual(['aside']);
  expect(all.filter((v) => shows(v, c, new Date(at(13))))).toEqual(['open', 'new', 'breeder', 'silent']);
  expect(shows('keeper', seen, now)).toBe(false);
});

test('a day begins at midnight where one is', () => {
  expect(morning(3, new Date(2026, 9, 24, 22)).getTime()).toBe(new Date(2026, 9, 27).getTime()); // over the end of summer time
  expect(fromDate('2026-12-01')?.getTime()).toBe(new Date(2026, 11, 1).getTime());
  expect(fromDate('')).toBeUndefined();
});

test('names in use stand once, in order', () => {
  expect(lookers([{ lookedAfterBy: 'Ona' }, {}, { lookedAfterBy: 'Ida' }, { lookedAfterBy: 'Ona' }])).toEqual([
    'Ida',
    'Ona',
  ]);
});
