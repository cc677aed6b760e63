// The screens of runs, by keys, by labels and by ear.
import { cleanup, fireEvent, render, screen } from '@testing-library/preact';
import userEvent from '@testing-library/user-event';
import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import type { EntryJson, StockAnimalJson } from '../src/core/contract';
import { begin, logged, type Run, without } from '../src/core/run';
import { changeSettings } from '../src/core/settings';
import FeedRun from '../src/ui/breeder/feedrun';
import type { Doing } from '../src/ui/breeder/running';
import { me } from '../src/ui/breeder/session';
import { setSingleKeys } from '../src/ui/breeder/triage';
import WeighRun from '../src/ui/breeder/weighrun';

/** The camera of a test: whatever label the test holds up is read by a press. */
let label = '';
vi.mock('../src/ui/parts/scan', () => ({
  Scan: ({ onText, children }: { onText: (text: string) => void; children: JSX.Element }) => (
    <div>
      {children}
      <button type="button" onClick={() => onText(label)}>
        The camera reads
      </button>
    </div>
  ),
}));

const name = (id: string) => `breeders/fern/animals/${id}`;
const meal = {
  offer: { result: 'OFFER_RESULT_EATEN', prey: 'mouse', preyState: 'PREY_STATE_THAWED', preyG: 8 },
} as const;
const animal = (id: string, more: StockAnimalJson = {}): [string, StockAnimalJson] => [
  name(id),
  {
    animal: { name: name(id), displayName: id, place: `rack 1 tub ${id}` },
    massG: 84,
    weighTime: new Date(Date.now() - 7 * 86_400_000).toISOString(),
    lastMeal: meal,
    lastOffer: meal,
    ...more,
  },
];
const stock = new Map([animal('A'), animal('B'), animal('C'), animal('X'), animal('Sold', { away: true })]);

let run: Run;
let entries: EntryJson[];

/** Holds the run as the page does, without a device behind it. */
function Holding({ of }: { of: (d: Doing) => JSX.Element }): JSX.Element {
  const [r, setRun] = useState(run);
  const put = (next: Run) => {
    run = next;
    setRun(next);
    return next;
  };
  return of({
    run: r,
    stock,
    change: (f) => put(f(run)),
    log: async (animal, entry) => {
      entries.push(entry);
      put(logged(run, { animal, id: String(entries.length), entry, last: {} }));
      return true;
    },
    undo: async (animal) => {
      const step = run.steps.findLast((s) => !animal || s.animal === animal);
      if (step) put(without(run, step.id));
      return step;
    },
    error: undefined,
  });
}

beforeEach(() => {
  vi.stubGlobal('fetch', async () => Promise.reject(new TypeError('no network')));
  me.value = { role: 'breeder', breeder: 'breeders/fern' };
  changeSettings({ mass: 'g' });
  setSingleKeys(true);
  entries = [];
  run = begin('breeders/fern', [name('A'), name('B'), name('C')]);
});
afterEach(cleanup);

const weights = () => entries.map((e) => e.weighIn?.massG);
const box = () => screen.getByRole<HTMLInputElement>('textbox', { name: /^Weight of/ });

test('weighing by keys: digits and Enter, arrows, and U; a question is not answered by habit', async () => {
  render(<Holding of={(d) => <WeighRun {...d} />} />);
  const user = userEvent.setup();
  expect(document.activeElement).toBe(box());
  await user.keyboard('90{Enter}');
  expect(weights()).toEqual([90]);
  expect(box().getAttribute('aria-label')).toBe('Weight of B, in grams');
  expect(screen.getByText('A 90 g, saved. Now B, rack 1 tub B.')).toBeDefined();
  await user.keyboard('{ArrowDown}');
  expect(run.skipped).toEqual([name('B')]);
  await user.keyboard('{ArrowUp}900{Enter}');
  expect(screen.getByText('Is 900 g right for B?')).toBeDefined();
  expect(document.activeElement?.textContent).toBe('No, type it again');
  await user.keyboard('{Enter}');
  expect(weights()).toEqual([90]);
  expect(document.activeElement).toBe(box());
  await user.keyboard('900{Enter}');
  await user.click(screen.getByRole('button', { name: 'It is right, save it' }));
  expect(entries[1]).toMatchObject({ weighIn: { massG: 900 }, confirmed: true });
  await user.keyboard('u');
  expect(run.at).toBe(name('B'));
  expect(box().value).toBe('');
  setSingleKeys(false);
  await user.keyboard('u');
  expect(run.steps).toHaveLength(1);
});

test('weighing in ounces by the pad; nothing typed is asked for', async () => {
  render(<Holding of={(d) => <WeighRun {...d} />} />);
  const user = userEvent.setup();
  await user.keyboard('{Enter}');
  expect(screen.getByRole('alert').textContent).toContain('Give the weight as a number');
  await user.click(screen.getByRole('button', { name: 'In grams. Change to ounces' }));
  for (const key of ['3', 'Decimal mark', '1', '4', 'Delete the last digit'])
    await user.click(screen.getByRole('button', { name: key }));
  expect(screen.getByText('three point one ounces')).toBeDefined();
  await user.click(screen.getByRole('button', { name: 'Save' }));
  expect(weights()).toEqual([87.88]); // 3.1 ounces of 28.349523125 g
});

test('the next one by its label, also from another rack; other codes and sold animals are told apart', async () => {
  render(<Holding of={(d) => <WeighRun {...d} />} />);
  const user = userEvent.setup();
  const read = async (text: string) => {
    label = text;
    await user.click(screen.getByRole('button', { name: 'The camera reads' }));
  };
  await user.click(screen.getByRole('button', { name: 'Scan a label' }));
  await read('a parcel');
  expect(screen.getByText('That code is no label of an animal in your stock book.')).toBeDefined();
  await read('https://example.org/b/animals/Sold');
  expect(screen.getByText('Sold has been handed over.')).toBeDefined();
  await read('https://example.org/b/animals/X');
  await user.keyboard('85{Enter}');
  expect(run.steps.map((s) => s.animal)).toEqual([name('X')]);
  expect(screen.getByRole('heading', { name: 'Which tub is next?' })).toBeDefined();
  await read('https://example.org/b/animals/C');
  await user.keyboard('86{Enter}');
  expect(run.steps.map((s) => s.animal)).toEqual([name('X'), name('C')]);
});

test('feeding by keys, and the rest by exception', async () => {
  const { container } = render(<Holding of={(d) => <FeedRun {...d} />} />);
  const user = userEvent.setup();
  await user.keyboard('t');
  expect(entries).toMatchObject([{ offer: { result: 'OFFER_RESULT_EATEN', prey: 'mouse', preyG: 8 } }]);
  expect(document.activeElement?.getAttribute('aria-label')).toBe('B: took it');
  await user.keyboard('n');
  expect(entries[1]).toMatchObject({ offer: { result: 'OFFER_RESULT_REFUSED' } });
  expect(screen.getByRole('status').textContent).toBe('B: Did not take a thawed mouse of 8\u00a0g. Saved, 2 of 3.');
  await user.keyboard('u');
  expect(run.steps).toHaveLength(1);
  expect(document.activeElement?.getAttribute('aria-label')).toBe('B: took it');
  await user.click(screen.getByRole('button', { name: 'B: something else' }));
  await user.type(screen.getByLabelText('Note'), 'in blue tonight'); // its letters are no keys
  expect(entries).toHaveLength(2);
  const size = () => screen.getByLabelText('Prey weight');
  fireEvent.input(size(), { target: { value: '85' } });
  await user.click(screen.getByRole('button', { name: 'Struck, let go of it' }));
  expect(screen.getByText(/Prey of 85 g is heavier than the snake/)).toBeDefined();
  await user.click(screen.getByRole('button', { name: 'No, change it' }));
  expect(size()).toHaveProperty('value', '85'); // what was typed is there still
  await user.click(screen.getByRole('button', { name: 'Eyes cloudy, not offered' }));
  expect(entries[2]).toMatchObject({ shed: { stage: 'SHED_STAGE_OPAQUE' }, note: 'in blue tonight' });
  expect(container.textContent).toContain('Eyes are cloudy: a shed is coming. in blue tonight');
  await user.keyboard('t');
  expect(screen.getByRole('heading', { level: 1 }).textContent).toBe('All are done');
});
