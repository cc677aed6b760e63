import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { defineConfig } from '@playwright/test';

// Passkeys need the name localhost, and a port that browsers do not refuse.
const port = Number(process.env['WARMHAND_E2E_PORT'] ?? 4173);
const baseURL = `http://localhost:${port}`;

// This file is read again in the worker process: what the first reading made is kept in the environment.
process.env['WARMHAND_E2E_DIR'] ??= mkdtempSync(join(tmpdir(), 'warmhand-e2e-'));
const dir = process.env['WARMHAND_E2E_DIR'];
// The one-time addresses that the demonstration made: tests sign in with them.
process.env['WARMHAND_E2E_ADDRESSES'] ??= join(dir, 'addresses.json');
const addresses = process.env['WARMHAND_E2E_ADDRESSES'];

const launchOptions = {
  executablePath: process.env['WARMHAND_CHROMIUM'] ?? '/usr/bin/chromium',
  args: [
    '--no-sandbox', // containers and root have no user namespaces
    '--disable-gpu',
    '--disable-quic',
    '--no-first-run',
    '--disable-background-networking',
    '--disable-component-update',
    '--disable-sync',
  ],
};

export default defineConfig({
  testDir: process.env['WARMHAND_BENCH'] ? 'bench' : 'e2e', // what is timed is no test
  testMatch: '**/*.spec.ts',
  workers: 1,
  retries: 0,
  forbidOnly: Boolean(process.env['CI']),
  timeout: 60_000,
  expect: { timeout: 10_000 },
  reporter: [['list']],
  use: { baseURL, launchOptions, locale: 'en-GB', timezoneId: 'UTC', contextOptions: { reducedMotion: 'reduce' } },
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
          /every screen passes axe|comes back with a code|an animal is added, logged|a link, a passkey|a card is taken on/,
      }),
      use: { viewport: { width: 1440, height: 900 } },
    },
  ],
  webServer: {
    command: `exec ../.build/warmhand demo --data ${join(dir, 'data')} --listen localhost:${port} --addresses ${addresses}`,
    url: baseURL,
    timeout: 60_000,
    reuseExistingServer: false,
    gracefulShutdown: { signal: 'SIGTERM', timeout: 10_000 },
  },
});
