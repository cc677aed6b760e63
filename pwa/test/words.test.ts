import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { h } from 'preact';
import { afterEach, describe, expect, test, vi } from 'vitest';
import { locale } from '../src/core/language';
import { learn, say, within } from '../src/core/say';
import { changeSettings } from '../src/core/settings';
import { day } from '../src/core/time';
import { formatMass, massInWords } from '../src/core/units';
import { entryLine } from '../src/core/words';
import { placesOf, readForms } from './forms';

type Said = string | Record<string, string>;

const { forms, unsaid } = readForms();
const counted = new Map(forms.map((f) => [f.form, f.counted]));
const words = (tag: string) =>
  (
    JSON.parse(readFileSync(join(import.meta.dirname, `../../internal/words/${tag}.json`), 'utf8')) as {
      web: Record<string, Said>;
    }
  ).web;

test('everything that people read is said, with what its places need', () => expect(unsaid).toEqual([]));

test('a form is counted everywhere or nowhere', () =>
  expect(forms.filter((f) => counted.get(f.form) !== f.counted)).toEqual([]));

describe.each(Object.keys(__WORDS__))('%s', (tag) => {
  const web = words(tag);
  const categories = new Intl.PluralRules(tag).resolvedOptions().pluralCategories;

  test('says every form', () => {
    const missing = forms.filter((f) => web[f.form] === undefined);
    expect(missing.map((f) => `${f.at} ${f.form}`)).toEqual([]);
  });

  test('has nothing left over', () => expect(Object.keys(web).filter((form) => !counted.has(form))).toEqual([]));

  test('keeps the places, and has each plural that the language knows', () => {
    for (const [form, said] of Object.entries(web)) {
      if (typeof said === 'string') {
        expect(counted.get(form), form).toBe(false);
        expect(placesOf(said), form).toBe(placesOf(form));
      } else {
        expect(counted.get(form), form).toBe(true);
        expect(new Set(Object.keys(said)), form).toEqual(new Set(categories));
        // A sentence for one may say the number in words.
        const places = placesOf(`{n} ${form}`).split(' ');
        for (const text of Object.values(said))
          expect(places, form).toEqual(expect.arrayContaining(placesOf(text).split(' ').filter(Boolean)));
      }
    }
  });
});

// say() writes them without the browser's help, which takes long to come.
test.each(['en', ...Object.keys(__WORDS__)])('%s writes small whole numbers as their digits', (tag) => {
  const format = new Intl.NumberFormat(tag, { useGrouping: 'min2' });
  for (const n of [0, 7, 1000, 9999]) expect(format.format(n)).toBe(String(n));
});

describe('said in German', () => {
  afterEach(async () => {
    changeSettings({ language: '', mass: 'g' });
    await learn();
  });
  const german = async () => {
    changeSettings({ language: 'de', mass: 'g' });
    vi.stubGlobal('fetch', async () => new Response(JSON.stringify(words('de'))));
    await learn();
  };

  test('a sentence, its number and the page', async () => {
    expect(say('{n} days ago', { n: 3 })).toBe('3 days ago');
    await german();
    expect(say('{n} days ago', { n: 12_345 })).toBe('vor 12.345 Tagen');
    expect(document.documentElement.lang).toBe('de');
    expect(locale()).toBe('de');
  });

  test('by how many there are', async () => {
    const form = { one: '1 hour ago', other: '{n} hours ago' };
    expect([say(form, { n: 1 }), say(form, { n: 2 })]).toEqual(['1 hour ago', '2 hours ago']);
    await german();
    expect([say(form, { n: 1 }), say(form, { n: 2 })]).toEqual(['vor 1 Stunde', 'vor 2 Stunden']);
  });

  test('with an element in it', async () => {
    await german();
    const now = h('strong', null, 'jetzt');
    expect(say('When: {now}', { now })).toEqual(['Wann: ', now, '']);
  });

  test('what has no translation, in English', async () => {
    await german();
    vi.stubGlobal('fetch', async () => new Response('{}'));
    await learn();
    expect(say('Save')).toBe('Save');
  });

  test('weights, days and entries', async () => {
    await german();
    expect(formatMass(62.5)).toBe('62,5\u00a0g');
    expect(massInWords(1121.5)).toBe('eintausendeinhunderteinundzwanzig Komma fünf Gramm');
    expect(massInWords(1)).toBe('ein Gramm');
    expect(day('2026-03-03T12:00:00Z', new Date('2026-03-10T12:00:00Z'))).toBe('Di., 3. März');
    expect(entryLine({ offer: { result: 'OFFER_RESULT_EATEN', prey: 'rat', preyState: 'PREY_STATE_LIVE' } })).toMatch(
      /^Gefressen: /,
    );
    expect(within('Die Karte')).toBe('Die Karte');
  });
});
