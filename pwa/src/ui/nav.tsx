import { signal } from '@preact/signals';
import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { say } from '../core/say';
import { Icon } from './parts/icons';

export const path = signal(location.pathname);

/** Forms that hold something not saved yet; while there is one, no new version takes over. */
export const unsaved = signal(0);

addEventListener('popstate', () => {
  path.value = location.pathname;
});

export function go(to: string, replace = false): void {
  if (replace) history.replaceState(null, '', to);
  else history.pushState(null, '', to);
  path.value = location.pathname;
  scrollTo(0, 0);
}

/** Marks a form as holding unsaved input for as long as `dirty` is true. */
export function useUnsaved(dirty: boolean): void {
  useEffect(() => {
    if (!dirty) return;
    unsaved.value++;
    const ask = (e: BeforeUnloadEvent) => e.preventDefault();
    addEventListener('beforeunload', ask);
    return () => {
      unsaved.value--;
      removeEventListener('beforeunload', ask);
    };
  }, [dirty]);
}

export function Link({
  to,
  class: c,
  children,
  ...rest
}: { to: string; class?: string; children: ComponentChildren } & Record<
  `aria-${string}`,
  string | undefined
>): JSX.Element {
  return (
    <a
      {...rest}
      href={to}
      class={c}
      onClick={(e) => {
        if (e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey || e.altKey) return;
        e.preventDefault();
        go(to);
      }}
    >
      {children}
    </a>
  );
}

/** A page that was just opened is read from its top by itself; later the focus has to be brought to what is new. */
let opened = false;

/** One screen of the keeper's app: a way back, a heading that takes the focus, and the rest. */
export function Screen({
  title,
  above,
  back,
  children,
}: {
  title: string;
  above?: ComponentChildren;
  back?: string | undefined;
  children: ComponentChildren;
}): JSX.Element {
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    document.title = `${title} – Warmhand`;
    if (opened) heading.current?.focus({ preventScroll: true });
    opened = true;
  }, [title]);
  return (
    <main class="page">
      <header class="top">
        {back !== undefined && (
          <Link to={back} class="button quiet back">
            <Icon name="back" />
            <span>{say('Back')}</span>
          </Link>
        )}
        {above}
        <h1 ref={heading} tabIndex={-1}>
          {title}
        </h1>
      </header>
      {children}
    </main>
  );
}
