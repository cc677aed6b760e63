import { settings } from './settings';

/** The languages that the app speaks, each called what it calls itself. Those beside English are the files of internal/words. */
export const languages: Readonly<Record<string, string>> = {
  en: 'English',
  ...Object.fromEntries(Object.entries(__WORDS__).map(([tag, of]) => [tag, of.name])),
};

const base = (tag: string) => tag.split('-')[0] ?? '';

/** What the browser was told its person reads, most wished for first. */
function wished(): readonly string[] {
  return typeof navigator === 'undefined' ? [] : [navigator.language, ...(navigator.languages ?? [])].filter(Boolean);
}

/** The language that was chosen here, else the person's elsewhere, else the first of the browser's that the app speaks, else English. */
export function language(): string {
  const { language: chosen, theirs } = settings.value;
  return [chosen, theirs, ...wished().map(base)].find((tag) => languages[tag]) ?? 'en';
}

/** The same with its country, where the browser names one: dates and numbers are written differently in Vienna and Zurich. */
export function locale(): string {
  const said = language();
  return wished().find((tag) => base(tag) === said) ?? said;
}
