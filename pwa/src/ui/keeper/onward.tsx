import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { ApiError, asKeeper, call } from '../../api/client';
import type {
  CaseJson,
  CreatePassOnResponseJson,
  GetPassOnResponseJson,
  GiveBackResponseJson,
  PassOnJson,
} from '../../core/contract';
import { caseAddress } from '../../core/ids';
import { say } from '../../core/say';
import { day } from '../../core/time';
import { syncNow } from '../../sync/sync';
import { Screen } from '../nav';
import { KeeperCode } from '../parts/code';
import { Button, Failed } from '../parts/controls';
import { Stages } from '../parts/stages';
import { animalName } from './state';

const said = (e: unknown) =>
  e instanceof ApiError
    ? e.message
    : say('There is no network just now. This needs it; please try again when there is.');

/** The animal goes on to another keeper, or back to the breeder. */
export default function Onward({ c }: { c: CaseJson }): JSX.Element {
  const animal = animalName(c);
  return (
    <Screen title={say('{animal} moves on', { animal })} back={caseAddress(c.name ?? '')}>
      <p>
        {say(
          'There can be good reasons, and it is right to look for a good home. Both ways are open until the other side agrees.',
        )}
      </p>
      {!c.giveBackTime && <PassOn c={c} />}
      <GiveBack c={c} />
    </Screen>
  );
}

function PassOn({ c }: { c: CaseJson }): JSX.Element {
  const animal = animalName(c);
  const [waits, setWaits] = useState<PassOnJson | undefined>();
  const [error, setError] = useState('');
  const [busy, setBusy] = useState(false);
  useEffect(() => {
    call<GetPassOnResponseJson>('GET', `/v1/${c.name}/passOn`, undefined, asKeeper).then(
      (a) => setWaits(a.passOn ?? undefined),
      () => undefined, // without network nothing is known, and nothing can be made
    );
  }, [c.name]);
  const run = async (f: () => Promise<void>) => {
    setBusy(true);
    setError('');
    try {
      await f();
    } catch (e) {
      setError(said(e));
    }
    setBusy(false);
  };
  const make = () =>
    run(async () => {
      const answer = await call<CreatePassOnResponseJson>('POST', `/v1/${c.name}:passOn`, {}, asKeeper);
      setWaits(answer.passOn);
    });
  const revoke = () =>
    run(async () => {
      await call('POST', `/v1/${c.name}:revokePassOn`, {}, asKeeper);
      setWaits(undefined);
    });
  return (
    <section class="stack" aria-labelledby="on">
      <h2 id="on">{say('To another keeper')}</h2>
      <p>
        {say(
          'Make a code and show it to the next keeper. When they take {animal} on, the weights, meals, sheds, signs and warmth go along, so that they know it well. Your name, your notes, messages and pictures do not.',
          { animal },
        )}
      </p>
      <p>
        {say('Your follow-up ends then. {breederName} sees that {animal} has a new keeper.', {
          breederName: c.breederName || say('Your breeder'),
          animal,
        })}
      </p>
      <Failed text={error} />
      {waits?.code ? (
        <KeeperCode code={waits.code} url={waits.url ?? ''} until={waits.expireTime ?? ''} passes={animal} />
      ) : (
        waits && (
          <p>
            {say('A code waits until {day}. It was shown when it was made; a new one makes it useless.', {
              day: day(waits.expireTime ?? ''),
            })}
          </p>
        )
      )}
      <div class="actions">
        <Button icon="hand" busy={busy} onClick={() => void make()}>
          {waits ? say('Make a new code') : say('Make a code for the next keeper')}
        </Button>
        {waits && (
          <Button busy={busy} onClick={() => void revoke()}>
            {say('I keep {animal}', { animal })}
          </Button>
        )}
      </div>
    </section>
  );
}

function GiveBack({ c }: { c: CaseJson }): JSX.Element {
  const animal = animalName(c);
  const breeder = c.breederName || say('your breeder');
  const asked = Boolean(c.giveBackTime);
  const [error, setError] = useState('');
  const [busy, setBusy] = useState(false);
  const ask = () =>
    run(() => call<GiveBackResponseJson>('POST', `/v1/${c.name}:giveBack`, { takeBack: asked }, asKeeper));
  const send = () => run(() => call('POST', `/v1/${c.name}:sendReturn`, {}, asKeeper));
  const run = async (f: () => Promise<unknown>) => {
    setBusy(true);
    setError('');
    try {
      await f();
      await syncNow();
    } catch (e) {
      setError(said(e));
    }
    setBusy(false);
  };
  return (
    <section class="stack" aria-labelledby="back">
      <h2 id="back">{say('Back to {breeder}', { breeder })}</h2>
      {asked ? (
        <>
          <p role="status">
            {c.returnLeaveTime
              ? say('{animal} is on its way. {breeder} says here when it has arrived.', { animal, breeder })
              : c.returnAgreeTime
                ? say('{breeder} and you agreed how {animal} travels. Until then, please go on as usual.', {
                    breeder,
                    animal,
                  })
                : say(
                    '{breeder} knows that you want to give {animal} back, and writes down here when and how it travels. Until then, please go on as usual.',
                    { breeder, animal },
                  )}
          </p>
          <Stages c={c} />
          {c.returnHow && <p class="text">{c.returnHow}</p>}
        </>
      ) : (
        <p>
          {say(
            'This tells {breeder} that you want to give {animal} back. You agree in the thread when and how; money is between the two of you.',
            { breeder, animal },
          )}
        </p>
      )}
      <Failed text={error} />
      <div class="actions">
        {c.returnAgreeTime && !c.returnLeaveTime && (
          <Button kind="main" busy={busy} onClick={() => void send()}>
            {say('{animal} is on its way', { animal })}
          </Button>
        )}
        <Button busy={busy} onClick={() => void ask()}>
          {asked ? say('I keep {animal} after all', { animal }) : say('I want to give it back')}
        </Button>
      </div>
    </section>
  );
}
