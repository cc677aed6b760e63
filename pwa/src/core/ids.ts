/** For sorting names and times by their letters. A collator is for what people call things: a browser takes long to make one. */
export function byLetters(a = '', b = ''): number {
  return a < b ? -1 : a > b ? 1 : 0;
}

/** A UUID of version 7 (RFC 9562): sorts by the time it was made. */
export function uuidv7(now = Date.now()): string {
  const b = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 0; i < 6; i++) b[i] = Math.floor(now / 2 ** (8 * (5 - i))) & 0xff;
  b[6] = ((b[6] ?? 0) & 0x0f) | 0x70;
  b[8] = ((b[8] ?? 0) & 0x3f) | 0x80;
  return written(b);
}

function written(b: Uint8Array): string {
  const hex = [...b].map((x) => x.toString(16).padStart(2, '0')).join('');
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

/**
 * A UUID of version 8 (RFC 9562) that the same bytes get again for the same owner, and only
 * for that one: what is chosen twice is one thing. Without a secure page a new one each time.
 */
export async function idOfContent(bytes: ArrayBuffer, owner: string): Promise<string> {
  if (!crypto.subtle) return uuidv7();
  const name = new TextEncoder().encode(`${owner}\n`);
  const all = new Uint8Array(name.length + bytes.byteLength);
  all.set(name);
  all.set(new Uint8Array(bytes), name.length);
  const b = new Uint8Array(await crypto.subtle.digest('SHA-256', all)).slice(0, 16);
  b[6] = ((b[6] ?? 0) & 0x0f) | 0x80;
  b[8] = ((b[8] ?? 0) & 0x3f) | 0x80;
  return written(b);
}

/** The last part of a resource name. */
export function idOf(name: string | undefined): string {
  return name?.slice(name.lastIndexOf('/') + 1) ?? '';
}

/** `breeders/{b}/cases/{c}` as the address of its screen, `/k/{b}/{c}`. */
export function caseAddress(name: string, rest = ''): string {
  const parts = name.split('/');
  return `/k/${parts[1] ?? ''}/${parts[3] ?? ''}${rest && `/${rest}`}`;
}
