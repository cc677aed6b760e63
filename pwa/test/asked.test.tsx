import 'fake-indexeddb/auto';
import { cleanup, render, screen } from '@testing-library/preact';
import { afterEach, expect, test } from 'vitest';
import type { CaseJson } from '../src/core/contract';
import { Asked } from '../src/ui/keeper/asked';

afterEach(cleanup);

const now = new Date(2026, 10, 25, 12);
const asked = (due: Date | undefined, ask: string): CaseJson => ({
  name: 'breeders/b/cases/c',
  animal: { name: 'breeders/b/animals/a' },
  assessment: {
    checkIns: due
      ? [
          {
            id: ask,
            dueTime: due.toISOString(),
            ask,
            question: ask === 'weigh' ? 'What does it weigh now?' : 'How is it?',
          },
        ]
      : [],
  },
});

test('until the next question there is nothing to write down', () => {
  const { container } = render(<Asked c={asked(new Date(2026, 11, 3, 9), 'weigh')} busy={false} now={now} />);
  expect(container.textContent).toMatch(
    /^Next, Thu.*: “What does it weigh now\?” Nothing to write down until then, unless/,
  );
  expect(screen.queryByRole('link')).toBeNull();
});

test('a question that is due leads to where it is answered', () => {
  const { rerender } = render(<Asked c={asked(now, 'weigh')} busy={false} now={now} />);
  expect(screen.getByRole('link', { name: 'What does it weigh now?' }).getAttribute('href')).toMatch(/\/weigh$/);
  rerender(<Asked c={asked(now, 'setup')} busy={false} now={now} />);
  expect(screen.getByRole('link').getAttribute('href')).toMatch(/\/setup$/);
  rerender(<Asked c={asked(new Date(2026, 10, 1), 'word')} busy={false} now={now} />);
  expect(screen.getByRole('link', { name: 'How is it?' }).getAttribute('href')).toMatch(/\/thread$/);
});

test('a question in the breeder’s words is theirs', () => {
  const c = asked(now, 'weigh');
  const one = c.assessment?.checkIns?.[0];
  if (one) Object.assign(one, { own: true, question: 'Has it grown?' });
  render(<Asked c={{ ...c, breederName: 'Warm Burrow' }} busy={false} now={now} />);
  expect(screen.getByText('Warm Burrow asks: “Has it grown?”')).toBeTruthy();
  expect(screen.getByRole('link', { name: 'Log the weight' }).getAttribute('href')).toMatch(/\/weigh$/);
});

test('nothing is asked beside a thing to do, nor of an ended case', () => {
  const { container, rerender } = render(<Asked c={asked(now, 'weigh')} busy now={now} />);
  expect(container.textContent).toBe('');
  rerender(<Asked c={asked(undefined, '')} busy={false} now={now} />);
  expect(container.textContent).toBe('');
});
