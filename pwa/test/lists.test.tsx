import { cleanup, render, screen, waitFor, within } from '@testing-library/preact';
import userEvent from '@testing-library/user-event';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import type { ImportMappingJson } from '../src/api/gen/warmhand/v1/import_service_pb';
import { type Answered, added, Look } from '../src/ui/breeder/listlook';

interface Asked {
  mapping: ImportMappingJson;
  leaveRows: number[];
}
let asked: Asked[] = [];
let preview: object = {};

beforeEach(() => {
  asked = [];
  vi.stubGlobal('fetch', async (path: string, init: RequestInit) => {
    if (path.endsWith(':preview')) asked.push(JSON.parse(String(init.body)) as Asked);
    return new Response(JSON.stringify(path === '/v1/species' ? { species: [] } : preview), {
      headers: { 'Content-Type': 'application/json' },
    });
  });
});

afterEach(cleanup);

const understood = {
  mapping: { headingRow: 1, columns: [{ meaning: 'name' }, { meaning: 'date' }, { meaning: 'weight', unit: 'g' }, {}] },
  headings: ['Snake', 'Day', 'Grams', 'Ounces'],
  meanings: [
    { code: 'name', label: 'Name' },
    { code: 'date', label: 'Date' },
    { code: 'weight', label: 'Weight' },
  ],
  rows: [{ number: 2, cells: ['Hazel', '03/04/2026', '100', '3.5'] }],
  rowCount: 1,
  entries: 1,
};

test('a meaning moves to the column that is given it', async () => {
  preview = understood;
  render(<Look name="breeders/b/imports/i" confirm={async () => undefined} leave={() => undefined} />);
  await userEvent.selectOptions(await screen.findByLabelText('Ounces'), 'Weight');
  await waitFor(() => expect(asked.length).toBe(2));
  expect(asked[1]?.mapping.columns?.map((c) => c.meaning ?? '')).toEqual(['name', 'date', '', 'weight']);
  expect(asked[1]?.mapping.columns?.[3]?.unit).toBeUndefined(); // the service finds it in the heading
});

test('nothing is brought in while something is asked', async () => {
  preview = {
    ...understood,
    questions: [
      {
        code: 'date_order',
        column: 1,
        text: 'Day: which day is 03/04/2026?',
        choices: [
          { code: 'dmy', label: '3 April 2026' },
          { code: 'mdy', label: '4 March 2026' },
        ],
      },
    ],
  };
  render(<Look name="breeders/b/imports/i" confirm={async () => undefined} leave={() => undefined} />);
  const bring = await screen.findByRole<HTMLButtonElement>('button', { name: 'Bring it in' });
  expect(bring.disabled).toBe(true);
  preview = understood;
  await userEvent.click(screen.getByRole('button', { name: '4 March 2026' }));
  await waitFor(() => expect(bring.disabled).toBe(false));
  expect(asked.at(-1)?.mapping.columns?.[1]).toEqual({ meaning: 'date', order: 'mdy' });
});

test('a row is left out and taken back in, and goes as it was agreed', async () => {
  preview = {
    ...understood,
    wrong: 1,
    warnings: 1,
    problems: [
      { row: 2, column: 'Grams', value: '100', text: 'It looks like a slip.', warning: true },
      { row: 3, column: 'Day', value: 'soon', text: 'This is not a date.' },
    ],
  };
  const agreed: Answered[] = [];
  render(<Look name="breeders/b/imports/i" confirm={async (a) => void agreed.push(a)} leave={() => undefined} />);
  const wrong = (await screen.findByText('Row 3, Day: “soon”')).closest('li');
  expect(wrong && within(wrong).queryByRole('button')).toBeNull(); // it is out in any case
  await userEvent.click(screen.getByRole('button', { name: 'Leave row 2 out' }));
  await userEvent.click(await screen.findByRole('button', { name: 'Row 2 is left out: take it back in' }));
  await userEvent.click(await screen.findByRole('button', { name: 'Leave row 2 out' }));
  await waitFor(() => expect(asked.map((a) => a.leaveRows)).toEqual([[], [2], [], [2]].slice(0, asked.length)));
  const bring = screen.getByRole<HTMLButtonElement>('button', { name: 'Bring in the rest, leave out what is wrong' });
  await waitFor(() => expect(bring.disabled).toBe(false));
  await userEvent.click(bring);
  await waitFor(() => expect(agreed).toHaveLength(1));
  expect(agreed[0]).toMatchObject({ leave: [2], wrong: 1 });
});

test('counts in words', () => {
  expect(added({ animals: 1, entries: 340 })).toBe('1 animal and 340 log lines');
  expect(added({})).toBe('0 animals and 0 log lines');
});
