import { locale } from './language';
import { say } from './say';

const formats = new Map<string, Intl.DateTimeFormat>();

/** Browsers take long to make one, and a list of cases asks for many. */
export function formatTime(at: Date, options: Intl.DateTimeFormatOptions): string {
  const key = `${locale()} ${JSON.stringify(options)}`;
  let known = formats.get(key);
  if (!known) {
    known = new Intl.DateTimeFormat(locale(), options);
    formats.set(key, known);
  }
  return known.format(at);
}

const minute = 60_000;
const hour = 60 * minute;

function midnight(d: Date): number {
  return new Date(d.getFullYear(), d.getMonth(), d.getDate()).getTime();
}

/** Whole calendar days from `iso` to `now`, as the person's calendar has them. */
export function daysSince(iso: string, now = new Date()): number {
  return Math.round((midnight(now) - midnight(new Date(iso))) / (24 * hour));
}

/** How long ago, in words: "just now", "3 hours ago", "yesterday", "12 days ago", "on 3 March". */
export function ago(iso: string | undefined, now = new Date()): string {
  const at = iso ? new Date(iso) : undefined;
  if (!at || Number.isNaN(at.getTime())) return say('never');
  const gone = now.getTime() - at.getTime();
  const days = daysSince(at.toISOString(), now);
  if (days < 0) return day(at.toISOString(), now);
  if (gone < 2 * minute) return say('just now');
  if (gone < hour) return say('{n} minutes ago', { n: Math.round(gone / minute) });
  if (days === 0) return say({ one: '1 hour ago', other: '{n} hours ago' }, { n: Math.round(gone / hour) });
  if (days === 1) return say('yesterday');
  if (days < 60) return say('{n} days ago', { n: days });
  return say('on {day}', { day: day(at.toISOString(), now) });
}

/** Prepares for dates: a browser takes longer for its first than for a whole screen, and has the time while it waits. */
export function prepareDates(): void {
  formatTime(new Date(), { dateStyle: 'medium' });
}

/** A day: "today", "yesterday", "Tue 3 Mar", with the year when it is another one. */
export function day(iso: string, now = new Date()): string {
  const at = new Date(iso);
  const days = daysSince(iso, now);
  if (days === 0) return say('today');
  if (days === 1) return say('yesterday');
  return formatTime(at, {
    weekday: 'short',
    day: 'numeric',
    month: 'short',
    ...(at.getFullYear() !== now.getFullYear() && { year: 'numeric' }),
  });
}

/** A date of the calendar, which has no time and no zone, as 2026-06-05: "5 Jun 2026". */
export function date(iso: string): string {
  const at = new Date(`${iso}T00:00:00Z`);
  return Number.isNaN(at.getTime()) ? iso : formatTime(at, { dateStyle: 'medium', timeZone: 'UTC' });
}

/** Hours and minutes, as the person writes them. */
export function clock(iso: string): string {
  return formatTime(new Date(iso), { hour: 'numeric', minute: '2-digit' });
}

/** For an input of type datetime-local: the person's own wall clock. */
export function forInput(at: Date): string {
  const p = (n: number) => String(n).padStart(2, '0');
  return `${at.getFullYear()}-${p(at.getMonth() + 1)}-${p(at.getDate())}T${p(at.getHours())}:${p(at.getMinutes())}`;
}

/** What an input of type datetime-local holds, or null. */
export function fromInput(text: string): Date | null {
  const at = new Date(text);
  return /^\d{4}-\d\d-\d\dT\d\d:\d\d/.test(text) && !Number.isNaN(at.getTime()) ? at : null;
}
