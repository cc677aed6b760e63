// When keepers are asked, and how they are reminded of it.
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, demo, header, redeem, signIn } from './demo';

test('a breeder plans when keepers are asked', async ({ page }, info) => {
  test.skip(info.project.name !== 'phone', 'the narrow screen is the hard one');
  await signIn(page.request);
  await page.goto('/b/settings');
  await page.getByRole('link', { name: 'When keepers are asked how it goes' }).tap();
  await page.getByRole('button', { name: 'Settling in: more days' }).tap();
  await page.getByRole('checkbox', { name: 'After a month: ask' }).uncheck();
  const words = page.getByRole('region', { name: 'After the first night' }).getByRole('textbox');
  await words.fill('Did it find its hide?');
  await fits(page);
  await axe(page, 'plan of check-ins');
  await page.getByRole('button', { name: 'Use this plan' }).tap();
  await expect(page.getByText('This plan is in use')).toBeVisible();
  const own = async () => {
    const answer = await page.request.get(`/v1/${breeder}/checkInPlan`, { headers: header });
    const { own, words } = ((await answer.json()) as { checkInPlan: { own: unknown; words: unknown } }).checkInPlan;
    return { own, words };
  };
  expect(await own()).toEqual({
    own: { settling_in: 4, month_end: -1 },
    words: { first_night: 'Did it find its hide?' },
  });
  await page.getByRole('button', { name: 'All as the program has it' }).tap();
  await page.getByRole('button', { name: 'Use this plan' }).tap();
  await expect(page.getByRole('button', { name: 'Use this plan' })).toBeDisabled();
  expect(await own()).toEqual({ own: {}, words: {} });
});

test('a keeper puts the check-ins into the calendar, and takes it back', async ({ page, playwright }, info) => {
  test.skip(info.project.name !== 'phone', 'the narrow screen is the hard one');
  const larch = demo().keepers.find((k) => k.animal === 'Larch');
  await redeem(page.request, (larch?.links ?? []).slice(20));
  await page.goto('/k/settings');
  await page.getByRole('button', { name: 'Make a calendar' }).tap();
  const address = await page.getByText(/\/v1\/calendars\/whc_.*\.ics/).textContent();
  await fits(page);
  await axe(page, 'calendar');
  const stranger = await playwright.request.newContext();
  const read = () => stranger.get(address ?? '');
  const file = await read();
  expect(file.headers()['content-type']).toContain('text/calendar');
  expect(await file.text()).toContain('SUMMARY;LANGUAGE=en:Larch: ');
  await page.getByRole('button', { name: 'Stop the calendar' }).tap();
  await expect(page.getByText('Nobody can read it at the old address any more.')).toBeVisible();
  expect((await read()).status()).toBe(404);
  await stranger.dispose();
});
