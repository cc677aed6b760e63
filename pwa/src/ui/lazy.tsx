import type { ComponentType, JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { say } from '../core/say';
import { Button, Notice } from './parts/controls';

/** A screen with a style sheet of its own, which stands in the page and is off until now. Without it the screen is plain, and works. */
export async function styled<T>(sheet: string, screen: Promise<T>): Promise<T> {
  const link = document.querySelector<HTMLLinkElement>(`link[data-of="${sheet}"]`);
  if (link?.disabled) {
    const there = new Promise<void>((done) => {
      link.onload = link.onerror = () => done();
    });
    link.disabled = false;
    await there;
  }
  return screen;
}

/** A screen whose code is fetched when it is first shown; the worker has it ready without network. */
export function lazy<P extends object>(load: () => Promise<{ default: ComponentType<P> }>): ComponentType<P> {
  let Loaded: ComponentType<P> | undefined;
  return function Lazy(props: P): JSX.Element {
    const [failed, setFailed] = useState(false);
    const [, redraw] = useState(0);
    useEffect(() => {
      if (Loaded) return;
      load().then(
        (m) => {
          Loaded = m.default;
          redraw((n) => n + 1);
        },
        () => setFailed(true),
      );
    }, []);
    if (Loaded) return <Loaded {...props} />;
    if (!failed) {
      return (
        <main class="page" aria-busy="true">
          <h1 class="ear">{say('Loading')}</h1>
        </main>
      );
    }
    return (
      <main class="page">
        <h1>{say('This screen could not be loaded')}</h1>
        <Notice kind="warn" live>
          <p>{say('There is no network, or the app was renewed meanwhile. Nothing that you saved is lost.')}</p>
        </Notice>
        <div class="actions">
          <Button kind="main" onClick={() => location.reload()}>
            {say('Load again')}
          </Button>
        </div>
      </main>
    );
  };
}
