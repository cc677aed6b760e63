// Who is signed in, and every way to become that.

import { signal } from '@preact/signals';
import { ApiError, asBreeder, type CallOptions, call, callForFile, type Method, Offline } from '../../api/client';
import type {
  BeginPasskeyRegistrationResponseJson,
  BeginPasskeySignInResponseJson,
  CreateRecoveryCodesResponseJson,
  FinishPasskeyRegistrationResponseJson,
  FinishPasskeySignInResponseJson,
  GetMeResponseJson,
  ListPeopleResponseJson,
  UseRecoveryCodeResponseJson,
} from '../../api/gen/warmhand/v1/access_service_pb';
import { say } from '../../core/say';
import { forgetBreeder, keepBreeder, keptBreeder } from '../../store/copies';
import { dropDrafts } from '../../store/db';
import { takeLanguage } from '../../sync/language';

/** undefined until the service was asked. */
export const me = signal<GetMeResponseJson | undefined>(undefined);
/** The session ended while somebody was at work: they sign in over the open screen and lose nothing. */
export const signedOut = signal(false);

/** Begins the names of these screens' drafts, which leave the device with the person. */
export const draftPrefix = 'breeder ';

/** A call of a signed-in person. */
export function ask<T>(method: Method, path: string, body?: unknown, opt?: CallOptions): Promise<T> {
  return noticing(call<T>(method, path, body, { ...opt, headers: { ...asBreeder.headers, ...opt?.headers } }));
}

/** The same for a PDF. */
export function askForPdf(method: Method, path: string, body?: unknown): Promise<Blob> {
  return noticing(callForFile('application/pdf', method, path, body, asBreeder));
}

/** The same for a file that takes a while to make: the whole stock book. */
export function askForExport(type: string, path: string): Promise<Blob> {
  return noticing(callForFile(type, 'GET', path, undefined, { ...asBreeder, timeout: 300_000 }));
}

/** Who works in the account, the owner first. */
export function loadPeople(signal: AbortSignal): Promise<ListPeopleResponseJson> {
  return ask<ListPeopleResponseJson>('GET', '/v1/access/people', undefined, { signal });
}

async function noticing<T>(answer: Promise<T>): Promise<T> {
  try {
    return await answer;
  } catch (e) {
    if (e instanceof ApiError && e.status === 401) signedOut.value = true;
    throw e;
  }
}

export function isBreeder(who: GetMeResponseJson | undefined): boolean {
  return (who?.role === 'breeder' || who?.role === 'helper') && Boolean(who.breeder);
}

/** Whether the signed-in person owns the account. Without it some things are not offered, as the service refuses them. */
export function isOwner(): boolean {
  return me.value?.role === 'breeder';
}

/** `breeders/{breeder}` of the signed-in person. */
export function breeder(): string {
  return me.value?.breeder ?? '';
}

/** Asks who is signed in. Without network it is whoever the service last said. */
export async function refreshMe(): Promise<void> {
  try {
    await become(await call<GetMeResponseJson>('GET', '/v1/me', undefined, asBreeder));
  } catch (e) {
    const kept = e instanceof Offline && !me.value ? await keptBreeder().catch(() => undefined) : undefined;
    if (!kept) throw e;
    me.value = kept;
  }
}

/** The copy on this device belongs to one person: it goes before anybody else is shown anything. */
async function become(who: GetMeResponseJson): Promise<void> {
  try {
    await (isBreeder(who) ? keepBreeder(who) : forgetBreeder());
  } catch {
    // This device lets the app store nothing: it works with network only.
  }
  me.value = who;
  void takeLanguage(who);
}

async function signedIn(who: GetMeResponseJson | undefined): Promise<void> {
  if (who) await become(who);
  else await refreshMe();
  signedOut.value = false;
}

export async function useRecoveryCode(code: string): Promise<void> {
  const answer = await call<UseRecoveryCodeResponseJson>('POST', '/v1/access:useRecoveryCode', { code });
  await signedIn(answer.me);
}

/** A passkey dialogue that was closed, or that this browser does not have. */
export class PasskeyProblem extends Error {}

export function passkeysWork(): boolean {
  return (
    typeof PublicKeyCredential !== 'undefined' &&
    'parseRequestOptionsFromJSON' in PublicKeyCredential &&
    'parseCreationOptionsFromJSON' in PublicKeyCredential
  );
}

async function dialogue(run: () => Promise<Credential | null>): Promise<PublicKeyCredential> {
  try {
    const credential = await run();
    if (credential instanceof PublicKeyCredential) return credential;
  } catch (cause) {
    if (cause instanceof DOMException && cause.name === 'InvalidStateError') {
      throw new PasskeyProblem(say('This device has a passkey for you already. You can sign in with it.'), { cause });
    }
    if (cause instanceof DOMException && cause.name === 'NotAllowedError') {
      throw new PasskeyProblem(say('The passkey dialogue was closed before it was done. You can try again.'), {
        cause,
      });
    }
    throw new PasskeyProblem(say('This device could not use a passkey here. A recovery code works as well.'), {
      cause,
    });
  }
  throw new PasskeyProblem(say('The device gave no passkey. You can try again.'));
}

export async function signInWithPasskey(): Promise<void> {
  const begun = await call<BeginPasskeySignInResponseJson>('POST', '/v1/access:beginPasskeySignIn', {});
  const credential = await dialogue(() =>
    navigator.credentials.get({
      publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(
        begun.options as unknown as PublicKeyCredentialRequestOptionsJSON,
      ),
    }),
  );
  const answer = await call<FinishPasskeySignInResponseJson>('POST', '/v1/access:finishPasskeySignIn', {
    ceremony: begun.ceremony,
    credential: credential.toJSON() as unknown,
  });
  await signedIn(answer.me);
}

export async function makePasskey(label: string): Promise<void> {
  const begun = await ask<BeginPasskeyRegistrationResponseJson>('POST', '/v1/access:beginPasskeyRegistration', {});
  const credential = await dialogue(() =>
    navigator.credentials.create({
      publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(
        begun.options as unknown as PublicKeyCredentialCreationOptionsJSON,
      ),
    }),
  );
  await ask<FinishPasskeyRegistrationResponseJson>('POST', '/v1/access:finishPasskeyRegistration', {
    ceremony: begun.ceremony,
    credential: credential.toJSON() as unknown,
    label,
  });
  await refreshMe();
}

export async function newRecoveryCodes(): Promise<string[]> {
  const answer = await ask<CreateRecoveryCodesResponseJson>('POST', '/v1/access:createRecoveryCodes', {});
  void refreshMe().catch(() => undefined); // only the count on the settings page
  return answer.codes ?? [];
}

export async function signOut(): Promise<void> {
  await call('POST', '/v1/access:signOut', {}, asBreeder);
  await dropDrafts(draftPrefix).catch(() => undefined);
  await become({});
  signedOut.value = false;
}
