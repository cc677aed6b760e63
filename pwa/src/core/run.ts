// A run: a pass through animals in the order in which they stand, one thing logged of each.
import type { EntryJson, StockAnimalJson } from './contract';

/** It lies on the device as it is, and goes on where it stopped. */
export interface Run {
  /** `breeders/{breeder}`, whose it is. */
  of: string;
  /** Resource names of its animals, in order. */
  names: string[];
  /** Whose turn it is; '' when nobody is left. */
  at: string;
  /** What was logged, the last one last. */
  steps: Step[];
  skipped: string[];
}

export interface Step {
  animal: string;
  /** Of the entry. */
  id: string;
  entry: EntryJson;
  /** What was known of the animal before. */
  last: Pick<StockAnimalJson, 'massG' | 'weighTime' | 'lastOffer' | 'lastMeal'>;
}

export function begin(of: string, names: readonly string[]): Run {
  return { of, names: [...names], at: names[0] ?? '', steps: [], skipped: [] };
}

/** How many of its animals something was logged of. */
export function done(r: Run): number {
  return new Set(r.steps.map((s) => s.animal)).size;
}

/** Who has neither an entry nor was skipped, in order. */
export function left(r: Run): string[] {
  const over = new Set([...r.skipped, ...r.steps.map((s) => s.animal)]);
  return r.names.filter((n) => !over.has(n));
}

/** The next after `at` who is left; after the last, those who were passed over. */
function next(r: Run): string {
  const at = r.names.indexOf(r.at);
  const rest = left(r);
  return rest.find((n) => r.names.indexOf(n) > at) ?? rest[0] ?? '';
}

export function logged(r: Run, step: Step): Run {
  const now = { ...r, at: step.animal, steps: [...r.steps, step], skipped: r.skipped.filter((n) => n !== step.animal) };
  return { ...now, at: next(now) };
}

export function skip(r: Run): Run {
  if (!r.at) return r;
  const weighed = r.steps.some((s) => s.animal === r.at);
  const now = weighed ? r : { ...r, skipped: [...r.skipped.filter((n) => n !== r.at), r.at] };
  return { ...now, at: next(now) };
}

/** Without this step; it is that animal's turn again. */
export function without(r: Run, id: string): Run {
  const gone = r.steps.find((s) => s.id === id);
  return gone ? { ...r, at: gone.animal, steps: r.steps.filter((s) => s !== gone) } : r;
}

/** It is this animal's turn, also when it was not among them: then it stands after the one whose turn it was. */
export function goTo(r: Run, name: string): Run {
  if (r.names.includes(name)) return { ...r, at: name };
  const after = r.at ? r.names.indexOf(r.at) + 1 : r.names.length;
  return { ...r, at: name, names: r.names.toSpliced(after, 0, name) };
}

/** To the one before, whatever became of it. */
export function back(r: Run): Run {
  const at = r.at ? r.names.indexOf(r.at) : r.names.length;
  return { ...r, at: r.names[at - 1] ?? r.at };
}

/** Those who were skipped have their turn. */
export function takeUp(r: Run): Run {
  const now = { ...r, skipped: [] };
  return { ...now, at: left(now)[0] ?? '' };
}

/** Without those who are not here any more, such as one that was sold meanwhile. */
export function among(r: Run, here: ReadonlySet<string>): Run {
  const names = r.names.filter((n) => here.has(n) || r.steps.some((s) => s.animal === n));
  const now = { ...r, names, skipped: r.skipped.filter((n) => here.has(n)) };
  if (!r.at || here.has(r.at)) return now;
  const later = r.names.slice(r.names.indexOf(r.at));
  const rest = left(now).filter((n) => here.has(n));
  return { ...now, at: rest.find((n) => later.includes(n)) ?? rest[0] ?? '' };
}
