// A reminder from the settings to the screen: encrypted by the service, handed to a push service on this machine,
// read as a browser does by a decoder of its own, and shown by Chromium.

import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { expect, test } from '@playwright/test';
import { whole } from './browser';
import { axe, fits } from './checks';
import { demo, redeem } from './demo';

const base64 = (b: ArrayBuffer | Uint8Array) => Buffer.from(b as ArrayBuffer).toString('base64url');

type Bytes = Uint8Array<ArrayBuffer>;

const bytes = (...parts: (string | Uint8Array)[]): Bytes =>
  new Uint8Array(Buffer.concat(parts.map((p) => Buffer.from(p as string))));

/** RFC 8291 and RFC 8188, by WebCrypto. */
async function open(body: Bytes, keys: CryptoKeyPair, auth: Bytes): Promise<string> {
  const { subtle } = crypto;
  const salt = body.subarray(0, 16);
  const sender = body.subarray(21, 21 + (body[20] ?? 0));
  const point = await subtle.importKey('raw', sender, { name: 'ECDH', namedCurve: 'P-256' }, true, []);
  const shared = await subtle.deriveBits({ name: 'ECDH', public: point }, keys.privateKey, 256);
  const derive = async (secret: ArrayBuffer, from: Bytes, info: Bytes, bytes: number) =>
    subtle.deriveBits(
      { name: 'HKDF', hash: 'SHA-256', salt: from, info },
      await subtle.importKey('raw', secret, 'HKDF', false, ['deriveBits']),
      bytes * 8,
    );
  const own = new Uint8Array(await subtle.exportKey('raw', keys.publicKey));
  const secret = await derive(shared, auth, bytes('WebPush: info\0', own, sender), 32);
  const key = await derive(secret, salt, bytes('Content-Encoding: aes128gcm\0'), 16);
  const iv = await derive(secret, salt, bytes('Content-Encoding: nonce\0'), 12);
  const aes = await subtle.importKey('raw', key, 'AES-GCM', false, ['decrypt']);
  const text = Buffer.from(await subtle.decrypt({ name: 'AES-GCM', iv }, aes, body.subarray(21 + sender.length)));
  return text.subarray(0, text.lastIndexOf(2)).toString();
}

test.use({ launchOptions: whole });

test('a keeper turns reminders on, a test arrives, and an answer is logged on it', async ({
  page,
  context,
  baseURL,
}, info) => {
  test.skip(info.project.name !== 'phone', 'the narrow screen is the hard one');
  const arrived: Buffer[] = [];
  const service = createServer((request, response) => {
    const parts: Buffer[] = [];
    request.on('data', (part: Buffer) => parts.push(part));
    request.on('end', () => {
      arrived.push(Buffer.concat(parts));
      response.writeHead(201).end();
    });
  });
  await new Promise<void>((done) => service.listen(0, '127.0.0.1', done));
  const endpoint = `http://127.0.0.1:${(service.address() as AddressInfo).port}/push`;
  const keys = (await crypto.subtle.generateKey({ name: 'ECDH', namedCurve: 'P-256' }, true, [
    'deriveBits',
  ])) as CryptoKeyPair;
  const auth = crypto.getRandomValues(new Uint8Array(16));
  const subscription = {
    endpoint,
    keys: { p256dh: base64(await crypto.subtle.exportKey('raw', keys.publicKey)), auth: base64(auth) },
  };

  await context.grantPermissions(['notifications']);
  // The browser's own push service cannot be reached from here: it answers as one would.
  await page.addInitScript((made) => {
    PushManager.prototype.subscribe = async () => ({ toJSON: () => made }) as unknown as PushSubscription;
  }, subscription);
  const larch = demo().keepers.find((k) => k.animal === 'Larch');
  await redeem(page.request, (larch?.links ?? []).slice(22));
  await page.goto('/k/settings');
  await page.getByRole('button', { name: 'Turn on reminders here' }).tap();
  await expect(page.getByText('Reminders come to this device.', { exact: true })).toBeVisible();
  await expect(page.getByText('this server sends no mail')).toBeVisible();
  await page.getByLabel('Until').selectOption('07:00');
  await page.getByRole('button', { name: 'Keep these hours' }).tap();
  await expect(page.getByText('These hours are kept.')).toBeVisible();
  await fits(page);
  await axe(page, 'reminders');
  await page.getByRole('button', { name: 'Send a test' }).tap();
  await expect.poll(() => arrived.length).toBe(1);
  const text = await open(bytes(arrived[0] as Buffer), keys, auth);
  expect(JSON.parse(text)).toMatchObject({ title: 'Warmhand', tag: 'test' });

  const cdp = await context.newCDPSession(page);
  const registration = new Promise<string>((found) =>
    cdp.on('ServiceWorker.workerRegistrationUpdated', ({ registrations }) => {
      if (registrations[0]) found(registrations[0].registrationId);
    }),
  );
  await cdp.send('ServiceWorker.enable');
  await page.evaluate(() => navigator.serviceWorker.ready.then(() => undefined));
  const id = await registration;
  const deliver = (data: string) =>
    cdp.send('ServiceWorker.deliverPushMessage', { origin: baseURL ?? '', registrationId: id, data });
  const shown = () =>
    page.evaluate(async () => {
      const list = await (await navigator.serviceWorker.ready).getNotifications();
      return list.map((n) => ({
        title: n.title,
        body: n.body,
        actions: (n as unknown as { actions: { title: string }[] }).actions.map((a) => a.title),
      }));
    });
  await deliver(text);
  await expect
    .poll(shown)
    .toContainEqual({ title: 'Warmhand', body: 'This is a test. Reminders arrive on this device.', actions: [] });

  await deliver(
    JSON.stringify({
      title: 'Larch',
      body: 'How did its first meal go?',
      tag: 'x',
      url: '/k',
      log: { case: 'breeders/b/cases/c', animal: 'breeders/b/animals/a' },
    }),
  );
  await expect
    .poll(shown)
    .toContainEqual({ title: 'Larch', body: 'How did its first meal go?', actions: ['Ate', 'Refused'] });
  // One tap on it: it is on this device at once. (The animal is none of the demonstration's: nothing of others' changes.)
  const [worker] = context.serviceWorkers();
  await worker?.evaluate(`registration.getNotifications().then((list) => {
    const notification = list.find((n) => n.title === 'Larch');
    dispatchEvent(new NotificationEvent('notificationclick', { action: 'ate', notification }));
  })`);
  await expect.poll(shown).toContainEqual({ title: 'Larch', body: 'Written down: it ate.', actions: [] });
  const kept = await page.evaluate(async () => {
    const name = (await indexedDB.databases()).map((d) => d.name ?? '').find((n) => n.includes('warmhand')) ?? '';
    const db = await new Promise<IDBDatabase>((done) => {
      const open = indexedDB.open(name);
      open.onsuccess = () => done(open.result);
    });
    return new Promise<unknown[]>((done) => {
      const all = db.transaction('outbox').objectStore('outbox').getAll();
      all.onsuccess = () => done(all.result);
    });
  });
  expect(kept).toContainEqual(
    expect.objectContaining({
      case: 'breeders/b/cases/c',
      entry: expect.objectContaining({ offer: { result: 'OFFER_RESULT_EATEN' } }),
    }),
  );
  await page.getByRole('button', { name: 'Turn off here' }).tap();
  await expect(page.getByRole('button', { name: 'Turn on reminders here' })).toBeVisible();

  // Its person reads German now: the next one says so, on a screen that is still English.
  const reads = async (language: string) => {
    const set = await page.request.post('/v1/me:setLanguage', {
      headers: { 'X-Warmhand': 'keeper' },
      data: { language },
    });
    expect(await set.json()).toEqual({ language });
  };
  await reads('de');
  await page.getByRole('button', { name: 'Turn on reminders here' }).tap();
  await expect(page.getByText('Reminders come to this device.', { exact: true })).toBeVisible();
  await page.getByRole('button', { name: 'Send a test' }).tap();
  await expect.poll(() => arrived.length).toBe(2);
  await reads('en'); // as the other tests know them
  await deliver(await open(bytes(arrived[1] as Buffer), keys, auth));
  await expect.poll(shown).toContainEqual({
    title: 'Warmhand',
    body: 'Das ist ein Test. Erinnerungen kommen auf diesem Gerät an.',
    actions: [],
  });
  await cdp.detach();
  service.close();
});
