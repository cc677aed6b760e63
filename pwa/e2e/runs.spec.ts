// Through a rack without network: three are weighed and fed, with a slip, the neighbour's weight and undoing, and the
// log has each thing once.
import { expect, type Page, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, header, signIn } from './demo';

interface Entry {
  name: string;
  replacedBy?: string;
  weighIn?: { massG: number };
  offer?: { result: string; prey: string; preyG: number };
}

const daysAgo = (n: number) => new Date(Date.now() - n * 86_400_000).toISOString();

async function add(page: Page, displayName: string, place: string, massG: number): Promise<string> {
  const data = { displayName, place, species: 'lampropeltis_californiae', sex: 'SEX_MALE', hatchDate: '2026-03-01' };
  const made = await page.request.post(`/v1/${breeder}/animals`, { headers: header, data });
  const { animal } = (await made.json()) as { animal: { name: string } };
  const offer = { result: 'OFFER_RESULT_EATEN', prey: 'mouse', preyState: 'PREY_STATE_THAWED', preyG: 8 };
  for (const body of [
    { happenTime: daysAgo(20), offer },
    { happenTime: daysAgo(7), weighIn: { massG } },
  ]) {
    const path = `/v1/${animal.name}/entries?entryId=${crypto.randomUUID()}`;
    const logged = await page.request.post(path, { headers: header, data: body });
    expect(logged.ok(), await logged.text()).toBe(true);
  }
  return animal.name;
}

/** What the service has of an animal since the beginning of the test and was not taken back, in words. */
async function log(page: Page, animal: string): Promise<string[]> {
  const answer = await page.request.get(`/v1/${animal}/entries?pageSize=50`, { headers: header });
  const { entries } = (await answer.json()) as { entries: Entry[] };
  return entries
    .filter((e) => !e.replacedBy)
    .flatMap((e) =>
      e.weighIn ? `${e.weighIn.massG} g` : e.offer ? `${e.offer.result.slice(13)} ${e.offer.preyG} g` : [],
    );
}

test('a rack is weighed and fed without network', async ({ page, context, isMobile }) => {
  test.skip(!isMobile, 'a phone is what a breeder has at hand');
  test.setTimeout(120_000);
  await signIn(page.request);
  const one = await add(page, 'Run 1', 'rack 91 tub 9', 60);
  const two = await add(page, 'Run 2', 'rack 91 tub 10', 84);
  const three = await add(page, 'Run 3', 'rack 91 tub 11', 120);
  await page.goto('/b/animals');
  await expect(page.locator('.stock a').first()).toBeVisible();
  await page.evaluate(async () => void (await navigator.serviceWorker.ready));
  await context.setOffline(true);

  await page.getByRole('link', { name: 'Weigh', exact: true }).click();
  await page.getByLabel('Rack').selectOption('rack 91');
  await axe(page, 'weigh-in run, before');
  await page.getByRole('button', { name: 'Begin with 3 animals' }).click();
  const weigh = (name: string) => page.getByLabel(`Weight of ${name}, in grams`);
  const question = page.getByRole('status').filter({ hasText: 'right' });
  await expect(weigh('Run 1')).toBeFocused();
  for (const key of ['6', '2']) await page.getByRole('button', { name: key, exact: true }).click();
  await axe(page, 'weigh-in run');
  await fits(page);
  await page.getByRole('button', { name: 'Save', exact: true }).click();

  await weigh('Run 2').fill('120');
  await page.keyboard.press('Enter');
  await expect(question).toContainText('what Run 3 in the next tub weighed');
  await fits(page);
  await page.keyboard.press('Enter'); // of habit: nothing is saved by it
  await weigh('Run 2').fill('86');
  await page.keyboard.press('Enter');

  await weigh('Run 3').fill('1210');
  await page.keyboard.press('Enter');
  await expect(question).toContainText('It weighed 120 g last time');
  await page.goto('/b/runs/weigh'); // the phone was put away
  await expect(page.getByText('Weigh-in run, 2 of 3')).toBeVisible();
  await weigh('Run 3').fill('121');
  await page.keyboard.press('Enter');
  await expect(page.getByRole('heading', { level: 1, name: 'That was the last one' })).toBeVisible();
  await page.getByRole('button', { name: 'Undo Run 3, 121\u00a0g' }).click();
  await expect(page.getByText('Last 120 g')).toBeVisible();
  await page.keyboard.type('122');
  await page.keyboard.press('Enter');
  await expect(page.getByText('Weigh-in run, 3 of 3')).toBeVisible();

  await page.getByRole('link', { name: 'Runs' }).click();
  await expect(page.getByText('3 of 3 done: go on')).toBeVisible();
  await axe(page, 'runs');
  await page.getByRole('link', { name: 'Feeding run' }).click();
  await page.getByLabel('Rack').selectOption('rack 91');
  await page.getByRole('button', { name: 'Begin with 3 animals' }).click();
  await page.getByRole('button', { name: 'Run 1: took it' }).click();
  await page.getByRole('button', { name: 'Run 2: did not take it' }).click();
  await expect(page.getByText('Did not take a thawed mouse of 8 g', { exact: true })).toBeVisible();
  await page.getByRole('button', { name: 'Undo: Run 2' }).click();
  await page.getByRole('button', { name: 'Run 2: took it' }).click();
  await page.getByRole('button', { name: 'Run 3: something else' }).click();
  await page.getByLabel('Prey weight').fill('10');
  await axe(page, 'feeding run');
  await fits(page);
  await page.getByRole('group', { name: 'Run 3: something else' }).getByRole('button', { name: 'Did not' }).click();
  await expect(page.getByRole('heading', { level: 1, name: 'All are done' })).toBeVisible();

  await context.setOffline(false);
  await page.goto('/b/unsent');
  await expect(page.getByText('Everything has been sent.')).toBeVisible();
  expect(await log(page, one)).toEqual(['EATEN 8 g', '62 g', '60 g', 'EATEN 8 g']);
  expect(await log(page, two)).toEqual(['EATEN 8 g', '86 g', '84 g', 'EATEN 8 g']);
  expect(await log(page, three)).toEqual(['REFUSED 10 g', '122 g', '120 g', 'EATEN 8 g']);

  await page.goto('/b/runs/weigh'); // undone after it was sent
  await page.getByRole('button', { name: 'Undo Run 3, 122\u00a0g' }).click();
  await expect(weigh('Run 3')).toBeFocused();
  await expect.poll(() => log(page, three)).toEqual(['REFUSED 10 g', '120 g', 'EATEN 8 g']);
});
