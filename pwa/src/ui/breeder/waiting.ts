// The plot of how long animals waited for a meal, and its sentences. Pure: curves in, coordinates out.

import type { ShareJson, WaitCurveJson, WaitPointJson } from '../../api/gen/warmhand/v1/insight_service_pb';
import { say } from '../../core/say';
import type { DayFrame } from './dayplot';

export interface Side {
  name: string;
  curve: WaitCurveJson;
}

export const waitSize = { height: 260, left: 54, top: 12, bottom: 46 } as const;

export interface WaitPlot extends DayFrame {
  lines: { name: string; path: string; end: number; label: number }[];
  /** Of the first line. */
  interval: string;
}

type Num = number | 'NaN' | 'Infinity' | '-Infinity' | undefined;
const n = (v: Num) => Number(v ?? 0);

/** Curves of the share that has eaten, rising from the day of the handover. */
export function waitPlot(sides: Side[], width: number): WaitPlot {
  const { height, left, top, bottom } = waitSize;
  const right = sides.length > 1 ? 130 : 16; // room for their names
  const last = Math.max(14, ...sides.flatMap((s) => (s.curve.points ?? []).map((p) => n(p.day))));
  const step = [7, 14, 28, 56, 112, 224].find((d) => last / d <= (width - left - right) / 56) ?? 365;
  const most = Math.ceil(last / step) * step;
  const x = (day: number) => round(left + (day / most) * (width - left - right));
  const y = (ate: number) => round(height - bottom - ate * (height - top - bottom));
  const steps = (points: WaitPointJson[], ate: (p: WaitPointJson) => number) =>
    points.reduce((path, p) => `${path}H${x(n(p.day))}V${y(ate(p))}`, `M${x(0)} ${y(0)}`);
  const lines = sides.map(({ name, curve }) => {
    const points = curve.points ?? [];
    const end = points.at(-1);
    return {
      name: name.length > 16 ? `${name.slice(0, 15)}…` : name,
      path: steps(points, (p) => 1 - n(p.waiting)),
      end: x(n(end?.day)),
      label: y(end ? 1 - n(end.waiting) : 0),
    };
  });
  // Names of lines that end together stand below each other.
  const placed = [...lines].sort((a, b) => a.label - b.label);
  placed.forEach((l, i) => {
    const above = placed[i - 1];
    if (above) l.label = Math.max(l.label, above.label + 18);
  });
  const points = sides[0]?.curve.points ?? [];
  const back = [...points].reverse();
  const interval = points.length
    ? `${steps(points, (p) => 1 - n(p.low))}${back.map((p, i) => `V${y(1 - n(p.high))}H${x(n(back[i + 1]?.day))}`).join('')}Z`
    : '';
  return {
    lines,
    interval,
    ticks: [0, 0.25, 0.5, 0.75, 1].map((v) => ({ y: y(v), label: `${v * 100}\u00a0%` })),
    days: Array.from({ length: most / step + 1 }, (_, i) => ({ x: x(i * step), label: String(i * step) })),
    right: width - right,
  };
}

const round = (v: number) => Math.round(v * 10) / 10;

/** The share that has eaten by a day, as far as somebody was watched so long. */
export function shown(curve: WaitCurveJson, by: number): string {
  const points = curve.points ?? [];
  if (n(points.at(-1)?.day) < by && n(points.at(-1)?.waiting ?? 1) > 0) return '–';
  const at = points.filter((p) => n(p.day) <= by).at(-1);
  return `${Math.round((1 - n(at?.waiting ?? 1)) * 100)}\u00a0%`;
}

const meals = {
  first: {
    none: say('Nobody has reported the first meal yet.'),
    few: say('Less than half have reported the first meal so far.'),
    half: (n: number) => say('Half had their first meal by day {n}.', { n }),
  },
  third: {
    none: say('Nobody has reported the third meal yet.'),
    few: say('Less than half have reported the third meal so far.'),
    half: (n: number) => say('Half had their third meal by day {n}.', { n }),
  },
};

export type Meal = keyof typeof meals;

export function medianText(curve: WaitCurveJson, meal: Meal): string {
  if (!curve.ate) return meals[meal].none;
  if (curve.median === undefined) return meals[meal].few;
  const low = curve.medianLow === undefined ? undefined : n(curve.medianLow);
  const high = curve.medianHigh === undefined ? undefined : n(curve.medianHigh);
  const range =
    low === undefined
      ? ''
      : high === undefined
        ? ` ${say('The true number is likely {low} or more; there are too few animals to say how much more.', { low })}`
        : ` ${say('The true number is likely between {low} and {high}.', { low, high })}`;
  return meals[meal].half(n(curve.median)) + range;
}

/** "3 of 12 (25 %; likely 9 to 53 %)". */
export function shareText(share: ShareJson | undefined): string {
  const of = share?.of ?? 0;
  const count = share?.count ?? 0;
  if (!of) return say('none so far');
  const pct = (v: number) => Math.round(v * 100);
  return say('{count} of {all} ({percent}\u00a0%; likely {low} to {high}\u00a0%)', {
    count,
    all: of,
    percent: pct(count / of),
    low: pct(n(share?.low)),
    high: pct(n(share?.high)),
  });
}

export function daysText(days: number): string {
  if (days < 1) return say('a day');
  const whole = Math.round(days);
  return say({ one: '{n} day', other: '{n} days' }, { n: whole });
}
