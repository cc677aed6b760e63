import { generateKeyPairSync, sign } from 'node:crypto';
import { expect, test } from 'vitest';
import { checkSigned, inBrief, readSigned, type SignedRecord, Unreadable } from '../src/core/signed';

const letters = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_';
const said = { kind: 'handover_record', version: 1, breeder: 'b1', handover: 'h1', breeder_name: 'Lehmgrube' };
const head = { alg: 'ES256', typ: 'handover-record+jws', kid: 'k1' };
const pair = generateKeyPairSync('ec', { namedCurve: 'P-256' });
const keys = [{ ...pair.publicKey.export({ format: 'jwk' }), kid: 'k1' } as JsonWebKey];

const part = (v: object) => Buffer.from(JSON.stringify(v)).toString('base64url');

/** Signed by OpenSSL, which the checker knows nothing of. */
function record(header: object = head, payload: object = said): string {
  const text = `${part(header)}.${part(payload)}`;
  const mark = sign('sha256', Buffer.from(text), { key: pair.privateKey, dsaEncoding: 'ieee-p1363' });
  return `${text}.${mark.toString('base64url')}`;
}

async function verdict(text: string, by = keys): Promise<string> {
  let r: SignedRecord;
  try {
    r = readSigned(text);
  } catch (e) {
    if (e instanceof Unreadable) return 'unreadable';
    throw e;
  }
  return checkSigned(r, by);
}

test('a record as it was signed is genuine, with the white space of a mail around it', async () => {
  expect(await verdict(`\n ${record()}\r\n`)).toBe('genuine');
});

test('each letter counts, down to the spare bits of the last', async () => {
  const text = record();
  for (let i = 0; i < text.length; i++) {
    for (const bit of [1, 32]) {
      const at = letters.indexOf(text[i] ?? '');
      const to = at < 0 ? 'A' : letters[at ^ bit];
      const changed = text.slice(0, i) + to + text.slice(i + 1);
      expect(['changed', 'unreadable', 'unknown key'], `${i} to ${to}`).toContain(await verdict(changed));
    }
  }
});

test('a record does not choose how it is checked', async () => {
  const text = record();
  const [h, b, s] = text.split('.');
  for (const bad of [
    `${part({ ...head, alg: 'none' })}.${b}.`,
    `${part({ ...head, alg: 'none' })}.${b}.${s}`,
    `${part({ ...head, alg: 'HS256' })}.${b}.${s}`,
    record({ ...head, crit: ['exp'] }),
    record({ ...head, typ: 'JWT' }),
    record(head, { ...said, kind: 'letter' }),
    record(head, { ...said, breeder: '../b2' }),
    `${h}.${b}`,
    `${text}.${s}`,
    '',
  ]) {
    expect(await verdict(bad), bad).toBe('unreadable');
  }
});

test('a key that the breeder does not have is unknown, and another one of the same name does not fit', async () => {
  expect(await verdict(record({ ...head, kid: 'k2' }))).toBe('unknown key');
  expect(await verdict(record(), [])).toBe('unknown key');
  const other = generateKeyPairSync('ec', { namedCurve: 'P-256' }).publicKey.export({ format: 'jwk' });
  expect(await verdict(record(), [{ ...other, kid: 'k1' } as JsonWebKey])).toBe('changed');
});

test('a digest in brief is four groups', () => {
  expect(inBrief('0123456789abcdef01')).toBe('0123 4567 89ab cdef');
});
