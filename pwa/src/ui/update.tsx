import { signal } from '@preact/signals';
import type { JSX } from 'preact';
import { say } from '../core/say';
import { unsaved } from './nav';
import { Button, Notice } from './parts/controls';

const waiting = signal<ServiceWorker | null>(null);

const hour = 3_600_000;

/** Registers the service worker and watches for new versions. */
export async function startWorker(): Promise<void> {
  const workers = navigator.serviceWorker as ServiceWorkerContainer | undefined;
  if (!workers) return; // plain http: the app works, but only with network
  const hadController = Boolean(workers.controller);
  let reloading = false;
  workers.addEventListener('controllerchange', () => {
    // The very first worker changes nothing; a later one may have been accepted in another tab.
    if (!hadController || reloading) return;
    reloading = true;
    const stop = unsaved.subscribe((n) => {
      if (n === 0) {
        queueMicrotask(() => stop());
        location.reload();
      }
    });
  });
  try {
    const registration = await workers.register('/sw.js', { updateViaCache: 'none' });
    const look = () => {
      if (registration.waiting && workers.controller) waiting.value = registration.waiting;
    };
    look();
    void workers.ready.then(({ active }) => workers.controller ?? active?.postMessage('claim'));
    registration.addEventListener('updatefound', () => registration.installing?.addEventListener('statechange', look));
    const ask = () => void registration.update().catch(() => undefined);
    document.addEventListener('visibilitychange', () => document.visibilityState === 'visible' && ask());
    setInterval(ask, hour);
  } catch {
    // The browser refuses workers (private mode): the app works, but only with network.
  }
}

/** Asks, and never while a form holds something. */
export function UpdatePrompt(): JSX.Element | null {
  if (!waiting.value || unsaved.value > 0) return null;
  return (
    <div class="update">
      <Notice live title={say('There is a newer version of the app.')}>
        <div class="row">
          <Button kind="main" onClick={() => waiting.value?.postMessage('skip-waiting')}>
            {say('Use it now')}
          </Button>
          <Button
            kind="quiet"
            onClick={() => {
              waiting.value = null;
            }}
          >
            {say('Later')}
          </Button>
        </div>
      </Notice>
    </div>
  );
}
