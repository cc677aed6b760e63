// The camera reads a card. Its picture is a film of the card's own link, and the reader is the Go code in the worker,
// as it is shipped.
import { expect, test } from '@playwright/test';
import { withCamera } from './camera';
import { axe, fits } from './checks';
import { demo } from './demo';

test('the card is read by the camera, without network too once the reader is there', async () => {
  test.skip(test.info().project.name !== 'phone', 'width does not matter');
  await withCamera([demo().claim.link], ['camera'], async (page, context) => {
    await page.goto('/c');
    await page.evaluate(() => navigator.serviceWorker.ready.then(() => undefined));
    await page.reload();
    await page.getByRole('button', { name: 'Scan the card' }).click();
    // The card is looked up and shown; it is not taken on. Another test may have done that.
    await expect(
      page.getByRole('heading', { level: 1, name: /^(Is this your|This card has been taken on already)/ }),
    ).toBeVisible({ timeout: 30_000 });

    await context.setOffline(true);
    await page.goto('/c');
    await page.getByRole('button', { name: 'Scan the card' }).click();
    await expect(page.getByText('Hold the square code')).toBeVisible();
    await expect(page.getByRole('heading', { name: 'No network just now' })).toBeVisible({ timeout: 30_000 });
  });
});

test('a code of another kind is no card, and the camera stops when it is left', async () => {
  test.skip(test.info().project.name !== 'phone', 'width does not matter');
  await withCamera(['https://example.org/menu'], ['camera'], async (page) => {
    await page.goto('/c');
    await page.getByRole('button', { name: 'Scan the card' }).click();
    await expect(page.getByText('That is another kind of code')).toBeVisible({ timeout: 30_000 });
    await axe(page, 'scan');
    await fits(page);
    const track = await page
      .locator('video')
      .evaluateHandle((v: HTMLVideoElement) => (v.srcObject as MediaStream).getVideoTracks()[0]);
    expect(await track.evaluate((t) => t?.readyState)).toBe('live');
    await page.getByRole('button', { name: 'Type the code instead' }).click();
    await expect(page.getByLabel('Code on the card')).toBeVisible();
    expect(await track.evaluate((t) => t?.readyState)).toBe('ended');
  });
});

test('without leave to use the camera it says what to do', async () => {
  test.skip(test.info().project.name !== 'phone', 'width does not matter');
  await withCamera(['x'], [], async (page) => {
    await page.goto('/c');
    await page.getByRole('button', { name: 'Scan the card' }).click();
    await expect(page.getByText('The camera is not allowed here')).toBeVisible();
    await axe(page, 'no camera');
    await page.getByRole('button', { name: 'Type the code instead' }).click();
    await expect(page.getByLabel('Code on the card')).toBeVisible();
  });
});
