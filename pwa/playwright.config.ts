import { mkdtempSync } from 'node:fs';
import { availableParallelism, tmpdir } from 'node:os';
import { join } from 'node:path';
import { defineConfig } from '@playwright/test';
import { bare } from './e2e/browser';

// Each worker has a demonstration of its own: what a test changes, no test beside it sees. One test already keeps two
// processors busy, so more workers help on larger machines only; beside another nothing is timed.
const workers = process.env['WARMHAND_BENCH'] ? 1 : Math.max(1, Math.floor(availableParallelism() / 2));
// This file is read again in each worker process, which has its number in the environment.
const worker = Number(process.env['TEST_PARALLEL_INDEX'] ?? 0);

// Passkeys need the name localhost, and a port that browsers do not refuse.
const firstPort = Number(process.env['WARMHAND_E2E_PORT'] ?? 4173);
const url = (nth: number) => `http://localhost:${firstPort + nth}`;

// What the first reading made is kept in the environment, too.
process.env['WARMHAND_E2E_DIR'] ??= mkdtempSync(join(tmpdir(), 'warmhand-e2e-'));
const dir = process.env['WARMHAND_E2E_DIR'];
// The one-time addresses that the demonstration made: tests sign in with them.
const addresses = (nth: number) => join(dir, `addresses-${nth}.json`);
process.env['WARMHAND_E2E_ADDRESSES'] = addresses(worker);

export default defineConfig({
  testDir: process.env['WARMHAND_BENCH'] ? 'bench' : 'e2e', // what is timed is no test
  testMatch: '**/*.spec.ts',
  workers,
  // On a machine that nobody watches a second try tells a test that wavers, which is listed as such, from one that is broken.
  retries: process.env['CI'] ? 1 : 0,
  forbidOnly: Boolean(process.env['CI']),
  timeout: 60_000,
  expect: { timeout: 10_000 },
  reporter: [['list']],
  use: {
    baseURL: url(worker),
    launchOptions: bare,
    locale: 'en-GB',
    timezoneId: 'UTC',
    contextOptions: { reducedMotion: 'reduce' },
  },
  projects: [
    {
      name: 'phone',
      use: { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true },
    },
    {
      name: 'desk',
      // The longest run at both widths only when asked (make test-browser-all): all of them take too long for each change.
      ...(!process.env['WARMHAND_E2E_ALL'] && {
        grepInvert:
          /every screen passes axe|comes back with a code|an animal is added, logged|a link, a passkey|a card is taken on|a case is read|what a keeper logs shows|saves the record|labels and a card|a red sign|an entry that the service refuses|without an account/,
      }),
      use: { viewport: { width: 1440, height: 900 } },
    },
  ],
  webServer: Array.from({ length: workers }, (_, nth) => ({
    command: `exec ../.build/warmhand demo --data ${join(dir, `data-${nth}`)} --listen ${url(nth).slice(7)} --addresses ${addresses(nth)} --local-push`,
    url: url(nth),
    timeout: 60_000,
    reuseExistingServer: false,
    gracefulShutdown: { signal: 'SIGTERM' as const, timeout: 10_000 },
  })),
});
