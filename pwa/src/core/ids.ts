/** A UUID of version 7 (RFC 9562): sorts by the time it was made. */
export function uuidv7(now = Date.now()): string {
  const b = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 0; i < 6; i++) b[i] = Math.floor(now / 2 ** (8 * (5 - i))) & 0xff;
  b[6] = ((b[6] ?? 0) & 0x0f) | 0x70;
  b[8] = ((b[8] ?? 0) & 0x3f) | 0x80;
  const hex = [...b].map((x) => x.toString(16).padStart(2, '0')).join('');
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
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
