import 'fake-indexeddb/auto';
import { expect, test, vi } from 'vitest';
import { useDatabase } from '../src/store/db';
import { allItems, saveEntry } from '../src/store/outbox';
import { back, syncNow } from '../src/sync/sync';

test('the network comes back while a round is failing without it: what that puts off goes at once', async () => {
  useDatabase('sync');
  await saveEntry({
    case: { name: 'breeders/b/cases/c', animal: { name: 'breeders/b/animals/a' } },
    entry: { happenTime: new Date().toISOString(), weighIn: { massG: 520 } },
  });
  expect(await allItems()).toHaveLength(1);
  let fail: ((e: Error) => void) | undefined;
  const began = new Promise<void>((tell) => {
    vi.stubGlobal('fetch', (path: string, init?: RequestInit) => {
      if (init?.method !== 'POST') return Promise.reject(new TypeError('not asked here'));
      if (!fail) {
        return new Promise((_, reject) => {
          fail = reject;
          tell();
        });
      }
      return Promise.resolve(
        new Response(JSON.stringify({ entry: { name: path } }), { headers: { 'Content-Type': 'application/json' } }),
      );
    });
  });
  const first = syncNow();
  await began;
  const online = back();
  fail?.(new TypeError('no network'));
  await Promise.all([first, online]);
  expect(await allItems()).toEqual([]);
});
