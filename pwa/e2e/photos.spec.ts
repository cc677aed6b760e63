// A photo's way: the keeper takes one for a setup point, the breeder pins a hazard in it, the keeper
// sees the place and answers with another, and both stand side by side. Then many, by keys or by the thumb alone.
import { readFileSync } from 'node:fs';
import { type APIRequestContext, expect, type Page, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, demo, header, signIn } from './demo';

const asKeeper = { 'X-Warmhand': 'keeper' };
const onPhone = () => test.info().project.name === 'phone';

// The animal's keeper and its breeder, both on this device: each screen size has its own links.
async function bothSignIn(page: Page, animal: string): Promise<string> {
  const { keepers } = demo();
  const keeper = keepers.find((k) => k.animal === animal);
  const link = keeper?.links[onPhone() ? 0 : 1];
  if (!keeper || !link) throw new Error(`no link for ${animal}`);
  await page.goto(new URL(link).pathname + new URL(link).hash);
  await expect(page.getByRole('heading', { level: 1, name: animal })).toBeVisible();
  await signIn(page.request);
  return keeper.case.split('/').at(-1) ?? '';
}

const file = readFileSync('../testdata/photos/orientation-6.jpg');

/** The keeper's answer to a point with these pictures. */
async function answer(
  request: APIRequestContext,
  id: string,
  point: string,
  choice: string,
  photos: string[],
  data: Buffer = file,
) {
  const name = `${breeder}/cases/${id}`;
  for (const photo of photos) {
    const sent = await request.put(`/v1/${name}/photos/${photo}`, {
      headers: { ...asKeeper, 'Content-Type': 'image/jpeg' },
      data,
    });
    expect(sent.ok()).toBe(true);
  }
  const { case: c } = (await (await request.get(`/v1/${name}`)).json()) as { case: { animal: { name: string } } };
  const entry = await request.post(`/v1/${c.animal.name}/entries?entryId=entry-${photos[0]}`, {
    headers: asKeeper,
    data: {
      case: name,
      happenTime: new Date().toISOString(),
      setup: { answers: [{ point, choice, photos }] },
    },
  });
  expect(entry.ok()).toBe(true);
}

/** Skips what came before. */
async function skipTo(page: Page, title: string, animal: string): Promise<void> {
  const wanted = page.getByRole('article', { name: title }).filter({ hasText: animal });
  await expect(page.getByRole('article')).toBeVisible();
  while (!(await wanted.isVisible())) {
    const was = (await page.locator('.frame img').last().getAttribute('src')) ?? '';
    await page.getByRole('button', { name: 'Skip' }).click();
    await expect(page.locator('.frame img').last()).not.toHaveAttribute('src', was);
  }
}

test('a photo is reviewed, answered and seen beside the one before', async ({ page, context }, info) => {
  test.setTimeout(120_000);
  test.skip(!onPhone(), 'the keys are tried below');
  const id = await bothSignIn(page, 'Larch');
  // Another animal's card lies in the picture.
  const other = demo().keepers.find((k) => k.animal === 'Quill')?.case;
  const card = await context.request.get(`/v1/${breeder}/cases/${other}/photos/demo-hole-and-card/1600`, {
    headers: header,
  });
  expect(card.ok()).toBe(true);
  await answer(context.request, id, 'decor_openings', 'none', ['larch-hole'], await card.body());
  await answer(context.request, id, 'sharp_edges', 'all_smooth', ['larch-before']);

  await page.goto('/b');
  await page.getByRole('button', { name: 'Later' }).tap();
  await page.getByRole('link', { name: /^Go through keepers’ new photos: (more than )?[1-9]/ }).click();
  await skipTo(page, 'Holes in decor, wood and hides', 'Larch');
  await expect(page.getByText('The card in it is Quill’s. Is it the right tank?')).toBeVisible();
  await page.getByRole('button', { name: 'Fine' }).tap();
  await skipTo(page, 'Sharp edges and points', 'Larch');
  await axe(page, 'review');
  await fits(page);
  await page.screenshot({ path: info.outputPath('review.png'), fullPage: true });
  await page.getByRole('button', { name: 'Hazard' }).tap();
  const box = await page.locator('.frame').boundingBox();
  if (!box) throw new Error('no picture');
  await page.touchscreen.tap(box.x + box.width / 2, box.y + box.height / 2);
  await expect(page.getByText('The place is marked')).toBeVisible();
  await axe(page, 'marking');
  await fits(page);
  await page.screenshot({ path: info.outputPath('marking.png'), fullPage: true });
  await page.getByLabel('What is wrong there').fill('This wire end is sharp. Please bend it outwards.');
  await page.getByRole('button', { name: 'Tell the keeper' }).tap();
  await expect(page.getByText('That was the last one')).toBeVisible();

  await page.goto(`/k/${breeder.split('/')[1]}/${id}/setup`);
  await expect(page.getByText('your breeder asks')).toBeVisible();
  await page.screenshot({ path: info.outputPath('checklist.png'), fullPage: true });
  await page.getByRole('link', { name: 'Sharp edges and points' }).click();
  await expect(page.getByText('This wire end is sharp.')).toBeVisible();
  await expect(page.locator('.spot')).toHaveCount(1);
  await axe(page, 'marked');
  await fits(page);
  await page.screenshot({ path: info.outputPath('asked.png'), fullPage: true });

  await answer(context.request, id, 'sharp_edges', 'all_smooth', ['larch-after']);
  await page.goto('/b/review');
  await skipTo(page, 'Sharp edges and points', 'Larch');
  await expect(page.getByText('You wrote: This wire end')).toBeVisible();
  await expect(page.locator('.frame img')).toHaveCount(2);
  await axe(page, 'beside');
  await fits(page);
  await page.screenshot({ path: info.outputPath('beside.png'), fullPage: true });
  await page.getByRole('button', { name: 'Fine now' }).tap();
  await expect(page.getByText('That was the last one')).toBeVisible();
  const open = async () => {
    const flags = await context.request.get(`/v1/${breeder}/cases/${id}/flags`, { headers: header });
    const all = ((await flags.json()) as { flags?: { code: string; closeTime?: string }[] }).flags ?? [];
    return all.filter((f) => f.code === 'setup:sharp_edges').map((f) => Boolean(f.closeTime));
  };
  await expect.poll(open).toEqual([true]);
});

// Twenty new photos take twenty key presses or taps, and what to press does not move.
test('twenty photos are gone through by keys alone, or by the thumb alone', async ({ page }, info) => {
  const id = await bothSignIn(page, 'Old Oak');
  const points = ['hides', 'tubes', 'netting', 'tape', 'heavy_things'];
  const stamp = info.project.name;
  for (const [i, point] of points.entries()) {
    const choice = { hides: 'both_ends', tape: 'no_tape', heavy_things: 'on_floor' }[point] ?? 'none';
    await answer(
      page.request,
      id,
      point,
      choice,
      [0, 1, 2, 3].map((n) => `oak-${stamp}-${i}-${n}`),
    );
  }
  await page.goto('/b/review');
  await expect(page.getByRole('article')).toBeVisible();
  const src = async () => (await page.locator('.frame img').last().getAttribute('src')) ?? '';
  const next = async (was: string) => {
    await expect(page.locator('.frame img').last()).not.toHaveAttribute('src', was);
    return src();
  };
  // Of others of the demonstration, nothing is said.
  let now = await src();
  while (!now.includes(`oak-${stamp}`)) {
    await page.keyboard.press('j');
    now = await next(now);
  }
  const fine = page.getByRole('button', { name: 'Fine' });
  const place = await fine.boundingBox();
  if (!place) throw new Error('there is nothing to press');
  if (onPhone()) {
    expect(place.height).toBeGreaterThanOrEqual(48);
    expect(place.y).toBeGreaterThan(844 / 2); // the thumb's half
  }
  const press = async () => {
    if (!onPhone()) return page.keyboard.press('f');
    await page.touchscreen.tap(place.x + place.width / 2, place.y + place.height / 2);
  };
  for (let i = 0; i < 19; i++) {
    expect(now, `photo ${i}`).toContain(`oak-${stamp}`);
    await press();
    now = await next(now);
  }
  await press();
  await expect(page.getByText('That was the last one')).toBeVisible();
  const left = async () => {
    const list = await page.request.get(`/v1/${breeder}/newPhotos?pageSize=100`, { headers: header });
    const { photos = [] } = (await list.json()) as { photos?: { photo: { name: string } }[] };
    return photos.filter((p) => p.photo.name.includes(`oak-${stamp}`)).length;
  };
  await expect.poll(left).toBe(0);
});

test('an opening is measured, and one place moved by keys', async ({ page }, info) => {
  test.skip(onPhone(), 'keys are for desks');
  const id = await bothSignIn(page, 'Quill');
  await page.goto(`/k/${breeder.split('/')[1]}/${id}/setup/decor_openings`);
  await page.getByRole('button', { name: 'Measure in picture 2' }).click();
  const frame = page.locator('.frame');
  await expect(frame.locator('.outline')).toBeVisible({ timeout: 30_000 }); // the card is found
  await frame.focus();
  await page.keyboard.press('Enter');
  await expect(page.getByText('1 so far')).toBeVisible();
  // The picture is 1200 by 900 and its hole 24 mm wide, at 7.5 pixels a mm; the first place lies in its middle.
  await page.getByRole('button', { name: 'Place 1' }).click();
  await expect(page.getByText('Place 1 is at 600 across, 450 down')).toBeVisible();
  await expect(frame).toBeFocused();
  for (let i = 0; i < 12; i++) await page.keyboard.press('Shift+ArrowRight');
  await expect(page.getByText('Place 1 is at 720 across, 450 down')).toBeVisible();
  await page.keyboard.press('ArrowUp');
  await expect(page.getByText('Place 1 is at 720 across, 449 down')).toBeVisible();
  await page.keyboard.press('Enter');
  await page.keyboard.press('0');
  await axe(page, 'measuring');
  await fits(page);
  const img = await frame.locator('img').boundingBox();
  if (!img) throw new Error('no picture');
  const k = img.width / 1200;
  for (let i = 1; i < 6; i++) {
    const turn = Math.PI - (i * Math.PI) / 3;
    await page.mouse.click(img.x + k * (810 + 90 * Math.cos(turn)), img.y + k * (450 + 90 * Math.sin(turn)));
    if (i < 5) await expect(page.getByText(`${i + 1} so far`)).toBeVisible();
  }
  const said = page.getByText(/mm across$/);
  await expect(said).toBeVisible({ timeout: 30_000 });
  const mm = Number.parseFloat((await said.textContent()) ?? '');
  expect(Math.abs(mm - 24)).toBeLessThan(0.7);
  await page.screenshot({ path: info.outputPath('measured.png'), fullPage: true });
  await page.getByRole('button', { name: 'Use this width' }).click();
  await expect(page.getByLabel('Narrowest way across')).toHaveValue(/^2[34]/);
});
