// Show day: animals are sold with printed cards on a phone without network, and their buyers take the cards on before or
// after the sale has come in.
import { type Browser, expect, type Page, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, header, signIn } from './demo';
import { type Card, newAnimal, newCards, toTheTable, withCardAndTub } from './table';

test.skip(({ isMobile }) => !isMobile, 'a phone is what a breeder has at hand');

/** Sells by hand: the code is typed and the animal chosen. */
async function sell(page: Page, card: Card, animal: string): Promise<void> {
  await page.goto('/b/sell');
  await page.getByRole('button', { name: 'Type the card’s code' }).click();
  await page.getByLabel('Code on the card').fill(card.code.toLowerCase());
  await page.getByRole('button', { name: 'Take this card' }).click();
  await page.getByRole('button', { name: new RegExp(animal) }).click();
  await expect(page.getByRole('heading', { level: 1, name: `Sell ${animal}?` })).toBeVisible();
  await expect(page.getByText(`Card ${card.number}`)).toBeVisible();
  await page.getByRole('button', { name: 'Sold' }).click();
  await expect(page.getByRole('heading', { level: 1, name: `${animal} is sold` })).toBeVisible();
}

/** In the page: of how many cases this phone knows the card. */
async function cardsKnown(): Promise<number> {
  const open = indexedDB.open('warmhand');
  await new Promise((done) => {
    open.onsuccess = done;
  });
  const keys = open.result.transaction('state').objectStore('state').getAllKeys();
  await new Promise((done) => {
    keys.onsuccess = done;
  });
  open.result.close();
  return keys.result.filter((k) => String(k).startsWith('card breeders/')).length;
}

async function keeperPage(browser: Browser): Promise<Page> {
  const { baseURL, viewport } = test.info().project.use;
  const context = await browser.newContext({ ...(baseURL && { baseURL }), ...(viewport && { viewport }) });
  return context.newPage();
}

test('the camera finds card and label, one tap sells', async ({ browser }) => {
  test.setTimeout(120_000);
  await withCardAndTub(browser, 'Scanned 1', async (page) => {
    const begun = Date.now();
    await page.getByRole('link', { name: 'Sell' }).click();
    await page.getByRole('button', { name: 'Sold' }).click({ timeout: 30_000 });
    await expect(page.getByRole('heading', { level: 1, name: 'Scanned 1 is sold' })).toBeVisible();
    const took = Date.now() - begun;
    expect(took).toBeLessThan(60_000);
    await expect(page.getByText('Kept on this device', { exact: true })).toBeVisible();
  });
});

test('sold without network, taken on before the sale has come in, the phone closed in between', async ({
  page,
  context,
  browser,
}) => {
  test.setTimeout(180_000);
  await signIn(context.request);
  const [one, two] = (await newCards(context, 2)) as [Card, Card];
  await newAnimal(context, 'Early 1');
  const late = await newAnimal(context, 'Late 1');
  await toTheTable(page, context);

  await test.step('sold by hand, undone without a trace, and sold again', async () => {
    await page.goto('/b/sell');
    await page.getByRole('button', { name: 'Type the card’s code' }).click();
    await axe(page, 'sell, card');
    await fits(page);
    await page.getByLabel('Code on the card').fill('K7QM4-2XR90');
    await page.getByRole('button', { name: 'Take this card' }).click();
    await expect(page.locator('.problem')).toBeVisible();
    await sell(page, one, 'Early 1');
    await axe(page, 'sold');
    await fits(page);
    await page.getByRole('button', { name: 'Undo' }).click();
    await expect(page.getByText('is in your stock book again, and the card is blank')).toBeVisible();
    await page.goto('/b/sell');
    await page.getByRole('button', { name: 'Type the card’s code' }).click();
    await page.getByLabel('Code on the card').fill(one.code);
    await page.getByRole('button', { name: 'Take this card' }).click();
    await page.getByRole('button', { name: /Early 1/ }).click();
    await page.getByLabel(/^Buyer/).fill('The one with the green hat');
    await page.getByText('Price, show day').click();
    await page.getByLabel(/^Price/).fill('89,50');
    await axe(page, 'sell, confirm');
    await fits(page);
    // The phone is put away, and the page is gone: what was begun is there again.
    await page.goto('/b/sell');
    await expect(page.getByLabel(/^Buyer/)).toHaveValue('The one with the green hat');
    await page.getByRole('button', { name: 'Sold' }).click();
    await expect(page.getByRole('heading', { level: 1, name: 'Early 1 is sold' })).toBeVisible();
  });

  await test.step('neither the card nor the animal is sold again here', async () => {
    await page.goto('/b/sell');
    await page.getByRole('button', { name: 'Type the card’s code' }).click();
    await page.getByLabel('Code on the card').fill(one.code);
    await page.getByRole('button', { name: 'Take this card' }).click();
    await expect(page.getByText('This card went with a sale on this device already')).toBeVisible();
    await page.getByLabel('Code on the card').fill(two.code);
    await page.getByRole('button', { name: 'Take this card' }).click();
    await expect(page.getByRole('button', { name: /Late 1/ })).toBeVisible();
    await expect(page.getByRole('button', { name: /Early 1/ })).toHaveCount(0);
  });

  const buyer = await keeperPage(browser);
  await test.step('the buyer takes the card on first, and waits', async () => {
    await buyer.goto(`/c#${one.code}`);
    await expect(buyer.getByRole('heading', { level: 1, name: 'Your card is right' })).toBeVisible();
    await axe(buyer, 'card before its sale');
    await fits(buyer);
    await buyer.getByLabel(/What may your breeder call you/).fill('Wren');
    await buyer.getByRole('button', { name: 'Take it on, and wait' }).click();
    await expect(buyer.getByText(`Card ${one.number} is yours, and waits for its record`)).toBeVisible();
    await buyer.reload();
    await expect(buyer.getByText(`Card ${one.number} is yours, and waits for its record`)).toBeVisible();
    await axe(buyer, 'card waits');
    await fits(buyer);
  });

  await test.step('the breeder’s phone is closed, opened again, and has network: everything finishes by itself', async () => {
    await page.close();
    await context.setOffline(false);
    const again = await context.newPage();
    await again.goto('/b/unsent');
    await expect(again.getByText('Everything has been sent.')).toBeVisible();
    // The buyer looks at the phone again; left alone it asks twice a minute.
    await buyer.evaluate(() => document.dispatchEvent(new Event('visibilitychange')));
    await expect(buyer.getByRole('heading', { level: 1, name: 'Early 1' })).toBeVisible();
    // The phone knows the card again in pictures of its setup.
    await expect.poll(() => buyer.evaluate(cardsKnown), { timeout: 10_000 }).toBe(1);
    await again.goto('/b/cards');
    await expect(again.getByRole('listitem').filter({ hasText: `Card ${one.number}` })).toContainText(
      'Went with a sale',
    );
    await axe(again, 'cards');
    await fits(again);
    await again.close();
  });

  await test.step('a card is taken on after its sale came in, as ever', async () => {
    const at = new Date().toISOString();
    const sold = await context.request.post(`/v1/${breeder}/handovers?requestId=table-spec-${crypto.randomUUID()}`, {
      headers: header,
      data: { animal: late, handoverTime: at, cardCode: two.code },
    });
    expect(sold.ok(), await sold.text()).toBe(true);
    const other = await keeperPage(browser);
    await other.goto(`/c#${two.code}`);
    await expect(other.getByRole('heading', { level: 1, name: /^Is this your/ })).toBeVisible();
    await other.getByRole('button', { name: 'Take on Late 1' }).click();
    await expect(other.getByRole('heading', { level: 1, name: 'Late 1' })).toBeVisible();
    await other.context().close();
  });
  await buyer.context().close();
});

test('two phones sell the same animal: a person decides, and nothing is dropped', async ({
  page,
  context,
  browser,
}) => {
  test.setTimeout(180_000);
  await signIn(context.request);
  const [one, two, three] = (await newCards(context, 3)) as [Card, Card, Card];
  await newAnimal(context, 'Twice 1');
  await newAnimal(context, 'Twice 2');
  const state = await context.storageState();
  const { baseURL, viewport } = test.info().project.use;
  const second = await browser.newContext({
    ...(baseURL && { baseURL }),
    ...(viewport && { viewport }),
    storageState: { ...state, origins: [] },
  });
  const other = await second.newPage();
  await toTheTable(page, context);
  await toTheTable(other, second);
  await sell(page, one, 'Twice 1');
  await sell(other, two, 'Twice 1');
  await context.setOffline(false);
  await page.goto('/b/unsent');
  await expect(page.getByText('Everything has been sent.')).toBeVisible();

  await second.setOffline(false);
  await other.goto('/b/unsent');
  const refused = other.getByRole('article', { name: `Sold with card ${two.number}` });
  await expect(refused).toContainText('handed over already');
  await expect(refused.getByRole('link', { name: 'See the other sale' })).toBeVisible();
  await axe(other, 'two sales of one animal');
  await fits(other);
  await test.step('it was another animal', async () => {
    await refused.getByRole('button', { name: 'It was another animal' }).click();
    await other.getByRole('button', { name: /Twice 2/ }).click();
    await expect(other.getByText('Everything has been sent.')).toBeVisible();
  });

  await newAnimal(second, 'Twice 3');
  const five = await newAnimal(second, 'Twice 5');
  const fourth = await newAnimal(second, 'Twice 4');
  const [wrong, right] = (await newCards(second, 2)) as [Card, Card];
  await toTheTable(other, second);
  await sell(other, three, 'Twice 3');
  await sell(other, right, 'Twice 5');
  const soldElsewhere = async (animal: string, card: Card) => {
    const sold = await context.request.post(`/v1/${breeder}/handovers?requestId=table-spec-${crypto.randomUUID()}`, {
      headers: header,
      data: { animal, handoverTime: new Date().toISOString(), cardCode: card.code },
    });
    expect(sold.ok(), await sold.text()).toBe(true);
    return ((await sold.json()) as { handover: { name: string } }).handover.name;
  };
  await soldElsewhere(fourth, three);
  const mistake = await soldElsewhere(five, wrong);
  const [spare] = (await newCards(context, 1)) as [Card];
  await second.setOffline(false);

  await test.step('the same card with two animals: another card', async () => {
    await other.goto('/b/cards');
    await expect(other.getByText(`Card ${spare.number}`, { exact: true })).toBeVisible();
    await other.goto('/b/unsent');
    await expect(other.getByText('went with another sale')).toBeVisible();
    await other.getByRole('button', { name: 'It was another card' }).click();
    await other.getByLabel('Code on the card').fill(spare.code);
    await other.getByRole('button', { name: 'Take this card' }).click();
    await expect(other.getByText('went with another sale')).toBeHidden();
  });

  await test.step('the other sale was the mistake: it is revoked, and this one holds', async () => {
    await other.getByRole('button', { name: 'The other sale was the mistake' }).click();
    await axe(other, 'the other sale was the mistake');
    await fits(other);
    await other.getByRole('button', { name: 'Revoke the other, keep this one' }).click();
    await expect(other.getByText('Everything has been sent.')).toBeVisible();
    const { handover } = (await (await second.request.get(`/v1/${mistake}`)).json()) as { handover: { state: string } };
    expect(handover.state).toBe('HANDOVER_STATE_REVOKED');
    const opens = async ({ code: claimCode }: Card) => {
      const answer = await second.request.post('/v1/claims:lookUp', { headers: header, data: { claimCode } });
      return answer.ok() ? 'opens' : `${answer.status()} ${await answer.text()}`;
    };
    expect(await opens(wrong)).toContain('CODE_REVOKED');
    expect(await opens(right)).toBe('opens');
  });
  await second.close();
});

test('blank cards are printed, and withdrawn', async ({ page, context }) => {
  await signIn(context.request);
  await page.goto('/b/cards');
  await page.getByLabel('How many').fill('2');
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name: 'Print 2 blank cards' }).click(),
  ]);
  expect(download.suggestedFilename()).toBe('blank-cards.pdf');
  await expect(page.getByText('Their codes are on this page only')).toBeVisible();
  const row = page.getByRole('listitem').filter({ hasText: /^Card/ }).first();
  await expect(row).toContainText('Blank');
  await row.getByRole('button', { name: /^Withdraw card/ }).click();
  await row.getByRole('button', { name: /^Withdraw card/ }).click();
  await expect(row).toContainText('Withdrawn');
});
