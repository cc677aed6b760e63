import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, call } from '../../api/client';
import type { RedeemSignInLinkResponseJson } from '../../core/contract';
import { go, Link, Screen } from '../nav';
import { Button, Notice } from '../parts/controls';

/** `/in#secret`: a link that signs in once. */
export default function SignInLink({ onKeeper }: { onKeeper: () => void }): JSX.Element {
  const [secret] = useState(() => location.hash.slice(1));
  const [error, setError] = useState('');
  const [again, setAgain] = useState(false);
  const [busy, setBusy] = useState(false);

  const redeem = async () => {
    setBusy(true);
    setError('');
    try {
      const { me } = await call<RedeemSignInLinkResponseJson>('POST', '/v1/access:redeemSignInLink', { secret });
      if (me?.role === 'keeper') {
        onKeeper();
        go('/', true);
      } else go('/b', true);
    } catch (e) {
      const known = e instanceof ApiError && e.status < 500 && e.status !== 429;
      setAgain(!known);
      setError(
        e instanceof ApiError
          ? e.message
          : 'There is no network just now. The link still works: try again when there is.',
      );
      setBusy(false);
    }
  };
  useEffect(() => {
    // The secret stays in this page's memory only, not in the address or the history.
    history.replaceState(null, '', '/in');
    if (secret) void redeem();
    else setError('This sign-in link is not whole. Open it again from where you got it.');
  }, []);
  return (
    <Screen title={error ? 'Not signed in' : 'Signing you in'}>
      {error && (
        <Notice kind="warn" live>
          <p>{error}</p>
        </Notice>
      )}
      <div class="actions foot">
        {again && (
          <Button kind="main" busy={busy} onClick={() => void redeem()}>
            Try again
          </Button>
        )}
        {error && (
          <Link to="/" class="button">
            To the start
          </Link>
        )}
      </div>
    </Screen>
  );
}
