import { cleanup, render, screen } from '@testing-library/preact';
import userEvent from '@testing-library/user-event';
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import type { CaseJson } from '../src/core/contract';
import { changeSettings } from '../src/core/settings';
import { ifSentence } from '../src/core/words';
import { supposed, WhatIf } from '../src/ui/breeder/whatif';
import { Hope } from '../src/ui/keeper/hope';

const name = 'breeders/b/cases/c';
const c: CaseJson = { name, standing: 'STANDING_WATCH', assessTime: '2026-11-20T10:00:00Z' };
const eats = {
  code: 'eats',
  happenTime: new Date().toISOString(),
  condition: 'it eats again',
  consequence: 'all is as it should be within 3 days',
  better: true,
};
const refuses = {
  ...eats,
  code: 'refuses',
  condition: 'it refuses again',
  consequence: 'a reptile vet should see it',
  better: false,
};

let asked: string[] = [];
let probes: object[] = [];

beforeEach(() => {
  asked = [];
  vi.stubGlobal('fetch', async (path: string) => {
    asked.push(path);
    return new Response(JSON.stringify({ probes }), { headers: { 'Content-Type': 'application/json' } });
  });
  changeSettings({ mass: 'g', temp: 'C' });
});

afterEach(cleanup);

test('the sentence names today, and any other day by its weekday', () => {
  const now = new Date(2026, 10, 25, 12);
  expect(ifSentence({ ...eats, happenTime: now.toISOString() }, now)).toBe(
    'If it eats again today, all is as it should be within 3 days.',
  );
  expect(ifSentence({ ...eats, happenTime: new Date(2026, 10, 27, 12).toISOString() }, now)).toContain('on Fri');
});

test('what is supposed goes out in grams and °C', () => {
  changeSettings({ mass: 'oz', temp: 'F' });
  expect(supposed('weighs', '15')).toEqual({ 'weighIn.massG': 425.24 });
  expect(supposed('warm', '90')).toEqual({ 'climate.warmC': 32.22, 'climate.takenWith': 'TAKEN_WITH_PROBE' });
  expect(supposed('eats', '')).toEqual({ 'offer.result': 'OFFER_RESULT_EATEN' });
  expect(() => supposed('weighs', 'heavy')).toThrow('Give a weight in oz.');
});

test('the keeper reads only what would help, and only when help is wanted', async () => {
  probes = [refuses, eats];
  const { rerender } = render(<Hope c={c} />);
  expect(await screen.findByText(/^If it eats again today/)).toBeDefined();
  expect(screen.queryByText(/refuses/)).toBeNull();
  rerender(<Hope c={{ ...c, standing: 'STANDING_VET' }} />);
  await vi.waitFor(() => expect(screen.queryByText(/^If/)).toBeNull());
  expect(asked).toHaveLength(1);
});

test('the breeder sees the list and tries a weight', async () => {
  probes = [eats, refuses];
  render(<WhatIf c={c} />);
  expect(await screen.findAllByText(/^If it .* again today/)).toHaveLength(2);
  await userEvent.selectOptions(screen.getByLabelText('Suppose'), 'weighs');
  await userEvent.click(screen.getByRole('button', { name: 'What then?' }));
  expect(await screen.findByText('Give a weight in g.')).toBeDefined();
  expect(asked).toHaveLength(1);
  probes = [{ ...eats, code: 'weighs', condition: 'it weighs 430 g', standing: 'STANDING_SETTLED', pRefusal: 0.12 }];
  await userEvent.type(screen.getByLabelText('Weight'), '430');
  await userEvent.click(screen.getByRole('button', { name: 'What then?' }));
  expect(await screen.findByText(/If it weighs 430 g today.*12 % likely/)).toBeDefined();
  expect(asked[1]).toBe(`/v1/${name}:probe?weighIn.massG=430`);
});
