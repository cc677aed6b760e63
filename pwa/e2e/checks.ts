// What holds of every screen of both apps.
import AxeBuilder from '@axe-core/playwright';
import { expect, type Page } from '@playwright/test';

/** The screen with a screen reader's eyes, in both colour schemes. In the dark only colours differ. */
export async function axe(page: Page, name: string): Promise<void> {
  for (const colorScheme of ['light', 'dark'] as const) {
    await page.emulateMedia({ colorScheme, reducedMotion: 'reduce' });
    // What legacy mode leaves out are frames of other origins: there are none. The other mode opens a page each time.
    const builder = new AxeBuilder({ page }).setLegacyMode(true);
    if (colorScheme === 'light') {
      builder.withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']);
    } else {
      builder.withRules(['color-contrast']);
    }
    const result = await builder.analyze();
    expect(
      result.violations.map(
        (v) => `${v.id}: ${v.nodes.map((n) => `${n.target.join(' ')} ${n.failureSummary}`).join('; ')}`,
      ),
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
