// The handover record: on the keeper's phone, and signed, from the breeder's screen to a stranger's who has no account.
import { readFile } from 'node:fs/promises';
import { expect, test } from '@playwright/test';
import { axe, fits } from './checks';
import { breeder, demo, header, signIn } from './demo';

test('a signed record is saved, checked by a stranger, and told from a changed and a revoked one', async ({
  page,
  browser,
  baseURL,
}, info) => {
  test.skip(info.project.name !== 'phone', 'width does not matter for what is checked');
  await signIn(page.request);
  const id = 'record-spec';
  await page.request.post(`/v1/${breeder}/animals?animalId=${id}`, {
    headers: header,
    data: { displayName: 'Signed one', species: 'python_regius', genes: ['pastel'] },
  });
  const made = await page.request.post(`/v1/${breeder}/handovers?requestId=record-spec-1`, {
    headers: header,
    data: { animal: `${breeder}/animals/${id}`, buyerNote: 'for nobody else' },
  });
  const { handover } = (await made.json()) as { handover: { name: string } };
  await page.goto(`/b/handovers/${handover.name.split('/').at(-1)}`);
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name: 'Save the signed record' }).click(),
  ]);
  expect(download.suggestedFilename()).toBe('handover-record.jws');
  const record = await readFile(await download.path(), 'utf8');

  const stranger = await (await browser.newContext(baseURL ? { baseURL } : {})).newPage();
  await stranger.goto('/r');
  const open = (text: string) =>
    stranger
      .getByLabel('Signed record, .jws')
      .setInputFiles({ name: 'r.jws', mimeType: 'application/jose', buffer: Buffer.from(text) });
  await open(record);
  await expect(stranger.getByRole('status').filter({ hasText: 'and not changed since' })).toBeVisible();
  await expect(stranger.getByText('Signed one')).toBeVisible();
  await expect(stranger.getByRole('heading', { name: 'What this does not prove' })).toBeVisible();
  await axe(stranger, 'a record that was checked');
  await fits(stranger);

  await stranger.getByText('Paste it instead').click();
  const [head, body, mark] = record.split('.');
  const said = Buffer.from(body ?? '', 'base64url')
    .toString()
    .replace('pastel', 'spider');
  await stranger.getByLabel('The signed record').fill(`${head}.${Buffer.from(said).toString('base64url')}.${mark}`);
  await stranger.getByRole('button', { name: 'Check it' }).click();
  await expect(stranger.getByRole('alert')).toContainText('Changed after it was signed');
  await expect(stranger.getByText('Signed one')).toBeHidden();
  await open('a letter');
  await expect(stranger.getByRole('alert')).toContainText('no whole signed record');

  await page.request.post(`/v1/${handover.name}:revoke`, { headers: header, data: {} });
  await open(record);
  await expect(stranger.getByText('The breeder took this handover back')).toBeVisible();
  await stranger.context().close();
});

test('the keeper has the whole record without network', async ({ page, context }, info) => {
  test.skip(info.project.name !== 'phone', 'it is read on the phone that has it');
  const told = demo().keepers.find((k) => k.animal === 'Quill');
  const link = told?.links[6];
  if (!told || !link) throw new Error('the demonstration has no Quill');
  const { pathname, hash } = new URL(link);
  await page.goto(pathname + hash);
  await expect(page.getByRole('heading', { level: 1, name: 'Quill' })).toBeVisible();
  const at = `/k/${breeder.split('/')[1]}/${told.case.split('/').at(-1)}/record`;
  await page.goto(at);
  await expect(page.getByRole('heading', { name: 'The first two weeks' })).toBeVisible();
  await page.evaluate(() => navigator.serviceWorker.ready.then(() => undefined));
  await context.setOffline(true);
  await page.reload();
  await expect(page.getByText('Hazel: pastel')).toBeVisible();
  await page.getByText('Day by day').click();
  await expect(page.getByText('First offer, in the evening')).toBeVisible();
  await expect(page.getByRole('row', { name: /Warm end/ })).toContainText('32.5');
  await expect(page.getByRole('row', { name: /Hottest thing it can touch/ })).toContainText('not above 36');
  await expect(page.getByText('It breathes with its mouth open')).toBeVisible();
  await page.getByText('Origin and law').click();
  await expect(page.getByText('This is a reminder and not legal advice.')).toBeVisible();
  await axe(page, 'the whole record');
  await fits(page);

  // The guide, too: the page that matters now is offered at home.
  await page.getByRole('link', { name: 'Back' }).click();
  await page.getByRole('link', { name: /To read now/ }).click();
  await expect(page.getByRole('heading', { level: 1, name: 'Openings: stuck, or away' })).toBeVisible();
  await expect(page.getByRole('region', { name: 'Now', exact: true })).toContainText('holes in decor');
  await expect(page.getByText('If it eats well it may weigh')).toBeVisible();
  await page.getByText('Where this comes from').click();
  await expect(page.getByText('Ebert et al. 2019')).toBeVisible();
  await axe(page, 'a page of the guide');
  await fits(page);
  await page.getByRole('link', { name: 'Back' }).click();
  await expect(page.getByRole('listitem').filter({ hasText: 'Openings' })).toContainText('matters now');
  await page.getByRole('link', { name: 'When to call a reptile vet' }).click();
  await expect(page.getByRole('heading', { name: 'Call now, day or night' })).toBeVisible();
});
