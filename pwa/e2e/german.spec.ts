// Both apps in German, as the browser asks for it: what the app says and what the service says.
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { demo, signIn } from './demo';

test.use({ locale: 'de-DE' });

test('a keeper reads German, with a decimal comma, and changes to English', async ({ page }, info) => {
  test.skip(info.project.name !== 'phone', 'the longest words on the narrowest screen');
  const keeper = demo().keepers.find((k) => k.animal === 'Quill');
  const link = new URL(keeper?.links.at(-3) ?? '');
  await page.goto(link.pathname + link.hash);
  await expect(page.getByRole('heading', { name: 'Etwas eintragen' })).toBeVisible();
  await expect(page.locator('html')).toHaveAttribute('lang', 'de');
  await axe(page, 'home in German');
  await fits(page);

  await page.getByRole('link', { name: 'Gewicht', exact: true }).click();
  await page.getByRole('textbox', { name: /Gewicht von/ }).fill('62.5');
  await expect(page.getByText('zweiundsechzig Komma fünf Gramm')).toBeVisible();
  await expect(page.getByText(/Letztes Mal \d+(,\d)? g/)).toBeVisible();
  await fits(page);

  await page.goto('/k/settings');
  await fits(page);
  await page.getByLabel('English').check();
  await expect(page.getByRole('heading', { level: 1, name: 'Settings and privacy' })).toBeVisible();
  await expect(page.locator('html')).toHaveAttribute('lang', 'en');
});

test('a breeder reads German, and nothing sticks out', async ({ page }, info) => {
  test.skip(info.project.name !== 'phone', 'the longest words on the narrowest screen');
  await signIn(page.request);
  await page.goto('/b');
  await page.getByRole('button', { name: 'Später' }).tap();
  await page.locator('a.case').first().tap();
  await expect(page.getByRole('heading', { name: 'Warum' })).toBeVisible();
  const nav = page.getByRole('navigation').first();
  for (const path of ['/b', '/b/animals', '/b/settings']) {
    await page.goto(path);
    await expect(nav.getByRole('link', { name: 'Einstellungen' })).toBeInViewport({ ratio: 1 });
    await expect(page.getByRole('heading', { level: 1 })).toBeVisible();
    await fits(page);
  }
});
