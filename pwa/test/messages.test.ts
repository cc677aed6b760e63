import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import type { CaseJson, EntryJson } from '../src/core/contract';
import { factsOf, fill, openPlaces, places } from '../src/core/phrases';
import { entryLine } from '../src/core/words';
import { cameTo } from '../src/sync/refresh';
import { receiptOf } from '../src/ui/parts/thread';

const name = 'breeders/b/cases/c';
const at = (hour: number) => new Date(Date.UTC(2026, 10, 25, hour)).toISOString();
const said = (hour: number, more: Partial<EntryJson> = {}): EntryJson => ({
  case: name,
  by: 'ACTOR_KIND_BREEDER',
  happenTime: at(hour),
  receiveTime: at(hour + 1), // it came to the service later than it was written
  message: { text: 'Hello' },
  ...more,
});

test('how far the breeder’s messages have come', () => {
  const c: CaseJson = { name };
  const log = [said(8), said(10), said(12, { by: 'ACTOR_KIND_KEEPER' }), said(14, { case: 'breeders/b/cases/other' })];
  expect(cameTo(c, log, undefined)).toEqual({ got: at(11), opened: undefined });
  expect(cameTo(c, log, at(8))).toEqual({ got: at(11), opened: at(9) });
  expect(cameTo(c, log, at(10))).toEqual({ got: at(11), opened: at(11) });
  expect(cameTo(c, [], at(10))).toEqual({ got: undefined, opened: undefined });
});

test('a message is sent, arrived, or read', () => {
  expect(receiptOf(said(8), undefined)).toBe('');
  expect(receiptOf(said(8), {})).toBe('sent');
  expect(receiptOf(said(8), { got: at(8) })).toBe('sent');
  expect(receiptOf(said(8), { got: at(9) })).toBe('arrived');
  expect(receiptOf(said(8), { got: at(9), read: at(9) })).toBe('read');
  expect(receiptOf({ ...said(8), receiveTime: undefined as never }, { read: at(20) })).toBe('');
});

test('phrases take an animal’s facts, and what is not known stays to be seen', () => {
  const c: CaseJson = {
    animal: { displayName: 'Fennel' },
    keeperName: 'Jonas',
    assessment: { day: 12, fastDays: -1, steps: [{ text: 'Weigh it.' }] },
  };
  const weighed = (hour: number, massG: number, more: Partial<EntryJson> = {}): EntryJson => ({
    happenTime: at(hour),
    weighIn: { massG },
    ...more,
  });
  const facts = factsOf(c, [weighed(9, 92), weighed(10, 91), weighed(11, 9, { replacedBy: 'x' })], 'Marlow');
  const text = fill(
    '[keeper], [animal] at [last weight] on day [day]: [next step] [days since the last meal] [else]',
    facts,
  );
  expect(text).toBe('Jonas, Fennel at 91\u00a0g on day 12: Weigh it. [days since the last meal] [else]');
  expect(openPlaces(text)).toEqual(['[days since the last meal]']);
  expect(openPlaces('What [sic] is this?')).toEqual([]);
});

test('an agreed step says until when it holds', () => {
  const e: EntryJson = {
    happenTime: '2020-03-02T10:00:00Z',
    step: { step: 'leave_in_peace', text: 'leave it in peace', holdsDays: 3 },
  };
  expect(entryLine(e)).toMatch(/^Agreed: leave it in peace, until Thu.*5.*2020|^Agreed: leave it in peace, until .*5/);
  expect(entryLine({ ...e, step: { step: 'weigh', holdsDays: 0 } })).toBe('Agreed: weigh');
});

test('the places are the service’s', () => {
  const go = readFileSync('../internal/care/phrases.go', 'utf8');
  const list = /PhrasePlaces = \[\]string\{(.*)\}/.exec(go)?.[1] ?? '';
  expect(list.split(', ').map((p) => p.slice(1, -1))).toEqual([...places]);
});
