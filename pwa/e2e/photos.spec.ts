// A photo's way: the keeper takes one for a setup point, the breeder pins a hazard in it by keys,
// the keeper sees the place and answers with another, and both stand side by side.
import { readFileSync } from 'node:fs';
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, demo, header, redeem } from './demo';

test('a photo is reviewed, answered and seen beside the one before', async ({ page, context }, info) => {
  const { keepers, breeder: links } = demo();
  const keeper = keepers.find((k) => k.links.length > 1);
  if (!keeper) throw new Error('the demonstration has no keeper with a spare link');
  await redeem(context.request, keeper.links);
  await redeem(context.request, links);
  const id = keeper.case.split('/').at(-1) ?? '';
  const file = readFileSync('../testdata/photos/orientation-6.jpg');
  const answer = async (photo: string) => {
    const name = `${breeder}/cases/${id}`;
    const sent = await context.request.put(`/v1/${name}/photos/${photo}`, {
      headers: { 'X-Warmhand': 'keeper', 'Content-Type': 'image/jpeg' },
      data: file,
    });
    expect(sent.ok()).toBe(true);
    const { case: c } = (await (await context.request.get(`/v1/${name}`)).json()) as {
      case: { animal: { name: string } };
    };
    const entry = await context.request.post(`/v1/${c.animal.name}/entries?entryId=entry-${photo}`, {
      headers: { 'X-Warmhand': 'keeper' },
      data: {
        case: name,
        happenTime: new Date().toISOString(),
        setup: { answers: [{ point: 'sharp_edges', choice: 'all_smooth', photos: [photo] }] },
      },
    });
    expect(entry.ok()).toBe(true);
  };
  const stamp = `${info.workerIndex}-${Date.now()}`;
  await answer(`before-${stamp}`);

  await page.goto('/b/review');
  const title = page.getByRole('heading', { level: 2, name: 'Sharp edges and points' });
  while (!(await title.isVisible())) {
    const was = await page.getByRole('heading', { level: 2 }).textContent();
    await page.keyboard.press('j');
    await expect(page.getByRole('heading', { level: 2 })).not.toHaveText(was ?? '');
  }
  await expect(page.locator('.frame img')).toBeVisible();
  await axe(page, 'review');
  await fits(page);
  await page.screenshot({ path: info.outputPath('review.png') });
  await page.keyboard.press('h');
  await page.locator('.frame').focus();
  await page.keyboard.press('Enter');
  await expect(page.getByText('The place is marked')).toBeVisible();
  await page.getByLabel('What is wrong there').fill('This wire end is sharp. Please bend it outwards.');
  await page.getByRole('button', { name: 'Tell the keeper' }).click();
  await expect(title).toBeHidden();

  await page.goto(`/k/${breeder.split('/')[1]}/${id}/setup/sharp_edges`);
  await expect(page.getByText('This wire end is sharp.')).toBeVisible();
  await expect(page.locator('.spot')).toHaveCount(1);
  await fits(page);
  await page.screenshot({ path: info.outputPath('asked.png') });

  await answer(`after-${stamp}`);
  await page.goto('/b/review');
  await expect(page.getByText('Before:')).toBeVisible();
  await expect(page.locator('.frame img')).toHaveCount(2);
  await page.screenshot({ path: info.outputPath('beside.png') });
  await page.getByRole('button', { name: 'Fine now' }).click();
  await expect(page.getByText('That was the last one')).toBeVisible();
  const flags = await context.request.get(`/v1/${breeder}/cases/${id}/flags`, { headers: header });
  const open = ((await flags.json()) as { flags: { code: string; closeTime?: string }[] }).flags.filter(
    (f) => f.code === 'setup:sharp_edges' && !f.closeTime,
  );
  expect(open).toEqual([]);
});
