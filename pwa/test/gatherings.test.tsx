import { cleanup, render, screen } from '@testing-library/preact';
import userEvent from '@testing-library/user-event';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import { Gatherings } from '../src/ui/breeder/gatherings';

const refusing = (ids: string[]) => ({
  clutch: '26-1',
  text: `${ids.length} of 6 animals of the clutch 26-1 have refused.`,
  assumes: 'Each was as likely to refuse.',
  cases: ids.map((id) => ({ name: `breeders/b/cases/${id}`, animal: { displayName: `tub ${id}` } })),
});
let gatherings: object[] = [];

beforeEach(() => {
  localStorage.clear();
  vi.stubGlobal(
    'fetch',
    async () => new Response(JSON.stringify({ gatherings }), { headers: { 'Content-Type': 'application/json' } }),
  );
});

afterEach(cleanup);

test('a note with its animals, hidden until another animal is in it', async () => {
  gatherings = [refusing(['c1', 'c2', 'c3'])];
  render(<Gatherings />);
  expect(await screen.findByText(/^3 of 6 animals/)).toBeDefined();
  expect(screen.getByRole('link', { name: 'tub c2' }).getAttribute('href')).toBe('/b/cases/c2');
  expect(screen.getByText('Each was as likely to refuse.')).toBeDefined();
  await userEvent.click(screen.getByRole('button', { name: 'Hide on this device' }));
  expect(screen.queryByText(/^3 of 6/)).toBeNull();
  cleanup();

  gatherings = [refusing(['c3', 'c2', 'c1'])];
  const { container } = render(<Gatherings />);
  await new Promise((done) => setTimeout(done, 50));
  expect(container.textContent).toBe('');
  cleanup();

  gatherings = [refusing(['c1', 'c2', 'c3', 'c4'])];
  render(<Gatherings />);
  expect(await screen.findByText(/^4 of 6 animals/)).toBeDefined();
});
