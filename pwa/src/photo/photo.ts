import { idOfContent } from '../core/ids';
import { say } from '../core/say';
import { settings } from '../core/settings';
import type { NewPhoto } from '../store/outbox';
import { takenAt } from './exif';

const longest = 1600;
const quality = 0.82;
/** A picture larger than this is not opened: it would end the page on a small phone. */
const mostBytes = 40_000_000;

/** What a file input may offer: kinds that browsers can open, so that phones convert others. */
export const accept = 'image/jpeg,image/png,image/webp';

export interface Hints {
  dark: boolean;
  blurred: boolean;
}

export type Prepared = { ok: true; photo: NewPhoto; hints: Hints } | { ok: false; problem: string };

/** What a browser brings for pictures; tests bring their own. */
export interface Canvas {
  decode(file: Blob): Promise<ImageBitmap>;
  make(width: number, height: number): OffscreenCanvas;
}

const browser: Canvas = {
  decode: (file) => createImageBitmap(file, { imageOrientation: 'from-image' }),
  make: (w, h) => new OffscreenCanvas(w, h),
};

/**
 * Makes a picture ready to be kept and sent: upright, at most 1600 px, JPEG. Drawing it
 * anew drops everything else that the file carried, such as the place; only the time
 * stays, as a field, and only of those who agreed. The same file is the same picture of its
 * case, however often it is chosen.
 */
export async function prepare(file: Blob, caseName: string, canvas: Canvas = browser): Promise<Prepared> {
  if (file.size > mostBytes)
    return { ok: false, problem: say('This picture is very large. Please choose a smaller one.') };
  let original: ArrayBuffer;
  let bitmap: ImageBitmap;
  try {
    original = await file.arrayBuffer();
  } catch {
    return { ok: false, problem: say('This picture could not be read from the phone. Please choose it again.') };
  }
  try {
    bitmap = await canvas.decode(file);
  } catch {
    return {
      ok: false,
      problem: isHeic(original)
        ? say(
            'The phone saved this picture in a form (HEIC) that this browser cannot read. In the camera settings choose “Most compatible”, or take the photo here with “Take a photo”.',
          )
        : say('This browser cannot read this file as a picture. Please choose another, or take the photo here.'),
    };
  }
  try {
    const scale = Math.min(1, longest / Math.max(bitmap.width, bitmap.height));
    const width = Math.max(1, Math.round(bitmap.width * scale));
    const height = Math.max(1, Math.round(bitmap.height * scale));
    const surface = canvas.make(width, height);
    const pen = surface.getContext('2d');
    if (!pen) return { ok: false, problem: say('This phone is short of memory. Close other apps and try again.') };
    pen.imageSmoothingQuality = 'high';
    pen.drawImage(bitmap, 0, 0, width, height);
    const blob = await surface.convertToBlob({ type: 'image/jpeg', quality });
    if (blob.type !== 'image/jpeg') return { ok: false, problem: say('This browser cannot save pictures as JPEG.') };
    const taken = settings.value.taken ? takenAt(original) : undefined;
    const id = await idOfContent(original, caseName);
    return {
      ok: true,
      photo: { id, bytes: await blob.arrayBuffer(), type: blob.type, ...(taken && { takenAt: taken }) },
      hints: judge(canvas, bitmap),
    };
  } finally {
    bitmap.close();
  }
}

/** HEIC and its kin name themselves in an ISO base media `ftyp` box (ISO/IEC 23008-12). */
export function isHeic(bytes: ArrayBuffer): boolean {
  const head = new TextDecoder('latin1').decode(bytes.slice(4, 12));
  return head.startsWith('ftyp') && /^(heic|heix|hevc|hevx|heim|heis|mif1|msf1)$/.test(head.slice(4));
}

/**
 * Hints only. Darkness is the mean of luma, sharpness the variance of a Laplacian on a
 * small copy; the thresholds are our own, set on few pictures, so a hint never refuses.
 */
function judge(canvas: Canvas, bitmap: ImageBitmap): Hints {
  const side = 256;
  const scale = Math.min(1, side / Math.max(bitmap.width, bitmap.height));
  const w = Math.max(3, Math.round(bitmap.width * scale));
  const h = Math.max(3, Math.round(bitmap.height * scale));
  const pen = canvas.make(w, h).getContext('2d', { willReadFrequently: true });
  if (!pen) return { dark: false, blurred: false };
  pen.drawImage(bitmap, 0, 0, w, h);
  return judgePixels(pen.getImageData(0, 0, w, h).data, w, h);
}

export function judgePixels(rgba: Uint8ClampedArray, w: number, h: number): Hints {
  const luma = new Float32Array(w * h);
  let sum = 0;
  for (let i = 0; i < luma.length; i++) {
    const y = 0.299 * (rgba[4 * i] ?? 0) + 0.587 * (rgba[4 * i + 1] ?? 0) + 0.114 * (rgba[4 * i + 2] ?? 0);
    luma[i] = y;
    sum += y;
  }
  const dark = sum / luma.length < 40;
  let n = 0;
  let mean = 0;
  let squares = 0;
  for (let y = 1; y < h - 1; y++) {
    for (let x = 1; x < w - 1; x++) {
      const at = y * w + x;
      const l =
        4 * (luma[at] ?? 0) - (luma[at - 1] ?? 0) - (luma[at + 1] ?? 0) - (luma[at - w] ?? 0) - (luma[at + w] ?? 0);
      n++;
      const d = l - mean;
      mean += d / n;
      squares += d * (l - mean);
    }
  }
  // In the dark noise looks like sharpness, so darkness is judged first.
  return { dark, blurred: !dark && n > 0 && squares / n < 12 };
}
