// A sale at the table, without network: how many taps, and how long from the stock book until it is done. Each code is in view
// for two seconds in turn, as long as a hand holds it; finding the tub is not counted.
import { expect, test } from '@playwright/test';
import { withCardAndTub } from '../e2e/table';

const budget = 60_000; // ms, with the person's part

test('a sale from scan to done', async ({ browser }, info) => {
  test.skip(info.project.name !== 'phone', 'a phone is what a breeder has at hand');
  test.setTimeout(120_000);
  await withCardAndTub(browser, 'Timed 1', async (page) => {
    let taps = 0;
    const tap = async (role: 'link' | 'button', name: string) => {
      await page.getByRole(role, { name, exact: true }).click({ timeout: 30_000 });
      taps++;
    };
    const begun = Date.now();
    await tap('link', 'Sell');
    await expect(page.getByRole('heading', { level: 1, name: 'Sell Timed 1?' })).toBeVisible({ timeout: 30_000 });
    const both = Date.now();
    await tap('button', 'Sold');
    await expect(page.getByRole('heading', { level: 1, name: 'Timed 1 is sold' })).toBeVisible();
    const done = Date.now();
    console.log(
      `sale from the stock book to done: ${done - begun} ms, ${taps} taps and two codes; from the second code on ${done - both} ms`,
    );
    expect(taps).toBe(2);
    expect(done - begun).toBeLessThan(budget);
  });
});
