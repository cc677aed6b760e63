// Both apps in German: what the app says and what the service says. The language is the person's, so these are people of
// their own: those of the demonstration read English in the other tests.
import { type APIRequestContext, expect, type PlaywrightWorkerArgs, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, header, redeem, signIn } from './demo';

const english = { ...header, 'Accept-Language': 'en' };

/** The owner, on a device of their own. */
async function owner(playwright: PlaywrightWorkerArgs['playwright'], baseURL: string | undefined) {
  const request = await playwright.request.newContext({ extraHTTPHeaders: english, ...(baseURL && { baseURL }) });
  await signIn(request);
  return {
    request,
    post: async (path: string, data: unknown) => {
      const answer = await request.post(`/v1/${path}`, { data });
      if (!answer.ok()) throw new Error(`${path}: ${await answer.text()}`);
      return (await answer.json()) as Record<string, unknown>;
    },
  };
}

test.describe('of a German browser', () => {
  test.use({ locale: 'de-DE' });

  test('a keeper reads German, with a decimal comma, and changes to English; the calendar goes along', async ({
    page,
    playwright,
    baseURL,
  }, info) => {
    test.skip(info.project.name !== 'phone', 'the longest words on the narrowest screen');
    const { request, post } = await owner(playwright, baseURL);
    const id = `german-${crypto.randomUUID()}`;
    const happenTime = new Date(Date.now() - 3_600_000).toISOString();
    await post(`${breeder}/animals?animalId=${id}`, { displayName: 'Sperber', species: 'python_regius' });
    await post(`${breeder}/animals/${id}/entries?entryId=${id}-w`, { happenTime, weighIn: { massG: 61.5 } });
    const { claimCode } = await post(`${breeder}/handovers?requestId=${id}-h`, { animal: `${breeder}/animals/${id}` });
    const claimed = await page.request.post('/v1/claims', {
      headers: { 'X-Warmhand': 'keeper', 'Accept-Language': 'de' },
      data: { claimCode, requestId: `${id}-claim` },
    });
    expect(claimed.ok()).toBe(true);
    await page.goto('/');
    await expect(page.getByRole('heading', { name: 'Etwas eintragen' })).toBeVisible();
    await expect(page.locator('html')).toHaveAttribute('lang', 'de');
    await axe(page, 'home in German');
    await fits(page);

    await page.getByRole('link', { name: 'Gewicht', exact: true }).click();
    await page.getByRole('textbox', { name: /Gewicht von/ }).fill('62.5');
    await expect(page.getByText('zweiundsechzig Komma fünf Gramm')).toBeVisible();
    await expect(page.getByText(/Letztes Mal 61,5\u00a0g/)).toBeVisible();
    await fits(page);

    await page.goto('/k/settings');
    await page.getByRole('button', { name: 'Kalender machen' }).tap();
    const address = await page.getByText(/\/v1\/calendars\/whc_.*\.ics/).textContent();
    const calendar = async (reader: APIRequestContext) => (await reader.get(address ?? '')).text();
    expect(await calendar(request)).toContain('SUMMARY;LANGUAGE=de:Sperber: ');
    await fits(page);
    await page.getByLabel('English').check();
    await expect(page.getByRole('heading', { level: 1, name: 'Settings and privacy' })).toBeVisible();
    await expect(page.locator('html')).toHaveAttribute('lang', 'en');
    await expect(page.getByText(/^What is sent to you comes in it/)).toBeVisible();
    await expect.poll(() => calendar(request)).toContain('SUMMARY;LANGUAGE=en:Sperber: ');
    await request.dispose();
  });
});

test('a helper who reads German elsewhere reads it here, and nothing sticks out', async ({
  page,
  playwright,
  baseURL,
}, info) => {
  test.skip(info.project.name !== 'phone', 'the longest words on the narrowest screen');
  const { request, post } = await owner(playwright, baseURL);
  const { person } = (await post('access/people', { displayName: `Gerda ${Date.now()}` })) as {
    person: { personId: string };
  };
  const { url } = (await post(`access/people/${person.personId}:createSignInLink`, {})) as { url: string };
  await redeem(page.request, [url]);
  const set = await page.request.post('/v1/me:setLanguage', { headers: header, data: { language: 'de' } });
  expect(await set.json()).toEqual({ language: 'de' });
  await page.goto('/b');
  await page.getByRole('button', { name: 'Später' }).tap();
  await page.locator('a.case').first().tap();
  await expect(page.getByRole('heading', { name: 'Warum' })).toBeVisible();
  const nav = page.getByRole('navigation').first();
  for (const path of ['/b', '/b/animals', '/b/settings']) {
    await page.goto(path);
    await expect(nav.getByRole('link', { name: 'Einstellungen' })).toBeInViewport({ ratio: 1 });
    await expect(page.getByRole('heading', { level: 1 })).toBeVisible();
    await fits(page);
  }
  await page.goto('/b/insight');
  await expect(page.getByText(/^Die Hälfte hatte ihre erste Mahlzeit/)).toBeVisible();
  const cut = (all: Element[]) => all.filter((e) => e.scrollWidth > e.clientWidth).map((e) => e.ariaLabel);
  expect(await page.$$eval('.insight .scroll', cut)).toEqual([]);
  await request.delete(`/v1/access/people/${person.personId}`);
  await request.dispose();
});
