// When and by what a person is reminded: the same for keepers and for a breeder's people.

import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, type asBreeder, type asKeeper, call } from '../../api/client';
import type { GetRemindersResponseJson, ReminderHoursJson, RemindersJson, ReminderWayJson } from '../../core/contract';
import { say } from '../../core/say';
import { ago } from '../../core/time';
import { Button, Failed, Field, Notice } from './controls';

export interface RemindersProps {
  as: typeof asKeeper | typeof asBreeder;
  breeder?: boolean;
}

type Run = (work: () => Promise<void>) => Promise<void>;

const here = () => Intl.DateTimeFormat().resolvedOptions().timeZone || 'UTC';

const toldNot = say(
  'This device was told not to show messages of this page. That can be changed in the settings of the browser.',
);

/** Why this browser cannot be written to, or that the person said no; '' when it can. */
function cannot(): '' | 'no' | 'denied' {
  if (!('serviceWorker' in navigator) || !('PushManager' in window) || !('Notification' in window)) return 'no';
  return Notification.permission === 'denied' ? 'denied' : '';
}

export function Reminders({ as, breeder }: RemindersProps): JSX.Element {
  const [state, setState] = useState<RemindersJson | undefined>();
  const [error, setError] = useState('');
  const [said, setSaid] = useState('');
  const [busy, setBusy] = useState(false);
  const ask = async (address = '/v1/me/reminders', body?: object) => {
    const answer = await call<GetRemindersResponseJson>(body ? 'POST' : 'GET', address, body, as);
    setState(answer.reminders);
    return answer.reminders;
  };
  useEffect(() => {
    ask().catch(() => setError(say('There is no network just now. Reminders can be set when there is.')));
  }, []);
  const run: Run = async (work) => {
    setBusy(true);
    setError('');
    setSaid('');
    try {
      await work();
    } catch (e) {
      setError(
        e instanceof ApiError ? e.message : e instanceof Refused ? e.message : say('There was no answer. Try again.'),
      );
    }
    setBusy(false);
  };
  const end = (w: ReminderWayJson) => ask('/v1/me/reminders:removeWay', { wayId: w.wayId });
  const test = async (w: ReminderWayJson) => {
    const after = await ask('/v1/me/reminders:test', { wayId: w.wayId });
    const trouble = after?.ways?.find((x) => x.wayId === w.wayId)?.trouble;
    if (trouble) throw new Refused(trouble);
    setSaid(w.address ? say('A test is on its way to your mail.') : say('A test is on its way. It can take a minute.'));
  };
  const parts = { state, busy, run, ask, end, test, setSaid };
  return (
    <section class={breeder ? 'card stack' : 'stack'} aria-labelledby="reminders">
      <h2 id="reminders">{say('Reminders')}</h2>
      <p>
        {say('{what} Only the animal’s name and what is next stand in it.', {
          what: breeder
            ? state?.hours?.messagesAtOnce
              ? say(
                  'You are told at once when an animal needs you to step in or belongs to a vet and when a keeper writes, and of everything else once in the morning.',
                )
              : say(
                  'You are told at once when an animal needs you to step in or belongs to a vet, and of everything else once in the morning.',
                )
            : say(
                'You are asked one short thing when it is due, and not again once you have answered. And you are told when your breeder writes, unless you have read it by then.',
              ),
        })}
      </p>
      <Failed text={error} again={state ? undefined : () => void run(async () => void (await ask()))} />
      {state && (
        <>
          <ThisDevice {...parts} />
          <Others {...parts} />
          <ByMail {...parts} />
          {(state.ways?.length ?? 0) > 0 && <Hours {...parts} breeder={breeder ?? false} />}
        </>
      )}
      <p role="status">{said}</p>
    </section>
  );
}

/** What a person is told is wrong, in words. */
class Refused extends Error {}

interface Parts {
  state: RemindersJson | undefined;
  busy: boolean;
  run: Run;
  ask: (address?: string, body?: object) => Promise<RemindersJson | undefined>;
  end: (w: ReminderWayJson) => Promise<unknown>;
  test: (w: ReminderWayJson) => Promise<void>;
  setSaid: (text: string) => void;
}

function ThisDevice({ state, busy, run, ask, end, test, setSaid }: Parts): JSX.Element {
  const mine = state?.ways?.find((w) => w.thisDevice);
  const turnOn = () =>
    run(async () => {
      if ((await Notification.requestPermission()) !== 'granted') throw new Refused(toldNot);
      const { endpoint, keys } = await subscribe(state?.pushKey ?? '');
      await ask('/v1/me/reminders:addDevice', {
        endpoint,
        p256dh: keys?.['p256dh'],
        auth: keys?.['auth'],
        zone: here(),
      });
      setSaid(say('Reminders come to this device from now on.'));
    });
  if (mine) {
    return (
      <div class="stack">
        <p>
          <strong>{say('Reminders come to this device.')}</strong>
        </p>
        <Way w={mine} />
        <div class="actions">
          <Button icon="message" busy={busy} onClick={() => void run(() => test(mine))}>
            {say('Send a test')}
          </Button>
          <Button kind="quiet" busy={busy} onClick={() => void run(async () => void (await end(mine)))}>
            {say('Turn off here')}
          </Button>
        </div>
      </div>
    );
  }
  switch (cannot()) {
    case 'no':
      return (
        <p>
          {say(
            'This browser shows no reminders. On an iPhone or iPad they come to the app on the Home Screen only (Share button, then “Add to Home Screen”).',
          )}
        </p>
      );
    case 'denied':
      return <p>{toldNot}</p>;
    default:
      return (
        <div class="actions">
          <Button kind="main" busy={busy} onClick={() => void turnOn()}>
            {say('Turn on reminders here')}
          </Button>
        </div>
      );
  }
}

/** The browser asks its maker's push service for an address; ours is told it. */
async function subscribe(key: string): Promise<PushSubscriptionJSON> {
  const { pushManager } = await navigator.serviceWorker.ready;
  const options = { userVisibleOnly: true, applicationServerKey: key };
  try {
    return (await pushManager.subscribe(options)).toJSON();
  } catch (e) {
    // One that was made under another key of the service has to go first.
    const old = await pushManager.getSubscription();
    if (!old)
      throw new Refused(
        say('This browser could not set reminders up ({what}).', { what: e instanceof Error ? e.message : String(e) }),
      );
    await old.unsubscribe();
    return (await pushManager.subscribe(options)).toJSON();
  }
}

function Way({ w }: { w: ReminderWayJson }): JSX.Element | null {
  if (w.trouble)
    return (
      <Notice kind="warn">
        <p>{say('The last one did not go: {trouble}', { trouble: w.trouble })}</p>
      </Notice>
    );
  return w.lastTime ? <p class="muted">{say('Last sent {ago}.', { ago: ago(w.lastTime) })}</p> : null;
}

function Others({ state, busy, run, end }: Parts): JSX.Element | null {
  const others = state?.ways?.filter((w) => !w.thisDevice && !w.address) ?? [];
  if (others.length === 0) return null;
  return (
    <div class="stack">
      <h3>{say('Your other devices')}</h3>
      {others.map((w) => (
        <Row key={w.wayId} text={w.label ?? ''} w={w}>
          <Button
            kind="quiet"
            busy={busy}
            aria-label={say('Turn off: {label}', { label: w.label })}
            onClick={() => void run(async () => void (await end(w)))}
          >
            {say('Turn off')}
          </Button>
        </Row>
      ))}
    </div>
  );
}

function Row({ text, w, children }: { text: string; w: ReminderWayJson; children: ComponentChildren }): JSX.Element {
  return (
    <div class="stack">
      <p class="text">{text}</p>
      <Way w={w} />
      <div class="actions">{children}</div>
    </div>
  );
}

function ByMail({ state, busy, run, ask, end, test }: Parts): JSX.Element {
  const [address, setAddress] = useState('');
  const w = state?.ways?.find((x) => x.address);
  if (!state?.mail && !w)
    return <p class="muted">{say('Reminders by mail are not available: this server sends no mail.')}</p>;
  if (w) {
    return (
      <div class="stack">
        <h3>{say('By mail')}</h3>
        <Row
          text={
            w.unconfirmed
              ? say('A mail has gone to {address}. Open the link in it within two days.', { address: w.address })
              : (w.address ?? '')
          }
          w={w}
        >
          {!w.unconfirmed && (
            <Button
              icon="message"
              busy={busy}
              aria-label={say('Send a test by mail')}
              onClick={() => void run(() => test(w))}
            >
              {say('Send a test')}
            </Button>
          )}
          <Button
            kind="quiet"
            busy={busy}
            aria-label={say('Turn off: mail')}
            onClick={() => void run(async () => void (await end(w)))}
          >
            {w.unconfirmed ? say('Another address') : say('Turn off')}
          </Button>
        </Row>
      </div>
    );
  }
  return (
    <form
      class="stack"
      onSubmit={(e) => {
        e.preventDefault();
        void run(async () => {
          await ask('/v1/me/reminders:setMail', { address, zone: here() });
          setAddress('');
        });
      }}
    >
      <h3>{say('By mail')}</h3>
      <Field
        label={say('Mail address')}
        type="email"
        autoComplete="email"
        value={address}
        onInput={setAddress}
        maxLength={254}
        hint={say('You get a mail with a link first, so that nobody else’s address is used.')}
      />
      <div class="actions">
        <Button type="submit" busy={busy} disabled={!address.trim()}>
          {say('Remind me by mail')}
        </Button>
      </div>
    </form>
  );
}

const halfHours = Array.from({ length: 48 }, (_, i) => i * 30);

function clockOf(minutes: number): string {
  return `${String(Math.floor(minutes / 60)).padStart(2, '0')}:${String(minutes % 60).padStart(2, '0')}`;
}

function Hours({ state, busy, run, ask, setSaid, breeder }: Parts & { breeder: boolean }): JSX.Element {
  const kept = state?.hours ?? {};
  const [changed, setChanged] = useState<ReminderHoursJson>({});
  const now = { ...kept, ...changed };
  const time = (label: string, of: 'quietFrom' | 'quietUntil' | 'morning') => (
    <Field
      label={label}
      value={String(now[of] ?? 0)}
      onInput={(v) => setChanged({ ...changed, [of]: Number(v) })}
      options={[...new Set([...halfHours, now[of] ?? 0])]
        .sort((a, b) => a - b)
        .map((m) => ({ value: String(m), label: clockOf(m) }))}
    />
  );
  return (
    <div class="stack">
      <h3>{say('Quiet hours')}</h3>
      <p>
        {say('{what} Times are by the clock in {zone}.', {
          what: breeder
            ? say('Nothing is sent in them, but for an animal that belongs to a vet.')
            : say('Nothing is sent in them; what came up waits until they are over.'),
          zone: (now.zone ?? '').replaceAll('_', ' '),
        })}
      </p>
      {now.zone !== here() && (
        <div class="row">
          <Button onClick={() => setChanged({ ...changed, zone: here() })}>
            {say('Use this device’s clock: {zone}', { zone: here().replaceAll('_', ' ') })}
          </Button>
        </div>
      )}
      {time(say('From'), 'quietFrom')}
      {time(say('Until'), 'quietUntil')}
      {breeder && <h3>{say('What comes when')}</h3>}
      {breeder && time(say('The morning’s news at'), 'morning')}
      {breeder && (
        <Field
          label={say('When a keeper writes')}
          value={now.messagesAtOnce ? 'at once' : ''}
          onInput={(v) => setChanged({ ...changed, messagesAtOnce: v !== '' })}
          options={[
            { value: '', label: say('with the morning’s news') },
            { value: 'at once', label: say('tell me at once') },
          ]}
        />
      )}
      <div class="actions">
        <Button
          busy={busy}
          disabled={Object.keys(changed).length === 0}
          onClick={() =>
            void run(async () => {
              await ask('/v1/me/reminders:setHours', { hours: now });
              setChanged({});
              setSaid(breeder ? say('Saved.') : say('These hours are kept.'));
            })
          }
        >
          {breeder ? say('Save') : say('Keep these hours')}
        </Button>
      </div>
    </div>
  );
}
