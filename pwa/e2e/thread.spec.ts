// A phrase is written, filled in and sent; the keeper's phone has it and opens it, and the breeder sees that. A step is agreed
// that is not among the suggestions, and looked back on.
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, demo, header, signIn } from './demo';

test('from a phrase to a message that was read', async ({ page, browser }, info) => {
  test.skip(info.project.name !== 'phone', 'the narrow screen is the hard one');
  test.setTimeout(90_000);
  await signIn(page.request);
  await page.goto('/b/phrases');
  await expect(page.getByText('There is none yet.')).toBeVisible();
  await page.getByRole('button', { name: 'One more' }).tap();
  await page.getByRole('textbox', { name: 'Phrase 1' }).fill('[animal] at [weight]');
  await page.getByRole('button', { name: 'Save' }).tap();
  await expect(page.getByText('[weight] is none of the places')).toBeVisible();
  await page.getByRole('textbox', { name: 'Phrase 1' }).fill('Hello [keeper], [animal] is fine at [last weight].');
  await expect(page.getByText('As it would read: Hello Jonas, Fennel is fine at 92 g.')).toBeVisible();
  await page.getByRole('button', { name: 'Save' }).tap();
  await expect(page.getByText('Saved.')).toBeVisible();
  await fits(page);
  await axe(page, 'phrases');

  const oak = demo().keepers.find((k) => k.animal === 'Old Oak');
  await page.goto(`/b/cases/${oak?.case}`);
  await page.getByText('Your phrases', { exact: true }).tap();
  const filled = 'Hello Ruth, Old Oak is fine at 1,494\u00a0g.';
  await page.getByRole('button', { name: filled }).tap();
  const box = page.getByRole('textbox', { name: 'Message' });
  await expect(box).toHaveValue(filled);
  await expect(box).toBeFocused();
  await box.fill(`${filled} See you.`);
  await page.getByRole('button', { name: 'Send' }).tap();
  const mine = page.locator('.thread li.mine').filter({ hasText: 'See you.' });
  await expect(mine.locator('.meta')).toContainText('sent');

  // Without network it is kept on this device, and goes by itself, once.
  await page.context().setOffline(true);
  await box.fill('From the cellar.');
  await page.getByRole('button', { name: 'Send' }).tap();
  const later = page.locator('.thread li.mine').filter({ hasText: 'From the cellar.' });
  await expect(later.locator('.meta')).toContainText('not sent yet');
  await expect(box).toHaveValue('');
  await page.context().setOffline(false);
  await expect(later.locator('.meta')).toContainText(/sent$/);
  await expect(later.locator('.meta')).not.toContainText('not sent yet');
  await expect(later).toHaveCount(1);

  const { baseURL = '', viewport = null } = info.project.use;
  const phone = await (await browser.newContext({ baseURL, viewport })).newPage();
  const link = new URL(oak?.links[8] ?? '');
  await phone.goto(link.pathname + link.hash);
  await expect(phone.getByText('From the cellar.')).toBeVisible(); // the newest, with how many more
  await expect(mine.locator('.meta')).toContainText('arrived');
  await phone.goto(`/k/${breeder.split('/')[1]}/${oak?.case}/thread`);
  await expect(phone.locator('.thread')).toContainText('See you.');
  await expect(mine.locator('.meta')).toContainText('read');
  await phone.context().close();

  const peace = page.locator('.steps > li').filter({ hasText: /in peace/i });
  await peace.getByRole('button', { name: 'Agree on this' }).tap();
  await expect(peace.getByText('Until then the keeper is not asked')).toBeVisible();
  await peace.getByRole('button', { name: 'Agree, and tell the keeper' }).tap();
  await expect(page.locator('.thread .agreed')).toContainText('Agreed: leave it in peace, until');
  await expect(page.getByRole('region', { name: 'Did it help?' })).toContainText('nothing can be said yet');
  await fits(page);

  await page.request.patch(`/v1/${breeder}?updateMask=phrases`, { headers: header, data: { phrases: [] } });
});
