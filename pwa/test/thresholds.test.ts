import { describe, expect, it } from 'vitest';
import { callPlot, callSize, changes, lookedAt, moved, places, rows, sayValue, slider } from '../src/ui/breeder/tried';

const act = { code: 'act_from', unit: 'share', defaultValue: 0.4085, least: 0.1, most: 0.8, step: 0.01 };
const gaps = { code: 'silence_gaps', unit: 'times', defaultValue: 1.5, least: 1, most: 4, step: 0.25 };
const word = { code: 'first_word_days', unit: 'days', defaultValue: 14, least: 7, most: 42, step: 1 };
const all = [act, gaps, word];

describe('the sliders', () => {
  it('stand on a step, and shares are per cent', () => {
    expect(slider(act)).toEqual({ code: 'act_from', least: 10, most: 80, step: 1, own: 41 });
    expect(slider(gaps).own).toBe(1.5);
    expect([sayValue(act, 41), sayValue(gaps, 2.25), sayValue(word, 1)]).toEqual(['41\u00a0%', '2.25 times', '1 day']);
  });
  it('send only what is not the program’s own', () => {
    const at = places(all, { act_from: 0.55 });
    expect(at).toEqual({ act_from: 55, silence_gaps: 1.5, first_word_days: 14 });
    expect(changes(all, at)).toEqual({ act_from: 0.55 });
    expect(changes(all, { ...at, act_from: 41, first_word_days: 21 })).toEqual({ first_word_days: 21 });
    expect(changes(all, places(all, {}))).toEqual({});
  });
});

describe('what it would have been', () => {
  const r = {
    total: 1240,
    lookedAt: 1000,
    endedBadly: 4,
    settled: 9,
    weeks: 20,
    changed: 3,
    present: { calls: 14, found: 3, medianLeadDays: 5, calledInVain: 2 },
    proposed: { calls: 24, found: 4, medianLeadDays: 1, calledInVain: 4 },
  };
  it('is said in rows, with how many were looked at', () => {
    expect(rows(r)).toEqual([
      ['You are asked to step in, in 20 weeks', '14 times, 0.7 a week', '24 times, 1.2 a week'],
      ['Ended badly, and you were asked before', '3 of 4', '4 of 4'],
      ['How early, for half of them at least', '5 days', '1 day'],
      ['Settled, and you were asked all the same', '2 of 9', '4 of 9'],
    ]);
    expect(lookedAt(r)).toContain('your newest 1,000 of 1,240 cases');
    expect(lookedAt({ total: 1, lookedAt: 1 })).toContain('your one case');
    expect(lookedAt({})).toBe('');
  });
  it('says nothing of what nobody has', () => {
    expect(rows({ total: 1, lookedAt: 1, weeks: 1 })).toEqual([
      ['You are asked to step in, in 1 week', '0 times', '0 times'],
    ]);
    const none = { ...r, present: {}, proposed: {} };
    expect(rows(none)[2]).toEqual(['How early, for half of them at least', '–', '–']);
  });
  it('shows how a case moved', () => {
    const c = { present: { stepInDay: 20 }, proposed: { stepInDay: 12, watchDay: 0 } };
    expect([moved(c, 'stepInDay'), moved(c, 'watchDay'), moved(c, 'vetDay')]).toEqual([
      'day 20 → day 12',
      'never → day 0',
      'never',
    ]);
  });
  it('rises by one case at a time, to the right edge', () => {
    const p = callPlot([20, 3], [], 400);
    const y = (count: number) =>
      Math.round(
        (callSize.height - callSize.bottom - (count / 2) * (callSize.height - callSize.top - callSize.bottom)) * 10,
      ) / 10;
    const x = (day: number) => Math.round((callSize.left + (day / 21) * (p.right - callSize.left)) * 10) / 10;
    expect(p.present).toBe(`M${x(0)} ${y(0)}H${x(3)}V${y(1)}H${x(20)}V${y(2)}H${x(21)}`);
    expect(p.proposed).toBe(`M${x(0)} ${y(0)}H${x(21)}`);
    expect(p.ticks.map((t) => t.label)).toEqual(['0', '1', '2']);
    expect(p.days.map((d) => d.label)).toEqual(['0', '7', '14', '21']);
  });
});
