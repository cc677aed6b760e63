import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, asKeeper, call } from '../../api/client';
import type { CreateDeviceCodeResponseJson, KeeperCodeJson } from '../../core/contract';
import { say } from '../../core/say';
import { changeSettings, settings } from '../../core/settings';
import { forgetAll } from '../../store/copies';
import { announce } from '../../sync/sync';
import { clearsAfterAWeek } from '../device';
import { Link, Screen } from '../nav';
import { KeeperCode } from '../parts/code';
import { Button, Failed, Notice } from '../parts/controls';
import { Languages } from '../parts/languages';
import { Reminders } from '../parts/reminders';
import { Calendar } from './calendar';
import { unsent } from './state';

export default function KeeperSettings(): JSX.Element {
  return (
    <Screen title={say('Settings and privacy')} back="/">
      <Languages inSettings />
      <Units />
      <OnHomeScreen />
      <Storage />
      <section class="stack" aria-labelledby="unsent">
        <h2 id="unsent">{say('What is only on this phone')}</h2>
        <p>
          {unsent.value.length === 0
            ? say('Nothing: everything has been sent.')
            : say({ one: '1 entry, not sent yet.', other: '{n} entries, not sent yet.' }, { n: unsent.value.length })}
        </p>
        <Link to="/k/unsent" class="button">
          {say('This phone’s unsent entries')}
        </Link>
      </section>
      <Reminders as={asKeeper} />
      <Calendar />
      <Privacy />
      <AnotherPhone />
      <Leave />
      <p class="muted">
        {say('Version {version}. {link}', {
          version: __VERSION__,
          link: <a href="/licenses.txt">{say('Licences')}</a>,
        })}
      </p>
    </Screen>
  );
}

function Units(): JSX.Element {
  const s = settings.value;
  return (
    <section class="stack" aria-labelledby="units">
      <h2 id="units">{say('Units')}</h2>
      <fieldset class="field">
        <legend>{say('Weights in')}</legend>
        <div class="choices">
          <label>
            <input type="radio" name="mass" checked={s.mass === 'g'} onChange={() => changeSettings({ mass: 'g' })} />
            {say('grams (g)')}
          </label>
          <label>
            <input type="radio" name="mass" checked={s.mass === 'oz'} onChange={() => changeSettings({ mass: 'oz' })} />
            {say('ounces (oz)')}
          </label>
        </div>
      </fieldset>
      <fieldset class="field">
        <legend>{say('Warmth in')}</legend>
        <div class="choices">
          <label>
            <input type="radio" name="temp" checked={s.temp === 'C'} onChange={() => changeSettings({ temp: 'C' })} />
            {say('Celsius (°C)')}
          </label>
          <label>
            <input type="radio" name="temp" checked={s.temp === 'F'} onChange={() => changeSettings({ temp: 'F' })} />
            {say('Fahrenheit (°F)')}
          </label>
        </div>
      </fieldset>
    </section>
  );
}

function OnHomeScreen(): JSX.Element | null {
  if (!clearsAfterAWeek()) return null;
  return (
    <section class="stack" aria-labelledby="home">
      <h2 id="home">{say('On this iPhone or iPad')}</h2>
      <p>
        {say(
          'It may clear what a website has stored when you do not open it for a week. So open this page at least once a week, and let it send what you logged.',
        )}
      </p>
      <p>
        {say(
          'On the Home Screen that does not happen (Share button, then “Add to Home Screen”). But the app there starts empty and needs a card of its own: do it before you take on the next card.',
        )}
      </p>
    </section>
  );
}

function Storage(): JSX.Element {
  const [kept, setKept] = useState<boolean | undefined>();
  const [asked, setAsked] = useState(false);
  useEffect(() => {
    navigator.storage?.persisted?.().then(setKept, () => undefined);
  }, []);
  return (
    <section class="stack" aria-labelledby="storage">
      <h2 id="storage">{say('Storage on this phone')}</h2>
      <p>
        {kept
          ? say('The browser has promised to keep what is stored here.')
          : say(
              'The browser may clear what is stored here when the phone gets full. What has been sent is safe with the service.',
            )}
      </p>
      {kept === false && (
        <div class="row">
          <Button
            onClick={() => {
              setAsked(true);
              navigator.storage.persist().then(setKept, () => undefined);
            }}
          >
            {say('Ask the browser to keep it')}
          </Button>
        </div>
      )}
      <div role="status">
        {asked && kept === false && <p>{say('It did not promise. Opening the app often, or installing it, helps.')}</p>}
      </div>
    </section>
  );
}

function Privacy(): JSX.Element {
  return (
    <section class="stack" aria-labelledby="privacy">
      <h2 id="privacy">{say('Your data')}</h2>
      <p>{say('What is shared and with whom, a copy of all of it for you, and how to leave for good.')}</p>
      <Link to="/k/data" class="button">
        {say('Look at your data')}
      </Link>
    </section>
  );
}

function AnotherPhone(): JSX.Element {
  const [code, setCode] = useState<KeeperCodeJson | undefined>();
  const [error, setError] = useState('');
  const [busy, setBusy] = useState(false);
  const make = async () => {
    setBusy(true);
    setError('');
    try {
      const answer = await call<CreateDeviceCodeResponseJson>('POST', '/v1/keepers/me:createDeviceCode', {}, asKeeper);
      setCode(answer.code);
    } catch (e) {
      setError(
        e instanceof ApiError ? e.message : say('There is no network just now. A code can be made when there is.'),
      );
    }
    setBusy(false);
  };
  return (
    <section class="stack" aria-labelledby="another">
      <h2 id="another">{say('Another phone')}</h2>
      <p>
        {say(
          'Use the app on a second phone or tablet as well, yours or a parent’s. If this phone is ever lost, your breeder can make such a code too.',
        )}
      </p>
      <Failed text={error} />
      {code ? (
        <KeeperCode code={code.code ?? ''} url={code.url ?? ''} until={code.expireTime ?? ''} />
      ) : (
        <div class="row">
          <Button icon="key" busy={busy} onClick={() => void make()}>
            {say('Make a code for it')}
          </Button>
        </div>
      )}
    </section>
  );
}

function Leave(): JSX.Element {
  const [asking, setAsking] = useState(false);
  const [error, setError] = useState('');
  const [busy, setBusy] = useState(false);
  const leave = async () => {
    setBusy(true);
    try {
      await call('POST', '/v1/access:signOut', {}, asKeeper);
      await forgetAll();
      announce();
      location.assign('/');
    } catch {
      setError(say('You were not signed out: there was no answer from the service. Please try again with network.'));
      setBusy(false);
    }
  };
  return (
    <section class="stack" aria-labelledby="leave">
      <h2 id="leave">{say('Leave this phone')}</h2>
      <p>
        {say(
          'Signs you out here and takes everything off this phone. What has been sent stays with your breeder; to have that erased too, see “Your data”.',
        )}
      </p>
      <Failed text={error} />
      {asking ? (
        <Notice kind="warn" live title={say('Sign out and clear this phone?')}>
          {unsent.value.length > 0 && (
            <p>
              <strong>
                {say(
                  {
                    one: '1 entry has not been sent and would be lost.',
                    other: '{n} entries have not been sent and would be lost.',
                  },
                  { n: unsent.value.length },
                )}
              </strong>
            </p>
          )}
          <p>
            {say('To come back you need a code from your breeder, or from another phone of yours that is signed in.')}
          </p>
          <div class="actions">
            <Button kind="danger" busy={busy} onClick={() => void leave()}>
              {say('Sign out and clear')}
            </Button>
            <Button onClick={() => setAsking(false)}>{say('Stay')}</Button>
          </div>
        </Notice>
      ) : (
        <div class="row">
          <Button onClick={() => setAsking(true)}>{say('Sign out on this phone')}</Button>
        </div>
      )}
    </section>
  );
}
