// The breeder's phone in a room without reception: the stock book is there, what is logged waits and arrives once.
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, header, signIn } from './demo';

test('without network the stock book is there, and a weight arrives once later', async ({ page, context }, info) => {
  test.skip(info.project.name !== 'phone', 'a phone is what a breeder has at hand');
  await signIn(page.request);
  const made = await page.request.post(`/v1/${breeder}/animals`, {
    headers: header,
    data: { displayName: 'Cellar 1', species: 'python_regius', sex: 'SEX_FEMALE', hatchDate: '2026-06-01' },
  });
  const { animal } = (await made.json()) as { animal: { name: string } };

  await page.goto('/b/animals');
  const row = page.getByRole('link', { name: /Cellar 1/ });
  await expect(row).toBeVisible();
  await page.evaluate(async () => void (await navigator.serviceWorker.ready));

  await context.setOffline(true);
  await page.reload();
  await expect(page.getByText(/This is as of/)).toBeVisible();
  await axe(page, 'stock book without network');
  await fits(page);
  await row.click();
  await expect(page.getByRole('heading', { level: 1, name: 'Cellar 1' })).toBeVisible();
  await page.getByLabel('Weight', { exact: true }).fill('72');
  await page.getByRole('button', { name: 'Save the weight' }).click();
  await expect(page.getByText('Kept on this device', { exact: true })).toBeVisible();
  await expect(page.getByText('not sent yet')).toBeVisible();
  // A record is made by the service; a sale with a printed card waits here.
  await page.getByRole('link', { name: 'Sell it with a blank card, without network' }).click();
  await expect(page.getByRole('heading', { level: 1, name: 'Which card?' })).toBeVisible();
  await expect(page.getByText('Cellar 1')).toBeVisible();
  await page.goBack();
  await expect(page.getByRole('heading', { level: 1, name: 'Cellar 1' })).toBeVisible();
  await axe(page, 'animal without network');
  await fits(page);
  await page.getByRole('link', { name: '1 entry is only on this device' }).click();
  await expect(page.getByRole('heading', { level: 1 })).toHaveText('On this device, not sent yet');
  await expect(page.getByRole('link', { name: 'Cellar 1' })).toBeVisible();
  await axe(page, 'not sent yet');
  await fits(page);

  await context.setOffline(false);
  await expect(page.getByText('Everything has been sent.')).toBeVisible();
  const answer = await page.request.get(`/v1/${animal.name}/entries?kinds=weigh_in`);
  const { entries } = (await answer.json()) as { entries: { weighIn?: { massG: number } }[] };
  expect(entries.map((e) => e.weighIn?.massG)).toEqual([72]);
});
