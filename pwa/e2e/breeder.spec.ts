// The breeder's screens against the demonstration, on a phone and at a desk: a way in, the
// stock book, a handover, the triage list live, one case from reading to end. Every screen in
// both colour schemes through axe.
import { join } from 'node:path';
import {
  type Browser,
  type BrowserContext,
  expect,
  type Locator,
  type Page,
  type TestInfo,
  test,
} from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, demo, header, redeem } from './demo';

interface CaseRow {
  name: string;
  urgency: number;
  standing: string;
  animal: { name: string; displayName: string };
}

const onPhone = (info: TestInfo) => info.project.name === 'phone';

let state: Awaited<ReturnType<BrowserContext['storageState']>> | undefined;

async function signedIn(browser: Browser, info: TestInfo): Promise<Page> {
  const { baseURL = '', viewport = null, hasTouch = false, isMobile = false, deviceScaleFactor = 1 } = info.project.use;
  const screen = { viewport, hasTouch, isMobile, ...(viewport && { deviceScaleFactor }) };
  const context = await browser.newContext({
    baseURL,
    ...screen,
    locale: 'en-GB',
    timezoneId: 'UTC',
    ...(state && { storageState: state }),
  });
  if (!state) {
    // Links sign in once. Each screen size has its half of them.
    const links = demo().breeder;
    await redeem(context.request, onPhone(info) ? links.slice(1, 3) : links.slice(4, 6));
    state = await context.storageState();
  }
  const page = await context.newPage();
  watch(page);
  return page;
}

/** No screen may throw, or trip over the page's own security policy. */
const faults: string[] = [];
function watch(page: Page): void {
  page.on('pageerror', (e) => faults.push(e.message));
  page.on('console', (m) => {
    if (m.type() === 'error' && /Content Security Policy|Uncaught/.test(m.text())) faults.push(m.text());
  });
}
test.afterEach(() => {
  expect(faults.splice(0)).toEqual([]);
});

/** To the triage list, past the question for a passkey. */
async function toTriage(page: Page): Promise<void> {
  await page.goto('/b');
  const later = page.getByRole('button', { name: /^(Later|To your animals)$/ });
  const list = page.locator('a.case').first();
  await expect(later.or(list)).toBeVisible();
  if (await later.isVisible()) await later.click();
  await expect(list).toBeVisible();
}

async function cases(page: Page, which = 'CASE_STATE_OPEN'): Promise<CaseRow[]> {
  const answer = await page.request.get(`/v1/${breeder}/cases?state=${which}&pageSize=200`);
  expect(answer.ok()).toBe(true);
  return ((await answer.json()) as { cases?: CaseRow[] }).cases ?? [];
}

async function caseOf(page: Page, animal: string): Promise<CaseRow> {
  const found = (await cases(page)).find((c) => c.animal.displayName === animal);
  if (!found) throw new Error(`no open case of ${animal}`);
  return found;
}

async function entriesOf(page: Page, animal: string, kind: string): Promise<{ replacedBy?: string }[]> {
  const answer = await page.request.get(`/v1/${animal}/entries?pageSize=500&kinds=${kind}`);
  expect(answer.ok()).toBe(true);
  return ((await answer.json()) as { entries?: { replacedBy?: string }[] }).entries ?? [];
}

/** The service does what it is asked, once, and its answer is lost on the way. */
async function loseOneAnswer(page: Page, glob: string): Promise<void> {
  let lost = false;
  await page.route(glob, async (route) => {
    if (lost || route.request().method() !== 'POST') return route.fallback();
    lost = true;
    await route.fetch();
    await route.abort('connectionreset');
  });
}

test('a link, a passkey, recovery codes, and back in with each', async ({ page }, info) => {
  test.setTimeout(240_000);
  watch(page);
  const devices = await page.context().newCDPSession(page);
  await devices.send('WebAuthn.enable', { enableUI: false });
  await devices.send('WebAuthn.addVirtualAuthenticator', {
    options: {
      protocol: 'ctap2',
      ctap2Version: 'ctap2_1',
      transport: 'internal',
      hasResidentKey: true,
      hasUserVerification: true,
      isUserVerified: true,
      automaticPresenceSimulation: true,
    },
  });

  await page.goto('/b');
  await expect(page.getByRole('heading', { name: 'Sign in' })).toBeVisible();
  await axe(page, 'sign in');

  const link = new URL(demo().breeder[onPhone(info) ? 0 : 3] ?? '');
  await page.goto(link.pathname + link.hash);
  await expect(page.getByRole('heading', { name: 'So that you can come back' })).toBeVisible();
  expect(page.url()).not.toContain('#');
  await axe(page, 'after the link');
  await fits(page);
  await page.getByLabel('Name for this device').fill(`${info.project.name} of the test`);
  await page.getByRole('button', { name: 'Make a passkey' }).click();
  await expect(page.getByText('The passkey is made.')).toBeVisible();
  await page.getByRole('button', { name: 'Make recovery codes' }).click();
  const codes = page.getByRole('list', { name: 'Recovery codes' }).getByRole('listitem');
  await expect(codes).toHaveCount(10);
  const code = ((await codes.first().textContent()) ?? '').trim();
  await axe(page, 'recovery codes');
  await page.getByRole('button', { name: 'To your animals' }).click();
  await expect(page.locator('a.case').first()).toBeVisible();

  await page.getByRole('link', { name: 'Settings' }).click();
  await expect(page.getByText(`${info.project.name} of the test`)).toBeVisible();
  await expect(page.getByText('10 left.')).toBeVisible();
  await axe(page, 'settings');
  await fits(page);

  await page.getByRole('link', { name: 'What the program goes by' }).click();
  await page.getByLabel('Search').fill('ball python optimum');
  await expect(page.getByRole('row').filter({ hasText: 'optimum' })).toHaveCount(1);
  await expect(page.getByRole('row').filter({ hasText: 'optimum' })).toContainText('32');
  await axe(page, 'tables');
  await fits(page);

  await page.goto('/b/insight');
  await expect(page.getByText(/^Half had their first meal by day/)).toBeVisible();
  await axe(page, 'insight');
  await fits(page);
  // No head of a table is cut, on a phone either.
  expect(
    await page.$$eval('.insight .scroll', (all) =>
      all.filter((e) => e.scrollWidth > e.clientWidth).map((e) => e.ariaLabel),
    ),
  ).toEqual([]);

  const signOut = async () => {
    await page.getByRole('link', { name: 'Settings' }).click();
    await page.getByRole('button', { name: 'Sign out on this device' }).click();
    await expect(page.getByRole('heading', { name: 'Sign in' })).toBeVisible();
    expect((await page.request.get(`/v1/${breeder}/cases`)).status()).toBe(401);
  };
  await signOut();
  await page.getByRole('button', { name: 'Sign in with a passkey' }).click();
  await expect(page.locator('a.case').first()).toBeVisible();

  await signOut();
  await page.getByText('Use a recovery code').click();
  await page.getByLabel('Recovery code').fill(code);
  await page.getByRole('button', { name: 'Sign in with this code' }).click();
  await expect(page.locator('a.case').first()).toBeVisible();

  await signOut();
  await page.getByText('Use a recovery code').click();
  await page.getByLabel('Recovery code').fill(code);
  await page.getByRole('button', { name: 'Sign in with this code' }).click();
  await expect(page.getByRole('alert').or(page.locator('.problem')).first()).toBeVisible();
  await axe(page, 'a code used twice');
  await page.getByRole('button', { name: 'Sign in with a passkey' }).click();
  await expect(page.locator('a.case').first()).toBeVisible();

  await page.getByRole('link', { name: 'Settings' }).click();
  await page.getByRole('button', { name: `Remove the passkey ${info.project.name} of the test` }).click();
  await expect(page.getByText(`${info.project.name} of the test`)).toHaveCount(0);
});

test('an animal is added, logged, corrected and handed over; a lost answer doubles nothing', async ({
  browser,
}, info) => {
  test.setTimeout(180_000);
  const page = await signedIn(browser, info);
  const label = `tub ${info.project.name}`;

  await page.goto('/b/animals');
  await expect(page.locator('.list a').first()).toBeVisible();
  await axe(page, 'stock book');
  await fits(page);
  await page.getByLabel('Search').fill('nothing is called like this');
  await expect(page.getByText('No animal matches.')).toBeVisible();
  await page.getByLabel('Search').fill('');
  await page.getByRole('link', { name: 'Add an animal' }).click();
  await expect(page.getByRole('heading', { name: 'Add an animal' })).toBeVisible();

  await page.getByLabel('Label').fill(label);
  await page.getByRole('button', { name: 'Save the animal' }).click();
  await expect(page.locator('.problem')).toContainText('Choose the species');
  await axe(page, 'add an animal, species missing');
  await fits(page);
  await page.getByLabel('Species').selectOption('python_regius');
  await page.getByText('Female', { exact: true }).click();
  await page.getByLabel('Hatched or born on').fill('2026-06-01');
  await page.getByLabel('Gene', { exact: true }).fill('Spider');
  await page.getByLabel('Gene', { exact: true }).press('Enter');
  await expect(page.getByRole('button', { name: /Take out Spider/ })).toBeVisible();
  await page.getByLabel('Weight today').fill('84,5');
  await expect(page.getByText('eighty-four point five grams')).toBeVisible();
  await loseOneAnswer(page, '**/animals?*');
  await page.getByRole('button', { name: 'Save the animal' }).click();
  await expect(page.getByText(/no connection to the service/)).toBeVisible();
  await page.getByRole('button', { name: 'Save the animal' }).click();
  await expect(page.getByRole('heading', { level: 1, name: label })).toBeVisible();
  const found = await page.request.get(`/v1/${breeder}/animals?query=${encodeURIComponent(label)}`);
  const animals = ((await found.json()) as { animals: { name: string }[] }).animals;
  expect(animals).toHaveLength(1);
  const name = animals[0]?.name ?? '';
  await expect(page.getByText('Weighed 84.5 g')).toBeVisible();

  await test.step('a slip is asked about', async () => {
    await page.getByLabel('Weight', { exact: true }).fill('865');
    await page.getByRole('button', { name: 'Save the weight' }).click();
    await expect(page.getByText('Is this right?')).toBeVisible();
    await axe(page, 'animal, a likely slip');
    await page.getByLabel('Weight', { exact: true }).fill('86.5');
    await page.getByRole('button', { name: 'Save the weight' }).click();
    await expect(page.getByText('Saved: Weighed 86.5 g')).toBeVisible();
  });

  await test.step('an offer whose answer is lost is saved once', async () => {
    await page.getByRole('button', { name: 'Offer', exact: true }).click();
    await page.getByRole('button', { name: 'Save the offer' }).click();
    await expect(page.getByText('Say how it went.')).toBeVisible();
    await page.getByText('Ate', { exact: true }).click();
    await page.getByLabel('Prey', { exact: true }).fill('rat');
    await page.getByLabel('Prey weight').fill('9');
    await loseOneAnswer(page, '**/entries?*');
    await page.getByRole('button', { name: 'Save the offer' }).click();
    await expect(page.getByText(/no connection to the service/)).toBeVisible();
    await page.getByRole('button', { name: 'Save the offer' }).click();
    await expect(page.getByText('Saved: Ate a thawed rat of 9 g')).toBeVisible();
    expect(await entriesOf(page, name, 'offer')).toHaveLength(1);
  });

  await test.step('a correction replaces, and both stay in the history', async () => {
    await page.getByRole('button', { name: 'Correct: Ate a thawed rat of 9\u00a0g' }).click();
    const form = page.locator('.history form');
    await form.getByText('Did not take', { exact: true }).click();
    await axe(page, 'animal, correcting');
    await form.getByRole('button', { name: 'Save the correction' }).click();
    await expect(page.locator('.history del').first()).toHaveText('Ate a thawed rat of 9 g');
    const offers = await entriesOf(page, name, 'offer');
    expect(offers).toHaveLength(2);
    expect(offers.filter((e) => e.replacedBy)).toHaveLength(1);
  });

  await test.step('parents and genes are put right', async () => {
    await page.getByRole('button', { name: 'Change', exact: true }).click();
    const mother = page.getByLabel('Mother');
    const hazel = (await mother.locator('option', { hasText: 'Hazel' }).getAttribute('value')) ?? '';
    await mother.selectOption(hazel);
    await expect(page.getByLabel('Father').locator('option', { hasText: 'Hazel' })).toHaveCount(0);
    await page.getByLabel('Gene', { exact: true }).fill('Pastel');
    await page.getByRole('button', { name: 'Add gene' }).click();
    await axe(page, 'animal, changing');
    await fits(page);
    await page.getByRole('button', { name: 'Save', exact: true }).click();
    await expect(page.getByRole('link', { name: 'Hazel' })).toBeVisible();
    await expect(page.getByText('Spider, Pastel')).toBeVisible();
  });

  await test.step('the handover shows its code once', async () => {
    await page.getByRole('button', { name: 'Hand over', exact: true }).click();
    await page.getByLabel('Show day').fill('Spring show');
    await axe(page, 'handing over');
    await page.getByRole('button', { name: 'Make the record and its code' }).click();
    await expect(page.getByRole('heading', { name: `Handover of ${label}` })).toBeVisible();
    await expect(page.getByRole('img', { name: 'QR code that opens the claim page' })).toBeVisible();
    const code = ((await page.locator('.ticket .code').textContent()) ?? '').trim();
    expect(code).toMatch(/^[0-9A-Z]{5}-[0-9A-Z]{5}$/);
    await axe(page, 'handover');
    await fits(page);
    const look = (c: string) => page.request.post('/v1/claims:lookUp', { headers: header, data: { claimCode: c } });
    const seen = await look(code);
    expect(seen.ok()).toBe(true);
    expect(JSON.stringify(await seen.json())).toContain('wobble');
    await page.emulateMedia({ media: 'print' });
    await expect(page.locator('.ticket')).toBeVisible();
    await expect(page.getByRole('navigation')).toBeHidden();
    await page.emulateMedia({ media: 'screen' });

    const shownAt = page.url();
    await page.goto(`/b/animals/${name.split('/').at(-1)}`);
    await page.getByRole('button', { name: 'Change', exact: true }).click();
    await page.getByLabel('Species').selectOption('pantherophis_guttatus');
    await page.getByRole('button', { name: 'Save', exact: true }).click();
    await expect(page.locator('.problem')).toContainText('limits and checklist are for its species');
    await page.getByRole('button', { name: 'Cancel' }).click();

    await page.goto(shownAt);
    await expect(page.getByText('The code was shown when it was made.')).toBeVisible();
    await page.getByRole('button', { name: 'Make a new code' }).click();
    await expect(page.locator('.ticket .code')).toBeVisible();
    const second = ((await page.locator('.ticket .code').textContent()) ?? '').trim();
    expect(second).not.toBe(code);
    expect((await look(code)).ok()).toBe(false);
    expect((await look(second)).ok()).toBe(true);

    await page.getByRole('button', { name: 'Revoke' }).click();
    await page.getByRole('button', { name: 'Yes, revoke it and end its case' }).click();
    await expect(page.locator('.ticket')).toHaveCount(0);
    await expect(page.getByText(/^revoked · handed over/)).toBeVisible();
    expect((await look(second)).ok()).toBe(false);
  });
  await page.context().close();
});

test('what a keeper logs shows on the open triage list within a second', async ({ browser, playwright }, info) => {
  test.setTimeout(90_000);
  const page = await signedIn(browser, info);
  const animal = onPhone(info) ? 'Pebble' : 'Larch';
  const told = demo().keepers.find((k) => k.animal === animal);
  const before = await caseOf(page, animal);
  expect(before.standing).not.toBe('STANDING_VET');
  await page.request.post(`/v1/${before.name}:markSeen`, { headers: header, data: {} });

  await toTriage(page);
  await axe(page, 'triage');
  await fits(page);
  const shownOrder = () =>
    page.locator('a.case').evaluateAll((all) => all.map((a) => (a as HTMLElement).dataset['name']));
  expect(await shownOrder()).toEqual((await cases(page)).map((c) => c.name));
  const row = page.locator(`a.case[data-name="${before.name}"]`);
  await expect(row.locator('.fresh')).toHaveCount(0);
  await page.waitForFunction(() => document.querySelector('.desk .live .ear')); // the stream is open
  await page.evaluate((name) => {
    const list = document.querySelector('ol.cases');
    if (!list) throw new Error('no list');
    new MutationObserver(() => {
      const text = document.querySelector(`a.case[data-name="${name}"]`)?.textContent ?? '';
      if (text.startsWith('vet')) document.documentElement.dataset['changed'] ??= String(Date.now());
    }).observe(list, { subtree: true, childList: true, characterData: true });
  }, before.name);

  const keeper = await playwright.request.newContext({ baseURL: info.project.use.baseURL ?? '' });
  const links = told?.links ?? [];
  await redeem(keeper, onPhone(info) ? links.slice(0, 2) : links.slice(2, 4));
  const signs = ((await (await keeper.get('/v1/signs')).json()) as { signs: { code: string; level: string }[] }).signs;
  const sign = signs.find((s) => s.level === 'STANDING_VET')?.code;
  const answer = await keeper.post(`/v1/${before.animal.name}/entries?entryId=${crypto.randomUUID()}`, {
    headers: header,
    data: { case: before.name, happenTime: new Date().toISOString(), sign: { sign } },
  });
  const answered = Date.now();
  expect(answer.ok(), await answer.text()).toBe(true);
  await page.waitForFunction(() => document.documentElement.dataset['changed']);
  const changed = Number(await page.evaluate(() => document.documentElement.dataset['changed']));
  info.annotations.push({ type: 'from the answer to the screen', description: `${changed - answered} ms` });
  expect(changed - answered).toBeLessThan(1000);

  await expect(row).toContainText('logged something, was');
  await expect(page.locator('[aria-live=polite]').filter({ hasText: `${animal}: vet.` })).toHaveCount(1);
  expect(await shownOrder()).toEqual((await cases(page)).map((c) => c.name));
  await axe(page, 'triage, something new');
  await row.click();
  await expect(page.getByRole('heading', { level: 1, name: animal })).toBeVisible();
  await expect(row.locator('.fresh')).toHaveCount(0);

  await test.step('an open case changes under the reader too', async () => {
    const text = `Seen ${Date.now()} by the test`;
    const said = await keeper.post(`/v1/${before.animal.name}/entries?entryId=${crypto.randomUUID()}`, {
      headers: header,
      data: { case: before.name, happenTime: new Date().toISOString(), message: { text } },
    });
    expect(said.ok()).toBe(true);
    await expect(page.locator('.thread')).toContainText(text);
  });
  await keeper.dispose();
  await page.context().close();
});

/** The device sends again until this message has been sent, as it does by itself within half a minute. */
async function againUntil(page: Page, message: Locator): Promise<void> {
  await expect(async () => {
    await page.evaluate(() => dispatchEvent(new Event('online')));
    await expect(message).not.toContainText('not sent yet', { timeout: 1000 });
  }).toPass({ timeout: 20_000 });
}

test('a case is read, a step agreed, a word written, ended and reopened', async ({ browser }, info) => {
  test.setTimeout(300_000);
  const page = await signedIn(browser, info);
  const animal = onPhone(info) ? 'Fennel' : 'Bramble';
  const row = await caseOf(page, animal);
  const id = row.name.split('/').at(-1);
  const full = (await (await page.request.get(`/v1/${row.name}`)).json()) as {
    case: { assessment: { reasons?: { weight: number }[]; logOdds: number; steps?: { code: string }[] } };
  };
  const { reasons = [], logOdds } = full.case.assessment;

  await page.goto(`/b/cases/${id}`);
  await expect(page.getByRole('heading', { level: 1, name: animal })).toBeVisible();
  await axe(page, 'case');
  await fits(page);

  await test.step('the weights that are shown add up', async () => {
    expect(reasons.length).toBeGreaterThan(1);
    expect(reasons.reduce((sum, r) => sum + r.weight, 0)).toBeCloseTo(logOdds, 6);
    await expect(page.locator('.reasons > li')).toHaveCount(reasons.length + 1);
    const shown = Number(((await page.locator('.reasons .total .number').textContent()) ?? '').replace('−', '-'));
    expect(shown).toBeCloseTo(logOdds, 1);
  });

  await test.step('the time line speaks and has a table', async () => {
    const line = page.getByRole('slider', { name: 'Time line of the case, by day' });
    await line.focus();
    const last = await line.getAttribute('aria-valuetext');
    expect(last).toMatch(/^(Today|Yesterday), day \d+/); // its days begin at the hour of the handover
    await page.keyboard.press('ArrowLeft');
    await expect(line).not.toHaveAttribute('aria-valuetext', last ?? '');
    await page.keyboard.press('Home');
    await expect(line).toHaveAttribute('aria-valuenow', '0');
    await page.getByRole('button', { name: 'Show as a table' }).click();
    await expect(page.getByRole('table')).toBeVisible();
    await axe(page, 'case with its table');
    await fits(page);
  });

  await test.step('what the keeper asked stands on top, and can be answered from there', async () => {
    await page.getByRole('button', { name: 'Answer' }).click();
    await expect(page.getByRole('textbox', { name: 'Message' })).toBeFocused();
  });

  await test.step('a step is agreed with the days it holds', async () => {
    const before = (await entriesOf(page, row.animal.name, 'step')).length;
    const agree = page.getByRole('button', { name: 'Agree on this' }).first();
    const form = page.locator('.steps form');
    await agree.click();
    await expect(form).toBeFocused(); // whoever pressed a key is there, and sees it
    await page.getByRole('button', { name: 'Cancel' }).click();
    await expect(agree).toBeFocused();
    await agree.click();
    const days = page.getByLabel('Holds for');
    await days.fill('many');
    await page.getByRole('button', { name: 'Agree, and tell the keeper' }).click();
    await expect(page.locator('.problem')).toContainText('whole days');
    await days.fill('6');
    await axe(page, 'case, agreeing');
    await loseOneAnswer(page, '**/entries?*');
    await page.getByRole('button', { name: 'Agree, and tell the keeper' }).click();
    await expect(page.getByText(/no connection to the service/)).toBeVisible();
    await page.getByRole('button', { name: 'Agree, and tell the keeper' }).click();
    await expect(page.locator('.thread .agreed').last()).toContainText(', until ');
    await expect(page.getByRole('button', { name: 'Answer' })).toHaveCount(0);
    expect(await entriesOf(page, row.animal.name, 'step')).toHaveLength(before + 1);
    await page.unroute('**/entries?*');
  });

  await test.step('what is put right once keeps nobody from asking', async () => {
    const quill = await caseOf(page, 'Quill');
    await page.goto(`/b/cases/${quill.name.split('/').at(-1)}`);
    const hole = page.locator('.steps > li').filter({ hasText: 'Take out what has a hole' });
    await hole.getByRole('button', { name: /^Agree on this/ }).click();
    await expect(hole.getByLabel('Holds for')).toHaveValue('0');
    await expect(hole.getByText('the keeper is asked again as usual')).toBeVisible();
    await hole.getByRole('button', { name: 'Cancel' }).click();
    await page.goto(`/b/cases/${row.name.split('/').at(-1)}`);
  });

  await test.step('a message is written once', async () => {
    const text = 'Leave the lid shut tonight, and tell me in the morning.';
    await page.getByRole('textbox', { name: 'Message' }).fill(text);
    await loseOneAnswer(page, '**/entries?*');
    await page.getByRole('button', { name: 'Send' }).click();
    // The device keeps it until an answer comes, and sends it again by itself.
    const mine = page.locator('.thread .mine').filter({ hasText: text });
    await expect(mine).toContainText('not sent yet');
    await expect(page.getByRole('textbox', { name: 'Message' })).toHaveValue('');
    await againUntil(page, mine);
    await expect(mine).toHaveCount(1);
  });

  await test.step('a message with a picture is sent once, and the picture opens large', async () => {
    const form = page.locator('.thread form');
    await form
      .locator('input[data-photo="choose"]')
      .setInputFiles(join(import.meta.dirname, '../../testdata/photos/orientation-6.jpg'));
    await expect(form.getByRole('button', { name: 'Remove picture 1' })).toBeVisible();
    await page.reload(); // what is being written is kept
    await expect(form.getByRole('button', { name: 'Remove picture 1' })).toBeVisible();
    await loseOneAnswer(page, '**/entries?*');
    await page.getByRole('button', { name: 'Send' }).click();
    await expect(page.locator('.thread .mine').filter({ hasText: 'not sent yet' })).toHaveCount(1);
    await againUntil(page, page.locator('.thread .mine').last());
    const sent = page.locator('.thread .mine').getByRole('button', { name: 'Picture from you: A picture' });
    await expect(sent).toHaveCount(1);
    await expect(form.getByRole('button', { name: 'Remove picture 1' })).toHaveCount(0);
    await sent.click();
    const large = page.locator('.thread dialog[open]').getByRole('img');
    await expect(large).toHaveAttribute('src', /\/1600$/);
    await expect.poll(() => large.evaluate((i) => (i as HTMLImageElement).naturalWidth)).toBeGreaterThan(0);
    await page.keyboard.press('Escape');
    await expect(sent).toBeFocused();
    await axe(page, 'case with a picture in the thread');
  });

  await test.step('it ends with an outcome, and is opened again', async () => {
    await page.getByText('End the follow-up', { exact: true }).click();
    await page.getByRole('button', { name: 'End it' }).click();
    await expect(page.getByText('Choose how it ended.')).toBeVisible();
    await page.getByText('Settled: It eats and is well.').click();
    await axe(page, 'case, ending');
    await page.getByRole('button', { name: 'End it' }).click();
    await expect(page.getByText(/The follow-up has ended: settled/)).toBeVisible();
    expect((await cases(page)).map((c) => c.name)).not.toContain(row.name);
    await axe(page, 'case, ended');
    await page.getByRole('button', { name: 'Open it again' }).click();
    await expect(page.getByText(/The follow-up has ended: settled/)).toHaveCount(0);
    expect((await cases(page)).map((c) => c.name)).toContain(row.name);
  });
  await page.context().close();
});

test('a keeper comes back with a code, adds a tablet, and a lost phone is signed out', async ({ browser }, info) => {
  test.setTimeout(300_000);
  const page = await signedIn(browser, info);
  const moss = await caseOf(page, 'Moss');
  const { baseURL = '', viewport = null } = info.project.use;
  const device = async () =>
    (await browser.newContext({ baseURL, viewport, locale: 'en-GB', timezoneId: 'UTC' })).newPage();
  const shown = async (on: Page) => {
    await expect(on.getByRole('img', { name: 'QR code that signs the keeper in' })).toBeVisible();
    const code = ((await on.locator('.ticket .code').textContent()) ?? '').trim();
    expect(code).toMatch(/^[0-9A-Z]{5}-[0-9A-Z]{5}$/);
    return code;
  };

  await page.goto(`/b/cases/${moss.name.split('/').at(-1)}`);
  await page.getByText('The keeper cannot get in').click();
  await page.getByRole('button', { name: 'Make a new link for the keeper' }).click();
  const code = await shown(page);
  await axe(page, 'case, a code for the keeper');
  await fits(page);

  const phone = await device();
  await phone.goto('/');
  await phone.getByRole('link', { name: 'I was here before, on another phone' }).click();
  const box = phone.getByLabel('Code from your breeder');
  await box.fill((code.startsWith('A') ? 'B' : 'A') + code.slice(1));
  await expect(phone.getByText('One character seems to be off')).toBeVisible();
  await axe(phone, 'coming back');
  await box.fill(code.toLowerCase().replace('-', ' '));
  await loseOneAnswer(phone, '**/v1/access:useKeeperCode');
  await phone.getByRole('button', { name: 'Sign in' }).click();
  await expect(phone.getByText(/There is no network just now/)).toBeVisible();
  await phone.getByRole('button', { name: 'Try again' }).click();
  await expect(phone.getByRole('heading', { level: 1, name: 'Moss' })).toBeVisible();
  await expect(phone.getByText('Home safe. He dug himself in at once.')).toHaveCount(0);
  const told = phone.waitForResponse(
    (r) => r.url().endsWith(':acknowledge') && /readTime/.test(r.request().postData() ?? ''),
  );
  await phone.getByRole('link', { name: /^Write to/ }).click();
  await expect(phone.getByText('Home safe. He dug himself in at once.')).toBeVisible();
  await told;

  await test.step('the phone signs a tablet in', async () => {
    await phone.goto('/k/settings');
    await phone.getByRole('button', { name: 'Make a code for it' }).click();
    const second = await shown(phone);
    await axe(phone, 'another phone');
    await fits(phone);
    const tablet = await device();
    await tablet.goto(`/in#${second.replace('-', '')}`);
    await expect(tablet.getByRole('heading', { level: 1, name: 'Moss' })).toBeVisible();
    await expect(tablet.getByRole('region', { name: 'Lately' }).getByRole('listitem').first()).toBeVisible();
    await expect(tablet.getByRole('heading', { name: /wrote$/ })).toHaveCount(0); // what was read on the phone
    expect(tablet.url()).not.toContain('#');
    await tablet.context().close();
    const late = await device();
    await late.goto(`/in#${code.replace('-', '')}`);
    await expect(late.getByText(/This code has been used already/)).toBeVisible();
    await axe(late, 'a used code to come back');
    await late.context().close();
  });

  await test.step('the phone is lost: it is signed out, and what it saved arrives once it is back', async () => {
    await page.getByLabel(/^The phone is lost/).check();
    await page.getByRole('button', { name: /^Make another/ }).click();
    await expect(page.locator('.ticket .code')).not.toHaveText(code);
    const third = await shown(page);
    const before = (await entriesOf(page, moss.animal.name, 'offer')).length;
    await phone.goto(`/k/thimblewick/${moss.name.split('/').at(-1)}/offer`);
    await phone.getByRole('button', { name: 'Did not take it' }).click();
    await expect(phone.getByText('You are signed out on this phone')).toBeVisible();
    expect(await entriesOf(page, moss.animal.name, 'offer')).toHaveLength(before);
    await phone.getByRole('link', { name: 'I have a code' }).click();
    await phone.getByLabel('Code from your breeder').fill(third);
    await phone.getByRole('button', { name: 'Sign in' }).click();
    await expect(phone.getByRole('heading', { level: 1, name: 'Moss' })).toBeVisible();
    await expect(phone.getByText('You are signed out on this phone')).toHaveCount(0);
    await expect.poll(async () => (await entriesOf(page, moss.animal.name, 'offer')).length).toBe(before + 1);
  });
  await phone.context().close();
  await page.context().close();
});

test('keys move in the list, and photos open', async ({ browser }, info) => {
  test.setTimeout(90_000);
  const page = await signedIn(browser, info);
  await toTriage(page);
  const rows = page.locator('a.case');
  await page.keyboard.press('j');
  await expect(rows.nth(0)).toBeFocused();
  await page.keyboard.press('j');
  await expect(rows.nth(1)).toBeFocused();
  await page.keyboard.press('ArrowDown');
  await expect(rows.nth(2)).toBeFocused();
  await page.keyboard.press('k');
  await expect(rows.nth(1)).toBeFocused();
  const name = (await rows.nth(1).locator('.animal').textContent()) ?? '';
  const row = page.locator(`a.case[data-name="${await rows.nth(1).getAttribute('data-name')}"]`);
  await page.keyboard.press('Enter');
  await expect(page.getByRole('heading', { level: 1, name })).toBeFocused();
  await page.keyboard.press('Escape');
  await expect(row).toBeFocused(); // wherever it stands by then

  await page.getByRole('button', { name: 'Ended' }).click();
  await expect(page.getByRole('heading', { name: 'Ended follow-ups' })).toBeVisible();
  await axe(page, 'ended');

  const quill = await caseOf(page, 'Quill');
  await page.goto(`/b/cases/${quill.name.split('/').at(-1)}`);
  const photo = page.locator('.photos button').first();
  await photo.click();
  const viewer = page.getByRole('dialog', { name: 'Photo' });
  await expect(viewer).toBeVisible();
  const big = viewer.getByRole('img');
  await expect.poll(() => big.evaluate((img) => (img as HTMLImageElement).naturalWidth)).toBeGreaterThan(320);
  await axe(page, 'photo');
  await page.keyboard.press('Escape');
  await expect(viewer).toBeHidden();
  await expect(photo).toBeFocused();
  await page.context().close();
});
