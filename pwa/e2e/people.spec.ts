// The owner lets a helper in, who looks after a case in their own name, and takes them out again.
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { demo, signIn } from './demo';

test('a helper is let in, looks after a case, and is taken out', async ({ page, browser, baseURL }, info) => {
  test.skip(info.project.name !== 'phone', 'the narrow screen is the hard one');
  await signIn(page.request);
  await page.goto('/b/people');
  await page.getByLabel('Helper’s name').fill('marlow');
  await page.getByRole('form', { name: 'Let a helper in' }).getByRole('button').tap();
  await expect(page.getByText('is called Marlow already')).toBeVisible();
  await page.getByLabel('Helper’s name').fill('Ida');
  await page.getByRole('form', { name: 'Let a helper in' }).getByRole('button').tap();
  const way = page.getByRole('region', { name: 'A way in for Ida' });
  await expect(way.getByRole('img', { name: 'QR code that signs Ida in' })).toBeVisible();
  await axe(page, 'who works here');
  await fits(page);
  await page.context().grantPermissions(['clipboard-read', 'clipboard-write']);
  await way.getByRole('button', { name: 'Copy the link' }).tap();
  await expect(way.getByText('Copied.')).toBeVisible();
  const link = await page.evaluate(() => navigator.clipboard.readText());

  const ida = await (await browser.newContext(baseURL ? { baseURL } : {})).newPage();
  await ida.goto(link);
  await ida.getByRole('button', { name: 'Later' }).click();
  const oak = demo()
    .keepers.find((k) => k.animal === 'Old Oak')
    ?.case.split('/')
    .at(-1);
  await ida.goto(`/b/cases/${oak}`);
  await ida.getByText('Looked after by whoever comes').locator('..').getByRole('button', { name: 'Change' }).click();
  await ida.getByRole('button', { name: 'That is me, Ida' }).click();
  await ida.getByRole('button', { name: 'Save', exact: true }).click();
  await expect(ida.getByText('Looked after by Ida', { exact: true })).toBeVisible();
  await ida.goto('/b/settings');
  await expect(ida.getByText('Signed in as Ida.')).toBeVisible();
  await expect(ida.getByRole('heading', { name: 'Tokens for programs' })).toBeHidden();

  // A second phone of hers, which she then loses.
  await ida.goto('/b/people');
  await ida.getByRole('button', { name: 'Sign in on another device' }).click();
  await ida.context().grantPermissions(['clipboard-read', 'clipboard-write']);
  await ida.getByRole('button', { name: 'Copy the link' }).click();
  await expect(ida.getByText('Copied.')).toBeVisible();
  const second = await (await browser.newContext(baseURL ? { baseURL } : {})).newPage();
  await second.goto(await ida.evaluate(() => navigator.clipboard.readText()));
  await second.getByRole('button', { name: 'Later' }).click();
  await ida.reload();
  const hers = ida.getByRole('region', { name: 'Ida' });
  await expect(hers).toContainText('signed in on 2 devices');
  await hers.getByRole('button', { name: 'Sign out everywhere else' }).click();
  await axe(ida, 'a lost phone');
  await hers.getByRole('button', { name: 'Sign out my other devices' }).click();
  await expect(hers).toContainText('signed in on one device');
  await second.reload();
  await expect(second.getByRole('heading', { name: 'Sign in' })).toBeVisible();
  await second.context().close();

  await page.reload();
  const card = page.getByRole('region', { name: 'Ida' });
  await expect(card).toContainText('signed in on one device');
  await card.getByRole('button', { name: 'Take Ida out' }).tap();
  await card.getByRole('button', { name: 'Take out', exact: true }).tap();
  await expect(card).toBeHidden();
  await ida.reload();
  await expect(ida.getByRole('heading', { name: 'Sign in' })).toBeVisible();
  await ida.context().close();
  await page.goto(`/b/cases/${oak}`);
  await expect(page.getByText('Looked after by whoever comes')).toBeVisible();
});
