import { locale } from './language';
import { say } from './say';
import { settings } from './settings';

/** Grams in an avoirdupois ounce, exactly (International Yard and Pound Agreement, 1959). */
export const gramsPerOunce = 28.349523125;

const formats = new Map<string, Intl.NumberFormat>();

/** A number as the person writes it, with at most so many decimals. */
export function formatNumber(value: number, decimals = 0, unit?: string): string {
  const key = `${locale()} ${decimals} ${unit ?? ''}`;
  let format = formats.get(key);
  if (!format) {
    format = new Intl.NumberFormat(locale(), {
      maximumFractionDigits: decimals,
      ...(unit && { style: 'unit', unit, unitDisplay: 'short' }),
    });
    formats.set(key, format);
  }
  const text = format.format(value).replace('-', '−');
  // Intl breaks lines before a unit, and in English writes "27°C"; SI has a space there that does not break.
  return unit ? text.replace(/\s?°|\s(?=\D+$)/, (found) => `\u00a0${found.trim()}`) : text;
}

/** Grams in the person's unit, with the unit. */
export function formatMass(g: number): string {
  if (settings.value.mass === 'oz') {
    const oz = g / gramsPerOunce;
    return formatNumber(oz, oz < 10 ? 2 : 1, 'ounce');
  }
  return formatNumber(g, g < 100 ? 1 : 0, 'gram');
}

/** °C in the person's unit, with the unit. Not for differences: those have no offset. */
export function formatTemp(c: number): string {
  return settings.value.temp === 'F' ? formatNumber((c * 9) / 5 + 32, 0, 'fahrenheit') : formatNumber(c, 1, 'celsius');
}

/** A band of °C in the person's unit. */
export function formatTempBand(low: number, high: number): string {
  return say('{low} to {high}', { low: formatTemp(low).replace(/\s°.*$/, ''), high: formatTemp(high) });
}

/** A number for an input box: no unit, no grouping. */
export function massForInput(g: number): string {
  const v = settings.value.mass === 'oz' ? g / gramsPerOunce : g;
  return String(Number(v.toFixed(2)));
}

export function tempForInput(c: number): string {
  const v = settings.value.temp === 'F' ? (c * 9) / 5 + 32 : c;
  return String(Number(v.toFixed(1)));
}

/**
 * What a person typed as a number, or null: comma or point as decimal mark,
 * spaces or apostrophes between thousands, and the digits of Arabic, Persian and
 * Devanagari keyboards. A single mark before exactly three digits is taken as the
 * person's language has it, so "1.234" is 1234 in German; show what was understood.
 */
export function parseNumber(text: string): number | null {
  let s = text
    .trim()
    .replace(/[\u0660-\u0669]/g, (d) => String(d.charCodeAt(0) - 0x660))
    .replace(/[\u06f0-\u06f9]/g, (d) => String(d.charCodeAt(0) - 0x6f0))
    .replace(/[\u0966-\u096f]/g, (d) => String(d.charCodeAt(0) - 0x966))
    .replace(/\u066b/g, '.')
    .replace(/[\s\u00a0\u202f\u066c'’]/g, '')
    .replace(/\u2212/g, '-');
  const marks = s.match(/[.,]/g) ?? [];
  if (marks.length > 0) {
    const last = Math.max(s.lastIndexOf('.'), s.lastIndexOf(','));
    const mark = s[last];
    const mixed = s.includes('.') && s.includes(',');
    const grouping = !mixed && /^-?[1-9]\d{0,2}([.,]\d{3})+$/.test(s) && (marks.length > 1 || mark === groupMark());
    if (grouping) s = s.replace(/[.,]/g, '');
    else if (marks.filter((m) => m === mark).length > 1) return null;
    else s = `${s.slice(0, last).replace(/[.,]/g, '')}.${s.slice(last + 1)}`;
  }
  return /^-?(\d+\.?\d*|\.\d+)$/.test(s) ? Number(s) : null;
}

function groupMark(): string {
  return new Intl.NumberFormat(locale()).formatToParts(1234567).find((p) => p.type === 'group')?.value ?? '';
}

const massUnits: Record<string, number> = {
  g: 1,
  gram: 1,
  grams: 1,
  kg: 1000,
  oz: gramsPerOunce,
  ounce: gramsPerOunce,
  ounces: gramsPerOunce,
  lb: gramsPerOunce * 16,
  lbs: gramsPerOunce * 16,
};

/** What a person typed as a mass, in grams, or null. Without a unit it is in theirs. */
export function parseMass(text: string): number | null {
  const m = /^(.*?)\s*(g|grams?|kg|oz|ounces?|lbs?)?\.?$/i.exec(text.trim());
  const n = parseNumber(m?.[1] ?? '');
  if (n === null || n < 0) return null;
  const g = n * (massUnits[(m?.[2] ?? settings.value.mass).toLowerCase()] ?? 1);
  return Math.round(g * 100) / 100;
}

/** What a person typed as a temperature, in °C, or null. Without a unit it is in theirs. */
export function parseTemp(text: string): number | null {
  const m = /^(.*?)\s*°?\s*([CF])?$/i.exec(text.trim());
  const n = parseNumber(m?.[1] ?? '');
  if (n === null) return null;
  const c = (m?.[2] ?? settings.value.temp).toUpperCase() === 'F' ? ((n - 32) * 5) / 9 : n;
  return Math.round(c * 100) / 100;
}

const small = () =>
  say(
    'zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen',
  ).split(' ');

function wholeInWords(n: number): string {
  if (n < 20) return small()[n] ?? '';
  if (n < 100) {
    const tens = say('twenty thirty forty fifty sixty seventy eighty ninety').split(' ')[Math.floor(n / 10) - 2] ?? '';
    if (n % 10 === 0) return tens;
    return say({ one: '{tens}-one', other: '{tens}-{ones}' }, { n: n % 10, tens, ones: small()[n % 10] });
  }
  if (n < 1000) {
    const hundreds = say(
      { one: 'one hundred', other: '{number} hundred' },
      { n: Math.floor(n / 100), number: small()[Math.floor(n / 100)] },
    );
    return n % 100 ? say('{hundreds} and {rest}', { hundreds, rest: wholeInWords(n % 100) }) : hundreds;
  }
  const thousands = say(
    { one: 'one thousand', other: '{number} thousand' },
    { n: Math.floor(n / 1000), number: wholeInWords(Math.floor(n / 1000)) },
  );
  const rest = n % 1000;
  if (rest === 0) return thousands;
  return rest < 100
    ? say('{thousands} and {rest}', { thousands, rest: wholeInWords(rest) })
    : say('{thousands}, {rest}', { thousands, rest: wholeInWords(rest) });
}

/** Grams in words and in the person's unit, so that a slipped decimal mark is heard. */
export function massInWords(g: number): string {
  const oz = settings.value.mass === 'oz';
  const v = oz ? g / gramsPerOunce : g;
  if (!(v >= 0) || v >= 1_000_000) return '';
  const rounded = Number(v.toFixed(oz ? 2 : 1));
  const whole = wholeInWords(Math.floor(rounded));
  const decimals = String(rounded).split('.')[1];
  const number = decimals
    ? say('{whole} point {decimals}', { whole, decimals: [...decimals].map((d) => small()[Number(d)]).join(' ') })
    : whole;
  return oz
    ? say({ one: 'one ounce', other: '{number} ounces' }, { n: rounded, number })
    : say({ one: 'one gram', other: '{number} grams' }, { n: rounded, number });
}

const lengthUnits: Record<string, number> = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4 };

/** What a person typed as a length, in mm, or null. Without a unit it is in mm. */
export function parseLength(text: string): number | null {
  const m = /^(.*?)\s*(mm|cm|m|in|inch|inches|")?\.?$/i.exec(text.trim());
  const n = parseNumber(m?.[1] ?? '');
  if (n === null || n < 0) return null;
  return Math.round(n * (lengthUnits[(m?.[2] ?? 'mm').toLowerCase()] ?? 1) * 10) / 10;
}
