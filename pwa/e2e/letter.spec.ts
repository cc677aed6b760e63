// A link to the letter for the vet, from the keeper's phone to somebody without an account.
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, demo } from './demo';

test('a link opens the letter without a sign-in, until the keeper ends it', async ({
  page,
  browser,
  baseURL,
}, info) => {
  test.skip(info.project.name !== 'phone', 'width does not matter for what is checked');
  const told = demo().keepers.find((k) => k.animal === 'Old Oak');
  const link = told?.links[7];
  if (!told || !link) throw new Error('the demonstration has no Old Oak');
  const { pathname, hash } = new URL(link);
  await page.goto(pathname + hash);
  await expect(page.getByRole('heading', { level: 1, name: 'Old Oak' })).toBeVisible();
  await page.goto(`/k/${breeder.split('/')[1]}/${told.case.split('/').at(-1)}/vet`);
  await page.getByRole('button', { name: 'Make a link' }).click();
  const url = new URL((await page.locator('code').textContent()) ?? '');
  await expect(page.getByRole('list', { name: 'Links that open the letter' }).getByRole('listitem')).toHaveCount(1);
  await axe(page, 'letter with a link');
  await fits(page);

  const stranger = await (await browser.newContext(baseURL ? { baseURL } : {})).newPage();
  await stranger.goto(url.pathname + url.hash);
  const open = stranger.getByRole('button', { name: 'Open the letter' });
  const [download] = await Promise.all([stranger.waitForEvent('download'), open.click()]);
  expect(download.suggestedFilename()).toBe('vet-letter.pdf');
  await axe(stranger, 'what a link to a letter opens');
  await fits(stranger);

  await page.getByRole('button', { name: 'End it' }).click();
  await expect(page.getByText('The link opens nothing any more.')).toBeVisible();
  await open.click();
  await expect(stranger.getByRole('alert')).toContainText('opens no letter');
  await stranger.context().close();
});
