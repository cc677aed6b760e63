import { expect, type Page } from '@playwright/test';

/** Nothing may stick out at the side. Phones widen innerWidth for what does, so the screen is the measure. */
export async function fits(page: Page): Promise<void> {
  const width = page.viewportSize()?.width ?? 0;
  const out = await page.evaluate((w) => {
    const held = (e: Element) => e.parentElement?.closest('.scroll, svg') || e.closest('dialog:not([open])');
    return [...document.querySelectorAll('body *')]
      .filter((e) => !held(e) && e.getBoundingClientRect().right > w + 1)
      .map((e) => `${e.tagName} ${e.className} ${Math.round(e.getBoundingClientRect().right)}`);
  }, width);
  expect(out).toEqual([]);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(width);
}
