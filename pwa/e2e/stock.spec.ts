// The stock book says of each animal whether it is ready for sale, and why not.
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { signIn } from './demo';

test('the stock book is narrowed; an animal says what it is missing; a clutch stands together', async ({
  page,
}, info) => {
  test.skip(info.project.name !== 'phone', 'the width is changed below');
  await signIn(page.request);
  await page.goto('/b/animals');
  const row = (name: string) => page.locator('.stock a', { hasText: name });
  await expect(row('Ling')).toContainText('Ready');
  await expect(row('Yarrow')).toContainText('Not yet');
  await expect(row('Sedge')).toContainText('as its clutch stands now');
  await expect(row('Rowan')).toContainText('Tell the buyer of its head wobble.');
  await expect(row('Fennel')).toHaveCount(0);
  await page.getByLabel('Show').selectOption('Handed over');
  await expect(row('Fennel')).toContainText('Handed over');
  await page.getByLabel('Show').selectOption('Not yet ready');
  await page.getByText('Filter and sort').click();
  await page.getByLabel('Clutch').selectOption('Kings 3');
  await expect(page.getByRole('status').filter({ hasText: '2 animals' })).toBeVisible();
  await axe(page, 'stock book, narrowed');
  await fits(page);

  await row('Sedge').click();
  const ready = page.getByRole('region', { name: 'Ready for sale?' });
  await expect(ready).toContainText('What is missing');
  await expect(ready).toContainText('of the middle of its clutch');
  await axe(page, 'ready for sale');
  await fits(page);
  await page.getByRole('link', { name: 'Kings 3' }).click();
  await expect(page.getByRole('heading', { level: 1, name: 'Clutch Kings 3' })).toBeVisible();
  await expect(page.locator('.stock a')).toHaveCount(3);
  await expect(row('Sedge')).toContainText('% of the middle');
  await axe(page, 'clutch');
  await fits(page);
  await page.goBack();
  await page.goBack(); // what was chosen is chosen still
  await expect(page.getByRole('status').filter({ hasText: '2 animals' })).toBeVisible();
});
