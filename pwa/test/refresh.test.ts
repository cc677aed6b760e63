import 'fake-indexeddb/auto';
import { afterEach, expect, test, vi } from 'vitest';
import { changeSettings } from '../src/core/settings';
import { keepTables } from '../src/store/copies';
import { useDatabase } from '../src/store/db';
import { refresh } from '../src/sync/refresh';

const name = 'breeders/b/cases/c';
const record = { name: 'breeders/b/handovers/c', record: { firstDays: {} } };

afterEach(() => changeSettings({ language: '' }));

test('another language fetches anew what is fetched seldom, once', async () => {
  useDatabase('refresh');
  await keepTables([], []);
  const asked: string[] = [];
  vi.stubGlobal('fetch', async (path: string, { headers }: { headers: Record<string, string> }) => {
    asked.push(`${headers['Accept-Language']} ${path}`);
    const c = { name, animal: { name: 'breeders/b/animals/a' } };
    const body = path.endsWith('/keepers/me/cases')
      ? { cases: [c] }
      : path.endsWith(name)
        ? { case: c }
        : { handover: record };
    return new Response(JSON.stringify(body), { headers: { 'Content-Type': 'application/json' } });
  });
  const seldom = async () => {
    asked.length = 0;
    expect(await refresh()).toBe('ok');
    return asked.filter((a) => /signs|setupPoints|handovers/.test(a)).sort((a, b) => a.localeCompare(b));
  };
  expect(await seldom()).toEqual(['en /v1/breeders/b/handovers/c']);
  expect(await seldom()).toEqual([]);
  changeSettings({ language: 'de' });
  expect(await seldom()).toEqual(['de /v1/breeders/b/handovers/c', 'de /v1/setupPoints', 'de /v1/signs']);
  expect(await seldom()).toEqual([]);
});
