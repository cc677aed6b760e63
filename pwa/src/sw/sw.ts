// The service worker: keeps the app's own files for use without network, and sends
// the outbox when the browser lets it. It leaves /v1/ alone: screens draw from the
// database, never from a cached answer.
import { asBreeder, asKeeper, call } from '../api/client';
import type { EntryJson, GetRemindersResponseJson } from '../core/contract';
import { isAppPath } from '../core/routes';
import { learn, say } from '../core/say';
import { changeSettings } from '../core/settings';
import { languageKey, readState } from '../store/db';
import { saveEntry } from '../store/outbox';
import { flush } from '../sync/flush';

declare const self: ServiceWorkerGlobalScope;

interface SyncEvent extends ExtendableEvent {
  readonly tag: string;
}

declare global {
  interface ServiceWorkerRegistration {
    /** Not in every browser. */
    readonly sync?: { register(tag: string): Promise<void> };
  }
}

const prefix = 'shell-';
const shell = prefix + __VERSION__;
/** Large files that not everybody needs: kept from their first use on, over versions of the app. */
const larder = 'large';

self.addEventListener('install', (event) => event.waitUntil(install()));
self.addEventListener('activate', (event) => event.waitUntil(activate()));

async function install(): Promise<void> {
  const cache = await caches.open(shell);
  await Promise.all(
    __PRECACHE__.map(async (path) => {
      // Names under assets/ hold a hash of their content: an older copy is the same file.
      const old = path.startsWith('/assets/') ? await caches.match(path) : undefined;
      const response = old ?? (await fetch(new Request(path, { cache: 'reload' })));
      // A half-published version must not install; the old one goes on.
      if (!response.ok) throw new Error(`${path}: ${response.status}`);
      await cache.put(path, response);
    }),
  );
}

async function activate(): Promise<void> {
  for (const name of await caches.keys()) {
    if (name.startsWith(prefix) && name !== shell) await caches.delete(name);
  }
  const kept = await caches.open(larder);
  for (const { url } of await kept.keys()) {
    if (!__LARGE__.includes(new URL(url).pathname)) await kept.delete(url);
  }
  await self.clients.claim();
}

self.addEventListener('message', (event) => {
  // The person agreed to the new version; never before, a form may be open.
  if (event.data === 'skip-waiting') event.waitUntil(self.skipWaiting());
  // A page that was still loading when this worker became active was not taken over then.
  if (event.data === 'claim') event.waitUntil(self.clients.claim());
});

self.addEventListener('fetch', (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== self.location.origin || url.pathname.startsWith('/v1/')) return;
  if (request.mode === 'navigate') {
    if (isAppPath(url.pathname)) event.respondWith(page(request));
    return;
  }
  event.respondWith(__LARGE__.includes(url.pathname) ? large(request) : file(request));
});

async function page(request: Request): Promise<Response> {
  const cache = await caches.open(shell);
  return (await cache.match('/')) ?? fetch(request);
}

async function file(request: Request): Promise<Response> {
  const cache = await caches.open(shell);
  return (await cache.match(request)) ?? fetch(request);
}

async function large(request: Request): Promise<Response> {
  const cache = await caches.open(larder);
  const kept = await cache.match(request);
  if (kept) return kept;
  const response = await fetch(request);
  // A phone without room for it can use it all the same.
  if (response.ok) await cache.put(request, response.clone()).catch(() => undefined);
  return response;
}

self.addEventListener('sync' as 'message', (event: unknown) => {
  const sync = event as SyncEvent;
  if (sync.tag === 'outbox') sync.waitUntil(sendAll());
});

async function sendAll(): Promise<void> {
  const channel = new BroadcastChannel('warmhand');
  try {
    const result = await flush(() => channel.postMessage('changed'));
    // A rejection makes the browser try again later.
    if (result.left > 0 && !result.signedOut) throw new Error(`${result.left} entries are still to be sent`);
  } finally {
    channel.close();
  }
}

/** What the service sends, see internal/notify/message.go. */
interface PushText {
  title?: string;
  body?: string;
  url?: string;
  tag?: string;
  /** The language of title and body. */
  lang?: string;
  /** An offer that can be logged on the notification itself. */
  log?: { case: string; animal: string };
}

const answers = [
  { action: 'ate', title: () => say('Ate'), result: 'OFFER_RESULT_EATEN', said: () => say('Written down: it ate.') },
  {
    action: 'refused',
    title: () => say('Refused'),
    result: 'OFFER_RESULT_REFUSED',
    said: () => say('Written down: it did not eat.'),
  },
] as const;

self.addEventListener('push', (event) => {
  let text: PushText = {};
  try {
    text = (event.data?.json() as PushText | undefined) ?? {};
  } catch {
    // A message without readable text still has to show something.
  }
  event.waitUntil(learnAgain().then(() => show(text)));
});

/** The worker may have slept since it was last asked, and sees no settings of the page's. */
async function learnAgain(): Promise<void> {
  const language = await readState<string>(languageKey).catch(() => undefined);
  changeSettings({ language: language ?? '' });
  await learn();
}

function show(text: PushText): Promise<void> {
  const actions = text.log ? answers.map(({ action, title }) => ({ action, title: title() })) : [];
  return self.registration.showNotification(text.title ?? 'Warmhand', {
    body: text.body ?? say('There is news about your snake.'),
    icon: '/icons/icon-192.png',
    data: text,
    ...(text.tag && { tag: text.tag }),
    ...(text.lang && { lang: text.lang }),
    ...(actions.length > 0 && { actions }),
  } as NotificationOptions);
}

self.addEventListener('notificationclick', (event) => {
  const text = (event.notification.data ?? {}) as PushText;
  event.notification.close();
  const answer = answers.find((a) => a.action === event.action);
  event.waitUntil(answer && text.log ? log(text, text.log, answer) : open(text.url ?? '/'));
});

/** One tap: it is saved on this device first and sent like everything else, now or when there is network. */
async function log(
  text: PushText,
  about: NonNullable<PushText['log']>,
  answer: (typeof answers)[number],
): Promise<void> {
  await learnAgain();
  const { tag, url } = text;
  const tell = (body: string) =>
    show({ body, ...(text.title && { title: text.title }), ...(tag && { tag }), ...(url && { url }) });
  const entry: EntryJson = { happenTime: new Date().toISOString(), offer: { result: answer.result } };
  try {
    await saveEntry({ case: { name: about.case, animal: { name: about.animal } }, entry });
  } catch {
    await tell(say('It could not be written down here. Tap to open the app.'));
    return;
  }
  await tell(answer.said());
  await sendAll().catch(() => self.registration.sync?.register('outbox').catch(() => undefined));
}

async function open(address: string): Promise<void> {
  const url = new URL(address, self.location.origin);
  if (url.origin !== self.location.origin) return;
  const [page] = await self.clients.matchAll({ type: 'window' });
  if (page) {
    await page.focus();
    await page.navigate(url.href);
  } else await self.clients.openWindow(url.href);
}

/** The browser renews a device's address now and then: who is reminded here gets the new one. */
self.addEventListener('pushsubscriptionchange' as 'message', (event: unknown) => {
  (event as ExtendableEvent).waitUntil(renew());
});

async function renew(): Promise<void> {
  for (const as of [asKeeper, asBreeder]) {
    try {
      const { reminders } = await call<GetRemindersResponseJson>('GET', '/v1/me/reminders', undefined, as);
      if (!reminders?.ways?.some((w) => w.thisDevice)) continue;
      const made = await self.registration.pushManager.subscribe({
        userVisibleOnly: true,
        applicationServerKey: reminders.pushKey ?? '',
      });
      const { endpoint, keys } = made.toJSON();
      await call(
        'POST',
        '/v1/me/reminders:addDevice',
        { endpoint, p256dh: keys?.['p256dh'], auth: keys?.['auth'], zone: reminders.hours?.zone },
        as,
      );
    } catch {
      // Not signed in as this, or no network: the settings offer to turn reminders on again.
    }
  }
}
