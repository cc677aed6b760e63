import { say } from './say';

// Claim codes: Crockford's base 32 (crockford.com/base32.html), nine characters
// and one to check them by. The server makes and checks them the same way; here
// a slip is caught before any network.
const alphabet = '0123456789ABCDEFGHJKMNPQRSTVWXYZ';
const length = 10;

export type ParsedCode = { ok: true; code: string } | { ok: false; typed: number; problem: string };

/**
 * Reads a typed code: small letters, O for 0, I and L for 1, spaces and dashes
 * anywhere. The answer is grouped, such as K7QM4-2XR90.
 */
export function parseClaimCode(text: string): ParsedCode {
  let code = '';
  for (const c of text.toUpperCase()) {
    if (/[\s\p{Pd}\p{Cf}−]/u.test(c)) continue;
    const letter = c === 'O' ? '0' : c === 'I' || c === 'L' ? '1' : c;
    const bad = (problem: string): ParsedCode => ({ ok: false, typed: code.length, problem });
    if (letter === 'U') return bad(say('There is no letter U in these codes. It may be a V.'));
    if (!alphabet.includes(letter))
      return bad(say('These codes have only letters and numbers, and this one has “{sign}” in it.', { sign: c }));
    if (code.length === length) return bad(say('A code has 10 letters and numbers, and this one has more.'));
    code += letter;
  }
  if (code.length < length) {
    return {
      ok: false,
      typed: code.length,
      problem: say('A code has 10 letters and numbers, and this one has {n}.', { n: code.length }),
    };
  }
  if (checkFor(code.slice(0, -1)) !== code.at(-1)) {
    return { ok: false, typed: length, problem: say('One character seems to be off. Please compare it once more.') };
  }
  return { ok: true, code: `${code.slice(0, 5)}-${code.slice(5)}` };
}

/** Reads what a camera read off a card: the link with the code in its fragment, or the code alone. */
export function scannedClaimCode(text: string): ParsedCode {
  return parseClaimCode(text.slice(text.lastIndexOf('#') + 1));
}

/** The Luhn check character (ISO/IEC 7812-1 annex B) taken to base 32. */
function checkFor(body: string): string | undefined {
  let sum = 0;
  for (let i = 0; i < body.length; i++) {
    let v = alphabet.indexOf(body[body.length - 1 - i] ?? '');
    if (i % 2 === 0) v = Math.floor((2 * v) / 32) + ((2 * v) % 32);
    sum += v;
  }
  return alphabet[(32 - (sum % 32)) % 32];
}
