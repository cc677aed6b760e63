// The handover card in a picture: is it there, is it near enough, and whose is it?

import { scannedClaimCode } from '../core/code';
import { say } from '../core/say';
import { readState, writeState } from '../store/db';
import type { Found } from './finder';

const key = (caseName: string) => `card ${caseName}`;

/**
 * A side in pixels below which a card is called small: by the measure's own error model a tap then
 * counts for more than half a millimetre (1.2 pixels, 32 mm); a hint, never a reason to refuse.
 */
const small = 80;

/** What is kept of a card's code: enough to know it again. */
export async function printOf(code: string): Promise<string> {
  if (!crypto.subtle) return '';
  const bytes = new Uint8Array(await crypto.subtle.digest('SHA-256', new TextEncoder().encode(`card ${code}`)));
  return [...bytes.slice(0, 16)].map((x) => x.toString(16).padStart(2, '0')).join('');
}

/** The case came by this card. */
export async function rememberCard(caseName: string, code: string): Promise<void> {
  const print = await printOf(code);
  if (print) await writeState(key(caseName), print);
}

const waitingKey = (claimTime: string) => `card waits ${Date.parse(claimTime)}`;

/** A card was taken on before its sale had come in: which case it belongs to shows later, by that time. */
export async function rememberWaitingCard(claimTime: string, code: string): Promise<void> {
  const print = await printOf(code);
  if (print) await writeState(waitingKey(claimTime), print);
}

/** The sale of a card that waited may be this one: the service keeps the time at which the card was taken on. */
export async function cardCameIn(caseName: string, claimTime: string | undefined): Promise<void> {
  const print = claimTime && (await readState<string>(waitingKey(claimTime)));
  if (!print) return;
  await writeState(key(caseName), print);
  await writeState(waitingKey(claimTime), undefined);
}

/** What to say of the card in a picture of this case; '' when all is well. `cases` are all on this phone. */
export async function aboutCard(
  found: Found | null,
  caseName: string,
  cases: readonly { name: string; animal: string }[],
): Promise<string> {
  if (!found)
    return say(
      'The handover card is not to be seen in it. Flat beside the opening, it tells the size; a picture without it helps, too.',
    );
  if (!found.text)
    return say(
      'The code in it is too small or too blurred to be read. If it is this animal’s card, it can be measured; from nearer, it comes out better.',
    );
  const code = scannedClaimCode(found.text);
  if (!code.ok) return say('The code in it is not that of a handover card. It can be measured with the card only.');
  const print = await printOf(code.code);
  for (const c of cases) {
    if (c.name !== caseName && print && (await readState<string>(key(c.name))) === print)
      return say('That is the card of {animal}. Is it the right tank?', { animal: c.animal });
  }
  const own = await readState<string>(key(caseName));
  if (own && print && own !== print) return say('That is the card of another animal. Is it the right tank?');
  const side = found.corners.reduce((sum, p, i) => {
    const q = found.corners[(i + 1) % 4] ?? p;
    return sum + Math.hypot(p.x - q.x, p.y - q.y) / 4;
  }, 0);
  if (side < small) return say('The card is small in it. From nearer, the size comes out better.');
  return '';
}
