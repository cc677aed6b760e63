// The ways into the demonstration that the browser tests run against.
import { appendFileSync, existsSync, readFileSync } from 'node:fs';
import type { APIRequestContext } from '@playwright/test';

export interface Demo {
  breeder: string[];
  keepers: { animal: string; case: string; links: string[] }[];
  claim: { animal: string; code: string; link: string };
}

export function demo(): Demo {
  return JSON.parse(readFileSync(process.env['WARMHAND_E2E_ADDRESSES'] ?? '', 'utf8')) as Demo;
}

export const breeder = 'breeders/thimblewick';
export const header = { 'X-Warmhand': '1' };

/**
 * Signs in as the breeder by the next link that no test had, so that none takes another's and none tries
 * used ones, which counts as guessing. The first six are those of breeder.spec.ts.
 */
export async function signIn(request: APIRequestContext): Promise<void> {
  const taken = `${process.env['WARMHAND_E2E_ADDRESSES']}.taken`; // a file, for a failed test starts a new worker
  const nth = 6 + (existsSync(taken) ? readFileSync(taken, 'utf8').length : 0);
  appendFileSync(taken, '.');
  const link = demo().breeder[nth];
  if (!link) throw new Error(`the demonstration has ${nth} links: raise demoSpareLinks`);
  await redeem(request, [link]);
}

/** Signs in by the first of these links that is not used. */
export async function redeem(request: APIRequestContext, links: string[]): Promise<void> {
  for (const link of links) {
    const answer = await request.post('/v1/access:redeemSignInLink', {
      headers: header,
      data: { secret: new URL(link).hash.slice(1) },
    });
    if (answer.ok()) return;
  }
  throw new Error('no sign-in link is left');
}
