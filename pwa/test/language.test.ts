import 'fake-indexeddb/auto';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { language } from '../src/core/language';
import { changeSettings, settings } from '../src/core/settings';
import { askLanguage, takeLanguage, tellLanguage } from '../src/sync/language';

const clean = { language: '', untold: false, theirs: '' };
const reload = vi.fn();
let asked: string[] = [];
/** What the service answers; undefined: there is no network. */
let answers: ((path: string, as: string) => { status?: number; body: object }) | undefined;

beforeEach(() => {
  asked = [];
  changeSettings(clean);
  reload.mockClear();
  vi.stubGlobal('location', { pathname: '/k', reload });
  vi.stubGlobal(
    'fetch',
    async (path: string, { headers, body }: { headers: Record<string, string>; body?: string }) => {
      const as = headers['X-Warmhand'] ?? '';
      asked.push(`${as} ${path}${body ? ` ${body}` : ''}`);
      if (!answers) throw new TypeError('no network');
      const { status = 200, body: said } = answers(path, as);
      return new Response(JSON.stringify(said), { status, headers: { 'Content-Type': 'application/json' } });
    },
  );
});
afterEach(() => changeSettings(clean));

test('a choice waits for network and for somebody to be signed in, and is told once', async () => {
  changeSettings({ language: 'de', untold: true });
  answers = undefined;
  await tellLanguage();
  expect(settings.value.untold).toBe(true);
  answers = () => ({ status: 401, body: {} });
  await tellLanguage();
  expect(settings.value.untold).toBe(true);
  asked = [];
  answers = (_, as) => (as === 'keeper' ? { body: { language: 'de' } } : { status: 401, body: {} });
  await tellLanguage();
  expect(settings.value.untold).toBe(false);
  const choice = '/v1/me:setLanguage {"language":"de"}';
  expect(asked).toEqual([`keeper ${choice}`, `breeder ${choice}`]);
  await tellLanguage();
  await takeLanguage({ role: 'keeper', language: 'en' });
  await askLanguage();
  expect(asked).toHaveLength(2);
  expect(language()).toBe('de');
});

test('a device where nothing was chosen takes the language of the person', async () => {
  await takeLanguage({ role: 'keeper', language: 'de' });
  expect(language()).toBe('de');
  await takeLanguage({ role: 'keeper', language: 'de' });
  expect(reload).toHaveBeenCalledTimes(1);
  await takeLanguage({ role: 'keeper', language: 'tlh' }); // of a newer service
  expect(reload).toHaveBeenCalledTimes(1);
  changeSettings({ language: 'en' });
  await takeLanguage({ role: 'keeper', language: 'de' });
  expect(language()).toBe('en');
  expect(asked).toEqual([]);
});

test('of whom the service knows none, it hears what the device speaks', async () => {
  answers = () => ({ body: { language: 'en' } });
  await takeLanguage({ role: 'keeper' });
  await takeLanguage({ role: 'helper' });
  const told = '/v1/me:setLanguage {"language":"en"}';
  expect(asked).toEqual([`keeper ${told}`, `breeder ${told}`]);
  answers = undefined;
  await takeLanguage({ role: 'keeper' });
  asked = [];
  await takeLanguage({}); // a visitor
  expect(asked).toEqual([]);
});

test('a keeper’s phone asks once a day, and again where there was no network', async () => {
  const at = (day: number) => new Date(2026, 4, day, 9);
  answers = undefined;
  await askLanguage(at(1));
  answers = () => ({ body: { role: 'keeper', language: 'en' } });
  await askLanguage(at(1));
  expect(asked).toEqual(['keeper /v1/me', 'keeper /v1/me']);
  await askLanguage(at(1));
  expect(asked).toHaveLength(2);
  answers = () => ({ body: { role: 'keeper', language: 'de' } });
  await askLanguage(at(2));
  expect(language()).toBe('de');
  expect(asked).toHaveLength(3);
});
