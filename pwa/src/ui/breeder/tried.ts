// What thresholds would have done, as sentences and as a plot. Pure: an answer in, words and coordinates out.

import type {
  PastJson,
  ThresholdJson,
  TriedCaseJson,
  TryThresholdsResponseJson,
} from '../../api/gen/warmhand/v1/breeder_service_pb';
import { say } from '../../core/say';
import { formatNumber } from '../../core/units';
import type { DayFrame } from './dayplot';

type Num = number | 'NaN' | 'Infinity' | '-Infinity' | undefined;
const n = (v: Num) => Number(v ?? 0);

/** A threshold as the slider has it: shares in per cent. */
export interface Slider {
  code: string;
  least: number;
  most: number;
  step: number;
  /** The service's own value, on a step. */
  own: number;
}

const scale = (t: ThresholdJson) => (t.unit === 'share' ? 100 : 1);
const tidy = (v: number) => Number(v.toFixed(6));

export function slider(t: ThresholdJson): Slider {
  const k = scale(t);
  const [least, most, step] = [t.least, t.most, t.step].map((v) => tidy(n(v) * k)) as [number, number, number];
  const own = tidy(least + Math.round((n(t.defaultValue) * k - least) / step) * step);
  return { code: t.code ?? '', least, most, step, own };
}

/** Where the sliders stand for values of the service. */
export function places(movable: ThresholdJson[], own: Record<string, Num>): Record<string, number> {
  return Object.fromEntries(
    movable.map((t) => {
      const s = slider(t);
      const v = own[s.code];
      return [s.code, v === undefined ? s.own : tidy(n(v) * scale(t))];
    }),
  );
}

/** What goes to the service: only what is not its own. */
export function changes(movable: ThresholdJson[], at: Record<string, number>): Record<string, number> {
  const own: Record<string, number> = {};
  for (const t of movable) {
    const s = slider(t);
    const v = at[s.code];
    if (v !== undefined && v !== s.own) own[s.code] = tidy(v / scale(t));
  }
  return own;
}

export function sayValue(t: ThresholdJson, v: number): string {
  if (t.unit === 'share') return `${formatNumber(v)}\u00a0%`;
  if (t.unit === 'times') return say('{number} times', { number: formatNumber(v, 2) });
  return say({ one: '{number} day', other: '{number} days' }, { n: v, number: formatNumber(v) });
}

/** The rows of the table: what, now, with those tried. */
export function rows(r: TryThresholdsResponseJson): [string, string, string][] {
  const bad = r.endedBadly ?? 0;
  const settled = r.settled ?? 0;
  const weeks = r.weeks ?? 0;
  const both = (of: (t: NonNullable<TryThresholdsResponseJson['present']>) => string): [string, string] => [
    of(r.present ?? {}),
    of(r.proposed ?? {}),
  ];
  const list: [string, string, string][] = [
    [
      say(
        { one: 'You are asked to step in, in {n} week', other: 'You are asked to step in, in {n} weeks' },
        { n: weeks },
      ),
      ...both((t) => {
        const calls = t.calls ?? 0;
        const often = say({ one: '{n} time', other: '{n} times' }, { n: calls });
        return weeks > 1 && calls > 0
          ? say('{often}, {calls} a week', { often, calls: formatNumber(calls / weeks, 1) })
          : often;
      }),
    ],
  ];
  if (bad > 0) {
    list.push([
      say('Ended badly, and you were asked before'),
      ...both((t) => say('{found} of {bad}', { found: t.found ?? 0, bad })),
    ]);
    list.push([
      say('How early, for half of them at least'),
      ...both((t) => (t.found ? say({ one: '{n} day', other: '{n} days' }, { n: t.medianLeadDays ?? 0 }) : '–')),
    ]);
  }
  if (settled > 0)
    list.push([
      say('Settled, and you were asked all the same'),
      ...both((t) => say('{calledInVain} of {settled}', { calledInVain: t.calledInVain ?? 0, settled })),
    ]);
  return list;
}

/** How many cases were looked at. */
export function lookedAt(r: TryThresholdsResponseJson): string {
  const total = r.total ?? 0;
  const looked = r.lookedAt ?? 0;
  if (looked === 0) return '';
  const which =
    looked < total
      ? say('your newest {looked} of {total} cases', { looked: formatNumber(looked), total: formatNumber(total) })
      : looked === 1
        ? say('your one case')
        : say('all your {looked} cases', { looked: formatNumber(looked) });
  const changed = r.changed ?? 0;
  const other =
    changed === 0
      ? say('Each would have gone as it does now.')
      : say('{changed} would have gone otherwise.', { changed: formatNumber(changed) });
  return say('Looked at {which}, open and ended, day by day with what was known then. {other}', { which, other });
}

const dayOr = (d: number | undefined) => (d === undefined ? say('never') : say('day {n}', { n: d }));

/** What became of one standing: "day 20 → day 12", or "day 20" where nothing moved. */
export function moved(c: TriedCaseJson, of: keyof PastJson): string {
  const [a, b] = [c.present?.[of], c.proposed?.[of]];
  return a === b ? dayOr(a) : `${dayOr(a)} → ${dayOr(b)}`;
}

export const callSize = { height: 220, left: 44, right: 16, top: 26, bottom: 46 } as const;

export interface CallPlot extends DayFrame {
  present: string;
  proposed: string;
}

/** How many cases had a call by a day after the handover, by both. */
export function callPlot(present: number[], proposed: number[], width: number): CallPlot {
  const { height, left, right, top, bottom } = callSize;
  const last = Math.max(14, ...present, ...proposed);
  const step = [7, 14, 28, 56, 112].find((d) => last / d <= (width - left - right) / 56) ?? 365;
  const longest = Math.ceil(last / step) * step;
  const most = Math.max(1, present.length, proposed.length);
  const each = [1, 2, 5, 10, 20, 50, 100, 200, 500].find((v) => most / v <= 4) ?? 1000;
  const highest = Math.ceil(most / each) * each;
  const x = (d: number) => round(left + (d / longest) * (width - left - right));
  const y = (count: number) => round(height - bottom - (count / highest) * (height - top - bottom));
  const path = (days: number[]) =>
    `${[...days].sort((a, b) => a - b).reduce((p, d, i) => `${p}H${x(d)}V${y(i + 1)}`, `M${x(0)} ${y(0)}`)}H${x(longest)}`;
  return {
    present: path(present),
    proposed: path(proposed),
    ticks: Array.from({ length: highest / each + 1 }, (_, i) => ({ y: y(i * each), label: formatNumber(i * each) })),
    days: Array.from({ length: longest / step + 1 }, (_, i) => ({ x: x(i * step), label: String(i * step) })),
    right: width - right,
  };
}

const round = (v: number) => Math.round(v * 10) / 10;
