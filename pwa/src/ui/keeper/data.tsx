import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, asKeeper, call } from '../../api/client';
import type { ListLooksResponseJson, LookJson } from '../../core/contract';
import { whatLooked, whoLooked } from '../../core/looks';
import { listed, say } from '../../core/say';
import { forgetAll } from '../../store/copies';
import { readState } from '../../store/db';
import { announce, signedOut } from '../../sync/sync';
import { Screen } from '../nav';
import { Button, Failed, Field, Notice } from '../parts/controls';
import { known, unsent } from './state';

/** What is kept of the keeper, and what the keeper may do about it. */
export default function YourData(): JSX.Element {
  return (
    <Screen title={say('Your data')} back="/k/settings">
      <Sharing />
      <WhoLooked />
      <TakeAway />
      <LeaveForGood />
    </Screen>
  );
}

const sharedAnyway = [
  say('Your breeder sees what you log: offers, weights, warmth, sheds, signs, setup answers, pictures and messages.'),
  say('Your breeder sees the name that you gave, if you gave one, and when you last opened the app.'),
  say('Pictures are drawn anew on this phone before they leave it, so the place where they were taken stays here.'),
  say('Nobody else sees it.'),
];

function breeders(): string {
  const names = [...new Set((known.value?.cases ?? []).map((c) => c.breederName).filter(Boolean))];
  return listed(names as string[]);
}

function Sharing(): JSX.Element {
  const [lines, setLines] = useState<readonly string[]>(sharedAnyway);
  useEffect(() => {
    readState<string[]>('sharing').then(
      (s) => s && s.length > 0 && setLines(s),
      () => undefined,
    );
  }, []);
  const with_ = breeders();
  return (
    <section class="stack" aria-labelledby="privacy">
      <h2 id="privacy">{with_ ? say('What is shared with {with}', { with: with_ }) : say('What is shared')}</h2>
      <ul class="bullets">
        {lines.map((l) => (
          <li key={l}>{l}</li>
        ))}
      </ul>
    </section>
  );
}

/** The answer is not kept on the phone: it is only true when it is asked. */
function WhoLooked(): JSX.Element {
  const [looks, setLooks] = useState<readonly LookJson[] | undefined>();
  const [error, setError] = useState('');
  const [busy, setBusy] = useState(false);
  const show = async () => {
    setBusy(true);
    setError('');
    try {
      const lists = await Promise.all(
        (known.value?.cases ?? []).map((c) =>
          call<ListLooksResponseJson>('GET', `/v1/${c.name}/looks`, undefined, asKeeper),
        ),
      );
      const all = lists.flatMap((l) => l.looks ?? []);
      setLooks(all.sort((a, b) => Date.parse(b.lastTime ?? '') - Date.parse(a.lastTime ?? '')));
    } catch (e) {
      setError(e instanceof ApiError ? e.message : say('There is no network just now. It is shown when there is.'));
    }
    setBusy(false);
  };
  const several = (known.value?.cases.length ?? 0) > 1;
  return (
    <section class="stack" aria-labelledby="looked">
      <h2 id="looked">{say('Who looked')}</h2>
      <p>{say('When somebody of your breeder opens your records, that is written down, and kept for a year.')}</p>
      <Failed text={error} />
      {looks?.length === 0 && <p role="status">{say('Nobody has opened them yet.')}</p>}
      {looks && looks.length > 0 && (
        <ul class="list" aria-label={say('Who looked')}>
          {looks.slice(0, 100).map((l) => (
            <li key={`${l.case} ${l.by} ${l.what} ${l.firstTime}`}>
              <span class="grow">
                {whoLooked(l)}
                <span class="muted block">
                  {several && `${l.animalName}: `}
                  {whatLooked(l)}
                </span>
              </span>
            </li>
          ))}
        </ul>
      )}
      <div class="row">
        <Button busy={busy} onClick={() => void show()}>
          {looks ? say('Look again') : say('Show who looked')}
        </Button>
      </div>
    </section>
  );
}

function TakeAway(): JSX.Element {
  return (
    <section class="stack" aria-labelledby="take">
      <h2 id="take">{say('Take it all with you')}</h2>
      <p>
        {say(
          'One file with everything: a page to read, tables, your pictures and messages. It is yours, and it needs no app.',
        )}
      </p>
      <Download />
    </section>
  );
}

function Download(): JSX.Element {
  return signedOut.value ? (
    <p class="muted">{say('You are signed out on this phone. Come back in first, with a code from your breeder.')}</p>
  ) : (
    <div class="row">
      <a class="button" href="/v1/keepers/me/export.zip" download="warmhand.zip">
        {say('Download everything')}
      </a>
    </div>
  );
}

function LeaveForGood(): JSX.Element {
  const [asking, setAsking] = useState(false);
  const [typed, setTyped] = useState('');
  const [wrong, setWrong] = useState('');
  const [error, setError] = useState('');
  const [busy, setBusy] = useState(false);
  const breeder = breeders() || say('your breeder');
  const leave = async () => {
    if (typed.trim().toLowerCase() !== say('leave')) {
      setWrong(say('Type the word leave, so that this does not happen by accident.'));
      return;
    }
    setWrong('');
    setError('');
    setBusy(true);
    try {
      await call('POST', '/v1/keepers/me:leave', { confirm: 'leave' }, asKeeper);
    } catch (e) {
      // A first try may have arrived and its answer not: then the sign-in is gone already.
      if (!(e instanceof ApiError && e.status === 401 && !signedOut.value)) {
        setBusy(false);
        setError(
          e instanceof ApiError
            ? e.message
            : say('There was no answer from the service. Nothing is lost; please try again with network.'),
        );
        return;
      }
    }
    await forgetAll();
    announce();
    location.assign('/');
  };
  return (
    <section class="stack" aria-labelledby="forgood">
      <h2 id="forgood">{say('Leave for good')}</h2>
      <p>{say('You can stop at any time. You need no reason.')}</p>
      <dl class="plain stack">
        <div>
          <dt>
            <strong>{say('What is erased')}</strong>
          </dt>
          <dd>
            {say(
              'Your name, your notes, all messages in both directions, your pictures, and every sign-in of yours. On this phone, everything.',
            )}
          </dd>
        </div>
        <div>
          <dt>
            <strong>{say('What stays')}</strong>
          </dt>
          <dd>
            {say(
              'What was seen of the animal: meals, weights, warmth, sheds, signs, the ticks of the checklist, and on which days somebody was in touch. {breeder} keeps that, without you.',
              { breeder },
            )}
          </dd>
        </div>
        <div>
          <dt>
            <strong>{say('Copies')}</strong>
          </dt>
          <dd>
            {say(
              'Whoever runs the service may make safety copies. Older ones still hold what you erase now, until they are thrown away. {breeder} can tell you when that is.',
              { breeder },
            )}
          </dd>
        </div>
      </dl>
      <Failed text={error} />
      {asking ? (
        <Notice kind="warn" live title={say('This cannot be undone')}>
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
          <p>{say('Would you like to have a copy first?')}</p>
          <Download />
          <Field
            label={say('To go on, type leave')}
            value={typed}
            onInput={setTyped}
            error={wrong || undefined}
            maxLength={20}
          />
          <div class="actions">
            <Button kind="danger" busy={busy} onClick={() => void leave()}>
              {say('Erase me and leave')}
            </Button>
            <Button onClick={() => setAsking(false)}>{say('Stay')}</Button>
          </div>
        </Notice>
      ) : (
        <div class="row">
          <Button onClick={() => setAsking(true)}>{say('Leave and be erased')}</Button>
        </div>
      )}
    </section>
  );
}
