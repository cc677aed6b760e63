// A list that a breeder has comes in, and goes again as a whole.
import { readFile } from 'node:fs/promises';
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, header, signIn } from './demo';

const csv = (text: string) => ({ name: 'winter.csv', mimeType: 'text/csv', buffer: Buffer.from(text) });

const list = csv(
  `Name;Species;Sex;Date;Weight;Fed
Juniper;corn snake;0.1;03/04/2026;48,5;ate
Juniper;;;05/04/2026;480,5;no
Juniper;;;07/04/2026;heavy;
Sloe;dragon;;05/04/2026;12;
`,
);

test('a list is looked at, asked about, brought in and taken back', async ({ page }, info) => {
  test.skip(info.project.name !== 'phone', 'the width is changed below');
  await signIn(page.request);
  await page.goto('/b/animals');
  await page.getByRole('link', { name: 'Lists: bring in, take out' }).click();
  await expect(page.getByRole('heading', { level: 1, name: 'Lists' })).toBeVisible();
  await fits(page);

  const choose = async (file: ReturnType<typeof csv>) => {
    const [chooser] = await Promise.all([
      page.waitForEvent('filechooser'),
      page.getByRole('button', { name: 'Choose a file, CSV or XLSX' }).click(),
    ]);
    await chooser.setFiles(file);
  };
  await choose({ name: 'photo.csv', mimeType: 'text/csv', buffer: Buffer.from('\x89PNG\r\n\x1a\n', 'latin1') });
  await expect(page.getByRole('alert')).toContainText('This is a picture');

  await choose(list);
  await expect(page.getByRole('heading', { level: 1, name: 'winter.csv' })).toBeVisible();
  await expect(page.getByText('Date: which day is 03/04/2026?')).toBeVisible();
  const bring = page.getByRole('button', { name: 'Bring in the rest, leave out what is wrong' });
  await expect(bring).toBeDisabled();
  await axe(page, 'a list');
  await fits(page);
  await page.getByRole('button', { name: '3 April 2026' }).click();
  await expect(page.getByText('4 rows: 1 new animal and 4 log lines.')).toBeVisible();
  await expect(page.getByText('480.5 g after 48.5 g looks like a slip or a wrong unit.')).toBeVisible();
  await expect(page.getByText('Row 4, Weight: “heavy”')).toBeVisible();
  await expect(page.getByText('Row 5, Species: “dragon”')).toBeVisible();
  await page.getByRole('button', { name: 'Leave row 3 out' }).click();
  await expect(page.getByText('1 new animal and 2 log lines.')).toBeVisible();

  const held = async () =>
    (
      (await (await page.request.get(`/v1/${breeder}/animals?query=Juniper`, { headers: header })).json()) as {
        animals: unknown[];
      }
    ).animals.length;
  expect(await held()).toBe(0); // nothing before it is confirmed
  await bring.click();
  await expect(page.getByText('1 animal and 2 log lines were added.')).toBeVisible();
  expect(await held()).toBe(1);
  await fits(page);

  await page.getByRole('button', { name: 'Another list' }).click();
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name: 'Stock book as a workbook (XLSX)' }).click(),
  ]);
  expect(download.suggestedFilename()).toBe('stock.xlsx');
  const bytes = await readFile(await download.path());
  await choose({ name: 'stock.xlsx', mimeType: '', buffer: bytes });
  await expect(page.getByText('There is nothing new in this list.')).toBeVisible(); // it is all there
  await page.getByRole('button', { name: 'Not this list' }).click();

  await page.getByRole('button', { name: 'Undo winter.csv' }).first().click();
  await page.getByRole('button', { name: 'Yes, undo all of it' }).click();
  await expect(page.getByText('Taken back. It is as if the list had never come.').first()).toBeVisible();
  expect(await held()).toBe(0);
  await page.setViewportSize({ width: 1440, height: 900 });
  await axe(page, 'lists');
  await fits(page);
});
