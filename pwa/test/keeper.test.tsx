import 'fake-indexeddb/auto';
import { cleanup, render, screen } from '@testing-library/preact';
import userEvent from '@testing-library/user-event';
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import { ApiError, Offline } from '../src/api/client';
import type { CaseJson, EntryJson } from '../src/core/contract';
import { changeSettings } from '../src/core/settings';
import { weightSlip } from '../src/core/slip';
import { parseLength } from '../src/core/units';
import { standingWord } from '../src/core/words';
import { keepCases, keepLog, keepTables } from '../src/store/copies';
import { useDatabase } from '../src/store/db';
import { allItems } from '../src/store/outbox';
import { troubleOf } from '../src/ui/claim/claim';
import { actionFor, CaseHome } from '../src/ui/keeper/home';
import { ClimateForm, OfferForm, openSigns, SignForm, WeighForm } from '../src/ui/keeper/log';
import { overLimit } from '../src/ui/keeper/setup';
import { load, unread } from '../src/ui/keeper/state';
import Talk from '../src/ui/keeper/talk';

const animal = 'breeders/b/animals/a';
const c: CaseJson = {
  name: 'breeders/b/cases/c',
  animal: { name: animal, displayName: 'Fennel' },
  commonName: 'ball python',
  breederName: 'Thimblewick',
  standing: 'STANDING_WATCH',
  handoverTime: '2026-03-01T10:00:00Z',
  assessment: {
    keeperSees: 'It refused two meals.',
    keeperMeans: 'That is common.',
    keeperDo: 'Weigh it once.',
    keeperWorry: 'When it gapes.',
    steps: [{ code: 'weigh', text: 'Weigh it once.' }],
  },
};

let n = 0;

beforeEach(async () => {
  useDatabase(`keeper-${n++}`);
  vi.stubGlobal('fetch', async () => Promise.reject(new TypeError('no network')));
  vi.stubGlobal('scrollTo', () => undefined);
  changeSettings({ mass: 'g', temp: 'C' });
  await keepCases([c]);
  await keepTables(
    [
      { code: 'gaping', label: 'It gapes', level: 'STANDING_VET', doNow: 'Call a reptile vet today.' },
      { code: 'mites', label: 'Moving dots', level: 'STANDING_STEP_IN', doNow: 'Write to your breeder.' },
    ],
    [],
  );
  await load();
});

afterEach(cleanup);

const saved = async () => {
  await vi.waitFor(async () => expect(await allItems()).not.toHaveLength(0));
  return (await allItems())[0]?.entry;
};

test('home says how it is in plain words and has the one next thing as its button', () => {
  render(<CaseHome c={c} first />);
  expect(screen.getByRole('heading', { level: 1 }).textContent).toBe('Fennel');
  for (const text of [
    standingWord('STANDING_WATCH').keeper,
    'It refused two meals.',
    'That is common.',
    'Weigh it once.',
  ])
    screen.getByText(text);
  expect(screen.getByRole('link', { name: 'Log the weight' }).getAttribute('href')).toBe('/k/b/c/weigh');
});

test('every step that the service may suggest has its button or is to wait', () => {
  const codes = [
    'weigh',
    'offer',
    'offer_smaller',
    'say_how_it_is',
    'check_setup',
    'measure_climate',
    'raise_warm_side',
    'call_vet',
    'fix:hides',
  ];
  for (const code of codes) expect(actionFor(code), code).toBeDefined();
  expect(actionFor('fix:hides')?.to).toBe('setup/hides');
  for (const code of ['leave_in_peace', 'keep_going', 'something_new', undefined])
    expect(actionFor(code)).toBeUndefined();
});

test('an offer is saved by one tap, with the prey of last time', async () => {
  render(
    <OfferForm
      c={c}
      old={{
        entry: {
          happenTime: '2026-03-02T10:00:00Z',
          offer: { result: 'OFFER_RESULT_REFUSED', prey: 'rat', preyState: 'PREY_STATE_THAWED', preyG: 12 },
        },
        instead: 99,
      }}
    />,
  );
  await userEvent.click(screen.getByRole('button', { name: 'Ate it' }));
  expect(await saved()).toEqual({
    case: c.name,
    happenTime: expect.stringMatching(/^2026-03-02T10:00/),
    offer: { result: 'OFFER_RESULT_EATEN', prey: 'rat', preyState: 'PREY_STATE_THAWED', preyG: 12 },
  });
});

describe('weight', () => {
  const submit = () => userEvent.click(screen.getByRole('button', { name: 'Save the weight' }));

  test('12,5 is understood and echoed', async () => {
    render(<WeighForm c={c} />);
    await userEvent.type(screen.getByLabelText('Weight of Fennel'), '12,5');
    screen.getByText('twelve point five grams');
    await submit();
    expect((await saved())?.weighIn).toEqual({ massG: 12.5 });
  });

  test('what is no number is not saved, and said', async () => {
    render(<WeighForm c={c} />);
    await userEvent.type(screen.getByLabelText('Weight of Fennel'), 'heavy');
    await submit();
    expect(screen.getByRole('alert').textContent).toContain('as a number');
    expect(await allItems()).toEqual([]);
  });

  test('ounces', async () => {
    changeSettings({ mass: 'oz' });
    render(<WeighForm c={c} />);
    await userEvent.type(screen.getByLabelText('Weight of Fennel'), '2');
    await submit();
    expect((await saved())?.weighIn).toEqual({ massG: 56.7 });
  });

  test('the bounds of a slip are those of the service (care.CheckSlip)', () => {
    expect(weightSlip(54, 5400, 7)).toBe(true);
    expect(weightSlip(100, 150, 0)).toBe(false);
    expect(weightSlip(100, 151, 0)).toBe(true);
    expect(weightSlip(100, 151, 2)).toBe(false);
    expect(weightSlip(100, 64, 0)).toBe(true);
    expect(weightSlip(100, 41, 400)).toBe(false);
    expect(weightSlip(100, 39, 4000)).toBe(true);
  });
});

test('a climate reading may be one number; an empty one is not saved', async () => {
  render(<ClimateForm c={c} />);
  await userEvent.click(screen.getByRole('button', { name: 'Save the reading' }));
  expect(screen.getByRole('alert').textContent).toContain('at least one');
  changeSettings({ temp: 'F' });
  await userEvent.type(screen.getByLabelText('Warm side'), '90');
  await userEvent.click(screen.getByRole('button', { name: 'Save the reading' }));
  expect((await saved())?.climate).toEqual({ warmC: 32.22 });
});

test('a red sign says what to do before anything is saved', async () => {
  render(<SignForm c={c} />);
  await userEvent.click(screen.getByRole('button', { name: /It gapes/ }));
  expect(screen.getByRole('alert').textContent).toContain('Call a reptile vet today.');
  expect(await allItems()).toEqual([]);
});

test('what goes wrong with a claim: each has its own words and its next thing', () => {
  const e = (status: number, reason: string) => new ApiError(status, reason, 'text', [], {});
  expect(troubleOf(new Offline()).next).toBe('again');
  expect(troubleOf(e(404, 'CODE_WRONG')).next).toBe('type');
  expect(troubleOf(e(400, 'CODE_USED')).next).toBe('back');
  expect(troubleOf(e(503, '')).next).toBe('again');
  const titles = ['CODE_WRONG', 'CODE_USED', 'CODE_EXPIRED', 'CODE_REVOKED', 'TOO_MANY_TRIES'].map(
    (r) => troubleOf(e(400, r)).title,
  );
  expect(new Set(titles).size).toBe(5);
});

test('the list of signs is narrowed by a word', async () => {
  render(<SignForm c={c} />);
  const word = screen.getByLabelText('Look for a word');
  await userEvent.type(word, 'DOTS');
  expect(screen.queryByText('It gapes')).toBeNull();
  screen.getByText('Moving dots');
  await userEvent.type(word, 'x');
  screen.getByText(/Nothing in the list has this word/);
  await userEvent.clear(word);
  screen.getByText('It gapes');
});

test('what the breeder wrote stands on the first screen until it was read', async () => {
  const wrote = (id: string, at: string, by: 'BREEDER' | 'KEEPER', text: string): EntryJson => ({
    name: `${animal}/entries/${id}`,
    case: c.name ?? '',
    by: `ACTOR_KIND_${by}`,
    happenTime: at,
    message: { text },
  });
  await keepLog(animal, [
    wrote('3', '2026-03-09T10:00:00Z', 'KEEPER', 'Thank you.'),
    wrote('2', '2026-03-08T10:00:00.5Z', 'BREEDER', 'Leave the lid shut.'),
    wrote('1', '2026-03-07T10:00:00Z', 'BREEDER', 'How is she?'),
    { ...wrote('0', '2026-03-08T10:00:00Z', 'BREEDER', 'To the keeper before.'), case: 'breeders/b/cases/older' },
  ]);
  await load();
  const home = render(<CaseHome c={c} first />);
  screen.getByRole('heading', { name: 'Thimblewick wrote' });
  screen.getByText('Leave the lid shut.');
  screen.getByText(/and 1 more before it/);
  home.unmount();
  const talk = render(<Talk c={c} />);
  await vi.waitFor(() => expect(unread(c)).toEqual([]));
  talk.unmount();
  render(<CaseHome c={c} first />);
  expect(screen.queryByRole('heading', { name: 'Thimblewick wrote' })).toBeNull();
});

test('what was read on one phone is read on the next, and only what came in later is new', async () => {
  const wrote = (id: string, text: string, happened: string, came: string): EntryJson => ({
    name: `${animal}/entries/${id}`,
    case: c.name ?? '',
    by: 'ACTOR_KIND_BREEDER',
    happenTime: happened,
    receiveTime: came,
    message: { text },
  });
  await keepLog(animal, [
    wrote('3', 'And the hide?', '2026-03-09T10:00:00Z', '2026-03-09T10:00:01Z'),
    // Written in a cellar before what was read, and sent after it.
    wrote('2', 'Leave the lid shut.', '2026-03-07T09:00:00Z', '2026-03-09T08:00:00Z'),
    wrote('1', 'How is she?', '2026-03-07T10:00:00Z', '2026-03-07T10:00:01.5Z'),
  ]);
  await load();
  const texts = (at?: string) => unread({ ...c, ...(at && { keeperReadTime: at }) }).map((e) => e.message?.text);
  expect(texts()).toEqual(['And the hide?', 'How is she?', 'Leave the lid shut.']);
  expect(texts('2026-03-07T10:00:01.500Z')).toEqual(['And the hide?', 'Leave the lid shut.']);
  expect(texts('2026-03-09T10:00:01Z')).toEqual([]);
});

test('sizes against the limits of this animal', () => {
  expect(overLimit({ maxDepthMm: 20 }, 'depth', 30)).toContain('deeper');
  expect(overLimit({ maxDepthMm: 20 }, 'depth', 20)).toBe('');
  expect(overLimit({ shutBelowMm: 9, passAboveMm: 29 }, 'opening', 15)).toContain('stuck');
  expect(overLimit({ shutBelowMm: 9, passAboveMm: 29 }, 'opening', 8)).toBe('');
  expect(overLimit({ shutBelowMm: 9, passAboveMm: 29 }, 'opening', 29)).toBe('');
  expect(overLimit({ shutBelowMm: 4 }, 'gap', 4)).toContain('head');
  expect(overLimit({ maxHeightMm: 0 }, 'height', 900)).toBe(''); // no limit
  expect(parseLength('2 cm')).toBe(20);
  expect(parseLength('0,5 cm')).toBe(5);
  expect(parseLength('1 in')).toBe(25.4);
  expect(parseLength('wide')).toBeNull();
});

test('a sign is open until it is said to be gone, or is four weeks old', () => {
  const line = (day: number, sign: string, gone = false) => ({
    entry: { name: `${day}`, happenTime: new Date(Date.UTC(2027, 2, day)).toISOString(), sign: { sign, gone } },
  });
  const now = Date.UTC(2027, 2, 29);
  const lines = [
    line(28, 'wheeze'),
    line(20, 'mites', true),
    line(12, 'wheeze', true),
    line(10, 'mites'),
    line(0, 'lump'),
  ];
  expect(openSigns(lines as never, now)).toEqual(['wheeze']);
  expect(openSigns([...lines].reverse() as never, now)).toEqual(['wheeze']);
});
