import type { LookJson } from './contract';
import { ago } from './time';

const whats: Record<string, string> = {
  LOOK_KIND_CASE: 'how it is',
  LOOK_KIND_LOG: 'what was logged and written',
  LOOK_KIND_PHOTO: 'pictures',
  LOOK_KIND_FILE: 'a copy was taken',
  LOOK_KIND_CODE: 'a code was made that signs in as the keeper',
  LOOK_KIND_LETTER: 'the letter for the vet was opened',
};

const whos: Record<string, string> = {
  ACTOR_KIND_BREEDER: 'Breeder',
  ACTOR_KIND_HELPER: 'A helper of the breeder',
  ACTOR_KIND_PROGRAM: 'A program of the breeder',
};

/** Who it was, in plain words. */
export function whoLooked(l: LookJson): string {
  if (l.what === 'LOOK_KIND_LETTER') return 'Somebody with its link';
  const role = whos[l.by ?? ''] ?? 'Somebody of the breeder';
  return l.byName ? `${l.byName} (${role.toLowerCase().replace(' of the breeder', '')})` : role;
}

/** What it was, how often and when. */
export function whatLooked(l: LookJson): string {
  const times = (l.count ?? 1) > 1 ? `, ${l.count} times` : '';
  return `${whats[l.what ?? ''] ?? 'something'}${times}, ${ago(l.lastTime)}`;
}
