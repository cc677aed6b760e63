import { cleanup, render, screen, within } from '@testing-library/preact';
import userEvent from '@testing-library/user-event';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { me } from '../src/ui/breeder/session';
import { ThresholdsPage } from '../src/ui/breeder/thresholds';

const name = 'breeders/loam/thresholds';
const movable = [
  {
    code: 'act_from',
    label: 'Step in from',
    about: 'From when you are called.',
    less: 'More calls.',
    more: 'Fewer calls.',
    unit: 'share',
    defaultValue: 0.4085,
    least: 0.1,
    most: 0.8,
    step: 0.01,
    sure: 'assumption',
    source: 'simulated animals',
  },
];
let own: Record<string, number>;
let asked: { method: string; path: string; body: unknown }[];
let refuse: string;

beforeEach(() => {
  own = {};
  asked = [];
  refuse = '';
  me.value = { breeder: 'breeders/loam', role: 'breeder' };
  vi.stubGlobal('fetch', async (path: string, init: RequestInit) => {
    const body = init.body ? JSON.parse(String(init.body)) : undefined;
    asked.push({ method: String(init.method), path, body });
    if (refuse && init.method !== 'GET') {
      const fieldViolations = [{ field: 'thresholds.own.act_from', description: refuse }];
      return Response.json(
        {
          code: 3,
          message: refuse,
          details: [{ '@type': 'type.googleapis.com/google.rpc.BadRequest', fieldViolations }],
        },
        { status: 400 },
      );
    }
    if (path.endsWith(':try')) {
      return Response.json({
        total: 3,
        lookedAt: 3,
        weeks: 10,
        settled: 1,
        endedBadly: 1,
        changed: 1,
        caution: 'This is too little to judge by.',
        present: { calls: 1, firstCallDays: [20] },
        proposed: { calls: 2, found: 1, medianLeadDays: 9, firstCallDays: [11, 20] },
        cases: [
          {
            case: 'breeders/loam/cases/c-1',
            animalName: 'tub 14',
            outcome: 'OUTCOME_RETURNED',
            days: 30,
            present: {},
            proposed: { stepInDay: 11 },
          },
        ],
      });
    }
    if (init.method === 'PATCH') own = body.own;
    const thresholds = { name, own, etag: String(asked.length) };
    return Response.json(
      init.method === 'GET' ? { thresholds, movable, fixed: ['Signs keep their level.'] } : { thresholds },
    );
  });
});

afterEach(cleanup);

test('a threshold is moved by keys, tried, put to use and taken back', async () => {
  render(<ThresholdsPage />);
  const user = userEvent.setup();
  expect(await screen.findByText('Signs keep their level.')).toBeDefined();
  expect(screen.getByText(/The program’s own: 41 %/)).toBeDefined();
  const use = () => screen.getByRole<HTMLButtonElement>('button', { name: 'Use these' });
  expect(use().disabled).toBe(true);
  await user.click(screen.getByRole('button', { name: 'Step in from: less' }));
  expect(screen.getByRole('slider', { name: 'Step in from' }).getAttribute('aria-valuetext')).toBe('40\u00a0%');
  await user.click(screen.getByRole('button', { name: 'Try on my past cases' }));
  const tried = await screen.findByRole('region', { name: 'What it would have been' });
  expect(within(tried).getByText('This is too little to judge by.')).toBeDefined();
  expect(within(tried).getByText('2 times, 0.2 a week')).toBeDefined();
  expect(within(tried).getByText('never → day 11')).toBeDefined();
  expect(asked.at(-1)?.body).toEqual({ thresholds: { name, own: { act_from: 0.4 } } });

  await user.click(screen.getByRole('button', { name: 'Step in from: more' }));
  expect(screen.getByText(/You moved something since/)).toBeDefined();
  await user.click(screen.getByRole('button', { name: 'Step in from: less' }));
  await user.click(use());
  expect(await screen.findByText('These are in use')).toBeDefined();
  expect(asked.at(-1)).toMatchObject({ method: 'PATCH', body: { name, own: { act_from: 0.4 }, etag: '1' } });
  await user.click(screen.getByRole('button', { name: 'All as the program has them' }));
  expect(screen.queryByText('These are in use')).toBeNull();
  await user.click(use());
  await vi.waitFor(() => expect(asked.at(-1)).toMatchObject({ method: 'PATCH', body: { own: {} } }));
});

test('what is wrong is said at the threshold, and a helper can only try', async () => {
  me.value = { breeder: 'breeders/loam', role: 'helper' };
  refuse = 'Choose less.';
  render(<ThresholdsPage />);
  const user = userEvent.setup();
  await user.click(await screen.findByRole('button', { name: 'Step in from: more' }));
  expect(screen.queryByRole('button', { name: 'Use these' })).toBeNull();
  await user.click(screen.getByRole('button', { name: 'Try on my past cases' }));
  expect(await screen.findByText('Choose less.')).toBeDefined();
  expect(screen.getByRole('slider').getAttribute('aria-invalid')).toBe('true');
});
