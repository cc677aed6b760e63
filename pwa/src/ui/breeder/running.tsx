// A run on its way: where it is lies on the device, and each entry is kept together with how the run goes on.

import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { EntryJson, StockAnimalJson } from '../../core/contract';
import { uuidv7 } from '../../core/ids';
import { among, begin, logged, type Run, type Step, without } from '../../core/run';
import { say } from '../../core/say';
import { lastKnown, withEntry, withLast } from '../../store/copies';
import { dropDraft, readDraft, writeDraft } from '../../store/db';
import { type Loaded, useLoad } from './hooks';
import { breeder, draftPrefix } from './session';
import type { RunKind } from './stock';
import { copyHolds, fetchStock, logInRun, orCopy, stockCopy, undoInRun } from './table';

const draftOf = (kind: RunKind) => `${draftPrefix}run ${kind}`;

/** The run that was begun on this device and not ended. */
export async function keptRun(kind: RunKind): Promise<Run | undefined> {
  const r = await readDraft<Run>(draftOf(kind)).catch(() => undefined);
  return r?.of === breeder() ? r : undefined;
}

export function nameOf(s: StockAnimalJson | undefined): string {
  return s?.animal?.displayName || say('No label');
}

/** A run on its way, and what can be done with it. */
export interface Doing {
  run: Run;
  /** The animals of the stock book by name, with what was logged since. */
  stock: ReadonlyMap<string, StockAnimalJson>;
  /** Gives the run as it is then. */
  change: (f: (r: Run) => Run) => Run | undefined;
  /** Keeps an entry, and goes on. It is true when the device has it. */
  log: (animal: string, entry: EntryJson) => Promise<boolean>;
  /** Takes the last entry of this animal in this run back; without a name, the last of all. */
  undo: (animal?: string) => Promise<Step | undefined>;
  /** Why the last entry was not kept, or not taken back. */
  error: unknown;
}

export interface Book {
  animals: StockAnimalJson[];
  /** When the copy was fetched, ms; without it, it comes from the service. */
  at?: number;
}

export interface Running extends Omit<Doing, 'run'> {
  loaded: Pick<Loaded<{ book: Book }>, 'data' | 'error' | 'again'>;
  /** undefined while none was begun. */
  run: Run | undefined;
  begin: (names: readonly string[]) => void;
  end: () => void;
}

export function useRunning(kind: RunKind): Running {
  const loaded = useLoad(`run ${kind}`, async (signal) => {
    const copy = await stockCopy();
    // Between racks a network may be there and answer nobody: a copy that is fresh is at hand at once.
    const fresh = copy && Date.now() - copy.at < copyHolds;
    const book = fresh
      ? { animals: copy.animals }
      : await orCopy<Book>(
          async () => ({ animals: await fetchStock(signal) }),
          (old) => old,
        );
    const stock = new Map(book.animals.map((s) => [s.animal?.name ?? '', s]));
    const here = new Set(book.animals.flatMap((s) => (s.away ? [] : (s.animal?.name ?? []))));
    const kept = await keptRun(kind);
    return { book, stock, run: kept && among(kept, here) };
  });
  const [run, setRun] = useState<Run>();
  const [taken, setTaken] = useState<unknown>(); // what was loaded and stands in the rest of the state
  const [stock, setStock] = useState<ReadonlyMap<string, StockAnimalJson>>(new Map());
  const [error, setError] = useState<unknown>();
  // Taps may come faster than the device writes.
  const latest = useRef<Run | undefined>(undefined);
  const put = (r: Run | undefined) => {
    latest.current = r;
    setRun(r);
  };
  const d = loaded.data;
  useEffect(() => {
    if (!d) return;
    setStock(d.stock);
    put(d.run);
    setTaken(d);
  }, [d]);
  const draft = draftOf(kind);
  const change = (f: (r: Run) => Run) => {
    if (!latest.current) return undefined;
    put(f(latest.current));
    void writeDraft(draft, latest.current).catch(() => undefined); // it is there for as long as the page is
    return latest.current;
  };
  const know = (animal: string, f: (s: StockAnimalJson) => StockAnimalJson) =>
    setStock((was) => new Map(was).set(animal, f(was.get(animal) ?? {})));
  const log = async (animal: string, entry: EntryJson) => {
    if (!latest.current) return false;
    const step: Step = { animal, id: uuidv7(), entry, last: lastKnown(stock.get(animal) ?? {}) };
    const next = logged(latest.current, step);
    put(next);
    know(animal, (s) => withEntry(s, entry));
    try {
      await logInRun(animal, entry, step.id, { draft, as: next });
      setError(undefined);
      return true;
    } catch (e) {
      setError(e);
      change((r) => without(r, step.id));
      know(animal, (s) => withLast(s, step.last));
      return false;
    }
  };
  const undo = async (animal?: string) => {
    const step = latest.current?.steps.findLast((s) => !animal || s.animal === animal);
    if (!latest.current || !step) return undefined;
    const next = without(latest.current, step.id);
    put(next);
    know(step.animal, (s) => withLast(s, step.last));
    try {
      await undoInRun({ animal: step.animal, id: step.id, last: step.last, goesOn: { draft, as: next } });
      setError(undefined);
      return step;
    } catch (e) {
      setError(e);
      change((r) => logged(r, step));
      know(step.animal, (s) => withEntry(s, step.entry));
      return undefined;
    }
  };
  return {
    loaded: { ...loaded, data: taken ? loaded.data : undefined },
    run,
    stock,
    change,
    log,
    undo,
    error,
    begin: (names) => {
      put(begin(breeder(), names));
      change((r) => r);
    },
    end: () => {
      put(undefined);
      void dropDraft(draft).then(loaded.again, loaded.again);
    },
  };
}

/** Keys, for who has them at hand. */
export function Keys({ children }: { children: ComponentChildren }): JSX.Element {
  return <p class="muted keys">{children}</p>;
}
