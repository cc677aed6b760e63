/**
 * When a picture was taken, by the camera's clock (Exif 2.32 tags DateTimeOriginal
 * 0x9003 and OffsetTimeOriginal 0x9011), or undefined. Reads nothing else: not the
 * place, not the camera. Damaged bytes give undefined and never an error.
 */
export function takenAt(bytes: ArrayBuffer): string | undefined {
  try {
    return read(new DataView(bytes));
  } catch {
    return undefined; // a length that points outside the file
  }
}

function read(v: DataView): string | undefined {
  if (v.getUint16(0) !== 0xffd8) return undefined;
  for (let at = 2; at + 4 <= v.byteLength; ) {
    const marker = v.getUint16(at);
    if ((marker & 0xff00) !== 0xff00 || marker === 0xffda) return undefined;
    const length = v.getUint16(at + 2);
    if (marker === 0xffe1 && v.getUint32(at + 4) === 0x45786966) {
      return fromTiff(new DataView(v.buffer, at + 10, Math.min(length - 8, v.byteLength - at - 10)));
    }
    at += 2 + Math.max(length, 2);
  }
  return undefined;
}

function fromTiff(t: DataView): string | undefined {
  const little = t.getUint16(0) === 0x4949;
  const first = fields(t, t.getUint32(4, little), little);
  const pointer = first.get(0x8769);
  if (pointer === undefined) return undefined;
  const exif = fields(t, t.getUint32(pointer + 8, little), little);
  const text = (tag: number) => {
    const entry = exif.get(tag);
    if (entry === undefined) return '';
    const count = t.getUint32(entry + 4, little);
    const from = count > 4 ? t.getUint32(entry + 8, little) : entry + 8;
    let s = '';
    for (let i = 0; i < Math.min(count, 40); i++) s += String.fromCharCode(t.getUint8(from + i));
    return s.replace(/\0.*$/, '').trim();
  };
  const m = /^(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)$/.exec(text(0x9003));
  if (!m) return undefined;
  const offset = /^[+-]\d\d:\d\d$/.exec(text(0x9011))?.[0] ?? ''; // none: the phone's own zone
  const taken = new Date(`${m[1]}-${m[2]}-${m[3]}T${m[4]}:${m[5]}:${m[6]}${offset}`);
  return Number.isNaN(taken.getTime()) || taken.getFullYear() < 1990 ? undefined : taken.toISOString();
}

/** Where each tag's entry lies in a directory. */
function fields(t: DataView, at: number, little: boolean): Map<number, number> {
  const found = new Map<number, number>();
  const count = Math.min(t.getUint16(at, little), 200);
  for (let i = 0; i < count; i++) found.set(t.getUint16(at + 2 + 12 * i, little), at + 2 + 12 * i);
  return found;
}
