import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, asKeeper, call, Offline } from '../../api/client';
import { parseClaimCode } from '../../core/code';
import type { GetMeResponseJson, RedeemSignInLinkResponseJson, UseKeeperCodeResponseJson } from '../../core/contract';
import { uuidv7 } from '../../core/ids';
import { say } from '../../core/say';
import { readState, writeState } from '../../store/db';
import { takeLanguage } from '../../sync/language';
import { refresh } from '../../sync/refresh';
import { load } from '../keeper/state';
import { go, Link, Screen } from '../nav';
import { ThermalBand } from '../parts/band';
import { Button, Notice } from '../parts/controls';
import { CodeBox } from './codebox';

/** A keeper's code under way. Kept on disk, so that one whose answer was lost is sent again under the same id. */
interface Pending {
  code: string;
  requestId: string;
}

const pendingKey = 'sign-in code';

/** `/in#secret` is a link that signs in once; `/in#code`, or a code typed here, lets a keeper back in. */
export default function SignInLink({ onKeeper }: { onKeeper: () => void }): JSX.Element {
  const [secret, setSecret] = useState(() => location.hash.slice(1));
  const [error, setError] = useState<ApiError | Offline | undefined>();
  const [busy, setBusy] = useState(false);
  const typed = parseClaimCode(secret);

  const signedIn = async (me: GetMeResponseJson | undefined) => {
    if (me?.role !== 'keeper') go('/b', true);
    void takeLanguage(me ?? {});
    if (me?.role !== 'keeper') return;
    await refresh().catch(() => undefined); // what fails now is fetched by the next round
    await load();
    onKeeper();
    go('/', true);
  };

  const run = async (work: () => Promise<GetMeResponseJson | undefined>) => {
    setBusy(true);
    setError(undefined);
    try {
      await signedIn(await work());
    } catch (e) {
      setError(e instanceof ApiError || e instanceof Offline ? e : new Offline());
      setBusy(false);
    }
  };

  const redeem = (what: string) =>
    run(async () => {
      const parsed = parseClaimCode(what);
      if (!parsed.ok) {
        const answer = await call<RedeemSignInLinkResponseJson>('POST', '/v1/access:redeemSignInLink', {
          secret: what,
        });
        return answer.me;
      }
      const kept = await readState<Pending>(pendingKey).catch(() => undefined);
      const pending = kept?.code === parsed.code ? kept : { code: parsed.code, requestId: uuidv7() };
      await writeState(pendingKey, pending).catch(() => undefined);
      const answer = await call<UseKeeperCodeResponseJson>('POST', '/v1/access:useKeeperCode', pending, asKeeper);
      await writeState(pendingKey, undefined).catch(() => undefined);
      return answer.me;
    });

  useEffect(() => {
    // The secret stays in this page's memory only, not in the address or the history.
    history.replaceState(null, '', '/in');
    if (secret) void redeem(secret);
    // A code that is scanned while this page is open changes the fragment only.
    const scanned = () => {
      const next = location.hash.slice(1);
      if (!next) return;
      history.replaceState(null, '', '/in');
      setSecret(next);
      void redeem(next);
    };
    addEventListener('hashchange', scanned);
    return () => removeEventListener('hashchange', scanned);
  }, []);

  if (!secret) {
    return (
      <CodeBox
        title={say('Come back in')}
        label={say('Code from your breeder')}
        button={say('Sign in')}
        onCode={(code) => {
          setSecret(code);
          void redeem(code);
        }}
      >
        <p>
          {say(
            'If you signed out, or have another phone now, ask your breeder for a code. It has ten letters and numbers and brings back everything of your snake.',
          )}
        </p>
        <p class="muted">
          {say(
            'Do you still have a phone that is signed in? In its settings, under “Another phone”, you can make a code yourself.',
          )}
        </p>
      </CodeBox>
    );
  }
  const wrong = error instanceof ApiError && error.reason === 'CODE_WRONG' && typed.ok;
  const again = error instanceof Offline || (error && (error.status >= 500 || error.status === 429));
  return (
    <Screen title={error ? say('Not signed in') : say('Signing you in')} above={<ThermalBand />}>
      {!error && <p role="status">{say('One moment.')}</p>}
      {error && (
        <Notice kind="warn" live>
          <p>
            {error instanceof Offline
              ? say('There is no network just now. What you have still works: try again when there is.')
              : error.message}
          </p>
        </Notice>
      )}
      {error && (
        <div class="actions foot">
          {again && (
            <Button kind="main" busy={busy} onClick={() => void redeem(secret)}>
              {say('Try again')}
            </Button>
          )}
          {typed.ok && !again && (
            <Button
              kind="main"
              onClick={() => {
                setError(undefined);
                setSecret('');
              }}
            >
              {say('Type the code again')}
            </Button>
          )}
          {wrong && (
            <a class="button" href={`/c#${typed.code}`}>
              {say('It is from a handover card')}
            </a>
          )}
          <Link to="/" class="button">
            {say('To the start')}
          </Link>
        </div>
      )}
    </Screen>
  );
}
