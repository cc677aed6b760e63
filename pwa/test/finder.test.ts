// The page's side of the measuring worker: what goes over, and what a worker that fails means.
import { afterEach, beforeEach, expect, test, vi } from 'vitest';
import type { Asked, Told } from '../src/photo/finder';

class FakeWorker {
  static made: FakeWorker[] = [];
  onmessage: ((e: { data: Told }) => void) | undefined;
  onerror: ((e: { message?: string }) => void) | undefined;
  asked: Asked[] = [];
  ended = false;
  readonly address: string;
  constructor(address: string) {
    this.address = address;
    FakeWorker.made.push(this);
  }
  postMessage(asked: Asked): void {
    this.asked.push(asked);
  }
  terminate(): void {
    this.ended = true;
  }
  tell(told: Told): void {
    this.onmessage?.({ data: told });
  }
}

const image = {
  width: 2,
  height: 1,
  data: new Uint8ClampedArray([1, 2, 3, 255, 4, 5, 6, 255]),
} as unknown as ImageData;

beforeEach(() => {
  FakeWorker.made = [];
  vi.stubGlobal('Worker', FakeWorker);
  vi.stubGlobal('__MEASURE__', '/assets/measure.js');
  vi.resetModules();
});
afterEach(() => {
  vi.useRealTimers();
  vi.unstubAllGlobals();
});

test('answers find their askers, in any order, and the caller keeps the picture', async () => {
  const { findCode, readCode } = await import('../src/photo/finder');
  const first = findCode(image);
  const second = readCode(image);
  const [worker] = FakeWorker.made;
  expect(FakeWorker.made).toHaveLength(1);
  expect(worker?.address).toBe('/assets/measure.js');
  expect(worker?.asked.map((a) => a.glance)).toEqual([undefined, true]);
  expect(new Uint8Array(worker?.asked[0]?.image?.rgba ?? new ArrayBuffer(0))).toEqual(new Uint8Array(image.data));
  worker?.tell({ id: worker.asked[1]?.id ?? 0, json: '"text"' });
  worker?.tell({ id: worker.asked[0]?.id ?? 0, json: 'null' });
  expect(await second).toBe('text');
  expect(await first).toBeNull();
  expect(image.data.byteLength).toBe(8);
});

test('a question of another form is an error; a refusal is an answer', async () => {
  const { measureOpening } = await import('../src/photo/finder');
  const question = { reference: 'handover_card', shape: 'round', rim: [] } as const;
  const wrong = measureOpening(image, { ...question, rim: [] });
  const refused = measureOpening(image, { ...question, rim: [] });
  const worker = FakeWorker.made[0];
  expect(JSON.parse(worker?.asked[0]?.question ?? '')).toEqual(question);
  worker?.tell({ id: worker.asked[0]?.id ?? 0, json: '{"error":"no such field"}' });
  worker?.tell({ id: worker.asked[1]?.id ?? 0, json: '{"refusal":{"code":"few_taps","text":"Tap."}}' });
  await expect(wrong).rejects.toThrow('no such field');
  expect(await refused).toEqual({ refusal: { code: 'few_taps', text: 'Tap.' } });
});

test('a worker that fails fails all that wait, and the next question begins anew', async () => {
  const { findCode, warmFinder } = await import('../src/photo/finder');
  const [one, two] = [findCode(image), warmFinder()];
  const worker = FakeWorker.made[0];
  worker?.tell({ id: worker.asked[0]?.id ?? 0, error: 'TypeError: Failed to fetch' });
  await expect(one).rejects.toThrow('Failed to fetch');
  await expect(two).rejects.toThrow('Failed to fetch');
  expect(worker?.ended).toBe(true);

  const again = warmFinder();
  expect(FakeWorker.made).toHaveLength(2);
  FakeWorker.made[1]?.onerror?.({});
  await expect(again).rejects.toThrow('could not be loaded');
});

test('it goes when nothing was asked for a while', async () => {
  vi.useFakeTimers();
  const { warmFinder } = await import('../src/photo/finder');
  const ready = warmFinder();
  const worker = FakeWorker.made[0];
  worker?.tell({ id: worker.asked[0]?.id ?? 0, json: 'null' });
  await ready;
  vi.advanceTimersByTime(59_000);
  expect(worker?.ended).toBe(false);
  vi.advanceTimersByTime(2_000);
  expect(worker?.ended).toBe(true);
});
