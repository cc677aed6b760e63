import type { EntryJson, StockAnimalJson } from './contract';
import { say } from './say';
import { formatMass } from './units';

/**
 * Would the server take this weight for a slip of the finger? The same bounds as its
 * own, so that the question is asked before the entry leaves the phone.
 */
export function weightSlip(before: number, now: number, days: number): boolean {
  const gone = Math.max(0, days);
  const ratio = now / before;
  return ratio > 1.5 + gone * 0.01 || ratio < Math.max(0.4, 0.65 - gone * 0.001);
}

/** Would the server ask about this prey? It is heavier than the snake was when it was last weighed. */
export function preySlip(prey: number, snake: number): boolean {
  return snake > 0 && prey > snake;
}

/** Two weights this near to each other are the same one: scales for snakes show grams, of large ones to the gram. */
const same = 0.01;
/** Less than a meal adds at once (up to a quarter: Ott & Secor 2007, J Exp Biol 210:340) tells nothing. Ours, no source. */
const far = 0.15;

/**
 * In a run the wrong tub is opened, or the number of the one before is typed again: the weight is the neighbour's,
 * and far from the animal's own last.
 */
export function neighbourSlip(before: number, now: number, neighbour: number): boolean {
  return before > 0 && neighbour > 0 && Math.abs(now / neighbour - 1) <= same && Math.abs(now / before - 1) > far;
}

/** Why an entry is most likely a slip, and what it was held against, g. */
export interface Slip {
  text: string;
  value: number;
  against: number;
}

/** What the service would ask about, by what this device knows of the animal; undefined for an entry to be taken as it is. */
export function slipOf(s: StockAnimalJson | undefined, e: EntryJson): Slip | undefined {
  const before = Number(s?.massG ?? 0);
  if (!before || e.confirmed || e.replaces) return undefined;
  const days = (Date.parse(e.happenTime ?? '') - Date.parse(s?.weighTime ?? '')) / 86_400_000;
  const now = Number(e.weighIn?.massG ?? 0);
  if (now && days >= 0 && weightSlip(before, now, days)) {
    const text = say('It weighed {before} last time. Is {now} right?', {
      before: formatMass(before),
      now: formatMass(now),
    });
    return { text, value: now, against: before };
  }
  const prey = Number(e.offer?.preyG ?? 0);
  if (days >= 0 && preySlip(prey, before)) {
    const text = say('Prey of {prey} is heavier than the snake, which weighed {before} last time. Is it right?', {
      prey: formatMass(prey),
      before: formatMass(before),
    });
    return { text, value: prey, against: before };
  }
  return undefined;
}
