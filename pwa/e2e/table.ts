// What a breeder brings to a show day: cards, animals, and a phone that has all of it and no network.
import { type Browser, type BrowserContext, expect, type Page, test } from '@playwright/test';
import { withCamera } from './camera';
import { breeder, header, signIn } from './demo';

export interface Card {
  number: number;
  code: string;
}

export async function newCards(context: BrowserContext, count: number): Promise<Card[]> {
  const requestId = `table-spec-${crypto.randomUUID()}`;
  const answer = await context.request.post(`/v1/${breeder}/cards`, { headers: header, data: { count, requestId } });
  expect(answer.ok(), await answer.text()).toBe(true);
  const { cards } = (await answer.json()) as { cards: { card: { number: number }; code: string }[] };
  return cards.map((c) => ({ number: c.card.number, code: c.code }));
}

export async function newAnimal(context: BrowserContext, displayName: string): Promise<string> {
  const made = await context.request.post(`/v1/${breeder}/animals`, {
    headers: header,
    data: { displayName, species: 'python_regius', sex: 'SEX_FEMALE', hatchDate: '2026-06-01' },
  });
  expect(made.ok(), await made.text()).toBe(true);
  return ((await made.json()) as { animal: { name: string } }).animal.name;
}

/** The page has the stock book, the cards and the app itself, and then no network any more. */
export async function toTheTable(page: Page, context: BrowserContext): Promise<void> {
  await page.goto('/b/cards');
  await expect(page.getByText(/are blank|is blank/)).toBeVisible();
  await page.goto('/b/animals');
  await expect(page.locator('.stock a').first()).toBeVisible();
  await page.evaluate(async () => void (await navigator.serviceWorker.ready));
  // What reads codes comes after the rest, and is the largest of all.
  const reader = () =>
    page.evaluate(async () => {
      const all = await Promise.all((await caches.keys()).map(async (name) => (await caches.open(name)).keys()));
      return all.flat().some((r) => new URL(r.url).pathname.endsWith('.wasm'));
    });
  await expect.poll(reader, { timeout: 30_000 }).toBe(true);
  await context.setOffline(true);
}

/** A phone without network at the table, before whose camera a new card and the label of a new animal are held in turn. */
export async function withCardAndTub(
  browser: Browser,
  animal: string,
  run: (page: Page) => Promise<void>,
): Promise<void> {
  const { baseURL } = test.info().project.use;
  const desk = await browser.newContext({ ...(baseURL && { baseURL }) });
  await signIn(desk.request);
  const [card] = await newCards(desk, 1);
  const name = await newAnimal(desk, animal);
  const state = await desk.storageState();
  await desk.close();
  const texts = [`${baseURL}/c#${card?.code.replace('-', '')}`, `${baseURL}/b/animals/${name.split('/').at(-1)}`];
  await withCamera(texts, ['camera'], async (page, context) => {
    await context.addCookies(state.cookies);
    await toTheTable(page, context);
    await run(page);
  });
}
