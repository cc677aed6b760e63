import type { ComponentChildren } from 'preact';
import { language, locale } from './language';

/** A sentence that depends on a number, as English has it: by the value named n. */
export interface Counted {
  one: string;
  other: string;
}

/** What a form says in another language; for a counted one by CLDR's categories of plurals. */
type Catalogue = Readonly<Record<string, string | Readonly<Record<string, string>>>>;

let catalogue: Catalogue = {};
let plurals = new Intl.PluralRules('en');

/**
 * Fetches the words of the person's language. It has to be done before any other module is loaded, because many say
 * something right then; so a change of language loads the page anew. Without the words everything is in English.
 */
export async function learn(): Promise<void> {
  const tag = language();
  const at = __WORDS__[tag]?.at;
  if (!at) {
    catalogue = {};
    return;
  }
  try {
    const kept = await globalThis.caches?.match(at);
    catalogue = (await (kept ?? (await fetch(at))).json()) as Catalogue;
    plurals = new Intl.PluralRules(tag);
    if (typeof document !== 'undefined') document.documentElement.lang = tag;
  } catch {
    // No network, and not kept yet: English it is.
  }
}

type Values = Readonly<Record<string, string | number | false | null | undefined>>;

/**
 * Says an English sentence in the person's language. What varies stands in it as {name}; an element there makes it
 * children of an element instead of a text. The catalogue knows a counted sentence by its form for many.
 */
export function say(form: string | Counted, values?: Values): string;
export function say(form: string | Counted, values: Readonly<Record<string, ComponentChildren>>): ComponentChildren;
export function say(
  form: string | Counted,
  values: Readonly<Record<string, ComponentChildren>> = {},
): ComponentChildren {
  const many = typeof form === 'string' ? undefined : form;
  const key = many ? many.other : (form as string);
  const said = catalogue[key] ?? form;
  const text =
    typeof said === 'string'
      ? said
      : ((said as Record<string, string>)[plurals.select(Number(values['n']))] ?? said['other'] ?? key);
  if (!text.includes('{')) return text;
  const parts = text.split(/\{(\w+)\}/).map((part, at) => (at % 2 === 0 ? part : placed(values[part])));
  return parts.every((p) => typeof p === 'string') ? tied(parts.join('')) : parts;
}

/** A number and its unit stay on one line, as in what the service says. */
const tied = (text: string) => text.replace(/(\d) (?=(?:%|mm)(?![\p{L}\d]))/gu, '$1\u00a0');

/** Several names or things in one sentence. */
export const listed = (items: readonly string[], type: 'conjunction' | 'disjunction' = 'conjunction'): string =>
  new Intl.ListFormat(locale(), { type }).format(items);

/** Short facts beside one another; what is not there is left out. */
export const facts = (...list: readonly (string | false | null | undefined)[]): string =>
  list.filter(Boolean).join(' · ');

/** What the measuring engine says, sentence by sentence. Its sentences stand in internal/measure. */
export const sayOfEngine = (text: string): string =>
  text
    .split(/(?<=\.) /)
    .map((sentence) => catalogue[sentence] ?? sentence)
    .join(' ');

/** A heading or a label as it stands within a sentence: English begins it small, others have it as it is. */
export function within(text: string): string {
  return language() === 'en' ? text.toLowerCase() : text;
}

/** Numbers as the person writes them; what is absent is nothing. */
function placed(value: ComponentChildren): ComponentChildren {
  if (typeof value === 'number') return plain(value) ? String(value) : number().format(value);
  return value === false || value === null || value === undefined ? '' : value;
}

/** Written the same in every language of the app. A browser takes longer for its first format of numbers than for drawing a list. */
const plain = (n: number) => Number.isInteger(n) && n >= 0 && n < 10_000;

let numbers: { locale: string; format: Intl.NumberFormat } | undefined;

function number(): Intl.NumberFormat {
  const now = locale();
  // Four digits without a mark: they may be a year.
  if (numbers?.locale !== now) numbers = { locale: now, format: new Intl.NumberFormat(now, { useGrouping: 'min2' }) };
  return numbers.format;
}
