import { afterEach, describe, expect, test, vi } from 'vitest';
import { parseClaimCode } from '../src/core/code';
import { caseAddress, idOf, uuidv7 } from '../src/core/ids';
import { isAppPath } from '../src/core/routes';
import { changeSettings } from '../src/core/settings';
import { ago, daysSince, forInput, fromInput } from '../src/core/time';
import {
  formatMass,
  formatTemp,
  gramsPerOunce,
  massForInput,
  massInWords,
  parseMass,
  parseNumber,
  parseTemp,
} from '../src/core/units';
import { entryLine, standingWord } from '../src/core/words';

afterEach(() => {
  changeSettings({ mass: 'g', temp: 'C' });
  vi.restoreAllMocks();
});

const speak = (language: string) => vi.spyOn(navigator, 'language', 'get').mockReturnValue(language);

describe('numbers as people type them', () => {
  test.each([
    ['12,5', 12.5],
    ['12.5', 12.5],
    [' 62 ', 62],
    ['1 234,5', 1234.5],
    ['1\u202f234,5', 1234.5],
    ["1'234.5", 1234.5],
    ['1,234.5', 1234.5],
    ['1.234,5', 1234.5],
    ['1,234,567', 1234567],
    ['.5', 0.5],
    ['0,500', 0.5],
    ['٦٢٫٥', 62.5],
    ['۶۲', 62],
    ['६२', 62],
    ['-3', -3],
    ['−3', -3],
  ])('%s', (text, value) => expect(parseNumber(text)).toBe(value));

  test.each(['', 'abc', '12a', '1.2.3', '1,2,3', '--1', '1e5', '.', 'Infinity'])('%s is no number', (text) =>
    expect(parseNumber(text)).toBeNull(),
  );

  test('one mark before three digits is read as the language has it', () => {
    speak('de');
    expect(parseNumber('1.234')).toBe(1234);
    expect(parseNumber('1,234')).toBe(1.234);
    speak('en-GB');
    expect(parseNumber('1.234')).toBe(1.234);
    expect(parseNumber('1,234')).toBe(1234);
  });
});

describe('units', () => {
  test('an ounce is 28.349523125 g (International Yard and Pound Agreement, 1959)', () => {
    expect(gramsPerOunce).toBe((0.45359237 * 1000) / 16);
    changeSettings({ mass: 'oz' });
    expect(parseMass('2')).toBe(56.7);
    expect(massForInput(56.7)).toBe('2');
    expect(formatMass(56.7)).toMatch(/^2\s?oz$/);
  });
  test('a unit that was typed counts more than the setting', () => {
    expect(parseMass('2 oz')).toBe(56.7);
    expect(parseMass('1,2 kg')).toBe(1200);
    expect(parseMass('1 lb')).toBe(453.59);
    expect(parseTemp('90F')).toBe(32.22);
    changeSettings({ temp: 'F' });
    expect(parseTemp('32 °C')).toBe(32);
    expect(parseTemp('212')).toBe(100); // water boils
    expect(parseTemp('32')).toBe(0); // and freezes
    expect(formatTemp(31)).toBe('88\u00a0°F');
  });
  test('no mass below nothing', () => expect(parseMass('-5')).toBeNull());
  test('a mass in words tells 1.234 from 1234', () => {
    expect(massInWords(1234)).toBe('one thousand, two hundred and thirty-four grams');
    expect(massInWords(1.2)).toBe('one point two grams');
    expect(massInWords(1)).toBe('one gram');
    expect(massInWords(5400)).toBe('five thousand, four hundred grams');
    expect(massInWords(62)).toBe('sixty-two grams');
    expect(massInWords(1005)).toBe('one thousand and five grams');
  });
});

describe('claim codes', () => {
  // Made by an own calculation with the rule of ISO/IEC 7812-1 annex B in base 32, by hand for the first:
  // 000000001 → 1 doubled is 2 → check 32-2 = 30 = Y.
  test.each([
    ['00000 0001Y', '00000-0001Y'],
    ['0000000000', '00000-00000'],
    ['ooooo-ooo0l', null],
  ])('%s', (text, code) => {
    const p = parseClaimCode(text);
    if (code) expect(p).toEqual({ ok: true, code });
    else expect(p).toMatchObject({ ok: false });
  });

  const alphabet = '0123456789ABCDEFGHJKMNPQRSTVWXYZ';
  function valid(body: string): string {
    for (const c of alphabet) if (parseClaimCode(body + c).ok) return body + c;
    throw new Error('no check character');
  }

  test('small letters, O I L, dashes of every kind and spaces', () => {
    const code = valid('K7QM40X11');
    const typed = code.toLowerCase().replace('0', 'o').replace('1', 'l').replace('1', 'I');
    expect(parseClaimCode(` ${typed.slice(0, 3)}–${typed.slice(3, 5)} - ${typed.slice(5)}\u200b`)).toEqual({
      ok: true,
      code: `${code.slice(0, 5)}-${code.slice(5)}`,
    });
  });

  test('every slip of one character is found', () => {
    const code = valid('K7QM42XR9');
    for (let i = 0; i < 10; i++) {
      for (const c of alphabet) {
        if (c !== code[i]) expect(parseClaimCode(code.slice(0, i) + c + code.slice(i + 1)).ok).toBe(false);
      }
    }
  });

  test('exchanged neighbours are found, but for 0 with Z', () => {
    const code = valid('K7QM42XR9');
    for (let i = 0; i < 9; i++) {
      const swapped = code.slice(0, i) + code[i + 1] + code[i] + code.slice(i + 2);
      if (swapped !== code) expect(parseClaimCode(swapped).ok).toBe(false);
    }
  });

  test.each([
    ['K7QM4', 'this one has 5'],
    ['K7QM42XR9T0', 'has more'],
    ['K7QMU2XR9T', 'no letter U'],
    ['K7QM42XR9?', 'has “?” in it'],
  ])('%s: says what is wrong', (text, part) =>
    expect(parseClaimCode(text)).toMatchObject({ ok: false, problem: expect.stringContaining(part) }),
  );
});

test('UUIDs of version 7 sort by time and carry it (RFC 9562, 5.7)', () => {
  const t = Date.parse('2022-02-22T19:22:22Z'); // the RFC's own example, appendix A.6: 017F22E2-79B0-7…
  expect(uuidv7(t)).toMatch(/^017f22e2-79b0-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  expect(uuidv7(t) < uuidv7(t + 1)).toBe(true);
  expect(uuidv7(t)).not.toBe(uuidv7(t));
});

test('names and addresses', () => {
  expect(idOf('breeders/b/animals/a')).toBe('a');
  expect(caseAddress('breeders/b/cases/c', 'log/offer')).toBe('/k/b/c/log/offer');
});

test('days and times', () => {
  const now = new Date('2026-03-10T12:00:00');
  expect(ago(new Date('2026-03-10T11:59:30').toISOString(), now)).toBe('just now');
  expect(ago(new Date('2026-03-10T09:00:00').toISOString(), now)).toBe('3 hours ago');
  expect(ago(new Date('2026-03-09T23:59:00').toISOString(), now)).toBe('yesterday');
  expect(ago(new Date('2026-02-27T12:00:00').toISOString(), now)).toBe('11 days ago');
  expect(ago(undefined, now)).toBe('never');
  expect(daysSince(new Date('2026-03-09T23:59:00').toISOString(), now)).toBe(1);
  expect(fromInput(forInput(now))).toEqual(now);
  expect(fromInput('')).toBeNull();
});

test('entries as sentences', () => {
  expect(
    entryLine({ offer: { result: 'OFFER_RESULT_EATEN', prey: 'rat', preyState: 'PREY_STATE_THAWED', preyG: 12 } }),
  ).toMatch(/^Ate a thawed rat of 12\sg$/);
  expect(entryLine({ climate: { warmC: 31, humidityPct: 60 } })).toBe(
    'Measured: warm side 31\u00a0°C, humidity 60\u00a0%',
  );
  expect(entryLine({ climate: { warmC: 0 } })).toBe('Measured: warm side 0\u00a0°C'); // zero is a reading
  expect(entryLine({ shed: { stage: 'SHED_STAGE_SHED', complete: false } })).toBe('Shed in pieces');
  expect(entryLine({ sign: { sign: 'wheeze' } }, { signs: [{ code: 'wheeze', label: 'Wheezing' }] })).toBe(
    'Seen: Wheezing',
  );
});

test('standings have an order, a word and a shape each', () => {
  const all = (['STANDING_SETTLED', 'STANDING_WATCH', 'STANDING_STEP_IN', 'STANDING_VET'] as const).map(standingWord);
  expect(all.map((s) => s.place)).toEqual([1, 2, 3, 4]);
  expect(new Set(all.map((s) => s.word)).size).toBe(4);
  expect(new Set(all.map((s) => s.shape)).size).toBe(4);
});

test('the app’s own addresses, and those that are left to the server', () => {
  for (const path of ['/', '/c', '/in', '/b', '/b/cases/1', '/k/thimblewick/1/setup/hides', '/k/settings', '/r'])
    expect(isAppPath(path), path).toBe(true);
  for (const path of ['/api', '/healthz', '/v1/me', '/licenses.txt', '/openapi.json', '/book', '/cards', '/index.html'])
    expect(isAppPath(path), path).toBe(false);
});
