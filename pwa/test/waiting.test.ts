import { describe, expect, it } from 'vitest';
import { daysText, medianText, shareText, shown, waitPlot, waitSize } from '../src/ui/breeder/waiting';

const curve = {
  animals: 4,
  ate: 3,
  median: 9,
  medianLow: 7,
  points: [
    { day: 7, atRisk: 4, waiting: 0.75, low: 0.4, high: 1 },
    { day: 9, atRisk: 3, waiting: 0.25, low: 0.05, high: 1 },
    { day: 20, atRisk: 1, waiting: 0.25, low: 0.05, high: 1 },
  ],
};

describe('the wait for a meal', () => {
  it('rises in steps, with its interval around it', () => {
    const p = waitPlot([{ name: 'All', curve }], 400);
    const y = (ate: number) =>
      waitSize.height - waitSize.bottom - ate * (waitSize.height - waitSize.top - waitSize.bottom);
    const x = (day: number) => waitSize.left + (day / 21) * (p.right - waitSize.left);
    const at = (v: number) => String(Math.round(v * 10) / 10);
    expect(p.lines[0]?.path).toBe(
      `M${waitSize.left} ${at(y(0))}H${at(x(7))}V${at(y(0.25))}H${at(x(9))}V${at(y(0.75))}H${at(x(20))}V${at(y(0.75))}`,
    );
    expect(p.interval.startsWith('M') && p.interval.endsWith('Z')).toBe(true);
    expect(p.days.map((d) => d.label)).toEqual(['0', '7', '14', '21']);
  });
  it('keeps names apart that end together', () => {
    const p = waitPlot(
      ['a', 'b', 'c'].map((name) => ({ name, curve })),
      700,
    );
    const labels = p.lines.map((l) => l.label).sort((a, b) => a - b);
    expect(Math.min(...labels.slice(1).map((l, i) => l - (labels[i] ?? 0)))).toBeGreaterThanOrEqual(18);
  });
  it('says a share only for as long as somebody was watched', () => {
    expect(shown(curve, 8)).toBe('25\u00a0%');
    expect(shown(curve, 20)).toBe('75\u00a0%');
    expect(shown(curve, 30)).toBe('–');
    expect(shown({}, 14)).toBe('–');
  });
  it('says what is not known', () => {
    expect(medianText(curve, 'first')).toContain('by day 9. The true number is likely 7 or more');
    expect(medianText({ ate: 1 }, 'first')).toContain('Less than half');
    expect(medianText({}, 'first')).toContain('Nobody');
    expect(shareText({ count: 1, of: 4, low: 0.046, high: 0.7 })).toBe('1 of 4 (25\u00a0%; likely 5 to 70\u00a0%)');
    expect(shareText(undefined)).toBe('none so far');
    expect([daysText(0.4), daysText(1.2), daysText(20)]).toEqual(['a day', '1 day', '20 days']);
  });
});
