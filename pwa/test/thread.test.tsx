import 'fake-indexeddb/auto';
import { cleanup, render, screen } from '@testing-library/preact';
import userEvent from '@testing-library/user-event';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import type { EntryJson } from '../src/core/contract';
import { dropDrafts, readDraft, useDatabase, writeDraft } from '../src/store/db';
import { type MessageDraft, Thread } from '../src/ui/parts/thread';

const name = 'breeders/b/cases/c';
const photo = { id: 'p1', bytes: new Uint8Array([1, 2, 3]).buffer, type: 'image/jpeg' };
const said: EntryJson[] = [
  {
    name: 'breeders/b/animals/a/entries/1',
    by: 'ACTOR_KIND_KEEPER',
    happenTime: '2026-03-01T10:00:00Z',
    message: { text: 'Is this mould?', photos: ['p7', 'p8'] },
  },
];

let n = 0;
beforeEach(() => useDatabase(`thread-${n++}`));
afterEach(cleanup);

const thread = (onSend: (m: MessageDraft) => Promise<unknown>, entries: EntryJson[] = []) =>
  render(
    <Thread case={name} entries={entries} me="breeder" keeperName="Robin" draft="breeder message" onSend={onSend} />,
  );

test('pictures say whose they are and with which words they came', () => {
  const { container } = thread(async () => undefined, said);
  const pictures = [...container.querySelectorAll('img')];
  expect(pictures.map((i) => i.getAttribute('src'))).toEqual([
    `/v1/${name}/photos/p7/320`,
    `/v1/${name}/photos/p8/320`,
  ]);
  for (const i of pictures) expect(i.alt).toBe('Picture from Robin: Is this mould?');
});

test('what was being written is there again, and a picture alone may be sent', async () => {
  await writeDraft('breeder message', { text: '  ', photos: [photo] });
  const onSend = vi.fn(async () => undefined);
  thread(onSend);
  await screen.findByRole('button', { name: 'Remove picture 1' });
  await userEvent.click(screen.getByRole('button', { name: 'Send' }));
  await vi.waitFor(() => expect(onSend).toHaveBeenCalledWith({ text: 'A picture', photos: [photo] }));
  await vi.waitFor(async () => expect(await readDraft('breeder message')).toBeUndefined());
  expect(screen.queryByRole('button', { name: 'Remove picture 1' })).toBeNull();
});

test('what could not be sent stays, with the reason', async () => {
  thread(async () => Promise.reject(new Error('The picture is larger than 25 MB.')));
  await userEvent.type(screen.getByLabelText('Message'), 'Look');
  await userEvent.click(screen.getByRole('button', { name: 'Send' }));
  await vi.waitFor(() => expect(screen.getByRole('alert').textContent).toBe('The picture is larger than 25 MB.'));
  expect((screen.getByLabelText('Message') as HTMLTextAreaElement).value).toBe('Look');
  expect(await readDraft('breeder message')).toEqual({ text: 'Look', photos: [] });
});

test('drafts leave with the person, and no others', async () => {
  await writeDraft('breeder message', { text: 'Look', photos: [] });
  await writeDraft(`message ${name}`, { text: 'Mine', photos: [] });
  await dropDrafts('breeder ');
  expect(await readDraft('breeder message')).toBeUndefined();
  expect(await readDraft(`message ${name}`)).toEqual({ text: 'Mine', photos: [] });
});
