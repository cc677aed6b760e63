// How many frames a second a picture is zoomed and moved at, on a processor that is made four times as slow. What else the
// machine does counts in that; so the frames of a screen at rest are beside it, and what a frame takes of the processor.
import { expect, test } from '@playwright/test';
import { demo } from '../e2e/demo';

const slower = 4;
const frame = 1000 / 60; // ms
const leastOfRest = 0.9; // of the frames that the same screen shows at rest

test('a picture is zoomed and moved', async ({ page }, info) => {
  test.skip(info.project.name !== 'phone', 'phones are slow, desks are not');
  const quill = demo().keepers.find((k) => k.animal === 'Quill');
  const link = new URL(quill?.links[0] ?? '');
  await page.goto(link.pathname + link.hash);
  await expect(page.getByRole('heading', { level: 1, name: 'Quill' })).toBeVisible();
  await page.goto(`/k/thimblewick/${quill?.case.split('/').at(-1)}/setup/decor_openings`);
  await page.getByRole('button', { name: 'Measure in picture 2' }).click();
  await expect(page.locator('.frame .outline')).toBeVisible({ timeout: 30_000 });
  const cdp = await page.context().newCDPSession(page);
  await cdp.send('Emulation.setCPUThrottlingRate', { rate: slower });
  await cdp.send('Performance.enable', { timeDomain: 'threadTicks' });
  const used = async () => {
    const { metrics } = await cdp.send('Performance.getMetrics');
    const of = (name: string) => metrics.find((m) => m.name === name)?.value ?? Number.NaN;
    return { busy: 1000 * of('TaskDuration'), layouts: of('LayoutCount') };
  };
  const count = 300;
  const run = (moving: boolean) =>
    page.locator('.frame').evaluate(
      (frame, [moving, count]) =>
        new Promise<number[]>((done) => {
          const { left, top, width, height } = frame.getBoundingClientRect();
          const [x, y] = [left + width / 2, top + height / 2];
          const finger = (type: string, id: number, clientX: number, clientY: number) =>
            frame.dispatchEvent(
              new PointerEvent(type, { pointerId: id, pointerType: 'touch', clientX, clientY, bubbles: true }),
            );
          // No real fingers are down: nothing is to be held.
          frame.setPointerCapture = () => undefined;
          if (moving) {
            finger('pointerdown', 11, x - 40, y);
            finger('pointerdown', 12, x + 40, y);
          }
          const times: number[] = [];
          const step = (now: number) => {
            times.push(now);
            const n = times.length;
            if (n > count) {
              done(times.slice(1).map((t, i) => t - (times[i] ?? 0)));
              return;
            }
            if (moving) {
              // Two fingers go apart and together while they wander.
              const wide = 40 + 60 * Math.abs(Math.sin(n / 30));
              const off = 30 * Math.sin(n / 17);
              finger('pointermove', 11, x - wide + off, y + off);
              finger('pointermove', 12, x + wide + off, y + off);
            }
            requestAnimationFrame(step);
          };
          requestAnimationFrame(step);
        }),
      [moving, count] as const,
    );
  const rate = (gaps: number[]) => (1000 * gaps.length) / gaps.reduce((sum, g) => sum + g, 0);
  const rest = await run(false);
  const before = await used();
  const gaps = await run(true);
  const after = await used();
  const each = (after.busy - before.busy) / count;
  const sorted = [...gaps].sort((a, b) => a - b);
  console.log(
    `zoom and pan, processor ${slower} times as slow: ${rate(gaps).toFixed(1)} frames a second, at rest ${rate(rest).toFixed(1)}; ` +
      `95 % within ${sorted[Math.floor(0.95 * sorted.length)]?.toFixed(1)} ms; ${each.toFixed(1)} ms of the processor for each`,
  );
  expect(each).toBeGreaterThan(0);
  expect(each).toBeLessThan(frame);
  expect(after.layouts - before.layouts).toBeLessThan(count / 10); // only the transform changes
  expect(rate(gaps) / rate(rest)).toBeGreaterThan(leastOfRest);
});
