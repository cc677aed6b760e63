// What holds of every screen of both apps.
import { expect, type Page } from '@playwright/test';
import axeCore, { type RunOnly, type RunOptions } from 'axe-core';

const schemes: readonly [scheme: 'light' | 'dark', rules: RunOnly][] = [
  ['light', { type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }],
  ['dark', { type: 'rule', values: ['color-contrast'] }], // only colours differ
];

/** The screen with a screen reader's eyes, in both colour schemes. */
export async function axe(page: Page, name: string): Promise<void> {
  for (const [colorScheme, runOnly] of schemes) {
    await page.emulateMedia({ colorScheme, reducedMotion: 'reduce' });
    if (!(await page.evaluate(() => 'axe' in globalThis))) await page.evaluate(axeCore.source);
    // Only violations are asked for: the account of all that is well takes most of the time.
    const violations = await page.evaluate(
      async (options) => (await (globalThis as unknown as { axe: typeof axeCore }).axe.run(options)).violations,
      { runOnly, resultTypes: ['violations'] } satisfies RunOptions,
    );
    expect(
      violations.map((v) => `${v.id}: ${v.nodes.map((n) => `${n.target.join(' ')} ${n.failureSummary}`).join('; ')}`),
      `${name}, ${colorScheme}`,
    ).toEqual([]);
  }
  await page.emulateMedia({ colorScheme: 'light' });
}

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
