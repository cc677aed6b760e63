import type { ComponentChildren, JSX } from 'preact';
import { createContext } from 'preact';
import { useContext, useEffect, useRef } from 'preact/hooks';
import { say } from '../../core/say';
import { clock, day } from '../../core/time';
import { Button, Failed, Notice } from '../parts/controls';
import { isOffline, rest } from './hooks';

export const Go = createContext<(path: string) => void>(() => undefined);

/** A link inside the app. With a modifier key it behaves as any link. */
export function Link({
  to,
  current,
  ...other
}: {
  to: string;
  children: ComponentChildren;
  class?: string;
  current?: 'page' | 'true' | undefined;
  'data-name'?: string | undefined;
}): JSX.Element {
  const go = useContext(Go);
  return (
    <a
      {...other}
      {...(current && { 'aria-current': current })}
      href={to}
      onClick={(e) => {
        if (e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return;
        e.preventDefault();
        go(to);
      }}
    />
  );
}

/** The heading of a screen. It takes the focus when the screen opens, so that a screen reader begins there. */
export function Heading({
  children,
  quietly,
}: {
  children: ComponentChildren;
  quietly?: boolean | undefined;
}): JSX.Element {
  const ref = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    const h = ref.current;
    if (!h) return;
    document.title = `${h.textContent} – Warmhand`;
    if (!quietly) h.focus({ preventScroll: true });
  }, [quietly]);
  return (
    <h1 ref={ref} tabIndex={-1}>
      {children}
    </h1>
  );
}

/** Instead of what could not be loaded, or above what is shown from before. */
export function Trouble({ error, again }: { error: unknown; again: () => void }): JSX.Element {
  return (
    <Notice kind="warn" live title={isOffline(error) ? say('No connection') : say('This could not be loaded')}>
      <p>{isOffline(error) ? say('There is no connection to the service just now.') : rest(error)}</p>
      <div class="actions">
        <Button onClick={again}>{say('Try again')}</Button>
      </div>
    </Notice>
  );
}

/** Above what this device kept: how old it is, and that work can go on. */
export function AsOf({ at, again }: { at: number; again: () => void }): JSX.Element {
  return (
    <Notice kind="warn" live title={say('No connection')}>
      <p>
        {say('This is as of {time}, {day}. What you log is kept on this device and sent when there is network.', {
          time: clock(new Date(at).toISOString()),
          day: day(new Date(at).toISOString()),
        })}
      </p>
      <div class="actions">
        <Button onClick={again}>{say('Try again')}</Button>
      </div>
    </Notice>
  );
}

/** A problem that belongs to no single field. */
export function Problem({ error, shown = [] }: { error: unknown; shown?: string[] }): JSX.Element | null {
  return <Failed text={rest(error, ...shown)} />;
}

export function Waiting(): JSX.Element {
  return (
    <p class="muted" role="status">
      {say('Loading')}
    </p>
  );
}
