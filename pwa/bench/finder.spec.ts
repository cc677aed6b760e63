// How long a phone looks for a card's code in a photo, and how long in vain: on a processor that is made four times as slow, by
// the time it takes of it, for what else the machine does would count by the clock. Chromium slows a page's own thread down and
// no worker's, so the engine's script, which a worker runs in the app, runs in a page here.
import { readFileSync } from 'node:fs';
import { expect, test } from '@playwright/test';

const slower = 4;
const long = 1600; // pixels: as large as the app keeps pictures
const budget = { found: 2_000, vain: 20_000 }; // ms

test('a code is looked for', async ({ page, request }, info) => {
  test.skip(info.project.name !== 'phone', 'phones are slow, desks are not');
  test.setTimeout(180_000);
  const kept = await (await request.get('/sw.js')).text();
  const script = /"(\/assets\/measure-[^"]+\.js)"/.exec(kept)?.[1] ?? '';
  await page.goto('/robots.txt'); // nothing of the app runs beside it
  await page.evaluate(await (await request.get(script)).text());
  await page.waitForFunction(() => 'findCode' in window);
  await page.evaluate(
    async ([photo, long]) => {
      const bytes = Uint8Array.from(atob(photo), (c) => c.charCodeAt(0));
      const picture = await createImageBitmap(new Blob([bytes]));
      const k = long / Math.max(picture.width, picture.height);
      const canvas = new OffscreenCanvas(picture.width * k, picture.height * k);
      const draw = canvas.getContext('2d');
      if (!draw) throw new Error('no canvas');
      draw.drawImage(picture, 0, 0, canvas.width, canvas.height);
      const find = (window as unknown as { findCode(w: number, h: number, rgba: Uint8Array): string }).findCode;
      const look = () => {
        const { data } = draw.getImageData(0, 0, canvas.width, canvas.height);
        return find(canvas.width, canvas.height, new Uint8Array(data.buffer)) !== 'null';
      };
      const cover = () => {
        const { data } = draw.getImageData(0, 0, canvas.width, canvas.height);
        const { corners } = JSON.parse(find(canvas.width, canvas.height, new Uint8Array(data.buffer)));
        draw.fillStyle = '#ddd';
        draw.beginPath();
        for (const c of corners) draw.lineTo(c.x, c.y);
        draw.fill();
      };
      Object.assign(window, { look, cover });
    },
    [readFileSync('../testdata/photos/opening.jpg').toString('base64'), long] as const,
  );
  const cdp = await page.context().newCDPSession(page);
  await cdp.send('Performance.enable', { timeDomain: 'threadTicks' });
  const busy = async () => {
    const { metrics } = await cdp.send('Performance.getMetrics');
    return 1000 * (metrics.find((m) => m.name === 'TaskDuration')?.value ?? Number.NaN);
  };
  const timed = async (found: boolean) => {
    await cdp.send('Emulation.setCPUThrottlingRate', { rate: slower });
    const times: number[] = [];
    for (let n = 0; n < 3; n++) {
      const before = await busy();
      expect(await page.evaluate(() => (window as unknown as { look(): boolean }).look())).toBe(found);
      times.push((await busy()) - before);
    }
    await cdp.send('Emulation.setCPUThrottlingRate', { rate: 1 });
    return times.sort((a, b) => a - b)[1] ?? Number.NaN;
  };
  const found = await timed(true);
  await page.evaluate(() => (window as unknown as { cover(): void }).cover());
  const vain = await timed(false);
  console.log(
    `a code in a photo of ${long} pixels, processor ${slower} times as slow: found in ${found.toFixed(0)} ms of it, looked for in vain in ${vain.toFixed(0)} ms`,
  );
  expect(found).toBeLessThan(budget.found);
  expect(vain).toBeLessThan(budget.vain);
});
