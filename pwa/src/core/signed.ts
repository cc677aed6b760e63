// A signed handover record (compact JWS, RFC 7515): how it is read, and checked against a breeder's public keys.

/** What was signed; internal/casefile/statement.go writes it. Nothing in it counts before the signature was checked. */
export interface Statement {
  issuer: string;
  breeder: string;
  breeder_name: string;
  handover: string;
  issued_at: string;
  handed_over_at: string;
  animal: {
    name: string;
    species: string;
    scientific_name: string;
    common_name: string;
    sex: string;
    hatched: string;
    genes: string[];
    clutch: string;
    total_length_mm: number;
  };
  mother: { name: string; genes: string[] };
  father: { name: string; genes: string[] };
  origin: { label: string; text: string; source: string }[];
  weights: { at: string; mass_g: number }[];
  offers: { at: string; result: string; prey?: string; prey_g?: number }[];
}

export interface SignedRecord {
  text: string;
  keyId: string;
  said: Statement;
  signature: Uint8Array<ArrayBuffer>;
}

/** The text is no signed record, or not a whole one. */
export class Unreadable extends Error {}

const id = /^[A-Za-z0-9_-]{1,64}$/;

/** Reads a record without believing it; throws Unreadable. */
export function readSigned(file: string): SignedRecord {
  const text = file.trim();
  const [head, body, mark, ...more] = text.split('.');
  if (!head || !body || !mark || more.length > 0) throw new Unreadable('not three parts');
  const header = json(head);
  // One algorithm and one type, whatever else a header offers (RFC 8725, 3.1 and 3.11).
  if (header['alg'] !== 'ES256' || header['typ'] !== 'handover-record+jws' || 'crit' in header)
    throw new Unreadable('another kind of signature');
  const said = json(body);
  const keyId = header['kid'];
  if (typeof keyId !== 'string' || said['kind'] !== 'handover_record' || said['version'] !== 1)
    throw new Unreadable('no handover record');
  if (!id.test(String(said['breeder'])) || !id.test(String(said['handover']))) throw new Unreadable('no handover');
  return { text, keyId, said: said as unknown as Statement, signature: bytesOf(mark) };
}

export type Verdict = 'genuine' | 'changed' | 'unknown key';

/** Checks a record against a breeder's keys (JWK Set, RFC 7517). */
export async function checkSigned(r: SignedRecord, keys: readonly JsonWebKey[]): Promise<Verdict> {
  const key = keys.find((k) => (k as { kid?: string }).kid === r.keyId);
  if (key?.kty !== 'EC' || key.crv !== 'P-256' || !key.x || !key.y) return 'unknown key';
  const es256 = { name: 'ECDSA', namedCurve: 'P-256', hash: 'SHA-256' };
  const jwk = { kty: key.kty, crv: key.crv, x: key.x, y: key.y };
  const imported = await crypto.subtle.importKey('jwk', jwk, es256, false, ['verify']);
  const input = new TextEncoder().encode(r.text.slice(0, r.text.lastIndexOf('.')));
  return (await crypto.subtle.verify(es256, imported, r.signature, input)) ? 'genuine' : 'changed';
}

/** SHA-256 of a record, in hex: what the service is asked by, and the printed record begins with. */
export async function digestOf(text: string): Promise<string> {
  const sum = new Uint8Array(await crypto.subtle.digest('SHA-256', new TextEncoder().encode(text)));
  return [...sum].map((b) => b.toString(16).padStart(2, '0')).join('');
}

/** The beginning of a digest, in groups, to compare by eye. */
export function inBrief(digest: string): string {
  return digest.slice(0, 16).replace(/.{4}(?=.)/g, '$& ');
}

function json(part: string): Record<string, unknown> {
  let v: unknown;
  try {
    v = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytesOf(part)));
  } catch (cause) {
    throw new Unreadable('not JSON', { cause });
  }
  if (typeof v !== 'object' || v === null || Array.isArray(v)) throw new Unreadable('not an object');
  return v as Record<string, unknown>;
}

/** Strict base64url: letters whose spare bits are set would make two texts of one signature (RFC 4648, 3.5). */
function bytesOf(part: string): Uint8Array<ArrayBuffer> {
  if (!/^[A-Za-z0-9_-]+$/.test(part)) throw new Unreadable('not base64url');
  let raw: string;
  try {
    raw = atob(part.replaceAll('-', '+').replaceAll('_', '/'));
  } catch (cause) {
    throw new Unreadable('not base64url', { cause });
  }
  const again = btoa(raw).replaceAll('+', '-').replaceAll('/', '_').replaceAll('=', '');
  if (again !== part) throw new Unreadable('not base64url');
  return Uint8Array.from(raw, (c) => c.charCodeAt(0));
}
