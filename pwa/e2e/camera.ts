// A camera whose picture is a film that tests make of codes.
import { writeFileSync } from 'node:fs';
import { type Browser, type BrowserContext, chromium, type Page, test } from '@playwright/test';
import { encode } from 'uqr';
import { whole } from './browser';

const [w, h] = [640, 480];

/** A frame of a card on a table: one that holds a code, turned and seen from the side. */
function frame(text: string): Buffer {
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
  return Buffer.concat([Buffer.from('FRAME\n'), y, Buffer.alloc((w * h) / 2, 128)]);
}

/** Each code for two seconds, over and over, in YUV4MPEG2. */
function film(file: string, texts: readonly string[]): void {
  const frames = texts.flatMap((text) => Array<Buffer>(20).fill(frame(text)));
  writeFileSync(file, Buffer.concat([Buffer.from(`YUV4MPEG2 W${w} H${h} F10:1 Ip A1:1 C420jpeg\n`), ...frames]));
}

/** A browser of its own: which film the camera shows is said when it starts. */
export async function withCamera(
  texts: readonly string[],
  permissions: string[],
  use: (page: Page, context: BrowserContext) => Promise<void>,
): Promise<void> {
  const { baseURL, viewport, contextOptions } = test.info().project.use;
  const file = test.info().outputPath('card.y4m');
  film(file, texts);
  let browser: Browser | undefined;
  try {
    browser = await chromium.launch({
      ...whole,
      args: [...whole.args, '--use-fake-device-for-media-stream', `--use-file-for-fake-video-capture=${file}`],
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
