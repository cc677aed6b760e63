// The keeper's app on a phone, against the demonstration: a card is taken on, things are
// logged without network, and everything arrives once. Then every screen in both colour
// schemes through axe.
import { join } from 'node:path';
import { type BrowserContext, expect, type Page, test } from '@playwright/test';
import { axe, fits } from './checks';
import { demo } from './demo';

const here = (link: string) => {
  const u = new URL(link);
  return u.pathname + u.hash;
};

// A link signs in once: each test has its own animal, each screen size its own link.
async function signIn(page: Page, animal: string): Promise<string> {
  const keeper = demo().keepers.find((k) => k.animal === animal);
  const link = keeper?.links.at(test.info().project.name === 'phone' ? -1 : -2);
  if (!keeper || !link) throw new Error(`no link for ${animal}`);
  await page.goto(here(link));
  await expect(page.getByRole('heading', { level: 1, name: animal })).toBeVisible();
  return `/k/thimblewick/${keeper.case.split('/').at(-1)}`;
}

async function entries(
  page: Page,
  animal: string,
  kind: string,
): Promise<{ happenTime: string; replacedBy?: string }[]> {
  const answer = await page.request.get(
    `/v1/breeders/thimblewick/animals/${animal}/entries?pageSize=500&kinds=${kind}`,
  );
  expect(answer.ok()).toBe(true);
  return ((await answer.json()) as { entries?: { happenTime: string }[] }).entries ?? [];
}

async function workerReady(page: Page): Promise<void> {
  await page.waitForFunction(() => navigator.serviceWorker.controller !== null);
}

const picture = join(import.meta.dirname, '../../testdata/photos/orientation-6.jpg');
const offline = async (context: BrowserContext, yes: boolean) => context.setOffline(yes);

test('a card is taken on, and what is logged without network arrives once', async ({ page, context }, info) => {
  test.setTimeout(300_000);
  test.skip(info.project.name !== 'phone', 'there is one unclaimed card, and it is for phones');
  const { claim } = demo();
  // Also on a breeder's own phone these pages act as the keeper.
  const others: string[] = [];
  context.on('request', (r) => {
    const { pathname } = new URL(r.url());
    if (r.resourceType() !== 'fetch' || !pathname.startsWith('/v1/') || pathname === '/v1/me') return;
    if (r.headers()['x-warmhand'] !== 'keeper') others.push(pathname);
  });

  await test.step('a slip in the code is caught on the phone', async () => {
    await page.goto('/c');
    const box = page.getByLabel('Code on the card');
    const wrong = (claim.code.startsWith('A') ? 'B' : 'A') + claim.code.slice(1);
    await box.fill(wrong.toLowerCase());
    await expect(page.getByText('One character seems to be off')).toBeVisible();
    await axe(page, 'code');
  });

  await test.step('the fragment of the card shows what would be claimed and what sharing means', async () => {
    await page.goto('/');
    await page.goto(here(claim.link));
    await expect(page.getByRole('heading', { level: 1, name: /^Is this your/ })).toBeVisible();
    await expect(page.getByRole('heading', { name: 'What is shared when you take it on' })).toBeVisible();
    const take = page.getByRole('button', { name: `Take on ${claim.animal}` });
    await expect(take).toBeInViewport({ ratio: 1 }); // at the thumb, without a scroll
    await expect(page.getByRole('heading', { name: 'What to mind first' })).toBeInViewport();
    await page.getByRole('heading', { name: 'What to mind, in full' }).scrollIntoViewIfNeeded();
    await expect(take).toBeInViewport({ ratio: 1 });
    await axe(page, 'claim');
    await fits(page);
  });

  await test.step('a claim whose answer is lost is sent again and succeeds', async () => {
    let lost = 0;
    await page.route('**/v1/claims', async (route) => {
      if (lost++ > 0) return route.continue();
      await route.fetch(); // the service did it; the phone never hears
      await route.abort('connectionreset');
    });
    await page.getByLabel(/What may your breeder call you/).fill('Robin');
    await page.getByRole('button', { name: `Take on ${claim.animal}` }).click();
    await expect(page.getByRole('heading', { level: 1, name: 'No network just now' })).toBeVisible();
    await axe(page, 'claim, no network');
    await page.reload(); // the phone was put away meanwhile
    await expect(page.getByRole('heading', { level: 1, name: claim.animal })).toBeVisible();
    expect(lost).toBe(2);
    await page.unroute('**/v1/claims');
  });

  const home = new URL(page.url()).pathname;
  await workerReady(page);
  await test.step('pages of the server are left to it', async () => {
    await page.goto('/api');
    await expect(page.getByText(/CreateEntry/).first()).toBeVisible();
    expect((await page.goto('/healthz'))?.headers()['content-type']).not.toContain('html');
    expect((await page.goto('/k/settings'))?.fromServiceWorker()).toBe(true);
  });
  // The record and the tables are on the phone before it goes offline.
  await page.goto(`${home}/record`);
  await expect(page.getByRole('heading', { name: 'How it is fed' })).toBeVisible();
  await page.goto(`${home}/setup`);
  await expect(page.getByRole('link', { name: /Places to hide/ })).toBeVisible();
  const animal = await page.evaluate(async () => {
    const answer = await fetch('/v1/keepers/me/cases', { headers: { 'X-Warmhand': 'keeper' } });
    return (
      ((await answer.json()) as { cases: { animal: { name: string } }[] }).cases[0]?.animal.name.split('/').at(-1) ?? ''
    );
  });
  const before = {
    offers: (await entries(page, animal, 'offer')).length,
    weights: (await entries(page, animal, 'weigh_in')).length,
    setups: (await entries(page, animal, 'setup')).length,
  };

  await offline(context, true);

  await test.step('without network: an offer in two taps', async () => {
    await page.goto(home);
    await page.getByRole('link', { name: 'Food offered' }).click();
    await page.getByRole('button', { name: 'Did not take it' }).click();
    await expect(page.getByText('Saved on this phone', { exact: true })).toBeVisible();
    await expect(page.getByText(/1 entry is saved on this phone/)).toBeVisible();
  });

  await test.step('without network: a weight, echoed in words', async () => {
    await page.getByRole('link', { name: 'Weight', exact: true }).click();
    const last = Number(/Last time ([\d.]+)/.exec((await page.getByText(/Last time/).textContent()) ?? '')?.[1]);
    const box = page.getByLabel(/^Weight of/);
    await box.fill(String(last * 100));
    await expect(page.getByText(/this is a big change/)).toBeVisible();
    await box.fill(String(last).replace('.', ','));
    await expect(page.getByText(/ grams?$/).last()).toBeVisible();
    await expect(page.getByText(/this is a big change/)).toBeHidden();
    await page.getByRole('button', { name: 'Save the weight' }).click();
    await expect(page.getByText(/2 entries are saved on this phone/)).toBeVisible();
  });

  await test.step('without network: a setup answer with a photo', async () => {
    await page.goto(`${home}/setup/hides`);
    await page.getByLabel('Only one hide').check();
    await expect(page.getByText('To put right')).toBeVisible();
    await page.locator('input[data-photo="choose"]').setInputFiles(picture);
    await expect(page.getByRole('img', { name: 'Picture 1' })).toBeVisible();
    await page.reload(); // the camera ended the page: the draft is still there
    await expect(page.getByRole('img', { name: 'Picture 1' })).toBeVisible();
    await expect(page.getByLabel('Only one hide')).toBeChecked();
    await axe(page, 'setup point with picture');
    await page.getByRole('button', { name: 'Save and go on' }).click();
    await expect(page).not.toHaveURL(/\/hides$/); // it goes on once it is saved
    await page.goto('/k/unsent');
    await expect(page.getByRole('listitem')).toHaveCount(4); // offer, weight, picture, answer
    await axe(page, 'unsent');
  });

  await test.step('without network: a message with a picture, after the camera ended the page', async () => {
    await page.goto(`${home}/thread`);
    await page.getByLabel('Message').fill('Is this hide big enough?');
    await page.locator('input[data-photo="choose"]').setInputFiles(picture);
    await expect(page.getByRole('button', { name: 'Remove picture 1' })).toBeVisible();
    await page.reload();
    await expect(page.getByLabel('Message')).toHaveValue('Is this hide big enough?');
    await page.getByRole('button', { name: 'Picture 1, not sent yet' }).click();
    await expect(page.getByRole('dialog', { name: 'Photo' })).toBeVisible();
    await page.getByRole('button', { name: 'Close' }).click();
    await axe(page, 'thread with a picture being written');
    await page.getByRole('button', { name: 'Send' }).click();
    await expect(page.getByLabel('Message')).toHaveValue('');
    const mine = page.locator('.thread .mine').filter({ hasText: 'Is this hide big enough?' });
    await expect(mine.getByText('not sent yet')).toBeVisible();
    const inThread = mine.getByRole('button', { name: 'Picture from you: Is this hide big enough?' });
    await expect.poll(() => inThread.locator('img').evaluate((i) => (i as HTMLImageElement).naturalWidth)).toBe(96);
    await axe(page, 'thread with a picture');
    await fits(page);
  });

  await test.step('the app starts without network and still knows everything', async () => {
    await page.goto('/');
    await expect(page.getByRole('heading', { level: 1, name: claim.animal })).toBeVisible();
    await expect(page.getByText(/4 entries are saved on this phone/)).toBeVisible();
    await expect(page.getByText(/Did not take/).first()).toBeVisible();
  });

  await offline(context, false);

  await test.step('back online: all of it arrives, once', async () => {
    await expect(page.getByText(/saved on this phone and will be sent/)).toBeHidden({ timeout: 20_000 });
    await expect.poll(async () => (await entries(page, animal, 'setup')).length).toBe(before.setups + 1);
    await page.reload();
    await page.goto('/k/unsent');
    await expect(page.getByText('Everything has been sent')).toBeVisible();
    expect((await entries(page, animal, 'offer')).length).toBe(before.offers + 1);
    expect((await entries(page, animal, 'weigh_in')).length).toBe(before.weights + 1);
    expect((await entries(page, animal, 'setup')).length).toBe(before.setups + 1);
    const [, , breeder, id] = home.split('/');
    const photos = (await (await page.request.get(`/v1/breeders/${breeder}/cases/${id}/photos`)).json()) as {
      photos: { width: number; height: number; takeTime?: string }[];
    };
    // Of the answer and of the message: the same file is one picture. When it was taken nobody agreed to send.
    expect(photos.photos).toHaveLength(1);
    for (const p of photos.photos) expect(p.takeTime).toBeUndefined();
    await page.goto(`${home}/thread`);
    const sent = page.getByRole('button', { name: 'Picture from you: Is this hide big enough?' });
    await expect(sent).toHaveCount(1);
    await sent.click();
    const large = page.getByRole('dialog', { name: 'Photo' }).getByRole('img');
    await expect(large).toHaveAttribute('src', /\/1600$/);
    await expect.poll(() => large.evaluate((i) => (i as HTMLImageElement).naturalWidth)).toBeGreaterThan(0);
    await page.keyboard.press('Escape');
    await expect(sent).toBeFocused();
  });

  await test.step('a correction stands beside what it corrects', async () => {
    await page.goto(`${home}/history`);
    await page
      .getByRole('link', { name: /Did not take/ })
      .first()
      .click();
    await page.getByRole('link', { name: 'Change it' }).click();
    await page.getByRole('button', { name: 'Ate it' }).click();
    await expect(page.getByText(/Saved/).first()).toBeVisible();
    await page.goto(`${home}/history`);
    await expect(page.locator('del', { hasText: 'Did not take' })).toBeVisible();
    await expect
      .poll(async () => (await entries(page, animal, 'offer')).filter((e) => e.replacedBy).length)
      .toBeGreaterThan(0);
  });

  await test.step('a used card says so and what to do', async () => {
    const fresh = await context.browser()?.newContext();
    const other = await fresh?.newPage();
    await other?.goto(new URL(here(claim.link), page.url()).href);
    if (other) await expect(other.getByRole('heading', { name: 'This card has been taken on already' })).toBeVisible();
    await fresh?.close();
  });
  expect(others).toEqual([]);
});

test.describe('with the page as the only sender', () => {
  // The worker may send first, and what it sends does not pass by page.route.
  test.use({ serviceWorkers: 'block' });

  test('an entry that the service refuses is kept, shown, and can be put right', async ({ page }) => {
    const home = await signIn(page, 'Fennel');
    const saves = /\/entries(\?entryId=|:batchCreate$)/; // alone, or with what waits beside it
    await page.route(saves, async (route) => {
      type Body = { offer?: object; requests?: { entry: { offer?: object } }[] };
      const body = route.request().postDataJSON() as Body;
      if (!body.offer && !body.requests?.some((r) => r.entry.offer)) return route.continue();
      await route.fulfill({
        status: 400,
        contentType: 'application/json',
        body: JSON.stringify({
          code: 3,
          message: 'Say how the offer ended.',
          details: [{ '@type': 'type.googleapis.com/google.rpc.ErrorInfo', reason: 'BAD_FIELD' }],
        }),
      });
    });
    await page.goto(`${home}/offer`);
    await page.getByRole('button', { name: 'Did not take it' }).click();
    await expect(page.getByText('One entry needs you')).toBeVisible();
    await page.goto('/k/unsent');
    await expect(page.getByText('Say how the offer ended.')).toBeVisible();
    await axe(page, 'refused');
    await page.unroute(saves);
    await page.getByRole('button', { name: 'Send again' }).click();
    await expect(page.getByText('Everything has been sent')).toBeVisible();
  });
});

test('every screen passes axe, light and dark', async ({ page }) => {
  test.setTimeout(300_000);
  const home = await signIn(page, 'Quill');
  const screens = [
    '',
    '/offer',
    '/weigh',
    '/climate',
    '/shed',
    '/sign',
    '/history',
    '/setup',
    '/setup/decor_openings',
    '/record',
    '/thread',
  ];
  for (const s of screens) {
    await page.goto(home + s);
    await expect(page.getByRole('heading', { level: 1 })).toBeVisible();
    await expect(page.getByRole('heading', { level: 1, name: 'Loading' })).toHaveCount(0);
    await axe(page, s || 'home');
    await fits(page);
  }
  for (const s of ['/k/settings', '/k/unsent', '/c']) {
    await page.goto(s);
    await expect(page.getByRole('heading', { level: 1 })).toBeVisible();
    await expect(page.getByRole('heading', { level: 1, name: 'Loading' })).toHaveCount(0);
    await axe(page, s);
  }
});

test('a red sign says at once what to do', async ({ page }) => {
  const home = await signIn(page, 'Sorrel');
  await page.goto(`${home}/sign`);
  await page.getByRole('region', { name: 'A reptile vet should see it' }).getByRole('button').first().click();
  await expect(page.getByText('Do this now')).toBeVisible();
  await axe(page, 'red sign');
});

test('without an account the start says what can be done', async ({ page }) => {
  await page.goto('/');
  await expect(page.getByRole('link', { name: 'I have a handover card' })).toBeVisible();
  await axe(page, 'welcome');
});

test('a phone whose browser dropped the copies and kept the cookie fetches them, whatever page is opened', async ({
  page,
  browser,
}) => {
  const home = await signIn(page, 'Pebble');
  const { cookies } = await page.context().storageState();
  const bare = await browser.newContext({ storageState: { cookies, origins: [] } });
  const again = await bare.newPage();
  await again.goto(new URL(`${home}/history`, page.url()).href);
  await expect(again.getByRole('heading', { level: 1, name: 'Everything so far' })).toBeVisible();
  await bare.close();
});
