// What is printed reaches the person as a file: the card of a sale, labels for tubs.
import { readFile } from 'node:fs/promises';
import { type Download, expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, demo, header, signIn } from './demo';

async function bytesOf(download: Download): Promise<string> {
  const bytes = await readFile(await download.path());
  expect(bytes.subarray(0, 5).toString('latin1')).toBe('%PDF-');
  return bytes.toString('latin1');
}

test('labels and a card are saved as PDF, on the paper that was chosen', async ({ page }, info) => {
  test.setTimeout(180_000);
  await signIn(page.request);

  await test.step('labels for chosen animals', async () => {
    await page.goto('/b/animals');
    await page.getByRole('button', { name: 'Labels for tubs' }).click();
    const print = page.getByRole('button', { name: 'Print labels' });
    await expect(print).toBeDisabled();
    await page.getByRole('checkbox').nth(1).check();
    await page.getByRole('checkbox').nth(2).check();
    await expect(page.getByText('2 animals chosen')).toBeVisible();
    await page.getByLabel('Paper').selectOption({ label: 'US Letter' });
    await axe(page, 'labels');
    await fits(page);
    const [download] = await Promise.all([page.waitForEvent('download'), print.click()]);
    expect(download.suggestedFilename()).toBe('labels.pdf');
    expect(await bytesOf(download)).toContain('612.00 792.00'); // US Letter in points
    await expect(page.getByText('labels.pdf is with your downloads')).toBeVisible();
    await page.getByRole('button', { name: 'Back to the stock book' }).click();
    await expect(page.getByRole('button', { name: 'Labels for tubs' })).toBeVisible();
  });

  await test.step('the card, while its code is on the screen', async () => {
    const id = `print-spec-${info.project.name}`;
    await page.request.post(`/v1/${breeder}/animals?animalId=${id}`, {
      headers: header,
      data: { displayName: `Card ${info.project.name}`, species: 'python_regius', genes: ['spider'] },
    });
    await page.goto(`/b/animals/${id}`);
    await page.getByRole('button', { name: 'Hand over', exact: true }).click();
    await page.getByRole('button', { name: 'Make the record and its code' }).click();
    await expect(page.locator('.ticket .code')).toBeVisible();
    const card = page.locator('div.unprinted', { has: page.getByRole('button', { name: 'Print card' }) }).last();
    await expect(card.getByLabel('Paper')).toHaveValue('letter'); // as it was chosen before
    await page.getByLabel('Card', { exact: true }).selectOption({ label: 'A6 (105 × 148 mm)' });
    await card.getByLabel('Paper').selectOption({ label: 'A4' });
    await axe(page, 'handover with card');
    await fits(page);
    const button = page.getByRole('button', { name: 'Print card' });
    const [download] = await Promise.all([page.waitForEvent('download'), button.click()]);
    expect(download.suggestedFilename()).toBe('handover-card.pdf');
    expect(await bytesOf(download)).toContain('595.28 841.89'); // A4 in points
    const [record] = await Promise.all([
      page.waitForEvent('download'),
      page.getByRole('button', { name: 'Print record' }).click(),
    ]);
    expect(record.suggestedFilename()).toBe('handover-record.pdf');
    await bytesOf(record);
  });

  await test.step('without a connection it says what to do', async () => {
    await page.context().setOffline(true);
    await page.getByRole('button', { name: 'Print card' }).click();
    await expect(page.getByRole('alert')).toContainText('Try again when there is one');
    await page.context().setOffline(false);
    const [download] = await Promise.all([
      page.waitForEvent('download'),
      page.getByRole('button', { name: 'Print card' }).click(),
    ]);
    await bytesOf(download);
  });
});

test('a keeper saves the record and a letter for the vet as PDF', async ({ page }, info) => {
  const told = demo().keepers.find((k) => k.animal === 'Old Oak');
  const link = told?.links[info.project.name === 'phone' ? 4 : 5];
  if (!told || !link) throw new Error('the demonstration has no Old Oak');
  test.setTimeout(120_000);
  const { pathname, hash } = new URL(link);
  await page.goto(pathname + hash);
  await expect(page.getByRole('heading', { level: 1, name: 'Old Oak' })).toBeVisible();
  await page.goto(`/k/${breeder.split('/')[1]}/${told.case.split('/').at(-1)}/record`);
  await expect(page.getByRole('heading', { name: 'On paper' })).toBeVisible();
  await axe(page, 'record with PDF');
  await fits(page);
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name: 'Save as PDF' }).click(),
  ]);
  expect(download.suggestedFilename()).toBe('handover-record.pdf');
  await bytesOf(download);

  await page.goto(`/k/${breeder.split('/')[1]}/${told.case.split('/').at(-1)}`);
  await page.getByRole('link', { name: 'A letter for the vet' }).click();
  await page.getByLabel('What worries you').fill('It has not eaten for weeks.');
  await axe(page, 'letter for the vet');
  await fits(page);
  const [letter] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name: 'Save the letter' }).click(),
  ]);
  expect(letter.suggestedFilename()).toBe('vet-letter.pdf');
  await bytesOf(letter);
});
