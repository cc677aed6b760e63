// A keeper's rights on a phone: what is shared, a copy of everything, and leaving for good.
import { expect, type Page, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, header, signIn } from './demo';

/** An animal of this test's own, and the code of its card. */
async function sold(page: Page, name: string): Promise<{ code: string; kase: string }> {
  await signIn(page.request);
  const post = async (path: string, data: object) => {
    const answer = await page.request.post(`/v1/${breeder}/${path}`, { headers: header, data });
    expect(answer.ok(), await answer.text()).toBe(true);
    return (await answer.json()) as Record<string, unknown>;
  };
  const id = crypto.randomUUID();
  await post(`animals?animalId=${id}`, {
    displayName: name,
    species: 'pantherophis_guttatus',
    hatchDate: '2026-03-01',
  });
  const made = await post(`handovers?requestId=${crypto.randomUUID()}`, { animal: `${breeder}/animals/${id}` });
  const kase = (made['handover'] as { case: string }).case.split('/').at(-1) ?? '';
  return { code: (made['claimCode'] as string).replace('-', ''), kase };
}

test('a keeper takes a copy of everything, leaves, and is erased', async ({ browser, page: desk }, info) => {
  test.skip(info.project.name !== 'phone', 'a phone is enough');
  test.setTimeout(120_000);
  const { code, kase } = await sold(desk, 'Sedge');
  const { baseURL = '', viewport = null } = info.project.use;
  const phone = await (await browser.newContext({ baseURL, viewport, hasTouch: true })).newPage();
  await phone.goto(`/c#${code}`);
  await phone.getByLabel(/What may your breeder call you/).fill('Juniper');
  await phone.getByRole('button', { name: 'Take on Sedge' }).click();
  await expect(phone.getByRole('heading', { level: 1, name: 'Sedge' })).toBeVisible();

  await phone.goto('/k/settings');
  await phone.getByRole('link', { name: 'Look at your data' }).click();
  await expect(phone.getByRole('heading', { level: 1, name: 'Your data' })).toBeVisible();
  await expect(phone.getByRole('heading', { name: /^What is shared with Thimblewick/ })).toBeVisible();
  await desk.goto(`/b/cases/${kase}`);
  await expect(desk.getByRole('heading', { level: 1, name: 'Sedge' })).toBeVisible();
  await phone.getByRole('button', { name: 'Show who looked' }).click();
  await expect(phone.getByRole('list', { name: 'Who looked' }).getByText('how it is').first()).toBeVisible();
  const waiting = phone.waitForEvent('download');
  await phone.getByRole('link', { name: 'Download everything' }).click();
  expect((await waiting).suggestedFilename()).toBe('warmhand.zip');

  await phone.getByRole('button', { name: 'Leave and be erased' }).click();
  await expect(phone.getByText('This cannot be undone')).toBeVisible();
  await axe(phone, 'your data');
  await fits(phone);
  await phone.getByRole('button', { name: 'Erase me and leave' }).click();
  await expect(phone.getByText(/Type the word leave/)).toBeVisible();
  await phone.getByLabel('To go on, type leave').fill('Leave');
  await phone.getByRole('button', { name: 'Erase me and leave' }).click();
  await expect(phone).toHaveURL('/');
  await expect(phone.getByRole('heading', { name: 'Sedge' })).toHaveCount(0);
  expect((await phone.request.get('/v1/keepers/me/cases')).status()).toBe(401);
  await phone.context().close();

  await desk.reload();
  await expect(desk.getByText(/The follow-up has ended: the keeper left/)).toBeVisible();
  await expect(desk.getByText('Juniper')).toHaveCount(0);

  // The breeder's own: not done here, since every other test has this account.
  await desk.goto('/b/settings');
  await expect(desk.getByRole('link', { name: 'Download everything' })).toBeVisible();
  await desk.getByText('Who looked at keepers’ records').click();
  await expect(desk.getByText(/Marlow/).first()).toBeVisible();
  await desk.getByText('Erase this account').click();
  await desk.getByRole('button', { name: 'Erase the account in 14 days' }).click();
  await expect(desk.getByText(/Type the word erase/)).toBeVisible();
  await axe(desk, 'breeder, your data');
  await fits(desk);
});

test('an animal is passed on to another keeper, who gives it back', async ({ browser, page: desk }, info) => {
  test.skip(info.project.name !== 'phone', 'a phone is enough');
  test.setTimeout(120_000);
  const { code, kase } = await sold(desk, 'Tansy');
  const { baseURL = '', viewport = null } = info.project.use;
  const phone = async () => (await browser.newContext({ baseURL, viewport, hasTouch: true })).newPage();
  const claim = async (on: Page, with_: string) => {
    await on.goto(`/c#${with_}`);
    await on.getByRole('button', { name: 'Take on Tansy' }).click();
    await expect(on.getByRole('heading', { level: 1, name: 'Tansy' })).toBeVisible();
  };
  const first = await phone();
  await claim(first, code);
  await first.getByRole('link', { name: 'Weight' }).click();
  await first.getByLabel(/Weight/).fill('31');
  await first.getByRole('button', { name: /^Save/ }).click();
  await expect(first.getByText('Saved and sent')).toBeVisible();

  await first.getByRole('link', { name: 'Pass it on, or give it back' }).click();
  await first.getByRole('button', { name: 'Make a code for the next keeper' }).click();
  await expect(first.getByRole('img', { name: 'QR code that takes Tansy on' })).toBeVisible();
  await axe(first, 'passing on');
  await fits(first);
  const next = ((await first.locator('.ticket .code').textContent()) ?? '').replace('-', '').trim();

  const second = await phone();
  await second.goto(`/c#${next}`);
  await expect(second.getByText(/passed on to you by its keeper/)).toBeVisible();
  await claim(second, next);
  await second.getByRole('link', { name: 'Everything so far' }).click();
  await second.getByText(/^Before it came to you/).click();
  await expect(second.getByText(/by an earlier keeper/)).toBeVisible();
  await first.goto('/');
  await expect(first.getByText(/Tansy has gone on to its next keeper/)).toBeVisible();

  await second.goBack();
  await second.getByRole('link', { name: 'Pass it on, or give it back' }).click();
  await second.getByRole('button', { name: 'I want to give it back' }).click();
  await expect(second.getByRole('button', { name: 'I keep Tansy after all' })).toBeVisible();

  await desk.goto(`/b/cases/${kase}`);
  await expect(desk.getByText(/The follow-up has ended: passed on/)).toBeVisible();
  await desk.goto(`/b/cases/${new URL(second.url()).pathname.split('/')[3]}`);
  await expect(desk.getByRole('link', { name: 'an earlier keeper' })).toBeVisible();
  await desk.getByRole('textbox', { name: 'When and how does it travel?' }).fill('By car, on Sunday at ten.');
  await desk.getByRole('button', { name: 'Agree on this' }).first().click();
  await second.reload();
  await expect(second.getByText('By car, on Sunday at ten.')).toBeVisible();
  await fits(second);
  await axe(second, 'on its way back');
  await second.getByRole('button', { name: 'Tansy is on its way' }).click();
  await expect(second.getByText(/Tansy is on its way\. /)).toBeVisible();
  await expect(desk.getByRole('listitem').filter({ hasText: 'On its way just now' })).toBeVisible();
  await desk.getByText('It has arrived', { exact: true }).click();
  await desk.getByRole('textbox', { name: 'Weight on arrival' }).fill('101');
  await desk.getByRole('checkbox', { name: 'We heard of it too late' }).check();
  await desk.getByRole('textbox', { name: 'In your words' }).fill('The first home was too loud.');
  await axe(desk, 'arriving');
  await desk.getByRole('button', { name: 'It is here' }).click();
  await expect(desk.getByText(/The follow-up has ended: returned/)).toBeVisible();
  const home = desk.getByRole('region', { name: 'Home again' });
  await expect(home.getByRole('listitem')).toHaveText('We heard of it too late');
  await expect(home).toContainText('The first home was too loud.');
  await home.getByRole('button', { name: 'Out of quarantine' }).click();
  await expect(home.getByText('In quarantine')).toHaveCount(0);
  await first.context().close();
  await second.context().close();
});
