import type { JSX } from 'preact';
import { useContext, useState } from 'preact/hooks';
import { say } from '../../core/say';
import { ThermalBand } from '../parts/band';
import { Button, Copy, Field, Notice } from '../parts/controls';
import { Languages } from '../parts/languages';
import { FormError, problem, useSave } from './hooks';
import { Go, Heading, Problem } from './nav';
import { makePasskey, me, newRecoveryCodes, passkeysWork, signInWithPasskey, useRecoveryCode } from './session';

/** Passkey first, a recovery code for the day the device is gone. */
export function SignIn({ done }: { done?: (() => void) | undefined }): JSX.Element {
  const [code, setCode] = useState('');
  const passkey = useSave();
  const recovery = useSave();
  return (
    <div class="stack signin">
      {passkeysWork() ? (
        <div class="stack">
          <Problem error={passkey.error} />
          <div class="actions">
            <Button
              kind="main"
              icon="key"
              busy={passkey.busy}
              onClick={() => {
                void passkey.run(signInWithPasskey).then((ok) => ok && done?.());
              }}
            >
              {say('Sign in with a passkey')}
            </Button>
          </div>
        </div>
      ) : (
        <Notice>
          <p>{say('This browser cannot use passkeys. A recovery code works here.')}</p>
        </Notice>
      )}
      <details open={!passkeysWork()}>
        <summary>{say('Use a recovery code')}</summary>
        <form
          class="stack"
          onSubmit={(e) => {
            e.preventDefault();
            void recovery
              .run(async () => {
                if (!code.trim()) throw new FormError('code', say('Type one of the codes that you printed or copied.'));
                await useRecoveryCode(code.trim());
              })
              .then((ok) => ok && done?.());
          }}
        >
          <Field
            label={say('Recovery code')}
            value={code}
            onInput={setCode}
            maxLength={100}
            hint={say('Each code works once. Small letters and dashes do not matter.')}
            error={problem(recovery.error, 'code')}
          />
          <Problem error={recovery.error} shown={['code']} />
          <div class="actions">
            <Button type="submit" busy={recovery.busy}>
              {say('Sign in with this code')}
            </Button>
          </div>
        </form>
      </details>
    </div>
  );
}

export function SignInPage(): JSX.Element {
  const go = useContext(Go);
  return (
    <main class="page narrow">
      <ThermalBand />
      <Heading>{say('Sign in')}</Heading>
      <p class="muted">
        {say('For breeders. If you have a card with a code for your new snake, you do not need to sign in.')}
      </p>
      <SignIn />
      <p>
        <a
          href="/c"
          onClick={(e) => {
            e.preventDefault();
            go('/c');
          }}
        >
          {say('I have a card with a code')}
        </a>
      </p>
      <Languages />
    </main>
  );
}

/** What this device is, for the list of passkeys. */
function deviceName(): string {
  return /Android|iPhone|Mobile/.test(navigator.userAgent) ? say('phone') : say('computer');
}

/** After the first link: make it possible to come back. */
export function WelcomePage({ done }: { done: () => void }): JSX.Element {
  const [label, setLabel] = useState(deviceName());
  const [made, setMade] = useState((me.value?.passkeys ?? 0) > 0);
  const [codes, setCodes] = useState<string[]>([]);
  const passkey = useSave();
  const recovery = useSave();
  return (
    <main class="page narrow">
      <ThermalBand at={codes.length ? 1 : made ? 0.5 : 0} label={say('Setting up your way in')} />
      <Heading>{say('So that you can come back')}</Heading>
      <p>{say('The link that brought you here works once. Two things let you in from now on.')}</p>
      <section class="card stack" aria-labelledby="w1">
        <h2 id="w1">{say('1. A passkey on this device')}</h2>
        {made ? (
          <Notice kind="good" live>
            <p>{say('The passkey is made. Next time this device signs you in.')}</p>
          </Notice>
        ) : passkeysWork() ? (
          <form
            class="stack"
            onSubmit={(e) => {
              e.preventDefault();
              void passkey.run(() => makePasskey(label.trim())).then((ok) => ok && setMade(true));
            }}
          >
            <p class="muted">
              {say('Your device unlocks it as it unlocks itself: by face, finger or its code. Nothing to remember.')}
            </p>
            <Field
              label={say('Name for this device')}
              value={label}
              onInput={setLabel}
              maxLength={60}
              error={problem(passkey.error, 'label')}
            />
            <Problem error={passkey.error} shown={['label']} />
            <div class="actions">
              <Button kind="main" type="submit" icon="key" busy={passkey.busy}>
                {say('Make a passkey')}
              </Button>
            </div>
          </form>
        ) : (
          <p>{say('This browser cannot make one. Make recovery codes, and open Warmhand in another browser later.')}</p>
        )}
      </section>
      <section class="card stack" aria-labelledby="w2">
        <h2 id="w2">{say('2. Recovery codes on paper')}</h2>
        {codes.length ? (
          <RecoveryCodes codes={codes} />
        ) : (
          <>
            <p class="muted">
              {(me.value?.recoveryCodes ?? 0) > 0
                ? say(
                    'For the day the device is lost. Ten codes, each works once. You have {n} already; new ones replace them.',
                    { n: me.value?.recoveryCodes },
                  )
                : say('For the day the device is lost. Ten codes, each works once.')}
            </p>
            <Problem error={recovery.error} />
            <div class="actions">
              <Button
                kind={made ? 'main' : 'plain'}
                busy={recovery.busy}
                onClick={() => {
                  void recovery.run(async () => setCodes(await newRecoveryCodes()));
                }}
              >
                {say('Make recovery codes')}
              </Button>
            </div>
          </>
        )}
      </section>
      <div class="actions">
        <Button kind={codes.length ? 'main' : 'plain'} onClick={done}>
          {made || codes.length ? say('To your animals') : say('Later')}
        </Button>
      </div>
    </main>
  );
}

/** Shown this once; the service keeps hashes only. */
export function RecoveryCodes({ codes }: { codes: string[] }): JSX.Element {
  return (
    <div class="stack">
      <Notice kind="warn" live>
        <p>{say('These are shown this once. Print or copy them now, and keep them away from this device.')}</p>
      </Notice>
      <ul class="codes printed" aria-label={say('Recovery codes')}>
        {codes.map((c) => (
          <li key={c}>
            <code>{c}</code>
          </li>
        ))}
      </ul>
      <div class="actions">
        <Button icon="print" onClick={() => window.print()}>
          {say('Print')}
        </Button>
        <Copy text={codes.join('\n')} label={say('Copy')} otherwise={say('Print them, or write them down.')} />
      </div>
    </div>
  );
}
