import { useCallback, useEffect, useRef, useState } from 'preact/hooks';
import { ApiError, Offline } from '../../api/client';
import { uuidv7 } from '../../core/ids';
import { say } from '../../core/say';

export interface Loaded<T> {
  data: T | undefined;
  error: unknown;
  again: () => void;
  set: (data: T) => void;
}

/** Loads, and loads again when `key` changes; a late answer to an earlier key is dropped. */
export function useLoad<T>(key: string, load: (signal: AbortSignal) => Promise<T>): Loaded<T> {
  const [state, setState] = useState<{ key: string; data?: T | undefined; error?: unknown }>({ key });
  const [turn, setTurn] = useState(0);
  const latest = useRef(load);
  latest.current = load;
  // `turn` asks for another look at the same key.
  useEffect(() => {
    const stop = new AbortController();
    latest.current(stop.signal).then(
      (data) => {
        if (!stop.signal.aborted) setState({ key, data });
      },
      (error: unknown) => {
        // What was there stays on the screen.
        if (!stop.signal.aborted) setState((was) => ({ key, data: was.key === key ? was.data : undefined, error }));
      },
    );
    return () => stop.abort();
  }, [key, turn]);
  const mine = state.key === key;
  return {
    data: mine ? state.data : undefined,
    error: mine ? state.error : undefined,
    again: useCallback(() => setTurn((n) => n + 1), []),
    set: useCallback((data: T) => setState({ key, data }), [key]),
  };
}

export interface Intent {
  /** Sent with the request: a repeat of the same intent is recognised by it. */
  id: string;
  /** When the person first pressed the button, RFC 3339. */
  at: string;
}

export interface Saving {
  busy: boolean;
  error: unknown;
  /** True when it is saved. */
  run: (work: (intent: Intent) => Promise<unknown>) => Promise<boolean>;
  clear: () => void;
}

/**
 * One thing a person wants saved. Its id stays the same for as long as nobody
 * knows whether the service has it, so that pressing again doubles nothing; once
 * the service has refused or accepted it, the next try is a new intent.
 */
export function useSave(): Saving {
  const [busy, setBusy] = useState(false);
  const [error, setError] = useState<unknown>();
  const intent = useRef<Intent | undefined>(undefined);
  const running = useRef(false);
  const run = useCallback(async (work: (intent: Intent) => Promise<unknown>) => {
    if (running.current) return false;
    running.current = true;
    setBusy(true);
    setError(undefined);
    intent.current ??= { id: uuidv7(), at: new Date().toISOString() };
    try {
      await work(intent.current);
      intent.current = undefined;
      return true;
    } catch (e) {
      if (e instanceof ApiError && e.status < 500) intent.current = undefined;
      setError(e);
      return false;
    } finally {
      running.current = false;
      setBusy(false);
    }
  }, []);
  return { busy, error, run, clear: useCallback(() => setError(undefined), []) };
}

/** What is wrong with a field, if the service or the form named it. */
export function problem(error: unknown, ...names: string[]): string | undefined {
  if (error instanceof FormError) return names.includes(error.field) ? error.message : undefined;
  if (!(error instanceof ApiError)) return undefined;
  for (const n of names) {
    const found = error.field(n);
    if (found) return found;
  }
  return undefined;
}

/** Found on this side, before anything was sent. */
export class FormError extends Error {
  readonly field: string;
  constructor(field: string, message: string) {
    super(message);
    this.field = field;
  }
}

/** What is left to say when the fields named in `shown` show their own problem. */
export function rest(error: unknown, ...shown: string[]): string | undefined {
  if (!error) return undefined;
  if (error instanceof FormError) return shown.includes(error.field) ? undefined : error.message;
  if (error instanceof Offline)
    return `${error.message} ${say('It is not saved yet. Try again when there is one; nothing is saved twice.')}`;
  if (error instanceof ApiError) {
    const all =
      error.fields.length > 0 &&
      error.fields.every((f) => shown.some((n) => f.field === n || f.field.endsWith(`.${n}`)));
    return all ? undefined : error.message;
  }
  return error instanceof Error ? error.message : String(error);
}

export function isOffline(error: unknown): boolean {
  return error instanceof Offline;
}

export function reasonOf(error: unknown): string {
  return error instanceof ApiError ? error.reason : '';
}
