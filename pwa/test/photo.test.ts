import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { changeSettings } from '../src/core/settings';
import { takenAt } from '../src/photo/exif';
import { type Canvas, isHeic, judgePixels, prepare } from '../src/photo/photo';

const file = (name: string) => {
  const b = readFileSync(join(import.meta.dirname, '../../testdata/photos', name));
  return b.buffer.slice(b.byteOffset, b.byteOffset + b.byteLength) as ArrayBuffer;
};

/** A JPEG's head with Exif as the standard lays it out (Exif 2.32, 4.6): a first directory that points to the Exif directory. */
function withExif(little: boolean, date: string, offset: string): ArrayBuffer {
  const v = new DataView(new ArrayBuffer(200));
  v.setUint16(0, 0xffd8);
  v.setUint16(2, 0xffe0); // a JFIF segment first, as many cameras have
  v.setUint16(4, 16);
  v.setUint16(20, 0xffe1);
  v.setUint16(22, 170);
  v.setUint32(24, 0x45786966);
  const t = 30;
  v.setUint16(t, little ? 0x4949 : 0x4d4d);
  v.setUint16(t + 2, 42, little);
  v.setUint32(t + 4, 8, little);
  v.setUint16(t + 8, 1, little);
  v.setUint16(t + 10, 0x8769, little);
  v.setUint16(t + 12, 4, little);
  v.setUint32(t + 14, 1, little);
  v.setUint32(t + 18, 26, little);
  v.setUint16(t + 26, offset ? 2 : 1, little);
  const text = (entry: number, tag: number, s: string, at: number) => {
    v.setUint16(t + entry, tag, little);
    v.setUint16(t + entry + 2, 2, little);
    v.setUint32(t + entry + 4, s.length + 1, little);
    v.setUint32(t + entry + 8, at, little);
    for (let i = 0; i < s.length; i++) v.setUint8(t + at + i, s.charCodeAt(i));
  };
  text(28, 0x9003, date, 80);
  if (offset) text(40, 0x9011, offset, 110);
  return v.buffer as ArrayBuffer;
}

test.each([true, false])('the time is read in both byte orders (little: %s)', (little) => {
  expect(takenAt(withExif(little, '2026:03:01 10:00:00', '+02:00'))).toBe('2026-03-01T08:00:00.000Z');
});

test('without an offset the phone’s own zone counts', () => {
  expect(takenAt(withExif(true, '2026:03:01 10:00:00', ''))).toBe(new Date('2026-03-01T10:00:00').toISOString());
});

test.each(['0000:00:00 00:00:00', '2026:13:40 99:00:00', '    :  :     :  :  ', 'yesterday'])(
  'a clock that was never set: %s',
  (date) => {
    expect(takenAt(withExif(true, date, ''))).toBeUndefined();
  },
);

test('damaged bytes never throw', () => {
  const whole = new Uint8Array(withExif(true, '2026:03:01 10:00:00', '+02:00'));
  let seed = 1;
  const next = () => (seed = (seed * 48271) % 2147483647); // Park and Miller's generator: the same bytes each run
  let read = 0;
  for (let i = 0; i < 5000; i++) {
    const copy = whole.slice(0, i % 3 === 0 ? next() % whole.length : whole.length);
    for (let k = 0; k < 1 + (i % 5) && copy.length; k++) copy[next() % copy.length] = next() % 256;
    const t = takenAt(copy.buffer as ArrayBuffer);
    if (t !== undefined) {
      read++;
      expect(Number.isNaN(Date.parse(t))).toBe(false);
    }
  }
  expect(read).toBeGreaterThan(0); // many damages do not touch the date
  expect(takenAt(new ArrayBuffer(0))).toBeUndefined();
});

test('the time that the fixtures carry is found', () => {
  expect(takenAt(file('orientation-6.jpg'))).toBe('2026-06-07T06:09:10.000Z'); // written as 08:09:10+02:00, see testdata/photos
});

test('real files of other kinds: no time, no error', () => {
  for (const name of [
    'quarters.gif',
    'quarters.heic',
    'quarters.bmp',
    'quarters-lossy.webp',
    'quarters-progressive.jpg',
  ]) {
    expect(takenAt(file(name))).toBeUndefined();
  }
});

test('HEIC is known by its own name for itself', () => {
  expect(isHeic(file('quarters.heic'))).toBe(true);
  for (const name of ['quarters.avif', 'orientation-1.jpg', 'quarters.bmp']) expect(isHeic(file(name))).toBe(false);
});

/** Stands in for the browser's canvas, which this test has not; the real one is driven by the browser tests. */
function canvas(width: number, height: number, drawn: number[][] = []): Canvas {
  return {
    decode: async () => ({ width, height, close() {} }) as ImageBitmap,
    make: (w, h) =>
      ({
        getContext: () => ({
          drawImage: (_: unknown, x: number, y: number, dw: number, dh: number) => drawn.push([x, y, dw, dh]),
          getImageData: () => ({ data: new Uint8ClampedArray(w * h * 4) }),
        }),
        convertToBlob: async (o: { type: string }) => new Blob([`${w}x${h}`], { type: o.type }),
      }) as unknown as OffscreenCanvas,
  };
}

test('a large picture becomes at most 1600 px, keeps its shape, and is judged', async () => {
  const drawn: number[][] = [];
  const p = await prepare(new Blob([withExif(true, '2026:03:01 10:00:00', 'Z')]), 'c', canvas(4000, 3000, drawn));
  expect(p).toMatchObject({ ok: true, hints: { dark: true, blurred: false }, photo: { type: 'image/jpeg' } });
  expect(drawn[0]).toEqual([0, 0, 1600, 1200]);
  if (p.ok) expect(new TextDecoder().decode(p.photo.bytes)).toBe('1600x1200'); // the new picture's bytes, not the file's
});

test('the same file is one picture of its case, and of each case another', async () => {
  const ids: string[] = [];
  for (const [bytes, owner] of [
    ['x', 'breeders/b/cases/c'],
    ['x', 'breeders/b/cases/c'],
    ['x', 'breeders/b/cases/d'],
    ['y', 'breeders/b/cases/c'],
  ] as const) {
    const p = await prepare(new Blob([bytes]), owner, canvas(30, 20));
    if (p.ok) ids.push(p.photo.id);
  }
  expect(ids[0]).toMatch(/^[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  expect(ids[1]).toBe(ids[0]);
  expect(new Set(ids).size).toBe(3);
});

test('the time goes along only of those who agreed', async () => {
  const dated = new Blob([withExif(true, '2026:03:01 10:00:00', 'Z')]);
  const time = async () => {
    const p = await prepare(dated, 'c', canvas(30, 20));
    return p.ok && p.photo.takenAt;
  };
  expect(await time()).toBeUndefined();
  changeSettings({ taken: true });
  expect(await time()).toBe('2026-03-01T10:00:00.000Z');
  changeSettings({ taken: false });
});

test('a small picture is not blown up', async () => {
  const drawn: number[][] = [];
  await prepare(new Blob(['x']), 'c', canvas(300, 200, drawn));
  expect(drawn[0]).toEqual([0, 0, 300, 200]);
});

test('what the browser cannot open is said in words', async () => {
  const broken = { ...canvas(1, 1), decode: async () => Promise.reject(new DOMException('no', 'InvalidStateError')) };
  expect(await prepare(new Blob([file('quarters.heic')]), 'c', broken)).toMatchObject({
    ok: false,
    problem: expect.stringContaining('HEIC'),
  });
  expect(await prepare(new Blob(['text']), 'c', broken)).toMatchObject({
    ok: false,
    problem: expect.stringContaining('cannot read'),
  });
});

test('a browser that cannot make JPEG does not send something else', async () => {
  const png: Canvas = {
    ...canvas(10, 10),
    make: (w, h) => {
      const c = canvas(10, 10).make(w, h);
      return {
        getContext: c.getContext.bind(c),
        convertToBlob: async () => new Blob([], { type: 'image/png' }),
      } as unknown as OffscreenCanvas;
    },
  };
  expect(await prepare(new Blob(['x']), 'c', png)).toMatchObject({ ok: false });
});

test('hints: dark, blurred, fine', () => {
  const paint = (f: (x: number, y: number) => number) => {
    const d = new Uint8ClampedArray(64 * 64 * 4);
    for (let i = 0; i < 64 * 64; i++) d.fill(f(i % 64, Math.floor(i / 64)), 4 * i, 4 * i + 3);
    return judgePixels(d, 64, 64);
  };
  expect(paint(() => 10)).toEqual({ dark: true, blurred: false });
  expect(paint((x) => 60 + x)).toEqual({ dark: false, blurred: true });
  expect(paint((x, y) => (((x >> 2) + (y >> 2)) % 2 ? 200 : 60))).toEqual({ dark: false, blurred: false });
});
