// A breeder's phrases, with the places for an animal's facts filled in. The places are the service's (PhrasePlaces).
import type { CaseJson, EntryJson } from './contract';
import { formatMass } from './units';

export const places = [
  'animal',
  'keeper',
  'species',
  'day',
  'days since the last meal',
  'last weight',
  'next step',
  'breeder',
] as const;

export type Facts = Partial<Record<(typeof places)[number], string>>;

/** What is known of a case, as it stands in a sentence. */
export function factsOf(c: CaseJson, entries: readonly EntryJson[], breeder: string | undefined): Facts {
  const a = c.assessment;
  const weight = entries
    .filter((e) => e.weighIn && !e.replacedBy)
    .sort((x, y) => Date.parse(y.happenTime ?? '') - Date.parse(x.happenTime ?? ''))[0];
  const facts: Facts = {};
  const put = (place: (typeof places)[number], text: string | undefined) => {
    if (text) facts[place] = text;
  };
  put('animal', c.animal?.displayName);
  put('keeper', c.keeperName);
  put('species', c.commonName);
  put('day', a && String(a.day ?? 0));
  put('days since the last meal', a && (a.fastDays ?? -1) >= 0 ? String(a.fastDays) : undefined);
  put('last weight', weight && formatMass(Number(weight.weighIn?.massG ?? 0)));
  put('next step', a?.steps?.[0]?.text);
  put('breeder', breeder);
  return facts;
}

/** The phrase as it would be sent; what is not known stays in its brackets. */
export function fill(phrase: string, facts: Facts): string {
  return phrase.replace(/\[([^[\]]*)\]/g, (whole, place: string) => facts[place as (typeof places)[number]] ?? whole);
}

/** Places that are still open in a text. */
export function openPlaces(text: string): string[] {
  return places.filter((p) => text.includes(`[${p}]`));
}
