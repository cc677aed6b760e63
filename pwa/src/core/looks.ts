import type { LookJson } from './contract';
import { say } from './say';
import { ago } from './time';

const whats: Record<string, string> = {
  LOOK_KIND_CASE: say('how it is'),
  LOOK_KIND_LOG: say('what was logged and written'),
  LOOK_KIND_PHOTO: say('pictures'),
  LOOK_KIND_FILE: say('a copy was taken'),
  LOOK_KIND_CODE: say('a code was made that signs in as the keeper'),
  LOOK_KIND_LETTER: say('the letter for the vet was opened'),
};

/** Who it was, in plain words. */
export function whoLooked({ what, by, byName: name }: LookJson): string {
  if (what === 'LOOK_KIND_LETTER') return say('Somebody with its link');
  switch (by) {
    case 'ACTOR_KIND_BREEDER':
      return name ? say('{name} (breeder)', { name }) : say('Breeder');
    case 'ACTOR_KIND_HELPER':
      return name ? say('{name} (a helper)', { name }) : say('A helper of the breeder');
    case 'ACTOR_KIND_PROGRAM':
      return name ? say('{name} (a program)', { name }) : say('A program of the breeder');
    default:
      return name ? say('{name} (somebody)', { name }) : say('Somebody of the breeder');
  }
}

/** What it was, how often and when. */
export function whatLooked(l: LookJson): string {
  const what = whats[l.what ?? ''] ?? say('something');
  const n = l.count ?? 1;
  return n > 1
    ? say('{what}, {n} times, {ago}', { what, n, ago: ago(l.lastTime) })
    : say('{what}, {ago}', { what, ago: ago(l.lastTime) });
}
