// A breeder moves a threshold, sees what it would have been, puts it to use and takes it back.
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, header, signIn } from './demo';

test('thresholds are tried on past cases before they count', async ({ page }, info) => {
  test.skip(info.project.name !== 'phone', 'the narrow screen is the hard one');
  await signIn(page.request);
  await page.goto('/b/tables');
  await page.getByRole('link', { name: 'Some you can move for your own cases.' }).click();
  const slider = page.getByRole('slider', { name: 'Step in from' });
  await slider.focus();
  for (let i = 0; i < 3; i++) await page.keyboard.press('PageDown');
  await expect(slider).not.toHaveValue('41');
  await page.getByRole('button', { name: 'First word within: more' }).tap();
  await page.getByRole('button', { name: 'Try on my past cases' }).tap();
  await expect(page.getByRole('heading', { name: 'What it would have been' })).toBeVisible();
  await expect(page.getByRole('table', { name: '' }).first()).toContainText('You are asked to step in');
  await fits(page);
  await axe(page, 'thresholds');

  // Only what changes nothing for the other tests is put to use.
  await page.getByRole('button', { name: 'Back to those in use' }).tap();
  await page.getByRole('button', { name: 'First word within: more' }).tap();
  await page.getByRole('button', { name: 'Use these' }).tap();
  await expect(page.getByText('These are in use')).toBeVisible();
  const own = async () => {
    const answer = await page.request.get(`/v1/${breeder}/thresholds`, { headers: header });
    return ((await answer.json()) as { thresholds: { own: unknown } }).thresholds.own;
  };
  await expect.poll(own).toEqual({ first_word_days: 15 });
  await page.getByRole('button', { name: 'First word within: as the program has it' }).tap();
  await page.getByRole('button', { name: 'Use these' }).tap();
  await expect(page.getByRole('button', { name: 'Use these' })).toBeDisabled();
  await expect.poll(own).toEqual({}); // the button is off while it is being saved, too
});
