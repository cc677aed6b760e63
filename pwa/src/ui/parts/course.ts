// Where everything on the time line of a case lies. Pure: a course in, coordinates out.

import type { CourseJson, EntryJson, StandingJson } from '../../core/contract';
import { say } from '../../core/say';
import { day, daysSince, formatTime } from '../../core/time';
import { formatMass } from '../../core/units';
import { entryLine, type Names, standingWord } from '../../core/words';

const msPerDay = 86_400_000;
/** How much of the breeder's own history stands before the handover. */
const daysBefore = 30;

export const size = {
  left: 52,
  right: 16,
  massTop: 14,
  massHeight: 132,
  offers: 172,
  band: 186,
  steps: 214,
  stepRow: 22,
} as const;

export type MarkKind = 'eaten' | 'refused' | 'struck' | 'regurgitated' | 'sign' | 'shed';

export interface Stop {
  x: number;
  /** Milliseconds. */
  time: number;
  title: string;
  /** Grams, 0 when not known. */
  mass: number;
  low: number;
  high: number;
  expected: number;
  standing: StandingJson | undefined;
  /** Whole days since the handover; negative before it. */
  day: number;
  entries: EntryJson[];
  /** All of it as one sentence. */
  text: string;
}

export interface Plot {
  width: number;
  height: number;
  stops: Stop[];
  /** SVG paths; empty when no weight is known. */
  mass: string;
  interval: string;
  expected: string;
  ticks: { y: number; label: string }[];
  weights: { x: number; y: number; ours: boolean }[];
  marks: { x: number; kind: MarkKind; name: string }[];
  steps: { x1: number; x2: number; y: number; label: string; name: string }[];
  dates: { x: number; label: string; anchor: 'start' | 'middle' | 'end' }[];
  handover: number;
}

const results: Record<string, MarkKind> = {
  OFFER_RESULT_EATEN: 'eaten',
  OFFER_RESULT_REFUSED: 'refused',
  OFFER_RESULT_STRUCK: 'struck',
  OFFER_RESULT_REGURGITATED: 'regurgitated',
};

function at(iso: string | undefined): number {
  const t = Date.parse(iso ?? '');
  return Number.isNaN(t) ? 0 : t;
}

function num(v: number | string | undefined): number {
  const n = Number(v ?? 0);
  return Number.isFinite(n) ? n : 0;
}

function midnight(t: number): number {
  const d = new Date(t);
  return new Date(d.getFullYear(), d.getMonth(), d.getDate()).getTime();
}

function two(n: number): string {
  return String(Math.round(n * 100) / 100);
}

/** Round steps of 1, 2 or 5 times a power of ten, about `wanted` of them. */
export function niceTicks(low: number, high: number, wanted: number): number[] {
  const rough = (high - low) / wanted;
  if (!(rough > 0)) return [];
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough) ?? rough;
  const ticks: number[] = [];
  for (let v = Math.ceil(low / step) * step; v <= high + step * 1e-6; v += step) ticks.push(Number(v.toPrecision(10)));
  return ticks;
}

export function plot(course: CourseJson, width: number, now: Date, names: Names = {}): Plot {
  const days = (course.days ?? []).filter((d) => at(d.time) > 0);
  const dayTimes = days.map((d) => at(d.time));
  const start = dayTimes[0] ?? now.getTime();
  // A clock that runs behind must not push the last day out of the picture.
  const end = Math.max(now.getTime(), dayTimes.at(-1) ?? 0);
  const entries = (course.entries ?? []).filter(
    (e) =>
      !e.replacedBy && !e.withdrawal && at(e.happenTime) >= start - daysBefore * msPerDay && at(e.happenTime) <= end,
  );
  const from = Math.min(start, ...entries.map((e) => at(e.happenTime)), end - msPerDay);
  const inner = Math.max(1, width - size.left - size.right);
  const x = (t: number) => size.left + ((Math.min(end, Math.max(from, t)) - from) / (end - from)) * inner;

  const weighed = entries.filter((e) => num(e.weighIn?.massG) > 0);
  const known = [
    ...days.flatMap((d) => [num(d.massLowG), num(d.massHighG), num(d.massG), num(d.expectedG)]),
    ...weighed.map((e) => num(e.weighIn?.massG)),
  ].filter((g) => g > 0);
  const max = Math.max(...known);
  const min = Math.min(...known);
  const pad = Math.max((max - min) * 0.08, max * 0.02);
  const y = (g: number) => size.massTop + ((max + pad - g) / (max - min + 2 * pad)) * size.massHeight;
  const line = (value: (d: (typeof days)[number]) => number) =>
    days
      .map((d, i) => ({ x: x(dayTimes[i] ?? 0), g: value(d) }))
      .filter((p) => p.g > 0)
      .map((p, i) => `${i ? 'L' : 'M'}${two(p.x)} ${two(y(p.g))}`)
      .join('');
  const withMass = days
    .map((d, i) => ({ d, x: x(dayTimes[i] ?? 0) }))
    .filter(({ d }) => num(d.massLowG) > 0 && num(d.massHighG) > 0);
  const interval =
    withMass.length > 1
      ? `M${withMass.map((p) => `${two(p.x)} ${two(y(num(p.d.massHighG)))}`).join('L')}L${withMass
          .toReversed()
          .map((p) => `${two(p.x)} ${two(y(num(p.d.massLowG)))}`)
          .join('L')}Z`
      : '';

  const marks: Plot['marks'] = [];
  for (const e of entries) {
    const kind = e.offer
      ? results[e.offer.result ?? '']
      : e.sign
        ? 'sign'
        : e.shed?.stage === 'SHED_STAGE_SHED'
          ? 'shed'
          : undefined;
    if (kind) marks.push({ x: x(at(e.happenTime)), kind, name: e.name ?? '' });
  }

  // Steps that overlap stand one below the other.
  const rows: number[] = [];
  const steps: Plot['steps'] = [];
  for (const e of entries.filter((e) => e.step).sort((a, b) => at(a.happenTime) - at(b.happenTime))) {
    const t = at(e.happenTime);
    const x1 = x(t);
    const x2 = Math.max(x1 + 6, x(t + num(e.step?.holdsDays) * msPerDay));
    let row = rows.findIndex((until) => until <= x1);
    if (row < 0) row = rows.length;
    rows[row] = x2 + 2;
    steps.push({ x1, x2, y: size.steps + row * size.stepRow, label: entryLine(e, names), name: e.name ?? '' });
  }

  const byDay = new Map<number, { day?: (typeof days)[number]; entries: EntryJson[] }>();
  days.forEach((d, i) => {
    byDay.set(midnight(dayTimes[i] ?? 0), { day: d, entries: [] });
  });
  for (const e of entries) {
    const key = midnight(at(e.happenTime));
    const slot = byDay.get(key) ?? { entries: [] };
    slot.entries.push(e);
    byDay.set(key, slot);
  }
  const startIso = new Date(start).toISOString();
  const stops: Stop[] = [...byDay]
    .sort(([a], [b]) => a - b)
    .map(([key, slot]) => {
      const time = slot.day ? at(slot.day.time) : Math.max(key, from);
      const stop: Stop = {
        x: x(time),
        time,
        title: day(new Date(time).toISOString(), now),
        mass: num(slot.day?.massG),
        low: num(slot.day?.massLowG),
        high: num(slot.day?.massHighG),
        expected: num(slot.day?.expectedG),
        standing: slot.day?.standing,
        day: slot.day?.day ?? -daysSince(new Date(key).toISOString(), new Date(startIso)),
        entries: slot.entries.sort((a, b) => at(a.happenTime) - at(b.happenTime)),
        text: '',
      };
      stop.text = sentence(stop, names);
      return stop;
    });

  const dates: Plot['dates'] = [];
  const room = Math.max(2, Math.floor(inner / 110));
  for (let i = 0; i < room; i++) {
    const t = from + ((end - from) * i) / (room - 1);
    const last = i === room - 1;
    dates.push({
      x: x(t),
      label: last ? say('now') : formatTime(new Date(t), { day: 'numeric', month: 'short' }),
      anchor: i === 0 ? 'start' : last ? 'end' : 'middle',
    });
  }

  return {
    width,
    height: size.steps + Math.max(rows.length, 0) * size.stepRow + 24,
    stops,
    mass: known.length ? line((d) => num(d.massG)) : '',
    interval,
    expected: known.length ? line((d) => num(d.expectedG)) : '',
    ticks: known.length
      ? niceTicks(min - pad / 2, max + pad / 2, 3).map((g) => ({ y: y(g), label: formatMass(g) }))
      : [],
    weights: weighed.map((e) => ({
      x: x(at(e.happenTime)),
      y: y(num(e.weighIn?.massG)),
      ours: e.by !== 'ACTOR_KIND_KEEPER',
    })),
    marks,
    steps,
    dates,
    handover: x(start),
  };
}

function sentence(s: Stop, names: Names): string {
  const when =
    s.day < 0
      ? say({ one: '{n} day before the handover', other: '{n} days before the handover' }, { n: -s.day })
      : say('day {n} after the handover', { n: s.day });
  const parts: string[] = [];
  if (s.mass > 0) {
    parts.push(
      say('about {mass}, likely between {low} and {high}', {
        mass: formatMass(s.mass),
        low: formatMass(s.low),
        high: formatMass(s.high),
      }),
    );
  }
  if (s.standing && s.standing !== 'STANDING_UNSPECIFIED')
    parts.push(say('standing: {word}', { word: standingWord(s.standing).word }));
  for (const e of s.entries) if (!e.seen && !e.message) parts.push(entryLine(e, names));
  return `${s.title.charAt(0).toUpperCase()}${s.title.slice(1)}, ${when}: ${parts.join('; ') || say('nothing logged')}.`;
}
