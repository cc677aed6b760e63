import { cleanup, fireEvent, render, screen } from '@testing-library/preact';
import { afterEach, describe, expect, test } from 'vitest';
import type { CourseJson } from '../src/api/gen/warmhand/v1/case_service_pb';
import { niceTicks, plot, size } from '../src/ui/parts/course';
import { TimeLine } from '../src/ui/parts/timeline';

const now = new Date('2026-11-11T12:00:00Z');
const day = (n: number) => new Date(Date.UTC(2026, 10, 1 + n, 12)).toISOString();
const entry = (n: number, id: string) => ({ name: `breeders/b/animals/a/entries/${id}`, happenTime: day(n) });

/** Ten days: 100 g falling a gram a day, four offers, one step of five days, one corrected entry. */
const course: CourseJson = {
  days: Array.from({ length: 11 }, (_, i) => ({
    time: day(i),
    day: i,
    massG: 100 - i,
    massLowG: 98 - i,
    massHighG: 102 - i,
    expectedG: 100 - i / 2,
    standing: 'STANDING_WATCH' as const,
  })),
  entries: [
    { ...entry(-5, 'e0'), by: 'ACTOR_KIND_BREEDER', weighIn: { massG: 101 } },
    { ...entry(-90, 'old'), offer: { result: 'OFFER_RESULT_EATEN' } },
    { ...entry(1, 'e1'), offer: { result: 'OFFER_RESULT_EATEN', prey: 'mouse' } },
    { ...entry(3, 'e2'), offer: { result: 'OFFER_RESULT_REFUSED' } },
    { ...entry(5, 'e3'), offer: { result: 'OFFER_RESULT_STRUCK' } },
    { ...entry(7, 'e4'), offer: { result: 'OFFER_RESULT_REGURGITATED' } },
    {
      ...entry(8, 'e5'),
      by: 'ACTOR_KIND_KEEPER',
      weighIn: { massG: 50 },
      replacedBy: 'breeders/b/animals/a/entries/e6',
    },
    { ...entry(3, 's1'), step: { step: 'leave_in_peace', holdsDays: 5 } },
    { ...entry(5, 's2'), step: { step: 'weigh_again', holdsDays: 2 } },
  ],
};

describe('where things lie', () => {
  const p = plot(course, 800, now);

  test('now is at the right edge, the first thing at the left', () => {
    expect(p.stops.at(-1)?.x).toBeCloseTo(800 - size.right);
    expect(p.weights[0]?.x).toBeCloseTo(size.left);
    expect(p.dates.at(-1)).toMatchObject({ label: 'now', anchor: 'end' });
  });
  test('equal times are equally far apart', () => {
    const [a, b, c] = p.stops.slice(-3).map((s) => s.x);
    expect((b ?? 0) - (a ?? 0)).toBeCloseTo((c ?? 0) - (b ?? 0));
    // 15 days from the breeder's weigh-in to now.
    expect((b ?? 0) - (a ?? 0)).toBeCloseTo((800 - size.left - size.right) / 15);
  });
  test('offers are marks in their order, older history stays out', () => {
    expect(p.marks.map((m) => m.kind)).toEqual(['eaten', 'refused', 'struck', 'regurgitated']);
    expect(p.marks.map((m) => m.x)).toEqual(p.marks.map((m) => m.x).toSorted((a, b) => a - b));
  });
  test('corrected entries are not drawn', () => {
    expect(p.weights).toHaveLength(1);
    expect(p.stops.some((s) => s.text.includes('50 g'))).toBe(false);
  });
  test('steps are spans as long as they hold, below each other where they overlap', () => {
    const [s1, s2] = p.steps;
    const oneDay = (800 - size.left - size.right) / 15;
    expect((s1?.x2 ?? 0) - (s1?.x1 ?? 0)).toBeCloseTo(5 * oneDay);
    expect(s2?.y).toBe((s1?.y ?? 0) + size.stepRow);
    expect(plot({ ...course, entries: [] }, 800, now).steps).toEqual([]);
  });
  test('the curve falls as the weight does and lies in its interval', () => {
    const ys = [...p.mass.matchAll(/[ML][\d.]+ ([\d.]+)/g)].map((m) => Number(m[1]));
    expect(ys).toHaveLength(11);
    expect(ys).toEqual(ys.toSorted((a, b) => a - b));
    expect(Math.min(...ys)).toBeGreaterThan(size.massTop);
    expect(Math.max(...ys)).toBeLessThan(size.massTop + size.massHeight);
    expect(p.interval.match(/L/g)).toHaveLength(21);
    expect(p.interval).toMatch(/Z$/);
  });
  test('nothing breaks with nothing', () => {
    const nothing = plot({}, 800, now);
    expect(nothing.stops).toEqual([]);
    expect(nothing.mass).toBe('');
    const noWeight = plot({ days: [{ time: day(0), day: 0 }], entries: [] }, 300, now);
    expect(JSON.stringify(noWeight)).not.toMatch(/NaN|Infinity|null/);
  });
  test('ticks are round', () => {
    expect(niceTicks(82, 103, 3)).toEqual([90, 100]);
    expect(niceTicks(0.42, 0.58, 3)).toEqual([0.5]);
    expect(niceTicks(5, 5, 3)).toEqual([]);
  });
});

describe('for the ear and the keyboard', () => {
  afterEach(cleanup);

  test('it is a slider that says each day', () => {
    render(<TimeLine course={course} now={now} />);
    const slider = screen.getByRole('slider', { name: /time line/i });
    expect(slider.getAttribute('tabindex')).toBe('0');
    expect(slider.getAttribute('aria-valuetext')).toMatch(
      /^Today, day 10 after the handover: about 90\u00a0g, likely between 88\u00a0g and 92\u00a0g; standing: watch\.$/,
    );
    fireEvent.keyDown(slider, { key: 'ArrowLeft' });
    fireEvent.keyDown(slider, { key: 'ArrowLeft' });
    fireEvent.keyDown(slider, { key: 'ArrowLeft' });
    expect(slider.getAttribute('aria-valuetext')).toMatch(/day 7 .*Brought up prey/);
    fireEvent.keyDown(slider, { key: 'Home' });
    expect(slider.getAttribute('aria-valuenow')).toBe('0');
    expect(slider.getAttribute('aria-valuetext')).toMatch(/5 days before the handover: Weighed 101\u00a0g/);
    fireEvent.keyDown(slider, { key: 'ArrowLeft' });
    expect(slider.getAttribute('aria-valuenow')).toBe('0');
    fireEvent.keyDown(slider, { key: 'End' });
    expect(slider.getAttribute('aria-valuenow')).toBe(slider.getAttribute('aria-valuemax'));
  });

  test('the table beside it holds the same', () => {
    render(<TimeLine course={course} now={now} />);
    expect(screen.queryByRole('table')).toBeNull();
    const button = screen.getByRole('button', { name: 'Show as a table' });
    expect(button.getAttribute('aria-expanded')).toBe('false');
    fireEvent.click(button);
    const rows = screen.getAllByRole('row');
    expect(rows).toHaveLength(13); // a head, eleven days, one day before
    expect(rows[1]?.textContent).toContain('90\u00a0g (88\u00a0g to 92\u00a0g)');
    expect(rows.at(-1)?.textContent).toContain('Weighed 101\u00a0g');
  });

  test('an empty course says so', () => {
    render(<TimeLine course={{}} now={now} />);
    expect(screen.getByText(/Nothing has been logged/)).toBeTruthy();
  });
});
