// The service worker: keeps the app's own files for use without network, and sends
// the outbox when the browser lets it. It leaves /v1/ alone: screens draw from the
// database, never from a cached answer.
import { isAppPath } from '../core/routes';
import { flush } from '../sync/flush';

declare const self: ServiceWorkerGlobalScope;

interface SyncEvent extends ExtendableEvent {
  readonly tag: string;
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

interface PushText {
  title?: string;
  body?: string;
  url?: string;
}

self.addEventListener('push', (event) => {
  let text: PushText = {};
  try {
    text = (event.data?.json() as PushText | undefined) ?? {};
  } catch {
    // A message without readable text still has to show something.
  }
  event.waitUntil(
    self.registration.showNotification(text.title ?? 'Warmhand', {
      body: text.body ?? 'There is news about your snake.',
      icon: '/icons/icon-192.png',
      data: text.url ?? '/',
    }),
  );
});

self.addEventListener('notificationclick', (event) => {
  event.notification.close();
  const url = new URL(String(event.notification.data ?? '/'), self.location.origin);
  if (url.origin !== self.location.origin) return;
  event.waitUntil(
    (async () => {
      const [open] = await self.clients.matchAll({ type: 'window' });
      if (open) {
        await open.focus();
        await open.navigate(url.href);
      } else await self.clients.openWindow(url.href);
    })(),
  );
});
