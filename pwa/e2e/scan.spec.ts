// The camera reads a card. Its picture is a film that this test makes of the card's own link, and the
// reader is the Go code in the worker, as it is shipped.
import { writeFileSync } from 'node:fs';
import { type Browser, type BrowserContext, chromium, expect, type Page, test } from '@playwright/test';
import { encode } from 'uqr';
import { axe, fits } from './checks';
import { demo } from './demo';

/** Two frames of a card on a table, in YUV4MPEG2: one that holds a code, turned and seen from the side. */
function film(file: string, text: string): void {
  const [w, h] = [640, 480];
  const { data, size } = encode(text, { ecc: 'M', border: 4 });
  const y = Buffer.alloc(w * h);
  const turn = 0.35;
  for (let row = 0; row < h; row++) {
    for (let col = 0; col < w; col++) {
      // From the picture back to the card: nearer at the bottom.
      const near = 1 + (row - h / 2) / 1600;
      const [dx, dy] = [(col - w / 2) / near, (row - h / 2) / near];
      const u = Math.floor(((dx * Math.cos(turn) + dy * Math.sin(turn)) / 260 + 0.5) * size);
      const v = Math.floor(((dy * Math.cos(turn) - dx * Math.sin(turn)) / 230 + 0.5) * size);
      const table = 90 + ((col * 7 + row * 13) % 40);
      y[row * w + col] = u < 0 || v < 0 || u >= size || v >= size ? table : data[v]?.[u] ? 40 : 215;
    }
  }
  const frame = Buffer.concat([Buffer.from('FRAME\n'), y, Buffer.alloc((w * h) / 2, 128)]);
  writeFileSync(file, Buffer.concat([Buffer.from(`YUV4MPEG2 W${w} H${h} F10:1 Ip A1:1 C420jpeg\n`), frame, frame]));
}

/** A browser of its own: which film the camera shows is said when it starts. */
async function withCamera(
  text: string,
  permissions: string[],
  use: (page: Page, context: BrowserContext) => Promise<void>,
): Promise<void> {
  const { launchOptions, baseURL, viewport, contextOptions } = test.info().project.use;
  const file = test.info().outputPath('card.y4m');
  film(file, text);
  let browser: Browser | undefined;
  try {
    browser = await chromium.launch({
      ...launchOptions,
      args: [
        ...(launchOptions?.args ?? []),
        '--use-fake-device-for-media-stream',
        `--use-file-for-fake-video-capture=${file}`,
      ],
    });
    const context = await browser.newContext({
      ...contextOptions,
      permissions,
      ...(baseURL && { baseURL }),
      ...(viewport && { viewport }),
    });
    await use(await context.newPage(), context);
  } finally {
    await browser?.close();
  }
}

test('the card is read by the camera, without network too once the reader is there', async () => {
  test.skip(test.info().project.name !== 'phone', 'width does not matter');
  await withCamera(demo().claim.link, ['camera'], async (page, context) => {
    await page.goto('/c');
    await page.evaluate(() => navigator.serviceWorker.ready.then(() => undefined));
    await page.reload();
    await page.getByRole('button', { name: 'Scan the card' }).click();
    // The card is looked up and shown; it is not taken on. Another test may have done that.
    await expect(
      page.getByRole('heading', { level: 1, name: /^(Is this your|This card has been taken on already)/ }),
    ).toBeVisible({ timeout: 30_000 });

    await context.setOffline(true);
    await page.goto('/c');
    await page.getByRole('button', { name: 'Scan the card' }).click();
    await expect(page.getByText('Hold the square code')).toBeVisible();
    await expect(page.getByRole('heading', { name: 'No network just now' })).toBeVisible({ timeout: 30_000 });
  });
});

test('a code of another kind is no card, and the camera stops when it is left', async () => {
  test.skip(test.info().project.name !== 'phone', 'width does not matter');
  await withCamera('https://example.org/menu', ['camera'], async (page) => {
    await page.goto('/c');
    await page.getByRole('button', { name: 'Scan the card' }).click();
    await expect(page.getByText('That is another kind of code')).toBeVisible({ timeout: 30_000 });
    await axe(page, 'scan');
    await fits(page);
    const track = await page
      .locator('video')
      .evaluateHandle((v: HTMLVideoElement) => (v.srcObject as MediaStream).getVideoTracks()[0]);
    expect(await track.evaluate((t) => t?.readyState)).toBe('live');
    await page.getByRole('button', { name: 'Type the code instead' }).click();
    await expect(page.getByLabel('Code on the card')).toBeVisible();
    expect(await track.evaluate((t) => t?.readyState)).toBe('ended');
  });
});

test('without leave to use the camera it says what to do', async () => {
  test.skip(test.info().project.name !== 'phone', 'width does not matter');
  await withCamera('x', [], async (page) => {
    await page.goto('/c');
    await page.getByRole('button', { name: 'Scan the card' }).click();
    await expect(page.getByText('The camera is not allowed here')).toBeVisible();
    await axe(page, 'no camera');
    await page.getByRole('button', { name: 'Type the code instead' }).click();
    await expect(page.getByLabel('Code on the card')).toBeVisible();
  });
});
