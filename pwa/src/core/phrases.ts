// A breeder's phrases, with the places for an animal's facts filled in. The places are the service's (PhrasePlaces).
import type { CaseJson, EntryJson } from './contract';
import { say } from './say';
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

type Place = (typeof places)[number];

export type Facts = Partial<Record<Place, string>>;

/** What the places are called where a breeder reads and writes them; they are kept and sent under the names above. */
const names: Record<Place, string> = {
  animal: say('animal'),
  keeper: say('keeper'),
  species: say('species'),
  day: say('day'),
  'days since the last meal': say('days since the last meal'),
  'last weight': say('last weight'),
  'next step': say('next step'),
  breeder: say('breeder'),
};

export const placeNames = places.map((p) => `[${names[p]}]`);

const eachPlace = (phrase: string, by: (place: Place | undefined, whole: string) => string): string =>
  phrase.replace(/\[([^[\]]*)\]/g, (whole, name: string) =>
    by(
      places.find((p) => p === name || names[p] === name),
      whole,
    ),
  );

/** A phrase as its breeder reads it, and as it is kept. */
export const shownPhrase = (phrase: string): string => eachPlace(phrase, (p, whole) => (p ? `[${names[p]}]` : whole));
export const keptPhrase = (phrase: string): string => eachPlace(phrase, (p, whole) => (p ? `[${p}]` : whole));

/** What is known of a case, as it stands in a sentence. */
export function factsOf(c: CaseJson, entries: readonly EntryJson[], breeder: string | undefined): Facts {
  const a = c.assessment;
  const weight = entries
    .filter((e) => e.weighIn && !e.replacedBy)
    .sort((x, y) => Date.parse(y.happenTime ?? '') - Date.parse(x.happenTime ?? ''))[0];
  const facts: Facts = {};
  const put = (place: Place, text: string | undefined) => {
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
  return eachPlace(phrase, (p, whole) => (p ? (facts[p] ?? `[${names[p]}]`) : whole));
}

/** Places that are still open in a text that was filled in. */
export function openPlaces(text: string): string[] {
  return placeNames.filter((p) => text.includes(p));
}
