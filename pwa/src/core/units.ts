import { settings } from './settings';

/** Grams in an avoirdupois ounce, exactly (International Yard and Pound Agreement, 1959). */
export const gramsPerOunce = 28.349523125;

const formats = new Map<string, Intl.NumberFormat>();

/** The person's language, or English where a browser gives none. */
function language(): string {
  return typeof navigator !== 'undefined' && navigator.language ? navigator.language : 'en';
}

/** A number as the person writes it, with at most so many decimals. */
export function formatNumber(value: number, decimals = 0, unit?: string): string {
  const key = `${language()} ${decimals} ${unit ?? ''}`;
  let format = formats.get(key);
  if (!format) {
    format = new Intl.NumberFormat(language(), {
      maximumFractionDigits: decimals,
      ...(unit && { style: 'unit', unit, unitDisplay: 'short' }),
    });
    formats.set(key, format);
  }
  return format.format(value);
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
  return `${formatTemp(low).replace(/\s?°.*$/, '')} to ${formatTemp(high)}`;
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
  return new Intl.NumberFormat(language()).formatToParts(1234567).find((p) => p.type === 'group')?.value ?? '';
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

const small =
  'zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen'.split(
    ' ',
  );
const tens = '  twenty thirty forty fifty sixty seventy eighty ninety'.split(' ');

function wholeInWords(n: number): string {
  if (n < 20) return small[n] ?? '';
  if (n < 100) return `${tens[Math.floor(n / 10)]}${n % 10 ? `-${small[n % 10]}` : ''}`;
  if (n < 1000) return `${small[Math.floor(n / 100)]} hundred${n % 100 ? ` and ${wholeInWords(n % 100)}` : ''}`;
  const rest = n % 1000;
  return `${wholeInWords(Math.floor(n / 1000))} thousand${rest ? `${rest < 100 ? ' and' : ','} ${wholeInWords(rest)}` : ''}`;
}

/** Grams in words and in the person's unit, so that a slipped decimal mark is heard. */
export function massInWords(g: number): string {
  const oz = settings.value.mass === 'oz';
  const v = oz ? g / gramsPerOunce : g;
  if (!(v >= 0) || v >= 1_000_000) return '';
  const rounded = Number(v.toFixed(oz ? 2 : 1));
  const whole = Math.floor(rounded);
  const decimals = String(rounded).split('.')[1];
  const words =
    wholeInWords(whole) + (decimals ? ` point ${[...decimals].map((d) => small[Number(d)]).join(' ')}` : '');
  return `${words} ${oz ? 'ounce' : 'gram'}${rounded === 1 ? '' : 's'}`;
}

const lengthUnits: Record<string, number> = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4, inches: 25.4, '"': 25.4 };

/** What a person typed as a length, in mm, or null. Without a unit it is in mm. */
export function parseLength(text: string): number | null {
  const m = /^(.*?)\s*(mm|cm|m|in|inch|inches|")?\.?$/i.exec(text.trim());
  const n = parseNumber(m?.[1] ?? '');
  if (n === null || n < 0) return null;
  return Math.round(n * (lengthUnits[(m?.[2] ?? 'mm').toLowerCase()] ?? 1) * 10) / 10;
}
